"""Levers on a loop's water, and that no lever is proved by fish that it kills."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pytest
from lever_checks import (
    assert_no_more_die,
    deaths,
    dosed,
    find_change,
    finding_of,
    is_broken,
    keeps,
    only,
    sought,
    told_help,
)
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.changes.change import Action, Care, Change, mends
from stocksim.changes.search import prove_change
from stocksim.changes.water import held_feed
from stocksim.changes.ways import advise
from stocksim.engine.results.frames import Season
from stocksim.units import parse_quantity


def hard_water(**loop: object) -> dict:
    """Perch on a mature film in hard tap water that nobody doses: pH 8.6 and more."""
    tables = one_tank(
        species="yellow_perch", feed="perch_45", temperature_c=20.0, days=150, count=60, mean_weight_g=40.0,
        power_w=30.0, bed_m2=4.0, ph=None,
    )  # fmt: skip
    tables["loops"]["main"] |= {"sump": "1000 L", "source_water": {"alkalinity": "200 mg/L"}} | loop
    tables["beds"]["gravel"] |= {"depth": "30 cm", "media_size": "12 mm"}
    return tables


def test_dead_fish_prove_no_lever():
    season = run_season(build(hard_water()))
    finding = finding_of(season, "unionized_ammonia")
    assert finding.is_broken
    assert deaths(season) < 1.0
    hungry = [{"from": START, "share": 0.0}, {"from": START + dt.timedelta(days=105), "share": 1.0}]
    change = Change(Action.HELD_FEED, {"loops.main.feeding_ramp": hungry}, cuts_feed=True)
    after = run_season(season.site, **change.fields)
    assert not finding_of(after, "unionized_ammonia").is_broken  # for they are dead
    assert deaths(after) > 30.0
    assert not mends(season, after, finding, change)
    assert prove_change(season, finding, [change]).change != change
    # whether it says so or not that it cuts feed
    assert not mends(season, after, finding, Change(change.kind, change.fields))


def test_no_feed_is_held_back_on_a_mature_film_but_softer_water_is_told():
    tables = hard_water()
    season, change = sought(tables, "unionized_ammonia", kinds=("base", "feed", "salt", "water"))
    assert not list(held_feed(season, finding_of(season, "unionized_ammonia"), "main"))
    field = "loops.main.source_water.alkalinity"
    assert list(change.fields) == [field]
    level = parse_quantity(change.fields[field], "concentration")
    assert level % 20 == 0
    assert 40 <= level < 200
    assert change.kind is Action.SOFTER_SOURCE
    assert change.amounts == {"loop": "main", "alkalinity_mg_l": level, "now_mg_l": 200.0}
    assert keeps(season, change.fields, "unionized_ammonia")
    assert not keeps(season, {field: f"{level + 20} mg/L"}, "unionized_ammonia")
    after = run_season(season.site, **change.fields)
    assert after.course.ph.max() < season.course.ph.max()
    assert after.course.alkalinity_mg_l.min() >= 40.0


def test_a_keepers_high_alkalinity_target_is_lowered():
    tables = hard_water(alkalinity_target="240 mg/L", source_water={"alkalinity": "60 mg/L"})
    season, change = sought(tables, "unionized_ammonia", kinds=("base", "feed", "salt", "water"))
    field = "loops.main.alkalinity_target"
    assert list(change.fields) == [field]
    level = parse_quantity(change.fields[field], "concentration")
    assert change.kind is Action.SOFTER_TARGET
    assert change.amounts == {"loop": "main", "alkalinity_mg_l": level, "now_mg_l": pytest.approx(240.0)}
    assert keeps(season, change.fields, "unionized_ammonia")
    assert not keeps(season, {field: f"{level + 20} mg/L"}, "unionized_ammonia")


def test_a_lever_that_leaves_no_fish_to_judge_proves_nothing():
    season = run_season(build(hard_water()))
    finding = finding_of(season, "unionized_ammonia")
    none = {"cohorts.fish.count": 0}
    assert not mends(season, run_season(season.site, **none), finding, Change(Action.FEWER_FISH, none))


def crowded_film(count: int, biofilter_start: str) -> Season:
    """Too many fish for a film and for the air of their tank."""
    tables = hard_water(
        source_water={"alkalinity": "100 mg/L"}, alkalinity_target="70 mg/L", biofilter_start=biofilter_start
    )
    tables["cohorts"]["fish"]["count"] = count
    tables["tanks"]["one"]["oxygen_supply"]["power"] = "5 W"
    return run_season(build(tables))


def test_a_lever_that_leaves_fish_dying_of_something_else_says_so():
    season = crowded_film(1500, "seeded")
    finding = finding_of(season, "oxygen")
    assert finding.is_broken
    found = prove_change(season, finding)
    assert found.change is not None
    after = run_season(season.site, **found.change.fields)
    assert 45.0 < deaths(after) < deaths(season)
    assert found.deaths.is_told
    assert found.deaths.fish == pytest.approx(1500.0)
    # beside what the water kills there are only the deaths of every day
    assert 0.0 < found.deaths.dying < deaths(after)


def test_no_lever_is_told_under_which_all_fish_die_of_something_else():
    season = crowded_film(400, "new")
    finding = finding_of(season, "oxygen")
    assert finding.is_broken
    change = find_change(season, finding)
    assert change is None or deaths(run_season(season.site, **change.fields)) < 399.0


def bad_test(nitrite_mg_l: float, **test: str) -> dict:
    """Perch in good water until a test finds nitrite."""
    tables = hard_water(source_water={"alkalinity": "100 mg/L"}, alkalinity_target="70 mg/L")
    tables["season"]["end"] = START + dt.timedelta(days=59)
    day = START + dt.timedelta(days=40)
    tables["loops"]["main"]["water_tests"] = [{"date": day, "nitrite_n": f"{nitrite_mg_l} mg/L"} | test]
    return tables


def test_water_is_changed_on_the_day_of_a_bad_test_by_the_least_that_does():
    tables = bad_test(1.2, tan="4 mg/L", alkalinity="30 mg/L")
    season, change = sought(tables, "nitrite", kinds=("water",))
    field = "loops.main.water_changes"
    assert list(change.fields) == [field]
    written = change.fields[field]
    day = START + dt.timedelta(days=40)
    assert [one["date"] for one in written] == [day + dt.timedelta(days=n) for n in range(len(written))]
    litres = 1000.0 * parse_quantity(written[0]["volume"], "volume")
    layout = season.layout
    water = 1000.0 * float(layout.volume_m3.sum() + layout.sump_volume_m3.sum())
    tenths = round(10.0 * litres / water)
    assert litres == pytest.approx(0.1 * tenths * water, abs=0.5)
    assert 1 < tenths <= 5
    # what the test found of that day no change undoes
    assert (change.kind, change.start, change.care, change.past) == (Action.WATER_CHANGES, day, Care.NEW_WATER, (day,))

    def is_mended(fields: dict) -> bool:
        """Whether the limit holds with the reserve on every day but the test's."""
        after = run_season(season.site, **fields)
        margin = after.series_of("nitrite").margin_percent[0, :, 0]
        return bool((np.delete(margin, (day - START).days) >= 0.5 - 1e-6).all())

    assert is_mended(change.fields)
    assert not is_mended({field: [one | {"volume": f"{0.1 * (tenths - 1) * water} L"} for one in written]})
    assert len(written) == 1 or not is_mended({field: written[:-1]})
    # what the file already changes stays
    kept = [{"date": START, "volume": "10 L"}]
    again = run_season(season.site, **{field: kept})
    change = find_change(again, finding_of(again, "nitrite"))
    assert change is not None
    assert change.fields[field][0] == kept[0]


