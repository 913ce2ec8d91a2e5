"""Nitrification that runs out of alkalinity: what a day uses and what it leaves."""

from __future__ import annotations

from typing import Any

from stocksim.compiled import elementwise
from stocksim.water.maturity import HALF_ALKALINITY_MG_L
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L
from stocksim.water.solids import ALKALINITY_PER_NITRATE_NITROGEN

# g alkalinity as CaCO3 used per g ammonia nitrogen that is nitrified: 2 equivalents a mole, 7.146; handbooks print
# 7.14. With the bacteria's own growth 7.05 (Ebeling, Timmons & Bisogni 2006, Aquaculture 257, 346; abstract read, the
# number from memory); 6.3-7.4 was observed in attached growth (EPA 1975, read as quoted). The larger is chosen: a plan
# should rather keep too much base in the store than too little.
ALKALINITY_PER_NITRIFIED = 2.0 * ALKALINITY_PER_NITRATE_NITROGEN
# Newton's rule ends where a step is this share of what stays of the scarcer one: the error left is of its square.
# Halving has to go on until the step is of rounding size, as a share of the most that could be nitrified.
_CLOSE, _ROUNDING = 1e-6, 1e-12
_QUICK_STEPS, _MOST_STEPS = 8, 60


@elementwise
def alkalinity_limited(held_g: Any, water_m3: Any, capacity_g: Any, available_n_g: Any, guess_g: Any = 0.0) -> Any:
    r"""Alkalinity at the day's end where nitrification slows down as it runs out, and what is nitrified then.

    Parameters
    ----------
    held_g, water_m3 : ndarray, shape (...)
        Alkalinity as CaCO3 there is and comes [g], and the water it stands in or leaves with [m3], above 0.
    capacity_g, available_n_g : ndarray, shape (...)
        Greatest nitrification at plenty of alkalinity, and ammonia nitrogen there is and comes. [g/day]
    guess_g : ndarray, shape (...)
        Nitrified nitrogen to start from. [g/day]

    Returns
    -------
    tuple of ndarray, shape (...)
        Alkalinity A [mg/L], 0 or more, and nitrified nitrogen R. [g/day]

    Notes
    -----
    .. math:: V A = H - 7.146 R, \quad V N = N_0 - R, \quad R = C \frac{A}{25 + A} \frac{N}{1.93 + N}

    Implicit, so that a loop whose alkalinity runs out nitrifies what its supply allows instead of all of it on one day
    and none on the next. The excess of R over the right side rises with R from below 0 to above, so there is one root;
    Newton's rule finds it, halving the bracket where it is slow.

    Examples
    --------
    >>> level, nitrified = alkalinity_limited([400.0, 20.0], 5.0, 30.0, 10.0)
    >>> level.round(1), nitrified.round(1)
    (array([71.1,  2.3]), array([6.2, 1.2]))
    """
    # alkalinity as the nitrogen that it lets nitrify
    held = max(held_g / ALKALINITY_PER_NITRIFIED, 0.0)
    ammonia = max(available_n_g, 0.0)
    most = min(held, ammonia)
    half_base = HALF_ALKALINITY_MG_L / ALKALINITY_PER_NITRIFIED * water_m3
    half_food = HALF_SATURATION_TAN_MG_L * water_m3
    nitrified = min(max(guess_g, 0.0), most)
    low, high = 0.0, most
    for step in range(_MOST_STEPS):
        base, food = held - nitrified, ammonia - nitrified
        by_base, by_food = 1.0 / (half_base + base), 1.0 / (half_food + food)
        pace = capacity_g * by_base * by_food
        excess = nitrified - pace * base * food
        new = nitrified - excess / (1.0 + pace * (half_base * by_base * food + half_food * by_food * base))
        close = _CLOSE * (most - new)
        if step >= _QUICK_STEPS:
            if excess > 0.0:
                high = nitrified
            else:
                low = nitrified
            if not low < new < high:
                new = 0.5 * (low + high)
            close = 0.0
        new = min(max(new, 0.0), most)
        moved = abs(new - nitrified)
        nitrified = new
        if moved <= close + _ROUNDING * most:
            break
    return ALKALINITY_PER_NITRIFIED * (held - nitrified) / water_m3, nitrified
