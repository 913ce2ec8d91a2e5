"""Crowded and poisoned water: no starve-and-gorge, smooth feed, rounds that settle, crashes that do not swing."""

from __future__ import annotations

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from small_sites import any_eventful_site, build, one_tank, two_loops

from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.days.waters import AGREED as AGREED_SHARE
from stocksim.engine.days.waters import MOST_ROUNDS
from stocksim.engine.season import Course, simulate

BUFFERED = {"alkalinity_target": "100 mg/L"}


def run(tables: dict) -> Course:
    return simulate(build_layout(build(tables)))


def alternations(course: np.ndarray) -> int:
    """Longest run of days on which the day-to-day change turns its sign each time, changes below 0.1 % left out."""
    change = np.diff(course)
    change = np.where(np.abs(change) > 1e-3 * np.abs(course).max(), change, 0.0)
    turns = change[1:] * change[:-1] < 0.0
    longest = now = 0
    for turn in turns:
        now = now + 1 if turn else 0
        longest = max(longest, now)
    return longest


OVERSTOCKED = {
    "no air": one_tank(count=20, mean_weight_g=200.0, power_w=0.0, flow_l_h=100.0, days=60, **BUFFERED),
    "no air, strong flow": one_tank(count=200, mean_weight_g=200.0, power_w=0.0, flow_l_h=3000.0, days=60, **BUFFERED),
    "ammonia": one_tank(count=500, power_w=2000.0, ph=9.0, bed_m2=0.3, days=60),
    "starved bed": one_tank(count=900, power_w=60.0, bed_m2=40.0, days=60, **BUFFERED),
    "two species": two_loops(),
    "trout in a warm spell": one_tank("rainbow_trout", "trout_44", 17.0, 60, 500, 150.0, 20.0, **BUFFERED),
    "no buffer": one_tank(count=900, power_w=60.0, bed_m2=40.0, ph=7.4, days=60),
    # catfish, for nitrite kills them; of what it does to tilapia nothing is known
    "new film": one_tank(
        "channel_catfish", "catfish_32", count=300, power_w=200.0, days=60, biofilter_start="new", **BUFFERED
    ),
}
# where water turns deadly in a few days the course is a crash, not a crowd that lives on
CRASHES = ("ammonia", "no buffer", "new film")


@pytest.mark.parametrize("name", [name for name in OVERSTOCKED if name not in CRASHES])
def test_no_starve_and_gorge(name):
    course = run(OVERSTOCKED[name])
    assert course.appetite_share.min() < 0.7, "the tank is meant to be overstocked"
    # after the first days, in which water that began clean and full of oxygen is used up, and a late cohort comes
    first = 8 if name == "two species" else 3
    feed = course.fed_g[0, first:]
    for column in feed.T:
        if column.max() > 0.0:
            assert alternations(column) <= 1, column
    for column in course.oxygen_mg_l[0, first:].T:
        assert alternations(column) <= 1, column


@pytest.mark.parametrize("name", CRASHES)
def test_a_crash_does_not_swing_either(name):
    course = run(OVERSTOCKED[name])
    assert course.deaths.sum() > 0.5 * course.count[0, 0].sum()
    # feed may stop and come again as the few that are left find better water, but never by turns; oxygen settles
    for columns in (course.fed_g[0, 3:], course.oxygen_mg_l[0, 3:], course.tan_mg_l[0, 3:]):
        for column in columns.T:
            assert alternations(column) <= 2, column


@pytest.mark.parametrize("name", [name for name in OVERSTOCKED if name not in ("two species", *CRASHES)])
def test_feed_in_a_crowded_tank_is_smooth(name):
    # 60 days at one temperature: no day's feed may differ from its neighbours' mean by more than 5 % of the largest
    feed = run(OVERSTOCKED[name]).fed_g[0, 5:, 0]
    bend = np.abs(feed[1:-1] - 0.5 * (feed[2:] + feed[:-2]))
    assert bend.max() <= 0.05 * feed.max()


@pytest.mark.parametrize("name", OVERSTOCKED)
def test_rounds_stay_below_the_cap_in_overstocked_tanks(name):
    assert run(OVERSTOCKED[name]).rounds.max() < MOST_ROUNDS


def test_rounds_stay_below_the_cap_on_the_demonstration_site(demo_season):
    assert demo_season.course.rounds.max() < MOST_ROUNDS


@settings(max_examples=examples(60))
@given(any_eventful_site())
def test_rounds_settle(tables):
    course = run(tables)
    assert course.rounds.max() < MOST_ROUNDS
    assert course.apart.max() < AGREED_SHARE
