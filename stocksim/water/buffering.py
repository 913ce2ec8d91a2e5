"""Alkalinity: what uses it, what gives it back, and how much base may be added in a day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.water.ammonia import unionized_fraction
from stocksim.water.carbonate import (
    CALCIUM_CARBONATE_MG_MEQ,
    CALCIUM_G_MOL,
    CARBON_DIOXIDE_G_MOL,
    Dissociation,
    alkalinity_from_ph,
    calcite_saturation,
    calcite_solubility,
    carbon_dioxide,
    dissociation,
)

FloatArray = NDArray[np.float64]

# g alkalinity as CaCO3 used per g ammonia nitrogen turned to nitrate: 2 equivalents a mole (2*50.04/14.007 = 7.145),
# as the handbooks print it. With the bacteria's own growth 7.05 (Ebeling, Timmons & Bisogni 2006, Aquaculture 257, 346;
# abstract read, number from memory); 6.3-7.4 was observed in attached growth (EPA 1975, read as quoted). The larger is
# chosen: a plan should rather keep too much base in the store than too little.
ALKALINITY_PER_NITRIFIED_N = 7.14
# g alkalinity given back per g nitrate nitrogen that plants take up or that is denitrified: 1 equivalent a mole
# (50.04/14.007 = 3.573). Plants that take ammonium instead use as much.
ALKALINITY_PER_NITRATE_N = 3.57
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

_CHALK = SALTS["calcium_carbonate"]
_MOST_STEPS = 50  # of a search that takes 4 to 8


def buffer_dose(
    alkalinity_mg_l: ArrayLike,
    target_mg_l: ArrayLike,
    volume_m3: ArrayLike,
    ph: ArrayLike,
    tan_mg_l: ArrayLike,
    temperature_c: ArrayLike,
    unionized_limit_mg_l: ArrayLike,
    most_ph_rise: ArrayLike = MOST_PH_RISE,
    constants: Dissociation | None = None,
    pka: FloatArray | None = None,
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
    constants : Dissociation, optional
        From `dissociation` at the temperature, where it is at hand. [-]
    pka : ndarray, optional
        From `ammonia_pka` at the temperature, where it is at hand. [-]

    Returns
    -------
    ndarray, shape (...)
        Alkalinity as CaCO3. [g] Never below 0; NaN in gives NaN out.

    Notes
    -----
    The least of three: what is missing to the target; what raises pH by `most_ph_rise` at unchanged carbon dioxide,
    :math:`alk\,(10^{rise} - 1)`, but at least 5 mg/L; and what brings un-ionized ammonia to its limit, again at
    unchanged carbon dioxide. The last always wins: at or above the limit nothing is given. Below 8.5 mg/L of
    alkalinity the 5 mg/L raise pH by more than 0.2; the un-ionized limit still holds there.

    Hydroxides and carbonates take up carbon dioxide before the air brings new, so pH first goes higher than reckoned
    here: add them in portions over the day, into moving water away from the fish.

    References
    ----------
    .. [1] A rise of at most 0.2 a day: common practice, no source. 5 mg/L: this project's choice, no source.
    .. [2] The un-ionized share is that of `unionized_fraction`, the equilibrium that of `alkalinity_from_ph`.

    Examples
    --------
    >>> buffer_dose(40.0, 80.0, 2.0, [7.0, 8.2], 1.0, 20.0, 0.05).round(1)
    array([46.8,  0. ])
    """
    alkalinity = np.maximum(np.asarray(alkalinity_mg_l, float), 0.0)
    missing = np.asarray(target_mg_l, float) - alkalinity
    by_rise = np.maximum(alkalinity * (10.0 ** np.asarray(most_ph_rise, float) - 1.0), LEAST_STEP_MG_L)
    dose_mg_l = np.maximum(np.minimum(missing, by_rise), 0.0)
    share = unionized_fraction(ph, temperature_c, pka)
    tan, limit = np.asarray(tan_mg_l, float), np.asarray(unionized_limit_mg_l, float)
    if not _is_surely_safe(alkalinity, dose_mg_l, share, tan, limit):
        room = _room_under_ammonia_limit(alkalinity, ph, share, tan, temperature_c, limit, constants)
        dose_mg_l = np.maximum(np.minimum(dose_mg_l, room), 0.0)
    return dose_mg_l * np.asarray(volume_m3, float)


