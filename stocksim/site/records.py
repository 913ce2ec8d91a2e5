"""Tables of readings read from files, once for each state of the file."""

from __future__ import annotations

import csv
import datetime as dt
import math
import os
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from stocksim.errors import Fault, InputError

Read = TypeVar("Read")

_MOST_KEPT = 8
# some file systems' clocks are this coarse: a file changed so shortly before it was read may change once more unseen
_COARSE_S = 3.0
_KEPT: dict[tuple[Any, ...], tuple[tuple[int, ...], Any]] = {}
_KEEPING = threading.Lock()


def read_once(path: Path, read: Callable[..., Read], *more: object) -> Read:
    """What ``read(path, *more)`` gives, from memory where the file is as it was.

    Parameters
    ----------
    path : Path
        The file.
    read : callable
        Reads it; what it gives must not be changed by whoever gets it.
    more : hashable
        Further arguments.

    Returns
    -------
    object
        What was read. A refusal is raised and not kept.
    """
    try:
        key, before = (read, os.path.realpath(path), *more), _stamp(path)
    except (OSError, ValueError):
        return read(path, *more)
    with _KEEPING:
        kept = _KEPT.get(key)
    if kept is not None and kept[0] == before:
        return kept[1]
    found = read(path, *more)
    if time.time() - max(before[1], before[2]) / 1e9 > _COARSE_S and _stamp(path) == before:
        with _KEEPING:
            _KEPT.pop(key, None)
            while len(_KEPT) >= _MOST_KEPT:
                _KEPT.pop(next(iter(_KEPT)))
            _KEPT[key] = (before, found)
    return found


def _stamp(path: Path) -> tuple[int, ...]:
    status = os.stat(path)
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino, status.st_dev


# --- dated readings in a CSV file: read in blocks, so that ten years by five minutes cost a second and little memory

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NO_ZONE = 32_000  # where a time carries no zone; no zone is so far from UTC
FAULTS_LISTED = 5
_MOST_FAULTS = 1000  # a file with more is not read to its end
_BLOCK = 1 << 18
_LONGEST_LINE = 1 << 16
_MOST_DIGITS = 15  # a number of so many digits is exact before its division by a power of ten
_EPOCH = dt.datetime(1970, 1, 1)
_SEPARATORS = (",", ";", "\t")


class Column(NamedTuple):
    """A column of numbers: its name in the header, the range allowed in its own unit, and words for a fault.

    ``example`` is a number as it may be written; ``hint`` tells more of a number outside the range.
    """

    name: str
    low: float
    high: float
    unit: str
    example: str
    hint: str = "check the reading and the unit in the header"


class Records(NamedTuple):
    """Rows of a file in their order, arrays of shape (rows,).

    ``line`` is the line a row stands on; ``second`` its moment as written, in seconds from 1970 on its own clock;
    ``zone`` how far that clock is ahead of UTC [minute], `NO_ZONE` where it is not told; ``values`` the columns asked
    for.
    """

    line: NDArray[np.int32]
    second: IntArray
    zone: NDArray[np.int16]
    values: dict[str, FloatArray]


