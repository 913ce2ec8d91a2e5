"""Why a stocking is as it is: what binds, what more of it is worth, who is left out and why, what must give way."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from stocksim.answers.stock.milp import Work, run_milp
from stocksim.answers.stock.program import (
    HOLDS_WITHIN,
    Broken,
    IntArray,
    Limit,
    Program,
    Stocking,
    broken,
    limit_uses,
    placed_of,
    spending,
)
from stocksim.answers.stock.rows import GIVING, build_matrix
from stocksim.answers.stock.solve import Plan, solve

Progress = Callable[[int, int], None]
# gap to which the fish of a plan are arranged around a smallest batch of others: what is lost is told with its most
_ROUGHLY = 0.02


class Binding(NamedTuple):
    """A limit that leaves no room for one more fish of those that live there: its weeks and its tightest week."""

    limit: str
    unit: str
    where: str
    weeks: tuple[int, ...]
    week: int
    use: float
    capacity: float


class Worth(NamedTuple):
    """What more of a binding limit would bring, by a new solve: score gained, between what is sure and what may be."""

    binding: Binding
    more: float
    gain: float
    gain_low: float
    gain_high: float


class Refusal(NamedTuple):
    """Why a candidate is not in a plan.

    ``no_place``: no tank may hold it. ``worse``: a smallest batch would cost ``lost`` of the score (between
    ``lost_low`` and ``lost_high``), the others being fewer or more in their tanks. ``no_room``: a smallest batch would
    need ``gives`` to give way. ``company``: it must be kept, and so must others that it may not share a tank with.
    ``unknown``: work ended.
    """

    candidate: str
    kind: str
    lost: float
    lost_low: float
    lost_high: float
    gives: tuple[Broken, ...]


class Relaxation(NamedTuple):
    """The smallest giving way that makes a program feasible.

    ``total`` is the sum of what gives, each as a share of its own size (a place of its loosest capacity, a species as
    1); ``bound`` the least that it could be. ``gives`` tells each with its worst week, empty when nothing must give.
    ``contradiction`` names conditions that cannot hold together where giving way does not help.
    """

    stocking: Stocking | None
    gives: tuple[Broken, ...]
    total: float
    bound: float
    status: str
    contradiction: tuple[str, ...]


def binding_limits(program: Program, stocking: Stocking) -> list[Binding]:
    """Limits with no room for one more fish of those that live there, tightest first.

    Parameters
    ----------
    program : Program
        The problem.
    stocking : Stocking
        A stocking that holds.

    Returns
    -------
    list of Binding
        Limits of tanks and loops, and the budget where it does not reach for the cheapest fish.
    """
    found = []
    option_at = stocking.choice[program.tank_loop]
    for limit, used in zip(program.limits, limit_uses(program, stocking), strict=True):
        for place, name in enumerate(used.places):
            tanks = np.flatnonzero(program.tank_loop == place) if limit.is_of_loop else np.array([place])
            here = stocking.fish[:, tanks].sum(axis=1) > 0
            if not here.any():
                continue
            option = int(option_at[tanks[0]])
            one_more = limit.load[option, here]
            if limit.influence is not None:
                one_more = one_more * limit.influence[option, place, place]
            lightest = np.where(one_more > 0.0, one_more, np.inf).min(axis=0)
            room = used.capacity[place] - used.use[place]
            weeks = np.flatnonzero(room < lightest * (1.0 - HOLDS_WITHIN))
            weeks = weeks[np.isfinite(lightest[weeks])]
            if weeks.size:
                week = int(weeks[np.argmin(room[weeks] / used.capacity[place, weeks])])
                at = (float(used.use[place, week]), float(used.capacity[place, week]))
                found.append(Binding(used.limit, used.unit, name, tuple(weeks.tolist()), week, *at))
    found.sort(key=lambda b: 1.0 - b.use / b.capacity)
    spent, cheapest = spending(program, stocking), program.price[program.price > 0.0].min(initial=np.inf)
    if program.budget - spent < cheapest and np.isfinite(program.budget) and np.isfinite(cheapest):
        found.append(Binding("budget", "money", "", (), 0, spent, program.budget))
    return found


def worth_of_more(
    program: Program,
    plan: Plan,
    bindings: Iterable[Binding],
    step: float = 0.1,
    gap: float = 0.01,
    work: Work | None = None,
    progress: Progress | None = None,
) -> list[Worth]:
    """What a tenth more of each binding limit would bring, by solving again with it.

    Parameters
    ----------
    program : Program
        The problem.
    plan : Plan
        Its plan.
    bindings : iterable of Binding
        Which limits.
    step : float
        How much more, as a share of the limit. [-]
    gap : float
        Of each solve. [-]
    work : Work, optional
        What it may take.
    progress : callable, optional
        Called with (limits done, limits in all).

    Returns
    -------
    list of Worth
        In the order given. ``more`` is the step in the limit's unit, in its tightest week. Both plans are known to
        their gap only, so the gain is given with what is sure of it and what it could be at most.
    """
    found, listed = [], list(bindings)
    for number, item in enumerate(listed):
        if item.limit == "budget":
            more = step * max(program.budget, 1.0)
            eased = replace(program, budget=program.budget + more)
        else:
            more = step * item.capacity
            eased = replace(program, limits=tuple(_eased(program, limit, item, 1.0 + step) for limit in program.limits))
        other = solve(eased, plan.goal, gap, work)
        # the old plan still holds, so that a poorer new one says only that work ended
        reached = plan.score if other.stocking is None else max(other.score, plan.score)
        low, high = max(reached - plan.bound, 0.0), max(other.bound, reached) - plan.score
        found.append(Worth(item, more, reached - plan.score, low, high))
        if progress is not None:
            progress(number + 1, len(listed))
    return found


def _eased(program: Program, limit: Limit, item: Binding, factor: float) -> Limit:
    """A limit with more capacity at the place of a binding."""
    if limit.name != item.limit:
        return limit
    capacity = limit.capacity.copy()
    if limit.is_of_loop:
        capacity[program.option_loop == program.loops.index(item.where)] *= factor
    else:
        capacity[:, :, program.tanks.index(item.where)] *= factor
    return limit._replace(capacity=capacity)


def refusals(
    program: Program,
    plan: Plan,
    gap: float = 0.01,
    work: Work | None = None,
    progress: Progress | None = None,
) -> list[Refusal]:
    """Why each candidate without fish in a plan is left out, by forcing one smallest batch of it beside the others.

    Parameters
    ----------
    program : Program
        The problem.
    plan : Plan
        Its plan, with a stocking.
    gap : float
        Of each solve. [-]
    work : Work, optional
        What it may take.
    progress : callable, optional
        Called with (candidates done, candidates in all).

    Returns
    -------
    list of Refusal
        In the order of the candidates.
    """
    assert plan.stocking is not None
    is_first = program.of_stock == np.arange(len(program.candidates))
    left_out = np.flatnonzero(is_first & (placed_of(program, plan.stocking.fish) == 0))
    found, nan = [], float("nan")
    inside = program.tank_loop[None, :] == program.option_loop[:, None]
    for number, c in enumerate(left_out):
        name = program.candidates[c]
        if not (program.allowed[:, c] & inside).any():
            found.append(Refusal(name, "no_place", nan, nan, nan, ()))
        elif program.most[c] >= 1:
            found.append(_refusal(program, plan, int(c), gap, work))
        if progress is not None:
            progress(number + 1, len(left_out))
    return found


def _refusal(program: Program, plan: Plan, candidate: int, gap: float, work: Work | None) -> Refusal:
    nan, name = float("nan"), program.candidates[candidate]
    forced = replace(program, least=_with_least(program.least, candidate, program.minimum_batch[candidate]))
    assert plan.stocking is not None
    beside = solve(_beside(forced, plan.stocking, candidate), plan.goal, max(gap, _ROUGHLY), work)
    other = beside if beside.stocking is not None else solve(forced, plan.goal, gap, work)
    if other.stocking is not None:
        lost = max(plan.score - other.score, 0.0)
        low = 0.0 if other is beside else max(plan.score - other.bound, 0.0)
        return Refusal(name, "worse", lost, low, max(plan.bound - other.score, lost), ())
    if other.status == "infeasible":
        relaxed = smallest_relaxation(forced, ("limits", "budget", "species"), gap, work)
        return Refusal(name, "no_room", nan, nan, nan, relaxed.gives)
    return Refusal(name, "unknown", nan, nan, nan, ())


def _beside(program: Program, stocking: Stocking, candidate: int) -> Program:
    """A program in which the fish of a stocking stay in their tanks, and a candidate may go where it likes.

    Solved in a small part of the time; what it loses is no less than what must be lost.
    """
    may_go = (stocking.fish > 0) | (program.of_stock == candidate)[:, None]
    allowed = program.allowed & may_go
    allowed[np.setdiff1d(np.arange(len(program.options)), stocking.choice)] = False
    return replace(program, allowed=allowed)


def _with_least(least: IntArray, candidate: int, number: int) -> IntArray:
    raised = least.copy()
    raised[candidate] = max(least[candidate], number, 1)
    return raised


def smallest_relaxation(
    program: Program,
    giving: Iterable[str] = GIVING,
    gap: float = 0.01,
    work: Work | None = None,
) -> Relaxation:
    """The smallest giving way that makes room for what a program demands.

    Parameters
    ----------
    program : Program
        The problem, feasible or not.
    giving : iterable of str
        Kinds that may give way, of ``limits``, ``budget``, ``wishes``, ``keep``, ``species``. Company, temperature and
        smallest batches never do.
    gap : float
        Of the solve. [-]
    work : Work, optional
        What it may take.

    Returns
    -------
    Relaxation
        What gives, told from the stocking itself.
    """
    matrix = build_matrix(program, giving=frozenset(giving), with_feed=False)
    cost = np.zeros(len(matrix.low))
    cost[list(matrix.slack.values())] = 1.0
    answer = run_milp(matrix, cost, gap, work)
    if answer.solution is None:
        named = contradiction(program, work) if answer.status == "infeasible" else ()
        return Relaxation(None, (), float("nan"), answer.bound, answer.status, named)
    stocking = matrix.stocking(program, answer.solution)
    worst: dict[tuple[str, str], Broken] = {}
    for item in broken(program, stocking):
        known = worst.get((item.what, item.where))
        if known is None or abs(item.value - item.bound) > abs(known.value - known.bound):
            worst[item.what, item.where] = item
    return Relaxation(stocking, tuple(worst.values()), answer.cost, max(answer.bound, 0.0), answer.status, ())


def keep_all(program: Program, gap: float = 0.01, work: Work | None = None) -> Relaxation:
    """What must change for all the keeper's fish to be kept: every own fish placed, the rest giving way."""
    held = replace(program, least=np.maximum(program.least, program.owned))
    return smallest_relaxation(held, ("limits", "budget", "wishes", "species"), gap, work)


