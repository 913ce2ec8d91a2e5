"""In how many seasons a plan holds, in words. Apart from `words`, which tells of one season."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from stocksim.answers.stock.decide import StockingPlan
from stocksim.answers.stock.hold_in import FRESH, Held, HeldPlan
from stocksim.faces.answer import Answer, Head, Part, Section, Sentences, Table
from stocksim.faces.chance_words import chance_words, limit_place
from stocksim.faces.ways_words import dated_words, way_rows
from stocksim.site.kinds import LIMITS

_FEW = 3  # changes, and limits, that a sentence names


def held_answer(answer: Answer, found: HeldPlan) -> Answer:
    """The answer of a plan with how many drawn seasons it holds in.

    Parameters
    ----------
    answer : Answer
        Of the plan with what is taken out.
    found : HeldPlan
        How it fared.

    Returns
    -------
    Answer
        With the section ``hold_in`` first, and ``hold_in`` in its data.
    """
    words = held_words(found)
    brief = answer.brief
    rows: list[dict[str, str]] = []
    if found.held is not None and found.held.way is not None and isinstance(found.plan, StockingPlan):
        rows = way_rows(found.held.season, found.held.way)  # a plan that keeps fish tells its steps itself
        brief = None if brief is None else replace(brief, actions=[*brief.actions, *rows])
    parts: list[Part] = [Head("How sure the plan is"), Sentences([words])]
    section = Section("hold_in", [*parts, *([Table(rows)] if rows else [])], topics=("fish",))
    return replace(
        answer, verdict=f"{answer.verdict} {words}", sections=[section, *answer.sections], brief=brief,
        tell=lambda: answer.tell() | {"hold_in": held_data(found)},
        is_caution=answer.is_caution or found.held is None or not found.held.holds,
    )  # fmt: skip


def held_words(found: HeldPlan) -> str:
    """Whether the plan holds in as many seasons as were asked for, what is taken out for it, and what it misses."""
    held = found.held
    if held is None:
        return "It was not held against drawn seasons: there is no plan that leaves no harm as calculated."
    did = f"it holds in {_hundredths(held.share)} seasons, of {FRESH} drawn afresh"
    if held.way is not None:
        did += f" (in {_hundredths(held.before)} without)"
    wanted = _hundredths(held.wanted)
    told = f"{_taken_words(held)}{did}; {wanted} were asked for." if held.holds else _missed(held, did, wanted)
    passed = " Cautions that it passes as calculated are not counted." if held.passed else ""
    return f"{told[:1].upper()}{told[1:]}{passed}"


def _hundredths(share: float) -> str:
    """A share that is held against another one, so that both are told alike; never rounded up."""
    return f"{math.floor(100.0 * share + 1e-9)} of 100"


def _taken_words(held: Held) -> str:
    if held.way is None:
        return ""
    units = held.season.site.file.site.units
    steps = [dated_words(step, units) for step in held.way.by_date(held.season.dates[0])]
    rest = f"; and {len(steps) - _FEW} more below" if len(steps) > _FEW else ""
    return f"to hold, also: {'; '.join(steps[:_FEW])}{rest}. With it "


def _missed(held: Held, did: str, wanted: str) -> str:
    short = f"{math.ceil(100.0 * (held.wanted - held.share))} of 100 seasons short"
    often = "; ".join(
        f"{LIMITS[limit].broken} {limit_place(where)} in {chance_words(share)}"
        for limit, where, share in held.often[:_FEW]
    )
    new = "; taking fish out breaks another limit as calculated" if held.broken else ""
    return (
        f"{_taken_words(held)}{did}, not in the {wanted} that were asked for: {short}{new}. Broken most often: {often}."
    )


def held_data(found: HeldPlan) -> dict[str, Any] | None:
    """The same as plain data."""
    held = found.held
    if held is None:
        return None
    steps = held.way.steps if held.way is not None else ()
    return {
        "wanted": held.wanted,
        "holds": held.holds,
        "chance": round(held.share, 6),
        "chance_before": round(held.before, 6),
        "seasons": FRESH,
        "taken_out": [
            {"cohort": at["cohort"], "tank": at["tank"], "fish": at["fish"],
             "date": step.change.start.isoformat() if step.change.start else None}
            for step in steps
            for at in (step.change.amounts,)
        ],
        "still_broken": [{"limit": limit, "where": where, "chance": round(s, 6)} for limit, where, s in held.often],
        "not_counted": [{"limit": limit, "where": where} for limit, where in held.passed],
        "sentence": held_words(found),
    }  # fmt: skip
