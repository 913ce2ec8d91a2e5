"""A heated loop of their own for the warm-water fish of a mixed loop, as a change of the site file.

Apart from `options`, which tries set points and measures on the loops that are there.
"""

from __future__ import annotations

import copy
from typing import Any

from stocksim.answers.cold.options import FOAM_MM, bought_fields
from stocksim.changes.change import ADVICE_OF, Action, Change
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.pumps import pump_loop, written_pump_w
from stocksim.site.reading import Site
from stocksim.units import parse_quantity

WARM_FISH_C = 27.0  # fish that eat best from here up are warm-water fish here, which leaves perch out (our choice)


def warm_loop(site: Site) -> Change | None:
    """Change that gives the warm-water fish of a mixed loop a heated loop of their own.

    Parameters
    ----------
    site : Site
        Its computed form.

    Returns
    -------
    Change or None
        None where no loop mixes tanks of warm- and of cool-water fish, or the keeper forbids heat.
    """
    file = site.file
    if ADVICE_OF[Action.WARM_LOOP] in file.advice.never:
        return None
    for key, loop in file.loops.items():
        if not isinstance(loop.water_temperature, ComputedTemperature):
            continue
        optimum: dict[str, list[float]] = {}
        for cohort in file.cohorts.values():
            if file.tanks[cohort.tank].loop == key:
                optimum.setdefault(cohort.tank, []).append(site.species[cohort.species]["appetite_optimum"])
        warm = [tank for tank, values in optimum.items() if min(values) >= WARM_FISH_C]
        if not warm or len(warm) == len(optimum):
            continue
        return _split(site, key, warm)
    return None


def _pumps_anew(site: Site, key: str, table: dict[str, Any], share: float) -> dict[str, Any]:
    """What a loop's pumps become where part of it is parted: watts of each part, for who feeds what is built anew; the
    new part's are put into its table."""
    file = site.file
    own = [name for name, pump in file.pumps.items() if pump_loop(file, pump) == key]
    changes: dict[str, Any] = {f"tanks.{name}.overflows_to": None for name, t in file.tanks.items() if t.loop == key}
    for bound in ("sump_brim", "sump_least"):
        table.pop(bound, None)
        changes[f"loops.{key}.{bound}"] = None
    if not own:
        return changes
    watts = written_pump_w(file, key)
    table["heat"]["pump"] = f"{share * watts!r} W"
    changes |= {f"pumps.{name}": None for name in own} | {f"loops.{key}.heat.pump": f"{(1.0 - share) * watts!r} W"}
    return changes


def _split(site: Site, key: str, warm: list[str]) -> Change:
    file, units = site.file, site.file.site.units
    text = "75 degF" if units == "us" else "24 degC"
    moved = sum(file.tanks[tank].volume for tank in warm)
    share = moved / sum(tank.volume for tank in file.tanks.values() if tank.loop == key)
    new = f"{key}_warm"
    heater = bought_fields(file, text)
    table = copy.deepcopy(dict(site.raw["loops"][key]))
    of_sump = file.loops[key].sump
    old_heat = {k: v for k, v in dict(table.get("heat", {})).items() if k != "heater"}
    table["heat"] = old_heat | {"heater": heater, "foam": f"{FOAM_MM:g} mm", "cover": True}
    table["sump"], table["water_temperature"] = f"{share * of_sump!r} m3", {"kind": "computed"}
    changes: dict[str, Any] = {f"loops.{new}": table, f"loops.{key}.sump": f"{(1.0 - share) * of_sump!r} m3"}
    changes |= _pumps_anew(site, key, table, share)
    for tank in warm:
        changes |= {f"tanks.{tank}.loop": new, f"tanks.{tank}.heat.foam": f"{FOAM_MM:g} mm"}
        changes[f"tanks.{tank}.heat.cover"] = True
    for name, bed in file.beds.items():
        if bed.loop != key or not BED_KINDS[bed.kind].is_on_loop:
            continue
        other = copy.deepcopy(dict(site.raw["beds"][name]))
        for part, whole in ((share, other), (1.0 - share, None)):
            plantings = [
                dict(written) | {"area": f"{part * (planting.area or bed.area)!r} m2"}
                for written, planting in zip(site.raw["beds"][name].get("plantings", []), bed.plantings, strict=True)
            ]
            if whole is not None:
                whole |= {"loop": new, "area": f"{part * bed.area!r} m2", "plantings": plantings}
                if bed.flow is not None and not bed.floats_on_sump:
                    whole["flow"] = f"{part * bed.flow!r} m3/day"
                changes[f"beds.{name}_warm"] = whole
            else:
                changes |= {f"beds.{name}.area": f"{part * bed.area!r} m2", f"beds.{name}.plantings": plantings}
                if bed.flow is not None and not bed.floats_on_sump:
                    changes[f"beds.{name}.flow"] = f"{part * bed.flow!r} m3/day"
    point = parse_quantity(text, "temperature")
    return Change(Action.WARM_LOOP, changes, {"tanks": tuple(warm), "set_point_c": point})
