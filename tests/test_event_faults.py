"""Faulty rations, events and own species files: one sentence each, with table and field, and nothing half-applied."""

from __future__ import annotations

import copy
import datetime as dt
import re
from pathlib import Path

import pytest
from command_line import runner
from site_faults import STARTER, changed, faults_of, good_english, told

from stocksim import load_site, run_season
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.season import simulate
from stocksim.errors import InputError
from stocksim.library.sources import library_folder
from stocksim.site.reading import site_from_tables

DAY = dt.date(2027, 1, 10)


def event(kind: str, **more: object) -> dict:
    return {"kind": kind, "date": DAY, "cohort": "perch"} | more


GRADE = event("grade", into="big", tank="first", largest_share=0.3)
TABLE = {
    "kind": "table", "temperatures": ["10 degC", "15 degC"], "weights": ["20 g", "80 g"],
    "percent": [[1.0, 0.8], [2.0, 1.5]],
}  # fmt: skip

# events, then the table, the field and words of the one sentence
FAULTY: dict[str, tuple[list[dict], str, str, str]] = {
    "more by number than were stocked": (
        [event("harvest", count=61)], "events[1]", "count", "61 fish are more than the 60"),
    "more than earlier events left": (
        [event("thin", count=40), event("harvest", count=30)], "events[2]", "count", "more than the 20"),
    "more than a share left": (
        [event("sell", share=0.5), event("harvest", count=31)], "events[2]", "count", "more than the 30"),
    "an earlier date comes first": (
        [event("harvest", count=30), event("thin", date=dt.date(2026, 12, 1), count=40)],
        "events[1]", "count", "more than the 20"),
    "move to an unknown tank": (
        [event("move", tank="second")], "events[1]", "tank", '"second" is not among the tanks; known are first'),
    "grade into an unknown tank": ([GRADE | {"tank": "second"}], "events[1]", "tank", "not among the tanks"),
    "unknown cohort": (
        [event("harvest", cohort="cod", all=True)], "events[1]", "cohort", '"cod" is not among the cohorts'),
    "a graded cohort before it is": (
        [GRADE, event("harvest", date=dt.date(2027, 1, 9), cohort="big", all=True)],
        "events[2]", "cohort", '"big" is not among the cohorts'),
    "before the fish are there": (
        [event("harvest", cohort="late", all=True)], "events[1]", "date", "before late is there, from 2027-02-01"),
    "outside the season": (
        [event("harvest", date=dt.date(2027, 5, 1), all=True)], "events[1]", "date", "outside the season"),
    "unknown feed": ([event("feed", feed="bread")], "events[1]", "feed", '"bread" is not in the library'),
    "into that exists": ([GRADE | {"into": "late"}], "events[1]", "into", '"late" is a cohort already'),
    "into given twice": ([GRADE, GRADE], "events[2]", "into", '"big" is a cohort already'),
    "into that is no name": ([GRADE | {"into": "big ones"}], "events[1]", "into", "is not a usable name"),
    "grade by nothing": (
        [event("grade", into="big", tank="first")], "events[1]", "above", "give either above"),
    "grade by both": ([GRADE | {"above": "90 g"}], "events[1]", "above", "give either above"),
    "no amount": ([event("harvest")], "events[1]", "count", "has no amount; give one of"),
    "two amounts": ([event("harvest", count=3, share=0.5)], "events[1]", "count", "has count and share; give one"),
    "amount and all": ([event("give", weight="1 kg", all=True)], "events[1]", "count", "has weight and all"),
    "above and which": (
        [event("harvest", above="90 g", which="smallest")], "events[1]", "which", "does not go with above"),
    "after all were taken": (
        [event("harvest", all=True), event("move", date=dt.date(2027, 2, 1), tank="first")],
        "events[2]", "cohort", "no fish of perch are left after 2027-01-10"),
    "unknown kind": ([event("eat")], "events[1]", "kind", '"eat" is not known here'),
    "a negative count": ([event("harvest", count=-3)], "events[1]", "count", "whole number of fish"),
    "half a fish": ([event("stock", count=1.5, mean_weight="20 g")], "events[1]", "count", "whole number"),
    "no weight of new fish": ([event("stock", count=3)], "events[1]", "mean_weight", "is missing"),
    "share above one": ([event("harvest", share=1.5)], "events[1]", "share", "from 0 to 1"),
    "a hole in an event's table": (
        [event("ration", ration=TABLE | {"percent": [[1.0, 0.8], [2.0]]})],
        "events[1]", "ration.percent[2]", "may have no hole"),
    "a key of another kind": ([event("move", tank="first", count=3)], "events[1]", "count", "is not known here"),
}  # fmt: skip

