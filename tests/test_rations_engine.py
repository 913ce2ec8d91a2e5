"""Feeding rules in a season: what is offered, eaten and let lie, on which days, and what uneaten feed does."""

from __future__ import annotations

import datetime as dt
import functools

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from small_sites import START, any_ration, any_site, build, one_tank

from stocksim import run_season
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.season import Course, simulate
from stocksim.library.feeds import load_feed

DAYS = 10
FULL = {"kind": "appetite", "fraction": 1.0, "spilled_share": 0.0}


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def fed(ration: dict | None, **more) -> Course:
    """A season of 40 tilapia of 100 g in good water, by a rule."""
    tables = one_tank(**({"days": DAYS, "bed_m2": 30.0} | more))
    if ration is not None:
        tables["cohorts"]["fish"]["ration"] = ration
    return simulate(build_layout(build(tables)))


def morning(course: Course, column: int = 0) -> np.ndarray:
    """Number and weight of the fish on each morning, shape (2, day)."""
    there = course.count[0, :, column] + course.deaths[0, :, column]
    return np.array([there, course.weight_g[0, :, column] - course.gain_g[0, :, column] / there])


def test_appetite_fraction_and_spilled_share():
    full, part = fed(FULL), fed({"kind": "appetite", "fraction": 0.4, "spilled_share": 0.25})
    # appetite is that of the weight at noon, which differs by half of the day's growth
    assert part.eaten_g[0, 0, 0] == pytest.approx(0.4 * full.eaten_g[0, 0, 0], rel=0.01)
    np.testing.assert_allclose(part.eaten_g, 0.75 * part.fed_g, rtol=1e-12)
    np.testing.assert_allclose(full.eaten_g, full.fed_g, rtol=1e-12)
    assert fed(None).eaten_g[0, 0, 0] == pytest.approx(0.85 * full.eaten_g[0, 0, 0], rel=0.01)
    np.testing.assert_allclose(fed(None).fed_g, 1.2 * fed(None).eaten_g, rtol=1e-12)


def test_percent_of_body_weight():
    course = fed({"kind": "percent", "percent": 1.0, "spilled_share": 0.1})
    there, weight = morning(course)
    np.testing.assert_allclose(course.fed_g[0, :, 0], 0.01 * there * weight, rtol=1e-12)
    np.testing.assert_allclose(course.eaten_g, 0.9 * course.fed_g, rtol=1e-12)


def test_more_than_fish_eat_is_offered_whole_and_lies():
    full = fed(FULL)
    course = fed({"kind": "percent", "percent": 20.0, "spilled_share": 0.1})
    there, weight = morning(course)
    np.testing.assert_allclose(course.fed_g[0, :, 0], 0.2 * there * weight, rtol=1e-12)
    assert course.eaten_g[0, 0, 0] == pytest.approx(full.eaten_g[0, 0, 0], rel=1e-9), "they eat no more than they can"


def test_a_table_is_read_between_its_entries_by_the_days_weight_and_water():
    table = {"temperatures": ["10 degC", "20 degC"], "weights": ["50 g", "150 g"], "percent": [[0.4, 0.2], [1.6, 1.0]]}
    values = {"oct": "18 degC", "nov": "12 degC"}
    tables = one_tank("yellow_perch", "perch_45", 16.0, 55, 30)
    tables["loops"]["main"]["water_temperature"] = {"kind": "monthly", "values": values}
    tables["cohorts"]["fish"]["ration"] = {"kind": "table", **table}
    site = build(tables)
    course = simulate(build_layout(site))
    water = site.held_c["main"]
    assert 10.0 < water.min() < 15.0 < water.max() < 20.0
    there, weight = morning(course)
    along, down = (weight - 50.0) / 100.0, (water - 10.0) / 10.0
    assert ((along > 0.0) & (along < 1.0)).all()
    percent = (1 - down) * (0.4 + along * (0.2 - 0.4)) + down * (1.6 + along * (1.0 - 1.6))
    np.testing.assert_allclose(course.fed_g[0, :, 0], percent / 100.0 * there * weight, rtol=1e-10)


