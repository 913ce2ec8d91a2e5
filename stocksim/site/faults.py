"""Faults that tables have beside each other, fish and names that cannot be among them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from stocksim.errors import Fault
from stocksim.library.sources import Entry
from stocksim.site.bed_kinds import BED_KINDS, solids_fed_kinds
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.cohorts import events_in_order
from stocksim.site.fish_tables import (
    FoundEvent,
    GradeEvent,
    MoveEvent,
    RationEvent,
    RemovalEvent,
    StockEvent,
    TableRation,
)
from stocksim.site.model import (
    BedTable,
    ConstantTemperature,
    LoopTable,
    MonthlyTemperature,
    SettlerTable,
    SiteFile,
)
from stocksim.site.quantities import MONTHS, shown
from stocksim.units import face_unit, to_face
from stocksim.water.solids import SETTLERS

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*")
# what pandas 2 and 3 take for "nothing here" in a table, and spreadsheets for a truth
_NOTHING, _TRUTHS = {"NA", "NULL", "NaN", "None", "nan", "null"}, {"true", "false"}


def name_fault(name: str) -> str:
    """What is wrong with the name of a table, cohort or tank; empty where it may be used."""
    if not _NAME.fullmatch(name):
        return "is not a usable name; use letters, digits, _ and -."
    if reads_as_other(name):
        return f"is read as a number or as nothing in a table of results; use a word, as unit_{name}."
    return ""


def reads_as_other(name: str) -> bool:
    """Whether a cell of a table that holds the name would be read as a number, a truth or nothing.

    Examples
    --------
    >>> [name for name in ("NA", "1e5", "007", "true", "tank_1", "2nd", "nancy") if reads_as_other(name)]
    ['NA', '1e5', '007', 'true']
    """
    if name in _NOTHING or name.lower() in _TRUTHS:
        return True
    try:
        float(name)
    except ValueError:
        return False
    return True


def known_name(table: str, field: str, name: str, among: Iterable[str]) -> list[Fault]:
    """Fault where a name is not among those known; ``field`` says whether they are loops, tanks or cohorts."""
    names = list(among)
    if name in names:
        return []
    noun = {"loop": "loops", "cohort": "cohorts"}.get(field, "tanks")
    return [Fault(table, field, f"{shown(name)} is not among the {noun}; known are {', '.join(names) or 'none'}.")]


def within_season(table: str, field: str, day: dt.date, file: SiteFile) -> list[Fault]:
    """Fault where a day lies outside the season."""
    season = file.season
    if season.end < season.start or season.start <= day <= season.end:
        return []
    return [Fault(table, field, f"{day} is outside the season {season.start} to {season.end}; give a day in it.")]


def wild_date_fault(table: str, fish: Any, file: SiteFile) -> list[Fault]:
    """Fault where wild fish that must learn to take feed have no day on which that begins."""
    if not fish.wild or fish.trained or fish.stocked is not None:
        return []
    day = file.season.start if season_is_sound(file) else "2026-10-01"
    message = (
        f"is missing; wild fish learn to take feed from the day they come, so give it, as {day}, or write "
        "trained = true for fish that eat pellets already."
    )
    return [Fault(table, "stocked", message)]


# --- faults of cohorts, rations and events that only show when tables are read together

_AMOUNTS = ("count", "weight", "share", "above", "all")


@dataclass
class _Known:
    """What the events so far leave of a cohort: when it came, and the most fish there may be."""

    since: dt.date
    most: float
    emptied: dt.date | None = None


def fish_faults(file: SiteFile, species: Mapping[str, Entry]) -> list[Fault]:
    """Faults of cohorts and events.

    Parameters
    ----------
    file : SiteFile
        Tables that are sound one by one.
    species : mapping of str to Entry
        The species they name, where found.

    Returns
    -------
    list of Fault
        Dangling names, dates outside the season, tables with a hole, events before their fish, more fish taken than
        there are.
    """
    faults = []
    for key, cohort in file.cohorts.items():
        place = f"cohorts.{key}"
        faults += known_name(place, "tank", cohort.tank, file.tanks)
        if cohort.stocked is not None:
            faults += within_season(place, "stocked", cohort.stocked, file)
        faults += _ration_faults(place, "ration", cohort.ration)
        entry = species.get(cohort.species)
        faults += stock_faults(place, cohort.sex, cohort.strain, entry)
        if cohort.trained and not cohort.wild:
            faults.append(Fault(place, "trained", "belongs to wild fish; take it out, or write wild = true too."))
        faults += wild_date_fault(place, cohort, file)
    return faults + _event_faults(file)


def stock_faults(place: str, sex: str, strain: str | None, entry: Entry | None) -> list[Fault]:
    """Faults of a sex or strain of which the species' file knows no difference.

    Parameters
    ----------
    place : str
        Table that names them.
    sex : str
        ``mixed``, ``males`` or ``females``.
    strain : str or None
        Name of a strain.
    entry : Entry or None
        The species, where found.

    Returns
    -------
    list of Fault
        One for each.
    """
    if entry is None:
        return []
    faults = []
    if sex != "mixed" and f"appetite_{sex}" not in entry.values:
        message = f'"{sex}" makes no difference that is known for {entry.name}; leave sex out.'
        faults.append(Fault(place, "sex", message))
    if strain is not None and strain not in entry.strains:
        known = f"{shown(strain)} is not a strain of {entry.name}; known are {', '.join(entry.strains)}."
        none = f"{shown(strain)} is not known: no strains of {entry.name} are; leave strain out."
        faults.append(Fault(place, "strain", known if entry.strains else none))
    return faults


def _ration_faults(place: str, name: str, ration: Any) -> list[Fault]:
    if not isinstance(ration, TableRation):
        return []
    faults = []
    rows, columns = len(ration.temperatures), len(ration.weights)
    for what in ("temperatures", "weights"):
        values = getattr(ration, what)
        if any(later <= earlier for earlier, later in pairwise(values)):
            faults.append(Fault(place, f"{name}.{what}", "must rise from entry to entry; put them in order."))
    if len(ration.percent) != rows:
        message = f"has {len(ration.percent)} rows for {rows} temperatures; give one row for each temperature."
        faults.append(Fault(place, f"{name}.percent", message))
    for number, row in enumerate(ration.percent, 1):
        if len(row) != columns:
            message = f"has {len(row)} entries for {columns} weights; a table may have no hole, so give one for each."
            faults.append(Fault(place, f"{name}.percent[{number}]", message))
    return faults


def _event_faults(file: SiteFile) -> list[Fault]:
    faults: list[Fault] = []
    known = {
        key: _Known(cohort.stocked or file.season.start, float(cohort.count)) for key, cohort in file.cohorts.items()
    }
    for number, event in events_in_order(file):
        place = f"events[{number}]"
        outside = within_season(place, "date", event.date, file)
        faults += outside
        if isinstance(event, (MoveEvent, GradeEvent)):
            faults += known_name(place, "tank", event.tank, file.tanks)
        if isinstance(event, RationEvent):
            faults += _ration_faults(place, "ration", event.ration)
        unknown = known_name(place, "cohort", event.cohort, known)
        faults += unknown
        if unknown:
            continue
        fish = known[event.cohort]
        if outside:
            continue  # one sentence for one date
        if event.date < fish.since:
            message = f"{event.date} is before {event.cohort} is there, from {fish.since}; give a later day."
            faults.append(Fault(place, "date", message))
            continue
        if fish.emptied is not None and not isinstance(event, StockEvent):
            message = f"no fish of {event.cohort} are left after {fish.emptied}; take this event out or move its date."
            faults.append(Fault(place, "cohort", message))
            continue
        if isinstance(event, StockEvent):
            fish.most, fish.emptied = fish.most + event.count, None
        elif isinstance(event, GradeEvent):
            faults += _grade_faults(place, event, fish, known)
        elif isinstance(event, FoundEvent):
            if event.count is None and event.mean_weight is None:
                faults.append(Fault(place, "count", "has no amount; give count, mean_weight or both."))
            fish.most = fish.most if event.count is None else float(event.count)
        elif isinstance(event, RemovalEvent):
            faults += _removal_faults(place, event, fish)
    return faults


def _grade_faults(place: str, event: GradeEvent, fish: _Known, known: dict[str, _Known]) -> list[Fault]:
    if wrong := name_fault(event.into):
        return [Fault(place, "into", wrong)]
    if event.into in known:
        return [Fault(place, "into", f'"{event.into}" is a cohort already; write a new name for the larger fish.')]
    if (event.above is None) == (event.largest_share is None):
        known[event.into] = _Known(event.date, fish.most)  # later events on it are no fault of their own
        return [Fault(place, "above", "give either above, a weight, or largest_share, a number from 0 to 1.")]
    if event.largest_share is None:
        known[event.into] = _Known(event.date, fish.most)
    else:
        known[event.into] = _Known(event.date, fish.most * event.largest_share)
        fish.most *= 1.0 - event.largest_share
    return []


def _removal_faults(place: str, event: RemovalEvent, fish: _Known) -> list[Fault]:
    given = [name for name in _AMOUNTS if getattr(event, name) not in (None, False)]
    if len(given) != 1:
        met = f"has {' and '.join(given)}" if given else "has no amount"
        return [Fault(place, "count", f"{met}; give one of count, weight, share, above or all = true.")]
    if event.above is not None and event.which is not None:
        return [Fault(place, "which", "does not go with above, which says itself which fish; take one of them out.")]
    if event.count is not None:
        if event.count > fish.most + 1e-9:
            message = (
                f"{event.count} fish are more than the {fish.most:.0f} that {event.cohort} has left at most; give "
                "fewer, or all = true."
            )
            return [Fault(place, "count", message)]
        fish.most -= event.count
    elif event.share is not None:
        fish.most *= 1.0 - event.share
    elif event.all:
        fish.most, fish.emptied = 0.0, event.date
    return []


# --- what only shows when the tables of a site file are read together, said in a sentence each

_LONGEST_SEASON_DAYS = 3660
_LONGEST_STAND_DAYS = 366  # before a season, of what stands in a bed when it begins (our choice)


def season_is_sound(file: SiteFile) -> bool:
    """Whether the season ends after it starts, and within ten years."""
    return 0 <= (file.season.end - file.season.start).days < _LONGEST_SEASON_DAYS


def cross_faults(file: SiteFile, species: Mapping[str, Entry], raw: Mapping[str, Any]) -> list[Fault]:
    """Faults that only show when tables are read together.

    Parameters
    ----------
    file : SiteFile
        Tables that are sound one by one.
    raw : mapping
        The tables as written, to show the value met.
    species : mapping of str to Entry
        The species they name, where found.

    Returns
    -------
    list of Fault
        Dangling names, dates outside the season, beds planted beyond their area, deadly water.
    """
    faults = []
    season = file.season
    if season.end < season.start:
        faults.append(Fault("season", "end", f"{season.end} is before the start {season.start}; give a later day."))
    elif not season_is_sound(file):
        faults.append(
            Fault("season", "end", f"{season.end} makes a season of more than ten years; give an earlier day.")
        )
    for table, entries in (
        ("tanks", file.tanks),
        ("beds", file.beds),
        ("biofilters", file.biofilters),
        ("settlers", file.settlers),
    ):
        for key, entry in entries.items():
            faults += known_name(f"{table}.{key}", "loop", entry.loop, file.loops)
    faults += fish_faults(file, species)
    for key, bed in file.beds.items():
        faults += _bed_faults(key, bed, file)
    faults += _air_faults(file)
    for key, settler in file.settlers.items():
        faults += _settler_faults(key, settler, file)
    for key, loop in file.loops.items():
        faults += _loop_date_faults(key, loop, file)
        faults += _temperature_faults(key, loop, file, species, raw)
    return faults


def _bed_faults(key: str, bed: BedTable, file: SiteFile) -> list[Fault]:
    table, kind = f"beds.{key}", BED_KINDS[bed.kind]
    faults = []
    if kind.water is None:
        for field in ("flow", "media_size", "nitrifying_surface", "oxygen_supply", "biofilter_started"):
            if getattr(bed, field) is not None:
                faults.append(
                    Fault(
                        table, field,
                        f"does not belong to a {kind.noun}, which no loop water runs through; take it out.",
                    )
                )  # fmt: skip
    elif not kind.water.has_usual_flow and bed.flow is None and not _gets_flow(key, file):
        faults.append(Fault(table, "flow", f'is missing; a {kind.noun} has no usual flow, so write one, as "100 L/h".'))
    if not kind.has_planted_face and bed.planted_face is not None:
        owners = " or ".join(f"a {other.noun}" for other in BED_KINDS.values() if other.has_planted_face)
        faults.append(Fault(table, "planted_face", f"belongs to {owners}, not to a {bed.kind} bed; take it out."))
    room = bed.planted_face or bed.area
    if kind.is_on_loop and kind.fill is None and bed.media_size is not None:
        owners = " or ".join(f"a {other.noun}" for other in BED_KINDS.values() if other.fill is not None)
        faults.append(Fault(table, "media_size", f"belongs to {owners}, not to a {kind.noun}; take it out."))
    events: dict[dt.date, float] = {}
    for number, planting in enumerate(bed.plantings, 1):
        place = f"plantings[{number}]"
        if planting.end < planting.start:
            faults.append(
                Fault(table, f"{place}.to", f"{planting.end} is before its from, {planting.start}; give a later day.")
            )
            continue
        # what stands in a bed when the season begins may have been planted before
        if not 0 < (file.season.start - planting.start).days <= _LONGEST_STAND_DAYS:
            faults += within_season(table, f"{place}.from", planting.start, file)
        faults += within_season(table, f"{place}.to", planting.end, file)
        area = room if planting.area is None else planting.area
        events[planting.start] = events.get(planting.start, 0.0) + area
        after = planting.end + dt.timedelta(days=1)
        events[after] = events.get(after, 0.0) - area
    planted = 0.0
    units = file.site.units
    for day in sorted(events):
        planted += events[day]
        if planted > room * (1 + 1e-9):
            faults.append(
                Fault(
                    table, "plantings",
                    f"{to_face(planted, 'area', units):.4g} {face_unit('area', units)} are planted on {day}, more "
                    f"than the {'planted face' if bed.planted_face else 'bed'}'s "
                    f"{to_face(room, 'area', units):.4g} {face_unit('area', units)}; "
                    "give each planting its own area or move the dates apart.",
                )
            )  # fmt: skip
            break
    return faults


def _gets_flow(key: str, file: SiteFile) -> bool:
    """Whether a pump of a told flow, or a tank's overflow, may tell the flow of a bed."""
    told = [pump.feeds for pump in file.pumps.values() if pump.flow is not None]
    return any(key in names for names in [*told, *(tank.overflows_to for tank in file.tanks.values())])


