"""How many of a tank's fish their tankmates swallow in a day: who is small enough, and what the hunters want.

Apart from `company`, which judges pairs: this is what the day itself takes.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from stocksim.compiled import elementwise, jitable
from stocksim.fish.normal import normal_share
from stocksim.fish.spread import log_spread

# Rarer pairs than this are the lognormal's tail, which nobody measured, and no meals (ours).
RAREST_PAIRS = 1e-3
_NONE_BELOW = -3.1  # score: its share is a little less than that
# Hungry hunters take at most so much of all that they could swallow, as a hazard a day (ours; of walleyes without
# other food 41 of 100 that could be swallowed were, days not told: pond-reared juveniles, abstract).
FOUND_A_DAY = 0.5
# Fish that were fed all they would eat still take this share of their appetite alive (ours). Hunters without other
# food eat their whole appetite: bass took 4.5 % of their weight in bluegill a day (Fisheries Science 69:989-994, 2003,
# abstract), ours 4.3 % at 50 g.
FED_HUNTERS_TAKE = 0.2
# Young that were fed lose so much less to siblings than unfed ones: 28 instead of 41 in 100 (walleye beside zooplankton
# and alone, the same abstract).
FED_YOUNG_SPARED = 1.0 - 28.0 / 41.0
# A batch of twice its species' usual spread loses twice as many; wider ones no more (ours).
WIDEST_SPREAD = 2.0


class Reach(NamedTuple):
    """Prey small enough: share of pairs [-], and their mean weight and square of it over those of all prey [-]."""

    chance: Any
    mass_share: Any
    square_share: Any


@elementwise
def prey_in_reach(
    hunter_length_mm: Any, hunter_log_spread: Any, prey_length_mm: Any, prey_log_spread: Any, prey_share: Any,
    length_slope: Any,
) -> Any:  # fmt: skip
    r"""Which of a cohort the hunters of another could swallow.

    Parameters
    ----------
    hunter_length_mm, prey_length_mm : array_like, shape (...)
        Mean total lengths. [mm] Above 0.
    hunter_log_spread, prey_log_spread : array_like, shape (...)
        Standard deviations of the logarithms of the lengths. [-]
    prey_share : array_like, shape (...)
        Longest prey over the hunter's own length, as of `longest_prey_share`. [-] 0: it takes none.
    length_slope : array_like, shape (...)
        Slope of the prey's standard weight by length. [-]

    Returns
    -------
    Reach
        Nothing where it is less than one pair in a thousand.

    Notes
    -----
    Lengths are lognormal, so the chance is that of `fits_mouth_probability`, less the thousandth, and the moments of
    the weights of those that fit are its normal shifted,

    .. math:: E[W^k; fit] = E[W^k]\,\Phi(z - k b s^2 / \sqrt{s_1^2 + s^2})

    with slope b and log spread s of the prey's lengths.

    Examples
    --------
    >>> [round(float(part), 3) for part in prey_in_reach(250.0, 0.09, 125.0, 0.09, 0.5, 3.2)]
    [0.499, 0.839, 0.684]
    """
    if not prey_share > 0.0:
        return Reach(0.0, 1.0, 1.0)
    both = math.sqrt(hunter_log_spread * hunter_log_spread + prey_log_spread * prey_log_spread)
    over = math.log(prey_share * hunter_length_mm / prey_length_mm)
    over += 0.5 * (prey_log_spread * prey_log_spread - hunter_log_spread * hunter_log_spread)
    if not both > 0.0:
        return Reach(1.0 - RAREST_PAIRS, 1.0, 1.0) if over > 0.0 else Reach(0.0, 1.0, 1.0)
    if over < _NONE_BELOW * both:  # most pairs, and no need of the share
        return Reach(0.0, 1.0, 1.0)
    score = over / both
    fits = normal_share(score)
    if not fits > RAREST_PAIRS:
        return Reach(0.0, 1.0, 1.0)
    shift = length_slope * prey_log_spread * prey_log_spread / both
    return Reach(fits - RAREST_PAIRS, normal_share(score - shift) / fits, normal_share(score - 2.0 * shift) / fits)


@elementwise
def hunters_want(appetite_kj: Any, eaten_kj: Any) -> Any:
    """Energy of live prey that a fish still takes beside its feed.

    Parameters
    ----------
    appetite_kj : array_like, shape (...)
        Digestible energy of its whole appetite in this water. [kJ/day]
    eaten_kj : array_like, shape (...)
        Of the feed that it ate. [kJ/day]

    Returns
    -------
    ndarray, shape (...)
        [kJ/day] All that its feed left it, a fifth of its appetite at least.

    Examples
    --------
    >>> hunters_want(10.0, [0.0, 8.5, 10.0])
    array([10.,  2.,  2.])
    """
    return max(appetite_kj - eaten_kj, FED_HUNTERS_TAKE * appetite_kj)


@elementwise
def hunting_hazard(chance: Any, want_kj: Any, energy_in_reach: Any) -> Any:
    r"""Hazard of prey by the hunters of one cohort.

    Parameters
    ----------
    chance : array_like, shape (...)
        Share of pairs in which it fits their mouth, as of `prey_in_reach`. [-]
    want_kj : array_like, shape (...)
        What all those hunters want. [kJ/day]
    energy_in_reach : array_like, shape (...)
        Energy of all fish of the tank that they could swallow. [kJ]

    Returns
    -------
    ndarray, shape (...)
        Hazard. [1/day] Hungry hunters find half of what fits, as a hazard; sated ones take no more than they want.

    Examples
    --------
    >>> hunting_hazard(1.0, [0.0, 10.0, 1e9], 1000.0).round(4)
    array([0.    , 0.0098, 0.5   ])
    """
    if not chance > 0.0 or not want_kj > 0.0:
        return 0.0
    return chance * FOUND_A_DAY * want_kj / (want_kj + FOUND_A_DAY * energy_in_reach)


@elementwise
def sibling_hazard(
    length_mm: Any, cv: Any, usual_cv: Any, sibling_loss: Any, sibling_length_mm: Any, fed_share: Any
) -> Any:
    """Hazard of young fish by siblings of nearly their size, which no mouth limits.

    Parameters
    ----------
    length_mm : array_like, shape (...)
        Mean length of the batch. [mm]
    cv, usual_cv : array_like, shape (...)
        Spread of its weights, and the species' usual one. [-]
    sibling_loss : array_like, shape (...)
        Share of the smallest young of the usual spread that siblings eat in a day without other food. [-] Below 1.
    sibling_length_mm : array_like, shape (...)
        Length at which that has ended. [mm]
    fed_share : array_like, shape (...)
        Feed eaten over full appetite. [-]

    Returns
    -------
    ndarray, shape (...)
        Hazard. [1/day] It falls with the square of the length, grows with the spread up to twice the usual one, and is
        a third less beside feed.

    Examples
    --------
    >>> sibling_hazard([10.0, 79.0, 150.0], 0.3, 0.3, 0.14, 120.0, 0.0).round(3)
    array([0.15 , 0.085, 0.   ])
    """
    if not sibling_loss > 0.0 or not usual_cv > 0.0 or not length_mm < sibling_length_mm:
        return 0.0
    young = 1.0 - (length_mm / sibling_length_mm) ** 2
    uneven = min(cv / usual_cv, WIDEST_SPREAD)
    return -math.log1p(-sibling_loss) * young * uneven * (1.0 - FED_YOUNG_SPARED * min(fed_share, 1.0))


@jitable
def smaller_half(cv: float) -> tuple[float, float]:
    """Weights of the smaller half of a batch.

    Parameters
    ----------
    cv : float
        Standard deviation over mean of the batch's weights, taken as lognormal. [-]

    Returns
    -------
    tuple of (float, float)
        Their mean, and the mean of their squares, over those of all. [-]
    """
    spread = log_spread(cv)
    return 2.0 * normal_share(-spread), 2.0 * normal_share(-2.0 * spread)
