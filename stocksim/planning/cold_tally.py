"""What each choice comes to: heat, fuel, power, fish, crops and cold years."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.greenhouse import FUELS, fuel_units
from stocksim.climate.nodes import HeatRun
from stocksim.engine.bed_climate import months_of as bed_months
from stocksim.engine.extremes import tank_extremes
from stocksim.engine.findings import findings
from stocksim.engine.findings import limit_series as limits_of
from stocksim.engine.fish_columns import by_water
from stocksim.engine.layout import Layout, build_layout
from stocksim.engine.season import simulate
from stocksim.engine.stands import build_stands
from stocksim.planning.cold_choice import RUNS_KWH, FuelUse, Option
from stocksim.planning.cold_options import Choice, flow_factor, spare_heater, stacked_plan
from stocksim.planning.cold_power import design_power_w
from stocksim.planning.cold_risk import cold_years
from stocksim.site.climate_faults import heaters
from stocksim.site.climate_tables import HeaterTable
from stocksim.site.model import SiteFile
from stocksim.site.quantities import MONTHS
from stocksim.site.reading import Site
from stocksim.site.warm_plan import HeatPlan
from stocksim.site.warmth import SiteWeather, days_of_month, run_plan, tank_mean_c

FloatArray = NDArray[np.float64]


def is_held(file: SiteFile, key: str) -> bool:
    return file.loops[key].water_temperature.kind != "computed"


def tallied(
    site: Site,
    tried: list[Choice],
    weather: SiteWeather,
    years: int,
    seed: int,
    tell: Callable[[float], None],
    owned: Collection[str] | None = None,
) -> list[Option]:
    """Every choice of one site: heat, fish, and synthetic years.

    Parameters
    ----------
    site : Site
        Its computed form.
    tried : list of Choice
        What is tried.
    weather : SiteWeather
        Normals of the season.
    years, seed : int
        Synthetic years and the seed of their random numbers.
    tell : callable
        Called with the share done.
    owned : collection of str, optional
        Places whose heater the keeper has; all that the site names where not given.

    Returns
    -------
    list of Option
        In the order of the choices.
    """
    plan = stacked_plan(site, tried, weather.wind_m_s)
    run = run_plan(plan, weather, is_hourly=False)
    tell(0.15)
    layout = build_layout(site)
    daily = np.stack([tank_mean_c(plan, run.mean_c, key) if not is_held(site.file, key)
                      else np.broadcast_to(site.temperature_c[key][:, None], run.mean_c.shape[:2])
                      for key in layout.loops], axis=-1)  # fmt: skip
    temperature = np.moveaxis(daily, 0, 1)  # (choice, day, loop)
    at_fish = temperature @ layout.cohort_loop.T
    many = replace(
        layout, temperature_c=temperature, flow_m3_day=layout.flow_m3_day * flow_factor(layout, tried, weather.night),
        **by_water(site, layout.stays, layout.happenings, layout.rations, at_fish),
    )  # fmt: skip
    yields = _yields(site, layout, temperature, _greenhouse_air(plan, run))
    course = simulate(many, lambda done, total: tell(0.15 + 0.35 * done / total))
    extremes = tank_extremes(many, course)
    series = limits_of(many, course, extremes)
    present = course.there_in_morning
    shares = cold_years(site, plan, weather, present, years, seed, lambda part: tell(0.5 + 0.5 * part))
    has_fish = (present @ layout.cohort_tank) > 0.0
    tables = dict(heaters(site.file))
    owned = tables if owned is None else owned
    design_kw = design_power_w(plan, weather) / 1000.0
    heads = {key: [n for n, name in enumerate(layout.cohorts) if name == key] for key in layout.cohorts}
    found = []
    for row, choice in enumerate(tried):
        broken = tuple((f.limit, f.where) for f in findings(many, series, row) if f.is_broken)
        fuel = tuple(_fuel(site.file, tables, plan, run, weather, row))
        priced = [use.cost for use in fuel if use.heat_kwh > RUNS_KWH]
        found.append(
            Option(
                choice.name, choice.place, choice.set_point_c, fuel, sum(use.heat_kwh for use in fuel),
                None if any(cost is None for cost in priced) else float(sum(cost or 0.0 for cost in priced)),
                _by_month(weather, run, row), _peaks(plan, run, row),
                {key: table.power / 1000.0 for key, table in tables.items() if key in owned},
                float(run.short_hours[row].max(initial=0.0)),
                float(course.gain_g[row].sum()) / 1000.0, float(course.fed_g[row].sum()) / 1000.0,
                float(course.deaths[row].sum()),
                {key: _span(plan, run, key, row) for key in layout.loops},
                broken,
                float(np.where(has_fish[row], extremes.oxygen_min_mg_l[row], np.inf).min()),
                float(np.where(has_fish[row], course.tan_mg_l[row, :, : len(layout.tanks)], 0.0).max()),
                {
                    key: max(float(shares[row, n]) for n, name in enumerate(layout.cohorts) if name == key)
                    for key in dict.fromkeys(layout.cohorts)
                },
                yields[row],
                dead_kg=float((course.deaths[row] * course.weight_g[row]).sum()) / 1000.0,
                died={key: float(course.deaths[row][:, columns].sum()) for key, columns in heads.items()},
                stocked={
                    key: float((course.count + course.deaths)[row][:, columns].sum(axis=-1).max())
                    for key, columns in heads.items()
                },
                design_kw=_needed(site.file, plan, design_kw[row]),
                to_buy=tuple(key for key in _needed(site.file, plan, design_kw[row]) if key not in owned),
            )
        )  # fmt: skip
    tell(1.0)
    return found


def _greenhouse_air(plan: HeatPlan, run: HeatRun) -> FloatArray | None:
    """Daily mean air of the greenhouse, shape (choice, day); None without one. [degC]"""
    return run.mean_c[..., plan.nodes.index("greenhouse")].T if "greenhouse" in plan.nodes else None


def _yields(site: Site, layout: Layout, temperature_c: FloatArray, air_c: FloatArray | None) -> list[float]:
    """Harvest that each choice's water and air allow if no nutrient is short. [kg]"""
    found = []
    months = bed_months(site)
    for row, water in enumerate(temperature_c):
        own = replace(site, temperature_c={key: water[:, n] for n, key in enumerate(layout.loops)})
        if air_c is not None:
            by_month = {MONTHS[month]: float(air_c[row][months == month].mean()) for month in np.unique(months)}
            place = own.file.site.model_copy(update={"air_temperature": by_month})
            own = replace(own, file=own.file.model_copy(update={"site": place}))
        stands = build_stands(own).stands
        found.append(float(sum(batch.harvest_kg.sum() for stand in stands for batch in stand.batches)))
    return found


