"""The fish that die in the model, of what, from when to when, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from stocksim.engine.deaths import CAUSES, DEATHS_TOLD, Loss, deaths_by_cause, losses
from stocksim.engine.results import Season

CAUSE_WORDS = {
    "oxygen": "too little oxygen",
    "ammonia": "un-ionized ammonia",
    "nitrite": "nitrite",
    "cold": "cold",
    "heat": "heat",
    "hunger": "hunger",
    "training": "feed training",
}
_COHORTS_NAMED = 3
_TOLD_SHARE = 0.1  # of a loss: a cause of less is left to the table
HOLDS_FOR_FEW = "limits that hold after that hold for too few fish"


def is_heavy(season: Season) -> bool:
    """Whether a cohort loses so many fish that the answer must begin with it."""
    return any(loss.is_heavy for loss in losses(season.layout, season.course)[1])


def heavy_words(season: Season) -> str:
    """The heavy losses, as ``Fish die in the model: 161 of 200 p of hunger, from 9 Dec 2026 to 30 Jun 2027``.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    str
        Without a full stop; empty where no cohort loses many.
    """
    whole, found = losses(season.layout, season.course)
    heavy = [loss for loss in found if loss.is_heavy]
    if not heavy:
        return ""
    told = [
        f"{_of(loss)} {loss.cohort} of {_causes(loss.by_cause)}, {_when(season, loss)}"
        for loss in heavy[:_COHORTS_NAMED]
    ]
    rest = whole.died - sum(loss.died for loss in heavy[:_COHORTS_NAMED])
    if rest >= DEATHS_TOLD:
        told.append(f"and {rest:.0f} of other cohorts")
    return f"Fish die in the model: {'; '.join(told)}"


def death_words(season: Season) -> str:
    """How many fish die of more than every day and feed training take, of what, from when and where; empty for few."""
    whole, _ = losses(season.layout, season.course)
    if heavy := heavy_words(season):
        return f"{heavy}: {HOLDS_FOR_FEW}. Take it as an alarm, not as a count.{_against_hunger(whole)}"
    if whole.died < DEATHS_TOLD:
        return ""
    where = f", in {', '.join(whole.tanks)}" if whole.tanks else ""
    verb = "dies" if f"{whole.died:.0f}" in ("0", "1") else "die"
    return (
        f"In the model {_of(whole)} fish {verb} of {_causes(whole.by_cause)}, "
        f"from {_day(season.dates[whole.first_day])}{where}: {HOLDS_FOR_FEW}."
    )


def cause_data(season: Season) -> dict[str, dict[str, float]]:
    """Fish that died, by cohort and cause."""
    layout = season.layout
    by_cause = deaths_by_cause(layout, season.course)
    inside = {key: [at for at, name in enumerate(layout.cohorts) if name == key] for key in layout.cohorts}
    return {
        key: {cause: float(by_cause[cause][:, columns].sum()) for cause in CAUSES} for key, columns in inside.items()
    }


def died_of(by_cause: Mapping[str, float]) -> str:
    """Causes of a cohort's deaths with their fish, as ``hunger 161``, less those of every day; ``-`` for none."""
    told = [(dead, cause) for cause, dead in by_cause.items() if dead >= DEATHS_TOLD and cause != "everyday"]
    return ", ".join(f"{CAUSE_WORDS[cause]} {dead:.0f}" for dead, cause in sorted(told, reverse=True)) or "-"


def _against_hunger(loss: Loss) -> str:
    # no limit tells of hunger, so no lever is sought against it
    if loss.by_cause["hunger"] < _TOLD_SHARE * loss.died:
        return ""
    return " Against hunger: feed whenever the water is warm enough for them to eat, a little at a time."


def _of(loss: Loss) -> str:
    # half a fish is told as one, never as none
    return f"{max(loss.died, 1.0):.0f} of {loss.had:.0f}"


def _causes(by_cause: Mapping[str, float]) -> str:
    """The causes worth naming, the most first, with their fish where there are several."""
    whole = sum(by_cause.values())
    named = sorted(((dead, cause) for cause, dead in by_cause.items() if dead >= _TOLD_SHARE * whole), reverse=True)
    if len(named) == 1:
        return CAUSE_WORDS[named[0][1]]
    words = [f"{CAUSE_WORDS[cause]} ({dead:.0f})" for dead, cause in named]
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _when(season: Season, loss: Loss) -> str:
    first, last = season.dates[loss.first_day], season.dates[loss.last_day]
    if first == last:
        return f"on {_day(first)}"
    begin = _day(first) if first.year != last.year else f"{first.day} {first:%b}"
    return f"from {begin} to {_day(last)}"


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b %Y}"
