"""What stands still when circuits fail and what a backup keeps running, and the oxygen of the loops' water then.

Apart from `decide` for its length.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout, standard_transfer
from stocksim.engine.results.frames import Season
from stocksim.heat.outage import Phase
from stocksim.site.model import SiteFile
from stocksim.site.pumps import Carried, carried, circuit_w, floats, loop_places, moving, supplies
from stocksim.site.sump_levels import sump_swing, tells_of_levels
from stocksim.water.gas import water_drop_exchange
from stocksim.water.oxygen import BETA_FISH_WATER, device_exchange, oxygen_saturation, surface_exchange_velocity

FloatArray = NDArray[np.float64]

# Steps of the water's balance: fine while minutes count, coarse later; the trapezoidal rule then is within 1 % of the
# exact fall of a tank alone (a test).
_FINE_STEP_D, _FINE_UNTIL_D, _COARSE_STEP_D = 1.0 / 1440.0, 4.0 / 24.0, 5.0 / 1440.0
# Water that still moves in the end, with the mains off, is looked at so long; what has not fallen by then is said never
# to: it has reached its balance (our choice). Tanks that stand alone in the end are followed on by the exact formula.
LAST_PHASE_D = 3.0
LONGEST_D = 14.0  # a backup that lasts longer is looked at no further


class Standing(NamedTuple):
    """What fails, what lives, and what comes of it.

    Parameters
    ----------
    failed, living : tuple of str
        Circuits of the file.
    still, no_air : tuple of str
        Places that no water runs through, and those whose air stops, at the cut.
    backups : tuple of Carried
        What carries some of the circuits that fail, and how long.
    sumps : tuple of (str, float, float, float or None)
        Loop, its sump's water before and after all has drained back into it, and its brim where told. [m3]
    """

    failed: tuple[str, ...]
    living: tuple[str, ...]
    still: tuple[str, ...]
    no_air: tuple[str, ...]
    backups: tuple[Carried, ...]
    sumps: tuple[tuple[str, float, float, float | None], ...]

    @property
    def is_all(self) -> bool:
        """Whether everything fails and nothing carries any of it."""
        return not self.living and not self.backups


def standing(file: SiteFile, fails: Collection[str] | None) -> Standing:
    """What stands still when circuits fail, all of them where none are named."""
    known = tuple(circuit_w(file))
    failed = tuple(name for name in known if fails is None or name in fails)
    living = tuple(name for name in known if name not in failed)
    flows = moving(file, living)
    sumps = []
    for key, loop in file.loops.items():
        pumped = {place for place, unit in loop_places(file).items() if unit.loop == key and not floats(unit)}
        if tells_of_levels(file, key) and not flows & pumped:
            sumps.append((key, loop.sump, sump_swing(file, key).stopped, loop.sump_brim))
    return Standing(
        failed,
        living,
        tuple(place for place in loop_places(file) if place not in flows),
        tuple(place for place, supply in supplies(file).items() if supply.circuit in failed),
        tuple(carried(file, failed)),
        tuple(sumps),
    )


def phases(found: Standing) -> list[Phase]:
    """Whiles in which the same circuits live, from the cut on; the last never ends."""
    turns = {0.0}
    for backup in found.backups:
        if backup.begins_h < backup.ends_h:
            turns |= {backup.begins_h, min(backup.ends_h, 24.0 * LONGEST_D)}
    ordered = sorted(turns)
    whiles = []
    for begins, ends in zip(ordered, [*ordered[1:], math.inf], strict=True):
        on = [b for b in found.backups if b.begins_h <= begins < min(b.ends_h, 24.0 * LONGEST_D)]
        live = frozenset(found.living).union(*(backup.circuits for backup in on))
        whiles.append(Phase(ends, live))
    return whiles


def helped_from_min(file: SiteFile, whiles: Sequence[Phase]) -> dict[str, float]:
    """Minutes from which on each tank has flow or air of its own again, infinite where never."""
    begins = [0.0, *(60.0 * phase.ends_h for phase in whiles[:-1])]
    found = dict.fromkeys(file.tanks, math.inf)
    for start, phase in zip(begins, whiles, strict=True):
        air = {place for place, supply in supplies(file).items() if supply.circuit in phase.live}
        here = moving(file, phase.live) | air
        found = {key: min(now, start) if f"tanks.{key}" in here else now for key, now in found.items()}
    return found


class _Water(NamedTuple):
    """The linear balance of one loop's waters in a phase: rise = source - matrix @ level, (day, water[, water])."""

    matrix: FloatArray
    source: FloatArray


