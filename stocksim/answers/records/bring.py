"""What a file would bring into the book: new records, repeats, and what is odd.

Apart from `command`, for a page brings files in too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from stocksim.book import logger, sheets, store
from stocksim.book.checks import doubts, faults
from stocksim.book.enter import user
from stocksim.book.store import Record
from stocksim.errors import Fault, InputError, shown
from stocksim.site.reading import Site

_UNITS, _ORDERS = ("degC", "degF"), ("day-first", "month-first")
_MOST_TOLD = 10


@dataclass(frozen=True)
class Asked:
    """What was told with a file: what a logger's water is of, unit, column, order of dates, who brings it."""

    of: str | None
    unit: str
    column: str
    dates: str
    by: str


@dataclass(frozen=True)
class Brought:
    """New records, those that the book has, what can hardly be meant, and what is to be told."""

    new: tuple[Record, ...]
    repeats: tuple[Record, ...]
    doubts: tuple[str, ...]
    notes: tuple[str, ...]


def found_in(site: Site, book: Path, file: Path, asked: Asked) -> Brought:
    """What a file holds beside a book; nothing is written.

    Raises
    ------
    InputError
        With what is wrong in the file or was asked wrongly.
    """
    wrong = []
    if asked.unit and asked.unit not in _UNITS:
        wrong.append(Fault("", "--unit", f"{shown(asked.unit)} is not allowed; write degC or degF."))
    if asked.dates and asked.dates not in _ORDERS:
        wrong.append(Fault("", "--dates", f"{shown(asked.dates)} is not allowed; write day-first or month-first."))
    if not asked.of and (asked.unit or asked.column or asked.dates):
        wrong.append(Fault("", "", "--unit, --column and --dates are of a logger's file; say with --tank or --loop "
                                   "which water it logged."))  # fmt: skip
    if wrong:
        raise InputError(wrong)
    there = store.read_book(book, with_undone=True)
    today = store.today(there)
    notes: list[str] = []
    if asked.of:
        of = logger.Asked(asked.of, asked.unit, asked.column, asked.dates)
        records, notes = logger.read_logger(file, of, site.file.site.utc_offset)
        bad = [fault for record in records for fault in faults(record, site, today)]
        if bad:
            raise InputError([replace(bad[0], file=file.name)])
    else:
        records = sheets.read_table(file, site, today)
    records = [record if record.by else replace(record, by=asked.by or user()) for record in records]
    apart = sheets.apart_from(records, there)
    holding = [record for record in there if not record.undone]
    asked_back: list[str] = []
    for record in apart.new:
        asked_back += [f"{file.name}, {record.date}: {doubt}" for doubt in doubts(record, site, holding)]
        holding.append(record)
    if len(asked_back) > _MOST_TOLD:
        asked_back[_MOST_TOLD:] = [f"{file.name}: and {len(asked_back) - _MOST_TOLD} more."]
    return Brought(apart.new, apart.repeats, tuple(asked_back), tuple(notes))
