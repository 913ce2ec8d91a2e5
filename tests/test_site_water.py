"""The keys of a loop's water and of settlers: every fault in a sentence at its place, all at once, and what is read."""

from __future__ import annotations

import datetime as dt

import pytest
from site_faults import GONE, STARTER, changed, faults_of, told

from stocksim.site.examples import FOLDER
from stocksim.site.reading import site_from_tables

START = dt.date(2026, 10, 1)
OUTSIDE = ["is outside the season 2026-10-01 to 2027-04-30"]
TESTS, CHANGES, RAMP, CYCLING = (
    f"loops.main.{key}" for key in ("water_tests", "water_changes", "feeding_ramp", "fishless_cycling")
)
TEST, CHANGE = {"date": START, "tan": "1 mg/L"}, {"date": START, "volume": "100 L"}
STEP = {"from": dt.date(2026, 10, 15), "share": 0.5}
DOSING = {"from": START, "to": dt.date(2026, 10, 14), "ammonia_nitrogen": "5 g/day"}
POT, SWIRL = "settlers.pot", {"loop": "main", "kind": "swirl"}

# what is changed in the starter site, where the fault must be told, words that must be in it
ONE_FAULT = [
    # water of a loop
    ({"tanks.first.flow": "0 L/h"}, ("tanks.first", "flow"), ['"0 L/h"', "between 1 L/day and"]),
    ({"loops.main.ph": 14}, ("loops.main", "ph"), ["14 is not allowed", "between 5 and 10"]),
    ({"loops.main.buffer": "baking_soda"}, ("loops.main", "buffer"),
     ['"baking_soda" is not known here', '"calcium_hydroxide", "potassium_hydroxide" or "sodium_bicarbonate"']),
    ({"loops.main.evaporation": "-3 L/day"}, ("loops.main", "evaporation"), ['"-3 L/day"', "0 or more"]),
    ({"loops.main.evaporation": "3 L"}, ("loops.main", "evaporation"), ['"L" is not a unit of flow']),
    ({"loops.main.new_water": "5 L"}, ("loops.main", "new_water"), ['"L" is not a unit of flow']),
    ({"loops.main.new_water": "100 L/min"}, ("loops.main", "new_water"),
     ['"100 L/min" fills the loop', "more than 24 times a day", "a day or less"]),
    ({"loops.main.source_water": {"alkalinity": "-1 mg/L"}}, ("loops.main", "source_water.alkalinity"),
     ['"-1 mg/L"', "between 0 and 5000 mg/L"]),
    ({"loops.main.source_water": {"iron": "1 mg/L"}}, ("loops.main", "source_water.iron"),
     ["known are alkalinity, calcium, chloride, nitrate_n, phosphorus, potassium, sodium"]),
    ({"loops.main.source_water": "soft"}, ("loops.main", "source_water"), ['"soft"', "write a table"]),
    ({"loops.main.biofilter_start": "old"}, ("loops.main", "biofilter_start"),
     ['"old"', '"new", "seeded" or "mature"']),
    ({TESTS: [TEST | {"tan": "-1 mg/L"}]}, ("loops.main", "water_tests[1].tan"), ['"-1 mg/L"', "0 and 5000 mg/L"]),
    ({TESTS: [TEST | {"nitrite_n": "9 g/L"}]}, ("loops.main", "water_tests[1].nitrite_n"), ['"g/L" is not a unit']),
    ({TESTS: [TEST, {"tan": "1 mg/L"}]}, ("loops.main", "water_tests[2].date"), ["is missing", "write a date"]),
    ({TESTS: [TEST | {"date": dt.date(2026, 9, 30)}]}, ("loops.main", "water_tests[1].date"), OUTSIDE),
    ({TESTS: dict(TEST)}, ("loops.main", "water_tests"), ["a table", "write a list"]),
    ({TESTS: [TEST | {"hardness": 7.0}]}, ("loops.main", "water_tests[1].hardness"),
     ["is not known here", "nitrite_n", "tan"]),
    ({TESTS: [TEST | {"ph": 14}]}, ("loops.main", "water_tests[1].ph"), ["14 is not allowed", "between 5 and 10"]),
    ({"loops.main.ph": 7.0, TESTS: [TEST | {"ph": 7.0}]}, ("loops.main", "water_tests[1].ph"),
     ["holds all season", "leave one"]),
    ({"loops.main.feeding_hours": ["8 am"]}, ("loops.main", "feeding_hours"), ['"8 am"', "not an hour of the day"]),
    ({"loops.main.feeding_hours": ["08:00-08:00"]}, ("loops.main", "feeding_hours"), ["not an hour of the day"]),
    ({"loops.main.feeding_hours": ["25:00"]}, ("loops.main", "feeding_hours"), ["not an hour of the day"]),
    ({"loops.main.feeding_hours": []}, ("loops.main", "feeding_hours"), ["0 meals", "1 to 48"]),
    ({"loops.main.feeding_hours": ["08:00", "8:00"]}, ("loops.main", "feeding_hours"), ["one hour twice"]),
    ({POT: SWIRL | {"kind": "netting"}}, ("settlers.pot", "capture"), ["is missing"]),
    ({CHANGES: [CHANGE | {"date": dt.date(2027, 5, 1)}]}, ("loops.main", "water_changes[1].date"), OUTSIDE),
    ({CHANGES: [CHANGE | {"volume": "0 L"}]}, ("loops.main", "water_changes[1].volume"), ['"0 L"', "between 1 L and"]),
    ({CHANGES: [{"date": START}]}, ("loops.main", "water_changes[1].volume"), ["is missing", '"900 L"']),
    ({CYCLING: DOSING | {"from": dt.date(2026, 9, 1)}}, ("loops.main", "fishless_cycling.from"), OUTSIDE),
    ({CYCLING: DOSING | {"to": dt.date(2027, 9, 1)}}, ("loops.main", "fishless_cycling.to"), OUTSIDE),
    ({CYCLING: DOSING | {"from": dt.date(2026, 10, 20)}}, ("loops.main", "fishless_cycling.to"),
     ["2026-10-14 is before its from, 2026-10-20", "give a later day"]),
    ({CYCLING: DOSING | {"ammonia_nitrogen": "0 g/day"}}, ("loops.main", "fishless_cycling.ammonia_nitrogen"),
     ['"0 g/day"', "above 0"]),
    ({CYCLING: {"from": START, "to": START}}, ("loops.main", "fishless_cycling.ammonia_nitrogen"),
     ["is missing", '"5 g/day"']),
    ({RAMP: [STEP, STEP | {"from": dt.date(2026, 10, 14)}]}, ("loops.main", "feeding_ramp[2].from"),
     ["2026-10-14 is not after the step before it, 2026-10-15", "date order"]),
    ({RAMP: [STEP, STEP]}, ("loops.main", "feeding_ramp[2].from"), ["2026-10-15 is not after the step before it"]),
    ({RAMP: [STEP | {"share": 1.5}]}, ("loops.main", "feeding_ramp[1].share"), ["1.5", "from 0 to 1"]),
    ({RAMP: [STEP | {"share": -0.1}]}, ("loops.main", "feeding_ramp[1].share"), ["-0.1", "from 0 to 1"]),
    ({RAMP: [STEP | {"from": dt.date(2026, 9, 30)}]}, ("loops.main", "feeding_ramp[1].from"), OUTSIDE),
    ({RAMP: [{"from": START}]}, ("loops.main", "feeding_ramp[1].share"), ["is missing", "0 to 1"]),
    ({"tanks.first.loop": ["main", "warm"]}, ("tanks.first", "loop"),
     ["a list", "name one of the loops, and only one"]),
    ({"cohorts.perch.tank": ["first"]}, ("cohorts.perch", "tank"), ["a list", "name one of the tanks, and only one"]),
    ({"beds.gravel.nitrifying_surface": "0 m2"}, ("beds.gravel", "nitrifying_surface"), ['"0 m2"', "above 0"]),
    # settlers
    ({"settlers": 3}, ("settlers", ""), ["3", "write a table"]),
    ({POT: SWIRL | {"loop": "mian"}}, ("settlers.pot", "loop"), ['"mian" is not among the loops; known are main']),
    ({POT: SWIRL | {"kind": "drum"}}, ("settlers.pot", "kind"), ['"drum"', '"netting" or "swirl_and_netting"']),
    ({POT: {"loop": "main"}}, ("settlers.pot", "kind"), ["is missing", '"swirl", "radial_flow"']),
    ({POT: SWIRL | {"kind": "settling_basin"}}, ("settlers.pot", "capture"),
     ["is missing", "no measurement of a settling basin", "0.5"]),
    ({POT: SWIRL | {"kind": "swirl_and_netting"}}, ("settlers.pot", "capture"), ["is missing", "swirl and netting"]),
    ({POT: SWIRL | {"capture": 1.2}}, ("settlers.pot", "capture"), ["1.2", "from 0 to 1"]),
    ({POT: SWIRL | {"share_of_flow": 50}}, ("settlers.pot", "share_of_flow"), ["50", "from 0 to 1"]),
    ({POT: SWIRL | {"emptied_every_days": 0}}, ("settlers.pot", "emptied_every_days"), ["0", "1 to 365"]),
    ({POT: SWIRL | {"drawn_off": "3"}}, ("settlers.pot", "drawn_off"), ['"3" has no unit', "gal/h"]),
    ({POT: SWIRL | {"feeds": "gravel"}}, ("settlers.pot", "feeds"), ['"gravel" is not among the wicking beds', "none"]),
    ({POT: SWIRL | {"feeds": "tubb"}, "beds.tub": {"loop": "main", "kind": "wicking", "area": "1 m2"}},
     ("settlers.pot", "feeds"), ['"tubb" is not among the wicking beds; known are tub']),
    ({"settlers.the pot": SWIRL}, ("settlers", "the pot"), ["letters, digits, _ and -"]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "place", "words"), ONE_FAULT, ids=[f"{'+'.join(c)}-{n}" for n, (c, *_) in enumerate(ONE_FAULT)]
)
def test_one_fault_is_told_once_at_its_place_with_the_value_and_what_is_allowed(changes, place, words):
    faults = faults_of(changed(STARTER, changes))
    assert told(faults) == [place]
    for word in words:
        assert word in faults[0].message


