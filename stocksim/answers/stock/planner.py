"""From a first plan to the best one that a season bears: filled up, polished.

Apart from `decide` for its length.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.problem import Problem
from stocksim.answers.stock.program import IntArray, Program, Stocking, broken, goal_value, score
from stocksim.answers.stock.rounds import Corrections, Proven, calibrated
from stocksim.answers.stock.seasons import (
    SEASONS_AT_ONCE,
    build_program,
    first_courses,
    margin_of,
    run_stocking,
    season_margins,
    worst_margins,
)
from stocksim.answers.stock.solve import GIVEN_UP, Plan, solve, solve_in_order
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.course import Course
from stocksim.site.stocking_tables import StockingTable

FloatArray = NDArray[np.float64]


class Filling:
    """A stocking being filled, with what each limit has left."""

    def __init__(self, program: Program, choice: NDArray[np.int64]):
        self.program, self.choice = program, choice
        self.fish = np.zeros((len(program.candidates), len(program.tanks)), int)
        self.spent = float(program.option_cost[choice].sum())
        weeks = program.weeks
        self.use = [
            np.zeros((len(program.loops) if limit.is_of_loop else len(program.tanks), weeks))
            for limit in program.limits
        ]
        self.bears = [np.full_like(use, np.inf) for use in self.use]

    def room(self, c: int, t: int) -> int:
        """Most fish of a candidate that a tank still takes by the program's own limits."""
        program = self.program
        loop = int(program.tank_loop[t])
        o = int(self.choice[loop])
        left = float(program.most[c] - self.fish[c].sum())
        there = np.flatnonzero(self.fish[:, t])
        if not program.allowed[o, c, t] or program.apart_in_tank[c, there].any():
            return 0
        if program.price[c] > 0.0:
            left = min(left, (program.budget - self.spent) / program.price[c])
        for limit, use, bears in zip(program.limits, self.use, self.bears, strict=True):
            load = limit.load[o, c]
            if limit.is_of_loop:
                bear = np.minimum(bears[loop], limit.capacity[o, c, 0])
                left = min(left, _most(bear - use[loop], load))
                continue
            for other in np.flatnonzero(program.tank_loop == loop):
                bear = np.minimum(bears[other], limit.capacity[o, c, t]) if other == t else bears[other]
                pull = (1.0 if other == t else 0.0) if limit.influence is None else limit.influence[o, other, t]
                left = min(left, _most(bear - use[other], load * pull))
        return max(int(np.floor(left + 1e-9)), 0)

    def add(self, c: int, t: int, number: int) -> None:
        """Put fish into a tank."""
        program = self.program
        loop = int(program.tank_loop[t])
        o = int(self.choice[loop])
        self.fish[c, t] += number
        self.spent += number * float(program.price[c])
        for limit, use, bears in zip(program.limits, self.use, self.bears, strict=True):
            load = number * limit.load[o, c]
            if limit.is_of_loop:
                use[loop] += load
                bears[loop] = np.minimum(bears[loop], limit.capacity[o, c, 0])
                continue
            bears[t] = np.minimum(bears[t], limit.capacity[o, c, t])
            for other in np.flatnonzero(program.tank_loop == loop):
                pull = (1.0 if other == t else 0.0) if limit.influence is None else limit.influence[o, other, t]
                use[other] += load * pull


def _most(left: FloatArray, load: FloatArray) -> float:
    if (left < -1e-9).any():
        return 0.0
    asks = load > 0.0
    return float((left[asks] / load[asks]).min()) if asks.any() else np.inf


