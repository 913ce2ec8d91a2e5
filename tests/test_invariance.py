"""What must not matter does not: the order of tables in the file, its units, the hash seed, and the run before."""

from __future__ import annotations

import copy
import datetime as dt
import os
import random
import re
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from reliability.bases import Base, everything, example, recorded, toml_text
from small_sites import any_eventful_site, busy_season

from stocksim import InputError, Season, load_site, run_season
from stocksim.faces.words import summary

# Sums over tanks and loops are taken in the file's order, so the last bits differ; the rounds of appetite end at 1e-10
# (`docs/model.md`), and what one day differs by goes into the next.
CLOSE = 1e-9
FRAMES = {"tanks": ["date", "tank"], "cohorts": ["date", "cohort", "tank"], "loops": ["date", "loop"],
          "beds": ["date", "bed"], "ledger": ["cohort", "entry"]}  # fmt: skip
NAMED = ("loops", "tanks", "beds", "biofilters", "settlers", "cohorts")


def run(base: Base, folder: Path) -> Season:
    """Season of a base, read from files."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(toml_text(base.tables), encoding="utf-8")
    for name, text in base.files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return run_season(load_site(folder / "site.toml"))


def assert_same(one: Season, other: Season, close: float = CLOSE) -> None:
    """All frames alike up to the order of rows, numbers to a share of the column's greatest."""
    for name, keys in FRAMES.items():
        left, right = (getattr(season, name).sort_values(keys, kind="stable") for season in (one, other))
        assert list(left) == list(right)
        for column in left:
            mine, theirs = left[column].to_numpy(), right[column].to_numpy()
            if not pd.api.types.is_numeric_dtype(left[column]):
                assert list(mine) == list(theirs), (name, column)
                continue
            assert (np.isnan(mine) == np.isnan(theirs)).all(), (name, column)
            size = np.nanmax(np.abs(mine), initial=0.0)
            assert np.nanmax(np.abs(mine - theirs), initial=0.0) <= close * max(size, 1e-6), (name, column)


# --- the order of the file


def reordered(tables: dict, rng: random.Random) -> dict:
    """The same tables, every group of named ones and every table's keys in another order.

    Lists stay as they are, and so do settlers: water meets them in the order of the file.
    """

    def turned(node: object, name: str = "") -> object:
        if isinstance(node, dict):
            keys = list(node)
            if name != "settlers":
                rng.shuffle(keys)
            return {key: turned(node[key], key) for key in keys}
        return copy.deepcopy(node)

    return turned(tables)  # type: ignore[return-value]


def backwards(tables: dict) -> dict:
    """The same tables with loops, tanks, beds and cohorts from last to first."""
    return {key: dict(reversed(table.items())) if key in NAMED else table for key, table in tables.items()}


BASES = {
    "year": lambda: example("heron_lane_year"), "computed": lambda: example("heron_lane_computed"),
    "young": lambda: example("heron_lane_young"), "everything": everything, "recorded": recorded,
    "busy": lambda: Base("busy", busy_season()),
}  # fmt: skip


@pytest.mark.parametrize("name", BASES)
def test_the_order_of_tables_does_not_matter(name, tmp_path):
    base = BASES[name]()
    first = run(base, tmp_path / "first")
    assert_same(first, run(Base(name, backwards(base.tables), base.files), tmp_path / "backwards"))
    shuffled = reordered(base.tables, random.Random(name))
    assert_same(first, run(Base(name, shuffled, base.files), tmp_path / "shuffled"))


@given(any_eventful_site(), st.randoms(use_true_random=False))
@settings(max_examples=15)
def test_the_order_of_tables_does_not_matter_in_random_sites(tmp_path_factory, tables, rng):
    folder = tmp_path_factory.mktemp("random")
    try:
        first = run(Base("random", tables), folder / "first")
    except InputError:
        assume(False)
    assert_same(first, run(Base("random", reordered(tables, rng)), folder / "shuffled"))


# --- units