def chalk_room(
    calcium_mg_l: ArrayLike,
    alkalinity_mg_l: ArrayLike,
    ph: ArrayLike,
    temperature_c: ArrayLike,
    constants: Dissociation | None = None,
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
    constants : Dissociation, optional
        From `dissociation` at the temperature, where it is at hand. [-]

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
    k = dissociation(temperature_c) if constants is None else constants
    start, alkalinity = np.asarray(ph, float), np.asarray(alkalinity_mg_l, float)
    calcium = np.asarray(calcium_mg_l, float)
    index = calcite_saturation(calcium, alkalinity, start, temperature_c, k)
    gas = carbon_dioxide(start, alkalinity, temperature_c, k)
    acid = k.first * np.maximum(gas, 1e-12) / CARBON_DIOXIDE_G_MOL / 1000.0
    solubility = calcite_solubility(temperature_c)
    low, high = np.broadcast_arrays(start, np.minimum(start + np.maximum(-0.5 * index, 0.0), 12.0))
    guess = high
    for _ in range(_MOST_STEPS):
        hydrogen = 10.0**-guess
        bicarbonate = acid / hydrogen
        carbonate = bicarbonate * k.second / hydrogen
        gained = alkalinity_from_ph(guess, gas, temperature_c, k) - alkalinity
        mol = np.maximum((calcium + _CHALK.calcium_share * gained) / CALCIUM_G_MOL / 1000.0, 1e-12)
        # mol of calcium for each tenfold rise of pH, over that calcium
        steepness = 0.5 * (bicarbonate + 4.0 * carbonate + k.water / hydrogen + hydrogen) / mol
        short = np.log10(mol * carbonate / solubility)
        low, high = np.where(short < 0.0, guess, low), np.where(short < 0.0, high, guess)
        ahead = guess - short / (2.0 + steepness)
        ahead = np.where((ahead > low) & (ahead < high), ahead, 0.5 * (low + high))
        moved, guess = np.abs(ahead - guess).max(initial=0.0), ahead
        if moved < 1e-12:
            break
    room = alkalinity_from_ph(guess, gas, temperature_c, k) - alkalinity
    return np.where(index >= 0.0, 0.0, np.maximum(room, 0.0))


def _is_surely_safe(
    alkalinity_mg_l: FloatArray, dose_mg_l: FloatArray, share: FloatArray, tan_mg_l: FloatArray, limit_mg_l: FloatArray
) -> bool:
    """Whether no dose brings un-ionized ammonia near its limit, by a bound that is quick to reckon.

    At unchanged carbon dioxide hydrogen falls by no more than alkalinity rises, in proportion: carbonate, hydroxide and
    free acid all make alkalinity rise faster than 1/H.
    """
    odds = share * (alkalinity_mg_l + dose_mg_l)
    ahead = odds / np.maximum(odds + (1.0 - share) * alkalinity_mg_l, 1e-300)
    return bool(((tan_mg_l * ahead < limit_mg_l) | (dose_mg_l == 0.0)).all())


def _room_under_ammonia_limit(
    alkalinity_mg_l: FloatArray,
    ph: ArrayLike,
    share: FloatArray,
    tan: FloatArray,
    temperature_c: ArrayLike,
    limit: FloatArray,
    constants: Dissociation | None,
) -> FloatArray:
    """Alkalinity that may be added until un-ionized ammonia meets its limit [mg/L]; infinite where it never does."""
    allowed = limit / np.maximum(tan, 1e-12)
    within = np.minimum(np.maximum(allowed, 1e-12), 1.0 - 1e-12)
    rise = np.log10(within / (1.0 - within)) - np.log10(share / (1.0 - share))
    constants = dissociation(temperature_c) if constants is None else constants
    gas = carbon_dioxide(ph, alkalinity_mg_l, temperature_c, constants)
    # a day's dose never reaches pH 12: the bound only keeps powers of ten small
    ph_at_limit = np.minimum(np.asarray(ph, float) + rise, 12.0)
    room = alkalinity_from_ph(ph_at_limit, gas, temperature_c, constants) - alkalinity_mg_l
    return np.where(allowed >= 1.0, np.inf, np.where(rise <= 0.0, 0.0, room))
