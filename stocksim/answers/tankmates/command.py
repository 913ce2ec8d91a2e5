"""The command that tells who may share a tank or a loop."""

from __future__ import annotations

import typer

from stocksim.faces.options import JsonOption, SiteArgument

EXAMPLES = {
    "company": "Example: stocksim company house.toml --json",
}


def company(site: SiteArgument, as_json: JsonOption = False) -> None:
    """Tell who may share a tank or a loop, with reasons. Reads SITE; writes nothing."""
    from stocksim.answers.tankmates.answer import company_output

    typer.echo(company_output(site, as_json))
