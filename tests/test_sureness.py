"""How sure a season's verdict is: the chance told with it, and bands in its picture."""

from __future__ import annotations

import json

import numpy as np
import pytest
import tomlkit
from command_line import runner
from small_sites import build, one_tank

from stocksim.answers.season.answer import season_answer, with_advice
from stocksim.changes.ways import advise
from stocksim.drawn import sureness as drawn
from stocksim.drawn.outlook import outlook
from stocksim.drawn.sureness import PICTURE_COLUMNS, Sureness, sureness
from stocksim.engine.running import run_season
from stocksim.faces.chance_words import seasons_words, sure_data, sure_words
from stocksim.faces.picture import picture_stack
from stocksim.faces.words import by_harm


@pytest.fixture(scope="module", autouse=True)
def few():
    """Fewer seasons, for what is drawn is told by the answer itself."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drawn, "QUICK_SEASONS", 32)
        yield


@pytest.fixture(scope="module")
def crowded():
    return run_season(build(one_tank(days=20, count=300)))


@pytest.fixture(scope="module")
def sure(crowded) -> Sureness:
    return sureness(crowded.site)


def test_the_chance_is_that_of_the_limit_the_verdict_names_first(crowded, sure):
    data = sure_data(crowded, crowded.findings, sure)
    assert (data["limit"], data["where"]) == next(
        (f.limit, f.where) for f in by_harm(crowded, crowded.findings) if f.is_broken
    )
    same = outlook(crowded.site, 32, 1, indices=False, columns=())
    (met,) = [one for one in same.limits if (one.what, one.where) == (data["limit"], data["where"])]
    assert data["chance"] == pytest.approx(met.share, abs=1e-6)
    assert data["chance_no_limit_broken"] == pytest.approx(same.kept_share, abs=1e-6)
    assert same.bands == {}


def test_where_all_holds_the_chance_is_that_all_holds():
    calm = run_season(build(one_tank(days=20, count=4)))
    assert not any(finding.is_broken for finding in calm.findings)
    data = sure_data(calm, calm.findings, sureness(calm.site))
    assert data["limit"] is None
    assert data["chance"] == data["chance_no_limit_broken"] > 0.5


def test_what_is_advised_is_drawn_in_the_same_seasons(crowded, sure):
    advice = advise(crowded)
    whole = with_advice(sure, crowded, advice)
    assert whole.advised.number == 32
    assert whole.advised.kept[0] == sure.found.kept_share < whole.advised.kept[1]
    answer = season_answer(crowded, advice.findings, advice=advice, sure=whole)
    told = json.loads(json.dumps(answer.data))["chance"]
    assert told["advised"]["chance_no_limit_broken"] == pytest.approx(whole.advised.kept[1], abs=1e-6)
    assert answer.verdict.endswith(told["sentence"])
    assert "chance" not in season_answer(crowded, advice.findings, advice=advice).data
    assert with_advice(sure, crowded, None) is sure


def test_the_picture_has_bands_where_seasons_were_drawn(crowded, sure):
    assert set(sure.found.bands) == set(PICTURE_COLUMNS)
    plain, banded = (picture_stack(crowded, bands=bands).to_dict() for bands in (None, sure.found.bands))

    def held(spec: dict) -> list[dict]:
        return [row for rows in spec["datasets"].values() for row in rows if {"low", "middle", "high"} <= set(row)]

    density = sure.found.bands["tanks.density_kg_m3"].ends[:, 0, 0]
    rows = [row for row in held(banded) if row not in held(plain)]
    assert rows
    assert any(np.allclose([row["low"], row["middle"], row["high"]], density) for row in rows)
    assert all(row["low"] <= row["middle"] <= row["high"] for row in rows)


def test_a_share_after_in_reads_as_a_sentence():
    shares = (0.0, 0.03, 0.7, 1.0)
    assert [seasons_words(share) for share in shares] == [
        "no season", "3 of 100 seasons", "7 of 10 seasons", "every season",
    ]  # fmt: skip


def test_without_fish_no_chance_is_told():
    tables = one_tank(days=10)
    tables["cohorts"] = {}
    season = run_season(build(tables))
    said = sure_words(season, season.findings, sureness(season.site))
    assert said == "No fish are kept, so there is nothing to judge."


def test_the_command_tells_it_only_when_asked(monkeypatch, capsys, tmp_path):
    (tmp_path / "calm.toml").write_text(tomlkit.dumps(one_tank(days=12, count=4)), encoding="utf-8")
    run = runner(monkeypatch, capsys, tmp_path)
    assert "chance" not in run("season", "calm.toml", "--json").data
    assert run("season", "calm.toml", "--chance", "--json").data["chance"]["seasons"] == 32
