"""Edits of a site file's text keep comments and every other value."""

from __future__ import annotations

import copy
import datetime as dt
import tomllib

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st
from small_sites import any_site

from stocksim.errors import InputError
from stocksim.faces import editing, renaming
from stocksim.site.examples import example_names, example_text

TEXT = example_text("heron_lane")
YEAR = example_text("heron_lane_year")
COMMENTS = [line[line.index("#") :] for line in TEXT.splitlines() if "#" in line]


def test_example_is_there():
    assert "heron_lane" in example_names()
    assert len(COMMENTS) > 5


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("tanks", "cedar", "volume"), "-500 L"),
        (("site", "units"), "metric"),
        (("tanks", "cedar", "oxygen_supply", "power"), "40 W"),
        (("tanks", "cedar", "depth"), "70 cm"),
        (("loops", "main", "water_temperature", "values", "oct"), "60 degF"),
        (("beds", "north_raft", "plantings", 0, "crop"), "kale"),
        (("cohorts", "tilapia", "stocked"), "soon"),
        (("cohorts", "tilapia", "stocked"), dt.date(2026, 11, 1)),
        (("cohorts", "tilapia", "ration"), {"kind": "unfed"}),
        (("cohorts", "tilapia", "ration"), None),
        (("beds", "wicking_tubs", "plantings", 0), None),
        (("site", "about"), 'a "quoted" # text\nof two lines'),
    ],
)
def test_put_changes_one_value_and_keeps_comments(path, value):
    new = editing.put(TEXT, path, value)
    expected = tomllib.loads(TEXT)
    here = expected
    for step in path[:-1]:
        here = here[step]
    if value is None:
        del here[path[-1]]
    else:
        here[path[-1]] = value
    assert tomllib.loads(new) == expected
    for comment in COMMENTS:
        assert comment in new


def test_put_makes_the_tables_on_the_way():
    new = editing.put(TEXT, ("tanks", "cedar", "strange", "power"), "1 W")
    assert tomllib.loads(new)["tanks"]["cedar"]["strange"] == {"power": "1 W"}


def test_entries_are_added_renamed_and_removed():
    more = editing.add_entry(TEXT, "tanks", "rowan", {"loop": "main", "volume": "900 L", "flow": "1300 L/h"})
    assert tomllib.loads(more)["tanks"]["rowan"]["volume"] == "900 L"
    assert tomllib.loads(editing.remove_entry(more, "tanks", "rowan")) == tomllib.loads(TEXT)
    renamed = tomllib.loads(renaming.rename_entry(TEXT, "tanks", "birch", "big birch"))
    assert "birch" not in renamed["tanks"]
    assert renamed["cohorts"]["pond_bluegill"]["tank"] == renamed["cohorts"]["pond_goldfish"]["tank"] == "big birch"
    loops = tomllib.loads(renaming.rename_entry(TEXT, "loops", "main", "cool"))
    assert {entry["loop"] for table in ("tanks", "beds") for entry in loops[table].values()} == {"cool", "warm"}


def test_first_entry_of_a_table_and_last():
    text = TEXT
    for name in tomllib.loads(TEXT)["cohorts"]:
        text = editing.remove_entry(text, "cohorts", name)
    assert "cohorts" not in tomllib.loads(text)
    text = editing.add_entry(text, "cohorts", "first", {"species": "bluegill"})
    assert tomllib.loads(text)["cohorts"] == {"first": {"species": "bluegill"}}


def test_plantings_are_appended():
    planting = {"crop": "kale", "from": dt.date(2026, 10, 1), "to": dt.date(2026, 12, 1)}
    new = editing.append(TEXT, ("beds", "wicking_tubs", "plantings"), planting)
    assert tomllib.loads(new)["beds"]["wicking_tubs"]["plantings"][-1] == planting
    bare = editing.put(TEXT, ("beds", "wicking_tubs", "plantings"), None)
    assert tomllib.loads(editing.append(bare, ("beds", "wicking_tubs", "plantings"), planting))


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: editing.put("[site", ("site", "name"), "x"), "not readable"),
        (lambda: renaming.rename_entry(TEXT, "tanks", "cedar", "birch"), "already among the tanks"),
        (lambda: renaming.rename_entry(TEXT, "tanks", "cedar", "  "), "needs a name"),
        (lambda: editing.add_entry(TEXT, "tanks", "cedar", {}), "already among the tanks"),
        (lambda: editing.put(TEXT, ("beds", "north_raft", "plantings", 9, "crop"), "x"), "cannot be written"),
        (lambda: editing.remove_entry(TEXT, "tanks", "nobody"), "cannot be written"),
    ],
)
def test_refusals_are_sentences(act, words):
    with pytest.raises(InputError, match=words):
        act()


