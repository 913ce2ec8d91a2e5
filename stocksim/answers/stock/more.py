"""What something more or larger would bring: the same plan asked of the site with it and without it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from difflib import SequenceMatcher
from typing import Any, NamedTuple

from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.keep import is_to_keep, keep_plan
from stocksim.answers.stock.less import given
from stocksim.answers.stock.milp import BRAKE_S
from stocksim.answers.stock.program import score
from stocksim.changes.change import prove
from stocksim.engine.arrays.layout import standard_transfer
from stocksim.errors import InputError
from stocksim.site.kinds import LIMITS, Mending
from stocksim.site.reading import Site
from stocksim.site.stocking_tables import StockingTable
from stocksim.units import parse_quantity
from stocksim.water.oxygen import diffuser_standard_transfer

PHRASES = '"tank NAME VOLUME", "bed NAME AREA", "air TANK POWER" or "heat LOOP POWER"'
# likeness from which one name is taken for a slip of another: "aldre" for "alder", not "west" for "east" (our choice)
_SLIP = 0.8
_PUMP_W, _STEP_KW, _STEP_M2 = 40.0, 1.0, 1.0  # one more of each in the table of worth (our choice)


class More(NamedTuple):
    """Something more or larger: how it is told, and the fields that write it."""

    text: str
    fields: dict[str, Any]


class Reached(NamedTuple):
    """What a plan reaches.

    Parameters
    ----------
    rank : tuple of float
        By the goal, the greater the better.
    numbers : dict of str to float
        By name: ``fish`` and ``kg`` of the plan that keeps the fish, else the value of each goal; empty without a plan.
    """

    rank: tuple[float, ...]
    numbers: dict[str, float]


class Worth(NamedTuple):
    """What more of something brings: what is reached with it, and whether it is better to leave it unused."""

    more: More
    reached: Reached
    is_unused: bool


class WhatIf(NamedTuple):
    """A site's own plan, and what it would be with more."""

    site: Site
    goals: tuple[str, ...]
    own: Reached
    each: tuple[Worth, ...]


def read_more(site: Site, text: str) -> More:
    """A keeper's phrase as fields of a site.

    Parameters
    ----------
    site : Site
        A checked site.
    text : str
        ``tank NAME VOLUME`` (one of the file, or a new one like its largest), ``bed NAME AREA``, ``air TANK POWER``,
        ``heat LOOP POWER``.

    Returns
    -------
    More
        Not yet checked beside the other tables of the site.

    Raises
    ------
    InputError
        For other phrases, for names that the file does not have, and for a new tank with nearly the name of an old one.
    """
    kind, _, rest = text.strip().partition(" ")
    name, _, amount = rest.strip().partition(" ")
    readers = {"tank": _tank, "bed": _bed, "air": _air, "heat": _heat}
    if kind not in readers or not amount:
        raise InputError(f'--what-if "{text}": give {PHRASES}, as "tank alder 3000 L".')
    try:
        fields = readers[kind](site, name, amount.strip())
    except (ValueError, InputError) as error:
        raise InputError(f'--what-if "{text}": {error}') from None
    is_new = kind == "tank" and name not in site.file.tanks
    return More(f"{text} (adds a tank like {_largest_tank(site)})" if is_new else text, fields)


def _tank(site: Site, name: str, amount: str) -> dict[str, Any]:
    parse_quantity(amount, "volume")
    tanks = site.file.tanks
    if name in tanks:
        return {f"tanks.{name}.volume": amount}
    if not tanks:
        raise ValueError("the file has no tank that a new one could be like.")
    near = _nearest(name, tanks)
    if near:
        raise ValueError(f"the file has no tank {name}; did you mean {near}? A new tank needs a name less like it.")
    return {f"tanks.{name}": site.raw["tanks"][_largest_tank(site)] | {"volume": amount}}


def _largest_tank(site: Site) -> str:
    return max(site.file.tanks, key=lambda tank: site.file.tanks[tank].volume)


def _nearest(name: str, known: Iterable[str]) -> str:
    """The known name of which one is likely a slip; empty for none, and for one that only counts on, as ``tank_2``."""
    like, near = max(((_likeness(name, one), one) for one in known), default=(0.0, ""))
    return near if like >= _SLIP else ""


def _likeness(name: str, other: str) -> float:
    """Likeness of what differs between two names, word by word and whatever their numbers, from 0 to 1."""
    if name.casefold() == other.casefold():
        return 1.0
    one, two = (re.findall(r"[^\W\d_]+", text.casefold()) for text in (name, other))
    left, right = ("_".join(word for word in a if word not in b) for a, b in ((one, two), (two, one)))
    if not left or not right:
        return 0.0
    return 1.0 if sorted(left) == sorted(right) else SequenceMatcher(None, left, right).ratio()


