"""Every kind of fault a site file can have: found, placed, and told in one English sentence; all of them at once."""

from __future__ import annotations

import datetime as dt

import pytest
from pydantic import BaseModel
from site_faults import DEMO, GONE, STARTER, WATER, changed, faults_of, told

from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.examples import FOLDER
from stocksim.site.kinds import ADVICE_KINDS
from stocksim.site.model import SiteFile
from stocksim.site.reading import site_from_tables
from stocksim.site.sentences import _WANTED, _inside

OCTOBER = ("loops.main", "water_temperature.values.oct")
PLANTING = {"crop": "kale", "from": dt.date(2026, 10, 1), "to": dt.date(2027, 4, 30)}
TROUT = {"cohorts.perch.species": "rainbow_trout", "cohorts.perch.feed": "trout_44"}
LIBRARY = "is not in the library; known are "

# what is changed in the starter site, where the fault must be told, words that must be in it
ONE_FAULT = [
    # keys missing
    ({"site": GONE}, ("site", ""), ["is missing", "[site]"]),
    ({"season": GONE}, ("season", ""), ["is missing", "[season]"]),
    ({"loops": GONE}, ("loops", ""), ["is missing", "[loops.main]"]),
    ({"tanks": GONE}, ("tanks", ""), ["is missing", "[tanks.cedar]"]),
    ({"site.name": GONE}, ("site", "name"), ["is missing", "text"]),
    ({"season.start": GONE}, ("season", "start"), ["is missing", "2026-10-01"]),
    ({"loops.main.sump": GONE}, ("loops.main", "sump"), ["is missing", '"900 L"']),
    ({WATER: GONE}, ("loops.main", "water_temperature"), ["is missing", "kind ="]),
    ({f"{WATER}.kind": GONE}, ("loops.main", "water_temperature.kind"), ['"constant", "monthly", "log" or "computed"']),
    ({f"{WATER}.values": GONE}, ("loops.main", "water_temperature.values"), ["is missing", "jan"]),
    ({"tanks.first.flow": GONE}, ("tanks.first", "flow"), ["is missing", '"1300 L/h"']),
    ({"tanks.first.oxygen_supply.power": GONE}, ("tanks.first", "oxygen_supply.power"), ["is missing", '"35 W"']),
    ({"beds.gravel.kind": GONE}, ("beds.gravel", "kind"), ["is missing", *(f'"{kind}"' for kind in BED_KINDS)]),
    ({"beds.gravel.plantings.0.crop": GONE}, ("beds.gravel", "plantings[1].crop"), ["is missing"]),
    ({"beds.gravel.plantings.0.from": GONE}, ("beds.gravel", "plantings[1].from"), ["is missing", "date"]),
    ({"cohorts.perch.count": GONE}, ("cohorts.perch", "count"), ["is missing", "whole number"]),
    ({"cohorts.perch.ration.fraction": GONE}, ("cohorts.perch", "ration.fraction"), ["is missing", "0 to 1"]),
    # keys nobody knows
    ({"tanker": {"x": 1}}, ("tanker", ""),
     ["is not known here", "fish_room, greenhouse, loops, pumps, season, settlers, site, stocking, tanks, weather"]),
    ({"tank": 3}, ("tank", ""), ["is not known here", "tanks"]),
    ({"season.begin": 1}, ("season", "begin"), ["is not known here", "end, start"]),
    ({"tanks.first.volme": "3 L"}, ("tanks.first", "volme"),
     ["depth, flow, heat, loop, overflows_to, oxygen_supply, volume"]),
    ({f"{WATER}.valeus": 1}, ("loops.main", "water_temperature.valeus"), ["known are at_least, at_most, kind, values"]),
    ({"cohorts.perch.ration.part": 1}, ("cohorts.perch", "ration.part"),
     ["known are cold_rules, fasting_days, feeding_hours, fraction, kind, meals_per_day"]),
    ({"beds.gravel.plantings.0.size": 1}, ("beds.gravel", "plantings[1].size"),
     ["known are area, crop, empty_days, every_days, from, seedling_share, to"]),
    ({"tanks.first.oxygen_supply.watt": 1}, ("tanks.first", "oxygen_supply.watt"), ["known are circuit, kind, power"]),
    ({"beds.gravel.soil": 1}, ("beds.gravel", "soil"), ["plantings"]),
    # tables that are none
    ({"loops": 3}, ("loops", ""), ["3", "write a table"]),
    ({"tanks": []}, ("tanks", ""), ["a list", "write a table"]),
    ({"tanks": {}}, ("tanks", ""), ["is empty", "[tanks.cedar]"]),
    ({"site": "here"}, ("site", ""), ['"here"', "write a table"]),
    ({"cohorts": [{"species": "bluegill"}]}, ("cohorts", ""), ["a list", "write a table"]),
    ({"loops.main": 3}, ("loops.main", ""), ["3", "write a table"]),
    ({"beds.gravel": "media"}, ("beds.gravel", ""), ['"media"', "write a table"]),
    ({WATER: "15 degC"}, ("loops.main", "water_temperature"), ['"15 degC"', "write a table"]),
    ({f"{WATER}.values": "15 degC"}, ("loops.main", "water_temperature.values"), ['"15 degC"', "write a table"]),
    ({"cohorts.perch.ration": 3}, ("cohorts.perch", "ration"), ["3", "write a table"]),
    ({"tanks.first.oxygen_supply": "30 W"}, ("tanks.first", "oxygen_supply"), ['"30 W"', "write a table"]),
    ({"beds.gravel.plantings": dict(PLANTING)}, ("beds.gravel", "plantings"), ["a table", "write a list"]),
    ({"beds.gravel.plantings.0": "kale"}, ("beds.gravel", "plantings[1]"), ['"kale"', "write a table"]),
    # names that lead nowhere
    ({"tanks.first.loop": "mian"}, ("tanks.first", "loop"), ['"mian" is not among the loops; known are main']),
    ({"beds.gravel.loop": "mian"}, ("beds.gravel", "loop"), ['"mian" is not among the loops; known are main']),
    ({"cohorts.perch.tank": "frist"}, ("cohorts.perch", "tank"), ['"frist" is not among the tanks; known are first']),
    ({"cohorts.perch.species": "perch"}, ("cohorts.perch", "species"), ['"perch"', LIBRARY, "yellow_perch"]),
    ({"cohorts.perch.feed": "pellets"}, ("cohorts.perch", "feed"), ['"pellets"', LIBRARY, "perch_45"]),
    ({"beds.gravel.plantings.0.crop": "kail"}, ("beds.gravel", "plantings[1].crop"), ['"kail"', LIBRARY, "kale"]),
    ({"cohorts.perch.tank": 3}, ("cohorts.perch", "tank"), ["3 is not allowed here", "text in quotes"]),
    # words out of a short list
    ({"beds.gravel.kind": "nft"}, ("beds.gravel", "kind"), ['"nft"', *(f'"{kind}"' for kind in BED_KINDS)]),
    ({"site.units": "imperial"}, ("site", "units"), ['"imperial"', '"metric" or "us"']),
    ({f"{WATER}.kind": "weekly"}, ("loops.main", "water_temperature.kind"), ['"weekly"', '"constant", "monthly"']),
    ({f"{WATER}.kind": ["log"]}, ("loops.main", "water_temperature.kind"), ["a list", '"constant", "monthly"']),
    ({"cohorts.perch.ration.kind": "by ear"}, ("cohorts.perch", "ration.kind"), ['"by ear"', '"beds" or "unfed"']),
    ({"cohorts.perch.wild": "yes"}, ("cohorts.perch", "wild"), ['"yes"', "true or false"]),
    ({"site.name": 3}, ("site", "name"), ["3", "text in quotes"]),
    # quantities
    ({"tanks.first.volume": "-500 L"}, ("tanks.first", "volume"), ['"-500 L"', "between 1 L and 100,000 m3"]),
    ({"tanks.first.volume": "0 L"}, ("tanks.first", "volume"), ['"0 L"', "between 1 L and"]),
    ({"tanks.first.volume": 1000}, ("tanks.first", "volume"), ["1000 has no unit", "gal (US gallon)"]),
    ({"tanks.first.volume": "1000"}, ("tanks.first", "volume"), ['"1000" has no unit', "gal (US gallon)"]),
    ({"tanks.first.volume": "1000 kg"}, ("tanks.first", "volume"), ['"kg" is not a unit of volume', "L, m3"]),
    ({"tanks.first.volume": "big"}, ("tanks.first", "volume"), ['"big" is not a volume', '"900 L"']),
    ({"tanks.first.volume": "1,000 L"}, ("tanks.first", "volume"), ['"1,000 L"', "without commas"]),
    ({"tanks.first.volume": ["900 L"]}, ("tanks.first", "volume"), ["a list is not a volume", "L, m3"]),
    ({"tanks.first.volume": {"l": 900}}, ("tanks.first", "volume"), ["a table is not a volume", "L, m3"]),
    ({"tanks.first.volume": True}, ("tanks.first", "volume"), ["true is not a volume", "L, m3"]),
    ({"tanks.first.volume": dt.date(2026, 1, 2)}, ("tanks.first", "volume"), ["2026-01-02 is not a volume"]),
    ({"tanks.first.volume": float("inf")}, ("tanks.first", "volume"), ["inf is not allowed", "between 1 L and"]),
    ({"tanks.first.volume": "1e999 L"}, ("tanks.first", "volume"), ['"1e999 L"', "finite"]),
    ({"tanks.first.volume": "9" * 400 + " L"}, ("tanks.first", "volume"), ["999...", "between 1 L and"]),
    ({"site.elevation": "9000 m"}, ("site", "elevation"), ['"9000 m"', "-430 and 4500 m"]),
    ({"cohorts.perch.mean_weight": "30 kg"}, ("cohorts.perch", "mean_weight"), ['"30 kg"', "0.05 g and 20 kg"]),
    ({"beds.gravel.media_size": "12 cm"}, ("beds.gravel", "media_size"), ['"12 cm"', "0.5 mm and 100 mm"]),
    ({"loops.main.alkalinity_target": "0 mg/L"}, ("loops.main", "alkalinity_target"), ['"0 mg/L"', "above 0"]),
    # bare numbers
    ({"cohorts.perch.count": 2.5}, ("cohorts.perch", "count"), ["2.5 is not allowed", "whole number of fish"]),
    ({"cohorts.perch.count": True}, ("cohorts.perch", "count"), ["true is not allowed", "whole number of fish"]),
    ({"cohorts.perch.count": "ten"}, ("cohorts.perch", "count"), ['"ten" is not allowed', "whole number of fish"]),
    ({"cohorts.perch.count": -1}, ("cohorts.perch", "count"), ["-1 is not allowed", "whole number of fish"]),
    ({"cohorts.perch.count": float("nan")}, ("cohorts.perch", "count"), ["nan is not allowed"]),
    ({"cohorts.perch.count": 10**400}, ("cohorts.perch", "count"), ["very many digits", "10,000,000"]),
    ({"cohorts.perch.count": 10**5000}, ("cohorts.perch", "count"), ["very many digits", "10,000,000"]),
    ({"loops.main.ph": "7"}, ("loops.main", "ph"), ['"7" is not allowed', "between 5 and 10"]),
    ({"loops.main.ph": 70}, ("loops.main", "ph"), ["70 is not allowed", "between 5 and 10"]),
    ({"site.latitude": 91}, ("site", "latitude"), ["91 is not allowed", "-90 and 90"]),
    ({"cohorts.perch.ration.fraction": 85}, ("cohorts.perch", "ration.fraction"), ["85 is not", "from 0 to 1"]),
    ({"advice": {"reserve": 0}}, ("advice", "reserve"), ["0 is not allowed", "from 0.005 to 0.5"]),
    ({"advice": {"reserve": 0.6}}, ("advice", "reserve"), ["0.6 is not allowed", "from 0.005 to 0.5"]),
    ({"advice": {"reserve": "10 %"}}, ("advice", "reserve"), ['"10 %" is not allowed', "from 0.005 to 0.5"]),
    ({"advice": {"never": ["salts"]}}, ("advice", "never[1]"), ['"salts"', *(f'"{kind}"' for kind in ADVICE_KINDS)]),
    ({"advice": {"never": "salt"}}, ("advice", "never"), ['"salt"', "write a list"]),
    ({"advice": {"always": []}}, ("advice", "always"), ["is not known here", "known are crop_worth, never, reserve"]),
    ({"cohorts.perch.ration.spilled_share": 0.95}, ("cohorts.perch", "ration.spilled_share"), ["0.95", "0 to 0.9"]),
    # temperatures
    ({f"{WATER}.values.oct": 64}, OCTOBER, ["64 has no unit", "degC or degF"]),
    ({f"{WATER}.values.oct": "64"}, OCTOBER, ['"64" has no unit', "degF"]),
    ({f"{WATER}.values.oct": "64 degC"}, OCTOBER, ['"64 degC"', "0 and 40 degC"]),
    ({f"{WATER}.values.oct": "31 degC"}, OCTOBER, ["kills yellow_perch", "30.3 degC"]),
    (TROUT | {f"{WATER}.values.oct": "30 degC"}, OCTOBER, ["kills rainbow_trout"]),
    (TROUT | {WATER: {"kind": "constant", "value": "86 degF"}}, ("loops.main", "water_temperature.value"),
     ['"86 degF" kills rainbow_trout', "check the unit", "another loop"]),
    (TROUT | {f"{WATER}.at_least": "30 degC"}, ("loops.main", "water_temperature.at_least"), ["kills rainbow_trout"]),
    ({f"{WATER}.at_least": "18 degC", f"{WATER}.at_most": "12 degC"}, ("loops.main", "water_temperature.at_least"),
     ['"18 degC" is above the at_most of "12 degC"']),
    ({f"{WATER}.values.january": "12 degC"}, ("loops.main", "water_temperature.values.january"), ["is not a month"]),
    ({f"{WATER}.values.Jan": "12 degC"}, ("loops.main", "water_temperature.values.Jan"), ["is not a month; use jan"]),
    ({f"{WATER}.values.feb": GONE, f"{WATER}.values.mar": GONE}, ("loops.main", "water_temperature"),
     ["2026-10-01 to 2027-04-30 needs feb, mar"]),
    # dates
    ({"season.end": dt.date(2026, 4, 30)}, ("season", "end"), ["2026-04-30 is before the start 2026-10-01"]),
    ({"season.end": dt.date(2037, 10, 1)}, ("season", "end"), ["2037-10-01", "more than ten years"]),
    ({"season.start": "2026-10-01"}, ("season", "start"), ['"2026-10-01" is not a date', "without quotes"]),
    ({"season.start": dt.datetime(2026, 10, 1, 8)}, ("season", "start"), ["2026-10-01T08:00:00", "without a time"]),
    ({"season.start": dt.time(8)}, ("season", "start"), ["08:00:00 is not a date"]),
    ({"season.start": 2026}, ("season", "start"), ["2026 is not a date"]),
    ({"season.end": dt.date(9999, 12, 31)}, ("season", "end"), ["9999-12-31", "between 1900-01-01 and 2199-12-31"]),
    ({"cohorts.perch.stocked": dt.date(2026, 9, 30)}, ("cohorts.perch", "stocked"), ["is outside the season"]),
    ({"beds.gravel.plantings.0.to": dt.date(2027, 5, 1)}, ("beds.gravel", "plantings[1].to"), ["outside the season"]),
    ({"beds.gravel.plantings.0.from": dt.date(2025, 9, 1)}, ("beds.gravel", "plantings[1].from"), ["2025-09-01"]),
    ({"beds.gravel.plantings.0.to": dt.date(2026, 9, 1)}, ("beds.gravel", "plantings[1].to"), ["is before its from"]),
    # beds
    ({"beds.gravel.plantings": [PLANTING, PLANTING | {"from": dt.date(2027, 4, 30)}]}, ("beds.gravel", "plantings"),
     ["6 m2 are planted on 2027-04-30, more than the bed's 3 m2", "area"]),
    ({"beds.gravel.plantings.0.area": "3.1 m2"}, ("beds.gravel", "plantings"), ["3.1 m2", "more than the bed's 3 m2"]),
    ({"beds.gravel.kind": "tower"}, ("beds.gravel", "flow"), ["is missing", '"100 L/h"']),
    ({"beds.gravel.kind": "wicking", "beds.gravel.flow": "9 L/h"}, ("beds.gravel", "flow"), ["wicking", "take it out"]),
    ({"beds.gravel.kind": "wicking", "beds.gravel.media_size": "9 mm"}, ("beds.gravel", "media_size"), ["wicking"]),
    ({"beds.gravel.kind": "raft", "beds.gravel.media_size": "9 mm"}, ("beds.gravel", "media_size"), ["not to a raft"]),
    # names
    ({"tanks.second tank": STARTER["tanks"]["first"]}, ("tanks", "second tank"), ["letters, digits, _ and -"]),
    ({"tanks.": STARTER["tanks"]["first"]}, ("tanks", ""), ["letters, digits, _ and -"]),
    ({"beds.über": STARTER["beds"]["gravel"]}, ("beds", "über"), ["letters, digits, _ and -"]),
    ({"beds.a\n": STARTER["beds"]["gravel"]}, ("beds", "a\\n"), ["letters, digits, _ and -"]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "place", "words"),
    ONE_FAULT,
    ids=[f"{'+'.join(c)}-{n}".encode("unicode_escape").decode() for n, (c, *_) in enumerate(ONE_FAULT)],
)
def test_one_fault_is_told_once_at_its_place_with_the_value_and_what_is_allowed(changes, place, words):
    faults = faults_of(changed(STARTER, changes))
    assert told(faults) == [place]
    for word in words:
        assert word in faults[0].message


