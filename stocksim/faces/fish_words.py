"""What the keeper must know of the fish beside the limits: training, cold and heat, what was taken, weak species."""

from __future__ import annotations

import numpy as np

from stocksim.engine.deaths import DEATHS_TOLD, deaths_by_cause
from stocksim.engine.results import Season
from stocksim.units import format_quantity


def fish_cautions(season: Season) -> list[str]:
    """Cautions about the fish of a season, one sentence each."""
    return [*_wild(season), *_by_temperature(season), *_short(season), *_unfed_amounts(season)]


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
            f"let half of their feed lie, and about {lost:.0f} are lost. Write trained = true for fish that eat "
            "pellets already."
        )
    return words


def _by_temperature(season: Season) -> list[str]:
    """Deaths in the model by water outside what a species bears."""
    layout, course = season.layout, season.course
    by_cause = deaths_by_cause(layout, course)
    dead = by_cause["cold"] + by_cause["heat"]
    words = []
    for cohort in dict.fromkeys(layout.cohorts):
        columns = [at for at, name in enumerate(layout.cohorts) if name == cohort]
        of_cohort = dead[:, columns].sum(axis=1)
        if of_cohort.sum() < DEATHS_TOLD:
            continue
        day = int(np.flatnonzero(of_cohort.cumsum() >= DEATHS_TOLD)[0])
        when = season.dates[day]
        words.append(
            f"Cold or heat kills about {of_cohort.sum():.0f} of {cohort} in the model, from {when.day} {when:%b %Y}: "
            "an alarm, not a count, for fish used to the cold bear more and small fish less."
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
            f"events[{happening.number}], {happening.kind} of {when.day} {when:%b %Y}: {asked} of {cohort} were asked "
            f"for, but deaths had left {there}; all of them were taken."
        )
    return words


def _unfed_amounts(season: Season) -> list[str]:
    """Rules that offer an amount far above what fish eat."""
    layout, course = season.layout, season.course
    words = []
    for column, stay in enumerate(layout.stays):
        if layout.rations.by_appetite[column]:
            continue
        offered, eaten = float(course.fed_g[0, :, column].sum()), float(course.eaten_g[0, :, column].sum())
        if offered > 1.5 * max(eaten, 1e-9) and offered > 1.0:
            words.append(
                f"The rule of {stay.cohort} offers {offered / 1000.0:.1f} kg, of which {eaten / 1000.0:.1f} kg are "
                "eaten; the rest fouls the water, so feed less."
            )
    return words
