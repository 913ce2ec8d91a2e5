"""What was assumed or filled in, one sentence each."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.daylight import extraterrestrial_radiation
from stocksim.errors import InputError
from stocksim.library.feeds import feed_kind
from stocksim.library.sources import Entry
from stocksim.library.strains import trials_warnings
from stocksim.opening import beside
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.beds import has_film
from stocksim.site.climate_faults import has_climate
from stocksim.site.climate_tables import FileWeather
from stocksim.site.epw import is_epw
from stocksim.site.fish_tables import BedsRation, PercentRation, TableRation
from stocksim.site.logs import weather_file_has_sun
from stocksim.site.loop_water import SOFT_WATER, loop_water_m3
from stocksim.site.model import BedTable, BiofilterTable, LoopTable, SiteFile
from stocksim.site.rooms import ROOMS, room_of
from stocksim.units import format_date, in_units
from stocksim.water.maturity import (
    ORDINARY_ALKALINITY_MG_L,
    ORDINARY_OXYGEN_MG_L,
    START_FOOD_MG_L,
    STARTS,
    oxidizer_growth,
)

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
        return is_epw(table.file) or weather_file_has_sun(beside(folder or Path(), table.file))
    except InputError:
        return False


def has_published_ratio(bed_kind: str, crop: Entry) -> bool:
    """Whether handbooks give a feed ratio for a crop in a kind of bed: none for towers and wicking beds."""
    return BED_KINDS[bed_kind].has_feed_ratio and "feed_ratio_low" in crop.values


def _has_plantings(file: SiteFile) -> bool:
    return any(bed.plantings for bed in file.beds.values())


def _light_notes(file: SiteFile, folder: Path | None) -> list[str]:
    """What planted beds are taken to have of light and air; none where nothing is planted."""
    if not _has_plantings(file):
        return []
    notes = []
    if file.site.latitude is None:
        notes.append("site.latitude is not given: light is that of 45 degrees north; write yours, as 43.5.")
    return notes + _assumed(file, folder)


def _planting_notes(file: SiteFile, crops: Mapping[str, Entry]) -> list[str]:
    """What hinders growth or harvest, by bed; none where nothing is planted."""
    if not _has_plantings(file):
        return []
    site, notes = file.site, []
    dark = dark_days(file)
    if dark:
        notes.append(
            f"site.latitude {site.latitude:g}: the sun does not rise on {len(dark)} days of the season, "
            f"{format_date(dark[0])} to "
            f"{format_date(dark[-1])}; nothing grows then."
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
        kind = BED_KINDS[bed.kind]
        if kind.needs_air and bed.plantings and bed.oxygen_supply is None:
            notes.append(
                f"beds.{key} has no oxygen_supply: roots hang in its water, so a {kind.noun} needs air of its own."
            )
        if kind.has_planted_face and bed.plantings and bed.planted_face is None:
            notes.append(f"beds.{key}.planted_face is not given: its footprint counts as the planted face.")
        fed = [name for name, settler in file.settlers.items() if settler.feeds == key]
        if not kind.is_on_loop and bed.plantings and not fed:
            notes.append(f"beds.{key}: no settler feeds it; what its soil gives is not known, so its yield is unknown.")
    return notes


def _assumed(file: SiteFile, folder: Path | None) -> list[str]:
    """What planted beds are taken to have of light and air, only where nothing of the file tells it."""
    rooms = {bed_room(bed, file) for bed in file.beds.values() if bed.plantings}
    site, taken = file.site, {}
    is_dark = rooms == {"fish_room"} and site.cover_transmission is None
    if site.cloud_share is None and not is_dark and not weather_has_sun(file, folder):
        taken["cloud_share"] = "usual clouds"
    if site.cover_transmission is None and None in rooms:
        taken["cover_transmission"] = "a double plastic film"
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
            if BED_KINDS[bed.kind].is_on_loop:
                planted.add(bed.loop)
            if has_published_ratio(bed.kind, crops[planting.crop]):
                rated.add(bed.loop)
    return [
        f"cohorts.{key}.ration follows the beds of loop {file.tanks[cohort.tank].loop}, but no feed ratio was "
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
    return list(_dark_days(file.site.latitude, file.season.start, file.season.end))


@lru_cache(64)  # a site is read again for every change that is tried
def _dark_days(latitude: float, start: dt.date, end: dt.date) -> tuple[dt.date, ...]:
    days = [start + dt.timedelta(days=day) for day in range((end - start).days + 1)]
    light = extraterrestrial_radiation(latitude, np.array([day.timetuple().tm_yday for day in days]))
    return tuple(day for day, sun in zip(days, light, strict=True) if sun <= 0.0)


# --- what was assumed where a site file is silent, and what of it is not used: one sentence each

# TAN [mg/L] above which a new film is said to stall, and above half of which to be hindered (a trade page, read). Here
# un-ionized ammonia slows films, nitrite eaters most, and never halts them.
HINDERS_ABOVE_MG_L = 6.0
# Ammonia nitrogen [mg/L] that dosing may bring before a new film is full grown: with more, TAN passes that level.
# Fitted in this project to seasons of 90 days at 12-25 degC: beds of 2 m2 of gravel on 1.9 m3 pass it above 14-17, of
# 6 m2 above 18-22, of 20 m2 above 25.
PASSES_ABOVE_MG_L = 14.0


class Assumptions(NamedTuple):
    """What was assumed of a site file, one sentence each, the place first; those of beds and of their light apart too.

    Parameters
    ----------
    notes : list of str
        All.
    of_beds : list of str
        Those of them that tell of beds, of their light and of their air.
    """

    notes: list[str]
    of_beds: list[str]


def assumptions(
    file: SiteFile,
    species: Mapping[str, Entry],
    feeds: Mapping[str, Entry],
    crops: Mapping[str, Entry],
    folder: Path | None = None,
) -> Assumptions:
    """Notes on a site file without faults.

    Parameters
    ----------
    file : SiteFile
        The tables.
    species, feeds, crops : mapping of str to Entry
        What they name of the library.
    folder : Path, optional
        Where a weather file is looked up.

    Returns
    -------
    Assumptions
        Sentences that name the place first.
    """
    notes = []
    if file.site.elevation is None:
        notes.append("site.elevation is not given: sea level is assumed for oxygen; at 500 m there is 6 % less of it.")
    for key, loop in file.loops.items():
        notes += _water_notes(f"loops.{key}", loop)
        notes += _film_notes(key, loop, file)
    media = [note for key, bed in file.beds.items() for note in _media_notes(key, bed)]
    light, planted = _light_notes(file, folder), _planting_notes(file, crops)
    notes += [*media, *light, *_unrated_rations(file, crops), *planted]
    notes += _weighed_notes(file, feeds)
    for grade in ("weak", "fair"):
        graded = [key for key, entry in species.items() if entry.evidence == grade]
        if graded:
            notes.append(
                f"Evidence is {grade} for {', '.join(graded)}; `stocksim fish NAME` shows each value's source."
            )
    if warning := trials_warnings({key: entry.trials for key, entry in species.items()}):
        notes.append(warning)
    for key, entry in species.items():
        if "deaths_caution" in entry.facts:
            notes.append(f"{key}: {in_units(entry.facts['deaths_caution'], file.site.units)}")
    return Assumptions(notes + own_files(species, feeds, crops), [*media, *light, *planted])


def _weighed_notes(file: SiteFile, feeds: Mapping[str, Entry]) -> list[str]:
    """Percentages of natural food of which the file does not say whether they are fresh or dry."""
    told = [(f"cohorts.{key}", cohort.feed, cohort.ration) for key, cohort in file.cohorts.items()]
    return [
        f"{place}.ration.weighed is not given: percent is taken of {feed} as it lies on the scale, "
        f"{100.0 * feeds[feed]['dry_matter']:.0f} % of it dry matter; write weighed = \"dry\" where the percentage "
        "is of dry matter."
        for place, feed, rule in told
        if isinstance(rule, (PercentRation, TableRation)) and rule.weighed is None
        and feed in feeds and feed_kind(feeds[feed]) == "natural"
    ]  # fmt: skip


def own_files(*named: Mapping[str, Entry]) -> list[str]:
    """Notes on the entries that a keeper's own file beside the site gives, each with the file's name; every answer that
    rests on them shows these."""
    return [
        f"{entry.name}: taken from your own file {'/'.join(Path(entry.origin).parts[-3:])} beside the site, not from "
        "the library; its values are yours to vouch for."
        for entries in named
        for entry in entries.values()
        if entry.is_own
    ]


def _water_notes(place: str, loop: LoopTable) -> list[str]:
    notes = []
    if loop.ph is None:
        notes.append(f"{place}.ph is not given: pH is computed from alkalinity and carbon dioxide; test it.")
    else:
        notes.append(f"{place}.ph is given: {loop.ph:g} holds all season, whatever alkalinity does.")
    if loop.source_water is None:
        notes.append(f"{place}.source_water is not given: moderately hard tap water is assumed, alkalinity 100 mg/L.")
    if loop.alkalinity_target is None:
        notes.append(f"{place}.alkalinity_target is not given: nobody doses, and alkalinity goes where it goes.")
    elif loop.source_water and (loop.source_water.alkalinity or 0.0) > loop.alkalinity_target:
        notes.append(
            f"{place}.alkalinity_target {loop.alkalinity_target:g} mg/L lies below the source water's "
            f"{loop.source_water.alkalinity:g}: nothing you dose lowers it, so the loop starts as hard as its source "
            f"and comes down only as nitrification uses it. Mix in {SOFT_WATER} if you need less."
        )
    if loop.evaporation is None:
        notes.append(
            f"{place}.evaporation is not given: 1 % of the water in sump and tanks a day is assumed lost and replaced."
        )
    if loop.new_water is not None:
        notes.append(
            f"{place}.new_water: it is assumed to have met the air, with as much oxygen and carbon dioxide as that "
            "holds, and to be as warm as deep ground; let a well or spring fall over a step, and test it."
        )
    return notes


def _film_notes(key: str, loop: LoopTable, file: SiteFile) -> list[str]:
    """How old the film of a loop's units is taken to be."""
    place = f"loops.{key}"
    units: dict[str, BedTable | BiofilterTable] = {
        f"beds.{name}": bed for name, bed in file.beds.items() if bed.loop == key and has_film(bed)
    }
    units |= {f"biofilters.{name}": unit for name, unit in file.biofilters.items() if unit.loop == key}
    if not units:
        return [
            f"{place} has no biofilter and no bed whose bacteria take ammonia: it "
            "leaves only with water that is changed or drawn off, so expect it to rise until fish die."
        ]
    notes = []
    dated = {name: unit.biofilter_started for name, unit in units.items() if unit.biofilter_started is not None}
    if loop.biofilter_start is not None and loop.biofilter_started is not None:
        notes.append(f"{place}.biofilter_start is given: the loop's biofilter_started is read but not used.")
    started = {name: dated.get(name, loop.biofilter_started) for name in units}
    mature = [name for name, day in started.items() if day is None]
    if mature and loop.biofilter_start is None:
        notes.append(
            f"{place}.biofilter_started is not given: the biofilter of {', '.join(mature)} is taken as mature on "
            "the first "
            "day."
        )
    late = [name for name, day in started.items() if day is not None and day > file.season.start]
    if late:
        notes.append(
            f"{place}: biofilter_started of {', '.join(late)} lies after the season's start; its bacteria are taken as "
            "brand new on the first day."
        )
    return notes


