"""A plan that holds made better by trying others near it in full seasons, many at once.

Apart from `planner` for its length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import NamedTuple

import numpy as np

from stocksim.answers.stock.milp import Work
from stocksim.answers.stock.problem import Problem
from stocksim.answers.stock.program import (
    HOLDS_WITHIN,
    FloatArray,
    IntArray,
    Program,
    Stocking,
    broken,
    placed_of,
    score,
)
from stocksim.answers.stock.seasons import season_margins

# Steps from the plan that holds towards better ones that did not, and shares of what there is room for, or of what is
# moved or given up for others.
_STEPS = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05)
_SHARES = (1.0, 0.5, 0.25, 0.1, 0.04)
_THINNER = (0.98, 0.96, 0.94, 0.92, 0.9, 0.87)
_LARGE = 72  # cells above which a turn costs seconds (measured in this project), so that fewer are had


class _Effort(NamedTuple):
    """Most turns of a search; in each the stockings that are scored, those of them that keep rows, and seasons run."""

    turns: int
    scored: int
    sound: int
    seasons: int


_SMALL_EFFORT, _LARGE_EFFORT = _Effort(40, 800, 150, 24), _Effort(4, 400, 48, 16)
_LEAST_GAIN = 2e-3  # of the score: less is not worth another season
_AT_ONCE = 64  # stockings that are looked at together
# limits that the program keeps a margin on by rows of its own, close to the engine's
_BY_ROWS = ("density", "oxygen")


def polished(
    problem: Problem,
    program: Program,
    goal: str,
    start: Stocking,
    better: Sequence[Stocking],
    margin: float,
    work: Work | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Stocking:
    """A stocking at least as good as one that holds, found by full seasons.

    Parameters
    ----------
    problem : Problem
        The problem.
    program : Program
        Before seasons corrected it: its rows for density and oxygen are kept, that for the biofilter is left to the
        seasons.
    goal : str
        What to make better.
    start : Stocking
        One that holds in its season.
    better : sequence of Stocking
        Plans that promised more and did not hold: steps towards them are tried.
    margin : float
        Share of the biofilter to keep in hand, or as much as the start does. [-]
    work : Work, optional
        Whose brake ends it; else it ends where nothing better is found, or after as many turns as
        the size allows.
    progress : callable, optional
        Called with (turns done, most turns).

    Returns
    -------
    Stocking
        Holds every hard limit in its season.
    """
    loose = replace(program, limits=tuple(limit for limit in program.limits if limit.name in _BY_ROWS))
    # seasons may have pressed the margin that the program keeps on the biofilter
    floor = {"biofilter": min(100.0 * margin, float(season_margins(problem, [start])["biofilter"][0]))}
    best, reached = start, score(program, goal, start)
    work = work or Work()
    known: set[bytes] = set()
    is_first = program.of_stock == np.arange(len(program.candidates))
    effort = _LARGE_EFFORT if int(program.allowed[:, is_first].sum()) > _LARGE else _SMALL_EFFORT
    for turn in range(effort.turns):
        if work.is_over():
            break
        several = [s for s in _near(loose, goal, best, better, effort.scored) if s.fish.tobytes() not in known]
        scored = [(score(program, goal, s), n) for n, s in enumerate(several)]
        promising = sorted((item for item in scored if item[0] > reached + _LEAST_GAIN * abs(reached)), reverse=True)
        sound = (n for n in _within_limits(loose, best.choice, several, promising) if not broken(loose, several[n[1]]))
        hopeful = list(islice(sound, effort.sound))
        if not hopeful:
            break
        # the best, and an even choice of the rest
        spread = np.unique(np.linspace(0, len(hopeful) - 1, effort.seasons).astype(int))
        tried = [hopeful[n] for n in spread]
        known |= {several[n].fish.tobytes() for _, n in tried}
        margins = season_margins(problem, [several[n] for _, n in tried])
        holds = np.all([margins[name] >= floor.get(name, 0.0) - 1e-9 for name in margins], axis=0)
        held = [item for item, ok in zip(tried, holds, strict=True) if ok]
        if held:
            reached, number = held[0]
            best = several[number]
        elif len(hopeful) <= effort.seasons:
            break
        if progress is not None:
            progress(turn + 1, effort.turns)
    return best


def _within_limits(
    program: Program, choice: IntArray, several: Sequence[Stocking], promising: Sequence[tuple[float, int]]
) -> Iterator[tuple[float, int]]:
    """Those whose tanks with fish keep their limits, many at once: a quick look before the whole check."""
    option_at, tanks = choice[program.tank_loop], len(program.tanks)
    same = program.tank_loop[:, None] == program.tank_loop
    for start in range(0, len(promising), _AT_ONCE):
        some = promising[start : start + _AT_ONCE]
        fish = np.stack([several[n].fish for _, n in some])
        is_good = np.ones(len(some), bool)
        for limit in program.limits:
            own = np.stack([fish[:, :, t] @ limit.load[option_at[t]] for t in range(tanks)], axis=1)
            for t, option in enumerate(option_at):
                use = own[:, t]
                if limit.influence is not None:
                    use = (own * (limit.influence[option, t] * same[t][:, None])).sum(axis=1)
                kinds = np.flatnonzero(fish[:, :, t].any(axis=0))
                there = fish[:, kinds, t] > 0
                bears = np.where(there[..., None], limit.capacity[option, kinds, t], np.inf).min(axis=1, initial=np.inf)
                is_good &= ~(use > bears + 2.0 * HOLDS_WITHIN * np.abs(bears)).any(axis=1)
        yield from (item for item, ok in zip(some, is_good, strict=True) if ok)


def _near(program: Program, goal: str, here: Stocking, better: Sequence[Stocking], most: int) -> list[Stocking]:
    """Stockings near one, those that promise most: steps towards others, more fish, and fish in other fish's place."""
    found: list[IntArray] = []
    for other in better:
        if (other.choice == here.choice).all():
            apart = other.fish - here.fish
            found += [np.floor(share * other.fish).astype(int) for share in _THINNER]
            found += [here.fish + np.round(step * apart).astype(int) for step in _STEPS]
            # and one candidate at a time
            for c in np.flatnonzero(np.abs(apart).sum(axis=1)):
                for step in (1.0, 0.5, 0.2):
                    fish = here.fish.copy()
                    fish[c] += np.round(step * apart[c]).astype(int)
                    found.append(fish)
    changes, worth = _changes(program, here), _worth(program, goal, here)
    less, more = (
        changes[:, 2] * worth[changes[:, 0], changes[:, 1]],
        changes[:, 5] * worth[changes[:, 3], changes[:, 4]],
    )
    for other, at, fewer, c, t, number in changes[np.argsort(less - more, kind="stable")[:most]].tolist():
        fish = here.fish.copy()
        fish[other, at] -= fewer
        fish[c, t] += number
        found.append(fish)
    return [Stocking(fish, here.choice) for fish in _whole(program, np.array(found))] if found else []


