"""Site files whose beds, plantings, light or air are at fault, or only half told."""

from __future__ import annotations

import datetime as dt

import pytest
from site_faults import STARTER, changed, faults_of, good_english

from stocksim.site.examples import FOLDER
from stocksim.site.reading import site_from_tables

START, END = STARTER["season"]["start"], STARTER["season"]["end"]
KALE = {"crop": "kale", "from": START, "to": END}
PLANTINGS = "beds.gravel.plantings"
WALL = {"loop": "main", "kind": "tower", "area": "1 m2", "flow": "50 L/h", "planted_face": "6 m2"}


@pytest.mark.parametrize(
    ("changes", "place", "words"),
    [
        ({PLANTINGS: [KALE | {"crop": "kael"}]}, ("beds.gravel", "plantings[1].crop"),
         ['"kael"', "kale"]),
        ({PLANTINGS: [KALE | {"to": END + dt.timedelta(days=30)}]}, ("beds.gravel", "plantings[1].to"),
         ["is outside the season"]),
        ({PLANTINGS: [KALE | {"area": "2 m2"}, KALE | {"area": "2 m2"}]}, ("beds.gravel", "plantings"),
         ["4 m2 are planted", "more than the bed's 3 m2"]),
        ({PLANTINGS: [KALE | {"every_days": 0}]}, ("beds.gravel", "plantings[1].every_days"), ["0 is not allowed"]),
        ({PLANTINGS: [KALE | {"every_days": 7.5}]}, ("beds.gravel", "plantings[1].every_days"),
         ["whole number of days"]),
        ({PLANTINGS: [KALE | {"empty_days": -1}]}, ("beds.gravel", "plantings[1].empty_days"), ["from 0 to 365"]),
        ({PLANTINGS: [KALE | {"seedling_share": 0.95}]}, ("beds.gravel", "plantings[1].seedling_share"), ["0 to 0.9"]),
        ({"beds.gravel.planted_face": "9 m2"}, ("beds.gravel", "planted_face"), ["belongs to a tower"]),
        ({"beds.wall": WALL | {"plantings": [KALE | {"area": "7 m2"}]}}, ("beds.wall", "plantings"),
         ["7 m2 are planted", "face's 6 m2"]),
        ({"site.cover_transmission": 60}, ("site", "cover_transmission"), ["60 is not allowed"]),
        ({"site.cloud_share": {"dec": 1.5}}, ("site", "cloud_share.dec"), ["1.5 is not allowed"]),
        ({"site.cloud_share": {"december": 0.5}}, ("site", "cloud_share.december"), ["is not a month"]),
        ({"site.air_temperature": {"oct": "10 degC"}}, ("site", "air_temperature"),
         ["nov, dec, jan,", "feb, mar, apr;"]),
        ({"site.air_temperature": {"oct": "200 degC"}}, ("site", "air_temperature.oct"), ['"200 degC" is not allowed']),
    ],
)  # fmt: skip
def test_one_fault_is_told_once_with_its_place(changes, place, words):
    (fault,) = faults_of(changed(STARTER, changes))
    good_english(fault)
    assert (fault.table, fault.field) == place
    for word in words:
        assert word in fault.message


def notes(changes: dict) -> list[str]:
    return list(site_from_tables(changed(STARTER, changes), FOLDER).notes)


def test_silence_about_light_and_air_is_told_and_ends_when_they_are_given():
    said = [note for note in notes({}) if note.startswith("site.")]
    assert [note.split(" ")[0] for note in said] == ["site.latitude", "site.cloud_share,"]
    for word in ("cover_transmission", "usual clouds", "double plastic film", "air like the water"):
        assert word in said[1]
    months = ("oct", "nov", "dec", "jan", "feb", "mar", "apr")
    whole = {
        "site.latitude": 45.0, "site.cover_transmission": 0.6, "site.cloud_share": dict.fromkeys(months, 0.6),
        "site.air_temperature": dict.fromkeys(months, "50 degF"),
    }  # fmt: skip
    assert [note for note in notes(whole) if note.startswith("site.")] == []


def test_beds_without_plantings_say_nothing_of_light():
    assert [note for note in notes({PLANTINGS: []}) if note.startswith("site.")] == []


@pytest.mark.parametrize(
    ("changes", "places"),
    [
        ({}, ["beds.gravel.media_size", "site.latitude", "site.cloud_share,"]),
        ({PLANTINGS: []}, ["beds.gravel.media_size"]),
        ({"beds.gravel.depth": "2 m", "site.latitude": 78.0},
         ["beds.gravel.depth:", "beds.gravel.media_size", "site.cloud_share,", "site.latitude"]),
        ({PLANTINGS: [], "beds.wall": WALL | {"plantings": [KALE]}, "cohorts.perch.ration": {"kind": "beds"}},
         ["beds.gravel.media_size", "site.latitude", "site.cloud_share,"]),
    ],
)  # fmt: skip
def test_notes_of_beds_and_of_their_light_stand_apart_in_the_order_of_all(changes, places):
    site = site_from_tables(changed(STARTER, changes), FOLDER)
    assert [note.split(" ")[0] for note in site.bed_notes] == places
    assert [note for note in site.notes if note in site.bed_notes] == list(site.bed_notes)
    asks_for_no_feed = [note for note in site.notes if note.startswith("cohorts.perch.ration")]
    assert len(asks_for_no_feed) == ("cohorts.perch.ration" in changes)


def test_polar_night_is_allowed_and_told():
    (dark,) = [note for note in notes({"site.latitude": 78.0}) if "does not rise" in note]
    assert "days of the season" in dark
    assert dark.endswith("nothing grows then.")
    assert not [note for note in notes({"site.latitude": 45.0}) if "does not rise" in note]


def test_a_raft_without_air_and_a_tower_without_face_are_told():
    raft = {"loop": "main", "kind": "raft", "area": "3 m2", "plantings": [KALE]}
    wall = {key: value for key, value in WALL.items() if key != "planted_face"} | {"plantings": [KALE]}
    said = notes({"beds.raft": raft, "beds.wall": wall})
    assert [note.split(" ")[0] for note in said if note.startswith("beds.wall")] == ["beds.wall.planted_face"]
    (raft_note,) = (note for note in said if note.startswith("beds.raft "))
    assert "oxygen_supply" in raft_note


def test_a_planting_too_short_to_ripen_is_told():
    short = KALE | {"to": START + dt.timedelta(days=9)}
    (said,) = [note for note in notes({PLANTINGS: [short]}) if "never ripens" in note]
    assert said.split(" ")[0] == "beds.gravel.plantings[1]"
    assert "10 days; kale " in said
    assert not [note for note in notes({PLANTINGS: [KALE]}) if "never ripens" in note]
