"""Recorded files of temperature and weather: clocks, questions they raise, and what is read from them."""

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
from stocksim.site.records import FAULTS_LISTED, NO_ZONE, Column, Records, Table, read_once

IntArray = NDArray[np.int64]


def on_site_clock(records: Records, utc_offset_h: float | None) -> tuple[IntArray, list[str], list[str]]:
    """Moments of records on the standard clock of the site.

    Parameters
    ----------
    records : Records
        As read.
    utc_offset_h : float or None
        How far the site's standard clock is ahead of UTC, where the site file tells. [h]

    Returns
    -------
    second : ndarray of int, shape (rows,)
        Seconds from 1970 on that clock. [s]
    notes, faults : list of str
        What was done with zones, and what cannot be used; sentences that go on from the file's name.

    Notes
    -----
    Times without a zone are taken as written. Times with zones go to the site's clock; where that is not told, to the
    zone of the file if it is a single one other than UTC, or to the earlier of two zones an hour apart, which is
    standard time.
    """
    zones = [int(zone) for zone in np.unique(records.zone)]
    if zones in ([], [NO_ZONE]):
        return records.second, [], []
    if NO_ZONE in zones:
        line = int(records.line[records.zone == NO_ZONE][0])
        return records.second, [], [f"line {line}: has a time without a zone where others have one; write all alike."]
    if utc_offset_h is not None:
        clock = round(60.0 * utc_offset_h)
        note = f"times are brought from their zone to the site's clock, {_zone(clock)} (site.utc_offset)."
    elif len(zones) == 1 and zones[0] != 0:
        clock = zones[0]
        note = f"times are in the zone {_zone(clock)}, which is taken as the site's clock."
    elif len(zones) == 2 and zones[1] - zones[0] == 60:
        clock = zones[0]
        note = f"times in summer time are brought to standard time, {_zone(clock)}."
    elif zones == [0]:
        return records.second, [], [_UTC]
    else:
        named = ", ".join(_zone(zone) for zone in zones[:3])
        return records.second, [], [f"has times of {len(zones)} zones ({named}); {_UTC_OFFSET}"]
    return records.second + 60 * (clock - records.zone.astype(np.int64)), [note], []


_UTC_OFFSET = "write utc_offset under [site], the hours that your standard clock is ahead of UTC, as utc_offset = -8."
_UTC = f"has its times in UTC; {_UTC_OFFSET}"


def _zone(minutes: int) -> str:
    sign = "-" if minutes < 0 else "+"
    return f"UTC{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


# --- questions to recorded temperatures that can be read and hardly be right: unit, season, jumps, a stuck sensor

FloatArray = NDArray[np.float64]

# All bounds here are our choice: wide enough that no sound record we know of is asked about.
WARM_WATER_C = 33.0  # few keep any fish warmer on average
WATER_JUMP_C = 5.0  # between the means of two days that follow each other
WATER_SPREAD_C = 10.0  # between the readings of one day
STUCK_DAYS, STUCK_DAYS_BY_HAND = 7, 45  # the same mean for so long, of several readings a day or of fewer
STUCK_AIR_DAYS = 4  # the same low and high
AIR_JUMP_C = 22.0
CLEAR_SKY_SHARE = 1.25  # of a clear sky's sun, on average
FAR_BEYOND_C = 8.0
_SEVERAL = 4
_LEAST_DAYS = 10  # of a month, for its mean to be judged


