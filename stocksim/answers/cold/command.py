"""The command ``stocksim cold``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from stocksim.errors import InputError, shown
from stocksim.faces.options import number

WORTH = number("--worth", 0.0, 1e6, "give money for a kilo of fish from 0 to 1,000,000, as 9")
YEARS = number("--years", 1, 1000, "give a whole number of years from 1 to 1000", whole=True)
SEED = number("--seed", 0, 2**32 - 1, "give a whole number from 0 to 4294967295", whole=True)

EXAMPLES = {"cold": "Example: stocksim cold house.toml --worth 9"}


def cold(
    site: Annotated[Path, typer.Argument(help="Site file (TOML).", show_default=False)],
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
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output, keys carry units.")
    ] = False,
) -> None:
    """Compare set points and measures through the cold months. Reads SITE and the files it names; with --out writes two
    CSV files."""
    from stocksim.answers.cold import answer as cold_data
    from stocksim.answers.cold import words as cold_fit_words
    from stocksim.answers.cold import words as cold_words
    from stocksim.answers.cold.answer import COLD_FILES, write_cold
    from stocksim.answers.cold.decide import compare_cold
    from stocksim.answers.cold.fit import fit_heat
    from stocksim.faces.marks import json_text
    from stocksim.faces.options import Bar
    from stocksim.site.reading import load_site
    from stocksim.writing import check_folder

    loaded = load_site(site)
    if fit is not None and out is not None:
        raise InputError("--out: goes with the comparison and not with --fit; leave one of them out.")
    if loop is not None and loop not in loaded.file.loops:
        raise InputError(f"--loop: {shown(loop)} is not among the loops; known are {', '.join(loaded.file.loops)}.")
    if loop is not None and fit is None:
        raise InputError("--loop: says whose water the log of --fit is; give --fit too, or leave it out.")
    if out is not None:
        check_folder(out, COLD_FILES, loaded.files())
    try:
        if fit is not None:
            fitted = fit_heat(loaded, fit, loop)
            text, data = cold_fit_words.fit_text(fitted), cold_data.fit_answer(fitted)
        else:
            bar = Bar("cold months")
            found = compare_cold(loaded, worth, years, seed, bar)
            bar.close()
            text, data = cold_words.cold_text(found), cold_data.cold_answer(found)
            if out is not None:
                for name in write_cold(out, found, loaded.files()):
                    typer.echo(f"Wrote {name}", err=True)
    except InputError as error:
        named = [f if f.table or not f.field else replace(f, field=f"--{f.field}") for f in error.faults]
        raise InputError(named) from None
    typer.echo(json_text(data, loaded) if as_json else text)
