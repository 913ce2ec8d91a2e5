"""A record from what a keeper writes: quantities with their units, kits in the form they read."""

from __future__ import annotations

import datetime as dt
import getpass
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stocksim.book.checks import doubts, faults, names_of
from stocksim.book.kinds import HELD, KINDS, MOST_SCOOP_G, READINGS, form_of, from_kit
from stocksim.book.sheets import read_number
from stocksim.book.store import Record
from stocksim.errors import Fault, InputError, shown
from stocksim.site.reading import Site
from stocksim.units import parse_quantity

# the words under which a value is entered, where they are not its key without the unit; the first that a kind holds
_ENTERED_AS = {
    "count": ("count",), "total": ("total_g",), "weights": ("weights_g",), "amount": ("feed_g", "weight_g"),
    "at": ("temperature_c",), "ph": ("ph",), "oxygen": ("oxygen_mg_l",), "potassium": ("potassium_mg_l",),
    "phosphorus": ("phosphorus_mg_l",), "calcium": ("calcium_mg_l",), "chloride": ("chloride_mg_l",),
    "cause": ("cause",), "to": ("to_tank",), "crop": ("crop",), "area": ("area_m2",), "salt": ("salt",),
    "volume": ("volume_m3",),
}  # fmt: skip
SCOOP = "scoop"  # what a scoop or handful of feed weighs, told once
_SCOOPS = re.compile(r"(\S+)\s*(?:scoops?|handfuls?)", re.IGNORECASE)


@dataclass(frozen=True)
class Entered:
    """A record as it was entered.

    Parameters
    ----------
    record : Record
        Without a fault.
    doubts : tuple of str
        What can hardly be meant; such a record is kept only where the keeper confirms it.
    told : mapping of str to str
        What the keeper told with it once for all, to be kept: forms of kits, the weight of a scoop.
    """

    record: Record
    doubts: tuple[str, ...]
    told: Mapping[str, str]


def entered(
    site: Site,
    kind: str,
    written: Mapping[str, str | None],
    date: dt.date,
    today: dt.date,
    known: Mapping[str, str],
    before: Sequence[Record],
) -> Entered:
    """A record from what was written.

    Parameters
    ----------
    site : Site
        Whose record it is.
    kind : str
        One of `stocksim.book.kinds.KINDS`.
    written : mapping of str to str or None
        What was written by the options' names, as ``total`` to ``731 g``; also ``of``, ``time``, ``note``, ``by``.
    date, today : date
        For which day, and today.
    known : mapping of str to str
        What was told before, as `stocksim.book.store.read_settings` gives it.
    before : sequence of Record
        Records that hold.

    Raises
    ------
    InputError
        With every fault, the field named as it was written.
    """
    if kind not in KINDS:
        raise InputError([Fault("", "kind", f"{shown(kind)} is no kind of record; known are {', '.join(KINDS)}.")])
    given = {key: text for key, text in written.items() if text is not None}
    held: dict[str, float | str] = {}
    told: dict[str, str] = {}
    wrong: list[Fault] = []
    try:
        scoop_g = _scoop(given, known, told)
    except InputError as error:
        wrong += [Fault("", "scoop", fault.message) for fault in error.faults]
        scoop_g = math.nan
    for name, key in entries(kind).items():
        if name in given:
            try:
                held[key] = _value(key, given[name], scoop_g)
            except InputError as error:
                wrong += [replace(fault, field=fault.field or name) for fault in error.faults]
    if "feed_g" in held and not math.isnan(scoop_g) and (told or _SCOOPS.fullmatch(given["amount"].strip())):
        held["scoop_g"] = scoop_g  # beside the value, as the form of a kit
    for name in READINGS:
        try:
            held |= _kit(name, given, known, told)
        except InputError as error:
            wrong += [replace(fault, field=fault.field or name) for fault in error.faults]
    of = given.get("of", "")
    record = Record(
        kind, date, names_of(site, KINDS[kind]).get(of, of), held, given.get("time", ""), given.get("note", ""),
        given.get("by") or user(),
    )  # fmt: skip
    words = {key: name for name, key in entries(kind).items()} | {one.value: name for name, one in READINGS.items()}
    # the table that the keeper named, or the one that had to be named
    words["of"] = (of.partition(".")[0] if "." in of else next(iter(KINDS[kind].of), "of")).removesuffix("s")
    found = [] if wrong else faults(record, site, today)
    wrong += [Fault("", words.get(fault.field, fault.field), fault.message) for fault in found]
    if wrong:
        raise InputError(wrong)
    asked = doubts(record, site, before)
    for other in before:
        if other.content == record.content:
            asked.append(f"this is in the book already word for word, as record {other.number}; is it another one?")
            break
    return Entered(record, tuple(asked), told)


def entries(kind: str) -> dict[str, str]:
    """Names under which the values of a kind of record are written, but for kits, with the key of each.

    A name that the kind has no value for stands with the key that others have, so that it is told as a fault.
    """
    holds = KINDS[kind].holds
    return {name: next((key for key in keys if key in holds), keys[-1]) for name, keys in _ENTERED_AS.items()}


def _scoop(given: Mapping[str, str], known: Mapping[str, str], told: dict[str, str]) -> float:
    """Weight of the keeper's scoop, NaN where it was never told. [g]"""
    if SCOOP in given:
        weight = parse_quantity(given[SCOOP], "weight")
        if not 0.0 < weight <= MOST_SCOOP_G:
            raise InputError(f"{shown(given[SCOOP])} is not allowed; a scoop weighs at most {MOST_SCOOP_G:g} g.")
        told[SCOOP] = repr(weight)
    return scoop_weight_g(told or known)


def scoop_weight_g(known: Mapping[str, str]) -> float:
    """Weight of the keeper's scoop or handful of feed by what was told once, NaN where it was not. [g]"""
    return float(known.get(SCOOP, "nan"))


def _value(key: str, text: str, scoop_g: float) -> float | str:
    held = HELD[key]
    if held.is_text:
        return text.strip()
    if key == "feed_g" and (scoops := _SCOOPS.fullmatch(text.strip())):
        number = read_number(scoops[1])
        if number is None:
            raise InputError(f"{shown(text)} is not a number of scoops; write it as 3 scoops.")
        if math.isnan(scoop_g):
            raise InputError([Fault("", SCOOP, "say once what your scoop weighs, as 18 g; it is kept.")])
        return number * scoop_g
    if held.dimension:
        return parse_quantity(text, held.dimension)
    number = read_number(text)
    if number is None:
        raise InputError(f"{shown(text)} is not a number; write a {held.words} as a number.")
    return number


def _kit(name: str, given: Mapping[str, str], known: Mapping[str, str], told: dict[str, str]) -> dict[str, float | str]:
    """What a kit read and in which form, and what that is in the form that is kept."""
    form = known.get(name, "")
    if f"{name}_as" in given:
        form = told[name] = form_of(name, given[f"{name}_as"])
    if name not in given:
        return {}
    read = read_number(given[name])
    if read is None:
        raise InputError(f"{shown(given[name])} is not a number; write what the kit reads, as 0.5.")
    if not form:
        forms = " or ".join(READINGS[name].forms)
        message = f"say once in which form your kit reads {name}: {forms}; it is kept."
        raise InputError([Fault("", f"{name}_as", message)])
    return {READINGS[name].value: from_kit(name, read, form), f"{name}_read": read, f"{name}_as": form}


def user() -> str:
    """Name under which the machine knows whoever enters."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "somebody"
