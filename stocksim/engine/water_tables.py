"""The water of a season: what its days kept, made into the course's tables."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.layout import Layout
from stocksim.engine.waterworks import SOLUTES
from stocksim.plants.uptake import MINERALS

FloatArray = NDArray[np.float64]

ALK, CO2, CL, NA, CA, K, P, SOLIDS, SOLIDS_N, SOLIDS_P, SOLIDS_O = range(len(SOLUTES))
POOLS = slice(SOLIDS, SOLIDS_O + 1)  # suspended solids and what they carry
FROM_FEED = slice(K, SOLIDS_O + 1)  # what fish give to the water of their tank, in the order of `FishDay.waste`


def of_solutes(array: FloatArray, solutes: int) -> FloatArray:
    """Array (..., column) repeated for so many solutes, shape (..., solute, column)."""
    return np.repeat(array[..., None, :], solutes, axis=-2)


def water_tables(
    levels: dict[str, FloatArray], layout: Layout, water_m3: FloatArray, salt_per_alkalinity: FloatArray
) -> dict[str, FloatArray]:
    """The course's tables of the water.

    Parameters
    ----------
    levels : dict of str to ndarray
        Tables (day, ...) of `WaterDay.day_levels`; those that the course does not carry are taken out.
    layout : Layout
        Of the season.
    water_m3 : ndarray, shape (..., loop)
        Water of each loop. [m3]
    salt_per_alkalinity : ndarray, shape (loop,)
        Buffer salt for a gram of alkalinity. [g/g]

    Returns
    -------
    dict of str to ndarray, shape (day, scenario, column)
        By their name in the course, with those of ``levels`` that need nothing done.
    """
    members, tanks = layout.leaf_loop, len(layout.tanks)
    maturity, sump, drawn = levels.pop("maturity"), levels.pop("sump"), levels.pop("drawn")
    minerals, nitrate = levels.pop("uptake_minerals"), levels.pop("nitrate_leaf_mg_l")
    solids_n = levels.pop("solids_n_leaf_mg_l")
    every = np.ones((levels["nitrate_mg_l"].shape[1], len(layout.loops)))

    def held(leaf: FloatArray, in_sump: FloatArray) -> FloatArray:
        return (leaf * layout.volume_m3) @ members + in_sump * layout.sump_volume_m3

    return levels | {
        # below 0 the bases of a large dose have taken it from bicarbonate, which is carried as owed carbon dioxide
        "co2_mg_l": np.maximum(levels["co2_mg_l"][..., :tanks], 0.0),
        "film_capacity_g": levels["film_capacity_g"][..., tanks:],
        "ammonia_maturity": maturity[:, 0],
        "nitrite_maturity": maturity[:, 1],
        "nitrate_held_g": held(nitrate, levels["nitrate_mg_l"]),
        "alkalinity_mg_l": levels["alkalinity_mg_l"] / water_m3,
        **{f"{SOLUTES[row]}_mg_l": sump[:, :, row] for row in (CL, NA, CA, K, P, SOLIDS)},
        **{f"uptake_{key}_g": minerals[:, :, row] for row, key in enumerate(MINERALS)},
        "uptake_n_g": levels["uptake_nitrogen_g"] @ members[tanks:],
        "buffer_g": levels["buffer_g"] * salt_per_alkalinity,
        "top_up_m3": levels["top_up_m3"] * every,
        "outflow_m3": levels["outflow_m3"] * every,
        "solids_n_made_g": levels["solids_n_made_g"] @ members[:tanks],
        "solids_n_held_g": levels["solids_n_held_g"] + held(solids_n, sump[:, :, SOLIDS_N]),
        "settler_n_g": drawn[:, :, SOLIDS_N - SOLIDS],
        "settler_p_g": drawn[:, :, SOLIDS_P - SOLIDS],
        "sludge_n_g": levels["sludge_n_g"] + levels["outflow_m3"] * sump[:, :, SOLIDS_N],
    }
