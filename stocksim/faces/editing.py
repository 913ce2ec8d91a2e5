"""Edits of a site file's text: comments, order and values not touched stay as the keeper wrote them."""

from __future__ import annotations

import copy
import datetime as dt
import math
import re
import tomllib
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from stocksim.errors import InputError
from stocksim.faces.days import read_day

Step = str | int

UNREADABLE = "the text of the site file is not readable TOML; fix it in the whole file first."
UNWRITABLE = "this change cannot be written into the file; make it in the whole file."
_HARMFUL = "this change cannot be written into the file without harm; make it in the whole file."
_NUMBER = re.compile(r"^[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?$")
_WHOLE = re.compile(r"^[-+]?\d+$")
KEY = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
HEADING = re.compile(rf"\s*\[{{1,2}}\s*({KEY}(?:\s*\.\s*{KEY})*)\s*\]")
ASSIGNED = re.compile(rf"\s*({KEY}(?:\s*\.\s*{KEY})*)\s*=")


class Was(NamedTuple):
    """A table before it became another kind, and the whole text before and after."""

    table: dict[str, Any]
    before: str
    after: str


Kinds = dict[tuple[tuple[Step, ...], str], Was]


def tables(text: str) -> dict[str, Any] | None:
    """Tables of a site file's text, or None where it is not readable TOML."""
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        return None


def value_at(raw: Any, path: Sequence[Step]) -> Any:
    """Value at a path of keys and list places, or None where there is none.

    Examples
    --------
    >>> value_at({"tanks": {"cedar": {"volume": "900 L"}}}, ("tanks", "cedar", "volume"))
    '900 L'
    """
    for step in path:
        is_place = isinstance(raw, list) and isinstance(step, int) and 0 <= step < len(raw)
        if not is_place and not (isinstance(raw, dict) and step in raw):
            return None
        raw = raw[step]
    return raw


def entries(raw: Any, table: str) -> dict[str, Any]:
    """Entries of a table by name; none where the file holds no such table, or something else under its name."""
    found = value_at(raw, (table,))
    return found if isinstance(found, dict) else {}


def from_typed(typed: str, kind: str) -> Any:
    """Value that a site file should hold for what was typed.

    Parameters
    ----------
    typed : str
        Text of a field.
    kind : str
        ``text``, ``number``, ``whole``, ``date``; ``list`` of texts or ``numbers``, with commas between.

    Returns
    -------
    object
        None for an empty field; the text itself where it is not of the kind, so that the check can quote it.

    Examples
    --------
    >>> from_typed("7.0", "number"), from_typed("seven", "number"), from_typed(" ", "text")
    (7.0, 'seven', None)
    >>> from_typed("1 Nov 2026", "date"), from_typed("-4", "whole"), from_typed("3.7", "whole")
    (datetime.date(2026, 11, 1), -4, 3.7)
    >>> from_typed("4 degC, 9 degC", "list"), from_typed("1.2, 0.9", "numbers")
    (['4 degC', '9 degC'], [1.2, 0.9])
    """
    stripped = typed.strip()
    if not stripped:
        return None
    if kind in ("list", "numbers"):
        of_kind = "number" if kind == "numbers" else "text"
        found = [from_typed(part, of_kind) for part in stripped.split(",")]
        return [entry for entry in found if entry is not None]
    if kind == "date":
        try:
            return read_day(stripped)
        except ValueError:
            return typed
    if kind in ("number", "whole") and _NUMBER.match(stripped) and math.isfinite(float(stripped)):
        return int(stripped) if _WHOLE.match(stripped) else float(stripped)
    return stripped if kind == "text" else typed


