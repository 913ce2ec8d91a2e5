"""A forecast that learns: known truth is found again, and what contradicts is named."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
import tomlkit
from command_line import refused, runner
from small_sites import START, build, one_tank
from streamlit.testing.v1 import AppTest

from stocksim.answers.forecast.decide import forecast
from stocksim.answers.forecast.evidence import run, unknowns
from stocksim.book import store
from stocksim.book.store import Record
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.measured import CHART_ERROR, LEAST_READ_MG_L
from stocksim.faces.registry import script_of

PERCH = {"species": "yellow_perch", "feed": "perch_45", "temperature_c": 20.0, "count": 60, "mean_weight_g": 40.0}
DAYS, WEIGHED, SAMPLES = 100, 20, 80


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


@pytest.fixture(scope="module")
def site():
    return build(one_tank(days=DAYS, **PERCH))


def truth_of(site, *factors: float):
    """Season of a known truth: appetite, losses, film."""
    return run(site, build_layout(site), unknowns(site), np.log([factors]))


def truth_with(site, records, **factors: float):
    """Season of a known truth of what these records bring into the fit."""
    asked = unknowns(site, records)
    return run(site, build_layout(site), asked, np.log([[factors.get(one.what, 1.0) for one in asked]]))


def weighings(truth, days, rng, factor: float = 1.0) -> list[Record]:
    weight = truth.of("cohorts.mean_weight_g", "fish")[0]
    found = []
    for day in days:
        mean = factor * weight[day - 1] * math.exp(rng.normal(0.0, 0.25 / math.sqrt(WEIGHED)))
        held = {"count": float(WEIGHED), "total_g": WEIGHED * mean}
        found.append(Record("weigh", on(day), "cohorts.fish", held, number=day))
    return found


def water_tests(truth, days, rng) -> list[Record]:
    found = []
    for day in days:
        level = float(truth.of("tanks.tan_mg_l", "one")[0, day - 1]) + LEAST_READ_MG_L
        read = max(level * math.exp(rng.normal(0.0, CHART_ERROR)) - LEAST_READ_MG_L, 0.0)
        found.append(Record("test", on(day), "loops.main", {"tan_mg_l": read}, number=200 + day))
    return found


def width(points) -> float:
    return float(np.log(points[2] / points[0]))


def test_without_records_the_forecast_is_the_declared_spread(site):
    found = forecast(site, [], SAMPLES)
    for factor in found.factors:
        assert factor.after == pytest.approx(factor.before, rel=0.25)
    band = found.bands["fish"]
    assert band.weight_after[1, -1] == pytest.approx(band.weight_before[1, -1], rel=0.05)
    assert found.residuals == found.left_out == ()
    # nine trials in ten lie within what the species' file declares
    scale = site.species["yellow_perch"].values["intake_scale"]
    (appetite,) = (one for one in found.factors if one.what == "appetite")
    assert width(appetite.before) == pytest.approx(math.log(scale.high / scale.low) * 1.2816 / 1.645, rel=0.25)


def test_a_known_truth_is_found_and_bands_narrow_as_records_come(site):
    truth = truth_of(site, 0.72, 1.0, 0.7)
    rng = np.random.default_rng(3)
    records = weighings(truth, range(10, 80, 10), rng) + water_tests(truth, range(5, 80, 5), rng)
    end = truth.of("cohorts.mean_weight_g", "fish")[0, -1]
    widths, errors = [], []
    for until in (0, 25, 79):
        found = forecast(site, [one for one in records if one.date <= on(until)], SAMPLES)
        band = found.bands["fish"]
        widths.append(width(band.weight_after[:, -1]))
        errors.append(abs(math.log(band.weight_after[1, -1] / end)))
    assert widths[0] > widths[1] > widths[2]
    assert widths[2] < 0.5 * widths[0]
    assert errors[2] < 0.5 * errors[0]
    learned = {one.what: one.after for one in found.factors}
    assert learned["appetite"][0] < 0.72 * 1.05
    assert learned["appetite"][2] > 0.72 / 1.05
    assert learned["film"][1] < 1.0
    # the season before the records stays for comparison, and the plan, which is the truth of factors that are all 1
    plan = truth_of(site, 1.0, 1.0, 1.0).of("cohorts.mean_weight_g", "fish")[0]
    assert found.planned_g["fish"] == pytest.approx(plan)
    assert width(band.weight_before[:, -1]) == pytest.approx(widths[0], rel=0.2)


def test_bands_hold_the_truth_as_often_as_they_say():
    """Ten invented truths drawn from what is declared: of 8 in 10, fewer than 5 would be met once in 150 times."""
    site = build(one_tank(days=60, **PERCH))
    rng, inside = np.random.default_rng(11), 0
    for number in range(10):
        factors = [math.exp(np.clip(rng.normal(0.0, one.spread), -2.5 * one.spread, 2.5 * one.spread))
                   for one in unknowns(site)]  # fmt: skip
        truth = truth_of(site, *factors)
        band = forecast(site, weighings(truth, (12, 24, 36), rng), SAMPLES, number).bands["fish"]
        low, _, high = band.weight_after[:, -1]
        inside += bool(low <= truth.of("cohorts.mean_weight_g", "fish")[0, -1] <= high)
    assert inside >= 5


def test_a_scale_in_pounds_is_named_and_not_averaged_in(site):
    truth = truth_of(site, 1.0, 1.0, 1.0)
    rng = np.random.default_rng(5)
    sound = weighings(truth, (10, 20, 30, 50), rng)
    (slip,) = weighings(truth, (40,), rng, factor=1.0 / 16.0)  # ounces entered as pounds are 16 times too many or few
    with_it, without = forecast(site, [*sound, slip], SAMPLES), forecast(site, sound, SAMPLES)
    assert len(with_it.left_out) == 1
    assert "Record 40" in with_it.left_out[0]
    assert without.left_out == ()
    assert with_it.bands["fish"].weight_after[1, -1] == pytest.approx(
        without.bands["fish"].weight_after[1, -1], rel=0.03
    )


def test_fish_that_grew_more_than_their_feed_allows_are_named(site):
    truth = truth_of(site, 1.0, 1.0, 1.0)
    records = weighings(truth, (10, 30), np.random.default_rng(5))
    weight = truth.of("cohorts.mean_weight_g", "fish")[0]
    gain = 60.0 * (weight[29] - weight[9])

    def fed(grams):
        return [
            Record("feed", on(day), "cohorts.fish", {"feed_g": grams / 20.0}, number=300 + day) for day in range(10, 30)
        ]

    told = forecast(site, records + fed(0.2 * gain), SAMPLES).left_out
    assert any("recorded feed" in sentence for sentence in told)
    told = forecast(site, records + fed(1.3 * gain), SAMPLES).left_out
    assert not any("recorded feed" in sentence for sentence in told)


def test_losses_and_feed_are_learned_too(site):
    dead = [Record("deaths", on(day), "cohorts.fish", {"count": 2.0}, number=day) for day in (20, 40, 60)]
    losses = {one.what: one for one in forecast(site, dead, SAMPLES).factors}["losses"]
    assert losses.after[0] > losses.before[1]
    season = truth_of(site, 0.7, 1.0, 1.0).of("cohorts.feed_g", "fish")[0]
    fed = [Record("feed", on(day), "cohorts.fish", {"feed_g": float(season[day])}, number=day) for day in range(30)]
    appetite = {one.what: one for one in forecast(site, fed, SAMPLES).factors}["appetite"]
    assert appetite.after[1] == pytest.approx(0.7, rel=0.12)
    assert width(appetite.after) < 0.7 * width(appetite.before)


def test_feed_spilled_is_learned_from_feed_and_weights_together(site):
    days = range(5, 70)
    asks = [Record("feed", on(1), "cohorts.fish", {"feed_g": 1.0}), Record("weigh", on(1), "cohorts.fish", {})]
    truth = truth_with(site, asks, spilled=1.9)
    season = truth.of("cohorts.feed_g", "fish")[0]
    fed = [Record("feed", on(day), "cohorts.fish", {"feed_g": float(season[day])}, number=100 + day) for day in days]
    records = [*fed, *weighings(truth, (14, 28, 42, 56, 70), np.random.default_rng(7))]
    found = {one.what: one for one in forecast(site, records, SAMPLES).factors}
    assert found["spilled"].after[0] > 1.0
    assert found["appetite"].after[1] == pytest.approx(1.0, rel=0.12)
    # feed alone cannot tell it from appetite
    assert "spilled" not in {one.what for one in forecast(site, fed, 50).factors}


def test_oxygen_supply_is_learned_from_oxygen_that_was_read():
    site = build(one_tank(days=40, power_w=8.0, **PERCH | {"count": 200}))
    asks = [Record("test", on(1), "loops.main", {"oxygen_mg_l": 1.0})]
    truth = truth_with(site, asks, supply=0.6)
    level = truth.of("tanks.oxygen_mg_l", "one")[0]
    read = [Record("test", on(day), "loops.main", {"oxygen_mg_l": float(level[day - 1])}, number=day)
            for day in range(5, 40, 5)]  # fmt: skip
    found = {one.what: one for one in forecast(site, read, SAMPLES).factors}["supply"]
    # fish that have less oxygen eat less, so what is read tells little: the middle lies between truth and declared
    assert found.after[0] <= 0.6 <= found.after[2] < found.before[2]
    assert found.after[1] < 0.85
    assert width(found.after) < 0.8 * width(found.before)


def test_base_given_is_held_against_base_reckoned():
    tables = one_tank(ph=None, alkalinity_target="80 mg/L", source_water={"alkalinity": "40 mg/L"}, days=40)
    site = build(tables)
    from stocksim import run_season

    dosed = run_season(site).course.buffer_g[0, :, 0]
    records = [
        Record("base", on(day), "loops.main", {"weight_g": 1.5 * float(dosed[day - 4 : day + 1].sum())}, number=day)
        for day in range(10, 36, 5)
    ]
    factor, _, days = forecast(site, records, 50).base["main"]
    assert factor == pytest.approx(1.5, rel=0.01)
    assert days == 25


def test_the_same_seed_gives_the_same_forecast(site):
    records = weighings(truth_of(site, 0.8, 1.0, 1.0), (10, 30), np.random.default_rng(5))
    one, again = (forecast(site, records, 50, seed=4) for _ in range(2))
    assert one.bands["fish"].weight_after.tolist() == again.bands["fish"].weight_after.tolist()


def test_the_command_and_the_page_tell_it(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(store, "clock", lambda: dt.datetime(2026, 12, 1, 12, tzinfo=dt.UTC))
    run_ = runner(monkeypatch, capsys, tmp_path)
    run_("record", "add", "house.toml", "weigh", "--cohort", "perch", "--count", "20", "--total", "820 g",
         "--date", "2026-11-20")  # fmt: skip
    data = run_("forecast", "house.toml", "--json", "-n", "50").data
    end = data["cohorts"]["perch"]["end"]
    assert end["weight_g"][1] < end["weight_before_g"][1]
    assert (len(data["records"]), data["seed"]) == (1, 1)
    assert data["cohorts"]["perch"]["daily"][0]["date"] == "2026-10-01"
    assert "perch" in run_("forecast", "house.toml", "-n", "50").out
    refused(run_("forecast", "house.toml", "-n", "3"), "-n")
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(one_tank(count=10)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    store.add(store.book_path(path), [Record("weigh", on(9), "cohorts.fish", {"count": 5.0, "total_g": 600.0}, by="x")])
    at = AppTest.from_file(script_of("forecast"), default_timeout=900).run()
    next(button for button in at.button if button.label == "Work out the forecast").click().run()
    assert not at.exception
    assert len(at.get("vega_lite_chart")) == 1
