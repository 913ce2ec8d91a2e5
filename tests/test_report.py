"""The printed report: what it holds, what it asks to buy, and that it needs nothing from elsewhere."""

from __future__ import annotations

import datetime as dt
import re
import subprocess
import sys

import numpy as np
import pytest
import tomlkit
from calm_sites import calm_text
from command_line import runner
from served import FAR_OUT_S
from small_sites import START, build, one_tank

from stocksim.answers.report.shopping import FEED_KEEPS_DAYS, shopping
from stocksim.engine.running import run_season
from stocksim.errors import InputError
from stocksim.faces import report
from stocksim.faces.picture_svg import picture_svg
from stocksim.heat.needed import fuel_needed
from stocksim.plants.nutrients import IRON_EVERY_DAYS, iron_dose_g
from stocksim.site.examples import FOLDER
from stocksim.site.reading import site_from_text


@pytest.fixture(scope="module")
def season():
    tables = one_tank(count=10, days=120, alkalinity_target="80 mg/L", buffer="potassium_bicarbonate")
    planting = {"crop": "lettuce", "from": START, "to": START + dt.timedelta(days=49)}
    tables["beds"]["gravel"]["plantings"] = [planting]
    tables["stocking"] = {"feed_price": 2.0}
    return run_season(build(tables))


def test_what_to_buy_is_what_the_season_uses(season):
    fed = season.course.fed_g[0].sum(axis=1) / 1000.0
    feed = [item for item in shopping(season, START) if item.use == "feed"]
    assert [item.by for item in feed] == [START, START + dt.timedelta(days=FEED_KEEPS_DAYS)]
    assert [item.kg for item in feed] == pytest.approx([fed[:FEED_KEEPS_DAYS].sum(), fed[FEED_KEEPS_DAYS:].sum()])
    assert [item.cost for item in feed] == pytest.approx([2.0 * item.kg for item in feed])
    later = START + dt.timedelta(days=100)
    assert [item.kg for item in shopping(season, later) if item.use == "feed"] == pytest.approx([fed[100:].sum()])
    others = {item.what: item for item in shopping(season, START) if item.use != "feed"}
    base = others["potassium bicarbonate"]
    assert base.kg == pytest.approx(season.course.buffer_g[0].sum() / 1000.0)
    assert base.cost is None
    times = -(-50 // IRON_EVERY_DAYS)
    iron = next(item for item in others.values() if item.what.startswith("iron"))
    assert iron.kg == pytest.approx(times * float(iron_dose_g(season.layout.loop_water_m3[0])) / 1000.0)


def test_fuel_is_that_of_the_heat():
    site = site_from_text(calm_text("heron_lane_computed"), FOLDER)
    needed = fuel_needed(site)
    assert needed
    for one in needed:
        assert one.by_day.sum() > 0.0
        if one.price is not None:
            assert one.cost() == pytest.approx(one.price * one.by_day.sum())
            assert one.cost(10) == pytest.approx(one.price * one.by_day[10:].sum())


def test_the_page_holds_all_and_asks_for_nothing(season):
    day = START + dt.timedelta(days=30)
    page = report.report_html(season, None, day)
    heads = re.findall(r"<h2>(.*?)</h2>", page)
    assert heads[:2] == ["What stands where on 31 Oct 2026", "The season at a glance"]
    for head in ("What to buy, by date", "Care", "When the power fails", "Feeding sheet of two weeks, in g"):
        assert head in heads
    assert not re.search(r"<script|<link|<img|@import|url\(|src=|href=", page)
    sheet = page[page.index("Feeding sheet") :]
    assert sheet.count("<tr>") >= 15  # two weeks and a head
    assert "1 Nov 2026" in sheet
    sizes = [float(size) for size in re.findall(r"font(?:-size)?:[^;}]*?([\d.]+)pt", page)]
    assert min(sizes) >= 9.0


def test_the_drawing_shows_the_numbers(season):
    drawn = picture_svg(season, START)
    lines = re.findall(r'<path d="(M[^"]*)" fill="none" stroke="[^"]*" stroke-width="2.4"', drawn)
    assert len(lines) == 1
    heights = [float(place.split()[1]) for place in re.split("[ML]", lines[0])[1:]]
    assert len(heights) == len(season.dates)
    density = season.tanks["density_kg_m3"].to_numpy()
    # a straight line from density to height, downwards
    assert np.corrcoef(density, heights)[0, 1] < -0.999
    assert ">today<" in drawn
    assert ">today<" not in picture_svg(season, START - dt.timedelta(days=1))


def test_the_day_it_begins_on(season):
    assert report.first_day(season, START, is_asked=True) == START
    assert report.first_day(season, dt.date(2031, 1, 1), is_asked=False) == START
    with pytest.raises(InputError, match="--on: 1 Jan 2031"):
        report.first_day(season, dt.date(2031, 1, 1), is_asked=True)


def test_the_command_writes_a_report_and_over_nothing_else(tmp_path, monkeypatch, capsys):
    run, out = runner(monkeypatch, capsys, tmp_path), tmp_path / "report.html"
    (tmp_path / "house.toml").write_text(tomlkit.dumps(one_tank(count=10)), encoding="utf-8")
    for _ in range(2):  # a report may be written anew
        assert run("report", "house.toml", "--out", "report.html").code == 0
    assert report.is_report(out)
    out.write_text("my own page", encoding="utf-8")
    assert run("report", "house.toml", "--out", "report.html").code == 2
    assert out.read_text(encoding="utf-8") == "my own page"


def test_the_report_starts_no_server_of_pages():
    script = "import stocksim.faces.report, sys; print('streamlit' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=FAR_OUT_S, check=True)
    assert ran.stdout == "False\n"
