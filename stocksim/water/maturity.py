"""Nitrifiers on a surface, as a share of what the surface can hold: growth with food, decay without, in cold and warm.

Two populations share each film: ammonia oxidizers (food: ammonia) and nitrite oxidizers (food: nitrite). Each is one
number, the maturity m, and follows dm/dt = (g - b) m - g m^2 with growth g and decay b.
"""

from __future__ import annotations

import math
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import elementwise, formula
from stocksim.validity import Range, valid
from stocksim.water.nitrification import Declared
from stocksim.water.steps import logistic_step

FloatArray = NDArray[np.float64]
Oxidizer = Literal["ammonia", "nitrite"]
Start = Literal["new", "seeded", "mature"]


class OxidizerNumbers(NamedTuple):
    """What tells one population from the other; sources below."""

    growth_at_15_per_day: float
    half_food_mg_l: float
    half_oxygen_mg_l: float
    inhibition_mg_l: float


# Growth at 15 degC [1/day]: ammonia oxidizers 0.47, from memory of US EPA 1975, Process Design Manual for Nitrogen
# Control (after Downing). Read in an abstract: 0.45 already at 10 degC in sewage plants (Choubert et al. 2008, Water
# SA 34, 71); the slower figure is kept. Nitrite oxidizers fitted in this project to "about four weeks at 20 degC"
# (common practice, no source).
# Food at half growth [mg/L N]: ammonia 0.7, from memory of the same manual at 20 degC; nitrite 0.5, from memory,
# 0.3-1.3 in use.
# Oxygen at half growth [mg/L]: 0.5 and 1.0, from memory of activated-sludge models; nitrite oxidizers need more.
# Un-ionized ammonia, as N, that halves growth [mg/L]. Ammonia oxidizers: 10-150 hinders them (from memory of Anthonisen
# et al. 1976), the middle by ratio, rounded. Nitrite oxidizers: sources conflict over a factor of a hundred, 0.1-1
# (Anthonisen et al. 1976), none below 10 (Turk & Mavinic 1986), 6.6-8.9 (Mauret et al. 1996; all three from memory):
# the middle by ratio, 0.1-10 in use. Films get used to it: it slows growth and never ends it. Three sludges gave 0.64
# for nitrite oxidizers and 4-22 for ammonia oxidizers, by another law (Park & Bae 2009, Process Biochem. 44, 631;
# abstract read).
OXIDIZERS: dict[str, OxidizerNumbers] = {
    "ammonia": OxidizerNumbers(0.47, 0.7, 0.5, 40.0),
    "nitrite": OxidizerNumbers(0.35, 0.5, 1.0, 1.0),
}
# Rise of growth and decay per degC, exp(0.098 (T - 15)): from memory of US EPA 1975.
GROWTH_PER_DEGREE = 0.098
# Filters are said to be slow at 9-10 degC and to fade near 6 (common practice, a hatchery page): growth is halved at
# 6 degC and 2 % below the exponential at 10. How sharply it fades is assumed.
FADE_MIDDLE_C, FADE_WIDTH_C = 6.0, 1.0
# Alkalinity at half growth [mg/L CaCO3]: 0.5 mol/m3, from memory of activated-sludge models. Fitted in this project to
# the published systems (docs/film_fit.md) it would be 5.5, 1.6-19, by one of them alone. Films were unaffected at 45
# and above (Biesterfeld et al. 2003, Water Environ. Res. 75; abstract read), which says less than 25, too. Kept on the
# cautious side; ordinary water is divided out of the areal rate.
HALF_ALKALINITY = Declared(
    25.0, 1.6, 25.0, "from memory of activated-sludge models; range fitted in this project to published systems"
)
HALF_ALKALINITY_MG_L = HALF_ALKALINITY.value
# Decay at 20 degC [1/day]: chosen in this project (0.01-0.1) so that a film unfed for 120 days at 5-10 degC keeps a
# sixth to a third of itself and is back in two to four weeks at 20 (a forum's figure for a dead filter, read).
# Suspended sludge loses far more, 0.13 a day at 10 degC (Choubert et al. 2008, abstract read), which would leave
# nothing.
DECAY_AT_20_PER_DAY = 0.04
# Share that drifts in from air, dust and pipes and is never lost (assumed).
SEED = 1e-5
# Where films start (assumed): cleaned surfaces wetted with loop water; a tenth of the surface brought over from a
# running filter; a film fed ordinarily for months at 20 degC (0.83 in equilibrium with ORDINARY_FOOD_MG_L, less where
# beds are ample).
_MATURE = 0.8
STARTS: dict[str, float] = {"new": 1e-3, "seeded": 0.1, "mature": _MATURE}
# Water of an ordinarily fed loop, assumed: food [mg/L N], oxygen [mg/L] and alkalinity [mg/L CaCO3]; while a film
# starts, food piles up to START_FOOD_MG_L.
ORDINARY_FOOD_MG_L, START_FOOD_MG_L = 0.5, 2.0
ORDINARY_OXYGEN_MG_L, ORDINARY_ALKALINITY_MG_L = 7.0, 100.0
# A mature film in cold water has the summer behind it: it sleeps, fed little, for the weeks since (assumed, no source).
WINTERED_DAYS, GROWN_AT_C = 60.0, 15.0
# Nitrite oxidizers find food once ammonia oxidizers hold this share (assumed; checked against the integrated loop).
NITRITE_BEGINS_AT = 0.05


