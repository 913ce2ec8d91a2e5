"""The balance of a loop: a sump that sends water to tanks and beds and takes it back.

Every loop is a star. The leaves (tanks, beds, biofilters) meet only in the sump, so each leaf's concentration is a
closed formula of the sump's, and one monotone equation in the sump's concentration is left for each loop. The balances
of a day take and fill plain rows: leaves of shape (leaf,), sumps of shape (loop,), and ``loop_of`` is the loop of each
leaf.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.compiled import jitable

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
_MOST_STEPS = 60
# Newton's rule squares the error: a last step this small [mg/L] leaves one below 1e-9. Where slopes are broken (a leaf
# that runs dry) it does not, and the step has to be smaller.
_CLOSE, _CLOSE_AT_CORNERS = 1e-6, 1e-9


@jitable
def removal_level(sump: Any, gain: Any, load: Any, flow: Any, capacity: Any, half_saturation: Any) -> Any:
    """Level of a leaf that removes at a saturating rate, and its slope over the sump's level.

    Parameters
    ----------
    sump, gain, load, flow, capacity, half_saturation : float
        As in `balance_removal`, of one leaf. [mg/L], [m3/day], [g/day], [m3/day], [g/day], [mg/L]

    Returns
    -------
    tuple of float
        Level [mg/L] and slope. [-]

    Notes
    -----
    The root of ``gain c^2 + (gain k + capacity - inflow) c - k inflow = 0`` that is not negative, written so that
    nothing cancels where the capacity is far above the inflow; without inflow ``half`` is -k/2 or less, never 0.
    """
    inflow = load + flow * sump
    if capacity == 0.0:  # a tank, or a bed without film: the same root without its roundabout
        return inflow / gain, flow / gain
    half = 0.5 * ((inflow - capacity) / gain - half_saturation)
    content = half_saturation * inflow / gain
    size = abs(half)
    level = content / (size + math.sqrt(half * half + content)) + (half + size)
    over = half_saturation + level
    return level, flow / (gain + capacity * half_saturation / (over * over))


@jitable
def balance_removal(
    gain: FloatArray,
    load: FloatArray,
    flow: FloatArray,
    sump_gain: FloatArray,
    sump_load: FloatArray,
    loop_of: NDArray[np.int64],
    capacity: FloatArray,
    half_saturation: float,
    level: FloatArray,
    sump: FloatArray,
    removed: FloatArray,
) -> None:
    """Balance a solute that some leaves remove at a saturating rate.

    Parameters
    ----------
    gain : ndarray, shape (leaf,)
        Storage per day + flow + exchange. [m3/day] Above 0.
    load : ndarray, shape (leaf,)
        What was stored, is produced and is brought by exchange. [g/day] 0 or more.
    flow : ndarray, shape (leaf,)
        Water from the sump through the leaf. [m3/day]
    sump_gain, sump_load : ndarray, shape (loop,)
        As for the leaves; the gain includes all flows. [m3/day], [g/day]
    loop_of : ndarray of int, shape (leaf,)
        Loop of each leaf.
    capacity : ndarray, shape (leaf,)
        Greatest removal. [g/day]
    half_saturation : float
        Concentration of half that. [mg/L]
    level, removed : ndarray, shape (leaf,)
        Filled: concentration [mg/L] and removal. [g/day]
    sump : ndarray, shape (loop,)
        First guess, 0 or more; filled with the concentration. [mg/L]

    Returns
    -------
    None
        ``level``, ``sump`` and ``removed`` are filled.

    Notes
    -----
    Backward Euler over the day: positive, stable for any step, mass conserved to rounding. The sump equation is
    increasing and concave, so Newton's rule kept above zero cannot miss.
    """
    for k in range(sump.size):
        x, change = sump[k], 0.0
        for _ in range(_MOST_STEPS):
            x += change
            excess, slope = sump_gain[k] * x - sump_load[k], sump_gain[k]
            for i in range(level.size):
                if loop_of[i] == k:
                    there, at_leaf = removal_level(x, gain[i], load[i], flow[i], capacity[i], half_saturation)
                    excess -= flow[i] * there
                    slope -= flow[i] * at_leaf
            change = max(x - excess / slope, 0.0) - x
            if abs(change) <= _CLOSE + _CLOSE * (x + change):
                break
        sump[k] = x + change
        for i in range(level.size):
            if loop_of[i] == k:
                # so close that the leaves follow along their slopes: then the sump's own sum closes to rounding
                there, at_leaf = removal_level(x, gain[i], load[i], flow[i], capacity[i], half_saturation)
                level[i] = there + at_leaf * change
                # removal is what the balance leaves over, so that it closes however small the level
                left_over = max(load[i] + flow[i] * sump[k] - gain[i] * level[i], 0.0)
                removed[i] = min(left_over, capacity[i])


@jitable
def balance_demand(
    gain: FloatArray,
    load: FloatArray,
    flow: FloatArray,
    sump_gain: FloatArray,
    sump_load: FloatArray,
    loop_of: NDArray[np.int64],
    demand: FloatArray,
    sump_demand: FloatArray,
    level: FloatArray,
    sump: FloatArray,
    used: FloatArray,
    sump_used: FloatArray,
) -> None:
    """Balance a solute of which each leaf and the sump use a given amount, or all there is.

    Parameters
    ----------
    gain, load, flow, sump_gain, sump_load, loop_of
        As in `balance_removal`.
    demand : ndarray, shape (leaf,)
        Amount the leaf would use. [g/day] 0 or more.
    sump_demand : ndarray, shape (loop,)
        Amount the sump would use. [g/day] 0 or more.
    level, used : ndarray, shape (leaf,)
        Filled: concentration, never below 0 [mg/L], and what was really used. [g/day]
    sump, sump_used : ndarray, shape (loop,)
        As for the leaves; the sump's first guess comes in. [mg/L], [g/day]

    Returns
    -------
    None
        ``level``, ``used``, ``sump`` and ``sump_used`` are filled.
    """
    for k in range(sump.size):
        # nearly always nothing runs dry: then the balance is linear and one division solves it
        held, slope = sump_load[k] - sump_demand[k], sump_gain[k]
        for i in range(level.size):
            if loop_of[i] == k:
                held += flow[i] * ((load[i] - demand[i]) / gain[i])
                slope -= flow[i] * (flow[i] / gain[i])
        x = held / slope
        is_dry = x < 0.0
        for i in range(level.size):
            if loop_of[i] == k:
                level[i] = (load[i] - demand[i]) / gain[i] + flow[i] / gain[i] * x
                used[i] = demand[i]
                is_dry = is_dry or level[i] < 0.0
        sump_used[k] = sump_demand[k]
        if is_dry:
            x = _where_some_run_dry(
                k, gain, load, flow, sump_gain[k], sump_load[k], loop_of, demand, sump_demand[k], sump[k], level, used
            )
            if not x > 0.0:
                reaching = sump_load[k]
                for i in range(level.size):
                    if loop_of[i] == k:
                        reaching += flow[i] * level[i]
                sump_used[k] = min(sump_demand[k], reaching)
        sump[k] = x


@jitable
def _where_some_run_dry(
    k: int,
    gain: FloatArray,
    load: FloatArray,
    flow: FloatArray,
    sump_gain: float,
    sump_load: float,
    loop_of: NDArray[np.int64],
    demand: FloatArray,
    sump_demand: float,
    guess: float,
    level: FloatArray,
    used: FloatArray,
) -> float:
    """Balance of `balance_demand` for loop ``k``, in which leaves or the sump run dry; returns the sump's level."""
    x = guess
    for _ in range(_MOST_STEPS):
        excess, slope = sump_gain * x - (sump_load - sump_demand), sump_gain
        for i in range(level.size):
            if loop_of[i] == k:
                passed = flow[i] / gain[i]
                reached = (load[i] - demand[i]) / gain[i] + passed * x
                if reached > 0.0:
                    excess -= flow[i] * reached
                    slope -= flow[i] * passed
        new = max(x - excess / slope, 0.0)
        change, x = new - x, new
        if abs(change) <= _CLOSE_AT_CORNERS + _CLOSE_AT_CORNERS * x:
            break
    for i in range(level.size):
        if loop_of[i] == k:
            reached = (load[i] - demand[i]) / gain[i] + flow[i] / gain[i] * x
            level[i] = max(reached, 0.0)
            used[i] = demand[i] if reached > 0.0 else min(demand[i], load[i] + flow[i] * x)
    return x


