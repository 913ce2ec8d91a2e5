"""Seasons drawn from what is uncertain: points of a site's own cube, and the arrays that each point gives.

Apart from `outlook`, for published systems are drawn by it too, without the rest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.drawn.ranges import (
    MEASURED,
    UNCERTAIN,
    WEIGHED_FISH,
    Uncertain,
    quantile,
)
from stocksim.drawn.years import YEARS, heat_of_years, numbers_of_years, water_of_years
from stocksim.engine.arrays.beds import Planting, build_planting
from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.arrays.tables import numbers_of
from stocksim.engine.arrays.water import SOLUTES
from stocksim.fish.appetite import TRIAL_SPREAD
from stocksim.fish.normal import normal_score
from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY
from stocksim.heat.temperatures import loop_heat_kwh
from stocksim.site.model import Diffuser, MeasuredTransfer
from stocksim.site.reading import Site
from stocksim.water.nitrification import COLD_BELOW_C, THETA, THETA_COLD
from stocksim.water.oxygen import ALPHA_FISH_WATER, DIFFUSER_KG_PER_KWH

FloatArray = NDArray[np.float64]


class Axis(NamedTuple):
    """One axis of a site's cube.

    Parameters
    ----------
    one : Uncertain
        What lies along it.
    of : str
        The species or batch whose it is; empty where it is of the whole site.
    low, high : float
        Ends of its range.
    """

    one: Uncertain
    of: str
    low: float
    high: float

    @property
    def group(self) -> str:
        """What is measured to know it better."""
        return self.one.group


class _Made:
    """Arrays of some scenarios, each taken from the layout when it is first changed."""

    def __init__(self, usual: dict[str, FloatArray], scenarios: int):
        self.usual, self.scenarios = usual, scenarios
        self.arrays: dict[str, FloatArray] = {}

    def __getitem__(self, name: str) -> FloatArray:
        if name not in self.arrays:
            usual = self.usual[name]
            self.arrays[name] = np.broadcast_to(usual, (self.scenarios, *usual.shape)).copy()
        return self.arrays[name]


@dataclass(frozen=True)
class Draws:
    """What is uncertain of a site, ready to be drawn.

    Parameters
    ----------
    site : Site
        A checked site.
    layout : Layout
        Its arrays as a season takes them.
    axes : tuple of Axis
        What is uncertain.
    years : dict of str to ndarray, shape (year, ...)
        Numbers of the layout that differ between years of water.
    order : ndarray of int, shape (year,)
        Which of the years drawn with the seed each of them is.
    seed : int
        Of the years.
    """

    site: Site
    layout: Layout
    axes: tuple[Axis, ...]
    years: dict[str, FloatArray]
    order: NDArray[np.int64]
    seed: int

    @cached_property
    def planting(self) -> Planting:
        """What is planted, in every season the same."""
        return build_planting(self.site)

    @cached_property
    def heat_kwh(self) -> FloatArray:
        """Heat that each loop takes in each year, shape (year, day, loop). [kWh/day]"""
        return heat_of_years(self.site, len(self.order), self.seed)[self.order]

    def heat_at(self, points: FloatArray) -> FloatArray:
        """Heat of each loop at points of the cube, (scenario, day, loop); as calculated where no year is drawn."""
        year = self._year_at(points)
        if year is None:
            return np.broadcast_to(loop_heat_kwh(self.site), (len(points), *self.heat_kwh.shape[1:]))
        return self.heat_kwh[year]

    def _year_at(self, points: FloatArray) -> NDArray[np.int64] | None:
        """Which year each point has; None where the site's years do not differ."""
        for at, axis in enumerate(self.axes):
            if axis.one.key == "weather":
                return np.minimum((points[:, at] * len(self.order)).astype(int), len(self.order) - 1)
        return None

    @property
    def groups(self) -> tuple[str, ...]:
        """Groups of what is uncertain here, in the order of `MEASURED`."""
        here = {axis.group for axis in self.axes}
        return tuple(group for group in MEASURED if group in here)

    def in_group(self, group: str) -> NDArray[np.bool_]:
        """Which axes belong to a group, shape (axis,)."""
        return np.array([axis.group == group for axis in self.axes], bool)

    def arrays(self, points: FloatArray) -> dict[str, FloatArray]:
        """Numbers of the layout for points of the cube.

        Parameters
        ----------
        points : ndarray, shape (scenario, axis)
            Each coordinate from 0 to 1. [-]

        Returns
        -------
        dict of str to ndarray, shape (scenario, ...)
            As `stocksim.engine.arrays.tables.with_numbers` takes them.
        """
        made = _Made(numbers_of(self.layout), len(points))
        # the year first: what else is drawn multiplies what follows from its water
        year = self._year_at(points)
        if year is not None:
            made.arrays |= {name: bank[year] for name, bank in self.years.items()}
        for at, axis in enumerate(self.axes):
            if axis.one.key != "weather":
                value = quantile(axis.one, points[:, at], axis.low, axis.high)
                _CHANGES[axis.one.key](self, axis, made, value)
        return made.arrays


