"""The plan that keeps the fish that are there: who lives, what changes, and that its file proves it."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

import pytest
from command_line import runner

sys.path.insert(0, str(Path(__file__).parent / "advice"))

from keep_pairs import holds, pair, side_by_side
from small_sites import build, one_tank
from troubled import BREAKS, HEALTHY, broken_sites, changed

from stocksim import load_site, run_season
from stocksim.answers.stock.answer import keep_answer
from stocksim.answers.stock.apart import fish_apart
from stocksim.answers.stock.file import write_planned
from stocksim.answers.stock.keep import is_to_keep, keep_plan, kept_fish
from stocksim.answers.stock.less import EARLIER, UNUSED, _part_filled, earlier
from stocksim.changes import change
from stocksim.changes.effort import fish_kg
from stocksim.changes.ways import advise
from stocksim.engine.results.harm import harms
from stocksim.faces.change_words import change_words
from stocksim.site.reading import site_from_text

GRAVEL_HOUSE = Path(__file__).parent / "data" / "gravel_house.toml"


@pytest.fixture(scope="module")
def gravel():
    """230 fish over gravel that nobody doses: in summer nearly all perch and catfish die of nitrite."""
    return keep_plan(load_site(GRAVEL_HOUSE))


def test_a_household_keeps_nine_tenths_of_its_fish_by_a_change_of_its_water(gravel):
    assert kept_fish(gravel.season) < 80.0
    assert gravel.fish == pytest.approx(230.0)
    assert gravel.kept >= 207.0
    assert gravel.is_harmless
    assert gravel.way.holds


def test_the_planned_file_proves_the_plan(gravel, tmp_path):
    path, *_ = write_planned(tmp_path / "plan", GRAVEL_HOUSE, gravel)
    season = run_season(load_site(path))
    assert kept_fish(season) == pytest.approx(gravel.kept, rel=1e-9)
    assert not any(harms(season, finding) for finding in season.findings)
    # comments of the keeper's file stay
    assert "# Invented: a household" in path.read_text()


def test_the_answer_opens_with_what_changes_and_that_all_else_stays(gravel):
    answer = keep_answer(gravel)
    (step,) = gravel.way.steps
    assert answer.verdict.startswith("Dose loop main to hold")
    assert f"{gravel.kept:.0f} of the 230 fish live" in answer.verdict
    assert (answer.is_trouble, answer.is_caution) == (False, False)
    data = answer.data
    assert data["plan"]["ways"][0]["changes"][0]["kind"] == str(step.change.kind)
    assert data["kept"] == round(gravel.kept, 2)
    assert set(data["cohorts"]) == set(gravel.site.file.cohorts)


def test_the_same_plan_whatever_was_run_before(gravel):
    for memo in (change._seasons, change._trials):
        memo._kept.clear()
    keep_plan(build(HEALTHY["trout"]))
    again = keep_plan(load_site(GRAVEL_HOUSE))
    assert (again.fields, again.advice.seasons) == (gravel.fields, gravel.advice.seasons)


def test_healthy_fish_are_kept_as_they_are():
    plan = keep_plan(build(HEALTHY["perch"]))
    assert plan.way is None
    assert plan.fields == {}
    assert plan.after is plan.season
    assert keep_answer(plan).verdict.startswith("Keep all fish as they are: nothing has to change")


def test_cautions_that_are_passed_change_nothing_and_are_not_green():
    (site,) = [site for site in broken_sites() if site.name == "bass: far too many fish in one tank"]
    plan = keep_plan(build(site.tables))
    assert plan.way is not None
    answer = keep_answer(plan)
    assert answer.verdict.startswith(
        f"Keep all fish as they are: nothing has to change, and {kept_fish(plan.season):.0f}"
    )
    assert (answer.is_trouble, answer.is_caution) == (False, True)


def test_of_the_ways_that_hold_the_one_that_keeps_most_fish_is_taken():
    plan = keep_plan(build(changed(HEALTHY["tilapia"], BREAKS["both air pumps too small"])))
    kept = {way.kind: kept_fish(run_season(plan.site, **way.fields)) for way in plan.advice.ways if not way.left}
    assert len({round(fish) for fish in kept.values()}) > 1
    assert round(kept_fish(plan.after)) == round(max(kept.values()))


def test_one_way_that_gives_no_fish_up_is_enough_where_nothing_has_to_change():
    site = build(changed(HEALTHY["perch"], BREAKS["pump of both tanks too small"]))
    plan, all_ways = keep_plan(site), advise(run_season(site))
    assert not plan.advice.must_change
    (way,) = plan.advice.ways
    assert way.holds
    assert way.fields in [other.fields for other in all_ways.ways]
    assert plan.advice.seasons < all_ways.seasons


def test_fish_that_nothing_keeps_are_told_first_and_never_green():
    tables = one_tank("nile_tilapia", "tilapia_34", 4.0, days=60, count=60)
    tables["advice"] = {"never": ["heat"]}
    plan = keep_plan(build(tables))
    assert not plan.is_harmless
    answer = keep_answer(plan)
    assert answer.is_trouble


def test_a_site_without_fish_has_nothing_to_keep():
    assert "No fish are stocked" in keep_answer(keep_plan(build(one_tank(count=0)))).verdict


@pytest.mark.parametrize(
    ("stocking", "goals", "kept"),
    [
        (None, None, True), (None, ("keep",), True), (None, ("edible",), False), (None, ("keep", "edible"), False),
        ({"margin": 0.1}, None, True), ({"goal": "edible"}, None, False),
        ({"harvest_wishes": [{"species": "nile_tilapia", "weight": "1 kg", "by": "2026-10-20"}]}, None, False),
    ],
)  # fmt: skip
def test_fish_are_kept_where_nothing_else_is_asked(stocking, goals, kept):
    tables = one_tank()
    if stocking is not None:
        tables["stocking"] = stocking
        if "harvest_wishes" in stocking:
            tables["stocking"]["harvest_wishes"][0]["by"] = tables["season"]["end"]
    assert is_to_keep(build(tables), goals) is kept


def test_the_command_keeps_by_default_and_writes_the_plan(monkeypatch, capsys, tmp_path):
    run = runner(monkeypatch, capsys, tmp_path)
    ran = run("stock", GRAVEL_HOUSE, "--json", "--out", tmp_path / "out")
    assert ran.code == 0
    assert ran.data["goal"] == ["keep"]
    assert ran.data["kept"] >= 207.0
    written = (tmp_path / "out" / "gravel_house_planned.toml").read_text()
    assert site_from_text(written, tmp_path, "x.toml").file.loops["main"].alkalinity_target == 80.0
    assert run("stock", GRAVEL_HOUSE, "--goal", "keep", "--json").data["kept"] == ran.data["kept"]


def test_loops_that_share_nothing_are_planned_apart_and_added():
    """Three loops, of which one passes cautions and two are in trouble: each alone, and all in one file."""
    names = (
        "tilapia: base forgotten in soft water",
        "trout: too many fish in both",
        "perch: base forgotten in soft water",
    )
    sites = {site.name: site.tables for site in broken_sites()}
    alone = [keep_plan(build(sites[name])) for name in names]
    together = keep_plan(build(side_by_side([sites[name] for name in names])))
    assert together.kept_kg == pytest.approx(sum(plan.kept_kg for plan in alone), rel=1e-9)
    assert together.kept == pytest.approx(sum(plan.kept for plan in alone), rel=1e-9)
    assert [step.change.kind for step in together.way.steps] == [
        step.change.kind for plan in alone if plan.advice.must_change for step in plan.way.steps
    ]
    assert together.advice.seasons < 1.5 * sum(plan.advice.seasons for plan in alone)


def test_fish_that_move_tie_their_loops():
    tables = side_by_side([HEALTHY["perch"], HEALTHY["trout"], HEALTHY["walleye"]])
    assert [len(cohorts) for cohorts in fish_apart(build(tables))] == [2, 2, 2]
    day = tables["season"]["start"] + dt.timedelta(days=20)
    tables["events"] = [
        {"kind": "grade", "date": day, "cohort": "fish_one0", "into": "big", "tank": "one0", "largest_share": 0.5},
        {"kind": "move", "date": day + dt.timedelta(days=5), "cohort": "big", "tank": "two2"},
    ]
    assert fish_apart(build(tables)) == [
        ["fish_one0", "fish_two0", "fish_one2", "fish_two2"],
        ["fish_one1", "fish_two1"],
    ]


def test_fish_that_nothing_keeps_to_the_end_may_all_be_out_before():
    """Acid water kills them later; until then they grow."""
    season = run_season(build(changed(HEALTHY["tilapia"], BREAKS["base forgotten in soft water"])))
    assert any(harms(season, finding) for finding in season.findings)
    (way,) = earlier(season, [])
    after = run_season(season.site, **way.fields)
    assert way.kind == EARLIER
    assert not any(harms(after, finding) for finding in after.findings)
    assert fish_kg(after) > fish_kg(season)
    assert after.course.count[0, -1].sum() == pytest.approx(0.0, abs=1e-9)
    (day,) = {step.change.start for step in way.steps}
    assert day < season.dates[-1]
    assert all(step.change.amounts["fish"] == step.change.amounts["of"] for step in way.steps)
    first = way.steps[0].change
    assert f"all {first.amounts['of']} {first.amounts['cohort']}" in change_words(first, "metric")


def volumes(season, **how_many):
    return [{s.change.amounts["tank"]: s.change.amounts["volume_m3"] for s in steps}
            for steps in _part_filled(season, **how_many)]  # fmt: skip


def test_larger_tanks_are_filled_to_what_smaller_ones_are():
    small = run_season(build(HEALTHY["perch"]))
    large = run_season(build(pair(HEALTHY["perch"], "larger tanks", 1.3)[1]))
    ours, theirs = volumes(small), volumes(large)
    held = sum(tank.volume for tank in small.site.file.tanks.values())
    assert 0.9 * held < sum(ours[0].values()) < held
    for mine in ours[: len(theirs) - 3]:
        assert any(mine == pytest.approx(other, rel=1e-9) for other in theirs)
    assert all(any(mine == pytest.approx(one, rel=1e-9) for one in ours) for mine in volumes(small, every=4))
    without = run_season(build(changed(HEALTHY["perch"], {"advice": {"never": ["fill"]}})))
    assert volumes(without) == []


def test_part_filled_tanks_are_told_where_a_season_of_them_gives_clearly_more():
    """In much hard water that little carbon dioxide reaches, ammonia is more toxic and fish grow less."""
    tables = changed(HEALTHY["perch"], BREAKS["hard water"])
    tables["tanks"] = {name: tank | {"volume": "6000 L"} for name, tank in tables["tanks"].items()}
    plan = keep_plan(build(tables))
    assert not plan.advice.must_change
    (way,) = [way for way in plan.advice.ways if way.kind == UNUSED]
    after = run_season(plan.site, **way.fields)
    assert fish_kg(after) > 1.02 * fish_kg(plan.season)
    assert kept_fish(after) > 0.98 * kept_fish(plan.season)
    assert not {f.where for f in after.findings if f.is_broken} - {f.where for f in plan.season.findings if f.is_broken}
    assert plan.way is not way
    assert plan.lived is plan.season
    kinds = [step["kind"] for told in keep_answer(plan).data["others"] for step in told["changes"]]
    assert kinds.count("part_filled") == 2


# the whole list takes minutes: `python tests/advice/keep_pairs.py random 200 8` runs it, a second loop among it
SAMPLE = [
    ("a longer season", "trout: far too many fish in one tank"),
    ("larger tanks", "tilapia: ration doubled"),
    ("more to choose from", "tilapia: both air pumps too small"),
    ("a loop apart", "carp_goldfish: base forgotten in soft water"),
    ("less in reserve", "perch: pump of both tanks too small"),
]


@pytest.mark.parametrize(("more", "name"), SAMPLE)
def test_more_gives_no_less(more, name):
    """What can be eaten on a day can be eaten then, however long the season goes on; what is more may stay unused."""
    (tables,) = [site.tables for site in broken_sites() if site.name == name]
    is_held, told = holds(tables, more)
    assert is_held, told
