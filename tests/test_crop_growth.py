"""Growth of crops: the exact step, and the crops against what was published of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from stocksim.library.crops import HARVESTS, NUTRIENTS, crop_names, load_crop
from stocksim.plants.growth import (
    closed_cover_growth,
    growth_sum_needed,
    staggered_cover,
    stand_mass,
    temperature_response,
    thermal_days,
)

CROPS = crop_names()


def plants(crop) -> float:
    return 0.5 * (crop["plants_per_area_low"] + crop["plants_per_area_high"])


def growth(crop, light: float, temperature: float) -> float:
    """Growth of a closed stand. [g/m2/day]"""
    cardinal = [crop[f"temperature_{end}"] for end in ("base", "optimum", "max")]
    share = temperature_response(temperature, *cardinal)
    return float(closed_cover_growth(light, share, crop["light_use"], crop["light_half_saturation"]))


def days_to_harvest(crop, light: float, temperature: float) -> float:
    start = plants(crop) * crop["seedling_dry_mass"]
    by_mass = float(growth_sum_needed(start, crop["stand_dry_mass"], crop["cover_per_dry_mass"]))
    daily = growth(crop, light, temperature)
    warmth = float(thermal_days(temperature, crop["temperature_base"], crop["temperature_optimum"]))
    by_warmth = crop["thermal_time"] / warmth
    return by_warmth if crop.facts["harvest"] == "fruit" else max(by_mass / daily, by_warmth)


# --- the equations


@pytest.mark.parametrize(("start", "cover"), [(4.5, 0.025), (40.0, 0.01), (0.5, 0.03)])
def test_the_exact_step_solves_the_equation(start, cover):
    """Against a general solver, light going up and down."""

    def daily(t: float) -> float:
        return 6.0 + 5.0 * np.sin(t / 7.0)

    solved = solve_ivp(lambda t, w: daily(t) * -np.expm1(-cover * w), (0.0, 60.0), [start], rtol=1e-10, atol=1e-10)
    summed = 6.0 * 60.0 + 5.0 * 7.0 * (1.0 - np.cos(60.0 / 7.0))
    assert stand_mass(start, summed, cover) == pytest.approx(solved.y[0, -1], rel=1e-8)


MASS, COVER = st.floats(0.1, 400.0), st.floats(0.005, 0.04)


@given(MASS, st.floats(0.0, 900.0), COVER)
def test_growth_needed_is_growth_turned_round(start, summed, cover):
    goal = float(stand_mass(start, summed, cover))
    assert start - 1e-9 * start <= goal <= start + summed + 1e-9
    assert float(growth_sum_needed(start, goal, cover)) == pytest.approx(summed, rel=1e-6, abs=1e-6)


@given(MASS, st.floats(0.0, 400.0), st.floats(0.0, 400.0), COVER)
def test_two_steps_are_one(start, first, second, cover):
    between = stand_mass(start, first, cover)
    assert stand_mass(between, second, cover) == pytest.approx(stand_mass(start, first + second, cover), rel=1e-9)


def test_no_light_no_growth():
    assert closed_cover_growth(0.0, 1.0, 1.0, 30.0) == 0.0
    assert stand_mass(4.5, 0.0, 0.025) == pytest.approx(4.5)


@given(st.floats(-20.0, 60.0))
def test_temperature_response_is_a_share(temperature):
    share = float(temperature_response(temperature, 4.0, 22.0, 32.0))
    assert 0.0 <= share <= 1.0
    assert (share == 0.0) == (temperature <= 4.0 or temperature >= 32.0) or share < 1e-12


def test_temperature_response_is_best_at_the_optimum_and_monotone_on_either_side():
    at = temperature_response(np.linspace(0.0, 36.0, 361), 4.0, 22.0, 32.0)
    assert np.argmax(at) == 220
    assert (np.diff(at[:221]) >= 0.0).all()
    assert (np.diff(at[220:]) <= 0.0).all()


@given(st.floats(1.0, 50.0), st.floats(60.0, 500.0), COVER)
def test_a_bed_of_all_ages_catches_part_of_the_light(start, goal, cover):
    share = float(staggered_cover(start, goal, cover))
    assert -np.expm1(-cover * start) - 1e-9 <= share <= -np.expm1(-cover * goal) + 1e-9


# --- the crops against publications


@pytest.mark.parametrize("name", CROPS)
def test_crop_values_fit_together(name):
    crop = load_crop(name)
    assert crop["temperature_base"] < crop["temperature_optimum"] < crop["temperature_max"]
    assert crop.facts["harvest"] in HARVESTS
    assert 0.04 < crop["dry_matter"] < 0.2
    assert 0.0 < crop["harvest_index"] < 1.0
    assert plants(crop) * crop["seedling_dry_mass"] < crop["stand_dry_mass"]
    for key in NUTRIENTS:
        assert 0.0 < crop[key] < 0.1, key
    assert crop["nitrogen"] > crop["phosphorus"] > crop["iron"]
    # light use of C3 crops, about 0.55-0.75 g a mol at 17 mol/m2/day (3 g/MJ of light, from memory)
    assert 0.45 < growth(crop, 17.0, crop["temperature_optimum"]) / 17.0 < 0.8
    # the best temperature lies in or near the band that guides give
    assert crop["temperature_low"] - 3.0 < crop["temperature_optimum"] < crop["temperature_high"] + 1.0


@pytest.mark.parametrize("name", [name for name in CROPS if load_crop(name).facts["harvest"] != "fruit"])
def test_days_to_harvest_in_good_light_are_those_of_the_guides(name):
    """At 17 mol/m2/day (the light that Both found best for lettuce; excerpt read) and the middle of the band."""
    crop = load_crop(name)
    middle = 0.5 * (crop["temperature_low"] + crop["temperature_high"])
    found = days_to_harvest(crop, 17.0, middle)
    # stated tolerance: a quarter beyond either end of the guides' span
    assert 0.75 * crop["days_to_harvest_low"] < found < 1.25 * crop["days_to_harvest_high"]


def test_lettuce_head_grows_with_light_as_measured():
    """Iceberg indoors: 8.6 to 11.5 mol/m2/day raised the head from 275 to 393 g (excerpt read); within 10 %."""
    crop = load_crop("lettuce")
    start, cover = plants(crop) * crop["seedling_dry_mass"], crop["cover_per_dry_mass"]
    dry_a_head = crop["dry_matter"] / crop["harvest_index"] * plants(crop)
    needed = growth_sum_needed(start, 275.0 * dry_a_head, cover)
    ratio = growth(crop, 11.5, 20.0) / growth(crop, 8.6, 20.0)
    head = float(stand_mass(start, needed * ratio, cover)) / dry_a_head
    assert head == pytest.approx(393.0, rel=0.10)
    assert head < 393.0  # we fall short: the model's light saturates earlier than that trial's


def test_lettuce_draws_the_nitrogen_that_was_measured():
    """285 g heads, 38 mg/g, 25 a m2 in 35 days: 0.39 g/m2/day; a red kind 0.23 (PMC4646504, tissue values read)."""
    crop = load_crop("lettuce")
    start, cover = plants(crop) * crop["seedling_dry_mass"], crop["cover_per_dry_mass"]
    mean = float(staggered_cover(start, crop["stand_dry_mass"], cover)) * growth(crop, 17.0, 21.0)
    assert 0.23 < mean * crop["nitrogen"] < 0.39


def test_summer_lettuce_is_as_quick_as_in_the_field():
    """Field lettuce takes 65-80 days from seed in summer (excerpt read), some 25-30 of them before planting out."""
    assert 25.0 < days_to_harvest(load_crop("lettuce"), 25.0, 18.0) < 55.0


# g of nutrient for a kg of fresh harvest. Lettuce and kale: New England Vegetable Management Guide, table 4, whole
# crops (a web page was read): 75 lb N, 150 lb K2O, 13 lb Ca in 15 tons; 125 lb N, 110 lb K2O, 50 lb Ca in 10 tons.
# Tomato and pepper, kg a tonne of fruit: Hegde 1997 (abstract read), 2.5-3 N, 0.2-0.3 P, 3-3.5 K and 3-3.5 N, 0.8-1 P,
# 5-6 K.
K2O = 0.830
PUBLISHED = [
    ("lettuce", "nitrogen", 2.5), ("lettuce", "calcium", 0.43), ("kale", "nitrogen", 6.25),
    ("kale", "potassium", 5.5 * K2O), ("kale", "calcium", 2.5), ("tomato", "nitrogen", 2.75),
    ("tomato", "potassium", 3.25), ("tomato", "phosphorus", 0.25), ("pepper", "nitrogen", 3.25),
]  # fmt: skip
# Told in docs/beds.md: field lettuce takes potassium in luxury; Hegde has chili and bell peppers together
MISSED = [
    ("lettuce", "potassium", 5.0 * K2O, 0.51), ("pepper", "potassium", 5.5, 0.65), ("pepper", "phosphorus", 0.9, 0.40),
]  # fmt: skip
# between a food table, sufficiency ranges and field crops: stated here for all of them
HARVEST_TOLERANCE = 0.35


@pytest.mark.parametrize(("name", "nutrient", "published"), PUBLISHED)
def test_nutrients_of_a_harvest(name, nutrient, published):
    assert held_per_kilo(load_crop(name), nutrient) == pytest.approx(published, rel=HARVEST_TOLERANCE)


def held_per_kilo(crop, nutrient: str) -> float:
    """Nutrient that the whole plant took up for a kilo of fresh harvest. [g/kg]"""
    index, leaf = crop["harvest_index"], crop[nutrient]
    picked = crop.number(f"fruit_{nutrient}", leaf)
    return 1000.0 * (index * picked + (1.0 - index) * leaf) * crop["dry_matter"] / index


@pytest.mark.parametrize(("name", "nutrient", "published", "share"), MISSED)
def test_what_the_docs_call_missed_is_missed_by_as_much(name, nutrient, published, share):
    assert held_per_kilo(load_crop(name), nutrient) / published == pytest.approx(share, abs=0.03)
