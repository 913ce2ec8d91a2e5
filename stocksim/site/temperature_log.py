"""The keeper's log of water temperature: a CSV file to a mean a day."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.errors import Fault, InputError
from stocksim.opening import open_regular
from stocksim.site.clocks import on_site_clock
from stocksim.site.kept_files import read_once
from stocksim.site.record_questions import water_questions
from stocksim.site.records import Column, Table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# a reading outside is a slip or in another unit: fish water lies between 0 and 40 degC, and a sensor errs by a degree
LOG_LOW_C, LOG_HIGH_C = -2.0, 40.0
_DAY_S = 86_400
_EPOCH_DAY = dt.date(1970, 1, 1).toordinal()


class TemperatureLog(NamedTuple):
    """A log by the day: dates in order, mean of each day's readings [degC], shape (days,), and notes and questions."""

    dates: list[dt.date]
    mean_c: FloatArray
    notes: tuple[str, ...]


def read_temperature_log(path: str | Path, utc_offset_h: float | None = None) -> TemperatureLog:
    """Daily means of a temperature log in CSV; kept until the file changes.

    Parameters
    ----------
    path : str or Path
        UTF-8 text with a header that has ``date`` and either ``temperature_c`` or ``temperature_f``; other columns are
        left alone. Columns apart by commas, or by semicolons or tabs, then with a decimal comma or point. Dates as
        2026-10-01, with or without a time of day and its zone.
    utc_offset_h : float, optional
        How far the site's clock is ahead of UTC. [h]

    Returns
    -------
    TemperatureLog
        Days with a reading.

    Raises
    ------
    InputError
        With up to five faults and the number of further ones.
    """
    return read_once(Path(path), _read, utc_offset_h)


def _read(path: Path, utc_offset_h: float | None) -> TemperatureLog:
    with open_regular(path) as file:
        table = Table(file, path.name, ("date", "temperature_c", "temperature_f"))
        column = _column(table)
        records = table.read("date", [column])
    if not len(records.line):
        raise table.refused("has a header but no reading; write one line a day below it.")
    second, notes, faults = on_site_clock(records, utc_offset_h)
    if faults and set(records.zone) == {0}:
        # a day of UTC is as good as any for the mean of a day's water
        faults, notes = (
            [],
            ["times are in UTC, so days are cut there at midnight; site.utc_offset moves them to yours."],
        )
    if faults:
        raise InputError([Fault("", "", fault, path.name) for fault in faults])
    ordinal, mean, spread, count = _by_day(second, records.values[column.name])
    if column.unit == "degF":
        mean, spread = (mean - 32.0) * 5.0 / 9.0, spread * 5.0 / 9.0
    notes += water_questions(ordinal, mean, spread, count, column.unit)
    said = tuple(f"{path.name}: {note}" for note in notes)
    return TemperatureLog([dt.date.fromordinal(int(day)) for day in ordinal], mean, said)


def _by_day(second: IntArray, value: FloatArray) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:
    """Day, mean, highest less lowest and number of each day's readings."""
    if (second[1:] < second[:-1]).any():
        order = np.argsort(second, kind="stable")
        second, value = second[order], value[order]
    day = (second // _DAY_S).astype(np.int32)
    begins = np.flatnonzero(np.concatenate([[True], day[1:] != day[:-1]]))
    count = np.diff(np.append(begins, len(day)))
    mean = np.add.reduceat(value, begins) / count
    spread = np.maximum.reduceat(value, begins) - np.minimum.reduceat(value, begins)
    return day[begins].astype(np.int64) + _EPOCH_DAY, mean, spread, count


def _column(table: Table) -> Column:
    """The column of temperatures and its unit."""
    messages = []
    if table.header.count("date") != 1:
        messages.append("needs exactly one column date in its header.")
    names = [name for name in table.header if name in ("temperature_c", "temperature_f")]
    if len(names) != 1:
        messages.append("needs exactly one column temperature_c or temperature_f in its header.")
    if messages:
        raise InputError([Fault("", "", message, table.name) for message in messages])
    is_celsius = names[0] == "temperature_c"
    unit, other = ("degC", "F") if is_celsius else ("degF", "C")
    low, high = (limit if is_celsius else 1.8 * limit + 32.0 for limit in (LOG_LOW_C, LOG_HIGH_C))
    hint = f"check the reading; if it is in deg{other}, name the column temperature_{other.lower()}"
    return Column(names[0], low, high, unit, f"a temperature as {17.5 if is_celsius else 63.5}", hint)