def test_every_fault_of_the_dated_lists_is_told_at_once_and_none_that_a_fault_makes():
    early = dt.date(2026, 9, 1)
    faults = faults_of(changed(STARTER, {
        TESTS: [TEST | {"tan": "-1 mg/L"}, {"date": early}, "soon"], CHANGES: [{"date": early}, CHANGE],
        RAMP: [STEP | {"share": 2}, STEP | {"from": START}, STEP],
    }))  # fmt: skip
    assert told(faults) == [
        ("loops.main", "feeding_ramp[1].share"), ("loops.main", "feeding_ramp[2].from"),
        ("loops.main", "water_changes[1].date"), ("loops.main", "water_changes[1].volume"),
        ("loops.main", "water_tests[1].tan"), ("loops.main", "water_tests[3]"),
    ]  # fmt: skip
    # without the date of a step the order of the others cannot be judged
    for spoilt in ("soon", GONE):
        steps = changed({"ramp": [STEP, dict(STEP), STEP | {"from": START}]}, {"ramp.1.from": spoilt})["ramp"]
        assert told(faults_of(changed(STARTER, {RAMP: steps}))) == [("loops.main", "feeding_ramp[2].from")]


def test_a_settler_is_not_blamed_for_a_bed_at_fault():
    tub = {"loop": "main", "kind": "wicking", "area": "1 m2"}
    for spoilt, place in (
        ({"beds": 3}, ("beds", "")), ({"beds.tub": 3}, ("beds.tub", "")),
        ({"beds.tub": tub | {"kind": "tub"}}, ("beds.tub", "kind")),
        ({"beds.tub": tub | {"area": "0 m2"}}, ("beds.tub", "area")),
    ):  # fmt: skip
        assert told(faults_of(changed(STARTER, {POT: SWIRL | {"feeds": "tub"}} | spoilt))) == [place]
    with_capture = SWIRL | {"kind": "settling_basin", "capture": "half"}
    assert told(faults_of(changed(STARTER, {POT: with_capture}))) == [("settlers.pot", "capture")]


