"""What was assumed of light, air and beds where a site file is silent: one sentence each."""

from __future__ import annotations

import datetime as dt

import numpy as np

from stocksim.climate.daylight import extraterrestrial_radiation
from stocksim.site.climate_faults import has_climate
from stocksim.site.model import SiteFile
from stocksim.site.warm_rooms import room_of


def bed_notes(file: SiteFile) -> list[str]:
    """Notes on the planted beds of a site file without faults; none where nothing is planted.

    Parameters
    ----------
    file : SiteFile
        The tables.

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
    usual = {
        "cloud_share": "usual clouds",
        "cover_transmission": "a double film",
        "air_temperature": "air like the water",
    }
    if file.greenhouse is not None:
        del usual["cover_transmission"]
        if has_climate(file):
            del usual["air_temperature"]
    missing = [key for key in usual if getattr(site, key) is None]
    if missing:
        taken = ", ".join(usual[key] for key in missing)
        notes.append(f"site.{', '.join(missing)} not given: crops are taken to have {taken}.")
    dark = dark_days(file)
    if dark:
        notes.append(
            f"site.latitude {site.latitude:g}: the sun does not rise on {len(dark)} days of the season, {dark[0]} to "
            f"{dark[-1]}; nothing grows then."
        )
    for key, bed in file.beds.items():
        if bed.plantings and site.cover_transmission is None and room_of(bed.heat, file, bed.loop) == "fish_room":
            notes.append(
                f"beds.{key} stands in the fish room, which is taken as dark: nothing grows there. Write heat = "
                '{ room = "greenhouse" }, or site.cover_transmission where it has windows or lamps.'
            )
        if bed.kind == "raft" and bed.plantings and bed.oxygen_supply is None:
            notes.append(f"beds.{key} has no oxygen_supply: roots hang in its water, so a raft needs air of its own.")
        if bed.kind == "tower" and bed.plantings and bed.planted_face is None:
            notes.append(f"beds.{key}.planted_face is not given: its footprint counts as the planted face.")
        fed = [name for name, settler in file.settlers.items() if settler.feeds == key]
        if bed.kind == "wicking" and bed.plantings and not fed:
            notes.append(f"beds.{key}: no settler feeds it; what its soil gives is not known, so no yield is told.")
    return notes


def dark_days(file: SiteFile) -> list[dt.date]:
    """Days of the season on which the sun does not rise."""
    if file.site.latitude is None:
        return []
    start = file.season.start
    days = [start + dt.timedelta(days=day) for day in range((file.season.end - start).days + 1)]
    light = extraterrestrial_radiation(file.site.latitude, np.array([day.timetuple().tm_yday for day in days]))
    return [day for day, sun in zip(days, light, strict=True) if sun <= 0.0]
