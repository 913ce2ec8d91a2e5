"""What one fish of each candidate eats and gives off, and who of them may share a tank."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.season import simulate
from stocksim.fish.body import total_length_mm
from stocksim.fish.company import VERDICTS, Mate, judge_pair, length_spread, mouth_share, predation_grade
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.heat.temperatures import water_c
from stocksim.library.feeds import load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import company_value, load_species, never_with
from stocksim.site.fish_tables import AppetiteRation, CohortTable, PercentRation, TableRation, UnfedRation
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

# Fish run at once of each candidate: so few that no water limits them, whatever the tank; results are per fish.
FEW_FISH = 1e-3
DAYS_A_WEEK = 7


class Candidate(NamedTuple):
    """Fish that might be stocked: species, size, feed, ration and dates; ``leaves`` is the morning they go.

    The ration must not depend on how many fish there are, so that loads are in proportion to numbers.
    """

    name: str
    species: str
    mean_weight_g: float
    feed: str
    ration: AppetiteRation | PercentRation | TableRation | UnfedRation | None = None
    stocked: dt.date | None = None
    leaves: dt.date | None = None
    wild: bool = False
    trained: bool = False
    sex: str = "mixed"
    size_spread: float | None = None
    strain: str | None = None

    def table(self, tank: str, count: float) -> CohortTable:
        """The candidate as a cohort of a site file."""
        return CohortTable.model_construct(
            species=self.species, tank=tank, count=count, mean_weight=self.mean_weight_g, stocked=self.stocked,
            feed=self.feed, ration=self.ration, wild=self.wild, trained=self.trained, sex=self.sex,
            size_spread=self.size_spread, strain=self.strain,
        )  # fmt: skip


class Option(NamedTuple):
    """A loop in one state: its water temperature of each day, shape (day,). [degC]"""

    name: str
    loop: str
    temperature_c: FloatArray


class UnitLoads(NamedTuple):
    """Per fish stocked, shape (option, candidate, day); 0 on days on which it is not there.

    ``biomass_g`` counts the fish before the day's deaths; ``alive`` is the share of the stocked that lives,
    ``weight_g`` the weight of those. ``feed_g`` is offered. ``oxygen_g`` is the fish's own use; ``sump_oxygen_g`` that
    of its solids. ``tan_g`` is all ammonia nitrogen that reaches the loop: excreted, from urea, set free from solids.
    ``size_spread`` is the spread of weights over their mean, for who could eat whom.
    """

    weight_g: FloatArray
    alive: FloatArray
    biomass_g: FloatArray
    feed_g: FloatArray
    oxygen_g: FloatArray
    sump_oxygen_g: FloatArray
    tan_g: FloatArray
    size_spread: FloatArray


def candidate_layout(site: Site, candidates: Sequence[Candidate], option: Option) -> Layout:
    """Layout of a site whose only fish are one of each candidate, all in the first tank of the option's loop.

    Parameters
    ----------
    site : Site
        Gives loops, tanks, beds. Water tests, cycling and the age of films are left out: the water is good.
    candidates : sequence of Candidate
        Fish to follow.
    option : Option
        Loop and temperature.

    Returns
    -------
    Layout
        Without scenario axes.
    """
    tank = next(key for key, table in site.file.tanks.items() if table.loop == option.loop)
    cohorts = {c.name: c.table(tank, 1.0) for c in candidates}
    good: dict[str, Any] = {"water_tests": [], "fishless_cycling": None, "biofilter_start": "mature"}
    loops = {key: loop.model_copy(update=good) for key, loop in site.file.loops.items()}
    with_them = replace(
        site,
        file=site.file.model_copy(update={"cohorts": cohorts, "events": [], "loops": loops}),
        species={c.species: site.species.get(c.species) or load_species(c.species, site.folder) for c in candidates},
        feeds={c.feed: site.feeds.get(c.feed) or load_feed(c.feed, site.folder) for c in candidates},
        held_c={**water_c(site), option.loop: option.temperature_c},
    )
    return build_layout(with_them)


def unit_loads(site: Site, candidates: Sequence[Candidate], options: Sequence[Option]) -> UnitLoads:
    """Course of one fish of each candidate in good water, under each option.

    Parameters
    ----------
    site : Site
        The site.
    candidates : sequence of Candidate
        Fish to follow.
    options : sequence of Option
        Loops and their temperatures.

    Returns
    -------
    UnitLoads
        Arrays (option, candidate, day).

    Notes
    -----
    The engine runs once an option, a scenario for each candidate alone and one without fish, whose load is taken off.
    With so few fish neither oxygen, ammonia nor nitrite curbs appetite, so that loads are in proportion to numbers as
    long as the full season's limits hold; the ration follows the site's feeding ramps.
    """
    runs = [_run(site, candidates, option) for option in options]
    return UnitLoads(*(np.stack(part) for part in zip(*runs, strict=True)))


def _run(site: Site, candidates: Sequence[Candidate], option: Option) -> UnitLoads:
    layout = candidate_layout(site, candidates, option)
    number = len(candidates)
    alone = np.vstack([np.eye(number), np.zeros(number)]) * FEW_FISH
    course = simulate(replace(layout, count=alone))
    loop = layout.loops.index(option.loop)
    own = np.arange(number)

    def of_fish(name: str) -> FloatArray:
        """(candidate, day) of each candidate's own scenario."""
        return np.asarray(getattr(course, name)[own, :, own])

    def of_loop(name: str) -> FloatArray:
        table = getattr(course, name)[:, :, loop]
        return np.asarray(table[:number] - table[number])

    there = _days_there(site, candidates)
    fish = of_fish("count") + of_fish("deaths")
    made = of_loop("sump_tan_load_g") + AMMONIA_SHARE_OF_EXCRETION * of_fish("excreted_nitrogen_g")
    amounts = (
        of_fish("count"), fish * of_fish("weight_g"), of_fish("fed_g"), of_fish("fish_oxygen_g"),
        of_loop("sump_oxygen_used_g"), made,
    )  # fmt: skip
    spread = of_fish("size_spread") * there
    alive, biomass, feed, oxygen, sump_oxygen, tan = (there * amount / FEW_FISH for amount in amounts)
    return UnitLoads(of_fish("weight_g") * there, alive, biomass, feed, oxygen, sump_oxygen, tan, spread)


