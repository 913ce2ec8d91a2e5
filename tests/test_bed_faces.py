"""What a keeper sees of the beds: the command, its data, the charts and the page."""

from __future__ import annotations

import importlib.util
import json
import re
from pathlib import Path

import pytest
import tomlkit
from calm_sites import calm_text
from command_line import refused, runner, spoil
from small_sites import build, one_tank
from streamlit.testing.v1 import AppTest

from stocksim import run_season
from stocksim.answers.beds.answer import beds_answer, of_loop
from stocksim.answers.beds.changes import bed_plan
from stocksim.answers.beds.charts import bed_map, bed_stack
from stocksim.answers.beds.decide import bed_balance
from stocksim.answers.beds.words import adding_sentences, week_rows
from stocksim.engine.arrays.beds import UNPLANTED_RATIO
from stocksim.faces.answer import Chart, Sentences, Table
from stocksim.faces.text import answer_text
from stocksim.faces.words import day_words
from stocksim.plants.nutrients import PLANT_SALTS, SALT_CAUTION
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import site_from_text

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def demo_plan(demo_season):
    return bed_plan(demo_season)


@pytest.fixture(scope="module")
def demo_answer(demo_plan):
    return beds_answer(demo_plan)


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_text_tells_what_the_data_tell(demo_plan, demo_answer):
    text, data = answer_text(demo_answer), demo_answer.data
    sentences = [*data["two_areas"], *data["solids"], *data["cautions"]]
    for loop in data["loops"]:
        sentences += [*loop["answer"], *loop["no_published_ratio"], *(lever["words"][1:] for lever in loop["levers"])]
    assert not [sentence for sentence in sentences if plain(sentence) not in plain(text)]
    assert SALT_CAUTION in data["cautions"]
    # a row for every week of both loops, in both blocks of columns
    weeks = sum(len(balance.weeks) for balance in demo_plan.loops)
    assert len(re.findall(r"^\d+ [A-Z][a-z]{2} 20\d\d ", text, re.M)) == 2 * weeks
    assert max(len(line) for line in text.splitlines()) <= 100
    for wanted in ("feed needed", "fish needed", PLANT_SALTS["iron"].name, "Salmonella", "it never changes sides"):
        assert wanted in text, wanted


def test_pages_have_every_loop_with_its_charts_and_its_weeks(demo_plan, demo_answer):
    units = demo_plan.season.site.file.site.units
    drawn = [part.name for section in demo_answer.sections for part in section.parts if isinstance(part, Chart)]
    assert drawn == ["bed_weeks_main", "bed_weeks_warm", "beds"]
    for balance in demo_plan.loops:
        numbers = demo_answer.section(of_loop("numbers", balance.loop))
        (table,) = [part for part in numbers.parts if isinstance(part, Table)]
        assert table.rows == week_rows(balance, units)
        assert numbers.folded
        assert balance.loop in demo_answer.section(of_loop("weeks", balance.loop)).parts[0].text
    (chart,) = [part for part in demo_answer.section("weeks_warm").parts if isinstance(part, Chart)]
    assert "loop warm" in chart.draw()["description"]


def test_a_page_has_its_charts_from_where_it_keeps_them(demo_plan):
    kept = beds_answer(demo_plan, lambda loop: {"of": loop})
    drawn = [part.draw() for section in kept.sections for part in section.parts if isinstance(part, Chart)]
    assert drawn == [{"of": "main"}, {"of": "warm"}, {"of": ""}]


def test_levers_are_told_only_where_they_were_sought(demo_season, demo_plan, demo_answer):
    unsought = bed_plan(demo_season, is_sought=False)
    assert (unsought.loops, unsought.proofs) == (demo_plan.loops, {})
    before = beds_answer(unsought)
    assert [loop["levers"] for loop in before.data["loops"]] == [[], []]
    (hint,) = before.section("changes_main").parts
    assert hint.on == "page"
    lists = [part.items for part in demo_answer.section("changes_main").parts if part.mark == "- "]
    assert sum(map(len, lists)) == len(demo_plan.proofs["main"]) > 0


