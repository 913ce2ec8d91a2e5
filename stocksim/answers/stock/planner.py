"""From a first plan to the best one that a season bears, loops that share nothing apart.

Apart from `decide` for its length.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.apart import joined_parts, loops_apart, part_of
from stocksim.answers.stock.dates import harvests_to_try, widened, with_harvests
from stocksim.answers.stock.milp import MOST_CELLS, Work
from stocksim.answers.stock.nearby import polished
from stocksim.answers.stock.problem import Problem
from stocksim.answers.stock.program import IntArray, Program, Stocking, broken, goal_value, score
from stocksim.answers.stock.rounds import Corrections, Proven, calibrated, prove_plan
from stocksim.answers.stock.seasons import (
    build_program,
    first_courses,
    margin_of,
    run_stocking,
    worst_margins,
)
from stocksim.answers.stock.solve import GIVEN_UP, Plan, relaxed_bound, solve, solve_in_order
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
        left = float(program.most[c] - self.fish[program.of_stock == program.of_stock[c]].sum())
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


# --- the planner at work: a program solved, its plan run, and what is done where no round's plan is good enough

# Called with what is being done, how much of it is done, and how much there is.
Progress = Callable[[str, int, int], None]

# Most rounds of a part that is solved at once, and of one solved a few tanks at a time, where each takes seconds.
MOST_ROUNDS, FEW_ROUNDS = 20, 3
_SEARCH = "turns of seasons near the plan"
# A plan further below the first program's bound than this is made better by trying others near it in full seasons.
_WORTH_POLISHING = 0.02
# Where no round held, the last plan is thinned by these shares until a full season holds.
_THINNED = (0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)


class Planner:
    """What the rounds need, for loops that are planned together; others stay without fish."""

    def __init__(
        self,
        problem: Problem,
        wishes: StockingTable,
        goals: Sequence[str],
        work: Work,
        gap: float,
        progress: Progress | None,
        first: list[Course] | None = None,
        loops: Sequence[int] | None = None,
        keep_all: bool = False,
    ):
        self.problem, self.wishes, self.work, self.gap, self.progress = problem, wishes, work, gap, progress
        self.keep_all = keep_all or "keep" in goals
        self.goals = tuple(goal for goal in goals if goal != "keep") or ("edible",)
        self.first = first or first_courses(problem)
        self.loops = loops
        self.last: Stocking | None = None
        self.latest: Program | None = None
        self.tried: list[tuple[Program, Plan]] = []

    def program(self, courses: Sequence[Course | None], corrections: Corrections) -> Program:
        whole = build_program(self.problem, self.wishes, self.first, courses, corrections, self.keep_all)
        self.latest = whole if self.loops is None else part_of(whole, self.loops)
        return self.latest

    def solve(self, program: Program) -> Plan:
        """The last goal's stocking, with the numbers of the first goal, by which rounds are compared."""
        goal = self.goals[0]
        # the first round is solved whatever the brake says: an answer late is better than none
        if self.tried and self.work.is_over():
            nan = float("nan")
            return Plan(goal, None, nan, nan, nan, float("inf"), "unfinished")
        plans = solve_in_order(program, self.goals, self.gap, self.work)
        first, found = plans[0], [plan for plan in plans if plan.stocking is not None]
        if not found:
            filled = greedy_stocking(program, goal) if first.status in ("counted", "unfinished") else None
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


class Found(NamedTuple):
    """A stocking that seasons found better, in a problem with more dates of harvest, and the most that may be."""

    stocking: Stocking
    bound: float


def searched(planner: Planner, plan: Plan, dated: Problem) -> Found | None:
    """A better plan by full seasons of many near it, other dates of harvest among them; None where none is found."""
    assert plan.stocking is not None
    program = build_program(dated, planner.wishes, planner.first, keep_all=planner.keep_all)
    if planner.loops is not None:
        program = part_of(program, planner.loops)
    bound = max(relaxed_bound(program, plan.goal, planner.gap, planner.work), plan.bound)
    if bound <= plan.score + _WORTH_POLISHING * abs(plan.score):
        return None
    number = len(dated.candidates)
    others = [other.stocking for _, other in planner.tried if other.stocking is not None and other.score > plan.score]
    start, *better = [s._replace(fish=widened(s.fish, number)) for s in (plan.stocking, *others)]
    margin = margin_of(planner.wishes)
    stocking = polished(dated, program, plan.goal, start, better, margin, planner.work, planner.counter(_SEARCH))
    return Found(stocking, bound)


def settled(planner: Planner, proven: Proven, plan: Plan, found: Found) -> Proven:
    """What seasons found as a plan: its program agrees with its season, and later goals have their say."""
    stocking = found.stocking
    layout, course = planner.run(stocking)
    program = _agreeing(planner, stocking, layout, course)
    for goal in planner.goals[1:]:
        floor = {plan.goal: score(program, plan.goal, stocking) * (1.0 - GIVEN_UP)}
        next_best = solve(program, goal, planner.gap, planner.work, floor).stocking
        if next_best is not None and worst_margins(planner.problem, [next_best])[0] >= 0.0:
            stocking = next_best
            layout, course = planner.run(stocking)
            program = _agreeing(planner, stocking, layout, course)
    reached = score(program, plan.goal, stocking)
    gap = max(found.bound - reached, 0.0) / max(abs(reached), 1e-6)
    value = goal_value(program, plan.goal, stocking)
    made = plan._replace(stocking=stocking, value=value, score=reached, bound=found.bound, gap=gap, status="polished")
    return proven._replace(program=program, plan=made, layout=layout, course=course)


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


