"""Columns and rows of an integer program, and where the columns of a meaning stand."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stocksim.planning.program import FloatArray, IntArray, Program, Stocking


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
