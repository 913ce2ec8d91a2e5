"""What the verdict bar tells of a season, the same on every page and in the report.

Apart from `frame`, which draws it on a page, so that a command needs no server of pages.
"""

from __future__ import annotations

from typing import NamedTuple

from stocksim.engine.results.frames import Season
from stocksim.faces.words import is_caution, is_trouble, verdict
from stocksim.heat.heaters import HeaterSize, judged_heaters
from stocksim.heat.notes import site_questions

_UNSETTLED = 1e-4  # as in the cautions


class Told(NamedTuple):
    """What the bar tells: whose, what, and how bad."""

    name: str
    words: str
    is_trouble: bool
    is_caution: bool


def told(season: Season) -> Told:
    """Verdict of a season: sound only where nothing that it stands on is in doubt.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    Told
        Neither trouble nor caution where every limit holds and there is no doubt.
    """
    found, words = season.findings, verdict(season, season.findings)
    is_bad, is_passed = is_trouble(season, found), is_caution(season, found)
    reasons = [] if is_bad or is_passed else doubts(season)
    if reasons:
        words += f" But {'; '.join(reasons)}: see Keep in mind."
    return Told(season.site.file.site.name, words, is_bad, is_passed or bool(reasons))


def doubts(season: Season) -> list[str]:
    """Why a season in which every limit holds is no all-clear: what is unfinished, unasked, or contradicted."""
    site, reasons = season.site, []
    if not site.file.cohorts:
        reasons.append("without fish nothing was tried")
    if float(season.course.apart.max(initial=0.0)) > _UNSETTLED:
        reasons.append("on some days feed and oxygen did not settle")
    if season.left_ranges:
        reasons.append("some days lie outside what the sources of its formulas cover")
    if any(one.size in (HeaterSize.TOO_SMALL, HeaterSize.UNSURE) for one in judged_heaters(site)):
        reasons.append("a heater is smaller than the design night asks")
    if any(one.bound for one in season.film_corrections):
        reasons.append("a water test contradicts what was calculated")
    if site_questions(site):
        reasons.append("the file leaves questions open")
    return reasons
