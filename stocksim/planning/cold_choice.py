"""What each option comes to, which of them nobody beats, and which one to take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from stocksim.planning.cold_options import AS_PLANNED

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
        Of the fish, in normal weather. [kg], [kg], [fish]
    water_c : mapping of str to (float, float, float)
        Lowest, mean and highest water of each loop's tanks. [degC]
    broken : tuple of (str, str)
        Limits broken in normal weather, as ("oxygen", "tanks.cedar").
    oxygen_low_mg_l, tan_high_mg_l : float
        Worst of all tanks with fish. [mg/L]
    cold_share : mapping of str to float
        For each cohort the share of synthetic years in which its water crosses its cold limit. [-]
    yield_kg : float
        Crops that light, air and water allow, if no nutrient is short; fresh. [kg]
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
    yield_kg: float = 0.0
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
        often = {key for key, share in self.cold_share.items() if share > MOST_RISK}
        return tuple(sorted(normal | often))

    @property
    def too_warm(self) -> frozenset[str]:
        """Cohorts above their heat limit in normal weather."""
        return frozenset(where.split(".")[1] for limit, where in self.broken if limit == "temperature_high")


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
            f"{(best.cost or 0.0) - plan.cost:+,.0f} of fuel, and {best.yield_kg - plan.yield_kg:+.0f} kg of crops, "
            "which are not weighed"
        )
    change = _what_changes(best, pool, options, worth)
    lost = plan.yield_kg - best.yield_kg
    if plan in pool and lost > 0.5 and plan is not best:
        price = (gain(best) - gain(plan)) / lost
        change += f"; crops worth more than {price:,.2f} a kilo would make it the file's own way"
    return best.name, reason, change


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
