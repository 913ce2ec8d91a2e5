"""What stands beside the tables: the file itself, logs, own species, changes and notes."""

from __future__ import annotations

import copy
import datetime as dt
import re
import typing
from pathlib import Path

import numpy as np
import pytest
from site_faults import GONE, STARTER, WATER, changed, faults_of, good_english, told

from stocksim.errors import Fault, InputError
from stocksim.library.sources import library_folder
from stocksim.library.species import load_species
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.site.reading import load_site, site_from_tables, site_from_text

# ---- files ----------------------------------------------------------------------------------------------------------


def refused(path: Path) -> list[Fault]:
    with pytest.raises(InputError) as caught:
        load_site(path)
    return caught.value.faults


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"a = = 3\n", ["line 1 ", "a = = 3"]),
        (b"", ["is empty", "`stocksim new FILE`"]),
        (b"# only a remark\n", ["is empty", "`stocksim new FILE`"]),
        ("[site]\nname = 'Käthe'\n".encode("latin-1"), ["is not UTF-8 text"]),
        ("[site]\n".encode("utf-16"), ["is not UTF-8 text"]),
        (b"a = " + b"[" * 9000, ["more than 20 deep"]),
        (b"a = " + b"9" * 9000, ["too many digits"]),
        (b"[site]\nname = 'a'\n[site]\n", ["line 3 ", "line 1 ", "[site]"]),
    ],
)  # fmt: skip
def test_a_file_that_is_no_toml_is_one_fault_of_the_whole_file(tmp_path, data, words):
    path = tmp_path / "house.toml"
    path.write_bytes(data)
    (fault,) = refused(path)
    good_english(fault)
    assert (fault.table, fault.field, fault.file) == ("", "", "house.toml")
    for word in words:
        assert word in fault.message


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    (missing,) = refused(tmp_path / "nope.toml")
    assert (missing.table, missing.field, missing.file) == ("", "", f"{tmp_path / 'nope.toml'}")
    assert missing.message.startswith("was not found")
    (folder,) = refused(tmp_path)
    assert folder.message.startswith("is a folder")


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = tmp_path / "house.toml"
    path.write_bytes(b"\xef\xbb\xbf" + example_text("starter").replace("\n", "\r\n").encode())
    assert load_site(path).file == site_from_text(example_text("starter"), FOLDER).file


@pytest.mark.parametrize("name", example_names())
def test_the_examples_are_without_fault(name):
    load_site(FOLDER / f"{name}.toml")


# ---- logs -----------------------------------------------------------------------------------------------------------


def write_log(folder: Path, first: str = "2026-10-01", days: int = 212, skip: typing.Container[int] = ()) -> None:
    start = dt.date.fromisoformat(first)
    lines = [f"{start + dt.timedelta(days=n)},15.5" for n in range(days) if n not in skip]
    (folder / "water.csv").write_text("date,temperature_c\n" + "\n".join(lines) + "\n")


def log_faults(folder: Path, file: str = "water.csv", **more) -> list[Fault]:
    return faults_of(changed(STARTER, {WATER: {"kind": "log", "file": file}} | more), folder)


def test_a_log_beside_the_site_is_read_and_its_bridged_gap_is_a_note(tmp_path):
    write_log(tmp_path, skip=(5, 6))
    site = site_from_tables(changed(STARTER, {WATER: {"kind": "log", "file": "water.csv"}}), tmp_path)
    assert np.all(site.held_c["main"] == 15.5)
    (note,) = (note for note in site.notes if "2026-10-06 to 2026-10-07: 2 days" in note)
    assert note.split(": ")[0] == WATER


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (None, "water.csv was not found"),
        (b"", "water.csv is empty"),
        (b"date,temperature_c\n", "water.csv has a header"),
        ("date,temperature_c\n2026-10-01,15\u00b0\n".encode("latin-1"), "water.csv is not UTF-8"),
        (b"day,temp\n2026-10-01,15\n", "water.csv does not begin"),
        (b"date,temperature_c\n1.10.2026,15\n", 'water.csv, line 2: "1.10.2026" '),
        (b"date,temperature_c\n2026-10-01,64\n", "water.csv, line 2: 64 degC "),
    ],
)  # fmt: skip
def test_a_faulty_log_is_told_at_the_key_that_names_it(tmp_path, data, words):
    if data is not None:
        (tmp_path / "water.csv").write_bytes(data)
    faults = log_faults(tmp_path)
    assert {(fault.table, fault.field) for fault in faults} == {("loops.main", "water_temperature")}
    assert faults[0].message.startswith(words)


