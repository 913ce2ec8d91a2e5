"""Specifications of charts keep to the schema of Vega-Lite, which nothing checks while a page is shown."""

from __future__ import annotations

import altair as alt
import pandas as pd
import pytest
from jsonschema import ValidationError

from stocksim.answers.beds.changes import bed_plan
from stocksim.answers.beds.charts import bed_map, bed_stack
from stocksim.answers.cold.charts import temperature_stack
from stocksim.answers.cold.options import computed_site
from stocksim.answers.ramp.charts import loop_stack
from stocksim.answers.tankmates.charts import matrix_chart, windows_chart
from stocksim.answers.tankmates.decide import judge_company
from stocksim.engine.running import grow, run_season
from stocksim.faces import charts, vega
from stocksim.heat.temperatures import warmth_of_site
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site


@pytest.fixture(scope="module")
def season():
    return run_season(load_site(FOLDER / "heron_lane_computed.toml"))


def heat_stack(season) -> vega.Panel:
    return temperature_stack(season, warmth_of_site(computed_site(season.site)[0]))


MADE = {
    **charts.STACKS,
    "water": lambda season: loop_stack(season, season.layout.loops[0]),
    "beds": lambda season: bed_stack(season, bed_plan(season, is_sought=False).loops[0]),
    "map": bed_map,
    "heat": heat_stack,
    "matrix": lambda season: matrix_chart(judge_company(season)),
    "windows": lambda season: windows_chart(judge_company(season).loops[0], judge_company(season)),
    "one fish": lambda season: charts.one_fish({"15 degC": grow("bluegill", 20.0, 15.0, days=30)}, "bluegill", "us"),
}


@pytest.mark.parametrize("name", MADE)
def test_charts_keep_to_the_schema(season, name):
    spec = MADE[name](season).to_dict()
    alt.Chart.from_dict(spec, validate=True)
    named = {part["data"]["name"] for part in parts_of(spec)}
    assert named == set(spec["datasets"])  # what is drawn is sent, once


def parts_of(spec):
    inside = spec.get("layer", spec.get("vconcat"))
    return [spec] if inside is None else [part for one in inside for part in parts_of(one)]


def test_a_slip_is_seen():
    spec = vega.Chart(pd.DataFrame({"a": [1.0]})).mark("lime").encode(x="a:Q").to_dict()
    with pytest.raises(ValidationError):
        alt.Chart.from_dict(spec, validate=True)


def test_a_base_is_left_as_it_was():
    base = vega.Chart(pd.DataFrame({"a": [1.0]})).encode(x="a:Q")
    line = base.mark("line").encode(y="a:Q").transform_filter("datum.a > 0")
    assert (base.marked, list(base.encoding), base.options) == ({}, ["x"], {})
    assert line.transform_filter("datum.a < 9").to_dict()["transform"] == [
        {"filter": "datum.a > 0"},
        {"filter": "datum.a < 9"},
    ]
