"""A site file read in: every fault found at once, and everything it names brought together."""

from __future__ import annotations

import datetime as dt
import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ValidationError

from stocksim.climate.temperature import logged_temperature, monthly_temperature
from stocksim.errors import Fault, InputError, ParameterError
from stocksim.library.crops import crop_names, load_crop
from stocksim.library.feeds import blend, feed_names, feed_parts, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species, species_names
from stocksim.memo import content_key, written_key
from stocksim.opening import MOST_BYTES, beside, read_regular
from stocksim.site.begun import Begun
from stocksim.site.climate_faults import climate_when_read
from stocksim.site.climate_tables import ComputedTemperature, FileWeather
from stocksim.site.cohorts import all_cohorts, presence_faults
from stocksim.site.faults import cross_faults, name_fault, reads_as_other, season_is_sound
from stocksim.site.fish_tables import CohortTable, FeedEvent
from stocksim.site.kinds import EVENT_KINDS, Act
from stocksim.site.logs import TemperatureLog, read_temperature_log
from stocksim.site.loop_water import loop_water_faults
from stocksim.site.model import (
    ConstantTemperature,
    LoggedTemperature,
    LoopTable,
    MonthlyTemperature,
    SiteFile,
)
from stocksim.site.notes import assumptions
from stocksim.site.plausible import site_doubts, water_faults
from stocksim.site.pumps import pump_name_faults, pump_number_faults, with_told_flows
from stocksim.site.quantities import MONTHS, shown
from stocksim.site.records import read_once
from stocksim.site.sentences import MOST_DEPTH, depth_is_sound, placed, sentences, slip_of, too_deep
from stocksim.site.stand_in import found_elsewhere, with_stand_ins
from stocksim.site.stocking_faults import stocking_faults
from stocksim.site.sump_levels import pump_notes, sump_warnings
from stocksim.writing import safe_cell

# a log's own fault may go on from its file name ("log.csv was not found") or stand for itself ("line 3: ...")
_LOG_VERBS = ("is ", "was ", "has ", "cannot ", "needs ", "does ", "leads ")
_TOO_DEEP = f"has lists or tables nested more than {MOST_DEPTH} deep; a site file needs a handful."
MOST_SITE_BYTES = 5_000_000  # some hundred times the longest that we know of
_NAMED_TABLES = ("loops", "tanks", "beds", "biofilters", "settlers", "pumps", "backups", "cohorts")


