"""Where the numbers behind a feeding ramp come from, in short lines."""

from __future__ import annotations

from stocksim.planning.climb import LOOKAHEADS_DAYS, MOST_RISE_SHARE, RESERVE_PERCENT
from stocksim.planning.ramp_fate import EASY_PH, HIGH_PH, MODEST_TAN_MG_L
from stocksim.site.reading import Site
from stocksim.water.maturity import DECAY_AT_20_PER_DAY, OXIDIZERS, STARTS
from stocksim.water.nitrite import CHLORIDE_PER_NITRITE

_LIMITS = {"unionized_ammonia_design": "un-ionized ammonia", "nitrite_limit": "nitrite nitrogen"}


def ramp_sources(site: Site) -> list[str]:
    """Sources of limits, film growth and schedule.

    Parameters
    ----------
    site : Site
        Its species' limits are told from their own files.

    Returns
    -------
    list of str
        One line each; a source that was not read in full says how much of it was.
    """
    return [*_limit_sources(site), *_film_sources(), *_schedule_sources()]


def _limit_sources(site: Site) -> list[str]:
    """A line for each limit, its species put together by their common source."""
    lines = []
    kept = sorted({cohort.species for cohort in site.file.cohorts.values()})
    for key, name in _LIMITS.items():
        by_source: dict[str, list[str]] = {}
        for species in kept:
            value = site.species[species].values[key]
            source = site.species[species].sources[value.source]
            by_source.setdefault(f"{source.cite} ({source.read})", []).append(f"{species} {value.value:g}")
        told = "; ".join(f"{', '.join(fish)}: {cite}" for cite, fish in by_source.items())
        if told:
            lines.append(f"Limits of {name}, mg/L. {told}. Each value's place: the species' own file.")
    if any(site.species[species]["chloride_protects"] > 0.0 for species in kept):
        lines.append(
            f"Chloride lifts the nitrite limit of fish that it shields: {CHLORIDE_PER_NITRITE:g} times the nitrite "
            "ion, Durborow, Crosby & Brunson 1997, SRAC 462 (text read)."
        )
    return lines


def _film_sources() -> list[str]:
    ammonia, nitrite = (OXIDIZERS[kind].growth_at_15_per_day for kind in ("ammonia", "nitrite"))
    return [
        "Un-ionized share of ammonia: Emerson et al. 1975, J. Fish. Res. Board Can. 32, 2379-2383 (formula read as "
        "quoted).",
        f"Film growth at 15 degC: ammonia oxidizers {ammonia:g} a day, from memory of US EPA 1975, Process Design "
        f"Manual for Nitrogen Control; nitrite oxidizers {nitrite:g}, fitted in this project to about four weeks at 20 "
        "degC (common practice, no source). Both grow as their food, oxygen and alkalinity allow.",
        f"Film decay: {DECAY_AT_20_PER_DAY:g} a day at 20 degC, chosen in this project. A new film starts at "
        f"{100 * STARTS['new']:g} %, a seeded one at {100 * STARTS['seeded']:g} %, a mature one at "
        f"{100 * STARTS['mature']:g} % (assumed).",
    ]


def _schedule_sources() -> list[str]:
    days = ", ".join(str(days) for days in LOOKAHEADS_DAYS)
    return [
        f"Rise of {100 * MOST_RISE_SHARE:.0f} % a week at most: 10-20 % is common practice, no source. Reserve of "
        f"{RESERVE_PERCENT:.0f} % and looking {days} days ahead: this project's judgement.",
        f"pH is called the cause above {HIGH_PH:g} with at most {MODEST_TAN_MG_L:g} mg/L of total ammonia nitrogen "
        f"that pH {EASY_PH:g} would make harmless: common practice, no source.",
    ]
