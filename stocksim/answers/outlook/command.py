"""The command ``stocksim outlook``."""

from __future__ import annotations

from typing import Annotated

import typer

from stocksim.faces.options import JsonOption, SiteArgument, deliver, number

SEASONS = number("-n", 1, 65536, "give a whole number of seasons from 1 to 65536", whole=True)
SEED = number("--seed", 0, 2**32 - 1, "give a whole number from 0 to 4294967295", whole=True)

EXAMPLES = {"outlook": "Example: stocksim outlook house.toml -n 1024 --seed 1"}


def outlook(
    site: SiteArgument,
    n: Annotated[int, typer.Option("-n", help="Seasons to draw; the next power of two is run.", **SEASONS)] = 1024,
    seed: Annotated[int, typer.Option(help="Seed of all random numbers.", **SEED)] = 1,
    as_json: JsonOption = False,
) -> None:
    """Say how sure a season is: chances and dates of limits and losses, bands, and what to measure next. Reads SITE
    and the files it names; writes nothing."""
    from stocksim.answers.outlook.answer import outlook_answer
    from stocksim.answers.outlook.decide import outlook as draw_outlook
    from stocksim.faces.options import Bar, options_named
    from stocksim.site.reading import load_site

    loaded = load_site(site)
    bar = Bar("seasons")
    with options_named():
        found = draw_outlook(loaded, n, seed, progress=bar)
    bar.close()
    deliver(outlook_answer(found), as_json)
