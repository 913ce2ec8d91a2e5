"""What the keeper must know of the fish beside the limits: training, cold and heat, what was taken, nitrite, feed."""

from __future__ import annotations

from typing import Any

import numpy as np

from stocksim.engine.results.deaths import DEATHS_TOLD, deaths_by_cause, nitrite_reached, not_known_by_temperature
from stocksim.engine.results.frames import Season
from stocksim.library.feeds import feed_kind, shares_of
from stocksim.site.kinds import CAUSES_OF_DEATH
from stocksim.units import format_date, format_quantity


def fish_cautions(season: Season) -> list[str]:
    """Cautions about the fish of a season, one sentence each."""
    return [
        *_wild(season),
        *_by_temperature(season),
        *_not_known(season),
        *nitrite_words(season),
        *_short(season),
        *_unfed_amounts(season),
        *_natural(season),
    ]


def _natural(season: Season) -> list[str]:
    """What each natural food that was given asks for."""
    entries = {
        part.name: part for stay in season.layout.stays for _, part in shares_of(season.site.feeds[stay.table.feed])
    }
    return [
        f"{name}: {entry.facts['caution']}"
        for name, entry in entries.items()
        if feed_kind(entry) == "natural" and "caution" in entry.facts
    ]


def _wild(season: Season) -> list[str]:
    cohorts = season.site.file.cohorts
    wild = [key for key, cohort in cohorts.items() if cohort.wild]
    if not wild:
        return []
    learning = [key for key in wild if not cohorts[key].trained]
    words = [
        f"Wild-caught fish ({', '.join(wild)}) may carry parasites and disease: quarantine them in a tank off the "
        "loop; most places ask for a permit to catch or keep them."
    ]
    if learning:
        lost = float(deaths_by_cause(season.layout, season.course)["training"].sum())
        words.append(
            f"{', '.join(learning)} must learn to take pellets first: in the model they do not grow for some weeks, "
            f"leave half of their feed uneaten, and about {lost:.0f} are lost. Write trained = true for fish that eat "
            "pellets already."
        )
    return words


def _by_temperature(season: Season) -> list[str]:
    """Deaths in the model by water outside what a species bears."""
    layout, course = season.layout, season.course
    by_cause = deaths_by_cause(layout, course)
    dead = np.sum([by_cause[cause] for cause, kind in CAUSES_OF_DEATH.items() if kind.is_of_warmth], axis=0)
    words = []
    for cohort in dict.fromkeys(layout.cohorts):
        columns = [at for at, name in enumerate(layout.cohorts) if name == cohort]
        of_cohort = dead[:, columns].sum(axis=1)
        if of_cohort.sum() < DEATHS_TOLD:
            continue
        day = int(np.flatnonzero(of_cohort.cumsum() >= DEATHS_TOLD)[0])
        when = season.dates[day]
        words.append(
            f"Cold or heat kills about {of_cohort.sum():.0f} of {cohort} in the model, from {format_date(when)}: "
            "an alarm, not a count, for strains differ and small fish tolerate less."
        )
    return words


def not_known_data(season: Season) -> list[dict[str, Any]]:
    """Where the season cannot tell whether fish survive its cold or heat."""
    return [
        {
            "cohort": one.cohort,
            "species": one.species,
            "cause": one.cause,
            "caution_c": one.limit_c,
            "worst_c": round(one.worst_c, 3),
            "worst_date": season.dates[one.worst_day].isoformat(),
            "first_date": season.dates[one.first_day].isoformat(),
            "last_date": season.dates[one.last_day].isoformat(),
            "days": one.days,
        }
        for one in not_known_by_temperature(season.layout, season.course, season.site.species)
    ]


