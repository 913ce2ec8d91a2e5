"""Which heating option is recommended, and what is said of the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from stocksim.changes.change import Change
from stocksim.climate.greenhouse import FUELS
from stocksim.heat.heaters import HeaterSize, heater_size
from stocksim.site.kinds import LIMITS

MOST_ADDED_DEATHS = 0.02  # of a cohort, beyond the file's own way, in a recommended option (our choice)
LEAST_STEP_KG = 0.1  # of growth that makes another point of the frontier (our choice)
RUNS_KWH = 0.5  # heat of a season from which a heater counts as running
MOST_RISK = 0.05  # share of synthetic years in which a recommended option may cross a fish's cold limit (our choice)
FLAMES = frozenset(FUELS) - {"electricity"}
_THERM_KWH = FUELS["natural_gas"].kwh_per["therm"]


@dataclass(frozen=True)
class FuelUse:
    """Fuel of one heater over the season: heat [kWh], by month too, amount in its unit, cost where it has a price."""

    place: str
    fuel: str
    unit: str
    heat_kwh: float
    amount: float
    cost: float | None
    month_kwh: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Option:
    """What one choice comes to over the season.

    Parameters
    ----------
    change, place, set_point_c
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
    crops : mapping of str to float
        Harvest by crop that light, air and water allow, with the nitrogen that the season leaves them, until the first
        night that is too cold for it; fresh. [kg]
    near : tuple of (str, str)
        Limits that hold, but with less than the keeper's reserve.
    chilled : mapping of str to int
        Nights below its own cold limit that a standing crop has, where there are any.
    cost_per_extra_kg : float or None
        To the next cheaper option on the frontier. [money/kg]
    dead_kg : float
        Weight of the fish that die. [kg]
    died, stocked : mapping of str to float
        By cohort: fish that die, and the most there at once. [fish]
    design_kw : mapping of str to float
        Heat that each heater must give on the design night. [kW]
    to_buy : tuple of str
        Places whose heater the file does not have.
    """

    change: Change | None
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
    crops: Mapping[str, float] = field(default_factory=dict)
    near: tuple[tuple[str, str], ...] = ()
    chilled: Mapping[str, int] = field(default_factory=dict)
    cost_per_extra_kg: float | None = None
    is_on_frontier: bool = False
    dead_kg: float = 0.0
    died: Mapping[str, float] = field(default_factory=dict)
    stocked: Mapping[str, float] = field(default_factory=dict)
    design_kw: Mapping[str, float] = field(default_factory=dict)
    to_buy: tuple[str, ...] = ()

    @property
    def net_kg(self) -> float:
        """Growth less the weight of the fish that die: what is weighed against fuel. [kg]"""
        return self.growth_kg - self.dead_kg

    @property
    def yield_kg(self) -> float:
        """Harvest of all crops. [kg]"""
        return sum(self.crops.values())

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Places whose heat has no price."""
        return tuple(use.place for use in self.fuel if use.heat_kwh > RUNS_KWH and use.cost is None)

    @property
    def is_bought_unpriced(self) -> bool:
        """Whether it is only heaters to buy whose heat has no price."""
        return bool(self.unpriced) and set(self.unpriced) <= set(self.to_buy)

    @property
    def known_cost(self) -> float:
        """Cost of the heat that has a price. [money]"""
        return sum(use.cost or 0.0 for use in self.fuel)

    @property
    def burners(self) -> tuple[str, ...]:
        """Places where fuel burns."""
        return tuple(use.place for use in self.fuel if use.heat_kwh > RUNS_KWH and use.fuel in FLAMES)

    @property
    def worst_cold_share(self) -> float:
        """Greatest of the cohorts' shares of years below their cold limit."""
        return max(self.cold_share.values(), default=0.0)

    @property
    def too_cold(self) -> tuple[str, ...]:
        """Cohorts below their cold limit in normal weather, or too often in synthetic years."""
        normal = {where.split(".")[1] for limit, where in self.broken if is_of_warmth(limit, True)}
        often = {key for key, share in self.cold_share.items() if share > MOST_RISK}
        return tuple(sorted(normal | often))

    @property
    def too_warm(self) -> frozenset[str]:
        """Cohorts above their heat limit in normal weather."""
        return frozenset(where.split(".")[1] for limit, where in self.broken if is_of_warmth(limit, False))


