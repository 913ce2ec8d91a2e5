"""Alkalinity that crops give back: the charges of what their roots take, held within what was measured."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.engine.arrays.beds import build_stands
from stocksim.engine.arrays.charge import GivenBack, given_back
from stocksim.engine.arrays.layout import build_layout
from stocksim.errors import ParameterError
from stocksim.library.crops import CROP_RULES, crop_names, load_crop
from stocksim.library.sources import library_folder, read_entry
from stocksim.plants.uptake import CHARGE_MOL_G, HYDROXIDE_HIGH, HYDROXIDE_LOW, hydroxide_per_nitrate

DOCS = Path(__file__).parents[1] / "docs"
PER_HYDROXIDE = 3.573  # g CaCO3 a gram of nitrate nitrogen whose whole charge comes back: 50.04 / 14.007
PARTS = [
    (name, part) for name in crop_names() for part in ("", "fruit_") if f"{part}nitrogen" in load_crop(name).values
]


def mmol(**amounts: float) -> dict[str, float]:
    """Grams of what is given in mmol, nothing of the rest."""
    weights = {
        "nitrogen": 14.007, "phosphorus": 30.974, "sulfur": 32.06, "chloride": 35.45, "potassium": 39.098,
        "calcium": 40.078, "magnesium": 24.305, "sodium": 22.99,
    }  # fmt: skip
    return {key: amounts.get(key, 0.0) * grams / 1000.0 for key, grams in weights.items()}


@pytest.mark.parametrize(
    ("taken", "expected"),
    [
        ({"nitrogen": 3.0}, 1.0),
        ({"nitrogen": 3.0, "potassium": 3.0}, 0.0),  # potassium nitrate taken whole
        ({"nitrogen": 4.0, "calcium": 2.0}, 0.0),  # calcium nitrate
        ({"nitrogen": 1.0, "magnesium": 1.0, "sulfur": 1.0}, 1.0),  # magnesium sulfate is neutral by itself
        ({"nitrogen": 1.0, "sodium": 2.0, "chloride": 2.0}, 1.0),  # so is salt
        ({"nitrogen": 2.0, "phosphorus": 1.0, "potassium": 1.0}, 1.0),
    ],
)
def test_what_roots_take_is_neutral(taken, expected):
    assert float(hydroxide_per_nitrate(mmol(**taken))) == pytest.approx(expected, abs=1e-4)


def test_batavia_lettuce_as_measured():
    """13.4 N, 1.72 P, 10.2 K, 3.13 Ca, 0.86 Mg mmol/L in closed hydroponics (Front. Plant Sci. 2024, 1411572)."""
    measured = mmol(nitrogen=13.4, phosphorus=1.72, potassium=10.2, calcium=3.13, magnesium=0.86)
    assert float(hydroxide_per_nitrate(measured)) == pytest.approx(-0.23, abs=0.005)
    # with the chloride and sulfur that its file holds a gram of nitrogen
    crop = load_crop("lettuce")
    for key in ("chloride", "sulfur"):
        measured[key] = crop[key] / crop["nitrogen"] * measured["nitrogen"]
    found = given_back(crop)
    assert found.low <= float(hydroxide_per_nitrate(measured)) <= found.high


def test_more_anions_give_back_more_and_more_cations_less():
    base = dict.fromkeys(CHARGE_MOL_G, 1.0)
    for key, per_gram in CHARGE_MOL_G.items():
        more = hydroxide_per_nitrate(base | {key: np.array([1.0, 1.1])})
        if key != "nitrogen":
            assert np.sign(np.diff(more)[0]) == np.sign(per_gram)


@pytest.mark.parametrize(("name", "part"), PARTS)
def test_every_crop_lies_within_what_was_measured_or_is_held_there(name, part):
    values = tomllib.loads((library_folder() / "crops" / f"{name}.toml").read_text(encoding="utf-8"))["values"]
    held = {key: entry["value"] for key, entry in values.items()}
    nitrate = held[f"{part}nitrogen"] * (1.0 - held.get("nitrogen_fixed", 0.0)) / 14.007
    anions = nitrate + held[f"{part}phosphorus"] / 30.974 + held[f"{part}sulfur"] / 16.03
    anions += held[f"{part}chloride"] / 35.45
    cations = held[f"{part}potassium"] / 39.098 + held[f"{part}calcium"] / 20.039
    cations += held[f"{part}magnesium"] / 12.1525 + held[f"{part}sodium"] / 22.99
    found = given_back(load_crop(name), part)
    assert found.by_contents == pytest.approx((anions - cations) / nitrate, abs=1e-3)
    low, high = held.get("hydroxide_low", 0.1), held.get("hydroxide_high", 0.3)
    assert (found.low, found.high) == (low, high)
    assert low <= found.used <= high
    assert found.is_bounded == (not low <= found.by_contents <= high)
    assert found.used in (found.by_contents, low, high)
    assert found.alkalinity_per_nitrogen == pytest.approx(PER_HYDROXIDE * found.used, abs=1e-3)


@pytest.mark.parametrize("name", crop_names())
def test_a_crop_of_its_own_range_names_who_measured_it(name):
    crop = load_crop(name)
    for key in ("sulfur", "chloride", "sodium"):
        assert crop.values[key].where
    if "hydroxide_low" in crop.values:
        low, high = crop.values["hydroxide_low"], crop.values["hydroxide_high"]
        assert low.source == high.source
        assert crop.sources[low.source].read in ("abstract", "from memory")


def test_the_table_of_the_documents_is_that_of_the_files():
    rows = re.findall(
        r"^\| (\w+)(, fruit)? \| (-?[\d.]+) \| (-?[\d.]+) to (-?[\d.]+) \| (\**)(-?[\d.]+)\** \|$",
        (DOCS / "beds.md").read_text(encoding="utf-8"), re.MULTILINE,
    )  # fmt: skip
    assert [(name, "fruit_" if fruit else "") for name, fruit, *_ in rows] == PARTS
    for name, fruit, contents, low, high, bold, used in rows:
        found = given_back(load_crop(name), "fruit_" if fruit else "")
        told = (found.by_contents, found.low, found.high, found.alkalinity_per_nitrogen)
        assert [f"{number:.2f}" for number in told] == [contents, low, high, used], name
        assert bool(bold) == found.is_bounded, name


def test_a_file_without_these_elements_gives_back_the_middle(tmp_path):
    text = (library_folder() / "crops" / "lettuce.toml").read_text(encoding="utf-8")
    cut = text.index("[values.sulfur]")
    own = tmp_path / "own.toml"
    keys = ("mills", "widdowson", "usda_sodium", "dickson")
    head = re.sub("|".join(rf"\[sources\.{key}\]\n.*\n.*\n\n" for key in keys), "", text[:cut])
    own.write_text(head, encoding="utf-8")
    found = given_back(read_entry(own, CROP_RULES))
    assert found.used == pytest.approx(0.5 * (HYDROXIDE_LOW + HYDROXIDE_HIGH)) == pytest.approx(0.2)
    half = text[: text.index("[values.chloride]")]
    own.write_text(re.sub("|".join(rf"\[sources\.{key}\]\n.*\n.*\n\n" for key in keys[1:]), "", half), encoding="utf-8")
    with pytest.raises(ParameterError, match="chloride"):
        read_entry(own, CROP_RULES)


def test_a_legume_that_fixes_all_its_nitrogen_needs_no_balance():
    assert GivenBack(float("nan"), 0.1, 0.3).used == pytest.approx(0.2)
    assert GivenBack(0.6, 0.1, 0.3).used == 0.3
    assert GivenBack(-0.7, 0.1, 0.3).used == 0.1


def test_a_bed_of_two_crops_gives_back_by_what_each_takes():
    tables = one_tank(days=60, count=4)
    tables["site"]["latitude"] = 40.0
    both = [
        {"crop": crop, "area": "1 m2", "from": START, "to": tables["season"]["end"]} for crop in ("kale", "lettuce")
    ]
    of_one = []
    for plantings in (both, both[:1], both[1:]):
        tables["beds"]["gravel"]["plantings"] = plantings
        stands = build_stands(build(tables))
        of_one.append((stands.demand_g[0, :, 0], stands.alkalinity_g[:, 0]))
    (mixed_n, mixed), (kale_n, kale), (lettuce_n, lettuce) = of_one
    np.testing.assert_allclose(mixed_n, kale_n + lettuce_n)
    np.testing.assert_allclose(mixed, kale + lettuce)
    tables["beds"]["gravel"]["plantings"] = both
    works = build_layout(build(tables)).water
    grown = mixed_n > 0.0
    np.testing.assert_allclose(works.alkalinity_per_n[grown, 0], (mixed / mixed_n)[grown])
    # 0.2 and 0.5 of 3.573: between, moving as one outgrows the other
    assert (works.alkalinity_per_n[grown, 0] > 0.714).all()
    assert (works.alkalinity_per_n[grown, 0] < 1.787).all()
    assert np.ptp(works.alkalinity_per_n[grown, 0]) > 0.01
    season = run_season(build(tables))
    back = season.course.uptake_n_g[0, :, 0] * works.alkalinity_per_n[:, 0]
    np.testing.assert_allclose(season.beds["alkalinity_given_back_g"], back)


def test_fruit_gives_back_as_fruit_does():
    tables = one_tank(days=160, count=4, temperature_c=22.0)
    tables["site"]["latitude"] = 30.0
    tables["beds"]["gravel"]["plantings"] = [{"crop": "tomato", "from": START, "to": tables["season"]["end"]}]
    (stand,) = build_stands(build(tables)).stands
    batch = stand.batches[0]
    per_gram = batch.alkalinity_g / batch.nutrients_g[0]
    crop = load_crop("tomato")
    leaf, fruit = (given_back(crop, part).alkalinity_per_nitrogen for part in ("", "fruit_"))
    assert per_gram[0] == pytest.approx(leaf)
    index = crop["harvest_index"]
    in_fruit = index * crop["fruit_nitrogen"] / (index * crop["fruit_nitrogen"] + (1.0 - index) * crop["nitrogen"])
    assert per_gram[-1] == pytest.approx(in_fruit * fruit + (1.0 - in_fruit) * leaf)
    assert per_gram[-1] > 2.0 * leaf
