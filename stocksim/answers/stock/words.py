"""A stocking plan in sentences and rows: its proof, what binds, who is left out and why, what must give."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Iterable

import numpy as np

from stocksim.answers.stock.decide import StockingPlan
from stocksim.answers.stock.problem import Problem
from stocksim.answers.stock.reasons import Binding, Worth
from stocksim.answers.stock.rounds import MATTERS_FROM
from stocksim.answers.stock.seasons import live_per_fish, margin_of
from stocksim.engine.results.findings import Finding
from stocksim.faces.fates import cause_data, died_of
from stocksim.faces.water_cautions import CHALK_PH
from stocksim.faces.words import day_words, level_words
from stocksim.heat.small_fish import small_candidates, small_cohorts, small_words
from stocksim.library.sources import Entry
from stocksim.site.kinds import LIMITS
from stocksim.site.stocking_tables import HarvestWish
from stocksim.units import format_quantity


def named(names: list[str]) -> str:
    """Names in a row, as ``A, B and C``."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def behind_biofilter(plan: StockingPlan, item: Binding) -> str:
    """Which level in the water stands near its limit in the full season, where the biofilter answers for it."""
    assert plan.season is not None
    layout, course = plan.season.layout, plan.season.course
    loop = layout.loops.index(item.where)
    near: list[tuple[float, Finding]] = []
    for found in plan.season.findings:
        if not LIMITS[found.limit].is_left_by_film or not found.threshold:
            continue
        tank = layout.tanks.index(found.where.split(".")[1])
        if layout.leaf_loop[tank, loop] > 0.0 and found.worst_value > MATTERS_FROM * found.threshold:
            near.append((found.worst_value / found.threshold, found))
    if not near:
        return ""
    found = max(near, key=lambda pair: pair[0])[1]
    units = plan.problem.site.file.site.units
    ph = float(course.ph[0, (found.worst_date - layout.start).days, loop])
    high = (
        f" (a pH above {CHALK_PH} comes out too high, and so does this: test it)"
        if ph > CHALK_PH and plan.problem.site.file.loops[item.where].ph is None
        else ""
    )
    return (
        f"; behind it stands {LIMITS[found.limit].name} in tank {found.where.split('.')[1]}, in the full season up to "
        f"{level_words(found.worst_value, 'mg/L', units)} of {level_words(found.threshold, 'mg/L', units)} on "
        f"{day_words(found.worst_date)} at pH {ph:.1f}{high}"
    )


def batches(plan: StockingPlan) -> dict[str, str]:
    """Of each planned cohort the name of its batch, which may go to several tanks and leave on several dates."""
    problem = plan.problem
    return {p.cohort: problem.candidates[problem.stock[p.candidate]].name for p in plan.cohorts}


def loss_words(plan: StockingPlan) -> list[str]:
    """Planned fish of which the model loses some before they leave or the season ends, and of what."""
    if plan.season is None:
        return []
    layout, count, names = plan.season.layout, plan.season.course.count[0], batches(plan)
    planned, left = Counter[str](), Counter[str]()
    causes: dict[str, Counter[str]] = {}
    for p in plan.cohorts:
        name, there = names[p.cohort], count[:, layout.cohorts.index(p.cohort)]
        planned[name] += p.fish
        left[name] += round(float(there[np.flatnonzero(there > 0.0)[-1]])) if there.any() else 0
        causes.setdefault(name, Counter()).update(cause_data(plan.season)[p.cohort])
    said = [f"{left[name]} of the {fish} {name}" for name, fish in planned.items() if left[name] < fish]
    if not said:
        return []
    of_more = [f"{name} of {died_of(by_cause)}" for name, by_cause in causes.items() if died_of(by_cause) != "-"]
    rest = f"Beside ordinary daily losses die {named(of_more)}." if of_more else "The others are ordinary daily losses."
    return [f"By the model {named(said)} are left when they leave or the season ends. {rest}"]


# --- a stocking plan in the words of a keeper: the tank table, what binds, who is left out and why, what must give

GOAL_WORDS = {
    "edible": "most edible kilos",
    "steady": "steadiest feed for the beds",
    "cost": "least cost",
    "keep": "keep all fish",
}
FAR = 0.1  # a gap above this share is told as two amounts, for a share of the plan would mislead
UNFINISHED = "Not finished: the emergency brake (--seconds) ended the search."
NO_LIMIT_FULL = "No limit is full; the numbers offered, the goal or the tankmates leave it at that."
NO_LIMIT_BUT_REFUSED = "No limit is full; why the others are left out stands below."
NOTHING = 0.005  # kilos or money below this are not worth a word
LEVERS = {
    "density": "a larger tank or an earlier harvest would help",
    "oxygen": "stronger air, more flow or cooler water would help",
    "biofilter": "more filter media or planted area would help",
    "budget": "more money would",
}


