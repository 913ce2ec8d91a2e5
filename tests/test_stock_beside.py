"""Plans that differ in kind side by side: made by the same deciders, counted alike, and what cannot be had is said."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
import tomlkit
from command_line import runner
from small_sites import START, build, one_tank

from stocksim.answers.stock import beside
from stocksim.answers.stock.beside import KINDS, numbers_of, plans_beside
from stocksim.answers.stock.compared import beside_answer
from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.keep import keep_plan
from stocksim.faces.text import answer_text


def planted(days: int = 28) -> dict:
    """A calm tank whose gravel is half full of lettuce."""
    tables = one_tank(days=days, count=30)
    end = START + dt.timedelta(days=days - 1)
    tables["beds"]["gravel"]["plantings"] = [{"crop": "lettuce", "from": START, "to": end, "area": "5 m2"}]
    return tables


@pytest.fixture(scope="module")
def site():
    return build(planted())


@pytest.fixture(scope="module")
def kinds(site):
    return plans_beside(site)


def test_each_kind_is_what_its_own_decider_gives(site, kinds):
    kept, edible, steady = kinds
    assert [kind.name for kind in kinds] == list(KINDS)
    own = keep_plan(site)
    assert numbers_of(kept).lived == pytest.approx(own.kept)
    assert numbers_of(kept).fish == 30
    alone = plan_stocking(site, KINDS["edible"], refused=False)
    assert edible.plan.cohorts == alone.cohorts
    assert numbers_of(edible).fillet_kg == pytest.approx(
        alone.values["edible"], abs=0.002 * (1 + numbers_of(edible).left_out)
    )
    assert steady.plan is None or steady.plan.values["steady"] <= 1.01 * edible.plan.values["steady"]


def test_fish_without_a_place_and_to_buy_are_counted(kinds):
    for kind in kinds:
        if kind.season is not None:
            one = numbers_of(kind)
            assert one.fish - one.bought + one.left_out == 30
            assert one.weeks_in_band <= one.weeks_asked == 4


def test_a_plan_that_another_beats_by_its_own_goal_is_not_given(kinds):
    edible = kinds[1]
    worse = edible.plan.values | {"steady": 1e6}
    beaten = edible._replace(name="steady", plan=replace(edible.plan, goals=("steady",), values=worse))
    dropped = beside._unless_beaten(beaten, [edible, beaten])
    assert (dropped.plan, dropped.season, dropped.beaten_by) == (None, None, "edible")
    assert beside._unless_beaten(edible, [edible, beaten]) == edible


def test_one_table_has_a_column_for_each_and_all_of_it_is_data(site, kinds, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    answer = beside_answer(site, kinds)
    found = [kind for kind in kinds if kind.season is not None]
    assert len(answer.brief.table) == 7
    assert all(len(row) == 1 + len(found) for row in answer.brief.table)
    assert max(map(len, answer_text(answer).splitlines())) <= 100
    assert [plan["has_plan"] for plan in answer.data["plans"]] == [kind.season is not None for kind in kinds]
    assert answer.data["plans"][0]["cohorts"] == {"fish": {"tank": "one", "count": 30, "species": "nile_tilapia"}}


def test_the_command_says_the_cost_first_and_why_a_kind_is_missing(monkeypatch, capsys, tmp_path):
    run = runner(monkeypatch, capsys, tmp_path)
    path = tmp_path / "house.toml"
    path.write_text(tomlkit.dumps(one_tank(days=20, count=20)))
    ran = run("stock", path, "--beside", "--json")
    assert ran.code == 0
    assert "3 whole plans" in ran.err
    kept, edible, steady = ran.data["plans"]
    assert kept["has_plan"]
    assert edible["has_plan"]
    assert not steady["has_plan"]  # nothing is planted
    assert "contradicts the beds" in steady["answer"]
    for options in (["--goal", "edible"], ["--worth"], ["--out", "plan"], ["--pareto", "edible,cost"]):
        ran = run("stock", path, "--beside", *options)
        assert (ran.code, len(ran.lines)) == (2, 1)
        assert "leave out" in ran.err
