"""Seasons of a layout: one or many scenarios through the compiled days."""

from __future__ import annotations

from collections.abc import Callable

from stocksim.engine.course import Course
from stocksim.engine.days import rows
from stocksim.engine.days.day import seasons
from stocksim.engine.days.rows import Kept
from stocksim.engine.happenings import Transfer
from stocksim.engine.layout import Layout
from stocksim.engine.tables import (
    Climate,
    empty_course,
    empty_fine,
    empty_state,
    feed_tables,
    mornings,
    scenario_count,
    tables,
    with_scenarios,
)

Progress = Callable[[int, int], None]


def simulate(layout: Layout, progress: Progress | None = None) -> Course:
    """Run the season of a layout.

    Parameters
    ----------
    layout : Layout
        Arrays of a site, any float one of them with a leading scenario axis.
    progress : callable, optional
        Called with (days done, days in all).

    Returns
    -------
    Course
        Arrays with a leading scenario axis.
    """
    scenarios = scenario_count(layout)
    given, climate = tables(with_scenarios(layout))
    kept = empty_course(given, scenarios, len(layout.happenings))
    seasons(given, mornings(layout), feed_tables(layout), empty_state(given), empty_fine(given), kept, 0, layout.days)
    if progress is not None:
        progress(layout.days, layout.days)
    return _course(layout, kept, climate)


def _course(layout: Layout, kept: Kept, climate: Climate) -> Course:
    """The course's arrays, which look into the tables kept."""
    named = {}
    for table, names in (
        (kept.fish, rows.FISH_KEPT), (kept.leaf, rows.LEAF_KEPT), (kept.tank, rows.TANK_KEPT),
        (kept.unit, rows.UNIT_KEPT), (kept.loop, rows.LOOP_KEPT),
    ):  # fmt: skip
        named |= {name: table[:, :, row] for row, name in enumerate(names)}
    transfers = tuple(
        Transfer(
            happening, kept.transfer[:, e, rows.WENT], kept.transfer[:, e, rows.WENT_MASS],
            float(kept.transfer[0, e, rows.ASKED]), kept.transfer[:, e, rows.HAD],
        )
        for e, happening in enumerate(layout.happenings)
    )  # fmt: skip
    return Course(**named, **climate._asdict(), rounds=kept.rounds, apart=kept.apart, transfers=transfers)