def week_day(problem: Problem, week: int) -> dt.date:
    """First day of a week of the season."""
    return problem.site.file.season.start + dt.timedelta(days=7 * week)


def week_words(problem: Problem, week: int) -> str:
    """A week of the season by its first day."""
    return f"the week of {day_words(week_day(problem, week))}"


def species_title(problem: Problem, species: str) -> str:
    """A species in plain words."""
    return next((entry.title for entry in problem.entries if entry.name == species), species.replace("_", " "))


def kilos(value: float, units: str) -> str:
    """Kilos, two decimals where there are few of them."""
    if units == "metric" and abs(value) < 10.0:
        return f"{value:.2f} kg"
    return format_quantity(value, "mass", units)


def goal_words(goal: str, value: float, units: str) -> str:
    """A goal's own number with what it is."""
    if goal == "edible":
        return f"{kilos(value, units)} of fillet, fish sold or eaten at the start counted in"
    if goal == "cost":
        return f"{value:,.2f} in money for fish, feed and heat as priced"
    return f"{value:,.0f} g/day by which feed is outside the beds' band or changes, summed over all weeks and loops"


def headline(plan: StockingPlan) -> str:
    """The answer in a sentence or two."""
    return _headline(plan) if plan.is_finished else f"{UNFINISHED} {_headline(plan)}"


def _headline(plan: StockingPlan) -> str:
    units = plan.problem.site.file.site.units
    if plan.plan is None:
        if plan.broken:
            first = plan.broken[0]
            return (
                "No plan that meets the wishes held in its full season: the last one tried broke "
                f"{LIMITS[first.limit].name} in {first.where.split('.')[-1]}{_by_how_much(first, units)}; nothing is "
                "planned."
            )
        if plan.relaxation is not None:
            what = "What would have to give" if plan.relaxation.gives else "What cannot hold together"
            return f"The wishes cannot all be met. {what} is below."
        return "No plan was found within the work that is counted; fewer wishes or fish on offer may help."
    if not plan.cohorts:
        return "No fish fit: by this goal and these wishes every tank stays empty. Why each is left out stands below."
    fish = sum(p.fish for p in plan.cohorts)
    tanks = len({p.tank for p in plan.cohorts})
    goal = plan.plan.goal
    told = f"{fish} fish in {tanks} tank{'s' * (tanks != 1)}: {goal_words(goal, plan.plan.value, units)}."
    return told + " Every hard limit of the model holds in the full season with this plan."


def _by_how_much(found: Finding, units: str) -> str:
    """Worst value and limit of a level in the water, in brackets; empty for other limits."""
    if found.unit != "mg/L":
        return ""
    worst, limit = (level_words(value, "mg/L", units) for value in (found.worst_value, found.threshold))
    return f" ({worst} on {day_words(found.worst_date)}, limit {limit})"


def gap_words(plan: StockingPlan) -> str:
    """How sure it is that nothing better is to be had, and by how much program and season differ."""
    if plan.plan is None:
        return ""
    near = f"Within {100.0 * plan.plan.gap:.1f} % of"
    if plan.plan.gap > FAR:
        near = _far_words(plan)
    text = f"{near} the best that the planner's program allows"
    if plan.plan.status == "polished":
        text = (
            f"{near} what the planner's program promised before any season was run; found by trying many stockings "
            "near the program's in full seasons, so a better one may be left"
        )
    elif plan.plan.status == "thinned":
        text += ", thinned until the season held: a better plan may be left"
    elif not plan.proven.is_settled:
        text += "; rounds ran out before plan and season agreed, so a better plan may be left"
    rounds = plan.proven.rounds
    return f"{text} ({rounds} round{'s' * (rounds != 1)})."


def leaving_words(plan: StockingPlan) -> list[str]:
    """Own fish that the plan does not place, and what may become of them."""
    problem, gone = plan.problem, []
    for c in range(len(problem.candidates)):
        kept = sum(p.fish for p in plan.cohorts if problem.stock[p.candidate] == c)
        if kept < problem.owned[c]:
            whole = "all" if not kept else str(int(problem.owned[c]) - kept)
            gone.append(f"{whole} of the {problem.owned[c]} {problem.candidates[c].name}")
    if not gone:
        return []
    return [
        f"Not placed: {named(gone)}. Sell them, give them to another keeper or eat them, as law and permits allow; "
        "never release any into the wild."
    ]


