"""Points of the table of published trials that bear on growth, appetite and feeding in the cold.

Each is a `Check` whose id is the key of its row in `fish_trials.csv`. A row is here if the model can answer it: a
species or its kin on dry feed, weight at the start, days or a rate at that weight, and the temperature, told or, for
tanks, assumed in a range that stands beside it. `LEFT_OUT` names every other row of those topics and why. A row may be
seen by fits if the hash of its paper says so (`is_for_fitting`); the rest judge.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from check_points import Check, percent_of_weight
from fish_trials import is_for_fitting, tolerance, trials

Value = Callable[[Any], Any]
ROWS = {row["key"]: row for row in trials()}
# Temperatures that papers do not tell, of tanks kept for growth [degC]; the range is where such tanks usually are
# [ours]
WARM = "26 degC assumed, 24-28 [ours]"
BASS = "25 degC assumed, 23-27 [ours]"
PERCID = "22 degC assumed, 20-24 [ours]"
CAGES = "28 degC assumed as in E4, 25-30 [ours]"
CARP = "25 degC assumed, 22-28 [ours]"
# kJ in a gram of wet invertebrates and of a pellet, about 4 and 19 [ours], to tell a wet meal as pellets
WET_TO_PELLET = 4.0 / 19.0


def weight(start: float, temperature: float, days: int, ration: Any = 1.0) -> Value:
    """End weight. [g]"""
    return lambda fish: fish.growth(start, (temperature,), days, ration).end[0]


def rate(start: float, temperature: float, days: int, ration: Any = 1.0) -> Value:
    """Growth rate. [%/day]"""
    return lambda fish: 100.0 * np.log(fish.growth(start, (temperature,), days, ration).end[0] / start) / days


def conversion(start: float, temperature: float, days: int, ration: Any = 1.0) -> Value:
    """Eaten feed per gain. [-]"""

    def value(fish: Any) -> Any:
        run = fish.growth(start, (temperature,), days, ration)
        return run.eaten[0] / (run.end[0] - start)

    return value


def full_ration(weight_g: float, temperature: float) -> Value:
    """Feed eaten at full appetite at a weight. [% of weight a day]"""
    return lambda fish: 100.0 * fish.appetite(temperature) * weight_g ** (fish.number("intake_exponent") - 1.0)


def best_ration(start: float, temperature: float, days: int, percent: float) -> Value:
    """Full ration at the weight half way through a trial, had the published ration become fish at 1.1 to 1. [%/day]"""
    return full_ration(start * float(np.exp(0.01 * percent / 1.1 * 0.5 * days)), temperature)


def full_energy(weight_g: float, temperature: float) -> Value:
    """Digestible energy eaten at full appetite. [kJ per kg of fish a day]"""
    return lambda fish: 10.0 * fish.feed * full_ration(weight_g, temperature)(fish)


def best_temperature(weight_g: float, candidates: tuple[float, ...], days: int) -> Value:
    """Temperature of fastest growth, by a parabola about the best of half a degree's steps. [degC]"""
    grid = np.arange(candidates[0], candidates[-1] + 0.01, 0.5)

    def value(fish: Any) -> Any:
        rates = fish.sgr(weight_g, tuple(grid), days)
        top = np.clip(rates.argmax(axis=0), 1, len(grid) - 2)
        before, at, after = (np.take_along_axis(rates, (top + step)[None], 0)[0] for step in (-1, 0, 1))
        bend = np.where(np.abs(before - 2.0 * at + after) < 1e-12, -1e-12, before - 2.0 * at + after)
        return grid[top] + 0.5 * np.clip(0.5 * (before - after) / bend, -1.0, 1.0)

    return value


def gain_ratio(start: float, over: float, under: float, days: int, ration: Any = 1.0) -> Value:
    """Gain at one temperature over that at another. [-]"""

    def value(fish: Any) -> Any:
        end = fish.growth(start, (over, under), days, ration).end
        return (end[0] - start) / (end[1] - start)

    return value


