"""The balance of a loop: a sump that sends water to tanks and beds and takes it back.

Every loop is a star. The leaves (tanks, beds, biofilters) meet only in the sump, so each leaf's concentration is a
closed formula of the sump's, and one monotone equation in the sump's concentration is left for each loop.
Shapes: leaves (..., leaf), sumps (..., loop); ``members`` (leaf, loop) is 1 where a leaf belongs to a loop.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_MOST_STEPS = 60
# Newton's rule squares the error: a last step this small [mg/L] leaves one below 1e-9. Where slopes are broken (a leaf
# that runs dry) it does not, and the step has to be smaller.
_CLOSE, _CLOSE_AT_CORNERS = 3e-6, 1e-8


class Star(NamedTuple):
    """Concentrations that balance a day, with each leaf's own use or removal."""

    leaf_mg_l: FloatArray
    sump_mg_l: FloatArray
    removed_g: FloatArray


class RemovalTerms(NamedTuple):
    """What `balance_removal` needs of leaves whose gain and flow stay the same, from `removal_terms`."""

    per_gain: FloatArray
    flow_out: FloatArray
    quarter: FloatArray
    passed: FloatArray
    product_passed: FloatArray


def removal_terms(leaf_gain: FloatArray, flow: FloatArray, half_saturation: float) -> RemovalTerms:
    """Terms of `balance_removal` that need neither load nor capacity.

    Parameters
    ----------
    leaf_gain, flow : ndarray, shape (..., leaf)
        As in `balance_removal`. [m3/day]
    half_saturation : float
        As there. [mg/L]

    Returns
    -------
    RemovalTerms
        Shape (..., leaf).
    """
    per_gain = 1.0 / leaf_gain
    flow_out, quarter = flow * per_gain, half_saturation * per_gain
    return RemovalTerms(per_gain, flow_out, quarter, 0.5 * flow_out, quarter * flow)


def balance_removal(
    leaf_gain: FloatArray,
    leaf_load: FloatArray,
    flow: FloatArray,
    sump_gain: FloatArray,
    sump_load: FloatArray,
    members: FloatArray,
    capacity: FloatArray,
    half_saturation: float,
    start: FloatArray,
    terms: RemovalTerms | None = None,
) -> Star:
    """Balance of a solute that some leaves remove at a saturating rate.

    Parameters
    ----------
    leaf_gain : ndarray, shape (..., leaf)
        Storage per day + flow + exchange. [m3/day] Above 0.
    leaf_load : ndarray, shape (..., leaf)
        What was stored, is produced and is brought by exchange. [g/day] 0 or more.
    flow : ndarray, shape (..., leaf)
        Water from the sump through the leaf. [m3/day]
    sump_gain, sump_load : ndarray, shape (..., loop)
        As for the leaves; the gain includes all flows. [m3/day], [g/day]
    members : ndarray, shape (leaf, loop)
        1 where the leaf belongs to the loop.
    capacity : ndarray, shape (..., leaf)
        Greatest removal. [g/day]
    half_saturation : float
        Concentration of half that. [mg/L]
    start : ndarray, shape (..., loop)
        First guess of the sump. [mg/L] 0 or more.
    terms : RemovalTerms, optional
        Of these gains and flows, where they are at hand.

    Returns
    -------
    Star
        Leaf and sump concentration [mg/L] and removal [g/day].

    Notes
    -----
    Backward Euler over the day: positive, stable for any step, mass conserved to rounding. The sump equation is
    increasing and concave, so Newton's rule kept above zero cannot miss.
    """
    k = half_saturation
    if terms is None:
        terms = removal_terms(leaf_gain, flow, k)
    per_gain, flow_out, quarter, passed, product_passed = terms
    offset = 0.5 * ((leaf_load - capacity) * per_gain - k)
    product = quarter * leaf_load
    removal_slope = capacity * quarter

    def leaf(sump_at_leaf: FloatArray) -> tuple[FloatArray, FloatArray]:
        # gain c^2 + (gain k + capacity - inflow) c - k inflow = 0: the root that is not negative, written so that
        # nothing cancels where the capacity is far above the inflow; without inflow half is -k/2 or less, never 0
        half = passed * sump_at_leaf + offset
        content = product_passed * sump_at_leaf + product
        size = np.abs(half)
        level = content / (size + np.sqrt(half * half + content)) + (half + size)
        return level, flow_out / (1.0 + removal_slope / (k + level) ** 2)

    levels, sump = _solve_sump(leaf, flow, sump_gain, sump_load, members, start)
    # removal is what the balance leaves over, so that it closes however small the level
    removed = np.maximum(leaf_load + flow * _times(sump, members.T) - leaf_gain * levels, 0.0)
    return Star(levels, sump, np.minimum(removed, capacity))


