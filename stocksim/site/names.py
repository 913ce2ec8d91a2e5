"""Names and dates that one table of a site file takes from another."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from stocksim.errors import Fault
from stocksim.site.model import SiteFile
from stocksim.site.quantities import shown


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
