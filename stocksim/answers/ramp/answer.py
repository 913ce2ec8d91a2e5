"""A feeding ramp as plain data."""

from __future__ import annotations

import math
from typing import Any

from stocksim.answers.ramp.climb import RESERVE_PERCENT
from stocksim.answers.ramp.decide import LoopRamp, Ramp
from stocksim.answers.ramp.words import as_fed_sentence, cautions, loop_sentence, ph_sentence, ramp_sources
from stocksim.faces.words import finding_data


def ramp_answer(ramp: Ramp, units: str) -> dict[str, Any]:
    """The answer as plain data, keys carry units; numbers are metric, sentences in the keeper's units."""
    return {
        "site": ramp.proof.site.file.site.name,
        "start": ramp.start.isoformat(),
        "reserve_percent": RESERVE_PERCENT,
        "loops": [_loop_answer(loop, units) for loop in ramp.loops],
        "site_changes": {
            dotted: [{"from": step["from"].isoformat(), "share": step["share"]} for step in steps]
            for dotted, steps in ramp.offered.items()
        },
        "cautions": cautions(ramp),
        "sources": ramp_sources(ramp.proof.site),
    }


def _loop_answer(loop: LoopRamp, units: str) -> dict[str, Any]:
    return {
        "loop": loop.loop,
        "answer": loop_sentence(loop, units),
        "as_fed_answer": as_fed_sentence(loop) if loop.has_fish else None,
        "needs_ramp": loop.needs_ramp,
        "full_ration_from": loop.full_from.isoformat() if loop.full_from and loop.has_fish else None,
        "fish": round(loop.fate.fish, 2),
        "fish_dying": round(loop.fate.dying, 2),
        "fish_dying_as_fed": round(loop.fate_as_fed.dying, 2),
        "ph_answer": ph_sentence(loop, units) or None,
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
    }


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 6)