@dataclass(frozen=True)
class Site:
    """A site without faults: its tables, the library entries they name, and the water temperatures that it gives.

    Parameters
    ----------
    file : SiteFile
        The tables, quantities in the inside units.
    species, feeds, crops : mapping of str to Entry
        Library entries named by the site.
    held_c : mapping of str to ndarray, shape (days,)
        Typed and logged water temperatures by loop; `stocksim.heat.temperatures.water_c` gives the computed ones too.
        [degC]
    notes : tuple of str
        What was assumed or filled in, one sentence each, the questions first; `stocksim.heat.notes.site_notes` gives
        those too that need the water's temperature.
    raw : mapping
        The file as written.
    folder : Path
        Where the file stands; logs and own species files are looked up beside it.
    name : str
        File name, for messages.
    questions : tuple of str
        What can hardly be meant, to be asked of the keeper; the first of the notes.
    likeliest_cause : str
        The question that lies furthest beyond what is usual, to be told where something absurd comes of the site;
        empty where nothing is asked.
    bed_notes : tuple of str
        Those of the notes that tell of beds, of their light and of their air, in the order of the notes.
    begun : Begun
        What records tell of the water, and of the first morning of a season that begins in the middle; ``held_c`` has
        the readings in it.
    """

    file: SiteFile
    species: Mapping[str, Entry]
    feeds: Mapping[str, Entry]
    crops: Mapping[str, Entry]
    held_c: Mapping[str, NDArray[np.float64]]
    notes: tuple[str, ...]
    raw: Mapping[str, Any] = field(repr=False)
    folder: Path = field(repr=False)
    name: str = "site.toml"
    questions: tuple[str, ...] = ()
    likeliest_cause: str = ""
    bed_notes: tuple[str, ...] = ()
    begun: Begun = field(default_factory=Begun)

    def __repr__(self) -> str:
        season, parts = self.file.season, ("loops", "tanks", "beds", "cohorts")
        counts = ", ".join(f"{part}={len(getattr(self.file, part))}" for part in parts)
        return f"Site({self.file.site.name!r}, {self.name!r}, {season.start} to {season.end}, {counts})"

    @property
    def days(self) -> int:
        """Number of days of the season, first and last included."""
        return (self.file.season.end - self.file.season.start).days + 1

    @cached_property
    def content(self) -> bytes:
        """Digest of all that a season of the site follows from, files beside it included; for `content_key`."""
        return content_key(
            _read_key(self.file),
            written_key(self.raw),
            self.species,
            self.feeds,
            self.crops,
            dict(self.held_c),
            self._record(),
            str(self.folder),
            self.name,
            self.begun,
        )

    @cached_property
    def place_content(self) -> bytes:
        """Digest of all but the fish, what is done with them and their water, and what is wished: heat and light follow
        from it."""
        water = dict(self.held_c), dict(self.begun.water_off_c)
        return content_key(_read_key(self.file, _NOT_OF_PLACE), *water, self._record(), str(self.folder))

    @cached_property
    def stay_content(self) -> bytes:
        """Digest of all but fish that are taken out and what is wished: who lives where on what follows from it."""
        taken = {kind for kind, row in EVENT_KINDS.items() if row.act is Act.TAKE}
        # as read and not as written: who plans puts other fish into the tables that are read
        fish = [*self.file.cohorts.items(), *(("", event) for event in self.file.events if event.kind not in taken)]
        keys = [(name, _read_key(table)) for name, table in fish]
        loops = [(loop.feeding_hours, loop.water_changes) for loop in self.file.loops.values()]
        return content_key(self.place_content, keys, loops, self.species, self.feeds, self.crops)

    def _record(self) -> bytes | None:
        """Digest of the weather file that the site names, if any."""
        table = self.file.weather
        return read_once(self.folder / table.file, _digest_of) if isinstance(table, FileWeather) else None

    @cached_property
    def cohorts(self) -> dict[str, CohortTable]:
        """Cohorts by name, those that grading makes included, each with the table it begins with."""
        return all_cohorts(self.file)

    def files(self) -> list[Path]:
        """The site file and every file beside it that the site reads: logs, weather, own species, feeds and crops."""
        named = [water.file for loop in self.file.loops.values()
                 if isinstance(water := loop.water_temperature, LoggedTemperature)]  # fmt: skip
        if isinstance(self.file.weather, FileWeather):
            named.append(self.file.weather.file)
        own = [
            Path(entry.origin)
            for entries in (self.species, self.feeds, self.crops)
            for entry in entries.values()
            if entry.is_own
        ]
        return [self.folder / self.name, *dict.fromkeys(self.folder / name for name in named), *own]

    def with_changes(self, changes: Mapping[str, Any]) -> Site:
        """The same site with some fields changed, checked like a file; library files are not read again.

        Parameters
        ----------
        changes : mapping of str to object
            Dotted field, as ``cohorts.autumn_perch.count``, to the value a site file would hold there; None
            removes the field.

        Returns
        -------
        Site
            A new site; this one stays as it is.

        Raises
        ------
        InputError
            With every fault of the changed site.
        """
        raw = dict(self.raw)  # what is not changed is shared
        for dotted, value in changes.items():
            table = raw
            *path, key = dotted.split(".")
            for step in path:
                inner = table.get(step, {})
                if not isinstance(inner, dict):
                    raise InputError([Fault(".".join(path), key, "is not a field of a table.", self.name)])
                table[step] = dict(inner)
                table = table[step]
            if value is None:
                table.pop(key, None)
            else:
                table[key] = value
        changed = site_from_tables(raw, self.folder, self.name, self)
        if not any(map(_is_of_place, changes)) and _alike(self.held_c, changed.held_c):
            changed.__dict__["place_content"] = self.place_content  # known without reading all tables again
        return changed


