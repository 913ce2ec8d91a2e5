"""The planner at work: a program solved, its plan run, and what is done where no round's plan is good enough."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

import numpy as np

from stocksim.engine.course import Course
from stocksim.engine.layout import Layout
from stocksim.planning.planned_site import run_stocking, worst_margins
from stocksim.planning.program import IntArray, Program, Stocking, broken, goal_value, score
from stocksim.planning.program_solve import GIVEN_UP, Plan, solve, solve_in_order
from stocksim.planning.stock_fill import greedy_stocking
from stocksim.planning.stock_polish import polished
from stocksim.planning.stock_problem import Problem
from stocksim.planning.stock_program import build_program, first_courses, margin_of
from stocksim.planning.stock_rounds import Corrections, Proven, calibrated
from stocksim.site.stocking_tables import StockingTable

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
