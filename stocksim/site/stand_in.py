"""Stand-ins for the faulty parts of a site file, so that what is sound can be checked in the same run.

Apart from `reading` for its length.
"""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from stocksim.errors import Fault
from stocksim.site.model import SiteFile

# values that pass every check of their own and cause no fault elsewhere; an empty name is found nowhere, and the fault
# that gives is dropped again because it lies at the place of the stand-in
_FIELDS: dict[str, Any] = {
    "loop": "", "tank": "", "species": "", "feed": "", "sump": "1 m3", "volume": "1 m3", "flow": "1 m3/day",
    "area": "1000000 m2", "media_volume": "1 m3", "specific_surface": "1 m2/m3", "count": 0, "mean_weight": "1 g",
    "water_temperature": {"kind": "constant", "value": "1 degC"}, "feeds": [""], "power": "1 W", "lift": "1 m",
}  # fmt: skip
# the same in the dated lists of a loop; the date written is kept where it is none of the faults
_DATED: dict[str, dict[str, Any]] = {
    "water_tests": {}, "water_changes": {"volume": "1 m3"}, "feeding_ramp": {"share": 1.0},
}  # fmt: skip
_NEEDED = {
    "loops": ("sump", "water_temperature"),
    "tanks": ("loop", "volume", "flow"),
    "beds": ("loop", "kind", "area"),
    "biofilters": ("loop", "kind", "media_volume", "specific_surface", "flow"),
    "settlers": ("loop", "kind"),
    "pumps": ("feeds", "power", "lift"),
    "cohorts": ("species", "tank", "count", "mean_weight", "feed"),
}
_KINDS = {"beds": "media", "biofilters": "trickling", "settlers": "swirl"}
_SITE = {"name": "?"}
_SEASON = {"start": dt.date(1900, 1, 1), "end": dt.date(2199, 12, 31)}


def with_stand_ins(raw: Mapping[str, Any], error: ValidationError) -> tuple[SiteFile, frozenset[str]]:
    """The file with a stand-in for every faulty part.

    Parameters
    ----------
    raw : mapping
        The tables as written; they stay as they are.
    error : ValidationError
        What the model said of them.

    Returns
    -------
    file : SiteFile
        Tables to check against each other.
    places : frozenset of str
        Where the stand-ins are, as ``tanks.cedar.volume``; no fault found there means anything.
    """
    mended, places = copy.deepcopy(dict(raw)), set()
    for item in error.errors(include_url=False, include_context=False):
        table, *inside = str(item["loc"][0]), *item["loc"][1:]
        if table in ("site", "season"):
            mended[table] = dict(_SITE if table == "site" else _SEASON)
            places.add(table)
        elif table not in _NEEDED:
            mended.pop(table, None)
        elif not inside or not isinstance(mended.get(table), dict):
            mended[table] = {"": _entry(table)} if table in ("loops", "tanks") else {}
            places.add(table)
        else:
            places.add(_mend_entry(mended[table], table, inside))
    _mend_dated_lists(mended.get("loops", {}), places)
    # whether a bed that is at fault itself is a wicking bed is not known
    for key, settler in mended.get("settlers", {}).items():
        if {"beds", f"beds.{settler.get('feeds')}", f"beds.{settler.get('feeds')}.kind"} & places:
            places.add(f"settlers.{key}.feeds")
    season = mended["season"]["start"]
    for bed in mended.get("beds", {}).values():
        for number, planting in enumerate(bed.get("plantings", [])):
            if planting is None:
                bed["plantings"][number] = {"crop": "", "from": season, "to": season, "area": "1e-9 m2"}
    return SiteFile.model_validate(mended), frozenset(places)


def _entry(table: str) -> dict[str, Any]:
    return {field: _KINDS[table] if field == "kind" else copy.deepcopy(_FIELDS[field]) for field in _NEEDED[table]}


def _mend_entry(entries: dict[str, Any], table: str, inside: list[Any]) -> str:
    """Put a stand-in where a fault lies in a named table; its place."""
    name = inside[0]
    place = f"{table}.{name}"
    if len(inside) == 1 or not isinstance(entries[name], dict):
        entries[name] = _entry(table)
        return place
    entry, field = entries[name], inside[1]
    if field == "plantings" and len(inside) > 2:
        entry["plantings"][inside[2]] = None  # the season's days are not known yet
        return f"{place}.plantings[{inside[2] + 1}]"
    if field in _DATED and len(inside) > 3:
        # the item is mended when all its faults are known
        return f"{place}.{field}[{inside[2] + 1}].{inside[3]}"
    if field in _NEEDED[table]:
        entry[field] = _entry(table)[field]
    else:
        entry.pop(field, None)
    return f"{place}.{field}"


def _mend_dated_lists(loops: dict[str, Any], places: set[str]) -> None:
    """Leave of a faulty item of a loop's dated lists its date; without a sound date the whole list goes."""
    for key, loop in loops.items():
        for field, rest in _DATED.items():
            date = "from" if field == "feeding_ramp" else "date"
            for number, item in enumerate(loop.get(field, []), 1):
                place = f"loops.{key}.{field}"
                if not any(other.startswith(f"{place}[{number}].") for other in places):
                    continue
                if f"{place}[{number}].{date}" in places:
                    loop.pop(field)
                    places.add(place)
                    break
                loop[field][number - 1] = {date: item[date]} | rest


def found_elsewhere(faults: Iterable[Fault], places: frozenset[str]) -> list[Fault]:
    """The faults that do not come from a stand-in."""
    return [fault for fault in faults if not _is_of_stand_in(fault, places)]


def _is_of_stand_in(fault: Fault, places: frozenset[str]) -> bool:
    place = ".".join(part for part in (fault.table, fault.field) if part)
    if any(place == other or place.startswith((f"{other}.", f"{other}[")) for other in places):
        return True
    lost = {"loop": "loops", "tank": "tanks", "plantings": f"{fault.table}.area"}.get(fault.field)
    return lost in places
