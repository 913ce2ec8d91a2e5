"""Read once: library files, logs and weather by their text; reading never runs the heat."""

from __future__ import annotations

import copy
import dataclasses
import os
import pickle
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from command_line import runner

from stocksim.climate import network
from stocksim.errors import Fault, InputError
from stocksim.heat import hourly, temperatures
from stocksim.heat.notes import site_notes
from stocksim.heat.temperatures import loop_water_c, warmth_of_site, water_c
from stocksim.library import sources
from stocksim.library.species import load_species
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import load_site, site_from_tables

COMPUTED = tomllib.loads(example_text("heron_lane_computed"))


@pytest.fixture
def heat_runs(monkeypatch):
    """Heat balances run so far."""
    runs, run_plan = [], hourly.run_plan
    monkeypatch.setattr(hourly, "_kept", hourly.Memo(8))
    monkeypatch.setattr(temperatures, "_kept", hourly.Memo(8))
    monkeypatch.setattr(hourly, "run_plan", lambda *given, **more: runs.append(1) or run_plan(*given, **more))
    return runs


def test_reading_a_file_runs_no_heat(heat_runs, monkeypatch):
    def refuse(*_given, **_more):
        raise AssertionError("the heat balance ran")

    with monkeypatch.context() as forbidden:
        forbidden.setattr(network, "run_network", refuse)
        forbidden.setattr(hourly, "run_network", refuse)
        site = load_site(FOLDER / "heron_lane_computed.toml")
        site = site.with_changes({"cohorts.tilapia.count": 9})
        assert site.held_c == {}
        assert not any("water_temperature is computed" in note for note in site.notes)
        with pytest.raises(AssertionError, match="the heat balance ran"):
            water_c(site)
    heat_runs.clear()
    water = water_c(site)
    assert list(water) == ["main", "warm"]
    assert all(course.shape == (site.days,) for course in water.values())
    assert any("water_temperature is computed" in note for note in site_notes(site))
    assert len(heat_runs) == 1


def test_reading_a_file_imports_no_heat():
    words = (
        "import sys; from stocksim.site.examples import FOLDER; from stocksim.site.reading import load_site; "
        "site = load_site(FOLDER / 'heron_lane_computed.toml'); assert site.notes; "
        "print([name for name in sys.modules if name.startswith(('stocksim.heat', 'stocksim.climate.network'))])"
    )
    ran = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_typed_water_is_told_without_heat(heat_runs):
    tables = copy.deepcopy(COMPUTED)
    tables["loops"]["warm"]["water_temperature"] = {"kind": "constant", "value": "24 degC"}
    site = site_from_tables(tables, FOLDER)
    assert list(site.held_c) == ["warm"]
    assert np.all(loop_water_c(site, "warm") == 24.0)
    assert heat_runs == []
    assert np.all(water_c(site)["warm"] == 24.0)
    assert list(water_c(site)) == ["main", "warm"]
    assert len(heat_runs) == 1


def test_water_put_in_place_of_the_computed_needs_no_heat(heat_runs):
    site = load_site(FOLDER / "heron_lane_computed.toml")
    held = {"warm": np.full(site.days, 25.0), "main": np.full(site.days, 14.0)}
    assert water_c(dataclasses.replace(site, held_c=held)) == {"main": held["main"], "warm": held["warm"]}
    assert heat_runs == []


def test_changes_of_fish_and_crops_share_one_heat_run(heat_runs):
    site = load_site(FOLDER / "heron_lane_computed.toml")
    changes = [{"cohorts.tilapia.count": count} for count in (5, 6, 7)] + [{"site.name": "Another"}, {"events": None}]
    water = [water_c(site.with_changes(change))["main"] for change in changes]
    assert len(heat_runs) == 1
    assert all((course == water[0]).all() for course in water)
    colder = site.with_changes({"greenhouse.heater.set_point": "5 degC"})
    assert water_c(colder)["main"].mean() < water[0].mean()
    assert len(heat_runs) == 2


def test_each_site_is_told_in_its_own_units():
    tables = copy.deepcopy(COMPUTED)
    tables["weather"].pop("design_cold", None)
    for units, unit, other in (("us", "degF", "degC"), ("metric", "degC", "degF"), ("us", "degF", "degC")):
        tables["site"]["units"] = units
        site = site_from_tables(tables, FOLDER)
        said = [note for note in site_notes(site) if "design_cold" in note or "computed:" in note]
        assert len(said) == 3
        said += warmth_of_site(site).weather.notes
        numbers = [note.split("known to some")[0] for note in said]  # a band of the model stands in degC for all
        assert all(unit in note and other not in note for note in numbers), said


