"""What was assumed where a site file is silent, and what of it is not used: one sentence each."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stocksim.library.sources import Entry
from stocksim.site.bed_notes import bed_notes
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.model import BedTable, BiofilterTable, LoopTable, SiteFile
from stocksim.site.sizes import DEFAULT_BED_DEPTH_M, DEFAULT_GRAIN_M
from stocksim.water.maturity import (
    ORDINARY_ALKALINITY_MG_L,
    ORDINARY_OXYGEN_MG_L,
    OXIDIZERS,
    START_FOOD_MG_L,
    STARTS,
    oxidizer_growth,
)

# Ammonia nitrogen [mg/L] that dosing may bring before a new film is full grown: with more, films stall. Fitted in this
# project to seasons of 60 days at 12-25 degC: beds of 2 m2 of gravel on 1.5 m3 stalled above 14, of 6 m2 above 19.
STALLS_ABOVE_MG_L = 14.0


def assumptions(
    file: SiteFile,
    species: Mapping[str, Entry],
    feeds: Mapping[str, Entry],
    crops: Mapping[str, Entry],
    folder: Path | None = None,
) -> list[str]:
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
    list of str
        Sentences that name the place first.
    """
    notes = []
    if file.site.elevation is None:
        notes.append("site.elevation is not given: sea level is assumed for oxygen; at 500 m there is 6 % less of it.")
    for key, loop in file.loops.items():
        notes += _water_notes(f"loops.{key}", loop)
        notes += _film_notes(key, loop, file)
    notes += [note for key, bed in file.beds.items() for note in _media_notes(key, bed)]
    notes += bed_notes(file, crops, folder)
    for grade in ("weak", "fair"):
        graded = [key for key, entry in species.items() if entry.evidence == grade]
        if graded:
            notes.append(
                f"Evidence is {grade} for {', '.join(graded)}; `stocksim fish NAME` shows each value's source."
            )
    return notes + own_files(species, feeds, crops)


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
    if loop.evaporation is None:
        notes.append(
            f"{place}.evaporation is not given: 1 % of the water in sump and tanks a day is assumed lost and replaced."
        )
    return notes


def _film_notes(key: str, loop: LoopTable, file: SiteFile) -> list[str]:
    """How old the film of a loop's units is taken to be."""
    place = f"loops.{key}"
    units: dict[str, BedTable | BiofilterTable] = {
        f"beds.{name}": bed for name, bed in file.beds.items() if bed.loop == key and _has_film(bed)
    }
    units |= {f"biofilters.{name}": unit for name, unit in file.biofilters.items() if unit.loop == key}
    if not units:
        return [
            f"{place} has no biofilter and no bed whose film takes ammonia: it leaves only with water that is changed "
            "or drawn off, so expect it to rise until fish die."
        ]
    notes = []
    dated = {name: unit.biofilter_started for name, unit in units.items() if unit.biofilter_started is not None}
    if loop.biofilter_start is not None and loop.biofilter_started is not None:
        notes.append(f"{place}.biofilter_start is given: the loop's biofilter_started is read but not used.")
    started = {name: dated.get(name, loop.biofilter_started) for name in units}
    mature = [name for name, day in started.items() if day is None]
    if mature and loop.biofilter_start is None:
        notes.append(
            f"{place}.biofilter_started is not given: the film of {', '.join(mature)} is taken as mature on the first "
            "day."
        )
    late = [name for name, day in started.items() if day is not None and day > file.season.start]
    if late:
        notes.append(
            f"{place}: biofilter_started of {', '.join(late)} lies after the season's start; its film is taken as "
            "brand new on the first day."
        )
    return notes


def _media_notes(key: str, bed: BedTable) -> list[str]:
    """What a media bed is taken to be filled with; with a surface of its own its grain does not matter."""
    if bed.kind != "media":
        return []
    taken = {}
    if bed.media_size is None and bed.nitrifying_surface is None:
        taken["media_size"] = f"half-inch gravel ({1000 * DEFAULT_GRAIN_M:.1f} mm), whose surface carries its film"
    if bed.depth is None:
        taken = {"depth": f"{100 * DEFAULT_BED_DEPTH_M:.0f} cm deep"} | taken
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
        A sentence for each loop whose film will likely stall.
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
        if dosing.ammonia_nitrogen / water * days > STALLS_ABOVE_MG_L:
            half = OXIDIZERS["ammonia"].inhibition_mg_l
            notes.append(
                f"loops.{key}.fishless_cycling doses {dosing.ammonia_nitrogen / water:.2g} mg/L of nitrogen a day, "
                f"which a new film at {water_c:.0f} degC cannot take before ammonia passes {half:g} mg/L and halves "
                f"its growth: the film will likely stall. Dose {half * water / days:.2g} g/day or less, or test and "
                f"stop above {0.5 * half:g} mg/L."
            )
    return notes


def _starts_new(key: str, loop: LoopTable, file: SiteFile) -> bool:
    """Whether every film of a loop is new on the season's first day."""
    units: list[BedTable | BiofilterTable] = [
        *(bed for bed in file.beds.values() if bed.loop == key and _has_film(bed)),
        *(unit for unit in file.biofilters.values() if unit.loop == key),
    ]

    def is_new(unit: BedTable | BiofilterTable) -> bool:
        if unit.biofilter_started is None and loop.biofilter_start is not None:
            return loop.biofilter_start == "new"
        started = unit.biofilter_started or loop.biofilter_started
        return started is not None and started >= file.season.start

    return bool(units) and all(is_new(unit) for unit in units)


def _has_film(bed: BedTable) -> bool:
    """Whether the bed carries film: water runs through it, and a tower's surface has no usual value."""
    return bed.kind in ("raft", "media") or (bed.kind == "tower" and bed.nitrifying_surface is not None)
