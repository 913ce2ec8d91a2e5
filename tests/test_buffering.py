"""Base: masses against molar masses of another library, and the three caps of a day's dose."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stocksim.engine.running import run_season
from stocksim.site.reading import load_site
from stocksim.water.alkalinity import ALKALINITY_PER_NITRIFIED
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.buffering import (
    LEAST_STEP_MG_L,
    MOST_PH_RISE,
    SALTS,
    buffer_dose,
    chalk_room,
)
from stocksim.water.carbonate import calcite_saturation, carbon_dioxide, ph_from_alkalinity

# g/mol, from memory of a printed table of molar masses
PRINTED_MOLAR_MASS = {
    "potassium_bicarbonate": 100.115,
    "calcium_carbonate": 100.087,
    "calcium_hydroxide": 74.093,
    "potassium_hydroxide": 56.106,
    "sodium_bicarbonate": 84.007,
}
EQUIVALENTS = {"calcium_carbonate": 2, "calcium_hydroxide": 2}


@pytest.mark.parametrize("name", PRINTED_MOLAR_MASS)
def test_masses_follow_from_molar_masses(name):
    per_alkalinity = PRINTED_MOLAR_MASS[name] / EQUIVALENTS.get(name, 1) / (100.087 / 2.0)
    # 50.04 for 50.0435 g an equivalent: 7 parts in 100 000
    assert SALTS[name].salt_g_per_alkalinity_g == pytest.approx(per_alkalinity, rel=1e-4)


def test_sodium_bicarbonate_is_that_of_the_molar_masses_not_of_the_misprint():
    # 10 mg/L in 3785 L: 63.5 g; the extension text prints 53 g
    grams = 10.0 * 3.785 * SALTS["sodium_bicarbonate"].salt_g_per_alkalinity_g
    assert grams == pytest.approx(63.5, abs=0.05)
    assert SALTS["sodium_bicarbonate"].salt_g_per_alkalinity_g == pytest.approx(1.679, abs=0.0005)


def test_elements_and_carbon_dioxide_of_the_salts():
    # percent by mass, from memory of product labels: K 69.7 in KOH, 39.1 in KHCO3; Ca 54.1 in lime, 40.0 in calcite
    assert SALTS["potassium_hydroxide"].potassium_share == pytest.approx(0.697, abs=0.0005)
    assert SALTS["potassium_bicarbonate"].potassium_share == pytest.approx(0.391, abs=0.0005)
    assert SALTS["calcium_hydroxide"].calcium_share == pytest.approx(0.541, abs=0.0005)
    assert SALTS["calcium_carbonate"].calcium_share == pytest.approx(0.400, abs=0.0005)
    assert SALTS["sodium_bicarbonate"].sodium_share == pytest.approx(0.274, abs=0.0005)
    taken = {name: salt.carbon_dioxide_g_per_alkalinity_g for name, salt in SALTS.items()}
    assert taken["potassium_bicarbonate"] == taken["sodium_bicarbonate"] == 0.0
    assert taken["calcium_carbonate"] == pytest.approx(0.44, abs=0.005)
    assert taken["calcium_hydroxide"] == taken["potassium_hydroxide"] == pytest.approx(0.88, abs=0.005)


def test_one_base_metal_each_and_caustics_say_so():
    for salt in SALTS.values():
        shares = (salt.potassium_share, salt.calcium_share, salt.sodium_share)
        assert sum(share > 0.0 for share in shares) == 1
        assert salt.is_caustic == ("OH" in salt.formula)
        assert ("burns" in salt.caution) == salt.is_caustic
        assert salt.caution.endswith(".")


def test_the_table_is_frozen():
    with pytest.raises(TypeError):
        SALTS["chalk"] = SALTS["calcium_carbonate"]
    with pytest.raises(FrozenInstanceError):
        SALTS["calcium_carbonate"].calcium_share = 1.0


def test_alkalinity_of_nitrogen_from_molar_masses():
    # 50.0435 g an equivalent, 14.007 g a mole of nitrogen; the handbooks print 7.14
    assert pytest.approx(2 * 50.0435 / 14.007, abs=1e-3) == ALKALINITY_PER_NITRIFIED
    assert pytest.approx(7.14, abs=0.01) == ALKALINITY_PER_NITRIFIED


def test_dose_stops_at_the_target():
    # 60 to 70 mg/L is a rise of pH by log10(70/60) = 0.067; no ammonia
    assert buffer_dose(60.0, 70.0, 3.0, 7.0, 0.0, 15.0, 0.02) == pytest.approx(30.0)
    assert buffer_dose(80.0, 70.0, 3.0, 7.0, 0.0, 15.0, 0.02) == 0.0


def test_dose_stops_at_the_rise_of_ph():
    # 40 * (10^0.2 - 1) = 23.396 mg/L, by hand
    assert buffer_dose(40.0, 200.0, 2.0, 7.0, 0.0, 15.0, 0.02) == pytest.approx(46.79, abs=0.005)


def test_dose_stops_at_the_unionized_limit():
    # worked by hand: 10 degC, pKa 9.7314; 2 mg/L TAN, limit 0.02 -> share 0.01 -> pH 9.7314 - log10(99) = 7.7358.
    # From pH 7.7 at 50 mg/L a rise of 0.0358 takes 50 * (10^0.0358 - 1) = 4.3 mg/L but for carbonate (1 % of it).
    dose = buffer_dose(50.0, 100.0, 1.0, 7.7, 2.0, 10.0, 0.02)
    assert dose == pytest.approx(4.3, rel=0.02)


def test_water_without_alkalinity_may_have_a_little():
    ph = ph_from_alkalinity(0.0, 10.0, 15.0)
    assert buffer_dose(0.0, 60.0, 2.0, ph, 1.0, 15.0, 0.02) == pytest.approx(2.0 * LEAST_STEP_MG_L)


def test_over_the_limit_nothing_is_given_whatever_the_alkalinity():
    share = unionized_fraction(8.4, 25.0)
    assert buffer_dose([0.0, 2.0, 50.0], 100.0, 2.0, 8.4, 1.01 * 0.05 / share, 25.0, 0.05).tolist() == [0.0, 0.0, 0.0]
    assert buffer_dose(20.0, 100.0, 2.0, 7.0, 1.0, 25.0, 0.0) == 0.0


WATER = (st.floats(0.0, 150.0), st.floats(0.5, 60.0), st.floats(0.0, 20.0), st.floats(0.0, 30.0), st.floats(0.005, 0.1))


@given(*WATER, st.floats(0.0, 200.0))
def test_after_the_dose_nothing_is_passed(alkalinity, dioxide, tan, celsius, limit, target):
    ph = float(ph_from_alkalinity(alkalinity, dioxide, celsius))
    dose = float(buffer_dose(alkalinity, target, 1.0, ph, tan, celsius, limit))
    assert dose >= 0.0
    assert alkalinity + dose <= max(target, alkalinity) + 1e-9
    after = float(ph_from_alkalinity(alkalinity + dose, carbon_dioxide(ph, alkalinity, celsius), celsius))
    # 0.001: twice the closed form's distance from the exact root
    if dose > LEAST_STEP_MG_L:
        assert after <= ph + MOST_PH_RISE + 0.001
    if dose > 0.0:
        assert tan * float(unionized_fraction(after, celsius)) <= limit * 10.0**0.001


@given(*WATER)
def test_the_ammonia_cap_is_met_not_only_kept(alkalinity, dioxide, tan, celsius, limit):
    # where only the ammonia cap is left, the dose brings un-ionized ammonia right to its limit
    ph = float(ph_from_alkalinity(alkalinity, dioxide, celsius))
    dose = float(buffer_dose(alkalinity, 1e9, 1.0, ph, tan, celsius, limit, most_ph_rise=9.0))
    after = float(ph_from_alkalinity(alkalinity + dose, carbon_dioxide(ph, alkalinity, celsius), celsius))
    assume(dose > 0.0 and alkalinity > 1.0 and after < 8.9)
    assert tan * float(unionized_fraction(after, celsius)) == pytest.approx(limit, rel=0.003)


@given(*WATER, st.floats(0.1, 20.0))
def test_more_ammonia_never_allows_more_base(alkalinity, dioxide, tan, celsius, limit, more):
    ph = float(ph_from_alkalinity(alkalinity, dioxide, celsius))
    here = buffer_dose(alkalinity, 120.0, 2.0, ph, tan, celsius, limit)
    assert buffer_dose(alkalinity, 120.0, 2.0, ph, tan + more, celsius, limit) <= here + 1e-9
    assert buffer_dose(alkalinity, 120.0, 2.0, ph, tan, celsius, 2.0 * limit) >= here - 1e-9
    assert buffer_dose(alkalinity, 120.0, 4.0, ph, tan, celsius, limit) == pytest.approx(2.0 * here)


def test_days_of_doses_reach_the_target():
    alkalinity, days = 0.0, 0
    while alkalinity < 79.9:
        ph = ph_from_alkalinity(alkalinity, 8.0, 12.0)
        alkalinity += float(buffer_dose(alkalinity, 80.0, 1.0, ph, 0.5, 12.0, 0.02))
        days += 1
    # 5 and 5 mg/L, then by 10^0.2 a day: 10 to 80 mg/L are 0.9 of pH, so 5 days more
    assert days == 7


def test_arrays_broadcast_and_nan_stays():
    arguments = [np.array([[20.0], [60.0]]), 80.0, 2.0, np.array([6.8, 7.2, 7.9]), 1.0, 15.0, 0.02, 0.2]
    whole = buffer_dose(*arguments)
    assert whole.shape == (2, 3)
    assert buffer_dose(20.0, 80.0, 2.0, 7.9, 1.0, 15.0, 0.02) == pytest.approx(whole[0, 2])
    for hit in range(len(arguments)):
        spoiled = [np.nan if number == hit else argument for number, argument in enumerate(arguments)]
        assert np.isnan(buffer_dose(*spoiled)).all()


CALCIUM = st.floats(0.0, 300.0)


@given(CALCIUM, st.floats(0.0, 300.0), st.floats(0.3, 60.0), st.floats(0.0, 35.0))
def test_chalk_dissolves_until_the_water_is_saturated(calcium, alkalinity, dioxide, celsius):
    ph = ph_from_alkalinity(alkalinity, dioxide, celsius)
    room = float(chalk_room(calcium, alkalinity, ph, celsius))
    before = calcite_saturation(calcium, alkalinity, ph, celsius)
    assert (room > 0.0) == (before < 0.0)
    if room > 0.0:
        gas = carbon_dioxide(ph, alkalinity, celsius)
        after = ph_from_alkalinity(alkalinity + room, gas, celsius)
        # 0.4004 g of calcium a gram of chalk; 0.003: twice the closed form's distance from the exact pH, doubled by its
        # square
        assert calcite_saturation(calcium + 0.40043 * room, alkalinity + room, after, celsius) == pytest.approx(
            0.0, abs=0.003
        )
        # room goes down with every gram
        assert chalk_room(calcium + 0.40043 * room, alkalinity + room, after, celsius) < 0.01 * room + 0.5


# Pure water and calcite in balance with air: 0.5 mmol/L of calcium at 25 degC (from memory of textbooks on carbonate
# water, open system at 10**-3.5 atm), which is 50 mg/L of alkalinity.
def test_chalk_in_open_water_as_in_textbooks():
    dioxide = 10.0**-3.5 * 10.0**-1.468 * 44010.0
    ph = ph_from_alkalinity(0.0, dioxide, 25.0)
    assert chalk_room(0.0, 0.0, ph, 25.0) == pytest.approx(47.0, abs=4.0)


def test_chalk_gives_nothing_to_hard_aerated_water():
    # the pH and alkalinity that chalk alone was once reckoned to keep
    assert chalk_room(100.0, 148.0, 8.2, 20.0) == 0.0
    assert np.isnan(chalk_room(np.nan, 50.0, 7.0, 20.0))
    assert chalk_room(20.0, np.array([[20.0], [40.0]]), np.array([6.5, 7.0, 7.5]), 20.0).shape == (2, 3)


BASE = Path(__file__).parent / "data" / "base.toml"


def test_what_the_day_uses_comes_on_top_of_the_rise():
    """A dose that only makes up for the day's use raises no pH, so nothing forbids it."""
    idle = buffer_dose(20.0, 80.0, 2.0, 7.0, 0.5, 26.0, 0.05)
    busy = buffer_dose(20.0, 80.0, 2.0, 7.0, 0.5, 26.0, 0.05, used_mg_l=15.0)
    assert busy == pytest.approx(idle + 2.0 * 15.0)
    # more than the water holds cannot be used, water above its target gets what would take it there, or nothing
    assert buffer_dose(20.0, 80.0, 2.0, 7.0, 0.5, 26.0, 0.05, used_mg_l=99.0) == pytest.approx(idle + 2.0 * 20.0)
    assert buffer_dose(90.0, 80.0, 2.0, 7.0, 0.5, 26.0, 0.05, used_mg_l=25.0) == pytest.approx(2.0 * 15.0)
    assert buffer_dose(90.0, 80.0, 2.0, 7.0, 0.5, 26.0, 0.05, used_mg_l=5.0) == 0.0
    # at the limit of un-ionized ammonia pH is held, and never raised
    at_limit = 1.01 * 0.05 / float(unionized_fraction(8.0, 26.0))
    assert buffer_dose(20.0, 80.0, 2.0, 8.0, at_limit, 26.0, 0.05, used_mg_l=15.0) == pytest.approx(2.0 * 15.0)
    assert buffer_dose(20.0, 80.0, 2.0, 8.0, at_limit, 26.0, 0.05) == 0.0


