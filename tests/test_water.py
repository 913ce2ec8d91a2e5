"""Oxygen, ammonia, nitrification as functions: edges and directions. Printed numbers: test_published.py."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from stocksim.water import ammonia, carbonate, nitrification, oxygen

CELSIUS = st.floats(0.0, 35.0)


@given(CELSIUS, st.floats(0.0, 3000.0), st.floats(0.01, 5.0), st.floats(1.0, 500.0))
def test_saturation_falls_with_warmth_and_height(celsius, height, warmer, higher):
    here = oxygen.oxygen_saturation(celsius, height)
    assert here > 0.0
    assert oxygen.oxygen_saturation(celsius + warmer, height) < here
    assert oxygen.oxygen_saturation(celsius, height + higher) < here


@given(st.floats(5.0, 10.0), CELSIUS, st.floats(0.001, 1.0), st.floats(0.01, 5.0))
def test_unionized_share_rises_with_ph_and_warmth(ph, celsius, more, warmer):
    share = ammonia.unionized_fraction(ph, celsius)
    assert 0.0 < share < 1.0
    assert ammonia.unionized_fraction(ph + more, celsius) > share
    assert ammonia.unionized_fraction(ph, celsius + warmer) > share


@given(st.floats(6.0, 9.0), st.floats(20.0, 300.0), CELSIUS, st.floats(0.001, 0.5), st.floats(1.0, 100.0))
def test_carbon_dioxide_falls_with_ph_and_rises_with_alkalinity(ph, alkalinity, celsius, more, buffer):
    here = carbonate.carbon_dioxide(ph, alkalinity, celsius)
    assert here > 0.0
    assert carbonate.carbon_dioxide(ph + more, alkalinity, celsius) < here
    assert carbonate.carbon_dioxide(ph, alkalinity + buffer, celsius) > here


def test_unionized_share_is_half_at_the_pka():
    pka = 0.09018 + 2729.92 / (15.0 + 273.15)
    assert ammonia.unionized_fraction(pka, 15.0) == pytest.approx(0.5, abs=1e-12)


def test_device_gives_its_rating_in_empty_clean_water():
    # 20 degC, sea level, oxygen-free: the rating times alpha and beta, but for 9.09 against 9.092 (0.03 %)
    given_g = oxygen.device_exchange(500.0, 20.0) * oxygen.BETA_FISH_WATER * oxygen.oxygen_saturation(20.0)
    assert given_g == pytest.approx(500.0 * oxygen.ALPHA_FISH_WATER * oxygen.BETA_FISH_WATER, rel=5e-4)


@given(CELSIUS, st.floats(0.01, 5.0), st.floats(0.1, 1e4))
def test_nitrification_capacity_rises_with_warmth_and_surface(celsius, warmer, surface):
    here = nitrification.nitrification_capacity(surface, celsius)
    assert nitrification.nitrification_capacity(surface, celsius + warmer) > here > 0.0
    assert nitrification.nitrification_capacity(2.0 * surface, celsius) == pytest.approx(2.0 * here)


def test_cold_fade_has_no_step():
    below, above = nitrification.nitrification_capacity(1.0, [10.0 - 1e-9, 10.0 + 1e-9])
    assert below == pytest.approx(above, rel=1e-8)
    # the cautious end of the published factors below 10 degC
    eight, nine = nitrification.nitrification_capacity(1.0, [8.0, 9.0])
    assert nine / eight == pytest.approx(nitrification.THETA_COLD)


@given(st.floats(0.1, 1e4), st.floats(0.001, 50.0), st.floats(0.1, 1e4), st.floats(0.0, 15.0))
def test_oxygen_share_solves_the_beds_oxygen(capacity, tan, exchange, incoming_mg_l):
    share = float(nitrification.oxygen_share(capacity, tan, exchange, exchange * incoming_mg_l))
    k = nitrification.HALF_SATURATION_OXYGEN_MG_L
    full_use = nitrification.OXYGEN_PER_NITROGEN * capacity * tan / (nitrification.HALF_SATURATION_TAN_MG_L + tan)

    def missing(level: float) -> float:
        return exchange * (incoming_mg_l - level) - full_use * level / (k + level)

    level = brentq(missing, 0.0, incoming_mg_l, xtol=1e-14, rtol=1e-14) if incoming_mg_l > 0.0 else 0.0
    # the bracketing solver's own tolerance on the level, through d share / d level <= 1/k
    assert share == pytest.approx(level / (k + level), rel=1e-9, abs=1e-12)


@given(st.floats(0.0, 1e4), st.floats(0.0, 50.0), st.floats(0.1, 1e4), st.floats(0.0, 15.0), st.floats(0.0, 5.0))
def test_oxygen_share_is_a_share_and_rises_with_supply(capacity, tan, exchange, incoming_mg_l, more):
    share = nitrification.oxygen_share(capacity, tan, exchange, exchange * incoming_mg_l)
    assert 0.0 <= share < 1.0
    assert nitrification.oxygen_share(capacity, tan, exchange, exchange * (incoming_mg_l + more)) >= share - 1e-12
