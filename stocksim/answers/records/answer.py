"""Records as an answer, and the blank sheet to fill in by the tanks.

Apart from `command`, so that help starts without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from stocksim.answers.records.bring import Brought
from stocksim.book.kinds import KINDS
from stocksim.book.store import Record, as_data
from stocksim.faces.answer import Answer, Section, Sentences, Table
from stocksim.faces.marks import marked
from stocksim.faces.record_words import value_words
from stocksim.site.reading import Site
from stocksim.units import format_date


def records_answer(records: Sequence[Record], site: Site, verdict: str = "") -> Answer:
    """Records in a table, the last entered last."""
    system = site.file.site.units
    rows = [
        {
            "number": str(record.number or ""), "date": format_date(record.date), "what": KINDS[record.kind].words,
            "of": record.name, "value": value_words(record, system), "note": record.note, "by": record.by,
            **({"taken back": record.undone[:10]} if any(one.undone for one in records) else {}),
        }
        for record in records
    ]  # fmt: skip
    number = len(records)
    told = verdict or (f"{number} record{'s' * (number != 1)}." if number else "The book holds no record.")
    return Answer(
        f"Records of {site.file.site.name}", told, (Section("records", (Table(rows),) if rows else ()),),
        partial(_data, records, site), begins="verdict",
    )  # fmt: skip


def _data(records: Sequence[Record], site: Site) -> dict[str, Any]:
    return marked({"records": [as_data(record) for record in records]}, site)


def sheet_answer(site: Site) -> Answer:
    """A sheet to print and hang by the tanks: a line a day, to be typed in once a week."""
    heads = ["date", *(f"feed {name}" for name in site.file.tanks)]
    for loop in site.file.loops:
        heads += [f"{what} {loop}" for what in ("water", "ammonia", "nitrite", "nitrate", "alkalinity", "pH", "base")]
    heads += ["dead (which)", "weighed (number, total)", "note"]
    rows = [dict.fromkeys(heads, "____") for _ in range(14)]
    told = Sentences(
        ["Write the unit into the head of each column, and in which form your kits read; then a line a day. Type it in "
         "by `stocksim record add`, or as a table by `stocksim record import`."]
    )  # fmt: skip
    return Answer(
        f"Log sheet of {site.file.site.name}", "", (Section("sheet", (told, Table(rows, gap=True))),),
        lambda: marked({"columns": heads}, site),
    )  # fmt: skip


def import_answer(brought: Brought, is_dry_run: bool, site: Site) -> Answer:
    """What a file brings; the last twenty of its new records in a table."""
    told = "would be kept (nothing was)" if is_dry_run else "kept"
    shown = records_answer(
        brought.new[-20:], site, f"{len(brought.new)} new {told}, {len(brought.repeats)} in the book already."
    )
    notes = Sentences([*brought.notes, *brought.doubts])
    return replace(
        shown, sections=(*shown.sections, Section("notes", (notes,) if notes.items else ())),
        tell=partial(_import_data, brought, is_dry_run, site),
    )  # fmt: skip


def _import_data(brought: Brought, is_dry_run: bool, site: Site) -> dict[str, Any]:
    return marked(
        {
            "new": [as_data(record) for record in brought.new], "repeats": len(brought.repeats),
            "kept": 0 if is_dry_run else len(brought.new), "doubts": list(brought.doubts), "notes": list(brought.notes),
        },
        site,
    )  # fmt: skip
