"""The command that puts a season on paper."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from stocksim.faces.options import Bar, SiteArgument, options, say

EXAMPLES = {"report": "Example: stocksim report house.toml --out report.html"}


def report(
    site: SiteArgument,
    out: Annotated[Path, typer.Option(help="HTML file to write; only a report is replaced.")] = Path("report.html"),
    on: Annotated[
        str | None,
        typer.Option(help="Day that it begins on, as 2027-01-20; by default today, or the first.", show_default=False),
    ] = None,
) -> None:
    """Write one page to print: plan, picture, what to do, feed, power cut, shopping. Reads SITE; writes --out."""
    from stocksim.changes.ways import advise
    from stocksim.engine.running import run_season
    from stocksim.faces.report import first_day, is_report, report_html
    from stocksim.site.reading import load_site
    from stocksim.writing import write_file

    (day,) = options(("--on", on, "date"))
    season = run_season(load_site(site))
    begins = first_day(season, day or dt.date.today(), is_asked=day is not None)
    bar = Bar("changes")
    advice = advise(season, bar)
    bar.close()
    text = report_html(season, advice, begins)
    write_file(out, lambda file: file.write(text), is_report)
    say(f"Wrote {out}: open it in a browser and print it; it needs no network.")
