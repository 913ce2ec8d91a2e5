"""Weather that was recorded: a CSV by the day or by the hour, gaps bridged or refused."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.temperature import logged_temperature
from stocksim.climate.weather import HOURS
from stocksim.errors import Fault, InputError

FloatArray = NDArray[np.float64]

LONGEST_GAP_HOURS = 6  # bridged by a straight line; our choice, no source
_AIR_LOW_C, _AIR_HIGH_C = -70.0, 60.0
_FAULTS_LISTED = 5
_TEMPERATURES = ("low", "high", "temperature")


class Record(NamedTuple):
    """Recorded weather of a season: arrays (days,), hourly air (24 * days,) where recorded by the hour."""

    low_c: FloatArray
    high_c: FloatArray
    sun_kwh_m2: FloatArray | None
    hourly_c: FloatArray | None
    notes: tuple[str, ...]


def read_weather_file(path: Path, start: dt.date, days: int) -> Record:
    """Weather of a season from a CSV file.

    Parameters
    ----------
    path : Path
        UTF-8, comma separated. By the day: ``date``, ``low_c``, ``high_c`` and, if recorded, ``sun_kwh_m2``. By the
        hour: ``time`` (as 2026-10-01T14:00), ``temperature_c`` and, if recorded, ``sun_w_m2``. Temperatures may be in
        ``_f``.
    start : date
        First day of the season.
    days : int
        Days in it.

    Returns
    -------
    Record
        Gaps of up to 3 days, or 6 hours, bridged and said.

    Raises
    ------
    InputError
        If the file cannot be read, does not cover the season or has longer gaps.
    """
    return _record(_text(path), path, start, days)


@lru_cache(maxsize=8)
def _record(text: str, path: Path, start: dt.date, days: int) -> Record:
    """The record of a file's text, kept by that text: a site that is changed a hundred times reads its weather once."""
    header, rows = _rows(text, path)
    faults: list[str] = []
    if "time" in header:
        return _by_hour(path, header, rows, start, days, faults)
    columns = {name: _temperature_column(header, name, path) for name in ("low", "high")}
    if "date" not in header:
        raise _refused(path, f"needs a column date or time; its header is {', '.join(header)}.")
    seen: dict[dt.date, str] = {}
    dates, values = [], {"low": [], "high": [], "sun": []}  # type: ignore[var-annotated]
    has_sun = "sun_kwh_m2" in header
    for line, row in rows:
        moment = _moment(row, header.index("date"), line, faults)
        found = {name: _degrees(row, column, line, faults) for name, column in columns.items()}
        sun = _number(row, header.index("sun_kwh_m2"), line, (0.0, 15.0), faults) if has_sun else 0.0
        if moment is None or sun is None or any(value is None for value in found.values()):
            continue
        if found["low"] > found["high"]:  # type: ignore[operator]
            faults.append(f"{line}: the low is above the high; check the columns.")
            continue
        if moment.date() in seen:
            faults.append(f"{line}: {moment.date()} stands in {seen[moment.date()]} already; keep one row a day.")
            continue
        seen[moment.date()] = line
        dates.append(moment.date())
        for name, value in (found | {"sun": sun}).items():
            values[name].append(value)
    _raise(path, faults)
    if not dates:
        raise _refused(path, "has a header but no day; write one line a day below it.")
    low, notes = _bridged(path, start, days, dates, values["low"])
    high, _ = _bridged(path, start, days, dates, values["high"])
    sun_day = _bridged(path, start, days, dates, values["sun"])[0] if has_sun else None
    return Record(low, high, sun_day, None, tuple(f"weather.file: {note}" for note in notes))


