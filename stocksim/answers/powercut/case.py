"""What a keeper states of a power cut, on the command line or in the page's form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from stocksim.answers.powercut.decide import PowerCut, circuit_faults, cut_faults, power_cut
from stocksim.engine.results.frames import Season
from stocksim.errors import Fault, InputError
from stocksim.faces.days import read_day
from stocksim.site.pumps import circuit_w
from stocksim.units import parse_quantity

# key of the form -> label with an example, what `power_cut` calls it, dimension, factor to its unit
AMOUNTS = {
    "battery": ("Battery air pump, each tank", "10 W", "battery_w", "power", 1.0),
    "cylinder": ("Oxygen cylinder, water volume", "10 L", "cylinder_l", "volume", 1000.0),
    "pressure": ("Pressure on its gauge", "150 bar", "cylinder_bar", "pressure", 1.0),
    "room": ("Coldest room air", "5 degC", "room_c", "temperature", 1.0),
    "heater": ("Heater on the generator", "1500 W", "heater_w", "power", 1.0),
    "head": ("Head of the pumps", "2 m", "head_m", "length", 1.0),
}
FAILS = "Circuits that fail"
NO_BATTERY = "0 W is no battery air pump; give the power of yours, or leave this out."
EXAMPLES_US = {"cylinder": "2.6 gal", "pressure": "2200 psi", "room": "40 degF", "head": "6 ft"}


def circuits_of(text: str | None) -> list[str] | None:
    """Circuits as they were written with commas between; None for all.

    Examples
    --------
    >>> circuits_of("air, water "), circuits_of(None)
    (['air', 'water'], None)
    """
    return None if text is None else [name.strip() for name in text.split(",") if name.strip()]


def example_of(key: str, units: str) -> str:
    """What a keeper of a system of units might type."""
    return EXAMPLES_US.get(key, AMOUNTS[key][1]) if units == "us" else AMOUNTS[key][1]


def read_amounts(
    texts: Mapping[str, str | None], names: Mapping[str, str]
) -> tuple[dict[str, float | None], list[Fault]]:
    """Amounts as they were written.

    Parameters
    ----------
    texts : mapping of str to str or None
        By the keys of `AMOUNTS`; None where nothing was written.
    names : mapping of str to str
        What the keeper knows each by.

    Returns
    -------
    dict of str to float or None
        As `cut_faults` takes them: None where nothing was written, without those that cannot be read.
    list of Fault
        One for each that cannot be read, and for a battery of no power.
    """
    read: dict[str, float | None] = {}
    faults = []
    for key, (_, _, _, dimension, factor) in AMOUNTS.items():
        text = texts[key]
        try:
            read[key] = None if text is None else factor * parse_quantity(text, dimension)
        except InputError as error:
            faults += [Fault("", names[key], fault.message) for fault in error.faults]
    if read.get("battery") == 0.0:
        faults.append(Fault("", names["battery"], NO_BATTERY))
    return read, faults


def arguments(amounts: Mapping[str, float | None]) -> dict[str, Any]:
    """What `power_cut` is asked of amounts that were read."""
    return {AMOUNTS[key][2]: amount for key, amount in amounts.items() if amount is not None}


def cut_of_typed(season: Season, typed: Mapping[str, str]) -> PowerCut:
    """Power cut of what stands in the form; an empty field takes the default.

    Parameters
    ----------
    season : Season
        A season that was run.
    typed : mapping of str to str
        ``day`` as 2027-01-20, ``hour`` as 18 or 6.5, ``fails`` as names of circuits with commas between, and the keys
        of `AMOUNTS` with their units.

    Returns
    -------
    PowerCut
        As `stocksim.answers.powercut.decide.power_cut` gives it.

    Raises
    ------
    InputError
        With a sentence for every field that cannot be read.
    """
    written = {key: typed.get(key, "").strip() or None for key in ("day", "hour", "fails", *AMOUNTS)}
    names = {"on": "Day", "hour": "Hour", "fails": FAILS} | {key: label for key, (label, *_) in AMOUNTS.items()}
    on, hour, faults = None, None, []
    if (day := written["day"]) is not None:
        try:
            on = read_day(day)
        except ValueError:
            faults.append(Fault("", names["on"], f'"{day}" is not a date; write it as {season.dates[0]}.'))
    if (at := written["hour"]) is not None:
        try:
            hour = float(at)
        except ValueError:
            faults.append(Fault("", names["hour"], f'"{at}" is not an hour of the day; write it as 18 or 6.5.'))
    amounts, unread = read_amounts(written, names)
    bounds = cut_faults(season.dates[0], season.dates[-1], on, {"hour": hour, **amounts})
    fails = circuits_of(written["fails"])
    bounds += circuit_faults(circuit_w(season.site.file), fails)
    faults += [*unread, *(replace(fault, field=names[fault.field]) for fault in bounds)]
    if faults:
        raise InputError(faults)
    return power_cut(season, on, hour, fails=fails, **arguments(amounts))
