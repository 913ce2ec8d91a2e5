"""An entry of a site file's text gets another name, everywhere the file names it; all else stays as it is written.

Apart from `editing`, which changes one place of a text at a time.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from stocksim.errors import InputError
from stocksim.faces.editing import (
    ASSIGNED,
    HEADING,
    KEY,
    UNREADABLE,
    UNWRITABLE,
    Step,
    key_written,
    keys_in,
    put,
    tables,
    value_at,
)

# where entries of a table are named elsewhere, * for every name or place, and where they are keys
_REFERENCES: dict[str, tuple[tuple[str, ...], ...]] = {
    "tanks": (
        ("pumps", "*", "feeds", "*"), ("cohorts", "*", "tank"), ("events", "*", "tank"),
        ("stocking", "candidates", "*", "tanks", "*"), ("stocking", "own", "*", "tanks", "*"),
    ),
    "cohorts": (("events", "*", "cohort"),),
    "loops": (
        *((table, "*", "loop") for table in ("tanks", "beds", "biofilters", "settlers")),
        ("stocking", "options", "*", "loop"),
    ),
    "beds": (("settlers", "*", "feeds"), ("pumps", "*", "feeds", "*"), ("tanks", "*", "overflows_to", "*")),
    "biofilters": (("pumps", "*", "feeds", "*"), ("tanks", "*", "overflows_to", "*")),
}  # fmt: skip
_KEYED = {"cohorts": (("stocking", "own"),)}


def rename_entry(text: str, table: str, old: str, new: str) -> str:
    """Text with an entry renamed, and wherever the file names it; errors as in `add_entry`."""
    new = new.strip()
    raw = tables(text)
    if new == old:
        return text
    graded = {value_at(raw, place) for place in _places(raw, ("events", "*", "into"))} if table == "cohorts" else set()
    if not new or value_at(raw, (table, new)) is not None or new in graded:
        why = f'"{new}" is already among the {table}' if new else "an entry needs a name"
        raise InputError(f"{table}.{old}: {why}; give another.")
    renamed = _with_key(text, (table,), old, new)
    for where in _KEYED.get(table, ()):
        if value_at(raw, (*where, old)) is not None:
            renamed = _with_key(renamed, where, old, new)
    return _named_anew(renamed, _REFERENCES.get(table, ()), old, new)


def rename_graded(text: str, number: int, new: str) -> str:
    """Text with another name for the cohort that a grading makes, in the events that name it too."""
    raw = tables(text)
    old = value_at(raw, ("events", number, "into"))
    renamed = put(text, ("events", number, "into"), new)
    made = [place for place in _places(raw, ("events", "*", "into")) if value_at(raw, place) == old]
    if not isinstance(old, str) or len(made) > 1 or value_at(raw, ("cohorts", old)) is not None:
        return renamed
    return _named_anew(renamed, _REFERENCES["cohorts"], old, new)


def _named_anew(text: str, patterns: Sequence[Sequence[str]], old: str, new: str) -> str:
    """Text with a new name at every place of the patterns that holds the old one."""
    raw = tables(text)
    for place in [place for pattern in patterns for place in _places(raw, pattern)]:
        if value_at(raw, place) == old:
            text = put(text, place, new)
    return text


def _places(raw: Any, pattern: Sequence[str], here: tuple[Step, ...] = ()) -> Iterator[tuple[Step, ...]]:
    """Places of the tables that fit a pattern."""
    if not pattern:
        yield here
        return
    step, *rest = pattern
    inside: Any = ()
    if step != "*":
        inside = ((step, raw[step]),) if isinstance(raw, dict) and step in raw else ()
    elif isinstance(raw, dict):
        inside = raw.items()
    elif isinstance(raw, list):
        inside = enumerate(raw)
    for key, value in inside:
        yield from _places(value, rest, (*here, key))


def _with_key(text: str, where: Sequence[str], old: str, new: str) -> str:
    """Text with one key of a table renamed, in headings and lines alike; all else stays as it is written."""
    expected = tables(text)
    if expected is None:
        raise InputError(UNREADABLE)
    *outer, last = where
    parent = value_at(expected, outer)
    if value_at(parent, (last, old)) is None:
        raise InputError(UNWRITABLE)
    parent[last] = {new if key == old else key: entry for key, entry in parent[last].items()}
    lines, section = [], tuple[str, ...]()
    for line in text.splitlines(keepends=True):
        heading = HEADING.match(line)
        found = heading or ASSIGNED.match(line)
        keys = keys_in(found[1]) if found else ()
        path = keys if heading else (*section, *keys)
        place = len(where) - len(path) + len(keys)  # which key of this line is the one
        if found and place >= 0 and path[: len(where) + 1] == (*where, old):
            spans = [match.span() for match in re.finditer(KEY, found[1])]
            first, end = (found.start(1) + at for at in spans[place])
            line = line[:first] + key_written(new) + line[end:]
        section = keys if heading else section
        lines.append(line)
    renamed = "".join(lines)
    # written in another way, as an inline table: write the whole table so
    return renamed if tables(renamed) == expected else put(text, where, parent[last])