def water_questions(
    ordinal: IntArray, mean_c: FloatArray, spread_c: FloatArray, count: IntArray, unit: str
) -> list[str]:
    """Questions to a log of water.

    Parameters
    ----------
    ordinal : ndarray of int, shape (days,)
        Days with a reading, in order, as `datetime.date.toordinal` counts.
    mean_c, spread_c : ndarray, shape (days,)
        Mean of each day's readings, and highest less lowest. [degC]
    count : ndarray of int, shape (days,)
        Readings of each day.
    unit : str
        Unit in which it was written.

    Returns
    -------
    list of str
        A sentence each.
    """
    asked = []
    overall = float(mean_c.mean())
    if unit == "degC" and overall > WARM_WATER_C:
        asked.append(f"water is {overall:.1f} degC on average, warmer than nearly all fish are kept; is it degF?")
    if overall < 0.0:
        other = " in degC" if unit == "degF" else ""
        asked.append(f"water is {overall:.1f} degC on average, below freezing; was it logged{other} outdoors?")
    step = np.abs(np.diff(mean_c))
    jumps = np.flatnonzero((np.diff(ordinal) == 1) & (step > WATER_JUMP_C))
    if len(jumps):
        worst = jumps[step[jumps].argmax()]
        asked.append(
            f"water moves by {step[worst]:.1f} degC from {_day(ordinal[worst])} to {_day(ordinal[worst + 1])}"
            f"{_besides(len(jumps))}; was the sensor out of the water?"
        )
    wide = np.flatnonzero(spread_c > WATER_SPREAD_C)
    if len(wide):
        worst = wide[spread_c[wide].argmax()]
        asked.append(
            f"readings of {_day(ordinal[worst])} are {spread_c[worst]:.1f} degC apart{_besides(len(wide))}; "
            "is one of them a slip?"
        )
    often = float(np.median(count)) >= _SEVERAL
    first, length = longest_run(mean_c)
    if length >= (STUCK_DAYS if often else STUCK_DAYS_BY_HAND):
        asked.append(
            f"water is the same, {mean_c[first]:.2f} degC, for {length} days from {_day(ordinal[first])}; "
            "is the sensor stuck?"
        )
    return asked


def air_bounds(latitude: float, month: IntArray | int) -> tuple[FloatArray, FloatArray]:
    """Coldest and warmest mean of a month outdoors that is taken without a question. [degC]

    Parameters
    ----------
    latitude : float
        North positive. [degree]
    month : int or ndarray of int, shape (...)
        1 to 12.

    Returns
    -------
    tuple of ndarray, shape (...)
        Low and high. [degC]

    Notes
    -----
    Our choice, drawn wide about what is known of the earth's climates: in midwinter from 5 - 0.8 x latitude to
    33 - 0.4 x latitude, in midsummer from 0 (of high mountains) to 40, less 0.4 for each degree beyond 35; a cosine
    between. At 45 degrees that is -31 to 15 in January and 0 to 36 in July.
    """
    away = abs(latitude)
    shift = 7 if latitude >= 0.0 else 1
    summer = 0.5 + 0.5 * np.cos(2.0 * np.pi * (np.asarray(month) - shift) / 12.0)
    low_winter, high_winter = min(5.0 - 0.8 * away, 0.0), 33.0 - 0.4 * away
    low_summer, high_summer = (0.0 if away < 60.0 else -0.8 * (away - 60.0)), 40.0 - 0.4 * max(away - 35.0, 0.0)
    low = low_winter + (low_summer - low_winter) * summer
    high = high_winter + (high_summer - high_winter) * summer
    return np.asarray(low), np.asarray(high)


def weather_questions(
    latitude: float, start: dt.date, low_c: FloatArray, high_c: FloatArray, unit: str
) -> tuple[list[str], list[str]]:
    """Questions to recorded weather, and what is refused.

    Parameters
    ----------
    latitude : float
        North positive. [degree]
    start : date
        First day.
    low_c, high_c : ndarray, shape (days,)
        Lows and highs. [degC]
    unit : str
        Unit in which they were written, degC or degF.

    Returns
    -------
    questions, faults : list of str
        Sentences that go on from the file's name. A fault only where half of the months or more lie far beyond what the
        latitude can have and the other unit would fit.
    """
    days = np.datetime64(start, "D") + np.arange(len(low_c))
    months, which = np.unique(days.astype("datetime64[M]"), return_inverse=True)
    number = months.astype(np.int64) % 12 + 1
    count = np.bincount(which)
    mean = np.bincount(which, weights=0.5 * (low_c + high_c)) / count
    bounds = air_bounds(latitude, number)
    beyond = np.maximum(mean - bounds[1], bounds[0] - mean)
    beyond[count < _LEAST_DAYS] = 0.0
    asked: list[str] = []
    if (beyond > 0.0).any():
        worst = int(beyond.argmax())
        other, as_read = ("degF", (mean - 32.0) / 1.8) if unit == "degC" else ("degC", mean * 1.8 + 32.0)
        fits = bool(((as_read >= bounds[0]) & (as_read <= bounds[1])).all())
        told = (
            f"gives {_month(months[worst])} a mean of {mean[worst]:.0f} degC, which latitude {latitude:g} hardly has "
            f"({bounds[0][worst]:.0f} to {bounds[1][worst]:.0f})"
        )
        if fits and (beyond > FAR_BEYOND_C).sum() >= 0.5 * (count >= _LEAST_DAYS).sum():
            return [], [f"{told}; its header says {unit}, so if it is {other} name the columns _{other[-1].lower()}."]
        asked.append(f"{told}; is it {other}, or another place?" if fits else f"{told}; is it another place?")
    mid = 0.5 * (low_c + high_c)
    step = np.abs(np.diff(mid))
    if len(step) and step.max() > AIR_JUMP_C:
        worst = int(step.argmax())
        asked.append(
            f"moves by {step[worst]:.0f} degC from {days[worst]} to {days[worst + 1]}"
            f"{_besides(int((step > AIR_JUMP_C).sum()))}; is one of them a slip?"
        )
    first, length = longest_run(low_c + 1000.0 * high_c)
    if length >= STUCK_AIR_DAYS:
        asked.append(f"has the same low and high for {length} days from {days[first]}; was something not recorded?")
    return asked, []


