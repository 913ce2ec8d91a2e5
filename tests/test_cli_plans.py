"""Power cut and ramp on the command line, and settlers: keys of the contract, defaults, refusals in a sentence each."""

from __future__ import annotations

import datetime as dt
import re
import shutil
from pathlib import Path

import pytest
from command_line import refused, runner, spoil

from stocksim import load_site, run_season
from stocksim.answers.powercut.decide import power_cut
from stocksim.library.sources import library_folder


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_check_tells_what_it_understood_of_a_settler(run):
    with Path("house.toml").open("a", encoding="utf-8") as file:
        file.write('[settlers.pot]\nloop = "main"\nkind = "radial_flow"\nshare_of_flow = 0.5\ndrawn_off = "20 L/day"\n')
    (settler,) = run("check", "house.toml", "--json").data["understood"]["settlers"]
    name, said = settler.split(": ")
    assert name == "pot"
    for word in ("radial flow", "loop main", "50 % of the return", "20 L drawn off"):
        assert word in said


# ---- powercut -------------------------------------------------------------------------------------------------------


def test_powercut_holds_minutes_and_hours_for_every_tank(run):
    ran = run("powercut", "house.toml", "--json")
    assert (ran.code, ran.err) == (0, "")
    data = ran.data
    assert set(data) >= {"site", "date", "hour", "answer", "tanks", "room_c", "generator_w", "cautions", "sources"}
    (tank,) = data["tanks"]
    assert set(tank) >= {
        "tank", "cohort", "species", "density_kg_m3", "oxygen_mg_l", "stress_mg_l", "lethal_mg_l", "minutes_to_stress",
        "minutes_to_lethal", "temperature_c", "cold_limit_c", "hours_to_cold_limit",
    }  # fmt: skip
    assert (tank["tank"], tank["cohort"], tank["species"]) == ("first", "perch", "yellow_perch")
    assert 0.0 < tank["minutes_to_stress"] < tank["minutes_to_lethal"]
    assert tank["hours_to_cold_limit"] > 0.0
    assert not [key for key in tank if "battery" in key or "cylinder" in key]


def test_powercut_takes_the_worst_hour_of_the_worst_day_unless_told(run):
    worst = run("powercut", "house.toml", "--json").data
    assert worst["is_worst_day"] is True
    assert worst["hour"] in range(18, 24), "after the meal at 17:00"
    season = run_season(load_site("house.toml"))
    first = season.layout.start
    by_day = {
        first + dt.timedelta(days=day): power_cut(season, first + dt.timedelta(days=day)).reserves[0].alone.to_lethal
        for day in range(0, season.layout.days, 7)
    }
    assert worst["tanks"][0]["minutes_to_lethal"] <= min(by_day.values()) + 0.01
    told = run("powercut", "house.toml", "--on", "2026-10-01", "--hour", "6.5", "--json").data
    assert (told["date"], told["hour"], told["is_worst_day"]) == ("2026-10-01", 6.5, False)
    assert told["tanks"][0]["minutes_to_lethal"] > worst["tanks"][0]["minutes_to_lethal"]


def test_powercut_counts_what_helps_in_either_system_of_units(run):
    bare = run("powercut", "house.toml", "--json").data
    helped = (
        "powercut", "house.toml", "--battery", "20 W", "--cylinder", "10 L", "--pressure", "150 bar", "--room",
        "5 degC", "--heater", "1 kW", "--head", "1 m", "--json",
    )  # fmt: skip
    data = run(*helped).data
    (tank,) = data["tanks"]
    for name in ("battery", "cylinder"):
        assert (tank[f"minutes_to_lethal_with_{name}"] or float("inf")) > tank["minutes_to_lethal"]
    assert tank["minutes_to_lethal"] == bare["tanks"][0]["minutes_to_lethal"]
    assert (tank["hours_to_cold_limit"] or float("inf")) > bare["tanks"][0]["hours_to_cold_limit"]
    assert data["generator"]["heater_w"] == 1000.0
    assert data["generator"]["pump_w"] == pytest.approx(bare["generator"]["pump_w"] / 2, abs=0.06)  # 1 m for 2 m
    other = run(
        "powercut", "house.toml", "--battery", "0.02 kW", "--cylinder", "0.01 m3", "--pressure", "15 MPa", "--room",
        "41 degF", "--heater", "1000 W", "--head", "100 cm", "--json",
    ).data  # fmt: skip
    assert other == data
    assert run(*helped[:6], "--pressure", "2000 psi", "--json").data["cylinder_oxygen_g"] == pytest.approx(
        data["cylinder_oxygen_g"] * 2000 / (150e5 / 6894.757), rel=1e-3
    )


