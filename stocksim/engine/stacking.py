"""Layouts of one structure taken together: their numbers become scenarios of one layout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.layout import Layout
from stocksim.engine.tables import float_arrays
from stocksim.memo import content_key

FloatArray = NDArray[np.float64]


def structure_key(layout: Layout) -> bytes:
    """Digest of all of a layout that its scenarios share: equal for layouts that may be `stacked`."""
    rations, water = layout.rations, layout.water
    return content_key(
        layout.start, layout.days, layout.tanks, layout.units, layout.loops, layout.cohorts, layout.roots,
        layout.stocked_day, layout.until_day, layout.happenings, layout.cohort_tank, layout.leaf_loop,
        rations.by_appetite, rations.tables, water.salts, water.tests,
    )  # fmt: skip


def stacked(layouts: Sequence[Layout]) -> Layout:
    """Layouts of one `structure_key` as scenarios of one.

    Parameters
    ----------
    layouts : sequence of Layout
        Without scenario axes.

    Returns
    -------
    Layout
        The first, its numbers with a scenario axis where they differ; ``count`` always has one.
    """
    first = layouts[0]
    found: dict[str, Any] = {}
    by_layout = {id(layout): numbers_of(layout) for layout in layouts}  # equal scenarios share one
    mine, *others = by_layout.values()
    for name, array in mine.items():
        if not all(other[name] is array or np.array_equal(other[name], array, equal_nan=True) for other in others):
            found[name] = np.stack([by_layout[id(layout)][name] for layout in layouts])
    return with_numbers(first, {"count": np.stack([layout.count for layout in layouts])} | found)


def numbers_of(layout: Layout) -> dict[str, FloatArray]:
    """All arrays of numbers of a layout by name, as ``count``, ``species.body_energy`` or ``water.start_nitrate``."""
    found = float_arrays(layout) | {"elevation_m": np.asarray(layout.elevation_m, float)}
    found |= {f"species.{key}": array for key, array in layout.species.items()}
    for table in ("rations", "water"):
        found |= {f"{table}.{key}": array for key, array in float_arrays(getattr(layout, table)).items()}
    return found


def with_numbers(layout: Layout, arrays: Mapping[str, FloatArray]) -> Layout:
    """The layout with other arrays of numbers, named as in `numbers_of`."""
    own: dict[str, Any] = {}
    inner: dict[str, dict[str, Any]] = {"species": {}, "rations": {}, "water": {}}
    for name, array in arrays.items():
        table, _, key = name.rpartition(".")
        if table:
            inner[table][key] = array
        else:
            own[key] = float(array) if key == "elevation_m" and np.ndim(array) == 0 else array
    return replace(
        layout,
        species={**layout.species, **inner["species"]},
        rations=replace(layout.rations, **inner["rations"]),
        water=replace(layout.water, **inner["water"]),
        **own,
    )