def _rate_ratio(start: float, over: float, under: float, days: int) -> Value:
    """Growth rate at one temperature over that at another. [-]"""

    def value(fish: Any) -> Any:
        rates = fish.sgr(start, (over, under), days)
        return rates[0] / rates[1]

    return value


def _sex(sex: str, start: float, temperature: float, days: int) -> Value:
    return lambda fish: fish.growth(start, (temperature,), days, fish.number(f"appetite_{sex}")).end[0]


def _gmt(start: float, percent: float) -> Value:
    """Tilapia rations that followed each other in steps of a fortnight."""
    return rate(start, 28.0, 14, percent_of_weight(percent, 1))


def _point(
    key: str, what: str, value: Value, measure: str, told: str = "", trial: str = "", factor: float = 1.0,
    species: str = "", expect: float | None = None, unsafe: str = "low", between: tuple[float, float] | None = None,
    part: str = "", is_range: bool = False, is_fitted: bool = True,
) -> Check:  # fmt: skip
    """Check of a row; ``factor`` brings the row's numbers to the unit of ``value``, ``trial`` groups rows for a scale.

    With ``is_range`` the row's ends count and not its value. ``between`` is for a row that tells only a side, as "ate
    at 7 degC": there nothing is added for tolerance.
    """
    row = ROWS[key]
    published = float(row["value"]) * factor if row["value"] else None
    if expect is not None:
        published = expect
    if is_range:
        published = None
    if between is not None:
        published, (low, high) = None, between
        width = 0.5 * (tolerance(measure, between[0] or between[1])[1] - (between[0] or between[1]))
    elif published is None:
        ends = (float(row["low"]) * factor if row["low"] else 0.0), float(row["high"]) * factor
        low, high = tolerance(measure, ends[0])[0], tolerance(measure, ends[1])[1]
        width = 0.5 * (high - ends[1] if ends[0] == 0.0 else ends[0] - low)
    else:
        low, high = tolerance(measure, published)
        width = 0.0
    kin = f"; {row['fish']}" if row["fish"] else ""
    source = f"{row['source']} [{row['read']}]{kin}" + (f"; {told}" if told else "")
    return Check(
        f"{key} {part}".strip(), species or row["species"], what, value, published, low, high,
        is_fitted and is_for_fitting(row["source"]), source, trial,
        measure, width, unsafe,
    ).fed()  # fmt: skip


def _percent(percent: float) -> Any:
    return percent_of_weight(percent, 1)


TWO, THREE, FIVE = _percent(2.0), _percent(3.0), _percent(5.0)
ONE_TWO, ONE_SIX, ONE_ONE, ONE, HALF = _percent(1.2), _percent(1.6), _percent(1.1), _percent(1.0), _percent(0.5)
LBS = 100.0 / 15.0  # bass of one tank, 15 of them: grams of a tank to grams of a fish, times 0.01

