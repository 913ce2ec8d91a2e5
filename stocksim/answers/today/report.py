"""What a printed report tells of feeding: the sheet of two weeks.

Apart from `answer`, as `stocksim.faces.report` asks each question for it by this name.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stocksim.answers.today.answer import today_answer
from stocksim.answers.today.decide import the_day
from stocksim.changes.ways import Advice
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Section


def report_sections(season: Season, advice: Advice | None, day: dt.date) -> Sequence[Section]:
    """The feeding sheet from a day on."""
    return [today_answer(the_day(season, (), day), season.site).section("sheet")]
