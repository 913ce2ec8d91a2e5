"""Options of the command line read and judged together, so that every fault is told at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from stocksim.errors import Fault, InputError, StocksimError
from stocksim.faces.days import read_day
from stocksim.units import parse_quantity

# what formulas of water and growth are good for [degC]
_WATER_C = (0.0, 40.0)


def read_options(*wanted: tuple[str, str | None, str]) -> tuple[list[Any], list[Fault]]:
    """Values of options given as (name, text, dimension or date).

    Parameters
    ----------
    *wanted : tuple of (str, str or None, str)
        Option, its text, and a dimension of `stocksim.units` or ``date``.

    Returns
    -------
    list
        A value for each, None for one that was not given or cannot be read.
    list of Fault
        One for each that cannot be read.
    """
    values: list[Any] = []
    faults = []
    for name, text, dimension in wanted:
        value = None
        try:
            if text is not None:
                value = _date(text) if dimension == "date" else parse_quantity(text, dimension)
        except InputError as error:
            faults.append(Fault("", "", f"{name}: {error}"))
        values.append(value)
    return values, faults


def options(*wanted: tuple[str, str | None, str]) -> list[Any]:
    """Values of `read_options`; raises InputError with all its faults."""
    values, faults = read_options(*wanted)
    if faults:
        raise InputError(faults)
    return values


def _date(text: str) -> dt.date:
    try:
        return read_day(text)
    except ValueError:
        raise InputError(f'"{text}" is not a date; write it as 2027-01-20.') from None


def _named(faults: list[Fault], only: str = "") -> list[Fault]:
    return [f if f.table else replace(f, field=f"--{f.field}" if f.field else only) for f in faults]


@contextmanager
def options_named(only: str = "") -> Iterator[None]:
    """Faults of what a plan was asked, told with the option as the keeper wrote it."""
    try:
        yield
    except InputError as error:
        raise InputError(_named(error.faults, only)) from None


def growth_options(
    species: str, start: str, at: str, days: int | None, to: str | None, ration: float, feed: str | None
) -> tuple[float, float, float | None]:
    """Weight at the start [g], water [degC] and weight to reach [g] of the options of `grow`.

    Raises
    ------
    InputError
        With every fault of all options.
    """
    from stocksim.engine.running import growth_faults

    (from_weight_g, temperature_c, to_weight_g), faults = read_options(
        ("--from", start, "weight"), ("--at", at, "temperature"), ("--to", to, "weight")
    )
    in_range = temperature_c
    if temperature_c is not None and not _WATER_C[0] <= temperature_c <= _WATER_C[1]:
        words = f"water of {temperature_c:g} degC is not allowed; give {_WATER_C[0]:g} to {_WATER_C[1]:g} degC."
        faults.append(Fault("", "", words))
        in_range = None
    faults += growth_faults(species, from_weight_g, in_range, days, to_weight_g, ration, feed)
    if (days is None) == (to is None):
        faults.append(Fault("", "", "give either a number of days or a weight to reach, not both and not neither."))
    if faults:
        raise InputError(faults)
    return from_weight_g, temperature_c, to_weight_g


def powercut_options(site: Path, on: str | None, hour: float | None, **texts: str | None) -> tuple[Any, dict[str, Any]]:
    """Site, and what `stocksim.planning.outage.power_cut` is asked, of the options of `powercut`.

    Parameters
    ----------
    site : Path
        The site file.
    on, hour : str, float, optional
        Day and hour as written.
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
    from stocksim.faces.card import AMOUNTS, NO_BATTERY
    from stocksim.planning.cut_faults import cut_faults
    from stocksim.site.reading import load_site

    (day, *amounts), faults = read_options(
        ("--on", on, "date"), *((f"--{key}", texts[key], AMOUNTS[key][3]) for key in AMOUNTS)
    )
    if amounts[list(AMOUNTS).index("battery")] == 0.0:
        faults.append(Fault("", "--battery", NO_BATTERY))
    given: dict[str, float | None] = {"hour": hour}
    for key, amount in zip(AMOUNTS, amounts, strict=True):
        if amount is not None or texts[key] is None:  # one that cannot be read is judged no further
            given[key] = (amount or 0.0) * AMOUNTS[key][4]
    first, last = dt.date.min, dt.date.max
    loaded = None
    try:
        loaded = load_site(site)
        first, last = loaded.file.season.start, loaded.file.season.end
    except StocksimError as error:
        faults += error.faults
    faults += _named(cut_faults(first, last, day, given))
    if faults:
        raise InputError(faults)
    return loaded, {"on": day, "hour": hour} | {AMOUNTS[key][2]: given[key] for key in AMOUNTS}
