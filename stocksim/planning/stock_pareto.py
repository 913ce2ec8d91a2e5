"""Plans between two goals, each held in its full season."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from stocksim.planning.planned_site import Placed, placed, worst_margins
from stocksim.planning.program import Program, goal_value, score
from stocksim.planning.program_solve import Compromise, trade_off
from stocksim.planning.stocking import StockingPlan

PLANS = 5
# Where a plan breaks a limit in its season, all limits of the program are held to this much less and it is tried again.
_TIGHTER, _MOST_TRIES = 0.97, 5
_SOLVES_EXPECTED = 10


class Between(NamedTuple):
    """A plan between two goals that held in its full season; ``margin_percent`` is its smallest margin there."""

    cohorts: tuple[Placed, ...]
    values: dict[str, float]
    gap: float
    margin_percent: float


_Scored = tuple[float, float, Between]


def plans_between(
    answer: StockingPlan,
    first: str,
    second: str,
    plans: int = PLANS,
    time_limit_s: float = 60.0,
    progress: Callable[[int, int], None] | None = None,
) -> list[Between]:
    """Plans of which none is better than another in both goals.

    Parameters
    ----------
    answer : StockingPlan
        A plan of the same site and wishes, whose program seasons have corrected.
    first, second : str
        Of ``edible``, ``steady``, ``cost``.
    plans : int
        Wanted, the best by each goal included.
    time_limit_s : float
        For all. [s]
    progress : callable, optional
        Called with (plans found, plans wanted).

    Returns
    -------
    list of Between
        From the best by the first goal to the best by the second. Fewer than asked where no more differ, or time was
        short; only plans whose full season holds every hard limit.
    """
    ends = time.monotonic() + time_limit_s
    program, best = answer.program, list[_Scored]()
    for _ in range(_MOST_TRIES):
        each = max((ends - time.monotonic()) / _SOLVES_EXPECTED, 1.0)
        found = trade_off(program, first, second, plans, 0.01, each, progress)
        margins = worst_margins(answer.problem, [point.stocking for point in found])
        held = [
            (
                score(program, first, p.stocking),
                score(program, second, p.stocking),
                _between(answer, program, p, margin),
            )
            for p, margin in zip(found, margins.tolist(), strict=True)
            if margin >= 0.0
        ]
        best = _not_beaten(best + held)
        if len(best) >= plans or len(held) == len(found) or time.monotonic() > ends:
            break
        limits = tuple(limit._replace(capacity=_TIGHTER * limit.capacity) for limit in program.limits)
        program = replace(program, limits=limits)
    return [point for _, _, point in best]


def _not_beaten(points: list[_Scored]) -> list[_Scored]:
    """Points that none equals or beats in both goals, best by the first goal leading."""
    kept: list[_Scored] = []
    for point in sorted(points, key=lambda p: (-p[0], -p[1])):
        if not kept or point[1] > kept[-1][1] + 1e-6 * max(1.0, abs(point[1])):
            kept.append(point)
    return kept


def _between(answer: StockingPlan, program: Program, point: Compromise, margin: float) -> Between:
    values = {goal: goal_value(program, goal, point.stocking) for goal in ("edible", "steady", "cost")}
    return Between(tuple(placed(answer.problem, point.stocking.fish)), values, point.gap, margin)
