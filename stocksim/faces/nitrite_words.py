"""Nitrite above what fish are known to bear: whose survival is not known, and which deaths are not counted.

Apart from `fates`, which alone reads it, for that file is long.
"""

from __future__ import annotations

from typing import Any

from stocksim.engine.results.deaths import nitrite_reached
from stocksim.engine.results.frames import Season
from stocksim.units import format_date


def nitrite_words(season: Season) -> list[str]:
    """A sentence for all cohorts of which the same is to be told when nitrite passes the caution limit."""
    told: dict[str, list[str]] = {}
    for found in nitrite_reached(season.layout, season.course):
        first, worst = season.dates[found.first_day], season.dates[found.worst_day]
        words = (
            f"are known to bear on {format_date(first)} and reaches {found.worst_mg_l:.2g} mg/L as nitrogen "
            f"({found.caution_mg_l:.2g} are borne) on {format_date(worst)}"
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