def _by_hour(
    path: Path, header: list[str], rows: list[tuple[str, list[str]]], start: dt.date, days: int, faults: list[str]
) -> Record:
    column = _temperature_column(header, "temperature", path)
    has_sun = "sun_w_m2" in header
    hours, air, sun = [], [], []
    first = dt.datetime.combine(start, dt.time())
    for line, row in rows:
        moment = _moment(row, header.index("time"), line, faults)
        degrees = _degrees(row, column, line, faults)
        bright = _number(row, header.index("sun_w_m2"), line, (0.0, 1500.0), faults) if has_sun else 0.0
        if moment is not None and degrees is not None and bright is not None:
            hours.append((moment.replace(tzinfo=None) - first).total_seconds() / 3600.0)
            air.append(degrees)
            sun.append(bright)
    _raise(path, faults)
    if not hours:
        raise _refused(path, "has a header but no hour; write one line an hour below it.")
    order = np.argsort(hours)
    at, last = np.array(hours)[order], HOURS * days - 1.0
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
    for place in np.flatnonzero((jumps == 0.0) & (at[1:] >= 0.0) & (at[1:] <= last)):
        notes.append(f"weather.file: two readings at {_hour(first, at[place])}; a change of clock, perhaps: use "
                     "standard time all year.")  # fmt: skip
    _raise(path, gaps)
    grid = np.arange(HOURS * days, dtype=float)
    hourly = np.interp(grid, at, np.array(air)[order])
    by_day = hourly.reshape(days, HOURS)
    light = np.interp(grid, at, np.array(sun)[order]).reshape(days, HOURS).sum(axis=-1) / 1000.0 if has_sun else None
    return Record(by_day.min(axis=-1), by_day.max(axis=-1), light, hourly, tuple(notes[:_FAULTS_LISTED]))


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _refused(path, "is not UTF-8 text; save it as CSV UTF-8.") from error
    except FileNotFoundError as error:
        raise _refused(path, "was not found; check the name and the folder of the weather file.") from error
    except (OSError, ValueError) as error:
        raise _refused(path, f"cannot be opened ({getattr(error, 'strerror', None) or error}).") from error


def _rows(text: str, path: Path) -> tuple[list[str], list[tuple[str, list[str]]]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        lines = [(f"line {reader.line_num}", row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise _refused(path, f"cannot be split into columns ({error}).") from error
    if not lines:
        raise _refused(path, "is empty; it needs a header with date, low_c and high_c, then the days.")
    return [cell.strip().lower() for cell in lines[0][1]], lines[1:]


def _temperature_column(header: list[str], name: str, path: Path) -> tuple[int, bool]:
    found = [column for column in (f"{name}_c", f"{name}_f") if header.count(column) == 1]
    if len(found) != 1:
        raise _refused(path, f"needs exactly one column {name}_c or {name}_f; its header is {', '.join(header)}.")
    return header.index(found[0]), found[0].endswith("_f")


def _moment(row: list[str], column: int, line: str, faults: list[str]) -> dt.datetime | None:
    cell = row[column].strip() if column < len(row) else ""
    try:
        return dt.datetime.fromisoformat(cell)
    except ValueError:
        faults.append(f'{line}: "{cell}" is not a date; write it as 2026-10-31 or 2026-10-31T14:00.')
        return None


def _degrees(row: list[str], column: tuple[int, bool], line: str, faults: list[str]) -> float | None:
    low, high = (1.8 * limit + 32.0 if column[1] else limit for limit in (_AIR_LOW_C, _AIR_HIGH_C))
    value = _number(row, column[0], line, (low, high), faults)
    return None if value is None else ((value - 32.0) / 1.8 if column[1] else value)


def _number(row: list[str], column: int, line: str, allowed: tuple[float, float], faults: list[str]) -> float | None:
    cell = row[column].strip() if column < len(row) else ""
    try:
        value = float(cell) if "_" not in cell else math.nan
    except ValueError:
        value = math.nan
    if not allowed[0] <= value <= allowed[1]:
        faults.append(f'{line}: "{cell}" is not a number from {allowed[0]:g} to {allowed[1]:g}; check value and unit.')
        return None
    return value


def _bridged(
    path: Path, start: dt.date, days: int, dates: list[dt.date], values: list[float]
) -> tuple[FloatArray, list[str]]:
    try:
        return logged_temperature(start, days, dates, values)
    except InputError as error:
        said = [fault.message.replace("the temperature log ", "") for fault in error.faults]
        raise InputError([Fault("weather", "file", f"{path.name} {message}") for message in said]) from error


def _hour(first: dt.datetime, hours: float) -> str:
    return (first + dt.timedelta(hours=float(hours))).strftime("%Y-%m-%d %H:%M")


def _refused(path: Path, message: str) -> InputError:
    return InputError([Fault("weather", "file", f"{path.name} {message}")])


def _raise(path: Path, messages: list[str]) -> None:
    if messages:
        shown = messages[:_FAULTS_LISTED]
        more = len(messages) - len(shown)
        if more:
            shown.append(f"and {more} more.")
        raise InputError([Fault("weather", "file", f"{path.name}, {message}") for message in shown])
