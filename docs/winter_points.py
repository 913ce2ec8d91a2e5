"""Published winters and feeding in the cold beside the model: ``python docs/winter_points.py`` prints them.

Rows of `fish_trials.csv`. What a source does not tell is ours and stands with the point. Rows whose number a species
file took over as it is (its feeding stop) are no test and left out, as are those of fish, food or water that the model
does not know.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from fish_trials import is_for_fitting, tolerance, trials

from stocksim.fish.body import weight_at_length_g
from stocksim.fish.growth import appetite_rate, grow_in_good_water
from stocksim.fish.wintering import winter_losses
from stocksim.library.feeds import load_feed
from stocksim.library.species import load_species

Model = Callable[[], float]
PERCH_MM = (40.0, 50.0, 60.0, 70.0, 80.0)  # young of the year in autumn (ours)
BASS_MM = (70.0, 85.0, 100.0, 115.0, 130.0, 145.0, 160.0)  # the trial's 70-160 mm, evenly (ours)
# winters of 45, 40 and 33 degrees north: water [degC] and days (ours; the abstract tells neither)
BASS_WINTERS = {"high": (4.0, 150), "mid": (5.0, 120), "low": (9.0, 90)}


def standard_g(name: str, length_mm: float) -> float:
    """Weight of a wild fish of a length, by its standard weight. [g]"""
    species = load_species(name)
    return float(weight_at_length_g(length_mm, species["length_weight_intercept"], species["length_weight_slope"]))


def dead_percent(name: str, start_weight_g: float, water_c: float, days: int, fraction: float) -> float:
    """Share dead of hunger and every day, fed this share of appetite. [%]"""
    species = load_species(name)
    feed = load_feed(species.facts["fitted_with_feed"])
    water = np.full(days, water_c)
    return 100.0 * winter_losses(species.__getitem__, feed.__getitem__, start_weight_g, water, fraction)


def alive_percent(name: str, start_weight_g: float, water_c: float, days: int) -> float:
    """Share alive after hunger and every day, on full appetite. [%]"""
    return 100.0 - dead_percent(name, start_weight_g, water_c, days, 1.0)


def lost_percent(name: str, start_weight_g: float, water_c: float, days: int, fraction: float = 0.0) -> float:
    """Weight lost. [% of start weight]"""
    return 100.0 * (1.0 - _end(name, start_weight_g, water_c, days, fraction) / start_weight_g)


def growth_percent_day(name: str, start_weight_g: float, water_c: float, days: int) -> float:
    """Growth rate on full appetite. [%/day]"""
    return float(100.0 * np.log(_end(name, start_weight_g, water_c, days, 1.0) / start_weight_g) / days)


def eaten_percent_day(name: str, weight_g: float, water_c: float) -> float:
    """Full appetite for the pellets it was fitted with. [% of weight a day]"""
    species = load_species(name)
    rate = float(appetite_rate(species.__getitem__, water_c))
    return 100.0 * rate * weight_g ** (species["intake_exponent"] - 1.0)


def no_growth_c(name: str, weight_g: float) -> float:
    """Water below which a fish on full appetite loses weight, to a tenth. [degC]"""
    return next(float(t) for t in np.arange(0.0, 30.0, 0.1) if growth_percent_day(name, weight_g, t, 5) > 0.0)


def _end(name: str, start_weight_g: float, water_c: float, days: int, fraction: float) -> float:
    species = load_species(name)
    feed = load_feed(species.facts["fitted_with_feed"])
    run = grow_in_good_water(
        species.__getitem__, feed.__getitem__, start_weight_g, np.full(days, water_c), fraction
    )  # fmt: skip
    return float(run.weight_g[-1])


def perch_dead(fraction: float) -> float:
    """Young perch dead after 150 days at 4 degC (both ours), over lengths of 40-80 mm. [%]"""
    return float(
        np.mean([dead_percent("yellow_perch", standard_g("yellow_perch", mm), 4.0, 150, fraction) for mm in PERCH_MM])
    )


def bass_alive(fractions: tuple[float, ...], winters: tuple[str, ...] = tuple(BASS_WINTERS)) -> float:
    """Young bass alive after simulated winters, over lengths of 70-160 mm. [%]"""
    dead = [
        dead_percent("largemouth_bass", standard_g("largemouth_bass", mm), *BASS_WINTERS[winter], fraction)
        for mm in BASS_MM
        for winter in winters
        for fraction in fractions
    ]
    return float(100.0 - np.mean(dead))


def sunfish_ratio() -> float:
    """Gain of hybrid sunfish over bluegill of 1 g (ours), 112 days at 10.4 degC, fed. [-]"""
    gains = [_end(name, 1.0, 10.4, 112, 1.0) - 1.0 for name in ("hybrid_sunfish", "bluegill")]
    return gains[0] / gains[1]


def salmon_kj(water_c: float) -> float:
    """Eaten by trout of 150 g at full appetite, as pellets of 22 kJ/g. [kJ/kg/day]"""
    return eaten_percent_day("rainbow_trout", 150.0, water_c) * 10.0 * 22.0


def ends_eating_c(name: str) -> float:
    """Water in which the model's appetite ends. [degC]"""
    return load_species(name)["no_feeding_below"]


