"""What a stocking plan says first: its tanks, plans between two goals, or what must give; apart from `words`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stocksim.answers.stock.company import company_notes
from stocksim.answers.stock.decide import Between, StockingPlan
from stocksim.answers.stock.together import Together
from stocksim.answers.stock.why import giving_words
from stocksim.answers.stock.words import GOAL_WORDS, batches, kilos
from stocksim.changes.change import Action, Change
from stocksim.engine.results.findings import by_place
from stocksim.faces.answer import Brief
from stocksim.faces.care import brief_cares
from stocksim.faces.words import day_words
from stocksim.units import format_quantity


def first_layer(
    plan: StockingPlan,
    together: Together | None,
    between: Sequence[Between] | None,
    pair: tuple[str, str] | None,
) -> Brief:
    """The plan as a table, those between two goals where they were asked for, or what must give where there is none."""
    file = plan.problem.site.file if together is None else together.season.site.file
    care = brief_cares(file, takings(plan))
    if between and pair is not None:
        head = f"Plans between {against(pair)}, each held in its full season:"
        return Brief(head=head, table=between_rows(plan, between, pair), care=care)
    if together is not None:
        return Brief(table=plan_rows(plan), care=care, notes=company_notes(together, bought(plan)))
    gives = plan.relaxation.gives if plan.relaxation is not None else ()
    rows = [{"what must give": giving_words(plan, item)} for item in gives]
    return Brief(rows, change_head(plan) if rows else "", care=care)


def bought(plan: StockingPlan) -> list[str]:
    """Planned fish that the keeper does not have yet, by batch."""
    names = batches(plan)
    return list(dict.fromkeys(names[p.cohort] for p in plan.cohorts if not plan.problem.is_own(p.candidate)))


def takings(plan: StockingPlan) -> list[Change]:
    """That fish are taken out, where any leave before the end, are not placed, or are counted as fillet."""
    problem = plan.problem
    is_taken = any(problem.candidates[p.candidate].leaves is not None for p in plan.cohorts)
    is_eaten = plan.plan is not None and plan.plan.goal == "edible"
    placed = sum(p.fish for p in plan.cohorts if problem.is_own(p.candidate))
    is_left = plan.plan is not None and placed < int(problem.owned.sum())
    return [Change(Action.TAKEN_OUT, {})] if is_taken or is_eaten or is_left else []


def plan_rows(plan: StockingPlan) -> list[dict[str, str]]:
    """One row for each cohort planned, by tank, and one for each tank left empty."""
    problem, season = plan.problem, plan.season
    units = problem.site.file.site.units
    rows = []
    assert season is not None
    for t, tank in enumerate(problem.tanks):
        here = [p for p in plan.cohorts if p.tank == t]
        if not here:
            none = dict.fromkeys(("number", "each", "each at the end", "fullest"), "-")
            rows.append({"tank": tank, "fish": "left empty", **none})
        peak = room_percent(plan, t)
        for p in here:
            candidate = problem.candidates[p.candidate]
            column = season.layout.cohorts.index(p.cohort)
            there = np.flatnonzero(season.course.count[0, :, column] > 0.0)
            later = float(season.course.weight_g[0, there[-1], column])
            until = "" if candidate.leaves is None else f" ({day_words(candidate.leaves)})"
            bought = "" if problem.is_own(p.candidate) else " (to buy)"
            rows.append(
                {
                    "tank": tank,
                    "fish": p.cohort + bought,
                    "number": str(p.fish),
                    "each now": format_quantity(candidate.mean_weight_g, "weight", units),
                    "each at the end": format_quantity(later, "weight", units) + until,
                    "fullest": f"{peak:.0f} %",
                }
            )
    return rows


def against(pair: tuple[str, str]) -> str:
    """Two goals that are weighed against each other."""
    return " against ".join(GOAL_WORDS[goal] for goal in pair)


def between_rows(plan: StockingPlan, between: Sequence[Between], pair: tuple[str, str]) -> list[dict[str, str]]:
    """One row for each plan between two goals."""
    units = plan.problem.site.file.site.units
    short = {
        "edible": ("fillet", lambda v: kilos(v, units)),
        "cost": ("money", lambda v: f"{v:,.2f}"),
        "steady": ("unsteady feed", lambda v: f"{v:,.0f} g/day"),
    }
    rows = []
    for number, point in enumerate(between, 1):
        row = {"plan": str(number)}
        row |= {short[goal][0]: short[goal][1](point.values[goal]) for goal in pair}
        fish: dict[str, int] = {}
        for p in point.cohorts:
            name = plan.problem.candidates[p.candidate].name
            fish[name] = fish.get(name, 0) + p.fish
        row["fish"] = ", ".join(f"{count} {name}" for name, count in fish.items()) or "none"
        rows.append(row)
    return rows


def room_percent(plan: StockingPlan, tank: int) -> float:
    """Density of a tank on its fullest day over its limit, in percent."""
    assert plan.season is not None
    found = by_place(plan.season.findings, "density").get(f"tanks.{plan.problem.tanks[tank]}")
    return 0.0 if found is None else 100.0 * found.worst_value / found.threshold


def change_head(plan: StockingPlan) -> str:
    """What to call the change that would make room."""
    if plan.relaxation_held is False:
        return "By the program this would have to give, all of it together; its full season breaks a limit even so:"
    if plan.is_proven_impossible:
        return "The smallest change that would help, all of it together:"
    tried = "its full season holds" if plan.relaxation_held else "it was not tried in a full season"
    return f"A change that may help, all of it together ({tried}; a smaller one may do):"
