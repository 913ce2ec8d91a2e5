"""What tanks and loops bear, as limits of a stocking program: density, oxygen at its daily lowest, biofilter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.extremes import OXYGEN_PEAK_FACTOR
from stocksim.engine.layout import Layout
from stocksim.planning.program import Limit
from stocksim.planning.unit_loads import UnitLoads, least_of_weeks, worst_of_weeks
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.loop import daily_swing
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, OXYGEN_PER_NITROGEN

FloatArray = NDArray[np.float64]


class OxygenResponse(NamedTuple):
    """How oxygen at its daily lowest answers to use, one scenario.

    ``without_fish`` (day, tank) [mg/L]; ``by_tank`` (tank, tank, day): fall in the first by 1 g/day of fish's use in
    the second, its daily swing included; ``by_loop`` (tank, day): fall by 1 g/day used in the sump. [mg/L per g/day]
    """

    without_fish: FloatArray
    by_tank: FloatArray
    by_loop: FloatArray


def oxygen_response(layout: Layout, course: Course, scenario: int = 0) -> OxygenResponse:
    """Oxygen of each tank as a linear function of what fish use.

    Parameters
    ----------
    layout, course
        A season's arrays.
    scenario : int
        Which one.

    Returns
    -------
    OxygenResponse
        Of all tanks; 0 between tanks of different loops.

    Notes
    -----
    The loop's own balance without storage, so as if each day lasted: leaves (flow + exchange) C = exchange C_air +
    flow C_sump - use, the sump likewise. It is linear while nothing runs dry. The swing is `daily_swing` of 0.4 of the
    use in each tank; swings of several tanks are added as if they came together, which is on the safe side.
    """
    tanks, members = len(layout.tanks), layout.leaf_loop
    flow = layout.flow_m3_day
    exchange, exchange_load = course.leaf_exchange_m3_day[scenario], course.leaf_exchange_load_g[scenario]
    sump_exchange = course.sump_exchange_m3_day[scenario]
    gain = flow + exchange
    passed = np.divide(flow, gain, out=np.zeros_like(gain), where=gain > 0.0)
    still = np.divide(exchange_load, gain, out=np.zeros_like(gain), where=gain > 0.0)
    sump_gain = flow @ members + sump_exchange - (flow * passed) @ members
    sump = (course.sump_exchange_load_g[scenario] + (flow * still) @ members) / sump_gain
    without_fish = (still + passed * (sump @ members.T))[:, :tanks]
    by_loop = (passed / (sump_gain @ members.T))[:, :tanks]
    same = members[:tanks] @ members[:tanks].T
    by_tank = same * by_loop[:, :, None] * passed[:, None, :tanks] + np.eye(tanks) / gain[:, :tanks, None]
    one_each = np.zeros((tanks, 1, members.shape[0]))
    one_each[np.arange(tanks), 0, np.arange(tanks)] = OXYGEN_PEAK_FACTOR - 1.0
    swing = daily_swing(
        layout.volume_m3, exchange, flow, layout.sump_volume_m3, flow @ members + sump_exchange, members, one_each
    )
    by_tank = by_tank + np.abs(swing[..., :tanks]).transpose(1, 2, 0)
    return OxygenResponse(without_fish, by_tank.transpose(1, 2, 0), by_loop.T)


def place_limits(
    layouts: Sequence[Layout],
    courses: Sequence[Course],
    loads: UnitLoads,
    is_film_mature: bool | Sequence[bool] = False,
    margin: float = 0.0,
) -> tuple[Limit, Limit, Limit]:
    """Density, oxygen and biofilter for the candidates.

    Parameters
    ----------
    layouts : sequence of Layout
        One an option, by `candidate_layout`: its species columns are the candidates.
    courses : sequence of Course
        One an option, of a run on the same tanks and loops at the option's temperature, whose first scenario gives pH,
        exchange with air, and the film.
    loads : UnitLoads
        Of the same options and candidates.
    is_film_mature : bool or sequence of bool
        Take films as mature at each day's temperature, where no run has fed them yet; for all options or for each.
    margin : float
        Share of every capacity kept in hand for what the model does not know. [-]

    Returns
    -------
    tuple of Limit
        By week, each at its worst day.

    Notes
    -----
    TAN is not in proportion to load. So the load may be no more than what the film removes at the level of the
    candidate's un-ionized limit, at the pH of the tank of its loop where ammonia is most toxic. What films and sump use
    of oxygen is set in proportion to the fish's own, at the greatest ratio of the week.
    """
    there = worst_of_weeks(loads.biomass_g) > 0.0
    load_by_week = worst_of_weeks(loads.oxygen_g)
    rest = loads.sump_oxygen_g + OXYGEN_PER_NITROGEN * loads.tan_g
    density, oxygen, biofilter, influence = [], [], [], []
    mature = np.broadcast_to(np.asarray(is_film_mature), len(layouts))
    for option, (layout, course) in enumerate(zip(layouts, courses, strict=True)):
        tanks = len(layout.tanks)
        loop = int(np.argmax(layout.cohort_loop[0]))
        weeks = there.shape[-1]
        bears = layout.density_limit[:, None] * layout.volume_m3[:tanks]
        density.append(np.repeat(bears[:, :, None], weeks, axis=2))
        response = oxygen_response(layout, course)
        floor = layout.species["oxygen_recommended"]
        oxygen.append(least_of_weeks(response.without_fish.T)[None] - floor[:, None, None])
        own = load_by_week[option]
        ratio = np.divide(worst_of_weeks(rest[option]), own, out=np.zeros_like(own), where=own > 0.0).max(axis=0)
        by_loop = worst_of_weeks(response.by_loop) * ratio
        influence.append(worst_of_weeks(response.by_tank) + by_loop[:, None])
        in_loop = layout.leaf_loop[:, loop] > 0.0
        toxic = unionized_fraction(course.ph[0], layout.temperature_c[:, [loop]])[:, in_loop[:tanks]].max(axis=1)
        film = course.capacity_g[0][:, tanks:] if mature[option] else course.film_capacity_g[0]
        level = layout.species["unionized_ammonia_design"][:, None] / toxic
        removed = film[:, in_loop[tanks:]].sum(axis=1) * level / (HALF_SATURATION_TAN_MG_L + level)
        biofilter.append(least_of_weeks(removed)[:, None])
    present = there[:, :, None]

    def where_there(capacity: list[FloatArray]) -> FloatArray:
        return np.where(present, (1.0 - margin) * np.stack(capacity), np.inf)

    return (
        Limit("density", "kg", worst_of_weeks(loads.biomass_g) / 1000.0, where_there(density)),
        Limit("oxygen", "mg/L", load_by_week, where_there(oxygen), influence=np.stack(influence)),
        Limit("biofilter", "g/day", worst_of_weeks(loads.tan_g), where_there(biofilter), is_of_loop=True),
    )