BLUEGILL = (
    _point("bluegill_1_8g_11wk_low", "1.76 g, 77 d: end weight, g", weight(1.76, 26, 77), "weight", WARM, "Anderson"),
    _point("more_bluegill_eats_4c", "1.5 g (20-60 mm), 4 degC: full ration as pellets, % a day",
           full_ration(1.5, 4.0), "ration", "told as pellets by energy, 4 over 19 kJ/g [ours]", factor=WET_TO_PELLET),
    _point("more_bluegill_eats_4c", "ate at 4 degC: no feeding below, degC",
           lambda fish: fish.number("no_feeding_below"), "temperature", "only that they eat at 4", between=(0.0, 4.0),
           unsafe="high", part="limit"),
    _point("pks_eats_under_7", "a little below 7 degC it still eats: no feeding below, degC",
           lambda fish: fish.number("no_feeding_below"), "temperature", "only that it lies below 7", between=(0.0, 7.0),
           unsafe="high"),
    _point("hybrid_sunfish_15g_10wk", "15 g, 70 d: end weight, g", weight(15, 26, 70), "weight", WARM, "Webster",
           expect=15.0 * 3.65),
)  # fmt: skip
PERCH = (
    _point("eperch_10g_ration_1", "10 g, 84 d on 1 % a day: end weight, g", weight(10, 22, 84, ONE), "weight",
           PERCID, "feeding level"),
    _point("eperch_10g_ration_2", "10 g, 84 d on 2 % a day: end weight, g", weight(10, 22, 84, TWO), "weight",
           PERCID, "feeding level"),
    _point("eperch_10g_ration_3", "10 g, 84 d on 3 % a day, part left: end weight, g", weight(10, 22, 84, THREE),
           "weight", PERCID, "feeding level"),
    _point("perch_best_t_schneider", "20 g, 11.0-27.8 degC: best for growth, degC",
           best_temperature(20, (11, 27.8), 30), "temperature", unsafe=""),
    _point("eperch_18c_female_end", "12 g females, 18 degC, 100 d: end weight, g", _sex("females", 12, 18, 100),
           "weight"),
    _point("eperch_18c_male_end", "12 g males, 18 degC, 100 d: end weight, g", _sex("males", 12, 18, 100), "weight"),
    _point("eperch_18c_fcr", "12 g, 18 degC, 100 d: eaten feed per gain", conversion(12, 18, 100), "conversion"),
    _point("perch_1_7g_best_ration", "1.73 g, 23 degC, 28 d: full ration, % a day", best_ration(1.73, 23, 28, 4.5),
           "ration"),
    _point("eperch_80g_ration_0_5", "59 g, 56 d on 0.5 % a day: growth rate, %/day", rate(58.7, 22, 56, HALF),
           "growth rate", PERCID),
    _point("eperch_80g_ration_1_1", "59 g, 56 d on 1.1 % a day: growth rate, %/day", rate(58.7, 22, 56, ONE_ONE),
           "growth rate", PERCID),
    _point("black_crappie_best_t", "50 g: best for growth, degC", best_temperature(50, (15, 33), 30), "temperature",
           "weight assumed, 20-150 g [ours]; the page names no source, so no fit sees it", unsafe="", is_fitted=False),
    _point("white_crappie_grows_over_27", "50 g: warmest water with growth at full appetite, degC",
           lambda fish: _warmest(fish), "temperature", "white crappie in reservoirs; only that it lies above 27",
           between=(27.0, 45.0)),
)  # fmt: skip


def _warmest(fish: Any) -> Any:
    """Warmest water of half a degree's steps in which a fish of 50 g still grows."""
    grid = np.arange(15.0, 40.1, 0.5)
    rates = fish.sgr(50.0, tuple(grid), 3)
    return np.where(rates > 0.0, grid.reshape(-1, *[1] * (rates.ndim - 1)), 0.0).max(axis=0)


