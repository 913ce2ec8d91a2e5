"""A heated loop of their own for the warm-water fish of a mixed loop, as changes of the site file."""

from __future__ import annotations

import copy
from typing import Any

from stocksim.planning.cold_options import FOAM_MM, spare_heater
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.reading import Site

WARM_FISH_C = 27.0  # fish that eat best from here up are warm-water fish here, which leaves perch out (our choice)


def warm_loop_changes(site: Site) -> tuple[str, dict[str, Any]] | str:
    """Changes that give the warm-water fish of a mixed loop a heated loop of their own, or why there are none.

    Parameters
    ----------
    site : Site
        Its computed form.

    Returns
    -------
    tuple of str and dict, or str
        Name of the option and dotted changes; a sentence where no loop mixes warm- and cool-water fish.
    """
    file = site.file
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
    return "No loop holds both tanks of warm-water and tanks of cool-water fish, so a separate warm loop is not tried."


def _split(site: Site, key: str, warm: list[str]) -> tuple[str, dict[str, Any]]:
    file, units = site.file, site.file.site.units
    text = "75 degF" if units == "us" else "24 degC"
    moved = sum(file.tanks[tank].volume for tank in warm)
    share = moved / sum(tank.volume for tank in file.tanks.values() if tank.loop == key)
    new = f"{key}_warm"
    source = spare_heater(file)
    heater: dict[str, Any] = {"power": "100 kW", "set_point": text, "fuel": source.fuel if source else "electricity"}
    if source is not None and source.price is not None:
        heater |= {"price": source.price, "price_per": source.price_per}
    if source is not None and source.efficiency is not None:
        heater["efficiency"] = source.efficiency
    table = copy.deepcopy(dict(site.raw["loops"][key]))
    of_sump = file.loops[key].sump
    old_heat = {k: v for k, v in dict(table.get("heat", {})).items() if k != "heater"}
    table["heat"] = old_heat | {"heater": heater, "foam": f"{FOAM_MM:g} mm", "cover": True}
    table["sump"], table["water_temperature"] = f"{share * of_sump!r} m3", {"kind": "computed"}
    changes: dict[str, Any] = {f"loops.{new}": table, f"loops.{key}.sump": f"{(1.0 - share) * of_sump!r} m3"}
    for tank in warm:
        changes |= {f"tanks.{tank}.loop": new, f"tanks.{tank}.heat.foam": f"{FOAM_MM:g} mm"}
        changes[f"tanks.{tank}.heat.cover"] = True
    for name, bed in file.beds.items():
        if bed.loop != key or bed.kind == "wicking":
            continue
        other = copy.deepcopy(dict(site.raw["beds"][name]))
        for part, whole in ((share, other), (1.0 - share, None)):
            plantings = [
                dict(written) | {"area": f"{part * (planting.area or bed.area)!r} m2"}
                for written, planting in zip(site.raw["beds"][name].get("plantings", []), bed.plantings, strict=True)
            ]
            if whole is not None:
                whole |= {"loop": new, "area": f"{part * bed.area!r} m2", "plantings": plantings}
                if bed.flow is not None:
                    whole["flow"] = f"{part * bed.flow!r} m3/day"
                changes[f"beds.{name}_warm"] = whole
            else:
                changes |= {f"beds.{name}.area": f"{part * bed.area!r} m2", f"beds.{name}.plantings": plantings}
                if bed.flow is not None:
                    changes[f"beds.{name}.flow"] = f"{part * bed.flow!r} m3/day"
    return f"a separate, insulated warm loop at {text} for {', '.join(warm)}", changes
