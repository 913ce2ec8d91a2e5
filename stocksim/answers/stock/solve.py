"""The stocking program solved by HiGHS, goal after goal."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.program import FloatArray, Program, Stocking, broken, goal_value, score
from stocksim.answers.stock.rows import Matrix, build_matrix, goal_row, needs_feed

# Rows of limits beyond which most are left out at first: each is dense, and few of them bind.
MANY_ROWS = 200
_NEAR = 0.2  # rows this close to binding come in with those that are broken, as a share of what the place bears
_HOLDS_WITHIN = 1e-6  # HiGHS' own tolerance
_MOST_ROUNDS = 12
_INFEASIBLE = 2  # status of scipy.optimize.milp
# Time beyond the limit for a last try when it ran out over a solution that broke a row left out, at least a second.
LAST_TRY_SHARE = 0.1


class Answer(NamedTuple):
    """What `run_milp` found: columns or None, their cost, the least cost not ruled out, how it ended, time. [s]"""

    solution: FloatArray | None
    cost: float
    bound: float
    status: str
    seconds: float


def run_milp(matrix: Matrix, cost: FloatArray, gap: float, time_limit_s: float) -> Answer:
    """Least cost over the columns of a matrix.

    Parameters
    ----------
    matrix : Matrix
        Columns and rows.
    cost : ndarray, shape (column,)
        What to make as small as can be.
    gap : float
        Share of the cost that may be left open.
    time_limit_s : float
        Most time for the solver. [s]

    Returns
    -------
    Answer
        ``optimal``, ``time_limit`` (solution None if none was met yet), ``infeasible`` or ``failed``.

    Notes
    -----
    With fewer rows the optimum can only be better, so its bound holds for all; a solution counts only when it keeps
    every row.
    """
    from scipy.sparse import csr_array

    began = time.perf_counter()
    ends = np.cumsum([0, *(len(row) for row in matrix.row)])
    size = (len(matrix.row), len(matrix.low))
    table = csr_array((np.concatenate(matrix.value), np.concatenate(matrix.row), ends), shape=size)
    high, family = np.array(matrix.row_high), np.array(matrix.family)
    whole = np.array(matrix.whole)
    taken = family < 0
    if (~taken).sum() <= MANY_ROWS:
        taken[:] = True
    else:
        # at first the heaviest week of each limit, then what a few rounds of the plain linear program ask for
        weight = np.array([value[value > 0.0].sum() for value in matrix.value])
        for number in np.unique(family[family >= 0]):
            rows = np.flatnonzero(family == number)
            taken[rows[np.argmax(weight[rows])]] = True
        for _ in range(_MOST_ROUNDS):
            found = _highs(matrix, table, cost, 0 * whole, taken, gap, time_limit_s)
            if found.x is None or not _take_in(table, high, found.x, taken):
                break
    least, near_miss = -np.inf, None
    while True:
        left = time_limit_s - (time.perf_counter() - began)
        found = _highs(matrix, table, cost, whole, taken, gap, max(left, 0.0))
        bound = getattr(found, "mip_dual_bound", None)
        if bound is not None and np.isfinite(bound):
            least = max(least, float(bound))
        if found.x is None or not _take_in(table, high, found.x, taken):
            break
        near_miss = found.x
    status = {0: "optimal", 1: "time_limit", 2: "infeasible"}.get(found.status, "failed")
    solution = found.x
    if solution is None and status == "time_limit" and near_miss is not None:
        # fewer fish, none where that solution had none: little is left to choose, and that is soon done
        taken[:] = True
        spare = max(LAST_TRY_SHARE * time_limit_s, 1.0)
        solution = _highs(matrix, table, cost, whole, taken, gap, spare, near_miss).x
    reached = np.nan if solution is None else float(cost @ solution)
    if status == "optimal" and least == -np.inf:  # without whole columns there is no bound but the optimum itself
        least = reached
    return Answer(solution, reached, least, status, time.perf_counter() - began)


def _take_in(table: Any, high: FloatArray, solution: FloatArray, taken: NDArray[np.bool_]) -> bool:
    """Take in the rows left out that a solution breaks, and those it comes near; whether it broke any."""
    over = table @ solution - high
    if not (over[~taken] > _HOLDS_WITHIN).any():
        return False
    taken |= over > -_NEAR
    return True


def _highs(
    matrix: Matrix,
    table: Any,
    cost: FloatArray,
    whole: NDArray[np.int64],
    taken: NDArray[np.bool_],
    gap: float,
    time_limit_s: float,
    keeping: FloatArray | None = None,
) -> Any:
    """One run of HiGHS over the rows taken; ``keeping`` a solution, no fish come where it has none.

    Its presolve has called programs infeasible that are not (seen with scipy 1.17.1, by rows of very small numbers), so
    that verdict is believed only when a run without presolve, in the time left, says the same.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    low, upper = np.array(matrix.low), np.array(matrix.high)
    if keeping is not None:
        fixed = np.concatenate([matrix.present, matrix.chosen])
        upper[fixed] = np.round(keeping[fixed])
    rows = LinearConstraint(table[taken], np.array(matrix.row_low)[taken], np.array(matrix.row_high)[taken])
    began = time.perf_counter()
    for presolve in (True, False):
        left = max(time_limit_s - (time.perf_counter() - began), 0.0)
        options = {"time_limit": left, "mip_rel_gap": gap, "presolve": presolve}
        found = milp(cost, integrality=whole, bounds=Bounds(low, upper), constraints=rows, options=options)
        if found.status != _INFEASIBLE:
            break
    return found