def _days_there(site: Site, candidates: Sequence[Candidate]) -> FloatArray:
    """1 on the days on which a candidate is in its tank, shape (candidate, day)."""
    start, days = site.file.season.start, np.arange(site.days)
    first = np.array([(c.stocked - start).days if c.stocked else 0 for c in candidates])
    last = np.array([(c.leaves - start).days if c.leaves else site.days for c in candidates])
    return ((days >= first[:, None]) & (days < last[:, None])).astype(float)


def worst_of_weeks(daily: FloatArray) -> FloatArray:
    """Greatest day of each week, shape (..., day) to (..., week); a last part of a week counts as one."""
    return np.asarray(np.maximum.reduceat(daily, np.arange(0, daily.shape[-1], DAYS_A_WEEK), axis=-1))


def least_of_weeks(daily: FloatArray) -> FloatArray:
    """Smallest day of each week, as `worst_of_weeks`."""
    return np.asarray(np.minimum.reduceat(daily, np.arange(0, daily.shape[-1], DAYS_A_WEEK), axis=-1))


def mean_of_weeks(daily: FloatArray) -> FloatArray:
    """Mean of each week, as `worst_of_weeks`."""
    starts = np.arange(0, daily.shape[-1], DAYS_A_WEEK)
    days = np.diff(np.append(starts, daily.shape[-1]))
    return np.asarray(np.add.reduceat(daily, starts, axis=-1) / days)


# --- which candidates of a stocking may not share a tank, by their sizes over the weeks that both are there


class Apart(NamedTuple):
    """Two candidates that may not share a tank: the gravest key of `judge_pair`, and who eats whom, -1 if nobody.

    ``day`` is the first day of the season on which it shows, -1 where it holds whatever the day.
    """

    one: int
    other: int
    key: str
    eater: int
    day: int


class Cannibal(NamedTuple):
    """A candidate whose larger fish eat its smaller ones, from this day of the season on."""

    day: int


