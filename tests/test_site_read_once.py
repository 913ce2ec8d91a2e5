"""Read once: library files, logs and weather by their text; heat runs when a computed temperature is asked for."""

from __future__ import annotations

import copy
import os
import pickle
import tomllib
from pathlib import Path

import numpy as np
import pytest
from command_line import runner

from stocksim.errors import Fault, InputError
from stocksim.heat import hourly as warmth
from stocksim.heat import temperatures as loop_temperatures
from stocksim.heat.loops import warmth_of_site
from stocksim.library import sources
from stocksim.library.species import load_species
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import load_site, site_from_tables

COMPUTED = tomllib.loads(example_text("heron_lane_computed"))


@pytest.fixture
def heat_runs(monkeypatch):
    """Heat balances run so far."""
    runs, run_plan = [], warmth.run_plan
    monkeypatch.setattr(warmth, "_kept", warmth.Memo(8))
    monkeypatch.setattr(warmth, "run_plan", lambda *given, **more: runs.append(1) or run_plan(*given, **more))
    return runs


def test_reading_a_file_runs_no_heat(heat_runs):
    site = load_site(FOLDER / "heron_lane_computed.toml")
    site = site.with_changes({"cohorts.tilapia.count": 9})
    assert list(site.temperature_c) == ["main", "warm"]
    assert len(site.temperature_c) == 2
    assert "other" not in dict.fromkeys(site.temperature_c)
    assert heat_runs == []
    assert site.temperature_c["main"].shape == (site.days,)
    assert site.temperature_c["warm"].shape == (site.days,)
    assert any("is computed" in note for note in site.notes)
    assert len(heat_runs) == 1
    with pytest.raises(KeyError):
        site.temperature_c["other"]


def test_typed_water_is_told_without_heat(heat_runs):
    tables = copy.deepcopy(COMPUTED)
    tables["loops"]["warm"]["water_temperature"] = {"kind": "constant", "value": "24 degC"}
    site = site_from_tables(tables, FOLDER)
    assert np.all(site.temperature_c["warm"] == 24.0)
    assert heat_runs == []


def test_changes_of_fish_and_crops_share_one_heat_run(heat_runs):
    site = load_site(FOLDER / "heron_lane_computed.toml")
    changes = [{"cohorts.tilapia.count": count} for count in (5, 6, 7)] + [{"site.name": "Another"}, {"events": None}]
    water = [site.with_changes(change).temperature_c["main"] for change in changes]
    assert len(heat_runs) == 1
    assert all((course == water[0]).all() for course in water)
    colder = site.with_changes({"greenhouse.heater.set_point": "5 degC"})
    assert colder.temperature_c["main"].mean() < water[0].mean()
    assert len(heat_runs) == 2


def test_each_site_is_told_in_its_own_units():
    tables = copy.deepcopy(COMPUTED)
    tables["weather"].pop("design_cold", None)
    for units, unit, other in (("us", "degF", "degC"), ("metric", "degC", "degF"), ("us", "degF", "degC")):
        tables["site"]["units"] = units
        site = site_from_tables(tables, FOLDER)
        said = [note for note in site.notes if "design_cold" in note or "computed:" in note]
        assert len(said) == 3
        said += warmth_of_site(site).weather.notes
        numbers = [note.split("known to some")[0] for note in said]  # a band of the model stands in degC for all
        assert all(unit in note and other not in note for note in numbers), said


def test_a_fault_of_the_heat_is_told_when_it_is_needed(monkeypatch, capsys, tmp_path):
    fault = Fault("loops.main", "water_temperature", "comes out at 61 degC, which no fish bears; check the heaters.")

    def refuse(*_given):
        raise InputError([fault])

    monkeypatch.setattr(loop_temperatures, "site_warmth", refuse)
    path = tmp_path / "computed.toml"
    path.write_text(example_text("heron_lane_computed"), encoding="utf-8")
    site = load_site(path)
    with pytest.raises(InputError) as told:
        site.temperature_c["main"]
    assert [(f.table, f.message, f.file) for f in told.value.faults] == [(fault.table, fault.message, "computed.toml")]
    with pytest.raises(InputError):
        list(site.notes)
    call = runner(monkeypatch, capsys, tmp_path)
    checked = call("check", path, "--json")
    assert checked.code == 2
    assert checked.data["faults"] == [{"table": fault.table, "field": fault.field, "message": fault.message}]
    assert fault.message in checked.err
    season = call("season", path)
    assert (season.code, season.out) == (2, "")
    assert fault.message in season.err


def test_a_site_that_was_asked_is_handed_on_without_its_hours():
    site = load_site(FOLDER / "heron_lane_computed.toml")
    water, notes = site.temperature_c["main"], list(site.notes)
    handed = pickle.dumps(site)
    assert len(handed) < 500_000  # a season of hours takes some 4 MB, and pages keep dozens of sites
    other = pickle.loads(handed)
    assert (other.temperature_c["main"] == water).all()
    assert list(other.notes) == notes


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
        return float(site_from_tables(tables, tmp_path).temperature_c["main"].mean())

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
