"""Water temperature of a season: monthly means kept to the last digit, a missing month named."""

from __future__ import annotations

import datetime as dt
from calendar import monthrange

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stocksim.climate.temperature import (
    MONTHS,
    month_smooth,
    monthly_temperature,
)
from stocksim.errors import InputError
from stocksim.site.weather import site_weather

START = dt.date(2026, 10, 1)
YEAR = dict(zip(range(1, 13), [12.2, 12.8, 13.9, 15.6, 17.8, 20.0, 22.0, 21.5, 19.0, 16.7, 14.4, 12.8], strict=True))
CELSIUS = st.floats(min_value=-5.0, max_value=45.0)
SEASONS = st.tuples(st.dates(dt.date(2000, 1, 1), dt.date(2060, 12, 31)), st.integers(1, 1100))


def oracle_meetings(means):
    """Temperatures where months meet, ends included: each of the two months on either side, the last one repeated."""
    last = len(means) - 1

    def mean(month):
        return means[min(max(month, 0), last)]

    return [(7 * (mean(m - 1) + mean(m)) - mean(m - 2) - mean(m + 1)) / 12 for m in range(last + 2)]


def oracle_daily(lengths, means):
    """Daily means by plain loops over months and days: the exact integral of each month's parabola, day by day."""
    meetings, daily = oracle_meetings(means), []
    for month, (length, mean) in enumerate(zip(lengths, means, strict=True)):
        left, right = meetings[month], meetings[month + 1]
        # left + b x + c x^2 with the right end and the mean given
        c = 3 * (left + right) - 6 * mean
        b = right - left - c

        def summed(day, left=left, b=b, c=c, length=length):
            x = day / length
            return length * (left * x + b * x**2 / 2 + c * x**3 / 3)

        daily += [summed(day + 1) - summed(day) for day in range(length)]
    return np.array(daily)


def steepest(lengths, means):
    """Largest slope that any month's parabola has, a day."""
    meetings = oracle_meetings(means)
    slopes = []
    for month, (length, mean) in enumerate(zip(lengths, means, strict=True)):
        left, right = meetings[month], meetings[month + 1]
        bend = 6 * mean - 3 * (left + right)
        slopes.append((abs(right - left) + abs(bend)) / length)
    return max(slopes)


def refusals(call, *arguments) -> list[str]:
    with pytest.raises(InputError) as caught:
        call(*arguments)
    return [str(fault) for fault in caught.value.faults]


@settings(deadline=None)  # other work may share the machine
@given(season=SEASONS, means=st.lists(CELSIUS, min_size=12, max_size=12))
def test_every_whole_month_keeps_its_mean(season, means):
    start, days = season
    monthly = dict(zip(range(1, 13), means, strict=True))
    daily = monthly_temperature(start, days, monthly)
    assert daily.shape == (days,)
    dates = [start + dt.timedelta(days=day) for day in range(days)]
    for year, month in {(date.year, date.month) for date in dates}:
        inside = np.array([(date.year, date.month) == (year, month) for date in dates])
        if inside.sum() == monthrange(year, month)[1]:
            assert daily[inside].mean() == pytest.approx(monthly[month], abs=1e-9)


@settings(deadline=None)  # other work may share the machine
@given(season=SEASONS, mean=CELSIUS)
def test_equal_months_give_the_same_every_day(season, mean):
    daily = monthly_temperature(*season, dict.fromkeys(range(1, 13), mean))
    assert daily == pytest.approx(np.full(season[1], mean), abs=1e-12)


@settings(deadline=None)  # other work may share the machine
@given(
    lengths=st.lists(st.integers(28, 31), min_size=1, max_size=30),
    data=st.data(),
)
def test_agrees_with_the_parabolas_written_out(lengths, data):
    means = data.draw(st.lists(CELSIUS, min_size=len(lengths), max_size=len(lengths)))
    daily = month_smooth(lengths, means)
    # 1e-10: sums of some 1e4 degree-days carry some 1e-12 in a float
    assert daily == pytest.approx(oracle_daily(lengths, means), abs=1e-10)


LENGTHS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
ORDINARY = st.floats(min_value=0.0, max_value=40.0)


@settings(deadline=None)  # other work may share the machine
@given(means=st.lists(ORDINARY, min_size=2, max_size=12))
def test_no_day_steps_away_from_the_day_before(means):
    lengths = LENGTHS[: len(means)]
    change = np.abs(np.diff(month_smooth(lengths, means))).max()
    assert change <= steepest(lengths, means) + 1e-9


def test_straight_steps_would_break_that_bound():
    lengths, means = [31, 28, 31], [17.0, 14.0, 13.0]
    assert np.abs(np.diff(np.repeat(means, lengths))).max() > 5 * steepest(lengths, means)


@settings(deadline=None)  # other work may share the machine
@given(means=st.lists(ORDINARY, min_size=12, max_size=12), month=st.integers(0, 11), other=ORDINARY)
def test_a_day_depends_on_no_month_more_than_two_away(means, month, other):
    changed = [other if m == month else mean for m, mean in enumerate(means)]
    far = np.abs(np.repeat(np.arange(12), LENGTHS) - month) > 2
    assert month_smooth(LENGTHS, changed)[far].tolist() == month_smooth(LENGTHS, means)[far].tolist()


