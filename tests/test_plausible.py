"""Numbers that can hardly be meant: refused, or asked about; computed water and air that cannot be."""

from __future__ import annotations

import datetime as dt
import tomllib

import numpy as np
import pytest
from site_faults import DEMO, GONE, STARTER, changed, good_english
from small_sites import one_tank

from stocksim.errors import InputError
from stocksim.faces.words import cautions
from stocksim.heat.notes import site_notes, site_questions
from stocksim.heat.temperatures import water_c
from stocksim.site import reading
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.site.plausible import PLAUSIBLE
from stocksim.site.reading import load_site, site_from_tables
from stocksim.water.oxygen import surface_exchange_velocity

COMPUTED = tomllib.loads(example_text("heron_lane_computed"))


def computed(changes: dict) -> dict:
    return changed(COMPUTED, changes)


def refused(tables: dict, folder=FOLDER) -> dict[str, str]:
    """Message of every fault by its place, as ``tanks.cedar.flow``; no place has two."""
    with pytest.raises(InputError) as caught:
        # computed water is worked out, and judged, when it is first asked for
        water_c(site_from_tables(tables, folder))
    for fault in caught.value.faults:
        good_english(fault)
    found = {".".join(filter(None, (fault.table, fault.field))): fault.message for fault in caught.value.faults}
    assert len(found) == len(caught.value.faults)
    return found


@pytest.mark.parametrize("name", example_names())
def test_nothing_of_an_example_is_asked_about(name):
    assert load_site(FOLDER / f"{name}.toml").questions == ()


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"beds.long_gravel.area": "4000 m2"}, "beds.long_gravel.area"),
        ({"beds.long_gravel.depth": "1 mm"}, "beds.long_gravel.depth"),
        ({"tanks.cedar.oxygen_supply.power": "200 kW"}, "tanks.cedar.oxygen_supply.power"),
        ({"tanks.cedar.flow": "1000000 m3/day"}, "tanks.cedar.flow"),
        ({"loops.warm.heat.pump": "100 kW"}, "loops.warm.heat.pump"),
        ({"tanks.alder.volume": "1.2 L", "cohorts.winter_trout.mean_weight": "0.34 lb"}, "cohorts.winter_trout.count"),
        (
            {"cohorts.pond_bluegill.mean_weight": "20 kg", "cohorts.pond_bluegill.count": 1},
            "cohorts.pond_bluegill.mean_weight",
        ),
        (
            {"greenhouse.lamps": {"power": "1000 kW", "from_hour": 5, "to_hour": 21}, "greenhouse.floor_area": "40 m2"},
            "greenhouse.lamps.power",
        ),
    ],
)  # fmt: skip
def test_what_nobody_has_is_refused_at_its_place(changes, place):
    assert place in refused(computed(changes))


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"cohorts.autumn_perch.count": 6000, "tanks.cedar.volume": "1 m3"}, "cohorts.autumn_perch.count"),
        ({"tanks.cedar.flow": "10 L/h", "tanks.cedar.volume": "4000 L"}, "tanks.cedar.flow"),
        ({"beds.long_gravel.area": "120 m2"}, "beds.long_gravel.area"),
        ({"beds.long_gravel.depth": "2 cm"}, "beds.long_gravel.depth"),
        ({"tanks.cedar.depth": "5 cm"}, "tanks.cedar.depth"),
        (
            {"tanks.cedar.oxygen_supply": {"kind": "measured", "transfer": "2 kg/h"}},
            "tanks.cedar.oxygen_supply.transfer",
        ),
        ({"loops.warm.heat.pump": "3 kW"}, "loops.warm.heat.pump"),
        (
            {"cohorts.pond_bluegill.mean_weight": "3 kg", "cohorts.pond_bluegill.count": 1},
            "cohorts.pond_bluegill.mean_weight",
        ),
    ],
)  # fmt: skip
def test_what_few_have_is_asked_about_and_runs(changes, place):
    site = site_from_tables(changed(DEMO, changes), FOLDER)
    assert [q for q in site.questions if q.startswith(f"{place}: ")], site.questions
    assert site.notes[: len(site.questions)] == site.questions == site_questions(site)[: len(site.questions)]


def test_a_month_far_off_both_its_neighbours_is_asked_about():
    water = {"kind": "monthly", "values": {"oct": "16 degC", "nov": "3 degC", "dec": "13 degC"}}
    tables = one_tank(days=80, count=0, **{"water_temperature": water})
    (question,) = site_from_tables(tables, FOLDER).questions
    assert question.split(": ")[0] == "loops.main.water_temperature.values.nov"


@pytest.mark.parametrize(
    "ration",
    [
        {"kind": "percent", "percent": 1.5},
        {"kind": "fixed", "per_day": "75 g"},
        {"kind": "table", "temperatures": ["5 degC"], "weights": ["50 g"], "percent": [[1.5]]},
    ],
)
def test_a_ration_that_fish_in_cold_water_hardly_eat_is_asked_about(ration):
    tables = one_tank("yellow_perch", "perch_45", 7.0, count=100, mean_weight_g=50.0)
    tables["cohorts"]["fish"]["ration"] = ration
    site = site_from_tables(tables, FOLDER)
    (asked,) = site_questions(site)
    assert asked.startswith("cohorts.fish.ration: ")
    assert site_notes(site) == (asked, *site.notes)
    for fitting in ({"loops.main.water_temperature.value": "22 degC"}, {"cohorts.fish.ration.stop_below": "9 degC"}):
        assert site_questions(site_from_tables(changed(tables, fitting), FOLDER)) == ()


