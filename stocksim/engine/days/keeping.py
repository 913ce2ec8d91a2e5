"""What a day leaves in the season's course."""

from __future__ import annotations

from stocksim.compiled import jitable
from stocksim.engine.days.rows import *


@jitable
def keep(now: Now, day: int, kept: Kept) -> None:
    """Write the day into the course, in the order of its tables' rows."""
    fish, leaf, unit, loop = now.fish, now.leaf, now.unit, now.loop
    _keep_fish(fish, kept.fish[day])
    tanks = leaf.shape[1] - unit.shape[1]
    for i in range(leaf.shape[1]):
        _put(kept.leaf[day], i, (leaf[OXYGEN, i], leaf[OXYGEN_USED, i], leaf[TAN, i], leaf[NITRIFIED, i],
                                 leaf[NITRITE, i], leaf[OXIDIZED, i]))  # fmt: skip
    for i in range(tanks):
        # below 0 the bases of a large dose have taken it from bicarbonate, which is carried as owed carbon dioxide
        _put(kept.tank[day], i, (leaf[PH, i], max(leaf[CO2, i], 0.0)))
    for u in range(unit.shape[1]):
        _put(kept.unit[day], u, (leaf[AMMONIA_CAPACITY, tanks + u], unit[AMMONIA_FILM, u], unit[NITRITE_FILM, u],
                                 unit[TAKEN, u], unit[TAKEN_CALCIUM, u], unit[TAKEN_POTASSIUM, u],
                                 unit[TAKEN_PHOSPHORUS, u]))  # fmt: skip
    for k in range(loop.shape[1]):
        _keep_loop(now, k, kept.loop[day])


@jitable
def _put(table: FloatArray, column: int, values: tuple[float, ...]) -> None:
    for row in range(len(values)):
        table[row, column] = values[row]


@jitable
def _keep_fish(fish: FloatArray, table: FloatArray) -> None:
    for c in range(fish.shape[1]):
        _put(table, c, (
            fish[HERE, c] - fish[DEATHS, c], fish[DEATHS, c], fish[WEIGHT, c], fish[GREATEST, c], fish[SPREAD, c],
            fish[OFFERED, c], fish[EATEN, c], fish[GAIN, c], fish[OXYGEN_USE, c], fish[EXCRETED, c],
            fish[SHARE, c] * fish[NITRITE_SHARE, c],
        ))  # fmt: skip


@jitable
def _keep_loop(now: Now, k: int, table: FloatArray) -> None:
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    tanks = loop_of.size - now.unit.shape[1]
    nitrate_held = loop[SUMP_NITRATE, k] * loop[SUMP_VOLUME, k]
    solids_n = loop[SEDIMENT + 1, k] + loop[SETTLED + 1, k] + loop[SOLIDS_N, k] * loop[SUMP_VOLUME, k]
    made_n = 0.0
    for i in range(loop_of.size):
        if loop_of[i] == k:
            nitrate_held += leaf[NITRATE, i] * leaf[VOLUME, i]
            solids_n += leaf[SOLIDS_N, i] * leaf[VOLUME, i]
            if i < tanks:
                made_n += leaf[WASTE + SOLIDS_N - FROM_FISH, i]
    _put(table, k, (
        loop[SUMP_OXYGEN, k], loop[SUMP_OXYGEN_USED, k], loop[SUMP_TAN, k], loop[UREA, k] + loop[SUMP_AMMONIA, k],
        loop[SUMP_NITRATE, k], loop[SUMP_NITRITE, k], nitrate_held,
        loop[HELD_ALKALINITY, k] / loop[LOOP_WATER, k], loop[POTASSIUM, k], loop[PHOSPHORUS, k],
        loop[CALCIUM, k], loop[SOLIDS, k], loop[CHLORIDE, k], loop[SODIUM, k], loop[UPTAKEN, k],
        loop[DENITRIFIED, k], loop[DOSE, k] * loop[SALT_PER_ALKALINITY, k], loop[TOP_UP, k], loop[OUTFLOW, k],
        made_n, loop[FREED_N, k], solids_n, loop[SLUDGE_N, k] + loop[OUTFLOW, k] * loop[SOLIDS_N, k],
        loop[DRAWN_N, k], loop[DRAWN_P, k],
    ))  # fmt: skip
