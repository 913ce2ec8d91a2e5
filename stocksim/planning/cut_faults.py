"""What a power cut may be asked, and every fault of what was asked."""

from __future__ import annotations

import datetime as dt

from stocksim.errors import Fault

_ALLOWED = {  # option -> least, greatest, in words; the bounds only catch slips
    "hour": (0.0, 24.0, "give an hour of the day from 0 to 24, as 18 or 6.5"),
    "battery": (0.0, 1e5, "a battery air pump has 0 to 100,000 W"),
    "cylinder": (0.0, 1e5, "a cylinder holds 0 to 100,000 L of water"),
    "pressure": (0.0, 200.0, "give 0 to 200 bar, and count a fuller cylinder as 200 bar, the safe side"),
    "room": (-60.0, 60.0, "a room lies between -60 and 60 degC"),
    "heater": (0.0, 1e6, "a heater has 0 to 1,000 kW"),
    "head": (0.0, 100.0, "a head lies between 0 and 100 m"),
}


def cut_faults(first: dt.date, last: dt.date, on: dt.date | None, given: dict[str, float | None]) -> list[Fault]:
    """Everything impossible in what a power cut is asked.

    Parameters
    ----------
    first, last : date
        First and last day of the season.
    on : date or None
        Day of the cut, None for the worst.
    given : dict of str to float or None
        Hour and amounts by the names of the options, in the units of `stocksim.planning.outage.power_cut`; None takes
        the default, and a key left out is not looked at.

    Returns
    -------
    list of Fault
        One for each, its field the option's name.
    """
    bad = []
    if on is not None and not first <= on <= last:
        bad.append(Fault("", "on", f"{on} lies outside the season; give a day from {first} to {last}."))
    for name, value in given.items():
        low, high, allowed = _ALLOWED[name]
        if value is not None and not low <= value <= high:
            bad.append(Fault("", name, f"{value:g} is not allowed; {allowed}."))
    if {"cylinder", "pressure"} <= set(given) and bool(given["cylinder"]) != bool(given["pressure"]):
        bad.append(Fault("", "cylinder", "give both, the water capacity stamped on it and the pressure on its gauge."))
    return bad
