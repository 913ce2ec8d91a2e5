"""Several feeds in shares: how they are written, what is refused, and that a season of them closes."""

from __future__ import annotations

import functools
import math
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from small_sites import build, one_tank
from test_app import field, go, sound, start
from test_engine import AGREED, assert_near, both_ways

sys.path.insert(0, str(Path(__file__).parents[1] / "docs"))

from feed_points import table

from stocksim.engine.running import grow, run_season
from stocksim.errors import InputError, ParameterError
from stocksim.faces import editing, forms
from stocksim.faces.words import cautions
from stocksim.library.feeds import feed_parts, grams_like_pellets, load_feed
from stocksim.library.sources import library_folder
from stocksim.library.species import load_species
from stocksim.site.reading import site_from_tables, site_from_text

MIX = {"perch_45": 0.8, "kitchen_greens": 0.2}
NAME = "perch_45 80 %, kitchen_greens 20 %"


def tables_fed(feed: object, days: int = 30, **cohort: object) -> dict:
    tables = one_tank("yellow_perch", "perch_45", 20.0, days, 30, 50.0)
    tables["cohorts"]["fish"] |= {"feed": feed, **cohort}
    return tables


@functools.cache
def mixed():
    return run_season(build(tables_fed(MIX)))


# --- how it is written


@pytest.mark.parametrize(
    "written",
    [MIX, {"perch_45": "80 %", "kitchen_greens": "20 %"}, {"perch_45": "80%", "kitchen_greens": 0.2}, NAME,
     "perch_45 80%,kitchen_greens 20%"],
)  # fmt: skip
def test_shares_are_numbers_or_percentages(written):
    site = build(tables_fed(written))
    assert site.file.cohorts["fish"].feed == NAME
    assert feed_parts(site.file.cohorts["fish"].feed) == {"perch_45": 0.8, "kitchen_greens": 0.2}
    assert set(site.feeds) == {"perch_45", "kitchen_greens", NAME}


def test_the_order_of_shares_does_not_matter():
    names = {
        build(tables_fed(written)).file.cohorts["fish"].feed
        for written in (dict(reversed(MIX.items())), "kitchen_greens 20 %, perch_45 80 %", NAME)
    }
    assert names == {NAME}
    halves = {
        build(tables_fed({a: 0.5, b: 0.5})).file.cohorts["fish"].feed
        for a, b in (("duckweed", "perch_45"), ("perch_45", "duckweed"))
    }
    assert halves == {"duckweed 50 %, perch_45 50 %"}


def test_one_feed_with_all_of_it_is_that_feed():
    assert build(tables_fed({"perch_45": 1})).file.cohorts["fish"].feed == "perch_45"


