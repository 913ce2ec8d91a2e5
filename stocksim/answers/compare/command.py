"""The command that sets site files side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stocksim.errors import InputError
from stocksim.faces.options import JsonOption, deliver

EXAMPLES = {"compare": "Example: stocksim compare house.toml house_planned.toml"}


def compare(
    sites: Annotated[list[Path], typer.Argument(metavar="SITE SITE [SITE]", help="Two or three site files.")],
    as_json: JsonOption = False,
) -> None:
    """Show what differs between two or three site files and what becomes of each. Reads them; writes nothing."""
    from stocksim.answers.compare.answer import FEWEST, MOST, compare_answer
    from stocksim.engine.running import run_season
    from stocksim.site.reading import load_site

    if not FEWEST <= len(sites) <= MOST:
        raise InputError(f"SITE: {len(sites)} given; give two or three site files, as house.toml house_planned.toml.")
    stems = [path.stem for path in sites]
    names = stems if len(set(stems)) == len(stems) else [f"{number} {stem}" for number, stem in enumerate(stems, 1)]
    deliver(
        compare_answer({name: run_season(load_site(path)) for name, path in zip(names, sites, strict=True)}), as_json
    )