def _warmth(temperature_c: ArrayLike, reference_c: float) -> FloatArray:
    return np.exp(GROWTH_PER_DEGREE * (np.asarray(temperature_c, float) - reference_c))


@valid(
    "growth of nitrifiers",
    Range("temperature_c", "degC", 5.0, 30.0, "from memory of US EPA 1975"),
)
def oxidizer_growth(
    temperature_c: ArrayLike, food_mg_l: ArrayLike, oxygen_mg_l: ArrayLike, alkalinity_mg_l: ArrayLike, kind: Oxidizer
) -> FloatArray:
    r"""Growth of nitrifiers where they have room.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 5 to 30.
    food_mg_l : array_like, shape (...)
        TAN for ammonia oxidizers, nitrite nitrogen for nitrite oxidizers. [mg/L]
    oxygen_mg_l, alkalinity_mg_l : array_like, shape (...)
        Dissolved oxygen and alkalinity as CaCO3. [mg/L]
    kind : {"ammonia", "nitrite"}
        What they oxidize.

    Returns
    -------
    ndarray, shape (...)
        Growth g. [1/day] Known to a factor of 2. NaN in gives NaN out.

    Notes
    -----
    .. math:: g = \mu\, e^{0.098 (T-15)} \frac{1}{1 + e^{6-T}} \frac{S}{K+S} \frac{O}{K_O+O} \frac{A}{25+A}

    Multiply by `ammonia_inhibition` where un-ionized ammonia may pass 0.1 mg/L. Not carried on to temperatures that
    kill (above 35 degC).

    References
    ----------
    .. [1] US EPA, 1975. Process Design Manual for Nitrogen Control (from memory).
    .. [2] J.-M. Choubert et al., 2008. Maximum growth and decay rates of autotrophic biomass [...] at 10 degC with
       municipal activated sludge plants. Water SA 34, 71-76 (abstract read).

    Examples
    --------
    >>> oxidizer_growth([10.0, 20.0], 3.0, 7.0, 100.0, "ammonia").round(2)
    array([0.17, 0.46])
    """
    numbers = OXIDIZERS[kind]
    t = np.asarray(temperature_c, float)
    food, oxygen, alkalinity = (np.asarray(x, float) for x in (food_mg_l, oxygen_mg_l, alkalinity_mg_l))
    fade = 0.5 + 0.5 * np.tanh((t - FADE_MIDDLE_C) / (2.0 * FADE_WIDTH_C))
    return (
        numbers.growth_at_15_per_day
        * _warmth(t, 15.0)
        * fade
        * (food / (numbers.half_food_mg_l + food))
        * (oxygen / (numbers.half_oxygen_mg_l + oxygen))
        * (alkalinity / (HALF_ALKALINITY_MG_L + alkalinity))
    )


