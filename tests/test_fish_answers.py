"""What the faces say of a species: every value has a topic, weak ones are marked, facts and cautions are told."""

from __future__ import annotations

from collections import Counter

import pytest
from command_line import runner, spoil

from stocksim.answers.library.answer import GROUPS, MEANINGS, facts, feed_rows, fish_answer, value_rows
from stocksim.faces.text import answer_text
from stocksim.library.feeds import feed_names, load_feed
from stocksim.library.species import SPECIES_RULES, load_species, species_names


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_every_value_of_a_species_file_stands_under_one_topic():
    listed = Counter(key for keys in GROUPS.values() for key in keys)
    assert set(listed) == {*SPECIES_RULES.required, *SPECIES_RULES.optional}
    assert set(listed.values()) == {1}
    assert set(MEANINGS) <= set(listed)


@pytest.mark.parametrize("name", species_names())
def test_rows_tell_number_grade_and_source_of_every_value(name):
    entry = load_species(name)
    rows = [row for rows in value_rows(entry).values() for row in rows]
    assert {row["value"].replace(" ", "_") for row in rows} == set(entry.values)
    for row in rows:
        value = entry.values[row["value"].replace(" ", "_")]
        source = entry.sources[value.source]
        assert row["number"].startswith(f"{value.value:g}")
        assert (row["range"] == "") == (value.low is None)
        assert row["source"] == source.cite
        assert row["where"].endswith(value.where)
        is_weak = source.read in ("from memory", "common practice")
        assert row["grade"] == ("weak: " if is_weak else "") + source.read


def test_a_likened_fish_says_so_with_both_grades_and_its_cautions(run):
    entry = load_species("pumpkinseed")
    data = run("fish", "pumpkinseed", "--json").data
    assert (data["like"], data["temper"], data["body_form"]) == ("bluegill", "territorial", "deep")
    assert (data["evidence"], data["company_evidence"]) == ("weak", "weak")
    assert data["wild_caution"] == entry.facts["wild_caution"]
    assert data["fitted_with_feed_kind"] == "pellet"
    assert data["facts"] == facts(entry)
    weak = [key for key, value in data["values"].items() if value["is_weak"]]
    assert f"{len(weak)} of {len(data['values'])} values are weak" in data["facts"][0]
    assert {"prey_share_deep", "size_spread", "temperature_change_per_day", "feed_training_days"} <= set(weak)
    said = " ".join(run("fish", "pumpkinseed", "--all").out.split())
    for words in (*data["facts"], data["caution"], data["wild_caution"], *GROUPS):
        assert words in said
    grades = {row["grade"] for rows in value_rows(entry).values() for row in rows}  # broken in their cells as printed
    assert "weak: common practice" in grades
    assert "Likened to bluegill" in said


def test_sexes_company_and_handling_are_shown_with_their_source(run):
    data = run("fish", "bluegill", "--json").data
    males = data["values"]["appetite_males"]
    assert (males["topic"], males["is_weak"]) == ("Appetite and growth", False)
    assert males["where"].startswith("docs/fits.md")
    assert data["like"] is None
    assert not any("Likened" in fact for fact in data["facts"])


def test_whom_a_fish_must_never_join_is_told_with_the_reason(run):
    data = run("fish", "nile_tilapia", "--json").data
    assert data["never_with"] == ["rainbow_trout"]
    assert data["never_because"].startswith("No water suits both")
    assert f"Never with rainbow trout. {data['never_because']}" in data["facts"]
    assert run("fish", "bluegill", "--json").data["never_with"] == []


def test_natural_food_is_named_where_it_is_given(run):
    spoil('feed = "perch_45"', 'feed = "earthworms"')
    (cohort,) = run("check", "house.toml", "--json").data["understood"]["cohorts"]
    assert "fed earthworms (natural)" in cohort
    grow = ("grow", "yellow_perch", "--from", "28 g", "--at", "20 degC", "--days", "9", "--json")
    (note,) = run(*grow, "--feed", "earthworms").data["notes"]
    assert note.startswith("Earthworms, fresh: natural food, ")
    assert note.endswith(load_feed("earthworms").facts["caution"])
    assert run(*grow).data["notes"] == []


def test_feeds_are_marked_pellet_or_natural():
    rows = {row["feed"]: row for row in feed_rows()}
    assert list(rows) == feed_names()
    assert {name for name, row in rows.items() if row["kind"] == "natural"} == {
        "black_soldier_fly_larvae", "duckweed", "earthworms", "kitchen_greens",
    }  # fmt: skip
    assert {row["kind"] for row in rows.values()} == {"natural", "pellet"}
    out = answer_text(fish_answer(None))
    cautions = [load_feed(name).facts["caution"] for name, row in rows.items() if row["kind"] == "natural"]
    assert len(cautions) == 4
    assert all(caution in " ".join(out.split()) for caution in cautions)
    assert all(any(line.split()[:2] == [name, row["kind"]] for line in out.splitlines()) for name, row in rows.items())