class LoopOxygen(NamedTuple):
    """What the oxygen of one loop follows from on some days: leaves, then the sump as the last water.

    Parameters
    ----------
    leaves : ndarray of int
        Columns of the layout.
    start_mg_l, volume_m3, fish_g_day, other_g_day : ndarray, shape (day, water)
        At the cut; what fish use on that day's mean; what films and solids use.
    temperature_c : ndarray, shape (day,)
        Of the loop.
    """

    leaves: NDArray[np.int64]
    start_mg_l: FloatArray
    volume_m3: FloatArray
    fish_g_day: FloatArray
    other_g_day: FloatArray
    temperature_c: FloatArray


def loop_oxygen(season: Season, column: int, tank_start: FloatArray, tank_water: FloatArray) -> LoopOxygen:
    """What a loop's oxygen follows from, of every day; ``tank_...`` (day, tank) as the tanks are at the hour."""
    layout, course, tanks = season.layout, season.course, len(season.layout.tanks)
    leaves = np.flatnonzero(layout.leaf_loop[:, column])
    fish = (course.fish_oxygen_g @ layout.cohort_tank)[0]
    start = np.concatenate([tank_start, course.oxygen_mg_l[0, :, tanks:]], axis=1)
    water = np.concatenate([tank_water, np.broadcast_to(layout.volume_m3[tanks:], start[:, tanks:].shape)], axis=1)
    # what tanks use besides their fish is the film on their walls
    used = course.oxygen_used_g[0] - np.concatenate([fish, np.zeros_like(start[:, tanks:])], axis=1)
    used = np.maximum(used, 0.0)
    breathed = np.concatenate([fish, np.zeros_like(start[:, tanks:])], axis=1)
    days = layout.days

    def with_sump(of_leaf: FloatArray, of_sump: FloatArray) -> FloatArray:
        return np.concatenate([of_leaf[:, leaves], np.broadcast_to(of_sump, (days,))[:, None]], axis=1)

    return LoopOxygen(
        leaves,
        with_sump(start, course.sump_oxygen_mg_l[0, :, column]),
        with_sump(water, layout.sump_volume_m3[column]),
        with_sump(breathed, np.zeros(days)),
        with_sump(used, course.sump_oxygen_used_g[0, :, column]),
        layout.temperature_c[:, column],
    )


def _balance(layout: Layout, file: SiteFile, column: int, of: LoopOxygen, live: Collection[str]) -> _Water:
    """A loop's balance while some circuits live, without what fish and films use."""
    key, flows = layout.loops[column], moving(file, live)
    devices = {place: standard_transfer(supply) for place, supply in supplies(file).items() if supply.circuit in live}
    names = [*(f"tanks.{name}" for name in layout.tanks), *layout.units]
    here = [names[leaf] for leaf in of.leaves]
    runs = np.array([name in flows for name in here], float)
    flow = layout.flow_m3_day[of.leaves] * runs
    warm = of.temperature_c[:, None]
    velocity, saturation = surface_exchange_velocity(warm), oxygen_saturation(warm, layout.elevation_m)
    still = layout.surface_m2[of.leaves] * velocity + layout.pass_exchange_m3_day[of.leaves] * runs
    stones = device_exchange(np.array([devices.get(name, 0.0) for name in here]), warm)
    fall = water_drop_exchange(flow.sum(), layout.return_drop_m[column], warm)
    sump_still = layout.sump_surface_m2[column] * velocity + fall
    sump_stones = device_exchange(devices.get(f"loops.{key}", 0.0), warm)
    exchange = np.concatenate([still + stones, sump_still + sump_stones], axis=1)
    brought = np.concatenate([still + BETA_FISH_WATER * stones, sump_still + BETA_FISH_WATER * sump_stones], axis=1)
    waters = len(of.leaves) + 1
    matrix = np.zeros((len(warm), waters, waters))
    at = np.arange(waters)
    matrix[:, at, at] = exchange
    matrix[:, at[:-1], at[:-1]] += flow
    matrix[:, at[:-1], -1] -= flow
    matrix[:, -1, at[:-1]] -= flow
    matrix[:, -1, -1] += flow.sum()
    return _Water(matrix / of.volume_m3[..., None], brought * saturation / of.volume_m3)