def ammonia_inhibition(unionized_ammonia_mg_l: ArrayLike, kind: Oxidizer) -> FloatArray:
    r"""Share of growth that un-ionized ammonia leaves.

    Parameters
    ----------
    unionized_ammonia_mg_l : array_like, shape (...)
        Un-ionized ammonia as N. [mg/L]
    kind : {"ammonia", "nitrite"}
        What the nitrifiers oxidize.

    Returns
    -------
    ndarray, shape (...)
        Factor on growth. [-] From 1 (no ammonia) towards 0, never 0.

    Notes
    -----
    :math:`1 / (1 + N/K)` with K of `OXIDIZERS`, whose range of a hundred for nitrite oxidizers stands there. Free
    nitrous acid hinders from 0.2 mg/L (from memory of Anthonisen et al. 1976), which above pH 6.5 takes some 200 mg/L
    of nitrite nitrogen: left out.

    Examples
    --------
    >>> ammonia_inhibition([0.05, 0.5, 5.0], "nitrite").round(2)
    array([0.95, 0.67, 0.17])
    """
    return 1.0 / (1.0 + np.asarray(unionized_ammonia_mg_l, float) / OXIDIZERS[kind].inhibition_mg_l)


@valid(
    "decay of nitrifiers",
    Range("temperature_c", "degC", 0.0, 30.0, "assumed as that of their growth"),
)
def oxidizer_decay(temperature_c: ArrayLike) -> FloatArray:
    """Decay of nitrifiers, fed or not.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 30.

    Returns
    -------
    ndarray, shape (...)
        Decay b. [1/day] 0.04 at 20 degC, from 0.01 to 0.1 defensible; the same for both populations.

    Examples
    --------
    >>> oxidizer_decay([7.5, 20.0]).round(4)
    array([0.0118, 0.04  ])
    """
    return DECAY_AT_20_PER_DAY * _warmth(temperature_c, 20.0)


def maturity_step(
    maturity: ArrayLike, growth_per_day: ArrayLike, decay_per_day: ArrayLike, days: ArrayLike = 1.0
) -> FloatArray:
    r"""Maturity after some days of constant growth and decay, exactly.

    Parameters
    ----------
    maturity : array_like, shape (...)
        Share of the surface's capacity now. [-] From 0 to 1.
    growth_per_day, decay_per_day, days : array_like, shape (...)
        From `oxidizer_growth` and `oxidizer_decay` [1/day], and the length of the step [days]; all 0 or more.

    Returns
    -------
    ndarray, shape (...)
        Maturity then. [-] From the environment's seed, 1e-5, to 1.

    Notes
    -----
    The logistic law's own solution, so that two steps of a day equal one of two days:

    .. math:: m(t) = \frac{m_0}{e^{-rt} + g m_0 (1 - e^{-rt}) / r}, \quad r = g - b

    Backward Euler would outgrow it: with g = 0.6 per day and b = 0.05 it multiplies a thin film by 2.2 a day where
    the law gives 1.7.

    Examples
    --------
    >>> maturity_step([1e-3, 0.8], 0.6, 0.05).round(4)
    array([0.0017, 0.8455])
    """
    return np.minimum(np.maximum(logistic_step(maturity, growth_per_day, decay_per_day, days)[1], SEED), 1.0)


def maturity_mean(
    maturity: ArrayLike, growth_per_day: ArrayLike, decay_per_day: ArrayLike, days: ArrayLike = 1.0
) -> FloatArray:
    r"""Mean maturity over the step of `maturity_step`, exactly.

    Parameters
    ----------
    maturity, growth_per_day, decay_per_day, days : array_like, shape (...)
        As in `maturity_step`. [-], [1/day], [1/day], [days]

    Returns
    -------
    ndarray, shape (...)
        Mean over the step. [-] Removal of a day goes with this, not with the maturity of the morning.

    Notes
    -----
    .. math:: \bar m = \frac{1}{g t} \ln\left(1 + g m_0 \frac{e^{rt} - 1}{r}\right)

    The seed's floor is left out: it adds less than 1e-5.

    Examples
    --------
    >>> maturity_mean([1e-3, 0.8], 0.6, 0.05).round(4)
    array([0.0013, 0.8244])
    """
    return logistic_step(maturity, growth_per_day, decay_per_day, days)[0]


@elementwise
def equilibrium_maturity(growth_per_day: Any, decay_per_day: Any) -> Any:
    """Maturity at which growth and decay balance.

    Parameters
    ----------
    growth_per_day, decay_per_day : array_like, shape (...)
        From `oxidizer_growth` and `oxidizer_decay`. [1/day]

    Returns
    -------
    ndarray, shape (...)
        1 - b/g, at least the seed of 1e-5. [-]

    Examples
    --------
    >>> growth = oxidizer_growth(20.0, [0.1, 0.3, 1.0], 7.0, 100.0, "ammonia")
    >>> equilibrium_maturity(growth, oxidizer_decay(20.0)).round(2)
    array([0.44, 0.77, 0.88])
    """
    if math.isnan(growth_per_day + decay_per_day):
        return math.nan
    return max(1.0 - decay_per_day / growth_per_day, SEED) if growth_per_day > 0.0 else SEED


