"""The pages on water and on the power cut, driven without a browser."""

from __future__ import annotations

import json
import re
import tomllib
from html import escape
from pathlib import Path

import pytest
import tomlkit
from small_sites import START, build, one_tank, two_loops
from streamlit.testing.v1 import AppTest

from stocksim.answers.powercut.answer import headline
from stocksim.answers.powercut.decide import power_cut
from stocksim.answers.ramp.answer import ramp_answer, water_answer
from stocksim.answers.ramp.decide import feeding_ramp
from stocksim.engine.running import run_season
from stocksim.faces.answer import Table
from stocksim.faces.charts import trouble_panel
from stocksim.faces.registry import script_of
from stocksim.faces.words import finding_sentence
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site, site_from_text

ROOT = Path(__file__).parents[1]
YOUNG = FOLDER / "heron_lane_young.toml"


@pytest.fixture(scope="module")
def young():
    """The example on a young film."""
    return load_site(YOUNG)


@pytest.fixture(scope="module")
def young_season(young):
    """Its season."""
    return run_season(young)


def page(monkeypatch: pytest.MonkeyPatch, name: str, path: Path = YOUNG) -> AppTest:
    """A page of the app with a site given to it."""
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    at.switch_page(str(script_of(name))).run()
    assert not at.exception
    return at


def html(at: AppTest) -> str:
    """All HTML blocks."""
    return " ".join(element.proto.body for element in at.get("html"))


def words(at: AppTest) -> str:
    """All text of HTML blocks and captions."""
    plain = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html(at), flags=re.DOTALL))
    return " ".join([plain.replace("&#x27;", "'").replace("&quot;", '"'), *(c.value for c in at.caption)])


def titles(at: AppTest) -> list[str]:
    specs = [json.loads(chart.proto.spec) for chart in at.get("vega_lite_chart")]
    return [panel.get("title") for spec in specs for panel in spec["vconcat"]]


def own_ph(at: AppTest) -> bool:
    """Whether the water drawn is that of the loop whose pH the file gives, 7.1."""
    return any(title.startswith("pH, 7.1 ") for title in titles(at))


def bare(tmp_path: Path, **more) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps({**one_tank(count=10), **more}), encoding="utf-8")
    return path


def test_water_page_answers_and_draws_every_level(monkeypatch, young_season):
    at = page(monkeypatch, "water")
    shown, answer = words(at), water_answer(young_season, "main")
    wet = ("nitrite", "unionized_ammonia", "oxygen", "biofilter")
    broken = [f for f in young_season.findings if f.is_broken and f.limit in wet]
    told = [(one["limit"], one["where"], one["first_date"]) for one in answer.data["broken"]]
    assert told == [(f.limit, f.where, f.first_date.isoformat()) for f in broken]
    assert broken[0].limit == "nitrite"
    assert answer.is_trouble
    (points, *_) = answer.section("limits").parts
    for said in (answer.verdict, *(p.words for p in points.items), *answer.data["sentences"], *answer.data["cautions"]):
        assert escape(said, quote=False) in shown
    assert "potassium bicarbonate" in answer.data["sentences"][0]
    drawn = titles(at)
    for wanted in (
        "Total ammonia nitrogen (TAN), mg/L", "Nitrite nitrogen, mg/L", "Nitrate nitrogen, mg/L",
        "Oxygen, mg/L: thick the day's low, thin its mean", "pH, computed from alkalinity and CO2",
        "Alkalinity, mg/L as CaCO3", "Buffer: potassium bicarbonate, oz a week", "Top-up water, gal a week",
        "Biofilter bacteria, % of full strength",
    ):  # fmt: skip
        assert wanted in drawn
    # the numbers of the sentence are those of the season
    buffer = young_season.loops.loc[young_season.loops["loop"] == "main", "buffer_g"].sum()
    assert f"{buffer / 28.349523125:,.1f} oz in {len(young_season.dates)} days" in answer.data["sentences"][0]
    # the fold holds a row for each month
    (table,) = answer.section("months").parts
    assert [row["month"] for row in table.rows] == re.findall(r'<td data-head="month">(.*?)</td>', html(at))
    assert len(table.rows) > 3


def test_other_loop_is_kept_when_the_page_is_left(monkeypatch):
    at = page(monkeypatch, "water")
    at.segmented_control(key="loop_picked").set_value("warm").run()
    assert own_ph(at)
    at.switch_page("stocksim/answers/library/page.py").run()
    at.switch_page("stocksim/answers/ramp/page.py").run()
    assert own_ph(at)
    assert not at.exception


