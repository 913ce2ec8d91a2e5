"""Minerals that crops of the loop take with their nitrogen, through a day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.layout import Layout
from stocksim.engine.waterworks import SOLUTES
from stocksim.plants.uptake import HALF_SATURATION_MINERAL_MG_L, MINERALS

FloatArray = NDArray[np.float64]

ROWS = [SOLUTES.index(key) for key in MINERALS]


class MineralUptake:
    """Calcium, potassium and phosphorus of the units: wanted in proportion to nitrogen, taken by their level.

    Arrays run over all solutes, those that no crop takes with a want of 0: slices are quicker than picked rows.
    """

    def __init__(self, layout: Layout):
        self.tanks = len(layout.tanks)
        self.half = np.ones((len(SOLUTES), 1))
        per_n = layout.water.minerals_per_n
        self.per_n = np.zeros((per_n.shape[1], len(SOLUTES), per_n.shape[2]))
        for row, key, of_mineral in zip(ROWS, MINERALS, per_n, strict=True):
            self.half[row] = HALF_SATURATION_MINERAL_MG_L[key]
            self.per_n[:, row] = of_mineral
        self.has_crops = bool(per_n.any())
        self.plain = (layout.volume_m3 + layout.flow_m3_day)[..., None, self.tanks :]
        self.per_level = np.zeros((1, len(SOLUTES), len(layout.units)))

    def want(self, day: int, uptake_n_g: FloatArray, level: FloatArray, leaf_gain: FloatArray) -> None:
        """Let the crops' share of the units' gain follow today's nitrogen uptake; implicit in the day's balance."""
        if not self.has_crops:
            return
        self.per_level = self.per_n[day] * uptake_n_g[:, None, :] / (self.half + level[:, :, self.tanks :])
        leaf_gain[:, :, self.tanks :] = self.plain + self.per_level

    def taken(self, level: FloatArray) -> dict[str, FloatArray]:
        """What was taken at the day's new levels, by name in the course, shape (scenario, unit). [g/day]"""
        amounts = self.per_level * level[:, :, self.tanks :]
        return {f"uptake_{key}_g": amounts[:, row] for key, row in zip(MINERALS, ROWS, strict=True)}