def contradiction(program: Program, work: Work | None = None) -> tuple[str, ...]:
    """A smallest set of conditions that cannot hold together, empty when the program is feasible.

    Parameters
    ----------
    program : Program
        The problem.
    work : Work, optional
        What it may take; a condition whose part stays unknown is left in.

    Returns
    -------
    tuple of str
        Names: a limit, ``company``, ``budget``, ``species``, ``keep NAME``, ``wish NAME``; leaving any of them out
        makes the rest feasible. Places and smallest batches are always in force; ``place`` alone says that even they
        cannot hold together.

    Notes
    -----
    Deletion filter: leave the conditions out one after the other, and for good where that does not help.
    """
    demands = [f"keep {name}" for name, least in zip(program.candidates, program.least, strict=True) if least > 0]
    demands += [f"wish {wish.name}" for wish in program.wishes] + ["species"]
    names = [*dict.fromkeys(limit.name for limit in program.limits), "company", "budget", *demands]
    left: frozenset[str] = frozenset()
    if not _is_infeasible(program, left, work):
        return ()
    for name in names:
        if _is_infeasible(program, left | {name}, work):
            left |= {name}
    return tuple(name for name in names if name not in left) or ("place",)


def _is_infeasible(program: Program, without: frozenset[str], work: Work | None) -> bool:
    matrix = build_matrix(program, without=without, with_feed=False)
    return run_milp(matrix, np.zeros(len(matrix.low)), 0.5, work).status == "infeasible"