# Tables, and fields of the entries of tables, that neither heat nor light asks.
OF_FISH = ("cohorts", "events", "stocking", "advice", "settlers")
OF_WATER = {
    "loops": (
        "ph", "alkalinity_target", "buffer", "oxygen_supply", "source_water", "water_tests", "water_changes",
        "fishless_cycling", "feeding_ramp", "feeding_hours",
    ),
    "tanks": ("oxygen_supply",),
}  # fmt: skip
_NOT_OF_PLACE: dict[str, Any] = {
    **dict.fromkeys(OF_FISH, True), **{table: {"__all__": set(fields)} for table, fields in OF_WATER.items()},
}  # fmt: skip


def _is_of_place(dotted: str) -> bool:
    """Whether heat or light may ask for a field."""
    table, *path = dotted.split(".")
    return table not in OF_FISH and (len(path) < 2 or path[1] not in OF_WATER.get(table, ()))


def _read_key(table: BaseModel, left_out: dict[str, Any] | None = None) -> bytes:
    """Digest of a table as it was read, some of its fields left out; much quicker than `content_key`."""
    return hashlib.blake2b(table.model_dump_json(exclude=left_out, warnings=False).encode(), digest_size=16).digest()


def _alike(one: Mapping[str, NDArray[np.float64]], other: Mapping[str, NDArray[np.float64]]) -> bool:
    """Whether two sets of temperatures are of the same loops and days, and the same."""
    return one.keys() == other.keys() and all(np.array_equal(one[key], other[key]) for key in one)


def _digest_of(path: Path) -> bytes | None:
    """Digest of a file that a season of a site reads; None where it cannot be read."""
    try:
        return content_key(read_regular(path, MOST_BYTES))
    except InputError:
        return None


def load_site(path: str | Path) -> Site:
    """Site from a TOML file.

    Parameters
    ----------
    path : str or Path
        The site file. Logs and own species files are looked up in its folder.

    Returns
    -------
    Site
        Checked tables with all they name.

    Raises
    ------
    InputError
        With one fault for everything wrong in the file.
    """
    path = Path(path)
    name = path.name or str(path)
    if path.is_dir():
        raise InputError([Fault("", "", "is a folder; give a site file.", name)])
    try:
        text = read_regular(path, MOST_SITE_BYTES).decode("utf-8-sig")
    except InputError as error:
        raise InputError([replace(fault, file=str(path)) for fault in error.faults]) from None
    except UnicodeDecodeError as error:
        raise InputError([Fault("", "", "is not UTF-8 text; save it as UTF-8.", name)]) from error
    return site_from_text(text, path.parent, name)


def site_from_text(text: str, folder: Path, name: str = "site.toml") -> Site:
    """Site from the text of a file; arguments and errors as in `load_site`."""
    if too_deep(text):
        raise InputError([Fault("", "", _TOO_DEEP, name)])
    text = text.replace("\r\n", "\n")
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(placed([Fault("", "", slip_of(text, error), name)], name)) from error
    except RecursionError as error:
        raise InputError([Fault("", "", _TOO_DEEP, name)]) from error
    except ValueError as error:  # Python's own limit on the digits of a whole number
        raise InputError([Fault("", "", "is not readable TOML: a number has too many digits.", name)]) from error
    return site_from_tables(raw, folder, name)


