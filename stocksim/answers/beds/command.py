"""The command that weighs fish against beds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLES = {"beds": "Example: stocksim beds house.toml"}


def beds(
    site: Annotated[Path, typer.Argument(help="Site file (TOML).", show_default=False)],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output, keys carry units.")
    ] = False,
) -> None:
    """Tell the area that the feed carries and the feed that the area needs, by week. Reads SITE; writes nothing."""
    from stocksim.answers.beds.answer import beds_answer, beds_text
    from stocksim.answers.beds.changes import bed_plan
    from stocksim.engine.running import run_season
    from stocksim.faces.marks import json_text
    from stocksim.faces.options import Bar
    from stocksim.site.reading import load_site

    loaded = load_site(site)
    bar = Bar("loops")
    plan = bed_plan(run_season(loaded), bar)
    bar.close()
    if as_json:
        typer.echo(json_text(beds_answer(plan), loaded))
    else:
        typer.echo(beds_text(plan))
