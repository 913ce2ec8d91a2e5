"""Rows and limits of the stocking program as a sparse matrix."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.program import GOALS, FloatArray, IntArray, Limit, Program, Stocking, loosest


@dataclass
class Matrix:
    """Columns with bounds, rows as triplets, and where the columns of a meaning stand.

    A cell is a candidate in a tank under an option; ``cell`` holds those three, shape (cell, 3), ``count`` and
    ``present`` the columns of its fish and of whether there are any. ``slack`` tells the columns that give way.
    """

    cell: IntArray
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    whole: list[int] = field(default_factory=list)
    row: list[NDArray[np.int64]] = field(default_factory=list)
    value: list[FloatArray] = field(default_factory=list)
    row_low: list[float] = field(default_factory=list)
    row_high: list[float] = field(default_factory=list)
    family: list[int] = field(default_factory=list)
    count: IntArray = field(default_factory=lambda: np.zeros(0, int))
    present: IntArray = field(default_factory=lambda: np.zeros(0, int))
    chosen: IntArray = field(default_factory=lambda: np.zeros(0, int))
    in_loop: IntArray = field(default_factory=lambda: np.zeros((0, 0), int))
    outside: IntArray = field(default_factory=lambda: np.zeros(0, int))
    change: IntArray = field(default_factory=lambda: np.zeros(0, int))
    slack: dict[tuple[str, str], int] = field(default_factory=dict)

    def columns(self, low: FloatArray | float, high: FloatArray | float, number: int, is_whole: bool) -> IntArray:
        """Add columns; their numbers."""
        first = len(self.low)
        self.low += np.broadcast_to(low, number).tolist()
        self.high += np.broadcast_to(high, number).tolist()
        self.whole += [int(is_whole)] * number
        return np.arange(first, first + number)

    def add(
        self,
        columns: IntArray | list[int],
        values: FloatArray | list[float],
        low: float,
        high: float,
        family: int = -1,
    ) -> None:
        """Add one row; zeros are left out. Of a family of rows (weeks of one limit) the solver may take a few first."""
        at, what = np.asarray(columns, int), np.asarray(values, float)
        kept = what != 0.0
        self.row.append(at[kept])
        self.value.append(what[kept])
        self.row_low.append(low)
        self.row_high.append(high)
        self.family.append(family)

    def give_way(self, kind: str, name: str, high: float = np.inf) -> int:
        """Column by which a condition gives way, one for all its rows."""
        if (kind, name) not in self.slack:
            self.slack[kind, name] = int(self.columns(0.0, high, 1, False)[0])
        return self.slack[kind, name]

    def stocking(self, program: Program, solution: FloatArray) -> Stocking:
        """Whole fish and options of a solution."""
        count = np.zeros((len(program.candidates), len(program.tanks)), int)
        np.add.at(count, (self.cell[:, 1], self.cell[:, 2]), np.round(solution[self.count]).astype(int))
        choice = np.zeros(len(program.loops), int)
        for loop in range(len(program.loops)):
            options = program.options_of(loop)
            choice[loop] = options[int(np.argmax(solution[self.chosen[options]]))]
        return Stocking(count, choice)


# --- who may live where, and the rows of limits, scaled so that a place bears 1

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
    stock = program.of_stock[matrix.cell[:, 1]]
    for number, (option, candidate, tank) in enumerate(matrix.cell):
        fish, here = int(matrix.count[number]), int(matrix.present[number])
        batch = float(max(program.minimum_batch[stock[number]], 1))
        matrix.add([fish, here], [1.0, -most[number]], -np.inf, 0.0)
        # fish of one stock are a school together, on whatever date they are harvested
        school = (stock == stock[number]) & (matrix.cell[:, 0] == option) & (matrix.cell[:, 2] == tank)
        together = matrix.count[school]
        matrix.add([*together, here], [1.0] * len(together) + [-batch], 0.0, np.inf)
        if len(together) > 1:
            matrix.add([fish, here], [1.0, -1.0], 0.0, np.inf)
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
    found = np.empty_like(rows)  # the rows kept so far
    for number in np.argsort(-rows.sum(axis=1), kind="stable"):
        if not (found[: len(kept)] >= rows[number] - 1e-12).all(axis=1).any():
            found[len(kept)] = rows[number]
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


# --- a stocking program as rows and columns: company, numbers, wishes, feed, and the goals over them

# kinds of conditions that the smallest relaxation may give way in
GIVING = ("limits", "budget", "wishes", "keep", "species")


def build_matrix(
    program: Program,
    without: frozenset[str] = frozenset(),
    giving: frozenset[str] = frozenset(),
    with_feed: bool = True,
) -> Matrix:
    """Matrix of a program.

    Parameters
    ----------
    program : Program
        The problem.
    without : frozenset of str
        Conditions left out: a limit's name, ``company``, ``budget``, ``species``, ``keep NAME``, ``wish NAME``.
    giving : frozenset of str
        Kinds of conditions of `GIVING` that may give way at a price.
    with_feed : bool
        Whether feed by week is needed by a goal.

    Returns
    -------
    Matrix
        Columns and rows.
    """
    matrix, most = cells_of(program, without, giving)
    add_presence(program, matrix, most)
    for limit in program.limits:
        if limit.name not in without:
            add_limit(program, limit, matrix, most, "limits" in giving)
    if "company" not in without:
        _add_company(program, matrix)
    _add_numbers(program, matrix, without, giving)
    if with_feed:
        _add_feed(program, matrix)
    return matrix


def cliques(apart: NDArray[np.bool_]) -> list[list[int]]:
    """Groups of candidates that are apart from each other, every such pair in at least one group."""
    left = {(int(a), int(b)) for a, b in np.argwhere(np.triu(apart | apart.T, 1))}
    both, found = apart | apart.T, []
    while left:
        group = list(min(left))
        for other in range(len(apart)):
            if other not in group and both[other, group].all():
                group.append(other)
        left -= {(min(a, b), max(a, b)) for a in group for b in group if a != b}
        found.append(sorted(group))
    return found


def _add_company(program: Program, matrix: Matrix) -> None:
    for group in cliques(program.apart_in_tank):
        for tank in range(len(program.tanks)):
            at = np.flatnonzero(np.isin(matrix.cell[:, 1], group) & (matrix.cell[:, 2] == tank))
            if at.size > 1:
                matrix.add(matrix.present[at], np.ones(at.size), -np.inf, 1.0)
    for group in cliques(program.apart_in_loop):
        for option in range(len(program.options)):
            at = matrix.in_loop[option, group]
            matrix.add(np.append(at, matrix.chosen[option]), [1.0] * len(group) + [-1.0], -np.inf, 0.0)


def _add_numbers(program: Program, matrix: Matrix, without: frozenset[str], giving: frozenset[str]) -> None:
    """Counts of candidates, budget, wishes, number of species."""
    for c in np.unique(program.of_stock):
        name = program.candidates[c]
        at = matrix.count[program.of_stock[matrix.cell[:, 1]] == c]
        # an empty row with a number to place is a contradiction that the solver must see
        low = 0.0 if f"keep {name}" in without else float(program.least[c])
        columns, values = list(at), [1.0] * at.size
        if "keep" in giving and low > 0.0:
            columns.append(matrix.give_way("keep", name, 1.0))
            values.append(low)
        matrix.add(columns, values, low, float(program.most[c]))
    if "budget" not in without and np.isfinite(program.budget):
        scale = max(program.budget, float(program.price.max(initial=0.0)), 1.0)
        columns = [*matrix.count, *matrix.chosen]
        values = [*(program.price[matrix.cell[:, 1]] / scale), *(program.option_cost / scale)]
        if "budget" in giving:
            columns.append(matrix.give_way("budget", ""))
            values.append(-1.0)
        matrix.add(columns, values, -np.inf, program.budget / scale)
    for wish in program.wishes:
        if f"wish {wish.name}" in without or wish.kg <= 0.0:
            continue
        columns = list(matrix.count)
        values = list(wish.kg_per_fish[matrix.cell[:, 0], matrix.cell[:, 1]] / wish.kg)
        if "wishes" in giving:
            columns.append(matrix.give_way("wish", wish.name, 1.0))
            values.append(1.0)
        matrix.add(columns, values, 1.0, np.inf)
    if "species" not in without:
        _add_species(program, matrix, "species" in giving)


def _add_species(program: Program, matrix: Matrix, gives: bool) -> None:
    kinds = sorted(set(program.species))
    if program.species_least <= 0 and program.species_most >= len(kinds):
        return
    of_cell = np.array([kinds.index(program.species[c]) for c in matrix.cell[:, 1]], int)
    there = matrix.columns(0.0, 1.0, len(kinds), True)
    for k in range(len(kinds)):
        at = matrix.present[of_cell == k]
        matrix.add([*at, there[k]], [*np.ones(at.size), -1.0], 0.0, np.inf)
        for column in at:
            matrix.add([column, there[k]], [1.0, -1.0], -np.inf, 0.0)
    columns, fewer, more = list(there), [1.0] * len(kinds), [1.0] * len(kinds)
    if gives:
        columns += [matrix.give_way("species", "least"), matrix.give_way("species", "most")]
        fewer, more = [*fewer, 1.0, 0.0], [*more, 0.0, -1.0]
    matrix.add(columns, fewer, float(program.species_least), np.inf)
    matrix.add(columns, more, -np.inf, float(program.species_most))


def _add_feed(program: Program, matrix: Matrix) -> None:
    """Feed of each loop and week, what of it lies outside the band, and its change from week to week."""
    loops, weeks = len(program.loops), program.weeks
    feed = matrix.columns(0.0, np.inf, loops * weeks, False).reshape(loops, weeks)
    below, above, change = (matrix.columns(0.0, np.inf, loops * weeks, False).reshape(loops, weeks) for _ in range(3))
    loop_of_cell = program.tank_loop[matrix.cell[:, 2]]
    for loop in range(loops):
        at = np.flatnonzero(loop_of_cell == loop)
        per_fish = program.feed_g_day[matrix.cell[at, 0], matrix.cell[at, 1]]
        for week in range(weeks):
            matrix.add([*matrix.count[at], feed[loop, week]], [*per_fish[:, week], -1.0], 0.0, 0.0)
            low, high = program.feed_low[loop, week], program.feed_high[loop, week]
            if low > 0.0:
                matrix.add([feed[loop, week], below[loop, week]], [1.0, 1.0], float(low), np.inf)
            if np.isfinite(high):
                matrix.add([feed[loop, week], above[loop, week]], [1.0, -1.0], -np.inf, float(high))
            if week:
                pair = [feed[loop, week], feed[loop, week - 1], change[loop, week]]
                matrix.add(pair, [1.0, -1.0, -1.0], -np.inf, 0.0)
                matrix.add(pair, [1.0, -1.0, 1.0], 0.0, np.inf)
    matrix.outside, matrix.change = np.concatenate([below.ravel(), above.ravel()]), change[:, 1:].ravel()


def goal_row(program: Program, matrix: Matrix, goal: str) -> tuple[FloatArray, float]:
    """Score of a goal (more is better) over the columns, and its constant."""
    if goal not in GOALS:
        raise ValueError(f"goal {goal}")
    row, constant = np.zeros(len(matrix.low)), 0.0
    option, candidate = matrix.cell[:, 0], matrix.cell[:, 1]
    if goal == "edible":
        thinned = np.where(program.owned[program.of_stock] > 0, program.thinned_kg, 0.0)
        row[matrix.count] = program.edible_kg[option, candidate] - thinned[candidate]
        constant = float(thinned @ program.owned)
    elif goal == "cost":
        row[matrix.count] = -program.cost[option, candidate]
        row[matrix.chosen] = -program.option_cost
    else:
        row[matrix.outside] = row[matrix.change] = -1.0
    price = program.band_price.get(goal, 0.0) * 7.0 / 1000.0
    if price:
        row[matrix.outside] -= price
    return row, constant


def needs_feed(program: Program, goals: Iterable[str]) -> bool:
    """Whether any of the goals looks at feed by week."""
    return any(goal == "steady" or program.band_price.get(goal, 0.0) for goal in goals)