def greedy_stocking(program: Program, goal: str) -> Stocking:
    """A keeper's fill: what must be placed, then what gains most for its share of the tightest limit, and so on.

    Parameters
    ----------
    program : Program
        The problem.
    goal : str
        ``edible``, ``steady`` or ``cost``.

    Returns
    -------
    Stocking
        Each loop in its first option. It keeps every limit, but perhaps not the wishes: check it by `broken`.
    """
    choice = np.array([program.options_of(loop)[0] for loop in range(len(program.loops))], int)
    filling = Filling(program, choice)
    for c in np.flatnonzero(program.least):
        for t in np.flatnonzero(program.allowed[choice[program.tank_loop], c, np.arange(len(program.tanks))]):
            wanted = int(program.least[c] - filling.fish[c].sum())
            number = min(max(wanted, int(program.minimum_batch[c])), filling.room(int(c), int(t)))
            if wanted > 0 and number >= program.minimum_batch[c]:
                filling.add(int(c), int(t), number)
    while True:
        base = score(program, goal, Stocking(filling.fish, choice))
        best, gain = None, 0.0
        for c, t in np.argwhere(program.allowed.any(axis=0)):
            room = filling.room(int(c), int(t))
            if room < program.minimum_batch[c]:
                continue
            fish = filling.fish.copy()
            fish[c, t] += room
            more = score(program, goal, Stocking(fish, choice)) - base
            worth = more / _tightest(filling, int(c), int(t), room)
            if more > 1e-9 and worth > gain:
                best, gain = (int(c), int(t), room), worth
        if best is None:
            return Stocking(filling.fish, choice)
        filling.add(*best)


def _tightest(filling: Filling, c: int, t: int, room: int) -> float:
    """Greatest share of any limit of its own place that so many fish of a candidate take."""
    program = filling.program
    loop = int(program.tank_loop[t])
    o = int(filling.choice[loop])
    shares = [1e-6]
    for limit in program.limits:
        place = 0 if limit.is_of_loop else t
        pull = 1.0 if limit.influence is None else limit.influence[o, t, t]
        capacity = limit.capacity[o, c, place]
        asks = np.isfinite(capacity) & (capacity > 0.0)
        shares.append(float((room * (limit.load[o, c] * pull)[asks] / capacity[asks]).max(initial=0.0)))
    return max(shares)


# --- a plan that holds made better by trying others near it in full seasons, many at once

# Steps from the plan that holds towards better ones that did not, and shares of a cohort added or moved.
_STEPS = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05)
_SHARES = (0.25, 0.1, 0.04)
_THINNER = (0.98, 0.96, 0.94, 0.92, 0.9, 0.87)
_LEAST_GAIN = 1e-3  # of the score: less is not worth another season
# limits that the program keeps a margin on by rows of its own, close to the engine's
_BY_ROWS = ("density", "oxygen")


def polished(
    problem: Problem,
    program: Program,
    goal: str,
    start: Stocking,
    better: Sequence[Stocking],
    margin: float,
    ends: float,
) -> Stocking:
    """A stocking at least as good as one that holds, found by full seasons.

    Parameters
    ----------
    problem : Problem
        The problem.
    program : Program
        Before seasons corrected it: its rows for density and oxygen are kept, that for the biofilter is left to the
        seasons.
    goal : str
        What to make better.
    start : Stocking
        One that holds in its season.
    better : sequence of Stocking
        Plans that promised more and did not hold: steps towards them are tried.
    margin : float
        Share of the biofilter to keep in hand, or as much as the start does. [-]
    ends : float
        Time on the monotonic clock at which to stop. [s]

    Returns
    -------
    Stocking
        Holds every hard limit in its season.
    """
    loose = replace(program, limits=tuple(limit for limit in program.limits if limit.name in _BY_ROWS))
    # seasons may have pressed the margin that the program keeps on the biofilter
    floor = {"biofilter": min(100.0 * margin, float(season_margins(problem, [start])["biofilter"][0]))}
    best, reached = start, score(program, goal, start)
    while time.monotonic() < ends:
        several = _near(program, best, better)
        scored = [(score(program, goal, s), n) for n, s in enumerate(several) if not broken(loose, s)]
        hopeful = sorted((item for item in scored if item[0] > reached + _LEAST_GAIN * abs(reached)), reverse=True)
        if not hopeful:
            break
        # the best, and an even choice of the rest
        spread = np.unique(np.linspace(0, len(hopeful) - 1, SEASONS_AT_ONCE).astype(int))
        tried = [hopeful[n] for n in spread]
        margins = season_margins(problem, [several[n] for _, n in tried])
        holds = np.all([margins[name] >= floor.get(name, 0.0) - 1e-9 for name in margins], axis=0)
        held = [item for item, ok in zip(tried, holds, strict=True) if ok]
        if not held:
            break
        reached, number = held[0]
        best = several[number]
    return best