def test_unreadable_text_has_no_tables():
    assert editing.tables("[site") is None
    assert editing.value_at(None, ("tanks",)) is None


def test_free_names_are_free():
    text = editing.add_entry(TEXT, "tanks", editing.free_name(TEXT, "tanks", "tank"), {"loop": "main"})
    assert editing.free_name(text, "tanks", "tank") == "tank_2"
    assert editing.free_name("", "tanks", "tank") == "tank_1"


@pytest.mark.parametrize(
    ("typed", "kind", "value"),
    [
        ("900 L", "text", "900 L"), ("  ", "text", None), ("7.0", "number", 7.0), ("7", "number", 7),
        ("nan", "number", "nan"), ("inf", "number", "inf"), ("1e3", "number", 1000.0), ("ten", "whole", "ten"),
        ("2026-10-01", "date", dt.date(2026, 10, 1)), ("1.10.2026", "date", "1.10.2026"),
    ],
)  # fmt: skip
def test_what_is_typed(typed, kind, value):
    found = editing.from_typed(typed, kind)
    assert found == value
    assert type(found) is type(value)


@given(st.text(max_size=12), st.sampled_from(["text", "number", "whole", "date"]))
def test_any_text_survives_being_typed(typed, kind):
    value = editing.from_typed(typed, kind)
    try:
        new = editing.put(TEXT, ("tanks", "cedar", "volume"), value)
    except InputError:
        # only what no TOML file can hold may be refused: lone surrogates and control signs
        assert any(ord(sign) < 32 or 0xD800 <= ord(sign) < 0xE000 or ord(sign) == 127 for sign in typed)
        return
    assert editing.value_at(tomllib.loads(new), ("tanks", "cedar", "volume")) == value


@given(any_site(), st.data())
def test_edits_of_any_site_change_only_what_is_named(raw, data):
    text = tomlkit.dumps(raw)
    table = data.draw(st.sampled_from(["tanks", "loops"]))
    name = data.draw(st.sampled_from(sorted(raw[table])))
    expected = copy.deepcopy(tomllib.loads(text))
    expected[table]["renamed"] = expected[table].pop(name)
    for other, key in {
        "tanks": [("cohorts", "tank")],
        "loops": [("tanks", "loop"), ("beds", "loop"), ("biofilters", "loop")],
    }[table]:
        for entry in expected.get(other, {}).values():
            if entry[key] == name:
                entry[key] = "renamed"
    assert tomllib.loads(renaming.rename_entry(text, table, name, "renamed")) == expected


# ---- events and rations ----------------------------------------------------------------------------------------------

EVENT = {"kind": "harvest", "date": dt.date(2027, 5, 1), "cohort": "tilapia", "count": 3}


def comments(text):
    return {line[line.index("#") :] for line in text.splitlines() if "#" in line}


@pytest.mark.parametrize(
    "text", [TEXT, YEAR, TEXT.rstrip(), "events = []\n" + TEXT, 'events = [{ kind = "x" }] # mine\n' + TEXT, ""]
)
def test_events_are_added_after_those_there_are(text):
    new = editing.append(text, ("events",), EVENT)
    expected = tomllib.loads(text)
    expected["events"] = [*expected.get("events", []), EVENT]
    assert tomllib.loads(new) == expected
    assert new.startswith(text.rstrip()) or "events = [" in text
    assert comments(new) == comments(text)
    twice = editing.append(new, ("events",), EVENT)
    assert tomllib.loads(twice)["events"] == [*expected["events"], EVENT]


@pytest.mark.parametrize("number", range(9))
def test_events_are_removed_one_by_one(number):
    new = editing.remove_item(YEAR, "events", number)
    expected = tomllib.loads(YEAR)
    gone = expected["events"].pop(number)
    assert tomllib.loads(new) == expected
    assert len(comments(YEAR) - comments(new)) <= 1, gone  # only the event's own


