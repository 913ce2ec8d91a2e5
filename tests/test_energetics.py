"""Energy, nitrogen and oxygen budget of a fish: hand calculations, properties, and the size of the step."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from stocksim.fish import appetite
from stocksim.fish import energetics as fish
from stocksim.fish.growth import appetite_rate, grow_in_good_water
from stocksim.library.species import load_species, species_names

temperatures = st.floats(-2.0, 45.0)
optima = st.floats(12.0, 34.0)
spans = st.floats(2.0, 14.0)
q10s = st.floats(1.2, 5.0)
energies = st.floats(0.0, 500.0)
FEED = {"digestible_energy": 15.5, "protein": 0.44, "protein_digestibility": 0.88}


def test_hump_by_hand():
    # Kitchell, Stewart & Weininger 1977 (equation from memory), optimum 29, zero 36, Q10 2.5, at 20 degC:
    # w = 0.916291*7 = 6.414036; y = 0.916291*9 = 8.246617; 1 + sqrt(1 + 40/8.246617) = 3.418796
    # x = 6.414036^2 * 3.418796^2 / 400 = 1.202131; V = 16/7; f = V^x * exp(x*(1-V)) = 0.5759...
    w, y = math.log(2.5) * 7.0, math.log(2.5) * 9.0
    x = w * w * (1.0 + math.sqrt(1.0 + 40.0 / y)) ** 2 / 400.0
    by_hand = (16.0 / 7.0) ** x * math.exp(x * (1.0 - 16.0 / 7.0))
    assert appetite.appetite_hump(20.0, 29.0, 36.0, 2.5) == pytest.approx(by_hand, rel=1e-12)


@given(optima, spans, q10s)
def test_hump_is_one_at_its_optimum_and_none_at_and_above_its_zero(optimum, span, q10):
    assert appetite.appetite_hump(optimum, optimum, optimum + span, q10) == pytest.approx(1.0, abs=1e-9)
    zero = optimum + span
    # it fades out within half a degree of its zero, or a fifth of the span where that is less
    assert appetite.appetite_hump([zero + 0.5 + 1e-6, zero + 5.0], optimum, zero, q10).tolist() == [0.0, 0.0]


@given(temperatures, temperatures, optima, spans, q10s)
def test_hump_is_a_share_that_rises_to_the_optimum_and_falls_after(one, other, optimum, span, q10):
    low, high = sorted((one, other))
    f_low, f_high = appetite.appetite_hump([low, high], optimum, optimum + span, q10)
    assert 0.0 <= f_low <= 1.0 + 1e-12
    assert 0.0 <= f_high <= 1.0 + 1e-12
    if high <= optimum:
        assert f_low <= f_high + 1e-12
    if low >= optimum:
        assert f_low >= f_high - 1e-12


@given(temperatures, st.floats(0.0, 18.0), st.floats(0.5, 20.0))
def test_cold_ramp_is_a_share_with_fixed_ends(temperature, none_below, width):
    assert 0.0 <= appetite.cold_ramp(temperature, none_below, width) <= 1.0
    assert appetite.cold_ramp(none_below, none_below, width) == 0.0
    assert appetite.cold_ramp(none_below + width + 1e-9, none_below, width) == pytest.approx(1.0)
    assert appetite.cold_ramp(none_below + width / 2.0, none_below, width) == pytest.approx(0.5)


def test_maintenance_by_hand():
    # 32 kJ/kg^0.8/day at 20 degC, Q10 3.05 below and 1.8 above: 1 kg at 10 degC 32/3.05, at 30 degC 32*1.8;
    # 100 g at 20 degC 32*0.1^0.8 = 32*0.158489 = 5.0717 kJ/day
    assert fish.maintenance_energy(1000.0, [10.0, 20.0, 30.0], 32.0, 3.05, 1.8) == pytest.approx(
        [32 / 3.05, 32.0, 57.6]
    )
    assert fish.maintenance_energy(100.0, 20.0, 32.0, 3.05, 1.8) == pytest.approx(5.0717, abs=5e-5)


@given(st.floats(2.0, 1000.0), temperatures, temperatures)
def test_maintenance_rises_with_temperature_and_weight(weight, one, other):
    low, high = sorted((one, other))
    needs = fish.maintenance_energy(weight, [low, high], 32.0, 3.05, 1.8)
    assert 0.0 < needs[0] <= needs[1]
    assert fish.maintenance_energy(2.0 * weight, low, 32.0, 3.05, 1.8) == pytest.approx(2.0**0.8 * needs[0])


def test_day_budget_by_hand():
    # 2 g of feed of 15.5 kJ/g: DE 31; maintenance 11; retained 0.62*20 = 12.4 kJ; gain 12.4/6.2 = 2 g;
    # oxygen (0.93*31 - 12.4)/13.6 = 1.20809 g; N absorbed 0.12, kept 2*0.1625/6.25 = 0.052, excreted 0.068
    day = fish.day_budget(2.0, 11.0, 15.5, 0.06, 0.62, 0.75, 6.2, 0.1625, 100.0, 100.0, 0.0)
    assert day.retained_energy_kj == pytest.approx(12.4)
    assert day.gain_g == pytest.approx(2.0)
    assert day.oxygen_g == pytest.approx(1.20809, abs=5e-6)
    assert day.excreted_nitrogen_g == pytest.approx(0.068)


def test_unfed_fish_lives_on_its_body():
    # maintenance 8 kJ, fasting fraction 0.75: 6 kJ of body, 1 g of 6 kJ/g; oxygen 6/13.6. Protein gives 0.225 of the 6
    # kJ, of 23.6 kJ/g, that is 0.057203 g of it, and the rest of the gram's 0.15 g stays
    day = fish.day_budget(0.0, 8.0, 15.5, 0.06, 0.62, 0.75, 6.0, 0.15, 100.0, 100.0, 0.0)
    assert day.gain_g == pytest.approx(-1.0)
    assert day.oxygen_g == pytest.approx(6.0 / 13.6)
    assert day.excreted_nitrogen_g == pytest.approx(0.057203 / 6.25, rel=1e-5)
    assert day.spared_change_g == pytest.approx((0.15 - 0.057203) / 6.25, rel=1e-5)
    # a fifth of its weight gone, and nothing spared left: all protein of what is lost leaves
    day = fish.day_budget(0.0, 8.0, 15.5, 0.06, 0.62, 0.75, 6.0, 0.15, 80.0, 100.0, 0.0)
    assert day.excreted_nitrogen_g == pytest.approx(0.15 / 6.25)


@pytest.mark.parametrize("name", species_names())
def test_spared_nitrogen_is_all_given_back(name):
    # put by in the first weeks of a fast, burned by a fifth of the weight or given back as the weight comes back
    get, water = load_species(name).__getitem__, 20.0
    fast = grow_in_good_water(get, FEED.__getitem__, 100.0, np.full(400, water), 0.0)
    held = fast.spared_nitrogen_g
    lost = 1.0 - fast.weight_g / 100.0
    body = get("body_protein") / fish.PROTEIN_PER_NITROGEN
    assert held[0] > 0.0
    assert (held >= 0.0).all()
    assert held[lost > 0.21].max(initial=0.0) == 0.0
    # fish of which a tenth is gone hold at most that tenth's nitrogen more than their weight tells
    assert (held <= body * 100.0 * lost + 1e-12).all()
    # unfed at first, it is ammonia that comes late: the sum over the fast is that of the weight
    gone = lost > 0.21
    if gone.any():
        day = int(np.flatnonzero(gone)[0])
        expected = fish.AMMONIA_SHARE_OF_EXCRETION * body * (100.0 - fast.weight_g[day])
        assert fast.tan_g[: day + 1].sum() == pytest.approx(expected, rel=1e-9)
    # fed again, it is all back when the weight is
    weight, greatest, spared = 90.0, 100.0, 0.05
    for _ in range(12):
        spared += float(fish.spared_change(1.0, weight, greatest, spared, 6.0, 0.16))
        weight += 1.0
        greatest = max(greatest, weight)
    assert spared == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("water", [20.0, 24.0])
def test_a_fast_gives_off_far_less_ammonia_than_a_meal(water):
    # pikeperch: fed fish give off some ten times what starved ones do (Zakes et al. 1999, kept from every fit); a fast
    # begins at a third or less of what the body lost would give by its weight
    get = load_species("walleye").__getitem__
    fed, fast = (grow_in_good_water(get, FEED.__getitem__, 100.0, [water], ration) for ration in (1.0, 0.0))
    assert fast.tan_g[0] < fed.tan_g[0] / 4.0
    by_weight = 0.87 * get("body_protein") / 6.25 * (100.0 - fast.weight_g[0])
    assert 0.3 < fast.tan_g[0] / by_weight < 0.5


@given(
    st.floats(0.0, 50.0), st.floats(0.01, 200.0), st.floats(8.0, 20.0), st.floats(0.03, 0.09),
    st.floats(0.4, 0.8), st.floats(0.2, 1.0), st.floats(4.0, 10.0), st.floats(0.12, 0.2), st.floats(0.4, 1.0),
    st.floats(0.0, 1.0),
)  # fmt: skip
def test_day_budget_closes(
    eaten, maintenance, feed_energy, nitrogen, efficiency, fasting, body, protein, condition, spared
):
    sizes = (100.0 * condition, 100.0, spared)
    day = fish.day_budget(eaten, maintenance, feed_energy, nitrogen, efficiency, fasting, body, protein, *sizes)
    digested = eaten * feed_energy
    lost, burned = fish.NON_FAECAL_LOSS_SHARE * digested, fish.OXYCALORIFIC_KJ_G * day.oxygen_g
    largest = max(digested, abs(burned), abs(day.retained_energy_kj))
    assert abs(digested - lost - burned - body * day.gain_g) <= 1e-9 * largest
    kept = day.gain_g * protein / fish.PROTEIN_PER_NITROGEN + day.spared_change_g
    assert spared + day.spared_change_g >= 0.0
    largest = max(eaten * nitrogen, abs(kept), abs(day.spared_change_g), abs(day.excreted_nitrogen_g))
    assert abs(eaten * nitrogen - kept - day.excreted_nitrogen_g) <= 1e-9 * largest


@given(energies, energies, st.floats(0.01, 200.0))
def test_more_feed_never_means_less_growth_or_less_oxygen(one, other, maintenance):
    low, high = sorted((one, other))
    days = [
        fish.day_budget(g / 15.5, maintenance, 15.5, 0.06, 0.62, 0.75, 6.3, 0.165, 9.0, 9.0, 0.0) for g in (low, high)
    ]
    assert days[0].gain_g <= days[1].gain_g
    # a kJ eaten costs 0.93 - 0.75 in oxygen below maintenance and 0.93 - 0.62 above it: never less
    assert days[0].oxygen_g <= days[1].oxygen_g + 1e-12


@pytest.mark.parametrize("name", species_names())
@settings(max_examples=15, deadline=None)
@given(temperature=st.floats(2.0, 33.0), one=st.floats(0.0, 1.0), other=st.floats(0.0, 1.0))
def test_growth_rises_with_ration(name, temperature, one, other):
    species = load_species(name)
    low, high = sorted((one, other))
    low_run, high_run = (
        grow_in_good_water(species.__getitem__, FEED.__getitem__, 50.0, np.full(10, temperature), ration)
        for ration in (low, high)
    )
    assert low_run.weight_g[-1] <= high_run.weight_g[-1] + 1e-9
    assert low_run.eaten_g.sum() <= high_run.eaten_g.sum() + 1e-9
    assert np.all(high_run.eaten_g >= 0.0)


# 200 days with steps of a day, half a day and a quarter. The rule is of second order: a step of relative growth
# g errs by about g^3/24 to g^3/6, so a fish that starts at 14 %/day (2 g tilapia) errs by some 1e-4 a day at
# first and by nothing once it slows. Bound: 2e-4 of the end weight, far below what a scale shows; measured
# 1.3e-4 for the tilapia, 2e-5 and less for the rest.
STEP_BOUND = 2e-4
STEP_CASES = [
    ("bluegill", 10.0, 26.0),
    ("nile_tilapia", 2.0, 28.0),
    ("rainbow_trout", 20.0, 12.0),
    ("largemouth_bass", 200.0, 4.0),
]


@pytest.mark.parametrize(("name", "start", "temperature"), STEP_CASES)
def test_growth_hardly_depends_on_the_step_and_converges_to_second_order(name, start, temperature):
    get, days = load_species(name).__getitem__, np.full(200, temperature)
    ends = [grow_in_good_water(get, FEED.__getitem__, start, days, 1.0, n).weight_g[-1] for n in (1, 2, 4)]
    coarse, fine = ends[0] - ends[1], ends[1] - ends[2]
    assert abs(coarse) <= STEP_BOUND * ends[2]
    # (1 - 1/4) / (1/4 - 1/16) = 4; the next order is one power of g smaller and moves it by a few per cent
    assert coarse / fine == pytest.approx(4.0, rel=0.05)


def test_step_is_independent_through_a_changing_year():
    species = load_species("yellow_perch")
    year = 14.0 + 9.0 * np.sin(2.0 * np.pi * np.arange(365) / 365.0)
    runs = [grow_in_good_water(species.__getitem__, FEED.__getitem__, 15.0, year, 0.85, steps) for steps in (1, 2, 4)]
    ends = [run.weight_g[-1] for run in runs]
    assert abs(ends[0] / ends[2] - 1.0) <= STEP_BOUND
    # feed and waste are totals of the same days
    assert runs[0].eaten_g.sum() == pytest.approx(runs[2].eaten_g.sum(), rel=STEP_BOUND)
    assert runs[0].tan_g.sum() == pytest.approx(runs[2].tan_g.sum(), rel=STEP_BOUND)


def test_one_run_equals_the_days_one_by_one():
    species = load_species("bluegill")
    days = np.array([18.0, 22.0, 26.0, 30.0])
    whole = grow_in_good_water(species.__getitem__, FEED.__getitem__, 25.0, days)
    weight, pieces = 25.0, []
    for day in days:
        piece = grow_in_good_water(species.__getitem__, FEED.__getitem__, weight, [day])
        weight = float(piece.weight_g[0])
        pieces.append([column[0] for column in piece])
    np.testing.assert_allclose(np.array(pieces).T, np.array(whole), rtol=1e-13)


def _broadcast_calls():
    t = np.array([[5.0], [18.0], [27.0]])  # (scenario, 1)
    w = np.array([5.0, 60.0, 500.0, 900.0])  # (cohort,)
    return [
        (appetite.appetite_hump, (t, np.array([29.0, 25.0, 17.0, 27.0]), 38.0, 2.5)),
        (appetite.cold_ramp, (t, np.array([4.0, 8.0, 1.0, 15.0]), 5.0)),
        (fish.maintenance_energy, (w, t, 30.0, 3.05, 1.8)),
        (fish.retained_energy, (t * w / 100.0, w / 50.0, 0.62, 0.75)),
        (fish.day_needs, (w, t / 300.0, 0.7, 1.0 + t, 0.8, 15.5, 0.62, 0.75, 6.3)),
        (fish.day_budget, (w * t / 1000.0, w / 20.0, 15.5, 0.06, 0.62, 0.75, 6.3, 0.165, w, 1.1 * w, 1e-4 * w)),
        (fish.spared_change, (t / 9.0 - 2.0, w, 1.1 * w, 1e-4 * w, 6.3, 0.165)),
        (appetite.oxygen_appetite, (t / 3.0, 1.0, np.array([5.0, 6.0, 7.0, 5.5]))),
        (appetite.ammonia_appetite, (t / 30.0, 0.02, np.array([1.0, 0.5, 0.3, 0.7]))),
    ]


def _columns(result):
    return result if isinstance(result, tuple) else (result,)


@pytest.mark.parametrize(("function", "arguments"), _broadcast_calls(), ids=lambda v: getattr(v, "__name__", ""))
def test_arrays_give_what_scalars_give_and_inputs_stay(function, arguments):
    before = [np.copy(argument) for argument in arguments]
    together = _columns(function(*arguments))
    for old, new in zip(before, arguments, strict=True):
        assert np.array_equal(old, new)
    shape = np.broadcast_shapes(*(np.shape(argument) for argument in arguments))
    spread = [np.broadcast_to(argument, shape) for argument in arguments]
    for index in np.ndindex(shape):
        alone = _columns(function(*(float(argument[index]) for argument in spread)))
        for column, value in zip(together, alone, strict=True):
            assert np.broadcast_to(column, shape)[index] == pytest.approx(float(value), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize(("function", "arguments"), _broadcast_calls(), ids=lambda v: getattr(v, "__name__", ""))
def test_nan_in_gives_nan_out_and_nothing_else(function, arguments):
    first = np.broadcast_to(arguments[0], np.broadcast_shapes(*(np.shape(a) for a in arguments))).copy()
    clean = _columns(function(first, *arguments[1:]))
    first[0, 0] = np.nan
    spoiled = _columns(function(first, *arguments[1:]))
    assert np.isnan(spoiled[0][0, 0])
    for column, whole in zip(spoiled, clean, strict=True):
        assert np.array_equal(column.ravel()[1:], np.broadcast_to(whole, first.shape).ravel()[1:])


@given(st.floats(0.0, 20.0), st.floats(0.0, 20.0), st.floats(0.1, 2.0), st.floats(4.0, 8.0))
def test_oxygen_appetite_is_a_rising_share(one, other, none_at, full_at):
    assume(none_at < 0.9 * full_at * 3.0 / 5.5)
    low, high = sorted((one, other))
    share, slope = appetite.oxygen_appetite([low, high], none_at, full_at)
    assert np.all((share >= 0.0) & (share <= 1.0))
    assert np.all(slope >= 0.0)
    assert share[0] <= share[1] + 1e-12
    ends, _ = appetite.oxygen_appetite([none_at, full_at * 3.0 / 5.5, full_at], none_at, full_at)
    assert ends == pytest.approx([0.0, 0.65, 1.0], abs=1e-12)


@given(st.floats(0.0, 3.0), st.floats(0.0, 3.0), st.floats(0.01, 0.1), st.floats(0.2, 2.0))
def test_ammonia_appetite_is_a_falling_share(one, other, full_at, none_at):
    low, high = sorted((one, other))
    share, slope = appetite.ammonia_appetite([low, high], full_at, none_at)
    assert np.all((share >= 0.0) & (share <= 1.0))
    assert np.all(slope <= 0.0)
    assert share[0] >= share[1] - 1e-12
    assert appetite.ammonia_appetite([full_at, none_at], full_at, none_at)[0] == pytest.approx([1.0, 0.0], abs=1e-12)


@pytest.mark.parametrize("name", species_names())
def test_species_oxygen_limits_fit_the_broken_line(name):
    species = load_species(name)
    assert species["oxygen_lethal"] < species["oxygen_recommended"] * 3.0 / 5.5
    assert species["unionized_ammonia_design"] < species["unionized_ammonia_acute"]


@pytest.mark.parametrize("name", species_names())
def test_appetite_has_one_peak_and_stops_at_both_ends(name):
    species = load_species(name)
    warm = np.arange(0.0, 45.0, 0.05)
    rate = appetite_rate(species.__getitem__, warm)
    assert np.all(rate >= 0.0)
    assert np.all(rate[warm <= species["no_feeding_below"]] == 0.0)
    assert np.all(rate[warm >= species["appetite_upper_zero"] + 0.5] == 0.0)
    turns = np.sign(np.diff(rate[rate > 0.0]))
    assert np.all(np.diff(turns) <= 0), "appetite must rise to one peak and then fall"
