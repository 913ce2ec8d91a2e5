"""The command that tells who may share a tank or a loop."""

from __future__ import annotations

from stocksim.faces.options import JsonOption, SiteArgument, deliver

EXAMPLES = {
    "company": "Example: stocksim company house.toml --json",
}


def company(site: SiteArgument, as_json: JsonOption = False) -> None:
    """Tell who may share a tank or a loop, with reasons. Reads SITE; writes nothing."""
    from stocksim.answers.tankmates.answer import company_answer
    from stocksim.answers.tankmates.decide import judge_company
    from stocksim.engine.running import run_season
    from stocksim.site.reading import load_site

    loaded = load_site(site)
    deliver(company_answer(judge_company(run_season(loaded)), loaded.file.site.units), as_json)
