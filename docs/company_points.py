"""What the model says to the published trials of company in fish_trials.csv: whom fish swallow, and how many.

A row is left out where the model has no answer: lake survivals, growth beside other fish, largest prey without the
hunter's length, and sizes preferred where smaller prey is at hand. `python docs/company_points.py` prints the table.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from fish_trials import is_for_fitting, tolerance, trials

from stocksim.fish.body import total_length_mm, weight_at_length_g
from stocksim.fish.company import longest_prey_share, longest_sibling_share
from stocksim.fish.growth import appetite_rate, grow_in_good_water
from stocksim.fish.hunting import hunters_want, sibling_hazard
from stocksim.library.feeds import load_feed
from stocksim.library.species import company_value, load_species

_HATCHED_G = {"common_carp": 0.002, "yellow_perch": 0.001}  # weight at first feeding, from memory


def _reach_percent(hunter: str, prey: str) -> float:
    """Longest prey over the hunter's length. [%]"""
    one = load_species(hunter)
    depth = company_value(load_species(prey), "body_depth")
    return 100.0 * float(longest_prey_share(one["prey_share_deep"], one["prey_share_slender"], depth))


def _wanted_percent(hunter: str, prey: str, weight_g: float, temperature_c: float, fed_share: float) -> float:
    """Live prey that a fish takes in a day over its own weight. [%]"""
    one = load_species(hunter)
    kj_g = load_feed(one.facts["fitted_with_feed"])["digestible_energy"]
    grams = float(appetite_rate(one.__getitem__, temperature_c)) * weight_g ** one["intake_exponent"]
    want = float(hunters_want(grams * kj_g, fed_share * grams * kj_g))
    return 100.0 * want / load_species(prey)["body_energy"] / weight_g


def _sibling_weights() -> float:
    """Hunter over the heaviest sibling that it swallows, tilapia of 30 mm, by weight. [-]"""
    one = load_species("nile_tilapia")
    share = longest_sibling_share(0.0, 30.0, company_value(one, "eats_own"))
    return float(share) ** -one["length_weight_slope"]


def _young_lost_percent(species: str, temperature_c: float, days: int) -> float:
    """Young eaten by siblings from first feeding on, fed in plenty. [%]"""
    one = load_species(species)
    feed = load_feed(one.facts["fitted_with_feed"])
    weight = grow_in_good_water(
        one.__getitem__, feed.__getitem__, _HATCHED_G[species], np.full(days, temperature_c)
    ).weight_g
    length = total_length_mm(
        weight, one["length_weight_intercept"], one["length_weight_slope"], one["farmed_condition"]
    )
    usual = one["size_spread"]
    loss, end = company_value(one, "sibling_loss"), company_value(one, "sibling_length")
    return 100.0 * float(1.0 - np.exp(-sibling_hazard(length, usual, usual, loss, end, 1.0).sum()))


def _walleye_a_day_percent() -> float:
    """Unfed young walleye of 60 mm eaten in a day. [%]"""
    one = load_species("walleye")
    usual, loss, end = one["size_spread"], company_value(one, "sibling_loss"), company_value(one, "sibling_length")
    return 100.0 * float(-np.expm1(-sibling_hazard(60.0, usual, usual, loss, end, 0.0)))


def _bass_percent() -> float:
    """Live bluegill that an unfed bass of 50 g takes in a day at 25 degC, over its weight (both ours, not told). [%]"""
    return _wanted_percent("largemouth_bass", "bluegill", 50.0, 25.0, 0.0)


def _catfish_with_tilapia_percent() -> float:
    """Fed catfish of 450 g that took a tilapia of 62 mm in the last day, at 20 degC (weights and water ours). [%]"""
    prey = load_species("nile_tilapia")
    each_g = float(weight_at_length_g(62.0, prey["length_weight_intercept"], prey["length_weight_slope"]))
    meals = _wanted_percent("channel_catfish", "nile_tilapia", 450.0, 20.0, 0.85) / 100.0 * 450.0 / each_g
    return 100.0 * (1.0 - float(np.exp(-meals)))


# key of the row, what it measures, what the model says, and the side on which missing it is unsafe
POINTS: tuple[tuple[str, str, Callable[[], float], str], ...] = (
    ("brown_trout_prey_max", "ratio", lambda: _reach_percent("rainbow_trout", "rainbow_trout"), "low"),
    (
        "striped_bass_attack_success", "ratio",
        lambda: 86.1 / _reach_percent("hybrid_striped_bass", "rainbow_trout"), "high",
    ),
    ("more_lmb_swallow_share", "ratio", lambda: _reach_percent("largemouth_bass", "bluegill"), "low"),
    ("lmb_swallow_tilapia", "ratio", lambda: _reach_percent("largemouth_bass", "nile_tilapia"), "low"),
    ("eperch_prey_max", "ratio", lambda: _reach_percent("yellow_perch", "yellow_perch"), "low"),
    ("eperch_prey_max_slope", "ratio", lambda: _reach_percent("yellow_perch", "yellow_perch") / 100.0, "low"),
    ("tilapia_cannibal_limit", "ratio", lambda: float(np.log10(_sibling_weights())), "high"),
    ("tilapia_cannibal_r50", "ratio", _sibling_weights, "high"),
    ("lmb_eats_bluegill_daily", "ration", _bass_percent, "low"),
    ("lmb_live_prey_daily", "ration", _bass_percent, "low"),
    ("catfish_eats_small_tilapia", "share of fish", _catfish_with_tilapia_percent, "low"),
    ("more_walleye_cannibals_low", "share of fish", _walleye_a_day_percent, "low"),
    ("koi_cannibalism_52d", "share of fish", lambda: _young_lost_percent("common_carp", 25.0, 52), "low"),
    ("eperch_cannibal_larvae", "share of fish", lambda: _young_lost_percent("yellow_perch", 20.0, 21), "low"),
)  # fmt: skip


def published(row: dict[str, str], measure: str) -> tuple[float, float]:
    """Least and greatest number that agrees with a row: its tolerance, or the range where it has no value."""
    return tolerance(measure, float(row["value"])) if row["value"] else (float(row["low"]), float(row["high"]))


def main() -> None:
    """Print every point: seen by a fit or kept from all, published, modelled, and the side of a miss."""
    rows = {row["key"]: row for row in trials()}
    for key, measure, model, unsafe in POINTS:
        low, high = published(rows[key], measure)
        said = model()
        side = "low" if said < low else "high" if said > high else ""
        verdict = "agrees" if not side else f"too {side}{', UNSAFE' if side == unsafe else ''}"
        kind = "F" if is_for_fitting(rows[key]["source"]) else "T"
        print(f"{kind} {key:30} {rows[key]['value'] or '-':>6} ({low:.3g}-{high:.3g}) ours {said:.3g}: {verdict}")


if __name__ == "__main__":
    main()