def test_every_needed_key_has_a_hint_for_when_it_is_missing():
    def needed(model: type[BaseModel]):
        for name, info in model.model_fields.items():
            if info.is_required():
                yield info.alias or name
            for inner in _inside(info.annotation):
                yield from needed(inner)

    keys = set(needed(SiteFile)) - {"kind"}
    assert keys <= set(_WANTED)
    assert set(_WANTED) <= keys


def test_faults_of_a_biofilter_and_of_supplies_are_placed_too():
    filters = {"drum": {"loop": "mian", "kind": "bead", "media_volume": "30", "specific_surface": "0 m2/m3"}}
    faults = faults_of(changed(STARTER, {"biofilters": filters, "loops.main.oxygen_supply": {"kind": "measured"}}))
    assert told(faults) == [
        ("biofilters.drum", "flow"), ("biofilters.drum", "kind"), ("biofilters.drum", "loop"),
        ("biofilters.drum", "media_volume"), ("biofilters.drum", "specific_surface"),
        ("loops.main", "oxygen_supply.transfer"),
    ]  # fmt: skip


def test_a_file_with_many_faults_tells_them_all_at_once():
    changes = {
        "site.untis": "us", "site.elevation": 260,
        "loops.warm.ph": 17, f"{WATER}.values.jan": "12", f"{WATER}.values.feb": GONE,
        "tanks.cedar.volume": "-500 L", "tanks.cedar.loop": "mian", "tanks.maple": 3,
        "beds.north_raft.area": "none", "beds.north_raft.plantings.1.crop": "kail",
        "beds.long_gravel.plantings.0.to": dt.date(2028, 1, 1), "beds.long_gravel.kind": "gravel",
        "beds.warm_gravel.plantings.0.area": "5.5 m2", "beds.wicking_tubs.flow": "3 L/h",
        "cohorts.autumn_perch.count": 2.5, "cohorts.autumn_perch.stocked": dt.date(2025, 1, 1),
        "cohorts.winter_trout.species": "trout", "cohorts.winter_trout.ration.fraction": 85,
        "cohorts.pond_bluegill.feed": "pellets", "cohorts.tilapia.tank": "mapel", "cohorts.pond fish": {},
    }  # fmt: skip
    faults = faults_of(changed(DEMO, changes))
    assert told(faults) == sorted([
        ("site", "untis"), ("site", "elevation"), ("loops.warm", "ph"),
        ("loops.main", "water_temperature.values.jan"),
        ("tanks.cedar", "volume"), ("tanks.cedar", "loop"), ("tanks.maple", ""),
        ("beds.north_raft", "area"), ("beds.north_raft", "plantings[2].crop"),
        ("beds.long_gravel", "plantings[1].to"), ("beds.long_gravel", "kind"),
        ("beds.warm_gravel", "plantings"), ("beds.wicking_tubs", "flow"),
        ("cohorts.autumn_perch", "count"), ("cohorts.autumn_perch", "stocked"),
        ("cohorts.winter_trout", "species"), ("cohorts.winter_trout", "ration.fraction"),
        ("cohorts.pond_bluegill", "feed"), ("cohorts.tilapia", "tank"), ("cohorts", "pond fish"),
        *(("cohorts.pond fish", key) for key in ("species", "tank", "count", "mean_weight", "feed")),
    ])  # fmt: skip