@settings(deadline=None)  # other work may share the machine
@given(means=st.lists(ORDINARY, min_size=12, max_size=12))
def test_days_pass_their_months_by_a_quarter_of_their_range_at_most(means):
    daily = month_smooth(LENGTHS, means)
    for month, days in enumerate(np.split(daily, np.cumsum(LENGTHS)[:-1])):
        near = means[max(month - 2, 0) : month + 3]
        room = 0.26 * (max(near) - min(near)) + 1e-9
        assert min(near) - room <= days.min() <= days.max() <= max(near) + room


@settings(deadline=None)  # other work may share the machine
@given(season=SEASONS, means=st.lists(ORDINARY, min_size=12, max_size=12), data=st.data())
def test_a_day_is_the_same_whenever_the_season_begins_and_ends(season, means, data):
    start, days = season
    monthly = dict(zip(range(1, 13), means, strict=True))
    whole = monthly_temperature(start, days, monthly)
    first = data.draw(st.integers(0, days - 1))
    count = data.draw(st.integers(1, days - first))
    part = monthly_temperature(start + dt.timedelta(days=first), count, monthly)
    assert part.tolist() == whole[first : first + count].tolist()


def test_a_season_ended_earlier_keeps_its_days_where_only_its_own_months_are_given():
    """Without the months beyond, the two before the end may move; three months cut off leave the others as they are."""
    long = monthly_temperature(START, 243, {month: YEAR[month] for month in (10, 11, 12, 1, 2, 3, 4, 5)})
    short = monthly_temperature(START, 151, {month: YEAR[month] for month in (10, 11, 12, 1, 2)})
    assert short[: 31 + 30 + 31].tolist() == long[: 31 + 30 + 31].tolist()


def test_a_season_is_a_piece_of_the_whole_months_it_touches():
    whole = monthly_temperature(dt.date(2026, 10, 1), 31 + 30 + 31, YEAR)
    part = monthly_temperature(dt.date(2026, 10, 10), 70, YEAR)
    assert part.tolist() == whole[9:79].tolist()


def test_several_years_and_the_leap_day():
    start, end = dt.date(2026, 10, 10), dt.date(2028, 3, 5)
    daily = monthly_temperature(start, (end - start).days + 1, YEAR)
    february = (dt.date(2028, 2, 1) - start).days
    assert daily[february : february + 29].mean() == pytest.approx(YEAR[2], abs=1e-9)
    assert len(daily) == 513


def test_one_day_and_one_month():
    assert monthly_temperature(START, 1, {10: 16.7}) == pytest.approx([16.7])
    assert monthly_temperature(START, 31, {10: 16.7}) == pytest.approx(np.full(31, 16.7))


def test_scenarios_at_once_equal_one_by_one():
    rng = np.random.default_rng(7)
    lengths, means = [31, 30, 31, 31], rng.uniform(5, 25, (3, 2, 4))
    together = month_smooth(lengths, means)
    assert together.shape == (3, 2, 123)
    # 1e-12: the sums may be taken in another order
    for index in np.ndindex(3, 2):
        assert together[index] == pytest.approx(month_smooth(lengths, means[index]), abs=1e-12)


def test_nan_in_gives_nan_out_of_the_pure_function_only():
    with pytest.raises(InputError):
        monthly_temperature(START, 31, {10: np.nan})


@settings(deadline=None)  # other work may share the machine
@given(season=SEASONS, given_months=st.sets(st.integers(1, 12)))
def test_missing_months_are_named_in_the_order_of_the_season(season, given_months):
    start, days = season
    monthly = dict.fromkeys(given_months, 10.0)
    touched = list(dict.fromkeys((start + dt.timedelta(days=day)).month for day in range(min(days, 400))))
    missing = [MONTHS[month - 1] for month in touched if month not in given_months]
    if missing:
        [message] = refusals(monthly_temperature, start, days, monthly)
        assert f"needs {', '.join(missing)}, which" in message
        assert str(start) in message
    else:
        assert len(monthly_temperature(start, days, monthly)) == days


def test_a_missing_month_and_a_month_without_number_are_both_told():
    messages = refusals(monthly_temperature, START, 80, {10: float("nan"), 12: float("inf")})
    missing, *without_number = messages
    assert "2026-10-01 to 2026-12-19 needs nov," in missing
    assert [message.split(";")[0] for message in without_number] == ["oct is nan", "dec is inf"]


def test_months_outside_the_season_are_left_alone():
    assert monthly_temperature(START, 5, {10: 15.0, 7: float("nan")}).tolist() == [15.0] * 5


@pytest.mark.parametrize("days", [0, -3])
def test_a_season_without_days_is_refused(days):
    assert "at least 1 day" in refusals(monthly_temperature, START, days, YEAR)[0]


def test_ending_the_demonstration_three_months_earlier_leaves_its_water_and_weather(demo_site):
    """Its file gives the months beyond, too, so every day stays to the last digit."""
    shorter = demo_site.with_changes({"season.end": dt.date(2027, 2, 28), "beds": None})
    whole, part = (site_weather(site.file, site.folder) for site in (demo_site, shorter))
    for key, water in shorter.held_c.items():
        assert water.tolist() == demo_site.held_c[key][: shorter.days].tolist()
    for name in ("low_c", "high_c", "sun_share"):
        assert getattr(part, name).tolist() == getattr(whole, name)[: shorter.days].tolist()