def _near(program: Program, here: Stocking, better: Sequence[Stocking]) -> list[Stocking]:
    """Stockings near one: steps towards others, more fish of one kind, and one kind's place given to another."""
    found: list[IntArray] = []
    found += [
        np.floor(share * s.fish).astype(int) for s in better for share in _THINNER if (s.choice == here.choice).all()
    ]
    for other in better:
        if (other.choice == here.choice).all():
            apart = other.fish - here.fish
            found += [here.fish + np.round(step * apart).astype(int) for step in _STEPS]
            # and one candidate at a time
            for c in np.flatnonzero(np.abs(apart).sum(axis=1)):
                for step in (1.0, 0.5, 0.2):
                    fish = here.fish.copy()
                    fish[c] += np.round(step * apart[c]).astype(int)
                    found.append(fish)
    inside = program.allowed[here.choice[program.tank_loop], :, np.arange(len(program.tanks))].T
    for c, t in np.argwhere(inside):
        own = int(here.fish[c, t])
        steps = (
            {1, *(int(np.ceil(share * max(own, 1))) for share in _SHARES)} if own else {int(program.minimum_batch[c])}
        )
        for step in steps:
            fish = here.fish.copy()
            fish[c, t] += max(step, 1)
            found.append(fish)
            for other, at in np.argwhere(here.fish > 0):
                if other == c and at == t:
                    continue
                swapped = fish.copy()
                swapped[other, at] = max(swapped[other, at] - max(step, 1), 0)
                found.append(swapped)
    return [Stocking(_whole(program, fish), here.choice) for fish in found]


def _whole(program: Program, fish: IntArray) -> NDArray[np.int64]:
    """No less than nothing, no batch too small, no more than there are."""
    fish = np.maximum(fish, 0)
    fish = np.where(fish < program.minimum_batch[:, None], 0, fish)
    over = fish.sum(axis=1) - program.most
    for c in np.flatnonzero(over > 0):
        fish[c, int(np.argmax(fish[c]))] -= over[c]
    return np.maximum(fish, 0)


# --- the planner at work: a program solved, its plan run, and what is done where no round's plan is good enough

# Called with what is being done, how much of it is done, and how much there is.
Progress = Callable[[str, int, int], None]

# Share of the time left that one solve may take, and the least that it gets.
ONE_SOLVE, LEAST_SOLVE_S = 0.5, 1.0
# A plan further below the first program's bound than this is made better by trying others near it in full seasons.
_WORTH_POLISHING = 0.02
# Where no round held, the last plan is thinned by these shares until a full season holds.
_THINNED = (0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)


class Planner:
    """What the rounds need, with one clock over all of it."""

    def __init__(
        self,
        problem: Problem,
        wishes: StockingTable,
        goals: Sequence[str],
        ends: float,
        gap: float,
        progress: Progress | None,
    ):
        self.problem, self.wishes, self.ends, self.gap, self.progress = problem, wishes, ends, gap, progress
        self.keep_all = "keep" in goals
        self.goals = tuple(goal for goal in goals if goal != "keep") or ("edible",)
        self.first: list[Course] = first_courses(problem)
        self.last: Stocking | None = None
        self.latest: Program | None = None
        self.tried: list[tuple[Program, Plan]] = []

    def left(self) -> float:
        """Time left. [s]"""
        return self.ends - time.monotonic()

    def program(self, courses: Sequence[Course | None], corrections: Corrections) -> Program:
        self.latest = build_program(self.problem, self.wishes, self.first, courses, corrections, self.keep_all)
        return self.latest

    def solve(self, program: Program) -> Plan:
        """The last goal's stocking, with the numbers of the first goal, by which rounds are compared."""
        goal = self.goals[0]
        # the first round gets its time whatever the clock says: an answer late is better than none
        if self.left() < 0.0 and self.tried:
            nan = float("nan")
            return Plan(goal, None, nan, nan, nan, float("inf"), "time_limit", 0.0)
        allowed = max(ONE_SOLVE * self.left() / len(self.goals), LEAST_SOLVE_S)
        plans = solve_in_order(program, self.goals, self.gap, allowed)
        first, found = plans[0], [plan for plan in plans if plan.stocking is not None]
        if not found:
            filled = greedy_stocking(program, goal) if first.status == "time_limit" else None
            if filled is None or broken(program, filled):
                return first
            found = [first._replace(stocking=filled)]
        stocking = found[-1].stocking
        assert stocking is not None
        reached = score(program, goal, stocking)
        gap = max(first.bound - reached, 0.0) / max(abs(reached), 1e-6)
        plan = first._replace(stocking=stocking, value=goal_value(program, goal, stocking), score=reached, gap=gap)
        self.tried.append((program, plan))
        return plan

    def run(self, stocking: Stocking) -> tuple[Layout, Course]:
        self.last = stocking
        return run_stocking(self.problem, stocking)

    def rounds_done(self, done: int, most: int) -> None:
        if self.progress is not None:
            self.progress("rounds of solving and running a season", done, most)

    def counter(self, label: str) -> Callable[[int, int], None]:
        def told(done: int, most: int) -> None:
            if self.progress is not None:
                self.progress(label, done, most)

        return told