@jitable
def balance_linear(
    gain: FloatArray,
    load: FloatArray,
    flow: FloatArray,
    returned: FloatArray,
    sump_gain: FloatArray,
    sump_load: FloatArray,
    loop_of: NDArray[np.int64],
    level: FloatArray,
    sump: FloatArray,
) -> None:
    """Balance a solute whose removal is in proportion to its level.

    Parameters
    ----------
    gain, load, flow, sump_gain, sump_load, loop_of
        As in `balance_removal`; those of the sumps are worked in, and not theirs any more.
    returned : ndarray, shape (leaf,)
        Part of the flow whose load comes back to the sump; less than ``flow`` where a settler or bed keeps some.
        [m3/day]
    level, sump : ndarray, shape (leaf,) and (loop,)
        Filled with the concentrations. [mg/L]

    Returns
    -------
    None
        ``level`` and ``sump`` are filled.
    """
    for i in range(level.size):
        k = loop_of[i]
        level[i] = load[i] / gain[i]
        sump_load[k] += returned[i] * level[i]
        sump_gain[k] -= returned[i] * (flow[i] / gain[i])
    for k in range(sump.size):
        sump[k] = sump_load[k] / sump_gain[k]
    for i in range(level.size):
        level[i] += flow[i] / gain[i] * sump[loop_of[i]]


