"""Alkalinity: what uses it, what gives it back, and how much base may be added in a day."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import elementwise
from stocksim.validity import Range, valid
from stocksim.water.ammonia import ammonia_pka, unionized_share
from stocksim.water.carbonate import (
    CALCIUM_CARBONATE_MG_MEQ,
    CALCIUM_G_MOL,
    CARBON_DIOXIDE_G_MOL,
    calcite_solubility,
    dissociation,
    equilibrium_alkalinity,
    equilibrium_calcite_index,
    equilibrium_carbon_dioxide,
)

FloatArray = NDArray[np.float64]

# pH rise allowed in one day: common practice, no source.
MOST_PH_RISE = 0.2
# Least dose that the pH rise never forbids [mg/L as CaCO3 a day]: this project's choice, no source. Water that has all
# but lost its alkalinity could otherwise never be given any.
LEAST_STEP_MG_L = 5.0

# Standard atomic weights [g/mol], rounded
_H, _C, _O, _NA, _K, _CA = 1.008, 12.011, 15.999, 22.990, 39.098, CALCIUM_G_MOL


@dataclass(frozen=True)
class Salt:
    """A base that raises alkalinity, pure and dry.

    Parameters
    ----------
    formula : str
        Chemical formula.
    salt_g_per_alkalinity_g : float
        Salt for one gram of alkalinity as CaCO3. [g/g]
    potassium_share, calcium_share, sodium_share : float
        Mass of the element in the salt. [g/g]
    carbon_dioxide_g_per_alkalinity_g : float
        Carbon dioxide taken up while the base turns to bicarbonate. [g/g]
    is_caustic : bool
        Whether it burns skin and eyes.
    caution : str
        One sentence for whoever handles it.
    """

    formula: str
    salt_g_per_alkalinity_g: float
    potassium_share: float
    calcium_share: float
    sodium_share: float
    carbon_dioxide_g_per_alkalinity_g: float
    is_caustic: bool
    caution: str


_CAUSTIC = (
    "Caustic; it burns skin and eyes and gets hot as it dissolves; wear gloves and eye protection, put it into plenty "
    "of cold water and never water onto it, keep children away, and follow its label and your local rules."
)
_MILD = "Mild; keep dust out of the eyes, dissolve it first and add it over the day away from the fish."
_STEP = CARBON_DIOXIDE_G_MOL / CALCIUM_CARBONATE_MG_MEQ  # g CO2 per g alkalinity, one mole for each equivalent


def _salt(
    formula: str,
    molar_mass: float,
    equivalents: int,
    dioxide: float,
    caution: str,
    potassium: int = 0,
    calcium: int = 0,
    sodium: int = 0,
) -> Salt:
    return Salt(
        formula,
        molar_mass / equivalents / CALCIUM_CARBONATE_MG_MEQ,
        potassium * _K / molar_mass,
        calcium * _CA / molar_mass,
        sodium * _NA / molar_mass,
        dioxide * _STEP,
        caution is _CAUSTIC,
        caution,
    )


# All from molar masses. An extension text prints 53 g of sodium bicarbonate for 10 mg/L in 3785 L; the molar masses
# give 63.5 g (1.679 g/g), so that figure is 16 % low for a pure salt and is not used here.
SALTS: Mapping[str, Salt] = MappingProxyType(
    {
        "potassium_bicarbonate": _salt("KHCO3", _K + _H + _C + 3 * _O, 1, 0.0, _MILD, potassium=1),
        "calcium_carbonate": _salt(
            "CaCO3",
            _CA + _C + 3 * _O,
            2,
            0.5,
            "Mild; keep dust out of the eyes and lungs; it dissolves slowly, hardly at all in water above pH 7.5, and "
            "none in water that holds all the lime it can.",
            calcium=1,
        ),
        "calcium_hydroxide": _salt("Ca(OH)2", _CA + 2 * (_O + _H), 2, 1.0, _CAUSTIC, calcium=1),
        "potassium_hydroxide": _salt("KOH", _K + _O + _H, 1, 1.0, _CAUSTIC, potassium=1),
        "sodium_bicarbonate": _salt(
            "NaHCO3",
            _NA + _H + _C + 3 * _O,
            1,
            0.0,
            _MILD[:-1] + "; its sodium stays in the loop and in time harms plants.",
            sodium=1,
        ),
    }
)

CHALK_CALCIUM_SHARE = SALTS["calcium_carbonate"].calcium_share
_MOST_STEPS = 50  # of a search that takes 4 to 8


@valid(
    "dose of buffer",
    Range("ph", "-", 5.0, 9.0, "this project's choice"),
    Range("temperature_c", "degC", 0.0, 30.0, "that of unionized_fraction"),
)
def buffer_dose(
    alkalinity_mg_l: ArrayLike,
    target_mg_l: ArrayLike,
    volume_m3: ArrayLike,
    ph: ArrayLike,
    tan_mg_l: ArrayLike,
    temperature_c: ArrayLike,
    unionized_limit_mg_l: ArrayLike,
    most_ph_rise: ArrayLike = MOST_PH_RISE,
    used_mg_l: ArrayLike = 0.0,
) -> FloatArray:
    r"""Alkalinity to add today.

    Parameters
    ----------
    alkalinity_mg_l, target_mg_l : array_like, shape (...)
        Alkalinity of the water and the one wanted, as CaCO3. [mg/L] 0 or more.
    volume_m3 : array_like, shape (...)
        Water of the loop. [m3]
    ph : array_like, shape (...)
        pH of the water. [-] Valid 5 to 9; the day's highest is the careful choice.
    tan_mg_l : array_like, shape (...)
        Total ammonia nitrogen. [mg/L] The day's highest is the careful choice.
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 30.
    unionized_limit_mg_l : array_like, shape (...)
        Un-ionized ammonia, as N, that must not be passed. [mg/L]
    most_ph_rise : array_like, shape (...)
        Greatest rise of pH in a day. [-]
    used_mg_l : array_like, shape (...)
        Alkalinity as CaCO3 that the water is expected to lose in the day. [mg/L] 0 or more; more than there is counts
        as all of it.

    Returns
    -------
    ndarray, shape (...)
        Alkalinity as CaCO3. [g] Never below 0; NaN in gives NaN out.

    Notes
    -----
    The least of three: what is missing to the target; what raises pH by `most_ph_rise` at unchanged carbon dioxide,
    :math:`alk\,(10^{rise} - 1)`, but at least 5 mg/L; and what brings un-ionized ammonia to its limit, again at
    unchanged carbon dioxide. To each comes what the day uses: a dose that only makes up for it raises nothing. The last
    always wins: at or above the limit no more than that is given, for films that run out of alkalinity stop, and
    ammonia then rises all the more. Below 8.5 mg/L of alkalinity the 5 mg/L raise pH by more than 0.2; the un-ionized
    limit still holds there.

    What makes up for the day's use does so only if it is given as it is used: in portions over the day. Hydroxides and
    carbonates take up carbon dioxide before the air brings new, so pH first goes higher than reckoned here: into moving
    water, away from the fish.

    References
    ----------
    .. [1] A rise of at most 0.2 a day: common practice, no source. 5 mg/L: this project's choice, no source.
    .. [2] The un-ionized share is that of `unionized_fraction`, the equilibrium that of `alkalinity_from_ph`.

    Examples
    --------
    >>> buffer_dose(40.0, 80.0, 2.0, [7.0, 8.2], 1.0, 20.0, 0.05).round(1)
    array([46.8,  0. ])
    """
    dose_mg_l = dose_within_limits(
        alkalinity_mg_l, target_mg_l, ph, tan_mg_l, unionized_limit_mg_l, most_ph_rise, ammonia_pka(temperature_c),
        *dissociation(temperature_c), used_mg_l,
    )  # fmt: skip
    return dose_mg_l * np.asarray(volume_m3, float)


@elementwise
def dose_within_limits(
    alkalinity_mg_l: Any,
    target_mg_l: Any,
    ph: Any,
    tan_mg_l: Any,
    limit_mg_l: Any,
    most_ph_rise: Any,
    pka: Any,
    first: Any,
    second: Any,
    water: Any,
    used_mg_l: Any,
) -> Any:
    """Alkalinity to add today to a liter of water, as `buffer_dose` gives it, where the constants are at hand.

    Parameters
    ----------
    alkalinity_mg_l, target_mg_l, ph, tan_mg_l, most_ph_rise, used_mg_l : array_like, shape (...)
        As in `buffer_dose`. [mg/L], [mg/L], [-], [mg/L], [-], [mg/L]
    limit_mg_l : array_like, shape (...)
        Un-ionized ammonia, as N, that must not be passed. [mg/L]
    pka : array_like, shape (...)
        From `ammonia_pka`. [-]
    first, second, water : array_like, shape (...)
        Constants of `dissociation`. [mol/L], [mol/L], [mol2/L2]

    Returns
    -------
    ndarray, shape (...)
        Alkalinity as CaCO3. [mg/L] Never below 0; NaN in gives NaN out.
    """
    if math.isnan(alkalinity_mg_l + target_mg_l + ph + tan_mg_l + limit_mg_l + most_ph_rise + pka + used_mg_l):
        return math.nan
    alkalinity = max(alkalinity_mg_l, 0.0)
    used = min(max(used_mg_l, 0.0), alkalinity)
    by_rise = max(alkalinity * (10.0**most_ph_rise - 1.0), LEAST_STEP_MG_L)
    # how far above this morning's alkalinity the evening may find the water, if the day uses what is expected
    gain = min(target_mg_l - alkalinity, by_rise)
    dose = max(gain + used, 0.0)
    if dose == 0.0:
        return dose
    share = unionized_share(ph, pka)
    raised = max(gain, 0.0)
    # At unchanged carbon dioxide hydrogen falls by no more than alkalinity rises, in proportion (carbonate, hydroxide
    # and free acid all make alkalinity rise faster than 1/H): where that bound is safe nothing more is reckoned.
    odds = share * (alkalinity + raised)
    if tan_mg_l * odds < limit_mg_l * max(odds + (1.0 - share) * alkalinity, 1e-300):
        return dose
    allowed = limit_mg_l / max(tan_mg_l, 1e-12)
    if allowed >= 1.0:
        return dose
    within = min(max(allowed, 1e-12), 1.0 - 1e-12)
    rise = math.log10(within / (1.0 - within)) - math.log10(share / (1.0 - share))
    if rise <= 0.0:
        return min(dose, used)
    gas = equilibrium_carbon_dioxide(ph, alkalinity, first, second, water)
    # a day's dose never reaches pH 12: the bound only keeps powers of ten small
    room = equilibrium_alkalinity(min(ph + rise, 12.0), gas, first, second, water) - alkalinity
    return max(min(dose, room + used), 0.0)


def dose_portions(
    dose_mg_l: ArrayLike, alkalinity_mg_l: ArrayLike, most_ph_rise: ArrayLike = MOST_PH_RISE
) -> FloatArray:
    """Least number of portions in which a day's dose is given, so that none raises pH by more than a day's whole may.

    Parameters
    ----------
    dose_mg_l : array_like, shape (...)
        Alkalinity as CaCO3 that the day's dose adds to the water. [mg/L] 0 or more.
    alkalinity_mg_l : array_like, shape (...)
        Of the water before it. [mg/L]
    most_ph_rise : array_like, shape (...)
        Rise of pH that fish bear at once. [-]

    Returns
    -------
    ndarray, shape (...)
        Portions, whole numbers; 0 where nothing is dosed. [-]

    Notes
    -----
    What the day uses comes on top of the rise (`buffer_dose`), so a busy day's dose is more than may go in at once.
    A portion raises alkalinity by no more than that rise at unchanged carbon dioxide, as there.

    Examples
    --------
    >>> dose_portions([0.0, 10.0, 30.0], 20.0)
    array([0., 1., 3.])
    """
    dose, alkalinity = np.asarray(dose_mg_l, float), np.maximum(np.asarray(alkalinity_mg_l, float), 0.0)
    at_once = np.maximum(alkalinity * (10.0 ** np.asarray(most_ph_rise, float) - 1.0), LEAST_STEP_MG_L)
    return np.asarray(np.ceil(dose / at_once - 1e-9))


@valid(
    "chalk that still dissolves",
    Range("ph", "-", 5.0, 9.0, "this project's choice"),
    Range("temperature_c", "degC", 0.0, 40.0, "that of calcite_saturation"),
)
def chalk_room(
    calcium_mg_l: ArrayLike,
    alkalinity_mg_l: ArrayLike,
    ph: ArrayLike,
    temperature_c: ArrayLike,
) -> FloatArray:
    r"""Alkalinity that chalk can still give until the water holds all of it that dissolves.

    Parameters
    ----------
    calcium_mg_l : array_like, shape (...)
        Dissolved calcium. [mg/L]
    alkalinity_mg_l : array_like, shape (...)
        Alkalinity as CaCO3. [mg/L]
    ph : array_like, shape (...)
        pH. [-] Valid 5 to 9.
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.

    Returns
    -------
    ndarray, shape (...)
        Alkalinity as CaCO3. [mg/L] 0 in saturated water; NaN in gives NaN out.

    Notes
    -----
    The root of `calcite_saturation` at unchanged carbon dioxide, which fish and air bring back within the day: each
    100.09 g of chalk brings 40.08 g of calcium. Newton's steps in pH, kept between the pH of now and the one that would
    saturate the water with the calcium of now. Chalk takes hours to days to dissolve; that is left out.

    References
    ----------
    .. [1] The equilibria of `calcite_saturation`; see there what it leaves out.

    Examples
    --------
    >>> chalk_room(40.0, [20.0, 60.0, 100.0], [6.6, 7.1, 8.2], 20.0).round(1)
    array([86.5, 54. ,  0. ])
    """
    return chalk_until_saturated(
        calcium_mg_l, alkalinity_mg_l, ph, *dissociation(temperature_c), calcite_solubility(temperature_c)
    )


@elementwise
def chalk_until_saturated(
    calcium_mg_l: Any, alkalinity_mg_l: Any, ph: Any, first: Any, second: Any, water: Any, solubility: Any
) -> Any:
    """Alkalinity that chalk can still give, as `chalk_room` does, where the constants are at hand.

    Parameters
    ----------
    calcium_mg_l, alkalinity_mg_l, ph : array_like, shape (...)
        As in `chalk_room`. [mg/L], [mg/L], [-]
    first, second, water : array_like, shape (...)
        Constants of `dissociation`. [mol/L], [mol/L], [mol2/L2]
    solubility : array_like, shape (...)
        From `calcite_solubility`. [mol2/L2]

    Returns
    -------
    ndarray, shape (...)
        Alkalinity as CaCO3. [mg/L] 0 in saturated water.
    """
    index = equilibrium_calcite_index(calcium_mg_l, alkalinity_mg_l, ph, second, water, solubility)
    if index >= 0.0:
        return 0.0
    gas = equilibrium_carbon_dioxide(ph, alkalinity_mg_l, first, second, water)
    acid = first * max(gas, 1e-12) / CARBON_DIOXIDE_G_MOL / 1000.0
    low, high = ph, min(ph - 0.5 * index, 12.0)
    guess = high
    for _ in range(_MOST_STEPS):
        hydrogen = 10.0**-guess
        bicarbonate = acid / hydrogen
        carbonate = bicarbonate * second / hydrogen
        gained = equilibrium_alkalinity(guess, gas, first, second, water) - alkalinity_mg_l
        mol = max((calcium_mg_l + CHALK_CALCIUM_SHARE * gained) / CALCIUM_G_MOL / 1000.0, 1e-12)
        # mol of calcium for each tenfold rise of pH, over that calcium
        steepness = 0.5 * (bicarbonate + 4.0 * carbonate + water / hydrogen + hydrogen) / mol
        short = math.log10(mol * carbonate / solubility)
        if short < 0.0:
            low = guess
        else:
            high = guess
        ahead = guess - short / (2.0 + steepness)
        if not low < ahead < high:
            ahead = 0.5 * (low + high)
        moved = abs(ahead - guess)
        guess = ahead
        if moved < 1e-12:
            break
    return max(equilibrium_alkalinity(guess, gas, first, second, water) - alkalinity_mg_l, 0.0)