def test_a_question_is_printed_by_the_season_too(demo_season):
    asked = demo_season.site.with_changes({"tanks.cedar.flow": "1 L/h"})
    assert asked.questions
    told = cautions(type(demo_season)(asked, demo_season.layout, demo_season.course, demo_season.planting))
    assert set(asked.questions) <= set(told)


def test_a_feed_without_the_protein_for_its_energy_is_refused(tmp_path):
    own = tmp_path / "species_params" / "feeds"
    own.mkdir(parents=True)
    shipped = (FOLDER.parents[2] / "species_params" / "feeds" / "perch_45.toml").read_text(encoding="utf-8")
    (own / "starch.toml").write_text(
        shipped.replace("value = 0.45\nunit", "value = 0.02\nunit").replace("[0.43, 0.47]", "[0.01, 0.47]"),
        encoding="utf-8",
    )
    tables = one_tank("yellow_perch", "starch", 20.0)
    assert "cohorts.fish.feed" in refused(tables, tmp_path)


# --- computed heat


def test_a_mistyped_loop_of_a_planted_bed_is_told_on_a_computed_site():
    [(place, said)] = refused(computed({"beds.north_raft.loop": "mian"})).items()
    assert place == "beds.north_raft.loop"
    assert '"mian"' in said
    assert said.endswith(" main, warm.")


def test_water_too_hot_for_the_formulas_is_told_with_the_likeliest_cause():
    [(place, said)] = refused(computed({"loops.warm.heat.pump": "9 kW"})).items()
    assert place == "loops.warm.water_temperature"
    assert "loops.warm.heat.pump: " in said
    assert '"9 kW"' in said


def test_air_that_cannot_be_is_told_even_where_no_number_is_doubted(monkeypatch):
    monkeypatch.setitem(reading.site_doubts.__globals__, "_judge", lambda relation, doubts: None)
    [(place, said)] = refused(computed({"tanks.cedar.depth": "1 mm"})).items()
    assert place == "greenhouse"
    assert "gives air of " in said


def test_months_whose_days_would_be_ice_are_refused():
    cold = {"loops.main.water_temperature.values.oct": "1.5 degC"}  # between 19 and 13 degC
    [(place, said)] = refused(changed(DEMO, cold)).items()
    assert place == "loops.main.water_temperature"
    assert " ice;" in said
    site_from_tables(changed(DEMO, cold | {"loops.main.water_temperature.at_least": "0 degC"}), FOLDER)


def test_months_at_freezing_stay_water_and_it_is_said():
    months = {"oct": "8 degC", "nov": "2 degC", "dec": "0 degC", "jan": "0 degC", "feb": "2 degC"}
    site = site_from_tables(
        one_tank(days=150, count=0, water_temperature={"kind": "monthly", "values": months}), FOLDER
    )
    assert site.held_c["main"].min() == 0.0
    assert [note for note in site.notes if "are taken as 0 degC" in note]


@pytest.mark.parametrize("reading_c", [40.5, 44.9])
def test_a_log_hotter_than_the_formulas_hold_is_refused(reading_c, tmp_path):
    days = [dt.date(2026, 10, 1) + dt.timedelta(days=n) for n in range(30)]
    lines = [f"{day},{reading_c if n == 9 else 25}" for n, day in enumerate(days)]
    (tmp_path / "log.csv").write_text("\n".join(["date,temperature_c", *lines]), encoding="utf-8")
    tables = one_tank(count=0, water_temperature={"kind": "log", "file": "log.csv"})
    [(place, said)] = refused(tables, tmp_path).items()
    assert place == "loops.main.water_temperature"
    assert said.startswith("log.csv, line 11: ")
    assert "-2 to 40 degC" in said


def test_gas_exchange_rises_smoothly_as_far_as_water_is_allowed():
    speed = surface_exchange_velocity(np.linspace(-2.0, 40.0, 421))
    assert (np.diff(speed) > 0.0).all()
    assert np.diff(np.log(speed)).max() < 0.01  # less than a hundredth more for a tenth of a degree


def test_refusals_and_faults_of_names_are_told_together():
    said = refused(
        changed(STARTER, {"tanks.first.flow": "1000000 m3/day", "cohorts.perch.feed": "gravel", "beds": GONE})
    )
    assert set(said) == {"tanks.first.flow", "cohorts.perch.feed"}
    assert '"gravel"' in said["cohorts.perch.feed"]


def test_the_docs_list_every_relation_with_what_is_usual():
    page = (FOLDER.parents[2] / "docs" / "site_file.md").read_text(encoding="utf-8")
    assert [bound.usual for bound in PLAUSIBLE.values() if bound.usual not in page] == []


def test_names_that_are_faults_themselves_do_no_harm():
    tables = changed(STARTER, {})
    tables["tanks"]["a.b"] = tables["tanks"].pop("first")
    tables["tanks"][""] = tables["tanks"]["a.b"]
    assert "a usable name" in refused(tables)["tanks.a.b"]
