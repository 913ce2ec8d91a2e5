"""Which option to take through the cold months, why, and what would change it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum, auto
from typing import NamedTuple

from stocksim.answers.cold.choice import LEAST_STEP_KG, Option, added_deaths, spares
from stocksim.changes.change import Action
from stocksim.site.kinds import LIMITS

# of a crop without a price, that a recommended option may lose of the file's own way (our choice)
LOST_CROP_SHARE = 0.1
LEAST_CROP_KG = 0.5  # less than this is no loss of a crop (our choice)


class Why(StrEnum):
    """Why an option is recommended."""

    LEAVES_MOST = auto()  # growth over fuel, of the options that spare every fish
    LEAST_HARM = auto()  # no option spares every fish
    OWN_WAY = auto()  # of options with heat that has no price it is the file's own way, which spares every fish
    LEAST_HEAT = auto()  # of options with heat that has no price, as the file's own way does not spare every fish


class Hurdle(StrEnum):
    """What bars an option."""

    COLD_LIMIT = auto()  # of a cohort
    HEAT_LIMIT = auto()  # of a cohort
    DEATHS = auto()  # of a cohort
    LIMIT = auto()  # another limit, at a tank or loop
    CROP = auto()  # a crop without a price that is lost or stands too cold


class Bar(NamedTuple):
    """What bars an option, and where: a cohort, a crop, or ``tanks.NAME`` or ``loops.NAME`` of a limit."""

    hurdle: Hurdle
    where: str
    limit: str = ""


class Turn(NamedTuple):
    """Another option, and the worth of fish, or of crops, from which it overtakes. [money/kg]"""

    option: Option
    worth: float


@dataclass(frozen=True)
class Verdict:
    """Which option is recommended, why, and what would change it.

    Parameters
    ----------
    best, plan : Option
        The recommended option and the file's own way, which may be the same.
    why : Why
        Why it is recommended.
    worth : float
        Of a kilo of fish. [money/kg]
    unpriced : tuple of str
        Places whose heat has no price, where money ranks nothing for it.
    dearer, cheaper : Turn or None
        Where fish worth more, or less, would make it another option.
    bars : tuple of Bar
        What bars the options with more growth.
    crops : Turn or None
        Where crops without a price, worth more than this, would make it another option.
    without_crops : Turn or None
        What it would be if crops without a price were given up, and the worth of those below which that pays.
    crop_worth : mapping of str to float
        Worth of a kilo of the crops that have a price. [money/kg]
    cheap_power : Turn or None
        The option with a heater to buy without a price that bears the dearest heat and still overtakes. [money/kWh]
    """

    best: Option
    plan: Option
    why: Why
    worth: float
    unpriced: tuple[str, ...] = ()
    dearer: Turn | None = None
    cheaper: Turn | None = None
    bars: tuple[Bar, ...] = ()
    crops: Turn | None = None
    without_crops: Turn | None = None
    crop_worth: Mapping[str, float] = field(default_factory=dict)
    cheap_power: Turn | None = None

    @property
    def crops_sold(self) -> float:
        """Worth of the crops that have a price. [money]"""
        return sold(self.best, self.crop_worth)

    @property
    def fish_worth(self) -> float:
        """Worth of the fish that the recommended option grows, less those that die. [money]"""
        return self.worth * self.best.net_kg

    @property
    def is_fuel_dearer(self) -> bool:
        """Whether its fuel costs more than its growth, and the crops that have a price, are worth."""
        return (self.best.cost or 0.0) > self.fish_worth + self.crops_sold


def recommend(options: list[Option], worth: float, crop_worth: Mapping[str, float] | None = None) -> Verdict:
    """The option whose living fish and priced crops are worth most over its fuel, among those that spare every fish.

    Parameters
    ----------
    options : list of Option
        The file's own way first.
    worth : float
        Money for a kilo of growth, less the weight of the fish that die.
    crop_worth : mapping of str to float, optional
        Money for a kilo of a crop. Crops without a price are a condition: an option must keep nine tenths of what the
        file's own way gives of each, and stand none too cold that it does not.

    Returns
    -------
    Verdict
        The option, why, and what would change it.

    Notes
    -----
    Where an option that spares the fish has heat of the file's own heaters without a price, money ranks nothing: the
    file's own way stays if it spares them, else the least heat does. Heaters to buy without a price are left out of the
    rank, unless nothing else spares the fish.
    """
    priced = {} if crop_worth is None else crop_worth
    plan, safe = options[0], spares(options)
    if not safe:
        return _nearest(options, worth, priced)
    clean = _clean(safe, plan)
    ranked = [option for option in clean if option.cost is not None]
    if not ranked or any(option.cost is None and not option.is_bought_unpriced for option in safe):
        return _without_prices(_crops_kept(clean, plan, priced), safe, plan, worth)
    unpriced = [o for o in clean if o.cost is None and not crops_lost(o, plan, priced)]
    verdict = _by_money(ranked, options, worth, priced)
    return replace(verdict, cheap_power=_cheap_power(verdict, unpriced))


def _cheap_power(verdict: Verdict, unpriced: list[Option]) -> Turn | None:
    """The option whose heat without a price may be dearest for it to overtake the recommended one."""
    gain = verdict.fish_worth + verdict.crops_sold - (verdict.best.cost or 0.0)
    turns = [
        Turn(o, (verdict.worth * o.net_kg + sold(o, verdict.crop_worth) - o.known_cost - gain) / _unpriced_kwh(o))
        for o in unpriced
    ]
    return max((turn for turn in turns if turn.worth > 0.0), key=lambda turn: turn.worth, default=None)


def _unpriced_kwh(option: Option) -> float:
    return sum(use.heat_kwh for use in option.fuel if use.cost is None)


def warmest_waters(options: list[Option], crop_worth: Mapping[str, float]) -> list[Option]:
    """The warmest water of each loop that spares fish and crops: what cooler air may stand over."""
    plan = options[0]
    tried = [o for o in options if o.change is not None and o.change.kind is Action.WATER_SET_POINT]
    kept = [o for o in _clean(spares(options), plan) if o in tried and not crops_lost(o, plan, crop_worth)]
    places = dict.fromkeys(option.place for option in kept)
    return [max((o for o in kept if o.place == place), key=lambda o: o.set_point_c or 0.0) for place in places]


def sold(option: Option, crop_worth: Mapping[str, float]) -> float:
    """Worth of an option's crops that have a price. [money]"""
    return sum(crop_worth.get(crop, 0.0) * kg for crop, kg in option.crops.items())