def balance_demand(
    leaf_gain: FloatArray,
    leaf_load: FloatArray,
    flow: FloatArray,
    sump_gain: FloatArray,
    sump_load: FloatArray,
    members: FloatArray,
    demand: FloatArray,
    sump_demand: FloatArray,
    start: FloatArray,
) -> tuple[Star, FloatArray]:
    """Balance of a solute of which each leaf and the sump use a given amount, or all there is.

    Parameters
    ----------
    leaf_gain, leaf_load, flow, sump_gain, sump_load, members, start
        As in `balance_removal`.
    demand : ndarray, shape (..., leaf)
        Amount the leaf would use. [g/day] 0 or more.
    sump_demand : ndarray, shape (..., loop)
        Amount the sump would use. [g/day] 0 or more.

    Returns
    -------
    tuple of Star and ndarray, shape (..., loop)
        Leaf and sump concentration [mg/L], never below 0, and what the leaves and the sump really used [g/day].
    """
    flow_out = flow / leaf_gain
    rest = (leaf_load - demand) / leaf_gain
    # nearly always nothing runs dry: then the balance is linear and one division solves it
    linear_load = sump_load - sump_demand + _times(flow * rest, members)
    sump = linear_load / (sump_gain - _times(flow * flow_out, members))
    levels = rest + flow_out * _times(sump, members.T)
    if np.minimum.reduce(levels, axis=None) >= 0.0 and np.minimum.reduce(sump, axis=None) >= 0.0:
        return Star(levels, sump, demand), sump_demand

    def leaf(sump_at_leaf: FloatArray) -> tuple[FloatArray, FloatArray]:
        level = rest + flow_out * sump_at_leaf
        return np.maximum(level, 0.0), np.where(level > 0.0, flow_out, 0.0)

    levels, sump = _solve_sump(leaf, flow, sump_gain, sump_load - sump_demand, members, start, _CLOSE_AT_CORNERS)
    used = np.where(levels > 0.0, demand, np.minimum(demand, leaf_load + flow * (sump @ members.T)))
    reaching = sump_load + (flow * levels) @ members
    return Star(levels, sump, used), np.where(sump > 0.0, sump_demand, np.minimum(sump_demand, reaching))


def balance_linear(
    leaf_gain: FloatArray,
    leaf_load: FloatArray,
    flow: FloatArray,
    returned: FloatArray,
    sump_gain: FloatArray,
    sump_load: FloatArray,
    members: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Balance of solutes whose removal is in proportion to their level; any leading axes, as one of solutes.

    Parameters
    ----------
    leaf_gain, leaf_load, flow, sump_gain, sump_load, members
        As in `balance_removal`.
    returned : ndarray, shape (..., leaf)
        Part of the flow whose load comes back to the sump; less than ``flow`` where a settler or bed keeps some.
        [m3/day]

    Returns
    -------
    tuple of ndarray
        Leaf and sump levels. [mg/L]
    """
    passed, rest = flow / leaf_gain, leaf_load / leaf_gain
    sump = (sump_load + _times(returned * rest, members)) / (sump_gain - _times(returned * passed, members))
    return rest + passed * _times(sump, members.T), sump


def _times(array: FloatArray, matrix: FloatArray) -> FloatArray:
    """Matrix product; on small arrays of two axes `dot` takes a third of the time, on large ones of more the longer."""
    return array.dot(matrix) if array.ndim == 2 else array @ matrix


def _greatest(array: FloatArray) -> float:
    """Largest element; the bare reduction is several times quicker than the method on small arrays."""
    return float(np.maximum.reduce(array, axis=None))


def _solve_sump(
    leaf: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    flow: FloatArray,
    sump_gain: FloatArray,
    sump_load: FloatArray,
    members: FloatArray,
    start: FloatArray,
    close: float = _CLOSE,
) -> tuple[FloatArray, FloatArray]:
    sump = start
    spread = members.T
    for _ in range(_MOST_STEPS):
        levels, slopes = leaf(_times(sump, spread))
        excess = sump_gain * sump - sump_load - _times(flow * levels, members)
        new = np.maximum(sump - excess / (sump_gain - _times(flow * slopes, members)), 0.0)
        change, sump = new - sump, new
        if _greatest(np.abs(change) - close * sump) <= close:
            # so close that the leaves follow along their slopes
            return levels + slopes * _times(change, spread), sump
    return leaf(sump @ spread)[0], sump


def daily_swing(
    leaf_volume: FloatArray,
    leaf_exchange: FloatArray,
    flow: FloatArray,
    sump_volume: FloatArray,
    sump_exchange: FloatArray,
    members: FloatArray,
    leaf_amplitude: NDArray[np.complex128] | FloatArray,
) -> NDArray[np.complex128]:
    r"""Swing of the concentrations about their daily mean when loads swing as one wave a day.

    Parameters
    ----------
    leaf_volume, leaf_exchange, flow : ndarray, shape (..., leaf)
        Water volume [m3], exchange plus slope of removal [m3/day], flow from the sump [m3/day].
    sump_volume, sump_exchange : ndarray, shape (..., loop)
        As for the leaves; the exchange includes all flows. [m3], [m3/day]
    members : ndarray, shape (leaf, loop)
        1 where the leaf belongs to the loop.
    leaf_amplitude : ndarray, shape (..., leaf)
        Amplitude of the load, complex where phases differ. [g/day]

    Returns
    -------
    ndarray of complex, shape (..., leaf)
        Amplitude of the concentration. [mg/L] Its size is the greatest departure from the mean.

    Notes
    -----
    The same balance with storage :math:`V\,dC/dt = i 2\pi V C`, linear about the day's mean; exact for small swings.
    """
    wave = 2j * np.pi
    leaf_gain = leaf_exchange + flow + wave * leaf_volume
    passed = flow / leaf_gain
    sump_gain = sump_exchange + wave * sump_volume - (flow * passed) @ members
    sump = ((passed * leaf_amplitude) @ members) / sump_gain
    return np.asarray((leaf_amplitude + flow * (sump @ members.T)) / leaf_gain, dtype=complex)
