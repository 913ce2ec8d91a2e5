"""What became of every fish: a ledger by cohort, in numbers and in mass, that sums to zero."""

from __future__ import annotations

from typing import Any

import numpy as np

from stocksim.engine.course import Course
from stocksim.engine.layout import Layout

# what the events of a kind are called in the ledger; the fish of a move, a new feed or rule stay in their cohort
TAKEN = {"harvest": "harvested", "thin": "thinned", "sell": "sold", "give": "given"}
# how each entry changes what is there
SIGNS = {
    "stocked": 1.0, "from_grading": 1.0, "growth": 1.0, "to_grading": -1.0, "deaths": -1.0,
    **dict.fromkeys(TAKEN.values(), -1.0),
}  # fmt: skip


def ledger(layout: Layout, course: Course, scenario: int = 0) -> dict[str, dict[str, tuple[float, float]]]:
    """Entries of every cohort.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays.
    scenario : int
        Which of its scenarios.

    Returns
    -------
    dict
        Cohort to entry to (number, mass [g]): `SIGNS` tells which add and which take; ``at_end`` is what they leave.
        Growth has no number. It is below zero where fish lost weight.
    """
    names = dict.fromkeys(layout.cohorts)
    book: dict[str, dict[str, Any]] = {name: {key: np.zeros(2) for key in (*SIGNS, "at_end")} for name in names}
    count = np.broadcast_to(layout.count, course.count[:, 0].shape)[scenario]
    deaths, weight = course.deaths[scenario], course.weight_g[scenario]
    start = np.broadcast_to(layout.start_weight_g, course.count[:, 0].shape)[scenario]
    for column, name in enumerate(layout.cohorts):
        entries = book[name]
        if layout.stocked_day[column] < layout.days:
            entries["stocked"] += (count[column], count[column] * start[column])
        entries["growth"] += (0.0, course.gain_g[scenario, :, column].sum())
        entries["deaths"] += (deaths[:, column].sum(), deaths[:, column] @ weight[:, column])
        left = course.count[scenario, -1, column]
        entries["at_end"] += (left, left * weight[-1, column])
    for transfer in course.transfers:
        happening = transfer.happening
        amount = (transfer.fish[scenario], transfer.mass_g[scenario])
        if happening.kind == "stock":
            book[layout.cohorts[happening.target]]["stocked"] += amount
        elif happening.kind == "grade":
            book[layout.cohorts[happening.source]]["to_grading"] += amount
            book[layout.cohorts[happening.target]]["from_grading"] += amount
        elif happening.kind in TAKEN:
            book[layout.cohorts[happening.source]][TAKEN[happening.kind]] += amount
    return {
        name: {key: (float(pair[0]), float(pair[1])) for key, pair in entries.items()} for name, entries in book.items()
    }


def taken_g(layout: Layout, course: Course, kinds: tuple[str, ...], scenario: int = 0) -> np.ndarray:
    """Mass that events of some kinds took, shape (day, column). [g]"""
    taken = np.zeros((layout.days, len(layout.cohorts)))
    for transfer in course.transfers:
        if transfer.happening.kind in kinds:
            taken[transfer.happening.day, transfer.happening.source] += transfer.mass_g[scenario]
    return taken
