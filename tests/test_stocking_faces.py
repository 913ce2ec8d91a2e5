"""The stocking planner as a keeper meets it: the command, the planned file on disk, the page."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import pytest
import tomlkit
from command_line import runner
from small_sites import START, one_tank
from streamlit.testing.v1 import AppTest

from stocksim.answers.stock.answer import stock_answer
from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.program import Broken
from stocksim.answers.stock.reasons import Relaxation
from stocksim.answers.stock.words import kilos
from stocksim.faces.registry import script_of
from stocksim.faces.text import answer_text
from stocksim.site.reading import load_site
from stocksim.site.stocking_tables import HarvestWish

ROOT = Path(__file__).parents[1]
PAGE = script_of("stock")


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


@pytest.fixture
def file(tmp_path):
    """A small site on disk with a log of water temperatures beside it and a fish to buy."""
    tables = one_tank(days=30, count=40)
    tables["loops"]["main"]["water_temperature"] = {"kind": "log", "file": "sump.csv"}
    tables["stocking"] = {
        "budget": 80,
        "candidates": {
            "cats": {
                "species": "channel_catfish", "mean_weight": "80 g", "price": 2, "feed": "catfish_32", "at_most": 30,
            }
        },
    }  # fmt: skip
    days = [START + dt.timedelta(days=n) for n in range(30)]
    (tmp_path / "sump.csv").write_text("date,temperature_c\n" + "".join(f"{day},26\n" for day in days))
    path = tmp_path / "house.toml"
    path.write_text("# mine\n" + tomlkit.dumps(tables), encoding="utf-8")
    return path


def test_stock_prints_writes_and_its_file_is_sound(run, file):
    out = file.parent / "plan"
    ran = run("stock", file, "--json", "--out", out)
    assert ran.code == 0, ran.err
    assert {"plan", "goal_value", "gap", "binding", "refused", "relaxation"} <= set(ran.data)
    planned = out / "house_planned.toml"
    assert str(planned) in ran.err
    assert "# mine" in planned.read_text(encoding="utf-8")
    assert (out / "sump.csv").is_file()
    proof = run("season", planned, "--strict")
    assert proof.code == 0, proof.err
    # a second plan may take the place of the first, but of nothing else
    ran = run("stock", file, "--out", out, "--goal", "edible,cost", "--pareto", "edible,cost")
    assert ran.code == 0
    assert re.search(r"^plan  fillet  +money ", ran.out, re.MULTILINE)
    planned.write_text("[site]\n", encoding="utf-8")
    ran = run("stock", file, "--out", out)
    assert ran.code == 0
    assert str(out / "house_planned_2.toml") in ran.err
    assert f"{planned} was edited" in ran.err
    assert planned.read_text(encoding="utf-8") == "[site]\n"


def test_bad_options_are_one_sentence(run, file):
    for options, words in (
        (["--goal", "fame"], "--goal"),
        (["--pareto", "edible"], "give two of"),
        (["--pareto", "edible,keep"], "give two of"),
    ):
        ran = run("stock", file, *options)
        assert (ran.code, ran.out) == (2, "")
        assert words in ran.err
        assert len(ran.lines) == 1


def words(at: AppTest) -> str:
    html = " ".join(element.proto.body for element in at.get("html"))
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def verdicts(at: AppTest) -> list[str]:
    """Of the page's own answer; the bar at the top tells of the site as it is."""
    shown = " ".join(element.proto.body for element in at.get("html"))
    assert len(re.findall(r'class="ss-verdict ', shown)) == 1
    return ["trouble" if bad else "told" for bad in re.findall(r'class="ss-answer( ss-bad-answer)?"', shown)]


def test_the_page_draws_the_plan_and_solves_again_when_a_slider_moves(file, monkeypatch):
    monkeypatch.setenv("STOCKSIM_SITE", str(file))
    at = AppTest.from_file(PAGE, default_timeout=900).run()
    assert not at.exception
    assert verdicts(at) == ["told"]
    assert {fold.label: fold.proto.expanded for fold in at.expander}["Cautions"] is True
    assert any("data:image/svg+xml" in element.proto.body for element in at.get("html"))
    assert "to buy" in words(at)
    before = words(at)
    at.slider[0].set_value(0).run()
    assert not at.exception
    assert "to buy" not in words(at).split("Wishes")[0]
    assert words(at) != before
    next(button for button in at.button if button.label == "Take the plan into the site").click().run()
    assert "# Planned by" not in at.session_state.site_text  # it asks first
    next(button for button in at.button if button.label == "Yes, take it").click().run()
    assert not at.exception
    assert "# Planned by" in at.session_state.site_text
    assert "[stocking]" not in at.session_state.site_text


def test_the_page_says_what_must_give(file, monkeypatch):
    text = file.read_text(encoding="utf-8").replace("at_most = 30", "at_most = 900\nat_least = 900")
    file.write_text(text.replace("budget = 80", "budget = 5000"), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(file))
    at = AppTest.from_file(PAGE, default_timeout=900).run()
    assert not at.exception
    assert verdicts(at) == ["trouble"]
    assert "instead of 900" in words(at)


def test_a_wish_that_failed_its_season_is_not_called_impossible(file):
    """Rounds that failed tighten the program: what it then says must give is no proof."""
    plan = plan_stocking(load_site(file))
    wish = HarvestWish(species="channel_catfish", weight="4 kg", by=START + dt.timedelta(days=20))
    given = Relaxation(None, (Broken("wish", "1", None, 3.9999, 4.0),), 0.0, 0.0, "optimal", ())
    last = plan.plan._replace(stocking=None, status="infeasible")
    lost = replace(
        plan, plan=None, cohorts=(), season=None, refused=(), relaxation=given,
        wishes=plan.wishes.model_copy(update={"harvest_wishes": [wish]}), proven=plan.proven._replace(plan=last),
    )  # fmt: skip
    assert "The smallest change" in answer_text(stock_answer(lost))
    failed = tuple(finding for finding in plan.season.findings if finding.limit == "unionized_ammonia")
    failing = replace(lost, broken=failed, contradiction=("biofilter", "wish 1"), relaxation_held=False)
    told = stock_answer(failing)
    assert "broke un-ionized ammonia" in told.verdict
    assert told.data["is_proven_impossible"] is False
    assert told.data["relaxation_held_in_season"] is False
    assert told.data["contradiction"]["sentence"].startswith("Not proven")
    text = " ".join(answer_text(told).split())
    assert "breaks a limit even so" in text
    assert "The smallest change" not in text
    assert "A little less than 4.00 kg" in text


def test_an_answer_far_from_its_promise_tells_both(file):
    plan = plan_stocking(load_site(file))
    held = plan.plan
    far = replace(plan, plan=held._replace(bound=held.score + 3.0, gap=3.0 / abs(held.score)))
    assert 3.0 / abs(held.score) > 0.1
    promised, reached = (kilos(value, "metric") for value in (held.score + 3.0, held.score))
    plain = replace(far, program=replace(far.program, band_price={}))
    (said,) = stock_answer(plain).section("proof").parts[0].items
    assert re.search(rf"promised {re.escape(promised)} .* reaches {re.escape(reached)} ", said)
    answer = stock_answer(far).data
    assert answer["bound"] - answer["score"] == pytest.approx(3.0, abs=1e-3)
