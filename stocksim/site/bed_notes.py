"""What was assumed of light, air and beds where a site file is silent: one sentence each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from stocksim.climate.daylight import extraterrestrial_radiation
from stocksim.errors import InputError
from stocksim.library.sources import Entry
from stocksim.opening import beside
from stocksim.site.climate_faults import has_climate
from stocksim.site.climate_tables import FileWeather
from stocksim.site.fish_tables import BedsRation
from stocksim.site.model import BedTable, SiteFile
from stocksim.site.warm_rooms import ROOMS, room_of
from stocksim.site.weather_file import weather_file_has_sun

# Leafy crops ripen up to 14 % before the shortest published span in good light (docs/beds.md)
READY_SHARE = 0.86


def bed_room(bed: BedTable, file: SiteFile) -> str | None:
    """Room that a bed stands in; None where a site tells no rooms and does not put the bed outdoors."""
    room = room_of(bed.heat, file, bed.loop)
    if room != "outdoors" or any(getattr(file, name) is not None for name in ROOMS):
        return room
    told = [heat for heat in (bed.heat, file.loops[bed.loop].heat) if heat is not None and heat.room is not None]
    return room if told else None


def weather_has_sun(file: SiteFile, folder: Path | None) -> bool:
    """Whether the weather of a site tells its sun: typed sun or cloud, or a file with a column of sun."""
    table = file.weather
    if table is None or file.site.latitude is None:
        return False
    if not isinstance(table, FileWeather):
        return bool(table.sun or table.cloud)
    try:
        return weather_file_has_sun(beside(folder or Path(), table.file))
    except InputError:
        return False


def has_published_ratio(bed_kind: str, crop: Entry) -> bool:
    """Whether handbooks give a feed ratio for a crop in a kind of bed: none for towers and wicking beds."""
    return bed_kind not in ("tower", "wicking") and "feed_ratio_low" in crop.values


def bed_notes(file: SiteFile, crops: Mapping[str, Entry], folder: Path | None = None) -> list[str]:
    """Notes on the planted beds of a site file without faults; none where nothing is planted.

    Parameters
    ----------
    file : SiteFile
        The tables.
    crops : mapping of str to Entry
        Crops that its plantings name.
    folder : Path, optional
        Where a weather file is looked up.

    Returns
    -------
    list of str
        Sentences that name the place first.
    """
    if not any(bed.plantings for bed in file.beds.values()):
        return []
    site, notes = file.site, []
    if site.latitude is None:
        notes.append("site.latitude is not given: light is that of 45 degrees north; write yours, as 43.5.")
    notes += _assumed(file, folder)
    notes += _unrated_rations(file, crops)
    dark = dark_days(file)
    if dark:
        notes.append(
            f"site.latitude {site.latitude:g}: the sun does not rise on {len(dark)} days of the season, {dark[0]} to "
            f"{dark[-1]}; nothing grows then."
        )
    for key, bed in file.beds.items():
        room = bed_room(bed, file)
        if bed.plantings and room == "outdoors":
            notes.append(_outdoors(key, file))
        if bed.plantings and site.cover_transmission is None and room == "fish_room":
            notes.append(
                f"beds.{key} stands in the fish room, which is taken as dark: nothing grows there. Write heat = "
                '{ room = "greenhouse" }, or site.cover_transmission where it has windows or lamps.'
            )
        notes += _too_short(key, bed, crops)
        if bed.kind == "raft" and bed.plantings and bed.oxygen_supply is None:
            notes.append(f"beds.{key} has no oxygen_supply: roots hang in its water, so a raft needs air of its own.")
        if bed.kind == "tower" and bed.plantings and bed.planted_face is None:
            notes.append(f"beds.{key}.planted_face is not given: its footprint counts as the planted face.")
        fed = [name for name, settler in file.settlers.items() if settler.feeds == key]
        if bed.kind == "wicking" and bed.plantings and not fed:
            notes.append(f"beds.{key}: no settler feeds it; what its soil gives is not known, so no yield is told.")
    return notes


def _assumed(file: SiteFile, folder: Path | None) -> list[str]:
    """What planted beds are taken to have of light and air, only where nothing of the file tells it."""
    rooms = {bed_room(bed, file) for bed in file.beds.values() if bed.plantings}
    site, taken = file.site, {}
    is_dark = rooms == {"fish_room"} and site.cover_transmission is None
    if site.cloud_share is None and not is_dark and not weather_has_sun(file, folder):
        taken["cloud_share"] = "usual clouds"
    if site.cover_transmission is None and None in rooms:
        taken["cover_transmission"] = "a double film"
    if (
        site.air_temperature is None
        and not (file.weather is not None and rooms <= {"outdoors"})
        and (not has_climate(file) or None in rooms)
    ):
        taken["air_temperature"] = "air like the water"
    if not taken:
        return []
    return [f"site.{', '.join(taken)} not given: crops are taken to have {', '.join(taken.values())}."]


def _unrated_rations(file: SiteFile, crops: Mapping[str, Entry]) -> list[str]:
    """Cohorts fed by the published ratio of beds of which no planting has one."""
    rated, planted = set(), set()
    for bed in file.beds.values():
        for planting in bed.plantings:
            if bed.kind != "wicking":
                planted.add(bed.loop)
            if has_published_ratio(bed.kind, crops[planting.crop]):
                rated.add(bed.loop)
    return [
        f"cohorts.{key}.ration goes by the beds of loop {file.tanks[cohort.tank].loop}, but no feed ratio was "
        "published for anything planted there: it asks for no feed. Write a ratio of your own, or another ration."
        for key, cohort in file.cohorts.items()
        if isinstance(cohort.ration, BedsRation)
        and cohort.ration.ratio is None
        and file.tanks[cohort.tank].loop in planted - rated
    ]


def _outdoors(key: str, file: SiteFile) -> str:
    """What a bed outdoors lives in."""
    if file.site.air_temperature is not None:
        air = "the air of site.air_temperature"
    elif file.weather is not None and file.site.latitude is not None:
        air = "the air of [weather]"
    else:
        air = "air like its water, for there is no [weather]"
    return (
        f"beds.{key} stands outdoors: it gets {air} and all of the light; frost stops growth there but kills nothing."
    )


def _too_short(key: str, bed: BedTable, crops: Mapping[str, Entry]) -> list[str]:
    """Plantings that end before their crop could be ripe even in good light and warmth."""
    notes = []
    for number, planting in enumerate(bed.plantings, 1):
        days, least = (planting.end - planting.start).days + 1, crops[planting.crop]["days_to_harvest_low"]
        if days < READY_SHARE * least:
            notes.append(
                f"beds.{key}.plantings[{number}] stands {days} days; {planting.crop} needs {least:.0f} or more from "
                "planting out, so it never ripens here."
            )
    return notes


def dark_days(file: SiteFile) -> list[dt.date]:
    """Days of the season on which the sun does not rise."""
    if file.site.latitude is None:
        return []
    start = file.season.start
    days = [start + dt.timedelta(days=day) for day in range((file.season.end - start).days + 1)]
    light = extraterrestrial_radiation(file.site.latitude, np.array([day.timetuple().tm_yday for day in days]))
    return [day for day, sun in zip(days, light, strict=True) if sun <= 0.0]
