"""Pumps, circuits, backups and the level of the sump: what is understood, what is refused, what is warned of."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from pumped_sites import farm, one_pump
from site_faults import GONE, changed, faults_of
from small_sites import build, one_tank

from stocksim import run_season
from stocksim.engine.arrays.layout import build_layout
from stocksim.faces import editing, renaming
from stocksim.faces.understood import understood
from stocksim.heat.notes import site_questions
from stocksim.heat.plan import build_heat_plan
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.model import SiteFile
from stocksim.site.pumps import backup_hours, carried, circuit_w, pump_flow_m3_day
from stocksim.site.reading import site_from_tables
from stocksim.site.sump_levels import bed_swing_m3, sump_swing

HERE = Path()


def numbers(words: str) -> list[float]:
    return [float(found.replace(",", "")) for found in re.findall(r"\d[\d,]*(?:\.\d+)?", words)]


# --- what is understood


def test_each_pump_moves_what_it_feeds():
    file = build(farm()).file
    moved = {key: pump_flow_m3_day(file, pump) * 1000.0 / 24.0 for key, pump in file.pumps.items()}
    assert moved == pytest.approx({"main": 3600.0, "side": 1000.0, "towers": 150.0})


def test_a_tower_on_its_own_line_has_the_flow_of_its_pump():
    assert build(farm()).file.beds["line"].flow == pytest.approx(0.15 * 24.0)
    (fault,) = faults_of(changed(farm(), {"pumps.towers.flow": GONE}))
    assert (fault.table, fault.field) == ("beds.line", "flow")


def test_an_overflow_gives_the_bed_below_what_the_tank_gets_and_nothing_is_lifted_twice():
    file = build(one_pump()).file
    assert file.beds["gravel"].flow == file.tanks["one"].flow
    assert pump_flow_m3_day(file, file.pumps["only"]) == file.tanks["one"].flow
    assert set(circuit_w(file)) == {"mains"}
    assert circuit_w(file)["mains"] == pytest.approx(30.0 + 60.0)


def test_circuits_carry_pumps_air_and_electric_heat():
    tables = farm()
    tables["loops"]["cool"]["heat"] = {
        "heater": {"power": "2 kW", "set_point": "18 degC", "fuel": "electricity", "circuit": "heat"}
    }
    watts = circuit_w(build(tables).file)
    assert watts == pytest.approx(
        {"mains": 0.0, "water": 120.0, "west": 45.0 + 40.0, "towers": 20.0, "air": 20.0 + 60.0, "heat": 2000.0}
    )


def test_backups_last_as_long_as_fuel_and_charge():
    file = build(farm()).file
    engine, cells = carried(file, circuit_w(file))
    assert (engine.load_w, engine.begins_h, engine.ends_h) == pytest.approx((200.0, 0.5, 10.5))
    # 960 Wh on the label, two thirds of it over 80 W
    assert (cells.load_w, cells.begins_h, cells.ends_h) == pytest.approx((80.0, 0.0, 8.0))
    assert [one.name for one in carried(file, ["air"])] == ["engine", "cells"]
    assert carried(file, ["west"]) == []
    assert backup_hours(file.backups["cells"], 0.0) == np.inf


def test_a_raft_on_the_sump_has_no_water_of_its_own():
    tables = farm()
    site = build(tables)
    layout = build_layout(site)
    without = build(changed(tables, {"beds.isle": GONE}))
    assert loop_water_m3(site.file, "cool") == pytest.approx(loop_water_m3(without.file, "cool"))
    assert layout.loop_water_m3[0] == pytest.approx(build_layout(without).loop_water_m3[0])
    # 1.5 of the 2.5 m2 lie under the raft, 60 cm deep
    leaf = layout.units.index("beds.isle") + len(layout.tanks)
    assert layout.volume_m3[leaf] == pytest.approx(0.9)
    assert layout.sump_volume_m3[0] == pytest.approx(0.6)
    assert layout.sump_surface_m2[0] == pytest.approx(1.0)
    plan = build_heat_plan(site.file, site.held_c)
    assert sum(plan.volume_m3) == pytest.approx(loop_water_m3(site.file, "cool"))


def test_pumps_warm_the_loop_with_the_watts_of_their_plates():
    tables = farm()
    plan = build_heat_plan(build(tables).file, {})
    assert plan.network.gain_w.sum(axis=-1) == pytest.approx(185.0)
    one = changed(
        tables, {"pumps": GONE, "backups": GONE, "loops.cool.heat": {"pump": "185 W"}, "beds.line.flow": "150 L/h"}
    )
    assert build_heat_plan(build(one).file, {}).network.gain_w == pytest.approx(plan.network.gain_w)


def test_old_files_run_the_same_to_the_bit_beside_their_pumps():
    plain = one_tank(days=6)
    pumped = changed(plain, {"pumps": {"only": {"feeds": ["one", "gravel"], "power": "40 W", "lift": "1 m"}}})
    old, new = (run_season(build(tables)).course for tables in (plain, pumped))
    for name in ("weight_g", "oxygen_mg_l", "tan_mg_l", "nitrate_mg_l", "alkalinity_mg_l"):
        np.testing.assert_array_equal(getattr(old, name), getattr(new, name))


def test_check_tells_pumps_and_backups():
    said = understood(build(farm()))
    assert len(said["pumps"]) == 3
    assert 2.88 in numbers(said["pumps"][0])  # 120 W for a day
    assert {1500.0, 200.0, 30.0, 10.0} <= set(numbers(said["backups"][0]))


# --- the sump


def test_the_sump_holds_what_drains_back_or_the_check_says_by_how_much_not():
    file = build(farm()).file
    swing = sump_swing(file, "cool")
    # 3 m2 x (30 - 5) cm x 0.4 of voids, and what is written; half of it stands in the beds on average
    assert [bed_swing_m3(file.beds[key]) for key in ("north_gravel", "south_gravel")] == pytest.approx([0.3, 0.28])
    assert swing.from_beds == pytest.approx(0.29)
    assert (swing.from_towers, swing.from_pipes) == pytest.approx((0.02, 0.04))
    assert (swing.lowest, swing.drained, swing.stopped) == pytest.approx((1.21, 1.79, 1.85))
    assert site_questions(build(farm())) == ()
    (holds,) = [note for note in build(farm()).notes if note.startswith("loops.cool: the sump")]
    assert numbers(holds) == [350.0, 350.0]

    low = build(changed(farm(), {"loops.cool.sump_brim": "1800 L"}))
    (told,) = site_questions(low)
    assert told.startswith("loops.cool.sump_brim")
    assert {1500.0, 290.0, 20.0, 40.0, 1850.0, 50.0, 1800.0} <= set(numbers(told))
    lower = build(changed(farm(), {"loops.cool.sump_brim": "1700 L"}))
    assert [1790.0 in numbers(said) for said in site_questions(lower)] == [False, True]


def test_a_pump_that_runs_dry_when_all_beds_are_full_is_told():
    dry = build(changed(farm(), {"loops.cool.sump_least": "1300 L"}))
    (told,) = site_questions(dry)
    assert told.startswith("loops.cool.sump_least")
    assert numbers(told) == [290.0, 1500.0, 1210.0, 1300.0]
    small = build(changed(farm(), {"loops.cool.sump": "250 L", "loops.cool.sump_least": GONE, "beds.isle": GONE}))
    assert any(said.startswith("loops.cool.sump:") for said in site_questions(small))


def test_more_media_swings_more():
    def stopped(square_meters: float) -> float:
        return sump_swing(
            build(changed(farm(), {"beds.north_gravel.area": f"{square_meters} m2"})).file, "cool"
        ).stopped

    levels = [stopped(area) for area in (1.0, 2.0, 4.0, 8.0)]
    assert levels == sorted(set(levels))


def test_a_site_without_pumps_or_levels_is_told_nothing_of_them():
    notes = build(one_tank()).notes
    assert not any("sump" in note.split(":")[0] and "brim" in note for note in notes)


# --- what cannot be


@pytest.mark.parametrize(
    ("changes", "place", "words"),
    [
        ({"pumps.main.feeds": ["esat"]}, "pumps.main.feeds[1]", ['"esat"', "east, west"]),
        ({"pumps.main.feeds": []}, "pumps.main.feeds", ["north_raft"]),
        ({"pumps.side.feeds": ["west", "east"]}, "pumps.side.feeds[2]", ["tanks.east", "pumps.main"]),
        ({"pumps.side.feeds": ["west", "isle"]}, "pumps.side.feeds[2]", ["beds.isle"]),
        ({"pumps.main.flow": "5000 L/h"}, "pumps.main.flow", ["5,000 L/h", "3,600 L/h", "1,800 L/h"]),
        ({"beds.north_gravel.flow": GONE, "beds.south_gravel.flow": GONE}, "pumps.main.flow", ["beds.north_gravel"]),
        ({"tanks.east.overflows_to": ["west"]}, "tanks.east.overflows_to[1]", ['"west"', "drip"]),
        ({"biofilters.drip.flow": "4000 L/h"}, "tanks.east.overflows_to", ["1,800 L/h", "4,000 L/h"]),
        ({"loops.cool.heat": {"pump": "100 W"}}, "loops.cool.heat.pump", ["[pumps]"]),
        ({"loops.cool.sump_brim": "1400 L"}, "loops.cool.sump_brim", ["1,400 L", "1,500 L"]),
        ({"loops.cool.sump_least": "1500 L"}, "loops.cool.sump_least", ["1,500 L"]),
        ({"backups.engine.carries": ["watre"]}, "backups.engine.carries[1]", ['"watre"', "mains, water, west"]),
        ({"backups.engine.power": "150 W"}, "backups.engine.power", ["150 W", "200 W", "water 120 W"]),
        ({"backups.engine.after_minutes": GONE}, "backups.engine.after_minutes", ["20"]),
        ({"backups.engine.burns": GONE}, "backups.engine.burns", ["1.2 L/h"]),
        ({"backups.engine.energy": "2 kWh"}, "backups.engine.energy", ["fuel_volume"]),
        ({"backups.cells.kind": "flywheel"}, "backups.cells.kind", ["generator", "battery"]),
        ({"beds.isle.flow": "100 L/h"}, "beds.isle.flow", ["sump"]),
        ({"beds.isle.flooding": "siphon"}, "beds.isle.flooding", ["raft"]),
        (
            {"beds.tub": {"loop": "cool", "kind": "wicking", "area": "1 m2", "floats_on_sump": True}},
            "beds.tub.floats_on_sump", ["wicking"],
        ),
        ({"beds.isle.area": "4 m2"}, "beds.isle.floats_on_sump", ["2.5 m2", "4.0 m2"]),
        ({"pumps.main.power": "10 W"}, "pumps.main.power", ["10 W", "3,600 L/h", "157 %"]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_sentence(changes, place, words):
    (fault,) = faults_of(changed(farm(), changes))
    assert f"{fault.table}.{fault.field}" == place
    for word in words:
        assert word in fault.message


def test_a_pump_keeps_to_one_loop_and_a_name_to_one_place():
    tables = farm()
    tables["loops"]["warm"] = {"sump": "400 L", "water_temperature": {"kind": "constant", "value": "20 degC"}}
    tables["tanks"]["hot"] = {"loop": "warm", "volume": "500 L", "flow": "500 L/h"}
    (fault,) = faults_of(changed(tables, {"pumps.side.feeds": ["west", "hot"]}))
    assert (fault.table, fault.field) == ("pumps.side", "feeds[2]")
    assert "loop warm" in fault.message
    tables["tanks"]["drip"] = {"loop": "warm", "volume": "500 L", "flow": "500 L/h"}
    (fault,) = faults_of(changed(tables, {"pumps.side.feeds": ["west", "drip"]}))
    assert "tanks.drip" in fault.message
    assert "biofilters.drip" in fault.message


def test_faults_elsewhere_do_not_make_faults_of_pumps():
    (fault,) = faults_of(changed(farm(), {"tanks.east.flow": "lots"}))
    assert (fault.table, fault.field) == ("tanks.east", "flow")
    (fault,) = faults_of(changed(farm(), {"tanks.east.loop": GONE}))
    assert (fault.table, fault.field) == ("tanks.east", "loop")


def test_a_plate_that_hardly_lifts_its_flow_is_asked_about():
    # 3,600 L/h by 1.6 m are 15.7 W of lifted water: 0.63 of 25 W
    (asked,) = site_questions(build_unjudged(changed(farm(), {"pumps.main.power": "25 W"})))
    assert asked.startswith("pumps.main.power")
    assert {25.0, 3600.0, 63.0} <= set(numbers(asked))
    assert site_questions(build_unjudged(changed(farm(), {"pumps.main.power": "30 W"}))) == ()


def build_unjudged(tables: dict):
    return site_from_tables(tables, HERE)


def test_renamed_things_keep_their_pumps():
    text = (
        '[tanks.a]\nvolume = "1 m3"\noverflows_to = ["c"]\n[beds.c]\nkind = "raft"\n'
        '[biofilters.d]\nkind = "trickling"\n'
        '[pumps.p]\nfeeds = ["a", "d"]\n'
    )
    text = renaming.rename_entry(text, "tanks", "a", "alder")
    text = renaming.rename_entry(text, "beds", "c", "cress")
    raw = editing.tables(renaming.rename_entry(text, "biofilters", "d", "drum"))
    assert raw["pumps"]["p"]["feeds"] == ["alder", "drum"]
    assert raw["tanks"]["alder"]["overflows_to"] == ["cress"]


def test_generators_and_pumps_bring_their_cautions():
    notes = " ".join(build(farm()).notes)
    for word in ("carbon monoxide", "outdoors only", "back-feed", "ground-fault", "licensed electrician"):
        assert word in notes
    assert "carbon monoxide" not in " ".join(build(one_pump()).notes)


def test_every_key_has_its_field_on_the_edit_page():
    from stocksim.faces.forms import FORMS

    for table in ("pumps", "backups"):
        keys = {field.path[0] for field in FORMS[table]}
        kinds = [SiteFile.model_fields[table].annotation.__args__[1]]
        models = getattr(kinds[0], "__args__", kinds)[0]
        models = getattr(models, "__args__", (models,))
        assert keys == {key for model in models for key in model.model_fields}
