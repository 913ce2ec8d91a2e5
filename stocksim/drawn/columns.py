"""Columns of a site's files that rest on its plantings and its heat, of many drawn seasons.

Apart from `engine.results.many`, whose scenarios may differ in beds: drawn seasons all have the site's own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.beds import Planting
from stocksim.engine.arrays.layout import Layout, sums_by
from stocksim.engine.results.beds import BedCourse, balance_area, bed_courses, dissolved_nitrogen
from stocksim.engine.results.course import Course
from stocksim.engine.results.many import COLUMNS
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]
Kept = tuple[tuple[str, ...], NDArray[np.float32]]  # places, and values (scenario, day, place)

HEAT_COLUMN = "loops.heat_kwh"  # of the drawn year, not of the days that the engine runs


@dataclass(frozen=True)
class Grown:
    """Beds of some drawn seasons.

    Parameters
    ----------
    site : Site
        The site.
    planting : Planting
        What is planted, in every season the same.
    layout, course : Layout, Course
        Of the seasons.
    """

    site: Site
    planting: Planting
    layout: Layout
    course: Course

    @cached_property
    def beds(self) -> BedCourse:
        """What the beds took and gave, arrays (scenario, day, bed)."""
        return bed_courses(self.site, self.layout, self.course, self.planting.stands)

    @property
    def balance_m2(self) -> FloatArray:
        """Planted area that would take up each loop's nitrogen, shape (scenario, day, loop)."""
        excreted = AMMONIA_SHARE_OF_EXCRETION * sums_by(self.course.excreted_nitrogen_g, self.layout.cohort_loop)
        supply = dissolved_nitrogen(self.layout, self.course, excreted + self.course.sump_tan_load_g)
        return balance_area(supply, self.planting.stands)


BED_COLUMNS: Mapping[str, Callable[[Grown], FloatArray]] = {
    "beds.planted_area_m2": lambda grown: grown.planting.bed_area_m2,
    "beds.nitrogen_uptake_g": lambda grown: grown.beds.taken_g("nitrogen"),
    "beds.nitrogen_shortfall_g": lambda grown: grown.beds.shortfall_g("nitrogen"),
    "beds.potassium_shortfall_g": lambda grown: grown.beds.shortfall_g("potassium"),
    "beds.alkalinity_given_back_g": lambda grown: grown.beds.alkalinity_g,
    "beds.yield_kg": lambda grown: grown.beds.harvest_kg,
    "loops.balance_area_m2": lambda grown: grown.balance_m2,
}
EVERY_COLUMN = (*COLUMNS, *BED_COLUMNS, HEAT_COLUMN)


def bed_column(heading: str, grown: Grown) -> Kept:
    """One of `BED_COLUMNS` of some seasons; where it is the same in all, one for each all the same."""
    values = BED_COLUMNS[heading](grown)
    places = grown.planting.beds if heading.startswith("beds.") else grown.layout.loops
    shape = (len(grown.course.count), grown.layout.days, len(places))
    return tuple(places), np.broadcast_to(values, shape).astype(np.float32)
