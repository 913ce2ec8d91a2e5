"""The toxic share of total ammonia."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import formula
from stocksim.validity import Range, valid
from stocksim.water.oxygen import FRESH_WATER


@valid(
    "dissociation of ammonia",
    Range("temperature_c", "degC", 0.0, 30.0, "Emerson et al. 1975, as quoted"),
    is_called_compiled=True,
)
@formula
def ammonia_pka(temperature_c: Any) -> Any:
    """Negative logarithm of ammonia's dissociation; notes and source in `unionized_fraction`.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 30.

    Returns
    -------
    ndarray, shape (...)
        pKa. [-]
    """
    return 0.09018 + 2729.92 / (temperature_c + 273.15)


@valid(
    "un-ionized share of ammonia",
    Range("ph", "-", 6.0, 10.0, "from memory of Emerson et al. 1975"),
    Range("temperature_c", "degC", 0.0, 30.0, "Emerson et al. 1975, as quoted"),
    Range("chloride_mg_l", "mg/L", 0.0, 300.0, FRESH_WATER),
)
def unionized_fraction(ph: ArrayLike, temperature_c: ArrayLike) -> NDArray[np.float64]:
    r"""Share of total ammonia nitrogen present as un-ionized ammonia.

    Parameters
    ----------
    ph : array_like, shape (...)
        pH of the water. [-] Valid 6 to 10.
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 30.

    Returns
    -------
    ndarray, shape (...)
        Un-ionized share. [-] From 0 to 1; NaN in gives NaN out.

    Notes
    -----
    .. math:: f = 1 / (1 + 10^{pK_a - pH}), \quad pK_a = 0.09018 + 2729.92 / (T + 273.15)

    Fresh water. At 250-300 mg/L of salts the true share is 4-7 % lower: the safe side.

    References
    ----------
    .. [1] K. Emerson, R. C. Russo, R. E. Lund and R. V. Thurston, 1975. Aqueous ammonia equilibrium calculations:
       effect of pH and temperature. J. Fish. Res. Board Can. 32, 2379-2383 (formula read as quoted).

    Examples
    --------
    >>> unionized_fraction(8.0, [10.0, 20.0]).round(5)
    array([0.01822, 0.03807])
    """
    return unionized_share(ph, ammonia_pka(temperature_c))


@formula
def unionized_share(ph: Any, pka: Any) -> Any:
    """Share of total ammonia nitrogen present as un-ionized ammonia, where `ammonia_pka` is at hand.

    Parameters
    ----------
    ph, pka : array_like, shape (...)
        pH of the water and ammonia's own. [-]

    Returns
    -------
    ndarray, shape (...)
        Un-ionized share. [-]
    """
    return 1.0 / (1.0 + 10.0 ** (pka - ph))
