"""Weather by the hour: normals met, synthetic years with the spread asked for, records bridged or refused."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stocksim.climate.weather import (
    HOURS,
    daily_wave,
    design_cold,
    hourly_air,
    seasonal_spread,
    synthetic_days,
    weather_of_days,
)
from stocksim.errors import InputError
from stocksim.site.logs import read_weather_file

START = dt.date(2026, 11, 1)
LOWS = st.lists(st.floats(-40.0, 15.0), min_size=3, max_size=30)


def test_the_wave_is_low_at_six_high_at_three_and_half_on_average():
    hours = np.arange(0.0, 24.0, 0.001)
    wave = daily_wave(hours)
    assert hours[np.argmin(wave)] == pytest.approx(6.0, abs=0.001)
    assert hours[np.argmax(wave)] == pytest.approx(15.0, abs=0.001)
    assert wave.mean() == pytest.approx(0.5, abs=1e-3)


@given(LOWS, st.floats(0.0, 20.0))
def test_hours_stay_between_low_and_high_of_their_days_and_run_on_without_a_jump(lows, span):
    low = np.array(lows)
    hourly = hourly_air(low, low + span).reshape(-1, HOURS)
    around = np.stack([np.roll(low, 1), low, np.roll(low, -1)])
    around[0, 0], around[2, -1] = low[0], low[-1]
    assert (hourly >= around.min(axis=0)[:, None] - 1e-9).all()
    assert (hourly <= around.max(axis=0)[:, None] + span + 1e-9).all()
    # from hour to hour at most the steepest part of the rise: half of pi/9 an hour of the largest fall or rise
    largest = around.max() - around.min() + span
    assert np.abs(np.diff(hourly.reshape(-1))).max() <= 0.5 * np.pi / 9.0 * largest + 1e-9


def test_the_daily_mean_of_steady_days_is_the_middle_of_low_and_high():
    hourly = hourly_air(np.full(5, -8.0), np.full(5, 2.0)).reshape(-1, HOURS)
    # half a unit of the sampling: 24 midpoints of the wave
    assert hourly[2].mean() == pytest.approx(-3.0, abs=0.01)
    assert hourly[2].min() == pytest.approx(-8.0, abs=0.1)
    assert hourly[2].max() == pytest.approx(2.0, abs=0.1)


def test_the_dew_point_is_the_low_and_the_sun_a_share_of_the_clear_sky():
    clear = np.full((2, HOURS), 100.0)
    weather = weather_of_days(np.array([-5.0, -4.0]), np.array([1.0, 2.0]), np.array([0.5, 0.25]), clear)
    assert weather.dew_c.tolist() == [-5.0, -4.0]
    assert weather.sun_w_m2.reshape(2, HOURS).mean(axis=-1).tolist() == [50.0, 25.0]


def test_synthetic_years_have_the_normals_as_mean_and_the_spread_and_persistence_asked_for():
    days, years = 120, 2000
    low, spread = np.linspace(5.0, -10.0, days), np.linspace(3.0, 6.0, days)
    cold, warm, share = synthetic_days(low, low + 9.0, np.full(days, 0.5), spread, years, seed=7)
    anomaly = (cold - low) / spread
    # standard errors of 240,000 values with correlation 0.7 from day to day: mean 0.005, deviation 0.004
    assert abs(anomaly.mean()) < 0.02
    assert anomaly.std(axis=0) == pytest.approx(1.0, abs=0.08)
    correlation = (anomaly[:, 1:] * anomaly[:, :-1]).mean()
    assert correlation == pytest.approx(0.7, abs=0.02)
    assert warm - cold == pytest.approx(9.0)
    assert 0.08 <= share.min() <= share.max() <= 1.0


def test_the_same_seed_gives_the_same_years_and_another_one_does_not():
    low = np.zeros(10)
    first, again, other = (
        synthetic_days(low, low + 5.0, np.full(10, 0.5), np.full(10, 4.0), 3, seed)[0] for seed in (1, 1, 2)
    )
    assert (first == again).all()
    assert (first != other).any()


def test_winter_days_spread_wider_and_the_design_night_lies_below_the_coldest_normal():
    spread = seasonal_spread([-10.0, 20.0])
    assert spread[0] > spread[1]
    assert seasonal_spread([4.0, 4.0]).tolist() == [5.5, 5.5]
    assert design_cold([-10.0], [4.0]) == -20.0


def write(tmp_path, text: str):
    path = tmp_path / "weather.csv"
    path.write_text(text, encoding="utf-8")
    return path


def daily_text(days: list[int], head: str = "date,low_c,high_c") -> str:
    rows = [f"{START + dt.timedelta(days=day)},{-day},{10 - day}" for day in days]
    return "\n".join([head, *rows]) + "\n"


def refusal(tmp_path, text: str, days: int = 5) -> str:
    with pytest.raises(InputError) as caught:
        read_weather_file(write(tmp_path, text), START, days)
    assert {(fault.table, fault.field) for fault in caught.value.faults} == {("weather", "file")}
    assert all(fault.message.endswith(".") for fault in caught.value.faults)
    return str(caught.value)


def test_a_daily_record_is_read_and_short_gaps_are_bridged_and_said(tmp_path):
    record = read_weather_file(write(tmp_path, daily_text([0, 1, 4])), START, 5)
    assert record.low_c.tolist() == [0.0, -1.0, -2.0, -3.0, -4.0]
    assert record.high_c.tolist() == [10.0, 9.0, 8.0, 7.0, 6.0]
    assert record.hourly_c is None
    assert "2 days without a reading" in record.notes[0]


def test_a_daily_record_in_fahrenheit_is_converted(tmp_path):
    record = read_weather_file(write(tmp_path, daily_text([0, 1], "date,low_f,high_f")), START, 2)
    assert record.low_c == pytest.approx([-160.0 / 9.0, -165.0 / 9.0])


def test_an_hourly_record_is_read_with_its_sun(tmp_path):
    rows = ["time,temperature_c,sun_w_m2"]
    moment = dt.datetime.combine(START, dt.time())
    rows += [f"{(moment + dt.timedelta(hours=h)).isoformat()},{h % 24},{100}" for h in range(48) if h not in (5, 6)]
    record = read_weather_file(write(tmp_path, "\n".join(rows)), START, 2)
    assert record.hourly_c is not None
    assert record.hourly_c.tolist() == [float(h % 24) for h in range(48)]
    assert record.sun_kwh_m2 == pytest.approx([2.4, 2.4])
    assert "a straight line bridges it" in record.notes[0]


def test_an_hour_that_stands_twice_is_said(tmp_path):
    rows = ["time,temperature_c"] + [f"2026-11-01T{h:02d}:00,1" for h in sorted([*range(24), 2])]
    (note,) = read_weather_file(write(tmp_path, "\n".join(rows)), START, 1).notes
    assert "two readings at 2026-11-01 02:00" in note


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("date,low_c,high_c\n", "but no day"),
        ("day,low_c,high_c\n2026-11-01,1,2\n", "column date or time"),
        ("date,low_c\n2026-11-01,1\n", "column high_c or high_f"),
        ("date,low_c,high_c\n2026-11-01,x,2\n", '"x" is not a number'),
        ("date,low_c,high_c\n2026-11-01,-99,2\n", "-70 to 60"),
        ("date,low_c,high_c\n1.11.2026,1,2\n", "is not a date"),
        ("date,low_c,high_c\n2026-11-01,3,2\n", "line 2: the low is "),
        (daily_text([0, 5]), "on 2026-11-02 to 2026-11-05"),
        (daily_text([0, 1, 2]), "log 2026-11-04 to 2026-11-05"),
        (daily_text([0, 1, 1, 2, 3, 4]), "line 4: 2026-11-02 stands in line 3 "),
        (daily_text([2, 3, 4]), "log 2026-11-01 to 2026-11-02"),
    ],
)
def test_a_record_with_gaps_or_slips_is_refused_in_a_sentence(tmp_path, text, words):
    assert words in refusal(tmp_path, text)


def test_an_hourly_record_with_a_long_gap_is_refused(tmp_path):
    rows = ["time,temperature_c"] + [f"2026-11-01T{h:02d}:00,1" for h in range(24) if not 5 <= h <= 15]
    assert "2026-11-01 04:00 to 2026-11-01 16:00" in refusal(tmp_path, "\n".join(rows), 1)


def test_a_missing_weather_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"gone\.csv was not"):
        read_weather_file(tmp_path / "gone.csv", START, 2)
