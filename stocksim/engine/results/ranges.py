"""Where a season leaves the ranges that the sources of its formulas cover, told once it is run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.course import Course
from stocksim.heat.temperatures import warmth_of_site
from stocksim.site.reading import Site
from stocksim.site.rooms import ROOMS
from stocksim.validity import RANGED, Range, outside

FloatArray = NDArray[np.float64]


class LeftRange(NamedTuple):
    """A quantity that left a range at some place of a season.

    Parameters
    ----------
    formulas : tuple of str
        Names of the formulas whose range ends there.
    what : tuple of str
        What they give, in a keeper's words.
    sources : tuple of str
        Whose range it is, of each.
    argument, unit : str
        Name of the quantity and its unit.
    bound : float
        End of the range that was passed.
    is_above : bool
        Whether it was passed upward.
    where : str
        As ``tanks.cedar``, ``loops.main``, ``cohorts.perch``, ``greenhouse`` or ``site``.
    days : int
        Days on which it was.
    first_date : date
        The first of them.
    worst : float
        Farthest value.
    """

    formulas: tuple[str, ...]
    what: tuple[str, ...]
    sources: tuple[str, ...]
    argument: str
    unit: str
    bound: float
    is_above: bool
    where: str
    days: int
    first_date: dt.date
    worst: float


class _Course(NamedTuple):
    """A quantity by day and place; NaN where it is not there or no formula asks for it."""

    table: str  # with its dot
    places: tuple[str, ...]
    levels: FloatArray  # (day, place)


def left_ranges(site: Site, layout: Layout, course: Course, scenario: int = 0) -> list[LeftRange]:
    """Every range that a season leaves, and where.

    Parameters
    ----------
    site : Site
        The site that was run.
    layout : Layout
        Its arrays.
    course : Course
        What happened.
    scenario : int
        Which scenario.

    Returns
    -------
    list of LeftRange
        One for each bound and place, whatever number of formulas end there, in the order of the formulas.
    """
    found: dict[tuple[str, float, bool, str], LeftRange] = {}
    for name, quantities in _used(site, layout, course, scenario):
        for one in RANGED[name].ranges:
            for left in _left(name, one, quantities[one.argument], layout.start) if one.argument in quantities else ():
                key = (left.argument, left.bound, left.is_above, left.where)
                found[key] = left if key not in found else _joined(found[key], left)
    return list(found.values())


def _joined(first: LeftRange, other: LeftRange) -> LeftRange:
    """Two formulas that end at one bound."""
    return first._replace(
        formulas=first.formulas + other.formulas, what=first.what + other.what, sources=first.sources + other.sources
    )


def _left(name: str, one: Range, of: _Course, start: dt.date) -> list[LeftRange]:
    """Where and when a quantity left a range of a formula, downward and upward."""
    found = []
    for is_above, is_out in zip((False, True), outside(one, of.levels), strict=True):
        for column in np.flatnonzero(is_out.any(axis=0)):
            days = np.flatnonzero(is_out[:, column])
            levels = of.levels[days, column]
            found.append(
                LeftRange(
                    (name,), (RANGED[name].what,), (one.source,), one.argument, one.unit,
                    one.high if is_above else one.low, is_above, f"{of.table}{of.places[column]}", int(days.size),
                    start + dt.timedelta(days=int(days[0])), float(levels.max() if is_above else levels.min()),
                )
            )  # fmt: skip
    return found


def _used(site: Site, layout: Layout, course: Course, scenario: int) -> list[tuple[str, dict[str, _Course]]]:
    """Formulas that the season rests on, and what each of them takes."""
    tables, tanks = list(site.file.loops.values()), len(layout.tanks)

    def of_loops(levels: FloatArray, is_there: Sequence[bool] | NDArray[np.bool_] | None = None) -> _Course:
        """Levels by loop, of those alone where a formula is used."""
        shown = levels if is_there is None else np.where(np.asarray(is_there, bool), levels, np.nan)
        return _Course("loops.", layout.loops, shown)

    def of_tanks(levels: FloatArray, is_there: Sequence[bool]) -> _Course:
        used = np.asarray(is_there, bool) @ layout.leaf_loop[:tanks].T > 0.0
        return _Course("tanks.", layout.tanks, np.where(used, levels, np.nan))

    everywhere, warm = [True] * len(tables), layout.temperature_c
    elevation = _Course("", ("site",), np.full((layout.days, 1), float(layout.elevation_m)))
    chloride = of_loops(course.chloride_mg_l[scenario])
    has_device = (layout.device_g_day > 0.0) @ layout.leaf_loop + (layout.sump_device_g_day > 0.0) > 0.0
    is_solved = [table.ph is None for table in tables]
    is_dosed = [table.alkalinity_target is not None for table in tables]
    is_chalk = [table.buffer == "calcium_carbonate" and dosed for table, dosed in zip(tables, is_dosed, strict=True)]
    ph = course.ph[scenario]
    weight = np.where(course.there_in_morning[scenario], course.weight_g[scenario], np.nan)
    used: list[tuple[str, dict[str, _Course]]] = [
        ("air_pressure", {"elevation_m": elevation}),
        ("oxygen_saturation", {"temperature_c": of_loops(warm), "elevation_m": elevation, "chloride_mg_l": chloride}),
        ("carbon_dioxide_saturation", {"temperature_c": of_loops(warm), "elevation_m": elevation}),
        ("surface_exchange_velocity", {"temperature_c": of_loops(warm)}),
        ("device_exchange", {"temperature_c": of_loops(warm, has_device)}),
        ("water_drop_exchange", {"temperature_c": of_loops(warm, layout.return_drop_m > 0.0)}),
        (
            "unionized_fraction",
            {"ph": of_tanks(ph, everywhere), "temperature_c": of_loops(warm), "chloride_mg_l": chloride},
        ),
        ("oxidizer_growth", {"temperature_c": of_loops(warm)}),
        ("oxidizer_decay", {"temperature_c": of_loops(warm)}),
        (
            "ph_from_alkalinity",
            {
                "alkalinity_mg_l": of_loops(course.alkalinity_mg_l[scenario], is_solved),
                "carbon_dioxide_mg_l": of_tanks(course.co2_mg_l[scenario], is_solved),
                "temperature_c": of_loops(warm, is_solved),
            },
        ),
        ("buffer_dose", {"ph": of_tanks(ph, is_dosed), "temperature_c": of_loops(warm, is_dosed)}),
        ("chalk_room", {"ph": of_tanks(ph, is_chalk), "temperature_c": of_loops(warm, is_chalk)}),
        ("maintenance_energy", {"weight_g": _Course("cohorts.", layout.cohorts, weight)}),
    ]
    return used + _of_rooms(site)


def _of_rooms(site: Site) -> list[tuple[str, dict[str, _Course]]]:
    """The moist air of rooms whose heat is computed: coldest and warmest hour of each day."""
    warmth = warmth_of_site(site)
    if warmth is None:
        return []
    rooms = [(name, warmth.plan.nodes.index(name)) for name in ROOMS if name in warmth.plan.nodes]
    names, nodes = tuple(name for name, _ in rooms), [node for _, node in rooms]
    return [
        ("over_water_kpa", {"temperature_c": _Course("", names, hours[:, nodes])})
        for hours in (warmth.run.low_c, warmth.run.high_c)
    ]
