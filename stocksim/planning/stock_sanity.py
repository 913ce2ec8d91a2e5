"""Wishes that no stocking could meet, told before anything is solved: which two contradict each other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from stocksim.errors import Fault
from stocksim.planning.stock_problem import Misfit, Problem
from stocksim.planning.stock_program import live_per_fish
from stocksim.site.stocking_tables import StockingTable
from stocksim.units import format_quantity


def impossible_wishes(problem: Problem, wishes: StockingTable, goals: Sequence[str]) -> list[Fault]:
    """Faults of wishes against the water, the numbers and the beds.

    Parameters
    ----------
    problem : Problem
        The problem.
    wishes : StockingTable
        The keeper's.
    goals : sequence of str
        In their order.

    Returns
    -------
    list of Fault
        One sentence each, with the two that contradict.
    """
    name, faults = problem.site.name, []
    if not problem.allowed.any():
        return [Fault("stocking", "", _nobody_fits(problem), name)]
    if "steady" in goals and not (np.isfinite(problem.feed_high).any() and problem.feed_low.max(initial=0.0) > 0.0):
        message = (
            '"steady" contradicts the beds: nothing planted wants feed, so the steadiest feed is none; plant a bed.'
        )
        faults.append(Fault("stocking", "goal", message, name))
    demands = problem.least.any() or wishes.harvest_wishes or wishes.species_at_least or "keep" in goals
    if goals[0] == "cost" and not demands:
        message = (
            '"cost" as the first goal contradicts wishing for nothing: the cheapest house is an empty one; wish for a '
            "harvest, a number of species or at_least, or put another goal first."
        )
        faults.append(Fault("stocking", "goal", message, name))
    for number, wish in enumerate(wishes.harvest_wishes, 1):
        possible = (live_per_fish(problem, wish) * problem.allowed.any(axis=2)).max(axis=0, initial=0.0) @ problem.most
        if possible * 1000.0 < wish.weight:
            units = problem.site.file.site.units
            wanted = format_quantity(wish.weight / 1000.0, "mass", units)
            title = next((e.title for e in problem.entries if e.name == wish.species), wish.species)
            most = format_quantity(float(possible), "mass", units)
            message = (
                f"{wanted} of {title} by {wish.by} contradicts the numbers offered: all that may be had, in the "
                f"best water there is, weigh {most} by then; offer more or wish for less."
            )
            faults.append(Fault("stocking", f"harvest_wishes[{number}].weight", message, name))
    return faults


def _nobody_fits(problem: Problem) -> str:
    """One sentence on the water against the fish, with the candidate that comes nearest."""
    units = problem.site.file.site.units
    several = [(misfit, c) for (_, c), misfit in problem.misfits.items() if misfit.kind != "too_sudden"]
    if not several:
        return "no tank may hold any candidate; give them other tanks, or grade fish that would eat each other."
    misfit, c = min(several, key=lambda pair: abs(pair[0].value - pair[0].bound))
    return (
        f"the water contradicts the fish: no tank suits any candidate; the nearest is {problem.candidates[c].name}, "
        f"for which {misfit_words(problem, misfit, units)}; heat the water or offer other fish."
    )


def misfit_words(problem: Problem, misfit: Misfit, units: str) -> str:
    """What a candidate does not bear of an option's water, as ``main is too cold: down to 9.0 degC (...)``."""
    option = next(option for option in problem.options if option.name == misfit.option)
    where = f"loop {misfit.option}" if option.name == option.loop else f'loop {option.loop} kept as "{option.name}"'
    day = problem.site.file.season.start + dt.timedelta(days=misfit.day)
    kind = "temperature_difference" if misfit.kind == "too_sudden" else "temperature"
    value, bound = (format_quantity(number, kind, units) for number in (misfit.value, misfit.bound))
    when = f"from {day.day} {day:%b %Y}"
    if misfit.kind == "too_cold":
        return f"{where} is too cold, down to {value} ({when}; it needs {bound})"
    if misfit.kind == "too_warm":
        return f"{where} is too warm, up to {value} ({when}; it bears {bound})"
    return f"{where} changes too fast, {value} in a day ({when}; it bears {bound})"
