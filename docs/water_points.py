"""What the model answers where published trials tell of nitrite, ammonia, oxygen, and of what fed and unfed fish use.

`POINTS` holds a row for each trial of `fish_trials.csv` that it can answer: key of the trial, measure (as in
`fish_trials.TOLERANCES`), a function that gives the model's value, and on which side of the published value a miss
would be unsafe. Nothing is fitted here, and `NOT_APART` names the trials whose paper gave the model that number. Left
out are trials of blood, of daily lows in ponds (fish there eat in the afternoon's oxygen), of levels or days not told,
and of nitrite on species whose lethal level is not known.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import NamedTuple

import numpy as np

from stocksim.fish.appetite import ammonia_appetite, oxygen_appetite
from stocksim.fish.growth import Growth, grow_in_good_water
from stocksim.fish.survival import death_hazard
from stocksim.library.feeds import load_feed
from stocksim.library.species import load_species
from stocksim.water.nitrite import CHLORIDE_PER_NITRITE, NITRITE_PER_NITROGEN, nitrite_lethal, nitrite_limit
from stocksim.water.oxygen import oxygen_saturation

# Deaths that a trial of some twenty fish would not tell from none, and what it would call all (ours).
FEW, ALL = 0.05, 0.99


class Point(NamedTuple):
    """A published trial and the model's answer to it."""

    key: str
    measure: str
    model: Callable[[], float]
    unsafe: str  # "high", "low", or "" where neither side is


def value(species: str, key: str) -> float:
    """A value of a species file."""
    return load_species(species)[key]


def grown(species: str, weight_g: float, temperature_c: float, days: int, share: float) -> Growth:
    """A fish that eats a share of its appetite in water of one temperature."""
    entry = load_species(species)
    feed = load_feed(entry.facts["fitted_with_feed"])
    return grow_in_good_water(entry.__getitem__, feed.__getitem__, weight_g, np.full(days, temperature_c), share)


def share_at_oxygen(species: str, oxygen_mg_l: float) -> float:
    """Share of appetite at an oxygen held all day."""
    entry = load_species(species)
    full = entry.number("oxygen_full_appetite", entry["oxygen_recommended"])
    return float(oxygen_appetite(oxygen_mg_l, entry["oxygen_lethal"], full)[0])


def gain_ratio(species: str, weight_g: float, temperature_c: float, days: int, low: float, high: float) -> float:
    """Gain at one oxygen over that at another. [mg/L each]"""
    gains = [
        grown(species, weight_g, temperature_c, days, share_at_oxygen(species, level)).weight_g[-1] - weight_g
        for level in (low, high)
    ]
    return float(gains[0] / gains[1])


def use_ratio(species: str, weight_g: float, temperature_c: float, low: float, high: float) -> float:
    """Oxygen used at one level over that at another, by a fish fed to appetite."""
    uses = [grown(species, weight_g, temperature_c, 1, share_at_oxygen(species, o)).oxygen_g[0] for o in (low, high)]
    return float(uses[0] / uses[1])


def per_kg_hour(species: str, weight_g: float, temperature_c: float, share: float, what: str) -> float:
    """Oxygen or ammonia nitrogen of a fish on the first day of a ration. [mg/kg/h]"""
    course = grown(species, weight_g, temperature_c, 1, share)
    return 1e6 / 24.0 * float(getattr(course, what)[0]) / weight_g


def saturation_mg_l(percent: float, temperature_c: float) -> float:
    """Oxygen at a share of saturation, at sea level."""
    return percent / 100.0 * float(oxygen_saturation(temperature_c, 0.0))


def full_oxygen_percent(species: str, temperature_c: float) -> float:
    """Share of saturation below which appetite falls."""
    entry = load_species(species)
    full = entry.number("oxygen_full_appetite", entry["oxygen_recommended"])
    return 100.0 * full / saturation_mg_l(100.0, temperature_c)


