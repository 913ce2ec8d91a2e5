"""The command that tells how long each tank has in a power cut."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Any

import typer

from stocksim.errors import InputError, StocksimError
from stocksim.faces.options import (
    JsonOption,
    SiteArgument,
    Topics,
    deliver,
    named,
    number,
    read_options,
    site_from_book,
)

EXAMPLES = {
    "powercut": 'Example: stocksim powercut house.toml --on 2027-01-20 --battery "10 W" --room "5 degC"',
}
MANY = 1e9  # no bound but of sense: such a number is judged with the other options, so that all is told at once
HOUR = number("--hour", -MANY, MANY, "give an hour of the day from 0 to 24, as 18 or 6.5")


def powercut(
    site: SiteArgument,
    on: Annotated[
        str | None, typer.Option(help="Day of the cut, as 2027-01-20; by default the worst.", show_default=False)
    ] = None,
    hour: Annotated[
        float | None,
        typer.Option(help="Hour of the day, 0 to 24; by default the worst.", show_default=False, **HOUR),
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
        str | None,
        typer.Option(help='Coldest air around the tanks, as "5 degC"; else computed, or freezing.', show_default=False),
    ] = None,
    heater: Annotated[
        str | None, typer.Option(help='Heater the generator must carry as well, as "1500 W".', show_default=False)
    ] = None,
    head: Annotated[
        str, typer.Option(help='Lift height of pumps whose nameplate the file does not give, as "6 ft".')
    ] = "2 m",
    fails: Annotated[
        str | None, typer.Option(help='Circuits that fail, as "air, water"; else all of the file.', show_default=False)
    ] = None,
    as_json: JsonOption = False,
    topics: Topics = (),
) -> None:
    """Show how long each tank has when pump, air and heat stop. Reads SITE; writes nothing."""
    from stocksim.answers.powercut.answer import powercut_answer
    from stocksim.answers.powercut.decide import power_cut
    from stocksim.answers.powercut.winters import cold_winters
    from stocksim.engine.running import run_season

    loaded, asked = powercut_options(
        site,
        on,
        hour,
        fails,
        battery=battery,
        cylinder=cylinder,
        pressure=pressure,
        room=room,
        heater=heater,
        head=head,
    )
    ran = run_season(loaded)
    cut, winters = power_cut(ran, **asked), cold_winters(ran, asked["fails"])
    deliver(powercut_answer(cut, loaded, loaded.file.site.units, winters=winters), as_json, topics)


def powercut_options(
    site: Path, on: str | None, hour: float | None, fails: str | None = None, **texts: str | None
) -> tuple[Any, dict[str, Any]]:
    """Site, and what `stocksim.answers.powercut.decide.power_cut` is asked, of the options of `powercut`.

    Parameters
    ----------
    site : Path
        The site file.
    on, hour, fails : str, float, str, optional
        Day, hour and circuits as written.
    **texts : str, optional
        Of ``battery``, ``cylinder``, ``pressure``, ``room``, ``heater``, ``head``.

    Returns
    -------
    Site, dict
        The site, and arguments of `power_cut`.

    Raises
    ------
    InputError
        With every fault of the site and of all options.
    """
    from stocksim.answers.powercut.case import AMOUNTS, arguments, circuits_of, read_amounts
    from stocksim.answers.powercut.decide import circuit_faults, cut_faults
    from stocksim.site.pumps import circuit_w

    (day,), faults = read_options(("--on", on, "date"))
    amounts, unread = read_amounts(texts, {key: f"--{key}" for key in AMOUNTS})
    faults += unread
    first, last = dt.date.min, dt.date.max
    loaded = None
    try:
        loaded = site_from_book(site)
        first, last = loaded.file.season.start, loaded.file.season.end
    except StocksimError as error:
        faults += error.faults
    circuits = circuits_of(fails)
    if loaded is not None:
        faults += named(circuit_faults(circuit_w(loaded.file), circuits))
    faults += named(cut_faults(first, last, day, {"hour": hour, **amounts}))
    if faults:
        raise InputError(faults)
    return loaded, {"on": day, "hour": hour, "fails": circuits, **arguments(amounts)}
