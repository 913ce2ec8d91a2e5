"""What the model says of a faulty site file, put into our own sentences."""

from __future__ import annotations

import re
import types
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from stocksim.errors import Fault
from stocksim.site.quantities import MONTHS, shown

_WITH_KINDS = ("water_temperature", "oxygen_supply", "ration")
SINGLE_TABLES = ("site", "season", "weather", "greenhouse", "fish_room")  # tables without a name of their own
_ONE_NAME = ("loop", "tank", "species", "feed", "crop")
_STOCKING_NAMED = ("candidates", "own", "options")
_DATE = "write a date, as 2026-10-01"
# what to write where a needed key is missing
_WANTED = {
    "site": "write a table [site] with a name", "season": "write a table [season] with start and end",
    "loops": "write at least one table, as [loops.main]", "tanks": "write at least one table, as [tanks.cedar]",
    "name": 'write a text, as "My growing house"', "start": _DATE, "end": _DATE, "from": _DATE, "to": _DATE,
    "loop": "name one of the loops", "tank": "name one of the tanks",
    "sump": 'write a volume, as "900 L"', "volume": 'write a volume, as "900 L"',
    "media_volume": 'write a volume, as "60 L"', "flow": 'write a flow, as "1300 L/h"',
    "area": 'write an area, as "14 m2"', "mean_weight": 'write a weight, as "35 g"',
    "specific_surface": 'write a surface for each volume, as "280 m2/m3"',
    "water_temperature": 'write a table, as { kind = "constant", value = "17 degC" }',
    "value": 'write a temperature, as "17 degC"', "values": 'write a table, as { jan = "12 degC", feb = "13 degC" }',
    "file": 'name a CSV file beside the site file, as "water.csv"', "power": 'write a power, as "35 W"',
    "transfer": 'write an oxygen transfer, as "20 g/h"', "fraction": "write a number from 0 to 1, as 0.85",
    "share": "write a number from 0 to 1, as 0.4", "date": _DATE, "ammonia_nitrogen": 'write a dose, as "5 g/day"',
    "low": 'write monthly means, as { jan = "-12 degC", feb = "-10 degC" }',
    "high": 'write monthly means, as { jan = "-3 degC", feb = "-1 degC" }',
    "floor_area": 'write an area, as "60 m2"', "cover": 'name one, as "double_film"',
    "foam": 'write a thickness, as "50 mm"', "set_point": 'write a temperature, as "8 degC"',
    "fuel": 'name one, as "propane"', "hour": "write an hour of the day, as 18",
    "from_hour": "write an hour of the day, as 5", "to_hour": "write an hour of the day, as 21",
    "opens_at": 'write a temperature, as "25 degC"',
    "count": "write a whole number, as 60", "species": "name one; `stocksim fish` lists them",
    "cohort": "name one of the cohorts",
    "into": 'write a name for the cohort of the larger fish, as "big_perch"',
    "ration": 'write a table, as { kind = "appetite", fraction = 0.85 }', "below": 'write a temperature, as "13 degC"',
    "feed_every_days": "write a whole number of days, as 2", "per_day": 'write a weight of feed, as "150 g"',
    "percent": "write percent of body weight, as 1.5 (a table: a list of lists)",
    "temperatures": 'write a list, as ["10 degC", "15 degC"]', "weights": 'write a list, as ["20 g", "100 g"]',
    "price": "write a number, what one fish costs, as 1.5", "at_most": "write a whole number, as 60",
    "weight": 'write a weight, as "6 kg"', "by": _DATE,
    "feed": 'name one of the library, as "perch_45"', "crop": 'name one of the library, as "lettuce"',
}  # fmt: skip


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
    path = [step for step in item["loc"] if step != "[key]"]
    # pydantic names the kind it chose; it is no key of the file
    if len(path) > 2 and path[0] == "events":
        del path[2]
    depth = 3 if path[:1] == ["stocking"] else 2
    if len(path) > depth + 1 and path[depth] in _WITH_KINDS:
        del path[depth + 1]
    if len(path) > 1 and path[0] == "weather":
        del path[1]
    table, key = _place(path)
    kind, met = item["type"], item["input"]
    if kind == "stocksim":
        return Fault(table, key, item["ctx"]["sentence"])
    if kind == "missing":
        return Fault(table, key, _missing(path, raw, model))
    if kind == "extra_forbidden":
        models = _models_at(model, path[:-1], raw)
        known = sorted({info.alias or name for m in models for name, info in m.model_fields.items()})
        return Fault(table, key, f"is not known here; known are {', '.join(known)}.")
    if kind == "literal_error" and "[key]" in item["loc"]:
        return Fault(table, key, f"is not a month; use {_choice(MONTHS)}.")
    if kind == "literal_error":
        return Fault(table, key, f"{shown(met)} is not known here; use {item['ctx']['expected']}.".replace("'", '"'))
    if kind == "union_tag_invalid":
        kinds = _choice(re.findall("'.*?'", item["ctx"]["expected_tags"])).replace("'", '"')
        return Fault(table, _join(key, "kind"), f"{shown(met['kind'])} is not known here; use {kinds}.")
    if kind == "union_tag_not_found":
        kinds = _choice([f'"{kind}"' for m in _models_at(model, path, raw) for kind in _kinds(m)])
        return Fault(table, _join(key, "kind"), f"is missing; use {kinds}.")
    if kind == "string_type" and isinstance(met, list) and key in _ONE_NAME:
        return Fault(table, key, f"{shown(met)} is not allowed here; {_WANTED[key]}, and only one.")
    if kind == "too_short":
        return Fault(table, key, f"is empty; {_WANTED[table]}.")
    wants = {
        "string_type": "a text in quotes", "bool_type": "true or false", "list_type": "a list, as [{ ... }]",
        "model_type": "a table", "model_attributes_type": "a table", "dict_type": "a table",
    }.get(kind)  # fmt: skip
    return Fault(table, key, f"{shown(met)} is not allowed here; write {wants}." if wants else "is not allowed here.")