RATIONS: dict[str, tuple[dict, str, str]] = {
    "a hole": (TABLE | {"percent": [[1.0], [2.0, 1.5]]}, "ration.percent[1]", "has 1 entries for 2 weights"),
    "a row too few": (TABLE | {"percent": [[1.0, 0.8]]}, "ration.percent", "has 1 rows for 2 temperatures"),
    "weights fall": (TABLE | {"weights": ["80 g", "20 g"]}, "ration.weights", "must rise"),
    "a weight twice": (TABLE | {"weights": ["80 g", "80 g"]}, "ration.weights", "must rise"),
    "temperatures fall": (TABLE | {"temperatures": ["15 degC", "10 degC"]}, "ration.temperatures", "must rise"),
    "below zero": (TABLE | {"percent": [[1.0, -0.8], [2.0, 1.5]]}, "ration.percent[1][2]", "from 0 to 40"),
    "percent of nothing": ({"kind": "percent"}, "ration.percent", "is missing"),
    "more than they weigh": ({"kind": "percent", "percent": 120}, "ration.percent", "from 0 to 40"),
    "a day that is none": (
        {"kind": "appetite", "fraction": 0.5, "fasting_days": ["sunday"]}, "ration.fasting_days[1]", "not known"),
    "no meals": ({"kind": "appetite", "fraction": 0.5, "meals_per_day": 0}, "ration.meals_per_day", "from 1 to 48"),
    "a weight without a unit": ({"kind": "fixed", "per_day": 40}, "ration.per_day", ""),
    "a ratio without a unit": ({"kind": "beds", "ratio": 30}, "ration.ratio", "has no unit"),
    "unknown rule": ({"kind": "moon"}, "ration.kind", "not known here"),
    "unfed with meals": ({"kind": "unfed", "meals_per_day": 2}, "ration.meals_per_day", "not known here"),
}  # fmt: skip


def tables_of(events: list[dict]) -> dict:
    late = copy.deepcopy(STARTER["cohorts"]["perch"]) | {"stocked": dt.date(2027, 2, 1)}
    return changed(STARTER, {"cohorts.late": late, "events": events})


@pytest.mark.parametrize("name", FAULTY)
def test_a_faulty_event_is_one_sentence(name):
    events, table, field, words = FAULTY[name]
    faults = faults_of(tables_of(events))
    assert told(faults) == [(table, field)]
    assert words in faults[0].message
    assert len(re.findall(r"\.(?:\s|$)", faults[0].message)) == 1, "one sentence"


@pytest.mark.parametrize("name", RATIONS)
def test_a_faulty_ration_is_one_sentence(name):
    ration, field, words = RATIONS[name]
    faults = faults_of(changed(STARTER, {"cohorts.perch.ration": ration}))
    assert told(faults) == [("cohorts.perch", field)]
    assert words in faults[0].message


def test_faults_of_many_events_are_told_at_once():
    events = [event("move", tank="second"), event("harvest", count=1000), event("feed", feed="bread"), event("thin")]
    assert told(faults_of(tables_of(events))) == [
        ("events[1]", "tank"), ("events[2]", "count"), ("events[3]", "feed"), ("events[4]", "count"),
    ]  # fmt: skip


def test_what_fits_is_no_fault():
    site = site_from_tables(
        tables_of([
            event("stock", count=10, mean_weight="20 g"), event("harvest", count=70),
            event("stock", count=5, mean_weight="20 g"), GRADE | {"above": "30 g", "largest_share": None},
            event("sell", cohort="big", all=True), event("stock", cohort="big", count=2, mean_weight="30 g"),
        ]), Path(),
    )  # fmt: skip
    assert list(site.cohorts) == ["perch", "late", "big"]


def test_two_rules_by_weight_in_one_tank_must_agree():
    rule = {"kind": "fixed", "per_day": "40 g"}
    tables = changed(tables_of([]), {"cohorts.perch.ration": rule, "cohorts.late.ration": rule | {"per_day": "30 g"}})
    (fault,) = faults_of(tables)
    assert (fault.table, fault.field) == ("cohorts.late", "ration.per_day")


# --- what only a run can tell


def test_more_mass_than_there_is_stops_the_run_with_a_sentence():
    site = site_from_tables(tables_of([event("harvest", weight="50 kg")]), Path(), "house.toml")
    with pytest.raises(InputError) as caught:
        run_season(site)
    (fault,) = caught.value.faults
    good_english(fault)
    assert (fault.file, fault.table, fault.field) == ("house.toml", "events[1]", "weight")
    has = simulate(build_layout(site)).transfers[0].had[0]
    assert f"50000 g are more than the {has:.0f} g that perch has on 2027-01-10" in fault.message
    # the site itself is as it was: with a smaller weight it runs
    assert run_season(site, **{"events": [event("harvest", weight="1 kg")]}).totals()["harvested_kg"] == pytest.approx(
        1.0
    )


