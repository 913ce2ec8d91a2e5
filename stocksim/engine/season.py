"""Seasons of a layout: one or many scenarios through the compiled days."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.arrays.tables import (
    Climate,
    empty_course,
    empty_now,
    feed_tables,
    mornings,
    scenario_count,
    tables,
    with_scenarios,
)
from stocksim.engine.days import rows
from stocksim.engine.days.day import seasons
from stocksim.engine.days.rows import Kept
from stocksim.engine.preparing import at_hand
from stocksim.engine.results.course import Course, FloatArray, Transfer, joined
from stocksim.engine.results.hours import day_hours
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site

Progress = Callable[[int, int], None]
T = TypeVar("T")
# Scenarios that are run one after the other with their tables at hand; chunks share nothing and no sum goes across
# them, so that threads change no bit. Fewer cost more of Python's time, more take more memory (about 1.5 MB each).
CHUNK = 16


_watcher: ContextVar[Callable[[], None] | None] = ContextVar("watcher", default=None)


@contextmanager
def watched(watcher: Callable[[], None] | None) -> Iterator[None]:
    """Call a watcher before each run of seasons that is asked for meanwhile; work ends where it raises.

    So whatever tries seasons, however deep, can be ended by whoever waits for it; None watches nothing.
    """
    token = _watcher.set(watcher)
    try:
        yield
    finally:
        _watcher.reset(token)


def simulate(layout: Layout, progress: Progress | None = None) -> Course:
    """Run the season of a layout.

    Parameters
    ----------
    layout : Layout
        Arrays of a site, any float one of them with a leading scenario axis.
    progress : callable, optional
        Called with (scenarios done, scenarios in all).

    Returns
    -------
    Course
        Arrays with a leading scenario axis.
    """
    return joined(list(in_chunks(layout, lambda _, course: course, progress)))


def in_chunks(
    layout: Layout,
    finish: Callable[[Layout, Course], T],
    progress: Progress | None = None,
    threads: int | None = None,
) -> Iterator[T]:
    """Run many scenarios a chunk at a time, and give on what is made of each chunk's course.

    Parameters
    ----------
    layout : Layout
        As for `simulate`.
    finish : callable
        Takes the layout of a chunk, every float array with a scenario axis, and its course; called in threads. What it
        gives back is all that is kept of the chunk.
    progress : callable, optional
        Called with (scenarios done, scenarios in all).
    threads : int, optional
        Threads to run in; one for each processor if left out. Results are the same to the bit for any number.

    Yields
    ------
    object
        What ``finish`` made of each chunk, in the order of the scenarios.
    """
    watcher = _watcher.get()
    if watcher is not None:
        watcher()
    scenarios = scenario_count(layout)
    starts = range(0, scenarios, CHUNK)

    def run(start: int) -> T:
        chosen = slice(start, start + CHUNK) if scenarios > CHUNK else slice(None)
        chunk = with_scenarios(layout, chosen)
        return finish(chunk, _run(chunk, min(CHUNK, scenarios - start)))

    def told(found: Iterator[T]) -> Iterator[T]:
        for start in starts:
            made = next(found)
            if progress is not None:
                progress(min(start + CHUNK, scenarios), scenarios)
            yield made

    if len(starts) == 1:
        yield from told(map(run, starts))
        return
    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        yield from told(pool.map(run, starts))


def _run(layout: Layout, scenarios: int) -> Course:
    """Course of a layout whose float arrays all have a scenario axis."""
    given, climate = tables(layout)
    kept = empty_course(given, scenarios, len(layout.happenings))
    run = at_hand(seasons, scenarios, is_first=True)
    run(given, mornings(layout), feed_tables(layout), empty_now(layout, given), kept, 0, layout.days, True)
    return _course(layout, kept, climate)


def prepare() -> None:
    """Compile the days and their hours and keep them on disk, by a short season of the starter site."""
    layout = with_scenarios(build_layout(load_site(FOLDER / "starter.toml")))
    given, climate = tables(layout)
    kept = empty_course(given, 1, len(layout.happenings))
    seasons(given, mornings(layout), feed_tables(layout), empty_now(layout, given), kept, 0, 1, True)
    course = _course(layout, kept, climate)
    day_hours(layout, joined([course, course]))  # of two: one alone would not wait for the compiler


def _course(layout: Layout, kept: Kept, climate: Climate) -> Course:
    """The course's arrays, which look into the tables kept."""
    named: dict[str, FloatArray] = {}
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
