"""Faults of a file in sentences, slips of TOML too."""

from __future__ import annotations

import re
import tomllib
import types
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from stocksim.errors import Fault
from stocksim.site.quantities import MONTHS, OneOf, shown

_LONGEST_SHOWN, _LONGEST_LOOKED_AT = 70, 5000
MOST_DEPTH = 20  # tables in tables: no site file has more than a handful
_PLACE = re.compile(r"\(at (?:line (\d+), column (\d+)|end of document)\)")
_WORD = r"[A-Za-z0-9_-]+"
_KEY = rf"(?:{_WORD}|\"[^\"]*\")(?:\s*\.\s*(?:{_WORD}|\"[^\"]*\"))*"
_DEEP_KEY = re.compile(rf"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){{{MOST_DEPTH}}}")
_TEXT = "\x01"  # stands for a sound text in quotes while a line is looked at
_QUOTE = 'has a quotation mark without its partner; write one before and one after, as "900 L"'
_UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f]")
_CURLY = "[\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb]"

# What a slip looks like in the line that cannot be read, in the order in which it is looked for; what is said of it.
_SLIPS: tuple[tuple[str, str], ...] = (
    (_CURLY, 'has curly quotes; use straight ones, as "900 L"'),
    (
        "[\u00a0\u200b\ufeff\u2007\u202f]",
        "has a blank that is no ordinary one, as web pages hold them; type the line anew",
    ),
    (r"=\s*=", "has = twice; write it once, as count = 60"),
    (r"^\s*(?://|;|--|/\*)|\s//", "has a remark that does not begin with #; write # before it"),
    (rf"^\s*{_KEY}\s*:\s", "has a colon after its key; write =, as count = 60"),
    (rf"^\s*{_KEY}\s*=\s*$", "has no value; write one after =, or take the line out"),
    (
        r"=\s*\[?\s*(?:yes|no|on|off|True|False|TRUE|FALSE|Yes|No|YES|NO)\b",
        "has another word for true or false; write true or false",
    ),
    (r"=\s*\[?\s*\d{1,2}\.\d{1,2}\.\d{2,4}", "has a date with points; write it as 2026-10-31"),
    (r"=\s*\[?\s*\d{1,4}/\d{1,2}/\d{1,4}", "has a date with slashes; write it as 2026-10-31"),
    (
        r"=\s*\[?\s*\d{4}-\d{1,2}-\d{1,2}",
        "has a date that no calendar has; write month and day with two digits, as 2026-10-09",
    ),
    (r"=\s*[+-]?\d+,\d+\s*$", "has a decimal comma; write a point, as 7.2"),
    (
        rf"=\s*(?:[+-]?\d[\d.,]*|{_TEXT})\s*[A-Za-z\u00b0%\u00b5][\w/%\u00b0]*(?!\w|\s*=)",
        'has a unit or a word outside quotes; write number and unit in quotes, as "900 L", or the number alone, as 60',
    ),
    (r"=\s*[+-]?0\d", "has a number that begins with 0; leave the 0 out"),
    (rf"^\s*{_WORD}(?:\s+{_WORD})+\s*=", 'has a blank in its key; write _ instead, as mean_weight = "35 g"'),
    (
        rf"[{_TEXT}}}\]\d]\s+[A-Za-z_]+\s*=|[{_TEXT}}}\]]\s*[{_TEXT}{{\[]|=\s*\[?\s*\d+\s+\d",
        "has two values and no comma between; in a list write one, as [1, 2]",
    ),
    (r",\s*,", "has two commas; write one"),
    (r",\s*\}", "has a comma before its closing bracket; take it out"),
    (r"=\s*\[?\s*[A-Za-z_\u00c0-\uffff]", 'has a text without quotes; write it in quotes, as "yellow_perch"'),
    (rf"^\s*{_KEY}\s*$|^\s*{_KEY}\s+[{_TEXT}\d\[{{]", "has no = after its key; write one, as count = 60"),
)


