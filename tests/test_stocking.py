"""The stocking planner from a site file to a proved plan, its reasons, and the planned file."""

from __future__ import annotations

import copy
import datetime as dt
import html
import json
import re
import subprocess
import sys
import tomllib
from itertools import pairwise

import numpy as np
import pytest
import tomlkit
from random_sites import random_stockings, random_tables, thinned_until
from small_sites import START, build, one_tank

import stocksim
from stocksim.answers.stock.answer import stock_answer
from stocksim.answers.stock.apart import loops_apart
from stocksim.answers.stock.decide import plan_stocking, plans_between
from stocksim.answers.stock.file import planned_text
from stocksim.answers.stock.planner import greedy_stocking
from stocksim.answers.stock.problem import build_problem
from stocksim.answers.stock.program import Stocking, broken, score
from stocksim.answers.stock.seasons import build_program, first_courses, run_stocking, season_margins, worst_margins
from stocksim.engine.running import run_season
from stocksim.faces.care import KILLING
from stocksim.faces.markup import answer_page_html
from stocksim.faces.text import answer_text, text_table
from stocksim.site.reading import site_from_text
from stocksim.site.stocking_tables import StockingTable

DAYS = 60
LAST = START + dt.timedelta(days=DAYS - 1)


def house() -> dict:
    """A warm loop of two tanks and a cool one of one, the keeper's own tilapia, fish to buy, and a set point."""
    tables = one_tank(days=DAYS, count=30, power_w=40.0, bed_m2=4.0, alkalinity_target="80 mg/L")
    tables["loops"]["cool"] = {
        "sump": "600 L", "ph": 7.0, "water_temperature": {"kind": "constant", "value": "14 degC"},
    }  # fmt: skip
    air = {"kind": "diffuser", "power": "30 W"}
    tables["tanks"]["two"] = {"loop": "main", "volume": "500 L", "flow": "700 L/h", "oxygen_supply": air}
    tables["tanks"]["chill"] = {"loop": "cool", "volume": "900 L", "flow": "900 L/h", "oxygen_supply": air}
    tables["beds"]["raft"] = {"loop": "cool", "kind": "raft", "area": "4 m2"}
    tables["beds"]["gravel"]["plantings"] = [{"crop": "lettuce", "from": START, "to": LAST, "area": "3 m2"}]
    tables["stocking"] = {
        "budget": 300,
        "feed_price": 2.0,
        "candidates": {
            "trout": {
                "species": "rainbow_trout", "mean_weight": "50 g", "price": 2.5, "feed": "trout_44", "at_most": 60,
                "leaves": START + dt.timedelta(days=50),
            },
            "cats": {
                "species": "channel_catfish", "mean_weight": "80 g", "price": 1.5, "feed": "catfish_32", "at_most": 80,
            },
            "pond_fish": {
                "species": "goldfish", "mean_weight": "20 g", "price": 1.0, "feed": "koi_wheatgerm_32", "at_most": 50,
                "tanks": ["two"],
            },
        },
        "options": {"warmer": {"loop": "cool", "at_least": "16 degC", "cost": 10}},
    }  # fmt: skip
    return tables


@pytest.fixture(scope="module")
def plan():
    return stocksim.plan_stocking(build(house()), reasons=True)


def test_the_plan_holds_in_the_season_of_its_own_file(plan):
    assert plan.plan is not None
    site = site_from_text(tomlkit.dumps(plan.tables), plan.problem.site.folder)
    season = run_season(site)
    assert [f.limit for f in season.findings if f.is_broken] == []
    counts = {name: table.count for name, table in site.file.cohorts.items()}
    assert counts == {p.cohort: p.fish for p in plan.cohorts}
    # the season of the file is that of the rounds, day by day
    layout, course = run_stocking(plan.problem, plan.plan.stocking)
    order = [layout.cohorts.index(name) for name in season.layout.cohorts]
    assert season.course.weight_g == pytest.approx(course.weight_g[:, :, order], rel=1e-12)
    assert season.course.count == pytest.approx(course.count[:, :, order], rel=1e-12)
    # and the program that gave the reasons agrees, but for limits that the season reaches to the last thousandth
    over = broken(plan.program, plan.plan.stocking)
    assert all(item.value <= 1.002 * item.bound for item in over)


