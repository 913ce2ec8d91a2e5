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
from stocksim.faces import editing
from stocksim.site.examples import example_names, example_text

TEXT = example_text("heron_lane")
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
    renamed = tomllib.loads(editing.rename_entry(TEXT, "tanks", "birch", "big birch"))
    assert "birch" not in renamed["tanks"]
    assert renamed["cohorts"]["pond_bluegill"]["tank"] == renamed["cohorts"]["pond_goldfish"]["tank"] == "big birch"
    loops = tomllib.loads(editing.rename_entry(TEXT, "loops", "main", "cool"))
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
        (lambda: editing.rename_entry(TEXT, "tanks", "cedar", "birch"), "already among the tanks"),
        (lambda: editing.rename_entry(TEXT, "tanks", "cedar", "  "), "needs a name"),
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
    assert tomllib.loads(editing.rename_entry(text, table, name, "renamed")) == expected