def crops_lost(option: Option, plan: Option, crop_worth: Mapping[str, float]) -> tuple[str, ...]:
    """Crops without a price of which an option gives clearly less than the file's own way, or that it first chills."""
    return tuple(
        crop
        for crop, had in plan.crops.items()
        if crop not in crop_worth
        and (
            had - option.crops.get(crop, 0.0) > max(LOST_CROP_SHARE * had, LEAST_CROP_KG)
            or (crop in option.chilled and crop not in plan.chilled)
        )
    )


def _crops_kept(pool: list[Option], plan: Option, crop_worth: Mapping[str, float]) -> list[Option]:
    """Options that keep the crops without a price, or all where none does."""
    return [o for o in pool if not crops_lost(o, plan, crop_worth)] or pool


def _clean(pool: list[Option], plan: Option) -> list[Option]:
    """Options that break no further limit than the file's own way, or all where there is none."""
    return [o for o in pool if not _new_limits(o, plan)] or pool


def _new_limits(option: Option, plan: Option) -> set[str]:
    """Limits that an option breaks, or keeps with less than the reserve, beyond the file's own way, less those judged
    apart or mended by harvest."""
    apart = {limit for limit, kind in LIMITS.items() if kind.is_of_warmth or kind.eased_by_harvest}
    had = {*plan.broken, *plan.near}
    return {
        limit for limit, where in (*option.broken, *option.near) if limit not in apart and (limit, where) not in had
    }