def test_powercut_prints_its_answer_first_and_the_cautions_that_save_lives(run):
    out = run("powercut", "house.toml", "--all").out
    data = run("powercut", "house.toml", "--json").data
    assert " ".join(out.split("\n\n")[0].split()) == data["answer"]
    assert re.match(r"You have about \d+ (minutes|hours) ", out)
    flat = " ".join(out.split())
    for words in ("outdoors only", "carbon monoxide alarm", "licensed electrician", "never back-feed", "factor of 2"):
        assert words in flat
    assert "oil" not in flat
    bottle = run("powercut", "house.toml", "--cylinder", "10 L", "--pressure", "150 bar", "--all").out
    assert "Oxygen feeds fire" in bottle
    for source in data["sources"]:
        assert f"- {source}" in flat
    assert "Cole & Caraco 1998" in flat


def test_powercut_without_fish_has_an_answer(run):
    spoil("count = 60", "count = 0")
    ran = run("powercut", "house.toml", "--json")
    assert (ran.code, ran.data["tanks"]) == (0, [])
    assert "No fish " in ran.data["answer"]


@pytest.mark.parametrize(
    ("arguments", "lines"),
    [
        (["--on", "2026-13-01"], ['--on: "2026-13-01" ']),
        (["--on", "tomorrow"], ['--on: "tomorrow" ']),
        (["--on", "2026-09-30"],
         ["--on: 2026-09-30 lies outside"]),
        (["--hour", "25"], ["--hour: 25 is "]),
        (["--hour", "-1"], ["--hour: -1 is not allowed"]),
        (["--hour", "nan"], ['--hour: "nan" ']),
        (["--battery", "10"], ['--battery: "10" has no unit']),
        (["--battery", "-5 W"], ["--battery: -5 is not allowed"]),
        (["--battery", "0 W"], ["--battery: 0 W is no "]),
        (["--battery", "0 kW", "--hour", "30"], ["--battery: 0 W is no ", "--hour: 30 is not allowed"]),
        (["--cylinder", "10 L"], ["--cylinder: give both"]),
        (["--pressure", "150 bar"], ["--cylinder: give both"]),
        (["--cylinder", "10 L", "--pressure", "150"],
         ['--pressure: "150" has no unit']),
        (["--cylinder", "10 L", "--pressure", "300 bar"], ["--pressure: 300 is not allowed"]),
        (["--cylinder", "10 L", "--pressure", "-1 bar"], ["--pressure: -1 is not allowed"]),
        (["--cylinder", "10 kg", "--pressure", "2200 L"],
         ['--cylinder: "10 kg": "kg" ', '--pressure: "2200 L": "L" ']),
        (["--room", "5"], ['--room: "5" has no unit']),
        (["--room", "-80 degC"], ["--room: -80 is not allowed"]),
        (["--head", "6"], ['--head: "6" has no unit']),
        (["--head", "-1 m"], ["--head: -1 is not allowed"]),
        (["--on", "soon", "--room", "cold", "--heater", "9"],
         ['--on: "soon"', '--room: "cold"', '--heater: "9" has no']),
        (["--battery", "10", "--hour", "30"],
         ['--battery: "10" has no unit', "--hour: 30 is not allowed"]),
        (["--cylinder", "10", "--pressure", "300 bar", "--on", "2030-01-01"],
         ['--cylinder: "10" has no unit', "--on: 2030-01-01 lies outside", "--pressure: 300 is not allowed"]),
        (["--on", "2030-01-01", "--hour", "99"], ["--on: 2030-01-01 lies outside", "--hour: 99 is not allowed"]),
    ],
)  # fmt: skip
def test_powercut_refuses_in_a_sentence_each_all_at_once(run, arguments, lines):
    ran = run("powercut", "house.toml", *arguments)
    refused(ran, faults=len(lines))
    for line, begins in zip(ran.lines, lines, strict=True):
        assert line.startswith(begins)
    ran = run("powercut", "house.toml", *arguments, "--json")
    refused(ran, faults=len(lines))


def test_powercut_and_ramp_refuse_a_faulty_site(run):
    spoil("count = 60", "count = 2.5")
    for command in ("powercut", "ramp"):
        refused(run(command, "house.toml", "--json"), "cohorts.perch.count")
        refused(run(command, "nowhere.toml"), "nowhere.toml: was not found")


def test_powercut_tells_the_faults_of_site_and_options_together(run):
    spoil("count = 60", "count = 2.5")
    refused(run("powercut", "house.toml", "--hour", "30"), "cohorts.perch.count", "--hour: 30", faults=2)


