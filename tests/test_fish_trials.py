"""The table of published trials: each row whole, its paper in one half."""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "docs"))

from fish_trials import is_for_fitting, paper_of, trials  # noqa: E402

from stocksim.library.species import species_names  # noqa: E402

ROWS = trials()
TOPICS = {
    "appetite", "growth", "cold_death", "heat_death", "acclimation", "winter_survival", "cold_feeding", "nitrite_death",
    "ammonia_death", "oxygen_growth", "company",
}  # fmt: skip


def test_every_row_says_what_where_and_how_it_was_read():
    for row in ROWS:
        assert re.fullmatch(r"[a-z0-9_]+", row["key"])
        assert row["topic"] in TOPICS, row["key"]
        assert all(row[key] for key in ("what", "conditions", "source", "read", "where")), row["key"]
        assert row["species"] in ("", *species_names()), row["key"]
        assert row["species"] or row["fish"], row["key"]
        numbers = [float(row[key]) for key in ("low", "value", "high") if row[key]]
        assert all(map(math.isfinite, numbers)), row["key"]
    assert len({row["key"] for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize("part", [True, False])
def test_either_half_has_trials_of_every_topic(part):
    assert {row["topic"] for row in ROWS if is_for_fitting(row["source"]) is part} == TOPICS


def test_half_of_the_papers_are_kept_from_fits():
    papers = {paper_of(row["source"]) for row in ROWS}
    assert 0.4 < sum(map(is_for_fitting, papers)) / len(papers) < 0.6


def test_a_value_is_one_that_the_source_gives():
    """No number stands for what was not significant, and none for the middle of a range."""
    for row in ROWS:
        if row["value"]:
            assert not re.search(r"\((no |none|not |survival not)", row["unit"]), row["key"]
            assert "midpoint" not in row["caution"], row["key"]
