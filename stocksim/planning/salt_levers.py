"""Chloride against nitrite: as plain salt, or without sodium where crops grow."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.engine.waterworks import source_level
from stocksim.errors import InputError
from stocksim.planning.trying import Lever, inside_tanks, season_with
from stocksim.units import format_quantity
from stocksim.water.nitrite import (
    MOST_NITRITE_MG_L,
    SODIUM_CAUTION_MG_L,
    SODIUM_PER_CHLORIDE,
    chloride_needed,
    salt_for_chloride,
)

_CHLORIDE_STEP_MG_L = 10.0
# g per g of chloride, from molar masses (CaCl2 2 H2O 147.01, Ca 40.078, KCl 74.551, Cl 35.453): calcium chloride
# dihydrate, its calcium, and potassium chloride. That both stand in for salt where crops grow is common practice.
_CALCIUM_SALT, _CALCIUM, _POTASSIUM_SALT = 147.01 / 70.906, 40.078 / 70.906, 74.551 / 35.453


def more_chloride(season: Season, finding: Finding, tank: str, loop: str) -> Iterator[Lever]:
    """Chloride that keeps nitrite out of the fish of a tank, where it protects all of them.

    Notes
    -----
    The source water is given the chloride and what comes with it, so top-up water brings more of both: where none is
    drawn off, sodium comes out too high, the careful side for crops.
    """
    layout = season.layout
    inside = inside_tanks(season, [tank])
    # chloride shields some species only, and no more than so much nitrite is counted on
    if not (layout.species["chloride_protects"][inside] > 0.0).all() or finding.worst_value > MOST_NITRITE_MG_L:
        return
    least = math.ceil(float(chloride_needed(finding.worst_value)) / _CHLORIDE_STEP_MG_L) * _CHLORIDE_STEP_MG_L
    # shielded fish eat what nitrite kept them from, and nitrite rises: the first target may fall short
    most = min(2.0 * least, float(chloride_needed(MOST_NITRITE_MG_L)) + _CHLORIDE_STEP_MG_L)
    for target in np.arange(least, most + 1e-9, _CHLORIDE_STEP_MG_L):
        yield from _salts(season, loop, float(target))


def _salts(season: Season, loop: str, target: float) -> Iterator[Lever]:
    """Plain salt, or calcium chloride where crops grow and would get too much sodium."""
    file, layout = season.site.file, season.layout
    column = layout.loops.index(loop)
    table, units = file.loops[loop], file.site.units
    volume = float(layout.loop_water_m3[column])
    # of what the loop holds at first; the top-up water gets as much as the source lacks
    now = float(season.course.chloride_mg_l[0, 0, column])
    missing = max(target - now, 0.0)
    rise = max(target - source_level(table, "chloride"), 0.0)

    def level(solute: str, per_chloride: float) -> dict[str, str]:
        return {f"loops.{loop}.source_water.{solute}": f"{source_level(table, solute) + per_chloride * rise:.6g} mg/L"}

    def grams(per_chloride: float) -> str:
        return format_quantity(per_chloride * missing * volume, "weight", units)

    start = f"keep {target:.0f} mg/L of chloride in loop {loop}, top-up water too"
    chloride = {f"loops.{loop}.source_water.chloride": f"{target:g} mg/L"}
    salted = chloride | level("sodium", SODIUM_PER_CHLORIDE)
    sodium = _most_sodium(season, salted, column)
    if sodium is None:
        return
    reached = f"sodium then reaches {sodium:.0f} mg/L"
    if sodium <= SODIUM_CAUTION_MG_L or not _grows_crops(season, loop):
        bear = (
            f"and crops bear about {SODIUM_CAUTION_MG_L:g}" if _grows_crops(season, loop) else "and no crop grows there"
        )
        plain = format_quantity(float(salt_for_chloride(volume, now, target)), "weight", units)
        yield Lever(f"{start} (about {plain} of plain salt to begin with; {reached}, {bear})", salted)
        return
    yield Lever(
        f"{start} (about {grams(_CALCIUM_SALT)} of calcium chloride dihydrate to begin with, or "
        f"{grams(_POTASSIUM_SALT)} of potassium chloride, either food grade; not plain salt: {reached}, and crops bear "
        f"about {SODIUM_CAUTION_MG_L:g})",
        chloride | level("calcium", _CALCIUM),
    )


def _most_sodium(season: Season, changes: dict[str, Any], column: int) -> float | None:
    """Highest sodium of the loop in a season with the salt; None where that cannot be run. [mg/L]"""
    try:
        return float(season_with(season.site, changes).course.sodium_mg_l[0, :, column].max())
    except InputError:
        return None


def _grows_crops(season: Season, loop: str) -> bool:
    return any(bed.loop == loop and bed.plantings for bed in season.site.file.beds.values())
