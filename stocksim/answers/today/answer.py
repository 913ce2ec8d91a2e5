"""The day's list as an answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from typing import Any

from stocksim.answers.today.decide import Day, LoopDay, Lost, NextLimit, SaltDose
from stocksim.engine.measured import CHART_ERROR, LEAST_READ_MG_L
from stocksim.faces.answer import Answer, Head, Section, Sentences, Table, points
from stocksim.faces.fates import event_words
from stocksim.faces.marks import marked
from stocksim.faces.record_words import over_words
from stocksim.faces.words import level_words
from stocksim.site.kinds import LIMITS
from stocksim.site.reading import Site
from stocksim.units import face_unit, format_date, format_quantity, to_face
from stocksim.water.nitrite import SODIUM_CAUTION_MG_L

_MOST_TOLD = 3
_EIGHT_IN_TEN = 1.2816  # score of 90 %
LEVELS_TOLD = {"tan": "ammonia as N", "nitrite_n": "nitrite as N"}
_CARE = "Look at the fish before you feed, and feed nothing to fish that hang at the surface or do not come."
_FEED_OVER = "Feed today, once the level is under its limit"
_CARE_OVER = (
    "Test once more with a fresh sample, feed nothing until the level is under the limit, and change water of the same "
    "temperature; where fish gasp or lie down, ask a fish health professional."
)


def today_answer(
    day: Day, site: Site, notes: Sequence[str] = (), contradictions: Sequence[str] = (), scoop_g: float = math.nan
) -> Answer:
    """The day's list.

    Parameters
    ----------
    day : Day
        What is to be done.
    site : Site
        The site, records put in.
    notes, contradictions : sequence of str
        What was done with records, and which cannot all be right.
    scoop_g : float
        What the keeper's scoop of feed weighs, NaN where that was never said. [g]
    """
    units = site.file.site.units
    over = [over_words(one) for one in day.over]
    feed = sum(tank.feed_g for tank in day.tanks)
    given = sum(tank.given_g for tank in day.tanks)
    of_it = f", of which {_dose(given, units)} are given" if given > 0.0 else ""
    verdict = over[0] if over else f"Feed {_dose(feed, units)} today{of_it}. {_next_words(day, units)}"
    do = [
        *over[1:], *([_CARE_OVER] if over else []), *(f"{one} Not used." for one in contradictions),
        *map(_lost_words, day.lost), *_loop_words(day, units), *_due_words(day, units),
    ]  # fmt: skip
    sheet = f"Feeding sheet of two weeks, in {face_unit('dose', units)}"
    sections = (
        Section("do", (Sentences(do, "do", mark="- ", indent="  "),)) if do else Section("do", ()),
        Section("feed", (Head(_FEED_OVER if over else "Feed today"), Table(_feed_rows(day, units, scoop_g)))),
        Section("coming", (Head("What comes"), points([*_feeding_words(day), *_limit_words(day, units)]))),
        Section("care", () if over else (Sentences([_CARE], gap=True),)),
        Section("sheet", (Head(sheet), Table(_sheet_rows(day, units))), "Feeding sheet"),
        Section("state", (Head("What this starts from"), Table(_state_rows(day, units))), "What this starts from"),
        Section("notes", (points(notes, "background"),) if notes else ()),
    )
    return Answer(
        f"{site.file.site.name}, {format_date(day.date)}", verdict, sections, partial(_data, day, site, notes,
        contradictions, scoop_g), is_trouble=bool(over), is_caution=not over and _is_near(day),
    )  # fmt: skip


def _dose(grams: float, units: str) -> str:
    """Feed or a salt, as a kitchen scale of the keeper's system shows it: below an ounce to a hundredth."""
    ounces = to_face(grams, "dose", units)
    if units == "us" and round(ounces, 1) < 1.0:
        return f"{ounces:z.2f} {face_unit('dose', units)}"
    return format_quantity(grams, "dose", units)


def _is_near(day: Day) -> bool:
    return any((one.date - day.date).days <= 14 for one in day.next_limits)


def _next_words(day: Day, units: str) -> str:
    if not day.next_limits:
        return f"No limit breaks in the model until {format_date(day.season_ends)}."
    first = day.next_limits[0]
    if first.date == day.date:
        return f"In the model {_limit_words_of(first, units)} today."
    return f"The next limit is passed on {format_date(first.date)}: {_limit_words_of(first, units)}."


def _limit_words_of(one: NextLimit, units: str) -> str:
    value, limit = level_words(one.value, one.unit, units), level_words(one.threshold, one.unit, units)
    name = one.where.partition(".")[2]
    return f"{LIMITS[one.limit].broken} for {name}, {value} (limit {limit})"


