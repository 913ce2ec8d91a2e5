"""A site turned into a stocking problem: who could live where, what each fish asks, gives and costs."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.loads import (
    Apart,
    Candidate,
    Cannibal,
    Option,
    UnitLoads,
    apart_in_tank,
    candidate_layout,
    cannibals,
    mean_of_weeks,
    unit_loads,
)
from stocksim.answers.stock.program import BoolArray, IntArray
from stocksim.engine.arrays.beds import build_planting
from stocksim.engine.arrays.layout import Layout
from stocksim.errors import Fault, InputError
from stocksim.heat.temperatures import loop_water_c, water_c
from stocksim.library.feeds import load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species
from stocksim.site.fish_tables import AppetiteRation, RemovalEvent
from stocksim.site.reading import Site
from stocksim.site.stocking_tables import USUAL_BATCH, OwnTable, StockingTable

FloatArray = NDArray[np.float64]

# Rations that depend on how many fish share them become this share of appetite: an ordinary one (assumed).
INSTEAD_OF_AMOUNTS = AppetiteRation(kind="appetite", fraction=0.85)


class Misfit(NamedTuple):
    """Water of an option that a candidate does not bear: ``kind`` too_cold, too_warm or too_sudden, its worst day.

    ``value`` and ``bound`` in degC (for a change degC in a day); ``day`` is the first day of the season it happens.
    """

    option: str
    kind: str
    day: int
    days: int
    value: float
    bound: float


@dataclass(frozen=True)
class Problem:
    """All of a stocking problem that no wish changes.

    Parameters
    ----------
    site : Site
        The site as the keeper wrote it.
    candidates : tuple of Candidate
        The keeper's own fish first, then those to buy.
    entries : tuple of Entry
        Species of each candidate.
    owned, least, most, minimum_batch : ndarray of int, shape (candidate,)
        Fish the keeper has (0: to buy), and the bounds given.
    price : ndarray, shape (candidate,)
        Of one fish, in the keeper's money.
    options : tuple of Option
        Each loop as it is, then other set points of the keeper.
    option_loop : ndarray of int, shape (option,)
    option_cost : ndarray, shape (option,)
    loads : UnitLoads
        Per fish, (option, candidate, day).
    layouts : tuple of Layout
        One an option, its columns the candidates.
    allowed : ndarray of bool, shape (option, candidate, tank)
        Where a candidate bears the water and may go.
    misfits : mapping of (option, candidate) to Misfit
        Why not.
    cannibals : mapping of int to Cannibal
        Candidates that eat each other.
    apart : tuple of Apart
        Pairs that may not share a tank.
    feed_low, feed_high : ndarray, shape (loop, week)
        What the planted beds want. [g/day]
    notes : tuple of str
        What was changed or left out to make the problem.
    stock : ndarray of int, shape (candidate,)
        Of candidates that are the same fish harvested on another date, the first; by default each its own.
    """

    site: Site
    candidates: tuple[Candidate, ...]
    entries: tuple[Entry, ...]
    owned: IntArray
    least: IntArray
    most: IntArray
    minimum_batch: IntArray
    price: FloatArray
    options: tuple[Option, ...]
    option_loop: IntArray
    option_cost: FloatArray
    loads: UnitLoads
    layouts: tuple[Layout, ...]
    allowed: BoolArray
    misfits: dict[tuple[int, int], Misfit]
    cannibals: dict[int, Cannibal]
    apart: tuple[Apart, ...]
    feed_low: FloatArray
    feed_high: FloatArray
    notes: tuple[str, ...]
    stock: IntArray

    def is_own(self, candidate: int) -> bool:
        """Whether the keeper has these fish."""
        return bool(self.owned[self.stock[candidate]])

    @property
    def tanks(self) -> tuple[str, ...]:
        """Names of the tanks."""
        return tuple(self.site.file.tanks)

    @property
    def tank_loop(self) -> IntArray:
        """Loop of each tank."""
        loops = list(self.site.file.loops)
        return np.array([loops.index(table.loop) for table in self.site.file.tanks.values()], int)

    @property
    def weeks(self) -> int:
        """Number of weeks, a last part of one included."""
        return self.feed_low.shape[-1]


def build_problem(site: Site) -> Problem:
    """Stocking problem of a site.

    Parameters
    ----------
    site : Site
        A checked site, with or without a stocking table.

    Returns
    -------
    Problem
        Loads from the engine; takes about a second an option.
    """
    wishes = site.file.stocking or StockingTable()
    candidates, restricted, notes = _candidates(site, wishes)
    file, number = site.file, len(candidates)
    options, option_loop, option_cost = _options(site, wishes)
    entries = tuple(site.species.get(c.species) or load_species(c.species, site.folder) for c in candidates)
    for candidate in candidates:
        _ = site.feeds.get(candidate.feed) or load_feed(candidate.feed, site.folder)
    own = [wishes.own.get(name, OwnTable()) for name in file.cohorts]
    bought = list(wishes.candidates.values())
    owned = np.array([table.count for table in file.cohorts.values()] + [0] * len(bought), int)
    most = np.array([*owned[: len(own)], *(table.at_most for table in bought)], int)
    given = [*(table.minimum_batch for table in own), *(table.minimum_batch for table in bought)]
    batches = [min(USUAL_BATCH, int(top)) if least is None else least for least, top in zip(given, most, strict=True)]
    loads, layouts = _loads(site, candidates, options)
    misfits = {
        (o, c): misfit
        for o, option in enumerate(options)
        for c in range(number)
        if (misfit := _misfit(option, entries[c], loads.weight_g[o, c] > 0.0)) is not None
    }
    # fish that the water kills leave loads that say nothing of living ones
    bears = np.array([[(o, c) not in misfits for c in range(number)] for o in range(len(options))], float)
    loads = UnitLoads(*(part * bears[:, :, None] for part in loads))
    eaters = cannibals(candidates, entries, loads)
    allowed = np.zeros((len(options), number, len(file.tanks)), bool)
    for o, option in enumerate(options):
        for c, tanks in enumerate(restricted):
            for t, (key, tank) in enumerate(file.tanks.items()):
                fits = (o, c) not in misfits and c not in eaters
                allowed[o, c, t] = fits and tank.loop == option.loop and (tanks is None or key in tanks)
    planting = build_planting(site)
    # crops without a published ratio ask for no feed, and set no ceiling where nothing else is planted
    area = planting.rated_area_m2
    low, high = area * np.nan_to_num(planting.ratio_low), np.where(area > 0.0, area * planting.ratio_high, np.inf)
    return Problem(
        site=site,
        candidates=candidates,
        entries=entries,
        owned=owned,
        least=np.array([table.at_least or 0 for table in own] + [table.at_least for table in bought], int),
        most=most,
        minimum_batch=np.array(batches, int),
        price=np.array([0.0] * len(own) + [table.price for table in bought], float),
        options=options,
        option_loop=option_loop,
        option_cost=option_cost,
        loads=loads,
        layouts=layouts,
        allowed=allowed,
        misfits=misfits,
        cannibals=eaters,
        apart=apart_in_tank(candidates, entries, loads, allowed, [option.temperature_c for option in options]),
        feed_low=mean_of_weeks(low.T),
        feed_high=mean_of_weeks(high.T),
        notes=tuple(notes),
        stock=np.arange(number),
    )


def _candidates(site: Site, wishes: StockingTable) -> tuple[tuple[Candidate, ...], list[list[str] | None], list[str]]:
    """Own fish, then fish to buy; the tanks each is held to; what had to be changed, in words."""
    found, tanks, notes = [], [], []
    last_harvest: dict[str, dt.date] = {}
    for number, event in enumerate(site.file.events, 1):
        if isinstance(event, RemovalEvent) and event.all and event.cohort in site.file.cohorts:
            last_harvest[event.cohort] = event.date
            continue
        notes.append(
            f"events[{number}], a {event.kind} of {event.cohort} on {event.date}, is not part of the plan and is left "
            "out of the planned file: the numbers it follows change."
        )
    own = [(name, table, wishes.own.get(name, OwnTable())) for name, table in site.file.cohorts.items()]
    for name, table, wish in own:
        tanks.append(wish.tanks)
        found.append(_candidate(name, table, wish.leaves or last_harvest.get(name), notes))
    for name, fish in wishes.candidates.items():
        tanks.append(fish.tanks)
        found.append(_candidate(name, fish, fish.leaves, notes))
    return tuple(found), tanks, notes


def _candidate(name: str, table: object, leaves: dt.date | None, notes: list[str]) -> Candidate:
    ration = getattr(table, "ration", None)
    if ration is not None and ration.kind in ("fixed", "beds"):
        what = "a fixed weight of feed" if ration.kind == "fixed" else "what the beds need"
        notes.append(
            f"{name} is fed {what}, which says nothing about one fish: the plan feeds it "
            f"{INSTEAD_OF_AMOUNTS.fraction:g} of its appetite instead, in the planned file too."
        )
        ration = INSTEAD_OF_AMOUNTS
    keys = ("species", "mean_weight", "feed", "stocked", "wild", "trained", "sex", "size_spread", "strain")
    species, weight, feed, stocked, wild, trained, sex, spread, strain = (getattr(table, key) for key in keys)
    return Candidate(name, species, weight, feed, ration, stocked, leaves, wild, trained, sex, spread, strain)


def _options(site: Site, wishes: StockingTable) -> tuple[tuple[Option, ...], IntArray, FloatArray]:
    loops = list(site.file.loops)
    found = [Option(loop, loop, course) for loop, course in water_c(site).items()]
    cost = [0.0] * len(loops)
    for key, table in wishes.options.items():
        written = site.raw["stocking"]["options"][key]
        changes = {
            f"loops.{table.loop}.water_temperature.{end}": written[end]
            for end in ("at_least", "at_most")
            if end in written
        }
        # read like a file, so that the planned file gives the same water
        try:
            water = loop_water_c(site.with_changes(changes), table.loop)
        except InputError as error:
            raise InputError([_of_option(fault, key, table.loop) for fault in error.faults]) from None
        found.append(Option(key, table.loop, water))
        cost.append(table.cost)
    return tuple(found), np.array([loops.index(option.loop) for option in found], int), np.array(cost, float)


def _of_option(fault: Fault, option: str, loop: str) -> Fault:
    """A fault of a loop's water that an option brought, told where the keeper wrote it."""
    if fault.table != f"loops.{loop}" or not fault.field.startswith("water_temperature"):
        return fault
    field = fault.field.removeprefix("water_temperature").removeprefix(".")
    return replace(fault, table=f"stocking.options.{option}", field=field)