def site_from_tables(raw: Mapping[str, Any], folder: Path, name: str = "site.toml", before: Site | None = None) -> Site:
    """Site from the tables of a file; arguments and errors as in `load_site`.

    A site that was changed from one ``before`` keeps that one's library entries, and what records told of it.
    """
    if not depth_is_sound(raw):
        raise InputError([Fault("", "", _TOO_DEEP, name)])
    if not raw:
        raise InputError([Fault("", "", "is empty; `stocksim new FILE` writes a site file to start from.", name)])
    faults = _name_faults(raw)
    stand_ins: frozenset[str] = frozenset()
    is_whole = True
    try:
        file = SiteFile.model_validate(raw)
    except ValidationError as error:
        faults += sentences(error, raw, SiteFile)
        # the rest of the file is checked all the same, so that the keeper sees every fault at once
        file, stand_ins = with_stand_ins(raw, error)
        is_whole = False
    tangled = pump_name_faults(file)  # before flows are told, which are not the keeper's own words
    file = with_told_flows(file)
    entries, missing = _library_entries(file, folder, before)
    sound = season_is_sound(file) and "season" not in stand_ins
    held_c, notes, cold_faults = _temperatures(file, folder, sound)
    begun = before.begun.of(file.season.start) if before is not None else Begun()
    held_c = {loop: begun.water(loop, daily) for loop, daily in held_c.items()}
    said, climate = climate_when_read(file, folder, raw, sound and not cold_faults)
    # numbers that stand in for faulty ones mean nothing beside the others
    doubts = site_doubts(file, entries["species"], entries["feeds"], raw) if is_whole else None
    across = tangled + cross_faults(file, entries["species"], raw) + stocking_faults(file, folder)
    absurd = doubts.faults if doubts is not None else []
    faults += found_elsewhere(missing + across + cold_faults + climate + absurd, stand_ins)
    if not faults:
        # where the fish are and what water they have can only be judged when all else is right
        faults = presence_faults(file) + loop_water_faults(file, raw)
        # a change that is tried may move flows: its pumps are built to them
        faults += pump_number_faults(file) if before is None else []
    if faults:
        raise InputError(placed(faults, name))
    questions = doubts.questions if doubts is not None else []
    wildest = max(questions, default=None)
    asked = (*(str(question) for question in questions), *sump_warnings(file))
    of_beds = [str(question) for question in questions if question.table == "beds"]
    assumed = assumptions(file, **entries, folder=folder)
    told = (*asked, *assumed.notes, *pump_notes(file), *notes, *said)
    return Site(file, **entries, held_c=held_c, notes=told, raw=raw, folder=folder,
                name=name, questions=asked, likeliest_cause="" if wildest is None else wildest.cause,
                bed_notes=(*of_beds, *assumed.of_beds), begun=begun)  # fmt: skip


def _name_faults(raw: Mapping[str, Any]) -> list[Fault]:
    return [
        Fault(table, str(key), wrong)
        for table in _NAMED_TABLES
        if isinstance(raw.get(table), dict)
        for key in raw[table]
        if (wrong := name_fault(str(key)))
    ]


def _library_entries(
    file: SiteFile, folder: Path, before: Site | None
) -> tuple[dict[str, dict[str, Entry]], list[Fault]]:
    wanted = [
        (
            "species", load_species, species_names,
            [(f"cohorts.{k}", "species", c.species) for k, c in file.cohorts.items()],
        ),
        (
            "feeds", load_feed, feed_names,
            [(table, "feed", part) for table, feed in _feeds_of(file) for part in feed_parts(feed)],
        ),
        (
            "crops", load_crop, crop_names,
            [
                (f"beds.{k}", f"plantings[{number}].crop", planting.crop)
                for k, bed in file.beds.items()
                for number, planting in enumerate(bed.plantings, 1)
            ],
        ),
    ]  # fmt: skip
    entries: dict[str, dict[str, Entry]] = {}
    faults: list[Fault] = []
    for kind, load, names, uses in wanted:
        read = getattr(before, kind) if before is not None else {}
        entries[kind] = {name: read[name] for _, _, name in uses if name in read}
        if all(name in read for _, _, name in uses):
            continue
        known = names(folder)
        broken: set[str] = set()
        for table, key, name in uses:
            if name not in known:
                faults.append(Fault(table, key, f"{shown(name)} is not in the library; known are {', '.join(known)}."))
            elif reads_as_other(name) or safe_cell(name) != name:
                message = (
                    f'"{name}" would be read as a number, a formula or nothing in a table; give your file another name.'
                )
                faults.append(Fault(table, key, message))
            elif name not in entries[kind] and name not in broken:
                try:
                    entries[kind][name] = load(name, folder)
                except ParameterError as error:
                    broken.add(name)
                    faults.extend(error.faults)
    feeds = entries["feeds"]
    mixes = {feed for _, feed in _feeds_of(file)} - {*feeds}
    feeds |= {feed: blend(feed, feeds) for feed in sorted(mixes) if {*feed_parts(feed)} <= {*feeds}}
    return entries, faults