class Table:
    """A CSV file with a header: columns apart by commas, or by semicolons or tabs with a decimal comma or point.

    Parameters
    ----------
    file : BinaryIO
        Open for reading.
    name : str
        Its name, for messages.
    known : sequence of str
        Names of which a header has at least one.

    Raises
    ------
    InputError
        If it is empty, no UTF-8 text, or its first line names none of the columns known. What is not understood is not
        repeated: it may be any file.
    """

    def __init__(self, file: BinaryIO, name: str, known: Sequence[str]):
        self.name = name
        self._file, self._rest, self._line = file, b"", 0
        self._faults: list[str] = []
        self._fault_count = 0
        self._decimal = ""
        self.separator, self.header = self._read_header(known)

    def refused(self, message: str) -> InputError:
        """A fault of the whole file; the message goes on from its name."""
        return InputError([Fault("", "", message, self.name)])

    def fault(self, message: str) -> None:
        """Note a fault of a line; reading goes on, so that several are told at once."""
        self._fault_count += 1
        if len(self._faults) < FAULTS_LISTED:
            self._faults.append(message)

    def raise_faults(self) -> None:
        """Raise what was noted: five sentences, and how many more."""
        if self._fault_count:
            shown, more = list(self._faults), self._fault_count - len(self._faults)
            if more:
                shown.append(f"and {more} more.")
            raise InputError([Fault("", "", message, self.name) for message in shown])

    def read(self, moment: str, columns: Sequence[Column]) -> Records:
        """All rows below the header.

        Parameters
        ----------
        moment : str
            Column of dates or times.
        columns : sequence of Column
            Columns of numbers; others are left alone.

        Returns
        -------
        Records
            Rows in their order.

        Raises
        ------
        InputError
            With up to five faults, each with its line, and the number of further ones.
        """
        kept = _Kept(columns)
        blocks = self._blocks()
        for first, block in blocks:
            if b'"' in block:  # a quoted cell may run over lines: the rest goes row by row
                kept.add(self._slow(_lines(self, block, blocks), first, moment, columns))
                break
            found = self._quick(block, first, moment, columns)
            kept.add(found or self._slow(_lines(self, block, iter(())), first, moment, columns))
            if self._fault_count > _MOST_FAULTS:
                break
        self.raise_faults()
        return kept.records()

    # --- lines

    def _read_header(self, known: Sequence[str]) -> tuple[str, list[str]]:
        while True:
            line = self._next_line()
            if line is None:
                raise self.refused("is empty; its first line must name the columns.")
            text = _text(self, line).removeprefix("\ufeff")
            if text.strip(" \n,;\t"):
                break
        for separator in _SEPARATORS:
            try:
                (cells,) = csv.reader([text], delimiter=separator, strict=True)
            except csv.Error as error:
                raise self.refused("is no table: its first line cannot be split into columns.") from error
            names = [cell.strip().lower() for cell in cells]
            while names and not names[-1]:
                names.pop()
            if set(names) & set(known):
                return separator, names
        raise self.refused(f"does not begin with the names of its columns; its first line must hold {_either(known)}.")

    def _next_line(self) -> bytes | None:
        while b"\n" not in self._rest:
            more = self._file.read(_BLOCK)
            if not more:
                break
            self._rest = _newlines(self._rest + more)
            if b"\n" not in self._rest and len(self._rest) > _LONGEST_LINE:
                raise self.refused("is no table of readings: its lines are too long.")
        line, end, rest = self._rest.partition(b"\n")
        if not line and not end:
            return None
        self._rest = rest
        self._line += 1
        return line + b"\n"

    def _blocks(self) -> Iterator[tuple[int, bytes]]:
        """Whole lines, some 256 kB at a time, with the number of lines before them."""
        ended = False
        while not ended:
            more = self._file.read(_BLOCK)
            ended = not more
            data = self._rest + more
            if ended and data and not data.endswith(b"\n"):
                data += b"\n"
            data = _newlines(data)
            cut = data.rfind(b"\n") + 1
            block, self._rest = data[:cut], data[cut:]
            if len(self._rest) > _LONGEST_LINE:
                raise self.refused("is no table of readings: its lines are too long.")
            if block:
                yield self._line, block
                self._line += block.count(b"\n")

    # --- rows, a block at once where it is plain

    def _quick(self, block: bytes, before: int, moment: str, columns: Sequence[Column]) -> Records | None:
        """A block of plain rows, each like the other; None where any is not, or holds a fault."""
        data = np.frombuffer(block, dtype=np.uint8)
        ends = np.flatnonzero(data == ord("\n"))
        cuts = np.flatnonzero(data == ord(self.separator))
        width = len(self.header)
        if len(cuts) != len(ends) * (width - 1) or not block.isascii():
            return None
        starts = np.concatenate([[0], ends[:-1] + 1])
        edges = np.column_stack([starts - 1, cuts.reshape(len(ends), width - 1), ends])
        if (np.diff(edges, axis=1) < 1).any():  # a row with more and one with fewer cells
            return None
        when = _plain_moments(data, *_trimmed(data, edges, self.header.index(moment)))
        if when is None:
            return None
        values = {}
        comma = None if self.separator == "," else ord(",")
        for column in columns:
            found = _plain_numbers(data, *_trimmed(data, edges, self.header.index(column.name)), comma)
            if found is None:
                return None
            numbers, decimal = found
            if decimal and self._decimal not in ("", decimal):
                return None
            if not ((numbers >= column.low) & (numbers <= column.high)).all():
                return None
            self._decimal = decimal or self._decimal
            values[column.name] = numbers
        return Records(np.arange(before + 1, before + 1 + len(ends), dtype=np.int32), *when, values)

    def _slow(self, lines: Iterator[str], before: int, moment: str, columns: Sequence[Column]) -> Records:
        """Rows one by one, their faults noted."""
        reader = csv.reader(lines, delimiter=self.separator, strict=True)
        at, places = self.header.index(moment), [self.header.index(column.name) for column in columns]
        rows: list[tuple[int, int, int, list[float]]] = []
        try:
            for row in reader:
                if not any(cell.strip() for cell in row):
                    continue
                number = before + reader.line_num
                if self._is_uneven(row, number):
                    continue
                when = self._moment(row[at].strip(), number)
                found = [self._number(row[place].strip(), column, number)
                         for place, column in zip(places, columns, strict=True)]  # fmt: skip
                values = [value for value in found if value is not None]
                if when is not None and len(values) == len(columns):
                    rows.append((number, *when, values))
                if self._fault_count > _MOST_FAULTS:
                    break
        except csv.Error as error:
            self.fault(f"line {before + reader.line_num}: cannot be split into columns ({error}).")
        table = np.array([row[3] for row in rows], dtype=float).reshape(len(rows), len(columns))
        return Records(
            np.array([row[0] for row in rows], dtype=np.int32), np.array([row[1] for row in rows], dtype=np.int64),
            np.array([row[2] for row in rows], dtype=np.int16),
            {column.name: table[:, k] for k, column in enumerate(columns)},
        )  # fmt: skip

    def _is_uneven(self, row: list[str], number: int) -> bool:
        width = len(self.header)
        if len(row) >= width and not any(cell.strip() for cell in row[width:]):
            return False
        more = "a decimal comma makes two cells of a number, so write 16.5 with a point" if len(row) > width else ""
        self.fault(
            f"line {number}: has {len(row)} cell{'s' * (len(row) != 1)} but the header {width}; "
            f"{more or 'give each column its cell, an empty one where nothing was read'}."
        )
        return True

    def _moment(self, cell: str, number: int) -> tuple[int, int] | None:
        try:
            when = dt.datetime.fromisoformat(cell)
        except ValueError:
            self.fault(f"line {number}: {_shown(cell)} is not a date; write it as 2026-10-31 or 2026-10-31T14:00.")
            return None
        zone = when.utcoffset()
        seconds = round((when.replace(tzinfo=None) - _EPOCH).total_seconds())
        return seconds, NO_ZONE if zone is None else round(zone.total_seconds() / 60.0)

    def _number(self, cell: str, column: Column, number: int) -> float | None:
        text = cell
        decimal = "," if "," in cell else "." if "." in cell else ""
        if self.separator != "," and decimal:
            if self._decimal not in ("", decimal):
                self.fault(
                    f"line {number}: {_shown(cell)} has a decimal {'comma' if decimal == ',' else 'point'} where "
                    "earlier lines have the other; write all alike."
                )
                return None
            self._decimal = decimal
            text = cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell
        try:
            value = float(text) if "_" not in text else math.nan
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            self.fault(f"line {number}: {_shown(cell)} is not a number; write {column.example}.")
            return None
        if not column.low <= value <= column.high:
            self.fault(
                f"line {number}: {cell} {column.unit} is outside {column.low:g} to {column.high:g} {column.unit}; "
                f"{column.hint}."
            )
            return None
        return value


