"""The command that plans a stocking."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stocksim.faces.options import JsonOption, SiteArgument, number

EXAMPLES = {
    "stock": "Example: stocksim stock house.toml --goal edible,cost --out plan",
}
SECONDS = number("--seconds", 1.0, 86400.0, "give seconds from 1 to 86400, as 60")
GOAL_HELP = 'edible, steady, cost, keep, or some in their order, as "edible,cost"; by default the file\'s.'
PARETO_HELP = 'Two goals to weigh against each other, as "edible,cost".'


def stock(
    site: SiteArgument,
    goal: Annotated[str | None, typer.Option(help=GOAL_HELP, show_default=False)] = None,
    pareto: Annotated[str | None, typer.Option(help=PARETO_HELP, show_default=False)] = None,
    reasons: Annotated[bool, typer.Option("--reasons", help="Tell what more of each limit would bring; slow.")] = False,
    seconds: Annotated[float, typer.Option(help="Most time for the plan.", **SECONDS)] = 60.0,
    out: Annotated[Path | None, typer.Option(help="Folder for the planned site file.", show_default=False)] = None,
    as_json: JsonOption = False,
) -> None:
    """Plan which fish go into which tank, with reasons. Reads SITE; with --out writes the planned site file."""
    from stocksim.answers.stock.answer import stock_output

    typer.echo(stock_output(site, goal, pareto, reasons, seconds, out, as_json))
