"""The commands that run a season: printed, written, and served on the pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from stocksim.errors import InputError
from stocksim.faces.options import JsonOption, SiteArgument, Topics, deliver, number, say, site_from_book

EXAMPLES = {
    "season": "Example: stocksim season house.toml --out results",
    "open": "Example: stocksim open house.toml --no-browser",
}
PORT = number("--port", 1, 65535, "give a port from 1 to 65535, as 8501", whole=True)


def season(
    site: SiteArgument,
    out: Annotated[Path | None, typer.Option(help="Folder for the CSV files and summary.json.")] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 3 when a limit is broken or a batch loses many fish.")
    ] = False,
    plan: Annotated[bool, typer.Option("--plan", help="The whole season as planned, without the record book.")] = False,
    chance: Annotated[
        bool,
        typer.Option("--chance", help="Say how likely the verdict is too, by 256 drawn seasons; some seconds more."),
    ] = False,
    as_json: JsonOption = False,
    topics: Topics = (),
) -> None:
    """Run the season and print its answer. Reads SITE and, where there is one, the record book beside it: then the
    season from today on; with --out writes five CSV files and summary.json."""
    from stocksim.answers.season.answer import season_answer, solve, with_advice, write_season
    from stocksim.engine.results.frames import SEASON_FILES
    from stocksim.faces.options import Bar
    from stocksim.site.reading import load_site
    from stocksim.writing import check_folder

    loaded = load_site(site) if plan else site_from_book(site)
    if out is not None:
        check_folder(out, SEASON_FILES, loaded.files())
    solved = solve(loaded)
    if out is not None:
        written = write_season(solved.season, out, advice=solved.advice)
        say("Wrote " + ", ".join(str(path) for path in written))
    sure = None
    if chance:
        from stocksim.drawn.sureness import sureness

        bar = Bar("seasons")
        sure = with_advice(sureness(loaded, bar), solved.season, solved.advice, bar)
        bar.close()
    answer = season_answer(solved.season, solved.findings, advice=solved.advice, sure=sure)
    deliver(answer, as_json, topics)
    if strict and (answer.is_trouble or answer.is_caution):
        raise typer.Exit(3)


def open_pages(
    site: Annotated[Path | None, typer.Argument(help="Site file; none takes the demonstration site.")] = None,
    port: Annotated[int, typer.Option(help="Port of the pages.", **PORT)] = 8501,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Serve without opening a browser.")] = False,
    network: Annotated[
        bool,
        typer.Option("--network", help="Let other devices of your network see the pages, as a phone by the tank."),
    ] = False,
    read_only: Annotated[
        bool, typer.Option("--read-only", help="Nobody can change the site on the pages, or save it.")
    ] = False,
    token: Annotated[
        str | None,
        typer.Option(help="With --network: what a device must bring; a random one by default.", show_default=False),
    ] = None,
) -> None:
    """Serve the pages, and print the season's answer meanwhile. Reads SITE; a page writes it only when asked to save.

    A faulty SITE is served all the same, after its faults: the pages open where it can be fixed.
    """
    from stocksim.answers.season.answer import season_answer, solve
    from stocksim.faces.serving import access, refuse_port, serve
    from stocksim.site.examples import FOLDER
    from stocksim.site.reading import load_site
    from stocksim.site.saving import read_text

    who = access(network, read_only, token)
    refuse_port(port)
    if site is not None:
        read_text(site)  # what cannot even be read as text cannot be mended on a page either

    def tell() -> None:
        try:
            answer = solve(load_site(site or FOLDER / "heron_lane.toml"))
            deliver(season_answer(answer.season, answer.findings, advice=answer.advice))
        except InputError as error:
            for fault in error.faults:
                say(str(fault))
            say("The site cannot be run as it stands; the pages open where it can be fixed.")
        except OSError:  # nobody reads what is printed: the pages answer all the same
            return
        sys.stdout.flush()

    raise typer.Exit(serve(site, port, open_browser=not no_browser, who=who, meanwhile=tell))
