"""The shipped feeds and crops load, and their numbers fit together."""

from __future__ import annotations

import pytest

from stocksim.errors import ParameterError
from stocksim.library.crops import CROP_RULES, crop_names, load_crop
from stocksim.library.feeds import FEED_RULES, feed_names, load_feed
from stocksim.library.sources import library_folder, read_entry

FEEDS = [
    "bass_46", "carp_35", "catfish_32", "cool_water_40", "hybrid_bass_42", "koi_wheatgerm_32", "perch_45",
    "sunfish_44", "tilapia_34", "trout_42", "trout_44",
]  # fmt: skip
NATURAL = ["black_soldier_fly_larvae", "duckweed", "earthworms", "kitchen_greens"]
CROPS = [
    "basil", "bean", "chard", "cucumber", "kale", "lettuce", "mint", "pak_choi", "pea", "pepper", "spinach",
    "strawberry", "tomato", "watercress",
]  # fmt: skip
# digestible energy with which the appetite of each species was fitted (MJ/kg)
FITTED_ENERGY = {
    "sunfish_44": 15.5, "perch_45": 16.0, "bass_46": 17.0, "hybrid_bass_42": 15.5, "trout_44": 18.5,
    "catfish_32": 12.3, "tilapia_34": 12.3, "carp_35": 13.5,
}  # fmt: skip
# Somerville et al. 2014, FAO technical paper 589, section 8.1: g feed per m2 and day (an excerpt was read)
FAO_BAND = {"leafy": (40.0, 50.0), "fruiting": (50.0, 80.0)}
WITHOUT_RATIO = {"strawberry", "bean", "pea"}


def test_the_promised_feeds_and_crops_are_there():
    assert {*FEEDS, *NATURAL} <= set(feed_names())
    assert set(CROPS) <= set(crop_names())


@pytest.mark.parametrize("name", feed_names())
def test_feed_fits_together(name: str):
    feed = load_feed(name)
    protein, fat, dry = feed["protein"], feed["fat"], feed["dry_matter"]
    assert feed["gross_energy"] > feed["digestible_energy"] > 0
    for key in feed.values:
        if FEED_RULES.required.get(key, FEED_RULES.optional.get(key)) == "-":
            assert 0.0 < feed[key] < 1.0, key
    assert protein + fat < dry
    # what energy is left after protein and fat is carbohydrate, and what mass is left after that is ash;
    # combustion values from memory of NRC 2011, ash of fish feeds commonly 5 to 13 % (common practice)
    carbohydrate = (feed["gross_energy"] - 23.6 * protein - 39.5 * fat) / 17.2
    ash = dry - protein - fat - carbohydrate
    if feed.facts.get("kind") == "natural":  # wet; plants and larvae hold up to a fifth of their dry matter as ash
        assert 0.08 * dry < ash < 0.22 * dry
    else:
        assert 0.05 < ash < 0.13
    assert sum(feed[key] for key in ("phosphorus", "potassium", "calcium", "magnesium", "iron")) < ash
    # protein and fat alone, at 0.88 and 0.90 digested, must not give more than the whole feed does
    digested = 23.6 * protein * feed["protein_digestibility"] + 39.5 * fat * 0.90
    assert digested < feed["digestible_energy"]
    # nor may more carbohydrate be digested than there is
    assert feed["digestible_energy"] - digested < 17.2 * carbohydrate


@pytest.mark.parametrize("name", FEEDS)
def test_feed_name_tells_its_protein(name: str):
    assert load_feed(name)["protein"] == pytest.approx(int(name.rpartition("_")[2]) / 100)


@pytest.mark.parametrize(("name", "energy"), FITTED_ENERGY.items())
def test_feed_has_the_energy_its_species_was_fitted_with(name: str, energy: float):
    assert load_feed(name)["digestible_energy"] == energy


@pytest.mark.parametrize("name", FEEDS)
def test_generic_feed_says_so(name: str):
    feed = load_feed(name)
    assert "own bag's label" in feed.summary
    assert feed.evidence == "weak"  # composition is common practice, none was measured here


@pytest.mark.parametrize("name", NATURAL)
def test_natural_food_is_wet_weak_and_says_so(name: str):
    feed = load_feed(name)
    assert feed.facts["kind"] == "natural"
    assert feed.evidence == "weak"
    assert feed.summary.startswith("Natural food, wet, ")
    assert feed.facts["caution"]
    assert feed["dry_matter"] < 0.5
    # a gram of it, water and all, feeds a fish less than a gram of the poorest pellet
    assert feed["digestible_energy"] < min(load_feed(pellet)["digestible_energy"] for pellet in FEEDS)
    for key in FEED_RULES.required:
        value = feed.values[key]
        assert None not in (value.low, value.high), f"{key} of a natural food without a band"
        assert value.low < value.value < value.high


