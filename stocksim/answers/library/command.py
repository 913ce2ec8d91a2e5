"""The commands about fish and water by themselves."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stocksim.errors import Fault, InputError
from stocksim.faces.options import JsonOption, Topics, deliver, number, read_options, say
from stocksim.units import system_of

EXAMPLES = {
    "grow": 'Example: stocksim grow bluegill --from "28 g" --at "26 degC" --days 120',
    "fish": "Example: stocksim fish yellow_perch",
    "water": 'Example: stocksim water --at "18 degC" --ph 7.2 --tan "1 mg/L"',
}
# what formulas of water and growth are good for [degC]
_WATER_C = (0.0, 40.0)
MANY = 1e9  # no bound but of sense: such a number is judged with the other options, so that all is told at once
DAYS = number("--days", -MANY, MANY, "give a whole number of days from 1 to 3660, as 120", whole=True)
RATION = number("--ration", -MANY, MANY, "give a share of full appetite from 0 to 1")
PH = number("--ph", -MANY, MANY, "give a pH from 5 to 10, without a unit")


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
    from stocksim.answers.library.card import growth_answer, write_rows

    from_weight_g, temperature_c, to_weight_g = growth_options(species, start, at, days, to, ration, feed)
    answer = growth_answer(species, from_weight_g, temperature_c, days, to_weight_g, ration, feed, system_of(at))
    if out is not None:
        write_rows(out, answer.data["daily"])
        say(f"Wrote {out}")
    deliver(answer, as_json)


def fish(
    species: Annotated[str | None, typer.Argument(help="Key of one species; none lists all.")] = None,
    us: Annotated[bool, typer.Option("--us", help="In US units; tables of values stay as the species file.")] = False,
    as_json: JsonOption = False,
    topics: Topics = (),
) -> None:
    """Show the species library: values, limits, sources, evidence. Reads the library; writes nothing."""
    from stocksim.answers.library.answer import fish_answer

    deliver(fish_answer(species, units="us" if us else "metric"), as_json, topics)


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
    from stocksim.answers.library.card import water_answer
    from stocksim.faces.options import options

    temperature_c, tan_mg_l, elevation_m, alkalinity_mg_l = options(
        ("--at", at, "temperature"),
        ("--tan", tan, "concentration"),
        ("--elevation", elevation, "length"),
        ("--alkalinity", alkalinity, "concentration"),
    )
    deliver(water_answer(temperature_c, ph, tan_mg_l, elevation_m, alkalinity_mg_l, system_of(at)), as_json)


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
