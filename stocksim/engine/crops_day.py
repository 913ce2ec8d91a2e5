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
    """Calcium, potassium and phosphorus of the units: wanted in proportion to nitrogen, taken by their level."""

    def __init__(self, layout: Layout):
        self.layout, self.tanks = layout, len(layout.tanks)
        self.half = np.array([HALF_SATURATION_MINERAL_MG_L[key] for key in MINERALS])[:, None]
        self.has_crops = bool(layout.water.minerals_per_n.any())
        self.per_level = np.zeros((len(MINERALS), len(layout.units)))

    def want(self, day: int, uptake_n_g: FloatArray, level: FloatArray, leaf_gain: FloatArray) -> None:
        """Let the crops' share of the units' gain follow today's nitrogen uptake; implicit in the day's balance."""
        if not self.has_crops:
            return
        wanted = self.layout.water.minerals_per_n[:, day] * uptake_n_g[:, None, :]
        self.per_level = wanted / (self.half + level[:, ROWS, self.tanks :])
        plain = (self.layout.volume_m3 + self.layout.flow_m3_day)[..., None, self.tanks :]
        leaf_gain[:, ROWS, self.tanks :] = plain + self.per_level

    def taken(self, level: FloatArray) -> dict[str, FloatArray]:
        """What was taken at the day's new levels, by name in the course, shape (scenario, unit). [g/day]"""
        amounts = self.per_level * level[:, ROWS, self.tanks :]
        return {f"uptake_{key}_g": amounts[:, row] for row, key in enumerate(MINERALS)}