def _worth(program: Program, goal: str, here: Stocking) -> FloatArray:
    """About what one more fish of a candidate in a tank brings to a goal, shape (candidate, tank)."""
    option = here.choice[program.tank_loop]
    if goal == "edible":
        owned = program.owned[program.of_stock] > 0
        return np.asarray((program.edible_kg[option] - np.where(owned, program.thinned_kg, 0.0)).T)
    if goal == "cost":
        return np.asarray(-program.cost[option].T)
    return np.zeros((len(program.candidates), len(program.tanks)))


def _changes(program: Program, here: Stocking) -> IntArray:
    """Changes of a stocking, shape (change, 6): so many of a candidate in a tank fewer, and of another more."""
    inside = program.allowed[here.choice[program.tank_loop], :, np.arange(len(program.tanks))].T
    free = program.most - placed_of(program, here.fish)[program.of_stock]
    heaviest = np.array(
        [limit.load[here.choice].max(axis=(0, 2)) for limit in program.limits if limit.name == "density"]
    )
    weight = heaviest.max(axis=0, initial=0.0)
    there = np.argwhere(here.fish > 0)
    other, at = there[:, :1], there[:, 1:]
    fewer = np.maximum((np.array(_SHARES) * here.fish[other, at]).astype(int), 1)  # (there, share), the most first
    is_new = np.diff(fewer, axis=1, prepend=0) != 0
    found: list[IntArray] = [np.zeros((0, 6), int)]
    for c, t in np.argwhere(inside).tolist():
        room, batch = _room(program, here, c, t), max(int(program.minimum_batch[program.of_stock[c]]), 1)
        least = 1 if here.fish[c, t] else batch
        found += [np.array([[c, t, 0, c, t, number]]) for number in _several(min(room, int(free[c])), least)]
        is_kin = program.of_stock[other] == program.of_stock[c]
        as_heavy = (fewer * (weight[other] / weight[c])).astype(int) if weight[c] > 0.0 else fewer
        numbers = np.stack([np.where(is_kin, fewer, np.maximum(as_heavy, least)), as_heavy + max(room, 0)], axis=-1)
        is_asked = is_new[..., None] & (numbers >= least) & ((other != c) | (at != t))[..., None]
        is_asked[..., 1] &= ~is_kin & (numbers[..., 1] != numbers[..., 0])
        numbers = np.where(is_kin[..., None], numbers, np.minimum(numbers, int(free[c])))
        places = np.broadcast_arrays(other[..., None], at[..., None], fewer[..., None], c, t, numbers)
        found.append(np.stack([place[is_asked] for place in places], axis=-1))
    return np.concatenate(found)


def _several(most: int, least: int) -> list[int]:
    """Numbers of fish to try, from all down to the least."""
    return sorted({max(int(share * most), least) for share in _SHARES} if most >= least else set(), reverse=True)


def _room(program: Program, here: Stocking, c: int, t: int) -> int:
    """Fish more of a candidate that its own tank has room for by density."""
    o, room = int(here.choice[program.tank_loop[t]]), np.inf
    for limit in program.limits:
        if limit.name != "density" or limit.is_of_loop:
            continue
        load = limit.load[o]
        left = limit.capacity[o, c, t] - here.fish[:, t] @ load
        asks = (load[c] > 0.0) & np.isfinite(left)
        room = min(room, float((left[asks] / load[c][asks]).min(initial=np.inf)))
    return int(room) if np.isfinite(room) else int(program.most[c])


def _whole(program: Program, several: IntArray) -> IntArray:
    """No less than nothing, no batch too small, no more than there are; shape (stocking, candidate, tank)."""
    several, stock = np.maximum(several, 0), program.of_stock
    kin = (stock[:, None] == stock).astype(int)
    several = np.where(kin @ several < program.minimum_batch[stock][:, None], 0, several)
    over = (kin @ several).sum(axis=2) - program.most
    for n, c in np.argwhere((over > 0) & (stock == np.arange(len(stock)))).tolist():
        rows = np.flatnonzero(kin[c])
        row, tank = divmod(int(np.argmax(several[n, rows])), several.shape[2])
        several[n, rows[row], tank] -= over[n, c]
    return np.asarray(np.maximum(several, 0))