def as_typed(value: Any) -> str:
    """Text that a field shows for a value of a site file."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, list):
        return ", ".join(as_typed(entry) for entry in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def put(text: str, path: Sequence[Step], value: Any) -> str:
    """Text with one value set, or removed where it is None.

    Parameters
    ----------
    text : str
        A readable site file.
    path : sequence of str or int
        Keys and list places from the top, as ``("beds", "north_raft", "plantings", 0, "crop")``.
    value : object
        String, number, bool, date, dict (an inline table), list of dicts, or None.

    Returns
    -------
    str
        The new text.

    Raises
    ------
    InputError
        If the text is not readable or the value cannot be written there.
    """

    def edit(here: Any, write: Any) -> None:
        for step in path[:-1]:
            if isinstance(step, str) and not isinstance(here.get(step), (dict, list)):
                here[step] = write({})
            here = here[step]
        last = path[-1]
        if value is None:
            if isinstance(last, int) or last in here:
                del here[last]
        elif isinstance(last, int) and last == len(here):
            here.append(write(value))
        else:
            here[last] = write(value)

    return _edited(text, edit)


_MARKED = re.compile(r"""\s*# assumed\b[^"]*(?<!["'])$""")  # a comment, and no end of a text


def assumed(text: str) -> set[tuple[str, ...]]:
    """Places whose line says at its end that its value is assumed.

    Examples
    --------
    >>> assumed('[tanks.cedar]\\nvolume = "900 L"\\nflow = "900 L/h"  # assumed: once an hour')
    {('tanks', 'cedar', 'flow')}
    """
    return {place for place, line in _lines(text) if _MARKED.search(line)}


def without_mark(text: str, path: Sequence[Step]) -> str:
    """Text whose value at a place, or what it is a part of, is no longer marked as assumed."""
    lines = text.splitlines(keepends=True)
    for number, (place, line) in enumerate(_lines(text)):
        if place and tuple(path[: len(place)]) == place and _MARKED.search(line):
            lines[number] = _MARKED.sub("", line) + "\n"
    return "".join(lines)


def place_in(fault: str) -> tuple[Step, ...]:
    """Place that the sentence of a fault names, () where it names none.

    Examples
    --------
    >>> place_in("site.toml, beds.raft.plantings[2].area: is missing.")
    ('beds', 'raft', 'plantings', 1, 'area')
    """
    found = re.search(r"(?:^|, )([\w-]+(?:\.[\w-]+|\[\d+\])*): ", fault)
    steps = re.findall(r"\[\d+\]|[\w-]+", found[1]) if found else []
    return tuple(int(step[1:-1]) - 1 if step[0] == "[" else step for step in steps)


def line_of(text: str, path: Sequence[Step]) -> int | None:
    """Number of the line, from 1, on which a place stands, or the nearest table around it; None where there is none."""
    best: tuple[int, int] | None = None
    for number, (place, line) in enumerate(_lines(text), 1):
        keys = place or tuple(keys_in(found[1]) if (found := HEADING.match(line)) else ())
        if keys and tuple(path[: len(keys)]) == keys and (best is None or len(keys) > best[0]):
            best = (len(keys), number)
    return None if best is None else best[1]


def _lines(text: str) -> Iterator[tuple[tuple[str, ...], str]]:
    """Each line with the place that it assigns, () where it assigns none."""
    section: tuple[str, ...] = ()
    for line in text.splitlines():
        heading, assigned = HEADING.match(line), ASSIGNED.match(line)
        section = keys_in(heading[1]) if heading else section
        yield ((*section, *keys_in(assigned[1])) if assigned and not heading else ()), line


def put_all(text: str, fields: Mapping[str, Any]) -> str:
    """Text with some dotted fields changed, as ``cohorts.perch.count``; errors as in `put`."""
    for dotted, value in fields.items():
        text = put(text, dotted.split("."), value)
    return text


