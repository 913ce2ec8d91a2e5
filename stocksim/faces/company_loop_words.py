"""Who may share a loop: what each species gives up in its water, and what could be done instead, in sentences."""

from __future__ import annotations

import math

from stocksim.faces import company_words as words
from stocksim.faces.company_words import name_words, window_words
from stocksim.faces.words import day_words
from stocksim.planning.company_loops import Fit, LoopCompany, LoopPair, Resident
from stocksim.site.reading import Site
from stocksim.units import format_quantity

_MOST_FITTING = 6
RESIDENT_WORDS = (
    "Days here; cold, warm: days outside the growth window; limits: days outside what it bears. Growth: gain here at "
    "full appetite against the gain at the species' own best temperature all the time; rough, and blind to crowding "
    "and poor water."
)


def loop_sentences(pair: LoopPair, site: Site, units: str) -> list[str]:
    """What speaks against two species in one loop, and what each keeps at the water kindest to both."""
    said = []
    for obstacle in pair.obstacles:
        if obstacle.key == "never_by_rule":
            said.append(words.rule_words(pair.a, pair.b, site))
        elif obstacle.key == "no_common_water":
            said.append("No water suits both.")
        elif obstacle.key == "narrow_growth_window":
            said.append(words.window_sentence((pair.a, pair.b), site, units))
        elif obstacle.key == "oxygen_class":
            said.append(words.oxygen_sentence(pair.a, pair.b, site))
        else:
            when = f", first on {day_words(obstacle.date)}" if obstacle.date else ""
            name = name_words(obstacle.who)
            said.append(words.outside_sentence(name, obstacle.key, obstacle.who, obstacle.number, 0, site, units, when))
    if not math.isnan(pair.kindest_c):
        said.append(
            f"At the one water kindest to both, {format_quantity(pair.kindest_c, 'temperature', units)}, "
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
            "grows at": window_words(
                site.species[resident.species]["growth_temperature_low"],
                site.species[resident.species]["growth_temperature_high"],
                units,
            ),
            "days": str(resident.days),
            "cold": str(resident.days_cold),
            "warm": str(resident.days_warm),
            "limits": ("!" if resident.days_outside else "") + str(resident.days_outside),
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
        Of `stocksim.planning.company_loops`.
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
        said.append(f"Species whose growth window holds this water: {fits}. Mouths and temper come on top.")
    else:
        said.append("No species of the library has this water in its growth window on half of the days.")
    return said