def thinned_plan(planner: Planner, proven: Proven) -> Proven:
    """Where no round's plan held its season, the last one with fewer and fewer fish, the first that holds."""
    if planner.last is None or not planner.tried:
        return proven
    program, plan = planner.tried[-1]
    fish = planner.last.fish
    several = [planner.last._replace(fish=_fewer(program, fish, share)) for share in _THINNED]
    sound = [stocking for stocking in several if not broken(program, stocking)]
    if not sound:
        return proven
    margins = worst_margins(planner.problem, sound)
    for stocking, margin in zip(sound, margins, strict=True):
        if margin >= 0.0:
            reached = score(program, plan.goal, stocking)
            gap = max(plan.bound - reached, 0.0) / max(abs(reached), 1e-6)
            value = goal_value(program, plan.goal, stocking)
            held = plan._replace(stocking=stocking, value=value, score=reached, gap=gap, status="thinned")
            layout, course = planner.run(stocking)
            return proven._replace(program=program, plan=held, layout=layout, course=course, broken=())
    return proven


def polished_plan(planner: Planner, proven: Proven, plan: Plan) -> Proven:
    """A plan far below what the uncorrected program promised, made better by full seasons of others near it."""
    first, promised = planner.tried[0]
    if promised.bound <= plan.score + _WORTH_POLISHING * abs(plan.score):
        return proven
    assert plan.stocking is not None
    ends = time.monotonic() + ONE_SOLVE * planner.left()
    others = [other.stocking for _, other in planner.tried if other.stocking is not None and other.score > plan.score]
    stocking = polished(planner.problem, first, plan.goal, plan.stocking, others, margin_of(planner.wishes), ends)
    if (stocking.fish == plan.stocking.fish).all():
        return proven
    layout, course = planner.run(stocking)
    program = _agreeing(planner, stocking, layout, course)
    for goal in planner.goals[1:]:
        floor = {plan.goal: score(program, plan.goal, stocking) * (1.0 - GIVEN_UP)}
        next_best = solve(program, goal, planner.gap, max(ONE_SOLVE * planner.left(), LEAST_SOLVE_S), floor).stocking
        if next_best is not None and worst_margins(planner.problem, [next_best])[0] >= 0.0:
            stocking = next_best
            layout, course = planner.run(stocking)
            program = _agreeing(planner, stocking, layout, course)
    reached = score(program, plan.goal, stocking)
    gap = max(promised.bound - reached, 0.0) / max(abs(reached), 1e-6)
    value = goal_value(program, plan.goal, stocking)
    found = plan._replace(
        stocking=stocking, value=value, score=reached, bound=promised.bound, gap=gap, status="polished"
    )
    return proven._replace(program=program, plan=found, layout=layout, course=course)


def _agreeing(planner: Planner, stocking: Stocking, layout: Layout, course: Course) -> Program:
    """Program that uses its limits at a stocking as that stocking's own season does, to ask for reasons."""
    courses: list[Course | None] = [None] * len(planner.problem.options)
    for option in stocking.choice:
        courses[option] = course
    plain = planner.program(courses, {})
    factors = calibrated(plain, stocking, layout, course, margin_of(planner.wishes))
    return planner.program(courses, factors)


def _fewer(program: Program, fish: IntArray, share: float) -> IntArray:
    """Fish of a stocking times a share; batches that become too small go."""
    fewer = np.floor(fish * share + 1e-9).astype(int)
    return np.where(fewer < program.minimum_batch[:, None], 0, fewer)