class _Kept:
    """Rows as they come: bytes that grow, so that no array stands twice."""

    def __init__(self, columns: Sequence[Column]):
        self._line, self._second, self._zone = bytearray(), bytearray(), bytearray()
        self._values = {column.name: bytearray() for column in columns}

    def add(self, rows: Records) -> None:
        self._line += rows.line.tobytes()
        self._second += rows.second.tobytes()
        self._zone += rows.zone.tobytes()
        for name, values in rows.values.items():
            self._values[name] += np.ascontiguousarray(values).tobytes()

    def records(self) -> Records:
        return Records(
            np.frombuffer(self._line, dtype=np.int32),
            np.frombuffer(self._second, dtype=np.int64),
            np.frombuffer(self._zone, dtype=np.int16),
            {name: np.frombuffer(values, dtype=np.float64) for name, values in self._values.items()},
        )


def _newlines(data: bytes) -> bytes:
    """Line ends of all systems as one; a carriage return at the end waits for what follows it."""
    if b"\r" not in data:
        return data
    last = b"\r" if data.endswith(b"\r") else b""
    return data[: len(data) - len(last)].replace(b"\r\n", b"\n").replace(b"\r", b"\n") + last


def _text(table: Table, data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise table.refused("is not UTF-8 text; save it as CSV UTF-8.") from error


def _lines(table: Table, block: bytes, rest: Iterator[tuple[int, bytes]]) -> Iterator[str]:
    while True:
        for line in _text(table, block).split("\n")[:-1]:
            yield line + "\n"
        try:
            _, block = next(rest)
        except StopIteration:
            return


def _either(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} or {names[-1]}"


def _shown(cell: str) -> str:
    return f'"{cell}"' if len(cell) <= 40 else f'"{cell[:37]}..."'


# --- plain cells of many rows at once


def _trimmed(data: NDArray[np.uint8], edges: IntArray, place: int) -> tuple[IntArray, IntArray]:
    """First and past-last byte of a column's cells, blanks around them left out."""
    first, end = edges[:, place] + 1, edges[:, place + 1].copy()
    for _ in range(_MOST_DIGITS):
        blank = (first < end) & (data[first] == ord(" "))
        if not blank.any():
            break
        first = first + blank
    for _ in range(_MOST_DIGITS):
        blank = (first < end) & (data[end - 1] == ord(" "))
        if not blank.any():
            break
        end = end - blank
    return first, end


def _plain_numbers(
    data: NDArray[np.uint8], first: IntArray, end: IntArray, comma: int | None
) -> tuple[FloatArray, str] | None:
    """Decimal numbers without an exponent, and the decimal sign met; None where any cell is something else.

    A whole number below 10^15 divided by a power of ten is rounded once, so it is the same as Python's own reading.
    """
    length = end - first
    if not len(length) or length.min() < 1 or length.max() > _MOST_DIGITS + 2:
        return None
    minus = data[first] == ord("-")
    first = first + (minus | (data[first] == ord("+")))
    whole = np.zeros(len(first), dtype=np.int64)
    digits, decimals = np.zeros(len(first), dtype=np.int64), np.zeros(len(first), dtype=np.int64)
    points = np.zeros(len(first), dtype=np.int64)
    met = ""
    for step in range(int((end - first).max())):
        place = first + step
        inside = place < end
        byte = data[np.minimum(place, len(data) - 1)]
        is_digit = inside & (byte >= ord("0")) & (byte <= ord("9"))
        is_point = inside & ((byte == ord(".")) | (False if comma is None else byte == comma))
        if (inside & ~is_digit & ~is_point).any():
            return None
        if is_point.any():
            signs = np.unique(byte[is_point])
            if len(signs) > 1 or met not in ("", chr(signs[0])):
                return None
            met = chr(signs[0])
        whole = np.where(is_digit, 10 * whole + byte - ord("0"), whole)
        decimals += is_digit & (points > 0)
        digits += is_digit
        points += is_point
    if digits.min() < 1 or digits.max() > _MOST_DIGITS or points.max() > 1:
        return None
    value = whole / 10.0**decimals
    return np.where(minus, -value, value), met


_BETWEEN = {4: "-", 7: "-", 10: "T ", 13: ":", 16: ":"}  # what stands between the digits of 2026-10-01T14:00:00


def _plain_moments(
    data: NDArray[np.uint8], first: IntArray, end: IntArray
) -> tuple[IntArray, NDArray[np.int16]] | None:
    """Seconds and zones of dates and times that are all written alike; None where they are not."""
    length = end - first
    if not len(length) or length.min() != length.max():
        return None
    text = data[first[:, None] + np.arange(int(length[0]))]
    size = int(length[0])
    zone = np.full(len(first), NO_ZONE, dtype=np.int16)
    if size > 16 and (text[:, -1] == ord("Z")).all():
        zone, text, size = np.zeros_like(zone), text[:, :-1], size - 1
    elif size in (22, 25):
        tail, text, size = text[:, -6:], text[:, :-6], size - 6
        sign = np.where(tail[:, 0] == ord("-"), -1, 1)
        if not (np.isin(tail[:, 0], (ord("-"), ord("+"))) & (tail[:, 3] == ord(":"))).all():
            return None
        clock = _digits(tail, (1, 2), (4, 5))
        if clock is None or clock[0].max() > 23 or clock[1].max() > 59:
            return None
        zone = (sign * (60 * clock[0] + clock[1])).astype(np.int16)
    if size not in (10, 16, 19):
        return None
    for place, allowed in _BETWEEN.items():
        if place < size and not np.isin(text[:, place], np.frombuffer(allowed.encode(), np.uint8)).all():
            return None
    read = _digits(text, (0, 1, 2, 3), (5, 6), (8, 9), *[(11, 12), (14, 15), (17, 18)][: (size - 8) // 3])
    if read is None:
        return None
    year, month, day, *clock_parts = read
    if year.min() < 1 or month.min() < 1 or month.max() > 12 or day.min() < 1:
        return None
    if any(part.max() > most for part, most in zip(clock_parts, (23, 59, 59), strict=False)):
        return None
    months = (12 * (year - 1970) + month - 1).astype("datetime64[M]")
    dates = months.astype("datetime64[D]") + (day - 1)
    if (dates.astype("datetime64[M]") != months).any():  # the 30th of February
        return None
    second = 86_400 * dates.astype(np.int64)
    for part, weight in zip(clock_parts, (3600, 60, 1), strict=False):
        second += weight * part
    return second, zone


def _digits(text: NDArray[np.uint8], *groups: tuple[int, ...]) -> list[IntArray] | None:
    """Whole numbers from columns of digits."""
    found = []
    for group in groups:
        value = np.zeros(len(text), dtype=np.int64)
        for place in group:
            digit = text[:, place].astype(np.int64) - ord("0")
            if digit.min() < 0 or digit.max() > 9:
                return None
            value = 10 * value + digit
        found.append(value)
    return found
