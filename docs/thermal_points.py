"""What the model says to published deaths by cold and heat, and to published rates of acclimation: rows of
`fish_trials.csv` that it can answer.

A row without a number, of a species or strain that the library has not, of a death that the model calls not known, or
whose time or acclimation is not told is left out.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY
from stocksim.fish.thermal import (
    acclimated_to,
    acclimation_rate,
    days_to_death,
    lethal_lines,
    lower_lethal_c,
    temperature_hazard,
    upper_lethal_c,
)
from stocksim.library.species import load_species

# Fish that are cooled or warmed within hours lose balance so far beyond what half outlive for four days [degC]: striped
# bass 3.0 and 3.7 (Cook et al. 2006), trout 2.8 (critical 29.0 and lethal 26.2 of two papers), tilapia in cold 1.6 to
# 4.4 (half in coma at 9.6 degC, lethal at 11.2 to 14.0); mean 3.1, rounded. The species files were made with it.
CRITICAL_BEYOND_C = 3.0


def hazards(species: str, water_c: list[float], begin_c: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Hazards of cold and of heat, day by day."""
    lines = lethal_lines(load_species(species).number)
    water = np.asarray(water_c, float)
    return temperature_hazard(water, acclimated_to(water, lines, begin_c), lines)


def percent_dead(species: str, water_c: list[float], begin_c: float | None = None, others: bool = False) -> float:
    """Fish dead of cold and heat after a course of water; with ``others`` of every day's deaths too. [%]"""
    hazard = np.sum(hazards(species, water_c, begin_c), axis=0) + others * BACKGROUND_DEATHS_PER_DAY
    return float(-100.0 * np.expm1(-hazard.sum()))


def percent_alive(species: str, water_c: list[float], begin_c: float | None = None, others: bool = False) -> float:
    """The rest of `percent_dead`. [%]"""
    return 100.0 - percent_dead(species, water_c, begin_c, others)


def killing_half(species: str, begin_c: float | None, days: int, is_cold: bool) -> float:
    """Water that kills half in a number of days, of fish that were used to ``begin_c``, or to that water. [degC]"""
    bears, kills = (25.0, -2.0) if is_cold else (12.0, 45.0)
    for _ in range(40):
        middle = 0.5 * (bears + kills)
        dead = percent_dead(species, [middle] * days, begin_c)
        bears, kills = (bears, middle) if dead > 50.0 else (middle, kills)
    return 0.5 * (bears + kills)


def losing_balance(species: str, used_c: float, is_cold: bool) -> float:
    """Water in which fish lose balance when cooled or warmed within hours, freezing at least. [degC]"""
    lines = lethal_lines(load_species(species).number)
    if is_cold:
        return max(float(lower_lethal_c(used_c, lines)) - CRITICAL_BEYOND_C, 0.0)
    return float(upper_lethal_c(used_c, lines)) + CRITICAL_BEYOND_C


def slope(of: Callable[[float], float], low_c: float, high_c: float) -> float:
    """Rise of what fish bear with a degree that they are used to. [degC/degC]"""
    return (of(high_c) - of(low_c)) / (high_c - low_c)


def days_to_be_used(old_c: float, new_c: float) -> float:
    """Days until 95 % of the way to a new temperature is gone, by the rate of midway. [day]"""
    return float(3.0 / acclimation_rate(old_c, new_c))


def mean_death_c(species: str, begin_c: float, water_c: list[float]) -> float:
    """Mean temperature at which fish of a cooling course die. [degC]"""
    cold, _ = hazards(species, water_c, begin_c)
    alive = np.concatenate([[1.0], np.exp(-np.cumsum(cold))])
    died = -np.diff(alive)
    return float(died @ np.asarray(water_c) / died.sum())


def days_to_half(species: str, water_c: float, begin_c: float) -> float:
    """Days until half are dead. [day]"""
    return float(days_to_death(np.sum(hazards(species, [water_c] * 365, begin_c), axis=0), 0.5))


def _critical(key: str, species: str, used_c: float, is_cold: bool) -> tuple[str, str, Callable[[], float], str]:
    return key, "temperature", partial(losing_balance, species, used_c, is_cold), "low" if is_cold else "high"


