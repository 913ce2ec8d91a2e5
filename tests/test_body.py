"""Length from weight: standard weights, farmed condition, and published lengths."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stocksim.engine.days import hunting
from stocksim.fish.body import total_length_mm, weight_at_length_g
from stocksim.library.species import load_species, species_names

# Standard-weight lines log10 W [g] = a + b log10 L [mm] (from memory; 75th percentile of wild fish; bass slope read)
# and the usual multiplier of farmed fish (bluegill and bass after published lengths and conditions, the rest assumed).
# Tilapia is a length-weight line in cm, -1.72 and 3.0: -1.72 - 3 in mm.
STANDARD = {
    "bluegill": (-5.374, 3.316, 1.30),
    "yellow_perch": (-5.386, 3.230, 1.20),
    "black_crappie": (-5.618, 3.345, 1.15),
    "largemouth_bass": (-5.528, 3.273, 1.24),
    "channel_catfish": (-5.800, 3.294, 1.10),
    "nile_tilapia": (-4.72, 3.0, 1.0),
    "rainbow_trout": (-5.023, 3.024, 1.15),
    "common_carp": (-4.639, 2.920, 1.10),
    "goldfish": (-4.75, 3.0, 1.0),
    "hybrid_striped_bass": (-5.201, 3.139, 1.10),
    "walleye": (-5.453, 3.180, 1.05),
}
# lengths by hand: log10 L = (log10(W / condition) - a) / b
BY_HAND_MM = {
    "bluegill": (150.0, 174.6),  # (log10(115.385) + 5.374)/3.316 = (2.06215 + 5.374)/3.316 = 2.24251
    "largemouth_bass": (500.0, 305.8),  # (2.60555 + 5.528)/3.273 = 2.48505
    "rainbow_trout": (300.0, 288.6),  # (2.41642 + 5.023)/3.024 = 2.46012
    "nile_tilapia": (500.0, 297.2),  # (2.69897 + 4.72)/3 = 2.47299
}


def of(species):
    return tuple(species[key] for key in ("length_weight_intercept", "length_weight_slope", "farmed_condition"))


@pytest.mark.parametrize("name", STANDARD)
def test_species_files_hold_the_standard_lines(name):
    assert of(load_species(name)) == pytest.approx(STANDARD[name])


@pytest.mark.parametrize(("name", "weight", "length"), [(name, *pair) for name, pair in BY_HAND_MM.items()])
def test_length_by_hand(name, weight, length):
    assert total_length_mm(weight, *STANDARD[name]) == pytest.approx(length, rel=6e-3)


def test_published_lengths_of_farmed_bluegill():
    # Hicks et al. 2009 (abstract): 28 g at 106 mm and 119 g at 161 mm; condition 1.30 is the middle of the two
    lengths = total_length_mm([28.0, 119.0], *STANDARD["bluegill"])
    assert lengths == pytest.approx([106.0, 161.0], rel=0.02)


def test_a_bass_of_half_a_metre_weighs_two_kilograms():
    # standard weight of largemouth bass: 500 mm about 2 kg (read)
    assert weight_at_length_g(500.0, *STANDARD["largemouth_bass"][:2]) == pytest.approx(2000.0, rel=0.02)


def test_trout_lengths_meet_a_hatchery_table():
    # Leitritz & Lewis 1980: 7.35 fish a pound (62 g) at 7 inches, 2.53 (179 g) at 10: leaner than farmed fish today
    lengths = total_length_mm([62.0, 179.0], *STANDARD["rainbow_trout"][:2])
    assert lengths / 25.4 == pytest.approx([7.0, 10.0], rel=0.02)
    assert np.all(total_length_mm([62.0, 179.0], *STANDARD["rainbow_trout"]) < lengths)


@given(st.sampled_from(species_names()), st.floats(0.1, 5000.0), st.floats(0.7, 1.5))
def test_length_and_weight_undo_each_other(name, weight, condition):
    line = of(load_species(name))[:2]
    length = total_length_mm(weight, *line, condition)
    assert weight_at_length_g(length, *line, condition) == pytest.approx(weight, rel=1e-10)


@given(st.sampled_from(species_names()), st.floats(0.1, 5000.0), st.floats(1.0, 3.0))
def test_a_heavier_fish_is_longer_and_a_fatter_one_shorter(name, weight, factor):
    line = of(load_species(name))[:2]
    assert total_length_mm(weight * factor, *line) >= total_length_mm(weight, *line)
    assert total_length_mm(weight, *line, factor) <= total_length_mm(weight, *line)


def test_the_compiled_day_measures_fish_by_the_same_formula():
    tree = ast.parse(Path(hunting.__file__).read_text(encoding="utf-8"))
    called = {node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
    assert "total_length_mm" in called
    assert not {"log", "log10"} & {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    line = STANDARD["bluegill"]
    assert total_length_mm(28.0, *line) == total_length_mm([28.0], *line)[0]