def _limit_words(day: Day, units: str) -> list[str]:
    told = [f"From {format_date(one.date)}: {_limit_words_of(one, units)}." for one in day.next_limits[:_MOST_TOLD]]
    return told or [_next_words(day, units)]


def _feed_rows(day: Day, units: str, scoop_g: float) -> list[dict[str, str]]:
    rows = []
    for tank in day.tanks:
        fed = [f"{name} {_dose(grams, units)}" for name, grams in tank.by_cohort.items()]
        water = format_quantity(tank.temperature_c, "temperature", units)
        rows.append(
            {
                "tank": tank.tank, "feed": _dose(tank.feed_g, units),
                **({} if math.isnan(scoop_g) else {"scoops": f"{tank.feed_g / scoop_g:.1f}"}),
                **({"given": _dose(tank.given_g, units)} if any(one.given_g > 0.0 for one in day.tanks) else {}),
                "of it": ", ".join(fed) or "no fish",
                "water": f"{water}, {'measured' if tank.is_measured else 'calculated'}",
            }
        )  # fmt: skip
    return rows


def _loop_words(day: Day, units: str) -> list[str]:
    told = []
    for loop in day.loops:
        if loop.base_g >= 0.5:
            portions = f", in {loop.portions} portions over the day" if loop.portions > 1 else ""
            told.append(
                f"Loop {loop.loop}: give {_dose(loop.base_g, units)} of {loop.salt.replace('_', ' ')}{portions}."
            )
        if loop.plain_salt is not None:
            told.append(_salt_words(loop.loop, loop.plain_salt, units))
        if loop.top_up_l >= 0.5:
            water = format_quantity(loop.top_up_l / 1000.0, "volume", units)
            told.append(f"Loop {loop.loop}: top up {water}.")
        told.append(_test_words(loop, day))
    return told


def _salt_words(loop: str, dose: SaltDose, units: str) -> str:
    portions = f", in {dose.portions} portions over the day" if dose.portions > 1 else ""
    crops = " That is too much for most crops: give calcium chloride there." * (dose.sodium_mg_l > SODIUM_CAUTION_MG_L)
    return (
        f"Loop {loop}: give {_dose(dose.grams, units)} of plain salt without iodine, dissolved{portions}, against the "
        f"nitrite; it leaves {dose.sodium_mg_l:.0f} mg/L of sodium in the water.{crops}"
    )


def _test_words(loop: LoopDay, day: Day) -> str:
    often = "daily" if loop.test_every_days == 1 else "weekly"
    due = "today" if loop.test_due <= day.date else f"on {format_date(loop.test_due)}"
    return f"Loop {loop.loop}: test ammonia and nitrite {due} ({often}: {loop.why})."


def _lost_words(one: Lost) -> str:
    return (
        f"{one.cohort}: in the model {one.dead:.0f} of {one.of:.0f} fish have died since {format_date(one.since)}, and "
        "the book has no record of it: count them, and enter the number."
    )


def _due_words(day: Day, units: str) -> list[str]:
    late = " was planned and no record shows that it was done"
    told = [
        f"{format_date(one.date)}: change {format_quantity(one.volume_l / 1000.0, 'volume', units)} of the water of "
        f"loop {one.loop}{late if one.is_overdue else ''}."
        for one in day.changes
    ]
    for one in day.planned:
        words = event_words(one.event, units)
        told.append(f"{format_date(one.date)}: {words}{late if one.is_overdue else ''}.")
    return told


def _feeding_words(day: Day) -> list[str]:
    return [
        f"{cohort} {'begins' if begins else 'stops'} to be fed on {format_date(date)}."
        for cohort, date, begins in day.feeding
    ]


def _state_rows(day: Day, units: str) -> list[dict[str, str]]:
    """Fish with the range that holds their weight in 8 cases of 10, and the water as it was tested."""
    rows = []
    for fish in day.fish:
        low, middle, high = (
            format_quantity(fish.weight_g * math.exp(score * fish.error), "weight", units)
            for score in (-_EIGHT_IN_TEN, 0.0, _EIGHT_IN_TEN)
        )
        told = [
            f"{word} {format_date(when)}"
            for word, when in (("weighed", fish.weighed), ("counted", fish.counted))
            if when
        ]
        rows.append(
            {"of": fish.cohort, "now": f"{fish.count:.0f} fish of {middle} ({low} to {high})",
             "by": ", ".join(told) or "calculated"}
        )  # fmt: skip
    for one in day.levels:
        least, most = (
            max((one.value_mg_l + LEAST_READ_MG_L) * math.exp(score * CHART_ERROR) - LEAST_READ_MG_L, 0.0)
            for score in (-_EIGHT_IN_TEN, _EIGHT_IN_TEN)
        )
        said = f"{LEVELS_TOLD[one.level]} {one.value_mg_l:.3g} mg/L ({least:.2f} to {most:.2f})"
        rows.append({"of": one.loop, "now": said, "by": f"tested {format_date(one.tested)}"})
    rows += [
        {
            "of": one.loop,
            "now": f"biofilter bacteria at {100.0 * one.film_share:.0f} % of what its surfaces can hold",
            "by": _film_by(day, one),
        }
        for one in day.loops
    ]
    return rows