def _lethal(
    key: str, species: str, used_c: float | None, days: int, is_cold: bool
) -> tuple[str, str, Callable[[], float], str]:
    return key, "temperature", partial(killing_half, species, used_c, days, is_cold), "low" if is_cold else "high"


def _rate(key: str, old_c: float, new_c: float) -> tuple[str, str, Callable[[], float], str]:
    return key, "days", partial(days_to_be_used, old_c, new_c), "low" if new_c > old_c else "high"


def _slope(
    key: str, species: str, low_c: float, high_c: float, is_cold: bool
) -> tuple[str, str, Callable[[], float], str]:
    return key, "ratio", partial(slope, partial(losing_balance, species, is_cold=is_cold), low_c, high_c), ""


def _lower(species: str, used_c: float) -> float:
    return float(lower_lethal_c(used_c, lethal_lines(load_species(species).number)))


def _cold_over_heat() -> float:
    ends = (20.0, 30.0)
    cold, heat = (slope(partial(losing_balance, "channel_catfish", is_cold=side), *ends) for side in (True, False))
    return cold / heat


# row of the table, its measure, what the model says, and the side on which a miss is unsafe
POINTS: tuple[tuple[str, str, Callable[[], float], str], ...] = (
    # cold: loss of balance
    _critical("more_cat_ctmin_20", "channel_catfish", 20.0, True),
    _critical("cat_ctmin_25", "channel_catfish", 25.0, True),
    _critical("cat_ctmin_30", "channel_catfish", 30.0, True),
    _critical("lmb_ctmin_20", "largemouth_bass", 20.0, True),
    _critical("lmb_ctmin_25", "largemouth_bass", 25.0, True),
    _critical("lmb_ctmin_30", "largemouth_bass", 30.0, True),
    _critical("lmb_ctmin_amb24", "largemouth_bass", 24.0, True),
    _critical("lmb_ctmin_amb30", "largemouth_bass", 30.0, True),
    _critical("lmb_ctmin_heat24", "largemouth_bass", 24.0, True),
    _critical("lmb_ctmin_heat30", "largemouth_bass", 30.0, True),
    _critical("gold_ctmin_5", "goldfish", 5.0, True),
    _critical("gold_ctmin_15", "goldfish", 15.0, True),
    _critical("gold_ctmin_24", "goldfish", 24.0, True),
    _critical("gold_ctmin_25", "goldfish", 25.0, True),
    _critical("gold_ctmin_35", "goldfish", 35.0, True),
    # cold: deaths
    _lethal("banner73_bluegill_low_12", "bluegill", 12.1, 4, True),
    _lethal("banner73_bluegill_low_33", "bluegill", 32.9, 4, True),
    _lethal("cook06_il_5", "hybrid_striped_bass", 5.0, 3, True),
    _lethal("cook06_il_30", "hybrid_striped_bass", 30.0, 3, True),
    _lethal("hsb_lilt_sunshine_natural", "hybrid_striped_bass", 20.0, 4, True),
    _lethal("til_lt50_24h", "nile_tilapia", 28.0, 1, True),
    ("til_24h_12", "share of fish", partial(percent_alive, "nile_tilapia", [12.0], 28.0), "high"),
    ("til_24h_14", "share of fish", partial(percent_alive, "nile_tilapia", [14.0], 28.0), "high"),
    ("til_24h_16", "share of fish", partial(percent_alive, "nile_tilapia", [16.0], 28.0), "high"),
    ("til_24h_18", "share of fish", partial(percent_alive, "nile_tilapia", [18.0], 28.0), "high"),
    (
        "til_tad_mean", "temperature",
        partial(mean_death_c, "nile_tilapia", 20.0, [14.75, 12.25, 11.0, 10.0, 9.0, 8.0]), "low",
    ),
    (
        "lmb_northern_regimes", "share of fish",
        partial(percent_dead, "largemouth_bass", [20.0, 16.0, 12.0, 8.0, *[4.0] * 30], 20.0), "low",
    ),
    (
        "lmb_north_5d_2", "share of fish",
        partial(percent_dead, "largemouth_bass", [*np.arange(21.0, 2.0, -1.0), *[2.0] * 5], 21.0), "low",
    ),
    ("yp_fry_front", "share of fish", partial(percent_alive, "yellow_perch", [3.9, 3.9], 11.9), "high"),
    # heat: loss of balance
    _critical("currie98_ctmax_catfish", "channel_catfish", 30.0, False),
    _critical("currie98_ctmax_bass", "largemouth_bass", 30.0, False),
    _critical("currie98_ctmax_trout", "rainbow_trout", 20.0, False),
    # heat: deaths
    _lethal("seafwa67_26", "channel_catfish", 26.0, 4, False),
    _lethal("seafwa67_30", "channel_catfish", 30.0, 4, False),
    _lethal("more_cat_34_lethal", "channel_catfish", 34.0, 4, False),
    (
        "more_cat_32_survival", "share of fish",
        partial(percent_alive, "channel_catfish", [32.0] * 98, None, True), "high",
    ),
    _lethal("banner73_bluegill_up_12", "bluegill", 12.1, 4, False),
    _lethal("banner73_bluegill_up_33", "bluegill", 32.9, 4, False),
    _lethal("black53_bass_20", "largemouth_bass", 20.5, 1, False),
    _lethal("storms86_sudden", "largemouth_bass", 20.5, 4, False),
    _lethal("black53_trout_11", "rainbow_trout", 11.0, 1, False),
    _lethal("kaya78_trout_ultimate", "rainbow_trout", 24.5, 4, False),
    _lethal("bear07_trout_chronic", "rainbow_trout", None, 60, False),
    ("more_trout_25_14d", "days", partial(days_to_half, "rainbow_trout", 25.0, 11.2), "high"),
    _lethal("black53_perch_18", "yellow_perch", 18.0, 1, False),
    _lethal("black53_perch_23", "yellow_perch", 23.0, 1, False),
    _lethal("black53_carp_26", "common_carp", 26.0, 1, False),
    _lethal("sheng08_carp_uilt", "common_carp", 30.0, 4, False),
    _lethal("black53_blackbullhead_23", "brown_bullhead", 23.0, 1, False),
    _lethal("fishbase_bullhead", "brown_bullhead", 34.0, 4, False),
    _lethal("spotila79_brown_bullhead", "brown_bullhead", 36.0, 4, False),
    (
        "black_bullhead_34c_survival", "share of fish",
        partial(percent_alive, "brown_bullhead", [34.0] * 63, None, True), "high",
    ),
    _lethal("spotila79_goldfish", "goldfish", 36.0, 4, False),
    _lethal("cook06_iu_5", "hybrid_striped_bass", 5.0, 3, False),
    _lethal("cook06_iu_30", "hybrid_striped_bass", 30.0, 3, False),
    # acclimation
    *(
        _rate(key.format(f"{old:.0f}_{new:.0f}"), old, new)
        for keys, pairs in (
            (("bennett98_days_{}", "cat_gain_{}"), ((10.0, 20.0), (20.0, 30.0), (30.0, 35.0))),
            (("bennett98_days_{}", "cat_loss_{}"), ((20.0, 10.0), (30.0, 20.0), (35.0, 30.0))),
        )
        for key in keys
        for old, new in pairs
    ),
    _rate("cat_complete_12d", 34.0, 26.0),
    ("currie04_cycle_midpoint", "temperature", lambda: float(np.mean([20.0, 30.0])), ""),  # daily means are used
    _slope("bennett98_slope", "channel_catfish", 20.0, 30.0, False),
    _slope("kapshaj13_slope", "common_carp", 10.0, 30.0, False),
    _slope("cook06_slope", "hybrid_striped_bass", 5.0, 30.0, False),
    ("stb_lilt_slope", "ratio", partial(slope, partial(_lower, "hybrid_striped_bass"), 15.0, 30.0), ""),
    _slope("banner73_bluegill_slope", "bluegill", 12.1, 32.9, False),
    _slope("cat_ctmin_slope", "channel_catfish", 20.0, 30.0, True),
    _slope("lmb_ctmin_slope", "largemouth_bass", 20.0, 30.0, True),
    _slope("gold_slope_5_15", "goldfish", 5.0, 15.0, True),
    _slope("gold_slope_15_25", "goldfish", 15.0, 25.0, True),
    _slope("gold_slope_25_35", "goldfish", 25.0, 35.0, True),
    ("ctmin_slope_vs_ctmax", "ratio", _cold_over_heat, ""),
)  # fmt: skip
