"""Balances of a day for rows of scenarios at once, (scenario, leaf) and (scenario, loop), as tests write them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from stocksim.water.loop import balance_demand, balance_linear, balance_removal


class Star(NamedTuple):
    """Concentrations that balance a day, with each leaf's own use or removal."""

    leaf_mg_l: np.ndarray
    sump_mg_l: np.ndarray
    removed_g: np.ndarray


def removal(leaf_gain, leaf_load, flow, sump_gain, sump_load, members, capacity, half_saturation, start=1.0) -> Star:
    """`balance_removal` for each row."""
    level, removed, sump = np.zeros_like(leaf_gain), np.zeros_like(leaf_gain), np.full_like(sump_gain, start)
    for row in range(len(leaf_gain)):
        balance_removal(
            leaf_gain[row], leaf_load[row], flow[row], sump_gain[row], sump_load[row], members.argmax(axis=1),
            capacity[row], half_saturation, level[row], sump[row], removed[row],
        )  # fmt: skip
    return Star(level, sump, removed)


def need(leaf_gain, leaf_load, flow, sump_gain, sump_load, members, demand, sump_demand) -> tuple[Star, np.ndarray]:
    """`balance_demand` for each row."""
    level, used = np.zeros_like(leaf_gain), np.zeros_like(leaf_gain)
    sump, sump_used = np.ones_like(sump_gain), np.zeros_like(sump_gain)
    for row in range(len(leaf_gain)):
        balance_demand(
            leaf_gain[row], leaf_load[row], flow[row], sump_gain[row], sump_load[row], members.argmax(axis=1),
            demand[row], sump_demand[row], level[row], sump[row], used[row], sump_used[row],
        )  # fmt: skip
    return Star(level, sump, used), sump_used


def linear(leaf_gain, leaf_load, flow, returned, sump_gain, sump_load, members) -> tuple[np.ndarray, np.ndarray]:
    """`balance_linear` for each row."""
    level, sump = np.zeros_like(leaf_gain), np.zeros_like(sump_gain)
    for row in range(len(leaf_gain)):
        balance_linear(
            leaf_gain[row], leaf_load[row], flow[row], returned[row], sump_gain[row].copy(), sump_load[row].copy(),
            members.argmax(axis=1), level[row], sump[row],
        )  # fmt: skip
    return level, sump
