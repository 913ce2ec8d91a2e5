"""A name changed on the edit page changes wherever the file names it: the file stays sound and the season the same."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pandas as pd
import pytest
import tomlkit
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from small_sites import any_site

from stocksim.engine.running import run_season
from stocksim.errors import InputError
from stocksim.faces import renaming
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.site.reading import site_from_text

TABLES = ("loops", "tanks", "beds", "biofilters", "settlers", "cohorts")
# invented wishes for the year's demonstration site: names of tanks, cohorts and loops in every place that takes one
STOCKING = """
[stocking]
budget = 500

[stocking.candidates.more_perch]
species = "yellow_perch"
mean_weight = "40 g"
price = 2
feed = "perch_45"
at_most = 40
tanks = ["cedar", "birch"]   # where there is room

[stocking.own.tilapia]
at_least = 5
tanks = ["maple", "poplar"]

[stocking.options]
heater_on = { loop = "main", at_least = "18 degC", cost = 90 }
cool.loop = "warm"
cool.at_most = "22 degC"
"""


def texts() -> dict[str, str]:
    return {name: example_text(name) for name in example_names()} | {
        "with stocking": example_text("heron_lane_year") + STOCKING
    }


def all_names(text: str) -> list[tuple[str, str]]:
    raw = tomllib.loads(text)
    return [(table, name) for table in TABLES for name in raw.get(table, {})]


def deep(value: object, names: dict[tuple[str, str], str]) -> object:
    """Tables with every entry renamed by code of the test's own, which knows the site's tables."""
    raw = tomllib.loads(tomlkit.dumps(value))
    for (table, old), new in names.items():
        raw[table] = {new if key == old else key: entry for key, entry in raw[table].items()}
        field = {"loops": "loop", "tanks": "tank", "cohorts": "cohort"}.get(table)
        wishes = raw.get("stocking", {})
        entries = [entry for other in TABLES for entry in raw.get(other, {}).values()] + raw.get("events", [])
        entries += wishes.get("options", {}).values()
        for entry in entries:
            if field and entry.get(field) == old:
                entry[field] = new
            if table == "beds" and entry.get("feeds") == old:
                entry["feeds"] = new
        for entry in [*wishes.get("candidates", {}).values(), *wishes.get("own", {}).values()]:
            if table == "tanks" and "tanks" in entry:
                entry["tanks"] = [new if tank == old else tank for tank in entry["tanks"]]
        if table == "cohorts" and old in wishes.get("own", {}):
            wishes["own"] = {new if key == old else key: entry for key, entry in wishes["own"].items()}
    return raw


def comments(text: str) -> list[str]:
    return sorted(line[line.index("#") :] for line in text.splitlines() if "#" in line)


@pytest.mark.parametrize("name", texts())
def test_every_name_of_a_site_can_be_changed(name):
    text = texts()[name]
    for table, old in all_names(text):
        renamed = renaming.rename_entry(text, table, old, "new-name")
        assert tomllib.loads(renamed) == deep(tomllib.loads(text), {(table, old): "new-name"}), (table, old)
        assert list(tomllib.loads(renamed)[table]).index("new-name") == list(tomllib.loads(text)[table]).index(old)
        assert comments(renamed) == comments(text)
        site_from_text(renamed, FOLDER)
        assert tomllib.loads(renaming.rename_entry(renamed, table, "new-name", old)) == tomllib.loads(text)


@pytest.mark.parametrize("name", texts())
def test_the_season_is_the_same_under_other_names(name):
    text = texts()[name]
    before = run_season(site_from_text(text, FOLDER))
    names = {(table, old): f"{table[:-1]}_{number}" for number, (table, old) in enumerate(all_names(text))}
    for (table, old), new in names.items():
        text = renaming.rename_entry(text, table, old, new)
    after = run_season(site_from_text(text, FOLDER))
    for frame in ("tanks", "cohorts", "beds", "loops", "ledger"):
        was, now = getattr(before, frame).copy(), getattr(after, frame)
        for column in was.select_dtypes(exclude="number"):
            kinds = {"tank": ("tanks",), "cohort": ("cohorts",), "loop": ("loops",), "bed": ("beds", "biofilters")}
            known = {old: new for (table, old), new in names.items() if table in kinds.get(column, ())}
            was[column] = was[column].map(lambda value, known=known: known.get(value, value))
        pd.testing.assert_frame_equal(was, now, check_exact=True)
    assert [(f.limit, f.worst_value, f.first_date) for f in before.findings if f.is_broken] == [
        (f.limit, f.worst_value, f.first_date) for f in after.findings if f.is_broken
    ]


@given(st.data())
@settings(max_examples=examples(60))
def test_names_change_however_the_file_is_written(data):
    text = data.draw(st.sampled_from(sorted(texts().values())) | any_site().map(tomlkit.dumps))
    table, old = data.draw(st.sampled_from(all_names(text)))
    new = data.draw(st.sampled_from(["x", "1e5", "new name", 'a"b', "äö", "a.b", "#", "[x]"]))
    expected = deep(tomllib.loads(text), {(table, old): new})
    assert tomllib.loads(renaming.rename_entry(text, table, old, new)) == expected


@pytest.mark.parametrize(
    "text",
    [
        "[ tanks . 'old' ] # mine\nvolume = 1\n[ tanks . 'old' . oxygen_supply ]\nkind = 'none'\n",
        '[[tanks."old".list]]\na = 1\n[[tanks.old.list]]\na = 2\n',
        "[tanks]\nold = { volume = 1 } # mine\nolder = { volume = 2 }\n",
        "[tanks]\nold.volume = 1 # mine\n'old'.depth = 2\n",
        "tanks.old.volume = 1 # mine\ntanks . old . depth = 2\n",
        "tanks = { older = { volume = 2 }, old = { volume = 1 } }\n",
        '[site]\nabout = """\n[tanks.old]\n"""\n[tanks.old]\nvolume = 1\n',
    ],
)
def test_every_way_to_write_a_table(text):
    raw = tomllib.loads(text)
    expected = raw | {"tanks": {"new" if key == "old" else key: entry for key, entry in raw["tanks"].items()}}
    new = renaming.rename_entry(text, "tanks", "old", "new")
    assert tomllib.loads(new) == expected
    assert list(tomllib.loads(new)["tanks"]) == list(expected["tanks"])
    assert comments(new) == comments(text)


def test_a_graded_cohort_takes_its_later_events_along():
    text = example_text("heron_lane_year")
    raw = tomllib.loads(text)
    number, made = next((n, event["into"]) for n, event in enumerate(raw["events"]) if "into" in event)
    assert [event["cohort"] for event in raw["events"]].count(made) > 0
    renamed = renaming.rename_graded(text, number, "the_big_ones")
    assert made not in str(tomllib.loads(renamed)["events"])
    site_from_text(renamed, Path(FOLDER))


def test_a_name_that_a_grading_makes_is_taken():
    text = example_text("heron_lane_year")
    made = next(event["into"] for event in tomllib.loads(text)["events"] if "into" in event)
    with pytest.raises(InputError, match="already among the cohorts"):
        renaming.rename_entry(text, "cohorts", "tilapia", made)
