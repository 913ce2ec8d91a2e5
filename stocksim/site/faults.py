"""What can be wrong with a site file, said in a sentence each."""

from __future__ import annotations

import datetime as dt
import types
import typing
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from stocksim.errors import Fault
from stocksim.library.sources import Entry
from stocksim.site.model import BedTable, ConstantTemperature, LoopTable, MonthlyTemperature, SiteFile

_LONGEST_SEASON_DAYS = 3660
_UNION_TAGS = {"diffuser", "measured", "none", "constant", "monthly", "log", "appetite", "unfed"}


def sentences(error: ValidationError, raw: Mapping[str, Any], model: type[BaseModel]) -> list[Fault]:
    """Faults from pydantic's error list, in our own words.

    Parameters
    ----------
    error : ValidationError
        Raised by the model.
    raw : mapping
        The tables as written, to show the value met.
    model : type
        The model, to name the keys that are known.

    Returns
    -------
    list of Fault
        One for each error.
    """
    return [_sentence(item, raw, model) for item in error.errors(include_url=False)]


def _sentence(item: Any, raw: Mapping[str, Any], model: type[BaseModel]) -> Fault:
    path = [
        step
        for step in item["loc"]
        if not (isinstance(step, str) and step in _UNION_TAGS and not _in(raw, item["loc"], step))
    ]
    path = [step for step in path if step != "[key]"]
    table, key = _place(path)
    kind, met = item["type"], item["input"]
    shown = f'"{met}"' if isinstance(met, str) else _short(met)
    if kind == "stocksim":
        return Fault(table, key, item["ctx"]["sentence"])
    if kind == "missing":
        return Fault(table, key, "is missing.")
    if kind == "extra_forbidden":
        known = sorted(_keys_at(model, path[:-1]))
        hint = f"; known are {', '.join(known)}" if known else ""
        return Fault(table, key, f"is not known here{hint}.")
    if kind == "literal_error":
        return Fault(table, key, f"{shown} is not known here; use {item['ctx']['expected']}.".replace("'", '"'))
    if kind == "union_tag_invalid":
        return Fault(
            table,
            _join(key, "kind"),
            f'"{item["ctx"]["tag"]}" is not known here; use {item["ctx"]["expected_tags"]}.'.replace("'", '"'),
        )
    if kind == "union_tag_not_found":
        return Fault(table, _join(key, "kind"), 'is missing; write a table such as { kind = "..." }.')
    if kind == "too_short":
        return Fault(table, key, "is empty; a site needs at least one.")
    wants = {
        "string_type": "a text in quotes", "bool_type": "true or false", "list_type": "a list",
        "model_type": "a table", "model_attributes_type": "a table", "dict_type": "a table",
    }.get(kind)  # fmt: skip
    return Fault(table, key, f"{shown} is not allowed; write {wants}." if wants else f"{shown} is not allowed here.")


def _in(raw: Any, path: tuple[Any, ...], step: Any) -> bool:
    """Whether a step of pydantic's path is a key that really stands in the file (and not a union's tag)."""
    here = raw
    for part in path:
        if part == step:
            return isinstance(here, dict) and step in here
        if (isinstance(here, dict) and part in here) or (
            isinstance(here, list) and isinstance(part, int) and part < len(here)
        ):
            here = here[part]
    return False


def _place(path: list[Any]) -> tuple[str, str]:
    depth = 1 if path and path[0] in ("site", "season") else 2
    table = ".".join(str(step) for step in path[:depth])
    key = ""
    for step in path[depth:]:
        key += f"[{step + 1}]" if isinstance(step, int) else (f".{step}" if key else str(step))
    return table, key


def _join(key: str, more: str) -> str:
    return f"{key}.{more}" if key else more


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _keys_at(model: Any, path: list[Any]) -> list[str]:
    """Keys that a table of the model may hold."""
    here: list[Any] = [model]
    for step in path:
        nearest: list[Any] = []
        for candidate in here:
            if isinstance(candidate, type) and issubclass(candidate, BaseModel):
                for name, info in candidate.model_fields.items():
                    if (info.alias or name) == step:
                        nearest += list(_inside(info.annotation))
            else:
                nearest.append(candidate)
        here = nearest
    return sorted(
        {
            info.alias or name
            for candidate in here
            if isinstance(candidate, type) and issubclass(candidate, BaseModel)
            for name, info in candidate.model_fields.items()
        }
    )


def _inside(annotation: Any) -> Iterator[Any]:
    """Models found in an annotation; a dict's or list's content is reached without a step of its own."""
    origin = typing.get_origin(annotation)
    if origin is None:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            yield annotation
    elif origin in (typing.Union, types.UnionType, typing.Annotated, dict, list):
        for part in typing.get_args(annotation):
            yield from _inside(part)


