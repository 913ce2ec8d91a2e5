"""Files side by side, by the command and on the page."""

from __future__ import annotations

from pathlib import Path

import pytest
import tomlkit
from command_line import refused, runner
from small_sites import build, one_tank
from streamlit.testing.v1 import AppTest

from stocksim import run_season
from stocksim.answers.compare.answer import best_words, compare_answer
from stocksim.faces.registry import script_of
from stocksim.faces.text import answer_text


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_the_command_tells_what_differs_and_what_becomes_of_each(run):
    text = Path("house.toml").read_text(encoding="utf-8")
    Path("other.toml").write_text(text.replace("count = 60", "count = 30"), encoding="utf-8")
    data = run("compare", "house.toml", "other.toml", "--json").data
    (change,) = data["differences"]
    assert (change["field"].rpartition(".")[2], change["values"]) == ("count", ["60", "30"])
    one, other = (file["outcome"] for file in data["files"])
    assert one["feed_kg"] > other["feed_kg"] > 0.0
    assert [file["name"] for file in data["files"]] == ["house", "other"]


def test_files_of_one_name_are_told_apart(run):
    Path("spare").mkdir()
    Path("spare/house.toml").write_text(Path("house.toml").read_text(encoding="utf-8"), encoding="utf-8")
    ran = run("compare", "house.toml", "spare/house.toml")
    assert ran.code == 0
    assert "1 house" in ran.out
    assert "2 house" in ran.out
    assert "the same in every field" in ran.out


@pytest.mark.parametrize("number", [1, 4])
def test_two_or_three_are_asked_for(run, number):
    refused(run("compare", *["house.toml"] * number), f"{number} given", "two or three")


def test_three_files_fit_the_width_of_a_terminal():
    names = {name: run_season(build(one_tank(count=count, days=20))) for name, count in
             (("a_rather_long_name", 5), ("another_long_name", 500), ("the_third_of_them", 900))}  # fmt: skip
    assert max(map(len, answer_text(compare_answer(names)).splitlines())) <= 100


def test_no_best_is_named_where_fish_fare_alike():
    same = run_season(build(one_tank(count=5, days=10)))
    crowded = run_season(build(one_tank(count=900, days=30)))
    assert "alike" in best_words({"a": same, "b": same, "c": crowded})
    assert best_words({"a": crowded, "b": same}).startswith("The fish do best in b")


def test_the_page_sets_an_edit_beside_what_is_saved(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(one_tank(count=10, days=20)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(script_of("compare"), default_timeout=900).run()
    assert not at.exception
    assert at.multiselect[0].value == ["as shown", "as saved"]
    assert "the same in every field" in html(at)
    at.session_state.site_text = at.session_state.site_text.replace("count = 10", "count = 900")
    at.run()
    assert not at.exception
    assert "cohorts.fish.count" in html(at)
    assert [chart.proto.alt[:16] for chart in at.get("vega_lite_chart")] == ["Stocking density"] * 2
    at.multiselect[0].set_value(["as shown"]).run()
    assert not at.get("vega_lite_chart")


def html(at: AppTest) -> str:
    return " ".join(element.proto.body for element in at.get("html"))


def test_cost_is_that_of_feed_and_fuel_at_the_file_s_prices():
    tables = one_tank(count=20, days=20)
    bare = run_season(build(tables))
    priced = run_season(build(tables | {"stocking": {"feed_price": 2.5}}))
    one, other = (file["outcome"] for file in compare_answer({"bare": bare, "priced": priced}).data["files"])
    assert one["feed_cost"] is None
    assert other["feed_cost"] == pytest.approx(2.5 * other["feed_kg"], rel=1e-3)
    assert one["fuel_cost"] is other["fuel_cost"] is None  # no heater
    text = answer_text(compare_answer({"bare": bare, "priced": priced}), None)
    assert "cost of feed, in your money" in text
    assert "cost of fuel" not in text
