"""The command ``stocksim outlook``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stocksim.faces.options import JsonOption, SiteArgument, deliver, number

if TYPE_CHECKING:
    from stocksim.site.reading import Site

SEASONS = number("-n", 1, 65536, "give a whole number of seasons from 1 to 65536", whole=True)
SEED = number("--seed", 0, 2**32 - 1, "give a whole number from 0 to 4294967295", whole=True)

EXAMPLES = {"outlook": "Example: stocksim outlook house.toml -n 1024 --seed 1"}


def outlook(
    site: SiteArgument,
    n: Annotated[int, typer.Option("-n", help="Seasons to draw; the next power of two is run.", **SEASONS)] = 1024,
    seed: Annotated[int, typer.Option(help="Seed of all random numbers.", **SEED)] = 1,
    beside: Annotated[
        Path | None,
        typer.Option(metavar="SITE", help="Another site file in the same drawn seasons: what is sure to differ."),
    ] = None,
    advised: Annotated[
        bool, typer.Option("--advised", help="The same seasons with what `season` advises first: whether it suffices.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Say how sure a season is: chances and dates of limits and losses, bands, and what to measure next. Reads SITE
    and the files it names; writes nothing."""
    from stocksim.answers.outlook.answer import outlook_answer
    from stocksim.drawn.beside import beside as draw_beside
    from stocksim.drawn.outlook import outlook as draw_outlook
    from stocksim.faces.options import Bar, options_named
    from stocksim.site.reading import load_site

    loaded = load_site(site)
    bar = Bar("seasons")
    with options_named():
        found = draw_outlook(loaded, n, seed, progress=bar, columns=None if as_json else ())  # text has no bands
    others = [] if beside is None else [(load_site(beside), beside.stem)]
    others += _advised(loaded) if advised else []
    besides = [draw_beside(found, other, name, progress=bar) for other, name in others]
    bar.close()
    deliver(outlook_answer(found, besides=besides), as_json)


def _advised(site: Site) -> list[tuple[Site, str]]:
    """The site with the first way that its season advises."""
    from stocksim.changes.ways import advise
    from stocksim.engine.running import run_season
    from stocksim.errors import InputError

    ways = advise(run_season(site)).ways
    if not ways:
        raise InputError("--advised: the season advises nothing that could be drawn with it; leave the option out.")
    return [(site.with_changes(ways[0].fields), "what the season advises")]
