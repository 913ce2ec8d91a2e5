"""Time left when the power is out: worked values, exact solutions, limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from stocksim.water.oxygen import oxygen_saturation
from stocksim.water.reserve import (
    WATER_HEAT_J_M3_K,
    cylinder_oxygen_g,
    hours_to_temperature,
    minutes_to_level,
    tank_loss_w_k,
)


@pytest.mark.parametrize(
    ("celsius", "kg_m3", "mg_kg_h", "to_mg_l", "minutes"),
    [(10.0, 40.0, 150.0, 4.0, 59.1), (25.0, 60.0, 300.0, 3.0, 13.9)],
)
def test_worked_reserve(celsius, kg_m3, mg_kg_h, to_mg_l, minutes):
    # computed for this project from the formula; from 90 % of saturation, in the water that the fish leave; 1 %
    water_m3 = 1.0 - kg_m3 / 1000.0
    start = 0.9 * oxygen_saturation(celsius)
    ours = minutes_to_level(start, to_mg_l, water_m3, kg_m3 * mg_kg_h / 1000.0, 0.0, oxygen_saturation(celsius))
    assert ours == pytest.approx(minutes, rel=0.01)


# minutes from 7 to 3 mg/L by density [kg/m3] and use [mg/kg/h], without air: this project's table; the 10 minutes of
# warm fish at 60 kg/m3 are what a trade page says of a power cut in dense tanks
TABLE = {
    5: (120, 192, 400, 960),
    10: (60, 96, 200, 480),
    20: (30, 48, 100, 240),
    40: (15, 24, 50, 120),
    60: (10, 16, 33, 80),
}


@pytest.mark.parametrize("kg_m3", TABLE)
def test_table_of_densities(kg_m3):
    ours = minutes_to_level(7.0, 3.0, 1.0, kg_m3 * np.array([400.0, 250.0, 120.0, 50.0]) / 1000.0, 0.0, 9.0)
    # half a unit of the last printed digit
    np.testing.assert_allclose(ours, TABLE[kg_m3], atol=0.5)


TANK = {
    "oxygen_mg_l": st.floats(0.5, 15.0),
    "threshold_mg_l": st.floats(0.0, 10.0),
    "volume_m3": st.floats(0.1, 50.0),
    "use_g_h": st.floats(0.01, 500.0),
    "exchange_m3_day": st.one_of(st.just(0.0), st.floats(1e-9, 500.0)),
    "saturation_mg_l": st.floats(6.0, 14.0),
    "supply_g_h": st.floats(0.0, 50.0),
}
STILL = st.fixed_dictionaries(TANK)


@given(STILL)
def test_oxygen_at_that_time_is_the_threshold(tank):
    minutes = float(minutes_to_level(**tank))
    start, threshold = tank["oxygen_mg_l"], tank["threshold_mg_l"]
    net = 24.0 * (tank["supply_g_h"] - tank["use_g_h"])
    k, saturation = tank["exchange_m3_day"], tank["saturation_mg_l"]
    if start <= threshold:
        assert minutes == 0.0
    elif np.isinf(minutes):
        # at the threshold at least as much comes as goes
        assert net + k * (saturation - threshold) >= -1e-9 * (abs(net) + k * saturation) - 1e-12
    elif k * minutes / 1440.0 / tank["volume_m3"] < 20.0:  # else so near the balance that the numbers lose it
        rate = k / tank["volume_m3"] * minutes / 1440.0
        drive = (net + k * (saturation - start)) / tank["volume_m3"] * minutes / 1440.0
        fallen = drive * (-np.expm1(-rate) / rate if rate > 0.0 else 1.0)
        assert start + fallen == pytest.approx(threshold, abs=1e-6 * (1.0 + start))


@pytest.mark.parametrize("exchange", [0.0, 0.5, 12.0])
def test_against_stepping_the_balance(exchange):
    volume, use, supply, saturation = 1.7, 9.0, 1.5, 10.2

    def rate(_, oxygen):
        return (exchange * (saturation - oxygen) + 24.0 * (supply - use)) / volume

    minutes = float(minutes_to_level(8.8, 4.0, volume, use, exchange, saturation, supply))
    end = solve_ivp(rate, (0.0, minutes / 1440.0), [8.8], rtol=1e-10, atol=1e-12).y[0, -1]
    assert end == pytest.approx(4.0, abs=1e-6)


@given(STILL, st.floats(1.01, 3.0))
def test_helps_and_harms_work_the_right_way(tank, more):
    here = minutes_to_level(**tank)
    slack = 1e-9 * np.where(np.isfinite(here), here, 0.0)
    for name, sign in (
        ("use_g_h", -1),
        ("volume_m3", 1),
        ("supply_g_h", 1),
        ("threshold_mg_l", -1),
        ("saturation_mg_l", 1),
    ):
        other = minutes_to_level(**{**tank, name: tank[name] * more})
        assert other >= here - slack if sign > 0 else other <= here + slack, name


def test_a_whisper_of_exchange_is_like_none():
    without = minutes_to_level(8.0, 4.0, 2.0, 10.0, 0.0, 9.0)
    assert minutes_to_level(8.0, 4.0, 2.0, 10.0, 1e-12, 9.0) == pytest.approx(without, rel=1e-9)
    assert minutes_to_level(8.0, 4.0, 2.0, 10.0, 1e-5, 9.0) == pytest.approx(without, rel=1e-5)


def test_where_air_keeps_up_it_never_falls():
    # 24 g/day of use against 10 m3/day: the balance is 9 - 2.4 = 6.6 mg/L
    assert np.isinf(minutes_to_level(8.0, 6.5, 2.0, 1.0, 10.0, 9.0))
    assert np.isfinite(minutes_to_level(8.0, 6.7, 2.0, 1.0, 10.0, 9.0))
    assert np.isinf(minutes_to_level(8.0, 4.0, 2.0, 5.0, 0.0, 9.0, supply_g_h=5.0))
    assert minutes_to_level(4.0, 4.0, 2.0, 5.0, 0.0, 9.0) == 0.0
    # already below, with use and supply in balance
    assert minutes_to_level(6.0, 8.0, 1.0, 6.0, 1.0, 6.0, supply_g_h=6.0) == 0.0


def test_time_constant_of_cooling():
    # 2 m3 with 100 W/K: 23.3 h, worked from 4.186 kJ/kg/K
    assert hours_to_temperature(10.0 * np.e, 10.0, 0.0, 2.0, 100.0) == pytest.approx(23.3, abs=0.05)


WARM = (
    st.floats(-10.0, 35.0),
    st.floats(-10.0, 35.0),
    st.floats(-20.0, 35.0),
    st.floats(0.1, 50.0),
    st.floats(0.5, 2000.0),
)


@given(*WARM)
def test_temperature_at_that_time_is_the_threshold(start, threshold, room, volume, loss):
    hours = float(hours_to_temperature(start, threshold, room, volume, loss))
    if start <= threshold:
        assert hours == 0.0
    elif room >= threshold:
        assert np.isinf(hours)
    else:
        left = (start - room) * np.exp(-loss * hours * 3600.0 / (WATER_HEAT_J_M3_K * volume))
        assert room + left == pytest.approx(threshold, abs=1e-6)


@given(*WARM, st.floats(1.01, 4.0))
def test_more_water_lasts_longer_and_more_loss_shorter(start, threshold, room, volume, loss, more):
    here = hours_to_temperature(start, threshold, room, volume, loss)
    assert hours_to_temperature(start, threshold, room, volume * more, loss) >= here
    assert hours_to_temperature(start, threshold, room, volume, loss * more) <= here
    assert hours_to_temperature(start, threshold, room - more, volume, loss) <= here


def test_a_tank_that_loses_nothing_stays_warm():
    assert np.isinf(hours_to_temperature(20.0, 10.0, 0.0, 1.0, 0.0))


def test_tank_loss_by_hand():
    # 2 m3, 1 m deep: 2 m2, wall 2*sqrt(2 pi) = 5.0133 m2; 8 * 5.0133 + (15 + 2) * 2 = 74.11, covered (4 + 2) * 2: 52.11
    np.testing.assert_allclose(tank_loss_w_k(2.0, 1.0, [False, True]), [74.11, 52.11], atol=0.005)


@given(st.floats(0.05, 50.0), st.floats(0.2, 2.5), st.floats(1.01, 4.0))
def test_cover_helps_and_a_bigger_tank_loses_less_for_its_water(volume, depth, more):
    assert tank_loss_w_k(volume, depth, True) < tank_loss_w_k(volume, depth, False)
    assert tank_loss_w_k(volume * more, depth) / more < tank_loss_w_k(volume, depth)


def test_oxygen_cylinder():
    # molar volume at 15 degC and 1 atm 23.64 L (from memory), 31.998 g/mol: a liter of gas at 1 bar weighs 1.336 g
    assert cylinder_oxygen_g(10.0, 200.0) == pytest.approx(10.0 * 200.0 * 31.998 / (23.645 * 1.01325), rel=5e-4)
    assert cylinder_oxygen_g(10.0, 0.0) == 0.0


def test_arrays_broadcast_and_nan_stays():
    tank = [np.array([[8.0], [7.0]]), np.array([2.0, 4.0, 9.0]), 2.0, 10.0, 1.0, 9.0, 0.0]
    whole = minutes_to_level(*tank)
    assert whole.shape == (2, 3)
    assert minutes_to_level(7.0, 4.0, 2.0, 10.0, 1.0, 9.0) == pytest.approx(whole[1, 1])
    for hit in range(len(tank)):
        spoiled = [np.nan if number == hit else value for number, value in enumerate(tank)]
        assert np.isnan(minutes_to_level(*spoiled)).all()
    warm = [np.array([[18.0], [12.0]]), np.array([10.0, 14.0, 20.0]), 5.0, 2.0, 80.0]
    assert hours_to_temperature(*warm).shape == (2, 3)
    for hit in range(len(warm)):
        spoiled = [np.nan if number == hit else value for number, value in enumerate(warm)]
        assert np.isnan(hours_to_temperature(*spoiled)).all()
    assert np.isnan(tank_loss_w_k(np.nan, 1.0))
    assert np.isnan(cylinder_oxygen_g(np.nan, 1.0))