def _full_tank(plan: StockingPlan, item: Binding, when: str) -> str:
    units, problem = plan.problem.site.file.site.units, plan.problem
    volume = list(problem.site.file.tanks.values())[problem.tanks.index(item.where)].volume
    return (
        f"Space in tank {item.where} is used up in {when}: {level_words(item.use / volume, 'kg/m3', units)} of the "
        f"{level_words(item.capacity / volume, 'kg/m3', units)} that the plan may use"
    )


def _drawn_down(plan: StockingPlan, item: Binding, when: str) -> str:
    return (
        f"Oxygen in tank {item.where} is used up in {when}: at its lowest hour fish draw it down by {item.use:.2f} "
        f"of the {item.capacity:.2f} mg/L that the most delicate fish there leaves"
    )


def _full_film(plan: StockingPlan, item: Binding, when: str) -> str:
    return (
        f"The biofilter of loop {item.where} is used up in {when}: {item.use:.1f} of the {item.capacity:.1f} g of "
        "ammonia nitrogen a day that it takes at levels of ammonia and nitrite safe for the fish"
        f"{behind_biofilter(plan, item)}"
    )


def _spent(plan: StockingPlan, item: Binding, when: str) -> str:
    return f"The budget is used up: {item.use:,.2f} of {item.capacity:,.2f}"


# of the rows of the program that may bind
_BOUND_BY = {"density": _full_tank, "oxygen": _drawn_down, "biofilter": _full_film, "budget": _spent}


def worth_of(plan: StockingPlan, item: Binding) -> Worth | None:
    """What more of a binding limit would bring, where that was asked."""
    return next((worth for worth in plan.worths if worth.binding == item), None)


def binding_words(plan: StockingPlan, item: Binding) -> str:
    """What leaves no space for one more fish, where and when, and what more of it would bring."""
    worth = worth_of(plan, item)
    when = week_words(plan.problem, item.week) if item.weeks else ""
    others = len(item.weeks) - 1
    when += f" and {others} more week{'s' * (others != 1)}" if others > 0 else ""
    text = _BOUND_BY[item.limit](plan, item, when)
    return f"{text}; {LEVERS[item.limit]}{_worth_words(plan, worth)}."


def unfilled_words(plan: StockingPlan) -> str:
    """What to say where no limit is full."""
    return NO_LIMIT_BUT_REFUSED if plan.refused else NO_LIMIT_FULL


def _far_words(plan: StockingPlan) -> str:
    """How far a plan stays behind a promise, up to the name of what promised."""
    assert plan.plan is not None
    if not np.isfinite(plan.plan.bound):
        return "Work ended before it was known how near this comes to"
    sign, priced = (1.0 if plan.plan.goal == "edible" else -1.0), plan.program.band_price.get(plan.plan.goal, 0.0)
    promised, reached = (amount_words(plan, sign * value) for value in (plan.plan.bound, plan.plan.score))
    text = f"The program promised {promised}, the plan reaches {reached}"
    if priced:  # such a score is no amount that a keeper could weigh; the difference is
        more = amount_words(plan, plan.plan.bound - plan.plan.score)
        than = "more" if sign > 0.0 else "less"
        text = f"The program promised {more} {than} than the plan reaches, feed outside the band counted at its price"
    return f"{text}: it is far from"


def _worth_words(plan: StockingPlan, worth: Worth | None) -> str:
    if worth is None:
        return ""
    size = amount_words(plan, worth.gain)
    if worth.gain < NOTHING:
        most = "" if worth.gain_high < NOTHING else f" (at most {amount_words(plan, worth.gain_high)})"
        return f". A tenth more of it alone would bring nothing that was found{most}"
    return (
        f". A tenth more of it would bring {size} (surely {amount_words(plan, worth.gain_low)}, at most "
        f"{amount_words(plan, worth.gain_high)})"
    )


def amount_words(plan: StockingPlan, value: float) -> str:
    """A difference of the goal."""
    goal = plan.plan.goal if plan.plan is not None else "edible"
    if goal == "edible":
        return f"{kilos(value, plan.problem.site.file.site.units)} of fillet"
    return f"{value:,.2f} of money" if goal == "cost" else f"{value:,.0f} g/day of unsteady feed"