def test_a_log_with_a_long_gap_or_too_short_for_the_season_is_refused(tmp_path):
    write_log(tmp_path, first="2026-10-03", days=200, skip=range(50, 57))
    dates = [re.findall(r"\d{4}-\d\d-\d\d", fault.message)[:2] for fault in log_faults(tmp_path)]
    # where the log and the season begin, where they end, and the gap
    assert dates == [["2026-10-03", "2026-10-01"], ["2027-04-20", "2027-04-30"], ["2026-11-22", "2026-11-28"]]


def test_a_missing_log_is_told_even_when_the_season_is_at_fault(tmp_path):
    faults = log_faults(tmp_path, **{"season.start": 3})
    assert told(faults) == [("loops.main", "water_temperature"), ("season", "start")]


# ---- own species ----------------------------------------------------------------------------------------------------


def own_species(folder: Path, name: str, **replaced: str) -> None:
    text = (library_folder() / "fish" / "yellow_perch.toml").read_text(encoding="utf-8")
    for pattern, new in replaced.values():
        text, found = re.subn(pattern, new, text, count=1)
        assert found
    (folder / "species_params" / "fish").mkdir(parents=True, exist_ok=True)
    (folder / "species_params" / "fish" / f"{name}.toml").write_text(text, encoding="utf-8")


def test_an_own_species_file_beside_the_site_wins_and_is_named(tmp_path):
    own_species(tmp_path, "yellow_perch", scale=(r"(\[values\.intake_scale\]\nvalue = ).*", r"\g<1>0.05"))
    site = site_from_tables(STARTER, tmp_path)
    assert site.species["yellow_perch"]["intake_scale"] == 0.05
    note = (
        "yellow_perch: taken from your own file species_params/fish/yellow_perch.toml beside the site, not from the "
        "library; its values are yours to vouch for."
    )
    assert note in site.notes
    shipped = site_from_tables(STARTER, FOLDER)
    assert shipped.species["yellow_perch"]["intake_scale"] == load_species("yellow_perch")["intake_scale"] != 0.05
    assert not [note for note in shipped.notes if "beside the site" in note]


def test_a_species_of_the_keepers_own_is_found_beside_the_site(tmp_path):
    own_species(tmp_path, "pond_mix")
    tables = changed(STARTER, {"cohorts.perch.species": "pond_mix"})
    assert site_from_tables(tables, tmp_path).species["pond_mix"].name == "pond_mix"
    assert told(faults_of(tables)) == [("cohorts.perch", "species")]


def test_an_own_species_file_without_a_source_is_refused_by_its_own_name_together_with_other_faults(tmp_path):
    own_species(tmp_path, "x", source=(r"(\[values\.intake_scale\]\n(?:.*\n)*?)source = .*\n", r"\1"))
    tables = changed(
        STARTER,
        {"cohorts.perch.species": "x", "cohorts.more": STARTER["cohorts"]["perch"] | {"species": "x", "count": -1}},
    )
    with pytest.raises(InputError) as caught:
        site_from_tables(tables, tmp_path, "site.toml")
    mine, own = caught.value.faults
    assert (mine.file, mine.table, mine.field) == ("site.toml", "cohorts.more", "count")
    assert "-1" in mine.message
    assert (own.file, own.table, own.field) == ("x.toml", "values.intake_scale", "source")


# ---- changes --------------------------------------------------------------------------------------------------------