def lethal_nitrite(species: str, chloride_mg_l: float) -> float:
    """Nitrite nitrogen that kills half in four days. [mg/L]"""
    entry = load_species(species)
    protects = entry["chloride_protects"] > 0.0
    lethal, tested = entry.number("nitrite_lethal", math.inf), entry.number("nitrite_lethal_chloride", 0.0)
    limit = nitrite_limit(entry["nitrite_limit"], chloride_mg_l, protects)
    return float(nitrite_lethal(lethal, tested, chloride_mg_l, protects, limit))


def dead(species: str, days: float, nitrite: float = 0.0, chloride: float = 0.0, ammonia: float = 0.0,
         oxygen: float = math.inf) -> float:  # fmt: skip
    """Share that dies in days of one level. [mg/L each]"""
    entry = load_species(species)
    hazard = death_hazard(
        oxygen, entry["oxygen_lethal"], ammonia, entry["unionized_ammonia_acute"], nitrite,
        lethal_nitrite(species, chloride),
    )  # fmt: skip
    return -math.expm1(-days * float(hazard))


def where(rises: Callable[[float], float], goal: float, low: float, high: float) -> float:
    """Where a rising function reaches a goal, by halving."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rises(middle) < goal else (low, middle)
    return 0.5 * (low + high)


def highest_spared(kills: Callable[[float], float], tested: tuple[float, ...]) -> float:
    """The highest of the levels of a trial that takes no more than a few fish."""
    return max(level for level in tested if kills(level) <= FEW)


def ammonia_of_growth(species: str, weight_g: float, temperature_c: float, days: int, left: float) -> float:
    """Un-ionized ammonia nitrogen that leaves a share of the growth rate. [mg/L]"""
    entry = load_species(species)

    def lost(level: float) -> float:
        full, none = entry["unionized_ammonia_design"], entry["unionized_ammonia_acute"]
        share = float(ammonia_appetite(level, full, none)[0])
        rates = [math.log(grown(species, weight_g, temperature_c, days, s).weight_g[-1] / weight_g) for s in (share, 1)]
        return 1.0 - rates[0] / rates[1]

    return where(lost, 1.0 - left, 0.0, entry["unionized_ammonia_acute"])


_TROUT_NITRITE = tuple(ion / NITRITE_PER_NITROGEN for ion in (0.01, 0.2, 1.0, 3.0))  # levels told in the abstract
_TROUT_AMMONIA = (0.01 * 14 / 17.03, 0.07 * 14 / 17.03)  # least and greatest, which are all that is told

_NITRITE = (
    Point("wuertz_lc50", "concentration",
          lambda: where(lambda n: dead("walleye", 5.0, n, 40.0), 0.5, 0.1, 100.0), "high"),
    Point("wuertz_all24h", "concentration",
          lambda: where(lambda n: dead("walleye", 1.0, n, 40.0), ALL, 0.1, 100.0), "high"),
    Point("wuertz_chloride", "concentration",
          lambda: where(lambda c: -dead("walleye", 42.0, 10.0, c), -FEW, 1.0, 1000.0), "low"),
    Point("wuertz_methb", "concentration", lambda: float(nitrite_limit(value("walleye", "nitrite_limit"), 40.0, 1.0)),
          "high"),
    Point("catfish_cl_ratio16", "ratio", lambda: CHLORIDE_PER_NITRITE * 46.005 / 35.453, "low"),
    Point("trout_nitrite_28d_growth", "concentration",
          lambda: float(nitrite_limit(value("rainbow_trout", "nitrite_limit"), 10.0, 1.0)), "high"),
    Point("trout_nitrite_28d_surv", "concentration",
          lambda: highest_spared(lambda n: dead("rainbow_trout", 28.0, n, 10.0), _TROUT_NITRITE), "high"),
)  # fmt: skip

_AMMONIA = (
    Point("schram14_ec10", "concentration", partial(ammonia_of_growth, "walleye", 17.7, 22.0, 42, 0.9), "high"),
    *(
        Point(key, "concentration", partial(value, species, "unionized_ammonia_acute"), "high")
        for key, species in (
            ("roseboom77_bluegill", "bluegill"), ("more_bluegill_nh3_lc50", "bluegill"),
            ("roseboom77_catfish_22", "channel_catfish"), ("roseboom77_catfish_28", "channel_catfish"),
            ("oppenborn93_hybrid", "hybrid_striped_bass"), ("oppenborn93_striped", "hybrid_striped_bass"),
            ("roseboom77_bass_22", "largemouth_bass"), ("roseboom77_bass_30", "largemouth_bass"),
            ("abdalla98_23", "nile_tilapia"), ("abdalla98_28_45g", "nile_tilapia"), ("abdalla98_33", "nile_tilapia"),
            ("burkhalter75_trout_fry", "rainbow_trout"), ("more_walleye_nh3_lc50", "walleye"),
        )
    ),
    Point("thurston84_trout_5y", "concentration",
          lambda: highest_spared(lambda n: dead("rainbow_trout", 5 * 365.0, ammonia=n), _TROUT_AMMONIA), "high"),
    Point("more_til_nh3_none", "concentration", partial(value, "nile_tilapia", "unionized_ammonia_design"), "high"),
    *(
        Point(key, "concentration", partial(ammonia_of_growth, "nile_tilapia", 11.0, 28.0, 35, left), "high")
        for key, left in (("more_til_nh3_half", 0.5), ("more_til_nh3_all", 0.0))
    ),
)  # fmt: skip

_OXYGEN = (
    # 54 days old: about a gram (ours); 27 degC is that of the trial table
    Point("ott12_54d", "ratio", lambda: gain_ratio(
        "channel_catfish", 1.0, 27.0, 5, saturation_mg_l(50.0, 27.0), saturation_mg_l(90.0, 27.0)), "high"),
    Point("carp_growth_50", "concentration", partial(full_oxygen_percent, "common_carp", 28.0), "low"),
    Point("carp_o2_use_20", "ratio", lambda: use_ratio(
        "common_carp", 25.7, 28.0, saturation_mg_l(20.0, 28.0), saturation_mg_l(80.0, 28.0)), ""),
    Point("goldfish_03", "concentration",
          lambda: where(lambda o: -dead("goldfish", 2.0, oxygen=o), -0.5, 0.05, 5.0), "low"),
    Point("brake72_bass_cold", "concentration", partial(value, "largemouth_bass", "oxygen_recommended"), "low"),
    Point("glencross09_trout", "concentration", partial(value, "rainbow_trout", "oxygen_recommended"), "low"),
    Point("thurston81_trout_min", "concentration",
          lambda: where(lambda o: -dead("rainbow_trout", 4.0, oxygen=o), -FEW, 0.5, 9.0), "low"),
    Point("more_perch_o2_3_5", "ratio", partial(gain_ratio, "yellow_perch", 10.0, 20.0, 67, 3.5, 8.0), "high"),
    # rates go with the size to the power of -0.2: 32 g is the middle of 18-57 g
    Point("more_eperch_o2_fed_20", "ration", partial(per_kg_hour, "yellow_perch", 32.0, 20.0, 1.0, "oxygen_g"), "low"),
    Point("more_eperch_o2_starved_20", "ration", partial(per_kg_hour, "yellow_perch", 32.0, 20.0, 0.0, "oxygen_g"),
          "low"),
)  # fmt: skip

# weight not told in the table: 100 g (ours)
_TAN = tuple(
    Point(f"more_pikeperch_tan_{state}_{water}", "ration",
          partial(per_kg_hour, "walleye", 100.0, float(water), share, "tan_g"), "low")
    for state, share in (("fed", 1.0), ("starved", 0.0))
    for water in (20, 24)
)  # fmt: skip

# Kept from fits by the hash, but of papers that gave the number before the table was begun: agreement shows nothing.
NOT_APART = (
    "more_bluegill_nh3_lc50", "abdalla98_23", "abdalla98_28_45g", "abdalla98_33", "more_til_nh3_none",
    "more_til_nh3_half", "more_til_nh3_all",
)  # fmt: skip

POINTS: tuple[Point, ...] = (*_NITRITE, *_AMMONIA, *_OXYGEN, *_TAN)
