"""What more of something would bring, as an answer: a row for each thing. Apart from `answer`, for it tells no plan."""

from __future__ import annotations

from functools import partial
from typing import Any

from stocksim.answers.stock import words
from stocksim.answers.stock.answer import listed
from stocksim.answers.stock.more import Reached, WhatIf, Worth
from stocksim.faces.answer import Answer, Section, Table
from stocksim.faces.marks import marked

_NOT_WEIGHED = (
    "Neither price nor floor, wiring or room for it is weighed; local codes hold, and electric work at water belongs "
    "to those licensed for it."
)


def more_answer(found: WhatIf) -> Answer:
    """What a keeper who asks what more of something would bring is answered.

    Parameters
    ----------
    found : WhatIf
        Of `what_if`.

    Returns
    -------
    Answer
        With the sections ``worth`` and ``cautions``.
    """
    units = found.site.file.site.units
    rows = [{"with": "all as it is"} | _reached_words(found.own, units) | {"brings": ""}]
    for worth in found.each:
        told = "nothing: it may stay unused" if worth.is_unused else _brings(found, worth, units)
        rows.append({"with": worth.more.text} | _reached_words(worth.reached, units) | {"brings": told})
    useful = [worth.more.text for worth in found.each if not worth.is_unused]
    verdict = (
        f"Worth having by this goal: {words.named(useful)}." if useful else "Nothing of this makes the plan better."
    )
    goals = ", then ".join(words.GOAL_WORDS[goal] for goal in found.goals)
    return Answer(
        f"{found.site.file.site.name}: what more would bring, by {goals}",
        verdict,
        [
            Section(
                "worth", [Table([{"brings": "", **row} if "brings" not in row else row for row in rows], gap=True)]
            ),
            Section("cautions", listed("Cautions", [_NOT_WEIGHED], kind="background")),
        ],
        partial(_more_data, found),
    )


def _reached_words(reached: Reached, units: str) -> dict[str, str]:
    """The numbers of a plan by their names."""
    if not reached.numbers:
        return {"plan": "none"}
    if "fish" in reached.numbers:
        kilos = words.kilos(reached.numbers["kg"], units)
        return {"fish kept": f"{reached.numbers['fish']:.0f}", "all fish": kilos}
    return {words.GOAL_WORDS[goal]: words.goal_words(goal, value, units) for goal, value in reached.numbers.items()}


def _brings(found: WhatIf, worth: Worth, units: str) -> str:
    """How much better a plan is for something more, by the first number of its goal."""
    own, reached = found.own.numbers, worth.reached.numbers
    if not own:
        return "a plan"
    if "fish" in own:
        fish, kg = round(reached["fish"]) - round(own["fish"]), reached["kg"] - own["kg"]
        more = [f"{fish:+d} fish"] * (fish != 0) + [f"{'+' if kg > 0.0 else '-'}{words.kilos(abs(kg), units)}"]
        return ", ".join(more)
    return f"{worth.reached.rank[0] - found.own.rank[0]:+.4g} by the goal"


def _more_data(found: WhatIf) -> dict[str, Any]:
    answer = {
        "site": found.site.file.site.name,
        "goal": list(found.goals),
        "own": {name: words.rounded(value) for name, value in found.own.numbers.items()},
        "what_if": [
            {
                "what": worth.more.text,
                "reaches": {name: words.rounded(value) for name, value in worth.reached.numbers.items()},
                "is_unused": worth.is_unused,
            }
            for worth in found.each
        ],
    }
    return marked(answer, found.site)
