"""Limits met or broken: whose limit counts, first and worst day, the sign of the margin, and advisories."""

from __future__ import annotations

import datetime as dt
import pickle
from dataclasses import replace

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from small_sites import START, any_site, build, one_tank

from stocksim import run_season
from stocksim.engine.results.findings import Finding, findings, limit_series, planting_findings, worst_margin
from stocksim.library.species import load_species
from stocksim.site.kinds import hard_limits
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L

HARD_LIMITS = set(hard_limits())


def find(season, limit: str, where: str) -> Finding:
    (found,) = [finding for finding in season.findings if (finding.limit, finding.where) == (limit, where)]
    return found


def shared_tank(**stocked: int) -> dict:
    """Perch and trout of one tank, thin enough to be well; days on which they are stocked by name."""
    tables = one_tank("yellow_perch", "perch_45", 15.0, 20, 20, 50.0, 100.0)
    tables["cohorts"]["trout"] = dict(tables["cohorts"]["fish"], species="rainbow_trout", feed="trout_44")
    for key, day in stocked.items():
        tables["cohorts"][key]["stocked"] = START + dt.timedelta(days=day)
    return tables


def test_the_most_delicate_species_sets_the_tanks_limits():
    season = run_season(build(shared_tank()))
    perch, trout = load_species("yellow_perch"), load_species("rainbow_trout")
    assert find(season, "oxygen", "tanks.one").threshold == max(
        perch["oxygen_recommended"], trout["oxygen_recommended"]
    )
    assert find(season, "unionized_ammonia", "tanks.one").threshold == min(
        perch["unionized_ammonia_design"], trout["unionized_ammonia_design"]
    )
    assert find(season, "density", "tanks.one").threshold == min(perch["density_cautious"], trout["density_cautious"])
    # the three limits differ between the two, or this would prove nothing
    assert perch["oxygen_recommended"] != trout["oxygen_recommended"]
    assert perch["unionized_ammonia_design"] != trout["unionized_ammonia_design"]


@pytest.mark.parametrize(
    ("species", "chloride", "threshold"),
    [
        # ten parts of chloride to one of the nitrite ion (46.005 g of it hold 14.007 g of nitrogen): trout bear
        # 100 / 10 * 14.007 / 46.005 = 3.045 mg/L; perch, whom chloride is not known to help, keep 0.55
        (("rainbow_trout",), 100.0, 3.045),
        (("rainbow_trout",), 0.0, 0.1),
        (("rainbow_trout",), 1000.0, 5.0),
        (("yellow_perch",), 100.0, 0.55),
        (("yellow_perch", "rainbow_trout"), 100.0, 0.55),
        (("yellow_perch", "rainbow_trout"), 0.0, 0.1),
    ],
)
def test_nitrite_is_judged_by_the_strictest_fish_at_the_loops_chloride(species, chloride, threshold):
    tables = shared_tank()
    for key in ("fish", "trout"):
        if tables["cohorts"][key]["species"] not in species:
            tables["cohorts"][key]["count"] = 0
    tables["loops"]["main"] |= {
        "source_water": {"chloride": f"{chloride} mg/L"}, "evaporation": "0 L/day", "alkalinity_target": "100 mg/L",
    }  # fmt: skip
    season = run_season(build(tables))
    nitrite = find(season, "nitrite", "tanks.one")
    assert nitrite.threshold == pytest.approx(threshold, rel=1e-3)
    assert nitrite.worst_value == pytest.approx(season.tanks["nitrite_n_mg_l"].max())
    assert nitrite.margin_percent == pytest.approx(100.0 * (1.0 - nitrite.worst_value / nitrite.threshold))