def prepared(site: Site, seed: int, years: int = YEARS) -> Draws:
    """What is uncertain of a site.

    Parameters
    ----------
    site : Site
        A checked site.
    seed, years : int
        Of the years of water, and how many to draw.

    Returns
    -------
    Draws
        Ready to be drawn.
    """
    layout = build_layout(site)
    water, order = water_of_years(site, years, seed)
    bank = numbers_of_years(site, layout, water)
    axes = [axis for one in UNCERTAIN for axis in _AXES_OF.get(one.key, _of_site)(one, site, layout)]
    return Draws(site, layout, tuple(axis for axis in axes if axis.one.key != "weather" or bank), bank, order, seed)


# --- which axes a site has


def _of_site(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    return [Axis(one, "", one.low, one.high)]


def _species(site: Site) -> list[str]:
    return list(dict.fromkeys(cohort.species for cohort in site.file.cohorts.values()))


def _appetites(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    """By the range of intake_scale of each species; the common spread of trials where a file tells none."""
    found = []
    for name in _species(site):
        scale = site.species[name].values["intake_scale"]
        reach = math.exp(-normal_score(0.05) * TRIAL_SPREAD)
        low = 1.0 / reach if scale.low is None else scale.low / scale.value
        high = reach if scale.high is None else scale.high / scale.value
        # a range on one side only is no wonder in a keeper's own file
        found.append(Axis(one, name, min(low, 0.999), max(high, 1.001)))
    return found


def _by_species(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    return [Axis(one, name, one.low, one.high) for name in _species(site)]


def _weights(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    found = []
    for root in dict.fromkeys(layout.roots):
        spread = float(layout.size_spread[layout.roots.index(root)])
        reach = -normal_score(0.05) * spread / math.sqrt(WEIGHED_FISH)
        if reach > 0.0:
            found.append(Axis(one, root, 1.0 - reach, 1.0 + reach))
    return found


def _spilled(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    return _of_site(one, site, layout) if _untold_spill(layout).any() else []


def _films(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    return _of_site(one, site, layout) if (layout.film_m2 > 0.0).any() else []


def _film_cold(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    is_cold = (layout.temperature_c < COLD_BELOW_C + 3.0).any()
    return _films(one, site, layout) if is_cold else []


def _crops(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    return _of_site(one, site, layout) if layout.water.alkalinity_per_n.any() else []


def _diffusers(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    leaf, sump = _supplied(site, layout, Diffuser)
    return _of_site(one, site, layout) if leaf.any() or sump.any() else []


def _measured(one: Uncertain, site: Site, layout: Layout) -> list[Axis]:
    leaf, sump = _supplied(site, layout, MeasuredTransfer)
    return _of_site(one, site, layout) if leaf.any() or sump.any() else []


_AXES_OF: dict[str, Callable[[Uncertain, Site, Layout], list[Axis]]] = {
    "appetite": _appetites, "body_energy": _by_species, "start_weight": _weights, "spilled_share": _spilled,
    "film_rate": _films, "film_warm": _films, "film_cold": _film_cold,
    "ammonia_growth": _films, "nitrite_growth": _films,
    "crop_alkalinity": _crops, "diffuser": _diffusers, "fish_water": _measured,
}  # fmt: skip


def _untold_spill(layout: Layout) -> NDArray[np.bool_]:
    """Columns whose rule does not tell what is spilled."""
    return np.array([getattr(stay.table.ration, "spilled_share", None) is None for stay in layout.stays], bool)


def _supplied(site: Site, layout: Layout, kind: type) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Leaves and sumps with one kind of oxygen supply."""
    file = site.file
    units = [name.split(".", 1) for name in layout.units]
    tables: Sequence[object] = [*file.tanks.values(), *(getattr(file, table)[key] for table, key in units)]
    leaf = [isinstance(getattr(table, "oxygen_supply", None), kind) for table in tables]
    sump = [isinstance(loop.oxygen_supply, kind) for loop in file.loops.values()]
    return np.array(leaf, bool), np.array(sump, bool)


# --- what each axis does to the arrays; a value for each scenario


def _columns(layout: Layout, axis: Axis) -> NDArray[np.bool_]:
    """Fish columns of an axis's species or batch."""
    if axis.one.key == "start_weight":
        return np.array([root == axis.of for root in layout.roots], bool)
    return np.array([stay.table.species == axis.of for stay in layout.stays], bool)


def _appetite(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["appetite_at_1g"][..., _columns(draws.layout, axis)] *= value[:, None, None]


def _body_energy(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["species.body_energy"][:, _columns(draws.layout, axis)] *= value[:, None]


def _spill(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["spilled_share"][:, _untold_spill(draws.layout)] = value[:, None]


def _everyday(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["daily_hazard"][...] += (value - BACKGROUND_DEATHS_PER_DAY)[:, None, None]
    made["everyday_hazard"][...] = value[:, None]


def _times(*names: str) -> Callable[[Draws, Axis, _Made, FloatArray], None]:
    """What multiplies whole arrays of one axis."""

    def change(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
        for name in names:
            made[name][...] *= value[:, None] / axis.one.middle

    return change


def _pace(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    """The law of temperature of films, by the water of each scenario."""
    water = made.arrays.get("temperature_c", made.usual["temperature_c"])
    if axis.one.key == "film_warm":
        base, over = THETA, np.maximum(water, COLD_BELOW_C) - 20.0
    else:
        base, over = THETA_COLD, np.minimum(water - COLD_BELOW_C, 0.0)
    made["film_pace"][...] *= (value / base)[:, None, None] ** over


def _growth(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["film_growth"][:, int(axis.one.key == "nitrite_growth")] *= value[:, None]


def _source_alkalinity(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["water.source_level"][:, SOLUTES.index("alkalinity")] *= value[:, None]


def _crop_alkalinity(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["water.alkalinity_per_n"][...] *= value[:, None, None]


def _aeration(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    leaf, sump = _supplied(draws.site, draws.layout, Diffuser if axis.one.key == "diffuser" else MeasuredTransfer)
    usual = DIFFUSER_KG_PER_KWH if axis.one.key == "diffuser" else ALPHA_FISH_WATER
    made["device_g_day"][:, leaf] *= (value / usual)[:, None]
    made["sump_device_g_day"][:, sump] *= (value / usual)[:, None]


def _start_weight(draws: Draws, axis: Axis, made: _Made, value: FloatArray) -> None:
    made["start_weight_g"][:, _columns(draws.layout, axis)] *= value[:, None]


_CHANGES: dict[str, Callable[[Draws, Axis, _Made, FloatArray], None]] = {
    "appetite": _appetite, "body_energy": _body_energy, "spilled_share": _spill, "everyday_deaths": _everyday,
    "oxygen_lethal": _times("species.oxygen_lethal"), "ammonia_acute": _times("species.unionized_ammonia_acute"),
    "nitrite_lethal": _times("species.nitrite_lethal"), "film_rate": _times("film_m2"), "film_warm": _pace,
    "film_cold": _pace, "ammonia_growth": _growth, "nitrite_growth": _growth, "source_alkalinity": _source_alkalinity,
    "crop_alkalinity": _crop_alkalinity, "diffuser": _aeration, "fish_water": _aeration,
    "start_weight": _start_weight,
}  # fmt: skip
