"""The book as a table: CSV out and in without a loss, and the keeper's own tables, CSV or XLSX, with its columns."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import zipfile
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stocksim.book.checks import faults, names_of
from stocksim.book.kinds import FORM_KEYS, HELD, KINDS
from stocksim.book.store import Record
from stocksim.errors import Fault, InputError, shown
from stocksim.opening import read_regular
from stocksim.site.reading import Site

_ABOUT = ("number", "kind", "date", "time", "of")
_ENTERED = ("note", "by", "entered", "source", "undone", "undone_by")
COLUMNS = (*_ABOUT, *HELD, *FORM_KEYS, *_ENTERED)
MOST_BYTES = 50_000_000
XLSX = ".xlsx"
# what a workbook may grow to when it is unpacked, and its longest sheet (our choice): ten years of fifty records a day
_MOST_UNPACKED, _MOST_ROWS = 500_000_000, 200_000
_MOST_FAULTS = 20
# a spreadsheet runs a cell that begins so; the mark before it is taken off again when it is read, so that nothing is
# lost, and so one is also put before a text that begins with the mark itself
_MARK, _RUN = "'", ("=", "+", "-", "@", "\t", "\r", "\n", "'")


def export_text(records: Sequence[Record]) -> str:
    """Records as CSV, those that were taken back too: all that the book holds, in the inside units."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # so that a lone one of the two is quoted
    writer.writerow(COLUMNS)
    for record in records:
        cells = [getattr(record, name) for name in _ABOUT]
        cells += [record.held.get(name, "") for name in (*HELD, *FORM_KEYS)]
        writer.writerow([_cell(cell) for cell in cells + [getattr(record, name) for name in _ENTERED]])
    return out.getvalue()


def _cell(value: object) -> str:
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str) and value.startswith(_RUN):
        return _MARK + value
    return str(value)


@dataclass(frozen=True)
class Found:
    """What a file holds beside what the book holds already.

    Parameters
    ----------
    new : tuple of Record
        Those that are not in the book.
    repeats : tuple of Record
        Those that are, also where they were taken back since.
    notes : tuple of str
        What was done or can hardly be meant, a sentence each.
    """

    new: tuple[Record, ...]
    repeats: tuple[Record, ...]
    notes: tuple[str, ...] = ()


def apart_from(records: Sequence[Record], book: Sequence[Record]) -> Found:
    """Records beside those of a book: so many of equal ones are repeats as the book has.

    Parameters
    ----------
    records : sequence of Record
        From a file.
    book : sequence of Record
        All of the book, those that were taken back too.
    """
    there = Counter(record.content for record in book)
    new, repeats = [], []
    for record in records:
        if there[record.content] > 0:
            there[record.content] -= 1
            repeats.append(record)
        else:
            new.append(record)
    return Found(tuple(new), tuple(repeats))


def read_table(path: Path, site: Site, today: dt.date) -> list[Record]:
    """Records of a table, ours or a keeper's own with columns of the same names.

    Parameters
    ----------
    path : Path
        CSV in UTF-8, columns apart by commas, semicolons or tabs; or XLSX, of which the first sheet is read. ``kind``
        and ``date`` must be there.
    site : Site
        The site they are of.
    today : date
        No record is of a later day.

    Raises
    ------
    InputError
        With a fault for each thing wrong, by its line; nothing of such a file is kept.
    """
    rows, header = _sheet_rows(path) if path.suffix.lower() == XLSX else _rows(path)
    known = set(COLUMNS)
    unknown = [name for name in header if name not in known]
    wrong = [Fault("", "", f"has a column {shown(name)} that is not known.", path.name) for name in unknown[:5]]
    records: list[Record] = []
    for line, row in rows if not wrong else []:
        try:
            record = _record(row, site, path.name)
            wrong += [Fault(f"line {line}", f.field, f.message, path.name) for f in faults(record, site, today)]
            records.append(record)
        except InputError as error:
            wrong += [Fault(f"line {line}", f.field, f.message, path.name) for f in error.faults]
    if len(wrong) > _MOST_FAULTS:
        more = len(wrong) - _MOST_FAULTS
        wrong = [*wrong[:_MOST_FAULTS], Fault("", "", f"and {more} more.", path.name)]
    if wrong:
        raise InputError(wrong)
    return records


