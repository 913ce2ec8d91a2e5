"""Names and dates that one table of a site file takes from another."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable

from stocksim.errors import Fault
from stocksim.site.model import SiteFile
from stocksim.site.quantities import shown

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
