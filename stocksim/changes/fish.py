"""Levers on fish, feed, air, heat and planted area."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from stocksim.changes.change import SHARES, Lever, first_passing, inside_tanks, stocked_for
from stocksim.engine.arrays.fish import DEFAULT_APPETITE_FRACTION
from stocksim.engine.arrays.layout import standard_transfer
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.plants.area import planting_ratio
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.fish_tables import AppetiteRation
from stocksim.site.kinds import LIMITS
from stocksim.units import face_unit, format_quantity, parse_quantity, to_face
from stocksim.water.oxygen import diffuser_standard_transfer

_MOST_COUNTS = 60  # whole numbers of fish tried between two shares
# Less than this share of the ration is no lever: fish that are kept on it all season starve (engineering judgement of
# this project, no source).
_LEAST_RATION_SHARE = 0.3
_DIFFUSER_STEP_W, _MOST_DIFFUSER_W = 5.0, 400.0


def fewer_fish(season: Season, finding: Finding, tanks: list[str], place: str) -> Iterator[Lever]:
    """The most fish of some tanks, all cohorts in proportion, that keep a limit."""
    layout = season.layout
    inside = stocked_for(season, inside_tanks(season, tanks))
    if not inside.any():
        return
    counts = np.where(inside, layout.count * SHARES[:, None], layout.count)
    good = first_passing(season, finding, {"count": counts})
    if good is None:
        return
    # between the last share that breaks the limit and the first that holds it, fish by fish of the largest cohort, so
    # that no fish is given up for the grid
    largest = layout.count[inside].max()
    above = math.floor(largest * SHARES[max(good - 1, 0)])
    below = math.floor(largest * SHARES[good] + 1e-9)
    kept = np.unique(np.linspace(above, below, min(above - below + 1, _MOST_COUNTS)).round())[::-1]
    counts = np.where(inside, np.floor(layout.count * (kept / largest)[:, None] + 1e-9), layout.count)
    good = first_passing(season, finding, {"count": counts})
    if good is None or not counts[good, inside].any():
        return
    names = [key for key, here in zip(layout.cohorts, inside, strict=True) if here]
    old, new = layout.count[inside].astype(int).tolist(), counts[good, inside].astype(int).tolist()
    words = " and ".join(f"{n} of the {o} {key}" for key, o, n in zip(names, old, new, strict=True))
    yield Lever(f"keep {words} in {place}", {f"cohorts.{key}.count": n for key, n in zip(names, new, strict=True)})


def more_air(season: Season, finding: Finding, tank: str) -> Iterator[Lever]:
    """The smallest air pump that keeps a tank's oxygen limit."""
    layout, table = season.layout, season.site.file.tanks[tank]
    column = layout.tanks.index(tank)
    now = standard_transfer(table.oxygen_supply)
    per_watt = float(diffuser_standard_transfer(1.0))
    # a supply known by its measured transfer is compared with a diffuser of the same transfer
    least = math.floor(now / per_watt / _DIFFUSER_STEP_W + 1.0) * _DIFFUSER_STEP_W
    powers = np.arange(least, max(_MOST_DIFFUSER_W, 4 * least) + 1.0, _DIFFUSER_STEP_W)
    device = np.repeat(layout.device_g_day[None], powers.size, axis=0)
    device[:, column] = powers * per_watt
    good = first_passing(season, finding, {"device_g_day": device})
    if good is not None:
        watts = powers[good]
        old = f" instead of {now / per_watt:.0f} W" if now > 0 else ""
        yield Lever(
            f"give {tank} air stones fed by {watts:.0f} W{old}",
            {f"tanks.{tank}.oxygen_supply": {"kind": "diffuser", "power": f"{watts:g} W"}},
        )


def less_feed(season: Season, finding: Finding, tanks: list[str]) -> Iterator[Lever]:
    """The largest share of the ration of some tanks that keeps a limit."""
    layout, cohorts = season.layout, season.site.file.cohorts
    inside = inside_tanks(season, tanks) & layout.rations.by_appetite
    shares = SHARES[SHARES >= _LEAST_RATION_SHARE]
    fraction = np.where(inside, layout.ration_fraction * shares[:, None], layout.ration_fraction)
    good = first_passing(season, finding, {"ration_fraction": fraction}, True)
    if good is None:
        return
    share = shares[good]
    changes, words = {}, []
    for key in dict.fromkeys(root for root, here in zip(layout.roots, inside, strict=True) if here):
        ration = cohorts[key].ration
        if ration is not None and not isinstance(ration, AppetiteRation):
            continue
        old = ration.fraction if ration else DEFAULT_APPETITE_FRACTION
        new = math.floor(old * share * 1000.0) / 1000.0
        written = season.site.raw["cohorts"][key].get("ration", {"kind": "appetite"})
        table: dict[str, Any] = {**written, "fraction": new}
        changes[f"cohorts.{key}.ration"] = table
        words.append(f"{key} {100 * new:.0f} % of appetite instead of {100 * old:.0f} %")
    if changes:
        yield Lever(f"feed {', '.join(words)}", changes, cuts_feed=True)