def _nearest(options: list[Option], worth: float, crop_worth: Mapping[str, float]) -> Verdict:
    """The least harm to fish, by whole fish, then to crops; what does no better than the file's own way is not told."""
    plan = options[0]

    def harm(option: Option) -> tuple[float, ...]:
        fish = len(option.too_cold) + len(option.too_warm)
        crops = len(crops_lost(option, plan, crop_worth))
        return option.worst_cold_share, fish, round(option.deaths), crops, float(option is not plan)

    return Verdict(min(options, key=harm), plan, Why.LEAST_HARM, worth)


def _without_prices(pool: list[Option], safe: list[Option], plan: Option, worth: float) -> Verdict:
    best = plan if plan in pool else min(pool, key=lambda o: o.heat_kwh)
    places = tuple(dict.fromkeys(place for option in safe for place in option.unpriced))
    return Verdict(best, plan, Why.OWN_WAY if best is plan else Why.LEAST_HEAT, worth, places)


def _by_money(ranked: list[Option], options: list[Option], worth: float, crop_worth: Mapping[str, float]) -> Verdict:
    plan = options[0]

    def spent(option: Option) -> float:
        return (option.cost or 0.0) - sold(option, crop_worth)

    def gain(option: Option) -> float:
        return worth * option.net_kg - spent(option)

    def other_kg(option: Option) -> float:
        return sum(kg for crop, kg in option.crops.items() if crop not in crop_worth)

    pool = _crops_kept(ranked, plan, crop_worth)
    best, loose = max(pool, key=gain), max(ranked, key=gain)
    lost = other_kg(best) - other_kg(loose)
    given_up = None
    if gain(loose) > gain(best):
        given_up = Turn(loose, (gain(loose) - gain(best)) / lost if lost > LEAST_CROP_KG else math.inf)
    more = [
        Turn(o, (gain(best) - gain(o)) / (other_kg(o) - other_kg(best)))
        for o in pool if other_kg(o) > other_kg(best) + LEAST_CROP_KG
    ]  # fmt: skip
    barred = [o for o in options if o not in pool and o.cost is not None and o.net_kg > best.net_kg]
    return Verdict(
        best, plan, Why.LEAVES_MOST, worth, (), _dearer(best, pool, worth, spent), _cheaper(best, pool, worth, spent),
        tuple(dict.fromkeys(bar for option in barred for bar in _bars(option, plan, crop_worth))),
        min(more, key=lambda turn: turn.worth, default=None), given_up, crop_worth,
    )  # fmt: skip


def _dearer(best: Option, pool: list[Option], worth: float, spent: Callable[[Option], float]) -> Turn | None:
    """The first option with more growth that overtakes as fish are worth more."""
    turns = [
        Turn(o, (spent(o) - spent(best)) / (o.net_kg - best.net_kg))
        for o in pool if o.net_kg >= best.net_kg + LEAST_STEP_KG
    ]  # fmt: skip
    return min((turn for turn in turns if turn.worth > worth), key=lambda turn: turn.worth, default=None)


def _cheaper(best: Option, pool: list[Option], worth: float, spent: Callable[[Option], float]) -> Turn | None:
    """The first option with less growth that overtakes as fish are worth less."""
    turns = [
        Turn(o, (spent(best) - spent(o)) / (best.net_kg - o.net_kg))
        for o in pool if o.net_kg <= best.net_kg - LEAST_STEP_KG
    ]  # fmt: skip
    return max((turn for turn in turns if 0.0 < turn.worth < worth), key=lambda turn: turn.worth, default=None)


def _bars(option: Option, plan: Option, crop_worth: Mapping[str, float]) -> list[Bar]:
    """What bars an option."""
    bars = [Bar(Hurdle.COLD_LIMIT, key) for key in option.too_cold]
    bars += [Bar(Hurdle.HEAT_LIMIT, key) for key in sorted(option.too_warm - plan.too_warm)]
    bars += [Bar(Hurdle.DEATHS, key) for key in added_deaths(option, plan)]
    here = {*option.broken, *option.near} - {*plan.broken, *plan.near}
    new = {(limit, where) for limit, where in here if limit in _new_limits(option, plan)}
    bars += [Bar(Hurdle.LIMIT, where, limit) for limit, where in sorted(new)]
    return bars + [Bar(Hurdle.CROP, crop) for crop in crops_lost(option, plan, crop_worth)]