# El-Shafai et al., duckweed to Nile tilapia (abstract read): fresh, protein 75.9-77.6 %, energy 58.4-64.5 % digested
def test_duckweed_is_digested_as_published():
    feed = load_feed("duckweed")
    assert 0.584 <= feed["digestible_energy"] / feed["gross_energy"] <= 0.645
    assert 0.759 <= feed["protein_digestibility"] <= 0.776


# Makkar et al. 2014 (from memory): gross energy of black soldier fly larvae 22.1 MJ per kg dry matter
def test_larvae_have_the_gross_energy_published_for_them():
    feed = load_feed("black_soldier_fly_larvae")
    assert feed["gross_energy"] / feed["dry_matter"] == pytest.approx(22.1, rel=0.02)


@pytest.mark.parametrize("name", crop_names())
def test_crop_bands_are_ordered(name: str):
    crop = load_crop(name)
    for key in ("temperature", "plants_per_area", "days_to_harvest", "feed_ratio"):
        if f"{key}_low" in crop.values or f"{key}_high" in crop.values:
            assert crop[f"{key}_low"] < crop[f"{key}_high"], key
    assert crop["temperature_low"] > 0
    assert crop["temperature_high"] < 35
    assert crop["plants_per_area_low"] > 0
    assert crop["days_to_harvest_low"] > 0
    assert crop.facts["kind"] in FAO_BAND


@pytest.mark.parametrize("name", CROPS)
def test_crop_ratio_is_the_published_class_band_or_absent(name: str):
    crop = load_crop(name)
    if name in WITHOUT_RATIO:
        assert "feed_ratio_low" not in crop.values
        assert "feed_ratio_high" not in crop.values
        assert "no published feed ratio" in crop.summary
    else:
        assert (crop["feed_ratio_low"], crop["feed_ratio_high"]) == FAO_BAND[crop.facts["kind"]]
        assert crop.sources[crop.values["feed_ratio_low"].source].read == "abstract"


@pytest.mark.parametrize("rules", [FEED_RULES, CROP_RULES], ids=["feeds", "crops"])
def test_one_mistake_in_a_file_gives_one_fault(rules, tmp_path):
    kind, value = ("feeds", "iron") if rules is FEED_RULES else ("crops", "temperature_low")
    name = {"feeds": "sunfish_44", "crops": "lettuce"}[kind]
    text = (library_folder() / kind / f"{name}.toml").read_text(encoding="utf-8")
    table = text.index(f"[values.{value}]")
    start = text.index("value = ", table)
    broken = tmp_path / "broken.toml"
    broken.write_text(text[:start] + "value = nan" + text[text.index("\n", start) :], encoding="utf-8")
    with pytest.raises(ParameterError) as caught:
        read_entry(broken, rules)
    (fault,) = caught.value.faults
    assert (fault.file, fault.table, fault.field) == ("broken.toml", f"values.{value}", "value")
    assert "nan" in fault.message


@pytest.mark.parametrize(
    ("name", "old", "new", "place"),
    [
        ("duckweed", 'kind = "natural"', 'kind = "scraps"', ("", "kind")),
        # the only value of a source at fault does not blame the source as well
        ("cool_water_40", "value = 0.011", "value = inf", ("values.phosphorus", "value")),
    ],
    ids=["unknown kind", "only value of a source"],
)
def test_one_mistake_in_a_feed_gives_one_fault(tmp_path, name, old, new, place):
    text = (library_folder() / "feeds" / f"{name}.toml").read_text(encoding="utf-8")
    broken = tmp_path / "broken.toml"
    broken.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(ParameterError) as caught:
        read_entry(broken, FEED_RULES)
    assert [(fault.table, fault.field) for fault in caught.value.faults] == [place]


def test_an_endless_range_is_refused(tmp_path):
    text = (library_folder() / "feeds" / "trout_44.toml").read_text(encoding="utf-8")
    broken = tmp_path / "broken.toml"
    broken.write_text(text.replace("range = [0.0001, 0.0006]", "range = [0.0001, inf]"), encoding="utf-8")
    with pytest.raises(ParameterError, match=r"values\.iron\.range"):
        read_entry(broken, FEED_RULES)


def test_a_feed_that_is_not_there_names_those_that_are():
    with pytest.raises(ParameterError) as caught:
        load_feed("perch_99")
    assert '"perch_99"' in str(caught.value)
    assert all(name in str(caught.value) for name in feed_names())
