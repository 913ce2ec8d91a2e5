"""Who shares a tank in a plan, its wild and new fish, their law, and the reserve of each tank; both plans tell it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stocksim.answers.stock.together import FED_LIMITS, Together, margin
from stocksim.answers.stock.words import named
from stocksim.engine.results.company import Pair
from stocksim.engine.results.findings import Finding
from stocksim.faces.answer import Head, Part, Section, Sentences, Table, points
from stocksim.faces.company_words import (
    EVIDENCE,
    LOSS_NOTE,
    cell_word,
    law_and_care,
    loss_data,
    loss_sentences,
    mates_rows,
    name_words,
    pair_data,
    pair_sentences,
    pair_title,
    pair_when,
    wild_data,
    wild_sentence,
)
from stocksim.faces.words import day_words
from stocksim.fish.company import VERDICTS
from stocksim.site.kinds import LIMITS

_MOST_PAIRS = 2  # that the first layer names
_TOLD_ELSEWHERE = ("wild_caught", "season_outside_growth")  # among wild fish; by the season's growth


def company_sections(together: Together, bought: Sequence[str] = ()) -> list[Section]:
    """What a plan puts together, as sections.

    Parameters
    ----------
    together : Together
        Of `put_together`.
    bought : sequence of str
        Cohorts that are still to be bought.

    Returns
    -------
    list of Section
        ``company`` and ``law``.
    """
    return [
        Section(
            "company",
            [*_mates_parts(together), *_new_parts(together, bought), *_reserve_parts(together)],
            "Tankmates, wild and new fish, and what is left to the limits",
            topics=("fish",),
        ),
        Section(
            "law",
            [Head("Law and care of these fish:", "text"), points(_law(together), "background")],
            "Law and care of these fish",
            topics=("cautions",),
        ),
    ]


def _law(together: Together) -> list[str]:
    return law_and_care(together.season.site.species)


def _minded(together: Together) -> list[Pair]:
    """Pairs that do not simply suit each other, the gravest first, with what stands against their company alone."""
    told = [
        pair._replace(grounds=tuple(ground for ground in pair.grounds if ground.key not in _TOLD_ELSEWHERE))
        for pair in together.pairs
    ]
    return sorted((pair for pair in told if pair.grounds), key=lambda pair: -VERDICTS.index(pair.verdict))


def _mates_parts(together: Together) -> list[Part]:
    site, minded = together.season.site, _minded(together)
    units = site.file.site.units
    mixed = [pair for pair in together.pairs if pair.a != pair.b]
    parts: list[Part] = [*_heads("Who shares a tank"), Table(mates_rows(minded))]
    if not minded:
        parts.append(Sentences([_suits(bool(mixed))], "list"))
    reasons = [
        f"{pair_title(pair)}, {pair_when(pair)}: {' '.join(pair_sentences(pair, site, units, is_brief=True))}"
        for pair in minded
    ]
    eaten = loss_sentences(together.losses)
    return [
        *parts,
        points(reasons),
        points([*eaten, LOSS_NOTE] if eaten else []),
        Sentences([EVIDENCE] if mixed else [], "note"),
    ]


def _suits(is_mixed: bool) -> str:
    return "All fish that share a tank may do so." if is_mixed else "No tank holds two batches of fish."


def _new_parts(together: Together, bought: Sequence[str]) -> list[Part]:
    """Quarantine and feed training of fish from outside."""
    said = [wild_sentence(wild, together.season.site) for wild in together.wild]
    if bought:
        said.append(
            f"To buy: {named([name_words(name) for name in bought])}. Keep each new batch in a quarantine tank off the "
            "loop for some weeks and watch it; for sick fish ask a fish health professional."
        )
    return [*_heads("Wild and new fish"), points(said)] if said else []


def _reserve_parts(together: Together) -> list[Part]:
    rows = []
    for reserve in together.reserves:
        least = reserve.least
        row = {"tank": reserve.tank}
        row |= {
            LIMITS[key].name: _left(reserve.by_limit[key]) if key in reserve.by_limit else "-" for key in FED_LIMITS
        }
        rows.append(row | {"least of all": f"{LIMITS[least.limit].name} {_left(least)}, {_day(least)}"})
    note = "Left to each limit on its worst day, in % of it. The biofilter is that of the whole loop."
    return [*_heads("What is left to the limits, by tank"), Table(rows), Sentences([note], "note")] if rows else []


def _left(finding: Finding) -> str:
    return f"{margin(finding):z.0f} %"


def _day(finding: Finding) -> str:
    return day_words(finding.worst_date)


def _heads(text: str) -> list[Part]:
    return [Head(f"{text}:", "text"), Head(text, "page")]


def company_notes(together: Together, bought: Sequence[str] = ()) -> list[str]:
    """The same in three lines at most, for the first layer."""
    minded, mixed = _minded(together), any(pair.a != pair.b for pair in together.pairs)
    notes = [_suits(mixed)] if mixed or minded else []
    if minded:
        word = "Apart" if minded[0].verdict == VERDICTS[2] else "With care"
        pairs = [f"{pair_title(pair)} ({cell_word(pair)})" for pair in minded[:_MOST_PAIRS]]
        more = [f"{len(minded) - _MOST_PAIRS} more"] if len(minded) > _MOST_PAIRS else []
        notes = [f"{word}: {'; '.join([*pairs, *more])}."]
    learning = [name_words(wild.cohort) for wild in together.wild if not wild.is_trained]
    wild = [name_words(one.cohort) for one in together.wild]
    if wild or bought:
        who = named([*wild, *(name_words(name) for name in bought)])
        train = f" Teach {'them' if learning == wild and not bought else named(learning)} to eat pellets."
        notes.append(f"Quarantine off the loop: {who}.{train * bool(learning)}")
    if together.reserves:
        least = min((reserve.least for reserve in together.reserves), key=margin)
        place = least.where.split(".")[-1]
        head = "Over its limit" if least.is_broken else "Least reserve"
        notes.append(f"{head}: {LIMITS[least.limit].name} ({place}), {_left(least)} on {_day(least)}.")
    return notes


def company_data(together: Together) -> dict[str, Any]:
    """The same as plain data."""
    site = together.season.site
    units = site.file.site.units
    return {
        "pairs": [pair_data(pair, site, units) for pair in together.pairs],
        "eaten": loss_data(together.losses),
        "wild": wild_data(together.wild, site),
        "law": _law(together),
        "reserve": [
            {
                "tank": reserve.tank,
                "margin_percent": {key: round(margin(finding), 2) for key, finding in reserve.by_limit.items()},
                "least_limit": reserve.least.limit,
                "least_where": reserve.least.where,
                "least_margin_percent": round(margin(reserve.least), 2),
                "least_date": reserve.least.worst_date.isoformat(),
            }
            for reserve in together.reserves
        ],
    }