def sun_questions(sun_kwh_m2: FloatArray, clear_kwh_m2: FloatArray) -> list[str]:
    """Questions to recorded sun, shape (days,), against that of a clear sky. [kWh/m2]"""
    share = float(sun_kwh_m2.sum() / max(float(clear_kwh_m2.sum()), 1e-9))
    if share > CLEAR_SKY_SHARE:
        return [f"has {share:.1f} times the sun of a clear sky; is it in MJ (one kWh is 3.6 MJ) or another unit?"]
    return []


def longest_run(values: FloatArray) -> tuple[int, int]:
    """First index and length of the longest run of equal values."""
    edges = np.flatnonzero(np.concatenate([[True], np.abs(np.diff(values)) > 1e-9, [True]]))
    lengths = np.diff(edges)
    longest = int(lengths.argmax())
    return int(edges[longest]), int(lengths[longest])


def _besides(count: int) -> str:
    return f" (and {count - 1} time{'s' * (count > 2)} more)" if count > 1 else ""


def _day(ordinal: int) -> str:
    return dt.date.fromordinal(int(ordinal)).isoformat()


def _month(month: np.datetime64) -> str:
    return month.astype(dt.date).strftime("%b %Y")


# --- the keeper's log of water temperature: a CSV file to a mean a day


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
    ordinal, mean, spread, count = by_day(second, records.values[column.name])
    if column.unit == "degF":
        mean, spread = (mean - 32.0) * 5.0 / 9.0, spread * 5.0 / 9.0
    notes += water_questions(ordinal, mean, spread, count, column.unit)
    said = tuple(f"{path.name}: {note}" for note in notes)
    return TemperatureLog([dt.date.fromordinal(int(day)) for day in ordinal], mean, said)


def by_day(second: IntArray, value: FloatArray) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:
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


# --- weather that was recorded: a CSV by the day or by the hour, gaps bridged or refused


LONGEST_GAP_HOURS = 6  # bridged by a straight line; our choice, no source
_AIR_LOW_C, _AIR_HIGH_C = -70.0, 60.0
_KNOWN = ("date", "time", "low_c", "high_c", "low_f", "high_f", "temperature_c", "temperature_f")
_SUN = {
    "sun_kwh_m2": Column("sun_kwh_m2", 0.0, 15.0, "kWh/m2", "the day's sun as 2.4"),
    "sun_w_m2": Column("sun_w_m2", 0.0, 1500.0, "W/m2", "the hour's sun as 310"),
}
_HOUR_S = 3600


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
    return read_once(path, _read_weather, start, days, utc_offset_h)


def weather_file_has_sun(path: Path) -> bool:
    """Whether a weather file has a column of sun; False where it cannot be read."""
    try:
        with open_regular(path) as file:
            return bool(set(Table(file, path.name, _KNOWN).header) & set(_SUN))
    except InputError:
        return False


def _read_weather(path: Path, start: dt.date, days: int, utc_offset_h: float | None) -> Record:
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
        return _weather_by_day(path, records, celsius[0], celsius[1], light, start, days)._replace(unit=unit)
    second, notes, faults = on_site_clock(records, utc_offset_h)
    if faults:
        raise _refused(path, faults)
    record = _by_hour(path, second, celsius[0], light, start, days)
    return record._replace(unit=unit, notes=(*(f"weather.file: {path.name} {note}" for note in notes), *record.notes))


def _weather_by_day(
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
