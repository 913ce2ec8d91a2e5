"""The commands of the record book."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stocksim.errors import Fault, InputError
from stocksim.faces.options import JsonOption, SiteArgument, deliver, options, options_named, print_json, say

HELP = "The record book: what was weighed, tested, fed and done. Each command reads SITE and the book beside it."
EXAMPLES = {
    "add": "Example: stocksim record add house.toml weigh --cohort perch --count 20 --total '731 g' --date 2026-11-01",
    "list": "Example: stocksim record list house.toml --json",
    "import": "Example: stocksim record import house.toml logger.csv --tank first --dry-run",
    "export": "Example: stocksim record export house.toml all.csv",
    "undo": "Example: stocksim record undo house.toml 12",
    "sheet": "Example: stocksim record sheet house.toml",
}


def _text(help_: str, *names: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(*names, help=help_, show_default=False)
    return option


Text = str | None


def add(
    site: SiteArgument,
    kind: Annotated[str, typer.Argument(help="As weigh, feed, test, deaths; see docs/records.md.", show_default=False)],
    cohort: Annotated[Text, _text("Batch of fish that it is of.")] = None,
    tank: Annotated[Text, _text("Tank that it is of.")] = None,
    loop: Annotated[Text, _text("Loop that it is of.")] = None,
    bed: Annotated[Text, _text("Bed that it is of.")] = None,
    date: Annotated[Text, _text("For which day, as 2026-11-01; today if left out.")] = None,
    time: Annotated[Text, _text("Time of day, as 07:30.")] = None,
    count: Annotated[Text, _text("Number of fish.")] = None,
    total: Annotated[Text, _text("Weight of all of them, as '731 g'.")] = None,
    weights: Annotated[Text, _text("Single weights, as '31.5 40 28' in grams or with units.")] = None,
    amount: Annotated[
        Text, _text("Weight of feed, fish, crop, base or salt, as '50 g'; feed also as '3 scoops'.")
    ] = None,
    scoop: Annotated[
        Text, _text("What your scoop or handful of feed weighs, as '18 g'; kept for the next time.")
    ] = None,
    at: Annotated[Text, _text("Water temperature, as '14.5 degC'.")] = None,
    ammonia: Annotated[Text, _text("What the kit reads. [mg/L]")] = None,
    ammonia_as: Annotated[Text, _text("N, NH3 or NH4; kept for the next time.")] = None,
    nitrite: Annotated[Text, _text("What the kit reads. [mg/L]")] = None,
    nitrite_as: Annotated[Text, _text("NO2-N or NO2; kept for the next time.")] = None,
    nitrate: Annotated[Text, _text("What the kit reads. [mg/L]")] = None,
    nitrate_as: Annotated[Text, _text("NO3-N or NO3; kept for the next time.")] = None,
    alkalinity: Annotated[Text, _text("What the kit reads.")] = None,
    alkalinity_as: Annotated[Text, _text("mg/L (of CaCO3) or dKH; kept for the next time.")] = None,
    ph: Annotated[Text, _text("pH.")] = None,
    oxygen: Annotated[Text, _text("Oxygen. [mg/L]")] = None,
    potassium: Annotated[Text, _text("[mg/L]")] = None,
    phosphorus: Annotated[Text, _text("[mg/L]")] = None,
    calcium: Annotated[Text, _text("[mg/L]")] = None,
    chloride: Annotated[Text, _text("[mg/L]")] = None,
    cause: Annotated[Text, _text("Of deaths, if known.")] = None,
    to: Annotated[Text, _text("Tank that fish went to.")] = None,
    crop: Annotated[Text, _text("What was planted or picked.")] = None,
    area: Annotated[Text, _text("Area planted, as '2 m2'.")] = None,
    salt: Annotated[Text, _text("Which base, as potassium_bicarbonate.")] = None,
    volume: Annotated[Text, _text("Water changed, as '200 L'.")] = None,
    note: Annotated[Text, _text("In your words.")] = None,
    by: Annotated[Text, _text("Who enters it; you if left out.")] = None,
    confirm: Annotated[bool, typer.Option("--confirm", help="Keep a value that can hardly be meant.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write a record into the book, made where there is none. Reads SITE; writes the book beside it."""
    written = dict(locals())
    from dataclasses import replace

    from stocksim.answers.records.answer import records_answer
    from stocksim.book import enter, store
    from stocksim.site.reading import load_site

    loaded, path = load_site(site), store.book_path(site)
    records = store.read_book(path)
    today = store.today(records)
    (day,) = options(("--date", date, "date"))
    written["of"] = _only_one(cohorts=cohort, tanks=tank, loops=loop, beds=bed)
    texts = {key: text for key, text in written.items() if isinstance(text, str) and key not in ("kind", "date")}
    with options_named():
        found = enter.entered(loaded, kind, texts, day or today, today, store.read_settings(path), records)
    if found.doubts and not confirm:
        raise InputError([Fault("", "", f"{doubt} Add --confirm to keep it as it is.") for doubt in found.doubts])
    (number,) = store.add(path, [found.record], found.told)
    deliver(records_answer([replace(found.record, number=number)], loaded, f"Kept as record {number}."), as_json)


