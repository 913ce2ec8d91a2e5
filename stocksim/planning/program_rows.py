"""A stocking program as rows and columns: company, numbers, wishes, feed, and the goals over them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from stocksim.planning.program import GOALS, FloatArray, Program
from stocksim.planning.program_limits import add_limit, add_presence, cells_of
from stocksim.planning.program_matrix import Matrix

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
    for c, name in enumerate(program.candidates):
        at = matrix.count[matrix.cell[:, 1] == c]
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
        thinned = np.where(program.owned > 0, program.thinned_kg, 0.0)
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
