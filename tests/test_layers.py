"""The first layer of an answer is short and narrow, and nothing of the answer is lost behind it."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import pytest

from stocksim.answers.beds.answer import beds_answer
from stocksim.answers.beds.changes import bed_plan
from stocksim.answers.library.answer import fish_answer
from stocksim.answers.powercut.answer import powercut_answer
from stocksim.answers.powercut.decide import power_cut
from stocksim.answers.ramp.answer import ramp_answer
from stocksim.answers.ramp.decide import feeding_ramp
from stocksim.answers.season.answer import Solved, season_answer, solve
from stocksim.answers.stock.answer import keep_answer
from stocksim.answers.stock.keep import keep_plan
from stocksim.answers.tankmates.answer import company_answer
from stocksim.answers.tankmates.decide import judge_company
from stocksim.changes.change import Action, Change
from stocksim.engine.running import run_season
from stocksim.faces.answer import MOST_ACTIONS, MOST_CARES, TOPICS, Answer, Brief, Section, Sentences, Table, points
from stocksim.faces.care import (
    CARBON_MONOXIDE,
    ELECTRICITY,
    HYGIENE,
    KILLING,
    OLD_WATER,
    SALT,
    SPRAY,
    UNVENTED,
    brief_cares,
    cares_beside,
    typed_cares,
    whole_cares,
)
from stocksim.faces.first_layer import action_head
from stocksim.faces.text import answer_text, text_table, told_topics
from stocksim.faces.understood import check_answer
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site

MOST_WORDS, WIDEST = 160, 100
QUESTIONS = ("season", "beds", "company", "powercut", "ramp", "stock", "fish", "fish yellow_perch")


@cache
def solved(example: str) -> Solved:
    return solve(load_site(FOLDER / f"{example}.toml"))


@cache
def asked(question: str) -> Answer:
    """What a command answers on the demonstration site."""
    found = solved("heron_lane")
    season, site = found.season, found.season.site
    match question.split():
        case ["season"]:
            return season_answer(season, found.findings, advice=found.advice)
        case ["beds"]:
            return beds_answer(bed_plan(season, is_sought=False))
        case ["company"]:
            return company_answer(judge_company(season), "us", found.advice)
        case ["powercut"]:
            return powercut_answer(power_cut(season), site, "us")
        case ["ramp"]:
            return ramp_answer(feeding_ramp(site, None))
        case ["stock"]:
            return keep_answer(keep_plan(site))
        case ["fish", *name]:
            return fish_answer(name[0] if name else None)
    raise AssertionError(question)


def words(text: str) -> list[str]:
    return [word for word in text.split() if any(letter.isalnum() for letter in word)]


def flat(text: str) -> str:
    return " ".join(text.split())


def tables(text: str) -> list[str]:
    return [line for line in text.splitlines() if re.search(r"\S {2,}\S", line) or re.fullmatch("[- ]+", line)]


@pytest.fixture(autouse=True)
def wide(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")


def test_the_demonstration_is_read_in_half_a_minute():
    text = answer_text(asked("season"), ())
    assert len(words(text)) <= MOST_WORDS
    assert max(map(len, text.splitlines())) <= WIDEST
    # verdict, what to do by date, the fish, care, where the rest is
    assert asked("season").verdict in flat(text)
    assert all(row["do by"] in text and flat(row["what"]) in flat(text) for row in asked("season").brief.actions)
    assert all(cohort in text for cohort in load_site(FOLDER / "heron_lane.toml").cohorts)
    assert text.splitlines()[-1] == "More: --fish --water --plants --cautions --assumptions --all"


@pytest.mark.parametrize("example", ["heron_lane_young", "starter"])
def test_other_examples_are_short_too(example):
    found = solved(example)
    text = answer_text(season_answer(found.season, found.findings, advice=found.advice), ())
    assert len(words(text)) <= 1.4 * MOST_WORDS
    assert max(map(len, text.splitlines())) <= WIDEST


@pytest.mark.parametrize("question", QUESTIONS)
def test_first_layers_are_short_and_all_tables_narrow(question):
    answer = asked(question)
    assert len(words(answer_text(answer, ()))) <= 1.3 * MOST_WORDS
    for text in (answer_text(answer, ()), answer_text(answer)):
        assert max(map(len, tables(text)), default=0) <= WIDEST


@pytest.mark.parametrize("question", QUESTIONS)
def test_all_of_an_answer_stands_behind_its_first_layer(question):
    answer = asked(question)
    whole = flat(answer_text(answer))
    for section in answer.sections:
        for part in section.parts:
            if isinstance(part, Sentences) and part.on != "page":
                assert all(flat(item) in whole for item in part.items), section.key
    by_topic = [flat(line) for topic in told_topics(answer) for line in answer_text(answer, [topic]).splitlines()]
    assert set(by_topic) <= {flat(line) for line in answer_text(answer).splitlines()}


def test_cautions_that_the_first_layer_leaves_out_have_an_option_to_see_them():
    for question in ("season", "beds", "company", "powercut", "ramp", "stock"):
        answer = asked(question)
        assert "cautions" in told_topics(answer), question
        assert "--cautions" in answer_text(answer, ()).splitlines()[-1]
    cautions = flat(answer_text(asked("season"), ["cautions"]))
    file = load_site(FOLDER / "heron_lane.toml").file
    assert all(care in cautions for care in whole_cares(file))
    assert ELECTRICITY in cautions
    assert CARBON_MONOXIDE in cautions  # its greenhouse burns propane


def test_care_stands_beside_the_action_that_asks_for_it():
    answer = asked("season")
    told = [item for part in answer.section("do").parts if isinstance(part, Sentences) for item in part.items]
    assert any(row["what"].startswith("Harvest") for row in answer.brief.actions)
    assert KILLING in told
    assert "Stun fish before killing; local law decides." in answer.brief.care[:MOST_CARES]


def test_care_is_chosen_by_what_a_site_has():
    site = load_site(FOLDER / "starter.toml")
    assert not [care for care in brief_cares(site.file) if "urner" in care]
    assert CARBON_MONOXIDE not in whole_cares(site.file)
    assert OLD_WATER not in whole_cares(site.file)
    change = {"date": site.file.season.start, "volume": "100 L"}
    changed = site.with_changes({"loops.main.water_changes": [change]})
    assert OLD_WATER in whole_cares(changed.file)


def test_a_burner_without_a_flue_is_told_before_all_else_and_is_never_green():
    site = load_site(FOLDER / "heron_lane.toml")
    deadly = run_season(site.with_changes({"greenhouse.heater.vented": False}))
    answer = season_answer(deadly, deadly.findings)
    assert answer.verdict == f"{UNVENTED} {asked('season').verdict}"
    assert (answer.is_trouble, asked("season").is_trouble) == (True, False)
    assert check_answer(deadly.site).brief.care[0] == UNVENTED


def test_what_was_typed_is_asked_about_once_where_it_stands():
    site = load_site(FOLDER / "heron_lane.toml")
    asked = typed_cares(site.file, site.species)
    assert set(asked) == {"greenhouse", "cohorts", "tanks", "loops", "beds"}
    assert "pond_bluegill" in asked["cohorts"][0]
    assert any(text.startswith("Nile tilapia: ") for text in asked["cohorts"])
    care = check_answer(site).data["understood"]["care"]
    assert all(text in care for said in asked.values() for text in said)
    starter = load_site(FOLDER / "starter.toml")
    assert "greenhouse" not in typed_cares(starter.file, starter.species)


def test_tankmates_that_do_not_quite_suit_are_a_caution_and_not_fine():
    answer = asked("company")
    assert "does not suit" in answer.verdict
    assert (answer.is_trouble, answer.is_caution) == (False, True)


def test_salt_and_spray_are_minded_where_they_are_and_nowhere_else():
    site = load_site(FOLDER / "starter.toml")
    salted = Change(Action.CHLORIDE, {}, {})
    assert SALT in cares_beside(site.file, [salted])
    assert SALT not in whole_cares(site.file)
    towers = any(BED_KINDS[bed.kind].has_planted_face for bed in site.file.beds.values())
    assert towers == (SPRAY in whole_cares(site.file))
    plain = load_site(FOLDER / "heron_lane.toml")
    assert SPRAY not in whole_cares(plain.file)


def test_hygiene_stands_above_the_harvest_of_beds():
    parts = asked("beds").section("beds").parts
    where = [number for number, part in enumerate(parts) if isinstance(part, Sentences) and HYGIENE in part.items]
    assert where
    assert isinstance(parts[where[0] + 1], Table)


def test_the_head_of_the_actions_promises_no_more_than_the_way_keeps():
    found = solved("heron_lane")
    season, advice, way = found.season, found.advice, found.advice.ways[0]
    broken = tuple(finding for finding in found.findings if finding.is_broken)

    def head(must_change=False, **changed):
        ways = (replace(way, **changed),)
        return action_head(season, found.findings, replace(advice, ways=ways, must_change=must_change))

    assert head() == "Nothing must change; to hold these:"
    assert "hardly" in head(near=broken)
    assert "nearest" in head(left=broken)
    assert head(must_change=True) == "Do all of these, by date:"
    assert "hardly" in head(must_change=True, near=broken)
    assert "No changes tried hold every limit" in head(must_change=True, left=broken)
    assert action_head(season, [], replace(advice, ways=())).startswith("What to do")  # water against nitrate
    starter = solved("starter")
    assert action_head(starter.season, starter.findings, starter.advice) == "Nothing has to be done."


# a text that 13 to 15 year olds read easily begins at 60 (Flesch 1948, A new readability yardstick, J. Appl. Psychol.
# 32, 221-233, from memory)
PLAIN_ENGLISH = 60.0


@pytest.mark.parametrize("question", QUESTIONS)
def test_first_layers_are_plain_english(question):
    textstat = pytest.importorskip("textstat", reason="textstat is not installed")
    answer = asked(question)
    said = [answer.verdict, answer.brief.head, *answer.brief.care[:MOST_CARES]]
    said += [row["what"] for row in answer.brief.actions[:MOST_ACTIONS] if "what" in row]
    # a list, a step or a care line is a sentence to a reader; names of fish and tanks are the keeper's
    text = " ".join(f"{part.rstrip('.:')}." for part in said if part).replace("_", " ")
    assert textstat.textstat.flesch_reading_ease(text) >= PLAIN_ENGLISH, text


# --- the frame by itself


def small(rows: int = 9, cares: int = 5) -> Answer:
    return Answer(
        "A house", "All is well.",
        [
            Section("a", [Sentences(["Of fish."])], topics=("fish",)),
            Section("b", [points(["Of water.", "Of more water."])], topics=("water", "fish")),
            Section("c", [Sentences(["Only with all."])]),
            Section("d", [Sentences(["Only pages."], on="page")], topics=("plants",)),
        ],
        dict,
        brief=Brief(
            [{"do by": f"{n} May 2027", "what": f"Step {n}"} for n in range(1, rows + 1)], "What to do:",
            [{"fish": "perch"}], [f"Care {n}." for n in range(1, cares + 1)],
        ),
    )  # fmt: skip


def test_seven_actions_and_three_cares_are_told_and_the_others_counted():
    text = answer_text(small(), ())
    assert (text.count("Step"), text.count("Care")) == (MOST_ACTIONS, MOST_CARES) == (7, 3)
    assert "and 2 more with --all" in text
    assert "more with --all" not in answer_text(small(rows=7), ())
    assert text.endswith("More: --fish --water --all")
    assert "Of fish" not in text


def test_a_topic_tells_its_sections_and_nothing_else():
    assert answer_text(small(), ["fish"]).splitlines() == [
        "A house", "", "All is well.", "Of fish.", "- Of water.", "- Of more water.",
    ]  # fmt: skip
    assert "Of fish" not in answer_text(small(), ["water"])
    assert "Only with all." in answer_text(small())
    assert set(TOPICS) == {"fish", "water", "plants", "cautions", "assumptions"}


def test_a_table_too_wide_breaks_its_cells_and_then_goes_on_below(monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    broken = text_table([{"name": "a", "what": " ".join(f"word{n}" for n in range(9))}])
    assert max(map(len, broken.splitlines())) <= 40
    assert broken.split() == ["name", "what", "----", "-" * 34, "a", *(f"word{n}" for n in range(9))]
    row = {"name": "a"} | {f"head_number_{n}": f"1{n} kg" for n in range(5)}
    below = text_table([row])
    assert max(map(len, below.splitlines())) <= 40
    assert below.split().count("name") == 3  # two columns fit beside it
    assert all(f"1{n} kg" in below for n in range(5))


def test_quantities_and_dates_are_not_broken(monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    text = text_table([{"first column": "x" * 20, "what": "12.5 lb/gal and 31 May 2027 or 7 mg/L, 45 %"}])
    for whole in ("12.5 lb/gal", "31 May 2027", "7 mg/L", "45 %"):
        assert any(whole in line for line in text.splitlines()), whole


def test_a_table_without_rows_is_empty():
    assert text_table([]) == ""
    assert answer_text(Answer("t", "v", [Section("a", [Table([])])], dict)) == "t\n\nv"
