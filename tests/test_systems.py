"""The published whole systems: tables whole, every assumption a field of its file, every output a number."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pytest

import stocksim

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "docs"))

import systems  # noqa: E402

ASSUMED, OUTPUTS = systems.rows("assumed.csv"), systems.rows("outputs.csv")


def test_every_file_is_judged_and_every_judged_system_has_a_file():
    files = {path.stem for path in systems.SYSTEMS.glob("*.toml")}
    assert files == set(systems.systems())
    assert {row["system"] for row in ASSUMED} <= files


@pytest.mark.parametrize("row", ASSUMED, ids=lambda row: f"{row['system']} {row['field']}")
def test_what_is_assumed_stands_in_the_file_at_its_middle(row):
    held = stocksim.load_site(systems.SYSTEMS / f"{row['system']}.toml").raw
    for key in row["field"].split("."):
        held = held[key]
    assert str(held) == row["middle"]


def test_bands_hold_what_was_published():
    for row in OUTPUTS:
        low, high = float(row["low"]), float(row["high"])
        assert low < high, row
        if row["published"]:
            assert low <= float(row["published"]) <= high, row


def test_a_system_runs_and_every_output_is_a_number():
    found = systems.run("bluegill_indoors")
    assert [output.what for output in found] == [
        row["output"] for row in OUTPUTS if row["system"] == "bluegill_indoors"
    ]
    for output in found:
        assert math.isfinite(output.ours)
        assert output.least <= output.ours <= output.greatest
