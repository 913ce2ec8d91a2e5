"""The command that forecasts the season by its records."""

from __future__ import annotations

from typing import Annotated

import typer

from stocksim.faces.options import JsonOption, SiteArgument, deliver, number

EXAMPLES = {"forecast": "Example: stocksim forecast house.toml -n 100"}


def forecast(
    site: SiteArgument,
    samples: Annotated[
        float, typer.Option("-n", help="Seasons of each band.", **number("-n", 50, 20_000, "give 50 to 20000", True))
    ] = 300,
    seed: Annotated[
        float, typer.Option("--seed", help="Of the samples.", **number("--seed", 0, 2**31, "give a whole number", True))
    ] = 1,
    as_json: JsonOption = False,
) -> None:
    """Show how the season goes on, learned from its records. Reads SITE and the book beside it; writes nothing."""
    from stocksim.answers.forecast import decide
    from stocksim.answers.forecast.answer import forecast_answer
    from stocksim.book import store
    from stocksim.site.reading import load_site

    loaded = load_site(site)
    records = store.read_book(store.book_path(site))
    deliver(forecast_answer(decide.forecast(loaded, records, int(samples), int(seed))), as_json)