def slip_of(text: str, error: tomllib.TOMLDecodeError) -> str:
    """One sentence on what keeps a text from being read.

    Parameters
    ----------
    text : str
        The whole file.
    error : TOMLDecodeError
        What the reader said of it; only the place is taken from it, and what stands twice.

    Returns
    -------
    str
        Goes on from the file's name; holds the line's number and text and what would be right.
    """
    lines = text.split("\n")
    number, column = _slip_place(error, lines)
    found = _twice(lines, number, str(error)) or _left_open(lines, number) or _no_comma(lines, number, column)
    if found is None and (said := _why(lines[number - 1])):
        found = number, said
    if found is None and number > 1 and column <= _indent(lines[number - 1]) + 1 and (said := _why(lines[number - 2])):
        found = number - 1, said  # the reader notices some slips at the start of the next line
    if found is None:
        what = f"cannot be read from column {column} on"
        found = number, f"{what}; look for a quote, a bracket, a comma or an = too few or too many"
    return _slip_sentence(lines, *found)


def too_deep(text: str) -> bool:
    """Whether keys of a text hold more tables in tables than any site file: such a text is slow to read, at best."""
    return _DEEP_KEY.search(text) is not None


def depth_is_sound(tables: Any) -> bool:
    """Whether lists and tables nest no deeper than any site file does; never recurses."""
    level = [tables]
    for _ in range(MOST_DEPTH):
        level = [
            inner
            for outer in level
            for inner in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(inner, (dict, list))
        ]
        if not level:
            return True
    return False


def _slip_place(error: tomllib.TOMLDecodeError, lines: list[str]) -> tuple[int, int]:
    """Line and column of the fault; where the file ended too soon, the line of a quote left open, or the last one."""
    met = _PLACE.search(str(error))
    if met and met[1]:
        return min(int(met[1]), len(lines)), int(met[2])
    quoted = [number for number, line in enumerate(lines, 1) if _is_left_quoted(line)]
    filled = [number for number, line in enumerate(lines, 1) if line.strip()]
    last = (quoted[:1] or filled[-1:] or [1])[0]
    return last, len(lines[last - 1]) + 1


def _slip_sentence(lines: list[str], number: int, said: str) -> str:
    line, (what, cure) = lines[number - 1].strip(), said.split("; ", 1)
    shown = line if len(line) <= _LONGEST_SHOWN else f"{line[: _LONGEST_SHOWN - 3]}..."
    return f"line {number} {what}: {shown}; {cure}."


def _bare(line: str) -> str:
    """A line without its remark, each sound text in quotes one sign."""
    line = line[:_LONGEST_LOOKED_AT]
    without = re.sub(r'"(?:[^"\\]|\\.)*"', _TEXT, re.sub(r'^([^"#]*)\'[^\'"]*\'', rf"\1{_TEXT}", line))
    return without.split("#")[0].rstrip()


def _is_left_quoted(line: str) -> bool:
    bare = _bare(line)
    return '"' in bare or "'" in bare


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())


def _is_head(line: str) -> bool:
    return line.lstrip().startswith("[") and "=" not in _bare(line)


def _why(line: str) -> str | None:
    bare = _bare(line)
    if _UNSEEN.search(line):
        return "holds a sign that cannot be seen; type the line anew"
    if _is_head(line):
        return _why_head(bare.strip())
    if re.search(_CURLY, bare):
        return _SLIPS[0][1]
    if '"' in bare or "'" in bare:
        return _QUOTE
    if "\\" in line.split("#")[0]:
        return 'has a backslash in quotes; write / between folders, as "logs/sump.csv"'
    return next((said for looks, said in _SLIPS if re.search(looks, bare)), None)