def _air_faults(file: SiteFile) -> list[Fault]:
    """Months of the season for which no air temperature is given, where any is."""
    given = file.site.air_temperature
    if given is None or not season_is_sound(file):
        return []
    day = file.season.start
    months: list[str] = []
    while day <= file.season.end and len(months) < len(MONTHS):
        months.append(MONTHS[day.month - 1])
        day = (day.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
    missing = [month for month in dict.fromkeys(months) if month not in given]
    if not missing:
        return []
    return [Fault("site", "air_temperature", f"has no value for {', '.join(missing)}; give every month of the season.")]


def _loop_date_faults(key: str, loop: LoopTable, file: SiteFile) -> list[Fault]:
    table, faults = f"loops.{key}", []
    for number, test in enumerate(loop.water_tests, 1):
        faults += within_season(table, f"water_tests[{number}].date", test.date, file)
    faults += _told_twice(table, loop)
    faults += [
        Fault(table, f"water_tests[{number}].ph", f"the loop's own ph, {loop.ph:g}, holds all season and goes before "
              "what is tested; leave one of the two out.")
        for number, test in enumerate(loop.water_tests, 1)
        if test.ph is not None and loop.ph is not None
    ]  # fmt: skip
    for number, change in enumerate(loop.water_changes, 1):
        faults += within_season(table, f"water_changes[{number}].date", change.date, file)
    cycling = loop.fishless_cycling
    if cycling is not None:
        faults += within_season(table, "fishless_cycling.from", cycling.start, file)
        faults += within_season(table, "fishless_cycling.to", cycling.end, file)
        if cycling.end < cycling.start:
            message = f"{cycling.end} is before its from, {cycling.start}; give a later day."
            faults.append(Fault(table, "fishless_cycling.to", message))
    before = None
    for number, step in enumerate(loop.feeding_ramp, 1):
        place = f"feeding_ramp[{number}].from"
        faults += within_season(table, place, step.start, file)
        if before is not None and step.start <= before:
            message = f"{step.start} is not after the step before it, {before}; give the steps in date order."
            faults.append(Fault(table, place, message))
        before = step.start
    return faults


def _told_twice(table: str, loop: LoopTable) -> list[Fault]:
    """Levels that two tests of one date give: nobody can tell which is right."""
    faults, told = [], dict[tuple[dt.date, str], tuple[int, float]]()
    for number, test in enumerate(loop.water_tests, 1):
        for level, value in test.model_dump(exclude={"date"}, exclude_none=True).items():
            before, was = told.setdefault((test.date, level), (number, value))
            if before != number:
                unit = "" if level == "ph" else " mg/L"
                message = (
                    f"is a second {level} for {test.date}, {value:g}{unit} after {was:g}{unit} in "
                    f"water_tests[{before}]; keep the one that is right, or give the other its own date."
                )
                faults.append(Fault(table, f"water_tests[{number}].{level}", message))
    return faults


def _settler_faults(key: str, settler: SettlerTable, file: SiteFile) -> list[Fault]:
    table, faults = f"settlers.{key}", []
    if settler.capture is None and SETTLERS[settler.kind].capture_share is None:
        message = (
            f"is missing; we know no measurement of a {settler.kind.replace('_', ' ')}, so write the share of the "
            "passing solids that yours keeps, as 0.5."
        )
        faults.append(Fault(table, "capture", message))
    if settler.feeds is not None:
        bed = file.beds.get(settler.feeds)
        if bed is None or BED_KINDS[bed.kind].is_on_loop:
            fed = [name for name, other in file.beds.items() if not BED_KINDS[other.kind].is_on_loop]
            known = f"known are {', '.join(fed)}" if fed else "there is none, so take it out"
            plurals = " or ".join(BED_KINDS[kind].plural for kind in solids_fed_kinds())
            faults.append(Fault(table, "feeds", f"{shown(settler.feeds)} is not among the {plurals}; {known}."))
    return faults


def _temperature_faults(
    key: str, loop: LoopTable, file: SiteFile, species: Mapping[str, Entry], raw: Mapping[str, Any]
) -> list[Fault]:
    water = loop.water_temperature
    place, faults = f"loops.{key}", []
    if isinstance(water, ComputedTemperature):
        return []
    if water.at_least is not None and water.at_most is not None and water.at_least > water.at_most:
        faults.append(
            Fault(
                place, "water_temperature.at_least",
                f"{_written(raw, key, 'at_least')} is above the at_most of {_written(raw, key, 'at_most')}; "
                "give a lower one.",
            )
        )  # fmt: skip
    typed: dict[str, float] = {}
    if isinstance(water, ConstantTemperature):
        typed["value"] = water.value
    elif isinstance(water, MonthlyTemperature):
        typed |= {f"values.{month}": value for month, value in water.values.items()}
    if water.at_most is not None:
        typed = {field: min(value, water.at_most) for field, value in typed.items()}
    if water.at_least is not None:
        typed["at_least"] = water.at_least
    tanks = {name for name, tank in file.tanks.items() if tank.loop == key}
    named = sorted({cohort.species for cohort in file.cohorts.values() if cohort.tank in tanks} & set(species))
    for name in named:
        deadly = species[name].number("temperature_high_lethal")  # NaN, which nothing passes, where none was measured
        for field, value in typed.items():
            if value > deadly:
                faults.append(
                    Fault(
                        place, f"water_temperature.{field}",
                        f"{_written(raw, key, field)} kills {name} (half die in four days at {deadly:.1f} degC, "
                        f"{to_face(deadly, 'temperature', 'us'):.1f} degF); check the unit, or keep that fish in "
                        "another loop.",
                    )
                )  # fmt: skip
    return faults


def _written(raw: Mapping[str, Any], loop: str, field: str) -> str:
    here: Any = raw["loops"][loop]["water_temperature"]
    for step in field.split("."):
        here = here[step]
    return shown(here)