def test_the_biofilter_is_judged_by_what_it_takes_at_the_strictest_fishs_ammonia():
    tables = shared_tank()
    tables["loops"]["main"]["alkalinity_target"] = "100 mg/L"
    season = run_season(build(tables))
    trout = load_species("rainbow_trout")
    (series,) = [series for series in season.limits if series.limit == "biofilter"]
    assert series.entities == season.layout.loops
    # TAN at which un-ionized ammonia reaches the trout's design level at pH 7 and 15 degC: 0.273 % (Emerson et al.
    # 1975), and what the film takes there by its capacity (Monod)
    tan = trout["unionized_ammonia_design"] / 0.00273
    share = tan / (HALF_SATURATION_TAN_MG_L + tan)
    takes = season.course.film_capacity_g[0].sum(axis=-1) * share
    np.testing.assert_allclose(series.threshold[0, :, 0], takes, rtol=2e-3)
    np.testing.assert_allclose(series.value[0, :, 0], season.loops["tan_produced_g"], rtol=1e-12)
    found = find(season, "biofilter", "loops.main")
    assert not found.is_broken
    assert found.unit == "g/day"
    assert found.margin_percent == pytest.approx(100.0 * (1.0 - found.worst_value / found.threshold))
    assert found.margin_percent == pytest.approx(100.0 * (1.0 - (series.value / series.threshold).max()))


def test_a_loop_without_film_breaks_its_biofilter_from_the_first_day_with_fish():
    tables = shared_tank(fish=3, trout=5)
    tables["loops"]["bare"] = dict(tables["loops"]["main"])
    tables["tanks"]["empty"] = dict(tables["tanks"]["one"], loop="bare")
    del tables["beds"]
    season = run_season(build(tables))
    biofilter = find(season, "biofilter", "loops.main")
    assert biofilter.is_broken
    assert biofilter.threshold == 0.0
    assert biofilter.first_date == START + dt.timedelta(days=3)
    assert biofilter.days_broken == 17
    assert not [f for f in season.findings if f.where == "loops.bare"]  # no fish, nothing to judge
    assert (season.course.nitrified_g == 0.0).all()
    assert np.diff(season.course.tan_mg_l[0, 3:, 0]).min() > 0.0, "ammonia is meant to stay and rise"


def test_the_keepers_density_level_is_used():
    tables = one_tank("yellow_perch", "perch_45", 15.0)
    tables["site"]["density_level"] = "experienced"
    assert (
        find(run_season(build(tables)), "density", "tanks.one").threshold
        == load_species("yellow_perch")["density_experienced"]
    )


def test_a_species_counts_from_its_stocking_day_only():
    season = run_season(build(shared_tank(trout=12)))
    (oxygen,) = [series for series in season.limits if series.limit == "oxygen"]
    perch, trout = load_species("yellow_perch"), load_species("rainbow_trout")
    assert (oxygen.threshold[0, :12, 0] == perch["oxygen_recommended"]).all()
    assert (oxygen.threshold[0, 12:, 0] == trout["oxygen_recommended"]).all()
    nobody = run_season(build(shared_tank(fish=8, trout=12)))
    (oxygen,) = [series for series in nobody.limits if series.limit == "oxygen"]
    assert np.isnan(oxygen.margin_percent[0, :8, 0]).all()
    assert not np.isnan(oxygen.margin_percent[0, 8:, 0]).any()


def test_a_tank_without_fish_has_no_limits():
    tables = one_tank()
    tables["tanks"]["empty"] = {"loop": "main", "volume": "500 L", "flow": "500 L/h"}
    tables["tanks"]["unstocked"] = {"loop": "main", "volume": "500 L", "flow": "500 L/h"}
    tables["cohorts"]["none"] = dict(tables["cohorts"]["fish"], tank="unstocked", count=0)
    season = run_season(build(tables))
    assert {finding.where for finding in season.findings} <= {"tanks.one", "cohorts.fish", "loops.main"}


def crowded_tables() -> dict:
    tables = one_tank(count=110, mean_weight_g=150.0, power_w=300.0, days=60)
    tables["loops"]["main"]["alkalinity_target"] = "150 mg/L"  # or ammonia and nitrite kill them first
    return tables


def crowded():
    # 110 tilapia grow from 150 g past 20 kg/m3 in a cubic metre
    return run_season(build(crowded_tables()))


def test_dates_values_and_days_of_a_broken_limit():
    season = crowded()
    density = find(season, "density", "tanks.one")
    in_the_day = season.course.count[0] + season.course.deaths[0]  # before its deaths
    daily = (in_the_day * season.course.weight_g[0] / 1000.0)[:, 0] / 1.0
    over = np.flatnonzero(daily > 20.0)
    assert 0 < over[0] < 59, "it is meant to cross the limit in mid-season"
    assert density.is_broken
    assert density.first_date == START + dt.timedelta(days=int(over[0]))
    assert density.worst_date == START + dt.timedelta(days=int(daily.argmax()))
    assert density.worst_value == pytest.approx(daily.max())
    assert density.days_broken == over.size
    assert density.margin_percent == pytest.approx(100.0 * (20.0 - daily.max()) / 20.0)
    assert density.unit == "kg/m3"