@pytest.mark.parametrize(("celsius", "grams", "percent"), [(8.0, 20.0, 0.4), (24.0, 900.0, 1.0)])
def test_outside_a_table_its_edge_holds(celsius, grams, percent):
    table = {"temperatures": ["10 degC", "20 degC"], "weights": ["50 g", "150 g"], "percent": [[0.4, 0.2], [1.6, 1.0]]}
    more = {"species": "rainbow_trout" if celsius < 20 else "yellow_perch", "feed": "trout_44"}
    course = fed({"kind": "table", **table}, temperature_c=celsius, mean_weight_g=grams, count=3, days=3, **more)
    there, weight = morning(course)
    np.testing.assert_allclose(course.fed_g[0, :, 0], percent / 100.0 * there * weight, rtol=1e-12)


def shared(rule: dict, **more) -> tuple[Course, np.ndarray]:
    """Small tilapia and large cats in one tank by one rule; its course, and what each cohort would eat on day 0."""
    cohorts = {}
    for name, (species, feed, count, grams) in {
        "small": ("nile_tilapia", "tilapia_34", 40, 30), "large": ("channel_catfish", "catfish_32", 10, 300),
    }.items():  # fmt: skip
        cohorts[name] = {
            "species": species, "feed": feed, "tank": "one", "count": count, "mean_weight": f"{grams} g",
            "ration": rule,
        }  # fmt: skip
    tables = one_tank(**({"days": DAYS, "bed_m2": 30.0} | more)) | {"cohorts": cohorts}
    layout = build_layout(build(tables))
    hunger = layout.appetite_at_1g[0] * layout.start_weight_g ** layout.species["intake_exponent"]
    return simulate(layout), hunger * layout.count


def test_a_fixed_weight_is_the_tanks_and_is_shared_by_appetite():
    course, wanted = shared({"kind": "fixed", "per_day": "40 g", "spilled_share": 0.2})
    np.testing.assert_allclose(course.fed_g[0].sum(axis=-1), 40.0, rtol=1e-12)
    np.testing.assert_allclose(course.fed_g[0, 0], 40.0 * wanted / wanted.sum(), rtol=1e-12)
    np.testing.assert_allclose(course.eaten_g, 0.8 * course.fed_g, rtol=1e-12)


def test_fixed_rules_of_two_tanks_do_not_touch():
    tables = one_tank(days=5, bed_m2=30.0)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["fish"]["ration"] = {"kind": "fixed", "per_day": "30 g"}
    tables["cohorts"]["other"] = dict(tables["cohorts"]["fish"], tank="two", count=10)
    np.testing.assert_allclose(simulate(build_layout(build(tables))).fed_g, 30.0, rtol=1e-12)


def led_by_beds(area: float, count: int = 40, **rule) -> Course:
    tables = one_tank(days=12, count=count, bed_m2=30.0)
    planting = {"crop": "lettuce", "from": on(3), "to": on(8), "area": f"{area} m2"}
    tables["beds"]["gravel"]["plantings"] = [planting]
    tables["cohorts"]["fish"]["ration"] = {"kind": "beds", **rule}
    return simulate(build_layout(build(tables)))


def test_bed_led_feed_follows_the_planted_area():
    course = led_by_beds(1.5, ratio="20 g/m2/day")
    np.testing.assert_allclose(course.fed_g[0, :, 0], [0.0] * 3 + [30.0] * 6 + [0.0] * 3, rtol=1e-12)
    # without a ratio: the middle of the published 40-50 g/m2/day for leaves in media beds
    middle = led_by_beds(0.8)
    np.testing.assert_allclose(middle.fed_g[0, 3:9, 0], 45.0 * 0.8, rtol=1e-12)


def test_bed_led_feed_stops_where_fish_stop_eating():
    course, full = led_by_beds(25.0, count=5, ratio="20 g/m2/day", spilled_share=0.0), fed(FULL, count=5)
    assert (course.fed_g[0, 3:9, 0] < 500.0).all()
    np.testing.assert_allclose(course.fed_g, course.eaten_g, rtol=1e-12)
    assert course.fed_g[0, 3, 0] > 0.7 * full.eaten_g[0, 0, 0]


def test_bed_led_feed_is_shared_in_the_loop():
    tables = one_tank(days=4, bed_m2=30.0)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["beds"]["gravel"]["plantings"] = [{"crop": "lettuce", "from": on(0), "to": on(3), "area": "2 m2"}]
    tables["cohorts"]["fish"]["ration"] = {"kind": "beds", "ratio": "20 g/m2/day"}
    tables["cohorts"]["other"] = dict(tables["cohorts"]["fish"], tank="two", count=10)
    course = simulate(build_layout(build(tables)))
    np.testing.assert_allclose(course.fed_g[0].sum(axis=-1), 40.0, rtol=1e-12)
    np.testing.assert_allclose(course.fed_g[0, 0], [32.0, 8.0], rtol=1e-12)  # 40 and 10 fish of one size