def _media_notes(key: str, bed: BedTable) -> list[str]:
    """What a media bed is taken to be filled with; with a surface of its own its grain does not matter."""
    kind, taken = BED_KINDS[bed.kind], {}
    if kind.fill is None or kind.water is None:
        return []
    if bed.media_size is None and bed.nitrifying_surface is None:
        taken["media_size"] = (
            f"{kind.fill.words} ({1000 * kind.fill.grain_m:.1f} mm), whose surface carries its bacteria"
        )
    if bed.depth is None:
        taken = {"depth": f"{100 * kind.water.depth_m:.0f} cm deep"} | taken
    if not taken:
        return []
    return [f"beds.{key}.{', '.join(taken)} not given: taken as {', of '.join(taken.values())}."]


def cycling_notes(file: SiteFile, temperature_c: Mapping[str, NDArray[np.float64]]) -> list[str]:
    """Notes on fishless cycling that doses more than a new film bears.

    Parameters
    ----------
    file : SiteFile
        Tables without faults.
    temperature_c : mapping of str to ndarray, shape (days,)
        Water of each loop. [degC]

    Returns
    -------
    list of str
        A sentence for each loop whose film will likely be slowed.
    """
    notes = []
    for key, loop in file.loops.items():
        dosing = loop.fishless_cycling
        if dosing is None or not _starts_new(key, loop, file):
            continue
        first, last = ((day - file.season.start).days for day in (dosing.start, dosing.end))
        water_c = float(temperature_c[key][first : last + 1].mean())
        growth = oxidizer_growth(water_c, START_FOOD_MG_L, ORDINARY_OXYGEN_MG_L, ORDINARY_ALKALINITY_MG_L, "ammonia")
        grown = -math.log(STARTS["new"]) / max(float(growth), 1e-6)
        days, water = min(float(last - first + 1), grown), loop_water_m3(file, key)
        if dosing.ammonia_nitrogen / water * days > PASSES_ABOVE_MG_L:
            high = HINDERS_ABOVE_MG_L
            notes.append(
                f"loops.{key}.fishless_cycling doses {dosing.ammonia_nitrogen / water:.2g} mg/L of nitrogen a day, "
                f"which a new biofilter at {water_c:.0f} degC cannot take before ammonia passes {high:g} mg/L: that "
                f"slows its growth, is said to stall it, and makes the loop ready later, not sooner. Dose "
                f"{high * water / days:.2g} g/day or less, or test and stop above {0.5 * high:g} mg/L."
            )
    return notes


def _starts_new(key: str, loop: LoopTable, file: SiteFile) -> bool:
    """Whether every film of a loop is new on the season's first day."""
    units: list[BedTable | BiofilterTable] = [
        *(bed for bed in file.beds.values() if bed.loop == key and has_film(bed)),
        *(unit for unit in file.biofilters.values() if unit.loop == key),
    ]

    def is_new(unit: BedTable | BiofilterTable) -> bool:
        if unit.biofilter_started is None and loop.biofilter_start is not None:
            return loop.biofilter_start == "new"
        started = unit.biofilter_started or loop.biofilter_started
        return started is not None and started >= file.season.start

    return bool(units) and all(is_new(unit) for unit in units)