def append(text: str, path: Sequence[Step], value: dict[str, Any]) -> str:
    """Text with a table added at the end of a list, as ``[[events]]`` where the list is at the top or is so written.

    Arguments and errors as in `put`. What stands in the list stays as it is written.
    """
    if not isinstance(value_at(tables(text), path), list):
        if len(path) > 1:
            return put(text, path, [value])
        heading = f"[[{path[0]}]]\n" + tomlkit.dumps(value)
        return _joined(text, heading, lambda raw: raw.__setitem__(path[0], [copy.deepcopy(value)]))

    def edit(here: Any, write: Any) -> None:
        for step in path:
            here = here[step]
        if isinstance(here, AoT):
            table = tomlkit.table()
            for key, inner in value.items():
                table[key] = write(inner)
            table.add(tomlkit.nl())
            here.append(table)
        else:
            here.append(write(value))

    return _edited(text.rstrip("\n") + "\n\n" if len(path) == 1 else text, edit)


def add_table(text: str, path: Sequence[Step], values: dict[str, Any]) -> str:
    """Text with a new table under a heading of its own at its end, as ``[stocking.candidates.perch]``; inside the
    tables that are there where it cannot stand so. Arguments and errors as in `put`."""
    keys = [str(step) for step in path]
    heading = f"[{'.'.join(map(key_written, keys))}]\n" + tomlkit.dumps({k: _written(v) for k, v in values.items()})

    def edit(raw: Any) -> None:
        for key in keys[:-1]:
            raw = raw.setdefault(key, {})
        raw[keys[-1]] = copy.deepcopy(values)

    try:
        return _joined(text, heading, edit)
    except (InputError, AttributeError, TypeError):
        return put(text, path, values)


def _joined(text: str, more: str, edit: Any) -> str:
    """Text with lines added at its end, proved against an edit of the plain tables."""
    expected = tables(text)
    if expected is None:
        raise InputError(UNREADABLE)
    edit(expected)
    new = f"{text.rstrip()}\n\n{more}" if text.strip() else more
    if tables(new) != expected:
        raise InputError(_HARMFUL)
    return new


def remove_item(text: str, table: str, number: int) -> str:
    """Text without the number-th table of a list at the top; comments that stand before the next table stay.

    Raises
    ------
    InputError
        If there is none, or the text is not readable.
    """
    expected = tables(text)
    if expected is None or value_at(expected, (table, number)) is None:
        raise InputError(UNREADABLE if expected is None else UNWRITABLE)
    del expected[table][number]
    if not expected[table]:
        del expected[table]
    lines = text.splitlines(keepends=True)
    heads = [at for at, line in enumerate(lines) if re.match(rf"\s*\[\[\s*{table}\s*\]\]", line)]
    if number < len(heads):
        first = heads[number]
        its_own = re.compile(rf"\s*\[\[?\s*{table}\s*\.")
        rest = range(first + 1, len(lines))
        end = next((at for at in rest if lines[at].lstrip().startswith("[") and not its_own.match(lines[at])), None)
        last = len(lines) if end is None else end
        # comments and empty lines before the next heading belong to it
        while end is not None and last > first + 1 and lines[last - 1].strip()[:1] in ("", "#"):
            last -= 1
        new = "".join(lines[:first] + lines[last:])
        if tables(new) == expected:
            return new
    return put(text, (table, number), None) if table in expected else put(text, (table,), None)


def switch(text: str, path: Sequence[Step], values: dict[str, Any], keep: Collection[str] = ()) -> str:
    """Text with a table turned into another kind: its keys become those of ``values``, but what it has of ``keep``
    stays as it is written. Arguments and errors as in `put`.

    Examples
    --------
    >>> text = 'feed = { kind = "percent", percent = 2, stop_below = "6 degC" }'
    >>> switch(text, ("feed",), {"kind": "appetite", "fraction": 0.85}, ["stop_below"])
    'feed = { kind = "appetite", stop_below = "6 degC", fraction = 0.85}'
    """
    if not isinstance(value_at(tables(text), path), dict):
        return put(text, path, values)

    def edit(here: Any, write: Any) -> None:
        for step in path:
            here = here[step]
        for key in [key for key in here if key not in values and key not in keep]:
            del here[key]
        for key, value in values.items():
            if key not in here or key not in keep:
                here[key] = write(value)

    return _edited(text, edit)


