"""Published trials read last, which no fit ever sees: ``python docs/fresh_points.py`` prints how the model meets them.

The kept rows of `fish_trials.csv` have been looked at since they were first scored, so they are no blind test any more.
The rows of `fresh_trials.csv`, their conditions and their tolerances were written down and committed before the model
was run on any of them; the tolerances are `fish_trials.TOLERANCES`. Left out by the rules of `trial_points.LEFT_OUT`
were rows of ponds, of fish below 1 g, without a weight, and of feed offered far beyond what is eaten.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))  # pytest loads this file from another folder

import thermal_points
import winter_points
from check_points import Check, Fish
from fish_trials import paper_of, tolerance
from fit_scores import Row
from trial_feeds import TrialFeed, digestible_energy, on_feed
from trial_points import BASS, CARP, PERCID, WARM, best_temperature, conversion, rate, weight

from stocksim.library.species import load_species

TABLE = Path(__file__).with_name("fresh_trials.csv")
Value = Callable[[Any], Any]
BURZ_RICH = TrialFeed("50 % protein, 15 % fat", digestible_energy(0.50, 0.15), 0.50)
BURZ_LEAN = TrialFeed("30 % protein, 4 % fat", digestible_energy(0.30, 0.04), 0.30)
TILAPIA_27 = TrialFeed("27 % protein", None, 0.27)


def fresh_rows() -> dict[str, dict[str, str]]:
    """Rows of the table, by key."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {row["key"]: row for row in csv.DictReader(file)}


def _lost(start: float, temperature: float, days: int) -> Value:
    return lambda fish: 100.0 * (1.0 - fish.growth(start, (temperature,), days, 0.0).end[0] / start)


def _mean_rate(starts: tuple[float, ...], temperature: float, days: int) -> Value:
    return lambda fish: np.mean([rate(start, temperature, days)(fish) for start in starts], axis=0)


def _rate_over(start: float, over: float, under: float, days: int) -> Value:
    def value(fish: Any) -> Any:
        rates = fish.sgr(start, (over, under), days)
        return rates[0] / rates[1]

    return value


def _perch_grows() -> float:
    return winter_points.no_growth_c("yellow_perch", 10.0)


def _autumn_deaths() -> float:
    """Mean temperature of death of a course like that of the first experiment, of fish used to 18 degC (ours)."""
    course = [14.75, 12.25, 11.0, 10.0, 9.0, 8.0, 7.0, 6.0]
    return thermal_points.mean_death_c("nile_tilapia", 18.0, course)


# key, measure, what the published value becomes in the unit of the answer, the answer of a fish (or of nothing), the
# feed told, the side on which a miss is unsafe, and what is assumed
POINTS: tuple[tuple[str, str, Callable[[float], float], Value | Callable[[], float], TrialFeed | None, str, str], ...]
POINTS = (
    ("fresh_cat_32g_28d", "weight", lambda gain: 32.0 * (1.0 + 0.01 * gain), weight(32, 26, 28), None, "low", WARM),
    ("fresh_cat_32g_84d", "weight", lambda gain: 32.0 * (1.0 + 0.01 * gain), weight(32, 26, 84), None, "low", WARM),
    ("fresh_cat_32g_unfed", "weight lost", float, _lost(32, 26, 28), None, "low", WARM),
    ("fresh_perch_7g_50p", "weight", float, weight(7.5, 22, 161), BURZ_RICH, "low", PERCID),
    ("fresh_perch_7g_30p", "weight", float, weight(7.5, 22, 161), BURZ_LEAN, "low", PERCID),
    ("fresh_perch_7g_fcr", "conversion", float, conversion(7.5, 22, 161), BURZ_RICH, "low", PERCID),
    ("fresh_eperch_4g_42d", "weight", float, weight(3.93, 22, 42), None, "low", PERCID),
    ("fresh_eperch_4g_fcr", "conversion", float, conversion(3.93, 22, 42), None, "low", PERCID),
    ("fresh_eperch_24g_sgr", "growth rate", float, rate(23.5, 22, 56), None, "low", PERCID),
    ("fresh_eperch_growth_zero", "temperature", float, _perch_grows, None, "", "10 g [ours]"),
    ("fresh_carp_ras_sgr", "growth rate", float, _mean_rate((65.5, 151.0), 25, 30), None, "low", CARP),
    ("fresh_carp_ras_fcr", "conversion", float, conversion(100, 25, 30), None, "low", CARP + "; 100 g for both"),
    ("fresh_carp_best_t", "temperature", float, best_temperature(15, (16, 28), 30), None, "",
     "15 g by 90-105 mm [ours]"),
    ("fresh_hsb_tank_108d", "weight", lambda gain: 100.0 + 108.0 * gain, weight(100, 25, 108), None, "low", BASS),
    ("fresh_hsb_6g_fcr", "conversion", float, conversion(5.8, 25, 126), None, "low", BASS),
    ("fresh_wae_201g", "weight", float, weight(201, 20.7, 126), None, "low", ""),
    ("fresh_saugeye_199g", "weight", float, weight(199, 20.7, 126), None, "low", ""),
    ("fresh_til_4g_32c", "weight", float, weight(4.19, 32, 90), TILAPIA_27, "low", ""),
    ("fresh_til_4g_30c", "weight", float, weight(4.19, 30, 90), TILAPIA_27, "low", ""),
    ("fresh_til_best_t", "temperature", float, best_temperature(4.19, (24, 34), 90), TILAPIA_27, "", ""),
    ("fresh_til_autumn_deaths", "temperature", float, _autumn_deaths, None, "low", "used to 18 degC, 16-20 [ours]"),
    ("fresh_trout_12_16", "ratio", float, _rate_over(40, 12, 16, 60), None, "", "40 g by 15.5 cm, 60 d [ours]"),
)  # fmt: skip


