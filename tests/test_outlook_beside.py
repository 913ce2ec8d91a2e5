"""Two sites in the same drawn seasons: common random numbers, what they save, and what is told."""

from __future__ import annotations

import json

import numpy as np
import pytest
import tomlkit
from command_line import refused, runner
from small_sites import build, one_tank

from stocksim.answers.outlook.answer import outlook_answer
from stocksim.drawn.beside import Beside, Difference, beside
from stocksim.drawn.outlook import Outlook, outlook


@pytest.fixture(scope="module")
def found() -> Outlook:
    return outlook(build(one_tank(days=40, bed_m2=100.0)), 128, seed=3, indices=False)


def of(both: Beside, key: str) -> Difference:
    return next(one for one in both.differences if one.key == key)


def test_the_same_site_differs_in_no_season(found):
    both = beside(found, build(one_tank(days=40, bed_m2=100.0)), "itself")
    assert all((one.values == 0.0).all() for one in both.differences)
    assert both.safe == (found.safe_share, found.safe_share)
    assert both.kept[0] == both.kept[1]
    assert all(one == other for one, other in both.limits)


def test_a_tenth_more_fish_eat_more_in_every_season(found):
    feed = of(beside(found, build(one_tank(days=40, bed_m2=100.0, count=44)), "44 fish"), "feed_kg")
    assert feed.more_share == 1.0
    assert 0.0 < feed.more[0] <= feed.more[1] <= feed.more[2]
    np.testing.assert_array_equal(feed.values > 0.0, True)


def test_what_only_the_other_has_is_drawn_too(found):
    tables = one_tank(days=40, bed_m2=100.0)
    tables["tanks"]["one"]["oxygen_supply"] = {"kind": "measured", "transfer": "300 g/day"}
    both = beside(found, build(tables), "measured air")
    assert of(both, "growth_kg").other[0] > 0.0


def test_common_numbers_shrink_the_error_of_a_difference_as_theory_says(found):
    """Var(B - A) = Var A + Var B - 2 Cov; drawn apart, the covariance is none."""
    other = build(one_tank(days=40, bed_m2=100.0, count=44))
    common = of(beside(found, other, "44 fish"), "feed_kg").values
    a = found.values["feed_kg"]
    b, apart = a + common, outlook(other, 128, seed=4, indices=False).values["feed_kg"]
    apart = np.random.default_rng(1).permutation(apart)  # points of two Sobol sequences in their order are not apart
    theory = a.var() + b.var() - 2.0 * np.cov(a, b, ddof=0)[0, 1]
    assert common.var() == pytest.approx(theory, rel=1e-9)
    assert (apart - a).var() == pytest.approx(a.var() + b.var(), rel=0.4)
    assert common.var() < 0.05 * (apart - a).var()


def test_the_answer_has_both_and_its_data_is_plain(found):
    both = beside(found, build(one_tank(days=40, bed_m2=100.0, count=400)), "400 fish")
    answer = outlook_answer(found, besides=[both])
    (data,) = json.loads(json.dumps(answer.data, allow_nan=False))["beside"]
    assert data["with"] == "400 fish"
    assert data["totals"]["deaths"]["chance_more"] > 0.9
    density = next(one for one in data["limits"] if one["limit"] == "density")
    assert density["chance"][0] < density["chance"][1]
    assert answer.has("beside")
    assert not outlook_answer(found).has("beside")
    assert outlook_answer(found).data["beside"] == []


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    (tmp_path / "crowd.toml").write_text(tomlkit.dumps(one_tank(days=12, count=400)), encoding="utf-8")
    (tmp_path / "calm.toml").write_text(tomlkit.dumps(one_tank(days=12, count=10)), encoding="utf-8")
    return runner(monkeypatch, capsys, tmp_path)


def test_the_command_sets_another_file_and_the_advice_beside(run):
    given = run("outlook", "crowd.toml", "-n", 8, "--beside", "calm.toml", "--advised", "--json")
    assert given.code == 0
    calm, advised = given.data["beside"]
    assert calm["with"] == "calm"
    assert calm["chance_no_limit_broken"] == [0.0, 1.0]
    assert advised["chance_no_limit_broken"][1] > 0.0


def test_what_cannot_be_set_beside_is_a_sentence(run):
    refused(run("outlook", "calm.toml", "-n", 8, "--advised"), "--advised")
    refused(run("outlook", "calm.toml", "-n", 8, "--beside", "gone.toml"), "gone.toml")
