"""The swing of a day about its mean, against the same equations run hour by hour."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from stocksim.engine.arrays.tables import with_scenarios
from stocksim.engine.results.findings import tank_extremes
from stocksim.engine.results.hours import after_meals
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.loop import daily_swing
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L, OXYGEN_TO_NITRATE, OXYGEN_TO_NITRITE

K = HALF_SATURATION_TAN_MG_L
SEEDS, LOOPS, LEAVES = st.integers(0, 2**32 - 1), st.integers(1, 3), st.integers(1, 9)
stars = given(SEEDS, LOOPS, LEAVES)


def swing_of(volume, exchange, flow, sump_volume, sump_exchange, members, amplitude):
    """Amplitudes of the leaves for one wave a day."""
    swing, room = np.zeros(volume.size, complex), np.zeros((2, sump_volume.size), complex)
    loop_of = members.argmax(axis=1)
    daily_swing(1, volume, exchange, flow, sump_volume, sump_exchange, loop_of, amplitude, swing, *room)
    return swing


def swing_rate(volume, exchange, flow, sump_volume, sump_exchange, members, amplitude):
    """Departure from the mean with a load of Re(amplitude exp(2 pi i t)), for an ordinary solver; t in days."""
    leaves = volume.size

    def rate(time: float, level: np.ndarray) -> np.ndarray:
        leaf, sump = level[:leaves], level[leaves:]
        load = (amplitude * np.exp(2j * np.pi * time)).real
        leaf_rate = (load - exchange * leaf + flow * (members @ sump - leaf)) / volume
        return np.concatenate([leaf_rate, ((flow * leaf) @ members - sump_exchange * sump) / sump_volume])

    return rate


@settings(max_examples=examples(25))
@stars
def test_daily_swing_solves_the_hourly_equations(seed, loops, leaves):
    rng = np.random.default_rng(seed)
    members = np.eye(loops)[rng.integers(0, loops, leaves)]
    volume, flow = rng.uniform(0.3, 4.0, leaves), rng.uniform(1.0, 40.0, leaves)
    exchange, sump_volume = rng.uniform(0.0, 20.0, leaves), rng.uniform(0.3, 4.0, loops)
    sump_exchange = flow @ members + rng.uniform(0.1, 5.0, loops)
    amplitude = rng.uniform(0.0, 100.0, leaves) * np.exp(1j * rng.uniform(0.0, 6.28, leaves))
    leaf = swing_of(volume, exchange, flow, sump_volume, sump_exchange, members, amplitude)
    sump = ((flow * leaf) @ members) / (sump_exchange + 2j * np.pi * sump_volume)
    rate = swing_rate(volume, exchange, flow, sump_volume, sump_exchange, members, amplitude)
    start = np.concatenate([leaf, sump]).real
    hours = np.linspace(0.0, 1.0, 13)
    course = solve_ivp(rate, (0.0, 1.0), start, "LSODA", hours, rtol=1e-8, atol=1e-8)
    expected = (leaf[:, None] * np.exp(2j * np.pi * hours)).real
    # a wrong amplitude would leave the wave at once; 1e-5 of it is a thousand times the integration's own tolerance
    assert np.abs(course.y[:leaves] - expected).max() <= 1e-5 * np.abs(amplitude).max()


def test_daily_swing_from_rest_settles_to_its_size():
    # a star near the demonstration site's cool loop, run for ten days from rest in steps of five minutes at most
    volume, flow = np.array([0.9, 1.2, 4.2, 0.6]), np.array([31.0, 36.0, 50.0, 72.0])
    exchange, members = np.array([9.0, 7.0, 6.0, 72.0]), np.ones((4, 1))
    sump_volume, sump_exchange = np.array([3.6]), flow.sum(keepdims=True) + 1.5
    amplitude = np.array([40.0, 35.0, 0.0, 0.0], complex)
    rate = swing_rate(volume, exchange, flow, sump_volume, sump_exchange, members, amplitude)
    times = np.arange(9.0, 10.0, 1.0 / 288.0)
    course = solve_ivp(rate, (0.0, 10.0), np.zeros(5), "LSODA", times, rtol=1e-8, atol=1e-10, max_step=1.0 / 288.0)
    measured = np.abs(course.y[:4]).max(axis=1)
    expected = np.abs(swing_of(volume, exchange, flow, sump_volume, sump_exchange, members, amplitude))
    # the greatest of 288 samples is below the wave's top by at most 1 - cos(pi/288) = 6e-5
    np.testing.assert_allclose(measured, expected, rtol=1e-4)


def following(rise: int, tau_h: float, meals: list[float], hour: float) -> float:
    """What follows a day's meals at an hour over its mean of the day, each meal's own curve since two days added up."""
    since = np.array([hour - meal + 24.0 * back for meal in meals for back in range(5)])
    curve = np.maximum(since, 0.0) ** rise * np.exp(-np.maximum(since, 0.0) / tau_h) * (since > 0.0)
    return float(24.0 * curve.sum() / (len(meals) * math.factorial(rise) * tau_h ** (rise + 1)))


def hourly_day(layout, course, day: int, spin_up_days: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Lowest oxygen and highest TAN of each tank over one day, the loops' nonlinear equations integrated hour by hour.

    What follows the meals at 8:00 and 17:00 comes by each meal's own curve; both oxidizers follow TAN and nitrite of
    the moment with the day's capacity, and take oxygen; the day is repeated until start and end agree.
    """
    tanks, leaves = len(layout.tanks), layout.leaf_loop.shape[0]
    loops = len(layout.loops)
    volume, sump_volume = layout.volume_m3, layout.sump_volume_m3
    flow, members = layout.flow_m3_day, layout.leaf_loop
    returned = flow @ members
    exchange, exchange_load = course.leaf_exchange_m3_day[0, day], course.leaf_exchange_load_g[0, day]
    sump_exchange, sump_exchange_load = course.sump_exchange_m3_day[0, day], course.sump_exchange_load_g[0, day]
    level, nitrite = course.tan_mg_l[0, day], course.nitrite_mg_l[0, day]
    # the day's capacities, oxygen share and film included
    capacity = course.nitrified_g[0, day] * (K + level) / np.maximum(level, 1e-12)
    half = HALF_SATURATION_NITRITE_MG_L
    second_capacity = course.nitrite_oxidized_g[0, day] * (half + nitrite) / np.maximum(nitrite, 1e-12)
    fish_oxygen = course.fish_oxygen_g[0, day] @ layout.cohort_tank
    excreted = AMMONIA_SHARE_OF_EXCRETION * (course.excreted_nitrogen_g[0, day] @ layout.cohort_tank)
    fed, moved = (part[0, day] @ layout.cohort_tank for part in after_meals(with_scenarios(layout), course))

    def rate(time: float, state: np.ndarray) -> np.ndarray:
        tan, no2, oxygen, tan_sump, no2_sump, oxygen_sump = np.split(
            state, np.cumsum([leaves, leaves, leaves, loops, loops])
        )
        oxygen_wave, ammonia_wave = (
            following(rise, tau, [8.0, 17.0], 24.0 * (time % 1.0)) - 1.0 for rise, tau in ((1, 4.0), (2, 2.1))
        )
        nitrified, oxidized = capacity * tan / (K + tan), second_capacity * no2 / (half + no2)
        tan_rate = flow * (members @ tan_sump - tan) - nitrified
        tan_rate[:tanks] += excreted + moved * ammonia_wave
        no2_rate = flow * (members @ no2_sump - no2) + nitrified - oxidized
        oxygen_rate = flow * (members @ oxygen_sump - oxygen) + exchange_load - exchange * oxygen
        oxygen_rate -= OXYGEN_TO_NITRITE * nitrified + OXYGEN_TO_NITRATE * oxidized
        oxygen_rate[:tanks] -= fish_oxygen + fed * oxygen_wave
        tan_sump_rate = (flow * tan) @ members - returned * tan_sump + course.sump_tan_load_g[0, day]
        no2_sump_rate = (flow * no2) @ members - returned * no2_sump
        oxygen_sump_rate = (flow * oxygen) @ members - (returned + sump_exchange) * oxygen_sump + sump_exchange_load
        oxygen_sump_rate -= course.sump_oxygen_used_g[0, day]
        leaf_rates, sump_rates = (tan_rate, no2_rate, oxygen_rate), (tan_sump_rate, no2_sump_rate, oxygen_sump_rate)
        return np.concatenate([*(rate / volume for rate in leaf_rates), *(rate / sump_volume for rate in sump_rates)])

    start = np.concatenate([
        level, nitrite, course.oxygen_mg_l[0, day], course.sump_tan_mg_l[0, day], course.sump_nitrite_mg_l[0, day],
        course.sump_oxygen_mg_l[0, day],
    ])  # fmt: skip
    times = spin_up_days + np.arange(0.0, 1.0, 1.0 / 96.0)
    run = solve_ivp(rate, (0.0, times[-1]), start, "LSODA", times, rtol=1e-6, atol=1e-7)
    return run.y[2 * leaves : 2 * leaves + tanks].min(axis=1), run.y[:tanks].max(axis=1)


# Days of the demonstration season from its first weeks (little feed) to its last. Measured: oxygen within 0.0015 mg/L,
# TAN 0.1-0.4 % low (0.003 mg/L at most), where 0.3 mg/L and 5 % would do for a keeper: held here to 0.005 mg/L and 1 %,
# so that a term left out shows. What the wave itself leaves out (several meals, a night without feed) is not tested.
@pytest.mark.parametrize("day", [30, 105, 180, 242])
def test_worst_hour_against_an_hourly_run(demo_season, day):
    layout, course = demo_season.layout, demo_season.course
    oxygen, tan = hourly_day(layout, course, day)
    worst = tank_extremes(layout, course)
    tanks = len(layout.tanks)
    toxic = unionized_fraction(course.ph[0, day], layout.temperature_c[day] @ layout.leaf_loop[:tanks].T)
    np.testing.assert_allclose(worst.oxygen_min_mg_l[0, day], oxygen, rtol=0.0, atol=0.005)
    off = np.abs(worst.unionized_max_mg_l[0, day] / toxic - tan)
    assert (off <= np.maximum(0.01 * tan, 0.005)).all()
