"""What a keeper sees of the beds: the command, its data, the charts and the page."""

from __future__ import annotations

import importlib.util
import json
import re
from pathlib import Path

import pytest
import tomlkit
from command_line import refused, runner, spoil
from small_sites import build, one_tank
from streamlit.testing.v1 import AppTest

from stocksim import run_season
from stocksim.answers.beds.answer import beds_answer, beds_text
from stocksim.answers.beds.changes import bed_plan
from stocksim.answers.beds.charts import bed_map, bed_stack
from stocksim.answers.beds.decide import bed_balance
from stocksim.answers.beds.words import NUTRIENT_NOTE
from stocksim.faces.words import day_words
from stocksim.site.examples import FOLDER, example_text

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def demo_plan(demo_season):
    return bed_plan(demo_season)


def test_text_answers_both_questions(demo_plan):
    text = re.sub(r"\s+", " ", beds_text(demo_plan))
    for wanted in (
        "Handbook area:", "Balance area:", "Into winter the beds' draw falls further",
        "draw overtakes feed in the week of",
        "it never turns", "What brings them nearer, cheapest first", "feed needed", "fish needed",
        "no published feed ratio", "iron chelate", "Salmonella", "Never use sodium salts", "mostly from memory",
    ):  # fmt: skip
        assert wanted in text, wanted
    # a row for every week of both loops
    weeks = sum(len(balance.weeks) for balance in demo_plan.loops)
    assert len(re.findall(r"^\d+ [A-Z][a-z]{2} 20\d\d ", beds_text(demo_plan), re.M)) == weeks
    assert max(len(line) for line in beds_text(demo_plan).splitlines()) < 150


def test_weeks_that_ask_for_salt_are_named_beside_what_stays(demo_plan):
    text = re.sub(r"\s+", " ", beds_text(demo_plan))
    (budget,) = [b for b in demo_plan.budgets if (b.loop, b.nutrient) == ("main", "nitrogen")]
    weeks = [day for day, grams in zip(demo_plan.season.dates[::7], budget.add_g, strict=True) if grams >= 0.5]
    assert (weeks[-1] - weeks[0]).days == 7 * (len(weeks) - 1)  # one span
    said = f"Nitrogen is short in {len(weeks)} of 35 weeks, those of {day_words(weeks[0])} to {day_words(weeks[-1])}: "
    assert said in text
    assert "more nitrogen stays" in text.split(said)[1].split(". ")[0]
    assert NUTRIENT_NOTE in text


def test_a_bare_loop_says_whose_ratio_its_handbook_area_has():
    plan = bed_plan(run_season(build(one_tank(days=10))))
    text = re.sub(r"\s+", " ", beds_text(plan))
    assert "leafy crops in media" in text


def test_data_is_plain_and_says_the_same(demo_plan):
    data = json.loads(json.dumps(beds_answer(demo_plan), allow_nan=False))
    assert [loop["loop"] for loop in data["loops"]] == ["main", "warm"]
    main = data["loops"][0]
    assert main["fall"]["faster"] == "draw"
    assert len(main["weeks"]) == 35
    for key in ("feed_g", "handbook_low_m2", "balance_m2", "balance_feed_g", "balance_biomass_kg", "gap_g"):
        assert key in main["weeks"][0]
    assert set(main["nutrients"]) == {"nitrogen", "phosphorus", "potassium", "calcium", "magnesium", "iron"}
    assert 1 <= len(main["levers"]) <= 3
    tubs = next(bed for bed in data["beds"] if bed["bed"] == "wicking_tubs")
    assert tubs["harvest_kg"] is None


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_command(run):
    spoil('crop = "kale"', 'crop = "watercress"')
    plain, data = run("beds", "house.toml"), run("beds", "house.toml", "--json")
    assert plain.code == data.code == 0
    assert "Loop main" in plain.out
    assert "liver fluke" in re.sub(r"\s+", " ", plain.out)
    assert plain.err == ""
    assert data.data["loops"][0]["loop"] == "main"


def test_command_tells_faults(run):
    spoil('crop = "kale"', 'crop = "kael"')
    refused(run("beds", "house.toml"), '"kael" is not in the library')


