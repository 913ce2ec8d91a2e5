"""Plans that differ in kind as an answer: one table, a column for each. Apart from `answer`, which tells one plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from stocksim.answers.stock import words
from stocksim.answers.stock.answer import keep_headline, listed
from stocksim.answers.stock.beside import KINDS, Kind, Numbers, numbers_of
from stocksim.answers.stock.decide import StockingPlan
from stocksim.answers.stock.keep import KeptPlan
from stocksim.changes.change import Action, Change
from stocksim.engine.results.frames import Season
from stocksim.engine.results.harm import harms
from stocksim.faces.answer import Answer, Brief, Head, Section, Table
from stocksim.faces.care import brief_cares, whole_cares
from stocksim.faces.company_words import law_and_care
from stocksim.faces.marks import marked
from stocksim.faces.side_by_side import outcome_data, outcome_rows
from stocksim.site.reading import Site

NAMES = {"keep": "keep all fish", "edible": "most fillet", "steady": "steadiest feed"}
COST = f"{len(KINDS)} whole plans are made one after the other, so it takes as long as all of them."
_SAME = (
    "Each plan is proven in its own full season; how each is done, its tankmates and its law stand in `stock --goal "
    "keep`, `edible` and `steady,edible`."
)
_FILLET = "Fillet of all fish harvested or left at the end, whatever their size, counted alike for all plans."


def beside_answer(site: Site, kinds: Sequence[Kind]) -> Answer:
    """What a keeper who asks for plans that differ in kind is answered.

    Parameters
    ----------
    site : Site
        As the file has it.
    kinds : sequence of Kind
        Of `plans_beside`.

    Returns
    -------
    Answer
        With the sections ``beside``, ``ways`` and ``cautions``.
    """
    found = {NAMES[kind.name]: numbers_of(kind) for kind in kinds if kind.season is not None}
    seasons = {NAMES[kind.name]: kind.season for kind in kinds if kind.season is not None}
    rows = _rows(site, found, seasons)
    outcomes = outcome_rows(seasons) if seasons else []
    files = [season.site.file for season in seasons.values()] or [site.file]
    taken = [Change(Action.TAKEN_OUT, {})] if found else []
    cares = list(dict.fromkeys(care for file in files for care in whole_cares(file, taken)))
    return Answer(
        f"{site.file.site.name}: plans that differ in kind, side by side",
        _verdict(found),
        [
            Section(
                "beside",
                [Head("Plans that differ in kind", "page"), Table([*rows[:-1], *outcomes], gap=True)],
                topics=("fish",),
            ),
            Section("ways", listed("Each in a sentence", _headlines(kinds), is_headed=True), topics=("fish",)),
            Section(
                "cautions",
                listed("Cautions", _cautions(kinds, cares), kind="background"),
                topics=("cautions",),
            ),
        ],
        partial(_data, site, kinds),
        not found or any(not _is_finished(kind) for kind in kinds),
        is_caution=any(finding.is_broken for season in seasons.values() for finding in season.findings),
        brief=Brief(table=rows, care=brief_cares(files[0], taken), notes=_short_of(kinds)),
    )


def _cautions(kinds: Sequence[Kind], cares: Sequence[str]) -> list[str]:
    species = _species(kinds)
    return [_SAME, _FILLET, *words.unknown_fillet(species.values()), *law_and_care(species), *cares]


def _species(kinds: Sequence[Kind]) -> dict[str, Any]:
    return {key: entry for kind in kinds if kind.season is not None for key, entry in kind.season.site.species.items()}


def _is_finished(kind: Kind) -> bool:
    return not isinstance(kind.plan, StockingPlan) or kind.plan.is_finished


def _headlines(kinds: Sequence[Kind]) -> list[str]:
    return [f"{NAMES[kind.name].capitalize()}: {_headline(kind)}" for kind in kinds]


def _headline(kind: Kind) -> str:
    if isinstance(kind.plan, KeptPlan):
        return keep_headline(kind.plan)
    if kind.beaten_by:
        return f"The search found no plan better by this than that for {NAMES[kind.beaten_by]}."
    return words.headline(kind.plan) if isinstance(kind.plan, StockingPlan) else kind.why_none


def _short_of(kinds: Sequence[Kind]) -> list[str]:
    """Kinds of which there is no plan, and why."""
    return [f"{NAMES[kind.name].capitalize()}: {_headline(kind)}" for kind in kinds if kind.season is None]


def _verdict(found: dict[str, Numbers]) -> str:
    """Which plan is ahead in what."""
    if not found:
        return "None of these plans is to be had here."
    told = [
        _ahead("Most fish live", {name: round(one.lived) for name, one in found.items()}),
        _ahead("most fillet", {name: round(one.fillet_kg, 1) for name, one in found.items()}),
    ]
    if any(one.weeks_asked for one in found.values()):
        told.append(_ahead("feed meets the beds longest", {name: one.weeks_in_band for name, one in found.items()}))
    return "; ".join(told) + "."


def _ahead(what: str, by: Mapping[str, float]) -> str:
    best = [name for name, value in by.items() if value == max(by.values())]
    return f"{what}: {'all alike' if len(best) == len(by) > 1 else words.named(best)}"


def _rows(site: Site, found: dict[str, Numbers], seasons: dict[str, Season]) -> list[dict[str, str]]:
    """What decides between them, a row each and a column for each plan."""
    units, told = site.file.site.units, dict[str, dict[str, str]]()
    for name, one in found.items():
        broken = [finding for finding in seasons[name].findings if finding.is_broken]
        told[name] = {
            "fish in the plan": str(one.fish),
            "of them to buy": str(one.bought),
            "own fish without a place": str(one.left_out),
            "harvested or alive at the end": f"{one.lived:.0f}",
            "fillet of them": words.kilos(one.fillet_kg, units),
            "weeks of feed within the beds' band": f"{one.weeks_in_band} of {one.weeks_asked}",
            "limits broken, with harm": f"{len(broken)}, {sum(harms(seasons[name], finding) for finding in broken)}",
        }
    heads = list(dict.fromkeys(head for one in told.values() for head in one))
    return [{"what": head} | {name: one[head] for name, one in told.items()} for head in heads]


def _data(site: Site, kinds: Sequence[Kind]) -> dict[str, Any]:
    plans = []
    for kind in kinds:
        row: dict[str, Any] = {"kind": kind.name, "goal": list(KINDS[kind.name]), "answer": _headline(kind)}
        if kind.season is not None:
            one = numbers_of(kind)
            row |= {
                "fish": one.fish, "to_buy": one.bought, "without_place": one.left_out, "lived": round(one.lived, 2),
                "fillet_kg": round(one.fillet_kg, 3), "weeks_in_band": one.weeks_in_band,
                "weeks_asked": one.weeks_asked, "is_finished": _is_finished(kind),
                "outcome": outcome_data(kind.season),
                "cohorts": {
                    name: {"tank": table.tank, "count": table.count, "species": table.species}
                    for name, table in kind.season.site.cohorts.items()
                },
            }  # fmt: skip
        plans.append(row | {"has_plan": kind.season is not None})
    return marked({"site": site.file.site.name, "plans": plans}, site)
