"""The whole water of a loop through a season: pH, buffer doses, settlers, salts, water changes, tests, nitrite."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.engine.results.frames import Season
from stocksim.faces.fates import fate_data
from stocksim.faces.fish_cautions import nitrite_data, nitrite_words
from stocksim.faces.words import cautions
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.buffering import SALTS
from stocksim.water.carbonate import calcite_saturation, carbon_dioxide


def season(**keys) -> Season:
    return run_season(build(one_tank(**keys)))


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def finding(told: Season, limit: str):
    return next(f for f in told.findings if f.limit == limit)


def dosed_mg_l(told: Season) -> np.ndarray:
    """Alkalinity added each day over the water of the loop. [mg/L]"""
    salt = SALTS[told.site.file.loops["main"].buffer]
    water = told.layout.volume_m3.sum() + told.layout.sump_volume_m3.sum()
    return told.course.buffer_g[0, :, 0] / salt.salt_g_per_alkalinity_g / water


# --- pH and doses


def test_ph_falls_without_dosing_and_holds_with_it():
    left = season(ph=None, days=50).course  # in two months it is used up, and pH stands still
    held = season(ph=None, days=60, alkalinity_target="100 mg/L").course
    assert left.buffer_g.sum() == 0.0
    assert (np.diff(left.ph[0, 5:, 0]) < 0.0).all()
    assert left.ph[0, -1, 0] < left.ph[0, 0, 0] - 0.5
    assert np.ptp(held.ph[0, 10:, 0]) < 0.15
    # the day uses a little of what the morning's dose made up
    assert (np.abs(held.alkalinity_mg_l[0, 10:, 0] - 100.0) < 15.0).all()
    assert (held.buffer_g[0, 10:, 0] > 0.0).all()


def test_dose_makes_up_what_nitrification_used():
    # 7.15 g CaCO3 a gram of ammonia nitrogen, half of which the ammonia itself gave: 3.57 g a gram of nitrate made,
    # less 3.57 for each gram denitrified
    told = season(days=90, ph=7.0, alkalinity_target="100 mg/L", evaporation="0 L/day")
    course, late = told.course, slice(30, 90)
    made = (course.nitrified_g[0, late].sum() - course.denitrified_n_g[0, late].sum()) * 3.573
    water = told.layout.volume_m3.sum() + told.layout.sump_volume_m3.sum()
    change = (course.alkalinity_mg_l[0, 89, 0] - course.alkalinity_mg_l[0, 29, 0]) * water
    dosed = dosed_mg_l(told)[late].sum() * water
    # ammonia still in the water has given its base already
    assert dosed == pytest.approx(made + change, rel=0.01)


def test_dose_is_capped_by_the_rise_of_ph():
    source = {"alkalinity": "10 mg/L"}
    told = season(
        count=0, days=30, alkalinity_target="150 mg/L", source_water=source, evaporation="0 L/day",
        water_tests=[{"date": START, "alkalinity": "10 mg/L"}],
    )  # fmt: skip
    dose, level = dosed_mg_l(told), told.course.alkalinity_mg_l[0, :, 0]
    morning = np.concatenate([[10.0], level[:-1]])
    # 0.2 of pH at unchanged carbon dioxide is 10**0.2 - 1 = 58 % of the alkalinity; the least step is 5 mg/L
    most = np.maximum(morning * (10.0**0.2 - 1.0), 5.0)
    assert (dose <= most * (1.0 + 1e-9)).all()
    assert dose[0] == pytest.approx(10.0 * (10.0**0.2 - 1.0), rel=1e-9)
    assert dose[:3] == pytest.approx(most[:3], rel=1e-9)
    assert dose[10] < 0.1 * most[10]
    np.testing.assert_allclose(level - morning, dose, rtol=1e-6, atol=1e-6)
    assert level[-1] == pytest.approx(150.0, rel=1e-6)


# Greatest rise of computed pH in a day, 0.2 for every salt: carbonate and hydroxide use carbon dioxide up before the
# air brings it back, so their doses are smaller (measured in bare water 0.198, 0.139, 0.114; uncut 0.278 and 0.502).
# Next to no calcium, so that chalk dissolves as long as the rise alone holds it back.
@pytest.mark.parametrize("salt", ["potassium_bicarbonate", "calcium_carbonate", "potassium_hydroxide"])
def test_computed_ph_rises_slowly(salt):
    told = season(
        ph=None, count=0, days=20, alkalinity_target="150 mg/L", buffer=salt, evaporation="0 L/day",
        water_tests=[{"date": START, "alkalinity": "20 mg/L", "calcium": "1 mg/L"}],
    )  # fmt: skip
    assert 0.1 < np.diff(told.course.ph[0, :, 0]).max() <= 0.2


def test_chalk_dissolves_only_below_saturation():
    # hard, well aired water without fish: the target of 150 mg/L lies beyond what chalk can give
    keys = {"ph": None, "count": 0, "days": 60, "alkalinity_target": "150 mg/L", "evaporation": "0 L/day"}
    keys["water_tests"] = [{"date": START, "alkalinity": "20 mg/L", "calcium": "40 mg/L"}]
    chalk, mild = (
        season(buffer="calcium_carbonate", **keys).course,
        season(buffer="potassium_bicarbonate", **keys).course,
    )
    assert mild.alkalinity_mg_l[0, -1, 0] == pytest.approx(150.0, rel=1e-3)
    index = calcite_saturation(chalk.calcium_mg_l[0, :, 0], chalk.alkalinity_mg_l[0, :, 0], chalk.ph[0, :, 0], 26.0)
    # it ends at saturation: 0.02 for the pH of tank and sump, which are not quite one
    assert index.max() < 0.02
    assert index[-1] == pytest.approx(0.0, abs=0.02)
    assert 20.0 < chalk.alkalinity_mg_l[0, -1, 0] < 75.0
    gained = chalk.calcium_mg_l[0, -1, 0] - 40.0
    assert gained == pytest.approx(0.4004 * (chalk.alkalinity_mg_l[0, -1, 0] - 20.0), rel=1e-3)
    # saturated from the first day: none
    keys["water_tests"] = [{"date": START, "alkalinity": "120 mg/L", "calcium": "80 mg/L"}]
    assert not season(buffer="calcium_carbonate", **keys).course.buffer_g.any()
    # a given pH that keeps the water far from saturation lets all of it dissolve
    assert season(buffer="calcium_carbonate", **(keys | {"ph": 6.6})).course.alkalinity_mg_l[0, -1, 0] > 149.0


def test_no_base_where_it_would_turn_ammonia_toxic():
    high = {"water_tests": [{"date": START, "tan": "6 mg/L", "alkalinity": "20 mg/L"}], "alkalinity_target": "100 mg/L"}
    bare = season(ph=8.2, days=3, count=5, bed_m2=1.0, **high)
    limit = bare.layout.species["unionized_ammonia_design"].min()
    assert 6.0 * unionized_fraction(8.2, 26.0) > limit, "un-ionized ammonia is over the limit on the first morning"
    assert bare.course.buffer_g[0, 0, 0] == 0.0
    # at pH 6.6 the same ammonia is harmless and the dose is given
    assert season(ph=6.6, days=3, count=5, bed_m2=1.0, **high).course.buffer_g[0, 0, 0] > 0.0
    # in between the dose brings it just to the limit: share of ammonia by the pH that the dose makes
    middle = season(ph=7.1, days=3, count=5, bed_m2=1.0, **high)
    added = dosed_mg_l(middle)[0]
    assert 0.0 < added < 20.0 * (10.0**0.2 - 1.0)
    raised = 7.1 + np.log10((20.0 + added) / 20.0)
    assert 6.0 * unionized_fraction(raised, 26.0) == pytest.approx(limit, rel=2e-3)


def test_a_measured_ph_overrides_the_computed_one():
    told = season(ph=7.7, days=20, alkalinity_target="40 mg/L")
    assert (told.course.ph == 7.7).all()
    np.testing.assert_allclose(
        told.tanks["unionized_ammonia_mg_l"],
        told.tanks["tan_mg_l"] * unionized_fraction(7.7, 26.0), rtol=1e-12,
    )  # fmt: skip
    assert (season(ph=None, days=20, alkalinity_target="40 mg/L").course.ph != 7.7).all()


def test_hydroxide_takes_up_carbon_dioxide():
    keys = {"ph": None, "days": 40, "alkalinity_target": "120 mg/L"}
    mild = season(buffer="potassium_bicarbonate", **keys).course
    caustic = season(buffer="potassium_hydroxide", **keys).course
    lime = season(buffer="calcium_hydroxide", **keys).course
    late = slice(10, None)
    assert (caustic.co2_mg_l[0, late, 0] < mild.co2_mg_l[0, late, 0]).all()
    assert (caustic.ph[0, late, 0] > mild.ph[0, late, 0]).all()
    # the carbonate system does not ask which metal came with the hydroxide, the keeper's crops do
    np.testing.assert_allclose(lime.co2_mg_l, caustic.co2_mg_l, rtol=1e-9)
    assert (lime.potassium_mg_l[0, late, 0] < caustic.potassium_mg_l[0, late, 0]).all()
    np.testing.assert_allclose(caustic.potassium_mg_l[0, 10:, 0], mild.potassium_mg_l[0, 10:, 0], rtol=0.01)


def test_carbon_dioxide_is_never_told_below_nothing():
    # a test that finds no alkalinity and a keeper who makes it up with hydroxide: more base than carbon dioxide
    tests = [{"date": on(1), "alkalinity": "100 mg/L"}]
    course = season(ph=None, count=0, days=6, power_w=0.0, bed_m2=0.5, alkalinity_target="250 mg/L",
                    buffer="calcium_hydroxide", water_tests=tests).course  # fmt: skip
    assert (course.co2_mg_l >= 0.0).all()
    assert course.ph.max() < 11.0


# --- solids


def with_settler(days: int = 60, **settler) -> Season:
    tables = one_tank(days=days, alkalinity_target="100 mg/L", bed_m2=4.0)
    if settler:
        tables["settlers"] = {"pot": {"loop": "main", "kind": "radial_flow"} | settler}
    return run_season(build(tables))


def test_a_settler_lowers_solids_and_tan():
    without, fitted = with_settler(), with_settler(emptied_every_days=1)
    half = with_settler(emptied_every_days=1, share_of_flow=0.5)
    for key in ("solids_mg_l", "sump_tan_load_g"):
        series = [getattr(told.course, key)[0, 10:, 0] for told in (fitted, half, without)]
        assert (series[0] < series[1]).all(), key
        assert (series[1] < series[2]).all(), key
    assert (fitted.course.tan_mg_l[0, 10:] < without.course.tan_mg_l[0, 10:]).all()
    # what it catches leaves with the sludge
    assert fitted.course.sludge_n_g.sum() > without.course.sludge_n_g.sum()


def test_a_settler_that_is_not_emptied_is_worse():
    daily, never = with_settler(emptied_every_days=1), with_settler(emptied_every_days=60)
    assert (never.course.solids_mg_l[0, 10:] > daily.course.solids_mg_l[0, 10:]).all()
    assert (never.course.sump_tan_load_g[0, 10:] > daily.course.sump_tan_load_g[0, 10:]).all()
    # and it gives much back in the end: what lies in it breaks down
    assert never.course.solids_n_held_g[0, -2, 0] > 5.0 * daily.course.solids_n_held_g[0, -2, 0]


# --- salts


def chloride_held(told: Season, start: float) -> np.ndarray:
    """Chloride in the loop at each day's end, leaves followed from the sump's course. [g]"""
    layout, sump = told.layout, told.course.chloride_mg_l[0, :, 0]
    leaf, held = np.full(layout.volume_m3.shape, start), []
    for level in sump:
        leaf = (layout.volume_m3 * leaf + layout.flow_m3_day * level) / (layout.volume_m3 + layout.flow_m3_day)
        held.append(float(leaf @ layout.volume_m3 + level * layout.sump_volume_m3[0]))
    return np.array(held)


def test_evaporation_leaves_chloride_behind():
    told = season(days=60, evaporation="40 L/day", source_water={"chloride": "25 mg/L"})
    held = chloride_held(told, 25.0)
    water = told.layout.volume_m3.sum() + 0.8
    # each day 0.04 m3 of source water with 25 mg/L takes the place of pure vapour
    np.testing.assert_allclose(held, 25.0 * water + 0.04 * 25.0 * np.arange(1, 61), rtol=1e-12)
    assert (told.course.top_up_m3 == 0.04).all()
    assert (told.course.outflow_m3 == 0.0).all()
    dry = season(days=60, evaporation="0 L/day", source_water={"chloride": "25 mg/L"})
    np.testing.assert_allclose(dry.course.chloride_mg_l, 25.0, rtol=1e-12)


def test_a_water_change_dilutes_by_the_right_factor():
    told = season(
        days=10, count=0, evaporation="0 L/day", source_water={"chloride": "0 mg/L"}, flow_l_h=20000.0,
        water_tests=[{"date": START, "chloride": "80 mg/L"}],
        water_changes=[{"date": on(3), "volume": "300 L"}],
    )  # fmt: skip
    held = chloride_held(told, 80.0)
    water = told.layout.volume_m3.sum() + 0.8
    np.testing.assert_allclose(held[:3], 80.0 * water, rtol=1e-12)
    # what leaves does so with the sump's level of that day, and nothing comes with the source water
    gone = told.course.outflow_m3[0, 3, 0] * told.course.chloride_mg_l[0, 3, 0]
    assert held[3] == pytest.approx(80.0 * water - gone, rel=1e-12)
    # drained first and then filled, in water that mixes within the day
    assert held[3] / held[2] == pytest.approx((water - 0.3) / water, rel=0.01)
    np.testing.assert_allclose(held[4:], held[3], rtol=1e-12)


@pytest.mark.parametrize(("shares", "keeps"), [([0.5], 0.5), ([1.0 / 3.0, 0.25], 0.5), ([0.1] * 3, 0.729)])
def test_large_changes_keep_what_draining_leaves(shares, keeps):
    # 0.8 m3 of sump, 1 m3 of tank, and what stands in the voids of 10 m2 of gravel
    water = 0.8 + 1.0 + 10.0 * 0.3 * 0.4 * 0.5  # of the gravel 0.4 are voids, flooded half of the day
    told = season(
        days=5, count=0, evaporation="0 L/day", source_water={"chloride": "0 mg/L"}, flow_l_h=1e6,
        water_tests=[{"date": START, "chloride": "80 mg/L"}],
        water_changes=[{"date": on(3), "volume": f"{1000.0 * share * water} L"} for share in shares],
    )  # fmt: skip
    held = chloride_held(told, 80.0)
    assert held[3] / held[2] == pytest.approx(keeps, rel=0.02)
    # the table counts what was poured
    assert told.loops["top_up_l"].sum() == pytest.approx(1000.0 * water * sum(shares))


def test_a_steady_inflow_dilutes_as_a_stream_and_runs_over_less_what_evaporates():
    told = season(
        days=10, count=0, evaporation="100 L/day", source_water={"chloride": "0 mg/L"}, flow_l_h=1e6,
        water_tests=[{"date": START, "chloride": "80 mg/L"}], new_water="5 L/min",
    )  # fmt: skip
    held = chloride_held(told, 80.0)
    water, over = told.layout.volume_m3.sum() + 0.8, 7.2 - 0.1
    # each day keeps W / (W + q) of what it began with: the stream runs through mixed water (the gravel's lags a little)
    np.testing.assert_allclose(held[1:] / held[:-1], water / (water + over), rtol=0.01)
    np.testing.assert_allclose(told.course.outflow_m3, over, rtol=1e-12)
    np.testing.assert_allclose(told.course.top_up_m3, 7.2, rtol=1e-12)
    less = season(days=10, evaporation="100 L/day", new_water="90 L/day")
    assert (less.course.outflow_m3 == 0.0).all()
    np.testing.assert_allclose(less.course.top_up_m3, 0.1, rtol=1e-12)


def test_a_steady_inflow_brings_the_oxygen_and_carbon_dioxide_of_air():
    still = {"days": 20, "count": 40, "power_w": 0.0}
    without, streamed = season(**still), season(**still, new_water="5 L/min", source_water={"alkalinity": "100 mg/L"})
    assert streamed.course.oxygen_mg_l[0, -1, 0] > without.course.oxygen_mg_l[0, -1, 0] + 0.2
    assert streamed.course.co2_mg_l[0, -1, 0] < without.course.co2_mg_l[0, -1, 0]
    empty = season(days=20, count=0, new_water="20 L/min")
    # nobody breathes: what air gives stays
    np.testing.assert_allclose(empty.course.co2_mg_l[0, -1], empty.course.co2_mg_l[0, 0], rtol=0.05)


def test_netting_that_is_cleaned_every_week_gives_back_what_rots_in_it():
    def with_settlers(every: int) -> Season:
        tables = one_tank(days=28)
        tables["settlers"] = {
            "swirl": {"loop": "main", "kind": "swirl"},
            "net": {"loop": "main", "kind": "netting", "capture": 0.6, "emptied_every_days": every},
        }
        return run_season(build(tables))

    daily, weekly = with_settlers(1), with_settlers(7)
    # a swirl, then netting: each its share of what reaches it
    np.testing.assert_allclose(1.0 - daily.layout.water.passing[:, 0], 0.37 + 0.63 * 0.6)
    assert (daily.layout.water.emptied == 1.0).all()
    share = weekly.layout.water.emptied[:, 0]
    # the swirl is emptied every day, what lies in the net by then stays
    assert share[0] == pytest.approx(0.37 / (0.37 + 0.63 * 0.6))
    assert (share[6::7] == 1.0).all()
    assert (np.delete(share, np.s_[6::7]) < 0.5).all()
    assert weekly.course.solids_n_freed_g[0, 7:].sum() > 1.1 * daily.course.solids_n_freed_g[0, 7:].sum()
    assert weekly.course.sump_oxygen_used_g.sum() > daily.course.sump_oxygen_used_g.sum()


def test_a_tested_ph_corrects_carbon_dioxide_by_the_alkalinity_tested_with_it():
    tables = one_tank(days=12, count=0)
    del tables["loops"]["main"]["ph"]
    before = run_season(build(tables))
    tables["loops"]["main"]["water_tests"] = [{"date": on(7), "ph": 6.8, "alkalinity": "60 mg/L"}]
    told = run_season(build(tables))
    np.testing.assert_array_equal(told.course.ph[0, :7], before.course.ph[0, :7])
    # some 18 mg/L of carbon dioxide that morning, of which air has taken nearly all by the evening
    dioxide = float(carbon_dioxide(6.8, 60.0, told.layout.temperature_c[7, 0]))
    assert dioxide > 15.0
    assert 1.3 * before.course.co2_mg_l[0, 7, 0] < told.course.co2_mg_l[0, 7, 0] < dioxide
    assert 6.8 < told.course.ph[0, 7, 0] < before.course.ph[0, 7, 0]


def test_a_tested_ph_judges_the_ammonia_tested_with_it():
    tables = one_tank(days=12, count=20)
    del tables["loops"]["main"]["ph"]
    for ph, is_broken in ((6.8, False), (8.6, True)):
        tables["loops"]["main"]["water_tests"] = [{"date": on(7), "tan": "0.3 mg/L", "ph": ph}]
        found = finding(run_season(build(tables)), "unionized_ammonia")
        assert (found.first_date == on(7)) is is_broken


def test_a_test_resets_the_water_on_its_date():
    levels = {
        "alkalinity": 140.0, "nitrate_n": 33.0, "potassium": 44.0, "phosphorus": 5.5, "chloride": 66.0, "tan": 0.77,
        "nitrite_n": 0.88,
    }  # fmt: skip
    tables = one_tank(days=12, count=0, evaporation="0 L/day")
    tables["beds"] = {}
    tables["loops"]["main"]["water_tests"] = [{"date": on(7)} | {key: f"{v} mg/L" for key, v in levels.items()}]
    course = run_season(build(tables)).course
    names = {"alkalinity": "alkalinity_mg_l", "nitrate_n": "nitrate_mg_l", "potassium": "potassium_mg_l",
             "phosphorus": "phosphorus_mg_l", "chloride": "chloride_mg_l", "tan": "tan_mg_l",
             "nitrite_n": "nitrite_mg_l"}  # fmt: skip
    for key, name in names.items():
        series = getattr(course, name)[0, :, 0]
        np.testing.assert_allclose(series[7:], levels[key], rtol=1e-9, err_msg=key)
        np.testing.assert_allclose(series[:7], series[0], rtol=1e-9, err_msg=key)
        assert series[0] != levels[key]


def test_a_test_of_one_loop_leaves_the_others_alone():
    tables = one_tank(days=8)
    tables["loops"]["other"] = dict(tables["loops"]["main"])
    tables["tanks"]["two"] = tables["tanks"]["one"] | {"loop": "other"}
    tables["beds"]["second"] = tables["beds"]["gravel"] | {"loop": "other"}
    tables["cohorts"]["more"] = tables["cohorts"]["fish"] | {"tank": "two"}
    before = run_season(build(tables)).course
    tables["loops"]["main"]["water_tests"] = [{"date": on(4), "tan": "3 mg/L", "nitrate_n": "90 mg/L"}]
    after = run_season(build(tables)).course
    np.testing.assert_allclose(after.nitrate_mg_l[..., 1], before.nitrate_mg_l[..., 1], rtol=1e-9)
    np.testing.assert_allclose(after.tan_mg_l[..., 1], before.tan_mg_l[..., 1], rtol=1e-9)
    assert after.nitrate_mg_l[0, 4, 0] > 80.0
    assert after.tan_mg_l[0, 4, 0] > before.tan_mg_l[0, 4, 0] + 2.0


# --- films and limits


def test_a_loop_without_film_only_gathers_ammonia():
    tables = one_tank(days=20, count=10)
    tables["beds"] = {}
    told = run_season(build(tables))
    assert (np.diff(told.course.tan_mg_l[0, :, 0]) > 0.0).all()
    assert (told.course.nitrite_mg_l == 0.0).all()
    found = finding(told, "biofilter")
    assert found.is_broken
    assert found.days_broken == 20
    assert found.threshold == 0.0


def test_chloride_raises_the_nitrite_limit():
    cats = {"species": "channel_catfish", "feed": "catfish_32", "temperature_c": 28.0, "days": 10}
    fresh = season(**cats, source_water={"chloride": "10 mg/L"})
    salted = season(**cats, source_water={"chloride": "100 mg/L"})
    assert finding(salted, "nitrite").threshold > 2.0 * finding(fresh, "nitrite").threshold


def test_nitrite_curbs_appetite_and_kills():
    # trout, of which half die in four days at 0.5 mg/L in water of hardly any chloride, at 2.9 in that of the source
    trout = {"species": "rainbow_trout", "feed": "trout_44", "temperature_c": 12.0, "count": 10}
    course = season(**trout, days=6, water_tests=[{"date": on(2), "nitrite_n": "6 mg/L"}], bed_m2=0.3).course
    assert course.appetite_share[0, 1, 0] == 1.0
    assert course.appetite_share[0, 2, 0] < 0.9
    assert course.deaths[0, :2].sum() - 2 * 10 * 7.2e-5 < 1e-3, "no more than die every day"
    assert course.deaths[0, 2:].sum() > 1.0


def test_nitrite_that_nobody_measured_takes_no_fish_and_says_so():
    # bluegill died at 2.75 mg/L as trout do, though sunfish keep nitrite out (Tomasso 1986: the most resistant)
    wild = {"species": "bluegill", "feed": "sunfish_44", "temperature_c": 24.0, "count": 10, "days": 6, "bed_m2": 0.3}
    told = season(**wild, water_tests=[{"date": on(2), "nitrite_n": "6 mg/L"}])
    assert told.course.nitrite_mg_l[0, 2, 0] > 2.75
    assert told.course.deaths.sum() < 6 * 10 * 8e-5, "no more than die every day"
    assert told.course.appetite_share[0, 2, 0] == 0.0, "no appetite from five times what is borne"
    found = nitrite_data(told)["fish"]
    assert (found["survival"], found["lethal_n_mg_l"], found["caution_n_mg_l"]) == ("not known", None, 0.55)
    assert found["first_date"] == on(2).isoformat()
    assert fate_data(told)["fish"]["nitrite_over_caution"] == found
    (sentence,) = nitrite_words(told)
    assert "not known" in sentence
    assert sentence in cautions(told)
    # where it was measured the deaths are counted, and what they leave out is told; calm water tells nothing
    trout = {"species": "rainbow_trout", "feed": "trout_44", "temperature_c": 12.0, "count": 10, "bed_m2": 0.3}
    known = season(**trout, days=6, water_tests=[{"date": on(2), "nitrite_n": "1 mg/L"}])
    found = nitrite_data(known)["fish"]
    assert found["survival"] == "counted"
    assert found["lethal_n_mg_l"] > found["worst_n_mg_l"] > found["caution_n_mg_l"]
    assert nitrite_words(season(**trout, days=6)) == []
    assert fate_data(season(**trout, days=6))["fish"]["nitrite_over_caution"] is None


def test_crops_take_nitrate_and_give_base_back():
    bare, planted = one_tank(days=60), one_tank(days=60)
    planted["beds"]["gravel"]["plantings"] = [{"crop": "lettuce", "from": START, "to": on(59)}]
    without, grown = run_season(build(bare)).course, run_season(build(planted)).course
    assert without.uptake_n_g.sum() == 0.0
    assert (grown.uptake_n_g > 0.0).all()
    assert (grown.uptake_n_g <= 0.5 * 10.0).all(), "0.5 g/m2/day on 10 m2 at most"
    assert (grown.potassium_mg_l[0, 1:] < without.potassium_mg_l[0, 1:]).all()
    assert (grown.nitrate_mg_l < without.nitrate_mg_l).all()
    assert (grown.alkalinity_mg_l[0, 1:] > without.alkalinity_mg_l[0, 1:]).all()


def test_dosed_ammonia_is_nitrogen_without_base():
    # fishless cycling by a salt of ammonia: nitrogen comes in whole, base only goes
    cycling = {"from": START, "to": on(9), "ammonia_nitrogen": "2 g/day"}
    tables = one_tank(days=10, count=0, evaporation="0 L/day", fishless_cycling=cycling)
    tables["beds"] = {}
    course = run_season(build(tables)).course
    water = 1.0 + 0.8
    np.testing.assert_allclose(
        course.tan_mg_l[0, :, 0] + course.sump_tan_mg_l[0, :, 0] * 0.8, 2.0 * np.arange(1, 11), rtol=1e-9
    )
    np.testing.assert_allclose(course.alkalinity_mg_l, course.alkalinity_mg_l[0, 0, 0], rtol=1e-12)
    assert course.tan_mg_l[0, -1, 0] == pytest.approx(20.0 / water, rel=0.02)