# --- loops that share nothing, planned one after the other and added


class Part(NamedTuple):
    """Loops that are planned together, and what came of it."""

    planner: Planner
    proven: Proven


def planned_parts(
    problem: Problem,
    wishes: StockingTable,
    goals: Sequence[str],
    work: Work,
    gap: float,
    progress: Progress | None,
) -> list[Part]:
    """Plans of loops that share nothing, each proved by seasons in which the others are without fish.

    Returns
    -------
    list of Part
        One where all loops are tied.
    """
    first = first_courses(problem)
    whole = build_program(problem, wishes, first, keep_all="keep" in goals)
    several = [loops for loops in loops_apart(whole) if part_of(whole, loops).most.any()]
    harvests = harvests_to_try(problem)
    dated = with_harvests(problem, harvests)
    parts: list[Part] = []
    better: list[Found | None] = []
    for loops in several or [list(range(len(whole.loops)))]:
        planner = Planner(problem, wishes, goals, work, gap, progress, first, loops if len(several) > 1 else None)
        rounds = MOST_ROUNDS if int(part_of(whole, loops).allowed.sum()) <= MOST_CELLS else FEW_ROUNDS
        proven = prove_plan(
            planner.program, planner.solve, planner.run, len(problem.options), gap, rounds, planner.rounds_done
        )
        if proven.plan is None or proven.plan.stocking is None:
            proven = thinned_plan(planner, proven)
        has_plan = proven.plan is not None and proven.plan.stocking is not None
        better.append(searched(planner, proven.plan, dated) if proven.plan is not None and has_plan else None)
        parts.append(Part(planner, proven))
    used = sorted({int(n) for one in better if one for n in np.flatnonzero(one.stocking.fish.any(axis=1))})
    used = [n - len(problem.candidates) for n in used if n >= len(problem.candidates)]
    final = with_harvests(problem, tuple(harvests[n] for n in used))
    rows = [*range(len(problem.candidates)), *(len(problem.candidates) + n for n in used)]
    return [_final(part, one, final, rows) for part, one in zip(parts, better, strict=True)]


def _final(part: Part, found: Found | None, problem: Problem, rows: Sequence[int]) -> Part:
    """A part in the problem that has the dates of harvest that any part uses."""
    planner, proven = part
    plan, is_same = proven.plan, len(problem.candidates) == len(planner.problem.candidates)
    if plan is None or plan.stocking is None or (found is None and is_same):
        return part
    narrow = Planner(
        problem, planner.wishes, planner.goals, planner.work, planner.gap, planner.progress, planner.first,
        planner.loops, planner.keep_all,
    )  # fmt: skip
    if found is None:
        widened_fish = widened(plan.stocking.fish, len(problem.candidates))
        stocking = plan.stocking._replace(fish=widened_fish)
        layout, course = narrow.run(stocking)
        program = _agreeing(narrow, stocking, layout, course)
        return Part(narrow, proven._replace(program=program, plan=plan._replace(stocking=stocking)))
    start = found._replace(stocking=found.stocking._replace(fish=found.stocking.fish[list(rows)]))
    return Part(narrow, settled(narrow, proven, plan, start))


def joined(parts: Sequence[Part]) -> tuple[Program, Proven]:
    """All parts as one: the program that bears in each loop what its part's bears, and the sum of the plans."""
    programs = [part.proven.program or part.planner.latest for part in parts]
    if len(parts) == 1:
        assert programs[0] is not None
        return programs[0], parts[0].proven
    planner = parts[0].planner
    whole = build_program(planner.problem, planner.wishes, planner.first, keep_all=planner.keep_all)
    program = joined_parts(
        whole, [(part.planner.loops or (), own) for part, own in zip(parts, programs, strict=True) if own is not None]
    )
    provens = [part.proven for part in parts]
    failed = next((one for one in provens if one.plan is None or one.plan.stocking is None), None)
    disagreement: dict[str, float] = {}
    for one in provens:
        disagreement |= {key: max(value, disagreement.get(key, 0.0)) for key, value in one.disagreement.items()}
    proven = Proven(
        program,
        failed.plan if failed else _sum(program, parts, [one.plan for one in provens if one.plan is not None]),
        None,
        None,
        max(one.rounds for one in provens),
        disagreement,
        tuple(finding for one in provens for finding in one.broken),
        all(one.is_settled for one in provens),
    )
    return program, proven


# how a plan ended, the worst first
_ENDINGS = ("unfinished", "thinned", "polished", "counted", "optimal")


def _sum(program: Program, parts: Sequence[Part], plans: Sequence[Plan]) -> Plan:
    choice = np.array([program.options_of(loop)[0] for loop in range(len(program.loops))], int)
    fish = np.zeros((len(program.candidates), len(program.tanks)), int)
    for part, plan in zip(parts, plans, strict=True):
        assert plan.stocking is not None
        fish += plan.stocking.fish
        for loop in part.planner.loops or ():
            choice[loop] = plan.stocking.choice[loop]
    stocking, goal = Stocking(fish, choice), plans[0].goal
    reached = score(program, goal, stocking)
    bound = reached + sum(max(plan.bound - plan.score, 0.0) for plan in plans)
    status = next(ending for ending in _ENDINGS if ending in {plan.status for plan in plans})
    gap = (bound - reached) / max(abs(reached), 1e-6)
    return Plan(goal, stocking, goal_value(program, goal, stocking), reached, bound, gap, status)
