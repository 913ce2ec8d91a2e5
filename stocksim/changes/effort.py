"""What changes ask of a keeper: work and purchases in points, and the fish that are given up for them."""

from __future__ import annotations

from collections.abc import Sequence

from stocksim.changes.change import ADVICE_OF, Change
from stocksim.engine.results.frames import Season

# What a change of each kind asks of a keeper, in points: nothing bought 1, a small machine or much water 2, building 4,
# heating 6; and what fish that are never eaten cost, points for all of the season's kilos (both assumed).
EFFORT: dict[str, float] = {
    "harvest": 1.0, "move": 1.0, "hours": 1.0, "feed": 1.0, "base": 1.0, "salt": 1.0, "stock": 1.0, "solids": 1.0,
    "fill": 1.0, "vents": 1.0, "water": 2.0, "air": 2.0, "flow": 2.0, "plant": 2.0, "shade": 2.0, "biofilter": 4.0,
    "heat": 6.0,
}  # fmt: skip
_POINTS_FOR_ALL_FISH = 10.0


def points(season: Season, after: Season, changes: Sequence[Change]) -> float:
    """What changes ask of a keeper: the effort of each, and the kilos of fish that the season gives less for them."""
    lost = max(-more_fish_kg(season, after), 0.0) / max(fish_kg(season), 1e-9)
    return sum(EFFORT[ADVICE_OF[change.kind]] for change in changes) + _POINTS_FOR_ALL_FISH * lost


def fish_kg(season: Season) -> float:
    """Fish harvested or otherwise taken, and left at the end. [kg]"""
    course = season.course
    left = float((course.count[0, -1] * course.weight_g[0, -1]).sum()) / 1000.0
    out = sum(float(t.mass_g[0]) for t in course.transfers if t.happening.target < 0 <= t.happening.source) / 1000.0
    return left + out


def more_fish_kg(season: Season, after: Season) -> float:
    """Kilos of fish that another season of the same site gives more. [kg]"""
    return fish_kg(after) - fish_kg(season)
