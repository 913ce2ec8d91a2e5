"""What files side by side are answered, as data, text and pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Answer, Chart, Head, Part, Section, Sentences, Table
from stocksim.faces.side_by_side import differing, outcome_data, outcome_rows
from stocksim.faces.words import is_caution, is_trouble, verdict

FEWEST, MOST = 2, 3
_MOST_FIELDS = 20  # that are told; JSON has all
_LONGEST, _LONGEST_FIELD = 20, 34  # signs in the table of what differs, so that three files fit 100 columns


def compare_answer(seasons: Mapping[str, Season], draw: Callable[[str], dict[str, Any]] | None = None) -> Answer:
    """What two or three sites side by side are answered.

    Parameters
    ----------
    seasons : mapping of str to Season
        By the name that each has on the screen.
    draw : callable, optional
        Gives the specification of the picture of a season by that name, where a page keeps them.

    Returns
    -------
    Answer
        With the sections ``differs``, ``verdicts``, ``outcome`` and ``pictures``.
    """
    rows = differing({name: season.site.raw for name, season in seasons.items()})
    pictures: list[Part] = []
    for name, season in seasons.items():
        pictures += [
            Head(f"The picture of {name}", "page"),
            Chart(name, partial(draw or partial(_drawn, season), name)),
        ]
    sections = [
        Section("verdicts", [*_heads("Verdicts"), Sentences(_verdicts(seasons), "list", mark="- ", indent="  ")]),
        Section("differs", [*_heads("What differs"), *_differing_parts(rows)]),
        Section("outcome", [*_heads("What becomes of each"), Table(outcome_rows(seasons), gap=True)]),
        Section("pictures", pictures),
    ]
    names = list(seasons)
    title = f"{', '.join(names[:-1])} and {names[-1]}, side by side"
    return Answer(title, best_words(seasons), sections, partial(_data, seasons, rows))


def best_words(seasons: Mapping[str, Season]) -> str:
    """Which does best by the fish: fewest limits that harm, then fewest broken, then fewest deaths, and no more."""

    def rank(name: str) -> tuple[float, ...]:
        data = outcome_data(seasons[name])
        return tuple(round(float(data[key] or 0.0)) for key in ("limits_that_harm", "limits_broken", "deaths"))

    ordered = sorted(seasons, key=rank)
    if rank(ordered[0]) == rank(ordered[1]):
        ties = [name for name in ordered if rank(name) == rank(ordered[0])]
        return f"By limits that are broken and fish that die, {' and '.join(ties)} are alike; look at what they yield."
    return f"The fish do best in {ordered[0]}: by limits that harm them, then limits broken, then fish that die."


def _heads(text: str) -> list[Part]:
    return [Head(f"{text}:", "text"), Head(text, "page")]


def _verdicts(seasons: Mapping[str, Season]) -> list[str]:
    return [f"{name}: {verdict(season, season.findings)}" for name, season in seasons.items()]


def _differing_parts(rows: list[dict[str, str]]) -> list[Part]:
    if not rows:
        return [Sentences(["The files ask for the same in every field."])]
    shown: list[Part] = [Table([_shortened(row) for row in rows[:_MOST_FIELDS]])]
    more = len(rows) - _MOST_FIELDS
    return shown + ([Sentences([f"And {more} more fields, which --json shows."], "note")] if more > 0 else [])


def _shortened(row: dict[str, str]) -> dict[str, str]:
    """The end of a long field, the beginning of a long value."""
    field, *values = row.items()
    end = field[1] if len(field[1]) <= _LONGEST_FIELD else f"…{field[1][1 - _LONGEST_FIELD :]}"
    return {field[0]: end} | {
        name: text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…" for name, text in values
    }


def _drawn(season: Season, _: str) -> dict[str, Any]:
    from stocksim.faces.charts import STACKS  # slow to import, and text draws none

    return STACKS["density"](season).to_dict()


def _data(seasons: Mapping[str, Season], rows: list[dict[str, str]]) -> dict[str, Any]:
    return {
        "files": [_file_data(name, season) for name, season in seasons.items()],
        "differences": [{"field": row["field"], "values": [row[name] for name in seasons]} for row in rows],
        "best": best_words(seasons),
    }


def _file_data(name: str, season: Season) -> dict[str, Any]:
    found = season.findings
    outcome = {key: None if value is None else round(value, 4) for key, value in outcome_data(season).items()}
    return {
        "name": name,
        "verdict": verdict(season, found),
        "trouble": is_trouble(season, found),
        "caution": is_caution(season, found),
        "outcome": outcome,
    }
