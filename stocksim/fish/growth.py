"""One fish in good water, day by day."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.fish.appetite import appetite_hump, cold_ramp
from stocksim.fish.energetics import (
    AMMONIA_SHARE_OF_EXCRETION,
    PROTEIN_PER_NITROGEN,
    day_budget,
    day_needs,
    maintenance_rate,
    retained_energy,
)

Number = Callable[[str], float]

# A species grows well where it keeps this share of its best daily growth: it then needs at most some 40 % longer to a
# weight. Our choice: it holds most published good ranges (docs/company.md), and leaves room for a house's own swings.
GOOD_GROWTH_SHARE = 0.70
# Water that strains or kills is no good water, however well they still grow there: windows keep off it by this much,
# for water swings about its set point (ours, no source).
_OFF_LIMITS_C = 1.0
_STEP_C = 0.5  # grid of temperatures on which the best one is sought


class Growth(NamedTuple):
    """Course of one fish: arrays of shape (days,), the weight at the end of each day."""

    weight_g: NDArray[np.float64]
    eaten_g: NDArray[np.float64]
    oxygen_g: NDArray[np.float64]
    tan_g: NDArray[np.float64]
    spared_nitrogen_g: NDArray[np.float64]


def appetite_rate(species: Number, temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Eaten feed at full appetite by a 1 g fish.

    Parameters
    ----------
    species : callable
        Gives a species value by its key, as ``entry.__getitem__``.
    temperature_c : array_like, shape (...)
        Water temperature. [degC]

    Returns
    -------
    ndarray, shape (...)
        Appetite. [g/day]
    """
    return (
        species("intake_scale")
        * appetite_hump(
            temperature_c,
            species("appetite_optimum"),
            species("appetite_upper_zero"),
            species("appetite_q10"),
        )
        * cold_ramp(temperature_c, species("no_feeding_below"), species("cold_ramp_width"))
    )


def grow_in_good_water(
    species: Number,
    feed: Number,
    start_weight_g: float,
    temperature_c: ArrayLike,
    ration_fraction: float = 1.0,
    steps_per_day: int = 1,
    grams_like_pellets: float = 1.0,
) -> Growth:
    """Growth of one fish where neither oxygen nor ammonia holds it back.

    Parameters
    ----------
    species, feed : callable
        Give a value of the species and of the feed by its key.
    start_weight_g : float
        Weight on the first morning. [g] Above 0.
    temperature_c : array_like, shape (days,)
        Water temperature of each day. [degC]
    ration_fraction : float
        Share of full appetite eaten. [-] 0 for an unfed fish.
    steps_per_day : int
        Steps the day is cut into; results do not depend on it beyond the rule's own error.
    grams_like_pellets : float
        Grams of this food that full appetite takes for a gram of the pellets it was fitted with. [-]

    Returns
    -------
    Growth
        Weight [g], feed eaten, oxygen used and ammonia nitrogen excreted [g/day], and body nitrogen beyond that of the
        weight [g].
    """
    temperatures = np.asarray(temperature_c, float)
    rates = grams_like_pellets * appetite_rate(species, temperatures)
    needs_per_kg = maintenance_rate(
        temperatures,
        species("maintenance_at_20"),
        species("maintenance_q10_cold"),
        species("maintenance_q10_warm"),
    )
    energy = feed("digestible_energy")
    absorbed_nitrogen = feed("protein") * feed("protein_digestibility") / PROTEIN_PER_NITROGEN
    efficiency, fasting = species("growth_efficiency"), species("fasting_loss_fraction")
    body_energy, body_protein = species("body_energy"), species("body_protein")
    step = 1.0 / steps_per_day
    course = np.zeros((5, temperatures.size))
    weight = greatest = float(start_weight_g)
    spared = 0.0
    for day in range(temperatures.size):
        for _ in range(steps_per_day):
            needs = day_needs(
                weight, rates[day], species("intake_exponent"), needs_per_kg[day], ration_fraction,
                energy, efficiency, fasting, body_energy, step, greatest,
            )  # fmt: skip
            eaten = ration_fraction * needs.appetite_g
            budget = day_budget(
                eaten,
                needs.maintenance_kj,
                energy,
                absorbed_nitrogen,
                efficiency,
                fasting,
                body_energy,
                body_protein,
                weight,
                greatest,
                spared,
            )
            spared += step * float(budget.spared_change_g)
            weight = weight + step * float(budget.gain_g)
            greatest = max(greatest, weight)
            course[1:4, day] += step * np.array(
                [eaten, budget.oxygen_g, AMMONIA_SHARE_OF_EXCRETION * budget.excreted_nitrogen_g]
            )
        course[0, day], course[4, day] = weight, spared
    return Growth(*course)


class GrowthCurve(NamedTuple):
    """Temperatures that a species bears [degC], and daily growth there over its best [-]; arrays of shape (step,)."""

    temperature_c: NDArray[np.float64]
    share: NDArray[np.float64]


def growth_curve(species: Number, feed: Number, weight_g: float, grams_like_pellets: float = 1.0) -> GrowthCurve:
    """Daily growth at full appetite in good water, by temperature.

    Parameters
    ----------
    species, feed : callable
        Give a value of the species and of the feed by its key.
    weight_g : float
        Weight of the fish. [g] Above 0.
    grams_like_pellets : float
        As in `grow_in_good_water`. [-]

    Returns
    -------
    GrowthCurve
        Steps of 0.5 degC between the species' limits; shares are NaN where it grows at none.
    """
    low, high = species("temperature_low_limit"), species("temperature_high_stress")
    water = _STEP_C * np.arange(math.ceil(low / _STEP_C), math.floor(high / _STEP_C) + 1, dtype=np.float64)
    energy, efficiency = feed("digestible_energy"), species("growth_efficiency")
    fasting, body = species("fasting_loss_fraction"), species("body_energy")
    need = maintenance_rate(
        water, species("maintenance_at_20"), species("maintenance_q10_cold"), species("maintenance_q10_warm")
    )
    needs = day_needs(
        np.full(water.shape, weight_g), grams_like_pellets * appetite_rate(species, water), species("intake_exponent"),
        need, 1.0, energy, efficiency, fasting, body,
    )  # fmt: skip
    retained = retained_energy(needs.appetite_g * energy, needs.maintenance_kj, efficiency, fasting)
    gain: NDArray[np.float64] = np.asarray(retained / body, float)
    best = float(gain.max())
    return GrowthCurve(water, gain / best if best > 0.0 else np.full(gain.shape, math.nan))


def growth_window(curve: GrowthCurve) -> tuple[float, float]:
    """Ends of the water in which a species keeps `GOOD_GROWTH_SHARE` of its best daily growth.

    Parameters
    ----------
    curve : GrowthCurve
        Of `growth_curve`.

    Returns
    -------
    tuple of (float, float)
        Lowest and highest temperature. [degC] A degree or more inside its limits; all that it bears where it grows at
        none.
    """
    water = curve.temperature_c
    is_safe = (water >= water[0] + _OFF_LIMITS_C) & (water <= water[-1] - _OFF_LIMITS_C)
    good = water[is_safe & (curve.share >= GOOD_GROWTH_SHARE)]
    if not good.size:
        good = curve.temperature_c
    return float(good[0]), float(good[-1])
