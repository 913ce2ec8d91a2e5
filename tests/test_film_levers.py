"""Levers on a loop's film and what it needs: surface, time, chloride, alkalinity, a first biofilter."""

from __future__ import annotations

import datetime as dt

import pytest
from lever_checks import deaths, dosed, find_change, finding_of, is_broken, keeps, sought
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.changes.change import Action, Care
from stocksim.changes.search import help_of
from stocksim.changes.water import new_film, starts_young
from stocksim.changes.ways import find_changes
from stocksim.units import parse_quantity


def test_a_small_film_is_given_the_least_surface_that_does():
    season, change = sought(dosed(count=150, power_w=3, bed_m2=4, ph=8.2), "unionized_ammonia", kinds=("biofilter",))
    field = "beds.gravel.nitrifying_surface"
    assert list(change.fields) == [field]
    before = season.layout.film_m2[-1]
    surface = parse_quantity(change.fields[field], "area")
    assert change.kind is Action.MORE_FILM
    assert change.amounts == {"where": "beds.gravel", "surface_m2": surface, "now_m2": before}
    assert keeps(season, change.fields, "unionized_ammonia")
    weaker = (surface / before - 0.1) * before - 1.0  # a step of a tenth, and the rounding up to whole m2
    assert not keeps(season, {field: f"{weaker} m2"}, "unionized_ammonia")


def test_a_biofilter_is_given_more_media():
    tables = dosed(count=90, days=20, ph=8.0)
    tables["beds"]["gravel"]["area"] = "0.1 m2"
    tables["biofilters"] = {
        "drip": {
            "loop": "main", "kind": "trickling", "media_volume": "200 L", "specific_surface": "200 m2/m3",
            "flow": "1000 L/h",
        }
    }  # fmt: skip
    season, change = sought(tables, "unionized_ammonia", kinds=("biofilter",))
    field = "biofilters.drip.media_volume"
    assert list(change.fields) == [field]
    media = parse_quantity(change.fields[field], "volume")
    assert change.kind is Action.MORE_FILM
    assert change.amounts == {"where": "biofilters.drip", "media_m3": pytest.approx(media, abs=1e-5)}
    assert keeps(season, change.fields, "unionized_ammonia")
    assert not keeps(season, {field: f"{media / 1.06} m3"}, "unionized_ammonia")  # a step of the ladder


def young(**loop_keys) -> dict:
    """Tilapia on a small film that has hardly begun."""
    tables = dosed(days=60, bed_m2=0.8, count=60, ph=7.2, power_w=200.0)
    tables["loops"]["main"] |= {"biofilter_start": "seeded"} | loop_keys
    return tables


def test_a_young_film_is_given_time_and_the_least_feed_is_given_up():
    season, change = sought(young(), "nitrite", kinds=("feed",))
    field = "loops.main.feeding_ramp"
    first, then = change.fields[field]
    assert (first["from"], then["share"]) == (START, 1.0)
    weeks = (then["from"] - START).days // 7
    assert (change.kind, change.start, change.cuts_feed) == (Action.HELD_FEED, START, True)
    assert change.amounts == {"loop": "main", "share": first["share"], "until": then["from"]}
    assert keeps(season, change.fields, "nitrite")
    given_up = (1.0 - first["share"]) * weeks
    for share, most in ((0.8, 16), (0.6, 16), (0.4, 8), (0.2, 4), (0.0, 1)):
        for week in range(1, min(most, 7) + 1):
            if (1.0 - share) * week < given_up - 1e-9:
                steps = [
                    {"from": START, "share": share}, {"from": START + dt.timedelta(days=7 * week), "share": 1.0},
                ]  # fmt: skip
                assert not keeps(season, {field: steps}, "nitrite"), (share, week)


def test_a_keepers_own_ramp_is_left_alone():
    season = run_season(build(young(feeding_ramp=[{"from": START, "share": 1.0}])))
    finding = finding_of(season, "nitrite")
    assert finding.is_broken
    change = find_change(season, finding)
    assert change is None or "loops.main.feeding_ramp" not in change.fields


