"""The command that tells who may share a tank or a loop."""

from __future__ import annotations

from stocksim.faces.options import JsonOption, SiteArgument, Topics, deliver

EXAMPLES = {
    "tankmates": "Example: stocksim tankmates house.toml --json",
}


def tankmates(site: SiteArgument, as_json: JsonOption = False, topics: Topics = ()) -> None:
    """Show who may share a tank or a loop, with reasons. Reads SITE; writes nothing."""
    from stocksim.answers.tankmates.answer import company_answer
    from stocksim.answers.tankmates.decide import judge_company
    from stocksim.changes.ways import advise
    from stocksim.engine.running import run_season
    from stocksim.faces.options import Bar
    from stocksim.site.reading import load_site

    season = run_season(load_site(site))
    company = judge_company(season)
    bar = Bar("changes")
    advice = advise(season, bar)
    bar.close()
    deliver(company_answer(company, season.site.file.site.units, advice), as_json, topics)
