"""What a plan puts together stands in its own answer: tankmates, wild and new fish, law, reserve, humane killing."""

from __future__ import annotations

import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.answers.stock.answer import keep_answer, stock_answer
from stocksim.answers.stock.company import company_notes
from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.keep import keep_plan
from stocksim.answers.stock.together import put_together
from stocksim.answers.tankmates.decide import judge_company
from stocksim.faces.answer import MOST_NOTES
from stocksim.faces.care import KILLING
from stocksim.faces.company_words import law_and_care
from stocksim.faces.text import answer_text


def mixed(days: int = 20) -> dict:
    """Wild perch in two tanks, one with a few larger catfish."""
    tables = one_tank("yellow_perch", "perch_45", 21.0, days, 20, 60.0)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    fish = tables["cohorts"].pop("fish") | {"wild": True, "stocked": START}
    tables["cohorts"] = {
        "perch": fish,
        "perch_two": fish | {"tank": "two", "count": 10},
        "cats": fish | {"species": "channel_catfish", "feed": "catfish_32", "count": 5, "mean_weight": "110 g",
                        "wild": False, "tank": "two"},
    }  # fmt: skip
    return tables


@pytest.fixture(scope="module")
def season():
    return run_season(build(mixed()))


def test_a_plan_judges_only_who_shares_a_tank_and_as_tankmates_does(season):
    together, company = put_together(season), judge_company(season)
    told = {(pair.a, pair.b): pair for pair in company.pairs if pair.tanks}
    assert {(pair.a, pair.b): pair for pair in together.pairs} == told
    assert ("perch", "cats") not in told
    assert together.wild == company.wild
    assert together.losses == company.losses


def test_cohorts_of_one_batch_are_told_as_one(season):
    together = put_together(season, {"perch_two": "perch"})
    (pair,) = [pair for pair in together.pairs if pair.a != pair.b]
    assert {pair.a, pair.b} == {"perch", "cats"}
    assert pair.tanks == ("two",)
    assert {ground.who for ground in pair.grounds} <= {"perch", "cats", ""}
    (itself,) = [pair for pair in together.pairs if pair.a == pair.b == "perch"]
    assert set(itself.tanks) == {"one", "two"}
    (wild,) = together.wild
    assert (wild.cohort, wild.tank, wild.fish) == ("perch", "one, two", 30.0)


def test_the_reserve_of_a_tank_is_the_least_of_all_that_is_judged_there(season):
    one, two = put_together(season).reserves
    assert (one.tank, two.tank) == ("one", "two")
    for reserve, fish in ((one, {"perch"}), (two, {"perch_two", "cats"})):
        places = {f"tanks.{reserve.tank}", "loops.main", *(f"cohorts.{name}" for name in fish)}
        judged = [f.margin_percent for f in season.findings if f.where in places and f.margin_percent is not None]
        assert reserve.least.margin_percent == min(judged)
        assert reserve.by_limit["density"].where == f"tanks.{reserve.tank}"


def test_the_first_layer_tells_it_in_three_lines(season):
    notes = company_notes(put_together(season), ["cats"])
    assert len(notes) == MOST_NOTES
    assert "perch, perch two and cats" in notes[1]
    assert "Teach perch and perch two" in notes[1]
    least = min(f.margin_percent for f in season.findings if f.margin_percent is not None)
    assert f"{least:z.0f} %" in notes[2]


def test_law_that_is_alike_is_told_once(season):
    said = law_and_care(season.site.species)
    assert len(said) == len(set(said))
    assert sum("Never release" in text for text in said) == 0  # stands once, among what holds for all
    assert sum("never release" in text for text in said) == 1
    assert all(any(entry.title in text for text in said) for entry in season.site.species.values())


@pytest.fixture(scope="module")
def planned():
    tables = mixed(30)
    tables["stocking"] = {
        "candidates": {
            "more": {
                "species": "bluegill", "mean_weight": "80 g", "price": 2, "feed": "sunfish_44", "at_most": 10,
                "at_least": 5,
            }
        }
    }  # fmt: skip
    return plan_stocking(build(tables), "edible")


def test_both_plans_hold_company_as_data_and_say_how_fish_are_killed(planned):
    told = stock_answer(planned)
    assert {row["cohort"] for row in told.data["company"]["wild"]} <= {"perch", "perch_two"}
    tanks = {planned.problem.tanks[p.tank] for p in planned.cohorts}
    assert {row["tank"] for row in told.data["company"]["reserve"]} == tanks
    text = " ".join(answer_text(told, ["fish"]).split())
    assert KILLING in text  # its kilos are those of fish that are killed
    assert "more" in " ".join(told.brief.notes)  # is new, so it is to stand in quarantine
    kept = keep_answer(keep_plan(build(mixed())))
    assert {row["tank"] for row in kept.data["company"]["reserve"]} == {"one", "two"}
    assert KILLING not in answer_text(kept)  # nobody is taken out
    assert len(kept.brief.notes) == MOST_NOTES
