"""Years of water that a site may have: computed loops in drawn weather, typed loops about what is typed.

Apart from `draws`, for the heat of a bank of years is run once, however many seasons draw from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.weather import synthetic_days, weather_of_days
from stocksim.drawn.ranges import TYPED_WATER_PERSISTENCE, TYPED_WATER_SPREAD_C
from stocksim.engine.arrays.beds import build_planting
from stocksim.engine.arrays.fish import Stay, build_rations, by_water
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.arrays.tables import numbers_of
from stocksim.heat.hourly import Warmth, plan_and_weather, run_plan, tank_mean_c
from stocksim.heat.temperatures import heat_of_loops, typed_c, water_c
from stocksim.site.climate_faults import has_climate
from stocksim.site.plausible import COLDEST_WATER_C
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

YEARS = 64  # in the bank; the rarest that it can tell is one in so many
_AT_ONCE = 16  # a few MB of hours each


def water_of_years(site: Site, years: int, seed: int) -> tuple[dict[str, FloatArray], NDArray[np.int64]]:
    """Water of each loop in years as they may come.

    Parameters
    ----------
    site : Site
        A checked site.
    years, seed : int
        How many, and the seed of their random numbers.

    Returns
    -------
    dict of str to ndarray, shape (year, days)
        In the order of the site file, years from the coldest water to the warmest. [degC]
    ndarray of int, shape (year,)
        Which of the drawn years each of these is.
    """
    random = np.random.default_rng(seed)
    usual = water_c(site)
    found: dict[str, FloatArray] = {}
    computed: dict[str, FloatArray] = {}
    for key, loop in site.file.loops.items():
        kind = loop.water_temperature.kind
        spread_c = TYPED_WATER_SPREAD_C.get(kind, 0.0)
        if kind == "computed":
            computed = computed or _computed_years(site, years, seed)
            found[key] = computed[key]
            continue
        moved = spread_c * _persisting(random.standard_normal((years, site.days)))
        found[key] = np.maximum(usual[key] + moved, COLDEST_WATER_C) if spread_c else np.tile(usual[key], (years, 1))
    mean_c = np.mean([water.mean(axis=1) for water in found.values()], axis=0)
    order = np.argsort(mean_c, kind="stable")
    return {key: water[order] for key, water in found.items()}, order


def _persisting(noise: FloatArray) -> FloatArray:
    """Standard normal series (year, day) of which a share stays from day to day."""
    series = noise * np.sqrt(1.0 - TYPED_WATER_PERSISTENCE**2)
    series[:, 0] = noise[:, 0]
    for day in range(1, series.shape[1]):
        series[:, day] += TYPED_WATER_PERSISTENCE * series[:, day - 1]
    return series


def _computed_years(site: Site, years: int, seed: int) -> dict[str, FloatArray]:
    """Water of the computed loops by the heat balance, shape (year, days)."""
    loops = [key for key in site.file.loops if key not in site.held_c]
    parts = [
        [tank_mean_c(warmth.plan, warmth.run.mean_c, key) for key in loops]
        for warmth in warmth_of_years(site, years, seed, site.held_c, ("mean",))
    ]  # (part, loop, day, year)
    return {
        key: np.ascontiguousarray(np.concatenate([part[n] for part in parts], axis=1).T) for n, key in enumerate(loops)
    }


def warmth_of_years(
    site: Site, years: int, seed: int, held_c: Mapping[str, FloatArray], keep: Sequence[str]
) -> Iterator[Warmth]:
    """Heat of a site in drawn years of weather, some years at a time, its runs shaped (day, year, ...)."""
    plan, weather = plan_and_weather(site.file, site.folder, held_c)
    low, high, share = synthetic_days(
        weather.normal_low_c, weather.normal_high_c, weather.normal_sun_share, weather.spread_c, years, seed
    )
    for first in range(0, years, _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        hours = weather_of_days(low[some], high[some], share[some], weather.clear_w_m2)
        yield Warmth(plan, weather, run_plan(plan, weather, hours, is_hourly=False, keep=keep))


def heat_of_years(site: Site, years: int, seed: int) -> FloatArray:
    """Heat that each loop takes in drawn years, shape (year, day, loop); NaN without weather, room or latitude.

    Parameters
    ----------
    site, years, seed
        As for `water_of_years`; loops with a typed temperature are held at it.

    Returns
    -------
    ndarray, shape (year, day, loop)
        In the order in which the years are drawn. [kWh/day]
    """
    if not has_climate(site.file):
        return np.full((years, site.days, len(site.file.loops)), np.nan)
    parts = [heat_of_loops(warmth, site) for warmth in warmth_of_years(site, years, seed, typed_c(site), ("mean",))]
    return np.ascontiguousarray(np.concatenate(parts, axis=1).swapaxes(0, 1))


def numbers_of_years(site: Site, layout: Layout, water: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """Numbers of a site's layout that differ between years, by name, shape (year, ...).

    Parameters
    ----------
    site : Site
        A checked site.
    layout : Layout
        Its arrays as a season takes them.
    water : dict of str to ndarray, shape (year, days)
        Of `water_of_years`.

    Returns
    -------
    dict of str to ndarray, shape (year, ...)
        All that follows from the water of a day. Crops, heat and films on the first morning stay as they are.
    """
    loops = np.stack(list(water.values()), axis=-1)
    fish = loops @ layout.cohort_loop.T
    of_fish = by_water(site, layout.stays, layout.happenings, layout.rations, fish)
    found = {"temperature_c": loops, **of_fish}
    if any(_minds_cold(stay) for stay in layout.stays):
        planting = build_planting(site)
        rules = [build_rations(site, list(layout.stays), year, planting, layout.cohort_loop) for year in fish]
        found["rations.fed_today"] = np.stack([rule.fed_today for rule in rules])
    usual = numbers_of(layout)
    return {name: bank for name, bank in found.items() if not (bank == usual[name]).all()}


def _minds_cold(stay: Stay) -> bool:
    """Whether the rule of a column feeds by the day's water."""
    rule = stay.table.ration
    if rule is None or rule.kind == "unfed":
        return False
    return bool(rule.cold_rules) or rule.stop_below is not None