# --- days without feed

RULES = (FULL, {"kind": "percent", "percent": 1.0}, {"kind": "fixed", "per_day": "30 g"})
each_rule = pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule["kind"])


@each_rule
def test_fasting_days(rule):
    course = fed(rule | {"fasting_days": ["sun", "wed"]}, days=14)
    weekdays = [(START + dt.timedelta(days=day)).weekday() for day in range(14)]
    np.testing.assert_array_equal(course.fed_g[0, :, 0] == 0.0, [day in (2, 6) for day in weekdays])
    assert (course.gain_g[0, course.fed_g[0, :, 0] == 0.0, 0] < 0.0).all()


def cooled(rule: dict) -> tuple[np.ndarray, np.ndarray]:
    """Feed of perch and water of their loop over a winter."""
    tables = one_tank("yellow_perch", "perch_45", 16.0, 182, 20)
    months = {"oct": 16, "nov": 10, "dec": 5, "jan": 4, "feb": 8, "mar": 14}
    values = {month: f"{degrees} degC" for month, degrees in months.items()}
    tables["loops"]["main"]["water_temperature"] = {"kind": "monthly", "values": values}
    tables["cohorts"]["fish"]["ration"] = rule
    site = build(tables)
    return simulate(build_layout(site)).fed_g[0, :, 0], site.held_c["main"]


@each_rule
def test_cold_rules_stop_and_restart(rule):
    cold = [{"below": "12 degC", "feed_every_days": 2}, {"below": "9 degC", "feed_every_days": 5}]
    feed, water = cooled(rule | {"cold_rules": cold, "stop_below": "7 degC", "restart_after_days": 6})
    days = np.flatnonzero(feed > 0.0)
    warm = np.flatnonzero(water >= 7.0)
    stopped = np.flatnonzero(water < 7.0)
    first, last = stopped[0], stopped[-1]
    assert stopped.size == last - first + 1, "one winter"
    assert not ((days >= first) & (days < last + 6)).any(), "the sixth warm day is the first that is fed again"
    assert last + 6 in days
    assert warm[warm > last][:5].max() not in days
    gaps = np.diff(days)
    for low, high, gap in ((12.0, 99.0, 1), (9.0, 12.0, 2), (7.0, 9.0, 5)):
        # days whose gap lies in one band of water
        whole = [g for a, b, g in zip(days, days[1:], gaps, strict=False) if (water[a : b + 1] >= low).all()
                 and (water[a : b + 1] < high).all()]  # fmt: skip
        assert whole, (low, high)
        assert set(whole) == {gap}, (low, high)


def test_a_warm_spell_of_two_days_does_not_restart_feeding(tmp_path):
    celsius = [12.0] * 4 + [4.0] * 3 + [9.0] * 2 + [4.0] * 3 + [9.0] * 6
    lines = [f"{on(day)},{value}" for day, value in enumerate(celsius)]
    (tmp_path / "log.csv").write_text("date,temperature_c\n" + "\n".join(lines) + "\n", encoding="utf-8")
    from stocksim.site.reading import site_from_tables

    tables = one_tank("yellow_perch", "perch_45", 16.0, len(celsius), 20)
    tables["loops"]["main"]["water_temperature"] = {"kind": "log", "file": "log.csv"}
    tables["cohorts"]["fish"]["ration"] = {"kind": "percent", "percent": 0.5, "stop_below": "6 degC"}
    course = simulate(build_layout(site_from_tables(tables, tmp_path)))
    assert np.flatnonzero(course.fed_g[0, :, 0]).tolist() == [0, 1, 2, 3, 14, 15, 16, 17]


# --- meals


def swing(**rule: object) -> tuple[float, float, float]:
    """Fall of oxygen and rise of un-ionized ammonia about the day's mean, and the hour of the lowest oxygen."""
    tables = one_tank(days=DAYS)
    tables["cohorts"]["fish"]["ration"] = FULL | rule
    season = run_season(build(tables))
    oxygen = season.course.oxygen_mg_l[0, -1, 0] - season.extremes.oxygen_min_mg_l[0, -1, 0]
    ammonia = season.extremes.unionized_max_mg_l[0, -1, 0] - season.extremes.unionized_mg_l[0, -1, 0]
    return float(oxygen), float(ammonia), float(season.extremes.oxygen_min_hour[0, -1, 0])


