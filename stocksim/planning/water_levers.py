"""Levers on a loop's water: dosing, softer water, water changes, less ammonia where a film is fed before fish come."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterator
from typing import Any

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.engine.waterworks import source_level
from stocksim.errors import InputError
from stocksim.planning.mending import mends
from stocksim.planning.trying import Lever, season_with
from stocksim.units import format_quantity

# Alkalinity below which nitrification suffers, 40 mg/L or more being advised (SRAC text, read), and to hold: 80 (common
# practice).
_SCARCE_ALKALINITY_MG_L, _HELD_ALKALINITY_MG_L = 40.0, 80.0
_ALKALINITY_STEP_MG_L = 20.0
# Of the loop's water at most this share is changed in a day (common practice, no source: fish bear no larger step in
# salts and pH), in tenths.
_CHANGE_SHARES = (0.1, 0.2, 0.3, 0.4, 0.5)
# How often, and every how many days.
_CHANGE_PATTERNS = ((1, 1), (2, 1), (3, 1), (5, 1), (7, 1), (14, 1), (21, 1), (4, 7), (8, 7))
_BRIEF_DAYS = 21  # a limit broken for longer is not a matter of one or a few water changes (assumed)
# What is tried where ammonia is dosed to feed a film: shares of the dose, and weeks from its end until fish
# come.
_DOSE_SHARES, _LATER_WEEKS = (1.0, 0.5, 0.25, 0.1), (0, 2, 4, 8)
_CLEAR_DAYS = (0, 3, 7, 14)  # that the film is given to clear the water before fish come
_LEAST_SEASON_DAYS = 28  # that fish stocked later must still be in the season for, to prove anything (assumed)
_CHANGED_FOR = ("nitrite", "unionized_ammonia")
_TEST_DAYS = 3  # a test this long before a limit breaks found what breaks it (assumed)


def more_buffer(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
    """Alkalinity held up by dosing, where nobody doses and nitrification runs out of it."""
    if season.site.file.loops[loop].alkalinity_target is not None:
        return
    column = season.layout.loops.index(loop)
    lowest = float(season.course.alkalinity_mg_l[0, :, column].min())
    if lowest >= _SCARCE_ALKALINITY_MG_L:
        return
    yield Lever(
        f"dose loop {loop} to hold {_HELD_ALKALINITY_MG_L:.0f} mg/L of alkalinity: it falls to {max(lowest, 0.0):.0f}",
        {f"loops.{loop}.alkalinity_target": f"{_HELD_ALKALINITY_MG_L:g} mg/L"},
    )


def softer_water(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
    """Less alkalinity, by a lower target or softer source water: a lower pH leaves less ammonia un-ionized.

    Only where pH is computed; a pH that the keeper measured follows no alkalinity of the model.
    """
    table = season.site.file.loops[loop]
    if finding.limit == "nitrite" or table.ph is not None:
        return
    target, source = table.alkalinity_target, source_level(table, "alkalinity")
    if target is not None:
        for level in alkalinity_steps(target):
            yield Lever(
                f"hold {level:.0f} mg/L of alkalinity in loop {loop} instead of {target:.0f}, so that pH stays lower",
                {f"loops.{loop}.alkalinity_target": f"{level:g} mg/L"},
            )
    for level in softer_sources(season, loop):
        yield Lever(
            f"fill and top up loop {loop} with water of {level:.0f} mg/L of alkalinity instead of {source:.0f}, by "
            "rain or reverse-osmosis water mixed into yours, so that pH stays lower",
            softened(season, loop, level),
        )


def softer_sources(season: Season, loop: str) -> list[float]:
    """Alkalinities of softer source water that a loop bears, the highest first. [mg/L]

    Where nobody doses, nitrification must not run out of it.
    """
    table = season.site.file.loops[loop]
    source = source_level(table, "alkalinity")
    lowest = float(season.course.alkalinity_mg_l[0, :, season.layout.loops.index(loop)].min())
    return [
        level
        for level in alkalinity_steps(source)
        if table.alkalinity_target is not None or lowest - (source - level) >= _SCARCE_ALKALINITY_MG_L
    ]


def softened(season: Season, loop: str, level: float) -> dict[str, Any]:
    """Changes for source water of this alkalinity, and a target of no more than it."""
    changes = {f"loops.{loop}.source_water.alkalinity": f"{level:g} mg/L"}
    target = season.site.file.loops[loop].alkalinity_target
    if target is not None:
        changes[f"loops.{loop}.alkalinity_target"] = f"{min(level, target):g} mg/L"
    return changes


def alkalinity_steps(now: float) -> list[float]:
    """Levels below today's that nitrification still bears, the highest first, ten at most."""
    steps = []
    level = _ALKALINITY_STEP_MG_L * ((now - 1e-9) // _ALKALINITY_STEP_MG_L)
    while level >= _SCARCE_ALKALINITY_MG_L:
        steps.append(level)
        level -= _ALKALINITY_STEP_MG_L
    return steps[:: -(-len(steps) // 10) or 1]


def measured_on(season: Season, finding: Finding, loop: str) -> dt.date | None:
    """Day of the last test of ammonia or nitrite shortly before a limit broke, None without such."""
    first = finding.first_date
    if first is None or finding.limit not in _CHANGED_FOR:
        return None
    tests = season.site.file.loops[loop].water_tests
    days = [test.date for test in tests if test.tan is not None or test.nitrite_n is not None]
    return max((day for day in days if 0 <= (first - day).days <= _TEST_DAYS), default=None)


def water_changes(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
    """The fewest and smallest water changes that keep nitrite or ammonia under its limit.

    They begin on the day before it breaks. Where a test found the water bad they begin on the day of the test, which
    may itself be past mending.
    """
    if finding.limit not in _CHANGED_FOR or finding.first_date is None or finding.days_broken > _BRIEF_DAYS:
        return
    layout = season.layout
    tested = measured_on(season, finding, loop)
    first = tested or max(finding.first_date - dt.timedelta(days=1), layout.start)
    # where it is broken on the test's day alone, there is nothing that later days could prove
    spared: list[tuple[dt.date, ...]] = (
        [(), (first,)] if tested == finding.first_date and finding.days_broken > 1 else [()]
    )
    for past in spared:
        for times, every in _CHANGE_PATTERNS:
            days = [first + dt.timedelta(days=every * number) for number in range(times)]
            if (days[-1] - layout.start).days >= layout.days:
                break
            largest = _changed(season, loop, days, _CHANGE_SHARES[-1], past)
            if not _holds(season, finding, largest):
                continue
            smaller = (_changed(season, loop, days, share, past) for share in _CHANGE_SHARES[:-1])
            yield next((lever for lever in smaller if _holds(season, finding, lever)), largest)
            return


def _holds(season: Season, finding: Finding, lever: Lever) -> bool:
    try:
        return mends(season, season_with(season.site, lever.changes), finding, lever)
    except InputError:  # it cannot be written so, as a change of more water than there is
        return False


def _changed(season: Season, loop: str, days: list[dt.date], share: float, past: tuple[dt.date, ...]) -> Lever:
    """The same share of a loop's water changed on some days."""
    layout = season.layout
    column = layout.loops.index(loop)
    water = float(layout.loop_water_m3[column])
    volume = f"{1000.0 * share * water:.0f} L"
    written = list(season.site.raw["loops"][loop].get("water_changes", []))
    shown = format_quantity(share * water, "volume", season.site.file.site.units)
    every = (days[1] - days[0]).days if len(days) > 1 else 0
    when = {0: f"on {days[0]}", 1: f"each day from {days[0]} to {days[-1]}"}.get(
        every, f"every {every} days from {days[0]} to {days[-1]}"
    )
    words = (
        f"change {shown} ({100 * share:.0f} %) of loop {loop}'s water {when}, for water without chlorine or "
        "chloramine and of the same temperature"
    )
    if past:
        words += f" (the limit then holds from the day after {past[0]}, which the test found too high already)"
    return Lever(
        words,
        {f"loops.{loop}.water_changes": [*written, *({"date": day, "volume": volume} for day in days)]},
        past=past,
    )


def less_dosed_ammonia(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
    """Where ammonia was dosed to feed a film before fish came: less of it, for fewer days, or fish later."""
    cycling = season.site.file.loops[loop].fishless_cycling
    if cycling is None or (finding.first_date or finding.worst_date) < cycling.start:
        return
    field = f"loops.{loop}.fishless_cycling"
    start, end = cycling.start, cycling.end
    fish = _stocked(season, loop)
    if not fish:  # they come by events only, and no lever moves these
        return
    first = min(fish.values())
    for days in _CLEAR_DAYS:
        last = min(end, first - dt.timedelta(days=1)) - dt.timedelta(days=days)
        if start <= last < end:
            ahead = (first - last).days
            clear = "the day" if ahead == 1 else f"{ahead} days"
            yield Lever(
                f"stop dosing ammonia into loop {loop} after {last}, {clear} before fish come",
                {field: _dose(season, loop, 1.0, last)},
            )
    for weeks, share in itertools.product(_LATER_WEEKS, _DOSE_SHARES):
        due = max(first, end + dt.timedelta(days=1 + 7 * weeks))
        later = {key: max(day, due) for key, day in fish.items()}
        is_same = share == 1.0 and later == fish
        if is_same or (due - season.layout.start).days + _LEAST_SEASON_DAYS > season.layout.days:
            continue
        words: list[str] = []
        changes: dict[str, Any] = {}
        if share < 1.0:
            changes[field] = _dose(season, loop, share, end)
            words.append(
                f"dose {share * cycling.ammonia_nitrogen:.2g} g/day of ammonia nitrogen into loop {loop} instead of "
                f"{cycling.ammonia_nitrogen:.2g}"
            )
        moved = [key for key in fish if later[key] != fish[key]]
        if moved:
            changes |= dict.fromkeys([f"cohorts.{key}.stocked" for key in moved], due)
            words.append(
                f"stock {', '.join(moved)} on {due} at the earliest, when tests read no ammonia and no nitrite"
            )
        yield Lever(" and ".join(words), changes)


def _stocked(season: Season, loop: str) -> dict[str, dt.date]:
    """Day on which each of the file's cohorts comes into a loop."""
    file = season.site.file
    return {
        key: cohort.stocked or season.layout.start
        for key, cohort in file.cohorts.items()
        if file.tanks[cohort.tank].loop == loop
    }


def _dose(season: Season, loop: str, share: float, last: dt.date) -> dict[str, Any]:
    cycling = season.site.file.loops[loop].fishless_cycling
    assert cycling is not None
    return {"from": cycling.start, "to": last, "ammonia_nitrogen": f"{share * cycling.ammonia_nitrogen:.6g} g/day"}