def score_rows() -> list[Row]:
    """Each fresh row beside the model's answer."""
    rows, found = fresh_rows(), []
    for key, measure, told, model, feed, unsafe, assumed in POINTS:
        row = rows[key]
        published = told(float(row["value"])) if row["value"] else None
        if published is None:
            low = tolerance(measure, float(row["low"]))[0] if row["high"] else float(row["low"])
            high = tolerance(measure, float(row["high"]))[1] if row["high"] else np.inf
        else:
            low, high = tolerance(measure, published)
        if model in (_perch_grows, _autumn_deaths):
            ours = float(model())  # type: ignore[call-arg]
        else:
            fish = Fish(load_species(row["species"]).__getitem__)
            ours = float(np.squeeze(model(fish if feed is None else fish.on(feed))))  # type: ignore[call-arg]
        what = row["what"] + (f" ({assumed})" if assumed else "")
        topic, paper = row["topic"].replace("_", " "), paper_of(row["source"])
        found.append(Row(key, row["species"], topic, measure, what, False, published, low, high, ours, unsafe, paper))
    return found


def growth_checks() -> dict[str, list[Check]]:
    """Weights and growth rates at full appetite as checks, by species and paper."""
    rows, found = fresh_rows(), {}
    for key, measure, told, model, feed, unsafe, _ in POINTS:
        row = rows[key]
        if measure not in ("weight", "growth rate") or not row["value"]:
            continue
        published = told(float(row["value"]))
        value = model if feed is None else on_feed(model, feed)
        check = Check(key, row["species"], row["what"], value, published, *tolerance(measure, published), False,
                      row["source"], "fresh", measure, 0.0, unsafe)  # fmt: skip
        found.setdefault(f"{row['species']} {paper_of(row['source'])}", []).append(check)
    return found


def section() -> list[str]:
    """Section of docs/fits.md."""
    rows, papers = score_rows(), len({row["source"] for row in fresh_rows().values()})
    inside = sum(row.is_inside for row in rows)
    lines = [
        "## Rows read last, that no fit sees", "",
        "The kept rows have been looked at since their first score and are no blind test any more. These, of "
        f"{papers} papers nobody here had read, were written down with their conditions and "
        "tolerances before the model was run on any of them (`docs/fresh_trials.csv`), and stay out of every fit. "
        f"**{inside} of {len(rows)} ({100 * inside / len(rows):.0f} %) inside their tolerance**; "
        f"{sum(row.is_unsafe_miss for row in rows)} missed on the unsafe side.", "",
        "| species | key | what | published | ours | |", "|---|---|---|---|---|---|",
    ]  # fmt: skip
    for row in rows:
        ends = f"above {row.low:.3g}" if row.high == np.inf else f"{row.low:.3g} to {row.high:.3g}"
        published = f"{row.published:.3g}" if row.published is not None else ends
        verdict = "inside" if row.is_inside else "**missed, unsafe**" if row.is_unsafe_miss else "**missed**"
        lines.append(f"| {row.species} | {row.key} | {row.what} | {published} | {row.ours:.3g} | {verdict} |")
    return [*lines, ""]


if __name__ == "__main__":
    print("\n".join(section()))