def shielded(species: str, feed: str) -> dict:
    tables = dosed(species=species, feed=feed, temperature_c=14.0, days=40, count=40, bed_m2=6.0, power_w=200.0)
    tables["loops"]["main"] |= {
        "biofilter_started": START - dt.timedelta(days=40), "feeding_ramp": [{"from": START, "share": 1.0}],
        "source_water": {"chloride": "1 mg/L"},
    }  # fmt: skip
    return tables


def test_chloride_is_named_where_it_protects_and_only_there():
    season, change = sought(shielded("rainbow_trout", "trout_44"), "nitrite", kinds=("salt",))
    field = "loops.main.source_water.chloride"
    sodium = "loops.main.source_water.sodium"
    assert list(change.fields) == [field, sodium]
    chloride = parse_quantity(change.fields[field], "concentration")
    # 32.8 parts to one of nitrite nitrogen at least: shielded fish eat more, and nitrite rises
    assert chloride % 10 == 0
    assert 32.84 * finding_of(season, "nitrite").worst_value <= chloride <= 170
    assert change.kind is Action.CHLORIDE
    # plain salt holds 0.6066 chloride; sump, tank and bed hold this much
    layout = season.layout
    water = layout.sump_volume_m3.sum() + layout.volume_m3.sum()
    grams = water * (chloride - 1.0) / 0.6066
    assert parse_quantity(change.fields[sodium], "concentration") == pytest.approx(
        10.0 + (chloride - 1.0) * 22.990 / 35.453, abs=0.01
    )
    reached = run_season(season.site, **change.fields).course.sodium_mg_l.max()
    assert change.amounts == {
        "loop": "main", "chloride_mg_l": chloride, "sodium_mg_l": pytest.approx(reached), "is_planted": False,
        "salts_g": {"plain_salt": pytest.approx(grams, rel=1e-3)},
    }  # fmt: skip
    assert keeps(season, change.fields, "nitrite")
    assert not keeps(season, {field: f"{chloride - 10} mg/L"}, "nitrite")
    unshielded = run_season(build(shielded("largemouth_bass", "bass_46")), **{"cohorts.fish.count": 300})
    finding = finding_of(unshielded, "nitrite")
    assert finding.is_broken
    change = find_change(unshielded, finding)
    assert change is None or field not in change.fields


@pytest.mark.parametrize("sodium_mg_l", [5, 45])
def test_where_crops_grow_salt_is_for_little_sodium_and_else_another_chloride(sodium_mg_l):
    tables = dosed(
        species="channel_catfish", feed="catfish_32", temperature_c=20.0, days=40, count=220, mean_weight_g=40.0,
        bed_m2=4.0, ph=6.8,
    )  # fmt: skip
    tables["beds"]["gravel"] |= {
        "nitrifying_surface": "30 m2",
        "plantings": [{"crop": "lettuce", "from": START, "to": START + dt.timedelta(days=39), "area": "3 m2"}],
    }
    tables["loops"]["main"] |= {
        "biofilter_start": "mature", "source_water": {"chloride": "2 mg/L", "sodium": f"{sodium_mg_l} mg/L"},
        "feeding_ramp": [{"from": START, "share": 1.0}],
    }  # fmt: skip
    season, change = sought(tables, "nitrite", kinds=("salt",))
    chloride = parse_quantity(change.fields["loops.main.source_water.chloride"], "concentration")
    layout = season.layout
    gram_of_chloride = float(layout.sump_volume_m3.sum() + layout.volume_m3.sum()) * (chloride - 2.0)
    proof = run_season(season.site, **change.fields)
    salted = sodium_mg_l + (chloride - 2.0) * 22.990 / 35.453
    would_be = run_season(season.site, **{"loops.main.source_water.sodium": f"{salted} mg/L"}).course.sodium_mg_l.max()
    assert change.amounts["sodium_mg_l"] == pytest.approx(would_be, rel=1e-3)
    assert change.amounts["is_planted"]
    salts_g = change.amounts["salts_g"]
    if sodium_mg_l == 5:
        assert salts_g == {"plain_salt": pytest.approx(gram_of_chloride / 0.6066, rel=5e-3)}
        assert proof.course.sodium_mg_l.max() == pytest.approx(would_be, rel=1e-4)
        assert would_be <= 50.0
    else:
        assert would_be > 50.0
        assert salts_g == {
            "calcium_chloride_dihydrate": pytest.approx(2.0733 * gram_of_chloride, rel=5e-3),
            "potassium_chloride": pytest.approx(2.1028 * gram_of_chloride, rel=5e-3),
        }
        assert change.care is Care.FOOD_GRADE
        assert proof.course.sodium_mg_l.max() == pytest.approx(season.course.sodium_mg_l.max(), rel=1e-3)
        calcium = parse_quantity(change.fields["loops.main.source_water.calcium"], "concentration")
        assert calcium == pytest.approx(40.0 + (chloride - 2.0) * 0.5652, abs=0.01)