def test_a_loop_whose_name_markdown_would_change_is_named_in_the_heading(monkeypatch, tmp_path):
    path = tmp_path / "two.toml"
    path.write_text(tomlkit.dumps(two_loops()).replace("warm", "warm_x_"), encoding="utf-8")
    at = page(monkeypatch, "water", path)
    assert [block.value for block in at.markdown][-1] == r"## Course of the water: Loop warm_x\_"


def test_ramp_on_demand_and_written_into_the_site(monkeypatch, young):
    at = page(monkeypatch, "water")
    assert "weakened by winter" in words(at)
    assert not at.code
    next(b for b in at.button if b.label == "Work out the feeding ramp").click().run()
    assert not at.exception
    ramp = feeding_ramp(young)
    answer = ramp_answer(ramp)
    told = [one[key] for one in answer.data["loops"] for key in ("answer", "as_fed_answer")]
    for said in (*told, *answer.data["cautions"], *answer.data["sources"]):
        assert escape(said, quote=False) in words(at)
    assert answer.section("sources").folded in [fold.label for fold in at.expander]
    (table,) = (part for part in answer.section("loops").parts if isinstance(part, Table))
    assert [row["held by"] for row in table.rows] == re.findall(r'<td data-head="held by">(.*?)</td>', html(at))
    (lines,) = answer.section("copy").parts[1:]
    assert at.code[0].value == "\n".join(lines.lines)
    before = at.session_state["site_text"]
    next(b for b in at.button if b.label == "Write the ramp into the site").click().run()
    assert not at.exception
    text = at.session_state["site_text"]
    written = tomllib.loads(text)["loops"]["main"]["feeding_ramp"]
    assert written == ramp.changes["loops.main.feeding_ramp"]
    assert "# soft" in text  # the keeper's own comments stay
    proved = run_season(site_from_text(text, FOLDER)).findings
    assert [(f.limit, f.where, f.days_broken) for f in proved] == [
        (f.limit, f.where, f.days_broken) for f in ramp.proof.findings
    ]
    # the site is another now, and the last change can be undone
    assert not at.code
    assert at.session_state["site_past"][-1][0] == before


def test_power_cut_answers_for_the_worst_hour_first(monkeypatch, young_season):
    at = page(monkeypatch, "powercut")
    shown = words(at)
    assert headline(power_cut(young_season)) in shown
    for caution in ("outdoors", "arbon monoxide", "transfer switch", "ground-fault", "Do not feed"):
        assert caution in shown
    assert "cylinder upright" not in shown


def fill(at: AppTest, **typed: str) -> AppTest:
    for label, text in typed.items():
        next(f for f in at.text_input if f.label.startswith(label)).set_value(text)
    at.button[-1].click().run()
    assert not at.exception
    return at


def test_power_cut_of_the_keeper(monkeypatch, young_season):
    at = page(monkeypatch, "powercut")
    fill(at, Day="2027-01-20", Hour="6.5", Battery="10 W", Oxygen="10 L", Pressure="2200 psi", Coldest="40 degF")
    shown = words(at)
    expected = power_cut(young_season, young_season.dates[111], 6.5, 10.0, 10.0, 2200 * 0.0689476, (40 - 32) * 5 / 9)
    assert str(expected.date) == "2027-01-20"
    assert headline(expected) in shown
    assert "lethal, battery air" in shown
    assert "lethal, cylinder" in shown
    assert "40.0 degF" in shown
    # the page speaks of its own field, not of the command line's option
    assert '"Coldest room air"' in shown
    assert "--room" not in shown
    assert "cylinder upright" in shown
    # what was typed is still there after another page was looked at
    at.switch_page("stocksim/answers/library/page.py").run()
    at.switch_page("stocksim/answers/powercut/page.py").run()
    assert headline(expected) in words(at)
    assert next(f for f in at.text_input if f.label == "Day").value == "2027-01-20"


@pytest.mark.parametrize(
    ("typed", "sentences"),
    [
        ({"Day": "soon", "Hour": "noon"}, ['"soon"', '"noon"']),
        ({"Day": "2031-01-01"}, ["lies outside the season"]),
        ({"Hour": "25"}, ["25", "from 0 to 24"]),
        ({"Battery": "10", "Coldest": "5 apples"}, ['"10" has no unit', "unit of temperature"]),
        ({"Oxygen": "10 L"}, ["give both"]),
        ({"Battery": "0 W", "Hour": "25"}, ["0 W is no ", "from 0 to 24"]),
        ({"Hour": "nan"}, ["nan"]),
    ],
)
def test_what_cannot_be_is_said(monkeypatch, tmp_path, typed, sentences):
    at = fill(page(monkeypatch, "powercut", bare(tmp_path)), **typed)
    for sentence in sentences:
        assert sentence in words(at)
    assert 'class="ss-card"' not in html(at)