def test_every_water_key_is_read_in_the_inside_unit():
    site = site_from_tables(changed(STARTER, {
        "loops.main.buffer": "calcium_hydroxide", "loops.main.evaporation": "2 gal/day",
        "loops.main.source_water": {"nitrate_n": "500 ug/L"}, TESTS: [TEST | {"nitrite_n": "0.2 mg/L"}],
        CHANGES: [CHANGE], CYCLING: DOSING | {"ammonia_nitrogen": "0.5 g/h"}, RAMP: [STEP],
        "cohorts.perch.stocked": dt.date(2026, 10, 15),
        POT: SWIRL | {"capture": 0.4, "drawn_off": "1 gal/day", "emptied_every_days": 3},
    }), FOLDER)  # fmt: skip
    loop, settler = site.file.loops["main"], site.file.settlers["pot"]
    assert loop.evaporation == pytest.approx(2 * 3.785411784e-3)  # m3/day
    assert loop.source_water.nitrate_n == pytest.approx(0.5)
    assert (loop.water_tests[0].tan, loop.water_tests[0].nitrite_n, loop.water_tests[0].chloride) == (1.0, 0.2, None)
    assert loop.water_changes[0].volume == pytest.approx(0.1)
    assert loop.fishless_cycling.ammonia_nitrogen == pytest.approx(12.0)  # g/day
    assert (loop.feeding_ramp[0].start, loop.feeding_ramp[0].share) == (STEP["from"], 0.5)
    assert settler.drawn_off == pytest.approx(3.785411784e-3)
    assert (settler.capture, settler.share_of_flow, settler.emptied_every_days) == (0.4, 1.0, 3)
