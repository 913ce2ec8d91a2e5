"""The command that weighs fish against beds."""

from __future__ import annotations

from stocksim.faces.options import Bar, JsonOption, SiteArgument, Topics, deliver

EXAMPLES = {"beds": "Example: stocksim beds house.toml"}


def beds(site: SiteArgument, as_json: JsonOption = False, topics: Topics = ()) -> None:
    """Show the area that the feed supports and the feed that the area needs, by week. Reads SITE; writes nothing."""
    from stocksim.answers.beds.answer import beds_answer
    from stocksim.answers.beds.changes import bed_plan
    from stocksim.engine.running import run_season
    from stocksim.site.reading import load_site

    season = run_season(load_site(site))
    bar = Bar("loops")
    plan = bed_plan(season, bar)
    bar.close()
    deliver(beds_answer(plan), as_json, topics)
