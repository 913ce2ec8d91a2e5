"""What was assumed where a site file is silent, and what of it is not used: one sentence each."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from stocksim.library.sources import Entry
from stocksim.site.bed_notes import bed_notes
from stocksim.site.model import BedTable, BiofilterTable, LoopTable, SiteFile


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


def _has_film(bed: BedTable) -> bool:
    """Whether the bed carries film: water runs through it, and a tower's surface has no usual value."""
    return bed.kind in ("raft", "media") or (bed.kind == "tower" and bed.nitrifying_surface is not None)
