"""The first season of a fresh installation does not wait for the compiler; what comes after it does."""

from __future__ import annotations

import numpy as np
import pytest
from small_sites import build, one_tank

from stocksim.engine import preparing, season
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.days.hours import worst_hours
from stocksim.engine.preparing import at_hand


class Compiler:
    """A process that compiles, as far as anybody waits for it."""

    started = waited = 0

    def __init__(self, *_words, **_how):
        type(self).started += 1

    def wait(self):
        type(self).waited += 1

    def poll(self):
        return 0 if self.waited else None


@pytest.fixture
def compiler(monkeypatch):
    """No days prepared yet, and a compiler that is watched."""

    class Watched(Compiler):
        pass

    monkeypatch.setattr(type(season.seasons), "is_prepared", lambda _: False)
    monkeypatch.setattr(preparing.subprocess, "Popen", Watched)
    monkeypatch.setattr(preparing, "_preparing", [])
    return Watched


def test_the_first_season_is_plain_and_the_next_waits_for_the_compiled_days(compiler):
    assert at_hand(season.seasons, 1, is_first=True) is season.seasons.py_func
    assert at_hand(worst_hours, 1) is worst_hours.py_func
    assert (compiler.started, compiler.waited) == (1, 0)
    assert at_hand(season.seasons, 1, is_first=True) is season.seasons
    assert at_hand(worst_hours, 1) is worst_hours
    assert (compiler.started, compiler.waited) == (1, 1)


def test_hours_of_many_seasons_wait_and_hours_alone_are_compiled(compiler):
    assert at_hand(worst_hours, 1) is worst_hours
    at_hand(season.seasons, 1, is_first=True)
    assert at_hand(worst_hours, 2) is worst_hours
    assert (compiler.started, compiler.waited) == (1, 1)


def test_many_seasons_never_go_through_the_plain_days(compiler):
    assert at_hand(season.seasons, 2, is_first=True) is season.seasons
    assert compiler.started == 0


def test_both_give_the_same_bits(compiler):
    layout = build_layout(build(one_tank(days=20, count=60)))
    plain, compiled = season.simulate(layout), season.simulate(layout)
    for name in ("weight_g", "oxygen_mg_l", "tan_mg_l", "nitrite_mg_l", "alkalinity_mg_l", "ammonia_maturity", "ph"):
        np.testing.assert_array_equal(getattr(plain, name), getattr(compiled, name))
