"""What brings fish and beds nearer to balance, and all that is told of a season's beds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from stocksim.answers.beds.decide import LoopBalance, bed_balance
from stocksim.answers.beds.nutrients import Budget, budgets
from stocksim.changes.beds import area_to_build, hungrier_crops, other_ration, other_stock
from stocksim.changes.change import Action, Change, allowed, prove
from stocksim.changes.nitrate import nitrate_changes
from stocksim.changes.search import newly_broken
from stocksim.engine.results.beds import Side
from stocksim.engine.results.frames import Season, loop_of
from stocksim.engine.results.nitrate import nitrate_passed
from stocksim.errors import InputError

MOST_CHANGES = 3
LEAST_GOOD_SHARE = 0.1  # of the gap that a change must close to be said to bring nearer (assumed)


@dataclass(frozen=True)
class BedProof:
    """A change of the site file and what a whole season with it does.

    Parameters
    ----------
    change : Change
        What to do; its effort is known.
    gap_before_g, gap_after_g : float
        Nitrogen given less nitrogen wanted, mean of the season. [g/day]
    nitrate_before_mg_l, nitrate_after_mg_l : float
        Nitrate nitrogen on the last day.
    growth_kg, harvest_kg : float
        Fish growth and fresh harvest of the whole site, less those without the change.
    breaks : tuple of (str, str)
        Limits and places that hold without the change and are broken with it, as (``oxygen``, ``tanks.cedar``).
    """

    change: Change
    gap_before_g: float
    gap_after_g: float
    nitrate_before_mg_l: float
    nitrate_after_mg_l: float
    growth_kg: float
    harvest_kg: float
    breaks: tuple[tuple[str, str], ...]

    @property
    def is_nearer(self) -> bool:
        """Whether a tenth of the gap or more is closed."""
        return abs(self.gap_after_g) <= (1.0 - LEAST_GOOD_SHARE) * abs(self.gap_before_g)

    @property
    def is_cleaner(self) -> bool:
        """Whether nitrate that a gap leaves ends a tenth lower or more."""
        return self.gap_before_g > 0.0 and self.nitrate_after_mg_l < 0.9 * self.nitrate_before_mg_l


def bed_changes(season: Season, balance: LoopBalance) -> list[BedProof]:
    """The cheapest changes that a run proves to bring a loop nearer to balance, or to keep its nitrate lower.

    Parameters
    ----------
    season : Season
        A season that was run.
    balance : LoopBalance
        One of its loops.

    Returns
    -------
    list of BedProof
        At most three, cheapest first; empty where the loop is even, where the nitrate in its water makes up all season
        for what fish do not give, or where nothing that was tried helps. Changes that break a limit come only where too
        few others help, and none that feeds or stocks more.
    """
    if balance.mean("supply_g") <= 0.0 or balance.mean("draw_g") <= 0.0 or balance.is_even:
        return []
    if balance.mean_gap_g < 0.0 and not balance.short:
        return []
    tried = []
    for change in allowed(season.site, _candidates(season, balance)):
        try:
            after = prove(season.site, change.fields)
        except InputError:  # it cannot be written so, as an area that is too large
            continue
        proof = _proof(season, after, balance, change)
        if _is_more_load(balance, change) and (proof.breaks or nitrate_passed(after, balance.loop) is not None):
            continue
        tried.append(proof)
    good = [proof for proof in tried if proof.is_nearer or proof.is_cleaner]
    good.sort(key=lambda proof: (bool(proof.breaks), _effort(proof)))
    return sorted(good[:MOST_CHANGES], key=_effort)


def fish_come_first(season: Season, loop: str) -> bool:
    """Whether a limit of a loop is broken: then its feed and its fish go by what mends that, not by its beds."""
    return any(finding.is_broken and loop_of(season, finding) == loop for finding in season.findings)


def _is_more_load(balance: LoopBalance, change: Change) -> bool:
    return change.kind in (Action.RATION, Action.STOCK) and balance.mean_gap_g < 0.0


def _effort(proof: BedProof) -> int:
    return proof.change.effort or 0


def _proof(before: Season, after: Season, balance: LoopBalance, change: Change) -> BedProof:
    column = before.layout.loops.index(balance.loop)
    new = next(found for found in bed_balance(after) if found.loop == balance.loop)
    return BedProof(
        change, balance.mean_gap_g, new.mean_gap_g,
        float(before.course.nitrate_mg_l[0, -1, column]), float(after.course.nitrate_mg_l[0, -1, column]),
        float(after.course.gain_g[0].sum() - before.course.gain_g[0].sum()) / 1000.0,
        float(np.nansum(after.bed_course.harvest_kg) - np.nansum(before.bed_course.harvest_kg)),
        newly_broken(before, after),
    )  # fmt: skip


def _candidates(season: Season, balance: LoopBalance) -> Iterator[Change]:
    """Changes to try, as the side of the gap asks: area only toward the one to build for."""
    supply, draw, loop = balance.mean("supply_g"), balance.mean("draw_g"), balance.loop
    is_left = balance.mean_gap_g > 0.0
    build = season.build_areas.get(loop)
    if build is not None and (build.side is Side.ROOM) == is_left:
        yield from area_to_build(season, loop)
    if is_left:
        yield from hungrier_crops(season, loop)
        yield from (change for change in nitrate_changes(season, loop) if change.kind is not Action.PLANTED_AREA)
    if not fish_come_first(season, loop):
        yield from other_ration(season, loop, max(draw / supply, 0.5) if is_left else draw / supply)
        yield from other_stock(season, loop, draw / supply)


# --- all that is told of a season's beds, brought together

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class BedPlan:
    """Balance, changes and budgets of a season's beds.

    Parameters
    ----------
    season : Season
        The season.
    loops : tuple of LoopBalance
        Every loop with fish or planted beds.
    proofs : mapping of str to list of BedProof
        By loop, the changes that help; none for any loop where they were not sought.
    budgets : tuple of Budget
        Of every loop and nutrient.
    """

    season: Season
    loops: tuple[LoopBalance, ...]
    proofs: dict[str, list[BedProof]]
    budgets: tuple[Budget, ...]


def bed_plan(season: Season, progress: Progress | None = None, is_sought: bool = True) -> BedPlan:
    """Balance, changes and budgets; some seconds a loop where changes are sought, for every change is run.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        Called with (loops done, loops in all).
    is_sought : bool
        Whether to seek changes that help.

    Returns
    -------
    BedPlan
        For the command line and the pages.
    """
    loops = tuple(bed_balance(season))
    proofs = {}
    for number, balance in enumerate(loops if is_sought else ()):
        proofs[balance.loop] = bed_changes(season, balance)
        if progress is not None:
            progress(number + 1, len(loops))
    return BedPlan(season, loops, proofs, tuple(budgets(season)))