def other_temperature(season: Season, finding: Finding, cohort: str) -> Iterator[Lever]:
    """A set point for heating or cooling the cohort's loop."""
    site = season.site
    day = (finding.worst_date - season.layout.start).days
    loop = site.file.tanks[season.layout.stay_on(cohort, day).table.tank].loop
    units = site.file.site.units
    is_low = LIMITS[finding.limit].is_floor
    shown = to_face(finding.threshold, "temperature", units)
    rounded = math.ceil(shown - 1e-6) if is_low else math.floor(shown + 1e-6)
    text = f"{rounded} {face_unit('temperature', units)}"
    field = "at_least" if is_low else "at_most"
    verb = "heat the water of loop" if is_low else "cool the water of loop"
    words = f"{verb} {loop} to {field.replace('_', ' ')} {text}, or keep {cohort} in another loop"
    # degF to degC and back may lose the last digit, and with it the limit
    value = (max if is_low else min)(parse_quantity(text, "temperature"), finding.threshold)
    if site.file.loops[loop].water_temperature.kind == "computed":
        if is_low:  # a heater in the water, large enough to be proved; `stocksim cold` tells what it takes
            heater = {"power": "1000 kW", "set_point": f"{value + 0.5!r} degC", "fuel": "electricity"}
            yield Lever(words, {f"loops.{loop}.heat.heater": heater})
        return
    yield Lever(words, {f"loops.{loop}.water_temperature.{field}": f"{value!r} degC"})


def other_area(season: Season, loop: str) -> Iterator[Lever]:
    """Plant what the season's feed carries: the same plantings, larger or smaller."""
    file, layout = season.site.file, season.layout
    column = layout.loops.index(loop)
    planted = layout.rated_m2[:, column] > 0.0
    feed = float((season.course.fed_g @ layout.cohort_loop)[0, planted, column].mean())
    middle = float(0.5 * (layout.ratio_low + layout.ratio_high)[planted, column].mean())
    now = float(layout.rated_m2[planted, column].mean())
    factor = feed / middle / now
    changes: dict[str, Any] = {}
    for key, bed in file.beds.items():
        if bed.loop != loop or not BED_KINDS[bed.kind].is_on_loop or not bed.plantings:
            continue
        raw = season.site.raw["beds"][key]
        changes[f"beds.{key}.plantings"] = [
            {**written, "area": f"{(planting.area or bed.planted_face or bed.area) * factor:.4f} m2"}
            for written, planting in zip(raw["plantings"], bed.plantings, strict=True)
        ]
        if factor > 1.0:
            field = "planted_face" if bed.planted_face else "area"
            changes[f"beds.{key}.{field}"] = f"{(bed.planted_face or bed.area) * factor:.4f} m2"
    units = file.site.units
    carried = format_quantity(feed / middle, "area", units)
    have = format_quantity(now, "area", units)
    less = "less than" if factor < 1.0 else "more than"
    is_whole = bool((layout.rated_m2[planted, column] >= layout.planted_m2[planted, column] - 1e-9).all())
    of = "" if is_whole else " with what has a published ratio"
    yield Lever(f"the season's feed carries about {carried} by the handbooks, {less} the {have} planted{of}", changes)


def ratio_in_band(season: Season, finding: Finding) -> bool:
    """Whether the season's mean feed per planted area lies in the mean band."""
    layout = season.layout
    column = layout.loops.index(finding.where.split(".")[1])
    planted = layout.rated_m2[:, column] > 0.0
    feed = (season.course.fed_g @ layout.cohort_loop)[0, planted, column].mean()
    ratio = float(planting_ratio(feed, layout.rated_m2[planted, column].mean()))
    low, high = layout.ratio_low[planted, column].mean(), layout.ratio_high[planted, column].mean()
    return bool(low <= ratio <= high)