def _loads(
    site: Site, candidates: tuple[Candidate, ...], options: tuple[Option, ...]
) -> tuple[UnitLoads, tuple[Layout, ...]]:
    usable = [option for option in options if any(t.loop == option.loop for t in site.file.tanks.values())]
    if len(usable) < len(options) or not candidates:
        missing = [option.loop for option in options if option not in usable]
        raise InputError(
            f"loop {missing[0]} has no tank, so nothing can be planned for it; give it one or take the loop out."
            if missing
            else "the site has no fish and [stocking.candidates] offers none; write a cohort or a candidate."
        )
    return unit_loads(site, candidates, options), tuple(candidate_layout(site, candidates, o) for o in options)


def _misfit(option: Option, entry: Entry, there: NDArray[np.bool_]) -> Misfit | None:
    """What a candidate does not bear of an option's water on the days it is there."""
    water, days = option.temperature_c, np.arange(len(option.temperature_c))
    change = np.abs(np.diff(water, prepend=water[:1]))
    arrives = int(np.argmax(there)) if there.any() else 0
    change[arrives] = 0.0
    low, high, most = (
        entry["temperature_low_limit"], entry["temperature_high_stress"], entry["temperature_change_per_day"]
    )  # fmt: skip
    for kind, over, value, bound in (
        ("too_cold", water < low, water, low), ("too_warm", water > high, water, high),
        ("too_sudden", change > most, change, most),
    ):  # fmt: skip
        bad = there & over
        if bad.any():
            worst = float((value[bad].min if kind == "too_cold" else value[bad].max)())
            return Misfit(option.name, kind, int(days[bad][0]), int(bad.sum()), worst, float(bound))
    return None