def test_more_meals_narrow_the_daily_swing():
    one, two, many = swing(meals_per_day=1), swing(), swing(meals_per_day=24)
    assert one[:2] > two[:2] > many[:2]
    assert swing(meals_per_day=2) == two == swing(feeding_hours=["08:00", "17:00"])
    # round the clock nothing follows a meal any more
    assert many[0] < 0.02 * two[0]


def test_the_worst_hour_follows_the_hours_of_feeding():
    morning, evening = swing(feeding_hours=["06:00"]), swing(feeding_hours=["20:00"])
    assert morning[:2] == pytest.approx(evening[:2], rel=0.02)
    assert (evening[2] - morning[2]) % 24.0 == 14.0
    # the use is highest 4 hours after the only meal, and the water follows
    assert 10.0 <= morning[2] <= 14.0
    # a feeder that runs all day makes less of it than a meal
    assert swing(feeding_hours=["06:00-22:00"])[0] < 0.6 * morning[0]


def test_the_hours_of_a_loop_hold_where_a_ration_has_none():
    tables = one_tank(days=3)
    tables["loops"]["main"]["feeding_hours"] = ["06:00"]
    season = run_season(build(tables))
    assert 10.0 <= season.extremes.oxygen_min_hour[0, -1, 0] <= 14.0


def test_fish_that_get_no_feed_have_no_wave():
    tables = one_tank(days=DAYS)
    tables["cohorts"]["fish"]["ration"] = {"kind": "unfed"}
    season = run_season(build(tables))
    np.testing.assert_allclose(season.extremes.oxygen_min_mg_l[0, :, 0], season.course.oxygen_mg_l[0, :, 0], rtol=1e-12)


# --- what holds for every rule


@settings(max_examples=examples(40))
@given(any_site())
def test_offered_is_never_less_than_eaten_and_the_rest_lies(tables):
    layout = build_layout(build(tables))
    course = simulate(layout)
    assert (course.eaten_g >= 0.0).all()
    assert (course.fed_g >= course.eaten_g - 1e-12).all()
    # no rule offers more than it says: by weight to a tank, by percent to a fish
    for name, cohort in tables["cohorts"].items():
        column, rule = layout.cohorts.index(name), cohort["ration"]
        told = course.fed_g[0, :, column]
        there = course.count[0, :, column] + course.deaths[0, :, column]
        if rule["kind"] == "percent":
            # of the morning, before tankmates swallowed the smaller ones
            alone = there - course.swallowed[0, :, column]
            grown = alone * course.weight_g[0, :, column] + course.swallowed_g[0, :, column]
            mass = grown - course.gain_g[0, :, column]
            dry = load_feed(cohort["feed"])["dry_matter"] if rule.get("weighed") == "dry" else 1.0
            assert (told <= rule["percent"] / 100.0 / dry * mass * (1.0 + 1e-9) + 1e-9).all()
        elif rule["kind"] == "fixed":
            assert (told <= float(rule["per_day"].split()[0]) * (1.0 + 1e-9)).all()
        elif rule["kind"] == "unfed":
            assert (told == 0.0).all()


@settings(max_examples=examples(30))
@given(any_ration("55 g"), st.floats(1.05, 2.0))
def test_more_feed_is_never_eaten_less_nor_grown_less(rule, more):
    key = {"appetite": "fraction", "percent": "percent", "fixed": "per_day"}.get(rule["kind"])
    if key is None:
        return
    value = float(str(rule[key]).split()[0])
    richer = min(value * more, 1.0) if key == "fraction" else min(value * more, 40.0 if key == "percent" else 1e6)
    shown = f"{richer} g" if key == "per_day" else richer
    # one day from the same morning: from then on larger fish and fouler water come between
    less, most = fed(rule, days=1, count=5), fed(rule | {key: shown}, days=1, count=5)
    for name in ("fed_g", "eaten_g", "gain_g", "fish_oxygen_g"):
        assert getattr(most, name)[0, 0, 0] >= getattr(less, name)[0, 0, 0] - 1e-12, name


