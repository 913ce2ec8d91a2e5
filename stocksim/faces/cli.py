"""The command line: every command reads what its help says and writes what its help says."""

from __future__ import annotations

import errno
import io
import json
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any

import typer

from stocksim.errors import InputError, StocksimError, shown
from stocksim.faces.bed_command import beds
from stocksim.faces.cold_command import cold
from stocksim.faces.options import number

app = typer.Typer(
    name="stocksim",
    help="A season of fish, feed, ammonia, oxygen and planted area from one site file.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    rich_markup_mode=None,
)
# why standard output may take nothing more; files are written elsewhere, and their faults told there
_OUTPUT_FAULTS = (errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT)
SiteArgument = Annotated[Path, typer.Argument(help="Site file (TOML).", show_default=False)]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, keys carry units.")]

MANY = 1e9  # no bound but of sense: such a number is judged with the other options, so that all is told at once
DAYS = number("--days", -MANY, MANY, "give a whole number of days from 1 to 3660, as 120", whole=True)
RATION = number("--ration", -MANY, MANY, "give a share of full appetite from 0 to 1")
PH = number("--ph", -MANY, MANY, "give a pH from 5 to 10, without a unit")
HOUR = number("--hour", -MANY, MANY, "give an hour of the day from 0 to 24, as 18 or 6.5")
SECONDS = number("--seconds", 1.0, 86400.0, "give seconds from 1 to 86400, as 60")
PORT = number("--port", 1, 65535, "give a port from 1 to 65535, as 8501", whole=True)
GOAL_HELP = 'edible, steady, cost, keep, or some in their order, as "edible,cost"; by default the file\'s.'
PARETO_HELP = 'Two goals to weigh against each other, as "edible,cost".'


def _say(text: str) -> None:
    typer.echo(text, err=True)


def _print_json(data: Any) -> None:
    typer.echo(json.dumps(data, indent=2, allow_nan=False))


@app.command(epilog="Example: stocksim new house.toml")
def new(
    file: Annotated[Path, typer.Argument(help="File to write; never overwritten.", show_default=False)],
    example: Annotated[str, typer.Option(help="Example to start from; see the list in an error.")] = "starter",
    as_json: JsonOption = False,
) -> None:
    """Write a starter site file. Reads nothing; writes FILE."""
    from stocksim.faces.marks import marked
    from stocksim.site.examples import example_names, example_text
    from stocksim.writing import write_file

    if example not in example_names():
        raise InputError(f"--example {shown(example)} is not known; known are {', '.join(example_names())}.")
    write_file(file, lambda out: out.write(example_text(example)))
    if as_json:
        _print_json(marked({"written": str(file), "example": example}))
    else:
        _say(f"Wrote {file}. Edit it, then: stocksim check {file}")


@app.command(epilog="Example: stocksim check house.toml")
def check(site: SiteArgument, as_json: JsonOption = False) -> None:
    """Tell all faults of a site file, or what was understood. Reads SITE and the files it names; writes nothing."""
    from stocksim.faces.answers import understood
    from stocksim.faces.marks import marked
    from stocksim.faces.wrapping import wrapped
    from stocksim.site.reading import load_site

    try:
        loaded = load_site(site)
        known = understood(loaded)
    except InputError as error:
        if as_json:
            faults = [{"table": f.table, "field": f.field, "message": f.message} for f in error.faults]
            _print_json(marked({"faults": faults, "understood": {}}))
        raise
    if as_json:
        _print_json(marked({"faults": [], "understood": known}, loaded))
        return
    typer.echo("no fault, but is this meant?" if known["questions"] else "fine")
    lines = [line for question in known.pop("questions") for line in wrapped(question, "    ", "  ")]
    for key, text in known.items():
        said = text if isinstance(text, list) else [text]
        if len(said) > 1:
            lines += [f"  {key}:", *(line for one in said for line in wrapped(one, "      ", "    "))]
        else:
            lines += wrapped(f"{key}: {said[0] if said else '-'}", "    ", "  ")
    typer.echo("\n".join(lines))


