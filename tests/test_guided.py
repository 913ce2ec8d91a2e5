"""Five questions to a site file: sound whatever is left out, answers as they were typed, each fault at its answer."""

from __future__ import annotations

import datetime as dt

import pytest
from test_epw import YEAR, write

from stocksim.faces import editing, guided
from stocksim.faces.guided import ASKS, HEATED, HOUSE
from stocksim.site.examples import FOLDER

TODAY = dt.date(2026, 11, 30)


def begun(units="metric", **answers):
    return guided.begin(answers, units, TODAY, FOLDER)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_no_answer_at_all_makes_a_sound_file_with_all_of_it_marked(units):
    draft = begun(units)
    assert draft.site is not None
    assert draft.faults == {}
    marked = editing.assumed(draft.text)
    assert {
        ("tanks", "tank_1", "volume"),
        ("tanks", "tank_1", "flow"),
        ("cohorts", "fish_1", "count"),
        ("weather", "low"),
    } <= marked
    assert draft.site.file.site.units == units


def test_answers_stand_as_typed_and_are_not_marked():
    draft = begun("us", tanks="3", volume="210 gal", count="50", species="bluegill", latitude="-38")
    assert draft.site is not None
    file = draft.site.file
    assert [cohort.count for cohort in file.cohorts.values()] == [17, 17, 16]
    assert {cohort.feed for cohort in file.cohorts.values()} == {"sunfish_44"}
    assert 'volume = "210 gal"' in draft.text
    assert ("tanks", "tank_3", "volume") not in editing.assumed(draft.text)
    # south of the equator the winter is in July
    assert file.season.start.month == 4
    assert file.weather.low["jul"] < file.weather.low["jan"]


def test_a_heated_house_has_the_heater_that_its_coldest_night_asks():
    draft = begun(way=HEATED, air="8 degC", floor="60 m2")
    assert draft.site is not None
    (judged,) = guided.judged_heaters(draft.site)
    assert judged.needed_kw * 1.25 <= judged.power_kw <= judged.needed_kw * 1.25 + 0.5
    cold = begun(way=HOUSE)
    assert cold.site is not None
    assert cold.site.file.greenhouse.heater is None


@pytest.mark.parametrize("kind", ASKS["bed"].choices)
def test_every_kind_of_bed_makes_a_sound_site_whose_ammonia_is_eaten(kind):
    draft = begun(bed=kind)
    assert draft.faults == {}
    file = draft.site.file
    assert file.beds["bed"].kind == kind
    assert bool(file.biofilters) == (kind in ("tower", "wicking"))
    assert [settler.feeds for settler in file.settlers.values()] == ["bed"] * (kind == "wicking")


def test_a_year_of_weather_takes_the_place_of_four_temperatures(tmp_path):
    write(tmp_path, YEAR)
    draft = guided.begin({"way": HOUSE, "winter_low": "cold"}, "metric", TODAY, tmp_path, "nowhere.epw")
    assert draft.faults == {}
    assert (draft.site.file.weather.kind, draft.site.file.weather.file) == ("file", "nowhere.epw")
    (tmp_path / "nowhere.epw").write_text("no weather", encoding="utf-8")
    wrong = guided.begin({"way": HOUSE}, "metric", TODAY, tmp_path, "nowhere.epw")
    assert wrong.site is None
    assert list(wrong.faults) == [guided.WEATHER_FILE]


WRONG = {
    "latitude": "95", "winter_low": "cold", "winter_high": "-90 degC", "summer_low": "12", "summer_high": "1e9 degF",
    "tanks": "two", "volume": "-5 L", "sump": "700", "area": "3 kg", "count": "-4", "weight": "heavy",
    "water": "70 degC",
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_answer_has_one_sentence_at_its_field(name):
    draft = begun(**{name: WRONG[name]})
    assert draft.site is None
    assert list(draft.faults) == [name]
    assert len(draft.faults[name]) == 1


def test_all_wrong_answers_are_told_at_once():
    assert set(begun(**WRONG).faults) == set(WRONG)


def test_every_place_of_an_answer_is_one_of_the_file():
    text = begun(way=HEATED, tanks="2").text + begun().text.replace("[", "#[", 0)
    keys = {place.rpartition(".")[2].split("[")[0] for ask in ASKS.values() for place in ask.places}
    assert all(f"{key} =" in text for key in keys)
