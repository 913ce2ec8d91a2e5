"""Water temperatures of a site's loops, typed, logged and computed, and the heat that each loop takes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stocksim.errors import InputError
from stocksim.heat.hourly import Warmth, plan_and_weather, run_kept, site_warmth
from stocksim.memo import Memo, content_key
from stocksim.site.climate_faults import has_climate
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.reading import Site
from stocksim.site.rooms import ROOMS, room_of
from stocksim.site.sentences import placed

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ComputedWater:
    """What the heat balance tells of a site's loops, without its hours.

    Parameters
    ----------
    mean_c : dict of str to ndarray, shape (days,)
        Daily mean water of each loop that is computed. [degC]
    short_hours : dict of str to float
        Hours that each water heater misses its set point, by its place, where it does. [h]
    """

    mean_c: dict[str, FloatArray]
    short_hours: dict[str, float]


def water_c(site: Site, warmth: Warmth | None = None) -> dict[str, FloatArray]:
    """Water temperature of each loop of a site.

    Parameters
    ----------
    site : Site
        A checked site; its loops without a typed or logged temperature are computed.
    warmth : Warmth, optional
        What `warmth_of_site` gives for the site, where it is at hand.

    Returns
    -------
    dict of str to ndarray, shape (days,)
        In the order of the site file. [degC]

    Raises
    ------
    InputError
        If the numbers of the site give water or air that cannot be; nothing is computed where no loop asks for it.
    """
    held = site.held_c
    if all(loop in held for loop in site.file.loops):
        return {loop: held[loop] for loop in site.file.loops}
    computed = computed_water(site) if warmth is None else _of_loops(warmth, site)
    return {
        loop: held[loop] if loop in held else site.begun.water(loop, computed.mean_c[loop]) for loop in site.file.loops
    }


def loop_water_c(site: Site, loop: str) -> FloatArray:
    """Water temperature of one loop, shape (days,); as in `water_c`, but only a computed loop needs the heat. [degC]"""
    if loop in site.held_c:
        return site.held_c[loop]
    return site.begun.water(loop, computed_water(site).mean_c[loop])


def computed_water(site: Site) -> ComputedWater:
    """Computed loops of a site; one with the same plan and weather is answered from memory.

    Parameters
    ----------
    site : Site
        A checked site with a loop that is computed.

    Returns
    -------
    ComputedWater
        Of the loops that have no typed or logged temperature.

    Raises
    ------
    InputError
        As in `water_c`, with what of the site is most odd as the likeliest cause.
    """
    try:
        plan, weather = plan_and_weather(site.file, site.folder, site.held_c)
        return _kept.of(content_key(plan, weather), lambda: _of_loops(run_kept(site.file, plan, weather), site))
    except InputError as error:
        cause = f"; the likeliest is {site.likeliest_cause}." if site.likeliest_cause else "."
        faults = [replace(fault, message=fault.message.removesuffix(".") + cause) for fault in error.faults]
        raise InputError(placed(faults, site.name)) from error


_kept: Memo[ComputedWater] = Memo(256)  # some kB each


def _of_loops(warmth: Warmth, site: Site) -> ComputedWater:
    mean_c = {loop: warmth.loop_mean_c(loop) for loop in site.file.loops if loop not in site.held_c}
    return ComputedWater(mean_c, short_hours(warmth))


def short_hours(warmth: Warmth) -> dict[str, float]:
    """Hours that each water heater misses its set point, by its place, where it does. [h]"""
    hours = zip(warmth.plan.controls, warmth.run.short_hours.tolist(), strict=True)
    return {place: short for place, short in hours if short > 0.0 and place.startswith("loops.")}


def warmth_of_site(site: Site) -> Warmth | None:
    """Heat balance of a site; None where it has no weather, room or latitude.

    Parameters
    ----------
    site : Site
        A checked site. Loops with typed or logged temperatures are held at them.

    Returns
    -------
    Warmth or None
        Plan, weather and hourly course.
    """
    if not has_climate(site.file):
        return None
    return site_warmth(site.file, site.folder, typed_c(site))


def typed_c(site: Site) -> dict[str, FloatArray]:
    """Water of the loops whose temperature the site file types or logs, shape (days,). [degC]"""
    return {
        key: site.held_c[key]
        for key, loop in site.file.loops.items()
        if not isinstance(loop.water_temperature, ComputedTemperature)
    }


def loop_heat_kwh(site: Site) -> FloatArray:
    """Heat that each loop takes, shape (day, loop); NaN where the site has no weather, room or latitude. [kWh/day]

    A loop's own heater, or for typed temperatures the heat that would hold them, and its share of its room's heating
    by the water that stands there; a room without loop water gives its heat to all loops alike.
    """
    warmth = warmth_of_site(site)
    return np.full((site.days, len(site.file.loops)), np.nan) if warmth is None else heat_of_loops(warmth, site)


def heat_of_loops(warmth: Warmth, site: Site) -> FloatArray:
    """Heat that each loop takes by a heat balance, shape (day, ..., loop) with its years between. [kWh/day]"""
    file = site.file
    heat = np.stack([warmth.heat_kwh(f"loops.{key}") for key in file.loops], axis=-1)
    for room in ROOMS:
        water = np.array([_water_in(warmth, site, key, room) for key in file.loops])
        share = water / water.sum() if water.sum() > 0.0 else np.full(len(water), 1.0 / len(water))
        heat = heat + warmth.heat_kwh(room)[..., None] * share
    return heat


def _water_in(warmth: Warmth, site: Site, loop: str, room: str) -> float:
    """Water of a loop that stands in a room. [m3]"""
    total = 0.0
    for node, name in enumerate(warmth.plan.nodes):
        if warmth.plan.loop_of.get(name) != loop:
            continue
        table, key = name.split(".", 1)
        entry = getattr(site.file, table)[key]
        if room_of(getattr(entry, "heat", None), site.file, loop) == room:
            total += float(warmth.plan.volume_m3[node])
    return total