@app.command(epilog="Example: stocksim season house.toml --out results")
def season(
    site: SiteArgument,
    out: Annotated[Path | None, typer.Option(help="Folder for the CSV files and summary.json.")] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 3 when a limit is broken or a cohort loses many fish.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Run the season and print its answer. Reads SITE; with --out writes five CSV files and summary.json."""
    from stocksim.engine.results import SEASON_FILES
    from stocksim.faces.answers import season_text, solve
    from stocksim.faces.season_files import write_season
    from stocksim.faces.words import is_trouble, summary
    from stocksim.site.reading import load_site
    from stocksim.writing import check_folder

    loaded = load_site(site)
    if out is not None:
        check_folder(out, SEASON_FILES, loaded.files())
    answer = solve(loaded)
    if out is not None:
        written = write_season(answer.season, out, answer.findings)
        _say("Wrote " + ", ".join(str(path) for path in written))
    if as_json:
        _print_json(summary(answer.season, answer.findings))
    else:
        typer.echo(season_text(answer.season, answer.findings))
    if strict and is_trouble(answer.season, answer.findings):
        raise typer.Exit(3)


@app.command(epilog='Example: stocksim grow bluegill --from "28 g" --at "26 degC" --days 120')
def grow(
    species: Annotated[str, typer.Argument(help="Key of the species; `stocksim fish` lists them.", show_default=False)],
    start: Annotated[str, typer.Option("--from", help='Weight on the first day, as "28 g".', show_default=False)],
    at: Annotated[str, typer.Option(help='Water temperature, as "26 degC".', show_default=False)],
    days: Annotated[int | None, typer.Option(help="Number of days.", show_default=False, **DAYS)] = None,
    to: Annotated[str | None, typer.Option(help='Weight to reach, as "150 g".', show_default=False)] = None,
    ration: Annotated[float, typer.Option(help="Share of full appetite eaten; 0 is an unfed fish.", **RATION)] = 1.0,
    feed: Annotated[
        str | None, typer.Option(help="Key of the feed; by default the one the species was fitted with.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="CSV file for the daily course.", show_default=False)] = None,
    as_json: JsonOption = False,
) -> None:
    """Grow one fish in good water. Reads the library; with --out writes a CSV file."""
    from stocksim.faces.library_answers import growth_answer, growth_text, write_rows
    from stocksim.faces.options import growth_options

    from_weight_g, temperature_c, to_weight_g = growth_options(species, start, at, days, to, ration, feed)
    answer = growth_answer(species, from_weight_g, temperature_c, days, to_weight_g, ration, feed)
    if out is not None:
        write_rows(out, answer["daily"])
        _say(f"Wrote {out}")
    if as_json:
        _print_json(answer)
    else:
        typer.echo(growth_text(species, answer))


@app.command(epilog="Example: stocksim fish yellow_perch")
def fish(
    species: Annotated[str | None, typer.Argument(help="Key of one species; none lists all.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Show the species library: values, limits, sources, evidence. Reads the library; writes nothing."""
    from stocksim.faces.fish_answers import fish_answer, fish_text

    answer = fish_answer(species)
    if as_json:
        _print_json(answer)
    else:
        typer.echo(fish_text(answer))


@app.command(epilog='Example: stocksim water --at "18 degC" --ph 7.2 --tan "1 mg/L"')
def water(
    at: Annotated[str, typer.Option(help='Water temperature, as "64 degF".', show_default=False)],
    ph: Annotated[float | None, typer.Option(help="pH, without a unit.", show_default=False, **PH)] = None,
    tan: Annotated[str | None, typer.Option(help='Total ammonia nitrogen, as "2 mg/L".', show_default=False)] = None,
    elevation: Annotated[str, typer.Option(help='Height above the sea, as "850 ft".')] = "0 m",
    alkalinity: Annotated[
        str | None,
        typer.Option(help='Alkalinity as CaCO3, as "80 mg/L"; with pH it gives CO2.', show_default=False),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Oxygen saturation, un-ionized ammonia, CO2 and each species' limits. Reads the library; writes nothing."""
    from stocksim.faces.library_answers import water_answer, water_text
    from stocksim.faces.options import options

    temperature_c, tan_mg_l, elevation_m, alkalinity_mg_l = options(
        ("--at", at, "temperature"),
        ("--tan", tan, "concentration"),
        ("--elevation", elevation, "length"),
        ("--alkalinity", alkalinity, "concentration"),
    )
    answer = water_answer(temperature_c, ph, tan_mg_l, elevation_m, alkalinity_mg_l)
    if as_json:
        _print_json(answer)
    else:
        typer.echo(water_text(answer))


app.command(epilog="Example: stocksim beds house.toml")(beds)


@app.command(epilog='Example: stocksim powercut house.toml --on 2027-01-20 --battery "10 W" --room "5 degC"')
def powercut(
    site: SiteArgument,
    on: Annotated[
        str | None, typer.Option(help="Day of the cut, as 2027-01-20; by default the worst.", show_default=False)
    ] = None,
    hour: Annotated[
        float | None,
        typer.Option(help="Hour of the day, 0 to 24; by default the worst, 18.", show_default=False, **HOUR),
    ] = None,
    battery: Annotated[
        str | None, typer.Option(help='Battery air pump beside each tank, as "10 W".', show_default=False)
    ] = None,
    cylinder: Annotated[
        str | None,
        typer.Option(help='Water capacity of one oxygen cylinder for all tanks, as "10 L".', show_default=False),
    ] = None,
    pressure: Annotated[
        str | None, typer.Option(help='Pressure on its gauge, as "150 bar" or "2200 psi".', show_default=False)
    ] = None,
    room: Annotated[
        str | None, typer.Option(help='Coldest air around the tanks, as "5 degC"; else freezing.', show_default=False)
    ] = None,
    heater: Annotated[
        str | None, typer.Option(help='Heater the generator must carry as well, as "1500 W".', show_default=False)
    ] = None,
    head: Annotated[str, typer.Option(help='Head of the pumps, for the generator, as "6 ft".')] = "2 m",
    as_json: JsonOption = False,
) -> None:
    """Tell how long each tank has when pump, air and heat stop. Reads SITE; writes nothing."""
    from stocksim.engine.running import run_season
    from stocksim.faces.marks import marked
    from stocksim.faces.options import powercut_options
    from stocksim.faces.powercut import powercut_answer, powercut_text
    from stocksim.planning.outage import power_cut

    loaded, asked = powercut_options(
        site, on, hour, battery=battery, cylinder=cylinder, pressure=pressure, room=room, heater=heater, head=head
    )
    cut = power_cut(run_season(loaded), **asked)
    units = loaded.file.site.units
    if as_json:
        _print_json(marked(powercut_answer(cut, units), loaded))
    else:
        typer.echo(powercut_text(cut, units))


@app.command(epilog="Example: stocksim ramp house.toml --from 2027-03-15")
def ramp(
    site: SiteArgument,
    start: Annotated[
        str | None,
        typer.Option("--from", help="First day, as 2027-03-15; by default the season's.", show_default=False),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Tell how fast feeding may rise on a young or winter-shrunken biofilter. Reads SITE; writes nothing."""
    from stocksim.faces.answers import Bar
    from stocksim.faces.marks import marked
    from stocksim.faces.options import options, options_named
    from stocksim.faces.ramp_data import ramp_answer
    from stocksim.faces.ramp_words import ramp_text
    from stocksim.planning.ramp import feeding_ramp
    from stocksim.site.reading import load_site

    (day,) = options(("--from", start, "date"))
    loaded = load_site(site)
    bar = Bar("weeks")
    with options_named("--from"):
        found = feeding_ramp(loaded, day, bar)
    bar.close()
    units = loaded.file.site.units
    if as_json:
        _print_json(marked(ramp_answer(found, units), loaded))
    else:
        typer.echo(ramp_text(found, units))


@app.command(epilog="Example: stocksim company house.toml --json")
def company(site: SiteArgument, as_json: JsonOption = False) -> None:
    """Tell who may share a tank or a loop, with reasons. Reads SITE; writes nothing."""
    from stocksim.faces.company_answers import company_output

    typer.echo(company_output(site, as_json))


app.command(epilog="Example: stocksim cold house.toml --worth 9")(cold)


@app.command(epilog="Example: stocksim stock house.toml --goal edible,cost --out plan")
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
    from stocksim.faces.stock_answer import stock_output

    typer.echo(stock_output(site, goal, pareto, reasons, seconds, out, as_json))


@app.command("open", epilog="Example: stocksim open house.toml --no-browser")
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
    """Print the season's answer, then serve the pages with it. Reads SITE; a page writes it only when told to save.

    A faulty SITE is told and served all the same: the pages open where it can be mended.
    """
    from stocksim.faces.answers import season_text, solve
    from stocksim.faces.serving import access, refuse_port, serve
    from stocksim.site.examples import FOLDER
    from stocksim.site.reading import load_site
    from stocksim.site.saving import read_text

    who = access(network, read_only, token)
    refuse_port(port)
    if site is not None:
        read_text(site)  # what cannot even be read as text cannot be mended on a page either
    try:
        answer = solve(load_site(site or FOLDER / "heron_lane.toml"))
        typer.echo(season_text(answer.season, answer.findings))
    except InputError as error:
        for fault in error.faults:
            _say(str(fault))
        _say("The site cannot be run as it stands; the pages open where it can be mended.")
    sys.stdout.flush()
    raise typer.Exit(serve(site, port, open_browser=not no_browser, who=who))


def main() -> None:
    """Run a command; an explained error is printed a sentence a line and exits with 2."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a name the terminal cannot show must not end the run
    code: Any = 0
    lost: str | None = None
    try:
        app()
    except StocksimError as error:
        code = 2
        with suppress(OSError):
            for fault in error.faults:
                _say(str(fault))
    except SystemExit as stop:
        code = stop.code
    except OSError as error:
        if error.filename is not None or error.errno not in _OUTPUT_FAULTS:  # not of what we print, so our bug
            raise
        lost = error.strerror
    lost = _output_fault() or lost
    if lost is not None:
        code = 1
        with suppress(OSError):
            _say(f"The answer cannot be written to standard output ({lost}).")
        # else Python tries once more as it ends, and shows a traceback
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)


def _output_fault() -> str | None:
    """Why standard output takes nothing more, as a full disk; None where it does."""
    try:
        sys.stdout.flush()
    except OSError as error:
        return error.strerror or str(error)
    return None


if __name__ == "__main__":
    main()