def test_weeks_that_ask_for_salt_are_named_beside_what_stays(demo_plan, demo_answer):
    (budget,) = [b for b in demo_plan.budgets if (b.loop, b.nutrient) == ("main", "nitrogen")]
    weeks = [day for day, grams in zip(demo_plan.season.dates[::7], budget.add_g, strict=True) if grams >= 0.5]
    assert (weeks[-1] - weeks[0]).days == 7 * (len(weeks) - 1)  # one span
    (said,) = [one for one in adding_sentences(demo_plan, "main") if one.startswith("Nitrogen")]
    assert f"{len(weeks)} of 35 weeks, those of {day_words(weeks[0])} to {day_words(weeks[-1])}: " in said
    assert budget.terms["kept"].sum() > budget.terms["short"].sum()
    assert "stays in the water" in said
    told = [part.items for part in demo_answer.section("nutrients_main").parts if isinstance(part, Sentences)]
    assert said in told[-1]


def test_a_bare_loop_has_the_handbook_area_of_leafy_crops():
    answer = beds_answer(bed_plan(run_season(build(one_tank(days=10)))))
    (loop,) = answer.data["loops"]
    for week in loop["weeks"]:
        assert week["planted_m2"] == 0.0
        for key, ratio in zip(("handbook_high_m2", "handbook_low_m2"), UNPLANTED_RATIO, strict=True):
            assert week[key] == pytest.approx(week["feed_g"] / ratio, abs=1e-3)
    assert "leafy crops" in loop["answer"][0]


def test_data_is_plain_and_has_what_the_balance_has(demo_plan, demo_answer):
    data = json.loads(json.dumps(demo_answer.data, allow_nan=False))
    assert [loop["loop"] for loop in data["loops"]] == ["main", "warm"]
    main = data["loops"][0]
    fall = demo_plan.loops[0].fall
    assert main["fall"]["faster"] == fall.faster == "draw"
    assert main["fall"]["crosses_again"] == fall.back.isoformat()
    assert main["turns"] == []
    assert len(main["no_published_ratio"]) == 1
    assert len(main["weeks"]) == 35
    for key in ("feed_g", "handbook_low_m2", "balance_m2", "balance_feed_g", "balance_biomass_kg", "gap_g"):
        assert key in main["weeks"][0]
    assert set(main["nutrients"]) == {"nitrogen", "phosphorus", "potassium", "calcium", "magnesium", "iron"}
    assert 1 <= len(main["levers"]) <= 3
    tubs = next(bed for bed in data["beds"] if bed["bed"] == "wicking_tubs")
    assert tubs["harvest_kg"] is None
    assert data["site_hash"]


def test_notes_of_beds_are_cautions_and_no_others():
    text = example_text("starter").replace('crop = "kale"', 'crop = "watercress"')
    site = site_from_text(text, FOLDER, "starter.toml")
    cautions = beds_answer(bed_plan(run_season(site), is_sought=False)).data["cautions"]
    assert [note for note in site.notes if note in cautions] == list(site.bed_notes) != []
    assert any("liver fluke" in caution for caution in cautions)


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_command(run):
    spoil('crop = "kale"', 'crop = "watercress"')
    told, data = run("beds", "house.toml", "--all"), run("beds", "house.toml", "--json")
    assert told.code == data.code == 0
    assert "Loop main" in told.out
    assert "liver fluke" in plain(told.out)
    assert told.err == ""
    assert data.data["loops"][0]["loop"] == "main"


def test_command_tells_faults(run):
    spoil('crop = "kale"', 'crop = "kael"')
    refused(run("beds", "house.toml"), '"kael" is not in the library')


@pytest.mark.parametrize("change", [{"beds": {}}, {"cohorts": {}}])
def test_sites_without_beds_or_fish_are_answered(change):
    plan = bed_plan(run_season(build(one_tank(days=20) | change)))
    answer = beds_answer(plan)
    assert plain(answer.data["two_areas"][0]) in plain(answer_text(answer))
    json.dumps(answer.data, allow_nan=False)
    for balance in plan.loops:
        bed_stack(plan.season, balance).to_dict()


def test_map_is_drawn_to_area(demo_season):
    spec = bed_map(demo_season).to_dict()
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
    spec = bed_stack(demo_season, balance).to_dict()
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
    bare = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL))
    return " ".join([bare.replace("&#x27;", "'").replace("&quot;", '"'), *(c.value for c in at.caption)])


def test_page_answers_and_draws(monkeypatch, tmp_path):
    path = tmp_path / "house.toml"
    path.write_text(calm_text("heron_lane"), encoding="utf-8")
    at = page(monkeypatch, path)
    shown = words(at)
    assert "Fish of loop main" in shown
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
    next(b for b in at.button if b.label == "Try changes on the whole season").click().run()
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