def _mate(entry: Entry, weight_g: FloatArray, size_spread: FloatArray) -> Mate:
    slope = entry["length_weight_slope"]
    length = total_length_mm(weight_g, entry["length_weight_intercept"], slope, entry["farmed_condition"])
    # growth windows and young siblings part no candidates, so the file's own windows do
    return Mate(
        length, length_spread(size_spread, slope), entry["prey_share_deep"], entry["prey_share_slender"],
        company_value(entry, "body_depth"), entry.facts["temper"], entry["growth_temperature_low"],
        entry["growth_temperature_high"], entry["temperature_low_limit"], entry["temperature_high_stress"],
        entry["oxygen_recommended"], company_value(entry, "eats_own") > 0.0,
    )  # fmt: skip


def _first_meal(predator: Mate, prey: Mate, same_species: bool) -> int:
    """First place in the arrays at which prey fits a predator's mouth, -1 for never."""
    share = mouth_share(predator, prey, same_species)
    grade = predation_grade(predator.length_mm, predator.length_cv, prey.length_mm, prey.length_cv, share)
    hits = np.flatnonzero(np.atleast_1d(grade) == 2)
    return int(hits[0]) if hits.size else -1


def cannibals(candidates: Sequence[Candidate], entries: Sequence[Entry], loads: UnitLoads) -> dict[int, Cannibal]:
    """Candidates that cannot be kept as one batch, by their number.

    Parameters
    ----------
    candidates, entries : sequence
        The fish and their species.
    loads : UnitLoads
        Weights and spreads, (option, candidate, day).

    Returns
    -------
    dict of int to Cannibal
        Those that eat each other under any option.
    """
    found: dict[int, Cannibal] = {}
    for c in range(len(candidates)):
        for o in range(loads.weight_g.shape[0]):
            days = np.flatnonzero(loads.weight_g[o, c] > 0.0)
            if not days.size:
                continue
            mate = _mate(entries[c], loads.weight_g[o, c, days], loads.size_spread[o, c, days])
            meal = _first_meal(mate, mate, True)
            if meal >= 0 and (c not in found or days[meal] < found[c].day):
                found[c] = Cannibal(int(days[meal]))
    return found


def apart_in_tank(
    candidates: Sequence[Candidate],
    entries: Sequence[Entry],
    loads: UnitLoads,
    allowed: NDArray[np.bool_],
    temperatures_c: Sequence[FloatArray],
) -> tuple[Apart, ...]:
    """Pairs of candidates that may not share a tank under any option that both may live in.

    Parameters
    ----------
    candidates, entries : sequence
        The fish and their species.
    loads : UnitLoads
        Weights and spreads, (option, candidate, day).
    allowed : ndarray of bool, shape (option, candidate, tank)
        Where each may live.
    temperatures_c : sequence of ndarray, shape (day,)
        Water of each option. [degC]

    Returns
    -------
    tuple of Apart
        Judged on the days both are there; a pair that must be kept apart under one option is kept apart under all.
    """
    found = []
    for a in range(len(candidates)):
        for b in range(a + 1, len(candidates)):
            for o in range(loads.weight_g.shape[0]):
                if not (allowed[o, a] & allowed[o, b]).any():
                    continue
                judged = _judge(entries, loads, o, a, b, temperatures_c[o])
                if judged is not None:
                    found.append(judged)
                    break
    return tuple(found)


def _judge(entries: Sequence[Entry], loads: UnitLoads, o: int, a: int, b: int, water: FloatArray) -> Apart | None:
    days = np.flatnonzero((loads.weight_g[o, a] > 0.0) & (loads.weight_g[o, b] > 0.0))
    if not days.size:
        return None
    one, other = (_mate(entries[c], loads.weight_g[o, c, days], loads.size_spread[o, c, days]) for c in (a, b))
    names = [entries[c].name for c in (a, b)]
    is_kin = names[0] == names[1]
    never = not is_kin and (names[1] in never_with(entries[a]) or names[0] in never_with(entries[b]))
    company = judge_pair(one, other, is_kin, never, water[days])
    if company.verdict != VERDICTS[2]:
        return None
    key = company.reasons[0].key
    for eater, meal in ((a, _first_meal(one, other, is_kin)), (b, _first_meal(other, one, is_kin))):
        if key == "fits_mouth" and meal >= 0:
            return Apart(a, b, key, eater, int(days[meal]))
    return Apart(a, b, key, -1, -1)