def cross_faults(file: SiteFile, species: Mapping[str, Entry]) -> list[Fault]:
    """Faults that only show when tables are read together.

    Parameters
    ----------
    file : SiteFile
        Tables that are sound one by one.
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
    elif (season.end - season.start).days >= _LONGEST_SEASON_DAYS:
        faults.append(Fault("season", "end", "makes a season of more than ten years; give an earlier day."))
    for table, entries in (("tanks", file.tanks), ("beds", file.beds), ("biofilters", file.biofilters)):
        for key, entry in entries.items():
            faults += _known(f"{table}.{key}", "loop", entry.loop, file.loops)
    for key, cohort in file.cohorts.items():
        faults += _known(f"cohorts.{key}", "tank", cohort.tank, file.tanks)
        if cohort.stocked is not None:
            faults += _within(f"cohorts.{key}", "stocked", cohort.stocked, file)
    for key, bed in file.beds.items():
        faults += _bed_faults(key, bed, file)
    for key, loop in file.loops.items():
        faults += _temperature_faults(key, loop, file, species)
    return faults


def _known(table: str, field: str, name: str, among: Mapping[str, Any]) -> list[Fault]:
    if name in among:
        return []
    noun = {"loop": "loops", "tank": "tanks"}[field]
    return [Fault(table, field, f'"{name}" is not among the {noun}; known are {", ".join(among)}.')]


def _within(table: str, field: str, day: dt.date, file: SiteFile) -> list[Fault]:
    season = file.season
    if season.end < season.start or season.start <= day <= season.end:
        return []
    return [Fault(table, field, f"{day} is outside the season {season.start} to {season.end}.")]


def _bed_faults(key: str, bed: BedTable, file: SiteFile) -> list[Fault]:
    table = f"beds.{key}"
    faults = []
    if bed.kind == "wicking":
        for field in ("flow", "media_size", "nitrifying_surface", "oxygen_supply", "biofilter_started"):
            if getattr(bed, field) is not None:
                faults.append(Fault(table, field, "does not belong to a wicking bed: no loop water runs through it."))
    if bed.kind == "tower" and bed.flow is None:
        faults.append(Fault(table, "flow", "is missing; a tower has no usual flow that could be assumed."))
    if bed.kind != "media" and bed.media_size is not None:
        faults.append(Fault(table, "media_size", f"belongs to a media bed, not to a {bed.kind}."))
    events: dict[dt.date, float] = {}
    for number, planting in enumerate(bed.plantings, 1):
        place = f"plantings[{number}]"
        if planting.end < planting.start:
            faults.append(Fault(table, f"{place}.to", f"{planting.end} is before its from, {planting.start}."))
            continue
        faults += _within(table, f"{place}.from", planting.start, file)
        faults += _within(table, f"{place}.to", planting.end, file)
        area = bed.area if planting.area is None else planting.area
        events[planting.start] = events.get(planting.start, 0.0) + area
        after = planting.end + dt.timedelta(days=1)
        events[after] = events.get(after, 0.0) - area
    planted = 0.0
    for day in sorted(events):
        planted += events[day]
        if planted > bed.area * (1 + 1e-9):
            faults.append(
                Fault(
                    table, "plantings",
                    f"{planted:.1f} m2 are planted on {day}, more than the bed's {bed.area:.1f} m2; "
                    "give each planting its own area or move the dates apart.",
                )
            )  # fmt: skip
            break
    return faults


def _temperature_faults(key: str, loop: LoopTable, file: SiteFile, species: Mapping[str, Entry]) -> list[Fault]:
    water = loop.water_temperature
    faults = []
    if water.at_least is not None and water.at_most is not None and water.at_least > water.at_most:
        faults.append(Fault(f"loops.{key}", "water_temperature.at_least", "is above at_most; give a lower one."))
    if isinstance(water, ConstantTemperature):
        typed = {"value": water.value}
    elif isinstance(water, MonthlyTemperature):
        typed = {f"values.{month}": value for month, value in water.values.items()}
    else:
        return faults
    if water.at_most is not None:
        typed = {field: min(value, water.at_most) for field, value in typed.items()}
    tanks = {name for name, tank in file.tanks.items() if tank.loop == key}
    named = sorted({cohort.species for cohort in file.cohorts.values() if cohort.tank in tanks} & set(species))
    for name in named:
        deadly = species[name]["temperature_high_lethal"]
        for field, value in typed.items():
            if value > deadly:
                faults.append(
                    Fault(
                        f"loops.{key}", f"water_temperature.{field}",
                        f"{value:.1f} degC kills {name} (deaths begin at {deadly:.1f} degC); "
                        "check the unit, or keep that fish in another loop.",
                    )
                )  # fmt: skip
    return faults