def _peaks(plan: HeatPlan, run: HeatRun, row: int) -> dict[str, float]:
    peaks = run.peak_w[row] / 1000.0
    return {key: float(peaks[column]) for column, key in enumerate(plan.controls) if peaks[column] > 0.0}


def _needed(file: SiteFile, plan: HeatPlan, kw: FloatArray) -> dict[str, float]:
    """Power of the design night by place, without loops that are held at typed temperatures. [kW]"""
    held = {f"loops.{key}" for key in file.loops if is_held(file, key)}
    return {key: float(kw[n]) for n, key in enumerate(plan.controls) if kw[n] > 0.0 and key not in held}


def _span(plan: HeatPlan, run: HeatRun, loop: str, row: int) -> tuple[float, float, float]:
    nodes = plan.tanks_of(loop)
    mean = float(tank_mean_c(plan, run.mean_c[:, row], loop).mean())
    return float(run.low_c[:, row, nodes].min()), mean, float(run.high_c[:, row, nodes].max())


def _by_month(weather: SiteWeather, run: HeatRun, row: int) -> dict[str, float]:
    total = run.heat_kwh[:, row].sum(axis=-1)
    return {label: float(total[days].sum()) for label, days in days_of_month(weather.start, len(total))}


def _fuel(
    file: SiteFile, tables: Mapping[str, HeaterTable], plan: HeatPlan, run: HeatRun, weather: SiteWeather, row: int
) -> list[FuelUse]:
    """Fuel of every heater; water warmed without a heater of its own burns the fuel of a room's heater."""
    spare = spare_heater(file)
    months = days_of_month(weather.start, len(run.heat_kwh))
    found = []
    for column, place in enumerate(plan.controls):
        daily = run.heat_kwh[:, row, column]
        heat, by_month = float(daily.sum()), {label: float(daily[days].sum()) for label, days in months}
        heater = tables.get(place)
        if heater is None and place.startswith("loops.") and not is_held(file, place.removeprefix("loops.")):
            heater = spare
        if heater is None:
            if heat > 0.0:
                found.append(FuelUse(place, "unknown", "kWh", heat, heat, None, by_month))
            continue
        unit: str = heater.price_per or next(iter(FUELS[heater.fuel].kwh_per))
        amount = float(fuel_units(heat, heater.fuel, unit, heater.efficiency))
        found.append(
            FuelUse(
                place,
                heater.fuel,
                unit,
                heat,
                amount,
                None if heater.price is None else amount * heater.price,
                by_month,
            )
        )
    return found