def _why_head(head: str) -> str:
    """What may be wrong in the head of a table."""
    if head.startswith("[[") and not head.endswith("]]"):
        return "lacks its closing brackets; write it as [[events]]"
    if not head.endswith("]"):
        return "lacks its closing bracket; write it as [tanks.cedar]"
    if re.search(rf"{_WORD}\s+{_WORD}", head):
        return "has a blank in its name; write _ instead, as [tanks.big_cedar]"
    return "is not the head of a table; write it as [tanks.cedar], with letters, digits, _ and -"


def _twice(lines: list[str], number: int, told: str) -> tuple[int, str] | None:
    """A key or a table that stands twice, with both lines."""
    if not re.search("twice|overwrite|mutate|duplicate", told.lower()):
        return None
    line = lines[number - 1]
    is_head, name = _is_head(line), _name(line)
    since = 0 if is_head else max((k for k in range(1, number) if _is_head(lines[k - 1])), default=0)
    earlier = [k for k in range(since + 1, number) if _is_head(lines[k - 1]) == is_head and _name(lines[k - 1]) == name]
    also = f" (line {earlier[-1]} has it already)" if earlier else ""
    what = "is a second table of its name" if is_head else "gives a key a second time"
    return number, f"{what}{also}; keep one, or give the other another name"


def _name(line: str) -> str:
    body = re.sub(r"\s", "", line.split("#")[0])
    return body if body.startswith("[") else body.split("=")[0]


def _left_open(lines: list[str], number: int) -> tuple[int, str] | None:
    """Line of a bracket that is never closed before the line at fault or before the entry that follows."""
    begun = [k for k in range(1, number + 1) if _begins(lines[k - 1])]
    ends = [*begun[1:], number + 1]
    for first, end in list(zip(begun, ends, strict=False))[-2:][::-1]:
        text = "".join(_bare(line) for line in lines[first - 1 : end - 1])
        missing = sum(text.count(sign) for sign in "[{") - sum(text.count(sign) for sign in "]}")
        if missing > 0 and not _is_head(lines[first - 1]):
            is_list = text.split("=", 1)[1].lstrip().startswith("[")
            return first, f"opens a bracket that is never closed; write {']' if is_list else '}'} at its end"
    return None


def _no_comma(lines: list[str], number: int, column: int) -> tuple[int, str] | None:
    """An entry of a list at the start of a line, and no comma after the one before it."""
    before, here = _bare(lines[number - 2]).rstrip() if number > 1 else "", _bare(lines[number - 1]).lstrip()
    if column > _indent(lines[number - 1]) + 1 or not here.startswith((_TEXT, "{", "[")) or _is_head(here):
        return None
    return (number - 1, "lacks a comma at its end; write one") if before.endswith((_TEXT, "}", "]")) else None


def _begins(line: str) -> bool:
    return bool(re.match(rf"\s*{_KEY}\s*=", line)) or bool(re.match(r"\s*\[{1,2}[A-Za-z]", line) and _is_head(line))


# --- what the model says of a faulty site file, put into our own sentences

_WITH_KINDS = ("water_temperature", "oxygen_supply", "ration")
SINGLE_TABLES = ("site", "season", "weather", "greenhouse", "fish_room", "advice")  # tables without a name of their own
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
    "feeds": 'name what it feeds, as ["cedar", "north_raft"]', "lift": 'write a length, as "1.8 m"',
    "fuel_volume": 'write a volume, as "18 L"',
    "carries": 'name its circuits, as ["mains"]', "burns": 'write a flow, as "1.2 L/h"',
    "energy": 'write what is on its label, as "1.2 kWh"',
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
    if len(path) > 2 and path[0] == "backups":
        del path[2]
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
        return Fault(table, key, f"is empty; {_WANTED[key or table]}.")
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
    field = model.model_fields["kind"]
    of_table = [tuple(part.table) for part in field.metadata if isinstance(part, OneOf)]
    return of_table[0] if of_table else typing.get_args(field.annotation)


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
