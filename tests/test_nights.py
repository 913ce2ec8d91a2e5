"""How often a night so cold comes, and how long fish bear a power cut in it."""

from __future__ import annotations

import json
import math
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom, norm
from small_sites import START, build, one_tank

from stocksim.answers.powercut.answer import powercut_answer
from stocksim.answers.powercut.decide import power_cut
from stocksim.answers.powercut.winters import SHARES, cold_winters
from stocksim.drawn.nights import NIGHT_YEARS, coldest_nights, weather_of_year
from stocksim.engine.results.frames import Season
from stocksim.engine.running import run_season
from stocksim.heat.hourly import plan_and_weather


@cache
def house(days: int = 20, low: str = "-4 degC") -> Season:
    """Tilapia whose warm water stands in a house that freezes outdoors."""
    tables = one_tank(days=days, count=10)
    tables["site"] |= {"latitude": 45.0}
    heater = {"power": "30 kW", "set_point": "24 degC", "fuel": "electricity"}
    tables["greenhouse"] = {"floor_area": "40 m2", "height": "2.5 m", "cover": "double_film", "heater": heater}
    tables["weather"] = {"kind": "normals", "low": {"oct": low}, "high": {"oct": "6 degC"}}
    return run_season(build(tables))


def _weather(days: int = 20):
    site = house(days).site
    return plan_and_weather(site.file, site.folder, site.held_c)[1]


def test_a_single_night_is_as_cold_as_the_normal_law_says():
    weather = _weather(days=1)
    nights = coldest_nights(weather)
    assert nights.low_c.shape == (NIGHT_YEARS,)
    low = float(weather.normal_low_c[0] - 1.5 * weather.spread_c[0])
    least, most = binom.ppf([0.0005, 0.9995], NIGHT_YEARS, norm.cdf(-1.5)) / NIGHT_YEARS
    assert least <= nights.share_at(low) <= most


def test_the_coldest_of_many_nights_is_colder_and_its_year_has_it():
    weather = _weather()
    nights = coldest_nights(weather)
    assert np.median(nights.low_c) < np.median(coldest_nights(_weather(days=1)).low_c) - 1.0
    for share in SHARES:
        year = nights.year_of(share)
        assert nights.share_at(nights.low_c[year]) == pytest.approx(share, abs=0.0011)
        hours = weather_of_year(weather, year).hours.air_c
        # means of hours miss the very low by a little
        assert nights.low_c[year] <= hours.min() < nights.low_c[year] + 0.5
        assert hours.argmin() // 24 == nights.day[year]


def test_the_rarer_the_night_the_shorter_fish_bear_a_cut():
    winters = cold_winters(house())
    assert [one.share for one in winters] == list(SHARES)
    lows, hours = [one.low_c for one in winters], [one.cold_hours for one in winters]
    assert lows[0] > lows[1] > lows[2]
    assert math.inf > hours[0] > hours[2] > 0.0
    assert {one.first.cohort for one in winters} == {"fish"}
    assert all(one.date >= START for one in winters)


def test_the_answer_tells_them_and_a_site_without_weather_tells_none():
    season = house()
    cut, winters = power_cut(season), cold_winters(season)
    answer = powercut_answer(cut, season.site, "metric", winters=winters)
    data = json.loads(json.dumps(answer.data, allow_nan=False))["winters"]
    assert [one["outdoors_low_c"] for one in data] == [round(one.low_c, 2) for one in winters]
    assert answer.has("winters")
    plain = run_season(build(one_tank(days=5, count=10)))
    assert cold_winters(plain) == ()
    assert "winters" not in powercut_answer(power_cut(plain), plain.site, "metric").data
