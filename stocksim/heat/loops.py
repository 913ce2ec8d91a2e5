"""Heat of a site's loops by the day, for the season's frames."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.heat.hourly import Warmth, site_warmth
from stocksim.site.climate_faults import has_climate
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.reading import Site
from stocksim.site.rooms import ROOMS, room_of

FloatArray = NDArray[np.float64]


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
    held = {
        key: site.temperature_c[key]
        for key, loop in site.file.loops.items()
        if not isinstance(loop.water_temperature, ComputedTemperature)
    }
    return site_warmth(site.file, site.folder, held)


def loop_heat_kwh(site: Site) -> FloatArray:
    """Heat that each loop takes, shape (day, loop); NaN where the site has no weather, room or latitude. [kWh/day]

    A loop's own heater, or for typed temperatures the heat that would hold them, and its share of its room's heating
    by the water that stands there; a room without loop water gives its heat to all loops alike.
    """
    file = site.file
    warmth = warmth_of_site(site)
    if warmth is None:
        return np.full((site.days, len(file.loops)), np.nan)
    heat = np.stack([warmth.heat_kwh(f"loops.{key}") for key in file.loops], axis=-1)
    for room in ROOMS:
        water = np.array([_water_in(warmth, site, key, room) for key in file.loops])
        share = water / water.sum() if water.sum() > 0.0 else np.full(len(water), 1.0 / len(water))
        heat = heat + warmth.heat_kwh(room)[:, None] * share
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
