"""What a degree costs: set points and measures through the cold months, side by side."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.greenhouse import FUELS, fuel_units
from stocksim.climate.network import HeatRun
from stocksim.engine.extremes import tank_extremes
from stocksim.engine.findings import findings
from stocksim.engine.findings import limit_series as limits_of
from stocksim.engine.layout import build_layout, daily_rates
from stocksim.engine.season import simulate
from stocksim.planning.cold_options import (
    AS_PLANNED,
    Choice,
    choices,
    computed_site,
    flow_factor,
    measures,
    measures_on,
    stacked_plan,
    warm_loop_changes,
)
from stocksim.planning.cold_risk import FailedHeater, cold_years, failed_heater
from stocksim.site.climate_faults import design_notes, heaters
from stocksim.site.climate_tables import HeaterTable
from stocksim.site.model import SiteFile
from stocksim.site.reading import Site
from stocksim.site.warm_plan import HeatPlan
from stocksim.site.warmth import SiteWeather, Warmth, days_of_month, run_plan, site_warmth, site_weather, tank_mean_c

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

DEFAULT_WORTH = 8.0  # of a kilo of fish, in the money of the fuel prices; assumed where the keeper gives none
DEFAULT_YEARS, DEFAULT_SEED = 40, 1
MOST_RISK = 0.05  # share of synthetic years in which a recommended option may cross a fish's cold limit (our choice)
_TEMPERATURE = ("temperature_low", "temperature_high", "density")  # judged apart, or mended by harvest


@dataclass(frozen=True)
class FuelUse:
    """Fuel of one heater over the season: heat [kWh], amount in its unit, cost where it has a price."""

    place: str
    fuel: str
    unit: str
    heat_kwh: float
    amount: float
    cost: float | None


@dataclass(frozen=True)
class Option:
    """What one choice comes to over the season.

    Parameters
    ----------
    name, place, set_point_c
        As in `Choice`.
    fuel : tuple of FuelUse
        By heater.
    heat_kwh, cost : float, float or None
        Of all heaters; None where a heater that runs has no price. [kWh], [money]
    month_kwh : mapping of str to float
        Heat by calendar month. [kWh]
    peak_kw, installed_kw : mapping of str to float
        Greatest hour of each heater, and what the file gives it. [kW]
    short_hours : float
        Hours in which some heater at full power misses its set point. [h]
    growth_kg, feed_kg, deaths : float
        Of the fish; the engine kills none by cold. [kg], [kg], [fish]
    water_c : mapping of str to (float, float, float)
        Lowest, mean and highest water of each loop's tanks. [degC]
    broken : tuple of (str, str)
        Limits broken in normal weather, as ("oxygen", "tanks.cedar").
    oxygen_low_mg_l, tan_high_mg_l : float
        Worst of all tanks with fish. [mg/L]
    cold_share : mapping of str to float
        For each cohort the share of synthetic years in which its water crosses its cold limit. [-]
    cost_per_extra_kg : float or None
        To the next cheaper option on the frontier. [money/kg]
    """

    name: str
    place: str
    set_point_c: float | None
    fuel: tuple[FuelUse, ...]
    heat_kwh: float
    cost: float | None
    month_kwh: Mapping[str, float]
    peak_kw: Mapping[str, float]
    installed_kw: Mapping[str, float]
    short_hours: float
    growth_kg: float
    feed_kg: float
    deaths: float
    water_c: Mapping[str, tuple[float, float, float]]
    broken: tuple[tuple[str, str], ...]
    oxygen_low_mg_l: float
    tan_high_mg_l: float
    cold_share: Mapping[str, float]
    cost_per_extra_kg: float | None = None
    is_on_frontier: bool = False

    @property
    def worst_cold_share(self) -> float:
        """Greatest of the cohorts' shares of years below their cold limit."""
        return max(self.cold_share.values(), default=0.0)

    @property
    def too_cold(self) -> tuple[str, ...]:
        """Cohorts below their cold limit in normal weather, or too often in synthetic years."""
        normal = {where.split(".")[1] for limit, where in self.broken if limit == "temperature_low"}
        return tuple(key for key, share in self.cold_share.items() if share > MOST_RISK or key in normal)

    @property
    def too_warm(self) -> frozenset[str]:
        """Cohorts above their heat limit in normal weather."""
        return frozenset(where.split(".")[1] for limit, where in self.broken if limit == "temperature_high")


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
    air = computed.file.greenhouse.heater if computed.file.greenhouse is not None else None
    if air is not None:
        notes.append(
            "Lettuce, spinach and kale stand air a little above frost but hardly grow in it; basil, tomatoes and "
            "cucumbers are harmed below about 10 degC (common practice). Weigh that by hand where an option cools "
            "the air."
        )
    notes.append(
        "Crop yield is left out: the model has no crop growth yet. Deaths by cold are not simulated either; the share "
        "of years below a cold limit stands for them."
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
    entries = [site.species[site.file.cohorts[key].species] for key in layout.cohorts]
    appetite, maintenance = daily_rates(entries, at_fish)
    many = replace(
        layout, temperature_c=temperature, appetite_at_1g=appetite, maintenance_per_kg=maintenance,
        flow_m3_day=layout.flow_m3_day * flow_factor(layout, tried, weather.night),
    )  # fmt: skip
    course = simulate(many, lambda done, total: tell(0.15 + 0.35 * done / total))
    extremes = tank_extremes(many, course)
    series = limits_of(many, course, extremes)
    present = course.count > 0.0
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
                {key: float(shares[row, n]) for n, key in enumerate(layout.cohorts)},
            )
        )  # fmt: skip
    tell(1.0)
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


