"""What a degree costs: set points and measures through the cold months, side by side."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

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
from stocksim.planning.cold_choice import FuelUse, Option, on_frontier, recommend, spares
from stocksim.planning.cold_options import (
    Choice,
    choices,
    computed_site,
    flow_factor,
    measures,
    measures_on,
    stacked_plan,
)
from stocksim.planning.cold_risk import FailedHeater, cold_years, failed_heater
from stocksim.planning.cold_split import warm_loop_changes
from stocksim.site.climate_faults import design_notes, heaters
from stocksim.site.climate_tables import HeaterTable
from stocksim.site.model import SiteFile
from stocksim.site.quantities import MONTHS
from stocksim.site.reading import Site
from stocksim.site.warm_plan import HeatPlan
from stocksim.site.warmth import SiteWeather, Warmth, days_of_month, run_plan, site_warmth, site_weather, tank_mean_c

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

DEFAULT_WORTH = 8.0  # of a kilo of fish, in the money of the fuel prices; assumed where the keeper gives none
DEFAULT_YEARS, DEFAULT_SEED = 40, 1


@dataclass(frozen=True)
class Cold:
    """Answer of the comparison.

    Parameters
    ----------
    site : Site
        Its computed form.
    warmth : Warmth
        Its heat as the file says, by the hour.
    options : tuple of Option
        The file's own way first.
    recommended : str
        Name of an option.
    reason, change : str
        Why, and what would change it.
    worth : float
        Money for a kilo of fish.
    years, seed : int
        Synthetic years and the seed of their random numbers.
    failed : FailedHeater
        Heaters that fail on the design night.
    notes : tuple of str
        What was set aside, assumed or left out.
    """

    site: Site
    warmth: Warmth
    options: tuple[Option, ...]
    recommended: str
    reason: str
    change: str
    worth: float
    is_worth_assumed: bool
    years: int
    seed: int
    failed: FailedHeater
    notes: tuple[str, ...]

    @property
    def spared(self) -> list[Option]:
        """Options that harm no fish by temperature more than another one would."""
        return spares(list(self.options))

    def option(self, name: str) -> Option:
        """Option of a name."""
        return next(option for option in self.options if option.name == name)


def compare_cold(
    site: Site,
    worth: float | None = None,
    years: int = DEFAULT_YEARS,
    seed: int = DEFAULT_SEED,
    progress: Progress | None = None,
) -> Cold:
    """Compare set points and measures over a site's season.

    Parameters
    ----------
    site : Site
        A checked site with weather, a room and a latitude.
    worth : float, optional
        Money for a kilo of fish grown, in the money of the fuel prices; 8 where not given, and said.
    years, seed : int
        Synthetic years for the cold risk, and the seed of their random numbers.
    progress : callable, optional
        Called with (done, total).

    Returns
    -------
    Cold
        Options, recommendation, coldest night.

    Raises
    ------
    InputError
        If the site cannot be computed.
    """
    tell = progress or (lambda done, total: None)
    computed, notes = computed_site(site)
    tell(2, 100)
    weather = site_weather(computed.file, computed.folder)
    held = {key: course for key, course in computed.temperature_c.items() if _is_held(computed.file, key)}
    warmth = site_warmth(computed.file, computed.folder, held)
    tell(6, 100)
    tried = choices(computed)
    found = _options(computed, tried, weather, years, seed, lambda part: tell(6 + int(60 * part), 100))
    money = DEFAULT_WORTH if worth is None else worth
    first_best, *_ = recommend(found, money)
    base = next(choice for choice in tried if choice.name == first_best)
    if base.heaters:
        more = measures_on(base, measures(computed.file))
        found += _options(computed, more, weather, years, seed, lambda part: tell(66 + int(20 * part), 100))
    split = warm_loop_changes(computed)
    if isinstance(split, str):
        notes.append(split)
    else:
        name, changes = split
        parted = computed.with_changes(changes)
        found += _options(parted, [Choice(name)], weather, years, seed, lambda part: tell(86 + int(8 * part), 100))
    failed = failed_heater(computed, warmth.plan, weather)
    tell(98, 100)
    options = on_frontier(found)
    best, reason, change = recommend(options, money)
    notes += [*weather.notes, *design_notes(computed.file, warmth)]
    notes.append(
        "Crops are what light, the greenhouse's air and the water allow if no nutrient is short; beds in a fish room "
        "are taken to have the greenhouse's air. Below about 10 degC basil, tomatoes and cucumbers are harmed (common "
        "practice), which the model does not know: weigh that by hand where an option cools the air."
    )
    tell(100, 100)
    return Cold(
        computed, warmth, tuple(options), best, reason, change, money, worth is None, years, seed, failed, tuple(notes)
    )


def _is_held(file: SiteFile, key: str) -> bool:
    return file.loops[key].water_temperature.kind != "computed"


def _options(
    site: Site, tried: list[Choice], weather: SiteWeather, years: int, seed: int, tell: Callable[[float], None]
) -> list[Option]:
    """Every choice of one site: heat, fish, and synthetic years."""
    plan = stacked_plan(site, tried, weather.wind_m_s)
    run = run_plan(plan, weather, is_hourly=False)
    tell(0.15)
    layout = build_layout(site)
    daily = np.stack([tank_mean_c(plan, run.mean_c, key) if not _is_held(site.file, key)
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
    present = course.present
    shares = cold_years(site, plan, weather, present, years, seed, lambda part: tell(0.5 + 0.5 * part))
    has_fish = (present @ layout.cohort_tank) > 0.0
    tables = dict(heaters(site.file))
    found = []
    for row, choice in enumerate(tried):
        broken = tuple((f.limit, f.where) for f in findings(many, series, row) if f.is_broken)
        fuel = tuple(_fuel(site.file, tables, plan, run, row))
        priced = [use.cost for use in fuel if use.heat_kwh > 0.5]
        found.append(
            Option(
                choice.name, choice.place, choice.set_point_c, fuel, sum(use.heat_kwh for use in fuel),
                None if any(cost is None for cost in priced) else float(sum(cost or 0.0 for cost in priced)),
                _by_month(weather, run, row), _peaks(plan, run, row),
                {key: table.power / 1000.0 for key, table in tables.items()},
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


def _span(plan: HeatPlan, run: HeatRun, loop: str, row: int) -> tuple[float, float, float]:
    nodes = plan.tanks_of(loop)
    mean = float(tank_mean_c(plan, run.mean_c[:, row], loop).mean())
    return float(run.low_c[:, row, nodes].min()), mean, float(run.high_c[:, row, nodes].max())


def _by_month(weather: SiteWeather, run: HeatRun, row: int) -> dict[str, float]:
    total = run.heat_kwh[:, row].sum(axis=-1)
    return {label: float(total[days].sum()) for label, days in days_of_month(weather.start, len(total))}


def _fuel(file: SiteFile, tables: Mapping[str, HeaterTable], plan: HeatPlan, run: HeatRun, row: int) -> list[FuelUse]:
    """Fuel of every heater; water warmed without a heater of its own burns the greenhouse's fuel."""
    spare = file.greenhouse.heater if file.greenhouse is not None else None
    found = []
    for column, place in enumerate(plan.controls):
        heat = float(run.heat_kwh[:, row, column].sum())
        heater = tables.get(place)
        if heater is None and place.startswith("loops.") and not _is_held(file, place.removeprefix("loops.")):
            heater = spare
        if heater is None:
            if heat > 0.0:
                found.append(FuelUse(place, "unknown", "kWh", heat, heat, None))
            continue
        unit: str = heater.price_per or next(iter(FUELS[heater.fuel].kwh_per))
        amount = float(fuel_units(heat, heater.fuel, unit, heater.efficiency))
        found.append(
            FuelUse(place, heater.fuel, unit, heat, amount, None if heater.price is None else amount * heater.price)
        )
    return found
