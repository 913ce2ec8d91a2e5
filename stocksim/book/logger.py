"""Files of temperature loggers, as each maker writes them: a record a day, what is odd told, nothing guessed.

Apart from `sheets`, which reads tables whose columns are known.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stocksim.book.sheets import MOST_BYTES, read_number
from stocksim.book.store import Record
from stocksim.errors import Fault, InputError, shown
from stocksim.opening import read_regular
from stocksim.site.logs import by_day, on_site_clock, water_questions
from stocksim.site.records import NO_ZONE, Records

_CUTS = (";", "\t", "|", ",")
_LOOKED_AT = 400  # lines by which delimiter and columns are told
_CELSIUS = re.compile(r"(?:°|º|deg|_|\(|\[|\s)\s*c\b|celsius", re.IGNORECASE)
_FAHRENHEIT = re.compile(r"(?:°|º|deg|_|\(|\[|\s)\s*f\b|fahrenheit", re.IGNORECASE)
_WARMTH = re.compile(r"temp|°|celsius|fahrenheit|deg\s?[cf]\b", re.IGNORECASE)
_ZONE = re.compile(r"(?:UTC|GMT)\s*([+-]\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)
_DATE = re.compile(
    r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})"
    r"(?:[T ,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{2}:?\d{2})?)?"
)
_HOUR = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?\s*(?:[AaPp]\.?[Mm]\.?)?")
# A reading this far from the middle one of its five neighbours is a spike (assumed): water of a tank moves by
# tenths of a degree between two readings.
SPIKE_C = 3.0
_GAP_HOURS = 6  # without a reading that is told (assumed)
_WHOLE_DAY_SHARE = 0.5  # of the usual readings; a day with fewer is told
_EPOCH = dt.datetime(1970, 1, 1)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Asked:
    """What the keeper may tell of a file where it does not tell by itself.

    Parameters
    ----------
    of : str
        What the water is of, as ``tanks.first``.
    unit : str
        ``degC`` or ``degF``.
    column : str
        Name of the column of temperatures.
    dates : str
        ``day-first`` or ``month-first``.
    """

    of: str
    unit: str = ""
    column: str = ""
    dates: str = ""


def read_logger(path: Path, asked: Asked, utc_offset_h: float | None = None) -> tuple[list[Record], list[str]]:
    """Records of a logger's file, one a day, and what was done or is odd.

    Parameters
    ----------
    path : Path
        CSV with any delimiter, lines before the header, decimal comma or point, dates in any order that can be told.
    asked : Asked
        What it is of, and what the file does not tell.
    utc_offset_h : float, optional
        How far the site's clock is ahead of UTC. [h]

    Raises
    ------
    InputError
        Where unit, column or the order of dates cannot be told, or a row cannot be read.
    """
    rows, header = _split(_text(path), path.name)
    moments = _Moments(rows, asked.dates, path.name)
    column = _column(rows, header, moments.places, asked, path.name)
    unit = _unit(header, column, asked, path.name)
    zone = _zone(header)
    line, second, zones, value = _readings(rows, moments, column, zone, path.name)
    second, notes, faults = on_site_clock(Records(line, second, zones, {}), utc_offset_h)
    if faults and set(zones.tolist()) == {0}:
        faults, notes = [], ["times are in UTC, so days are cut there at midnight; site.utc_offset moves them."]
    if faults:
        raise InputError([Fault("", "", fault, path.name) for fault in faults])
    order = np.argsort(second, kind="stable")
    second, value = second[order], value[order]
    if unit == "degF":
        value = (value - 32.0) / 1.8
    low, high = value.min(), value.max()
    if low < -2.0 or high > 60.0:
        worst = low if low < -2.0 else high
        message = f"has a reading of {worst:.1f} degC; is it in another unit or another column?"
        raise InputError([Fault("", "", message, path.name)])
    spikes = _spikes(value)
    notes += _told_gaps(second) + _told_spikes(second, value, spikes)
    ordinal, mean, spread, count = by_day(second[~spikes], value[~spikes])
    notes += water_questions(ordinal, mean, spread, count, unit)
    notes += _told_short_days(ordinal, count)
    lowest = np.minimum.reduceat(value[~spikes], np.append(0, np.cumsum(count)[:-1]))
    records = [
        Record("temperature", dt.date.fromordinal(int(day)), asked.of,
               {"temperature_c": round(float(middle), 3), "lowest_c": round(float(least), 3),
                "highest_c": round(float(least + range_c), 3), "readings": float(number)}, source=path.name)
        for day, middle, least, range_c, number in zip(ordinal, mean, lowest, spread, count, strict=True)
    ]  # fmt: skip
    return records, [f"{path.name}: {note}" for note in notes]


def _text(path: Path) -> str:
    data = read_regular(path, MOST_BYTES)
    for code in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return data.decode(code)
        except UnicodeDecodeError:
            continue
    raise InputError([Fault("", "", "is no text; give the CSV file that the logger's program writes.", path.name)])


Rows = list[tuple[int, list[str]]]


def _split(text: str, name: str) -> tuple[Rows, list[str]]:
    """Rows that begin with or hold a date, each with its line, and the cells of the line before them."""
    lines = text.splitlines()
    best: tuple[int, int, str] = (0, 0, "")
    for place, cut in enumerate(_CUTS):
        cells = [_cells(line, cut) for line in lines[:_LOOKED_AT]]
        widths = Counter(len(row) for row in cells if len(row) > 1 and _dated(row))
        if widths and (found := widths.most_common(1)[0][1]) > best[0]:
            best = (found, -place, cut)
    if not best[0]:
        raise InputError([Fault("", "", "holds no line with a date and a reading beside it.", name)])
    every = [(number, _cells(line, best[2])) for number, line in enumerate(lines, 1) if line.strip()]
    first = next(at for at, (_, row) in enumerate(every) if len(row) > 1 and _dated(row))
    header = [cell.strip() for cell in every[first - 1][1]] if first else []
    return every[first:], header


def _cells(line: str, cut: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader(io.StringIO(line), delimiter=cut), [])]


def _dated(row: list[str]) -> bool:
    return any(_DATE.fullmatch(cell) for cell in row)


class _Moments:
    """How a file writes its times: in which column, and in which order day, month and year stand."""

    def __init__(self, rows: Rows, dates: str, name: str):
        self.name = name
        first = next(row for _, row in rows if _dated(row))
        date = next(at for at, cell in enumerate(first) if _DATE.fullmatch(cell))
        has_hour = ":" in first[date]
        hour = next((at for at, cell in enumerate(first) if at != date and _HOUR.fullmatch(cell)), None)
        self.places = (date,) if has_hour or hour is None else (date, hour)
        found = [_DATE.fullmatch(row[date]) for _, row in rows if len(row) > date]
        parts = [(match[1], match[2], match[3]) for match in found if match and len(match[1]) < 3]
        self.day_first = True
        if parts:
            self.day_first = self._order(parts, dates)

    def _order(self, parts: list[tuple[str, str, str]], dates: str) -> bool:
        day_first = any(int(first) > 12 for first, _, _ in parts)
        month_first = any(int(second) > 12 for _, _, second in parts)
        if day_first and month_first:
            raise InputError(
                [Fault("", "", "has dates with the day first and others with the month first.", self.name)]
            )
        if day_first or month_first:
            return day_first
        if dates:
            return dates == "day-first"
        if all(sign == "." for _, sign, _ in parts):
            return True  # nobody writes months first with points
        message = f"has dates as {parts[0][0]}/{parts[0][2]} that may be either; add --dates day-first or month-first."
        raise InputError([Fault("", "", message, self.name)])

    def read(self, row: list[str], zone: int) -> tuple[int, int] | None:
        """Seconds from 1970 on the clock as written, and its zone [minute]; None where it cannot be read."""
        if max(self.places) >= len(row):
            return None
        match = _DATE.fullmatch(" ".join(row[at] for at in self.places))
        if match is None:
            return None
        a, b, c = int(match[1]), int(match[3]), int(match[4])
        year, month, day = (a, b, c) if len(match[1]) > 2 else (c, b, a) if self.day_first else (c, a, b)
        hour = int(match[5] or 0)
        if match[8]:
            hour = hour % 12 + 12 * (match[8][0] in "pP")
        try:
            when = dt.datetime(year + 2000 * (year < 100), month, day, hour, int(match[6] or 0), int(match[7] or 0))
        except ValueError:
            return None
        if match[9]:
            digits = match[9].replace(":", "")
            zone = 0 if digits == "Z" else (1 if digits[0] == "+" else -1) * (60 * int(digits[1:3]) + int(digits[3:5]))
        return round((when - _EPOCH).total_seconds()), zone


def _column(rows: Rows, header: list[str], taken: tuple[int, ...], asked: Asked, name: str) -> int:
    """Column of the temperatures."""
    if asked.column:
        at = [place for place, cell in enumerate(header) if cell.lower() == asked.column.strip().lower()]
        if len(at) != 1:
            message = f"--column {shown(asked.column)} is not one of its columns; there are {', '.join(header)}."
            raise InputError([Fault("", "", message, name)])
        return at[0]
    looked = [row for _, row in rows[:_LOOKED_AT]]
    width = max(len(row) for row in looked)
    half = len(looked) / 2
    numeric = [
        at for at in range(width)
        if at not in taken and sum(at < len(row) and read_number(row[at]) is not None for row in looked) > half
    ]  # fmt: skip
    warm = [at for at in numeric if at < len(header) and _WARMTH.search(header[at])]
    chosen = warm or numeric
    if len(chosen) == 1:
        return chosen[0]
    if not chosen:
        raise InputError([Fault("", "", "has no column of readings beside its dates.", name)])
    names = [header[at] if at < len(header) else f"column {at + 1}" for at in chosen]
    message = f"has {len(chosen)} columns that may be the temperature ({', '.join(names)}); name one with --column."
    raise InputError([Fault("", "", message, name)])


def _unit(header: list[str], column: int, asked: Asked, name: str) -> str:
    cell = f" {header[column]}" if column < len(header) else ""
    told = {"degC": _CELSIUS, "degF": _FAHRENHEIT}
    units = [unit for unit, sign in told.items() if sign.search(cell)]
    if asked.unit and units and units != [asked.unit]:
        message = f"has {units[0]} in its header, but --unit says {asked.unit}."
        raise InputError([Fault("", "", message, name)])
    if asked.unit or len(units) == 1:
        return asked.unit or units[0]
    raise InputError([Fault("", "", "does not tell the unit of its readings; add --unit degC or degF.", name)])


def _zone(header: list[str]) -> int:
    """Zone that the header tells, as of a column Date/Time GMT+02:00. [minute]"""
    found = _ZONE.search(" ".join(header))
    if not found:
        return NO_ZONE
    hours = int(found[1])
    return 60 * hours + (-1 if hours < 0 else 1) * int(found[2] or 0)


def _readings(
    rows: Rows, moments: _Moments, column: int, zone: int, name: str
) -> tuple[NDArray[np.int32], NDArray[np.int64], NDArray[np.int16], FloatArray]:
    """Line, second, zone and value of every row that has a reading; empty cells and lines without a date are gaps."""
    found: list[tuple[int, int, int, float]] = []
    wrong: list[Fault] = []
    for number, row in rows:
        when = moments.read(row, zone)
        cell = row[column] if column < len(row) else ""
        if when is None:
            if _dated(row):
                wrong.append(Fault(f"line {number}", "", f"{shown(' '.join(row))} has a date that is none.", name))
            continue  # a marker of the logger's program, or its last words
        value = read_number(cell)
        if value is not None:
            found.append((number, *when, value))
        elif re.search(r"\d", cell):
            wrong.append(Fault(f"line {number}", "", f"{shown(cell)} is not a number.", name))
    if wrong:
        more = [Fault("", "", f"and {len(wrong) - 5} more.", name)] if len(wrong) > 5 else []
        raise InputError(wrong[:5] + more)
    if not found:
        raise InputError([Fault("", "", "holds no reading.", name)])
    line, second, zones, value_ = zip(*found, strict=True)
    return np.array(line, np.int32), np.array(second, np.int64), np.array(zones, np.int16), np.array(value_, float)


def _spikes(value: FloatArray) -> NDArray[np.bool_]:
    """Readings far from the middle one of the five about them."""
    if len(value) < 5:
        return np.zeros(len(value), bool)
    padded = np.pad(value, 2, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    return np.asarray(np.abs(value - middle) > SPIKE_C)


def _told_spikes(second: NDArray[np.int64], value: FloatArray, spikes: NDArray[np.bool_]) -> list[str]:
    if not spikes.any():
        return []
    worst = np.flatnonzero(spikes)[0]
    number = int(spikes.sum())
    return [
        f"{number} reading{'s' * (number > 1)} that jumped by more than {SPIKE_C:g} degC and back left out, first "
        f"{value[worst]:.1f} degC on {_when(second[worst])}; was the sensor out of the water?"
    ]


def _told_gaps(second: NDArray[np.int64]) -> list[str]:
    step = np.diff(second)
    gaps = np.flatnonzero(step > max(3600 * _GAP_HOURS, 3 * float(np.median(step)) if len(step) else 0.0))
    if not len(gaps):
        return []
    longest = gaps[step[gaps].argmax()]
    return [
        f"has {len(gaps)} gap{'s' * (len(gaps) > 1)}, the longest of {step[longest] / 3600:.0f} hours from "
        f"{_when(second[longest])}; days without a reading get none."
    ]


def _told_short_days(ordinal: NDArray[np.int64], count: NDArray[np.int64]) -> list[str]:
    few = np.flatnonzero(count < _WHOLE_DAY_SHARE * np.median(count))
    inner = [at for at in few if 0 < at < len(count) - 1]
    if not inner:
        return []
    first = dt.date.fromordinal(int(ordinal[inner[0]]))
    return [f"{len(inner)} day{'s' * (len(inner) > 1)} from {first} on have less than half of the usual readings."]


def _when(second: int) -> str:
    return (_EPOCH + dt.timedelta(seconds=int(second))).isoformat(" ", "minutes")
