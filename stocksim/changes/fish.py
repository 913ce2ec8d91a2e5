"""Changes of fish, feed, air and heat that may mend a limit.

Apart from `search`, for sources of changes stand together, a topic a file.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from stocksim.changes.change import (
    SHARES,
    Action,
    Change,
    first_passing,
    inside_tanks,
    least_that_does,
    mends_when_run,
    stocked_for,
)
from stocksim.changes.heat import degree_text, electric_heater, least_whole_degree
from stocksim.engine.arrays.fish import DEFAULT_APPETITE_FRACTION
from stocksim.engine.arrays.layout import standard_transfer
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.site.fish_tables import AppetiteRation, UnfedRation
from stocksim.site.kinds import LIMITS
from stocksim.units import parse_quantity, to_face
from stocksim.water.oxygen import diffuser_standard_transfer

_MOST_COUNTS = 60  # whole numbers of fish tried between two, in one go
# Less than this share of the ration is not offered: fish that are kept on it all season starve (engineering judgement
# of this project, no source).
_LEAST_RATION_SHARE = 0.3
# Air pumps that shops sell (common practice, no source).
SHOP_POWERS_W = (5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 100, 120, 150, 200, 250, 300, 400)
# Meals by day, more and more of them, and last a belt feeder (common practice, no source)
FEEDING_HOURS = (
    ("07:00", "12:00", "17:00"), ("06:00", "09:00", "12:00", "15:00", "18:00"), ("06:00-20:00",),
)  # fmt: skip
# Flow that a tank is given at most: its water twice an hour (common practice is once or twice, no source).
_FLOW_STEP, _MOST_TURNOVER_DAY = 1.2, 48.0
# Set points tried above a cold limit, at which fish may starve (our choice); steps in the keeper's degrees.
_WARMER_SET_POINTS, _SET_POINT_STEP = 4, {"metric": 3, "us": 5}


def fewer_fish(season: Season, finding: Finding, tanks: list[str], where: str) -> Iterator[Change]:
    """The most fish of some tanks, all cohorts in proportion, that keep a limit; told of a place."""
    layout = season.layout
    inside = stocked_for(season, inside_tanks(season, tanks))
    if not inside.any():
        return
    counts = np.where(inside, layout.count * SHARES[:, None], layout.count)
    good = first_passing(season, finding, {"count": counts}, is_one_stretch=True)
    if good is None:
        return
    # between the last share that breaks the limit and the first that holds it, fish by fish of the largest cohort, so
    # that no fish is given up for the grid
    largest = layout.count[inside].max()
    above = math.floor(largest * SHARES[max(good - 1, 0)])
    below = math.floor(largest * SHARES[good] + 1e-9)
    while True:
        kept = np.array(
            sorted({*np.linspace(above, below, min(above - below + 1, _MOST_COUNTS)).round()}, reverse=True)
        )
        counts = np.where(inside, np.floor(layout.count * (kept / largest)[:, None] + 1e-9), layout.count)
        good = first_passing(season, finding, {"count": counts}, is_one_stretch=True)
        if not good or kept[good - 1] - kept[good] <= 1.0:
            break
        above, below = int(kept[good - 1]), int(kept[good])
    if good is None or not counts[good, inside].any():
        return
    names = [key for key, here in zip(layout.cohorts, inside, strict=True) if here]
    old, new = layout.count[inside].astype(int).tolist(), counts[good, inside].astype(int).tolist()
    yield Change(
        Action.FEWER_FISH,
        {f"cohorts.{key}.count": n for key, n in zip(names, new, strict=True)},
        {"where": where, "kept": tuple(zip(names, new, old, strict=True))},
    )


def more_air(season: Season, finding: Finding, tank: str) -> Iterator[Change]:
    """The smallest air pump that keeps a tank's oxygen limit."""
    layout, table = season.layout, season.site.file.tanks[tank]
    column = layout.tanks.index(tank)
    now = standard_transfer(table.oxygen_supply)
    per_watt = float(diffuser_standard_transfer(1.0))
    # a supply known by its measured transfer is compared with a diffuser of the same transfer
    powers = np.array([watts for watts in shop_powers(4.0 * now / per_watt) if watts > now / per_watt + 0.01])
    device = np.repeat(layout.device_g_day[None], powers.size, axis=0)
    device[:, column] = powers * per_watt
    good = first_passing(season, finding, {"device_g_day": device})
    if good is not None:
        watts = float(powers[good])
        yield Change(
            Action.MORE_AIR,
            {f"tanks.{tank}.oxygen_supply": {"kind": "diffuser", "power": f"{watts:g} W"}},
            {"tank": tank, "power_w": watts, "now_w": now / per_watt},
        )


def smaller_pump(season: Season, change: Change) -> Change | None:
    """The air pump that is sold one size smaller, where that is still more than there is; None for another change."""
    if change.kind is not Action.MORE_AIR:
        return None
    at = change.amounts
    smaller = [watts for watts in shop_powers(at["power_w"]) if at["now_w"] + 0.01 < watts < at["power_w"]]
    if not smaller:
        return None
    field = f"tanks.{at['tank']}.oxygen_supply"
    supply = {"kind": "diffuser", "power": f"{smaller[-1]:g} W"}
    return Change(Action.MORE_AIR, {field: supply}, at | {"power_w": smaller[-1]})