def test_thirds_may_be_rounded():
    site = build(tables_fed({"perch_45": 0.333, "duckweed": 0.333, "kitchen_greens": 0.333}))
    parts = feed_parts(site.file.cohorts["fish"].feed)
    assert math.fsum(parts.values()) == pytest.approx(1.0, abs=1e-12)
    assert all(share == pytest.approx(1 / 3, abs=1e-6) for share in parts.values())


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ({"perch_45": 0.8, "kitchen_greens": 0.1}, ["add up to 0.9,", "perch_45 = 0.889, kitchen_greens = 0.111"]),
        ({"perch_45": 0.8, "kitchen_greens": 0.4}, ["add up to 1.2,", "perch_45 = 0.667, kitchen_greens = 0.333"]),
        ({"perch_45": 0.8, "greens": 0.2}, ['"greens" is not in the library', "kitchen_greens"]),
        ({"perch_45": 1.2, "kitchen_greens": -0.2}, ["has a share of 1.2", "above 0 and at most at 1"]),
        ({"kitchen_greens": -0.2, "perch_45": 1.2}, ["kitchen_greens has a share of -0.2", "above 0"]),
        ({"perch_45": 1.0, "kitchen_greens": 0}, ["kitchen_greens has a share of 0;"]),
        ({"perch_45": 80, "kitchen_greens": 20}, ["perch_45 has a share of 80", '0.8 or "80 %"']),
        ({"perch_45": "much", "kitchen_greens": 0.2}, ['"much"', '"20 %"']),
        ({"perch_45": True}, ["a share of true"]),
        ({"perch_45": float("nan"), "duckweed": 0.5}, ["a share of nan"]),
        ({"perch_45": {"of": 1}}, ["a share of a table"]),
        ({}, ["is an empty table", "perch_45 = 0.8, kitchen_greens = 0.2"]),
        ({"perch_45, duckweed": 1.0}, ["cannot be the name of a feed"]),
        ("perch_45 80 %, kitchen_greens 30 %", ["add up to 1.1,"]),
        ("perch_45 80 % kitchen_greens", ["is not a list of feeds"]),
        ("perch_45 50 %, perch_45 50 %", ["write each once"]),
    ],
)
@pytest.mark.parametrize("of", ["cohort", "event"])
def test_shares_that_cannot_be_are_told_in_one_sentence(written, said, of):
    tables = tables_fed(written if of == "cohort" else "perch_45")
    place = ("cohorts.fish", "feed")
    if of == "event":
        day = tables["season"]["end"]
        tables["events"] = [{"kind": "feed", "date": day, "cohort": "fish", "feed": written}]
        place = ("events[1]", "feed")
    with pytest.raises(InputError) as caught:
        build(tables)
    (fault,) = caught.value.faults
    assert (fault.table, fault.field) == place
    assert all(words in fault.message for words in said), fault.message
    assert "\n" not in fault.message


def test_fish_to_buy_take_shares_and_the_same_faults():
    offer = {"species": "bluegill", "mean_weight": "30 g", "price": 2.0, "feed": MIX, "at_most": 20}
    tables = tables_fed("perch_45") | {"stocking": {"candidates": {"new": offer}}}
    assert build(tables).file.stocking.candidates["new"].feed == NAME
    offer["feed"] = {"perch_45": 0.5, "greens": 0.5}
    with pytest.raises(InputError, match='"greens" is not in the library'):
        build(tables)


# --- wild fish without a date


@pytest.mark.parametrize("of", ["cohorts", "candidates"])
def test_wild_fish_need_the_day_they_come(of):
    tables = tables_fed("perch_45")
    fish, place = tables["cohorts"]["fish"], "cohorts.fish"
    if of == "candidates":
        fish = {"species": "bluegill", "mean_weight": "30 g", "price": 2.0, "feed": "sunfish_44", "at_most": 20}
        tables["stocking"], place = {"candidates": {"new": fish}}, "stocking.candidates.new"
    fish.pop("stocked", None)
    fish["wild"] = True
    with pytest.raises(InputError) as caught:
        build(tables)
    (fault,) = caught.value.faults
    assert (fault.table, fault.field) == (place, "stocked")
    assert str(tables["season"]["start"]) in fault.message
    assert "trained = true" in fault.message
    build(tables_fed("perch_45") | {"cohorts": {"fish": tables["cohorts"]["fish"] | {"wild": False}}})
    fish["stocked"] = tables["season"]["start"]
    build(tables)
    del fish["stocked"]
    fish["trained"] = True
    build(tables)


# --- what a mix is


def test_a_gram_of_a_mix_holds_what_its_parts_bring():
    one, other, mix = load_feed("perch_45"), load_feed("kitchen_greens"), load_feed(NAME)
    linear = ("digestible_energy", "gross_energy", "protein", "phosphorus", "potassium", "dry_matter", "calcium")
    for key in linear:
        assert mix[key] == pytest.approx(0.8 * one[key] + 0.2 * other[key], rel=1e-12), key
    digested = (
        0.8 * one["protein"] * one["protein_digestibility"] + 0.2 * other["protein"] * other["protein_digestibility"]
    )
    assert mix["protein"] * mix["protein_digestibility"] == pytest.approx(digested, rel=1e-12)
    left = sum(s * f["dry_matter"] * (1.0 - f["dry_matter_digestibility"]) for s, f in ((0.8, one), (0.2, other)))
    assert mix["dry_matter"] * (1.0 - mix["dry_matter_digestibility"]) == pytest.approx(left, rel=1e-12)
    assert mix.facts["kind"] == "natural"
    assert not mix.is_own