def is_of_warmth(limit: str, is_cold: bool) -> bool:
    """Whether water too cold, or too warm, breaks a limit."""
    return LIMITS[limit].is_of_warmth and LIMITS[limit].is_floor == is_cold


def spares(options: list[Option]) -> list[Option]:
    """Options that keep every fish clear of cold, of heat and of deaths that the file's own way would have spared it.

    The file's own way stands first. Where it is itself too cold, the option of fewest deaths sets what is unavoidable.
    """
    if not options:
        return []
    plan = options[0]
    anyway = frozenset.intersection(*(o.too_warm for o in options)) | plan.too_warm
    clear = [o for o in options if not o.too_cold and not o.too_warm - anyway]
    usual = plan if plan in clear else min(clear, key=lambda o: o.deaths, default=plan)
    return [o for o in clear if not added_deaths(o, usual)]


def added_deaths(option: Option, usual: Option) -> tuple[str, ...]:
    """Cohorts of which more than 2 %, and a whole fish, die beyond another option."""
    return tuple(
        key
        for key, died in option.died.items()
        if died - usual.died.get(key, 0.0) >= max(MOST_ADDED_DEATHS * option.stocked.get(key, 0.0), 1.0)
    )


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
    priced = sorted((o for o in spared if o.cost is not None), key=lambda o: (o.cost or 0.0, -o.net_kg))
    marked: dict[int, float | None] = {}
    best: Option | None = None
    for option in priced:
        if best is None or option.net_kg >= best.net_kg + LEAST_STEP_KG:
            extra = None
            if best is not None:
                extra = ((option.cost or 0.0) - (best.cost or 0.0)) / (option.net_kg - best.net_kg)
            marked[id(option)] = extra
            best = option
    return [replace(o, cost_per_extra_kg=marked[id(o)], is_on_frontier=True) if id(o) in marked else o for o in options]


# --- what an option burns, by heater and month


def sizes(option: Option) -> dict[str, HeaterSize]:
    """How each heater that the file has compares with the design night of an option, by place."""
    return {place: heater_size(option.design_kw.get(place, 0.0), power) for place, power in option.installed_kw.items()}


def fuel_rows(option: Option) -> list[dict[str, Any]]:
    """Fuel of each heater with the energy in it: kWh, therms and, of liquids, liters."""
    rows = []
    for use in option.fuel:
        energy = use.amount * FUELS[use.fuel].kwh_per[use.unit] if use.fuel in FUELS else use.heat_kwh
        litres = None
        if use.fuel in FUELS and "L" in FUELS[use.fuel].kwh_per:
            litres = round(energy / FUELS[use.fuel].kwh_per["L"], 1)
        rows.append(
            {"place": use.place, "fuel": use.fuel, "heat_kwh": round(use.heat_kwh, 1), "fuel_kwh": round(energy, 1),
             "fuel_therms": round(energy / _THERM_KWH, 2), "fuel_litres": litres, "amount": round(use.amount, 2),
             "amount_unit": use.unit, "cost": None if use.cost is None else round(use.cost, 2)}
        )  # fmt: skip
    return rows


def fuel_months(option: Option) -> list[dict[str, Any]]:
    """Heat, fuel and cost of each heater month by month; keys carry units."""
    rows = []
    for use in option.fuel:
        for month, heat in use.month_kwh.items():
            share = heat / use.heat_kwh if use.heat_kwh > 0.0 else 0.0
            rows.append(
                {"month": month, "place": use.place, "fuel": use.fuel, "heat_kwh": round(heat, 1),
                 "amount": round(share * use.amount, 2), "amount_unit": use.unit,
                 "cost": None if use.cost is None else round(share * use.cost, 2)}
            )  # fmt: skip
    return rows