def wish_words(plan: StockingPlan) -> list[str]:
    """What of each harvest wished there is in the full season on its day."""
    if plan.season is None or plan.plan is None:
        return []
    problem, said = plan.problem, []
    units = problem.site.file.site.units
    for wish in plan.wishes.harvest_wishes:
        got, lightest = wish_kg(plan, wish)
        size = (
            "" if wish.each_at_least is None else f" of {format_quantity(wish.each_at_least, 'weight', units)} or more"
        )
        short = "" if got >= 0.999 * wish.weight / 1000.0 else ", SHORT of the wish: the fish grow less than alone"
        if short and wish.each_at_least is not None and lightest < wish.each_at_least:
            short += f", some only to {format_quantity(lightest, 'weight', units)} each"
        said.append(
            f"{kilos(got, units)} live weight of {species_title(problem, wish.species)}{size} are there on "
            f"{day_words(wish.by)} (wished: {kilos(wish.weight / 1000.0, units)}){short}. The plan leaves them in: "
            "taking them out only frees space."
        )
    return said


def wish_kg(plan: StockingPlan, wish: HarvestWish) -> tuple[float, float]:
    """Live weight that meets a wish on its day, or the last before the fish leave [kg], and its lightest fish [g].

    By the full season; fish lighter than the wish asks do not count.
    """
    assert plan.season is not None
    layout, course = plan.season.layout, plan.season.course
    day = (wish.by - layout.start).days
    total, lightest = 0.0, math.inf
    for p in plan.cohorts:
        if live_per_fish(plan.problem, wish)[:, p.candidate].max() <= 0.0:
            continue
        column = layout.cohorts.index(p.cohort)
        there = np.flatnonzero(course.count[0, : day + 1, column] > 0.0)
        if there.size:
            each = float(course.weight_g[0, there[-1], column])
            lightest = min(lightest, each)
            if each >= (wish.each_at_least or 0.0):
                total += float(course.count[0, there[-1], column]) * each / 1000.0
    return total, lightest


def option_words(plan: StockingPlan) -> list[str]:
    """How the plan keeps each loop's water, where there was a choice."""
    if plan.plan is None or plan.plan.stocking is None or len(plan.problem.options) == len(plan.program.loops):
        return []
    said = []
    for loop, o in zip(plan.program.loops, plan.plan.stocking.choice, strict=True):
        option = plan.problem.options[int(o)]
        as_it_is = option.name == loop
        cost = plan.problem.option_cost[int(o)]
        said.append(
            f"Loop {loop} is kept as it is."
            if as_it_is
            else f'Loop {loop} is kept as "{option.name}" says' + (f", for {cost:,.2f}." if cost else ".")
        )
    return said


def cautions(plan: StockingPlan) -> list[str]:
    """What a keeper should know before trusting a plan."""
    margin = margin_of(plan.wishes)
    held = (
        f"{100.0 * margin:.0f} % of space, oxygen and biofilter is kept in reserve instead (the key margin of "
        "[stocking]; "
        "assumed)"
        if margin
        else "and no reserve is kept (the key margin of [stocking]), so the plan stands at its limits"
    )
    said = [
        f"The plan holds for one season as written. Nothing here tries other weather or poorer growth: {held}.",
        "Numbers are those of a model whose growth, appetite and filters are known within wide bounds: stock in steps, "
        "weigh samples and test the water before each step.",
        "Fillet is counted for every fish at the end, whatever its size; small fish are bony. Whether fish may be "
        "bought, kept, moved, sold or eaten is for law, permits and any medicine's waiting time to say.",
    ]
    said += unknown_fillet(plan.problem.entries)
    site = plan.problem.site
    small = (*small_cohorts(site), *small_candidates(site))
    said += [small_words(one, site.file.site.units) for one in small]
    said += loss_words(plan)
    weak = sorted({plan.problem.entries[p.candidate].title for p in plan.cohorts if
                   plan.problem.entries[p.candidate].evidence == "weak"})  # fmt: skip
    if weak:
        said.append(f"Growth rests on weak evidence for {named(weak)}.")
    return said


def unknown_fillet(entries: Iterable[Entry]) -> list[str]:
    """A sentence of the species that count for nothing among edible kilos; none where all have a fillet yield."""
    unknown = sorted({entry.title for entry in entries if entry.number("fillet_yield", 0.0) == 0.0})
    if not unknown:
        return []
    return [f"No fillet yield is known for {named(unknown)}: they count for nothing among edible kilos."]


def rounded(value: float, digits: int = 4) -> float | None:
    """A number for JSON, None where it is none."""
    return round(float(value), digits) if math.isfinite(value) else None