def test_a_few_fish_short_by_deaths_is_no_fault():
    tables = tables_of([event("harvest", count=60)])
    season = run_season(site_from_tables(tables, Path()))
    (transfer,) = season.course.transfers
    assert 59.0 < transfer.fish[0] < 60.0
    assert transfer.fish[0] == transfer.had[0], "it takes all that deaths have left"
    assert season.course.count[0, -1, 0] == 0.0


def test_an_override_that_breaks_an_event_is_a_fault_and_changes_nothing():
    site = site_from_tables(tables_of([event("harvest", count=50)]), Path(), "house.toml")
    with pytest.raises(InputError) as caught:
        run_season(site, **{"cohorts.perch.count": 40})
    (fault,) = caught.value.faults
    assert (fault.table, fault.field) == ("events[1]", "count")
    assert re.findall(r"\d+", fault.message)[:2] == ["50", "40"]
    assert site.file.cohorts["perch"].count == 60
    assert run_season(site).course.transfers[0].fish[0] == 50.0


# --- own species


def own_perch(folder: Path, spoil: bool) -> None:
    text = (library_folder() / "fish" / "yellow_perch.toml").read_text(encoding="utf-8")
    head, body_energy = text.split("[values.body_energy]")
    if spoil:
        body_energy = re.sub(r"source = .*\n", "", body_energy, count=1)
    beside = folder / "species_params" / "fish"
    beside.mkdir(parents=True)
    (beside / "yellow_perch.toml").write_text(f"{head}[values.body_energy]{body_energy}", encoding="utf-8")


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_an_own_species_without_a_source_is_one_sentence(run, tmp_path):
    own_perch(tmp_path, spoil=True)
    with pytest.raises(InputError) as caught:
        load_site("house.toml")
    (fault,) = caught.value.faults
    assert fault.file.endswith("yellow_perch.toml")
    assert (fault.table, fault.field) == ("values.body_energy", "source")
    for command in ("check", "season"):
        ran = run(command, "house.toml", "--json")
        assert ran.code == 2
        assert len(ran.lines) == 1
        assert ran.err.startswith(f"{fault.file}, {fault.table}.{fault.field}: ")


def test_an_own_species_with_its_sources_is_read_and_named(run, tmp_path):
    own_perch(tmp_path, spoil=False)
    ran = run("check", "house.toml", "--assumptions")
    assert ran.code == 0
    assert "species_params/fish/yellow_perch.toml" in ran.out


# --- on the command line


def house(event_lines: str) -> None:
    text = Path("house.toml").read_text(encoding="utf-8")
    Path("house.toml").write_text(f"{text}\n[[events]]\n{event_lines}\n", encoding="utf-8")


@pytest.mark.parametrize(
    ("kind", "date", "more", "place", "words"),
    [
        ("harvest", "2027-01-10", "count = 61", "events[1].count", "61 fish are more"),
        ("move", "2027-01-10", 'tank = "x"', "events[1].tank", "not among the tanks"),
        ("thin", "2026-09-01", "share = 0.1", "events[1].date", ""),
        ("sell", "2027-01-10", "", "events[1].count", "has no amount"),
    ],
)
def test_check_and_season_refuse_with_exit_2(run, tmp_path, kind, date, more, place, words):
    house(f'kind = "{kind}"\ndate = {date}\ncohort = "perch"\n{more}')
    ran = run("check", "house.toml", "--json")
    assert ran.code == 2
    assert len(ran.lines) == len(ran.data["faults"])
    assert ran.err.startswith(f"house.toml, {place}: ")
    assert words in ran.err
    before = sorted(tmp_path.rglob("*"))
    ran = run("season", "house.toml", "--out", "results")
    assert (ran.code, ran.out) == (2, "")
    assert f"house.toml, {place}: " in ran.err
    assert sorted(tmp_path.rglob("*")) == before, "nothing is written"


def test_season_refuses_a_weight_that_is_not_there(run, tmp_path):
    house('kind = "harvest"\ndate = 2027-01-10\ncohort = "perch"\nweight = "50 kg"')
    assert run("check", "house.toml").code == 0, "only a run knows how much the fish weigh"
    before = sorted(tmp_path.rglob("*"))
    ran = run("season", "house.toml", "--out", "results")
    assert (ran.code, ran.out, len(ran.lines)) == (2, "", 1)
    assert ran.err.startswith("house.toml, events[1].weight: 50000 g ")
    assert sorted(tmp_path.rglob("*")) == before