@pytest.mark.parametrize("change", [{"beds": {}}, {"cohorts": {}}])
def test_sites_without_beds_or_fish_are_answered(change):
    plan = bed_plan(run_season(build(one_tank(days=20) | change)))
    assert beds_text(plan)
    json.dumps(beds_answer(plan), allow_nan=False)
    for balance in plan.loops:
        bed_stack(plan.season, balance).to_dict(validate=False)


def test_map_is_drawn_to_area(demo_season):
    spec = bed_map(demo_season).to_dict(validate=False)
    data = spec["datasets"]
    beds = next(rows for rows in data.values() if "line" in rows[0])
    widths = {row["line"].split(",")[0]: row["x2"] - row["x"] for row in beds}
    heights = {round(row["y2"] - row["y"], 9) for row in beds}
    assert widths == pytest.approx({"north raft": 5.0, "long gravel": 6.0, "warm gravel": 6.0, "wicking tubs": 5.0})
    assert len(heights) == 1
    strips = next(rows for rows in data.values() if "crop" in rows[0])
    for bed, width in (("north_raft", 5.0), ("long_gravel", 6.0), ("warm_gravel", 6.0)):
        assert sum(row["x2"] - row["x"] for row in strips if row["bed"] == bed) == pytest.approx(width)
    assert bed_map(run_season(build(one_tank(days=5) | {"beds": {}}))) is None


def test_charts_show_every_batch_and_both_areas(demo_season):
    balance = bed_balance(demo_season)[0]
    spec = bed_stack(demo_season, balance).to_dict(validate=False)
    titles = [panel["title"] for panel in spec["vconcat"]]
    assert titles[0].startswith("Plantings")
    for wanted in ("Light on the beds", "Area planted", "Nitrogen, g a day", "Nutrients: %", "Harvest"):
        assert any(title.startswith(wanted) for title in titles), wanted
    bars = next(rows for rows in spec["datasets"].values() if "state" in rows[0])
    mine = [s for s in demo_season.planting.stands.stands if demo_season.site.file.beds[s.bed].loop == "main"]
    assert len(bars) == sum(len(stand.batches) for stand in mine)


def page(monkeypatch: pytest.MonkeyPatch, path: Path) -> AppTest:
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    at.switch_page("stocksim/answers/beds/page.py").run()
    assert not at.exception
    return at


def words(at: AppTest) -> str:
    html = " ".join(element.proto.body for element in at.get("html"))
    plain = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL))
    return " ".join([plain.replace("&#x27;", "'").replace("&quot;", '"'), *(c.value for c in at.caption)])


def test_page_answers_and_draws(monkeypatch):
    at = page(monkeypatch, FOLDER / "heron_lane.toml")
    shown = words(at)
    assert "g of nitrogen a day" in shown
    assert "Salmonella" in shown
    assert len(at.get("vega_lite_chart")) == 2
    at.segmented_control(key="beds_picked").set_value("warm").run()
    assert not at.exception
    assert "Fish of loop warm" in words(at)


def test_page_tries_levers_when_asked(monkeypatch, tmp_path):
    path = tmp_path / "house.toml"
    path.write_text(example_text("starter"), encoding="utf-8")
    at = page(monkeypatch, path)
    assert "the gap goes from" not in words(at)
    next(b for b in at.button if b.label == "Try levers on the whole season").click().run()
    assert not at.exception
    assert "the gap goes from" in words(at)


def test_page_without_anything_to_weigh(monkeypatch, tmp_path):
    path = tmp_path / "bare.toml"
    path.write_text(tomlkit.dumps(one_tank(days=10) | {"beds": {}, "cohorts": {}}), encoding="utf-8")
    assert "nothing to weigh" in words(page(monkeypatch, path))


def test_the_page_of_the_docs_holds_the_numbers_of_today():
    """docs/beds.md's table is written by docs/figures_beds.py."""
    spec = importlib.util.spec_from_file_location("figures_beds", ROOT / "docs" / "figures_beds.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.months_table(module.demo_main()) in (ROOT / "docs" / "beds.md").read_text(encoding="utf-8")