# key of the row, what it measures (`fish_trials.TOLERANCES`), the model's number in its unit, and which side is unsafe
POINTS: tuple[tuple[str, str, Model, str], ...] = (
    ("more_perch_winter_starved", "share of fish", lambda: perch_dead(0.0), "low"),
    ("more_perch_winter_fed", "share of fish", lambda: perch_dead(1.0), "low"),
    ("lmb_winter_starved", "share of fish", lambda: bass_alive((0.0,)), "high"),
    ("lmb_winter_fed", "share of fish", lambda: bass_alive((1.0,)), "high"),
    ("lmb_winter_high", "share of fish", lambda: bass_alive((0.0, 1.0), ("high",)), "high"),
    ("lmb_winter_mid", "share of fish", lambda: bass_alive((0.0, 1.0), ("mid",)), "high"),
    ("lmb_winter_low", "share of fish", lambda: bass_alive((0.0, 1.0), ("low",)), "high"),
    ("lmb_7c_93d_survival", "share of fish", lambda: alive_percent("largemouth_bass", 19.7, 7.1, 93), "high"),
    # 2 g and 100 days at 12 degC are ours
    ("yp_al_survival", "share of fish", lambda: alive_percent("yellow_perch", 2.0, 12.0, 100), "high"),
    ("more_lmb_2g_unfed_deaths", "share of fish", lambda: dead_percent("largemouth_bass", 2.2, 3.2, 56, 0.0), "low"),
    ("more_lmb_2g_unfed_loss", "weight lost", lambda: lost_percent("largemouth_bass", 2.2, 3.2, 56), "low"),
    ("lmb_unfed_5g", "weight lost", lambda: lost_percent("largemouth_bass", 5.1, 4.0, 70), "low"),
    ("lmb_unfed_33g", "weight lost", lambda: lost_percent("largemouth_bass", 33.2, 3.6, 84), "low"),
    # 30 g, unfed, 150 days at 4 degC are ours
    ("saugeye_pool", "share of fish", lambda: dead_percent("walleye", 30.0, 4.0, 150, 0.0), "low"),
    ("wae_bank_1", "share of fish", lambda: alive_percent("walleye", 52.0, 7.6, 140), "high"),
    ("wae_bank_2", "share of fish", lambda: alive_percent("walleye", 52.0, 8.3, 140), "high"),
    ("wae_bank_3", "share of fish", lambda: alive_percent("walleye", 52.0, 6.8, 140), "high"),
    # 10 g is ours; a meal to fullness once a week, since twice a week and once a month gave the same
    ("crappie_9c_13wk_loss", "weight lost", lambda: lost_percent("black_crappie", 10.0, 9.0, 91, 1.0 / 7.0), "low"),
    ("redear_9c_13wk_loss", "weight lost", lambda: lost_percent("bluegill", 10.0, 9.0, 91, 1.0 / 7.0), "low"),
    # 0.5 kg and a mean of 10 degC are ours
    ("cat_winter_intake", "ration", lambda: eaten_percent_day("channel_catfish", 500.0, 10.0), "low"),
    # 2 g; as wet prey of a fifth of the energy of pellets
    ("more_bluegill_eats_4c", "ration", lambda: 5.0 * eaten_percent_day("bluegill", 2.0, 4.0), "low"),
    ("sal_feed_2", "ration", lambda: salmon_kj(2.0), "low"),
    ("sal_feed_6", "ration", lambda: salmon_kj(6.0), "low"),
    ("sal_sgr_2", "growth rate", lambda: growth_percent_day("rainbow_trout", 150.0, 2.0, 60), ""),
    ("sal_sgr_6", "growth rate", lambda: growth_percent_day("rainbow_trout", 150.0, 6.0, 60), ""),
    ("sal_feed_zero", "temperature", lambda: ends_eating_c("rainbow_trout"), ""),
    ("lmb_7c_eats", "temperature", lambda: ends_eating_c("largemouth_bass"), ""),
    ("carp_stop_7", "temperature", lambda: ends_eating_c("common_carp"), ""),
    ("cat_stop_10", "temperature", lambda: ends_eating_c("channel_catfish"), ""),
    ("bhd_eats_3", "temperature", lambda: ends_eating_c("brown_bullhead"), ""),
    ("stb_growth_10", "temperature", lambda: no_growth_c("hybrid_striped_bass", 10.0), ""),
    ("cat_growth_zero", "temperature", lambda: no_growth_c("channel_catfish", 454.0), ""),
    ("hybsun_winter_2to1", "ratio", sunfish_ratio, ""),
)  # fmt: skip


def band(row: dict[str, str], measure: str) -> tuple[float, float]:
    """What agrees with a row: its value or its whole range, wider by the tolerance of its measure."""
    ends = [float(row[key]) for key in ("value",) if row[key]] or [
        float(row[key]) for key in ("low", "high") if row[key]
    ]
    return tolerance(measure, min(ends))[0], tolerance(measure, max(ends))[1]


def compared() -> list[dict[str, object]]:
    """Each point with its published value, the model's, whether it agrees and whether it errs on the unsafe side."""
    rows = {row["key"]: row for row in trials()}
    found = []
    for key, measure, model, unsafe in POINTS:
        row, ours = rows[key], model()
        low, high = band(row, measure)
        side = "low" if ours < low else "high" if ours > high else ""
        published = row["value"] or f"{row['low']} to {row['high']}"
        found.append({"key": key, "is_fitted": is_for_fitting(row["source"]), "published": published, "ours": ours,
                      "unit": row["unit"], "agrees": not side, "is_unsafe": bool(side) and side == unsafe})  # fmt: skip
    return found


if __name__ == "__main__":
    for point in compared():
        print(
            f"{point['key']:28s} {'F' if point['is_fitted'] else 'T'}  {point['published']:>12s}  {point['ours']:7.2f}"
            f"  {'yes' if point['agrees'] else 'NO'}{'  unsafe' if point['is_unsafe'] else ''}"
        )
