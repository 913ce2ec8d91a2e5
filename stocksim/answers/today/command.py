"""The command that tells what is to be done today."""

from __future__ import annotations

from typing import Annotated

import typer

from stocksim.faces.options import JsonOption, SiteArgument, deliver, options

EXAMPLES = {"today": "Example: stocksim today house.toml --on 2026-12-01"}


def today(
    site: SiteArgument,
    on: Annotated[
        str | None, typer.Option("--on", help="Day, as 2026-12-01; by default today.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show the day's list: feed, base, tests, what is due. Reads SITE and the book beside it; writes nothing."""
    from stocksim.answers.today.answer import today_answer
    from stocksim.answers.today.decide import the_day
    from stocksim.book import enter, store
    from stocksim.engine.measured import with_records
    from stocksim.engine.running import run_season
    from stocksim.site.reading import load_site

    (day,) = options(("--on", on, "date"))
    loaded = load_site(site)
    path = store.book_path(site)
    records, scoop_g = store.read_book(path), enter.scoop_weight_g(store.read_settings(path))
    date = day or store.today(records)
    measured = with_records(loaded, [one for one in records if one.date <= date])
    season = run_season(measured.site)
    day_list = the_day(season, records, date)
    deliver(today_answer(day_list, measured.site, measured.notes, measured.contradictions, scoop_g), as_json)