def test_a_fault_of_the_heat_is_told_when_it_is_needed(monkeypatch, capsys, tmp_path):
    fault = Fault("loops.main", "water_temperature", "comes out at 61 degC, which no fish bears; check the heaters.")

    def refuse(*_given):
        raise InputError([fault])

    monkeypatch.setattr(temperatures, "plan_and_weather", refuse)
    path = tmp_path / "computed.toml"
    path.write_text(example_text("heron_lane_computed"), encoding="utf-8")
    site = load_site(path)
    with pytest.raises(InputError) as told:
        water_c(site)
    assert [(f.table, f.message, f.file) for f in told.value.faults] == [(fault.table, fault.message, "computed.toml")]
    with pytest.raises(InputError):
        site_notes(site)
    call = runner(monkeypatch, capsys, tmp_path)
    checked = call("check", path, "--json")
    assert checked.code == 2
    assert checked.data["faults"] == [{"table": fault.table, "field": fault.field, "message": fault.message}]
    assert fault.message in checked.err
    season = call("season", path)
    assert (season.code, season.out) == (2, "")
    assert fault.message in season.err


def test_a_site_that_was_asked_is_handed_on_without_its_heat(heat_runs):
    site = load_site(FOLDER / "heron_lane_computed.toml")
    water, notes = water_c(site)["main"], site_notes(site)
    handed = pickle.dumps(site)
    assert len(handed) < 500_000  # a season of hours takes some 4 MB, and pages keep dozens of sites
    other = pickle.loads(handed)
    assert (water_c(other)["main"] == water).all()
    assert site_notes(other) == notes
    assert len(heat_runs) == 1


def test_a_library_file_is_parsed_once_and_again_when_it_changes(tmp_path, monkeypatch):
    own = tmp_path / "species_params" / "fish" / "bluegill.toml"
    own.parent.mkdir(parents=True)
    shipped = (sources.library_folder() / "fish" / "bluegill.toml").read_text(encoding="utf-8")
    own.write_text(shipped.replace('title = "Bluegill"', 'title = "Blueback"'), encoding="utf-8")
    stamp = os.stat(own)
    first = load_species("bluegill", tmp_path)
    parsed = []
    loads = tomllib.loads
    monkeypatch.setattr(sources.tomllib, "loads", lambda text: parsed.append(1) or loads(text))
    assert load_species("bluegill", tmp_path) is first
    assert parsed == []
    # the same size and time, as a copying tool may leave them
    own.write_text(shipped.replace('title = "Bluegill"', 'title = "Bluebell"'), encoding="utf-8")
    os.utime(own, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert load_species("bluegill", tmp_path).title == "Bluebell"
    assert load_species("bluegill").title == "Bluegill"
    assert load_species("bluegill", tmp_path).is_own
    assert not load_species("bluegill").is_own


def test_a_changed_weather_file_is_read_again(tmp_path):
    tables = copy.deepcopy(COMPUTED)
    days = np.arange("2026-10-01", "2027-06-01", dtype="datetime64[D]")
    tables["weather"] = {"kind": "file", "file": "days.csv", "ground": "9 degC", "design_cold": "-25 degC"}

    def mean_c(low: str) -> float:
        rows = "".join(f"{day},{low},9,1.5\n" for day in days)
        (tmp_path / "days.csv").write_text("date,low_c,high_c,sun_kwh_m2\n" + rows, encoding="utf-8")
        os.utime(tmp_path / "days.csv", ns=(1, 1))
        return float(water_c(site_from_tables(tables, tmp_path))["main"].mean())

    assert mean_c("-9") < mean_c("+5")
    assert mean_c("+5") > mean_c("-9")


def test_an_own_file_of_the_same_relative_path_is_another_file(monkeypatch, tmp_path):
    shipped = sources.library_folder()
    own = tmp_path / "species_params" / "fish" / "yellow_perch.toml"
    own.parent.mkdir(parents=True)
    own.write_text((shipped / "fish" / "yellow_perch.toml").read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.chdir(shipped.parent)
    assert not load_species("yellow_perch", Path()).is_own
    monkeypatch.chdir(tmp_path)
    assert load_species("yellow_perch", Path()).is_own
