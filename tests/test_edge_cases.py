"""Edge cases: ramps of nothing beside weighed rations, deaths before a harvest, cold new water, capped doses."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.errors import InputError
from stocksim.faces.words import cautions


def mixed(share: float) -> dict:
    """One cohort by sight and one by weight in a tank, fed a share from the fifth day on."""
    tables = one_tank(count=20, days=20)
    tables["loops"]["main"]["feeding_ramp"] = [{"from": START + dt.timedelta(days=4), "share": share}]
    fish = tables["cohorts"]["fish"]
    tables["cohorts"]["weighed"] = fish | {"ration": {"kind": "fixed", "per_day": "40 g"}}
    return tables


@pytest.mark.parametrize("share", [0.0, 0.5])
def test_a_ramp_scales_weighed_and_seen_rations_alike(share):
    season = run_season(build(mixed(share)))
    feed = season.cohorts.pivot_table(index="date", columns="cohort", values="feed_g")
    assert np.isfinite(feed.to_numpy()).all()
    assert feed["weighed"].iloc[2] == pytest.approx(40.0)
    assert feed["weighed"].iloc[10] == pytest.approx(40.0 * share, abs=1e-9)
    assert (feed["fish"].iloc[10] > 0.0) == (share > 0.0)


def event(day: int, **more: object) -> dict:
    return {"date": START + dt.timedelta(days=day), "cohort": "fish"} | more


def test_fish_that_died_before_their_harvest_are_told_not_refused():
    # tilapia at 9 degC are dead within days
    tables = one_tank(temperature_c=9.0, count=30, days=40)
    tables["events"] = [event(30, kind="harvest", count=25), event(30, kind="sell", weight="20 g")]
    season = run_season(build(tables))
    assert season.ledger.set_index(["cohort", "entry"])["fish"]["fish", "deaths"] > 25.0
    assert any("25 fish of fish " in words for words in cautions(season))


def test_more_than_there_could_be_is_refused():
    tables = one_tank(count=30, days=40)
    tables["events"] = [event(30, kind="harvest", weight="60 kg")]
    with pytest.raises(InputError) as caught:
        run_season(build(tables))
    assert len(caught.value.faults) == 1
    assert caught.value.faults[0].field == "weight"


def test_cold_new_water_counts_toward_the_limit_of_change():
    def change(**more: object) -> float:
        tables = one_tank(count=10, days=10)
        tables["loops"]["main"]["water_changes"] = [{"date": START + dt.timedelta(days=5), "volume": "600 L"} | more]
        findings = run_season(build(tables)).findings
        return next(f.worst_value for f in findings if f.limit == "temperature_change")

    assert change() == 0.0
    # 600 L of 8 degC take the place of as much of 26 degC in 0.8 + 1.0 + 0.6 m3
    assert change(temperature="8 degC") == pytest.approx(18.0 * 0.6 / 2.4)


def test_a_target_that_the_capped_dose_misses_is_told():
    # a heavy load on a film far too small, in water found soft: ammonia holds the dose back
    tables = one_tank(
        count=200, days=60, ph=None, bed_m2=0.5, alkalinity_target="150 mg/L", source_water={"alkalinity": "20 mg/L"},
        water_tests=[{"date": START, "alkalinity": "20 mg/L"}],
    )  # fmt: skip
    words = [line for line in cautions(run_season(build(tables))) if "falls short of its target" in line]
    assert len(words) == 1
    assert "150 mg/L" in words[0]