def test_growth_rises_with_the_ration_over_a_season():
    weights = [
        fed({"kind": "percent", "percent": p}, days=60, count=5).weight_g[0, -1, 0] for p in (0.2, 0.5, 1.0, 2.0)
    ]
    assert (np.diff(weights) > 0.0).all()


def test_uneaten_feed_fouls_the_water():
    # the same is eaten; the second keeper spills half of what he offers
    def run(spilled: float) -> Course:
        tables = one_tank(days=30, bed_m2=8.0)
        tables["cohorts"]["fish"]["ration"] = {"kind": "appetite", "fraction": 0.5, "spilled_share": spilled}
        return simulate(build_layout(build(tables)))

    clean, foul = run(0.0), run(0.5)
    np.testing.assert_allclose(foul.eaten_g, clean.eaten_g, rtol=1e-6)
    np.testing.assert_allclose(foul.fed_g, 2.0 * clean.fed_g, rtol=1e-6)
    later = slice(5, None)
    assert (foul.tan_mg_l[0, later, 0] > clean.tan_mg_l[0, later, 0]).all()
    assert (foul.solids_mg_l[0, later, 0] > clean.solids_mg_l[0, later, 0]).all()
    assert (foul.sump_oxygen_used_g[0, later, 0] > clean.sump_oxygen_used_g[0, later, 0]).all()
    assert (foul.oxygen_mg_l[0, later, 0] < clean.oxygen_mg_l[0, later, 0]).all()
    assert (foul.solids_n_made_g > clean.solids_n_made_g).all()


# --- wild fish


@functools.cache
def learning(kind: str = "appetite") -> Course:
    tables = one_tank("bluegill", "sunfish_44", 24.0, 40, 40, 60.0, bed_m2=30.0)
    rule = {"appetite": {"fraction": 1.0}, "percent": {"percent": 4.0}, "fixed": {"per_day": "30 g"}}[kind]
    tables["cohorts"]["fish"] |= {"wild": True, "stocked": START, "ration": {"kind": kind, **rule}}
    return simulate(build_layout(build(tables)))


@pytest.mark.parametrize("kind", ["appetite", "percent", "fixed"])
def test_wild_fish_learn_to_take_feed_without_growing(kind):
    from stocksim.library.species import load_species

    course, fish = learning(kind), load_species("bluegill")
    days, loss = int(fish["feed_training_days"]), fish["feed_training_loss"]
    assert 1 < days < 40
    weight = course.weight_g[0, :, 0]
    assert (np.abs(course.gain_g[0, :days, 0]) <= 1e-9 * course.eaten_g[0, :days, 0]).all(), "they keep their weight"
    assert (course.gain_g[0, days:, 0] > 0.0).all()
    assert weight[days - 1] == pytest.approx(60.0)
    assert (course.eaten_g[0, :days, 0] <= 0.5 * course.fed_g[0, :days, 0] * (1 + 1e-12)).all(), "half or more lies"
    # 40 fish: the training's share is lost, and those of every day
    left = 40.0 * (1.0 - loss) ** (days / fish["feed_training_days"]) * np.exp(-7.2e-5 * days)
    assert course.count[0, days - 1, 0] == pytest.approx(left, rel=2e-3)
    if kind == "fixed":
        np.testing.assert_allclose(course.fed_g[0, :, 0], 30.0, rtol=1e-12)
    if kind == "percent":
        np.testing.assert_allclose(course.fed_g[0, 0, 0], 0.04 * 40 * 60.0, rtol=1e-12)


def test_training_never_offers_more_than_a_weighed_ration():
    # so little that half of it is below what the fish need
    tables = one_tank("bluegill", "sunfish_44", 24.0, 5, 40, 60.0)
    tables["cohorts"]["fish"] |= {
        "wild": True,
        "stocked": START,
        "ration": {"kind": "fixed", "per_day": "4 g", "spilled_share": 0.1},
    }
    course = simulate(build_layout(build(tables)))
    np.testing.assert_allclose(course.fed_g[0, :, 0], 4.0, rtol=1e-12)
    np.testing.assert_allclose(course.eaten_g[0, :, 0], 2.0, rtol=1e-12)
    assert (course.gain_g < 0.0).all()


def test_trained_fish_grow_from_the_first_day():
    tables = one_tank("bluegill", "sunfish_44", 24.0, 5, 40, 60.0)
    tables["cohorts"]["fish"] |= {"wild": True, "trained": True}
    assert (simulate(build_layout(build(tables))).gain_g > 0.0).all()