@jitable
def daily_swing(
    waves_a_day: int,
    leaf_volume: FloatArray,
    leaf_exchange: FloatArray,
    flow: FloatArray,
    sump_volume: FloatArray,
    sump_exchange: FloatArray,
    loop_of: NDArray[np.int64],
    leaf_amplitude: ComplexArray,
    swing: ComplexArray,
    sump_gain: ComplexArray,
    sump_swing: ComplexArray,
) -> None:
    r"""Swing of the concentrations about their daily mean when loads swing as waves of equal length.

    Parameters
    ----------
    waves_a_day : int
        How many there are in a day, n. [-]
    leaf_volume, leaf_exchange, flow : ndarray, shape (leaf,)
        Water volume [m3], exchange plus slope of removal [m3/day], flow from the sump [m3/day].
    sump_volume, sump_exchange : ndarray, shape (loop,)
        As for the leaves; the exchange includes all flows. [m3], [m3/day]
    loop_of : ndarray of int, shape (leaf,)
        Loop of each leaf.
    leaf_amplitude : ndarray of complex, shape (leaf,)
        Of the load; its angle is the phase. [g/day]
    swing : ndarray of complex, shape (leaf,)
        Filled with the amplitude of the concentration. [mg/L] Its size is the greatest departure from the mean.
    sump_gain, sump_swing : ndarray of complex, shape (loop,)
        Room to work in.

    Returns
    -------
    None
        ``swing`` is filled.

    Notes
    -----
    The same balance with storage :math:`V\,dC/dt = i 2\pi n V C`, linear about the day's mean; exact for small swings.
    """
    wave = 2.0 * math.pi * waves_a_day
    for k in range(sump_volume.size):
        sump_gain[k] = complex(sump_exchange[k], wave * sump_volume[k])
        sump_swing[k] = 0.0
    for i in range(leaf_volume.size):
        k = loop_of[i]
        share = _inverse(leaf_exchange[i] + flow[i], wave * leaf_volume[i])
        passed = flow[i] * share
        sump_gain[k] -= flow[i] * passed
        sump_swing[k] += passed * leaf_amplitude[i]
        swing[i] = share
    for k in range(sump_volume.size):
        sump_swing[k] *= _inverse(sump_gain[k].real, sump_gain[k].imag)
    for i in range(leaf_volume.size):
        swing[i] *= leaf_amplitude[i] + flow[i] * sump_swing[loop_of[i]]


@jitable
def _inverse(real: float, imaginary: float) -> complex:
    """One over a complex number, by operations that give the same bits everywhere."""
    share = 1.0 / (real * real + imaginary * imaginary)
    return complex(real * share, -imaginary * share)
