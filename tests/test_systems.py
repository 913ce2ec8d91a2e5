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


@pytest.mark.parametrize("system", systems.systems())
def test_a_system_that_lived_lives_here(system):
    for output in systems.run(system):
        if output.what.startswith("survival"):
            assert output.is_met, output


# what was broken, the limit that tells it, and within how many days of the start
CONTROLS = [
    ("raft_nile_tilapia_batch", {"beds.raft.nitrifying_surface": "180 m2"}, "nitrite", 3),
    ("tilapia_nursery_400", {"loops.main.alkalinity_target": None}, "nitrite", 25),
    ("bass_indoors_36_5", {"tanks.one.oxygen_supply": {"kind": "none"}}, "oxygen", 1),
    ("bluegill_indoors", {"loops.main.biofilter_start": "new"}, "unionized_ammonia", 2),
    ("trout_tank_1983", {"cohorts.trout.count": 783}, "oxygen", 5),
    ("tilapia_farm", {"biofilters.f.media_volume": "1500 L"}, "unionized_ammonia", 3),
]


@pytest.mark.parametrize(("system", "broken", "limit", "days"), CONTROLS, ids=lambda part: str(part)[:30])
def test_a_system_that_is_broken_in_a_known_way_is_told_in_time(system, broken, limit, days):
    """Half the film, no base, no air, a new film at full feed, three times the fish, a quarter of the filter."""
    site = stocksim.load_site(systems.SYSTEMS / f"{system}.toml")
    sound, spoilt = stocksim.run_season(site), stocksim.run_season(site, **broken)
    found = [f for f in spoilt.findings if f.limit == limit and f.first_date is not None]
    assert found
    assert min((f.first_date - site.file.season.start).days for f in found) < days
    margins = [
        min(f.margin_percent for f in season.findings if f.limit == limit and f.margin_percent is not None)
        for season in (sound, spoilt)
    ]
    assert margins[1] < margins[0] - 25.0, "the sound one is as bad"
