"""What a printed report tells of a power cut: the card that hangs beside the tanks.

Apart from `card`, as `stocksim.faces.report` asks each question for it by this name.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stocksim.answers.powercut.answer import powercut_answer
from stocksim.answers.powercut.card import card_html
from stocksim.answers.powercut.decide import power_cut
from stocksim.changes.ways import Advice
from stocksim.engine.results.frames import Season
from stocksim.errors import StocksimError
from stocksim.faces.answer import Head, Html, Part, Section, Sentences


def report_sections(season: Season, advice: Advice | None, day: dt.date) -> Sequence[Section]:
    """The card of the worst case, by the file's own pumps and heaters."""
    try:
        cut = power_cut(season)
        part: Part = Html(card_html(powercut_answer(cut, season.site, season.site.file.site.units)))
    except StocksimError as error:  # as without fish
        part = Sentences([str(fault) for fault in error.faults])
    return [Section("card", [Head("When the power fails"), part])]
