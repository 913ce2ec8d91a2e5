"""Least cost over a matrix of whole fish: at once where it is small, part by part where it is large; counted."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.program import FloatArray
from stocksim.answers.stock.rows import Matrix

# Rows of limits beyond which most are left out at first: each is dense, and few of them bind.
MANY_ROWS = 200
_NEAR = 0.2  # rows this close to binding come in with those that are broken, as a share of what the place bears
_HOLDS_WITHIN = 1e-6  # HiGHS' own tolerance
_MOST_ROUNDS = 12
_LIMIT_REACHED, _INFEASIBLE = 1, 2  # status of scipy.optimize.milp
# Cells up to which a program is solved at once, and of a part of a larger one: the solver's first node alone takes
# seconds on twice as many (measured in this project), and no count of nodes ends it there.
MOST_CELLS, CELLS_AT_ONCE = 72, 24
NODES = 400  # of one solve
_PASSES = 2  # over the tanks of a large program, neighbours and then tanks far apart
_SHARE_OF_GAP = 0.5  # that a part may leave open
_LESS = 1e-6  # of the cost: smaller gains are none
BRAKE_S = 900.0


class Work:
    """What solving may take: nodes, which are counted; and an emergency brake, the only clock.

    Parameters
    ----------
    nodes : int
        Most nodes of one solve.
    brake_s : float
        Seconds until all of it is broken off; ``is_pulled`` then, and no answer is a finished one.
    """

    def __init__(self, nodes: int = NODES, brake_s: float = BRAKE_S):
        self.nodes, self.is_pulled = nodes, False
        self._ends = time.monotonic() + brake_s

    def left(self) -> float:
        """Seconds until the brake."""
        return max(self._ends - time.monotonic(), 0.0)

    def is_over(self) -> bool:
        """Whether the brake is pulled, now or before."""
        self.is_pulled = self.is_pulled or self.left() <= 0.0
        return self.is_pulled


class Answer(NamedTuple):
    """What `run_milp` found: columns or None, their cost, the least cost not ruled out, and how it ended."""

    solution: FloatArray | None
    cost: float
    bound: float
    status: str


class _Table(NamedTuple):
    """A matrix as arrays, and the rows taken in so far, which grow."""

    matrix: Matrix
    rows: Any
    low: FloatArray
    high: FloatArray
    whole: NDArray[np.int64]
    taken: NDArray[np.bool_]
    cost: FloatArray


def run_milp(matrix: Matrix, cost: FloatArray, gap: float, work: Work | None = None) -> Answer:
    """Least cost over the columns of a matrix.

    Parameters
    ----------
    matrix : Matrix
        Columns and rows.
    cost : ndarray, shape (column,)
        What to make as small as can be.
    gap : float
        Share of the cost that may be left open.
    work : Work, optional
        Nodes and brake.

    Returns
    -------
    Answer
        ``optimal`` (within the gap), ``counted`` (work ended first, or a large program was solved in parts; solution
        None if none was met), ``unfinished`` (the brake was pulled), ``infeasible`` or ``failed``.

    Notes
    -----
    With fewer rows the optimum can only be better, so its bound holds for all; a solution counts only when it keeps
    every row. A program of more cells than `MOST_CELLS` has the bound of its plain linear program; it is solved for the
    cells that hold fish there, and then for a few tanks at a time, the others held as they are.
    """
    work = work or Work()
    table = _table(matrix, cost)
    relaxed = _relaxed(table, gap, work) if not table.taken.all() or len(matrix.cell) > MOST_CELLS else None
    if len(matrix.cell) > MOST_CELLS:
        return _in_parts(table, relaxed, gap, work)
    found, least = _whole(table, np.ones(len(cost), bool), np.zeros(len(cost)), gap, work)
    status = _status(found, work)
    solution = found.x
    reached = np.nan if solution is None else float(cost @ solution)
    if status == "optimal" and least == -np.inf:  # without whole columns there is no bound but the optimum itself
        least = reached
    return Answer(solution, reached, least, status)


def run_relaxed(matrix: Matrix, cost: FloatArray, gap: float, work: Work | None = None) -> float:
    """Cost that no whole solution goes below, by the plain linear program; minus infinite where that has no answer."""
    found = _relaxed(_table(matrix, cost), gap, work or Work())
    return -np.inf if found.x is None else float(cost @ found.x)


def _status(found: Any, work: Work) -> str:
    if found.status == _LIMIT_REACHED:
        return "unfinished" if work.is_over() else "counted"
    return {0: "optimal", _INFEASIBLE: "infeasible"}.get(found.status, "failed")


def _table(matrix: Matrix, cost: FloatArray) -> _Table:
    from scipy.sparse import csr_array

    ends = np.cumsum([0, *(len(row) for row in matrix.row)])
    size = (len(matrix.row), len(matrix.low))
    rows = csr_array((np.concatenate(matrix.value), np.concatenate(matrix.row), ends), shape=size)
    family = np.array(matrix.family)
    taken = family < 0
    if (~taken).sum() <= MANY_ROWS:
        taken[:] = True
    else:  # at first the heaviest week of each limit
        weight = np.array([value[value > 0.0].sum() for value in matrix.value])
        for number in np.unique(family[family >= 0]):
            these = np.flatnonzero(family == number)
            taken[these[np.argmax(weight[these])]] = True
    return _Table(
        matrix, rows, np.array(matrix.row_low), np.array(matrix.row_high), np.array(matrix.whole), taken, cost
    )


def _relaxed(table: _Table, gap: float, work: Work) -> Any:
    """The plain linear program, with the rows that a few rounds of it ask for."""
    free, zero = np.ones(len(table.cost), bool), np.zeros(len(table.cost))
    for _ in range(_MOST_ROUNDS):
        found = _highs(table, free, zero, gap, work, is_plain=True)
        if found.x is None or not _take_in(table, found.x):
            break
    return found


def _whole(table: _Table, free: NDArray[np.bool_], at: FloatArray, gap: float, work: Work) -> tuple[Any, float]:
    """Whole fish in the free columns, the others held, with every row kept; and the least cost not ruled out.

    Where the nodes end over a solution that breaks a row left out, fewer fish are sought in its places alone: little is
    left to choose, and that is soon done.
    """
    least, near_miss = -np.inf, None
    while True:
        found = _highs(table, free, at, gap, work)
        bound = getattr(found, "mip_dual_bound", None)
        if bound is not None and np.isfinite(bound):
            least = max(least, float(bound) + float(table.cost[~free] @ at[~free]))
        if found.x is None or not _take_in(table, found.x):
            break
        near_miss = found.x
    if found.x is None and found.status == _LIMIT_REACHED and near_miss is not None:
        table.taken[:] = True
        found.x = _highs(table, free, at, gap, work, keeping=near_miss).x
    return found, least


def _take_in(table: _Table, solution: FloatArray) -> bool:
    """Take in the rows left out that a solution breaks, and those it comes near; whether it broke any."""
    over = table.rows @ solution - table.high
    if not (over[~table.taken] > _HOLDS_WITHIN).any():
        return False
    table.taken[over > -_NEAR] = True
    return True


def _highs(
    table: _Table,
    free: NDArray[np.bool_],
    at: FloatArray,
    gap: float,
    work: Work,
    is_plain: bool = False,
    keeping: FloatArray | None = None,
) -> Any:
    """One run of HiGHS over the rows taken; ``keeping`` a solution, no fish come where it has none.

    Its presolve has called programs infeasible that are not (seen with scipy 1.17.1, by rows of very small numbers), so
    that verdict is believed only when a run without presolve says the same. Its search runs in one thread, and only the
    brake is a time.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    matrix = table.matrix
    low, upper = np.array(matrix.low), np.array(matrix.high)
    if keeping is not None:
        fixed = np.concatenate([matrix.present, matrix.chosen])
        upper[fixed] = np.round(keeping[fixed])
    rows, held = table.rows[table.taken], np.zeros(int(table.taken.sum()))
    if not free.all():
        held = rows @ np.where(free, 0.0, at)
        rows = rows.tocsc()[:, free].tocsr()
    bounds = table.low[table.taken] - held, table.high[table.taken] - held
    # an empty row says nothing, or is a contradiction that the solver must see
    asks = (np.diff(rows.indptr) > 0) | (bounds[0] > _HOLDS_WITHIN) | (bounds[1] < -_HOLDS_WITHIN)
    whole = 0 * table.whole[free] if is_plain else table.whole[free]
    for presolve in (True, False):
        options = {"time_limit": work.left(), "mip_rel_gap": gap, "presolve": presolve, "node_limit": work.nodes}
        found = milp(
            table.cost[free],
            integrality=whole,
            bounds=Bounds(low[free], upper[free]),
            constraints=LinearConstraint(rows[asks], bounds[0][asks], bounds[1][asks]),
            options=options,
        )
        if found.status != _INFEASIBLE:
            break
    if "limit reached" in found.message.lower():  # a count of nodes that ended has a status of its own
        found.status = _LIMIT_REACHED
    if found.x is not None:
        solution = at.copy()
        solution[free] = found.x
        found.x = solution
    return found