def _missing(path: list[Any], raw: Mapping[str, Any], model: type[BaseModel]) -> str:
    key = path[-1]
    if key == "kind":
        (table,) = _models_at(model, path[:-1], raw)
        kinds = [f'"{kind}"' for kind in _kinds(table)]
        return f"is missing; use {_choice(kinds)}."
    return f"is missing; {_WANTED[key]}."


def _choice(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _place(path: list[Any]) -> tuple[str, str]:
    depth = 1 if path and path[0] in SINGLE_TABLES else 2
    if path and path[0] == "stocking":
        depth = 3 if len(path) > 2 and path[1] in _STOCKING_NAMED else 1
    table = ".".join(str(step) for step in path[:depth])
    if path and path[0] == "events" and len(path) > 1:
        table = f"events[{path[1] + 1}]"
    key = ""
    for step in path[depth:]:
        key += f"[{step + 1}]" if isinstance(step, int) else (f".{step}" if key else str(step))
    return table, key


def _name_depth(path: list[Any]) -> int:
    """Where a path holds a name that the keeper gave, -1 for nowhere."""
    if path[0] == "stocking":
        return 2 if len(path) > 1 and path[1] in _STOCKING_NAMED else -1
    return -1 if path[0] in SINGLE_TABLES else 1


def _join(key: str, more: str) -> str:
    return f"{key}.{more}" if key else more


def _models_at(model: type[BaseModel], path: list[Any], raw: Mapping[str, Any]) -> list[type[BaseModel]]:
    """Models of the table at a path; where a table's kind decides, that of the kind written."""
    here, written = [model], raw
    for depth, step in enumerate(path):
        written = written[step]
        # the name in a named table and the number in a list are steps of the path, but none of the model
        if isinstance(step, str) and depth != _name_depth(path):
            fields = [i for m in here for n, i in m.model_fields.items() if (i.alias or n) == step]
            here = [found for info in fields for found in _inside(info.annotation)]
        if len(here) > 1 and isinstance(written, dict) and "kind" in written:
            here = [m for m in here if written["kind"] in _kinds(m)]
    return here


def _kinds(model: type[BaseModel]) -> tuple[str, ...]:
    return typing.get_args(model.model_fields["kind"].annotation)


def _inside(annotation: Any) -> Iterator[Any]:
    """Models found in an annotation; a dict's or list's content is reached without a step of its own."""
    origin = typing.get_origin(annotation)
    if origin is None:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            yield annotation
    elif origin in (typing.Union, types.UnionType, typing.Annotated, dict, list):
        for part in typing.get_args(annotation):
            yield from _inside(part)


def placed(faults: list[Fault], name: str) -> list[Fault]:
    """Faults with the file's name, each a single line whatever the file's own words hold."""
    return [
        Fault(*(_one_line(part) for part in (fault.table, fault.field, fault.message, fault.file or name)))
        for fault in faults
    ]


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