def _film_by(day: Day, loop: LoopDay) -> str:
    return "calculated from the tests" if any(one.loop == loop.loop for one in day.levels) else "calculated"


def _sheet_rows(day: Day, units: str) -> list[dict[str, str]]:
    return [
        {
            "day": f"{date:%a} {format_date(date)}",
            **{tank: _dose(grams, units).split()[0] for tank, grams in by_tank.items()},
        }
        for date, by_tank in day.sheet
    ]


def _data(day: Day, site: Site, notes: Sequence[str], contradictions: Sequence[str], scoop_g: float) -> dict[str, Any]:
    return marked(
        {
            "date": day.date.isoformat(),
            "tanks": [
                {"tank": one.tank, "feed_g": round(one.feed_g, 3), "given_g": round(one.given_g, 3),
                 "temperature_c": round(one.temperature_c, 3), "is_measured": one.is_measured,
                 "scoops": None if math.isnan(scoop_g) else round(one.feed_g / scoop_g, 3),
                 "cohorts": [{"cohort": key, "feed_g": round(g, 3)} for key, g in one.by_cohort.items()]}
                for one in day.tanks
            ],
            "loops": [
                {"loop": one.loop, "base": one.salt, "base_g": round(one.base_g, 3), "portions": one.portions,
                 "top_up_l": round(one.top_up_l, 2), "test_due": one.test_due.isoformat(),
                 "test_every_days": one.test_every_days, "film_share": round(one.film_share, 4),
                 "plain_salt_g": round(one.plain_salt.grams, 1) if one.plain_salt else 0.0,
                 "plain_salt_portions": one.plain_salt.portions if one.plain_salt else 0}
                for one in day.loops
            ],
            "over_limit": [
                {"loop": one.loop, "date": one.date.isoformat(), "limit": one.limit,
                 "value_mg_l": round(one.value_mg_l, 5), "limit_mg_l": round(one.limit_mg_l, 5), "cohort": one.cohort}
                for one in day.over
            ],
            "planned": [
                {"date": one.date.isoformat(), "kind": one.event.kind, "cohort": one.event.cohort,
                 "is_overdue": one.is_overdue}
                for one in day.planned
            ],
            **_known_data(day),
            "feeding_changes": [
                {"cohort": cohort, "date": date.isoformat(), "begins": begins} for cohort, date, begins in day.feeding
            ],
            "next_limits": [
                {"limit": one.limit, "where": one.where, "date": one.date.isoformat(), "value": round(one.value, 5),
                 "threshold": round(one.threshold, 5), "unit": one.unit}
                for one in day.next_limits
            ],
            "feeding_sheet": [
                {"date": date.isoformat(), "feed_g": {tank: round(grams, 3) for tank, grams in by_tank.items()}}
                for date, by_tank in day.sheet
            ],
            "contradictions": list(contradictions),
            "notes": list(notes),
        },
        site,
    )  # fmt: skip


def _known_data(day: Day) -> dict[str, Any]:
    """What is not done, what may be amiss, and what the day starts from."""
    return {
        "water_changes": [
            {"date": one.date.isoformat(), "loop": one.loop, "volume_l": round(one.volume_l, 1),
             "is_overdue": one.is_overdue}
            for one in day.changes
        ],
        "lost": [
            {"cohort": one.cohort, "dead": round(one.dead, 2), "of": round(one.of, 2),
             "since": one.since.isoformat()}
            for one in day.lost
        ],
        "fish": [
            {"cohort": one.cohort, "count": round(one.count, 2), "weight_g": round(one.weight_g, 3),
             "error_of_logarithm": round(one.error, 4),
             "weighed": one.weighed.isoformat() if one.weighed else None,
             "counted": one.counted.isoformat() if one.counted else None}
            for one in day.fish
        ],
        "tested": [
            {"loop": one.loop, "level": one.level, "value_mg_l": round(one.value_mg_l, 4),
             "date": one.tested.isoformat()}
            for one in day.levels
        ],
    }  # fmt: skip