def fall_minutes(
    season: Season,
    column: int,
    of: LoopOxygen,
    whiles: Sequence[Phase],
    use_factor: FloatArray,
    step_d: FloatArray,
    limits: FloatArray,
    water_of: NDArray[np.int64],
) -> tuple[FloatArray, FloatArray, float]:
    """Minutes until the oxygen of waters of a loop first lies at limits, infinite where not within the steps.

    Parameters
    ----------
    season, column
        A season, and the loop's column.
    of : LoopOxygen
        Of the days asked about.
    whiles : sequence of Phase
        Which circuits live when.
    use_factor : ndarray, shape (step, day, water)
        Fish's use over its daily mean in each step. [-]
    step_d : ndarray, shape (step,)
        Length of the steps. [day]
    limits : ndarray, shape (limit, day, fish)
        Levels asked about. [mg/L]
    water_of : ndarray of int, shape (fish,)
        Water that each fish lies in.

    Returns
    -------
    ndarray, shape (limit, day, fish)
        Time. [minutes]
    ndarray, shape (day, water), float
        Level and time at the end. [mg/L], [minutes]
    """
    level = of.start_mg_l.copy()
    found = np.where(level[:, water_of] <= limits, 0.0, np.inf)
    identity, used = np.eye(level.shape[1]), of.other_g_day / of.volume_m3
    fish = of.fish_g_day / of.volume_m3
    kept: dict[tuple[frozenset[str], float], tuple[FloatArray, FloatArray, FloatArray]] = {}
    ends, now = np.cumsum(step_d), 0.0
    for step, end, factor in zip(step_d, ends, use_factor, strict=True):
        middle_h = 24.0 * (now + 0.5 * step)
        live = next(phase.live for phase in whiles if middle_h < phase.ends_h)
        if (live, step) not in kept:
            balance = _balance(season.layout, season.site.file, column, of, live)
            half = 0.5 * step * balance.matrix
            solved = np.linalg.inv(identity + half)
            kept[live, step] = solved @ (identity - half), step * solved, balance.source
        carry, gain, source = kept[live, step]
        rise = source - used - factor * fish
        new = (carry @ level[..., None])[..., 0] + (gain @ rise[..., None])[..., 0]
        new = np.maximum(new, 0.0)
        before, after = level[:, water_of], new[:, water_of]
        is_down = (after <= limits) & np.isinf(found)
        share = np.divide(before - limits, before - after, out=np.ones_like(limits), where=is_down & (before > after))
        found = np.where(is_down, 1440.0 * (now + share * step), found)
        level, now = new, float(end)
    return found, level, 1440.0 * now


def steps_d(whiles: Sequence[Phase]) -> FloatArray:
    """Steps that end with each phase: a minute in the first hours, five later, and some days of the last. [day]"""
    ends = [min(phase.ends_h / 24.0, LONGEST_D) for phase in whiles[:-1]]
    turns = sorted({*ends, _FINE_UNTIL_D, (ends[-1] if ends else 0.0) + LAST_PHASE_D})
    steps: list[float] = []
    begins = 0.0
    for turn in turns:
        length = _FINE_STEP_D if turn <= _FINE_UNTIL_D else _COARSE_STEP_D
        count = max(round((turn - begins) / length), 1)
        steps += [(turn - begins) / count] * count
        begins = turn
    return np.array(steps)