def _only_one(**names: str | None) -> str | None:
    """The one name that was given, with its table."""
    given = [f"{table}.{name}" for table, name in names.items() if name is not None]
    if len(given) > 1:
        raise InputError("a record is of one cohort, tank, loop or bed; give one of --cohort, --tank, --loop, --bed.")
    return given[0] if given else None


def list_(
    site: SiteArgument,
    kind: Annotated[str | None, _text("Only records of this kind.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Those that were taken back too.")] = False,
    as_json: JsonOption = False,
) -> None:
    """List the records. Reads SITE and the book beside it; writes nothing."""
    from stocksim.answers.records.answer import records_answer
    from stocksim.book import store
    from stocksim.book.kinds import KINDS
    from stocksim.site.reading import load_site

    if kind is not None and kind not in KINDS:
        raise InputError([Fault("", "--kind", f'"{kind}" is no kind of record; known are {", ".join(KINDS)}.')])
    loaded = load_site(site)
    records = store.read_book(store.book_path(site), with_undone=every)
    deliver(records_answer([one for one in records if kind in (None, one.kind)], loaded), as_json)


def import_(
    site: SiteArgument,
    file: Annotated[
        Path, typer.Argument(help="CSV or XLSX of records, or CSV of a temperature logger.", show_default=False)
    ],
    tank: Annotated[Text, _text("A logger's file, of the water of this tank.")] = None,
    loop: Annotated[Text, _text("A logger's file, of the water of this loop.")] = None,
    unit: Annotated[Text, _text("degC or degF, where a logger's file does not say.")] = None,
    column: Annotated[Text, _text("Name of a logger's column of temperatures.")] = None,
    dates: Annotated[Text, _text("day-first or month-first, where a logger's file does not say.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show what would be kept, and keep nothing.")] = False,
    by: Annotated[Text, _text("Who enters it; you if left out.")] = None,
    confirm: Annotated[bool, typer.Option("--confirm", help="Keep values that can hardly be meant.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write the records of a file that the book has not into it. Reads SITE and FILE; writes the book, or nothing."""
    from dataclasses import replace

    from stocksim.answers.records import bring
    from stocksim.answers.records.answer import import_answer
    from stocksim.book import store
    from stocksim.site.reading import load_site

    loaded, path = load_site(site), store.book_path(site)
    asked = bring.Asked(_only_one(tanks=tank, loops=loop), unit or "", column or "", dates or "", by or "")
    found = bring.found_in(loaded, path, file, asked)
    if found.doubts and not (confirm or dry_run):
        raise InputError([Fault("", "", f"{doubt} Add --confirm to keep it as it is.") for doubt in found.doubts])
    if found.new and not dry_run:
        numbers = store.add(path, found.new)
        kept = (replace(one, number=number) for one, number in zip(found.new, numbers, strict=True))
        found = replace(found, new=tuple(kept))
    deliver(import_answer(found, dry_run, loaded), as_json)


def export(
    site: SiteArgument,
    file: Annotated[Path, typer.Argument(help="CSV to write; never overwritten.", show_default=False)],
    as_json: JsonOption = False,
) -> None:
    """Write all records as CSV, those that were taken back too. Reads SITE and the book beside it; writes FILE."""
    from stocksim.book import sheets, store
    from stocksim.faces.marks import marked
    from stocksim.site.reading import load_site
    from stocksim.writing import write_file

    loaded = load_site(site)
    records = store.read_book(store.book_path(site), with_undone=True)
    text = sheets.export_text(records)
    write_file(file, lambda out: out.write(text))
    if as_json:
        print_json(marked({"written": str(file), "records": len(records)}, loaded))
    else:
        say(f"Wrote {len(records)} records to {file}.")


def undo(
    site: SiteArgument,
    number: Annotated[
        int | None, typer.Argument(help="Of the record; the last one if left out.", show_default=False)
    ] = None,
    by: Annotated[Text, _text("Who takes it back; you if left out.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Take a record back; it stays in the book with that mark. Reads SITE; writes the book beside it."""
    from stocksim.answers.records.answer import records_answer
    from stocksim.book import enter, store
    from stocksim.site.reading import load_site

    loaded = load_site(site)
    taken = store.undo(store.book_path(site), number, by or enter.user())
    deliver(records_answer([taken], loaded, f"Took back record {taken.number}."), as_json)


def sheet(site: SiteArgument, as_json: JsonOption = False) -> None:
    """Print a blank log sheet of two weeks. Reads SITE; writes nothing."""
    from stocksim.answers.records.answer import sheet_answer
    from stocksim.site.reading import load_site

    deliver(sheet_answer(load_site(site)), as_json)
