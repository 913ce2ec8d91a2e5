"""What tests said of films, in words and as data. Apart from the cautions of words.py, which is long."""

from __future__ import annotations

from typing import Any

from stocksim.engine.results.films import FilmCorrection
from stocksim.units import format_date

_FOOD = {"ammonia": "TAN", "nitrite": "nitrite"}
_MOST_TOLD = 3  # of a loop's tests, the last ones
_MUCH_WEAKER = 0.5  # of what was calculated: another cause is as likely


def film_cautions(found: list[FilmCorrection]) -> list[str]:
    """A sentence for each loop and film that tests corrected, and once what is assumed of them."""
    words = []
    for loop in dict.fromkeys(one.loop for one in found):
        for oxidizer, food in _FOOD.items():
            own = [one for one in found if (one.loop, one.oxidizer) == (loop, oxidizer)]
            if own:
                words.append(_sentence(loop, oxidizer, food, own))
    if words:
        words.append(
            "So a test is read: fish and feed as given, and the loop near its balance. A test on the day after fish "
            "came or water was changed, or while a new biofilter grows, shows less than that."
        )
    return words


def _sentence(loop: str, oxidizer: str, food: str, own: list[FilmCorrection]) -> str:
    shown = own[-_MOST_TOLD:]
    tests = ", ".join(f"{_share_words(one)} ({format_date(one.date)})" for one in shown)
    earlier = len(own) - len(shown)
    more = f", and {earlier} earlier test{'s' * (earlier != 1)} corrected them too" if earlier else ""
    said = (
        f"By the tests of {food} the {oxidizer}-eating bacteria of loop {loop} are at {tests} of what was "
        f"calculated{more}; "
        "calculated on from there."
    )
    bounds = {one.bound for one in shown} - {0}
    if -1 in bounds:
        said += " One level is higher than even the weakest biofilter that a test may make explains."
    if 1 in bounds:
        said += " One level is lower than the strongest biofilter that a test may make would hold."
    if any(one.after < _MUCH_WEAKER * one.before for one in shown):
        said += (
            " Bacteria that weak, or ammonia that nobody counted: look for dead fish and feed left over, feed less and "
            "test again."
        )
    return said


def _share_words(one: FilmCorrection) -> str:
    percent = 100.0 * one.after / one.before
    return f"{percent:.0f} %" if percent >= 1.0 else "less than 1 %"


def film_data(found: list[FilmCorrection]) -> list[dict[str, Any]]:
    """The same as plain data, each test of its own."""
    bounds = {-1: "weakest", 0: None, 1: "strongest"}
    return [
        {
            "loop": one.loop,
            "date": one.date.isoformat(),
            "oxidizer": one.oxidizer,
            "tested_n_mg_l": one.tested_mg_l,
            "from_strength": round(one.before, 6),
            "to_strength": round(one.after, 6),
            "bound": bounds[one.bound],
        }
        for one in found
    ]
