"""What an outlook is answered: chances, bands, and what to measure next."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from stocksim.answers.outlook import words
from stocksim.drawn.beside import Beside
from stocksim.drawn.outlook import SHARES, Chance, Outlook
from stocksim.faces.answer import Answer, Chart, Head, Part, Section, Sentences, Table, points
from stocksim.faces.marks import marked
from stocksim.units import format_date

_SAFE, _CAUTION = 0.5, 0.9  # share of seasons: below the first trouble, below the second a caution (our choice)


def outlook_answer(
    found: Outlook, draw: Callable[[str], dict[str, Any] | None] | None = None, besides: Sequence[Beside] = ()
) -> Answer:
    """What a keeper who asks how sure a season is is answered.

    Parameters
    ----------
    found : Outlook
        Of `stocksim.drawn.outlook.outlook`.
    draw : callable, optional
        Gives the specification of a chart by its name, where a page keeps them.
    besides : sequence of Beside
        The same seasons of other sites.

    Returns
    -------
    Answer
        With the sections ``beside``, ``measure``, ``fans``, ``limits``, ``batches``, ``totals``, ``indices`` and
        ``notes``. Numbers of its data are metric, sentences in the keeper's units.
    """
    units = found.site.file.site.units
    limits = words.limit_rows(found, units)
    batches = words.batch_rows(found, units)
    sections = [
        *(_beside_section(one, units) for one in besides),
        Section("measure", _measure_parts(found)),
        Section("fans", [Chart("fans", partial(draw or partial(_drawn, found), "fans"))]),
        Section("limits", [Head("How often each limit is broken"), Table(limits)] if limits else []),
        Section("batches", [Head("Batches: the middle, and what 8 of 10 seasons lie between"), Table(batches)]),
        Section("totals", [Head("The season"), Table(words.total_rows(found, units))]),
        Section("indices", _index_parts(found), "What makes the spread"),
        Section("notes", [points(words.notes(found), "background"), points(words.cautions(), "background")]),
    ]
    name, dates = found.site.file.site.name, found.dates
    title = f"{name}: outlook of {found.number:,} seasons, {format_date(dates[0])} to {format_date(dates[-1])}"
    is_trouble = found.safe_share < _SAFE
    return Answer(
        title, words.verdict(found), [section for section in sections if section.parts], partial(_data, found, besides),
        is_trouble, is_caution=not is_trouble and found.safe_share < _CAUTION,
    )  # fmt: skip


def _beside_section(found: Beside, units: str) -> Section:
    parts: list[Part] = [
        Head(f"The same seasons with {found.name}"),
        Sentences(words.beside_sentences(found)),
        Table(words.beside_total_rows(found, units), gap=True),
    ]
    limits = words.beside_limit_rows(found)
    return Section("beside", [*parts, Table(limits, gap=True)] if limits else parts)


def _measure_parts(found: Outlook) -> list[Part]:
    sentences = words.measure_sentences(found)
    return [Head("What to measure next"), Sentences(sentences, "numbered")] if sentences else []


def _index_parts(found: Outlook) -> list[Part]:
    if not words.told_outputs(found):
        return []
    said = "Total Sobol index with its standard error: the share of the spread that is left while this is not known."
    return [Head("What makes the spread", on="text"), Table(words.index_rows(found)), Sentences([said], "note")]


def _drawn(found: Outlook, name: str) -> dict[str, Any] | None:
    from stocksim.answers.outlook.charts import fan_stack  # slow to import, and text draws none

    return dict(fan_stack(found).to_dict()) if name == "fans" else None


# --- data


def _data(found: Outlook, besides: Sequence[Beside]) -> dict[str, Any]:
    groups = found.draws.groups
    data = {
        "site": found.site.file.site.name,
        "verdict": words.verdict(found),
        "seasons_asked": found.asked,
        "seasons": found.number,
        "seed": found.seed,
        "shares": list(SHARES),
        "chance_every_batch_keeps_nine_tenths": round(found.safe_share, 6),
        "chance_no_limit_broken": round(found.kept_share, 6),
        "limits": [_chance_data(one, "limit") for one in found.limits],
        "losses": [_chance_data(one, "") for one in found.losses],
        "totals": {key: _numbers(three) for key, three in found.outputs.items() if " " not in key},
        "cohorts": {
            cohort: {
                "count": _numbers(found.outputs[f"fish {cohort}"]),
                "mean_weight_g": _numbers(found.outputs[f"weight_g {cohort}"]),
            }
            for cohort in dict.fromkeys(found.draws.layout.cohorts)
        },
        "uncertain": [
            {"what": axis.one.key, "of": axis.of or None, "group": axis.group, "low": axis.low, "high": axis.high,
             "how_known": axis.one.grade, "source": axis.one.source}
            for axis in found.draws.axes
        ],
        "what_matters": [
            {"output": output, "group": group, "first": _number(index.first[at]),
             "first_error": _number(index.first_error[at]), "total": _number(index.total[at]),
             "total_error": _number(index.total_error[at])}
            for output, index in found.indices.items()
            for at, group in enumerate(groups)
        ],
        "measure_next": words.measure_sentences(found),
        "beside": [_beside_data(one) for one in besides],
        "dates": [day.isoformat() for day in found.dates],
        "bands": {
            column: {
                place: {f"{100.0 * share:.0f}": [_number(value) for value in band.ends[row, :, at]]
                        for row, share in enumerate(SHARES)}
                for at, place in enumerate(band.places)
            }
            for column, band in found.bands.items()
        },
        "notes": words.notes(found),
        "cautions": words.cautions(),
    }  # fmt: skip
    return marked(data, found.site)


def _chance_data(one: Chance, what: str) -> dict[str, Any]:
    named = {what: one.what} if what else {}
    return {
        **named,
        "where": one.where,
        "chance": round(one.share, 6),
        "dates": [day.isoformat() for day in one.dates],
        "worst": _numbers(one.worst),
        "threshold": _number(one.threshold),
        "unit": one.unit,
    }


def _beside_data(found: Beside) -> dict[str, Any]:
    return {
        "with": found.name,
        "seasons": found.number,
        "chance_every_batch_keeps_nine_tenths": list(found.safe),
        "chance_no_limit_broken": list(found.kept),
        "limits": [
            {
                "limit": met.what,
                "where": met.where,
                "chance": [None if each is None else round(each.share, 6) for each in (one, other)],
            }
            for one, other in found.limits
            if (met := one or other) is not None
        ],
        "totals": {
            one.key: {
                "without": _numbers(one.one), "with": _numbers(one.other), "more_with": _numbers(one.more),
                "chance_more": round(one.more_share, 6), "chance_less": round(one.less_share, 6),
            }
            for one in found.differences
        },
    }  # fmt: skip


def _numbers(three: tuple[float, ...]) -> list[float | None]:
    return [_number(value) for value in three]


def _number(value: float) -> float | None:
    """Six digits: no more are known, and files stay small."""
    return float(f"{value:.6g}") if math.isfinite(value) else None
