"""Loops that share nothing are planned by themselves: the ways that keep their fish, and the parts of a program.

Apart from `keep` and `planner`, for both need it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from stocksim.answers.stock.less import EARLIER, UNUSED, advise_more, best_first
from stocksim.answers.stock.program import BoolArray, Program
from stocksim.changes.change import prove
from stocksim.changes.effort import more_fish_kg, points
from stocksim.changes.search import Progress, deaths_in
from stocksim.changes.ways import MOST_WAYS, Advice, Way
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season, loop_of
from stocksim.engine.results.harm import harms
from stocksim.site.reading import Site


def groups(names: Sequence[str], ties: Sequence[Sequence[str]]) -> list[list[str]]:
    """Names in groups of which no tie reaches into another, in their order.

    Examples
    --------
    >>> groups(["a", "b", "c"], [("c", "a")])
    [['a', 'c'], ['b']]
    """
    of = {name: name for name in names}
    for tie in ties:
        for other in tie[1:]:
            one, two = of[tie[0]], of[other]
            of = {name: one if root == two else root for name, root in of.items()}
    found: dict[str, list[str]] = {}
    for name in names:
        found.setdefault(of[name], []).append(name)
    return list(found.values())


def fish_apart(site: Site) -> list[list[str]]:
    """Cohorts in groups of loops between which none is moved or graded; groups of loops without fish are left out."""
    file = site.file
    tanks: dict[str, list[str]] = {name: [table.tank] for name, table in file.cohorts.items()}
    for event in file.events:
        tank, into = getattr(event, "tank", None), getattr(event, "into", None)
        if tank is not None:
            tanks.setdefault(event.cohort, []).append(tank)
        if into is not None:  # what is graded out may be graded and moved on
            tanks.setdefault(into, []).extend(tanks[event.cohort])
            tanks[event.cohort] = tanks[into]
    loops = {name: [file.tanks[tank].loop for tank in several] for name, several in tanks.items()}
    together = groups(list(file.loops), [tie for tie in loops.values() if len(tie) > 1])
    found = [[name for name in file.cohorts if loops[name][0] in group] for group in together]
    return [cohorts for cohorts in found if cohorts]


def advise_apart(season: Season, progress: Progress | None = None) -> Advice | None:
    """Advice for the fish of each loop by itself, put together and proved by a season with all of it.

    Parameters
    ----------
    season : Season
        Of the whole site.
    progress : callable, optional
        As for `advise`, of each loop anew.

    Returns
    -------
    Advice or None
        None where all fish are in one loop, or loops are so tied that their own advice cannot be put together.
    """
    several = fish_apart(season.site)
    if len(several) < 2:
        return None
    alone = [_season_of(season.site, cohorts) for cohorts in several]
    if any(_is_elsewhere(one, finding) for one in alone for finding in one.findings if finding.is_broken):
        return None
    each = [advise_more(one, progress) for one in alone]
    must_change = any(advice.must_change for advice in each)
    ranked = [
        # where fish of another loop are harmed, nothing is changed here for a caution
        [way for way in best_first(one.site, advice.ways) if advice.must_change or way.kind != UNUSED]
        if advice.must_change or not must_change
        else []
        for one, advice in zip(alone, each, strict=True)
    ]
    choices: list[list[Way | None]] = [
        [own[min(rank, len(own) - 1)] if own else None for own in ranked] for rank in range(max(map(len, ranked)))
    ]
    if not must_change:
        unused = [next((way for way in advice.ways if way.kind == UNUSED), None) for advice in each]
        choices += [unused] * any(unused)
    ways: list[Way] = []
    for parts in choices:
        way = _joined(season, alone, parts)
        if way is None:
            return None
        if all(way.fields != other.fields for other in ways):
            ways.append(way)
    told = {_place(finding): finding for advice in each for finding in advice.findings}
    return Advice(
        [told.get(_place(finding), finding) for finding in season.findings],
        tuple(ways[:MOST_WAYS]),
        sum(advice.seasons for advice in each),
        all(advice.is_finished for advice in each),
        any(harms(season, finding) for finding in season.findings),
    )


def _season_of(site: Site, cohorts: Sequence[str]) -> Season:
    """Season with the fish of some cohorts only, in the water of all."""
    written = site.raw["cohorts"]
    names = set(cohorts)
    events = []
    for event in site.raw.get("events", []):
        if event["cohort"] in names:
            events.append(event)
            names |= {event["into"]} if "into" in event else set()
    fields: dict[str, Any] = {"cohorts": {name: written[name] for name in cohorts}, "events": events, "stocking": None}
    return prove(site, fields)


def _is_elsewhere(season: Season, finding: Finding) -> bool:
    """Whether a finding is of a loop in which the season has no fish."""
    tanks = {stay.table.tank for stay in season.layout.stays}
    return loop_of(season, finding) not in {season.site.file.tanks[tank].loop for tank in tanks}


def _place(finding: Finding) -> tuple[str, str, object]:
    return finding.limit, finding.where, finding.worst_date


def _joined(season: Season, alone: Sequence[Season], parts: Sequence[Way | None]) -> Way | None:
    """One way of those of several loops; None where they write into the same place."""
    fields: dict[str, Any] = {}
    added: list[Any] = []
    for one, way in zip(alone, parts, strict=True):
        if way is None:
            continue
        own = dict(way.fields)
        had = one.site.raw.get("events", [])
        events = own.pop("events", had)
        if events[: len(had)] != had or set(own) & set(fields):
            return None
        added += events[len(had) :]
        fields |= own
    if added:
        fields["events"] = [*season.site.raw.get("events", []), *added]
    used = [way for way in parts if way is not None]
    steps = tuple(step for way in used for step in way.steps)
    after = prove(season.site, fields)
    return replace(
        used[0],
        kind=EARLIER if any(way.kind == EARLIER for way in used) else used[0].kind,
        steps=steps,
        fields=fields,
        left=tuple(finding for way in used for finding in way.left),
        near=tuple(finding for way in used for finding in way.near),
        deaths=deaths_in(after, season),
        fish_kg=more_fish_kg(season, after),
        feed_kg=sum(way.feed_kg for way in used),
        points=points(season, after, [step.change for step in steps]),
    )


# --- the same of a program: loops that no number of fish, budget or wish ties


def loops_apart(program: Program) -> list[list[int]]:
    """Loops in groups that may be planned apart and added.

    Parameters
    ----------
    program : Program
        Of a whole site.

    Returns
    -------
    list of list of int
        Loops are tied by fish that may live in several of them, a harvest wished that several may give, a budget that
        all that is offered would exceed, and a number of species.
    """
    inside = _may_live(program)
    names = [str(loop) for loop in range(len(program.loops))]
    kinds = len(set(program.species))
    if program.species_least > 0 or program.species_most < kinds or (program.least[~inside.any(axis=1)] > 0).any():
        return [list(range(len(names)))]
    ties = [inside[c] for c in np.flatnonzero(program.most > 0)]
    ties += [inside[(wish.kg_per_fish > 0.0).any(axis=0)].any(axis=0) for wish in program.wishes]
    dearest = [max(program.option_cost[program.options_of(loop)]) for loop in range(len(names))]
    if program.price @ program.most + sum(dearest) > program.budget:
        ties.append(inside[program.price > 0.0].any(axis=0) | (np.array(dearest) > 0.0))
    found = groups(names, [[names[loop] for loop in np.flatnonzero(tie)] for tie in ties if tie.any()])
    return [[int(name) for name in group] for group in found]


def _may_live(program: Program) -> BoolArray:
    """Whether a candidate may live in a loop under any of its options, shape (candidate, loop)."""
    there = np.zeros((len(program.candidates), len(program.loops)), bool)
    for option, loop in enumerate(program.option_loop):
        there[:, loop] |= program.allowed[option][:, program.tank_loop == loop].any(axis=1)
    return there


def part_of(program: Program, loops: Sequence[int]) -> Program:
    """A program with fish in some loops only, of the same shape; what is of the others counts for nothing.

    Fish that may live nowhere belong to the first loop's part: they are sold or eaten there.
    """
    inside, is_part = _may_live(program), np.isin(np.arange(len(program.loops)), loops)
    own = inside[:, is_part].any(axis=1) | (~inside.any(axis=1) & is_part[0])
    return replace(
        program,
        allowed=program.allowed & is_part[program.option_loop][:, None, None],
        least=np.where(own, program.least, 0),
        most=np.where(own, program.most, 0),
        owned=np.where(own, program.owned, 0),
        option_cost=np.where(is_part[program.option_loop], program.option_cost, 0.0),
        feed_low=np.where(is_part[:, None], program.feed_low, 0.0),
        feed_high=np.where(is_part[:, None], program.feed_high, np.inf),
        # a wish that no fish gives to must be seen to fail
        wishes=tuple(
            w for w in program.wishes if (w.kg_per_fish * own).any() or (is_part[0] and not w.kg_per_fish.any())
        ),
    )


def joined_parts(program: Program, parts: Sequence[tuple[Sequence[int], Program]]) -> Program:
    """A whole program that bears in each loop what the program of its part bears there."""
    limits = []
    for at, limit in enumerate(program.limits):
        capacity, load = limit.capacity.copy(), limit.load.copy()
        influence = None if limit.influence is None else limit.influence.copy()
        for loops, part in parts:
            here = np.isin(program.option_loop, loops)
            capacity[here], load[here] = part.limits[at].capacity[here], part.limits[at].load[here]
            own = part.limits[at].influence
            if influence is not None and own is not None:
                influence[here] = own[here]
        limits.append(limit._replace(capacity=capacity, load=load, influence=influence))
    return replace(program, limits=tuple(limits))