def _not_known(season: Season) -> list[str]:
    """That whether a species survives such cold or heat was not measured."""
    units = season.site.file.site.units
    words = []
    for one in not_known_by_temperature(season.layout, season.course, season.site.species):
        worst, caution = (format_quantity(level, "temperature", units) for level in (one.worst_c, one.limit_c))
        harsh = "hot" if one.worst_c > one.limit_c else "cold"
        words.append(
            f"Whether {one.cohort} ({one.species}) survive water as {harsh} as {worst}, on "
            f"{format_date(season.dates[one.worst_day])}, is not known here, and the model kills none by it: it "
            f"passes {caution}, where worry begins, on {one.days} day{'s' * (one.days != 1)} from "
            f"{format_date(season.dates[one.first_day])} to {format_date(season.dates[one.last_day])}, and its file "
            f"holds no measured death by {one.cause}."
        )
    return words


def _short(season: Season) -> list[str]:
    """Events that asked for more fish than deaths had left."""
    units = season.site.file.site.units
    words = []
    for transfer in season.course.transfers:
        happening, had = transfer.happening, float(transfer.had[0])
        if not transfer.wanted > had * (1.0 + 1e-9):
            continue
        cohort, when = season.layout.cohorts[happening.source], season.dates[happening.day]
        by_weight = not np.isnan(happening.weight_g)
        asked = format_quantity(transfer.wanted, "weight", units) if by_weight else f"{transfer.wanted:.0f} fish"
        there = format_quantity(had, "weight", units) if by_weight else f"{had:.1f}"
        words.append(
            f"events[{happening.number}], {happening.kind} of {format_date(when)}: {asked} of {cohort} were asked "
            f"for, but deaths had left {there}; all of them were taken."
        )
    return words


def _unfed_amounts(season: Season) -> list[str]:
    """Rules that offer an amount far above what fish eat."""
    layout, course, units = season.layout, season.course, season.site.file.site.units
    words = []
    for column, stay in enumerate(layout.stays):
        if layout.rations.by_appetite[column]:
            continue
        offered, eaten = float(course.fed_g[0, :, column].sum()), float(course.eaten_g[0, :, column].sum())
        if offered > 1.5 * max(eaten, 1e-9) and offered > 1.0:
            words.append(
                f"The rule of {stay.cohort} offers {format_quantity(offered / 1000.0, 'mass', units)}, of which "
                f"{format_quantity(eaten / 1000.0, 'mass', units)} are eaten; the rest fouls the water, so feed less."
            )
    return words


# --- nitrite above what fish are known to bear: whose survival is not known, and which deaths are not counted


def nitrite_words(season: Season) -> list[str]:
    """A sentence for all cohorts of which the same is to be told when nitrite passes the caution limit."""
    told: dict[str, list[str]] = {}
    for found in nitrite_reached(season.layout, season.course):
        first, worst = season.dates[found.first_day], season.dates[found.worst_day]
        words = (
            f"are known to tolerate on {format_date(first)} and reaches {found.worst_mg_l:.2g} mg/L as nitrogen "
            f"({found.caution_mg_l:.2g} are tolerated) on {format_date(worst)}"
        )
        if found.is_known:
            words += (
                f"; counted are only deaths near {found.lethal_mg_l:.2g} mg/L, which kills half in four days. Weeks "
                "far below such a level have killed other fish."
            )
        else:
            words += (
                ". Whether they survive that is not known here, so no deaths of it are counted: do not rely on their "
                "number at the end."
            )
        told.setdefault(words, []).append(found.cohort)
    return [f"Nitrite passes what {', '.join(cohorts)} {words}" for words, cohorts in told.items()]


def nitrite_data(season: Season) -> dict[str, dict[str, Any]]:
    """The same as plain data, by cohort; keys carry units."""
    return {
        found.cohort: {
            "first_date": season.dates[found.first_day].isoformat(),
            "worst_date": season.dates[found.worst_day].isoformat(),
            "worst_n_mg_l": round(found.worst_mg_l, 6),
            "caution_n_mg_l": round(found.caution_mg_l, 6),
            "lethal_n_mg_l": round(found.lethal_mg_l, 6) if found.is_known else None,
            "survival": "counted" if found.is_known else "not known",
        }
        for found in nitrite_reached(season.layout, season.course)
    }