def trouble_labels(season) -> list[str]:
    data = trouble_panel(season).to_dict()["datasets"]
    return [row["label"] for rows in data.values() for row in rows if row["label"]]


def test_broken_nitrite_shows_on_the_season_page(monkeypatch, young_season):
    at = page(monkeypatch, "season")
    cells = re.findall(r'<td data-head="nitrite">(.*?)</td>', html(at))
    assert len(cells) == 5
    assert sum("ss-bad" in cell for cell in cells) == 2
    assert any(label.startswith("birch: nitrite, ") for label in trouble_labels(young_season))


def test_overloaded_film_shows_on_the_season_page(monkeypatch, tmp_path):
    tables = one_tank(count=400, bed_m2=1.0, power_w=900.0)
    path = tmp_path / "crowded.toml"
    path.write_text(tomlkit.dumps(tables), encoding="utf-8")
    at = page(monkeypatch, "season", path)
    season = run_season(build(tables))
    overloaded = next(f for f in season.findings if f.limit == "biofilter" and f.is_broken)
    assert finding_sentence(overloaded, "metric") in words(at)
    assert trouble_panel(season).to_dict()["title"] in titles(at)
    assert any(label.startswith("main: biofilter overloaded, ") for label in trouble_labels(season))


def test_loop_fields_of_the_water_are_edited(monkeypatch, tmp_path):
    at = page(monkeypatch, "edit", bare(tmp_path))
    at.segmented_control(key="part").set_value("Loops").run()
    for label, text in (("alkalinity target", "80 mg/L"), ("alkalinity", "40 mg/L"), ("evaporation", "9 L/day")):
        next(f for f in at.text_input if f.label == label).set_value(text).run()
    next(s for s in at.selectbox if s.label == "buffer").set_value("calcium_hydroxide").run()
    assert not at.exception
    loop = site_from_text(at.session_state["site_text"], tmp_path).file.loops["main"]
    assert (loop.alkalinity_target, loop.buffer) == (80.0, "calcium_hydroxide")
    assert loop.evaporation == pytest.approx(0.009, rel=1e-12)
    assert loop.source_water is not None
    assert loop.source_water.alkalinity == 40.0
    at.switch_page("stocksim/answers/ramp/page.py").run()
    for said in (
        "Calcium hydroxide: caustic; it burns skin and eyes",
        "gloves and eye protection",
        "lift pH in minutes",
    ):
        assert said in words(at)


def test_faulty_text_keeps_the_last_sound_water(monkeypatch, tmp_path):
    at = page(monkeypatch, "edit", bare(tmp_path))
    at.segmented_control(key="part").set_value("Loops").run()
    next(f for f in at.text_input if f.label == "sump").set_value("much").run()
    for name in ("water", "powercut"):
        at.switch_page(str(script_of(name))).run()
        assert not at.exception
        assert "last sound version" in words(at)


def test_alkalinity_that_falls_short_is_said():
    # soft water found, a film far too small: a day's dose is held back
    tables = one_tank(
        count=200, days=60, ph=None, bed_m2=0.5, alkalinity_target="150 mg/L",
        source_water={"alkalinity": "20 mg/L"}, water_tests=[{"date": START, "alkalinity": "20 mg/L"}],
    )  # fmt: skip
    season = run_season(build(tables))
    short = season.loops[season.loops["alkalinity_mg_l"] < 0.9 * 150.0]
    dose, *others = water_answer(season, "main").data["sentences"]
    day = short["date"].iloc[0]
    assert f"150 mg/L on {len(short)} days, from {day.day} {day:%b %Y}" in dose
    assert [sentence.split(":")[0].split(",")[0] for sentence in others] == ["Top-up", "pH", "Biofilter bacteria"]


def test_alkalinity_that_runs_out_is_said():
    # soft water, no target: the film eats the alkalinity
    tables = one_tank(days=200, count=60)
    tables["loops"]["main"]["source_water"] = {"alkalinity": "10 mg/L"}
    season = run_season(build(tables))
    assert season.loops["alkalinity_mg_l"].min() < 20.0
    dose = water_answer(season, "main").data["sentences"][0]
    assert "gives no alkalinity target" in dose
    assert "pH can crash" in dose
