"""Who may live where, and the rows of limits, scaled so that a place bears 1."""

from __future__ import annotations

import numpy as np

from stocksim.planning.program import FloatArray, Limit, Program, loosest
from stocksim.planning.program_matrix import Matrix

# A column that asks no more than this share of a place at its greatest is taken off the place as a whole: numbers far
# below the solver's own tolerance upset it.
SPECK = 1e-9


def own_share(limit: Limit, option: int, tank: int) -> FloatArray:
    """A fish's share of what its own tank bears, by candidate and week; 0 where nothing asks."""
    place = 0 if limit.is_of_loop else tank
    own = 1.0 if limit.influence is None else limit.influence[option, tank, tank]
    capacity = limit.capacity[option, :, place]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.isfinite(capacity), own * limit.load[option] / capacity, 0.0)


def cells_of(program: Program, without: frozenset[str], giving: frozenset[str]) -> tuple[Matrix, FloatArray]:
    """Cells in which at least the smallest batch fits by itself, and the most fish of each."""
    kept, bounds = [], []
    for option, candidate, tank in np.argwhere(program.allowed):
        if program.tank_loop[tank] != program.option_loop[option] or program.most[candidate] <= 0:
            continue
        most, unfit = float(program.most[candidate]), False
        if "budget" not in without | giving and program.price[candidate] > 0.0:
            most = min(most, (program.budget - program.option_cost[option]) / program.price[candidate])
        for limit in program.limits:
            place = 0 if limit.is_of_loop else tank
            # a place that bears nothing even without fish cannot give way by a share of itself
            unfit = unfit or bool((limit.capacity[option, candidate, place] <= 0.0).any())
            if limit.name in without or "limits" in giving:
                continue
            share = own_share(limit, option, tank)[candidate].max(initial=0.0)
            most = min(most, 1.0 / share if share > 0.0 else np.inf)
        most = np.floor(most + 1e-6)
        if not unfit and most >= max(program.minimum_batch[candidate], 1):
            kept.append((option, candidate, tank))
            bounds.append(most)
    return Matrix(np.array(kept, int).reshape(-1, 3)), np.array(bounds, float)


def add_presence(program: Program, matrix: Matrix, most: FloatArray) -> None:
    """Columns of fish, presence, options, company of a loop; and the rows that tie them."""
    cells = len(matrix.cell)
    matrix.count = matrix.columns(0.0, most, cells, True)
    matrix.present = matrix.columns(0.0, 1.0, cells, True)
    matrix.chosen = matrix.columns(0.0, 1.0, len(program.options), True)
    shape = (len(program.options), len(program.candidates))
    matrix.in_loop = matrix.columns(0.0, 1.0, shape[0] * shape[1], False).reshape(shape)
    for loop in range(len(program.loops)):
        options = program.options_of(loop)
        matrix.add(matrix.chosen[options], np.ones(len(options)), 1.0, 1.0)
    for number, (option, candidate, _) in enumerate(matrix.cell):
        fish, here = int(matrix.count[number]), int(matrix.present[number])
        batch = float(max(program.minimum_batch[candidate], 1))
        matrix.add([fish, here], [1.0, -most[number]], -np.inf, 0.0)
        matrix.add([fish, here], [1.0, -batch], 0.0, np.inf)
        matrix.add([here, int(matrix.in_loop[option, candidate])], [1.0, -1.0], -np.inf, 0.0)
    for option, candidate in {(int(o), int(c)) for o, c, _ in matrix.cell}:
        matrix.add([int(matrix.in_loop[option, candidate]), int(matrix.chosen[option])], [1.0, -1.0], -np.inf, 0.0)