def test_with_changes_gives_a_new_site_and_leaves_the_old_one_alone():
    site = site_from_tables(copy.deepcopy(STARTER), FOLDER)
    other = site.with_changes({
        "cohorts.perch.count": np.int64(7), "tanks.first.oxygen_supply": None, "loops.main.ph": None,
        "beds.gravel.area": "40 ft2", "tanks.second": {"loop": "main", "volume": "200 gal", "flow": "2 gpm"},
        "loops.main.water_temperature.at_least": "14 degC", "cohorts.perch.ration.spilled_share": np.float64(0.25),
    })  # fmt: skip
    assert other.file.cohorts["perch"].count == 7
    assert other.file.cohorts["perch"].ration.spilled_share == 0.25
    assert other.file.tanks["first"].oxygen_supply is None
    assert other.file.loops["main"].ph is None
    assert other.held_c["main"].min() == 14.0
    assert list(other.file.tanks) == ["first", "second"]
    assert site.raw == STARTER
    assert site.file == site_from_tables(STARTER, FOLDER).file
    assert site.with_changes({}).file == site.file


def test_changes_of_changes_add_up():
    site = site_from_tables(STARTER, FOLDER).with_changes({"cohorts.perch.count": 7})
    assert site.with_changes({"loops.main.ph": 6.5}).file.cohorts["perch"].count == 7


@pytest.mark.parametrize(
    ("changes", "places"),
    [
        ({"tanks.first.volume": 3, "season.end": 4}, [("season", "end"), ("tanks.first", "volume")]),
        ({"loops.main.sump.value": 7}, [("loops.main.sump", "value")]),
        ({"tanks.frist.volume": "9 L"}, [("tanks.frist", "flow"), ("tanks.frist", "loop")]),
        ({"loops": None}, [("loops", "")]),
    ],
)  # fmt: skip
def test_with_changes_tells_every_fault_of_the_changed_site(changes, places):
    site = site_from_tables(STARTER, FOLDER)
    with pytest.raises(InputError) as caught:
        site.with_changes(changes)
    for fault in caught.value.faults:
        good_english(fault)
    assert told(caught.value.faults) == places


LOOP = STARTER["loops"]["main"]

# ---- notes ----------------------------------------------------------------------------------------------------------


def test_what_was_assumed_or_not_used_is_noted():
    bare = {key: GONE for key in ("site.elevation", "loops.main.ph") if key.split(".")[1] in STARTER["site"] | LOOP}
    water = ("alkalinity_target", "evaporation", "source_water", "biofilter_started", "biofilter_start")
    bare |= {f"loops.main.{key}": GONE for key in water if key in LOOP}
    notes = site_from_tables(changed(STARTER, bare), FOLDER).notes
    begins = [
        "site.elevation is not given", "loops.main.ph is not given: pH is computed",
        "loops.main.source_water is not given: moderately hard tap water",
        "loops.main.alkalinity_target is not given: nobody doses", "loops.main.evaporation is not given: 1 %",
        "loops.main.biofilter_started is not given: the biofilter of beds.gravel is taken as mature",
        "beds.gravel.media_size not given: taken as half-inch gravel (12.7 mm), whose surface carries its bacteria.",
        "site.latitude is not given: light is that of 45 degrees north",
        "site.cloud_share, cover_transmission, air_temperature not given: crops are taken to have usual clouds",
        "Evidence is weak for yellow_perch",
        "Published values that no fit saw show fish that eat or grow more than ours: yellow_perch",
        "yellow_perch: Perch used to 18 degC died by half in a day at 26.5 degC (Black 1953",
    ]  # fmt: skip
    assert len(notes) == len(begins)
    for note, words in zip(notes, begins, strict=True):
        assert note.startswith(words)
        assert note.endswith(".")


def notes_of(changes: dict) -> list[str]:
    """Notes about a loop whose water is all given."""
    whole = {
        "loops.main.ph": 7.0, "loops.main.source_water": {"alkalinity": "50 mg/L"}, "loops.main.evaporation": "9 L/day",
        "loops.main.alkalinity_target": "80 mg/L", "loops.main.biofilter_started": dt.date(2026, 6, 1),
    }  # fmt: skip
    site = site_from_tables(changed(changed(STARTER, whole), changes), FOLDER)
    return [note for note in site.notes if note.startswith("loops.main") and not note.startswith("loops.main.ph")]


