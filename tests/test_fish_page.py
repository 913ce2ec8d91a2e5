"""The page on fish says what the program computes: numbers of its tables and sentences, made again."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from small_sites import build, one_tank

from stocksim.fish.growth import appetite_rate
from stocksim.fish.wintering import feeding_band
from stocksim.library.species import load_species, species_names

DOCS = Path(__file__).resolve().parents[1] / "docs"
sys.path.insert(0, str(DOCS))

from figures_fish import unfed_survival_percent  # noqa: E402

PAGE = (DOCS / "fish.md").read_text(encoding="utf-8")
FLAT = " ".join(PAGE.split())


@pytest.mark.parametrize("name", ["bluegill", "yellow_perch", "largemouth_bass"])
def test_the_table_of_unfed_winters(name):
    (row,) = re.findall(rf"^\| {name.replace('_', ' ')} \| (.*%) \|$", PAGE, re.MULTILINE)
    told = [int(cell.removesuffix(" %")) for cell in row.split(" | ")]
    computed = [unfed_survival_percent(name, weight) for weight in (0.25, 1.0, 5.0, 20.0, 100.0)]
    assert told == pytest.approx(computed, abs=0.51)


def test_catfish_beside_the_winter_rule():
    species = load_species("channel_catfish")
    weights = np.array([50.0, 200.0, 450.0])

    def percent(water):
        return 100.0 * appetite_rate(species.__getitem__, np.array(water)) * weights ** (species["intake_exponent"] - 1)

    assert "is 0.59 % (50 g), 0.39 % (200 g), 0.31 % (450 g); at 10 degC 0.16, 0.11 and 0.08 %" in FLAT
    assert percent(15.5) == pytest.approx([0.59, 0.39, 0.31], abs=0.006)
    assert percent(10.0) == pytest.approx([0.16, 0.11, 0.08], abs=0.006)
    assert re.search("0.8 to 1.6 times .* 1.8 to 3.5 times", FLAT)
    for water, rule, low, high in ((15.5, 1.0 / 2.0, 0.8, 1.6), (10.0, 2.0 / 7.0, 1.8, 3.5)):
        over = rule / percent(water)
        assert (over.min(), over.max()) == pytest.approx((low, high), abs=0.06)


def test_the_table_of_feeding_in_the_cold():
    told = {}
    for row in re.findall(
        r"^\| ([a-z, ]+) \| ([\d.]+|not known) \|[^|]*\| ([\d.]+) \|[^|]*\| ([^|]*) \|$", PAGE, re.MULTILINE
    ):
        told |= dict.fromkeys(row[0].split(", "), row[1:])
    assert {name.replace(" ", "_") for name in told} == set(species_names())
    for name, (stop, start, between) in told.items():
        band = feeding_band(load_species(name.replace(" ", "_")).number)
        assert stop == (f"{band.stop_c:g}" if band.is_measured else "not known")
        assert float(start) == band.start_c
        little = "by hand" if np.isnan(band.ration_percent) else f"{band.ration_percent:g}"
        assert between.startswith(f"{little}, each {band.every_days:.0f}")


def test_every_figure_is_there():
    for name in re.findall(r"\((figures/[a-z_]+\.svg)\)", PAGE):
        assert (DOCS / name).is_file()


SITE_FILE = (DOCS / "site_file.md").read_text(encoding="utf-8")
RATIONS = re.findall(r"`(\{ kind = \"(?:appetite|percent|table|fixed|beds|unfed)\".*\})` \|$", SITE_FILE, re.MULTILINE)


def test_every_kind_of_ration_has_its_example():
    kinds = [tomllib.loads(f"ration = {example}")["ration"]["kind"] for example in RATIONS]
    assert kinds == ["appetite", "percent", "table", "fixed", "beds", "unfed"]


@pytest.mark.parametrize("example", RATIONS)
def test_the_rations_of_the_site_file_page_are_sound(example):
    tables = one_tank()
    tables["cohorts"]["fish"]["ration"] = tomllib.loads(f"ration = {example}")["ration"]
    assert build(tables).file.cohorts["fish"].ration is not None


@pytest.mark.parametrize(
    ("kind", "keys"),
    re.findall(r"^\| `(stock|move|grade|harvest|ration|feed)`.*\| ([^|]*) \|$", SITE_FILE, re.MULTILINE),
)
def test_the_events_of_the_site_file_page_are_sound(kind, keys):
    first = keys.split(", or ")[0]
    given = tomllib.loads("\n".join(re.findall(r"`([^`]*)`", first)))
    tables = one_tank()
    tables["tanks"] |= {name: dict(tables["tanks"]["one"]) for name in ("alder", "spruce")}
    start = tables["season"]["start"]
    tables["events"] = [{"kind": kind, "date": start, "cohort": "fish", **given}]
    assert [event.kind for event in build(tables).file.events] == [kind]
