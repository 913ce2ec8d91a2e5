"""Who may share a tank or a loop, in sentences."""

from __future__ import annotations

import math

from stocksim.answers.tankmates.decide import Company
from stocksim.answers.tankmates.loops import Fit, LoopCompany, LoopPair, Resident
from stocksim.faces.company_words import (
    EVIDENCE,
    OF_SPECIES,
    SHORT_KEY,
    name_words,
    outside_sentence,
    species_cautions,
    window_sentence,
    window_words,
)
from stocksim.faces.words import day_words
from stocksim.fish.company import VERDICTS
from stocksim.site.notes import own_files
from stocksim.site.reading import Site
from stocksim.units import format_quantity

SIGNS = dict(zip(VERDICTS, ("+", "~", "X"), strict=True))
PAGE_SIGNS = dict(zip(VERDICTS, ("✓", "~", "✗"), strict=True))
NO_SOURCE = (
    "No published source that we read advises warm-water and cool-water fish in one loop: in one water one of them "
    "gives up growth, or health."
)


def matrix_words(company: Company) -> str:
    """How to read the matrix of a page."""
    day = day_words(company.season.dates[0])
    return (
        "✓ together, ~ with care, ✗ apart; an ink border: they share a tank now. A date: from when the verdict holds, "
        f"if not from the first day both are here (season from {day}). {SHORT_KEY}"
    )


def cautions(company: Company) -> list[str]:
    """What to keep in mind: each species' caution, the law."""
    return species_cautions(company.season.site.species)


def assumptions(company: Company) -> list[str]:
    """On what evidence this stands, and own files, one sentence each."""
    site = company.season.site
    said = [EVIDENCE, *own_files(site.species, site.feeds)]
    grown: dict[str, list[str]] = {}
    for key, entry in site.species.items():
        grown.setdefault(entry.evidence, []).append(name_words(key))
    return said + [f"Growth values: evidence {grade} for {', '.join(keys)}." for grade, keys in grown.items()]


# --- who may share a loop: what each species gives up in its water, and what could be done instead, in sentences

_MOST_FITTING = 6
RESIDENT_WORDS = (
    "Days here; cold, warm: days outside the growth window; limits: days it cannot tolerate. Growth: gain here at "
    "full appetite against the gain at the species' own best temperature all the time; rough, and blind to crowding "
    "and poor water."
)


def loop_sentences(pair: LoopPair, site: Site, units: str, is_brief: bool = False) -> list[str]:
    """What speaks against two species in one loop, and what each keeps at the water kindest to both.

    The days outside a growth window are left out where that is brief: `resident_rows` tells them.
    """
    said = []
    for obstacle in pair.obstacles:
        if is_brief and obstacle.key == "season_outside_growth":
            continue
        if obstacle.key == "narrow_growth_window":
            said.append(window_sentence([(pair.a, pair.grows_a), (pair.b, pair.grows_b)], units))
        elif obstacle.key in OF_SPECIES:
            said.append(OF_SPECIES[obstacle.key](pair.a, pair.b, site, units))
        elif obstacle.key == "no_common_water":
            said.append("No water suits both.")
        else:
            when = f", first on {day_words(obstacle.date)}" if obstacle.date else ""
            name = name_words(obstacle.who)
            grows = pair.grows_a if obstacle.who == pair.a else pair.grows_b
            said.append(
                outside_sentence(name, obstacle.key, obstacle.who, obstacle.number, 0, site, units, when, grows)
            )
    if not math.isnan(pair.kindest_c):
        said.append(
            f"At the best shared temperature, {format_quantity(pair.kindest_c, 'temperature', units)}, "
            f"{name_words(pair.a)} keeps {100.0 * pair.share_a:.0f} % and {name_words(pair.b)} "
            f"{100.0 * pair.share_b:.0f} % of its best daily growth (rough)."
        )
    return said


def water_words(loop: LoopCompany, units: str) -> str:
    """The water of a loop over the season, as ``water 53.9 degF to 64.9 degF``."""
    low, high = (format_quantity(end, "temperature", units) for end in (loop.lowest_c, loop.highest_c))
    return f"water {low}" if low == high else f"water {low} to {high}"


def growth_words(resident: Resident) -> str:
    """Growth of a species in a loop's water against its own best, roughly."""
    if math.isnan(resident.growth_share):
        return "-"
    return "loses weight" if resident.growth_share < 0.0 else f"about {100.0 * resident.growth_share:.0f} %"


def resident_rows(loop: LoopCompany, site: Site, units: str) -> list[dict[str, str]]:
    """A row for each species of a loop: what it gives up in its water; keys are the column heads."""
    return [
        {
            "species": name_words(resident.species),
            "grows at": window_words(resident.grows_from_c, resident.grows_to_c, units),
            "days": str(resident.days),
            "cold": str(resident.days_cold),
            "warm": str(resident.days_warm),
            "limits": str(resident.days_outside),
            "growth": growth_words(resident),
        }
        for resident in loop.residents
    ]


def _fits_words(fits: list[Fit]) -> str:
    """Species by the share of days that suits them, as ``perch, bass (all days), trout (84 % of days)``."""
    by_share: dict[str, list[str]] = {}
    for fit in fits:
        share = "all days" if fit.share > 0.995 else f"{100.0 * fit.share:.0f} % of days"
        by_share.setdefault(share, []).append(name_words(fit.species))
    return ", ".join(f"{', '.join(names)} ({share})" for share, names in by_share.items())


def loop_offers(loop: LoopCompany, site: Site, units: str) -> list[str]:
    """What could be done instead, where species of a loop do not suit each other.

    Parameters
    ----------
    loop : LoopCompany
        Of `stocksim.answers.tankmates.loops`.
    site : Site
        Its site.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    list of str
        Sentences; only the species that fit the water where nothing is amiss.
    """
    said = []
    if len(loop.partitions) > 1:
        parts = "; ".join(
            f"{' and '.join(name_words(s) for s in part.species)} at {window_words(part.low_c, part.high_c, units)}"
            for part in loop.partitions
        )
        loops = "A second loop" if len(loop.partitions) == 2 else f"{len(loop.partitions)} loops"
        said.append(f"{loops}, so that each has its own water: {parts}.")
    elif loop.partitions:
        part = loop.partitions[0]
        inside = window_words(part.low_c, part.high_c, units)
        said.append(f"One loop can serve them all, kept at {inside}: another temperature, not a second loop.")
    for name in dict.fromkeys(fit.loop for fit in loop.other_loops):
        fits = _fits_words([fit for fit in loop.other_loops if fit.loop == name])
        said.append(f"The site's own loop {name}, whose water is in the growth window of {fits}.")
    spells = [spell for spell in loop.spells if spell.first is not None and spell.last is not None]
    without = [name_words(spell.species) for spell in loop.spells if spell.first is None]
    if spells:
        here = "; ".join(
            f"{name_words(spell.species)} from {day_words(spell.first)} to {day_words(spell.last)}"
            for spell in spells
            if spell.first and spell.last
        )
        said.append(
            f"A swap by season, each while this water suits it: {here}"
            + (f"; for {', '.join(without)} this season has no such four weeks." if without else ".")
        )
    elif loop.spells:
        said.append("A swap by season does not help here: this season's water suits none of them for four weeks.")
    if loop.fitting:
        fits = _fits_words(list(loop.fitting[:_MOST_FITTING]))
        said.append(f"Species whose growth window holds this water: {fits}. Then check who eats or bites whom.")
    else:
        said.append("No species of the library has this water in its growth window on half of the days.")
    return said
