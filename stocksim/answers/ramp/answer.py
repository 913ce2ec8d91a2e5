"""What the feeding ramp and the water of a loop are answered."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

from stocksim.answers.ramp import words
from stocksim.answers.ramp.advice import FullRation
from stocksim.answers.ramp.climb import RESERVE_PERCENT
from stocksim.answers.ramp.decide import LoopRamp, Ramp
from stocksim.engine.results.frames import Season
from stocksim.faces import water_words
from stocksim.faces.answer import (
    Answer,
    Brief,
    Chart,
    Head,
    Html,
    Lines,
    Part,
    Point,
    Points,
    Section,
    Sentences,
    Table,
    points,
)
from stocksim.faces.care import water_cares
from stocksim.faces.fates import is_heavy
from stocksim.faces.marks import marked
from stocksim.faces.markup import species_key_html
from stocksim.faces.text import water_rows
from stocksim.faces.ways_words import step_data
from stocksim.faces.words import day_words, finding_data, finding_sentence

_GAP = Lines([""], on="text")


def ramp_answer(ramp: Ramp) -> Answer:
    """What a keeper who asks how fast feeding may rise is answered.

    Parameters
    ----------
    ramp : Ramp
        Of `stocksim.answers.ramp.decide.feeding_ramp`.

    Returns
    -------
    Answer
        With the sections ``loops``, ``copy``, ``cautions`` and ``sources``. Numbers of its data are metric, sentences
        in the keeper's units.
    """
    units = ramp.site.file.site.units
    loops = [part for loop in ramp.loops for part in _loop_parts(loop, units)]
    if any(map(words.is_table_shown, ramp.loops)):
        loops.append(Sentences([words.TABLE_WORDS], "note"))
    sections = [
        Section("loops", loops, topics=("fish", "water")),
        Section("copy", _copy_parts(ramp)),
        Section(
            "cautions", [Head("Cautions:", "text"), points(words.cautions(ramp), "background")], topics=("cautions",)
        ),
        Section(
            "sources",
            [Head("Sources:", "text"), points(words.ramp_sources(ramp.site), "background")],
            "What the ramp rests on",
            topics=("assumptions",),
        ),
    ]
    title = f"{ramp.site.file.site.name}: feeding from {day_words(ramp.start)}"
    return Answer(title, words.headline(ramp), sections, partial(_ramp_data, ramp, units), brief=_brief(ramp))


def _brief(ramp: Ramp) -> Brief:
    """The steps of feeding by date, and what becomes of each loop's fish."""
    rows = words.step_rows(ramp)
    head = "Feed, by date:" if rows else ""
    if not rows and any(loop.needs_ramp for loop in ramp.loops):
        head = "No schedule that was tried is worth following: see --fish."
    return Brief(rows, head, words.fate_rows(ramp), words.BRIEF_CARES)


def _loop_parts(loop: LoopRamp, units: str) -> list[Part]:
    """What to do in a loop, what its fish meet if fed as the file says, what binds, and the weeks."""
    parts: list[Part] = [Sentences([words.loop_sentence(loop, units)], "do")]
    if loop.has_fish:
        binding = words.ph_sentence(loop, units)
        parts.append(Sentences([words.as_fed_sentence(loop)], "note"))
        parts.append(Sentences([binding], "list") if binding else _GAP)
    if words.is_table_shown(loop):
        parts.append(Table(words.week_rows(loop, units), gap=True))
    return [*parts, _GAP]


def _copy_parts(ramp: Ramp) -> list[Part]:
    """The schedule as lines of a site file, where it is worth following."""
    if not ramp.offered:
        return []
    is_deadly = words.is_deadly(ramp)
    head = f"{words.COPY_WORDS[is_deadly]}:"
    said: list[Part] = [Sentences([head], "note", "page")] if is_deadly else []
    return [Lines([head], on="text", gap=True), *said, Lines(words.site_lines(ramp))]


def _ramp_data(ramp: Ramp, units: str) -> dict[str, Any]:
    answer = {
        "site": ramp.site.file.site.name,
        "start": ramp.start.isoformat(),
        "reserve_percent": RESERVE_PERCENT,
        "loops": [_loop_data(loop, units) for loop in ramp.loops],
        "site_changes": {
            dotted: [{"from": step["from"].isoformat(), "share": step["share"]} for step in steps]
            for dotted, steps in ramp.offered.items()
        },
        "cautions": words.cautions(ramp),
        "sources": words.ramp_sources(ramp.site),
    }
    return marked(answer, ramp.site)


