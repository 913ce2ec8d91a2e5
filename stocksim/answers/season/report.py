"""What a printed report tells of the season's answer.

Apart from `answer`, as `stocksim.faces.report` asks each question for it by this name.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stocksim.answers.season.answer import season_answer
from stocksim.changes.ways import Advice
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Head, Section, Sentences, points
from stocksim.faces.care import whole_cares
from stocksim.faces.first_layer import action_changes


def report_sections(season: Season, advice: Advice | None, day: dt.date) -> Sequence[Section]:
    """What to do by date, what becomes of the fish, and care."""
    findings = season.findings if advice is None else advice.findings
    answer = season_answer(season, findings, advice=advice)
    nothing = Section(
        "do",
        [
            Head("What to do, by date"),
            Sentences(["Nothing was found that would help." if any(f.is_broken for f in findings) else
                       "Nothing has to change: every limit of the model holds."], "do"),
        ],
    )  # fmt: skip
    cares = whole_cares(season.site.file, action_changes(season, advice))
    return [
        answer.section("do") if answer.has("do") else nothing,
        answer.section("fish"),
        Section("care", [Head("Care"), points(cares)]),
    ]
