"""Functions of water take arrays that broadcast, leave them as they were, and pass NaN on: one test for all of them."""

from __future__ import annotations

import numpy as np
import pytest

from stocksim.water import ammonia, buffering, carbonate, maturity, nitrification, nitrite, oxygen, solids, tolerance
from stocksim.water.steps import extrapolated

COLUMN, TALL = np.array([[0.2], [0.9]]), np.array([[1.0], [5.0]])
DAYS, CELSIUS = np.array([0.0, 4.0, 30.0]), np.array([2.0, 15.0, 28.0])
LEVEL, SHARE = np.array([0.5, 20.0, 300.0]), np.array([1e-5, 0.3, 1.0])
WIDE = np.array([[0.0, 9.0, 30.0], [1.0, 2.0, 3.0]])
# function of arrays, with arguments that broadcast to (2, 3)
FUNCTIONS = {
    "air_pressure": (oxygen.air_pressure, (np.array([[0.0, 500.0, 3000.0], [1.0, 2.0, -400.0]]),)),
    "oxygen_saturation": (oxygen.oxygen_saturation, (np.array([0.0, 20.0, 35.0]), np.array([[0.0], [2000.0]]))),
    "device_exchange": (oxygen.device_exchange, (np.array([[100.0], [700.0]]), np.array([5.0, 20.0, 30.0]))),
    "diffuser_standard_transfer": (oxygen.diffuser_standard_transfer, (WIDE,)),
    "surface_exchange_velocity": (oxygen.surface_exchange_velocity, (WIDE,)),
    "unionized_fraction": (ammonia.unionized_fraction, (np.array([[6.5], [8.5]]), np.array([0.0, 15.0, 30.0]))),
    "carbon_dioxide": (
        carbonate.carbon_dioxide,
        (np.array([[6.5], [8.5]]), np.array([20.0, 100.0, 200.0]), np.array([5.0, 15.0, 30.0])),
    ),
    "calcite_solubility": (lambda t, u: carbonate.calcite_solubility(t * u), (CELSIUS, COLUMN)),
    "calcite_saturation": (
        carbonate.calcite_saturation,
        (np.array([[5.0], [80.0]]), np.array([20.0, 100.0, 200.0]), np.array([6.5, 7.5, 8.5]), CELSIUS),
    ),
    "chalk_room": (
        buffering.chalk_room,
        (np.array([[5.0], [80.0]]), np.array([20.0, 60.0, 200.0]), np.array([6.5, 7.0, 8.5]), CELSIUS),
    ),
    "nitrification_capacity": (
        nitrification.nitrification_capacity, (np.array([[10.0], [0.0]]), np.array([4.0, 12.0, 28.0])),
    ),
    "exchange_share": (tolerance.exchange_share, (LEVEL, 10.0 * TALL, np.array([2.0, 1.0, 0.0]))),
    "oxygen_share": (
        nitrification.oxygen_share,
        (np.array([[50.0], [0.0]]), np.array([0.0, 1.0, 9.0]), np.array([20.0, 5.0, 1.0]), np.array([160.0, 9.0, 0.0])),
    ),
    "breakdown_rate": (lambda t, u: solids.breakdown_rate(t * u), (DAYS, COLUMN)),
    "mineralized_share": (solids.mineralized_share, (DAYS, 10.0 * COLUMN)),
    "fouled_capture": (solids.fouled_capture, (COLUMN, DAYS)),
    "denitrification_capacity": (solids.denitrification_capacity, (DAYS, COLUMN)),
    "denitrified": (
        lambda o, n, s: solids.denitrified(o, n, s).nitrogen_g, (DAYS, COLUMN, np.array([0.05, 0.3, 0.6])),
    ),
    "nitrite_capacity": (nitrite.nitrite_capacity, (LEVEL, 10.0 * TALL)),
    "nitrite_limit": (lambda base, chloride: nitrite.nitrite_limit(base, chloride, True), (LEVEL, TALL)),
    "nitrite_limit_bare": (lambda base, chloride: nitrite.nitrite_limit(base, chloride, False), (LEVEL, TALL)),
    "chloride_needed": (lambda level, other: nitrite.chloride_needed(level * other), (LEVEL, TALL)),
    "salt_for_chloride": (nitrite.salt_for_chloride, (TALL, LEVEL, np.array([100.0, 100.0, 100.0]))),
    "sodium_added": (nitrite.sodium_added, (LEVEL, TALL)),
    "oxidizer_growth": (
        lambda t, f, o, a: maturity.oxidizer_growth(t, f, o, a, "ammonia"),
        (CELSIUS, np.array([[0.1], [5.0]]), np.array([1.0, 8.0, 9.0]), 80.0),
    ),
    "ammonia_inhibition": (lambda t, u: maturity.ammonia_inhibition(t * u, "nitrite"), (CELSIUS, COLUMN)),
    "oxidizer_decay": (lambda t, u: maturity.oxidizer_decay(t * u), (CELSIUS, COLUMN)),
    "maturity_step": (maturity.maturity_step, (SHARE, np.array([[0.0], [0.5]]), 0.05, 1.0)),
    "maturity_mean": (maturity.maturity_mean, (SHARE, np.array([[0.0], [0.5]]), 0.05, 1.0)),
    "equilibrium_maturity": (
        maturity.equilibrium_maturity, (np.array([0.0, 0.04, 1.0]), np.array([[0.04], [0.5]])),
    ),
    "maturity_after": (
        lambda d, t: maturity.maturity_after(d, t, "nitrite"),
        (np.array([0.0, 30.0, 200.0]), np.array([[8.0], [25.0]])),
    ),
    "extrapolated": (lambda a, b: extrapolated(a, b, a + b), (CELSIUS, TALL)),
}  # fmt: skip


@pytest.mark.parametrize("name", FUNCTIONS)
def test_broadcasts_keeps_inputs_and_passes_nan_on(name):
    function, arguments = FUNCTIONS[name]
    before = [np.array(argument, float) for argument in arguments]
    whole = function(*arguments)
    assert whole.shape == (2, 3)
    for row, column in np.ndindex(2, 3):
        alone = function(*(float(np.broadcast_to(argument, (2, 3))[row, column]) for argument in arguments))
        # not bit for bit: powers of arrays and of numbers round the last digits differently
        assert float(alone) == pytest.approx(whole[row, column], rel=1e-12)
    for hit, (argument, kept) in enumerate(zip(arguments, before, strict=True)):
        np.testing.assert_array_equal(argument, kept)
        spoiled = [each if number != hit else np.full_like(each, np.nan) for number, each in enumerate(before)]
        assert np.isnan(function(*spoiled)).all()
