"""The worst hour of each day: oxygen at its lowest and un-ionized ammonia at its highest, tank by tank."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.layout import Layout, sums_by
from stocksim.engine.tables import with_scenarios
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.loop import daily_swing
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, OXYGEN_PER_NITROGEN

FloatArray = NDArray[np.float64]

# Peak over mean of the day: oxygen use after feeding 1.3-1.5 (from memory of Timmons & Ebeling, Recirculating
# Aquaculture), middle taken. Ammonia follows a meal by 4-6 hours (same, from memory); no read source gives its peak, so
# the upper end of the oxygen factor is taken for it.
OXYGEN_PEAK_FACTOR = 1.4
AMMONIA_PEAK_FACTOR = 1.5


class Extremes(NamedTuple):
    """Arrays (scenario, day, tank). [mg/L]"""

    oxygen_min_mg_l: FloatArray
    unionized_mg_l: FloatArray
    unionized_max_mg_l: FloatArray


def tank_extremes(layout: Layout, course: Course) -> Extremes:
    """Worst levels of each day, from one wave of feeding and excretion a day through the loop balance.

    Parameters
    ----------
    layout : Layout
        Arrays of the site.
    course : Course
        Its season.

    Returns
    -------
    Extremes
        Oxygen minimum, un-ionized ammonia mean and maximum.

    Notes
    -----
    The fish's use of oxygen and excretion are taken as a wave of one day about their mean, 1.4 and 1.5 times the mean
    at its top (less for more than two meals a day, more for one); tanks, sump and beds damp it as their volumes and
    flows do. pH is held at its daily value; it falls a little when fish breathe most, so the maximum is on the safe
    side.
    """
    layout = with_scenarios(layout)
    tanks = len(layout.tanks)
    members, flow = layout.leaf_loop, layout.flow_m3_day[:, None]
    volume, sump_volume = layout.volume_m3[:, None], layout.sump_volume_m3[:, None]
    returned = sums_by(flow, members)
    share_at_leaf = course.nitrified_g / np.maximum(course.tan_mg_l, 1e-12)  # m3/day cleaned of TAN
    slope = share_at_leaf * HALF_SATURATION_TAN_MG_L / (HALF_SATURATION_TAN_MG_L + course.tan_mg_l)
    load = np.zeros(course.tan_mg_l.shape, dtype=complex)
    swing = layout.rations.meal_swing[:, None]
    excreted = AMMONIA_SHARE_OF_EXCRETION * ((course.excreted_nitrogen_g * swing) @ layout.cohort_tank)
    load[..., :tanks] = (AMMONIA_PEAK_FACTOR - 1.0) * excreted
    tan_swing = daily_swing(volume, slope, flow, sump_volume, returned, members, load)
    load = -OXYGEN_PER_NITROGEN * slope * tan_swing
    load[..., :tanks] -= (OXYGEN_PEAK_FACTOR - 1.0) * ((course.fish_oxygen_g * swing) @ layout.cohort_tank)
    oxygen_swing = daily_swing(
        volume,
        course.leaf_exchange_m3_day,
        flow,
        sump_volume,
        returned + course.sump_exchange_m3_day,
        members,
        load,
    )
    temperature = (layout.temperature_c @ members.T)[..., :tanks]
    toxic = unionized_fraction(course.ph, temperature)
    tan = course.tan_mg_l[..., :tanks]
    return Extremes(
        np.maximum(course.oxygen_mg_l[..., :tanks] - np.abs(oxygen_swing[..., :tanks]), 0.0),
        toxic * tan,
        toxic * (tan + np.abs(tan_swing[..., :tanks])),
    )