def test_a_limit_that_holds_has_no_first_date():
    season = run_season(build(one_tank(count=10)))
    density = find(season, "density", "tanks.one")
    assert not density.is_broken
    assert density.first_date is None
    assert density.days_broken == 0
    assert density.margin_percent == pytest.approx(100.0 * (20.0 - density.worst_value) / 20.0)


def test_margins_are_positive_on_the_safe_side_for_floors_and_ceilings():
    cold = run_season(build(one_tank("nile_tilapia", "tilapia_34", 12.0, 5)))
    tilapia = load_species("nile_tilapia")
    low, high = tilapia["temperature_low_limit"], tilapia["temperature_high_stress"]
    too_cold, not_hot = (find(cold, f"temperature_{side}", "cohorts.fish") for side in ("low", "high"))
    assert low > 12.0
    assert too_cold.margin_percent == pytest.approx(100.0 * (12.0 - low) / (high - low))
    assert too_cold.margin_percent < 0.0 < not_hot.margin_percent
    assert not_hot.margin_percent == pytest.approx(100.0 * (high - 12.0) / (high - low))
    gasping = run_season(build(one_tank(count=300, power_w=0.0, flow_l_h=50.0)))
    oxygen = find(gasping, "oxygen", "tanks.one")
    assert oxygen.worst_value < oxygen.threshold
    assert oxygen.margin_percent == pytest.approx(100.0 * (oxygen.worst_value - oxygen.threshold) / oxygen.threshold)
    sour = run_season(build(one_tank(count=300, power_w=900.0, ph=9.0, bed_m2=0.5)))
    ammonia = find(sour, "unionized_ammonia", "tanks.one")
    assert ammonia.worst_value > ammonia.threshold
    assert ammonia.margin_percent == pytest.approx(
        100.0 * (ammonia.threshold - ammonia.worst_value) / ammonia.threshold
    )


def test_limits_are_judged_on_the_worst_hour(demo_season):
    by_limit = {series.limit: series for series in demo_season.limits}
    tanks = demo_season.tanks
    for limit, worst, mean in (
        ("oxygen", "oxygen_min_mg_l", "oxygen_mg_l"),
        ("unionized_ammonia", "unionized_ammonia_max_mg_l", "unionized_ammonia_mg_l"),
    ):
        np.testing.assert_array_equal(by_limit[limit].value[0].reshape(-1), tanks[worst])
        assert (tanks[worst] != tanks[mean]).any()
    assert (tanks["oxygen_min_mg_l"] <= tanks["oxygen_mg_l"]).all()
    assert (tanks["unionized_ammonia_max_mg_l"] >= tanks["unionized_ammonia_mg_l"]).all()


def test_order_broken_first_by_date_then_by_margin(demo_season):
    hard = [finding for finding in demo_season.findings if finding.margin_percent is not None]
    broken = [finding for finding in hard if finding.is_broken]
    assert hard[: len(broken)] == broken
    assert broken
    dates = [finding.first_date for finding in broken]
    assert dates == sorted(dates)
    margins = [finding.margin_percent for finding in hard[len(broken) :]]
    assert margins == sorted(margins)
    assert {finding.limit for finding in hard} == HARD_LIMITS


def test_the_planting_ratio_is_advice_and_never_breaks(demo_season):
    advice = [finding for finding in demo_season.findings if finding.limit == "planting_ratio"]
    assert [finding.where for finding in advice] == ["loops.main", "loops.warm"]
    for finding in advice:
        assert finding.margin_percent is None
        assert not finding.is_broken
        assert finding.unit == "g/m2/day"
        ratio = demo_season.loops[demo_season.loops["loop"] == finding.where.removeprefix("loops.")]
        daily = ratio.set_index("date")["planting_ratio_g_m2_day"]
        assert finding.worst_value == pytest.approx(daily[finding.worst_date.isoformat()])
        layout = demo_season.layout
        column = layout.loops.index(finding.where.removeprefix("loops."))
        values = daily.to_numpy()
        outside = (values < layout.ratio_low[:, column]) | (values > layout.ratio_high[:, column])
        assert finding.days_broken == outside.sum()
        assert finding.first_date == layout.start + dt.timedelta(days=int(np.flatnonzero(outside)[0]))


