"""A record from what a keeper writes: quantities with their units, kits in the form they read.

Apart from `command`, for a page enters by it too.
"""

from __future__ import annotations

import datetime as dt
import getpass
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stocksim.book.checks import doubts, faults, names_of
from stocksim.book.kinds import HELD, KINDS, READINGS, form_of, from_kit
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


@dataclass(frozen=True)
class Entered:
    """A record as it was entered.

    Parameters
    ----------
    record : Record
        Without a fault.
    doubts : tuple of str
        What can hardly be meant; such a record is kept only where the keeper confirms it.
    forms : mapping of str to str
        Forms of kits that the keeper told with it, to be kept.
    """

    record: Record
    doubts: tuple[str, ...]
    forms: Mapping[str, str]


def entered(
    site: Site,
    kind: str,
    written: Mapping[str, str | None],
    date: dt.date,
    today: dt.date,
    forms: Mapping[str, str],
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
    forms : mapping of str to str
        Forms of kits that are known, by the kit's name.
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
    wrong: list[Fault] = []
    for name, keys in _ENTERED_AS.items():
        if name in given:
            key = next((key for key in keys if key in KINDS[kind].holds), keys[-1])
            try:
                held[key] = _value(key, given[name])
            except InputError as error:
                wrong += [Fault("", name, fault.message) for fault in error.faults]
    told: dict[str, str] = {}
    for name in READINGS:
        try:
            held |= _kit(name, given, forms, told)
        except InputError as error:
            wrong += [Fault("", name, fault.message) for fault in error.faults]
    of = given.get("of", "")
    record = Record(
        kind, date, names_of(site, KINDS[kind]).get(of, of), held, given.get("time", ""), given.get("note", ""),
        given.get("by") or user(),
    )  # fmt: skip
    words = {key: name for name, keys in _ENTERED_AS.items() for key in keys}
    found = [] if wrong else faults(record, site, today)
    wrong += [Fault("", words.get(fault.field, fault.field), fault.message) for fault in found]
    if wrong:
        raise InputError(wrong)
    return Entered(record, tuple(doubts(record, before)), told)


def _value(key: str, text: str) -> float | str:
    held = HELD[key]
    if held.is_text:
        return text.strip()
    if held.dimension:
        return parse_quantity(text, held.dimension)
    number = read_number(text)
    if number is None:
        raise InputError(f"{shown(text)} is not a number; write a {held.words} as a number.")
    return number


def _kit(
    name: str, given: Mapping[str, str], forms: Mapping[str, str], told: dict[str, float | str] | dict[str, str]
) -> dict[str, float | str]:
    """What a kit read and in which form, and what that is in the form that is kept."""
    form = forms.get(name, "")
    if f"{name}_as" in given:
        form = told[name] = form_of(name, given[f"{name}_as"])
    if name not in given:
        return {}
    read = read_number(given[name])
    if read is None:
        raise InputError(f"{shown(given[name])} is not a number; write what the kit reads, as 0.5.")
    if not form:
        known = " or ".join(READINGS[name].forms)
        raise InputError(f"say once in which form your kit reads {name}: add --{name}-as {known}.")
    return {READINGS[name].value: from_kit(name, read, form), f"{name}_read": read, f"{name}_as": form}


def user() -> str:
    """Name under which the machine knows whoever enters."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "somebody"
