"""Minerals that crops of the loop take with their nitrogen, through a day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.layout import Layout
from stocksim.engine.waterworks import SOLUTES
from stocksim.plants.uptake import HALF_SATURATION_MINERAL_MG_L, MINERALS

FloatArray = NDArray[np.float64]

ROWS = slice(SOLUTES.index(MINERALS[0]), SOLUTES.index(MINERALS[-1]) + 1)  # of the solute axis


class MineralUptake:
    """Calcium, potassium and phosphorus of the units: wanted in proportion to nitrogen, taken by their level."""

    def __init__(self, layout: Layout):
        self.units = slice(len(layout.tanks), None)
        per_n = np.moveaxis(layout.water.minerals_per_n, 0, 1)
        self.has_crops = bool(per_n.any())
        # by day, shape (1, mineral, unit)
        self.per_n = list(per_n[:, None])
        half = np.array([HALF_SATURATION_MINERAL_MG_L[key] for key in MINERALS])
        self.half = np.tile(half[:, None], (1, 1, per_n.shape[-1]))
        plain = (layout.volume_m3 + layout.flow_m3_day)[..., None, self.units]
        self.plain = np.tile(plain, (1, len(MINERALS), 1))
        self.per_level = np.zeros_like(self.plain)

    def want(self, day: int, uptake_n_g: FloatArray, level: FloatArray, leaf_gain: FloatArray) -> None:
        """Let the crops' share of the units' gain follow today's nitrogen uptake; implicit in the day's balance."""
        if not self.has_crops:
            return
        self.per_level = self.per_n[day] * uptake_n_g[:, None] / (self.half + level[:, ROWS, self.units])
        leaf_gain[:, ROWS, self.units] = self.plain + self.per_level

    def taken(self, level: FloatArray) -> FloatArray:
        """What was taken at the day's new levels, shape (scenario, mineral, unit). [g/day]"""
        return self.per_level * level[:, ROWS, self.units]
