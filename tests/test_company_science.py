"""Who may share a tank: published prey sizes, probabilities with spread, windows, oxygen, temper."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtri

from stocksim.fish import company
from stocksim.fish.body import total_length_mm
from stocksim.fish.growth import growth_curve, growth_window
from stocksim.library.feeds import load_feed
from stocksim.library.species import company_value, load_species, species_names

lengths = st.floats(10.0, 800.0)
spreads = st.one_of(st.just(0.0), st.floats(1e-3, 0.3))
shares = st.floats(0.0, 1.0)

# Predator length, its longest prey [mm], prey's form, and where it is printed. All predators are largemouth bass.
SEAFWA_1980 = "SEAFWA 1980 (abstract): bass swallow bluegill to 0.40 and shad to 0.50 of their own length"
SPORT_PAGE = "an American sport fishers' page, inches turned to mm"
EINFALT = "Einfalt and others (abstract): bass of 30-75 mm choose bluegill of 25-48 %, shad of 33-65 % of their length"
SEAFWA_1993 = "SEAFWA 1993 (abstract): bass near 100 mm choose prey of 35 %"
GAETA = "Gaeta et al. 2018 (abstract): 99 of 100 prey in the field below 32-46 % of the predator"
MEALS = [
    (300.0, 120.0, "deep", SEAFWA_1980),
    (300.0, 150.0, "slender", SEAFWA_1980),
    (267.0, 89.0, "deep", SPORT_PAGE),
    (419.0, 145.0, "deep", SPORT_PAGE),
    (571.0, 223.0, "deep", SPORT_PAGE),
    (267.0, 145.0, "slender", SPORT_PAGE),
    (419.0, 249.0, "slender", SPORT_PAGE),
    (571.0, 355.0, "slender", SPORT_PAGE),
    (50.0, 24.0, "deep", EINFALT),
    (50.0, 32.4, "slender", EINFALT),  # 0.648: just inside the 0.65 of the rule, no margin left
    (100.0, 35.0, "deep", SEAFWA_1993),
    (400.0, 184.0, "deep", GAETA),
    (400.0, 184.0, "slender", GAETA),
]


def mate(name, length_mm, spread=0.0, **changes):
    species = load_species(name)
    values = company.Mate(
        length_mm,
        spread,
        species["prey_share_deep"],
        species["prey_share_slender"],
        company_value(species, "body_depth"),
        species.facts["temper"],
        *growth_window(
            growth_curve(species.__getitem__, load_feed(species.facts["fitted_with_feed"]).__getitem__, 50.0)
        ),
        species["temperature_low_limit"],
        species["temperature_high_stress"],
        species["oxygen_recommended"],
        company_value(species, "eats_own") > 0.0,
        company_value(species, "sibling_length"),
    )
    return values._replace(**changes)


def keys(verdict):
    return [reason.key for reason in verdict.reasons]


# --- mouths


@pytest.mark.parametrize(("predator", "prey", "form", "source"), MEALS)
def test_every_published_meal_is_kept_apart(predator, prey, form, source):
    share = load_species("largemouth_bass")[f"prey_share_{form}"]
    assert share == {"deep": 0.5, "slender": 0.65}[form]
    assert company.predation_grade(predator, 0.0, prey, 0.0, share) == 2, source
    # and with the usual spread of lengths all the more
    assert company.predation_grade(predator, 0.09, prey, 0.09, share) == 2, source


def test_bass_eat_bass_and_the_verdict_says_so():
    # bass of 41.9 cm took bass of 24.9 cm: 0.59 (a sport fishers' page)
    verdict = company.judge_pair(mate("largemouth_bass", 419.0), mate("largemouth_bass", 249.0), same_species=True)
    assert verdict == company.Company("apart", (company.Reason("fits_mouth", 1.0, "apart"),))


def test_the_rule_has_three_steps():
    grades = company.predation_grade(200.0, 0.0, [99.0, 101.0, 139.0, 141.0], 0.0, 0.5)
    assert grades.tolist() == [2, 1, 1, 0]
    grades = company.predation_grade(200.0, 0.0, [129.0, 131.0, 139.0, 141.0], 0.0, 0.65)
    assert grades.tolist() == [2, 1, 1, 0]
    # a small mouth: apart below 0.25, watched to 0.35
    assert company.predation_grade(200.0, 0.0, [49.0, 51.0, 69.0, 71.0], 0.0, 0.25).tolist() == [2, 1, 1, 0]


@pytest.mark.parametrize(("one", "other", "share"), [(0.09, 0.12, 0.5), (0.2, 0.05, 0.65), (0.0, 0.1, 0.4)])
def test_probability_agrees_with_drawn_pairs(one, other, share):
    # a lattice of quantiles instead of random draws: 400 x 400 pairs
    scores = ndtri((np.arange(400) + 0.5) / 400)
    predator, prey = (
        mean * np.exp(s * scores - 0.5 * s * s)
        for mean, s in ((250.0, np.sqrt(np.log1p(one**2))), (140.0, np.sqrt(np.log1p(other**2))))
    )
    fits = np.mean(prey[None, :] < share * predator[:, None])
    assert company.fits_mouth_probability(250.0, one, 140.0, other, share) == pytest.approx(fits, abs=4e-3)


@given(lengths, spreads, lengths, spreads, shares, st.floats(1.0, 1.5))
def test_longer_prey_is_safer_and_a_longer_predator_is_not(predator, one, prey, other, share, factor):
    chance = company.fits_mouth_probability(predator, one, prey, other, share)
    assert 0.0 <= chance <= 1.0
    assert company.fits_mouth_probability(predator, one, prey * factor, other, share) <= chance
    assert company.fits_mouth_probability(predator * factor, one, prey, other, share) >= chance
    assert company.fits_mouth_probability(predator, one, prey, other, min(share * factor, 1.0)) >= chance * (1 - 1e-12)
    assert company.predation_grade(predator, one, prey * factor, other, share) <= company.predation_grade(
        predator, one, prey, other, share
    )


@given(lengths, spreads, lengths, spreads)
def test_a_fish_that_takes_no_fish_takes_none(predator, one, prey, other):
    assert company.fits_mouth_probability(predator, one, prey, other, 0.0) == 0.0
    assert company.predation_grade(predator, one, prey, other, 0.0) == 0


def test_an_ungraded_batch_of_bass_is_watched_and_a_graded_one_is_not():
    # the longest meet the shortest; by hand at 0.38: ln 0.65 / (1.41 x 0.112) = -2.7, 0.3 %, and ln 0.7: -2.25, 1.2 %
    slope = load_species("largemouth_bass")["length_weight_slope"]
    for cv, expected in ((0.15, "together"), (0.30, "together"), (0.38, "with care"), (0.5, "apart")):
        batch = mate("largemouth_bass", 200.0, company.length_spread(cv, slope))
        assert company.judge_pair(batch, batch, same_species=True).verdict == expected, cv


def test_length_spread_is_about_weight_spread_over_slope():
    assert company.length_spread(0.3, 3.0) == pytest.approx(0.1, rel=0.03)
    assert company.length_spread(0.0, 3.0) == 0.0
    # exactly: weights that are the cube of lognormal lengths
    scores = ndtri((np.arange(20000) + 0.5) / 20000)
    cubes = np.exp(0.1 * scores) ** 3
    cv = cubes.std() / cubes.mean()
    assert company.length_spread(cv, 3.0) == pytest.approx(np.sqrt(np.expm1(0.01)), rel=2e-3)


def test_bass_of_market_size_and_young_bluegill_by_weight():
    lengths_mm = {}
    for name, weight in (("largemouth_bass", 400.0), ("bluegill", 30.0)):
        species = load_species(name)
        lengths_mm[name] = total_length_mm(
            weight, *(species[key] for key in ("length_weight_intercept", "length_weight_slope", "farmed_condition"))
        )
    pair = [mate(name, length, 0.09) for name, length in lengths_mm.items()]
    verdict = company.judge_pair(*pair)
    assert verdict.verdict == "apart"
    assert verdict.reasons[0].key == "fits_mouth"
    assert verdict.reasons[0].number > 0.9
    assert company.judge_pair(*pair[::-1]) == verdict


def test_the_worst_day_counts():
    bass, bluegill = mate("largemouth_bass", np.array([100.0, 150.0, 300.0])), mate("bluegill", np.full(3, 120.0))
    verdict = company.judge_pair(bass, bluegill)
    assert verdict.verdict == "apart"
    assert verdict.reasons[0] == company.Reason("fits_mouth", 1.0, "apart")


# --- water


@given(st.floats(0.0, 20.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_a_common_window_is_inside_both_and_the_same_either_way(low_a, width_a, low_b, width_b):
    one, other = (low_a, low_a + width_a), (low_b, low_b + width_b)
    window = company.window_overlap(*one, *other)
    assert window == company.window_overlap(*other, *one)
    assert window.width_c == window.high_c - window.low_c
    if window.width_c >= 0.0:
        assert max(low_a, low_b) == window.low_c
        assert window.high_c == min(one[1], other[1])
    assert company.window_overlap(*one, *one) == (*one, one[1] - one[0])


def test_season_share_by_hand_and_tank_by_tank():
    water = np.array([[10.0, 20.0], [15.0, 25.0], [20.0, 30.0], [25.0, 35.0]])
    assert company.season_share_inside(water, 15.0, 25.0).tolist() == [0.75, 0.5]
    assert company.season_share_inside(water, np.array([0.0, 30.0]), 40.0).tolist() == [1.0, 0.5]


def test_trout_with_tilapia_have_no_water_in_common_to_grow_in():
    verdict = company.judge_pair(mate("rainbow_trout", 250.0), mate("nile_tilapia", 200.0), never_by_rule=True)
    assert verdict.verdict == "apart"
    assert verdict.reasons[0] == company.Reason("never_by_rule", 1.0, "apart")
    narrow = {reason.key: reason.number for reason in verdict.reasons}["narrow_growth_window"]
    trout, tilapia = mate("rainbow_trout", 250.0), mate("nile_tilapia", 200.0)
    assert narrow == trout.growth_high_c - tilapia.growth_low_c < -5.0
    assert "oxygen_class" in keys(verdict)


def test_a_season_decides_what_windows_leave_open():
    trout, perch = mate("rainbow_trout", 250.0), mate("yellow_perch", 240.0)
    warm = company.judge_pair(trout, perch, season_temperature_c=np.full(30, 22.0))
    cool = company.judge_pair(trout, perch, season_temperature_c=np.full(30, 11.0))
    assert "season_outside_limits" in keys(warm)
    assert warm.verdict == "apart"
    assert "season_outside_limits" not in keys(cool)
    assert cool.verdict == "with care"
    assert "season_outside_growth" in keys(cool)  # perch grow from 18 degC
    hopeless = mate("yellow_perch", 240.0, low_limit_c=20.0)
    assert "no_common_water" in keys(company.judge_pair(trout, hopeless))


# --- oxygen and temper


def test_oxygen_classes():
    found = {name: company.oxygen_class(load_species(name)["oxygen_recommended"]) for name in species_names()}
    assert found["rainbow_trout"] == "high"
    assert found["hybrid_striped_bass"] == "middle"
    assert found["bluegill"] == found["goldfish"] == "usual"


TEMPERS = ("calm", "nips", "territorial", "hunts")


@pytest.mark.parametrize(("one", "other"), list(itertools.product(TEMPERS, TEMPERS)))
def test_tempers_clash_the_same_either_way(one, other):
    clash = company.temper_clash(one, other)
    assert clash == company.temper_clash(other, one)
    assert (clash == "none") == (one == other == "calm")


def test_tempers_by_hand():
    assert company.temper_clash("hunts", "hunts") == "hunters_together"
    assert company.temper_clash("territorial", "hunts") == "hunter_beside"
    assert company.temper_clash("territorial", "territorial") == "territories_clash"
    assert company.temper_clash("nips", "territorial") == "territory_holder_beside"
    assert company.temper_clash("nips", "nips") == "fins_nipped"


def test_calm_fish_of_one_water_go_together():
    verdict = company.judge_pair(mate("common_carp", 150.0), mate("goldfish", 120.0))
    assert verdict == company.Company("together", ())


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations_with_replacement(species_names(), 2)))
def test_every_pair_gets_a_verdict_that_its_reasons_bear_out(one, other):
    pair = mate(one, 200.0, 0.09), mate(other, 190.0, 0.09)
    verdict = company.judge_pair(*pair, same_species=one == other)
    assert verdict == company.judge_pair(*pair[::-1], same_species=one == other)
    grades = [company.VERDICTS.index(reason.verdict) for reason in verdict.reasons]
    assert grades == sorted(grades, reverse=True)
    assert company.VERDICTS.index(verdict.verdict) == max(grades, default=0)
    assert len(set(keys(verdict))) == len(grades)
    assert all(np.isfinite(reason.number) for reason in verdict.reasons)