# --- stockings by integer program: one goal, several in order, two against each other

# A goal already reached may be given up by this share for the next one in order.
GIVEN_UP = 0.01
_FEASIBLE_WITHIN = 1e-6  # what HiGHS itself allows; counts are rounded and checked again afterwards


class Plan(NamedTuple):
    """An answer of the solver.

    ``status`` is ``optimal`` (within the gap asked for), ``time_limit`` (the best found so far, or none yet),
    ``infeasible`` or ``failed``. ``value`` is the goal's own number, ``score`` the same signed so that more is better
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
    seconds: float


def solve(
    program: Program,
    goal: str = "edible",
    gap: float = 0.01,
    time_limit_s: float = 30.0,
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
    time_limit_s : float
        Most time for the solver. [s]
    floors : mapping of str to float, optional
        Least score of other goals.

    Returns
    -------
    Plan
        With its status; a stocking in it has been checked against the arrays by `broken`, and one that fails that
        check is not given.
    """
    floors = floors or {}
    began = time.perf_counter()
    matrix = build_matrix(program, with_feed=needs_feed(program, (goal, *floors)))
    for other, floor in floors.items():
        row, constant = goal_row(program, matrix, other)
        at = np.flatnonzero(row)
        scale = max(float(np.abs(row).max(initial=0.0)), 1e-9)
        matrix.add(at, row[at] / scale, (floor - constant) / scale, np.inf)
    row, constant = goal_row(program, matrix, goal)
    answer = run_milp(matrix, -row, gap, time_limit_s)
    return _plan(program, goal, matrix, answer, constant, time.perf_counter() - began)


def _plan(program: Program, goal: str, matrix: Matrix, answer: Answer, constant: float, seconds: float) -> Plan:
    nan = float("nan")
    bound = constant - answer.bound
    if answer.solution is None:
        return Plan(goal, None, nan, nan, bound, np.inf, answer.status, seconds)
    stocking = matrix.stocking(program, answer.solution)
    if broken(program, stocking):
        return Plan(goal, None, nan, nan, bound, np.inf, "failed", seconds)
    reached = score(program, goal, stocking)
    bound = max(bound, reached)
    gap = (bound - reached) / max(abs(reached), _FEASIBLE_WITHIN) if bound - reached > _FEASIBLE_WITHIN else 0.0
    return Plan(goal, stocking, goal_value(program, goal, stocking), reached, bound, float(gap), answer.status, seconds)


def solve_in_order(
    program: Program,
    goals: Sequence[str],
    gap: float = 0.01,
    time_limit_s: float = 30.0,
    given_up: float = GIVEN_UP,
) -> list[Plan]:
    """Best stocking by the first goal; among those nearly as good, by the next; and so on.

    Parameters
    ----------
    program : Program
        The problem.
    goals : sequence of str
        In their order of weight.
    gap, time_limit_s : float
        Of each step. [-], [s]
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
        plan = solve(program, goal, gap, time_limit_s, floors)
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
    time_limit_s: float = 30.0,
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
    gap, time_limit_s : float
        Of each solve. [-], [s]
    progress : callable, optional
        Called with (plans found, plans wanted).

    Returns
    -------
    list of Compromise
        From the best by the first goal to the best by the second. Fewer than asked where there are no more that differ,
        or time was short.

    Notes
    -----
    Epsilon constraint: the first goal at its best under a floor on the second, the floor set into the widest stretch
    that may still hold a plan.
    """
    ends = [solve_in_order(program, order, gap, time_limit_s, 0.0) for order in ((first, second), (second, first))]
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
        plan = solve(program, first, gap, time_limit_s, {second: middle})
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
