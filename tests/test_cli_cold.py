"""The command cold, its refusals, and the page of the cold months driven without a browser."""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import tomlkit
from command_line import refused, runner
from site_faults import changed
from streamlit.testing.v1 import AppTest

from stocksim import run_season
from stocksim.answers.cold.charts import temperature_stack
from stocksim.heat.temperatures import warmth_of_site, water_c
from stocksim.site.examples import example_text
from stocksim.site.reading import load_site
from stocksim.units import to_face

ROOT = Path(__file__).parents[1]
END = dt.date(2026, 12, 31)


def short_text() -> str:
    """The computed example until the end of the year."""
    tables = changed(tomllib.loads(example_text("heron_lane_computed")), {"season.end": END})
    for bed in tables["beds"].values():
        bed["plantings"] = [p | {"to": END} for p in bed["plantings"] if p["from"] <= END]
    return tomlkit.dumps(tables)


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    call = runner(monkeypatch, capsys, tmp_path)
    Path("cold.toml").write_text(short_text(), encoding="utf-8")
    return call


def test_cold_answers_on_standard_output_in_both_forms(run):
    ran = run("cold", "cold.toml", "--years", "4", "--json")
    assert (ran.code, ran.err) == (0, "")
    data = ran.data
    assert data["recommended"] in [option["name"] for option in data["options"]]
    assert all(data[key] for key in ("stocksim_version", "site_hash", "library_hash"))
    assert (data["synthetic_years"], data["seed"], data["is_worth_assumed"]) == (4, 1, True)
    text = run("cold", "cold.toml", "--years", "4", "--worth", "9", "--all")
    assert text.code == 0
    assert f"Recommended: {data['recommended']}"[:40] in text.out
    for words in (
        "What would change it",
        "4.08 a pound",
        "seed 1",
        "carbon monoxide",
        "licensed trades",
        "gal of propane",
    ):
        assert words in re.sub(r"\s+", " ", text.out)


def test_cold_writes_every_hour_and_the_options(run):
    ran = run("cold", "cold.toml", "--years", "2", "--out", "kept", "--json")
    assert ran.code == 0
    assert "hourly.csv" in ran.err
    hours = pd.read_csv("kept/hourly.csv")
    assert list(hours) == ["date", "hour", "place", "temperature_c"]
    places = {"outdoors", "greenhouse", "fish_room", "tanks.cedar", "loops.main"}
    assert places <= set(hours["place"])
    site = load_site("cold.toml")
    warmth = warmth_of_site(site)
    tank = hours[hours["place"] == "tanks.cedar"]
    assert len(tank) == 24 * site.days
    node = warmth.plan.nodes.index("tanks.cedar")
    assert tank.groupby("date")["temperature_c"].mean().to_numpy() == pytest.approx(
        warmth.run.mean_c[:, node], abs=0.001
    )
    options = pd.read_csv("kept/options.csv")
    assert options["name"].tolist() == [option["name"] for option in ran.data["options"]]
    Path("taken").write_text("", encoding="utf-8")
    refused(run("cold", "cold.toml", "--years", "2", "--out", "taken"), "is a file; give a folder")
    refused(run("cold", "cold.toml", "--fit", "log.csv", "--out", "kept"), "not with --fit")


def test_cold_refuses_a_site_without_weather_and_impossible_numbers(run):
    refused(run("cold", "house.toml"), "[weather]", "heron_lane_computed")
    assert run("cold", "cold.toml", "--years", "0").code == 2
    assert run("cold", "cold.toml", "--worth", "-1").code == 2


def test_cold_fits_a_log(run):
    site = load_site("cold.toml")
    made = site.with_changes({"greenhouse.loss_factor": 1.25})
    water = water_c(made)["main"]
    rows = [f"{site.file.season.start + dt.timedelta(days=day)},{water[day]:.2f}" for day in range(site.days)]
    Path("log.csv").write_text("date,temperature_c\n" + "\n".join(rows), encoding="utf-8")
    data = run("cold", "cold.toml", "--fit", "log.csv", "--loop", "main", "--json").data
    assert set(data) >= {"factors", "known_within_factor", "rms_before_c", "rms_after_c", "bias_after_c", "days"}
    assert data["rms_after_c"] < data["rms_before_c"]
    assert data["factors"]["loss_factor"] > 1.05
    refused(run("cold", "cold.toml", "--fit", "gone.csv", "--loop", "main"), "gone.csv: was not found")
    refused(run("cold", "cold.toml", "--fit", "log.csv"), "--loop", "main, warm")


def page(monkeypatch: pytest.MonkeyPatch, path: Path) -> AppTest:
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    at.switch_page("stocksim/answers/cold/page.py").run()
    assert not at.exception
    return at


def words(at: AppTest) -> str:
    html = " ".join(element.proto.body for element in at.get("html"))
    plain = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL))
    return " ".join([plain.replace("&#x27;", "'"), *(c.value for c in at.caption)])


def test_the_page_draws_air_and_water_and_then_compares(monkeypatch, tmp_path):
    path = tmp_path / "cold.toml"
    path.write_text(short_text(), encoding="utf-8")
    at = page(monkeypatch, path)
    spec = json.loads(at.get("vega_lite_chart")[0].proto.spec)
    titles = [panel["title"] for panel in spec["vconcat"]]
    assert titles[0].startswith("Air, degF")
    assert [title.split(",")[0] for title in titles[1:]] == ["Water of loop main", "Water of loop warm"]
    assert "carbon monoxide" in words(at)
    next(b for b in at.button if b.label == "Compare set points and measures").click().run()
    assert not at.exception
    shown = words(at)
    assert "Recommended:" in shown
    assert "if every heater fails" in shown
    titles = [str(json.loads(chart.proto.spec).get("title")) for chart in at.get("vega_lite_chart")]
    assert any(title.startswith("Growth ") and ", lb" in title for title in titles)
    assert any("Heat from all heaters" in title for title in titles)
    assert any("when every heater fails" in title for title in titles)


def test_the_water_panel_shows_the_weeks_mean_and_every_species_windows(tmp_path):
    path = tmp_path / "cold.toml"
    path.write_text(short_text(), encoding="utf-8")
    site = load_site(path)
    warmth = warmth_of_site(site)
    assert warmth is not None
    spec = temperature_stack(run_season(site), warmth).to_dict()
    rows = [row for rows in spec["datasets"].values() for row in rows]
    labels = {row["label"] for row in rows if "label" in row}
    for species in ("yellow perch", "bluegill", "rainbow trout", "goldfish", "nile tilapia", "channel catfish"):
        assert {f"{species} grows well", f"{species} too cold"} <= labels
    week = to_face(float(np.mean(water_c(site)["main"][:7])), "temperature", "us")
    assert any(abs(row["value"] - week) < 0.01 for row in rows if row.get("name") == "computed")
    assert {"outdoors", "greenhouse", "fish room"} <= {row.get("name") for row in rows}


def test_the_page_says_what_a_site_without_weather_needs(monkeypatch, tmp_path):
    path = tmp_path / "bare.toml"
    path.write_text(example_text("starter"), encoding="utf-8")
    at = page(monkeypatch, path)
    assert "[weather]" in words(at)
    next(b for b in at.button if b.label == "Open the example heron_lane_computed").click().run()
    assert not at.exception
    assert at.get("vega_lite_chart")
