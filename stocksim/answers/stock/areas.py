"""What a plan's feed supports, what its beds ask for, and how what is planted stands to it.

Apart from `answer` for its length.
"""

from __future__ import annotations

import math
from typing import Any

from stocksim.answers.stock.balance import Stretch, feed_balance
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import MOST_ACTIONS, Head, Part, Section, Sentences, Table
from stocksim.faces.planting_words import build_words
from stocksim.faces.words import day_words
from stocksim.units import face_unit, format_quantity

_NOTE = (
    "Beds as planted: what feed they ask for by the published band, and the fish that eat so much as these fish eat in "
    "those weeks; whether tanks and water can take so many is not asked here. Fish as planned: the planted area that "
    "their feed supports by the same band. {} has each week."
)


def area_sections(season: Season | None, units: str) -> list[Section]:
    """What a plan's feed and its beds ask of each other, as the sections ``areas`` and ``balance``."""
    builds = season.build_areas.values() if season is not None else ()
    said = [text for build in builds if (text := build_words(build, units))]
    parts = [] if season is None else _balance_parts(season, units)
    return [
        Section("areas", [Sentences(said, "answer", gap=True)], topics=("plants",)),
        Section("balance", parts, "Feed against planted area, both ways", topics=("plants",)),
    ]


def _balance_parts(season: Season, units: str) -> list[Part]:
    """A table for each loop that has fish and something planted, or would have feed for it."""
    parts: list[Part] = []
    weekly = feed_balance(season)
    for loop, stretches in feed_balance(season, MOST_ACTIONS).items():
        head = f"Loop {loop}: feed against planted area"
        rows = [_row(stretch, units) for stretch in stretches]
        parts += [Head(f"{head}:", "text"), Head(head, "page"), Table(rows)]
        parts.append(Sentences([_side_words(weekly[loop])], "list"))
    notes = [
        Sentences([_NOTE.format("--json")], "note", "text"),
        Sentences([_NOTE.format("stock --json")], "note", "page"),
    ]
    return [*parts, *notes] if parts else []


def _row(stretch: Stretch, units: str) -> dict[str, str]:
    fish, feed = face_unit("mass", units), face_unit("dose", units)
    is_asked = stretch.asked_high_g > 0.0
    return {
        "from": day_words(stretch.first),
        f"fish, {fish}": _short(stretch.fish_kg, "mass", units),
        f"feed a day, {feed}": _short(stretch.feed_g, "dose", units),
        f"beds ask for, {feed}": _span(stretch.asked_low_g, stretch.asked_high_g, "dose", units) if is_asked else "-",
        f"fish for that, {fish}": _span(*stretch.asked_fish_kg, "mass", units) if is_asked else "-",
        f"planted, {face_unit('area', units)}": _short(stretch.planted_m2, "area", units),
        f"feed supports, {face_unit('area', units)}": _span(stretch.fed_low_m2, stretch.fed_high_m2, "area", units),
    }


def _short(value: float, kind: str, units: str) -> str:
    return "-" if math.isnan(value) else format_quantity(value, kind, units).rsplit(" ", 1)[0]


def _span(low: float, high: float, kind: str, units: str) -> str:
    one, other = _short(low, kind, units), _short(high, kind, units)
    return one if one == other else f"{one}-{other}"


def _side_words(weeks: tuple[Stretch, ...]) -> str:
    """In how many weeks the plan feeds less or more than the beds ask for."""
    asked = [week for week in weeks if week.asked_high_g > 0.0]
    if not asked:
        return "Nothing planted here has a published band, so no bed asks for feed."
    less, more = (sum(week.side == side for week in asked) for side in (-1, 1))
    return (
        f"Of {len(asked)} weeks with such beds the plan feeds less than they ask for in {less}, more in {more}, and "
        f"within the band in {len(asked) - less - more}."
    )


def balance_data(season: Season) -> dict[str, list[dict[str, Any]]]:
    """The same as plain data, a row for each week, by loop; keys carry units."""
    return {
        loop: [
            {
                "date": week.first.isoformat(),
                "days": week.days,
                "fish_kg": _number(week.fish_kg),
                "feed_g_day": _number(week.feed_g),
                "beds_ask_g_day": [_number(week.asked_low_g), _number(week.asked_high_g)],
                "fish_for_beds_kg": [_number(value) for value in week.asked_fish_kg],
                "planted_m2": _number(week.planted_m2),
                "feed_supports_m2": [_number(week.fed_low_m2), _number(week.fed_high_m2)],
            }
            for week in weeks
        ]
        for loop, weeks in feed_balance(season).items()
    }


def _number(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None