# --- food, sex


def test_natural_food_is_eaten_by_its_dry_matter():
    def eaten(feed: str) -> float:
        return float(fed(FULL, feed=feed, species="common_carp", temperature_c=24.0, days=2).eaten_g[0, 0, 0])

    from stocksim.library.feeds import load_feed
    from stocksim.library.species import load_species

    pellets = load_feed(load_species("common_carp").facts["fitted_with_feed"])
    # of animals as much dry matter as of pellets, of fresh plants less (species_params/feeds: sources)
    for name, share in (("earthworms", 1.0), ("black_soldier_fly_larvae", 1.0), ("duckweed", 0.43)):
        ratio = share * pellets["dry_matter"] / load_feed(name)["dry_matter"]
        assert ratio > 2.0
        # weight at noon differs with the energy of the day
        assert eaten(name) / eaten(pellets.name) == pytest.approx(ratio, rel=0.03), name


@pytest.mark.parametrize(
    ("species", "feed", "sex"),
    [("bluegill", "sunfish_44", "males"), ("bluegill", "sunfish_44", "females"), ("yellow_perch", "perch_45", "males")],
)
def test_sex_multiplies_appetite(species, feed, sex):
    from stocksim.library.species import load_species

    tables = one_tank(species, feed, 22.0, 2)
    tables["cohorts"]["fish"]["ration"] = FULL
    mixed = simulate(build_layout(build(tables))).eaten_g[0, 0, 0]
    tables["cohorts"]["fish"]["sex"] = sex
    one = simulate(build_layout(build(tables))).eaten_g[0, 0, 0]
    factor = load_species(species)[f"appetite_{sex}"]
    assert factor != 1.0
    assert one / mixed == pytest.approx(factor, rel=0.01)


# --- against a published rule


@functools.cache
def winter_catfish(celsius: float, is_fed: bool = True) -> tuple[int, float, float]:
    """100 days of 454 g catfish by the winter rule: number of feeds, share of the offered feed eaten, gain [%]."""
    rule = {
        "kind": "table", "temperatures": ["7 degC", "18 degC"], "weights": ["400 g", "600 g"],
        "percent": [[1.0, 1.0], [1.0, 1.0]], "spilled_share": 0.0, "stop_below": "7 degC",
        "cold_rules": [{"below": "18.1 degC", "feed_every_days": 2}, {"below": "12.5 degC", "feed_every_days": 4}],
    }  # fmt: skip
    tables = one_tank("channel_catfish", "catfish_32", celsius, 100, 5, 454.0)
    tables["cohorts"]["fish"]["ration"] = rule if is_fed else {"kind": "unfed"}
    course = simulate(build_layout(build(tables)))
    feed = course.fed_g[0, :, 0]
    share = float(course.eaten_g.sum() / feed.sum()) if is_fed else 0.0
    return int((feed > 0.0).sum()), share, 100.0 * (float(course.weight_g[0, -1, 0]) / 454.0 - 1.0)


def test_the_winter_rule_of_catfish_beside_the_published_gain():
    """1 % of body weight every other day at 13-18 degC, twice a week at 7-12 degC (an extension text, read).

    Lovell & Sirikul 1974 (abstract; the ponds' temperature is not given): 100 winter days unfed -9 %, 1 % on alternate
    days +23 % from 50 feeds. Unfed we are near (-10.2 %). By this rule ours gain nowhere: they let most of the feed lie
    (94 % at 9 degC, half at 18) because nobody makes up for a day without feed, and end between -9.7 and +0.2 %. A
    miss of 23 to 33 percentage points; only feeding daily comes closer. Fed winter ponds did lose some weight
    elsewhere (Engle 2008, excerpt).
    """
    measured = {
        9.0: (25, 0.059, -8.3), 12.0: (25, 0.147, -9.7), 14.0: (50, 0.229, -4.1), 16.0: (50, 0.338, -2.2),
        18.0: (50, 0.476, 0.2),
    }  # fmt: skip
    for celsius, (feeds, share, gain) in measured.items():
        found = winter_catfish(celsius)
        assert found[0] == feeds
        assert found[1:] == (pytest.approx(share, abs=0.005), pytest.approx(gain, abs=0.15)), celsius
    assert winter_catfish(9.0, is_fed=False)[2] == pytest.approx(-10.2, abs=0.1)
