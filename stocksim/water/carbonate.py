"""Carbon dioxide, alkalinity and pH of fresh water."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import elementwise, formula
from stocksim.validity import Range, valid
from stocksim.water.oxygen import HIGHEST, air_pressure

FloatArray = NDArray[np.float64]

CONSTANTS = "Plummer & Busenberg 1982, who go to 90; to 40 by this project's choice"
EXACT_ROOT = "checked here against the exact root"

# mg CaCO3 per milliequivalent: half its molar mass, 100.087 / 2.
CALCIUM_CARBONATE_MG_MEQ = 50.04
# mg/L as CaCO3 for one mol of charge per liter
_MG_PER_EQUIVALENT = 1000.0 * CALCIUM_CARBONATE_MG_MEQ
CARBON_DIOXIDE_G_MOL = 44.01
# Carbon dioxide of outdoor air in the early 2020s, rounded [ppm]: from memory of the Mauna Loa record. Closed
# greenhouses lie anywhere from 200 (by day, plants) to 1000 and more (by night, fish and heaters; common practice).
OUTDOOR_CARBON_DIOXIDE_PPM = 420.0
CALCIUM_G_MOL = 40.078  # standard atomic weight, rounded
# Keeps a quotient of two zeros away; far below the acidity of any carbonic acid that matters [mol2/L2]
_TINY = 1e-30


class Dissociation(NamedTuple):
    """Equilibrium constants at given temperatures, activities taken as concentrations.

    ``first`` carbonic acid to bicarbonate and ``second`` bicarbonate to carbonate [mol/L], ``water`` the ion product of
    water [mol2/L2].
    """

    first: FloatArray
    second: FloatArray
    water: FloatArray


@valid(
    "dissociation of carbonic acid",
    Range("temperature_c", "degC", 0.0, 40.0, CONSTANTS),
)
def dissociation(temperature_c: ArrayLike) -> Dissociation:
    """Dissociation constants of carbonic acid and water.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.

    Returns
    -------
    Dissociation
        Constants, each of shape (...). [mol/L], [mol/L], [mol2/L2] NaN in gives NaN out.

    References
    ----------
    .. [1] L. N. Plummer and E. Busenberg, 1982. The solubilities of calcite, aragonite and vaterite in CO2-H2O
       solutions. Geochim. Cosmochim. Acta 46, 1011-1040 (K1, K2; read in public code, not in the paper).
    .. [2] H. S. Harned and B. B. Owen, 1958, The physical chemistry of electrolytic solutions (ion product of water,
       from memory).

    Examples
    --------
    >>> [float(-np.log10(constant).round(3)) for constant in dissociation(25.0)]
    [6.352, 10.329, 14.0]
    """
    kelvin = np.asarray(temperature_c, float) + 273.15
    log = np.log10(kelvin)
    return Dissociation(
        10.0 ** (-356.3094 - 0.06091964 * kelvin + 21834.37 / kelvin + 126.8339 * log - 1684915.0 / kelvin**2),
        10.0 ** (-107.8871 - 0.03252849 * kelvin + 5151.79 / kelvin + 38.92561 * log - 563713.9 / kelvin**2),
        10.0 ** -(4470.99 / kelvin - 6.0875 + 0.01706 * kelvin),
    )


@valid(
    "carbon dioxide from pH and alkalinity",
    Range("ph", "-", 6.0, 9.0, "this project's choice"),
    Range("temperature_c", "degC", 0.0, 40.0, CONSTANTS),
)
def carbon_dioxide(ph: ArrayLike, alkalinity_mg_l: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    r"""Dissolved carbon dioxide of fresh water.

    Parameters
    ----------
    ph : array_like, shape (...)
        pH. [-] Valid 6 to 9.
    alkalinity_mg_l : array_like, shape (...)
        Alkalinity as CaCO3. [mg/L]
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.

    Returns
    -------
    ndarray, shape (...)
        Carbon dioxide. [mg/L] An error of 0.1 in pH is one of 26 % here.

    Notes
    -----
    Activities taken as concentrations: reads 2-8 % high against a full aqueous model from 20 to 200 mg/L alkalinity.

    References
    ----------
    .. [1] The constants of `dissociation`.

    Examples
    --------
    >>> carbon_dioxide([7.325, 7.025], 100.0, 20.0).round(1)
    array([10., 20.])
    """
    return equilibrium_carbon_dioxide(ph, alkalinity_mg_l, *dissociation(temperature_c))


@formula
def equilibrium_carbon_dioxide(ph: Any, alkalinity_mg_l: Any, first: Any, second: Any, water: Any) -> Any:
    """Dissolved carbon dioxide as `carbon_dioxide` gives it, where the constants are at hand.

    Parameters
    ----------
    ph, alkalinity_mg_l : array_like, shape (...)
        As in `carbon_dioxide`. [-], [mg/L]
    first, second, water : array_like, shape (...)
        Constants of `dissociation`. [mol/L], [mol/L], [mol2/L2]

    Returns
    -------
    ndarray, shape (...)
        Carbon dioxide. [mg/L]
    """
    hydrogen = 10.0**-ph
    carried = alkalinity_mg_l / _MG_PER_EQUIVALENT - water / hydrogen + hydrogen
    bicarbonate = np.maximum(carried, 0.0) / (1.0 + 2.0 * second / hydrogen)
    return bicarbonate * hydrogen / first * CARBON_DIOXIDE_G_MOL * 1000.0


@valid(
    "alkalinity from pH and carbon dioxide",
    Range("ph", "-", 4.0, 10.0, "this project's choice"),
    Range("temperature_c", "degC", 0.0, 40.0, CONSTANTS),
)
def alkalinity_from_ph(ph: ArrayLike, carbon_dioxide_mg_l: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    """Alkalinity that gives a pH with a given amount of carbon dioxide.

    Parameters
    ----------
    ph : array_like, shape (...)
        pH. [-] Valid 4 to 10.
    carbon_dioxide_mg_l : array_like, shape (...)
        Carbon dioxide. [mg/L] 0 or more.
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.

    Returns
    -------
    ndarray, shape (...)
        Alkalinity as CaCO3. [mg/L] Below 0 where the water would need a stronger acid than its carbon dioxide.

    Notes
    -----
    Bicarbonate, carbonate, hydroxide and free acid; the inverse of `carbon_dioxide`.

    Examples
    --------
    >>> alkalinity_from_ph([7.325, 7.025], [10.0, 20.0], 20.0).round()
    array([100., 100.])
    """
    return equilibrium_alkalinity(ph, carbon_dioxide_mg_l, *dissociation(temperature_c))


@formula
def equilibrium_alkalinity(ph: Any, carbon_dioxide_mg_l: Any, first: Any, second: Any, water: Any) -> Any:
    """Alkalinity as `alkalinity_from_ph` gives it, where the constants are at hand.

    Parameters
    ----------
    ph, carbon_dioxide_mg_l : array_like, shape (...)
        As in `alkalinity_from_ph`. [-], [mg/L]
    first, second, water : array_like, shape (...)
        Constants of `dissociation`. [mol/L], [mol/L], [mol2/L2]

    Returns
    -------
    ndarray, shape (...)
        Alkalinity as CaCO3. [mg/L]
    """
    hydrogen = 10.0**-ph
    bicarbonate = first * (carbon_dioxide_mg_l / CARBON_DIOXIDE_G_MOL / 1000.0) / hydrogen
    equivalents = bicarbonate * (1.0 + 2.0 * second / hydrogen) + water / hydrogen - hydrogen
    return equivalents * CALCIUM_CARBONATE_MG_MEQ * 1000.0


@valid(
    "pH from alkalinity and carbon dioxide",
    Range("alkalinity_mg_l", "mg/L", 0.0, 300.0, EXACT_ROOT),
    Range("carbon_dioxide_mg_l", "mg/L", 0.3, 100.0, EXACT_ROOT),
    Range("temperature_c", "degC", 0.0, 40.0, CONSTANTS),
)
def ph_from_alkalinity(
    alkalinity_mg_l: ArrayLike, carbon_dioxide_mg_l: ArrayLike, temperature_c: ArrayLike
) -> FloatArray:
    r"""PH of fresh water from its alkalinity and carbon dioxide.

    Parameters
    ----------
    alkalinity_mg_l : array_like, shape (...)
        Alkalinity as CaCO3. [mg/L] Valid 0 to 300; below 0 is a mineral acid and still gives a pH.
    carbon_dioxide_mg_l : array_like, shape (...)
        Carbon dioxide. [mg/L] Valid 0.3 to 100; below 0 counts as 0.
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.

    Returns
    -------
    ndarray, shape (...)
        pH. [-] NaN in gives NaN out, and nothing else does.

    Notes
    -----
    Closed form in two steps. First hydroxide and free acid are neglected, :math:`alk = HCO_3 + 2\,CO_3`:

    .. math:: H_0 = \frac{K_1 C + \sqrt{(K_1 C)^2 + 8\,alk\,K_1 K_2 C}}{2\,alk}

    Alone that is within 0.01 of the exact root from 5 to 300 mg/L alkalinity with 0.3 to 20 mg/L of carbon dioxide,
    but pH runs off without bound as alkalinity goes to 0. So carbonate is taken from :math:`H_0` and the rest is
    solved with hydroxide and free acid in it:

    .. math:: H^2 + alk\,H = K_1 C + K_w + 2 K_1 K_2 C / H_0

    Together they lie within 0.0005 of the exact root from 0 to 300 mg/L alkalinity with 0.3 to 100 mg/L of carbon
    dioxide, and within 0.004 down to 0.05 mg/L. Without alkalinity the water is weak carbonic acid,
    :math:`H = \sqrt{K_1 C + K_w}`: pH 5.0 with 10 mg/L of carbon dioxide, 7 with none.

    Activities are taken as concentrations: 0.01 (20 mg/L alkalinity) to 0.034 (200 mg/L) above a full aqueous model.

    References
    ----------
    .. [1] The constants of `dissociation`.

    Examples
    --------
    >>> ph_from_alkalinity([100.0, 100.0, 0.0], [10.0, 20.0, 10.0], 20.0).round(2)
    array([7.32, 7.02, 5.01])
    """
    return equilibrium_ph(alkalinity_mg_l, carbon_dioxide_mg_l, *dissociation(temperature_c))


@elementwise
def equilibrium_ph(alkalinity_mg_l: Any, carbon_dioxide_mg_l: Any, first: Any, second: Any, water: Any) -> Any:
    """PH as `ph_from_alkalinity` gives it, where the constants are at hand.

    Parameters
    ----------
    alkalinity_mg_l, carbon_dioxide_mg_l : array_like, shape (...)
        As in `ph_from_alkalinity`. [mg/L]
    first, second, water : array_like, shape (...)
        Constants of `dissociation`. [mol/L], [mol/L], [mol2/L2]

    Returns
    -------
    ndarray, shape (...)
        pH. [-]
    """
    equivalents = alkalinity_mg_l / _MG_PER_EQUIVALENT
    acid = max(first * carbon_dioxide_mg_l / (1000.0 * CARBON_DIOXIDE_G_MOL), _TINY)
    carbonates = second * max(equivalents, 0.0)
    # 2 K1 K2 C / H0, written without a division by alkalinity
    carbonate = 4.0 * acid * carbonates / (acid + math.sqrt(acid * (acid + 8.0 * carbonates)))
    held = acid + water + carbonate
    half = 0.5 * (abs(equivalents) + math.sqrt(equivalents * equivalents + 4.0 * held))
    # the same root twice, each where nothing cancels
    return -math.log10(held / half if equivalents > 0.0 else half)


@valid(
    "carbon dioxide in balance with air",
    Range("temperature_c", "degC", 0.0, 40.0, CONSTANTS),
    Range("elevation_m", "m", -430.0, 3000.0, HIGHEST),
)
def carbon_dioxide_saturation(
    temperature_c: ArrayLike, elevation_m: ArrayLike = 0.0, co2_ppm: ArrayLike = OUTDOOR_CARBON_DIOXIDE_PPM
) -> FloatArray:
    """Dissolved carbon dioxide of fresh water in balance with air.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.
    elevation_m : array_like, shape (...)
        Height above the sea. [m] Valid -430 to 3000.
    co2_ppm : array_like, shape (...)
        Carbon dioxide of the air, by volume. [ppm]

    Returns
    -------
    ndarray, shape (...)
        Carbon dioxide. [mg/L] NaN in gives NaN out.

    Notes
    -----
    Water vapor's share of the pressure is left out (0.6 % at 0 degC, 2.3 % at 20): far less than the air of a
    greenhouse is uncertain.

    References
    ----------
    .. [1] L. N. Plummer and E. Busenberg, 1982. Geochim. Cosmochim. Acta 46, 1011-1040 (Henry's constant; read).

    Examples
    --------
    >>> carbon_dioxide_saturation([10.0, 20.0]).round(3)
    array([0.994, 0.724])
    """
    kelvin = np.asarray(temperature_c, float) + 273.15
    mol_l_atm = 10.0 ** (
        108.3865 + 0.01985076 * kelvin - 6919.53 / kelvin - 40.45154 * np.log10(kelvin) + 669365.0 / kelvin**2
    )
    pressure = air_pressure(elevation_m) * np.asarray(co2_ppm, float) * 1e-6
    return mol_l_atm * pressure * CARBON_DIOXIDE_G_MOL * 1000.0


@valid(
    "solubility of chalk",
    Range("temperature_c", "degC", 0.0, 90.0, "Plummer & Busenberg 1982"),
)
def calcite_solubility(temperature_c: ArrayLike) -> FloatArray:
    """Solubility product of calcite, the stable form of chalk.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 90.

    Returns
    -------
    ndarray, shape (...)
        Calcium times carbonate at saturation. [mol2/L2] NaN in gives NaN out.

    References
    ----------
    .. [1] L. N. Plummer and E. Busenberg, 1982. Geochim. Cosmochim. Acta 46, 1011-1040 (read in public code, not in
       the paper).

    Examples
    --------
    >>> np.log10(calcite_solubility([10.0, 25.0])).round(2)
    array([-8.41, -8.48])
    """
    kelvin = np.asarray(temperature_c, float) + 273.15
    return 10.0 ** (-171.9065 - 0.077993 * kelvin + 2839.319 / kelvin + 71.595 * np.log10(kelvin))


@valid(
    "saturation with chalk",
    Range("ph", "-", 6.0, 10.0, "this project's choice"),
    Range("temperature_c", "degC", 0.0, 40.0, CONSTANTS),
)
def calcite_saturation(
    calcium_mg_l: ArrayLike,
    alkalinity_mg_l: ArrayLike,
    ph: ArrayLike,
    temperature_c: ArrayLike,
) -> FloatArray:
    """Saturation index of calcite: below 0 chalk dissolves, above 0 none does and it may settle out.

    Parameters
    ----------
    calcium_mg_l : array_like, shape (...)
        Dissolved calcium. [mg/L]
    alkalinity_mg_l : array_like, shape (...)
        Alkalinity as CaCO3. [mg/L]
    ph : array_like, shape (...)
        pH. [-] Valid 6 to 10.
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.

    Returns
    -------
    ndarray, shape (...)
        Ten's logarithm of calcium times carbonate over the solubility product. [-] Far below 0 without calcium or
        carbonate; NaN in gives NaN out.

    Notes
    -----
    Activities taken as concentrations and no ion pairs: 0.06 (20 mg/L of calcium bicarbonate hardness) to 0.26 (200)
    above a full aqueous model, so chalk stops dissolving here at an alkalinity about 10 to 20 % too low.

    References
    ----------
    .. [1] The constants of `dissociation` and `calcite_solubility`.

    Examples
    --------
    >>> calcite_saturation(40.0, 100.0, [7.0, 8.0, 9.0], 20.0).round(2)
    array([-0.62,  0.37,  1.34])
    """
    k = dissociation(temperature_c)
    return equilibrium_calcite_index(
        calcium_mg_l, alkalinity_mg_l, ph, k.second, k.water, calcite_solubility(temperature_c)
    )


@elementwise
def equilibrium_calcite_index(
    calcium_mg_l: Any, alkalinity_mg_l: Any, ph: Any, second: Any, water: Any, solubility: Any
) -> Any:
    """Index as `calcite_saturation` gives it, where the constants are at hand.

    Parameters
    ----------
    calcium_mg_l, alkalinity_mg_l, ph : array_like, shape (...)
        As in `calcite_saturation`. [mg/L], [mg/L], [-]
    second, water : array_like, shape (...)
        Constants of `dissociation`. [mol/L], [mol2/L2]
    solubility : array_like, shape (...)
        From `calcite_solubility`. [mol2/L2]

    Returns
    -------
    ndarray, shape (...)
        Ten's logarithm of calcium times carbonate over the solubility product. [-]
    """
    hydrogen = 10.0**-ph
    carried = max(alkalinity_mg_l / _MG_PER_EQUIVALENT - water / hydrogen + hydrogen, 0.0)
    carbonate = carried / (hydrogen / second + 2.0)
    product = calcium_mg_l / CALCIUM_G_MOL / 1000.0 * carbonate
    return math.log10(max(product, _TINY * _TINY)) - math.log10(solubility)
