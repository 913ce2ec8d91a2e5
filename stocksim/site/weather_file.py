"""Weather that was recorded: a CSV by the day or by the hour, gaps bridged or refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.temperature import logged_temperature
from stocksim.climate.weather import HOURS
from stocksim.errors import Fault, InputError
from stocksim.opening import open_regular
from stocksim.site.clocks import on_site_clock
from stocksim.site.kept_files import read_once
from stocksim.site.records import FAULTS_LISTED, Column, Records, Table

FloatArray = NDArray[np.float64]

LONGEST_GAP_HOURS = 6  # bridged by a straight line; our choice, no source
_AIR_LOW_C, _AIR_HIGH_C = -70.0, 60.0
_KNOWN = ("date", "time", "low_c", "high_c", "low_f", "high_f", "temperature_c", "temperature_f")
_SUN = {
    "sun_kwh_m2": Column("sun_kwh_m2", 0.0, 15.0, "kWh/m2", "the day's sun as 2.4"),
    "sun_w_m2": Column("sun_w_m2", 0.0, 1500.0, "W/m2", "the hour's sun as 310"),
}
_DAY_S, _HOUR_S = 86_400, 3600
_EPOCH_DAY = dt.date(1970, 1, 1).toordinal()


class Record(NamedTuple):
    """Recorded weather of a season: arrays (days,), hourly air (24 * days,) where recorded by the hour; the unit of its
    temperatures."""

    low_c: FloatArray
    high_c: FloatArray
    sun_kwh_m2: FloatArray | None
    hourly_c: FloatArray | None
    notes: tuple[str, ...]
    unit: str = "degC"


def read_weather_file(path: Path, start: dt.date, days: int, utc_offset_h: float | None = None) -> Record:
    """Weather of a season from a CSV file; kept until the file changes.

    Parameters
    ----------
    path : Path
        UTF-8; columns apart by commas, or by semicolons or tabs, then with a decimal comma or point. By the day:
        ``date``, ``low_c``, ``high_c`` and, if recorded, ``sun_kwh_m2``. By the hour: ``time`` (as 2026-10-01T14:00,
        with its zone if need be), ``temperature_c`` and, if recorded, ``sun_w_m2``. Temperatures may be in ``_f``.
    start : date
        First day of the season.
    days : int
        Days in it.
    utc_offset_h : float, optional
        How far the site's clock is ahead of UTC. [h]

    Returns
    -------
    Record
        Gaps of up to 3 days, or 6 hours, bridged and said.

    Raises
    ------
    InputError
        If the file cannot be read, does not cover the season or has longer gaps.
    """
    return read_once(path, _read, start, days, utc_offset_h)


def weather_file_has_sun(path: Path) -> bool:
    """Whether a weather file has a column of sun; False where it cannot be read."""
    try:
        with open_regular(path) as file:
            return bool(set(Table(file, path.name, _KNOWN).header) & set(_SUN))
    except InputError:
        return False


def _read(path: Path, start: dt.date, days: int, utc_offset_h: float | None) -> Record:
    try:
        with open_regular(path) as file:
            table = Table(file, path.name, _KNOWN)
            by_hour = "time" in table.header
            names = ("temperature",) if by_hour else ("low", "high")
            columns = [_temperature_column(table, name) for name in names]
            if not by_hour and "date" not in table.header:
                raise table.refused("needs a column date or time in its header.")
            sun = _SUN["sun_w_m2" if by_hour else "sun_kwh_m2"]
            has_sun = sun.name in table.header
            records = table.read("time" if by_hour else "date", [*columns, *([sun] if has_sun else [])])
    except InputError as error:
        raise InputError([_placed(fault) for fault in error.faults]) from None
    if not len(records.line):
        rows = "hour; write one line an hour" if by_hour else "day; write one line a day"
        raise _refused(path, [f"has a header but no {rows} below it."])
    celsius = [_celsius(records, column) for column in columns]
    light = records.values[sun.name] if has_sun else None
    unit = columns[0].unit
    if not by_hour:
        return _by_day(path, records, celsius[0], celsius[1], light, start, days)._replace(unit=unit)
    second, notes, faults = on_site_clock(records, utc_offset_h)
    if faults:
        raise _refused(path, faults)
    record = _by_hour(path, second, celsius[0], light, start, days)
    return record._replace(unit=unit, notes=(*(f"weather.file: {path.name} {note}" for note in notes), *record.notes))


def _by_day(
    path: Path, records: Records, low: FloatArray, high: FloatArray, sun: FloatArray | None, start: dt.date, days: int
) -> Record:
    ordinal = records.second // _DAY_S + _EPOCH_DAY
    faults = [f"line {line}: the low is above the high; check the columns." for line in records.line[low > high]]
    _, first, which = np.unique(ordinal, return_index=True, return_inverse=True)
    for row in np.flatnonzero(first[which] != np.arange(len(ordinal))):
        faults.append(
            f"line {records.line[row]}: {dt.date.fromordinal(int(ordinal[row]))} stands in line "
            f"{records.line[first[which[row]]]} already; keep one row a day."
        )
    if faults:
        raise _refused(path, faults)
    low_day, notes = _bridged(path, start, days, ordinal, low)
    high_day, _ = _bridged(path, start, days, ordinal, high)
    light = None if sun is None else _bridged(path, start, days, ordinal, sun)[0]
    return Record(low_day, high_day, light, None, tuple(f"weather.file: {note}" for note in notes))


def _by_hour(
    path: Path, second: NDArray[np.int64], air: FloatArray, sun: FloatArray | None, start: dt.date, days: int
) -> Record:
    order = np.argsort(second, kind="stable")
    at = second[order] / _HOUR_S - HOURS * (start.toordinal() - _EPOCH_DAY)
    first, last = dt.datetime.combine(start, dt.time()), HOURS * days - 1.0
    gaps, notes = [], []
    if at[0] > LONGEST_GAP_HOURS:
        gaps.append(
            f"begins on {_hour(first, at[0])} but the season on {start}; record the days before or start later."
        )
    if at[-1] < last - LONGEST_GAP_HOURS:
        end = start + dt.timedelta(days=days - 1)
        gaps.append(f"ends on {_hour(first, at[-1])} but the season on {end}; record the days after or end earlier.")
    jumps = np.diff(at)
    for place in np.flatnonzero((jumps > 1.5) & (at[1:] > 0.0) & (at[:-1] < last)):
        span = f"{_hour(first, at[place])} to {_hour(first, at[place + 1])}"
        if jumps[place] > LONGEST_GAP_HOURS + 1.0:
            gaps.append(f"has no reading from {span}; gaps of at most {LONGEST_GAP_HOURS} hours are bridged.")
        else:
            notes.append(f"weather.file: no reading from {span}; a straight line bridges it.")
    for place in np.flatnonzero((jumps == 0.0) & (at[1:] >= 0.0) & (at[1:] <= last))[:FAULTS_LISTED]:
        notes.append(f"weather.file: two readings at {_hour(first, at[place])}; a change of clock, perhaps: use "
                     "standard time all year.")  # fmt: skip
    if gaps:
        raise _refused(path, gaps)
    grid = np.arange(HOURS * days, dtype=float)
    hourly = np.interp(grid, at, air[order])
    by_day = hourly.reshape(days, HOURS)
    light = None if sun is None else np.interp(grid, at, sun[order]).reshape(days, HOURS).sum(axis=-1) / 1000.0
    return Record(by_day.min(axis=-1), by_day.max(axis=-1), light, hourly, tuple(notes[:FAULTS_LISTED]))


def _temperature_column(table: Table, name: str) -> Column:
    found = [column for column in (f"{name}_c", f"{name}_f") if table.header.count(column) == 1]
    if len(found) != 1:
        raise table.refused(f"needs exactly one column {name}_c or {name}_f in its header.")
    is_celsius = found[0].endswith("_c")
    unit, other = ("degC", "F") if is_celsius else ("degF", "C")
    low, high = (limit if is_celsius else 1.8 * limit + 32.0 for limit in (_AIR_LOW_C, _AIR_HIGH_C))
    hint = f"check the reading; if it is in deg{other}, name the column {name}_{other.lower()}"
    return Column(found[0], low, high, unit, "a temperature as -3.5", hint)


def _celsius(records: Records, column: Column) -> FloatArray:
    value = records.values[column.name]
    return (value - 32.0) / 1.8 if column.unit == "degF" else value


def _bridged(
    path: Path, start: dt.date, days: int, ordinal: NDArray[np.int64], values: FloatArray
) -> tuple[FloatArray, list[str]]:
    try:
        return logged_temperature(start, days, [dt.date.fromordinal(int(day)) for day in ordinal], values)
    except InputError as error:
        said = [fault.message.replace("the temperature log ", "") for fault in error.faults]
        raise InputError([Fault("weather", "file", f"{path.name} {message}") for message in said]) from error


def _hour(first: dt.datetime, hours: float) -> str:
    return (first + dt.timedelta(hours=float(hours))).strftime("%Y-%m-%d %H:%M")


def _placed(fault: Fault) -> Fault:
    """A fault of the file told at the place that names it."""
    between = ", " if fault.message.startswith(("line ", "and ")) else " "
    return Fault("weather", "file", f"{fault.file}{between}{fault.message}")


def _refused(path: Path, messages: Sequence[str]) -> InputError:
    shown = list(messages[:FAULTS_LISTED])
    if len(messages) > len(shown):
        shown.append(f"and {len(messages) - len(shown)} more.")
    return InputError([_placed(Fault("", "", message, path.name)) for message in shown])
