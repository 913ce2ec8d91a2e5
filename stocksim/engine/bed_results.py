"""What beds took and gave in a season: nitrogen, potassium, harvest, and the area that the feed's nitrogen carries."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.layout import Layout
from stocksim.engine.stands import Stands
from stocksim.engine.wicking import Wicking, wicking_beds
from stocksim.library.crops import NUTRIENTS
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

# Under this a square metre of crops hardly grows, and the area that would balance a loop means nothing: a tenth of what
# the demonstration's crops draw in December (assumed). [g/m2/day]
LEAST_DRAW_G_M2 = 0.01


@dataclass(frozen=True)
class BedCourse:
    """Beds through a season, arrays (day, bed) of the first scenario.

    Parameters
    ----------
    demand_g, uptake_g : mapping of str to ndarray
        Nitrogen, calcium, potassium, phosphorus: wanted with plenty of all, and taken. [g/day] Calcium of wicking beds
        is not followed.
    met : ndarray
        Share of the nitrogen wanted that was taken; 1 where none was wanted, NaN for a wicking bed that nothing feeds.
    harvest_kg : ndarray
        Fresh harvest, cut down as nitrogen was short. [kg/day] NaN for a wicking bed that nothing feeds.
    wicking : Wicking
        What wicking beds were sent.
    """

    demand_g: dict[str, FloatArray]
    uptake_g: dict[str, FloatArray]
    met: FloatArray
    harvest_kg: FloatArray
    wicking: Wicking

    def shortfall_g(self, nutrient: str) -> FloatArray:
        """Wanted less taken, shape (day, bed). [g/day] NaN for a wicking bed that nothing feeds."""
        short = np.maximum(self.demand_g[nutrient] - self.uptake_g[nutrient], 0.0)
        return np.where(np.isnan(self.met), np.nan, short)

    def taken_g(self, nutrient: str) -> FloatArray:
        """Taken, shape (day, bed). [g/day] NaN for a wicking bed that nothing feeds."""
        return np.where(np.isnan(self.met), np.nan, self.uptake_g[nutrient])


def bed_course(site: Site, layout: Layout, course: Course, stands: Stands) -> BedCourse:
    """Beds of a season that was run.

    Parameters
    ----------
    site : Site
        A checked site.
    layout, course
        Its season.
    stands : Stands
        Its plantings.

    Returns
    -------
    BedCourse
        Arrays of the first scenario.
    """
    wicking = wicking_beds(site, layout, course, stands)
    followed = ("nitrogen", "calcium", "potassium", "phosphorus")
    demand = {key: stands.demand_g[NUTRIENTS.index(key)] for key in followed}
    uptake = {}
    for key in followed:
        taken = np.zeros((stands.days, len(stands.beds)))
        of_units = getattr(course, f"uptake_{key}_g")[0]
        for column, bed in enumerate(stands.beds):
            if f"beds.{bed}" in layout.units:
                taken[:, column] = of_units[:, layout.units.index(f"beds.{bed}")]
        uptake[key] = taken + wicking.uptake_g.get(key, 0.0)
    wanted = demand["nitrogen"]
    met = np.divide(uptake["nitrogen"], wanted, out=np.ones_like(wanted), where=wanted > 0.0)
    unknown = ~np.array(stands.on_loop, bool) & ~wicking.is_fed
    met = np.where(unknown, np.nan, met)
    harvest = np.where(np.isnan(met), np.nan, stands.harvest_kg(np.nan_to_num(met)))
    return BedCourse(demand, uptake, met, harvest, wicking)


def dissolved_nitrogen(layout: Layout, course: Course, produced_g: FloatArray) -> FloatArray:
    """Nitrogen that a loop's feed puts at its crops' disposal, shape (day, loop). [g/day]

    Parameters
    ----------
    layout, course
        A season.
    produced_g : ndarray, shape (day, loop)
        Ammonia nitrogen that fish and breaking solids gave to the water. [g/day]

    Returns
    -------
    ndarray, shape (day, loop)
        That, less what denitrification takes and what was dosed. [g/day]
    """
    return np.asarray(np.maximum(produced_g - layout.water.ammonia_dose_g - course.denitrified_n_g[0], 0.0))


def balance_area(supply_g: FloatArray, stands: Stands) -> FloatArray:
    """Planted area that would take up a loop's dissolved nitrogen, its mix of crops at all ages.

    Parameters
    ----------
    supply_g : ndarray, shape (day, loop)
        Of `dissolved_nitrogen`. [g/day]
    stands : Stands
        Plantings of the site.

    Returns
    -------
    ndarray, shape (day, loop)
        Area. [m2] NaN where nothing is ever planted, or crops hardly grow that day: a square metre at all ages draws
        less than `LEAST_DRAW_G_M2`.
    """
    draw = stands.even_nitrogen_g_m2
    return np.asarray(np.divide(supply_g, draw, out=np.full(draw.shape, np.nan), where=draw >= LEAST_DRAW_G_M2))
