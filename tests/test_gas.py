"""Carbon dioxide exchange, falling water and fouling."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from small_sites import build, one_tank

from stocksim import run_season
from stocksim.water.carbonate import CARBON_DIOXIDE_G_MOL, carbon_dioxide_saturation
from stocksim.water.gas import (
    OXYGEN_TAKEN,
    SOLUBILITY_RATIO,
    SURFACE_SHARE,
    bubble_share,
    carbon_dioxide_exchange,
    diffuser_fouling,
    water_drop_exchange,
)
from stocksim.water.oxygen import DIFFUSER_KG_PER_KWH, oxygen_saturation


def test_surface_share_lies_among_the_schmidt_numbers():
    # oxygen and carbon dioxide in fresh water: Wanninkhof 1992 (from memory) and Raymond et al. 2012 (carbon dioxide
    # read in public code, oxygen from memory); exponents 1/2 and 2/3
    t = np.array([0.0, 10.0, 20.0, 30.0])
    pairs = [
        ((1800.6, -120.10, 3.7818, -0.047608), (1911.1, -118.11, 3.4527, -0.041320)),
        ((1568.0, -86.04, 2.142, -0.0216), (1742.0, -91.24, 2.208, -0.0219)),
    ]
    shares = [
        (np.polyval(oxygen[::-1], t) / np.polyval(dioxide[::-1], t)) ** exponent
        for oxygen, dioxide in pairs
        for exponent in (0.5, 2.0 / 3.0)
    ]
    assert np.min(shares) < SURFACE_SHARE < np.max(shares)
    assert pytest.approx(np.mean(shares), abs=0.02) == SURFACE_SHARE


def test_solubility_ratio_is_that_of_our_own_saturations():
    kelvin = 293.15
    vapor = np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)
    oxygen = oxygen_saturation(20.0) / 31.998 / (0.20946 * (1.0 - vapor))
    dioxide = carbon_dioxide_saturation(20.0, 0.0, 1e6) / CARBON_DIOXIDE_G_MOL
    # printed to three digits; the virial term of oxygen is 0.1 %
    assert dioxide / oxygen == pytest.approx(SOLUBILITY_RATIO, rel=0.003)


def test_oxygen_taken_agrees_with_the_diffusers_efficiency():
    # 70 L/min for 60 W (common practice): 1.2 g/L air, 23.2 % oxygen by mass; rounded to half a percent
    given_kg_per_kwh = 70.0 * 60.0 * 1.2 * 0.232 / 1000.0 / 0.060
    assert DIFFUSER_KG_PER_KWH / given_kg_per_kwh == pytest.approx(OXYGEN_TAKEN, abs=0.0025)


@pytest.mark.parametrize("taken", [0.01, 0.035, 0.10])
def test_bubble_share_against_a_bubble_followed_upwards(taken):
    # gas in the bubble (parts of saturation) in water free of oxygen and full of carbon dioxide, stepped along its way;
    # oxygen conductance such that `taken` of it is gone at the top
    oxygen_rate = -np.log(1.0 - taken)

    def climb(_, gas):
        return [-oxygen_rate * gas[0], SURFACE_SHARE * SOLUBILITY_RATIO * oxygen_rate * (1.0 - gas[1])]

    top = solve_ivp(climb, (0.0, 1.0), [1.0, 0.0], rtol=1e-9, atol=1e-12).y[:, -1]
    # volume of water brought to balance per volume of air: what changed over the solubility
    ratio = (top[1] / SOLUBILITY_RATIO) / (1.0 - top[0])
    assert bubble_share(taken) == pytest.approx(ratio, rel=1e-6)


@given(st.floats(0.0, 0.5), st.floats(0.001, 0.4))
def test_deeper_bubbles_strip_less(taken, more):
    assert 0.0 < bubble_share(taken + more) < bubble_share(taken) <= SURFACE_SHARE + 1e-6


def test_bubbles_hardly_used_are_like_a_surface():
    assert bubble_share(0.0) == pytest.approx(SURFACE_SHARE, rel=1e-6)


@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4))
def test_exchange_is_a_sum_and_stones_strip_less_than_surfaces(surface, device):
    both = carbon_dioxide_exchange(surface, device)
    assert both == pytest.approx(carbon_dioxide_exchange(surface, 0.0) + carbon_dioxide_exchange(0.0, device))
    assert both <= surface + device
    assert carbon_dioxide_exchange(0.0, device) <= carbon_dioxide_exchange(device, 0.0)


def test_drop_by_hand():
    # h 0.5 m, 20 degC, a 1, b 0.8: r = 1 + 0.38*0.8*0.5*0.945*1.92 = 1.27579; 10 m3/day * (1 - 1/r) = 2.1617
    assert water_drop_exchange(10.0, 0.5, 20.0) == pytest.approx(2.1617, abs=5e-5)


@given(
    st.one_of(st.just(0.0), st.floats(1e-6, 1e4)),  # at a flow of the smallest doubles the exchange rounds to nothing
    st.floats(0.0, 3.0), st.floats(0.0, 30.0), st.floats(0.01, 0.5), st.floats(0.1, 5.0),
)  # fmt: skip
def test_drop_rises_with_height_and_warmth_and_never_passes_the_flow(flow, drop, celsius, higher, warmer):
    here = water_drop_exchange(flow, drop, celsius)
    assert 0.0 <= here <= flow
    assert water_drop_exchange(flow, drop + higher, celsius) >= here
    assert water_drop_exchange(flow, drop, celsius + warmer) >= here
    assert water_drop_exchange(flow, 0.0, celsius) == 0.0


def test_clean_water_gains_more_than_foul():
    gains = [float(water_drop_exchange(10.0, 0.4, 15.0, quality)) for quality in (0.65, 1.0, 1.6, 1.8)]
    assert gains == sorted(gains)
    assert gains[0] < gains[-1]


@given(st.floats(0.0, 240.0), st.floats(0.1, 24.0))
def test_fouling_falls_from_one_towards_a_half(months, more):
    assert diffuser_fouling(0.0) == 1.0
    assert 0.5 <= diffuser_fouling(months + more) < diffuser_fouling(months) <= 1.0
    # the docstring's 3 % in the first month
    assert 1.0 - diffuser_fouling(1.0) == pytest.approx(0.03, abs=0.001)


def test_arrays_broadcast_and_nan_stays():
    rows, columns = np.array([[1.0], [20.0]]), np.array([0.1, 0.5, 1.0])
    assert water_drop_exchange(rows, columns, 15.0).shape == (2, 3)
    assert carbon_dioxide_exchange(rows, columns).shape == (2, 3)
    assert water_drop_exchange(20.0, 0.5, 15.0) == pytest.approx(water_drop_exchange(rows, columns, 15.0)[1, 1])
    for value in (
        water_drop_exchange(np.nan, 0.5, 15.0),
        water_drop_exchange(1.0, np.nan, 15.0),
        water_drop_exchange(1.0, 0.5, np.nan),
        carbon_dioxide_exchange(np.nan, 1.0),
        carbon_dioxide_exchange(1.0, np.nan),
        bubble_share(np.nan),
        diffuser_fouling(np.nan),
    ):
        assert np.isnan(value)


def test_a_fall_and_clean_stones_bring_a_site_more_oxygen():
    def worst(months: float = 0.0, **loop: str) -> float:
        tables = one_tank(count=60, power_w=20.0, days=20, **loop)
        tables["tanks"]["one"]["oxygen_supply"]["uncleaned_months"] = months
        return float(run_season(build(tables)).tanks["oxygen_mg_l"].min())

    assert worst(return_drop="50 cm") > worst(return_drop="20 cm") > worst() > worst(months=12.0)
