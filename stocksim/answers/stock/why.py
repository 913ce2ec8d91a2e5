"""Why fish are left out of a stocking plan, and what must give where the wishes cannot be met, in sentences."""

from __future__ import annotations

import datetime as dt

from stocksim.answers.stock.decide import StockingPlan, misfit_words
from stocksim.answers.stock.problem import Problem
from stocksim.answers.stock.program import Broken
from stocksim.answers.stock.reasons import Refusal
from stocksim.answers.stock.words import NOTHING, amount_words, kilos, named, species_title, week_words
from stocksim.faces.words import day_words
from stocksim.units import format_quantity

_HARDLY = 0.01  # a share this small comes of the solver's own gap
_PLACES = {"density": "the space in tank", "oxygen": "the oxygen in tank", "biofilter": "the biofilter of loop"}


def refusal_words(plan: StockingPlan, refused: Refusal) -> str:
    """Why a candidate is left out."""
    problem = plan.problem
    units = problem.site.file.site.units
    c = next(n for n, candidate in enumerate(problem.candidates) if candidate.name == refused.candidate)
    batch = int(problem.minimum_batch[c])
    if refused.kind == "no_place":
        return f"{refused.candidate}: {_no_place(problem, c, units)}."
    if refused.kind == "no_room":
        gives = " and ".join(giving_words(plan, item) for item in refused.gives) or _together(plan, c)
        gives = gives or "no tank can take so many of them"
        return f"{refused.candidate}: no space even for {batch}: {gives}."
    if refused.kind == "company":
        return f"{refused.candidate}: {_together(plan, c)}."
    if refused.kind == "unknown":
        return f"{refused.candidate}: the search ended, so it is not known why."
    company = _together(plan, c)
    if refused.lost < NOTHING:
        text = f"{refused.candidate}: {batch} of them would do as well as what is planned, and bring nothing more"
    else:
        text = f"{refused.candidate}: {batch} of them would cost {amount_words(plan, refused.lost)}"
        if refused.lost_high > 1.1 * refused.lost:
            text += f" (at most {amount_words(plan, refused.lost_high)})"
    if problem.entries[c].number("fillet_yield", 0.0) == 0.0 and plan.plan is not None and plan.plan.goal == "edible":
        text += ", for no fillet of theirs is counted"
    return f"{text}; {company}." if company else f"{text}."


def _no_place(problem: Problem, c: int, units: str) -> str:
    if c in problem.cannibals:
        day = problem.site.file.season.start + dt.timedelta(days=problem.cannibals[c].day)
        return f"its larger fish could eat its smaller ones from {day_words(day)}; grade them into two batches"
    misfits = [misfit_words(problem, misfit, units) for (_, one), misfit in problem.misfits.items() if one == c]
    if not misfits:
        return "none of the tanks it may go to lets it in"
    held = len(misfits) < len(problem.options)
    return "; ".join(misfits) + ("; and it may go to no other tank" if held else "")


def _together(plan: StockingPlan, c: int) -> str:
    """Whom of the planned fish a candidate may not share a tank with."""
    problem, there = plan.problem, {p.candidate for p in plan.cohorts}
    if plan.plan is None:
        there = {n for n, least in enumerate(plan.program.least) if least > 0}
    said: dict[str, list[str]] = {}
    for pair in problem.apart:
        other = {pair.one: pair.other, pair.other: pair.one}.get(c, -1)
        if c not in (pair.one, pair.other) or other not in there:
            continue
        why = "" if pair.eater < 0 else (" (it would eat them)" if pair.eater == c else " (they would eat it)")
        said.setdefault(why, []).append(problem.candidates[other].name)
    parts = [f"{named(names)}{why}" for why, names in said.items()]
    return f"it may not share a tank with {', nor with '.join(parts)}" if parts else ""


def giving_words(plan: StockingPlan, item: Broken) -> str:
    """What must give for a wish to be met, and by how much."""
    problem, units = plan.problem, plan.problem.site.file.site.units
    when = "" if item.week is None else f" in {week_words(problem, item.week)}"
    if item.what in _PLACES and item.value < item.bound * (1.0 + _HARDLY):
        return f"{_PLACES[item.what]} {item.where} would be over what the plan may use by less than 1 %{when}"
    if item.what == "density":
        volume = list(problem.site.file.tanks.values())[problem.tanks.index(item.where)].volume
        larger = format_quantity(volume * item.value / max(item.bound, 1e-9), "volume", units)
        return (
            f"tank {item.where} would have to hold {larger} instead of {format_quantity(volume, 'volume', units)}{when}"
        )
    if item.what == "oxygen":
        share = 100.0 * (item.value / max(item.bound, 1e-9) - 1.0)
        return (
            f"tank {item.where} would need oxygen for {share:.0f} % more use{when}: {item.value:.2f} mg/L drawn down "
            f"where {item.bound:.2f} may be"
        )
    if item.what == "biofilter":
        return (
            f"the biofilter of loop {item.where} would have to take {item.value:.1f} g of ammonia nitrogen a day "
            f"instead of {item.bound:.1f}{when}"
        )
    if item.what == "budget":
        return f"the budget would have to be {item.value:,.2f} instead of {item.bound:,.2f}"
    if item.what == "number":
        return f"{item.value:.0f} of {item.where} would have to do instead of {item.bound:.0f}"
    if item.what == "wish":
        wish = plan.wishes.harvest_wishes[int(item.where) - 1]
        less, wished = kilos(item.value, units), kilos(item.bound, units)
        less = f"a little less than {wished}" if less == wished else less
        title = species_title(problem, wish.species)
        return f"{less} of {title} by {day_words(wish.by)} would have to do instead of {wished}"
    if item.what == "species":
        return f"{item.value:.0f} species would have to do instead of {item.bound:.0f}"
    return f"{item.what} {item.where} would have to give"


def clash_words(plan: StockingPlan) -> str:
    """Which conditions cannot hold together, in a sentence."""
    if not plan.contradiction:
        return ""
    units = plan.problem.site.file.site.units
    names = [_condition(plan, name, units) for name in plan.contradiction]
    if names == ["where fish may live"]:
        return "Where fish may live at all leaves no way to place what must be placed."
    if not plan.is_proven_impossible:
        return (
            "Not proven, for seasons of plans that failed have tightened the program: what seems not to hold together "
            f"is {named(names)}."
        )
    return f"What cannot hold together: {named(names)}."


def _condition(plan: StockingPlan, name: str, units: str) -> str:
    kind, _, rest = name.partition(" ")
    if kind == "keep":
        c = plan.program.candidates.index(rest)
        return f"at least {int(plan.program.least[c])} of {rest}"
    if kind == "wish":
        wish = plan.wishes.harvest_wishes[int(rest) - 1]
        title = species_title(plan.problem, wish.species)
        return f"{kilos(wish.weight / 1000.0, units)} of {title} by {day_words(wish.by)}"
    return {
        "species": f"{plan.program.species_least} species or more",
        "budget": f"a budget of {plan.program.budget:,.2f}",
        "company": "who may share a tank",
        "density": "the space in the tanks",
        "oxygen": "the oxygen in the tanks",
        "biofilter": "what the biofilters take",
        "place": "where fish may live",
    }[kind]
