"""Fish that were counted or weighed: from that morning on they are so many and so heavy."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.engine.results.deaths import ledger
from stocksim.errors import InputError

DAY = 9


def season(*events):
    return run_season(build(one_tank() | {"events": [{"cohort": "fish", **event} for event in events]}))


def found(day=DAY, **what):
    return {"kind": "found", "date": START + dt.timedelta(days=day), **what}


def test_what_was_found_goes_before_what_was_reckoned():
    reckoned, told = season().course, season(found(count=17, mean_weight="61.5 g")).course
    assert told.weight_g[0, :DAY, 0].tolist() == reckoned.weight_g[0, :DAY, 0].tolist()
    assert told.count[0, DAY, 0] + told.deaths[0, DAY, 0] == pytest.approx(17.0)
    assert told.weight_g[0, DAY, 0] - told.gain_g[0, DAY, 0] / 17.0 == pytest.approx(61.5, rel=1e-3)


def test_each_alone_leaves_the_other():
    reckoned = season().course
    counted, weighed = season(found(count=17)).course, season(found(mean_weight="61.5 g")).course
    assert weighed.count[0, DAY, 0] == pytest.approx(reckoned.count[0, DAY, 0], rel=1e-9)
    assert counted.weight_g[0, DAY, 0] == pytest.approx(reckoned.weight_g[0, DAY, 0], rel=0.02)
    # lighter fish are not thin ones: they are in the condition that was reckoned, and do not die of hunger
    light = season(found(mean_weight="20 g")).course
    assert light.deaths[0, DAY, 0] == pytest.approx(reckoned.deaths[0, DAY, 0], rel=1e-6)


def test_the_ledger_tells_what_was_found_beyond_or_short_of_what_was_reckoned():
    reckoned, told = season(), season(found(count=17, mean_weight="61.5 g"))
    number, mass = ledger(told.layout, told.course)["fish"]["found"]
    had = float(reckoned.course.count[0, DAY - 1, 0])
    assert number == pytest.approx(17.0 - had)
    assert mass == pytest.approx(17.0 * 61.5 - had * float(reckoned.course.weight_g[0, DAY - 1, 0]))
    assert ledger(reckoned.layout, reckoned.course)["fish"]["found"] == (0.0, 0.0)


def test_none_may_be_left():
    course = season(found(count=0)).course
    assert np.all(course.count[0, DAY:] == 0.0)
    assert np.all(course.fed_g[0, DAY:] == 0.0)
    assert np.all(np.isfinite(course.tan_mg_l))


def test_fish_can_only_be_found_where_they_are():
    for event, field in ((found(), "count"), (found(-1, count=3), "date"), (found(count=-1), "count")):
        with pytest.raises(InputError) as told:
            season(event)
        assert [fault.field for fault in told.value.faults] == [field]