def test_a_comment_before_the_next_event_stays_and_subtables_go_along():
    text = (
        '[[events]] # first\nkind = "ration"\n[events.ration]\nkind = "unfed"\n\n# for the fair\n[[events]]\n'
        'kind = "thin"\n# at the end\n'
    )
    new = editing.remove_item(text, "events", 0)
    assert new == '\n# for the fair\n[[events]]\nkind = "thin"\n# at the end\n'
    assert "# first" in editing.remove_item(text, "events", 1)
    assert "events" not in tomllib.loads(editing.remove_item(new, "events", 0))


def test_events_written_in_one_line_are_removed_too():
    text = 'events = [{ kind = "thin" }, { kind = "move" }] # mine\n[season]\n'
    assert tomllib.loads(editing.remove_item(text, "events", 0))["events"] == [{"kind": "move"}]
    bare = editing.remove_item(editing.remove_item(text, "events", 0), "events", 0)
    assert tomllib.loads(bare) == {"season": {}}


@pytest.mark.parametrize(("text", "words"), [("[site", "not readable"), (TEXT, "cannot be written")])
def test_no_event_is_removed_where_there_is_none(text, words):
    with pytest.raises(InputError, match=words):
        editing.remove_item(text, "events", 0)


def test_a_rule_of_another_kind_keeps_when_fish_are_fed():
    path = ("cohorts", "perch", "ration")
    before = editing.value_at(tomllib.loads(YEAR), path)
    new = editing.switch(YEAR, path, {"kind": "percent", "percent": 2.0}, ["cold_rules", "stop_below"])
    expected = tomllib.loads(YEAR)
    expected["cohorts"]["perch"]["ration"] = {
        "kind": "percent", "percent": 2.0, "cold_rules": before["cold_rules"], "stop_below": before["stop_below"],
    }  # fmt: skip
    assert tomllib.loads(new) == expected
    assert comments(new) == comments(YEAR)
    # and a table of its own heading stays one
    trout = editing.switch(YEAR, ("cohorts", "winter_trout", "ration"), {"kind": "beds"}, ["meals_per_day"])
    assert tomllib.loads(trout)["cohorts"]["winter_trout"]["ration"] == {"kind": "beds", "meals_per_day": 3}
    assert "[cohorts.winter_trout.ration]" in trout
    assert comments(trout) == comments(YEAR)


def test_a_kind_picked_where_there_was_no_rule():
    bare = editing.put(TEXT, ("cohorts", "tilapia", "ration"), None)
    new = editing.switch(bare, ("cohorts", "tilapia", "ration"), {"kind": "unfed"})
    assert tomllib.loads(new)["cohorts"]["tilapia"]["ration"] == {"kind": "unfed"}


def test_rows_of_a_ration_table_are_changed_and_added():
    path = ("cohorts", "winter_trout", "ration", "percent")
    rows = editing.value_at(tomllib.loads(YEAR), path)
    new = editing.put(editing.put(YEAR, (*path, 1), [1.0, 0.8, 0.5]), (*path, len(rows)), [2.0, 1.5, 1.0])
    assert editing.value_at(tomllib.loads(new), path) == [rows[0], [1.0, 0.8, 0.5], *rows[2:], [2.0, 1.5, 1.0]]


def test_a_renamed_cohort_and_tank_take_their_events_along():
    new = tomllib.loads(renaming.rename_entry(YEAR, "cohorts", "tilapia", "warm ones"))
    assert [event["cohort"] for event in new["events"]].count("warm ones") == 2
    assert "tilapia" not in str(new["events"])
    tanks = tomllib.loads(renaming.rename_entry(YEAR, "tanks", "spruce", "fir"))
    assert [event["tank"] for event in tanks["events"] if "tank" in event] == ["fir", "alder"]


@pytest.mark.parametrize(
    ("typed", "kind", "value"),
    [
        ("4 degC, 9 degC", "list", ["4 degC", "9 degC"]), ("1, 0.9 ,x", "numbers", [1, 0.9, "x"]), (" ", "list", None),
        (",", "numbers", []),
    ],
)  # fmt: skip
def test_lists_that_are_typed(typed, kind, value):
    assert editing.from_typed(typed, kind) == value


def test_lists_are_shown_as_they_are_typed():
    assert editing.as_typed([0.7, 1, "x"]) == "0.7, 1, x"
    assert editing.from_typed(editing.as_typed([0.7, 1.25]), "numbers") == [0.7, 1.25]