def test_a_loop_whose_water_is_given_has_no_note_but_its_ph():
    assert notes_of({}) == []
    site = site_from_tables(changed(STARTER, {"loops.main.ph": 7.4}), FOLDER)
    (note,) = (note for note in site.notes if note.startswith("loops.main.ph "))
    assert "7.4" in note


def test_the_age_of_a_film_is_told_where_it_is_assumed_or_not_used():
    june, november = dt.date(2026, 6, 1), dt.date(2026, 11, 1)
    (mature,) = notes_of({"loops.main.biofilter_started": GONE})
    assert mature.split(" ")[0] == "loops.main.biofilter_started"
    assert "mature" in mature
    assert "beds.gravel" in mature
    assert notes_of({"loops.main.biofilter_started": GONE, "beds.gravel.biofilter_started": june}) == []
    (late,) = notes_of({"beds.gravel.biofilter_started": november})
    assert late.split(" ")[:4] == ["loops.main:", "biofilter_started", "of", "beds.gravel"]
    assert "brand new" in late
    (unused,) = notes_of({"loops.main.biofilter_start": "seeded", "beds.gravel.biofilter_started": june})
    assert unused.split(" ")[0] == "loops.main.biofilter_start"


def test_a_wicking_bed_that_nothing_feeds_is_noted():
    season = STARTER["season"]
    crop = {"crop": "tomato", "from": season["start"], "to": season["end"]}
    tub = {"loop": "main", "kind": "wicking", "area": "1 m2", "plantings": [crop]}
    pot = {"loop": "main", "kind": "swirl"}
    unfed = [
        "beds.tub: no settler feeds it; what its soil gives is not known, so its yield is unknown.",
    ]
    for settler, said in ((pot, unfed), (pot | {"feeds": "tub"}, [])):
        tables = changed(STARTER, {"beds.tub": tub, "settlers": {"pot": settler}})
        assert [note for note in site_from_tables(tables, FOLDER).notes if "tub" in note] == said


@pytest.mark.parametrize(
    "beds",
    [GONE, {"wall": {"loop": "main", "kind": "tower", "area": "1 m2", "flow": "50 L/h"}},
     {"tub": {"loop": "main", "kind": "wicking", "area": "1 m2"}}],
)  # fmt: skip
def test_a_loop_without_any_film_is_allowed_and_told_plainly(beds):
    (note,) = notes_of({"beds": beds})
    assert note.startswith("loops.main has no ")
    filters = {"f": {"loop": "main", "kind": "submerged", "media_volume": "40 L", "specific_surface": "200 m2/m3",
                     "flow": "500 L/h"}}  # fmt: skip
    assert notes_of({"beds": beds, "biofilters": filters}) == []


def test_bounds_named_in_the_sentences_are_allowed_themselves():
    heavy = {"cohorts.perch.species": "channel_catfish", "cohorts.perch.count": 5}
    for changes in (
        {f"{WATER}.values.oct": "32 degF", f"{WATER}.at_least": "0 degC"},
        {"beds.gravel.media_size": "0.5 mm"}, {"beds.gravel.media_size": "100 mm"},
        {"cohorts.perch.mean_weight": "0.05 g"}, heavy | {"cohorts.perch.mean_weight": "20 kg"},
        {"site.elevation": "-430 m"}, {"loops.main.ph": 5}, {"loops.main.ph": 10}, {"cohorts.perch.count": 0},
        {"cohorts.perch.count": 10_000_000, "cohorts.perch.mean_weight": "0.05 g"}, {"cohorts.perch.count": 60.0},
        {"loops.main.alkalinity_target": "1000 mg/L"}, {"tanks.first.depth": "10 m"},
    ):  # fmt: skip
        site_from_tables(changed(STARTER, changes), FOLDER)
    tables = changed(STARTER, {WATER: {"kind": "constant", "value": "104 degF"}, "cohorts": GONE})
    assert site_from_tables(tables, FOLDER).held_c["main"] == pytest.approx(40.0)