def test_a_test_that_no_water_change_can_undo_in_a_day_is_said_to_be_past():
    season = run_season(build(bad_test(4.0)))
    finding = finding_of(season, "nitrite")
    assert finding.days_broken > 1
    change = find_change(season, finding)
    assert change is not None
    changes = change.fields["loops.main.water_changes"]
    assert change.past == (changes[0]["date"],) == (START + dt.timedelta(days=40),)
    after = finding_of(run_season(season.site, **change.fields), "nitrite")
    assert (after.days_broken, after.first_date) == (1, changes[0]["date"])
    assert_no_more_die(season, change.fields)
    # what is told beside all other limits of the season says so as well
    told = told_help(season, "nitrite").change
    assert told is not None
    assert told.past == change.past
    assert ("nitrite", "tanks.one") not in [(f.limit, f.where) for f in advise(season).ways[0].left]


def unfiltered(ph: float = 7.6) -> dict:
    """A few small perch in a loop without any film: ammonia rises slowly, all season."""
    tables = dosed(
        species="yellow_perch", feed="perch_45", temperature_c=20.0, count=10, mean_weight_g=15, power_w=30, days=90,
        ph=ph,
    )  # fmt: skip
    del tables["beds"]
    return tables


def test_what_stays_too_high_for_weeks_is_met_with_the_smallest_change_of_every_week():
    season, change = sought(unfiltered(), "unionized_ammonia", kinds=("water",))
    finding = finding_of(season, "unionized_ammonia")
    assert finding.days_broken > 21
    field = "loops.main.water_changes"
    written = change.fields[field]
    assert (change.kind, change.care, change.past) == (Action.WATER_CHANGES, Care.NEW_WATER, ())
    assert change.start == written[0]["date"] == finding.first_date - dt.timedelta(days=7)
    days = [one["date"] for one in written]
    assert {(later - day).days for day, later in itertools.pairwise(days)} == {7}
    assert (season.dates[-1] - days[-1]).days < 7
    assert (change.amounts["every_days"], change.amounts["last"]) == (7, days[-1])
    (volume,) = {one["volume"] for one in written}
    litres = 1000.0 * parse_quantity(volume, "volume")
    layout = season.layout
    water = 1000.0 * float(layout.volume_m3.sum() + layout.sump_volume_m3.sum())
    tenths = round(10.0 * change.amounts["share"])
    assert litres == pytest.approx(0.1 * tenths * water, abs=0.5)
    assert 2 <= tenths <= 5
    assert keeps(season, change.fields, "unionized_ammonia")
    less = [one | {"volume": f"{0.1 * (tenths - 1) * water:.0f} L"} for one in written]
    assert not keeps(season, {field: less}, "unionized_ammonia")