@formula
def wintered_maturity(decay_per_day: Any) -> Any:
    """Maturity of a film that was fed ordinarily until the water turned cold, and has slept since.

    Parameters
    ----------
    decay_per_day : array_like, shape (...)
        From `oxidizer_decay`, at the cold water. [1/day]

    Returns
    -------
    ndarray, shape (...)
        What an unfed film of 0.8 keeps after `WINTERED_DAYS`. [-] 0.07 at 20 degC, where a film that is fed holds far
        more; 0.47 at 4.5 degC, where growth alone would say that there is none.

    Examples
    --------
    >>> wintered_maturity(oxidizer_decay([4.0, 10.0, 20.0])).round(2)
    array([0.49, 0.33, 0.07])
    """
    return _MATURE * np.exp(-WINTERED_DAYS * decay_per_day)


def start_maturity(start: Start) -> float:
    """Maturity of a film on the day its loop starts.

    Parameters
    ----------
    start : {"new", "seeded", "mature"}
        Cleaned surfaces; a tenth of the surface from a running filter; a film fed for months.

    Returns
    -------
    float
        0.001, 0.1 or 0.8, for both populations. [-] Assumed; a factor of ten in a new film is a week at 20 degC.
    """
    return STARTS[start]


def maturity_after(days: ArrayLike, temperature_c: ArrayLike, kind: Oxidizer = "ammonia") -> FloatArray:
    """Maturity of a film that started new so many days ago and was fed ordinarily since.

    Parameters
    ----------
    days, temperature_c : array_like, shape (...)
        Days since the start (below 0 counts as 0) and their temperature. [days], [degC]
    kind : {"ammonia", "nitrite"}
        What the nitrifiers oxidize.

    Returns
    -------
    ndarray, shape (...)
        Maturity. [-] Up to the equilibrium at 0.5 mg/L of food.

    Notes
    -----
    Logistic growth on 2 mg/L of food (it piles up while a film is young), no further than the ordinary equilibrium.
    Nitrite oxidizers stay as they started until ammonia oxidizers hold 5 %. In cold water a film older than
    `WINTERED_DAYS` is taken to have grown before those at 15 degC and to have slept since, if that leaves more. An
    estimate to begin a season with, good to a factor of 2 in time.

    Examples
    --------
    >>> maturity_after([0.0, 14.0, 28.0], 20.0).round(2)
    array([0.  , 0.18, 0.83])
    >>> maturity_after([0.0, 14.0, 28.0], 20.0, "nitrite").round(2)
    array([0.  , 0.  , 0.13])
    """
    celsius = np.asarray(temperature_c, float)
    grown = _grown_after(days, celsius, kind)
    slept = np.exp(-WINTERED_DAYS * oxidizer_decay(celsius))
    return np.maximum(grown, slept * _grown_after(np.asarray(days, float) - WINTERED_DAYS, GROWN_AT_C, kind))


def _grown_after(days: ArrayLike, temperature_c: ArrayLike, kind: Oxidizer) -> FloatArray:
    """Maturity of a film that grew so many days at one temperature."""
    t = np.maximum(np.asarray(days, float), 0.0)
    decay = oxidizer_decay(temperature_c)

    def growth(food_mg_l: float, of: Oxidizer) -> FloatArray:
        return oxidizer_growth(temperature_c, food_mg_l, ORDINARY_OXYGEN_MG_L, ORDINARY_ALKALINITY_MG_L, of)

    fast = growth(START_FOOD_MG_L, kind)
    if kind == "nitrite":
        rate = growth(START_FOOD_MG_L, "ammonia") - decay
        with np.errstate(divide="ignore"):
            wait = np.where(rate > 0.0, np.log(NITRITE_BEGINS_AT / STARTS["new"]) / np.maximum(rate, 0.0), np.inf)
        t = np.maximum(t - wait, 0.0)
    most = np.maximum(equilibrium_maturity(growth(ORDINARY_FOOD_MG_L, kind), decay), STARTS["new"])
    return np.minimum(maturity_step(STARTS["new"], fast, decay, t), most)