def undominated(rows: FloatArray) -> FloatArray:
    """Rows (all <= the same right side, all columns 0 or more) that no other row implies.

    Parameters
    ----------
    rows : ndarray, shape (row, column)
        Coefficients.

    Returns
    -------
    ndarray, shape (some rows, column)
        In their order. A row goes when another asks at least as much of every column.
    """
    kept: list[int] = []
    for number in np.argsort(-rows.sum(axis=1), kind="stable"):
        if not any((rows[other] >= rows[number] - 1e-12).all() for other in kept):
            kept.append(int(number))
    return rows[sorted(kept)]


def without_specks(row: FloatArray, most: FloatArray) -> tuple[FloatArray, float]:
    """A row without coefficients too small for a solver, and what remains of its right side, 1.

    Parameters
    ----------
    row : ndarray, shape (column,)
        Coefficients, 0 or more.
    most : ndarray, shape (column,)
        The greatest value of each column.

    Returns
    -------
    row, right : ndarray, float
        What the columns left out ask at the most is taken off the right side, so nothing passes that did not before.
    """
    is_speck = row * most < SPECK
    return np.where(is_speck, 0.0, row), 1.0 - float((row * most)[is_speck].sum())


def add_limit(program: Program, limit: Limit, matrix: Matrix, most: FloatArray, gives: bool) -> None:
    """Rows of a limit: one that all fish of a place share, and one for each candidate more delicate than another.

    The shared row counts every fish by its own candidate's capacity. It follows from the others (who is there sets the
    capacity for all), but cuts off fractions of presence, and is all there is where all bear the same.
    """
    for option, loop in enumerate(program.option_loop):
        inside = np.flatnonzero(matrix.cell[:, 0] == option)
        for tank in [0] if limit.is_of_loop else np.flatnonzero(program.tank_loop == loop):
            capacity = limit.capacity[option, :, tank]
            here = inside if limit.is_of_loop else inside[matrix.cell[inside, 2] == tank]
            near = inside if limit.influence is not None else here
            if not near.size:
                continue
            deciding = np.unique(matrix.cell[here, 1])
            judges = deciding if limit.influence is None else program.allowed[option, :, tank]
            greatest = loosest(capacity[judges])
            asks = np.isfinite(greatest) & (greatest > 0.0)
            if not asks.any():
                continue
            load = limit.load[option, matrix.cell[near, 1]]
            if limit.influence is not None:
                load = load * limit.influence[option, tank, matrix.cell[near, 2]]
            is_own = np.isin(near, here)[:, None]
            bears = np.where(is_own, capacity[matrix.cell[near, 1]], greatest)
            place = program.loops[loop] if limit.is_of_loop else program.tanks[tank]
            tail = [int(matrix.chosen[option])]
            if gives:
                tail.append(matrix.give_way(limit.name, place))
            columns = np.concatenate([matrix.count[near], tail])
            family = max(matrix.family, default=-1) + 1  # and one more for each candidate
            for row in undominated((load / bears)[:, asks].T):
                if row @ most[near] > 1.0:
                    kept, right = without_specks(row, most[near])
                    values = np.concatenate([kept, [-right, -1.0][: len(tail)]])
                    matrix.add(columns, values, -np.inf, 0.0, family)
            for candidate in deciding:
                bound = asks & (capacity[candidate] < greatest * (1.0 - 1e-9))
                if not bound.any():
                    continue
                if limit.is_of_loop:
                    presence = int(matrix.in_loop[option, candidate])
                else:
                    presence = int(matrix.present[here[matrix.cell[here, 1] == candidate][0]])
                given_up = 1.0 - capacity[candidate, bound] / greatest[bound]
                rows = np.column_stack([(load[:, bound] / greatest[bound]).T, given_up])
                for row in undominated(rows):
                    if row[:-1] @ most[near] + row[-1] > 1.0:
                        at = np.concatenate([matrix.count[near], [presence], tail])
                        kept, right = without_specks(row, np.append(most[near], 1.0))
                        values = np.concatenate([kept, [-right, -1.0][: len(tail)]])
                        matrix.add(at, values, -np.inf, 0.0, family + candidate + 1)