def _loop_data(loop: LoopRamp, units: str) -> dict[str, Any]:
    return {
        "loop": loop.loop,
        "answer": words.loop_sentence(loop, units),
        "as_fed_answer": words.as_fed_sentence(loop) if loop.has_fish else None,
        "needs_ramp": loop.needs_ramp,
        "full_ration_from": loop.full_from.isoformat() if loop.full_from and loop.has_fish else None,
        "fish": round(loop.fate.fish, 2),
        "fish_dying": round(loop.fate.dying, 2),
        "fish_dying_as_fed": round(loop.fate_as_fed.dying, 2),
        "ph_answer": words.ph_sentence(loop, units) or None,
        "lookahead_days": loop.lookahead_days,
        "weeks": [
            {
                "week_from": week.start.isoformat(),
                "feed_g_day": round(week.feed_g_day, 2),
                "share_of_ration": week.share,
                "fraction_of_appetite": round(week.appetite_fraction, 4),
                "unionized_ammonia_max_mg_l": _number(week.unionized_max_mg_l),
                "unionized_ammonia_limit_mg_l": _number(week.unionized_limit_mg_l),
                "nitrite_n_max_mg_l": _number(week.nitrite_max_mg_l),
                "nitrite_n_limit_mg_l": _number(week.nitrite_limit_mg_l),
                "ammonia_oxidizer_maturity": _number(week.ammonia_maturity),
                "nitrite_oxidizer_maturity": _number(week.nitrite_maturity),
                "held_by": week.bound_by,
            }
            for week in loop.weeks
        ],
        "as_fed": [finding_data(finding, units) for finding in loop.as_fed],
        "still_broken": [finding_data(finding, units) for finding in loop.still_broken],
        "full_ration": _full_ration_data(loop.full_ration) if loop.full_ration else None,
    }


def _full_ration_data(found: FullRation) -> dict[str, Any]:
    return {
        "holds": found.holds,
        "fish": round(found.fate.fish, 2),
        "fish_dying": round(found.fate.dying, 2),
        "changes": [step_data(found.season, step) for step in found.steps],
    }


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 6)


# --- the water of a loop


def water_answer(season: Season, loop: str, draw: Callable[[str], dict[str, Any]] | None = None) -> Answer:
    """Which limits the water breaks, what a loop's keeper adds, and the course of its every level.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.
    draw : callable, optional
        Gives the specification of the charts of a loop by its name, where a page keeps them.

    Returns
    -------
    Answer
        With the sections ``limits``, ``loop``, ``course`` and ``months``.
    """
    units, loops = season.site.file.site.units, season.layout.loops
    broken = water_words.water_findings(season.findings)
    cautions = water_words.fish_water_cautions(season, loop) + water_words.dosing_cautions(season, loop)
    cautions += water_cares(season.site.file)
    sentences = water_words.loop_sentences(season, loop, units)
    limits: list[Part] = [
        Points([Point(finding_sentence(finding, units), "") for finding in broken]),
        Sentences(["What helps against each of them stands on the page Season."], "note", "page"),
    ]
    sections = [
        Section("limits", limits if broken else []),
        Section("loop", [points(sentences), points(cautions, "background")]),
        Section(
            "course",
            [
                Head("Course of the water" + (f": Loop {loop}" if len(loops) > 1 else "")),
                Html(species_key_html(season)),
                Chart("loop", partial(draw or partial(_drawn, season), loop)),
            ],
        ),
        Section("months", [Table(water_rows(season, loop, units))], "The same in numbers, month by month"),
    ]
    verdict, name = water_words.water_verdict(season), season.site.file.site.name
    data = {
        "site": name,
        "loop": loop,
        "answer": verdict,
        "broken": [finding_data(finding, units) for finding in broken],
        "sentences": sentences,
        "cautions": cautions,
    }
    title = f"{name}: water of loop {loop}, {day_words(season.dates[0])} to {day_words(season.dates[-1])}"
    return Answer(title, verdict, sections, partial(marked, data, season.site), bool(broken) or is_heavy(season))


def _drawn(season: Season, loop: str) -> dict[str, Any]:
    from stocksim.answers.ramp.charts import loop_stack  # slow to import, and text draws none

    return loop_stack(season, loop).to_dict()