def test_a_site_with_other_fish_is_another_site_to_all_that_is_kept(plan):
    """Planned sites change the tables read and not the text: what is kept of a layout must tell them apart."""
    stocking = plan.plan.stocking
    half = stocking._replace(fish=stocking.fish // 2)
    for each in (stocking, half, stocking):
        layout, _ = run_stocking(plan.problem, each)
        assert sorted(layout.count.tolist()) == sorted(each.fish[each.fish > 0].tolist())


def test_edible_kilos_are_those_of_the_season(plan):
    """Fillet by the program, linear in numbers, against fish weighed in the season of the planned file."""
    layout, course = plan.season.layout, plan.season.course
    total = 0.0
    for p in plan.cohorts:
        column = layout.cohorts.index(p.cohort)
        last = np.flatnonzero(course.count[0, :, column] > 0.0)[-1]
        share = plan.problem.entries[p.candidate].number("fillet_yield", 0.0)
        total += share * course.count[0, last, column] * course.weight_g[0, last, column] / 1000.0
    sold = int(plan.problem.owned[0]) - sum(p.fish for p in plan.cohorts if p.candidate == 0)
    total += sold * 0.1 * plan.problem.entries[0]["fillet_yield"]
    assert plan.values["edible"] == pytest.approx(total, rel=0.01)


def test_fish_that_leave_are_harvested_in_the_file(plan):
    trout = [p.cohort for p in plan.cohorts if plan.problem.candidates[p.candidate].name == "trout"]
    assert trout
    events = plan.tables["events"]
    assert {event["cohort"] for event in events} == set(trout)
    assert all(event["all"] and event["date"] == START + dt.timedelta(days=50) for event in events)


def test_many_seasons_at_once_are_as_one_by_one(plan):
    stocking = plan.plan.stocking
    fewer = stocking._replace(fish=stocking.fish // 2)
    together = worst_margins(plan.problem, [stocking, fewer])
    alone = [worst_margins(plan.problem, [s])[0] for s in (stocking, fewer)]
    assert together == pytest.approx(alone, rel=1e-6)
    assert together[0] == pytest.approx(
        min(f.margin_percent for f in plan.season.findings if f.margin_percent is not None), rel=1e-6
    )


def test_the_answer_is_the_contracts_and_plain_json(plan):
    told = stock_answer(plan)
    answer = json.loads(json.dumps(told.data, allow_nan=False))
    assert {"plan", "goal_value", "gap", "binding", "refused", "relaxation"} <= set(answer)
    assert {"species", "tank", "count"} <= set(answer["plan"][0])
    assert sum(entry["count"] for entry in answer["plan"]) == sum(p.fish for p in plan.cohorts)
    assert answer["season"]["holds"] is True
    assert answer["relaxation"] == []
    assert all(item["sentence"].endswith(".") and "worth" in item for item in answer["binding"])
    assert all(item["reason"].endswith(".") for item in answer["refused"])
    assert {"stocksim_version", "site_hash", "library_hash"} <= set(answer)
    fish = [row["fish"].removesuffix(" (to buy)") for row in told.section("table").parts[0].rows]
    assert sorted(name for name in fish if name != "left empty") == sorted(p.cohort for p in plan.cohorts)
    assert told.section("binding").parts[-1].items == [item["sentence"] for item in answer["binding"]]
    left = [part.items for part in told.section("leaving").parts[1:]]
    assert left == [answer["leaving"], [KILLING]] * bool(answer["leaving"])
    assert "never release" in " ".join(answer["leaving"]) or not answer["leaving"]
    text = answer_text(told)
    assert "nan" not in text
    assert all(line in text for line in text_table(told.section("table").parts[0].rows).splitlines())
    page = answer_page_html(told)
    assert page.count("<details open><summary>Cautions</summary>") == 1
    plain = html.unescape(re.sub(r"<[^>]+>", " ", page))
    for key in ("wishes", "options", "leaving", "notes", "cautions"):
        assert all(sentence in plain for sentence in answer[key]), key
    assert all(item["sentence"] in plain for item in answer["binding"])
    assert all(item["reason"] in plain for item in answer["refused"])


def test_the_keepers_file_keeps_its_comments():
    text = "# my own comment\n" + tomlkit.dumps(house()).replace("[tanks.one]", "[tanks.one] # by the door")
    site = site_from_text(text, build(house()).folder)
    plan = plan_stocking(site, refused=False)
    new = planned_text(text, plan, "house.toml")
    assert "# my own comment" in new
    assert "# by the door" in new
    assert tomllib.loads(new) == plan.tables
    assert "stocking" not in plan.tables


@pytest.mark.parametrize("seed", [2, 4])
def test_a_plan_beats_a_greedy_fill_and_random_stockings(seed):
    """As the benchmark of plan quality, with fewer random stockings."""
    site = build(random_tables(seed, days=60))
    plan = plan_stocking(site, refused=False)
    problem, wishes = plan.problem, site.file.stocking
    program = build_program(problem, wishes, first_courses(problem))
    assert plan.plan is not None
    assert all(not f.is_broken for f in plan.season.findings)
    several = random_stockings(program, 60, seed)
    assert len(several) == 60
    held = [s for s, margin in zip(several, worst_margins(problem, several), strict=True) if margin >= 0.0]
    assert held
    filled = thinned_until(problem, program, greedy_stocking(program, "edible"), worst_margins)
    for other in [*held, *([filled] if filled else [])]:
        assert score(program, "edible", other) <= plan.plan.score * (1.0 + 1e-9)


def test_a_plan_beaten_would_be_seen():
    """The random stockings are good ones: the best of them comes near the plan, and half a plan loses to it."""
    site = build(random_tables(4, days=60))
    plan = plan_stocking(site, refused=False)
    program = build_program(plan.problem, site.file.stocking, first_courses(plan.problem))
    best = max(score(program, "edible", s) for s in random_stockings(program, 60, 4))
    half = Stocking(plan.plan.stocking.fish // 2, plan.plan.stocking.choice)
    assert score(program, "edible", half) < best < plan.plan.score


def test_what_cannot_be_is_answered_with_the_smallest_change():
    tables = house()
    tables["stocking"]["candidates"]["cats"] |= {"at_least": 400, "at_most": 400, "price": 0}
    plan = plan_stocking(build(tables))
    assert plan.plan is None
    assert "keep cats" in plan.contradiction
    assert plan.relaxation.gives
    told = stock_answer(plan)
    answer = told.data
    assert told.is_trouble
    assert "cannot all be met" in told.verdict
    assert answer["plan"] is None
    assert answer["goal_value"] is None
    assert all(item["sentence"] for item in answer["relaxation"])
    assert len(told.section("gives").parts[-1].items) == len(answer["relaxation"])
    assert told.section("clash").parts[0].items == [answer["contradiction"]["sentence"]]
    assert "400 of cats" in answer["contradiction"]["sentence"]
    assert {"proof", "table", "binding"}.isdisjoint(section.key for section in told.sections)


def test_keeping_all_places_every_own_fish_or_says_what_must_give():
    tables = house() | {"stocking": {"goal": "keep"}}
    plan = plan_stocking(build(tables))
    assert sum(p.fish for p in plan.cohorts) == 30
    crowded = copy.deepcopy(tables)
    crowded["cohorts"]["fish"]["count"] = 3000
    plan = plan_stocking(build(crowded))
    assert plan.plan is None
    assert {item.what for item in plan.relaxation.gives} & {"density", "oxygen", "biofilter"}


def test_goals_in_order_and_goals_against_each_other():
    site = build(house())
    most = plan_stocking(site, "edible", refused=False)
    cheaper = plan_stocking(site, ["edible", "cost"], refused=False)
    assert cheaper.plan.score >= most.plan.score * 0.97
    # the search for two goals may find a plan that gives more and costs more; never one that gives up both
    assert cheaper.values["cost"] <= most.values["cost"] + 1e-6 or cheaper.plan.score > most.plan.score
    points = plans_between(most, "edible", "cost", 5)
    assert len(points) >= 5
    for better, worse in pairwise(points):
        assert worse.values["cost"] < better.values["cost"]
    for point in points:
        assert point.margin_percent >= 0.0
    told = stock_answer(most, points, ("edible", "cost"))
    assert [row["plan"] for row in told.section("between").parts[2].rows] == [str(n + 1) for n in range(len(points))]
    assert [item["gap"] for item in told.data["pareto"]] == pytest.approx([point.gap for point in points], abs=1e-4)
    assert [sum(fish["count"] for fish in item["plan"]) for item in told.data["pareto"]] == [
        sum(p.fish for p in point.cohorts) for point in points
    ]
    assert told.data["pareto_goals"] == ["edible", "cost"]
    assert not stock_answer(most).has("between")


def test_a_harvest_wished_is_there_on_its_day():
    tables = house()
    by = START + dt.timedelta(days=40)
    tables["stocking"] |= {
        "goal": "cost", "harvest_wishes": [{"species": "channel_catfish", "weight": "3 kg", "by": by}],
    }  # fmt: skip
    plan = plan_stocking(build(tables), refused=False)
    assert plan.plan.goal == "cost"
    layout, course = plan.season.layout, plan.season.course
    bought = {plan.problem.candidates[plan.problem.stock[p.candidate]].name for p in plan.cohorts}
    cats = [layout.cohorts.index(p.cohort) for p in plan.cohorts]
    kg = float((course.count * course.weight_g)[0, 40, cats].sum()) / 1000.0
    # no more fish than the wish asks for, and the program's growth is the season's
    assert 3.0 * 0.999 <= kg < 3.3
    assert bought == {"cats"}


def test_two_wishes_for_one_species_need_other_fish():
    tables = house()
    wish = {"species": "channel_catfish", "weight": "2 kg", "by": START + dt.timedelta(days=40)}
    tables["stocking"] |= {"goal": "cost", "harvest_wishes": [wish, wish | {"by": START + dt.timedelta(days=50)}]}
    plan = plan_stocking(build(tables), refused=False)
    fish = sum(p.fish for p in plan.cohorts)
    alone = plan.problem.loads.weight_g[0, 2]
    assert fish >= 2000.0 / alone[40] + 2000.0 / alone[50] - 1.0


def test_a_heater_is_chosen_where_it_pays_and_not_where_it_does_not():
    tables = house()
    tables["stocking"]["candidates"]["trout"]["at_most"] = 200
    tables["stocking"]["budget"] = 800
    tables["stocking"]["options"]["warmer"]["cost"] = 0
    plan = plan_stocking(build(tables), refused=False)
    chosen = [plan.program.options[int(o)] for o in plan.plan.stocking.choice]
    assert plan.tables["loops"]["cool"]["water_temperature"].get("at_least") == (
        "16 degC" if "warmer" in chosen else None
    )
    tables["stocking"]["options"]["warmer"]["cost"] = 10_000
    plan = plan_stocking(build(tables), refused=False)
    assert "warmer" not in [plan.program.options[int(o)] for o in plan.plan.stocking.choice]


def test_rations_that_depend_on_numbers_are_changed_and_said():
    tables = house()
    tables["cohorts"]["fish"]["ration"] = {"kind": "fixed", "per_day": "150 g"}
    tables["events"] = [
        {"kind": "move", "date": START + dt.timedelta(days=9), "cohort": "fish", "tank": "two"},
        {"kind": "harvest", "date": START + dt.timedelta(days=30), "cohort": "fish", "all": True},
    ]
    plan = plan_stocking(build(tables), "keep", refused=False)
    assert any("fixed weight of feed" in note for note in plan.notes)
    assert any("events[1], a move of fish" in note for note in plan.notes)
    assert plan.problem.candidates[0].leaves == START + dt.timedelta(days=30)
    own = [table for name, table in plan.tables["cohorts"].items() if name.startswith("fish")]
    assert own
    assert all(table["ration"] == {"kind": "appetite", "fraction": 0.85} for table in own)


def test_refusals_name_the_water_and_the_company():
    tables = house()
    tables["stocking"]["candidates"]["warm_trout"] = tables["stocking"]["candidates"]["trout"] | {"tanks": ["one"]}
    plan = plan_stocking(build(tables))
    answer = stock_answer(plan).data
    reasons = {item["candidate"]: item for item in answer["refused"]}
    assert reasons["warm_trout"]["kind"] == "no_place"
    for word in ("loop main", "too warm", "26.0 degC"):
        assert word in reasons["warm_trout"]["reason"]
    assert "pond_fish" not in reasons or "no fillet" in reasons["pond_fish"]["reason"]


def test_fish_that_the_water_kills_do_not_touch_the_room_of_others():
    """Tilapia die in the cool loop and leave solids; trout there are still judged by what living fish draw."""
    tables = house()
    tables["loops"]["cool"]["water_temperature"] = {"kind": "constant", "value": "9 degC"}
    del tables["stocking"]["options"]
    problem = build_problem(build(tables))
    assert problem.candidates[0].species == "nile_tilapia"
    assert problem.misfits[1, 0].kind == "too_cold"
    assert all(part[1, 0].max() == 0.0 for part in problem.loads)
    program = build_program(problem, StockingTable(), first_courses(problem))
    oxygen = next(limit for limit in program.limits if limit.name == "oxygen")
    pull = oxygen.influence[1, 2, 2]
    assert pull.max() < 3.0 * pull.min()


def test_a_pulled_brake_is_told_first_and_never_green():
    plan = plan_stocking(build(house()), brake_s=0.01, refused=False)
    assert plan.plan is not None
    assert plan.plan.gap >= 0.0
    assert all(not f.is_broken for f in plan.season.findings)
    assert not plan.is_finished
    answer = stock_answer(plan)
    assert answer.verdict.startswith("Not finished")
    assert answer.is_trouble
    assert answer.data["is_finished"] is False


def test_the_same_plan_with_and_without_two_busy_processes(plan):
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(2)]
    try:
        again = plan_stocking(build(house()), reasons=True)
    finally:
        for one in busy:
            one.kill()
            one.wait()
    assert again.is_finished
    assert (again.plan.stocking.fish == plan.plan.stocking.fish).all()
    assert stock_answer(again).data == stock_answer(plan).data


def side_by_side(several: list[dict]) -> dict:
    """Sites that share no water as one; every name gets its number."""
    one: dict = {key: several[0][key] for key in ("site", "season")}
    for n, tables in enumerate(several):

        def put(table, entry_of, tables=tables, n=n):
            for name, entry in tables.get(table, {}).items():
                one.setdefault(table, {})[f"{name}{n}"] = entry_of(entry)

        put("loops", lambda entry: entry)
        for table in ("tanks", "beds"):
            put(table, lambda entry, n=n: entry | {"loop": f"{entry['loop']}{n}"})
        put("cohorts", lambda entry, n=n: entry | {"tank": f"{entry['tank']}{n}"})
        offered = one.setdefault("stocking", {"candidates": {}, "own": {}})["candidates"]
        places = [f"{tank}{n}" for tank in tables["tanks"]]
        one["stocking"]["own"] |= {f"{name}{n}": {"tanks": places} for name in tables["cohorts"]}
        for name, entry in tables["stocking"]["candidates"].items():
            offered[f"{name}{n}"] = entry | {"tanks": places}
    return copy.deepcopy(one)


def test_loops_that_share_nothing_are_planned_apart_and_added():
    several = [random_tables(seed, days=60) for seed in (2, 3, 5)]
    for tables in several:
        del tables["stocking"]["budget"]
        tables["site"] = several[0]["site"]
    alone = [plan_stocking(build(tables), refused=False) for tables in several]
    together = plan_stocking(build(side_by_side(several)), refused=False)
    assert together.plan.score == pytest.approx(sum(plan.plan.score for plan in alone), rel=1e-6)
    assert together.values["edible"] == pytest.approx(sum(plan.values["edible"] for plan in alone), rel=1e-6)
    assert together.plan.bound >= together.plan.score
    assert all(not f.is_broken for f in together.season.findings)


def test_what_ties_loops_keeps_them_together():
    def apart(change):
        tables = side_by_side([random_tables(seed, days=40) for seed in (2, 3)])
        change(tables)
        problem = build_problem(build(tables))
        wishes = problem.site.file.stocking
        return loops_apart(build_program(problem, wishes, first_courses(problem)))

    free = apart(lambda tables: None)
    loops = sum(map(len, free))
    assert len(free) >= 2
    worth = 1e6
    # a budget that all on offer would exceed, a number of species, and fish that may go anywhere
    assert apart(lambda tables: tables["stocking"].update(budget=100)) == [list(range(loops))]
    assert apart(lambda tables: tables["stocking"].update(budget=worth)) == free
    assert apart(lambda tables: tables["stocking"].update(species_at_least=2)) == [list(range(loops))]
    assert apart(lambda tables: tables["stocking"]["own"].clear()) == [list(range(loops))]


def test_a_margin_is_kept_in_hand():
    # little air in the cool tank, so that oxygen and room both bind where nothing is kept
    tables = house()
    tables["tanks"]["chill"]["oxygen_supply"] = {"kind": "diffuser", "power": "10 W"}
    wide, none = (
        plan_stocking(build(tables), wishes=StockingTable.model_validate(tables["stocking"] | {"margin": share}))
        for share in (0.4, 0.0)
    )
    assert wide.plan.score < none.plan.score
    kept, bare = (season_margins(plan.problem, [plan.plan.stocking]) for plan in (wide, none))
    assert bare["density"][0] < 10.0
    assert bare["oxygen"][0] < 10.0
    assert kept["density"][0] >= 40.0 - 0.2
    assert kept["oxygen"][0] > 1.5 * bare["oxygen"][0]


def test_all_that_must_go_for_keeping_all_is_named_at_once():
    """Two lots of tilapia in water for trout: neither may live there, and both are named, with what must give."""
    tables = one_tank("rainbow_trout", "trout_44", 12.0, days=40, count=20, bed_m2=12.0)
    for name in ("tilapia", "more"):
        tables["cohorts"][name] = tables["cohorts"]["fish"] | {"species": "nile_tilapia", "feed": "tilapia_34"}
    plan = plan_stocking(build(tables), "keep,edible")
    assert plan.plan is None
    gives = {item.where: (item.value, item.bound) for item in plan.relaxation.gives if item.what == "number"}
    assert gives == {"tilapia": (0.0, 20.0), "more": (0.0, 20.0)}
    assert {item.candidate for item in plan.refused} == {"tilapia", "more"}
    assert len(stock_answer(plan).section("gives").parts[-1].items) == 2
