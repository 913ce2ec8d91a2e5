"""Faults and notes of weather, rooms and heat."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from stocksim.climate.greenhouse import FUELS
from stocksim.errors import Fault, InputError
from stocksim.site.climate_tables import ComputedTemperature, HeaterTable, NormalsWeather
from stocksim.site.model import SiteFile
from stocksim.site.rooms import ROOMS, cover_area
from stocksim.site.weather import site_weather
from stocksim.units import format_quantity

NEEDED = (
    'needs [weather] with monthly lows and highs, a room ([greenhouse] or [fish_room]) and site.latitude; the example '
    '"heron_lane_computed" has them all'
)  # fmt: skip


def heaters(file: SiteFile) -> Iterator[tuple[str, HeaterTable]]:
    """Place and table of every heater."""
    for name in ROOMS:
        table = getattr(file, name)
        if table is not None and table.heater is not None:
            yield f"{name}", table.heater
    for key, loop in file.loops.items():
        if loop.heat is not None and loop.heat.heater is not None:
            yield f"loops.{key}", loop.heat.heater


def has_climate(file: SiteFile) -> bool:
    """Whether a site tells enough to compute its heat."""
    return (
        file.weather is not None
        and file.site.latitude is not None
        and any(getattr(file, name) is not None for name in ROOMS)
    )


def climate_faults(file: SiteFile, raw: Mapping[str, Any]) -> list[Fault]:
    """Faults that show when the tables of weather, rooms and heat are read together; ``raw`` is the file as written."""
    faults = []
    for place, heater in heaters(file):
        field = "heater" if place in ROOMS else "heat.heater"
        units = FUELS[heater.fuel].kwh_per
        if heater.price_per is not None and heater.price_per not in units:
            known = ", ".join(f'"{unit}"' for unit in units)
            faults.append(Fault(place, f"{field}.price_per", f'"{heater.price_per}" is not how {heater.fuel} is sold '
                                f"here; use one of {known}."))  # fmt: skip
        if (heater.price is None) != (heater.price_per is None):
            faults.append(Fault(place, f"{field}.price", 'needs price and price_per together, as 2.4 and "gal".'))
    normals = file.weather
    if isinstance(normals, NormalsWeather):
        for month, low in normals.low.items():
            high = normals.high.get(month)
            if high is not None and low > high:
                words = [format_quantity(value, "temperature", file.site.units) for value in (low, high)]
                message = f"{words[0]} is above the high of that month, {words[1]}; check the two."
                faults.append(Fault("weather", f"low.{month}", message))
        coldest = min(normals.low.values(), default=None)
        if normals.design_cold is not None and coldest is not None and normals.design_cold > coldest:
            words = [format_quantity(v, "temperature", file.site.units) for v in (normals.design_cold, coldest)]
            message = f"{words[0]} is above the coldest normal low, {words[1]}; give the low of a rare cold night."
            faults.append(Fault("weather", "design_cold", message))
    house = file.greenhouse
    if house is not None and house.insulated_wall is not None and house.insulated_wall.area > cover_area(house):
        area = format_quantity(cover_area(house), "area", file.site.units)
        faults.append(Fault("greenhouse", "insulated_wall.area", f"is more than the whole cover, {area}; give less."))
    for table, entries in (("loops", file.loops), ("tanks", file.tanks), ("beds", file.beds)):
        for key, entry in entries.items():
            room = entry.heat.room if entry.heat is not None else None
            if room in ROOMS and getattr(file, room) is None and room not in raw:
                message = f'"{room}" has no table of its own; write [{room}] with its size, or name another room.'
                faults.append(Fault(f"{table}.{key}", "heat.room", message))
    return faults


def climate_when_read(
    file: SiteFile, folder: Path, raw: Mapping[str, Any], has_season: bool
) -> tuple[list[str], list[Fault]]:
    """What weather, rooms and heaters tell without a heat balance.

    Parameters
    ----------
    file : SiteFile
        The tables.
    folder : Path
        Where a weather file is looked up.
    raw : mapping
        The file as written: a table that stands there with faults of its own is not missing.
    has_season : bool
        Whether the season is sound.

    Returns
    -------
    tuple of list of str, list of Fault
        Notes and faults.
    """
    computed = [key for key, loop in file.loops.items() if isinstance(loop.water_temperature, ComputedTemperature)]
    faults = climate_faults(file, raw)
    notes = hemisphere_notes(file) + unvented_notes(file)
    spoilt = [name for name in ("weather", *ROOMS) if name in raw and getattr(file, name) is None]
    written = raw.get("site")
    if file.site.latitude is None and isinstance(written, Mapping) and "latitude" in written:
        spoilt.append("site")  # a fault elsewhere in [site] leaves nothing of the table
    if computed and not has_climate(file):
        if not spoilt:
            faults += [Fault(f"loops.{key}", "water_temperature", f"{NEEDED}.") for key in computed]
        return notes, faults
    if file.weather is None or faults or spoilt or not has_season or file.site.latitude is None:
        return notes, faults
    try:
        weather = site_weather(file, folder)
    except InputError as error:
        return notes, list(error.faults)
    return [*notes, *(weather.notes if computed else ())], []


def hemisphere_notes(file: SiteFile) -> list[str]:
    """Warnings of normals that look like the other hemisphere's."""
    table, latitude = file.weather, file.site.latitude
    if not isinstance(table, NormalsWeather) or latitude is None or abs(latitude) < 15.0:
        return []
    notes = []
    for field in ("low", "high", "mean"):
        values = getattr(table, field)
        if "jan" not in values or "jul" not in values:
            continue
        is_north = latitude > 0.0
        if (values["jul"] < values["jan"]) == is_north and values["jul"] != values["jan"]:
            north, other = ("north", "south") if is_north else ("south", "north")
            notes.append(
                f"weather.{field}: July is {'colder' if is_north else 'warmer'} than January, yet latitude "
                f"{latitude:g} lies in the {north}; check the months, or the sign of the latitude ({other} of the "
                "equator it is the other way round)."
            )
    return notes


def unvented_notes(file: SiteFile) -> list[str]:
    """Heaters that burn without a flue."""
    notes = []
    for place, heater in heaters(file):
        if heater.fuel != "electricity" and not heater.vented:
            notes.append(
                f"{place}: an unvented heater fills the house with carbon monoxide, moisture and ethylene, which can "
                "kill people and harm crops; vent it outside, and let a licensed trade look at it."
            )
    return notes
