"""Nitrite: what films take of it, and the shelter of chloride."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stocksim.fish.survival import death_hazard
from stocksim.water import nitrite
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, OXYGEN_PER_NITROGEN, nitrification_capacity
from stocksim.water.nitrite import (
    chloride_needed,
    nitrite_appetite,
    nitrite_capacity,
    nitrite_lethal,
    nitrite_limit,
    salt_for_chloride,
    sodium_added,
)

# molar masses, IUPAC abridged
NITROGEN, OXYGEN, SODIUM, CHLORINE = 14.007, 15.999, 22.990, 35.453


def test_constants_follow_from_molar_masses():
    # half a unit of the last digit written
    expected = {
        "NITRITE_PER_NITROGEN": ((NITROGEN + 2.0 * OXYGEN) / NITROGEN, 5e-4),
        "SALT_PER_CHLORIDE": ((SODIUM + CHLORINE) / CHLORINE, 5e-5),
        "SODIUM_PER_CHLORIDE": (SODIUM / CHLORINE, 5e-5),
        "OXYGEN_TO_NITRITE": (3.0 * OXYGEN / NITROGEN, 5e-4),
        "OXYGEN_TO_NITRATE": (OXYGEN / NITROGEN, 5e-4),
    }
    for name, (value, digit) in expected.items():
        assert getattr(nitrite, name) == pytest.approx(value, abs=digit), name
    both = nitrite.OXYGEN_TO_NITRITE + nitrite.OXYGEN_TO_NITRATE
    assert both == pytest.approx(OXYGEN_PER_NITROGEN, abs=5e-4)


def test_capacity_keeps_the_ratio_of_rafts():
    # rafts: 0.62 g nitrite N against 0.56 g TAN per m2 and day (from memory of Rakocy)
    assert nitrite_capacity(7.0, 23.0) / nitrification_capacity(7.0, 23.0) == pytest.approx(0.62 / 0.56, rel=1e-12)


@given(st.floats(0.01, 2.0), st.floats(5.0, 30.0))
def test_grown_film_keeps_nitrite_below_ammonia(tan, celsius):
    # what the first step makes, the second takes at a lower level: nitrite stands below TAN once both have grown
    made = nitrification_capacity(1.0, celsius) * tan / (HALF_SATURATION_TAN_MG_L + tan)
    share = made / nitrite_capacity(1.0, celsius)
    assert nitrite.HALF_SATURATION_NITRITE_MG_L * share / (1.0 - share) < tan


@given(st.floats(0.01, 10.0), st.floats(0.0, 1e4), st.floats(0.0, 1e3))
def test_chloride_shelters_some_and_never_harms(base, chloride, more):
    protected, bare = nitrite_limit(base, chloride, [True, False])
    assert bare == base
    assert base <= protected <= max(base, nitrite.MOST_NITRITE_MG_L)
    assert nitrite_limit(base, chloride + more, True) >= protected


def test_ten_to_one_is_of_the_ion():
    # Durborow et al. 1997: chloride to nitrite ten to one. At 65.68 mg/L of chloride that is 6.568 mg/L of nitrite, 2
    # as N
    assert nitrite_limit(0.5, 65.68, True) == pytest.approx(2.0, abs=5e-4)
    assert chloride_needed(2.0) == pytest.approx(65.68, abs=5e-3)
    # the insurance of 100 mg/L covers 3 mg/L as N; a rule read as nitrogen would allow 10
    assert nitrite_limit(0.5, 100.0, True) == pytest.approx(3.05, abs=5e-3)


def test_largemouth_bass_gets_nothing_from_chloride():
    # Tomasso 1986: chloride did not protect largemouth bass, channel catfish were the least resistant
    catfish, bass = nitrite_limit([0.3, 0.5], 150.0, [True, False])
    assert catfish > 1.0
    assert bass == 0.5


@given(st.floats(0.5, 20.0), st.floats(1.0, 60.0), st.floats(0.0, 1e3), st.floats(0.0, 1e3))
def test_lethal_nitrite_follows_chloride_from_that_of_its_test(lethal, tested, chloride, more):
    limit = 0.01
    for protects in (1.0, 0.0):
        here = nitrite_lethal(lethal, tested, chloride, protects, limit)
        assert nitrite_lethal(lethal, tested, tested, protects, limit) == pytest.approx(lethal, rel=1e-12)
        assert here <= nitrite_lethal(lethal, tested, chloride + more, protects, limit)
        # in less chloride than in the test it falls, for all; above it rises for the protected only
        if chloride < 0.9 * tested:
            assert here < lethal
        elif chloride > 1.1 * tested:
            assert here > lethal if protects else here == lethal
    # fish that take no nitrite up with chloride
    assert nitrite_lethal(lethal, 0.0, chloride, 0.0, limit) == lethal
    assert nitrite_lethal(math.inf, 0.0, chloride, 1.0, limit) == math.inf


def test_lethal_nitrite_is_as_published():
    # Wuertz et al. 2013: 240 mg/L of chloride kept 10 mg/L of nitrite nitrogen out of pikeperch, half of which died of
    # 6.1 at 40; no more chloride is counted on
    assert nitrite_lethal(6.1, 40.0, 240.0, 1.0, 0.5) > 3.0 * 10.0
    assert nitrite_lethal(6.1, 40.0, 5000.0, 1.0, 0.5) == nitrite_lethal(6.1, 40.0, 240.0, 1.0, 0.5)
    # Kroupova et al. 2008: trout at 10 mg/L of chloride, 28 days: none died of 0.304 mg/L
    lethal = nitrite_lethal(0.5, 1.0, 10.0, 1.0, 0.305)
    assert death_hazard(math.inf, 3.0, 0.0, 0.25, 0.304, lethal) * 28.0 < 0.01
    assert death_hazard(math.inf, 3.0, 0.0, 0.25, 0.913, lethal) * 28.0 > 0.05


def test_no_lethal_level_lies_below_what_is_called_safe():
    assert nitrite_lethal(6.1, 40.0, 0.0, 0.0, 0.55) == 5.0 * 0.55


@given(st.floats(0.05, 1.0), st.floats(5.0, 200.0), st.floats(0.0, 300.0), st.floats(0.0, 300.0))
def test_appetite_falls_from_the_caution_to_the_lethal_level(limit, over, one, other):
    lethal = limit * over
    low, high = sorted((one * limit, other * limit))
    shares = nitrite_appetite([low, high, limit, 0.5 * (limit + lethal), lethal], limit, lethal)
    assert 1.0 >= shares[0] >= shares[1] >= 0.0
    assert shares[2:] == pytest.approx([1.0, 0.5, 0.0], abs=1e-9)
    # not known: to five times the limit
    assert nitrite_appetite([limit, 3.0 * limit, 5.0 * limit], limit, math.inf) == pytest.approx([1.0, 0.5, 0.0])


@given(st.floats(0.05, 1.5), st.floats(0.0, 50.0))
def test_needed_chloride_just_covers_the_nitrite(level, chloride):
    target = float(chloride_needed(level))
    assert nitrite_limit(0.01, target, True) == pytest.approx(level, rel=1e-12)
    salt = salt_for_chloride(2.0, chloride, target)
    assert salt == pytest.approx(max(target - chloride, 0.0) * 2.0 * 1.6485, rel=1e-12)


def test_salt_dose_by_hand():
    # 100 mg/L of chloride in 1 m3 from none: 100 g of chloride, 164.85 g of salt (NaCl = 1.6485 Cl), 64.85 g of
    # sodium
    salt = salt_for_chloride(1.0, 0.0, 100.0)
    assert salt == pytest.approx(164.85, abs=5e-3)
    assert sodium_added(salt, 1.0) == pytest.approx(64.85, abs=5e-3)
    assert sodium_added(salt, 1.0) > nitrite.SODIUM_CAUTION_MG_L  # one insurance dose already needs the caution
    assert salt_for_chloride(1.0, 120.0, 100.0) == 0.0
