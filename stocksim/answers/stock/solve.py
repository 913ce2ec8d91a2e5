"""The stocking program solved by HiGHS, goal after goal."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from stocksim.answers.stock.milp import Answer, Work, run_milp, run_relaxed
from stocksim.answers.stock.program import Program, Stocking, broken, goal_value, score
from stocksim.answers.stock.rows import Matrix, build_matrix, goal_row, needs_feed

# A goal already reached may be given up by this share for the next one in order.
GIVEN_UP = 0.01
_FEASIBLE_WITHIN = 1e-6  # what HiGHS itself allows; counts are rounded and checked again afterwards


class Plan(NamedTuple):
    """An answer of the solver.

    ``status`` is that of `run_milp`; ``value`` the goal's own number, ``score`` the same signed so that more is better
    and with the price of the feed band, ``bound`` the greatest score that was not ruled out, ``gap`` their distance as
    a share of the score. Without a stocking ``value`` and ``score`` are NaN.
    """

    goal: str
    stocking: Stocking | None
    value: float
    score: float
    bound: float
    gap: float
    status: str


def solve(
    program: Program,
    goal: str = "edible",
    gap: float = 0.01,
    work: Work | None = None,
    floors: Mapping[str, float] | None = None,
) -> Plan:
    """Best stocking by one goal.

    Parameters
    ----------
    program : Program
        The problem.
    goal : str
        ``edible``, ``steady`` or ``cost``.
    gap : float
        Share of the score that may be left open.
    work : Work, optional
        What it may take.
    floors : mapping of str to float, optional
        Least score of other goals.

    Returns
    -------
    Plan
        With its status; a stocking in it has been checked against the arrays by `broken`, and one that fails that
        check is not given.
    """
    floors = floors or {}
    matrix = build_matrix(program, with_feed=needs_feed(program, (goal, *floors)))
    for other, floor in floors.items():
        row, constant = goal_row(program, matrix, other)
        at = np.flatnonzero(row)
        scale = max(float(np.abs(row).max(initial=0.0)), 1e-9)
        matrix.add(at, row[at] / scale, (floor - constant) / scale, np.inf)
    row, constant = goal_row(program, matrix, goal)
    answer = run_milp(matrix, -row, gap, work)
    return _plan(program, goal, matrix, answer, constant)


def _plan(program: Program, goal: str, matrix: Matrix, answer: Answer, constant: float) -> Plan:
    nan = float("nan")
    bound = constant - answer.bound
    if answer.solution is None:
        return Plan(goal, None, nan, nan, bound, np.inf, answer.status)
    stocking = matrix.stocking(program, answer.solution)
    if broken(program, stocking):
        return Plan(goal, None, nan, nan, bound, np.inf, "failed")
    reached = score(program, goal, stocking)
    bound = max(bound, reached)
    gap = (bound - reached) / max(abs(reached), _FEASIBLE_WITHIN) if bound - reached > _FEASIBLE_WITHIN else 0.0
    return Plan(goal, stocking, goal_value(program, goal, stocking), reached, bound, float(gap), answer.status)


def relaxed_bound(program: Program, goal: str, gap: float = 0.01, work: Work | None = None) -> float:
    """Score that no stocking of a program passes, by its plain linear program; infinite where that has no answer."""
    matrix = build_matrix(program, with_feed=needs_feed(program, (goal,)))
    row, constant = goal_row(program, matrix, goal)
    return constant - run_relaxed(matrix, -row, gap, work)


def solve_in_order(
    program: Program,
    goals: Sequence[str],
    gap: float = 0.01,
    work: Work | None = None,
    given_up: float = GIVEN_UP,
) -> list[Plan]:
    """Best stocking by the first goal; among those nearly as good, by the next; and so on.

    Parameters
    ----------
    program : Program
        The problem.
    goals : sequence of str
        In their order of weight.
    gap : float
        Of each step. [-]
    work : Work, optional
        What it may take.
    given_up : float
        Share of a goal already reached that the next one may cost. [-]

    Returns
    -------
    list of Plan
        One a goal, the last being the answer; it ends early where a step finds no stocking.
    """
    floors: dict[str, float] = {}
    plans: list[Plan] = []
    for goal in goals:
        plan = solve(program, goal, gap, work, floors)
        plans.append(plan)
        if plan.stocking is None:
            break
        floors[goal] = plan.score - given_up * abs(plan.score) - _FEASIBLE_WITHIN
    return plans


class Compromise(NamedTuple):
    """A plan between two goals: their values, and the gap left in the first one."""

    stocking: Stocking
    first: float
    second: float
    gap: float


def trade_off(
    program: Program,
    first: str,
    second: str,
    plans: int = 5,
    gap: float = 0.01,
    work: Work | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Compromise]:
    """Plans between two goals, none better than another in both.

    Parameters
    ----------
    program : Program
        The problem.
    first, second : str
        Goals. The ends are the best by each, made best by the other where that is free.
    plans : int
        Number wanted, ends included; at least 2.
    gap : float
        Of each solve. [-]
    work : Work, optional
        What it may take.
    progress : callable, optional
        Called with (plans found, plans wanted).

    Returns
    -------
    list of Compromise
        From the best by the first goal to the best by the second. Fewer than asked where there are no more that differ,
        or work ended.

    Notes
    -----
    Epsilon constraint: the first goal at its best under a floor on the second, the floor set into the widest stretch
    that may still hold a plan.
    """
    ends = [solve_in_order(program, order, gap, work, 0.0) for order in ((first, second), (second, first))]
    if any(end[-1].stocking is None for end in ends):
        return []
    found = [_compromise(program, first, second, end[-1].stocking, end[i].gap) for i, end in enumerate(ends)]
    worst, best = (score(program, second, point.stocking) for point in found)
    stretches, tries = [(worst, best)], 0
    kept = _not_beaten(program, first, second, found)
    while len(kept) < plans and stretches and tries < 4 * plans:
        low, high = stretches.pop(int(np.argmax([top - bottom for bottom, top in stretches])))
        if high - low <= _FEASIBLE_WITHIN * max(abs(low), abs(high), 1.0):
            break
        tries += 1
        middle = 0.5 * (low + high)
        plan = solve(program, first, gap, work, {second: middle})
        stretches.append((low, middle))
        if plan.stocking is None:
            continue
        found.append(_compromise(program, first, second, plan.stocking, plan.gap))
        stretches.append((score(program, second, plan.stocking), high))
        kept = _not_beaten(program, first, second, found)
        if progress is not None:
            progress(min(len(kept), plans), plans)
    return kept


def _compromise(program: Program, first: str, second: str, stocking: Stocking | None, gap: float) -> Compromise:
    assert stocking is not None
    return Compromise(stocking, goal_value(program, first, stocking), goal_value(program, second, stocking), gap)


def _not_beaten(program: Program, first: str, second: str, points: list[Compromise]) -> list[Compromise]:
    """Points that no other equals or beats in both goals, best by the first goal leading."""
    scores = [(score(program, first, p.stocking), score(program, second, p.stocking)) for p in points]
    kept, best = [], -np.inf
    for number in sorted(range(len(points)), key=lambda i: (-scores[i][0], -scores[i][1])):
        if scores[number][1] > best + _FEASIBLE_WITHIN * max(1.0, abs(scores[number][1])):
            kept.append(points[number])
            best = scores[number][1]
    return kept
