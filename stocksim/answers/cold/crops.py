"""Crops of each heating option: what they yield, and the nights that are too cold for them as they stand.

Apart from `tally` for its topic: that tells fish and fuel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.nodes import HeatRun
from stocksim.engine.arrays.bed_climate import months_of as bed_months
from stocksim.engine.arrays.beds import Batch, Stand, Stands, batch_harvest, build_stands
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.beds import bed_course
from stocksim.engine.results.course import Course, only
from stocksim.heat.plan import HeatPlan
from stocksim.site.notes import bed_room
from stocksim.site.quantities import MONTHS
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

CHILL_SLACK_C = 0.5  # below its set point air may fall so far within the hour (our choice)


class Crops(NamedTuple):
    """What one choice comes to for crops, by crop.

    Parameters
    ----------
    harvest_kg : dict of str to float
        Until the first night that is too cold for those that stand. [kg]
    nights : dict of str to int
        Nights on which its air lies below the crop's own limit as it stands there; only crops with such nights.
    """

    harvest_kg: dict[str, float]
    nights: dict[str, int]


def _greenhouse_air(plan: HeatPlan, run: HeatRun) -> FloatArray | None:
    """Daily mean air of the greenhouse, shape (choice, day); None without one. [degC]"""
    return run.mean_c[..., plan.nodes.index("greenhouse")].T if "greenhouse" in plan.nodes else None


def crops_of_choices(
    site: Site, layout: Layout, course: Course, temperature_c: FloatArray, plan: HeatPlan, run: HeatRun
) -> list[Crops]:
    """Crops that each choice's water and air allow with the nitrogen that its own season leaves them."""
    found = []
    air_c = _greenhouse_air(plan, run)
    months, as_said = bed_months(site), build_stands(site)
    rooms = [bed_room(bed, site.file) for bed in site.file.beds.values()]
    for row, water in enumerate(temperature_c):
        own = replace(site, held_c={key: water[:, n] for n, key in enumerate(layout.loops)})
        if air_c is not None:
            by_month = {MONTHS[month]: float(air_c[row][months == month].mean()) for month in np.unique(months)}
            place = own.file.site.model_copy(update={"air_temperature": by_month})
            own = replace(own, file=own.file.model_copy(update={"site": place}))
        # the season of every choice lets crops draw as the file's own way does
        met = bed_course(site, layout, only(course, row), as_said).met
        nights = [run.low_c[:, row, plan.nodes.index(room)] if room in plan.nodes else None for room in rooms]
        found.append(_crops_of(site, build_stands(own), met, nights))
    return found


def _crops_of(site: Site, stands: Stands, met: FloatArray, nights: Sequence[FloatArray | None]) -> Crops:
    """Harvest and cold nights by crop, given the lowest air of each night by bed, None where the air is not known."""
    crops = Crops({}, {})
    for stand in stands.stands:
        column = stands.beds.index(stand.bed)
        if np.isnan(met[:, column]).any():
            continue
        for batch in stand.batches:
            cold = _cold_nights(site, stand, batch, nights[column])
            picked = batch_harvest(batch, met[:, column])
            first = int(cold[0]) if cold.size else picked.size
            crops.harvest_kg[stand.crop] = crops.harvest_kg.get(stand.crop, 0.0) + float(picked[:first].sum())
            if cold.size:
                crops.nights[stand.crop] = max(crops.nights.get(stand.crop, 0), cold.size)
    return crops


def _cold_nights(site: Site, stand: Stand, batch: Batch, low_c: FloatArray | None) -> NDArray[np.int64]:
    """Days of a batch whose night is too cold for it, counted from its first."""
    if low_c is None:
        return np.zeros(0, int)
    limit = site.crops[stand.crop].number("temperature_low_limit", -np.inf)
    return np.flatnonzero(low_c[batch.first : batch.last + 1] < limit - CHILL_SLACK_C)