def _bed(site: Site, name: str, amount: str) -> dict[str, Any]:
    parse_quantity(amount, "area")
    _known(name, site.file.beds, "bed")
    return {f"beds.{name}.area": amount}


def _air(site: Site, name: str, amount: str) -> dict[str, Any]:
    parse_quantity(amount, "power")
    _known(name, site.file.tanks, "tank")
    return {f"tanks.{name}.oxygen_supply": {"kind": "diffuser", "power": amount}}


def _heat(site: Site, name: str, amount: str) -> dict[str, Any]:
    parse_quantity(amount, "power")
    _known(name, site.file.loops, "loop")
    if not _is_heated(site, name):
        raise ValueError(f"loop {name} has no heater in the file: give it one with its set point first.")
    return {f"loops.{name}.heat.heater.power": amount}


def _known(name: str, table: Any, kind: str) -> None:
    if name not in table:
        near = _nearest(name, table)
        meant = f"; did you mean {near}?" if near else ";"
        raise ValueError(f"the file has no {kind} {name}{meant} it has {', '.join(table) or 'none'}.")


def _is_heated(site: Site, loop: str) -> bool:
    heat = site.file.loops[loop].heat
    return heat is not None and heat.heater is not None


def one_more_each(site: Site) -> list[More]:
    """One more of each: a tank like the largest, air where oxygen is nearest its limit, a loop's heat and bed."""
    file, found = site.file, list[More]()
    if file.tanks:
        largest = _largest_tank(site)
        name = next(new for n in range(2, len(file.tanks) + 3) if (new := f"{largest}_{n}") not in file.tanks)
        found.append(More(f"one more tank like {largest}", {f"tanks.{name}": site.raw["tanks"][largest]}))
    near = [f for f in prove(site, {}).findings if f.margin_percent is not None]
    oxygen = [f for f in near if LIMITS[f.limit].mended_by is Mending.AIR]
    if oxygen:
        tank = min(oxygen, key=lambda f: f.margin_percent or 0.0).where.split(".")[1]
        now = standard_transfer(file.tanks[tank].oxygen_supply) / float(diffuser_standard_transfer(1.0))
        found.append(More(f"{_PUMP_W:g} W more of air in {tank}", _air(site, tank, f"{now + _PUMP_W:g} W")))
    for loop, table in file.loops.items():
        if table.heat is not None and table.heat.heater is not None:
            power = table.heat.heater.power + 1000.0 * _STEP_KW
            found.append(More(f"{_STEP_KW:g} kW more heat in {loop}", _heat(site, loop, f"{power:g} W")))
        beds = {name: bed.area for name, bed in file.beds.items() if bed.loop == loop}
        if beds:
            bed = max(beds, key=lambda name: beds[name])
            area = f"{beds[bed] + _STEP_M2:g} m2"
            found.append(More(f"{_STEP_M2:g} m2 more of bed {bed}", _bed(site, bed, area)))
    return found


def what_if(
    site: Site,
    several: Sequence[More],
    goals: tuple[str, ...] | None = None,
    brake_s: float = BRAKE_S,
    progress: Callable[[int, int], None] | None = None,
) -> WhatIf:
    """Plan a site as it is, and with more, a thing at a time.

    Parameters
    ----------
    site : Site
        A checked site.
    several : sequence of More
        Of `read_more` or `one_more_each`.
    goals : tuple of str, optional
        As for `plan_stocking`; where none is named the fish are kept.
    brake_s : float
        Of each plan. [s]
    progress : callable, optional
        Called with (plans made, plans to make).

    Returns
    -------
    WhatIf
        More is never worse, for what is more may stay unused: where the plan with it is, the plan without it stands.

    Raises
    ------
    InputError
        Where the site cannot be so, as with a tank that its pump cannot reach.
    """
    sites = [site, *(site.with_changes(more.fields) for more in several)]
    plans = []
    for at, one in enumerate(sites):
        plans.append(_reached(one, goals, brake_s))
        if progress is not None:
            progress(at + 1, len(sites))
    own, *others = plans
    each = tuple(
        Worth(more, max(own, reached, key=lambda plan: plan.rank), reached.rank <= own.rank)
        for more, reached in zip(several, others, strict=True)
    )
    wishes = site.file.stocking or StockingTable()
    return WhatIf(site, ("keep",) if is_to_keep(site, goals) else tuple(goals or wishes.goal), own, each)


def _reached(site: Site, goals: tuple[str, ...] | None, brake_s: float) -> Reached:
    if is_to_keep(site, goals):
        lived = given(keep_plan(site).lived)
        return Reached((-lived.harms, round(lived.fish), round(lived.kg, 2)), {"fish": lived.fish, "kg": lived.kg})
    plan = plan_stocking(site, goals, brake_s, refused=False)
    if plan.plan is None or plan.plan.stocking is None:
        return Reached((float("-inf"),), {})
    return Reached((score(plan.program, plan.plan.goal, plan.plan.stocking),), plan.values)
