"""The command that tells how fast feeding may rise."""

from __future__ import annotations

from typing import Annotated

import typer

from stocksim.faces.options import JsonOption, SiteArgument, Topics, deliver

EXAMPLES = {
    "ramp": "Example: stocksim ramp house.toml --from 2027-03-15",
}


def ramp(
    site: SiteArgument,
    start: Annotated[
        str | None,
        typer.Option("--from", help="First day, as 2027-03-15; by default the season's.", show_default=False),
    ] = None,
    as_json: JsonOption = False,
    topics: Topics = (),
) -> None:
    """Show how fast feeding may rise on a young biofilter, or one weakened by winter. Reads SITE; writes nothing."""
    from stocksim.answers.ramp.answer import ramp_answer
    from stocksim.answers.ramp.decide import feeding_ramp
    from stocksim.faces.options import Bar, options, options_named
    from stocksim.site.reading import load_site

    (day,) = options(("--from", start, "date"))
    loaded = load_site(site)
    bar = Bar("weeks")
    with options_named("--from"):
        found = feeding_ramp(loaded, day, bar)
    bar.close()
    deliver(ramp_answer(found), as_json, topics)