def shop_powers(most_w: float) -> list[float]:
    """Powers of air pumps to be had, several of the largest where more is asked for. [W]"""
    largest = SHOP_POWERS_W[-1]
    several = [float(largest * n) for n in range(2, math.ceil(most_w / largest) + 1)]
    return [*map(float, SHOP_POWERS_W), *several]


def more_flow(season: Season, finding: Finding, tank: str) -> Iterator[Change]:
    """The smallest flow through a tank that keeps a limit, where its water turns over slowly."""
    table = season.site.file.tanks[tank]
    steps = math.floor(math.log(max(_MOST_TURNOVER_DAY * table.volume / table.flow, 1.0), _FLOW_STEP))
    least = least_that_does(0, steps, lambda step: mends_when_run(season, finding, _sent(tank, table.flow, step)))
    if least is not None:
        yield _sent(tank, table.flow, least)


def _sent(tank: str, now_m3_day: float, steps: int) -> Change:
    flow = now_m3_day * _FLOW_STEP**steps
    amounts = {"tank": tank, "flow_m3_day": flow, "now_m3_day": now_m3_day}
    return Change(Action.MORE_FLOW, {f"tanks.{tank}.flow": f"{flow:.6g} m3/day"}, amounts)


def less_feed(season: Season, finding: Finding, tanks: list[str]) -> Iterator[Change]:
    """The largest share of the ration of some tanks that keeps a limit."""
    layout, cohorts = season.layout, season.site.file.cohorts
    inside = inside_tanks(season, tanks) & layout.rations.by_appetite
    shares = SHARES[SHARES >= _LEAST_RATION_SHARE]
    fraction = np.where(inside, layout.ration_fraction * shares[:, None], layout.ration_fraction)
    good = first_passing(season, finding, {"ration_fraction": fraction}, True, is_one_stretch=True)
    if good is None:
        return
    share = shares[good]
    changes, rations = {}, []
    for key in dict.fromkeys(root for root, here in zip(layout.roots, inside, strict=True) if here):
        ration = cohorts[key].ration
        if ration is not None and not isinstance(ration, AppetiteRation):
            continue
        old = ration.fraction if ration else DEFAULT_APPETITE_FRACTION
        new = math.floor(old * share * 1000.0) / 1000.0
        written = season.site.raw["cohorts"][key].get("ration", {"kind": "appetite"})
        table: dict[str, Any] = {**written, "fraction": new}
        changes[f"cohorts.{key}.ration"] = table
        rations.append((key, new, old))
    if changes:
        yield Change(Action.LESS_FEED, changes, {"rations": tuple(rations)}, cuts_feed=True)


def other_hours(season: Season, loop: str) -> Iterator[Change]:
    """The same feed in more meals, then from a belt feeder all day: oxygen sinks and ammonia rises after each meal.

    Cohorts with hours or a number of meals of their own are fed at the loop's then.
    """
    file = season.site.file
    tanks = [key for key, tank in file.tanks.items() if tank.loop == loop]
    rations = {key: cohort.ration for key, cohort in file.cohorts.items() if cohort.tank in tanks}
    now = len(file.loops[loop].feeding_hours or ())
    own: dict[str, Any] = {}
    for key, ration in rations.items():
        if ration is None or isinstance(ration, UnfedRation):
            continue
        now = max(now, len(ration.feeding_hours or ()))
        if ration.feeding_hours or ration.meals_per_day:
            written = season.site.raw["cohorts"][key]["ration"]
            kept = {field: value for field, value in written.items() if field not in ("feeding_hours", "meals_per_day")}
            own[f"cohorts.{key}.ration"] = kept
    for hours in FEEDING_HOURS:
        if "-" in hours[0] or len(hours) > now:
            fields = {f"loops.{loop}.feeding_hours": list(hours)} | own
            yield Change(Action.FEEDING_HOURS, fields, {"loop": loop, "hours": hours})


def other_temperature(season: Season, finding: Finding, cohort: str) -> Iterator[Change]:
    """Set points for heating or cooling the cohort's loop: at the limit, then warmer ones in which fish eat."""
    site = season.site
    day = (finding.worst_date - season.layout.start).days
    stay = season.layout.stay_on(cohort, day).table
    loop = site.file.tanks[stay.tank].loop
    units = site.file.site.units
    is_low = LIMITS[finding.limit].is_floor
    highest = math.floor(to_face(finding.threshold, "temperature", units) + 1e-6)
    degrees = least_whole_degree(finding.threshold, units) if is_low else highest
    bearable = site.species[stay.species]["temperature_high_stress"] - 1.0
    for warmer in range(_WARMER_SET_POINTS + 1 if is_low else 1):
        text = degree_text(degrees + warmer * _SET_POINT_STEP[units], units)
        typed = parse_quantity(text, "temperature")
        if warmer and typed > bearable:
            return
        amounts = {"loop": loop, "cohort": cohort, "temperature_c": typed, "is_floor": is_low}
        # degF to degC and back may lose the last digit, and with it the limit
        value = (max if is_low else min)(typed, finding.threshold)
        if site.file.loops[loop].water_temperature.kind != "computed":
            name = "at_least" if is_low else "at_most"
            yield Change(Action.SET_POINT, {f"loops.{loop}.water_temperature.{name}": f"{value!r} degC"}, amounts)
        elif is_low:  # a heater in the water, large enough to be proved; `stocksim cold` tells what it takes
            heater = electric_heater(site.file, "1000 kW", f"{value + 0.5!r} degC")
            yield Change(Action.SET_POINT, {f"loops.{loop}.heat.heater": heater}, amounts)