def test_a_table_that_bears_the_name_of_a_kind_is_placed_as_any_other():
    tables = changed(STARTER, {
        "loops.log": STARTER["loops"]["main"] | {"sump": "none"}, "tanks.none": STARTER["tanks"]["first"] | {"log": 1},
        "cohorts.unfed": STARTER["cohorts"]["perch"] | {"ration": {"kind": "unfed", "fraction": 1}},
        "tanks.volume": STARTER["tanks"]["first"] | {"oxygen_supply": {"kind": "none", "none": {}}},
    })  # fmt: skip
    assert told(faults_of(tables)) == [
        ("cohorts.unfed", "ration.fraction"), ("loops.log", "sump"), ("tanks.none", "log"),
        ("tanks.volume", "oxygen_supply.none"),
    ]  # fmt: skip


def test_dates_are_not_judged_against_a_season_that_is_itself_at_fault():
    faults = faults_of(changed(STARTER, {"season.end": "soon", "cohorts.perch.stocked": dt.date(2001, 1, 1)}))
    assert told(faults) == [("season", "end")]


def test_a_lost_table_does_not_make_faults_of_the_names_that_lead_to_it():
    assert told(faults_of(changed(DEMO, {"loops": GONE, "tanks": 7}))) == [("loops", ""), ("tanks", "")]


def test_overlapping_plantings_within_the_area_are_fine_and_touching_dates_do_not_overlap():
    first = PLANTING | {"to": dt.date(2026, 12, 31)}
    then = PLANTING | {"from": dt.date(2027, 1, 1)}
    beside = [PLANTING | {"area": "1.5 m2"}, PLANTING | {"area": "1.5 m2", "crop": "chard"}]
    for plantings in ([first, then], beside):
        site_from_tables(changed(STARTER, {"beds.gravel.plantings": plantings}), FOLDER)


def test_a_bed_planted_too_full_is_told_in_the_keepers_units():
    tables = changed(
        STARTER, {"site.units": "us", "beds.gravel.area": "30 ft2", "beds.gravel.plantings.0.area": "33 ft2"}
    )
    message = faults_of(tables)[0].message
    assert message.startswith("33 ft2 are planted on 2026-10-01,")
    assert "bed's 30 ft2" in message
