"""Published values on natural foods that the model can answer, and what it answers.

``python docs/feed_points.py`` prints the table. Not answered: maintenance of bluegill and perch on fish flesh (the
library has no feed of fish flesh), fresh Azolla and dried duckweed (neither is a feed of it), grass carp and blue
tilapia (no species of it), and what a source calls similar without a figure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from fish_trials import is_for_fitting, tolerance, trials

from stocksim.engine.arrays.fish import DEFAULT_SPILLED_SHARE
from stocksim.engine.running import grow
from stocksim.library.feeds import grams_like_pellets, load_feed
from stocksim.library.species import load_species

# The water of none of these trials is told where they were read: the middle of the 24-30 degC in which tilapia are
# mostly grown (common practice).
UNTOLD_C = 27.0
_DRY = load_feed("duckweed")["dry_matter"]


def growth_on_duckweed() -> float:
    """Growth of 20 g tilapia on duckweed alone over 75 days. [%/day]"""
    return (
        100.0 * math.log(float(grow("nile_tilapia", 20.0, UNTOLD_C, days=75, feed="duckweed").weight_g[-1]) / 20.0) / 75
    )


def dry_duckweed_offered(weight_g: float) -> float:
    """Dry duckweed offered by sight for full appetite, the spilled share counted in. [% of weight a day]"""
    eaten = float(grow("nile_tilapia", weight_g, UNTOLD_C, days=1, feed="duckweed").eaten_g[0])
    return 100.0 * eaten * _DRY / (1.0 - DEFAULT_SPILLED_SHARE) / weight_g


def growth_ratio(dry_share: float, start_g: float = 30.0, days: int = 40) -> float:
    """Growth with a share of the dry matter as duckweed over growth on pellets alone, at the same dry matter. [-]

    The ration is that on which pellets alone give the control's 1.51 % a day; weight and days are ours.
    """
    pellets, fish = load_feed("tilapia_34"), load_species("nile_tilapia")
    low, high = 0.0, 1.0
    for _ in range(40):
        ration = 0.5 * (low + high)
        low, high = (ration, high) if _rate("tilapia_34", ration, start_g, days) < 1.51 else (low, ration)
    grams = [(1.0 - dry_share) / pellets["dry_matter"], dry_share / _DRY]
    name = "tilapia_34 {:.4f} %, duckweed {:.4f} %".format(*(100.0 * part / sum(grams) for part in grams))
    mix = load_feed(name)
    same_dry = ration * pellets["dry_matter"] / (grams_like_pellets(fish, mix) * mix["dry_matter"])
    return _rate(name, min(same_dry, 1.0), start_g, days) / _rate("tilapia_34", ration, start_g, days)


def _rate(feed: str, ration: float, start_g: float, days: int) -> float:
    run = grow("nile_tilapia", start_g, UNTOLD_C, days=days, ration_fraction=ration, feed=feed)
    return 100.0 * math.log(float(run.weight_g[-1]) / start_g) / days


# key of the row, what it measures (`TOLERANCES`), the model's answer, and the side on which a miss is unsafe: too much
# growth promised of greens, too little feed and so too little waste
POINTS: tuple[tuple[str, str, Callable[[], float], str], ...] = (
    ("more_til_duckweed_20g", "growth rate", growth_on_duckweed, "high"),
    ("til_lemna_best_25g", "ration", partial(dry_duckweed_offered, 34.0), "low"),
    ("til_lemna_best_45g", "ration", partial(dry_duckweed_offered, 58.0), "low"),
    ("til_lemna_best_75g", "ration", partial(dry_duckweed_offered, 89.0), "low"),
    ("til_lemna_20_sgr_ratio", "ratio", partial(growth_ratio, 0.2), "high"),
    ("til_lemna_40_sgr_ratio", "ratio", partial(growth_ratio, 0.4), "high"),
)


def table() -> list[tuple[str, str, float, float, bool]]:
    """Rows of key, whether a fit may see it, published, ours, and whether ours agrees."""
    rows = {row["key"]: row for row in trials()}
    found = []
    for key, measure, model, _ in POINTS:
        published, ours = float(rows[key]["value"]), model()
        low, high = tolerance(measure, published)
        part = "fit" if is_for_fitting(rows[key]["source"]) else "kept"
        found.append((key, part, published, ours, low <= ours <= high))
    return found


if __name__ == "__main__":
    print(f"{'key':26}{'half':6}{'published':>10}{'ours':>8}  agrees")
    for key, part, published, ours, agrees in table():
        print(f"{key:26}{part:6}{published:10.3g}{ours:8.3g}  {'yes' if agrees else 'no'}")
