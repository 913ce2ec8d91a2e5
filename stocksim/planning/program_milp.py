"""Least cost of a matrix by HiGHS, with the rows of a limit's weeks taken in as they are needed."""

from __future__ import annotations

import time
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.planning.program import FloatArray
from stocksim.planning.program_matrix import Matrix

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
