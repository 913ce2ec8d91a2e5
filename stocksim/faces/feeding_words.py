"""When to feed in the cold, in words and as data, for the season and the stocking plan."""

from __future__ import annotations

from typing import Any

import numpy as np

from stocksim.engine.results.feeding import FeedingPhase, FeedingPlan, feeding_plans
from stocksim.engine.results.frames import Season
from stocksim.units import format_date, format_quantity

_PHASES_TOLD = 7
_UNFED_TOLD_DAYS = 14  # fewer days without feed in water where fish eat are told by nobody (our choice)
_TRIAL_C = 9.0  # Roy et al. 2019, abstract: docs/fish.md


def feeding_note(units: str) -> str:
    """What the dates rest on, and what the model may miss, below them."""
    return (
        "Suggestions by the water of this season and what trials and common practice say of each species; the site "
        "file's own rules are left as they are. Take out what is left after a quarter of an hour, and feed less if "
        "anything is. Weigh fish in the cold: sunfish and crappie in trials lost 27 to 30 % of their weight in 13 "
        f"weeks at {format_quantity(_TRIAL_C, 'temperature', units)} though fed, much more than in the model."
    )


def feeding_lines(season: Season) -> list[str]:
    """When to feed each cohort that is not fed every day all season, a sentence each.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    list of str
        As ``bluegill_a: feed daily until 9 Nov 2026; then 0.6 % of body weight every second day until 20 Dec ...``.
    """
    units = season.site.file.site.units
    return [_line(plan, season.site.species[plan.species].title, units) for plan in feeding_plans(season)
            if plan.is_of_winter]  # fmt: skip


def _line(plan: FeedingPlan, title: str, units: str) -> str:
    told, rest = plan.phases[:_PHASES_TOLD], len(plan.phases) - _PHASES_TOLD
    parts = [_phase(plan, number, phase, units) for number, phase in enumerate(told)]
    more = f"; {rest} more changes follow, in the JSON answer" if rest > 0 else ""
    known = (
        "" if plan.band.is_measured else " At what water they stop eating was found nowhere; that is where the model's "
        "appetite ends."
    )  # fmt: skip
    return f"{plan.cohort} ({title.lower()}): {'; then '.join(parts)}{more}.{known}"


def _phase(plan: FeedingPlan, number: int, phase: FeedingPhase, units: str) -> str:
    stop, start = (format_quantity(edge, "temperature", units) for edge in (plan.band.stop_c, plan.band.start_c))
    match phase.kind:
        case "daily":
            words = "feed daily" if number == 0 else f"daily again (water at or above {start})"
        case "little":
            low, high = (format_quantity(edge, "temperature", units) for edge in (phase.lowest_c, phase.highest_c))
            water = low if low == high else f"{low} to {high}"
            words = f"{_little(plan)} (water {water})"
        case _:
            words = f"nothing (water below {stop})"
    if number == len(plan.phases) - 1:
        return f"{words} until the end, {format_date(phase.last)}" if number else f"{words} all the time"
    return f"{words} until {format_date(phase.last)}"


def _little(plan: FeedingPlan) -> str:
    every = {1: "every day", 2: "every second day", 3: "every third day"}.get(
        round(plan.band.every_days), f"every {plan.band.every_days:.0f} days"
    )
    if np.isnan(plan.band.ration_percent):
        return f"a little by hand {every}"
    return f"about {plan.band.ration_percent:g} % of body weight {every}"


def feeding_cautions(season: Season) -> list[str]:
    """Where a cohort's own rule feeds in water too cold for it, or gives nothing for weeks where such fish eat."""
    units, said = season.site.file.site.units, []
    for plan in feeding_plans(season):
        stop = format_quantity(plan.band.stop_c, "temperature", units)
        if plan.fed_below:
            number = len(plan.fed_below)
            said.append(
                f"{plan.cohort} is offered feed on {number} day{'s' * (number != 1)} in the cold, from "
                f"{format_date(plan.fed_below[0])}, below {stop} or before three warm days: what is not eaten fouls "
                "the water. Write stop_below in its ration."
            )
        if len(plan.unfed) >= _UNFED_TOLD_DAYS and plan.band.is_measured:
            said.append(
                f"{plan.cohort} eats nothing in the model from {format_date(plan.unfed[0])} to "
                f"{format_date(plan.unfed[-1])}, though such fish have been seen to eat in water of {stop} and more: "
                "offer a little and watch."
            )
    return said


def feeding_data(season: Season) -> dict[str, Any]:
    """When to feed every cohort, as plain values; keys carry units."""
    return {
        plan.cohort: {
            "feeding_stop_c": round(plan.band.stop_c, 3),
            "is_stop_measured": plan.band.is_measured,
            "feeding_start_c": round(plan.band.start_c, 3),
            "winter_ration_percent": None if np.isnan(plan.band.ration_percent) else plan.band.ration_percent,
            "winter_feed_every_days": plan.band.every_days,
            "phases": [
                {
                    "feed": phase.kind,
                    "first": phase.first.isoformat(),
                    "last": phase.last.isoformat(),
                    "water_lowest_c": round(phase.lowest_c, 3),
                    "water_highest_c": round(phase.highest_c, 3),
                }
                for phase in plan.phases
            ],
            "days_fed_below_stop": len(plan.fed_below),
            "longest_unfed_days": len(plan.unfed),
        }
        for plan in feeding_plans(season)
    }


def small_data(small: Any) -> dict[str, Any]:
    """Fish that are small for their winter, of `stocksim.heat.small_fish`, as plain values."""
    return {
        "where": small.where,
        "species": small.species,
        "length_mm": round(small.length_mm, 1),
        "safe_length_mm": small.safe_length_mm,
        "first": small.first.isoformat(),
        "cold_days": small.days,
        "lost_fed_percent": round(100.0 * small.lost_fed, 2),
        "lost_unfed_percent": round(100.0 * small.lost_unfed, 2),
    }