@pytest.mark.parametrize("species", ["yellow_perch", "nile_tilapia", "rainbow_trout"])
def test_fish_fill_up_on_the_dry_matter_of_a_mix(species):
    entry = load_species(species)
    pellets = load_feed(entry.facts["fitted_with_feed"])
    worms, greens = load_feed("earthworms"), load_feed("kitchen_greens")
    # of worms as much dry matter as of pellets (Ruohonen & Grove 1996), of water plants less (Setlikova & Adamek 2004)
    for food, share in ((worms, 1.0), (greens, 0.43)):
        eaten = grams_like_pellets(entry, food) * food["dry_matter"]
        assert eaten == pytest.approx(share * pellets["dry_matter"], rel=1e-12)
    assert grams_like_pellets(entry, load_feed("catfish_32")) == 1.0
    # what is left of the appetite after a gram of pellets, worms fill
    mix = load_feed(f"{pellets.name} 60 %, earthworms 40 %")
    grams = grams_like_pellets(entry, mix)
    assert 0.6 * grams + 0.4 * grams / grams_like_pellets(entry, worms) == pytest.approx(1.0, rel=1e-12)
    assert 1.0 < grams < grams_like_pellets(entry, worms)


# Setlikova & Adamek 2004 (abstract): Nile tilapia of 9.3-20.9 g ate 0.79-2.26 % of their weight a day as dry matter of
# water plants; their temperature is not told. This is what duckweed's intake was set by, so it only shows it is used.
def test_tilapia_eat_plants_as_they_were_seen_to():
    for celsius in (24.0, 25.0, 26.0):
        run = grow("nile_tilapia", 13.9, celsius, days=1, feed="duckweed")
        dry = 100.0 * run.eaten_g[0] * load_feed("duckweed")["dry_matter"] / 13.9
        assert 0.79 < dry < 2.26


# --- a season of a mix


def test_a_feed_mixed_with_itself_is_that_feed(tmp_path):
    own = tmp_path / "species_params" / "feeds"
    own.mkdir(parents=True)
    text = (library_folder() / "feeds" / "perch_45.toml").read_text(encoding="utf-8")
    (own / "twin.toml").write_text(text, encoding="utf-8")

    def course(feed: object):
        return run_season(site_from_tables(tables_fed(feed), tmp_path)).course

    single = course("perch_45")
    for shares in ({"perch_45": 0.5, "twin": 0.5}, {"perch_45": 0.7, "twin": 0.3}):
        twice = course(shares)
        for name in ("weight_g", "eaten_g", "fed_g", "tan_mg_l", "oxygen_mg_l", "solids_mg_l", "potassium_mg_l"):
            np.testing.assert_allclose(getattr(twice, name), getattr(single, name), rtol=1e-12, err_msg=name)


def test_own_feeds_of_a_mix_are_told_and_their_files_named(tmp_path):
    own = tmp_path / "species_params" / "feeds"
    own.mkdir(parents=True)
    text = (library_folder() / "feeds" / "perch_45.toml").read_text(encoding="utf-8")
    (own / "mine.toml").write_text(text, encoding="utf-8")
    site = site_from_tables(tables_fed({"mine": 0.5, "duckweed": 0.5}), tmp_path)
    assert own / "mine.toml" in site.files()
    assert sum("your own file" in note for note in site.notes) == 1


def test_a_season_of_a_mix_is_played_again_by_the_oracle():
    tables = tables_fed(MIX, ration={"kind": "percent", "percent": 1.5, "weighed": "dry"})
    tables["events"] = [
        {"kind": "feed", "date": tables["season"]["start"].replace(day=15), "cohort": "fish",
         "feed": {"perch_45": 0.5, "earthworms": 0.3, "duckweed": 0.2}},
    ]  # fmt: skip
    ours, told = both_ways(build(tables))
    for key, rows in told.items():
        assert_near(ours[key], rows, AGREED, key)
    assert ours["weight_g"][-1, 0] > ours["weight_g"][0, 0]


