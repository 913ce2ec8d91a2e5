"""All that is told of a season's beds, brought together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from stocksim.engine.results import Season
from stocksim.planning.bed_budget import Budget, budgets
from stocksim.planning.bed_levers import BedLever, bed_levers
from stocksim.planning.beds import LoopBalance, bed_balance

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class BedPlan:
    """Balance, levers and budgets of a season's beds.

    Parameters
    ----------
    season : Season
        The season.
    loops : tuple of LoopBalance
        Every loop with fish or planted beds.
    levers : mapping of str to list of BedLever
        By loop.
    budgets : tuple of Budget
        Of every loop and nutrient.
    """

    season: Season
    loops: tuple[LoopBalance, ...]
    levers: dict[str, list[BedLever]]
    budgets: tuple[Budget, ...]


def bed_plan(season: Season, progress: Progress | None = None) -> BedPlan:
    """Balance, levers and budgets; some seconds a loop, for every lever is run.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        Called with (loops done, loops in all).

    Returns
    -------
    BedPlan
        For the command line and the pages.
    """
    loops = tuple(bed_balance(season))
    levers = {}
    for number, balance in enumerate(loops):
        levers[balance.loop] = bed_levers(season, balance)
        if progress is not None:
            progress(number + 1, len(loops))
    return BedPlan(season, loops, levers, tuple(budgets(season)))
