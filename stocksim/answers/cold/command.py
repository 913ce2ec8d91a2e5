"""The command ``stocksim cold``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stocksim.errors import InputError, shown
from stocksim.faces.options import (
    Bar,
    JsonOption,
    SiteArgument,
    Topics,
    deliver,
    number,
    options_named,
    say,
    site_from_book,
)

WORTH = number("--worth", 0.0, 1e6, "give money for a kilo of fish from 0 to 1,000,000, as 9")
YEARS = number("--years", 1, 1000, "give a whole number of years from 1 to 1000", whole=True)
SEED = number("--seed", 0, 2**32 - 1, "give a whole number from 0 to 4294967295", whole=True)

EXAMPLES = {"cold": "Example: stocksim cold house.toml --worth 9"}


def cold(
    site: SiteArgument,
    worth: Annotated[
        float | None,
        typer.Option(
            help="Money for a kilo of fish (always by the kilo), in that of your fuel prices; 8 if left out.", **WORTH
        ),
    ] = None,
    years: Annotated[int, typer.Option(help="Synthetic years for the cold risk.", **YEARS)] = 40,
    seed: Annotated[int, typer.Option(help="Seed of their random numbers.", **SEED)] = 1,
    fit: Annotated[
        Path | None,
        typer.Option(help="Log of water (CSV) to fit the heat balance to, instead of comparing.", show_default=False),
    ] = None,
    loop: Annotated[str | None, typer.Option(help="Loop that the log is of.", show_default=False)] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for hourly.csv and options.csv.", show_default=False)] = None,
    as_json: JsonOption = False,
    topics: Topics = (),
) -> None:
    """Compare set points and measures through the cold months. Reads SITE and the files it names; with --out writes two
    CSV files."""
    from stocksim.answers.cold.answer import COLD_FILES, cold_answer, fit_answer, write_cold
    from stocksim.answers.cold.decide import compare_cold
    from stocksim.answers.cold.fit import fit_heat
    from stocksim.site.reading import load_site
    from stocksim.writing import check_folder

    loaded = load_site(site) if fit is not None else site_from_book(site)
    if fit is not None and out is not None:
        raise InputError("--out: goes with the comparison and not with --fit; leave one of them out.")
    if loop is not None and loop not in loaded.file.loops:
        raise InputError(f"--loop: {shown(loop)} is not among the loops; known are {', '.join(loaded.file.loops)}.")
    if loop is not None and fit is None:
        raise InputError("--loop: says whose water the log of --fit is; give --fit too, or leave it out.")
    if out is not None:
        check_folder(out, COLD_FILES, loaded.files())
    with options_named():
        if fit is not None:
            deliver(fit_answer(fit_heat(loaded, fit, loop), loaded), as_json, topics)
            return
        bar = Bar("cold months")
        found = compare_cold(loaded, worth, years, seed, bar)
        bar.close()
        if out is not None:
            for name in write_cold(out, found, loaded.files()):
                say(f"Wrote {name}")
        deliver(cold_answer(found, loaded), as_json, topics)