def test_an_own_library_file_is_named_by_every_plan(run):
    """It stands beside the site; the season's answer and the check name it as well."""
    for kind, name in (("fish", "yellow_perch"), ("feeds", "perch_45")):
        folder = Path("species_params") / kind
        folder.mkdir(parents=True)
        shutil.copy(library_folder() / kind / f"{name}.toml", folder)
    notes = {
        f"{name}: taken from your own file species_params/{kind}/{name}.toml beside the site, not from the library; "
        "its values are yours to vouch for."
        for kind, name in (("fish", "yellow_perch"), ("feeds", "perch_45"))
    }
    for command in ("season", "powercut", "ramp"):
        assert notes <= set(run(command, "house.toml", "--json").data["cautions"]), command
        said = " ".join(run(command, "house.toml", "--all").out.split())
        assert all(note in said for note in notes), command
    assert notes <= set(run("check", "house.toml", "--json").data["understood"]["notes"])
    shutil.rmtree("species_params")
    for command in ("season", "powercut", "ramp"):
        assert "beside the site" not in run(command, "house.toml", "--json").out


# ---- ramp -----------------------------------------------------------------------------------------------------------


def young() -> None:
    """The starter site cut short, on a film of a few weeks, with plenty of fish."""
    spoil("end = 2027-04-30", "end = 2026-12-31")
    spoil("to = 2027-04-30", "to = 2026-12-31")
    spoil("count = 60", "count = 400")
    spoil('sump = "600 L"', 'sump = "600 L"\nbiofilter_start = "seeded"')


def test_ramp_of_a_mature_film_asks_for_nothing(run):
    ran = run("ramp", "house.toml", "--json")
    assert (ran.code, ran.err) == (0, "")
    (loop,) = ran.data["loops"]
    assert (loop["loop"], loop["needs_ramp"], loop["weeks"]) == ("main", False, [])
    assert loop["full_ration_from"] == ran.data["start"] == "2026-10-01"
    assert ran.data["site_changes"] == {}
    plain = " ".join(run("ramp", "house.toml", "--all").out.split())
    assert "no ramp needed" in plain
    assert "US EPA 1975" in plain
    for source in ran.data["sources"]:
        assert f"- {source}" in plain


def test_ramp_of_a_young_film_is_a_schedule_that_keeps_its_promise_in_a_season(run):
    young()
    ran = run("ramp", "house.toml", "--json")
    assert ran.code == 0
    data = ran.data
    assert set(data) >= {"site", "start", "loops", "site_changes", "cautions"}
    (loop,) = data["loops"]
    assert loop["needs_ramp"]
    shares = [week["share_of_ration"] for week in loop["weeks"]]
    assert shares == sorted(shares)
    assert shares[0] < shares[-1] == 1.0
    assert [limit["limit"] for limit in loop["as_fed"] if limit["margin_percent"] < 0.0]
    assert loop["still_broken"] == []
    # the lines to copy, put into the file, keep ammonia and nitrite all season
    plain = run("ramp", "house.toml", "--all").out
    (line,) = [line for line in plain.splitlines() if line.strip().startswith("feeding_ramp = ")]
    spoil('sump = "600 L"', f'sump = "600 L"\n{line.strip()}')
    limits = run("season", "house.toml", "--json").data["limits"]
    for limit in limits:
        if limit["limit"] in ("unionized_ammonia", "nitrite"):
            assert limit["margin_percent"] >= 0.0
    assert "to a factor of 2" in " ".join(plain.split())


def test_ramp_begins_on_the_day_asked_for(run):
    young()
    data = run("ramp", "house.toml", "--from", "2026-11-02", "--json").data
    assert data["start"] == "2026-11-02"
    (loop,) = data["loops"]
    assert not [week for week in loop["weeks"] if week["week_from"] < "2026-11-02"]
    assert loop["full_ration_from"] is None or loop["full_ration_from"] >= "2026-11-02"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--from", "soon"], '--from: "soon" '),
        (["--from", "2026-02-30"], '--from: "2026-02-30" '),
        (["--from", "2026-09-30"], "--from: 2026-09-30 is outside"),
        (["--from", "2027-05-01"], "--from: 2027-05-01 is outside"),
    ],
)  # fmt: skip
def test_ramp_refuses_in_a_sentence(run, arguments, words):
    for more in ([], ["--json"]):
        ran = run("ramp", "house.toml", *arguments, *more)
        refused(ran, words)
        assert ran.lines[0].startswith("--from: ")