# --- large programs, part by part


def _in_parts(table: _Table, relaxed: Any, gap: float, work: Work) -> Answer:
    cost = table.cost
    if relaxed.x is None:
        return Answer(None, np.nan, -np.inf, _status(relaxed, work))
    bound = float(cost @ relaxed.x)
    cells = table.matrix.cell
    fish = relaxed.x[table.matrix.count]
    fullest = np.argsort(-fish, kind="stable")[:CELLS_AT_ONCE]
    start = None
    for several in (fullest, np.arange(len(cells))):
        free = _free(table, several)
        start = _whole(table, free, np.zeros(len(cost)), gap, work)[0].x
        if start is not None or work.is_over():
            break
    if start is None:  # the nodes ended before any was met: that says nothing of whether there is one
        return Answer(None, np.nan, bound, "unfinished" if work.is_over() else "counted")
    best = _rounded(table, start)
    for _ in range(_PASSES):
        before = float(cost @ best)
        for some in _windows(table):
            if work.is_over():
                break
            found = _whole(table, _free(table, some), best, _SHARE_OF_GAP * gap, work)[0].x
            if found is not None and cost @ found < cost @ best - _LESS * abs(float(cost @ best)):
                best = _rounded(table, found)
        if cost @ best > before - _SHARE_OF_GAP * gap * abs(before):
            break
    reached = float(cost @ best)
    if work.is_over():
        return Answer(best, reached, bound, "unfinished")
    return Answer(best, reached, bound, "optimal" if reached - bound <= gap * abs(reached) else "counted")


def _free(table: _Table, cells: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Columns that are free where only the fish of some cells are: all others but those of the other cells."""
    free = np.ones(len(table.cost), bool)
    free[table.matrix.count] = free[table.matrix.present] = False
    free[table.matrix.count[cells]] = free[table.matrix.present[cells]] = True
    return free


def _rounded(table: _Table, solution: FloatArray) -> FloatArray:
    return np.where(table.whole > 0, np.round(solution), solution)


def _windows(table: _Table) -> Iterator[NDArray[np.int64]]:
    """Cells of neighbouring tanks, as many tanks as may be solved at once, then of tanks far apart."""
    of_tank = [np.flatnonzero(table.matrix.cell[:, 2] == tank) for tank in np.unique(table.matrix.cell[:, 2])]
    size = max(CELLS_AT_ONCE // max(map(len, of_tank)), 2)
    half = (len(of_tank) + 1) // 2
    order = [n for pair in zip(range(half), range(half, 2 * half), strict=True) for n in pair if n < len(of_tank)]
    for numbers in (range(len(of_tank)), order):
        tanks = list(numbers)
        for first in range(0, len(tanks), size):
            yield np.concatenate([of_tank[n] for n in tanks[first : first + size]])
