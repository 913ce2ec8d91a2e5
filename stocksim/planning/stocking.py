"""The stocking planner: which fish, which tank, how many, proved by a full season, with reasons."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from stocksim.engine.course import Course
from stocksim.engine.findings import Finding
from stocksim.engine.layout import Layout
from stocksim.engine.results import Season
from stocksim.engine.running import run_season
from stocksim.errors import InputError
from stocksim.planning.planned_site import Placed, placed, planned_tables, run_stocking, worst_margins
from stocksim.planning.program import Program, Stocking, broken, goal_value, score
from stocksim.planning.program_reasons import (
    Binding,
    Refusal,
    Relaxation,
    Worth,
    binding_limits,
    contradiction,
    refusals,
    smallest_relaxation,
    worth_of_more,
)
from stocksim.planning.program_solve import Plan, solve_in_order
from stocksim.planning.stock_fill import greedy_stocking
from stocksim.planning.stock_problem import Problem, build_problem
from stocksim.planning.stock_program import build_program, first_courses
from stocksim.planning.stock_rounds import Corrections, Proven, prove_plan
from stocksim.planning.stock_sanity import impossible_wishes
from stocksim.site.reading import Site, site_from_tables
from stocksim.site.stocking_tables import StockingTable

# Called with what is being done, how much of it is done, and how much there is.
Progress = Callable[[str, int, int], None]

GAP = 0.01
TIME_LIMIT_S = 60.0
# Shares of the time left: what one solve, the reasons for refusals, and the worth of limits may take.
_ONE_SOLVE, _REASONS = 0.5, 0.5
_LEAST_SOLVE_S = 1.0
# Where no round held, the last plan is thinned by these shares until a full season holds.
_THINNED = (0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)


@dataclass(frozen=True)
class StockingPlan:
    """The planner's answer.

    Parameters
    ----------
    problem : Problem
        What there was to choose from.
    wishes : StockingTable
        What was wished.
    goals : tuple of str
        In their order.
    program : Program
        The last program, with what full seasons corrected.
    plan : Plan or None
        The solver's plan by the first goal; None where none held.
    cohorts : tuple of Placed
        Its fish.
    tables : dict
        Tables of the planned site file; empty without a plan.
    season : Season or None
        The full season of those tables, the proof.
    values : dict of str to float
        Every goal's own number.
    binding : tuple of Binding
        Limits with no room for one more fish.
    worths : tuple of Worth
        What more of them would bring, where asked.
    refused : tuple of Refusal
        Why candidates are left out; time may have ended it early.
    relaxation : Relaxation or None
        What must give, where the wishes cannot be met.
    contradiction : tuple of str
        A smallest set of conditions that cannot hold together.
    broken : tuple of Finding
        Limits that the tried plans broke in the full season, where none held.
    proven : Proven
        Rounds, and by how much program and season differ.
    seconds : float
        Time taken. [s]
    """

    problem: Problem
    wishes: StockingTable
    goals: tuple[str, ...]
    program: Program
    plan: Plan | None
    cohorts: tuple[Placed, ...]
    tables: dict[str, Any]
    season: Season | None
    values: dict[str, float]
    binding: tuple[Binding, ...]
    worths: tuple[Worth, ...]
    refused: tuple[Refusal, ...]
    relaxation: Relaxation | None
    contradiction: tuple[str, ...]
    broken: tuple[Finding, ...]
    proven: Proven
    seconds: float
    notes: tuple[str, ...] = field(default=())


class _Planner:
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
        allowed = max(_ONE_SOLVE * self.left() / len(self.goals), _LEAST_SOLVE_S)
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


def plan_stocking(
    site: Site,
    goal: str | Sequence[str] | None = None,
    time_limit_s: float = TIME_LIMIT_S,
    reasons: bool = False,
    progress: Progress | None = None,
    wishes: StockingTable | None = None,
    problem: Problem | None = None,
    refused: bool = True,
    gap: float = GAP,
) -> StockingPlan:
    """Best stocking of a site that holds every hard limit in its full season.

    Parameters
    ----------
    site : Site
        A checked site; its ``stocking`` table holds candidates and wishes. Without one the site's own fish are
        placed anew for most edible kilos.
    goal : str or sequence of str, optional
        ``edible``, ``steady``, ``cost``, ``keep``, or several in their order; by default the table's.
    time_limit_s : float
        Most time for all of it; the answer then is the best plan so far with its gap. [s]
    reasons : bool
        Whether to solve again for the worth of more of each binding limit.
    progress : callable, optional
        Called with (what is done, steps done, steps in all).
    wishes : StockingTable, optional
        Instead of the site's own, as changed by sliders; its candidates must be those of the problem.
    problem : Problem, optional
        Of `build_problem` for the same site, to save its time.
    refused : bool
        Whether to solve again for the reason of each candidate left out.
    gap : float
        Share of the first goal that may be left open. [-]

    Returns
    -------
    StockingPlan
        ``plan`` is None where the wishes cannot be met; ``relaxation`` then tells what must give.

    Raises
    ------
    InputError
        For wishes that no stocking could meet on their face, as no tank warm enough for any candidate.
    """
    from stocksim.site.stocking_tables import read_goals

    began = time.monotonic()
    wishes = wishes or site.file.stocking or StockingTable()
    try:
        goals = wishes.goal if goal is None else read_goals(goal if isinstance(goal, str) else ",".join(goal))
    except ValueError as error:
        raise InputError(f"goal: {error}") from None
    problem = problem or build_problem(site)
    faults = impossible_wishes(problem, wishes, goals)
    if faults:
        raise InputError(faults)
    planner = _Planner(problem, wishes, goals, began + time_limit_s, gap, progress)
    proven = prove_plan(
        planner.program, planner.solve, planner.run, len(problem.options), gap, progress=planner.rounds_done
    )
    if proven.plan is None or proven.plan.stocking is None:
        proven = _thinned(planner, proven)
    program = proven.program or planner.latest
    assert program is not None
    base = StockingPlan(
        problem, wishes, tuple(goals), program, None, (), {}, None, {}, (), (), (), None, (), proven.broken, proven,
        time.monotonic() - began, problem.notes,
    )  # fmt: skip
    plan = proven.plan
    if plan is None or plan.stocking is None:
        return _without_plan(planner, base, began)
    return _with_plan(planner, base, plan, began, reasons, refused)


def _with_plan(
    planner: _Planner, base: StockingPlan, plan: Plan, began: float, reasons: bool, refused: bool
) -> StockingPlan:
    """The answer for a plan that held: its file run as a keeper would run it, what binds, who is left out."""
    problem, program, stocking = base.problem, base.program, plan.stocking
    assert stocking is not None
    cohorts = tuple(placed(problem, stocking.fish))
    tables = planned_tables(problem, cohorts, stocking.choice)
    season = run_season(site_from_tables(tables, problem.site.folder, problem.site.name))
    over = tuple(finding for finding in season.findings if finding.is_broken)
    if over:  # the file and the rounds run the same engine on the same numbers; should they ever differ, say so
        return replace(base, broken=over, season=season, seconds=time.monotonic() - began)
    binding = tuple(binding_limits(program, stocking))
    left_out: tuple[Refusal, ...] = ()
    if refused:
        waiting = int((stocking.fish.sum(axis=1) == 0).sum())
        each = max(_REASONS * planner.left() / max(waiting, 1), _LEAST_SOLVE_S)
        left_out = tuple(refusals(program, plan, planner.gap, each, planner.counter("reasons for fish left out")))
    worths: tuple[Worth, ...] = ()
    if reasons and binding:
        each = max(planner.left() / len(binding), _LEAST_SOLVE_S)
        worths = tuple(worth_of_more(program, plan, binding, 0.1, GAP, each, planner.counter("worth of more")))
    values = {goal: goal_value(program, goal, stocking) for goal in ("edible", "steady", "cost")}
    return replace(
        base, plan=plan, cohorts=cohorts, tables=tables, season=season, values=values, binding=binding,
        worths=worths, refused=left_out, seconds=time.monotonic() - began,
    )  # fmt: skip


def _without_plan(planner: _Planner, base: StockingPlan, began: float) -> StockingPlan:
    """The answer where no plan held: what must give, and which conditions cannot hold together."""
    program, last = base.program, base.proven.plan
    if last is not None and last.status == "infeasible":
        limit = max(_ONE_SOLVE * planner.left(), _LEAST_SOLVE_S)
        giving: tuple[str, ...] = ("limits", "budget", "wishes", "keep", "species")
        if planner.keep_all:
            giving = ("limits", "budget", "wishes", "species")
        relaxation = smallest_relaxation(program, giving, GAP, limit)
        named = relaxation.contradiction
        if not named:
            named = contradiction(program, max(0.1 * planner.left(), _LEAST_SOLVE_S))
        base = replace(base, relaxation=relaxation, contradiction=named)
    return replace(base, seconds=time.monotonic() - began)


def _thinned(planner: _Planner, proven: Proven) -> Proven:
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


def _fewer(program: Program, fish: np.ndarray, share: float) -> np.ndarray:
    """Fish of a stocking times a share; batches that become too small go."""
    fewer = np.floor(fish * share + 1e-9).astype(int)
    return np.where(fewer < program.minimum_batch[:, None], 0, fewer)