def test_no_more_than_half_of_the_water_is_changed_a_week():
    season = run_season(build(only(unfiltered(8.0), "water")))
    finding = finding_of(season, "unionized_ammonia")
    assert finding.is_broken
    assert find_change(season, finding) is None


def cycled(**changes: object) -> dict:
    """A new film fed with more ammonia than it takes, and perch stocked the day after."""
    tables = hard_water(source_water={"alkalinity": "100 mg/L"}, alkalinity_target="70 mg/L", biofilter_start="new")
    tables["loops"]["main"]["fishless_cycling"] = {
        "from": START, "to": START + dt.timedelta(days=35), "ammonia_nitrogen": "6 g/day",
    } | changes  # fmt: skip
    tables["cohorts"]["fish"]["stocked"] = START + dt.timedelta(days=36)
    return tables


def test_less_ammonia_is_dosed_where_the_dose_breaks_the_limit():
    season, change = sought(cycled(), "unionized_ammonia", kinds=("stock",))
    assert deaths(season) > 50.0
    dose = change.fields["loops.main.fishless_cycling"]
    assert parse_quantity(dose["ammonia_nitrogen"], "oxygen_rate") < 6.0
    assert change.kind is Action.LESS_DOSED_AMMONIA
    assert change.amounts["dose_g_day"] == pytest.approx(parse_quantity(dose["ammonia_nitrogen"], "oxygen_rate"))
    assert change.amounts["now_g_day"] == pytest.approx(6.0)
    after = run_season(season.site, **change.fields)
    assert deaths(after) < 1.0
    assert not finding_of(after, "nitrite").is_broken


def test_dosing_ends_some_days_before_fish_come():
    tables = dosed(species="yellow_perch", feed="perch_45", temperature_c=20.0, days=40, mean_weight_g=40.0, ph=7.4)
    tables["loops"]["main"]["fishless_cycling"] = {
        "from": START + dt.timedelta(days=10), "to": START + dt.timedelta(days=19), "ammonia_nitrogen": "20 g/day",
    }  # fmt: skip
    tables["cohorts"]["fish"]["stocked"] = START + dt.timedelta(days=20)
    later = run_season(build(tables))
    change = find_change(later, finding_of(later, "unionized_ammonia"))
    assert change is not None
    last = change.fields["loops.main.fishless_cycling"]["to"]
    assert START + dt.timedelta(days=10) <= last <= START + dt.timedelta(days=19)
    ahead = (START + dt.timedelta(days=20) - last).days
    assert change.kind is Action.DOSING_ENDS
    assert change.amounts == {"loop": "main", "last": last, "days_ahead": ahead}
    assert not is_broken(later, change.fields, "unionized_ammonia")


def test_fish_that_events_bring_leave_the_cycling_levers_out():
    tables = cycled()
    tables["loops"]["old"] = {
        "sump": "500 L", "ph": 7.2, "water_temperature": {"kind": "constant", "value": "20 degC"},
    }  # fmt: skip
    tables["tanks"]["home"] = tables["tanks"]["one"] | {"loop": "old"}
    tables["beds"]["gravel_old"] = tables["beds"]["gravel"] | {"loop": "old"}
    tables["cohorts"]["fish"] = tables["cohorts"]["fish"] | {"tank": "home", "stocked": START}
    tables["events"] = [{"kind": "move", "date": START + dt.timedelta(days=36), "cohort": "fish", "tank": "one"}]
    season = run_season(build(tables))
    finding = finding_of(season, "unionized_ammonia")
    assert finding.is_broken
    change = find_change(season, finding)
    assert change is None or not is_broken(season, change.fields, "unionized_ammonia")
    assert change is None or change.kind not in (Action.LESS_DOSED_AMMONIA, Action.DOSING_ENDS)
