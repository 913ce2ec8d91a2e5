"""Every key of a site file has a field, a fault stands at its field, and the map shows and leads to every place."""

from __future__ import annotations

import datetime as dt
import tomllib
import xml.etree.ElementTree as ElementTree

import pytest

from stocksim.faces import editing, model_forms, rows, site_map
from stocksim.faces.forms import EXTRA, FORMS
from stocksim.site import climate_tables, fish_tables, model, pump_tables, stocking_tables
from stocksim.site.examples import example_text

TABLES = {
    "site": [model.SiteTable], "season": [model.SeasonTable], "loops": [model.LoopTable], "tanks": [model.TankTable],
    "beds": [model.BedTable], "biofilters": [model.BiofilterTable], "settlers": [model.SettlerTable],
    "pumps": [pump_tables.PumpTable], "backups": [pump_tables.GeneratorTable, pump_tables.BatteryTable],
    "cohorts": [fish_tables.CohortTable], "greenhouse": [climate_tables.GreenhouseTable],
    "fish_room": [climate_tables.FishRoomTable], "stocking": [stocking_tables.StockingTable],
    "advice": [stocking_tables.AdviceTable],
}  # fmt: skip


def keys(table: type) -> set[str]:
    return {info.alias or name for name, info in table.model_fields.items()}


@pytest.mark.parametrize("table", TABLES)
def test_every_key_of_a_table_has_a_field(table):
    form = {field.path[0] for field in [*model_forms.form_of(table), *FORMS.get(f"{table}, more", [])]}
    wanted = set().union(*map(keys, TABLES[table]))
    assert wanted - form - {"plantings" if table == "beds" else ""} == set()


def test_weather_of_each_kind_and_the_water_of_each_kind_have_all_their_fields():
    for kind, table in (("normals", climate_tables.NormalsWeather), ("file", climate_tables.FileWeather)):
        assert {field.path[0] for field in model_forms.form_of("weather", kind)} == keys(table) - {"kind"}
    for kind, table in (("constant", model.ConstantTemperature), ("log", model.LoggedTemperature)):
        assert {field.path[1] for field in EXTRA["water_temperature"][kind]} == keys(table) - {"kind"}
    assert {field.path[0] for field in model_forms.planting()} == keys(model.PlantingTable)


@pytest.mark.parametrize(
    ("path", "hint"),
    [
        (("tanks", "depth", "depth"), "80 cm"),  # a name that is a key as well
        (("loops", "main", "heat", "heater", "power"), "as 5 kW"),
        (("loops", "main", "source_water", "calcium"), "40 mg/L"),
        (("loops", "main", "water_tests", 0, "tan"), ""),
        (("greenhouse", "vents", "air_changes"), "20"),
        (("stocking", "candidates", "perch", "at_least"), "0"),
        (("pumps", "main", "power"), "as 35 W"),
        (("nothing", "of", "it"), ""),
    ],
)
def test_an_empty_field_shows_what_is_assumed(path, hint):
    assert model_forms.hint(path, {}) == hint


def test_what_is_assumed_is_shown_in_the_units_of_the_site():
    raw = {"site": {"units": "us"}}
    assert model_forms.hint(("greenhouse", "vents", "opens_at"), raw) == "as 81 degF"
    assert model_forms.hint(("tanks", "cedar", "volume"), raw).endswith(" gal")


# --- edits keep the file


TEXT = '# mine\n[loops.main]\nsump = "900 L"  # assumed: invented\nph = 7.0  # tested\n\n[tanks.one]\nloop = "main"\n'


def test_a_new_table_stands_under_a_heading_of_its_own_and_comments_stay():
    new = editing.add_table(TEXT, ("greenhouse",), {"floor_area": "50 m2", "cover": "glass"})
    assert new.startswith(TEXT.rstrip())
    assert "\n[greenhouse]\n" in new
    nested = editing.add_table(new, ("stocking", "candidates", "a"), {"species": "bluegill"})
    assert tomllib.loads(nested)["stocking"] == {"candidates": {"a": {"species": "bluegill"}}}


def test_a_value_of_ones_own_is_not_assumed_any_longer():
    assert editing.assumed(TEXT) == {("loops", "main", "sump")}
    new = editing.without_mark(editing.put(TEXT, ("loops", "main", "sump"), "950 L"), ("loops", "main", "sump"))
    assert editing.assumed(new) == set()
    assert "# tested" in new
    assert editing.without_mark(TEXT, ("loops", "main", "ph")) == TEXT


def test_the_line_of_a_place_is_found():
    assert editing.line_of(TEXT, ("loops", "main", "ph")) == 4
    assert editing.line_of(TEXT, ("tanks", "one", "volume")) == 6
    assert editing.line_of(TEXT, ("beds",)) is None


def test_all_that_has_a_date_is_in_the_calendar_in_order():
    raw = tomllib.loads(example_text("heron_lane_year"))
    held = rows.dated(raw)
    whats = [row["what"] for row in held]
    assert whats.count("season begins") == 1
    assert len([what for what in whats if what in {event["kind"] for event in raw["events"]}]) >= len(raw["events"])
    days = [dt.datetime.strptime(row["date"], "%d %b %Y") for row in held]
    assert days == sorted(days)


# --- the map


def test_the_map_holds_every_place_once_to_scale_and_inside_its_frame():
    raw = tomllib.loads(example_text("heron_lane"))
    drawn = site_map.draw(raw)
    wanted = {(table, name) for table in ("loops", "tanks", "beds", "biofilters") for name in raw.get(table, {})}
    assert {(place.table, place.name) for place in drawn.places} == wanted
    assert all(place.name in drawn.alt for place in drawn.places)
    root = ElementTree.fromstring(drawn.svg)
    groups = [node for node in root.iter() if node.get("data-place")]
    assert sorted(int(node.get("data-place")) for node in groups) == list(range(len(wanted)))
    left, top, width, height = map(float, root.get("viewBox").split())
    for node in groups:
        place = drawn.places[int(node.get("data-place"))]
        shapes = [one for one in node if one.get("stroke")]
        outline = shapes[0]
        if outline.get("r"):
            area = 3.14159265 * float(outline.get("r")) ** 2
            reach = (
                float(outline.get("cx")) + float(outline.get("r")),
                float(outline.get("cy")) + float(outline.get("r")),
            )
        else:
            area = float(outline.get("width")) * float(outline.get("height"))
            reach = tuple(
                float(outline.get(at)) + float(outline.get(size)) for at, size in (("x", "width"), ("y", "height"))
            )
        assert area == pytest.approx(place.area_m2, rel=0.01)  # three decimals of a metre are written
        assert left <= reach[0] <= left + width
        assert top <= reach[1] <= top + height


def test_sly_names_stay_words_and_what_cannot_be_read_is_drawn_all_the_same():
    sly = '<script>alert("x")</script>'
    drawn = site_map.draw({"loops": {sly: {"sump": "much"}}, "tanks": {"a": {"loop": "gone", "volume": 7}, "b": 3}})
    assert "<script" not in drawn.svg
    ElementTree.fromstring(drawn.svg)
    assert [(place.is_known, place.loop) for place in drawn.places] == [(False, sly), (False, ""), (False, "")]
    assert "<script>alert" not in site_map.html(drawn).replace(sly, "", 0).split("<script>(()")[0]