def _feeds_of(file: SiteFile) -> list[tuple[str, str]]:
    """Feeds of cohorts and events, each with the table that names it."""
    events = [(f"events[{n}]", event.feed) for n, event in enumerate(file.events, 1) if isinstance(event, FeedEvent)]
    return [(f"cohorts.{key}", cohort.feed) for key, cohort in file.cohorts.items()] + events


def _temperatures(
    file: SiteFile, folder: Path, has_season: bool
) -> tuple[dict[str, NDArray[np.float64]], list[str], list[Fault]]:
    start = file.season.start
    days = (file.season.end - start).days + 1
    series: dict[str, NDArray[np.float64]] = {}
    notes: list[str] = []
    faults: list[Fault] = []
    for key, loop in file.loops.items():
        place = f"loops.{key}"
        if isinstance(loop.water_temperature, ComputedTemperature):
            continue
        try:
            if not has_season:
                _read_log(loop, folder, file.site.utc_offset)
                continue
            daily, said = _loop_temperature(loop, start, days, folder, file.site.utc_offset)
        except InputError as error:
            faults += [Fault(place, "water_temperature", _with_file(fault)) for fault in error.faults]
            continue
        water = loop.water_temperature
        if water.at_least is not None:
            daily = np.maximum(daily, water.at_least)
        if water.at_most is not None:
            daily = np.minimum(daily, water.at_most)
        told = water_faults(place, daily, start, file.site.units)
        if not told and daily.min() < 0.0:
            said = [*said, f"{int(np.sum(daily < 0.0))} days that come out just below freezing are taken as 0 degC."]
            daily = np.maximum(daily, 0.0)
        series[key] = daily
        faults += told
        notes += [f"{place}.water_temperature: {sentence}" for sentence in said]
    return series, notes, faults


def _with_file(fault: Fault) -> str:
    """A log's fault as words, for it is told at the place that names the log."""
    return (
        f"{fault.file} {fault.message}"
        if fault.file and fault.message.startswith(_LOG_VERBS)
        else (f"{fault.file}, {fault.message}" if fault.file else fault.message)
    )


def _loop_temperature(
    loop: LoopTable, start: dt.date, days: int, folder: Path, utc_offset_h: float | None
) -> tuple[NDArray[np.float64], list[str]]:
    water = loop.water_temperature
    if isinstance(water, MonthlyTemperature):
        return monthly_temperature(start, days, {MONTHS.index(m) + 1: t for m, t in water.values.items()}), []
    log = _read_log(loop, folder, utc_offset_h)
    if log is not None:
        daily, notes = logged_temperature(start, days, log.dates, log.mean_c)
        return daily, [*log.notes, *notes]
    assert isinstance(water, ConstantTemperature)
    return np.full(days, water.value), []


def _read_log(loop: LoopTable, folder: Path, utc_offset_h: float | None) -> TemperatureLog | None:
    water = loop.water_temperature
    if not isinstance(water, LoggedTemperature):
        return None
    return read_temperature_log(beside(folder, water.file), utc_offset_h)
