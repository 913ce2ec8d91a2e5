"""The page and the command of the outlook: asked, drawn, cancelled, refused."""

from __future__ import annotations

import json

import pytest
import tomlkit
from command_line import refused, runner
from small_sites import one_tank
from streamlit.testing.v1 import AppTest
from test_app import words

from stocksim.drawn import outlook as decide
from stocksim.errors import InputError
from stocksim.faces.registry import script_of


@pytest.fixture
def page(tmp_path, monkeypatch) -> AppTest:
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(one_tank(count=10, days=12)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(script_of("outlook"), default_timeout=900).run()
    assert not at.exception
    return at


def press(at: AppTest, label: str) -> AppTest:
    next(button for button in at.button if button.label == label).click().run()
    assert not at.exception
    return at


def test_nothing_is_drawn_before_it_is_asked_for(page):
    assert "Draw the seasons" in [button.label for button in page.button]
    assert "What to measure next" not in words(page)


def test_seasons_are_drawn_and_told_with_their_fans(page):
    page.text_input(key="seasons").set_value("20")
    press(page, "Draw the seasons")
    told = words(page)
    assert "of 32 drawn from what is uncertain" in told
    assert "20 seasons were asked for; 32 were run" in told
    assert "What to measure next" in told
    (chart,) = page.get("vega_lite_chart") or page.get("arrow_vega_lite_chart")
    assert len(json.loads(chart.proto.spec)["vconcat"]) == 4
    assert "Cancel" not in [button.label for button in page.button]


def test_the_seed_is_the_askers_own(page):
    page.text_input(key="seasons").set_value("8")
    page.text_input(key="seed").set_value("7")
    press(page, "Draw the seasons")
    assert "Drawn with seed 7" in words(page)
    page.text_input(key="seed").set_value("-1")
    press(page, "Draw the seasons")
    assert "whole number from 0 to 4294967295" in words(page)


@pytest.mark.parametrize("entry", ["0", "many", "1e9"])
def test_a_wrong_number_is_a_sentence(page, entry):
    page.text_input(key="seasons").set_value(entry)
    press(page, "Draw the seasons")
    assert "whole number from 1 to 65,536" in words(page)


def test_a_run_that_is_cancelled_tells_nothing(page, monkeypatch):
    """The button stands while seasons are drawn; pressed, the run ends and nothing is asked any more."""

    def stopped(*given, progress, **more):
        progress(16, 100)
        raise InputError("stopped here")

    monkeypatch.setattr(decide, "outlook", stopped)
    press(page, "Draw the seasons")
    assert "Cancel" in [button.label for button in page.button]
    press(page, "Cancel")
    assert "Cancel" not in [button.label for button in page.button]
    assert "stopped here" not in words(page)
    assert "What to measure next" not in words(page)


def test_bands_stay_where_only_what_matters_most_is_cancelled(page, monkeypatch):
    def stopped(*given, **more):
        raise InputError("stopped here")

    monkeypatch.setattr(decide, "with_indices", stopped)
    page.text_input(key="seasons").set_value("8")
    press(page, "Draw the seasons")
    assert "Drawn with seed 1" in words(page)
    press(page, "Cancel")
    assert "Cancel" not in [button.label for button in page.button]
    assert "Drawn with seed 1" in words(page)
    assert "stopped here" not in words(page)


# --- the command


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_the_command_answers_in_text_and_data(run):
    text = run("outlook", "house.toml", "-n", 8, "--seed", 3)
    assert text.code == 0
    assert "outlook of 8 seasons" in text.out
    data = run("outlook", "house.toml", "-n", 8, "--seed", 3, "--json").data
    assert (data["seasons"], data["seed"]) == (8, 3)
    again = run("outlook", "house.toml", "-n", 8, "--seed", 3, "--json").data
    assert again == data
    assert data["verdict"].startswith(text.out.split("\n\n")[1].split("\n")[0][:40])


@pytest.mark.parametrize("given", [("-n", "0"), ("-n", "2.5"), ("-n", "lots"), ("--seed", "-1"), ("-n", "99999999")])
def test_bad_numbers_are_a_sentence_each(run, given):
    refused(run("outlook", "house.toml", *given), given[1])


def test_a_site_with_faults_is_refused_as_everywhere(run, tmp_path):
    (tmp_path / "house.toml").write_text("[site]\nname = 3\n", encoding="utf-8")
    ran = run("outlook", "house.toml")
    assert (ran.code, ran.out) == (2, "")


def test_the_command_sweep_writes_tables_and_refuses_in_sentences(run, tmp_path):
    done = run("sweep", "house.toml", "--vary", "cohorts.perch.count=20,40", "--out", "s", "--json")
    assert done.code == 0
    assert [row["cohorts.perch.count"] for row in done.data["runs"]] == [20, 40]
    assert (tmp_path / "s" / "runs.csv").exists()
    text = run("sweep", "house.toml", "--vary", "cohorts.perch.count=20,40", "--out", "s")
    assert "2 of the runs stood in the folder already" in " ".join(text.out.split())
    refused(run("sweep", "house.toml", "--vary", "cohorts.perch.colour=1", "--out", "t"), "colour")
    refused(run("sweep", "house.toml", "--vary", "cohorts.perch.count", "--out", "t"), "FIELD=VALUE")
    refused(run("sweep", "house.toml", "--vary", "cohorts.perch.count=20..40", "--out", "t"), "--points")
    refused(run("sweep", "house.toml", "--vary", "cohorts.perch.count=20,50", "--out", "s"), "other fields or values")
    refused(run("sweep", "house.toml", "--vary", "cohorts.perch.count=20", "--out", "s", "--points", "0"), "--points")
    assert not (tmp_path / "t").exists()
