"""What date and temperature alone decide: rates of fish, exchange with the air, saturation."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.film import by_day
from stocksim.engine.layout import Layout
from stocksim.water.carbonate import carbon_dioxide_saturation
from stocksim.water.gas import carbon_dioxide_exchange, water_drop_exchange
from stocksim.water.nitrification import nitrification_capacity
from stocksim.water.oxygen import BETA_FISH_WATER, device_exchange, oxygen_saturation, surface_exchange_velocity

FloatArray = NDArray[np.float64]


class Climate(NamedTuple):
    """All that depends on date and temperature alone; arrays lead with the day, then scenario (1 or all)."""

    appetite: FloatArray
    maintenance: FloatArray
    leaf_exchange: FloatArray
    leaf_exchange_load: FloatArray
    leaf_passing: FloatArray
    leaf_gain: FloatArray
    sump_exchange: FloatArray
    sump_exchange_load: FloatArray
    sump_gain: FloatArray
    capacity: FloatArray
    saturation: FloatArray
    leaf_co2_exchange: FloatArray
    sump_co2_exchange: FloatArray
    co2_saturation: FloatArray


def build_climate(layout: Layout) -> Climate:
    """What the dates and temperatures of a layout decide for every day of its season.

    Parameters
    ----------
    layout : Layout
        Arrays of a site, any of them with a leading scenario axis.
    """
    temperature = layout.temperature_c
    saturation = oxygen_saturation(temperature, layout.elevation_m)
    velocity = surface_exchange_velocity(temperature)
    at_leaf = layout.leaf_loop.T
    leaf_temperature, leaf_saturation = temperature @ at_leaf, saturation @ at_leaf
    device = device_exchange(layout.device_g_day[..., None, :], leaf_temperature)
    still = layout.surface_m2[..., None, :] * (velocity @ at_leaf) + layout.pass_exchange_m3_day[..., None, :]
    sump_device = device_exchange(layout.sump_device_g_day[..., None, :], temperature)
    returned = (layout.flow_m3_day @ layout.leaf_loop)[..., None, :]
    # at the sump's own level, which is the higher one: the careful side
    fall = water_drop_exchange(returned, layout.return_drop_m[..., None, :], temperature)
    sump_still = layout.sump_surface_m2[..., None, :] * velocity + fall
    passing = layout.flow_m3_day[..., None, :] + device + still
    parts = (
        layout.appetite_at_1g,
        layout.maintenance_per_kg,
        device + still,
        (BETA_FISH_WATER * device + still) * leaf_saturation,
        passing,
        layout.volume_m3[..., None, :] + passing,
        sump_device + sump_still,
        (BETA_FISH_WATER * sump_device + sump_still) * saturation,
        layout.sump_volume_m3[..., None, :] + returned + sump_device + sump_still,
        nitrification_capacity(layout.film_m2[..., None, :], leaf_temperature),
        saturation,
        carbon_dioxide_exchange(still, device),
        carbon_dioxide_exchange(sump_still, sump_device),
        carbon_dioxide_saturation(temperature, layout.elevation_m),
    )
    return Climate(*(by_day(part) for part in parts))