def test_a_loop_that_nobody_doses_is_dosed_first_when_its_alkalinity_runs_out():
    tables = one_tank(count=110, mean_weight_g=150.0, power_w=300.0)
    season, change = sought(tables, "nitrite", kinds=("base", "feed", "water"))
    assert change.fields == {"loops.main.alkalinity_target": "80 mg/L"}
    assert change.kind is Action.BUFFER
    assert change.amounts["lowest_mg_l"] == pytest.approx(max(season.course.alkalinity_mg_l.min(), 0.0))
    assert season.course.alkalinity_mg_l.min() < 40.0
    for limit, where in (("nitrite", "tanks.one"), ("biofilter", "loops.main")):
        assert finding_of(season, limit, where).is_broken
        assert not is_broken(season, change.fields, limit, where)


def test_one_change_is_told_for_all_broken_limits_of_a_loops_water():
    season = run_season(build(one_tank(count=110, mean_weight_g=150.0, power_w=300.0)))
    water = [f for f in find_changes(season) if f.limit in ("nitrite", "biofilter") and f.is_broken]
    assert len(water) == 2
    first, second = (help_of(finding).change for finding in water)
    assert first == second
    assert first is not None


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_loop_without_film_is_given_the_smallest_biofilter_that_does(units):
    tables = dosed(species="channel_catfish", feed="catfish_32", days=20)
    del tables["beds"]
    tables["site"]["units"] = units
    season, change = sought(tables, "biofilter", "loops.main", kinds=("biofilter",))
    field = "biofilters.new_1"
    assert list(change.fields) == [field]
    table = change.fields[field]
    media = table["media_volume"]
    assert media.endswith(" L" if units == "metric" else " gal")
    assert (change.kind, change.care) == (Action.NEW_FILM, Care.GROWN_FILM)
    assert change.amounts == {
        "loop": "main", "media_m3": parse_quantity(media, "volume"), "surface_m2_m3": 200.0,
    }  # fmt: skip
    assert parse_quantity(table["flow"], "flow") == pytest.approx(24.0)  # that of the tank
    number, unit = media.split()
    assert not is_broken(season, change.fields, "biofilter", "loops.main")
    # half of it takes the ammonia, but leaves nitrite that fish die of
    half = run_season(season.site, **{field: table | {"media_volume": f"{int(number) / 2} {unit}"}})
    assert deaths(half) > deaths(season) + 0.005 * 40
    assert finding_of(half, "nitrite").is_broken


def test_no_new_biofilter_is_larger_than_half_the_water_of_its_loop():
    """Beyond that fish, not media, are too many: a tank of 1 m3 with 250 perch was given one of 10 m3."""
    tables = one_tank("yellow_perch", "perch_45", 17.0, days=20, count=250, mean_weight_g=80.0, bed_m2=0.15, ph=7.6)
    del tables["beds"]
    season = run_season(build(tables))
    offered = [change.amounts["media_m3"] for change in new_film(season, "main")]
    assert len(offered) > 3
    assert max(offered) <= 0.5 * season.layout.loop_water_m3[0] < 2.0 * max(offered)


def test_a_film_half_grown_counts_as_young_and_one_as_large_as_it_gets_does_not():
    for days, low, high, is_young in ((20, 0.4, 0.6, True), (150, 0.79, 0.81, False)):
        started = START - dt.timedelta(days=days)
        season = run_season(build(one_tank(days=3, biofilter_started=started)))
        nitrite = season.layout.water.maturity[1, -1]
        assert low < nitrite < high
        assert starts_young(season, "main") is is_young
