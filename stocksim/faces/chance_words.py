"""Chances in words: how often of ten seasons, and how sure the verdict of a season is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stocksim.drawn.outlook import LOST_SHARE, Chance
from stocksim.drawn.sureness import Sureness
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.faces.words import by_harm
from stocksim.site.kinds import LIMITS

_SURE, _VERY, _LIKELY, _EVEN = 0.975, 0.9, 0.65, 0.35
KEPT_WORDS = f"{100.0 * (1.0 - LOST_SHARE):.0f} %"


def chance_words(share: float) -> str:
    """A chance as a keeper counts: ``7 of 10`` seasons; towards the ends in hundredths."""
    if share <= 0.0:
        return "none"
    if share >= 1.0:
        return "all"
    if 0.095 <= share <= 0.905:
        return f"{round(10.0 * share)} of 10"
    if share < 0.005:
        return "fewer than 1 of 100"
    return "more than 99 of 100" if share > 0.995 else f"{round(100.0 * share)} of 100"


def seasons_words(share: float) -> str:
    """A chance after ``in``: ``7 of 10 seasons``, ``every season``, ``no season``."""
    return {"none": "no season", "all": "every season"}.get(chance_words(share), f"{chance_words(share)} seasons")


def likely_words(share: float) -> str:
    """A chance in a word or two."""
    for least, words in ((_SURE, "Nearly sure"), (_VERY, "Very likely"), (_LIKELY, "Likely"), (_EVEN, "Even chances")):
        if share >= least:
            return words
    return "Unlikely"


def limit_place(where: str) -> str:
    """Where a limit is broken, with its joint, as ``in tank cedar`` or ``for perch``."""
    table, name = where.split(".", 1)
    return {"tanks": f"in tank {name}", "loops": f"in loop {name}", "cohorts": f"for {name}"}[table]


def sure_words(season: Season, findings: Sequence[Finding], sure: Sureness) -> str:
    """How likely what the verdict of a season says first is, and what is advised for it."""
    told = _told(season, findings, sure)
    found = sure.found
    if not found.losses:
        return "No fish are kept, so there is nothing to judge."
    if told is None:
        what, share = "every limit holds", found.kept_share
    else:
        what, share = f"{LIMITS[told.what].broken} {limit_place(told.where)}", told.share
    fish = f"every batch keeps {KEPT_WORDS} of its fish in"
    words = (
        f"{likely_words(share)}: {what} in {seasons_words(share)}, of {found.number} drawn from what is uncertain; "
        f"{fish} {seasons_words(found.safe_share)}."
    )
    if sure.advised is None:
        return words
    (before, kept), (_, safe) = sure.advised.kept, sure.advised.safe
    return (
        f"{words} With what is advised every limit holds in {seasons_words(kept)} (without it in "
        f"{seasons_words(before)}), and {fish} {seasons_words(safe)}."
    )


def sure_data(season: Season, findings: Sequence[Finding], sure: Sureness) -> dict[str, Any]:
    """The same as plain data."""
    told, found = _told(season, findings, sure), sure.found
    share = found.kept_share if told is None else told.share
    data: dict[str, Any] = {
        "seasons": found.number,
        "seed": found.seed,
        "limit": None if told is None else told.what,
        "where": None if told is None else told.where,
        "chance": round(share, 6),
        "chance_no_limit_broken": round(found.kept_share, 6),
        "chance_every_batch_keeps_nine_tenths": round(found.safe_share, 6),
        "sentence": sure_words(season, findings, sure),
    }
    if sure.advised is not None:
        data["advised"] = {
            "chance_no_limit_broken": round(sure.advised.kept[1], 6),
            "chance_every_batch_keeps_nine_tenths": round(sure.advised.safe[1], 6),
        }
    return data


def picture_note(sure: Sureness) -> str:
    """What the bands in the picture of a season are."""
    return (
        f"Shade behind each tank's line, and the dotted lines about the handbook area: between them lie 8 of 10 of "
        f"{sure.found.number} drawn seasons, dots in the shade are their middle. The limit and the nitrogen's band are "
        "those of the season as calculated."
    )


def _told(season: Season, findings: Sequence[Finding], sure: Sureness) -> Chance | None:
    """Chance of the broken limit that the verdict names first; None where all hold in the season."""
    for finding in by_harm(season, [one for one in findings if one.is_broken]):
        for one in sure.found.limits:
            if (one.what, one.where) == (finding.limit, finding.where):
                return one
    return None