def test_energy_and_nitrogen_of_a_mix_close():
    season, perch = mixed(), load_species("yellow_perch")
    one, other = load_feed("perch_45"), load_feed("kitchen_greens")
    course = season.course
    eaten, gain = course.eaten_g[0, :, 0], course.gain_g[0, :, 0]
    digestible = eaten * (0.8 * one["digestible_energy"] + 0.2 * other["digestible_energy"])
    heat = 13.6 * course.fish_oxygen_g[0, :, 0]
    np.testing.assert_allclose(0.93 * digestible, heat + gain * perch["body_energy"], rtol=1e-9)
    digested = eaten * sum(
        share * f["protein"] * f["protein_digestibility"] / 6.25 for share, f in ((0.8, one), (0.2, other))
    )
    grown = gain * perch["body_protein"] / 6.25
    np.testing.assert_allclose(digested, grown + course.excreted_nitrogen_g[0, :, 0], rtol=1e-9)


def test_answers_tell_the_weight_of_each_feed_fresh_and_dry():
    from stocksim.faces.fates import feed_words

    season = mixed()
    frame, fed = season.cohorts, season.feeds
    assert set(frame["feed"]) == {NAME}
    offered = frame["feed_g"].sum() / 1000.0
    assert fed["perch_45"].offered_kg == pytest.approx(0.8 * offered)
    assert fed["kitchen_greens"].offered_kg == pytest.approx(0.2 * offered)
    assert fed["kitchen_greens"].dry_kg == pytest.approx(0.2 * offered * load_feed("kitchen_greens")["dry_matter"])
    assert sum(one.dry_kg for one in fed.values()) == pytest.approx(frame["feed_dry_g"].sum() / 1000.0)
    assert sum(one.eaten_kg for one in fed.values()) == pytest.approx(frame["feed_eaten_g"].sum() / 1000.0)
    (told,) = feed_words(season, "metric")
    assert "kitchen_greens" in told
    assert "fresh (" in told
    assert feed_words(run_season(build(tables_fed("perch_45", 2))), "metric") == []


def test_a_change_of_feed_to_a_mix_is_told_feed_by_feed():
    tables = tables_fed("perch_45", 20)
    middle = tables["season"]["start"].replace(day=tables["season"]["start"].day + 10)
    tables["events"] = [{"kind": "feed", "date": middle, "cohort": "fish", "feed": MIX}]
    season = run_season(build(tables))
    frame = season.cohorts
    first, later = (frame[frame["feed"] == name]["feed_g"].sum() / 1000.0 for name in ("perch_45", NAME))
    assert min(first, later) > 0.0
    assert season.feeds["perch_45"].offered_kg == pytest.approx(first + 0.8 * later)


@pytest.mark.parametrize("kind", ["percent", "table"])
def test_a_percentage_counts_fresh_food_or_its_dry_matter(kind):
    rule = {"kind": kind, "percent": 3.0, "spilled_share": 0.0}
    if kind == "table":
        rule |= {"temperatures": ["10 degC"], "weights": ["50 g"], "percent": [[3.0]]}

    def first_day(**more: object) -> float:
        tables = tables_fed("duckweed", 2, species="nile_tilapia", ration=rule | more)
        site = build(tables)
        notes = [note for note in site.notes if "ration.weighed" in note]
        assert len(notes) == (0 if more else 1)
        return float(run_season(site).course.fed_g[0, 0, 0]) / 30.0

    assert first_day() == pytest.approx(0.03 * 50.0)
    assert first_day(weighed="fresh") == first_day()
    assert first_day(weighed="dry") == pytest.approx(0.03 * 50.0 / load_feed("duckweed")["dry_matter"])
    with pytest.raises(InputError, match="weighed"):
        first_day(weighed="damp")


def test_grow_takes_shares():
    alone, half = (
        grow("nile_tilapia", 20.0, 28.0, days=30, feed=feed) for feed in ("duckweed", "tilapia_34 50 %, duckweed 50 %")
    )
    pellets = grow("nile_tilapia", 20.0, 28.0, days=30)
    assert alone.weight_g[-1] < half.weight_g[-1] < pellets.weight_g[-1]
    with pytest.raises(InputError, match=r"add up to 0\.9"):
        grow("nile_tilapia", 20.0, 28.0, days=30, feed="tilapia_34 50 %, duckweed 40 %")
    with pytest.raises(ParameterError, match='"greens"'):
        load_feed("tilapia_34 50 %, greens 50 %")