def _rows(path: Path) -> tuple[list[tuple[int, dict[str, str]]], list[str]]:
    """Rows with the line each stands on, and the header."""
    try:
        text = read_regular(path, MOST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError([Fault("", "", "is not UTF-8 text; save it as UTF-8.", path.name)]) from error
    first = text.split("\n", 1)[0].lower()
    cut = next((sign for sign in (",", ";", "\t") if {"kind", "date"} <= _names(first, sign)), "")
    if not cut:
        message = "is no table of records: its first line must name the columns, kind and date among them."
        raise InputError([Fault("", "", message, path.name)])
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=cut, strict=True)
        header = [name.strip().lower() for name in next(reader)]
        rows = []
        for cells in reader:
            if any(cell.strip() for cell in cells):
                if len(cells) != len(header):
                    message = f"has {len(cells)} cells where the header has {len(header)}."
                    raise InputError([Fault(f"line {reader.line_num}", "", message, path.name)])
                rows.append((reader.line_num, dict(zip(header, cells, strict=True))))
    except csv.Error as error:
        message = "is no table: a line cannot be split into columns."
        raise InputError([Fault("", "", message, path.name)]) from error
    return rows, header


def _sheet_rows(path: Path) -> tuple[list[tuple[int, dict[str, str]]], list[str]]:
    """The same of the first sheet of a workbook."""
    found = _cells(path)
    header = [cell.strip().lower() for cell in found[0]] if found else []
    while header and not header[-1]:
        header.pop()
    if not {"kind", "date"} <= set(header):
        message = "is no table of records: the first line of its first sheet must name the columns, kind and date "
        raise InputError([Fault("", "", message + "among them.", path.name)])
    rows = []
    for line, cells in enumerate(found[1:], 2):
        if any(cell.strip() for cell in cells):
            if any(cell.strip() for cell in cells[len(header) :]):
                message = f"has more cells than the {len(header)} of the header."
                raise InputError([Fault(f"line {line}", "", message, path.name)])
            padded = [*cells, *[""] * len(header)][: len(header)]
            rows.append((line, dict(zip(header, padded, strict=True))))
    return rows, header


def _cells(path: Path) -> list[list[str]]:
    """Texts of the cells of a workbook's first sheet."""
    try:
        import openpyxl
    except ImportError:
        message = "needs openpyxl to be read: pip install 'stocksim[xlsx]', or save the sheet as CSV."
        raise InputError([Fault("", "", message, path.name)]) from None
    unreadable = InputError([Fault("", "", "cannot be read as a workbook; save it as XLSX or CSV again.", path.name)])
    packed = io.BytesIO(read_regular(path, MOST_BYTES))
    try:
        with zipfile.ZipFile(packed) as parts:
            if sum(part.file_size for part in parts.infolist()) > _MOST_UNPACKED:
                raise InputError([Fault("", "", "is too large when it is unpacked; save it as CSV.", path.name)])
        book = openpyxl.load_workbook(packed, read_only=True, data_only=True)
        try:
            rows = book.worksheets[0].iter_rows(values_only=True, max_row=_MOST_ROWS)
            return [[_cell_text(value) for value in row] for row in rows]
        finally:
            book.close()
    except InputError:
        raise
    except Exception as error:  # whatever a broken workbook makes its reader say
        raise unreadable from error


def _cell_text(value: object) -> str:
    """A cell of a sheet as it would stand in a CSV."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.date().isoformat()
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() else repr(value)
    return str(value)


def _names(line: str, cut: str) -> set[str]:
    return {name.strip().strip('"') for name in line.split(cut)}


def _record(row: Mapping[str, str], site: Site, source: str) -> Record:
    """A row as a record; raises InputError where it cannot be read as one."""
    cells = {name: cell[1:] if cell.startswith(_MARK) else cell for name, cell in row.items()}
    wrong = []
    held: dict[str, Any] = {}
    for key in (*HELD, *FORM_KEYS):
        cell = cells.get(key, "")
        if not cell.strip():
            continue
        if (key in HELD and HELD[key].is_text) or key.endswith("_as"):
            held[key] = cell
            continue
        number = read_number(cell)
        if number is None:
            wrong.append(Fault("", key, f"{shown(cell)} is not a number."))
        else:
            held[key] = number
    try:
        day = dt.date.fromisoformat(cells["date"].strip()[:10])
    except ValueError:
        wrong.append(Fault("", "date", f"{shown(cells['date'])} is not a date; write it as 2027-01-20."))
    if wrong:
        raise InputError(wrong)
    kind = cells["kind"].strip()
    of = cells.get("of", "").strip()
    if kind in KINDS:
        of = names_of(site, KINDS[kind]).get(of, of)
    told = {name: cells.get(name, "") for name in _ENTERED}
    return Record(
        kind, day, of, held, cells.get("time", "").strip(), told["note"], told["by"], told["entered"],
        told["source"] or source, undone=told["undone"], undone_by=told["undone_by"],
    )  # fmt: skip


def read_number(text: str) -> float | None:
    """A number with a decimal point or comma; None where it is none, or its comma may part thousands."""
    cell = text.strip()
    if cell.count(",") == 1 and "." not in cell:
        cell = cell.replace(",", ".")
    if "_" in cell or not cell.isascii():
        return None
    try:
        number = float(cell)
    except ValueError:
        return None
    return number if math.isfinite(number) else None
