"""Ways out of trouble in words, rows and as data, for the season and whoever else advises."""

from __future__ import annotations

from typing import Any

from stocksim.changes.change import Action
from stocksim.changes.ways import Advice, Step, Way
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.faces.change_words import change_words, flow_words
from stocksim.site.kinds import LIMITS
from stocksim.units import format_date, format_quantity

_KINDS = {
    "gentlest": "Least asked of you",
    "harvest": "By harvest and fewer fish",
    "equipment": "By equipment and water",
    "feed less": "By feeding less",
    "earlier": "By an earlier harvest of all",
    "unused": "By filling tanks in part",
}


def way_rows(season: Season, way: Way) -> list[dict[str, str]]:
    """A row for each change of a way, in the order of its date: by when, what, why."""
    return [
        {
            "do by": format_date(step.change.start or season.dates[0]),
            "what": _capital(step_words(step, season.site.file.site.units)),
            "fixes": ", ".join(_place(limit, where) for limit, where in step.cures) or "with the others, what they fix",
        }
        for step in way.by_date(season.dates[0])
    ]


def step_words(step: Step, units: str) -> str:
    """What to do, with the range of a machine that works."""
    words = change_words(step.change, units)
    if step.working is None:
        return words
    low, high = step.working
    if step.change.kind is Action.MORE_FLOW:
        least, most = (flow_words(value, units) for value in (low, high))
    else:
        least, most = f"{low:.0f}", f"{high:.0f} W"
    return (
        f"{words} ({least} to {most} work)" if high > low else f"{words} (no more: the next size breaks another limit)"
    )


def dated_words(step: Step, units: str) -> str:
    """What to do, after the date by which where it has one."""
    return (f"by {format_date(step.change.start)} " if step.change.start else "") + step_words(step, units)


def way_sentence(season: Season, way: Way) -> str:
    """A whole way in a sentence, with what it costs."""
    units = season.site.file.site.units
    steps = "; ".join(dated_words(step, units) for step in way.by_date(season.dates[0]))
    return f"{_KINDS[way.kind]}: {steps}. {cost_words(way, units)}"


def cost_words(way: Way, units: str) -> str:
    """What a way gives up or wins, and what it leaves."""
    told = []
    if abs(way.fish_kg) >= 0.05:
        weight = format_quantity(abs(way.fish_kg), "mass", units)
        told.append(f"{weight} {'less' if way.fish_kg < 0.0 else 'more'} fish by the end of the season")
    if abs(way.feed_kg) >= 0.05:
        weight = format_quantity(abs(way.feed_kg), "mass", units)
        told.append(f"{weight} {'less' if way.feed_kg < 0.0 else 'more'} feed")
    words = f"It gives {' for '.join(told)}." if told else "It changes neither fish nor feed."
    deaths = way.deaths
    if deaths.is_told or deaths.before - deaths.dying >= 1.0:
        words += (
            f" With it {deaths.dying:.0f} of {deaths.fish:.0f} fish die of the water or of hunger, "
            f"{deaths.before:.0f} without."
        )
    if way.left:
        words += f" Still broken: {', '.join(_place(f.limit, f.where) for f in way.left)}."
    return words


def promise_words(season: Season, advice: Advice) -> str:
    """What the first way promises, and what that promise stands on."""
    way, percent = advice.ways[0], 100.0 * season.site.file.advice.reserve
    if advice.saves_none:
        start = "Nothing that we tried saves these fish. The least bad:"
    elif way.left:
        start = "No set of changes that we tried holds every limit. The nearest:"
    elif way.near:
        places = ", ".join(_place(f.limit, f.where) for f in way.near)
        start = (
            f"With all of these, run together, every limit holds, but hardly: less than {percent:g} % to spare for "
            f"{places}."
        )
    else:
        start = f"With all of these, run together, every limit that was broken holds with {percent:g} % to spare."
    past = sorted({day for step in way.steps for day in step.change.past})
    if past:
        start += f" What a test found on {' and '.join(map(format_date, past))} can no longer be changed."
    return f"{start} {cost_words(way, season.site.file.site.units)}"


_TESTS = {
    "unionized_ammonia": "ammonia and pH", "biofilter": "ammonia", "nitrite": "nitrite",
    "oxygen": "oxygen an hour or two after the last meal", "temperature_low": "the water's temperature",
    "temperature_high": "the water's temperature",
}  # fmt: skip


def test_words(findings: list[Finding]) -> str:
    """That nothing has to change where cautions are passed and no fish is harmed, and what to test instead."""
    tests = list(dict.fromkeys(_TESTS[f.limit] for f in findings if f.is_broken and f.limit in _TESTS))
    words = "By the model every fish lives and eats as it is, so nothing has to change."
    if not tests:
        return words
    told = tests[0] if len(tests) == 1 else f"{', '.join(tests[:-1])} and {tests[-1]}"
    return f"{words} Test {told} every week, and do this when a test passes its limit or fish go off their feed."


def advice_data(season: Season, advice: Advice | None) -> dict[str, Any]:
    """Ways as plain values; ``ways`` is empty where nothing was sought or nothing is broken."""
    return {
        "reserve_percent": round(100.0 * season.site.file.advice.reserve, 3),
        "seasons_run": advice.seasons if advice else 0,
        "is_finished": advice.is_finished if advice else True,
        "must_change": advice.must_change if advice else False,
        "ways": [_way_data(season, way) for way in advice.ways] if advice else [],
    }


def _way_data(season: Season, way: Way) -> dict[str, Any]:
    return {
        "kind": way.kind,
        "holds": way.holds,
        "points": round(way.points, 2),
        "fish_kg": round(way.fish_kg, 3),
        "feed_kg": round(way.feed_kg, 3),
        "deaths": round(way.deaths.dying, 2),
        "deaths_without": round(way.deaths.before, 2),
        "changes": [step_data(season, step) for step in way.by_date(season.dates[0])],
        "near": [f"{f.limit} of {f.where}" for f in way.near],
        "still_broken": [f"{f.limit} of {f.where}" for f in way.left],
    }


def step_data(season: Season, step: Step) -> dict[str, Any]:
    """A change of a way as plain values."""
    return {
        "do_by": (step.change.start or season.dates[0]).isoformat(),
        "what": step_words(step, season.site.file.site.units),
        "kind": str(step.change.kind),
        "mends": [f"{limit} of {where}" for limit, where in step.cures],
        "working": list(step.working) if step.working else None,
        "fields": {key: _plain(value) for key, value in step.change.fields.items()},
    }


def _plain(value: Any) -> Any:
    """A value of a site file as JSON has it: dates as text."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value if isinstance(value, str | int | float | bool) or value is None else str(value)


def number_of(finding: Finding, season: Season, advice: Advice | None) -> int | None:
    """Which row of the first way mends a finding; None where none does."""
    if advice is None or not advice.ways:
        return None
    for number, step in enumerate(advice.ways[0].by_date(season.dates[0]), 1):
        if (finding.limit, finding.where) in step.cures:
            return number
    return None


def _place(limit: str, where: str) -> str:
    return f"{LIMITS[limit].name} of {where.split('.')[1]}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
