"""Which option to take through the cold months, why, and what would change it."""

from __future__ import annotations

from typing import NamedTuple

from stocksim.planning.cold_choice import LEAST_STEP_KG, Option, added_deaths, spares
from stocksim.planning.levers import limit_name
from stocksim.units import format_quantity, to_face

_JUDGED_APART = ("temperature_low", "temperature_high", "density")  # judged apart, or mended by harvest


class Verdict(NamedTuple):
    """Name of the option, why, what would change it."""

    name: str
    reason: str
    change: str


def recommend(options: list[Option], worth: float, units: str = "metric") -> Verdict:
    """The option whose living fish are worth most over its fuel, among those that spare every fish.

    Parameters
    ----------
    options : list of Option
        The file's own way first.
    worth : float
        Money for a kilo of growth, less the weight of the fish that die.
    units : str
        ``metric`` or ``us``, for the words.

    Returns
    -------
    Verdict
        Name, reason, and what would change it.

    Notes
    -----
    Where an option that spares the fish has heat without a price, money ranks nothing: the file's own way stays if it
    spares them, else the least heat does.
    """
    safe = spares(options)
    if not safe:
        return _nearest(options)
    clean = _clean(safe, options[0])
    if any(option.cost is None for option in safe):
        return _without_prices(clean, safe, options[0])
    return _by_money(clean, options, worth, units)


def _clean(pool: list[Option], plan: Option) -> list[Option]:
    """Options that break no further limit than the file's own way, or all where there is none."""
    return [o for o in pool if not _new_limits(o, plan)] or pool


def _new_limits(option: Option, plan: Option) -> set[str]:
    return {limit for limit, where in option.broken if limit not in _JUDGED_APART and (limit, where) not in plan.broken}


def _nearest(options: list[Option]) -> Verdict:
    best = min(options, key=lambda o: (o.worst_cold_share, len(o.too_cold) + len(o.too_warm), o.deaths))
    reason = f"no option keeps every fish out of deadly cold or heat; this one comes nearest, and {best.deaths:.0f} die"
    return Verdict(best.name, reason, "more or larger heaters, insulation, or fish that bear the cold would")


def _without_prices(pool: list[Option], safe: list[Option], plan: Option) -> Verdict:
    best = plan if plan in pool else min(pool, key=lambda o: o.heat_kwh)
    places = ", ".join(dict.fromkeys(place for option in safe for place in option.unpriced))
    chosen = (
        "the file's own way keeps every fish out of deadly cold"
        if best is plan
        else "it takes least heat of those that do"
    )
    reason = f"heat of {places} has no price, so options are not ranked by money; {chosen}"
    return Verdict(best.name, reason, 'give every heater price and price_per, as 2.4 and "gal", to rank them')


def _by_money(pool: list[Option], options: list[Option], worth: float, units: str) -> Verdict:
    plan, unit = options[0], _Mass(units)

    def gain(option: Option) -> float:
        return worth * option.net_kg - (option.cost or 0.0)

    best = max(pool, key=gain)
    fuel, fish = best.cost or 0.0, worth * best.net_kg
    reason = (
        f"of the options that keep every fish out of deadly cold it leaves most: {unit.of(best.net_kg)} of growth, "
        f"less the weight of fish that die, at {unit.price(worth)} {unit.each}, less {fuel:,.0f} of fuel; "
        f"{best.deaths:.0f} fish die"
    )
    if best is not plan and plan.cost is not None:
        reason += (
            f"; against the file's own way that is {unit.more(best.net_kg - plan.net_kg)}, {fuel - plan.cost:+,.0f} of "
            f"fuel, {best.deaths - plan.deaths:+.0f} deaths and {unit.more(best.yield_kg - plan.yield_kg)} of crops, "
            "which are not weighed"
        )
    if fuel > fish:
        reason += (
            f"; the fuel costs more than the growth is worth ({fuel:,.0f} against {max(fish, 0.0):,.0f}), so heat here "
            "keeps fish alive and does not pay for itself"
        )
    change = _what_changes(best, pool, options, worth, unit)
    lost = plan.yield_kg - best.yield_kg
    if plan in pool and lost > 0.5 and plan is not best:
        price = unit.price((gain(best) - gain(plan)) / lost)
        change += f"; crops worth more than {price} {unit.each} would make it the file's own way"
    return Verdict(best.name, reason, change)


def _what_changes(best: Option, pool: list[Option], options: list[Option], worth: float, unit: _Mass) -> str:
    """Prices of fish or fuel at which another option overtakes, and what bars the others."""
    words = []
    above = {
        o.name: ((o.cost or 0.0) - (best.cost or 0.0)) / (o.net_kg - best.net_kg)
        for o in pool if o.net_kg >= best.net_kg + LEAST_STEP_KG
    }  # fmt: skip
    dearer = {name: price for name, price in above.items() if price > worth}
    if dearer:
        name = min(dearer, key=lambda key: dearer[key])
        words.append(
            f"fish worth more than {unit.price(dearer[name])} {unit.each}, or fuel at "
            f'{100.0 * worth / dearer[name]:.0f} % of its price, would make it "{name}"'
        )
    cheaper = {
        o.name: ((best.cost or 0.0) - (o.cost or 0.0)) / (best.net_kg - o.net_kg)
        for o in pool if o.net_kg <= best.net_kg - LEAST_STEP_KG
    }  # fmt: skip
    below = {name: price for name, price in cheaper.items() if 0.0 < price < worth}
    if below:
        name = max(below, key=lambda key: below[key])
        words.append(
            f"fish worth less than {unit.price(below[name])} {unit.each}, or fuel at {worth / below[name]:.1f} times "
            f'its price, would make it "{name}"'
        )
    barred = [o for o in options if o not in pool and o.net_kg > best.net_kg]
    if barred:
        limits = dict.fromkeys(word for option in barred for word in _bars(option, options[0]))
        words.append(f"options with more growth are barred by what they break: {', '.join(limits)}")
    return "; ".join(words) or "within the options tried, no price of fish or fuel changes it"


def _bars(option: Option, plan: Option) -> list[str]:
    """What bars an option, in words."""
    words = [f"the cold limit of {key}" for key in option.too_cold]
    words += [f"the heat limit of {key}" for key in sorted(option.too_warm - plan.too_warm)]
    words += [f"deaths of {key}" for key in added_deaths(option, plan)]
    new = {(limit, where) for limit, where in option.broken if limit in _new_limits(option, plan)}
    return words + [f"{limit_name(limit)} of {where.split('.')[-1]}" for limit, where in sorted(new - set(plan.broken))]


class _Mass:
    """Masses, and prices by mass, in the keeper's units."""

    def __init__(self, units: str):
        self.units = units
        self.each = "a pound" if units == "us" else "a kilo"
        self._per_kg = float(to_face(1.0, "mass", units))

    def of(self, kg: float) -> str:
        return format_quantity(kg, "mass", self.units)

    def more(self, kg: float) -> str:
        return ("+" if kg >= 0.0 else "") + self.of(kg)

    def price(self, per_kg: float) -> str:
        return f"{per_kg / self._per_kg:,.2f}"