# exact by definition: a US gallon is 231 cubic inches, an inch 2.54 cm, a pound 453.59237 g
EXACT = {
    "gal": ("L", Decimal("3.785411784")), "gal/h": ("L/h", Decimal("3.785411784")),
    "gal/day": ("L/day", Decimal("3.785411784")), "ft2": ("m2", Decimal("0.09290304")), "ft": ("m", Decimal("0.3048")),
    "in": ("mm", Decimal("25.4")), "lb": ("g", Decimal("453.59237")), "oz": ("g", Decimal("28.349523125")),
    "lb/h": ("g/h", Decimal("453.59237")), "ft3": ("L", Decimal("28.316846592")),
    "ft2/ft3": ("m2/m3", Decimal(1) / Decimal("0.3048")),
}  # fmt: skip
# where a metric quantity of a site goes in US units, by a factor and to a few digits: another site, but a near one
NEAR = {
    "L": ("gal", 0.264), "m3": ("gal", 264.0), "L/h": ("gal/h", 0.264), "m3/h": ("gal/h", 264.0), "L/day": ("gal/day",
    0.264),
    "m2": ("ft2", 10.76), "m": ("ft", 3.281), "cm": ("in", 0.3937), "mm": ("in", 0.03937), "g": ("oz", 0.0353),
    "kg": ("lb", 2.205), "g/h": ("lb/h", 0.0022), "m2/m3": ("ft2/ft3", 0.305),
}  # fmt: skip
_PARTS = re.compile(r"(-?[0-9.]+) (\S+)")


def american(text: str, zero: int = 32) -> str:
    """A quantity near to a metric one in US units, temperatures in whole steps of 1.8 degF from their zero."""
    found = _PARTS.fullmatch(text)
    if not found:
        return text
    number, unit = float(found[1]), found[2]
    if unit == "degC":
        return f"{Decimal(round(number)) * Decimal('1.8') + zero} degF"
    return f"{Decimal(f'{number * NEAR[unit][1]:.3g}'):f} {NEAR[unit][0]}" if unit in NEAR else text


def metric(text: str, zero: int = 32) -> str:
    """The same quantity in metric units, every digit."""
    found = _PARTS.fullmatch(text)
    if not found:
        return text
    number, unit = Decimal(found[1]), found[2]
    if unit == "degF":
        return f"{(number - zero) / Decimal('1.8'):f} degC"
    return f"{number * EXACT[unit][1]:f} {EXACT[unit][0]}" if unit in EXACT else text


def mapped(node: object, how: object) -> object:
    if isinstance(node, dict):
        # the one temperature difference of a site file: its zero is zero in both
        return {key: how(value, 0) if key == "day_to_day" else mapped(value, how) for key, value in node.items()}  # type: ignore[operator]
    if isinstance(node, list):
        return [mapped(value, how) for value in node]
    return how(node) if isinstance(node, str) else node  # type: ignore[operator]


@pytest.mark.parametrize("name", BASES)
def test_units_do_not_matter(name, tmp_path):
    base = BASES[name]()
    in_us = mapped(base.tables, american)
    in_us["site"]["units"] = "us"
    in_metric = mapped(in_us, metric)
    in_metric["site"]["units"] = "metric"
    texts = toml_text(in_us), toml_text(in_metric)
    assert " gal" in texts[0]
    assert not re.search(r"\d (gal|ft|lb|oz|in|degF)", texts[1])
    assert_same(
        *(run(Base(name, tables, base.files), tmp_path / str(n)) for n, tables in enumerate((in_us, in_metric)))
    )


# --- two runs

_WRITE = """
import sys
from pathlib import Path
from stocksim import load_site, run_season
from stocksim.answers.season.answer import season_answer
from stocksim.faces.text import answer_text
from stocksim.faces.words import summary
season = run_season(load_site(sys.argv[1]))
found = season.findings
season.write(Path(sys.argv[2]), summary(season, found))
print(answer_text(season_answer(season, found)))
"""


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_the_hash_seed_and_the_run_before_do_not_matter(tmp_path):
    """Two processes with other hash seeds, and twice in this one: the same bytes in every file and answer."""
    base = everything()
    season = run(base, tmp_path)
    for name in ("here", "again"):
        again = season if name == "here" else run_season(load_site(tmp_path / "site.toml"))
        again.write(tmp_path / name, summary(again, again.findings))
    said = {}
    for seed in ("0", "4711"):
        command = [sys.executable, "-c", _WRITE, str(tmp_path / "site.toml"), str(tmp_path / seed)]
        ran = subprocess.run(command, env=os.environ | {"PYTHONHASHSEED": seed}, capture_output=True, check=True)
        said[seed] = ran.stdout
    first = bytes_of(tmp_path / "here")
    told = ["beds.csv", "cohorts.csv", "ledger.csv", "loops.csv", "summary.json", "tanks.csv"]
    assert [name for name in sorted(first) if not name.startswith(".")] == told
    for name in ("again", "0", "4711"):
        assert bytes_of(tmp_path / name) == first, name
    assert said["0"] == said["4711"]
    assert dt.date.fromisoformat(season.dates[0].isoformat()) == base.tables["season"]["start"]