BASS_POINTS = (
    _point("more_lmb_12_7g_30c", "12.7 g, 30 degC, 28 d on 3 % a day: end weight, g", weight(12.7, 30, 28, THREE),
           "weight", "a ration of 3 %: full appetite was at least that", "Animals"),
    _point("lmb_8_150g_best_t", "35 g: best of 18, 25 and 30 degC, degC", best_temperature(35, (18, 30), 30),
           "temperature", "only three temperatures were tried", unsafe=""),
    _point("lmb_7c_eats", "20 g: no feeding below, degC", lambda fish: fish.number("no_feeding_below"), "temperature",
           "only that they eat at 7.1", between=(0.0, 7.1), unsafe="high"),
    _point("lmb_7c_feed_weekly", "20 g, 7.1 degC: full ration, % a day", full_ration(20, 7.1), "ration",
           "1 % once a week made them gain, and once in three days was offered; weight assumed 10-50 [ours]",
           between=(0.14, 0.33)),
    _point("lmb_7g_30c_daily", "7.2 g, 30 degC, 28 d: end weight of a fish, g", weight(7.2, 30, 28), "weight",
           trial="Animals", factor=1.0 / 15.0),
    _point("lmb_7g_30c_daily_fcr", "7.2 g, 30 degC, 28 d: eaten feed per gain", conversion(7.2, 30, 28), "conversion",
           trial="Animals"),
    _point("lmb_cai_10g_end", "10 g, 56 d: end weight, g", weight(10, 28, 56), "weight", CAGES),
    _point("lmb_cai_200g_end", "200 g, 84 d: end weight, g", weight(200, 28, 84), "weight", CAGES),
    _point("lmb_35c_intake", "105 g, 35 degC: full ration, % a day", full_ration(105, 35), "ration", unsafe=""),
)  # fmt: skip
CATFISH = (
    _point("cat_winter_intake", "450 g, 10 degC: full ration, % a day", full_ration(450, 10.0), "ration",
           "10 degC assumed for the winter's mean, 7-14 [ours]"),
    _point("cat_winter_coldest", "ate at 7 degC: no feeding below, degC",
           lambda fish: fish.number("no_feeding_below"), "temperature", "only that they eat at 7", between=(0.0, 7.0),
           unsafe="high"),
    _point("cat_stop_10", "stop feeding, degC", lambda fish: fish.number("no_feeding_below"), "temperature",
           "at and below 10 generally, but some ate at 7", is_range=True, unsafe="high"),
    _point("catfish_cycle_best", "20 g: best for growth, degC", best_temperature(20, (23, 35), 56), "temperature",
           "weight assumed, 5-50 g [ours]", unsafe=""),
    *(_point(f"black_bullhead_{t}c_gain", f"11 g, {t} degC, 63 d: growth rate, %/day", rate(11, t, 63), "growth rate",
             "middle of 6-20 g; the rate that its gain stands for", "Buttner", expect=100.0 * np.log(1.0 + gain) / 63.0)
      for t, gain in ((16, 0.223), (22, 0.434), (28, 1.245), (34, 0.298))),
    _point("bhd_eats_3", "caught prey at 3 degC: no feeding below, degC",
           lambda fish: fish.number("no_feeding_below"), "temperature", "only that they eat at 3", between=(0.0, 3.0),
           unsafe="high"),
)  # fmt: skip
TILAPIA = (
    _point("tilapia_tank_80d_gain", "7.7 g, 80 d: end weight, g", weight(7.7, 29, 80), "weight",
           "29 degC assumed, 27-31 [ours]", "Rahman", expect=7.7 + 132.23),
    _point("tilapia_growth_formula", "4.3 g, 22-34 degC: best for growth, degC", best_temperature(4.3, (22, 34), 21),
           "temperature", "only the shape is used: top near 28", expect=28.0, unsafe=""),
    _point("tilapia_growth_formula", "4.3 g: growth rate at 34 over 28 degC", _rate_ratio(4.3, 34, 28, 21), "ratio",
           "0.61 if the formula gives the logarithm of the rate, 0.77 if the rate", between=(0.61, 0.77), unsafe="",
           part="hot"),
    _point("tilapia_best_t_asgah", "20 g: best for growth, degC", best_temperature(20, (23, 32), 58), "temperature",
           "fed about 3 %; weight assumed [ours]", unsafe=""),
    _point("tilapia_best_t_tunisia", "2 g: best for growth, degC", best_temperature(2, (22, 34), 60), "temperature",
           "weight assumed, 1-10 g [ours]", unsafe=""),
    _point("tilapia_growth_30_35", "20 g on 5 % a day, 90 d: gain at 30 over 35 degC", gain_ratio(20, 30, 35, 90, FIVE),
           "ratio", "weight assumed, 5-50 g [ours]", species="nile_tilapia", unsafe="high"),
    _point("tilapia_gmt_ration_2", "37 g males, 2 % a day: growth rate, %/day", _gmt(37.2, 2.0), "growth rate", CAGES),
    _point("tilapia_gmt_ration_2_5", "49 g males, 2.5 % a day: growth rate, %/day", _gmt(48.9, 2.5), "growth rate",
           CAGES),
    _point("tilapia_gmt_ration_3", "66 g males, 3 % a day: growth rate, %/day", _gmt(65.7, 3.0), "growth rate", CAGES),
    _point("tilapia_gmt_ration_4", "90 g males, 4 % a day: growth rate, %/day", _gmt(89.5, 4.0), "growth rate", CAGES),
    _point("tilapia_gmt_fcr_4", "90 g males, 4 % a day: eaten feed per gain",
           conversion(89.5, 28, 14, _percent(4.0)), "conversion", CAGES),
)  # fmt: skip
_COLD_SALMON, _SALMON = "Koskela cold", "Koskela warm"
TROUT = (
    _point("trout_ras_38g_317d", "37.8 g, 317 d: end weight, g", weight(37.8, 15, 317), "weight",
           "15 degC assumed, 12-17 [ours]", "Arredondo"),
    _point("trout_9g_65d_fast", "9 g, 65 d, fast strain: end weight, g", weight(9, 17, 65), "weight",
           "17 degC likely, 15-18 [ours]", "strains"),
    _point("trout_9g_65d_slow", "9 g, 65 d, slow strain: end weight, g", weight(9, 17, 65), "weight",
           "17 degC likely, 15-18 [ours]", "strains"),
    _point("trout_cuberoot_rule", "50 g, 10 degC, 100 d by the rule: end weight, g", weight(50, 10, 100), "weight",
           "50 g, 10 degC, 100 d chosen to tell the rule as a weight [ours]", "Iwama",
           expect=(50.0**0.33 + 1.0) ** (1.0 / 0.33)),
    _point("trout_15c_12mo", "50 g, 15 degC, 150 d by its gain: end weight, g", weight(50, 15, 150), "weight",
           "its gain of 1.7 in the cube root per 1,000 degree-days told as a weight from 50 g on [ours]", "FAO",
           expect=(50.0 ** (1.0 / 3.0) + 1.7 * 2.25) ** 3),
    _point("trout_full_ration_best_t", "3 g: best for growth, degC", best_temperature(3, (6.9, 22.5), 25),
           "temperature", unsafe=""),
    _point("rbt_maint_ratio", "2 g: maintenance at 22.5 over 6.9 degC",
           lambda fish: fish.maintenance_percent(2.0, 22.5) / fish.maintenance_percent(2.0, 6.9), "ratio", unsafe=""),
    _point("trout_10g_best_ration", "9.99 g, 60 d: full ration, % a day", best_ration(9.99, 15, 60, 3.0), "ration",
           "15 degC assumed, 12-17 [ours]", "fingerling"),
    *(_point(f"salmon_sgr_{t}c", f"60 g, {t} degC, 42 d: growth rate, %/day", rate(60, t, 42), "growth rate",
             trial=_SALMON) for t in (11, 15, 23)),
    *(_point(f"salmon_intake_{t}c", f"60 g, {t} degC: energy eaten, kJ/kg/day", full_energy(60, t), "ration",
             trial=_SALMON) for t in (11, 17, 23)),
    *(_point(f"sal_feed_{t}", f"155 g, {t} degC: energy eaten, kJ/kg/day", full_energy(155, t), "ration",
             trial=_COLD_SALMON) for t in (2, 6)),
    *(_point(f"sal_sgr_{t}", f"155 g, {t} degC, 60 d: growth rate, %/day", rate(155, t, 60), "growth rate",
             trial=_COLD_SALMON) for t in (2, 6)),
    _point("sal_feed_zero", "lower limit of feeding, degC", lambda fish: fish.number("no_feeding_below"),
           "temperature", "extrapolated from 2-6 degC", unsafe="high"),
)  # fmt: skip
CARP_POINTS = (
    _point("carp_168g_24c_52d", "168 g, 24 degC, 52 d: end weight, g", weight(168, 24, 52), "weight",
           "92 % dry matter taken [ours]", "Schwarz"),
    _point("carp_168g_24c_93d", "168 g, 24 degC, 93 d: end weight, g", weight(168, 24, 93), "weight",
           "92 % dry matter taken [ours]", "Schwarz"),
    _point("carp_168g_24c_61d_lean", "168 g, 24 degC, 61 d, lean feed: end weight, g", weight(168, 24, 61),
           "weight", "92 % dry matter taken [ours]", "Schwarz"),
    _point("carp_168g_24c_106d_lean", "168 g, 24 degC, 106 d, lean feed: end weight, g",
           weight(168, 24, 106), "weight", "92 % dry matter taken [ours]", "Schwarz"),
    _point("carp_168g_24c_fcr1", "168 g, 24 degC, 52 d: eaten feed per gain",
           conversion(168, 24, 52), "conversion", "0.9 of dry matter, at 92 % dry matter [ours]",
           expect=0.9 / 0.92),
    _point("carp_stop_7", "stop feeding, degC", lambda fish: fish.number("no_feeding_below"), "temperature",
           unsafe="high"),
    _point("more_carp_102g_51d", "101.9 g, 51 d: end weight, g", weight(101.9, 22.5, 51), "weight",
           "22.5 degC assumed, 20-25 [ours]"),
    _point("carp_fry_ras_low", "1.5 g, 31 d: growth rate, %/day", rate(1.5, 25, 31), "growth rate", CARP),
    _point("carp_best_t_aston", "20 g, 20-35 degC: best for growth, degC", best_temperature(20, (20, 35), 60),
           "temperature", "weight assumed, 5-50 g [ours]", unsafe=""),
    _point("carp_1_5g_best_ration", "1.5 g, 42 d: full ration, % a day", best_ration(1.5, 25, 42, 7.5), "ration", CARP),
)  # fmt: skip
HYBRID_BASS = (
    _point("hsb_pond_29c_fcr", "121 g, 29.3 degC, to about 744 g: eaten feed per gain", conversion(121, 29.3, 110),
           "conversion", "110 d assumed, over 90 [ours]"),
    _point("hsb_pond_18wk_control", "91.1 g, 126 d: end weight, g", weight(91.08, 26, 126), "weight",
           "26 degC assumed for the ponds in their growing season, 23-29 [ours]", "Turano"),
    _point("hsb_phase2_sunshine", "40 g sunshine, 84 d on 3 % a day: end weight, g", weight(40.0, 25, 84, THREE),
           "weight", BASS),
    _point("hsb_phase2_palmetto", "39.7 g palmetto, 84 d on 3 % a day: end weight, g", weight(39.7, 25, 84, THREE),
           "weight", BASS),
    _point("hsb_phase3_sunshine", "177.5 g sunshine, 84 d: end weight, g", weight(177.5, 25, 84), "weight", BASS),
    _point("hsb_phase3_palmetto", "185.9 g palmetto, 84 d: end weight, g", weight(185.9, 25, 84), "weight", BASS),
    _point("hsb_wirtz_116g_sgr", "65.7 g, 52 d: growth rate, %/day", rate(65.7, 25, 52), "growth rate", BASS),
    _point("hsb_wirtz_183g_sgr", "127.7 g, 52 d: growth rate, %/day", rate(127.7, 25, 52), "growth rate", BASS),
    _point("hsb_wirtz_60g_sgr", "60.7 g, 69 d on 1 % a day: growth rate, %/day", rate(60.7, 25, 69, ONE),
           "growth rate", BASS),
    _point("hsb_wirtz_60g_fcr", "60.7 g, 69 d on 1 % a day: eaten feed per gain", conversion(60.7, 25, 69, ONE),
           "conversion", BASS),
)  # fmt: skip
WALLEYE = (
    _point("walleye_ras_85g_fm", "85 g, 274 d: end weight, g", weight(85, 22, 274), "weight", PERCID, "Davidson"),
    _point("walleye_ras_85g_fmf", "85 g, 274 d, no fishmeal: end weight, g", weight(85, 22, 274), "weight", PERCID,
           "Davidson"),
    _point("walleye_ras_fcr", "85 g, 274 d: eaten feed per gain", conversion(85, 22, 274), "conversion", PERCID,
           "Davidson"),
    _point("more_walleye_ration_2_5g", "3.2 g, 19 degC: full ration, % a day", full_ration(3.2, 19), "ration",
           "offered", "UW"),
    _point("more_walleye_ration_9_17g", "12.4 g, 19 degC: full ration, % a day", full_ration(12.4, 19), "ration",
           "offered", "UW"),
    *(_point(f"pikeperch_25g_ration_{str(p).replace('.', '_')}", f"25 g, 42 d on {p} % a day: end weight, g",
             weight(25, 22, 42, ration), "weight", PERCID + "; full appetite was at least the ration", "Zakes")
      for p, ration in ((1.2, ONE_TWO), (1.6, ONE_SIX), (2.0, TWO))),
    _point("pikeperch_28c_gain", "6.4 g, 28 degC, 56 d: end weight, g", weight(6.4, 28, 56), "weight",
           expect=6.4 + 14.4),
    _point("pikeperch_28c_intake", "6.4 g, 28 degC, 56 d: feed eaten, g",
           lambda fish: fish.growth(6.4, (28.0,), 56).eaten[0], "ration"),
    _point("pikeperch_28c_fe", "6.4 g, 28 degC, 56 d: eaten feed per gain", conversion(6.4, 28, 56), "conversion",
           expect=1.0 / 0.96),
    _point("pikeperch_maintenance", "60 g: maintenance ration, %/day",
           lambda fish: fish.maintenance_percent(60.0, 22.0), "ration", PERCID),
)  # fmt: skip
# Rows of growth, appetite and cold feeding that are no point here, by the reason
LEFT_OUT: dict[str, tuple[str, ...]] = {
    "the weight at the start, or of the fish, is not told": (
        "catfish_cage_graded", "catfish_raceway_fcr", "goldfish_8ppt_sgr", "goldfish_8ppt_intake",
        "hsb_palmetto_ras_low", "hsb_palmetto_ras_fcr",
        "striped_bass_20c_gain", "walleye_huh_22c_gain", "perch_huh_22c_gain",
        "crappie_9c_13wk_loss", "redear_9c_13wk_loss", "more_pikeperch_tan_fed_20", "more_pikeperch_tan_starved_20",
        "more_pikeperch_tan_fed_24", "more_pikeperch_tan_starved_24", "lmb_pond_year_fcr", "carp_tank_fcr_5pct",
    ),
    "below 1 g or above 1 kg at the start, outside the model's weights": (
        "koi_90d_gain", "goldfish_0_7g_1pct", "goldfish_fry_30d_gain", "hsb_pond_phase2_5mo", "carp_mirror_85d_high",
        "carp_mirror_85d_low", "carp_mirror_fcr", "red_tilapia_best_ration", "walleye_habituation_gain",
        "walleye_habituation_ration", "walleye_ras_egg_to_454g", "trout_3kg_fcr", "trout_3kg_intake",
    ),
    "ponds, or cages in them, without temperatures; ponds feed fish and lose feed": (
        "catfish_260g_pond_fcr", "hybrid_catfish_first_season_fcr", "hybrid_catfish_second_season_fcr",
        "crucian_cross_32g", "crucian_cross_44g", "crucian_cross_63g", "crucian_cross_fcr", "hsb_pond_15mo_sunshine",
        "hybrid_sunfish_20g_12wk", "hybrid_sunfish_20g_fcr", "lmb_pond_62g_end_high", "lmb_pond_62g_end_low",
        "lmb_pond_yoy_gain", "lmb_pond_yoy_fcr", "tilapia_cage_6mo", "walleye_pond_18mo_53p", "walleye_pond_fcr",
        "hybsun_winter_2to1",
    ),
    "days or ration are not told": ("hsb_pond_29c_end", "hsb_416g_fcr", "goldfish_14wk_gain"),
    "natural food, wet or of unknown moisture": (
        "black_crappie_ration_200mm", "white_crappie_ration_200mm", "bluegill_maintenance_23c", "perch_maintenance_23c",
        "trout_maint_22_5c", "trout_maint_6_9c", "rbt_maint_6_9", "blg_ice_stomach", "yp_ice_stomach", "pks_stomach_88",
        "lmb_winter_weight",
    ),
    "duckweed as food: answered by docs/feed_points.py": (
        "more_til_duckweed_20g", "til_lemna_best_25g", "til_lemna_best_45g", "til_lemna_best_75g",
        "til_lemna_20_sgr_ratio", "til_lemna_40_sgr_ratio",
    ),
    "the intake of fresh plants in duckweed.toml was set by it; several plants, five days at a time": (
        "til_plants_dry_intake", "til_plants_sgr",
    ),
    "fed a food that is no feed of the library (fish flesh, Azolla, dried duckweed)": (
        "trout_herring_dry_intake", "trout_herring_wet_ratio", "trout_herring_unused", "til_azolla_fresh_loss",
        "til_half_dried_duckweed",
    ),
    "natural food of fish that are no species of the library": (
        "gcarp_duckweed_absorbed", "gcarp_duckweed_retained", "gcarp_worms_retained", "hgcarp_hydrilla_wet",
        "btil_larvae_alone",
    ),
    "natural food, told as similar without a figure": ("trout_worm_slices",),
    "the model has no hunger, crowding or digestion that changes, of which the row tells": (
        "catfish_eod_extra_big", "catfish_eod_extra_small", "catfish_etd_extra_big", "hsb_pond_18wk_3_3",
        "hsb_pond_18wk_3_6", "hybrid_sunfish_catchup", "bluegill_1_8g_11wk_high", "carp_fry_ras_high",
        "rbt_digest_18g_7c", "rbt_digest_200g_7c", "lmb_7g_30c_2nd_day", "lmb_7g_30c_2nd_day_fcr",
    ),
    "no number of growth or appetite: a statement, activity, survival, or a claim of the authors": (
        "bhd_activity_7", "bhd_dormant_3", "bhd_jump_45", "cat_growth_poor", "cat_growth_zero", "cat_irregular_20",
        "cat_winter_vs_rule", "stb_growth_10", "lmb_intake_8", "wae_bank_weight", "wae_growth_zero",
        "black_bullhead_16c_survival", "black_bullhead_22c_survival", "black_bullhead_28c_survival",
        "walleye_ras_survival", "walleye_ras_22c_567g_days", "walleye_ongrow_fcr_rule", "perch_selected_line_growth",
        "perch_1_7g_best_retention",
    ),
    "overfed by rule: feed offered and not eaten": ("tilapia_tank_80d_fcr",),
    "gain nearly nil, so that feed per gain has no meaning": ("lmb_35c_fcr_137g",),
    "the same number is a point already": (
        "bluegill_25g_16wk_47p", "bluegill_25g_16wk_sgr", "bluegill_male_10mo", "hybrid_sunfish_male_10mo",
        "lmb_cai_100g_end", "walleye_ras_22c_22g", "lmb_7c_93d_least_feed", "catfish_stop_feeding",
    ),
}  # fmt: skip
# Trials whose scale the species' own is not drawn from, and why
OUTSIDE = {
    "Koskela warm": "salmon: the species has three trials of its own",
    "Koskela cold": "salmon: the species has three trials of its own",
    "Iwama": "wild stock on old feed; it gives the strain wild",
    "UW": "rations offered: fish of the raceway trial were offered 2.5-7.5 % a day and gained 0.87 %",
    "fingerling": "a ration offered",
}
# Trials on fixed rations, which tell only the least scale at which the ration is eaten
AT_LEAST = ("Zakes",)
# Points from which the multiplier of a strain is set, over the mean of the species' trials
STRAIN_POINTS: dict[str, dict[str, tuple[str, ...]]] = {
    "rainbow_trout": {
        "fast": ("trout_9g_65d_fast",), "slow": ("trout_9g_65d_slow",), "wild": ("trout_cuberoot_rule",),
    },
    "largemouth_bass": {
        "older": ("D8 15", "D8 18", "D8 21", "D8 24", "D8 26.8", "D8 30", "D8 33", "D9"),
        "modern": ("more_lmb_12_7g_30c", "lmb_7g_30c_daily"),
    },
    "walleye": {"older": ("L1",), "newer": ("walleye_ras_85g_fm", "walleye_ras_85g_fmf")},
}  # fmt: skip
TRIALS: tuple[Check, ...] = (
    *BLUEGILL, *PERCH, *BASS_POINTS, *CATFISH, *TILAPIA, *TROUT, *CARP_POINTS, *HYBRID_BASS, *WALLEYE,
)  # fmt: skip