def spares(options: list[Option]) -> list[Option]:
    """Options that keep every fish clear of cold, and of heat that another option would have spared it."""
    anyway = frozenset.intersection(*(o.too_warm for o in options)) if options else frozenset()
    return [o for o in options if not o.too_cold and not o.too_warm - anyway]


def on_frontier(options: list[Option]) -> list[Option]:
    """Mark the options that nobody beats in both cost and growth, with the cost of each one's extra kilo.

    Parameters
    ----------
    options : list of Option
        In any order.

    Returns
    -------
    list of Option
        In the same order.
    """
    spared = spares(options) or options
    priced = sorted((o for o in spared if o.cost is not None), key=lambda o: (o.cost or 0.0, -o.growth_kg))
    marked: dict[str, float | None] = {}
    best: Option | None = None
    for option in priced:
        if best is None or option.growth_kg > best.growth_kg + 1e-6:
            extra = None
            if best is not None:
                extra = ((option.cost or 0.0) - (best.cost or 0.0)) / (option.growth_kg - best.growth_kg)
            marked[option.name] = extra
            best = option
    return [
        replace(o, cost_per_extra_kg=marked[o.name], is_on_frontier=True) if o.name in marked else o for o in options
    ]


def recommend(options: list[Option], worth: float) -> tuple[str, str, str]:
    """The option whose fish are worth most over its fuel, among those that spare every fish.

    Parameters
    ----------
    options : list of Option
        The file's own way first.
    worth : float
        Money for a kilo of growth.

    Returns
    -------
    tuple of str
        Name, reason, and what would change it.
    """
    plan = options[0]
    before = set(plan.broken)
    priced = [o for o in options if o.cost is not None]
    safe = [o for o in spares(options) if o.cost is not None]
    if not priced:
        return AS_PLANNED, "no heater has a price, so nothing can be weighed against the fish", (
            "give heaters price and price_per, as 2.4 and \"gal\""
        )  # fmt: skip
    pool = safe or sorted(priced, key=lambda o: (o.worst_cold_share, len(o.too_cold) + len(o.too_warm)))[:1]
    clean = [o for o in pool if not {b for b in o.broken if b[0] not in _TEMPERATURE} - before]
    pool = clean or pool

    def gain(option: Option) -> float:
        return worth * option.growth_kg - (option.cost or 0.0)

    best = max(pool, key=gain)
    reason = (
        f"of the options that keep every fish out of deadly cold it leaves most: {best.growth_kg:.1f} kg of growth at "
        f"{worth:g} a kilo, less {best.cost or 0.0:,.0f} of fuel"
        if safe
        else "no option keeps every fish out of deadly cold; this one comes nearest"
    )
    if best is not plan and plan.cost is not None:
        reason += (
            f"; against the file's own way that is {best.growth_kg - plan.growth_kg:+.1f} kg and "
            f"{(best.cost or 0.0) - plan.cost:+,.0f} of fuel"
        )
    return best.name, reason, _what_changes(best, pool, options, worth)


def _what_changes(best: Option, pool: list[Option], options: list[Option], worth: float) -> str:
    """Prices of fish or fuel at which another option overtakes, and what bars the others."""
    words = []
    above = {
        o.name: ((o.cost or 0.0) - (best.cost or 0.0)) / (o.growth_kg - best.growth_kg)
        for o in pool if o.growth_kg > best.growth_kg + 1e-6
    }  # fmt: skip
    dearer = {name: price for name, price in above.items() if price > worth}
    if dearer:
        name = min(dearer, key=lambda key: dearer[key])
        words.append(
            f"fish worth more than {dearer[name]:,.2f} a kilo, or fuel at {100.0 * worth / dearer[name]:.0f} % of its "
            f'price, would make it "{name}"'
        )
    cheaper = {
        o.name: ((best.cost or 0.0) - (o.cost or 0.0)) / (best.growth_kg - o.growth_kg)
        for o in pool if o.growth_kg < best.growth_kg - 1e-6
    }  # fmt: skip
    below = {name: price for name, price in cheaper.items() if 0.0 < price < worth}
    if below:
        name = max(below, key=lambda key: below[key])
        words.append(
            f"fish worth less than {below[name]:,.2f} a kilo, or fuel at {worth / below[name]:.1f} times its price, "
            f'would make it "{name}"'
        )
    barred = [o for o in options if o.cost is not None and o not in pool and o.growth_kg > best.growth_kg]
    if barred:
        words.append(
            "options with more growth are barred by limits they break; other fish or more air would admit them"
        )
    return "; ".join(words) or "within the options tried, no price of fish or fuel changes it"
