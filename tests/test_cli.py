"""The command line: what goes to stdout and to stderr, exit codes, JSON keys, files, and the examples of the help."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import refused, rows_of, runner, spoil
from served import FAR_OUT_S

import stocksim
from stocksim.faces import cli, registry
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.writing import MANIFEST

COMMANDS = list(registry.COMMANDS)
SHOWN = [info for info in cli.app.registered_commands if not info.hidden]


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def process(*arguments: str, **more) -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "stocksim", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=FAR_OUT_S, check=False, **more)


# ---- new, check -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", example_names())
def test_a_new_file_passes_check_and_runs(run, name):
    ran = run("new", "other.toml", "--example", name)
    assert (ran.code, ran.out) == (0, "")
    assert ran.err.startswith("Wrote other.toml. ")
    assert ran.err.endswith("stocksim check other.toml\n")
    assert Path("other.toml").read_text(encoding="utf-8") == example_text(name)
    ran = run("check", "other.toml")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("fine\n")
    assert run("season", "other.toml").code == 0


def test_new_answers_in_json_what_it_wrote(run):
    data = run("new", "a.toml", "--json").data
    assert data == {"written": "a.toml", "example": "starter"} | {
        "stocksim_version": stocksim.__version__, "site_hash": None, "library_hash": None,
    }  # fmt: skip


def test_new_never_overwrites(run):
    Path("house.toml").write_text("mine", encoding="utf-8")
    refused(run("new", "house.toml"), "house.toml: is already there; give another name")
    assert Path("house.toml").read_text(encoding="utf-8") == "mine"


def test_new_refuses_an_unknown_example_and_a_folder_that_is_not_there(run):
    known = "heron_lane, heron_lane_computed, heron_lane_year, heron_lane_young, starter"
    refused(run("new", "a.toml", "--example", "nope"), '--example "nope"', known)
    refused(run("new", "nowhere/a.toml"), "nowhere/a.toml: cannot be written")
    assert not Path("a.toml").exists()


def test_check_tells_what_it_understood(run):
    ran = run("check", "house.toml", "--json")
    assert (ran.code, ran.err) == (0, "")
    assert ran.data["faults"] == []
    understood = ran.data["understood"]
    assert list(understood) == [
        "season", "loops", "tanks", "beds", "biofilters", "settlers", "pumps", "backups", "cohorts", "events", "heat",
        "heaters", "questions", "notes", "care",
    ]  # fmt: skip
    assert understood["season"] == "1 Oct 2026 to 30 Apr 2027, 212 days"
    (cohort,) = understood["cohorts"]
    assert cohort.startswith("perch: 60 yellow_perch ")
    for word in ("(evidence weak)", "40 g in first", "perch_45 by hand"):
        assert word in cohort
    assert understood["events"] == []
    told = " ".join(run("check", "house.toml", "--all").out.split())
    for note in understood["notes"]:
        assert note in told
    assert understood["settlers"] == []


def test_check_json_gives_the_faults_on_stdout_and_the_sentences_on_stderr(run):
    spoil("count = 60", "count = 2.5")
    spoil('volume = "1000 L"', 'volume = "-500 L"\nvolme = 3')
    ran = run("check", "house.toml", "--json")
    assert ran.code == 2
    assert ran.data["understood"] == {}
    faults = ran.data["faults"]
    assert [(f["table"], f["field"]) for f in faults] == [
        ("tanks.first", "volume"), ("tanks.first", "volme"), ("cohorts.perch", "count"),
    ]  # fmt: skip
    assert all(set(fault) == {"table", "field", "message"} for fault in faults)
    assert ran.lines == [f"house.toml, {f['table']}.{f['field']}: {f['message']}" for f in faults]
    plain = run("check", "house.toml")
    assert (plain.code, plain.out, plain.lines) == (2, "", ran.lines)


def test_check_json_of_a_file_that_is_not_there_is_a_fault_too(run):
    ran = run("check", "nope.toml", "--json")
    assert ran.code == 2
    assert [fault["table"] for fault in ran.data["faults"]] == [""]
    assert ran.lines == [f"nope.toml: {fault['message']}" for fault in ran.data["faults"]]


# ---- season ---------------------------------------------------------------------------------------------------------

COLUMNS = {
    "cohorts": "date cohort species tank count mean_weight_g biomass_kg feed_g feed_eaten_g feed_percent_body_weight "
    "growth_g_per_day oxygen_use_g tan_excreted_g nitrogen_spared_g deaths deaths_kg harvested_kg temperature_c",
    "tanks": "date tank loop temperature_c biomass_kg density_kg_m3 feed_g oxygen_use_g oxygen_supply_g oxygen_mg_l "
    "oxygen_min_mg_l tan_mg_l unionized_ammonia_mg_l unionized_ammonia_max_mg_l nitrite_n_mg_l co2_mg_l ph",
    "loops": "date loop biomass_kg feed_g tan_produced_g tan_nitrified_g nitrate_n_mg_l alkalinity_mg_l buffer_g "
    "top_up_l ammonia_oxidizer_maturity nitrite_oxidizer_maturity planted_area_m2 planting_ratio_g_m2_day "
    "handbook_area_m2 balance_area_m2 heat_kwh",
    "beds": "date bed loop kind crop planted_area_m2 nitrogen_uptake_g nitrogen_shortfall_g potassium_shortfall_g "
    "alkalinity_given_back_g yield_kg",
}
# Columns of the contract whose science is not there yet: a column of made-up numbers would be worse than none. Whoever
# adds the science takes the name out of here.
NOT_YET = {
    "cohorts": set(),
    "tanks": set(),
    "loops": set(),
    "beds": set(),
}  # fmt: skip


# What is written beside the contract: nobody's script relies on it yet, but a new column is named here.
BESIDE = {
    "cohorts": {"size_spread", "feed", "feed_dry_g"}, "tanks": set(), "beds": set(),
    "loops": {
        "handbook_area_low_m2", "handbook_area_high_m2", "temperature_c", "potassium_mg_l", "phosphorus_mg_l",
        "suspended_solids_mg_l", "denitrified_n_g", "sludge_nitrogen_g", "chloride_mg_l", "calcium_mg_l",
        "sodium_mg_l",
    },
}  # fmt: skip


def test_season_writes_six_files_with_the_contracts_columns(run):
    ran = run("season", "house.toml", "--out", "deep/results", "--json")
    assert ran.code == 0
    folder = Path("deep/results")
    assert sorted(path.name for path in folder.iterdir() if path.name != MANIFEST) == [
        "beds.csv", "cohorts.csv", "ledger.csv", "loops.csv", "summary.json", "tanks.csv",
    ]  # fmt: skip
    names = ("tanks.csv", "cohorts.csv", "beds.csv", "loops.csv", "ledger.csv", "summary.json")
    written = [folder / name for name in names]
    assert ran.lines == [f"Wrote {', '.join(map(str, written))}"]
    assert json.loads((folder / "summary.json").read_text(encoding="utf-8")) == ran.data
    for name, contract in COLUMNS.items():
        rows = rows_of(folder / f"{name}.csv")
        columns = list(rows[0])
        assert len(set(columns)) == len(columns)
        assert set(columns) == set(contract.split()) - NOT_YET[name] | BESIDE[name], name
        assert columns[:3] == contract.split()[:3], name
        assert len(rows) == 212
        assert [row["date"] for row in rows[:2]] == ["2026-10-01", "2026-10-02"]
        words = {"date", "cohort", "species", "tank", "loop", "bed", "kind", "crop", "feed"}
        if name == "loops":  # blank, for the starter site has no weather
            words.add("heat_kwh")
            assert {row["heat_kwh"] for row in rows} == {""}
        for column in set(columns) - words:
            assert all(float(row[column]) >= 0.0 for row in rows), column


def test_season_json_holds_the_contract_keys(run):
    data = run("season", "house.toml", "--json").data
    assert set(data) >= {"verdict", "limits", "totals", "cautions"}
    for limit in data["limits"]:
        assert set(limit) >= {
            "limit", "where", "first_date", "worst_value", "threshold", "unit", "margin_percent", "lever",
        }  # fmt: skip
        assert (limit["margin_percent"] is None) == (limit["limit"] == "planting_ratio")
    assert {limit["limit"] for limit in data["limits"]} >= {
        "density", "oxygen", "unionized_ammonia", "nitrite", "biofilter", "temperature_low", "temperature_high",
        "temperature_change", "predation", "planting_ratio",
    }  # fmt: skip


def test_season_prints_its_answer_on_stdout(run):
    ran = run("season", "house.toml", "--all")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("My growing house: 1 Oct 2026 to 30 Apr 2027\n")
    verdict = run("season", "house.toml", "--json").data["verdict"]
    assert verdict in " ".join(ran.out.split())
    assert "Cautions:" in ran.out


def test_a_broken_limit_is_an_answer_unless_strict(run):
    spoil("count = 60", "count = 600")
    spoil("end = 2027-04-30", "end = 2026-11-30")  # a short season: the levers are sought six times
    spoil("to = 2027-04-30", "to = 2026-11-30")
    for more in ([], ["--json"], ["--out", "results"]):
        assert run("season", "house.toml", *more).code == 0
        ran = run("season", "house.toml", "--strict", *more)
        assert ran.code == 3
        assert "cautions are passed" in ran.out or "caution is passed" in ran.out


def test_strict_passes_where_every_limit_holds_and_the_planting_advice_does_not_count(run):
    ran = run("season", "house.toml", "--strict", "--json")
    assert ran.code == 0
    assert [limit for limit in ran.data["limits"] if limit["limit"] == "planting_ratio" and limit["days_broken"]]


def test_season_refuses_a_faulty_file_and_an_out_that_cannot_be(run):
    Path("taken").write_text("", encoding="utf-8")
    refused(run("season", "house.toml", "--out", "taken"), "taken: is a file; give a folder for the results.")
    refused(
        run("season", "house.toml", "--out", "taken/deeper"),
        "taken/deeper: cannot be written (Not a directory); nothing",
    )
    spoil("count = 60", 'count = "ten"')
    spoil('sump = "600 L"', 'sump = "600 L"\nph = 70')
    refused(run("season", "house.toml", "--json"), "cohorts.perch.count", "loops.main.ph", faults=2)


def test_a_site_without_fish_has_an_answer(run):
    spoil("count = 60", "count = 0")
    ran = run("season", "house.toml")
    assert ran.code == 0
    assert "No fish are stocked" in ran.out
    data = run("season", "house.toml", "--json").data
    assert not [limit for limit in data["limits"] if limit["days_broken"]]
    assert data["totals"]["feed_kg"] == 0.0


def test_the_season_prints_the_water_of_every_loop(run):
    out = run("season", "house.toml", "--water").out
    assert "loop main, mg/L" in out
    for month in ("Oct 2026", "Jan 2027", "Apr 2027"):
        assert f"\n{month} " in out


# ---- the whole ------------------------------------------------------------------------------------------------------


def test_wrong_usage_exits_with_2_and_says_how(run):
    for arguments in (
        ["bogus"],
        ["grow", "bluegill"],
        ["new"],
        ["season", "house.toml", "--outt", "x"],
        ["water", "18"],
    ):
        ran = run(*arguments)
        assert ran.code == 2
        assert "Traceback" not in ran.err
        assert ran.err.strip()
        assert ran.out == ""


def test_every_command_has_a_help_that_says_what_it_reads_and_writes(run):
    named = [info.name or info.callback.__name__ for info in SHOWN]
    assert named == COMMANDS
    assert [group.name for group in cli.app.registered_groups] == list(registry.GROUPS)
    assert set(COMMANDS) >= {"new", "check", "season", "stock", "cold", "beds", "powercut", "ramp", "fish", "open"}
    for name in COMMANDS:
        ran = run(name, "--help")
        assert ran.code == 0
        flat = " ".join(ran.out.split())
        assert "Reads " in flat
        assert "writes" in flat
        assert f"Example: stocksim {name} " in flat
        assert ("--json" in flat) == (name not in ("open", "report"))


@pytest.mark.parametrize("epilog", [i.epilog for i in SHOWN if "open" not in i.epilog])
def test_the_example_of_every_help_runs(run, epilog):
    word, program, *arguments = shlex.split(epilog)
    assert (word, program) == ("Example:", "stocksim")
    if arguments[0] == "new":
        Path("house.toml").unlink()
    if arguments[0] == "compare":
        Path("house_planned.toml").write_text(
            example_text("starter").replace("count = 60", "count = 50"), encoding="utf-8"
        )
    if arguments[0] == "cold":  # a starter site has no weather
        Path("house.toml").write_text(example_text("heron_lane_computed"), encoding="utf-8")
    assert run(*arguments).code == 0


def test_the_process_keeps_talk_and_answer_apart(tmp_path):
    bad = process("check", "nope.toml", cwd=tmp_path)
    assert (bad.returncode, bad.stdout) == (2, "")
    assert [line.split(": ")[0] for line in bad.stderr.splitlines()] == ["nope.toml"]
    good = process("season", str(FOLDER / "starter.toml"), "--out", "results", "--json", cwd=tmp_path)
    assert good.returncode == 0
    assert json.loads(good.stdout)["verdict"]
    assert good.stderr.startswith("Wrote results")


def test_a_name_that_the_terminal_cannot_show_does_not_end_the_run(tmp_path):
    text = example_text("starter").replace("My growing house", "Fischzucht Äschenweg 鱼")
    (tmp_path / "house.toml").write_text(text, encoding="utf-8")
    narrow = os.environ | {"PYTHONIOENCODING": "cp1252:strict"}
    ran = process("season", "house.toml", cwd=tmp_path, env=narrow, encoding="cp1252")
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.startswith("Fischzucht Äschenweg ?: 1 Oct 2026")


def test_help_starts_without_the_heavy_libraries():
    script = (
        "import sys\nfrom stocksim.faces import cli\nsys.argv = ['stocksim', '--help']\n"
        "try:\n    cli.main()\nexcept SystemExit as stop:\n    assert not stop.code\n"
        "heavy = {'pandas', 'scipy', 'streamlit', 'altair', 'numpy', 'pydantic'} & set(sys.modules)\n"
        "print('heavy:', sorted(heavy), file=sys.stderr)\n"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=FAR_OUT_S, check=True)
    assert ran.stderr == "heavy: []\n"
    for name in COMMANDS:
        assert f"\n  {name} " in ran.stdout