def switch_kind(
    text: str, path: Sequence[Step], kind: str, start: dict[str, Any], keep: Collection[str], memory: Kinds
) -> tuple[str, Kinds]:
    """Text with a table of another kind, as it last was with that kind, and what to remember from then on.

    Parameters
    ----------
    text, path, keep
        As in `switch`.
    kind : str
        The kind that the table becomes.
    start : dict
        What it holds where it never had that kind.
    memory : dict
        Tables that had another kind before, by path and kind; it stays as it is.

    Returns
    -------
    str
        The new text; the very text from before where nothing else was changed since.
    dict
        The new memory.
    """
    now, was = value_at(tables(text), path), memory.get((tuple(path), kind))
    if was is not None and was.after == text:
        new = was.before
    else:
        new = switch(text, path, start if was is None else was.table, keep)
    held = value_at(now, ("kind",))
    return new, memory | ({(tuple(path), held): Was(now, text, new)} if isinstance(held, str) else {})


def add_entry(text: str, table: str, name: str, values: dict[str, Any]) -> str:
    """Text with a new entry, as ``[tanks.cedar]``.

    Raises
    ------
    InputError
        If there is such an entry already.
    """
    if value_at(tables(text), (table, name)) is not None:
        raise InputError(f'"{name}" is already among the {table}; give another name.')

    def edit(document: Any, write: Any) -> None:
        if not isinstance(document.get(table), dict):
            document[table] = {} if type(document) is dict else tomlkit.table(is_super_table=True)
        document[table][name] = {} if type(document) is dict else tomlkit.table()
        for key, value in values.items():
            document[table][name][key] = write(value)
        if type(document) is not dict:
            document[table][name].add(tomlkit.nl())

    return _edited(text.rstrip("\n") + "\n\n" if table not in (tables(text) or {}) else text, edit)


def remove_entry(text: str, table: str, name: str) -> str:
    """Text without an entry; arguments and errors as in `add_entry`."""

    def edit(document: Any, write: Any) -> None:
        del document[table][name]
        if not document[table]:
            del document[table]

    return _edited(text, edit)


def keys_in(dotted: str) -> tuple[str, ...]:
    """Keys of a heading or of what stands before an equals sign."""
    found, keys = tables(f"{dotted} = 0"), []
    while isinstance(found, dict):
        ((key, found),) = found.items()
        keys.append(key)
    return tuple(keys)


def key_written(key: str) -> str:
    """A key as a site file holds it, in quotes where it must be."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else tomlkit.string(key).as_string()


def free_name(text: str, table: str, stem: str) -> str:
    """A name no entry of the table has yet, as ``tank_2``."""
    taken = entries(tables(text), table)
    return next(name for number in range(1, len(taken) + 2) if (name := f"{stem}_{number}") not in taken)


def _written(value: Any) -> Any:
    """A value as tomlkit writes it: dicts inline, lists of dicts one a line."""
    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        for key, inner in value.items():
            inline[key] = _written(inner)
        return inline
    if isinstance(value, list):
        array = tomlkit.array()
        array.extend([_written(inner) for inner in value])
        return array.multiline(len(value) > 1 and any(isinstance(inner, dict) for inner in value))
    return value


def _edited(text: str, edit: Any) -> str:
    """Text after an edit, proved against the same edit of the plain tables."""
    expected = tables(text)
    if expected is None:
        raise InputError(UNREADABLE)
    try:
        edit(expected, copy.deepcopy)
        document = tomlkit.parse(text)
        edit(document, _written)
        new = tomlkit.dumps(document)
    except (TOMLKitError, KeyError, IndexError, TypeError, AttributeError, ValueError) as error:
        raise InputError(UNWRITABLE) from error
    if tables(new) != expected:
        raise InputError(_HARMFUL)
    return new
