"""What follows a meal: its hours and size against published days of fed fish."""

from __future__ import annotations

import numpy as np
import pytest

from stocksim.engine.days.hours import _depart
from stocksim.fish.energetics import day_budget
from stocksim.fish.meals import (
    AMMONIA_AFTER_MEALS,
    AMMONIA_RESPONSE,
    OXYGEN_RESPONSE,
    WAVES,
    at_hours,
    fasting_share,
    meal_waves,
    usual_hours,
)

HOURS = np.arange(0.0, 24.0, 0.05)


def course(response: np.ndarray, share: float, meals: list[tuple[float, float]]) -> np.ndarray:
    """Use or excretion over its mean through a day."""
    return 1.0 + share * at_hours(list(2.0 * response * meal_waves(meals)), HOURS)


def test_waves_are_those_of_a_sum_over_meals():
    meals = [(8.0, 0.0), (13.5, 0.0), (17.0, 3.0)]
    fed = np.concatenate([[8.0], [13.5], np.arange(17.0005, 20.0, 0.001)])
    weight = np.concatenate([[1.0 / 3.0], [1.0 / 3.0], np.full(fed.size - 2, 1.0 / 3.0 / (fed.size - 2))])
    for number, wave in enumerate(meal_waves(meals), 1):
        assert wave == pytest.approx((weight * np.exp(-2j * np.pi * number * fed / 24.0)).sum(), abs=1e-6)


def test_sockeye_fed_once():
    # Brett & Zala 1975 (abstract): 29 g, 15 degC, one meal of maintenance from 8:30: ammonia is highest 4 to 4.5 h
    # after the start at 35 over a low of 8.2 mg N/kg/h, oxygen use 370 over 170 mg/kg/h, the low after 2:00
    ammonia = course(AMMONIA_RESPONSE, AMMONIA_AFTER_MEALS, [(8.5, 0.0)])
    assert 4.0 <= HOURS[ammonia.argmax()] - 8.5 <= 4.5
    assert ammonia.max() / ammonia.min() > 35.0 / 8.2, "the careful side: perch fed once swing more"
    # at maintenance, of a fish that loses 0.8 of its unmet need when it fasts
    use = day_budget(1.0, 15.0, 15.0, 0.06, 0.6, 0.8, 6.0, 0.17, 29.0, 29.0, 0.0).oxygen_g
    share = 1.0 - float(fasting_share(15.0 / 0.029**0.8, 29.0, 0.8, use, 1.0))
    oxygen = course(OXYGEN_RESPONSE, share, [(8.5, 0.0)])
    assert oxygen.max() / oxygen.min() < 2.2
    assert HOURS[oxygen.argmin()] > 2.0
    # that of perch and pikeperch fed all they eat, published 1.36 to 1.49 for walleye at one to fifteen meals
    fed = course(OXYGEN_RESPONSE, 0.53, list(usual_hours(2)))
    assert 1.3 < fed.max() / fed.min() < 2.2


@pytest.mark.parametrize(("meals", "low", "high"), [(1, 1.87, 2.6), (2, 1.39, 1.87), (24, 1.0, 1.01)])
def test_ammonia_over_its_mean(meals, low, high):
    # perch once a day 2.46 (Zakes et al.), walleye 1.39 to 1.87 at one to fifteen (Yager & Summerfelt; abstracts)
    assert low <= course(AMMONIA_RESPONSE, AMMONIA_AFTER_MEALS, list(usual_hours(meals))).max() <= high


def test_fasting_fish_use_all_of_it_without_feed():
    use = day_budget(0.0, 20.0, 15.0, 0.06, 0.6, 0.7, 6.0, 0.17, 100.0, 100.0, 0.0).oxygen_g
    assert float(fasting_share(20.0 / 0.1**0.8, 100.0, 0.7, use, 1.0)) == pytest.approx(1.0)
    assert float(fasting_share(20.0 / 0.1**0.8, 100.0, 0.7, 2.0 * use, 1.0)) == pytest.approx(0.5)
    assert float(fasting_share(1.0, 100.0, 0.7, 0.0, 0.0)) == 1.0


def test_whole_hours_of_a_day_are_those_of_its_waves():
    waves = np.random.default_rng(1).normal(size=(WAVES, 3, 2)) @ np.array([1.0, 1.0j])
    departure = np.empty(24)
    for tank in range(3):
        _depart(waves, tank, departure)
        expected = [at_hours(list(waves[:, tank]), hour) for hour in range(24)]
        np.testing.assert_allclose(departure, expected, rtol=0.0, atol=1e-13)
