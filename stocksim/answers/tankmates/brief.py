"""The first layer of who may live with whom: the sentence, what to do by date, the fish that share a tank, care.

Apart from `answer` for its length.
"""

from __future__ import annotations

from stocksim.answers.tankmates.decide import Company
from stocksim.changes.steps import Step
from stocksim.changes.ways import Advice
from stocksim.faces.answer import Brief
from stocksim.faces.company_words import mates_rows, pair_title, pair_when
from stocksim.faces.first_layer import step_rows
from stocksim.fish.company import VERDICTS

# Limits whose breaking is a matter of who lives with whom, in a tank or in one loop's water
_OF_COMPANY = ("predation", "temperature_low", "temperature_high")


def headline(company: Company) -> tuple[str, bool]:
    """The first thing to know, and whether it is trouble.

    Parameters
    ----------
    company : Company
        Of `stocksim.answers.tankmates.decide`.

    Returns
    -------
    tuple of (str, bool)
        One or two sentences; True if fish that share a tank should be apart.
    """
    now = [pair for pair in company.pairs if pair.tanks]
    if not now:
        return "No fish are here, so there are no tankmates to judge.", False
    apart = sorted((pair for pair in now if pair.verdict == VERDICTS[2]), key=lambda pair: (str(pair.date), pair.a))
    mixed = [pair for pair in now if pair.a != pair.b]
    care = [pair for pair in now if pair.verdict == VERDICTS[1]]
    loops = sorted({loop.loop for loop in company.loops if any(p.verdict == VERDICTS[2] for p in loop.pairs)})
    uneven = sorted({loop.loop for loop in company.loops if any(p.verdict == VERDICTS[1] for p in loop.pairs)})
    if apart:
        first = apart[0]
        who = "should be graded" if first.a == first.b else "should be apart"
        words = f"{pair_title(first)} {who}, {pair_when(first)} (tank {', '.join(first.tanks)})."
        words = words[0].upper() + words[1:]
        words += f" {len(apart) - 1} more like it." if len(apart) > 1 else ""
    elif care:
        names = "; ".join(pair_title(pair) for pair in care[:3]) + ("; ..." if len(care) > 3 else "")
        words = f"No fish that share a tank must be parted; with care: {names}."
    else:
        words = (
            "All fish that share a tank may do so."
            if mixed
            else "No tank holds two batches of fish; none eats its own."
        )
    if company.losses:
        words += f" About {sum(loss.fish for loss in company.losses):.0f} fish are eaten by their tankmates."
    if loops:
        words += f" Species that should not share their water: {_loop_words(loops)}."
    elif uneven:
        words += f" Water that does not suit all of its species: {_loop_words(uneven)}."
    return words, bool(apart or loops)


def _loop_words(loops: list[str]) -> str:
    return f"loop {loops[0]}" if len(loops) == 1 else f"loops {', '.join(loops)}"


def _first_care(company: Company) -> list[str]:
    """What to mind first, in a few words."""
    wild = ["Wild fish: weeks of quarantine off the loop first; ask whether you may keep them."]
    return [
        *(wild if company.wild else []),
        "Quarantine every new batch off the loop; for sick fish ask a fish health professional.",
        "Never release any fish; moving or selling them may need a permit.",
    ]


def company_brief(company: Company, advice: Advice | None) -> Brief:
    """What to do by date, and the fish that share a tank."""
    season = company.season
    steps = parting_steps(advice)
    head = "What to do, by date:" if steps else "No fish has to be moved."
    apart = any(pair.tanks and pair.verdict == VERDICTS[2] for pair in company.pairs)
    if not steps and apart:
        head = "Part those that must be apart; nothing that was tried does it for you."
    return Brief(step_rows(season, steps), head, mates_rows(company.pairs), _first_care(company))


def parting_steps(advice: Advice | None) -> list[Step]:
    """Changes of the season's first way that part fish, or give them water that suits them."""
    way = advice.ways[0] if advice and advice.ways else None
    return [step for step in way.steps if any(limit in _OF_COMPANY for limit, _ in step.cures)] if way else []
