"""What a day leaves in the season's course."""

from __future__ import annotations

from stocksim.compiled import jitable
from stocksim.engine.days.rows import *


@jitable
def keep(given: Given, state: State, day: int, kept: Kept) -> None:
    """Write the day into the course, in the order of its tables' rows."""
    live, leaf, unit, sump, solute = state.live, state.leaf, state.unit, state.sump, state.solute
    waste = state.waste
    _keep_fish(live, kept.fish[day])
    leaf, unit, tanks = leaf, unit, waste.shape[1]
    for i in range(leaf.shape[1]):
        _put(kept.leaf[day], i, (leaf[OXYGEN, i], leaf[OXYGEN_USED, i], leaf[TAN, i], leaf[NITRIFIED, i],
                                 leaf[NITRITE, i], leaf[OXIDIZED, i]))  # fmt: skip
    for i in range(tanks):
        # below 0 the bases of a large dose have taken it from bicarbonate, which is carried as owed carbon dioxide
        _put(kept.tank[day], i, (leaf[PH, i], max(solute[CO2, i], 0.0)))
    for u in range(unit.shape[1]):
        _put(kept.unit[day], u, (leaf[AMMONIA_CAPACITY, tanks + u], unit[AMMONIA_FILM, u], unit[NITRITE_FILM, u],
                                 unit[TAKEN, u], unit[TAKEN_CALCIUM, u], unit[TAKEN_POTASSIUM, u],
                                 unit[TAKEN_PHOSPHORUS, u]))  # fmt: skip
    for k in range(sump.shape[1]):
        _keep_loop(given, state, k, kept.loop[day])


@jitable
def _put(table: FloatArray, column: int, values: tuple[float, ...]) -> None:
    for row in range(len(values)):
        table[row, column] = values[row]


@jitable
def _keep_fish(live: FloatArray, table: FloatArray) -> None:
    for c in range(live.shape[1]):
        _put(table, c, (
            live[HERE, c] - live[DEATHS, c], live[DEATHS, c], live[WEIGHT, c], live[GREATEST, c], live[SPREAD, c],
            live[OFFERED, c], live[EATEN, c], live[GAIN, c], live[OXYGEN_USE, c], live[EXCRETED, c],
            live[SHARE, c] * live[NITRITE_SHARE, c],
        ))  # fmt: skip


@jitable
def _keep_loop(given: Given, state: State, k: int, table: FloatArray) -> None:
    sump, solute = state.sump, state.sump_solute
    nitrate_held = sump[SUMP_NITRATE, k] * given.loop[SUMP_VOLUME, k]
    solids_n = state.sediment[1, k] + state.settled[1, k] + solute[SOLIDS_N, k] * given.loop[SUMP_VOLUME, k]
    made_n = 0.0
    for i in range(given.loop_of.size):
        if given.loop_of[i] == k:
            nitrate_held += state.leaf[NITRATE, i] * given.leaf[VOLUME, i]
            solids_n += state.solute[SOLIDS_N, i] * given.leaf[VOLUME, i]
            if i < state.waste.shape[1]:
                made_n += state.waste[SOLIDS_N - FROM_FISH, i]
    _put(table, k, (
        sump[SUMP_OXYGEN, k], sump[SUMP_OXYGEN_USED, k], sump[SUMP_TAN, k], sump[UREA, k] + sump[SUMP_AMMONIA, k],
        sump[SUMP_NITRATE, k], sump[SUMP_NITRITE, k], nitrate_held,
        sump[HELD_ALKALINITY, k] / given.loop[LOOP_WATER, k], solute[POTASSIUM, k], solute[PHOSPHORUS, k],
        solute[CALCIUM, k], solute[SOLIDS, k], solute[CHLORIDE, k], solute[SODIUM, k], sump[UPTAKEN, k],
        sump[DENITRIFIED, k], sump[DOSE, k] * given.loop[SALT_PER_ALKALINITY, k], sump[TOP_UP, k], sump[OUTFLOW, k],
        made_n, sump[FREED_N, k], solids_n, sump[SLUDGE_N, k] + sump[OUTFLOW, k] * solute[SOLIDS_N, k],
        sump[DRAWN_N, k], sump[DRAWN_P, k],
    ))  # fmt: skip
