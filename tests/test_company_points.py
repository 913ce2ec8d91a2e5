"""Published trials of company beside the model: whom fish swallow, and how many."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "docs"))

from company_points import POINTS, published
from fish_trials import is_for_fitting, trials

from stocksim.fish.company import watched_share

ROWS = {row["key"]: row for row in trials()}
# missed on the unsafe side: the longest prey that any perch had swallowed
FAR = {"eperch_prey_max"}


@pytest.mark.parametrize("point", POINTS, ids=lambda point: point[0])
def test_no_published_meal_is_missed_on_the_unsafe_side(point):
    key, measure, model, unsafe = point
    low, high = published(ROWS[key], measure)
    said = model()
    misses = (unsafe == "low" and said < low) or (unsafe == "high" and said > high)
    assert misses == (key in FAR)


def test_what_is_missed_is_watched():
    (row,) = (ROWS[key] for key in FAR)
    (model,) = (point[2] for point in POINTS if point[0] in FAR)
    assert 100.0 * watched_share(model() / 100.0) > float(row["value"])


def test_most_trials_kept_from_every_fit_agree():
    kept = [point for point in POINTS if not is_for_fitting(ROWS[point[0]]["source"])]
    agree = [low <= model() <= high for key, measure, model, _ in kept for low, high in [published(ROWS[key], measure)]]
    assert len(kept) >= 8
    assert sum(agree) >= 5