# --- in forms


def test_feeds_are_added_and_taken_away_in_proportion():
    two = forms.with_another("perch_45", "duckweed")
    three = forms.with_another(two | {"duckweed": "20 %"}, "earthworms")
    assert three == {"perch_45": 0.64, "duckweed": 0.16, "earthworms": 0.2}
    assert forms.without(three, "earthworms") == {"perch_45": 0.8, "duckweed": 0.2}
    assert forms.without(two, "perch_45") == "duckweed"
    assert list(forms.with_other_name(three, "duckweed", "kitchen_greens")) == [
        "perch_45",
        "kitchen_greens",
        "earthworms",
    ]


def test_a_mix_is_edited_on_the_page_and_kept(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    text = "# my own words\n" + tomlkit.dumps(one_tank(count=10))
    held = tomllib.loads(text)["cohorts"]["fish"]["feed"]
    text = text.replace(f'feed = "{held}"', "feed = { sunfish_44 = 0.7, duckweed = 0.3 }  # by the scale")
    path.write_text(text, encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = go(start(), "edit")

    def feed() -> object:
        return tomllib.loads(at.session_state["site_text"])["cohorts"]["fish"]["feed"]

    field(at, "cohorts.fish.count").set_value("12").run()
    assert feed() == {"sunfish_44": 0.7, "duckweed": 0.3}
    assert "# by the scale" in at.session_state["site_text"]
    field(at, "cohorts.fish.feed.sunfish_44").set_value("60 %").run()
    assert feed() == {"sunfish_44": "60 %", "duckweed": 0.3}
    assert any("add up to 0.9" in element.proto.body for element in at.get("html"))
    field(at, "cohorts.fish.feed.duckweed").set_value("0.4").run()
    assert sound(at, path).cohorts["fish"].feed == "sunfish_44 60 %, duckweed 40 %"
    assert "# my own words" in at.session_state["site_text"]
    next(b for b in at.button if b.help == "remove duckweed").click().run()
    assert feed() == "sunfish_44"
    next(b for b in at.button if b.label == "Two feeds").click().run()
    assert sum(feed().values()) == pytest.approx(1.0)
    assert not at.exception
    assert editing.value_at({"feed": feed()}, ("feed", "sunfish_44")) == 0.8


def test_the_text_of_a_mix_is_read_in_a_file():
    text = tomlkit.dumps(tables_fed(MIX))
    assert site_from_text(text, library_folder()).file.cohorts["fish"].feed == NAME


# --- beside published trials


@functools.cache
def points() -> dict[str, tuple[float, float, bool]]:
    return {key: (published, ours, agrees) for key, _, published, ours, agrees in table()}


@pytest.mark.parametrize("key", ["more_til_duckweed_20g", "til_lemna_20_sgr_ratio", "til_lemna_40_sgr_ratio"])
def test_tilapia_grow_on_duckweed_as_published(key):
    published, ours, agrees = points()[key]
    assert agrees, (published, ours)


def test_what_our_tilapia_take_of_duckweed_too_little_is_told_wherever_it_is_fed():
    """Hassan & Edwards: best growth at 5, 4 and 3 % of weight a day offered dry; ours take a third. Kept from fits."""
    for key in ("til_lemna_best_25g", "til_lemna_best_45g", "til_lemna_best_75g"):
        published, ours, agrees = points()[key]
        assert not agrees
        assert 0.3 * published < ours < published, key
    season = run_season(build(tables_fed({"tilapia_34": 0.5, "duckweed": 0.5}, 2, species="nile_tilapia")))
    (told,) = [words for words in cautions(season) if words.startswith("duckweed: ")]
    assert "0.8 to 5 %" in told
    assert not [words for words in cautions(run_season(build(tables_fed("perch_45", 2)))) if "duckweed" in words]