@pytest.mark.parametrize(
    ("salt", "least_mg_l"),
    [
        ("potassium_bicarbonate", 60.0),
        ("potassium_hydroxide", 50.0),
        ("calcium_hydroxide", 50.0),
    ],
)
def test_any_base_keeps_a_loop_that_nitrifies(salt, least_mg_l):
    """What the films use each day is given back each day, whatever the salt; it used to crash with all but one."""
    season = run_season(load_site(BASE), **{"loops.main.buffer": salt})
    assert season.cohorts["deaths"].sum() < 0.05 * 120
    assert season.loops["alkalinity_mg_l"].min() > least_mg_l


def test_chalk_gives_what_the_day_uses_as_far_as_the_water_holds_it():
    """It keeps the fish, and the water as full of lime as it can be: no fuller, whatever the films use."""
    season = run_season(load_site(BASE), **{"loops.main.buffer": "calcium_carbonate"})
    assert season.cohorts["deaths"].sum() < 0.05 * 120
    course = season.course
    alkalinity = course.alkalinity_mg_l[0, :, 0]
    index = calcite_saturation(course.calcium_mg_l[0, :, 0], alkalinity, course.ph[0, :, 0], 26.0)
    # the index of the tank stands up to 0.05 above that of the sump, where the chalk lies; the first week starts fuller
    assert np.abs(index[7:80]).max() < 0.06
    # a tenfold of calcium comes with nitrate, so ever less alkalinity goes with it
    assert (np.diff(alkalinity[7:80]) < 0.0).all()
    # water that starts with more lime than it can hold dissolves none until the films have used that up
    assert index[0] > 0.2
    assert course.buffer_g[0, :2, 0].sum() == 0.0
