"""Plans that hold in so many of ten drawn seasons: fish taken out by date, judged by fresh seasons."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
import tomlkit
from command_line import refused, runner
from small_sites import START, build, one_tank

from stocksim.answers.stock import hold_in
from stocksim.answers.stock.answer import keep_answer
from stocksim.answers.stock.case import held_answer
from stocksim.answers.stock.hold_in import FRESH_SEED, HeldPlan, held_plan, read_share
from stocksim.answers.stock.keep import keep_plan
from stocksim.drawn.outlook import gathered
from stocksim.errors import InputError


@pytest.fixture(scope="module", autouse=True)
def few():
    """Fewer seasons, so that the test is quick; what is drawn is as in the answer."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hold_in, "TRIED", 32)
        patch.setattr(hold_in, "FRESH", 64)
        yield


def tables(count: int) -> dict:
    """Tilapia that grow to near the limit of their tank's density, with air and film to spare."""
    return one_tank(days=60, count=count, mean_weight_g=300.0, bed_m2=200.0, power_w=400.0)


@pytest.fixture(scope="module")
def tight() -> HeldPlan:
    return held_plan(keep_plan(build(tables(40))), 0.9)


def _holds(found: HeldPlan, seed: int) -> float:
    assert found.held is not None
    places = list(gathered(found.held.season.site, 64, seed).places())
    seasons = zip(*(place.first_day < 0 for place in places), strict=True)
    return sum(map(all, seasons)) / 64.0


def test_a_tight_plan_is_thinned_until_it_holds(tight):
    held = tight.held
    assert held is not None
    assert held.before < 0.9 <= held.share
    assert held.holds
    (step,) = held.way.steps
    (event,) = held.season.site.raw["events"]
    assert event["date"] > START
    assert 0 < event["count"] == step.change.amounts["fish"] < 40
    # judged by seasons other than those by which fish were taken out, as anyone may draw them again
    assert held.share == pytest.approx(_holds(tight, FRESH_SEED))
    assert hold_in.TRIED_SEED != FRESH_SEED


def test_the_plan_itself_has_what_is_taken_out(tight):
    assert tight.plan.tables["events"] == tight.held.season.site.raw["events"]
    answer = held_answer(keep_answer(tight.plan), tight)
    data = json.loads(json.dumps(answer.data))["hold_in"]
    assert (data["holds"], data["wanted"]) == (True, 0.9)
    assert [one["fish"] for one in data["taken_out"]] == [step.change.amounts["fish"] for step in tight.held.way.steps]
    assert answer.verdict.endswith(data["sentence"])
    assert answer.has("hold_in")


def test_a_calm_plan_stays_as_it_is():
    plan = keep_plan(build(tables(20)))
    found = held_plan(plan, 0.9)
    assert found.plan is plan
    assert found.held.way is None
    assert found.held.share == found.held.before >= 0.9


def test_what_taking_fish_out_cannot_mend_is_told_with_what_it_misses():
    # water at the edge of what the fish bear, from the first week on: fewer fish change nothing
    cold = one_tank(days=40, count=10, temperature_c=24.0, bed_m2=100.0)
    site = build(cold)
    low = site.species["nile_tilapia"]["temperature_low_limit"]
    cold["loops"]["main"]["water_temperature"]["value"] = f"{low + 0.2} degC"
    found = held_plan(keep_plan(build(cold)), 0.95)
    held = found.held
    assert held is not None
    assert held.share < 0.95
    assert not held.holds
    assert held.often[0][0] == "temperature_low"
    assert not held.broken


def test_a_plan_that_leaves_harm_is_not_tried():
    calm = keep_plan(build(tables(20)))
    plan = replace(calm, advice=replace(calm.advice, must_change=True), way=None)  # nothing was found that helps
    assert not plan.is_harmless
    assert held_plan(plan, 0.9) == HeldPlan(plan, None)


@pytest.mark.parametrize("text", ["9 of 10", " 95 of 100 ", "5 of 10"])
def test_a_share_is_read(text):
    assert read_share(text) in (0.9, 0.95, 0.5)


@pytest.mark.parametrize("text", ["", "9", "0.9", "10 of 10", "4 of 10", "9 of 0", "nine of ten", "9 of 10 seasons"])
def test_a_share_that_is_none_is_a_sentence(text):
    with pytest.raises(InputError, match="9 of 10"):
        read_share(text)


def test_the_command_writes_the_plan_that_holds(monkeypatch, capsys, tmp_path):
    (tmp_path / "tight.toml").write_text(tomlkit.dumps(tables(40)), encoding="utf-8")
    run = runner(monkeypatch, capsys, tmp_path)
    data = run("stock", "tight.toml", "--hold-in", "9 of 10", "--out", "plan", "--json").data
    assert data["hold_in"]["holds"]
    written = tomlkit.parse((tmp_path / "plan" / "tight_planned.toml").read_text(encoding="utf-8")).unwrap()
    (event,) = written["events"]
    assert event["count"] == data["hold_in"]["taken_out"][0]["fish"]
    refused(run("stock", "tight.toml", "--hold-in", "9 of 10", "--worth"))
    refused(run("stock", "tight.toml", "--hold-in", "all"))
