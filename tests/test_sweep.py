"""Sweeps: what is varied, runs that are the seasons alone, chunks that are not lost, and folders that are refused."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
from served import FAR_OUT_S
from small_sites import build, one_tank

from stocksim.answers.sweep import decide
from stocksim.answers.sweep.answer import sweep_answer
from stocksim.answers.sweep.decide import sweep
from stocksim.answers.sweep.plan import Span, make_plan, read_vary
from stocksim.engine.running import run_season
from stocksim.errors import InputError
from stocksim.site.examples import example_text

COUNT, POWER = "cohorts.fish.count", "tanks.one.oxygen_supply.power"


def site(days: int = 8):
    return build(one_tank(days=days))


# --- what is varied


def test_values_are_read_as_a_file_would_hold_them():
    found = read_vary(["a.b=1,2.5,10 W,true,2026-10-01,=x", "c.d=800..1200 L", "e=0.1 .. 0.5", "f=2..9", "g=5 W..9 W"])
    assert [str(value) for value in found["a.b"]] == ["1", "2.5", "10 W", "True", "2026-10-01", "=x"]
    assert [type(value).__name__ for value in found["a.b"]] == ["int", "float", "str", "bool", "date", "str"]
    assert found["c.d"] == Span(800.0, 1200.0, "L", False)
    assert found["e"] == Span(0.1, 0.5, "", False)
    assert found["f"] == Span(2.0, 9.0, "", True)
    assert found["g"] == Span(5.0, 9.0, "W", False)


@pytest.mark.parametrize(
    ("texts", "word"),
    [
        (["nothing"], "FIELD=VALUE"), (["=3"], "FIELD=VALUE"), (["a="], "FIELD=VALUE"), (["a=1,,2"], "empty"),
        (["a=5..2"], "must rise"), (["a=5 W..9 kW"], "two units"), (["a=1", "a=2"], "twice"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_a_sentence(texts, word):
    with pytest.raises(InputError, match=word):
        read_vary(texts)


@pytest.mark.parametrize(
    ("vary", "points", "word"),
    [
        ({}, 0, "nothing is varied"), ({"cohorts.fish.colour": [1]}, 0, "colour"),
        ({"cohorts.nobody.count": [1]}, 0, "nobody"), ({COUNT: [-3, 5]}, 0, "-3"),
        ({COUNT: Span(1, 9, "", True)}, 0, "--points"), ({COUNT: [1] * 1001, POWER: ["9 W"] * 1001}, 0, "1,002,001"),
    ],
)  # fmt: skip
def test_a_plan_that_cannot_be_is_refused_before_anything_runs(vary, points, word):
    if len(vary) == 2:  # so many checks would take a minute
        vary = {"site.name": [str(n) for n in range(1001)], "site.about": [str(n) for n in range(1001)]}
    with pytest.raises(InputError, match=word):
        make_plan(site(), vary, points)


def test_every_combination_is_run_the_last_field_moving_fastest():
    plan = make_plan(site(), {COUNT: [10, 20], POWER: ["9 W", "12 W", "15 W"]})
    assert plan.number == 6
    assert [tuple(run.values()) for run in plan.runs()[:4]] == [(10, "9 W"), (10, "12 W"), (10, "15 W"), (20, "9 W")]


def test_points_fill_ranges_and_lists_and_are_a_power_of_two():
    plan = make_plan(
        site(), {COUNT: Span(10, 50, "", True), POWER: Span(9, 60, "W", False), "site.units": ["us", "metric"]}, 50
    )
    runs = plan.runs()
    assert len(runs) == plan.number == 64
    counts = [run[COUNT] for run in runs]
    assert all(isinstance(count, int) for count in counts)
    assert (min(counts), max(counts)) == (pytest.approx(10, abs=1), pytest.approx(50, abs=1))
    assert sum(run["site.units"] == "us" for run in runs) == 32
    assert all(run[POWER].endswith(" W") for run in runs)
    assert runs == plan.runs()


# --- runs


def test_each_run_is_the_season_alone():
    found = sweep(site(), {COUNT: [10, 300], POWER: ["9 W", "60 W"]})
    for row, changes in zip(found.runs.to_dict("records"), found.plan.runs(), strict=True):
        alone = run_season(site(), **changes)
        totals = alone.totals()
        assert row["feed_kg"] == totals["feed_kg"]
        assert row["growth_kg"] == totals["growth_kg"]
        broken = [one for one in alone.findings if one.is_broken]
        assert row["limits_broken"] == len(broken)
        least = min(one.margin_percent for one in alone.findings if one.margin_percent is not None)
        assert row["least_margin_percent"] == pytest.approx(least, rel=1e-12)
    oxygen = found.limits[(found.limits["limit"] == "oxygen") & (found.limits["run"] == 2)]
    alone = run_season(site(), **found.plan.runs()[2])
    (finding,) = [one for one in alone.findings if one.limit == "oxygen"]
    assert oxygen["worst_value"].item() == finding.worst_value
    assert oxygen["first_date"].item() == (finding.first_date.isoformat() if finding.first_date else None)


def test_a_combination_that_is_no_site_is_told_and_the_others_run():
    tables = one_tank(days=8)
    tables["events"] = [{"kind": "harvest", "date": tables["season"]["end"], "cohort": "fish", "count": 30}]
    found = sweep(build(tables), {COUNT: [50, 20, 40]})
    assert list(found.runs["fault"].notna()) == [False, True, False]
    assert "30 fish" in found.runs["fault"][1]
    assert found.runs["harvested_kg"].notna().tolist() == [True, False, True]
    assert "1 are no sound site" in sweep_answer(found).verdict


# --- the folder


def test_a_sweep_goes_on_where_it_stopped_and_comes_to_the_same_bytes(tmp_path, monkeypatch):
    monkeypatch.setattr(decide, "CHUNK_RUNS", 4)
    vary = {COUNT: list(range(10, 20))}
    whole = sweep(site(), vary, folder=tmp_path / "whole")
    ran = []
    real = decide.run_chunk

    def stopping(*given):
        ran.append(given[2])
        if len(ran) == 3:
            raise KeyboardInterrupt
        return real(*given)

    monkeypatch.setattr(decide, "run_chunk", stopping)
    with pytest.raises(KeyboardInterrupt):
        sweep(site(), vary, folder=tmp_path / "stopped")
    assert not (tmp_path / "stopped" / "runs.csv").exists()
    monkeypatch.setattr(decide, "run_chunk", lambda *given: ran.append(given[2]) or real(*given))
    again = sweep(site(), vary, folder=tmp_path / "stopped")
    assert ran == [0, 4, 8, 8]  # only what was lost
    assert again.done_before == 8
    for name in ("runs.csv", "limits.csv", "part-000001.json", "sweep.json"):
        assert (tmp_path / "stopped" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()
    pd.testing.assert_frame_equal(whole.runs, again.runs, check_exact=True)


def test_a_chunk_that_was_spoiled_is_run_again(tmp_path):
    vary = {COUNT: [10, 20]}
    first = sweep(site(), vary, folder=tmp_path / "s")
    for text in ('{"fields": "', '{"fields": "other"}', "[]"):
        (tmp_path / "s" / "part-000000.json").write_text(text, encoding="utf-8")
        again = sweep(site(), vary, folder=tmp_path / "s")
        assert again.done_before == 0
        pd.testing.assert_frame_equal(first.runs, again.runs, check_exact=True)


def test_a_killed_sweep_loses_a_chunk_at_most(tmp_path):
    """Killed for good in the middle, from outside, and run again."""
    (tmp_path / "house.toml").write_text(example_text("starter"), encoding="utf-8")
    words = [sys.executable, "-m", "stocksim", "sweep", "house.toml", "--out", "s", "--vary"]
    words.append("cohorts.perch.count=" + ",".join(map(str, range(20, 20 + 3 * decide.CHUNK_RUNS))))
    if not (Path(decide.__file__).parents[2] / "__main__.py").exists():
        words[1:3] = ["-c", "from stocksim.faces.cli import main; main()"]
    running = subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        end = time.monotonic() + FAR_OUT_S
        while not (tmp_path / "s" / "part-000000.json").exists():
            assert running.poll() is None
            assert time.monotonic() < end
            time.sleep(0.02)
    finally:
        running.kill()
        running.wait(timeout=FAR_OUT_S)
    done = len(list((tmp_path / "s").glob("part-*.json")))
    assert not (tmp_path / "s" / "runs.csv").exists()
    ran = subprocess.run([*words, "--json"], cwd=tmp_path, capture_output=True, text=True, check=True,
                         timeout=FAR_OUT_S)  # fmt: skip
    data = json.loads(ran.stdout)
    assert data["done_before"] == done * decide.CHUNK_RUNS
    assert data["number"] == len(data["runs"]) == 3 * decide.CHUNK_RUNS


def test_a_folder_of_another_version_or_sweep_or_of_other_files_is_refused(tmp_path):
    folder = tmp_path / "s"
    sweep(site(), {COUNT: [10, 20]}, folder=folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    for other, vary, seed, word in (
        (site(), {COUNT: [10, 30]}, 1, "other fields or values"),
        (site(9), {COUNT: [10, 20]}, 1, "another site file"),
        (site(), {COUNT: [10, 20]}, 2, "another seed"),
    ):
        with pytest.raises(InputError, match=word):
            sweep(other, vary, seed=seed, folder=folder)
    plan = json.loads(before["sweep.json"])
    (folder / "sweep.json").write_text(json.dumps(plan | {"stocksim_version": "0.0.9"}), encoding="utf-8")
    with pytest.raises(InputError, match=r"another version of stocksim \(0\.0\.9"):
        sweep(site(), {COUNT: [10, 20]}, folder=folder)
    (folder / "sweep.json").write_bytes(before["sweep.json"])
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    foreign = tmp_path / "holiday"
    foreign.mkdir()
    (foreign / "photo.jpg").write_bytes(b"x")
    with pytest.raises(InputError, match=r"photo\.jpg"):
        sweep(site(), {COUNT: [10]}, folder=foreign)
    with pytest.raises(InputError, match="is a file"):
        sweep(site(), {COUNT: [10]}, folder=foreign / "photo.jpg")


def test_a_full_disk_is_a_sentence_and_spoils_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(decide, "CHUNK_RUNS", 2)
    real, wrote = decide.replace_file, []

    def full(path, data):
        wrote.append(path.name)
        if len(wrote) == 3:
            raise OSError(28, "No space left on device")
        real(path, data)

    monkeypatch.setattr(decide, "replace_file", full)
    with pytest.raises(InputError, match="No space left on device"):
        sweep(site(), {COUNT: [10, 20, 30, 40]}, folder=tmp_path / "s")
    assert sorted(path.name for path in (tmp_path / "s").iterdir()) == ["part-000000.json", "sweep.json"]
    again = sweep(site(), {COUNT: [10, 20, 30, 40]}, folder=tmp_path / "s")
    assert (again.done_before, len(again.runs)) == (2, 4)


def test_tables_are_written_as_parquet_too(tmp_path):
    pytest.importorskip("pyarrow")
    found = sweep(site(), {COUNT: [10, 20]}, folder=tmp_path / "s")
    read = pd.read_parquet(tmp_path / "s" / "runs.parquet")
    assert list(read.columns) == list(found.runs.columns)
    pd.testing.assert_series_equal(read["growth_kg"], found.runs["growth_kg"], check_exact=True)
    assert [path.name for path in found.files] == ["runs.csv", "runs.parquet", "limits.csv", "limits.parquet"]
    text = pd.read_csv(tmp_path / "s" / "runs.csv")
    pd.testing.assert_series_equal(text["growth_kg"], found.runs["growth_kg"], rtol=1e-12)


def test_threads_change_no_bit():
    one, two = (sweep(site(), {COUNT: list(range(10, 50))}, threads=threads) for threads in (1, 3))
    pd.testing.assert_frame_equal(one.runs, two.runs, check_exact=True)
    pd.testing.assert_frame_equal(one.limits, two.limits, check_exact=True)


def test_progress_counts_the_runs():
    told: list[tuple[int, int]] = []
    sweep(site(), {COUNT: list(range(10, 10 + decide.CHUNK_RUNS + 3))}, progress=lambda *at: told.append(at))
    assert told == [(decide.CHUNK_RUNS, decide.CHUNK_RUNS + 3), (decide.CHUNK_RUNS + 3, decide.CHUNK_RUNS + 3)]
