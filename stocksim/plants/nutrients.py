"""Six plant nutrients: what feed dissolves of them, and which salt makes up for a shortfall."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Share of the feed's calcium, magnesium and iron that stays dissolved. Feed of 41 % protein and 1.1 % phosphorus gave
# clean water, in mg/L/day, phosphorus 2.4, potassium 0.8, calcium 0.2, magnesium 0.02 (Yang & Kim 2020, Water 12, 1259;
# excerpt read): by their phosphorus, calcium is 0.02 and magnesium 0.001 of the feed in per cent, against 1-2 and 0.2
# in it. Iron near pH 7 settles out (common practice).
DISSOLVED_SHARE = MappingProxyType({"calcium": 0.02, "magnesium": 0.0125, "iron": 0.0})
# Source water, which site files do not hold yet [mg/L]: common practice, no source.
USUAL_SOURCE_MG_L = MappingProxyType({"magnesium": 8.0, "iron": 0.0})
# Iron is brought to 2 mg/L every three weeks with a chelate (UVI, excerpt read); FAO 589: 1-2 mg/L in the first three
# months, then when leaves show it (excerpt read).
IRON_TARGET_MG_L, IRON_EVERY_DAYS = 2.0, 21
# A shortfall is told where more than this share of what crops want is missing (assumed: roots take a few per cent less
# as levels fall, which nobody sees).
TOLD_SHORT_SHARE = 0.15
# Water that holds as much is not short of it, though roots take less than they could (common practice, no source: leafy
# crops are grown well at 10 to 80 mg/L of nitrate nitrogen). Lettuce still grows with the log of nitrate from 3 to 55
# mg/L (Gent 2017, abstract read), so this is where adding salt is worth it, not where growth stops to rise. [mg/L]
ENOUGH_MG_L = MappingProxyType({"nitrogen": 10.0})


@dataclass(frozen=True)
class PlantSalt:
    """A salt that feeds crops.

    Parameters
    ----------
    name, formula : str
        What to ask for.
    shares : mapping of str to float
        Mass of each nutrient in the pure salt. [g/g]
    caution : str
        One sentence for whoever handles it.
    """

    name: str
    formula: str
    shares: Mapping[str, float]
    caution: str


# molar masses [g/mol]: N 14.007, P 30.974, K 39.098, Ca 40.078, Mg 24.305
PLANT_SALTS = MappingProxyType({
    "nitrogen": PlantSalt(
        "calcium nitrate, tetrahydrate", "Ca(NO3)2 4H2O", {"nitrogen": 28.014 / 236.15, "calcium": 40.078 / 236.15},
        "An oxidizer: keep it dry and away from anything that burns; some places restrict its sale.",
    ),
    "phosphorus": PlantSalt(
        "monopotassium phosphate", "KH2PO4", {"phosphorus": 30.974 / 136.09, "potassium": 39.098 / 136.09},
        "Acid: it lowers pH a little; with calcium-rich water it may cloud it.",
    ),
    "potassium": PlantSalt(
        "potassium sulfate", "K2SO4", {"potassium": 78.196 / 174.26},
        "Dissolves slowly. Dosing the buffer as potassium bicarbonate gives potassium too.",
    ),
    "calcium": PlantSalt(
        "calcium sulfate (gypsum)", "CaSO4 2H2O", {"calcium": 40.078 / 172.17},
        "Dissolves slowly, at most 0.2 % of the water's weight. Dosing the buffer as calcium hydroxide or carbonate "
        "gives calcium.",
    ),
    "magnesium": PlantSalt(
        "magnesium sulfate (Epsom salt)", "MgSO4 7H2O", {"magnesium": 24.305 / 246.47},
        "Test magnesium first: many tap waters hold enough.",
    ),
    "iron": PlantSalt(
        "iron chelate, DTPA, 11 % iron", "Fe-DTPA", {"iron": 0.11},
        "Use a DTPA chelate, which holds near pH 7, not EDTA; it colors the water. Read the iron on the label.",
    ),
})  # fmt: skip
SALT_CAUTION = (
    "Buy salts sold for food plants (fertilizer or food grade), read the label, weigh them, dissolve them in a "
    "bucket of "
    "loop water and pour it in slowly over the day, away from the fish; test the water first and a week after. Never "
    "use "
    "sodium salts for this, nor copper or garden mixes with weed or pest killers. Follow your local rules."
)


def iron_dose_g(water_m3: ArrayLike) -> FloatArray:
    """Chelate that brings water to the usual iron level once, to be repeated every `IRON_EVERY_DAYS`.

    Parameters
    ----------
    water_m3 : array_like, shape (...)
        Water of a loop. [m3]

    Returns
    -------
    ndarray, shape (...)
        Chelate. [g]

    Examples
    --------
    >>> iron_dose_g([1.1]).round(1)
    array([20.])
    """
    return salt_g("iron", IRON_TARGET_MG_L * np.asarray(water_m3, float))


def salt_g(nutrient: str, shortfall_g: ArrayLike) -> FloatArray:
    """Pure salt that makes up for a shortfall.

    Parameters
    ----------
    nutrient : str
        Key of PLANT_SALTS.
    shortfall_g : array_like, shape (...)
        Missing nutrient. [g]

    Returns
    -------
    ndarray, shape (...)
        Salt. [g]

    Examples
    --------
    >>> salt_g("potassium", [0.0, 10.0]).round(1)
    array([ 0. , 22.3])
    """
    return np.asarray(shortfall_g, float) / PLANT_SALTS[nutrient].shares[nutrient]