def test_no_planting_advice_without_beds_or_without_feed():
    bare = run_season(build(one_tank()))
    assert planting_findings(bare.layout, bare.course) == []
    tables = one_tank(count=0)
    tables["beds"]["gravel"]["plantings"] = [{"crop": "lettuce", "from": START, "to": START + dt.timedelta(days=29)}]
    unfed = run_season(build(tables))
    assert planting_findings(unfed.layout, unfed.course) == []


def test_feed_within_the_band_is_said_to_be_so():
    tables = one_tank(count=40, days=5)
    feed = run_season(build(tables)).loops["feed_g"].mean()
    tables["beds"]["gravel"] |= {
        "area": f"{feed / 45.0:.3f} m2",
        "plantings": [{"crop": "lettuce", "from": START, "to": START + dt.timedelta(days=4)}],
    }
    (advice,) = [finding for finding in run_season(build(tables)).findings if finding.limit == "planting_ratio"]
    assert advice.first_date is None
    assert advice.days_broken == 0
    assert 40.0 < advice.worst_value < 50.0


def test_findings_of_a_scenario_are_those_of_its_own_run():
    site = build(crowded_tables())
    from stocksim.engine.arrays.layout import build_layout
    from stocksim.engine.results.findings import tank_extremes
    from stocksim.engine.season import simulate

    layout = build_layout(site)
    many = replace(layout, count=layout.count * np.array([[0.1], [1.0]]))
    course = simulate(many)
    series = limit_series(many, course, tank_extremes(many, course))
    own = findings(layout, crowded().limits)
    theirs = findings(many, series, scenario=1)
    assert [(f.limit, f.where, f.first_date, f.worst_date) for f in theirs] == [
        (f.limit, f.where, f.first_date, f.worst_date) for f in own
    ]
    assert not [f for f in findings(many, series, scenario=0) if f.limit == "density" and f.is_broken]
    density = next(one for one in series if one.limit == "density")
    assert worst_margin(density).shape == (2, 1)
    assert worst_margin(density)[1, 0] == pytest.approx(min(f.margin_percent for f in own if f.limit == "density"))


@settings(max_examples=examples(40))
@given(any_site())
def test_findings_of_random_sites_are_sound(tables):
    season = run_season(build(tables))
    days = season.layout.days
    for finding in season.findings:
        assert START <= finding.worst_date < START + dt.timedelta(days=days)
        assert (finding.first_date is None) == (finding.days_broken == 0)
        assert finding.days_broken <= days
        if finding.margin_percent is not None:
            assert finding.is_broken == (finding.days_broken > 0)
            assert np.isfinite([finding.worst_value, finding.threshold, finding.margin_percent]).all()
            assert finding.first_date is None or finding.first_date <= finding.worst_date


def test_what_a_test_measures_over_a_limit_is_told_on_its_day():
    """By evening the day has changed it: a test of 0.8 mg/L of nitrite used to leave no trace."""
    calm = one_tank("bluegill", "sunfish_44", 22.0, 20, 10)
    tested = START + dt.timedelta(days=5)
    calm["loops"]["main"]["water_tests"] = [{"date": tested, "nitrite_n": "0.8 mg/L", "tan": "8 mg/L"}]
    season = run_season(build(calm))
    nitrite, ammonia = find(season, "nitrite", "tanks.one"), find(season, "unionized_ammonia", "tanks.one")
    assert nitrite.first_date == ammonia.first_date == tested
    assert season.series_of("nitrite").value[0, 5, 0] >= 0.8
    assert (
        find(run_season(build(one_tank("bluegill", "sunfish_44", 22.0, 20, 10))), "nitrite", "tanks.one").first_date
        is None
    )


def test_a_season_that_was_judged_can_be_pickled_as_the_pages_keep_it(demo_season):
    season = run_season(demo_season.site, **{"cohorts.tilapia.count": 9})
    before = season.findings
    assert pickle.loads(pickle.dumps(season)).findings == before
