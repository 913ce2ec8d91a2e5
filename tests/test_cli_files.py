"""Commands and files: nothing a keeper wrote is written over, texts in tables are safe, a full disk is a sentence."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from command_line import refused, runner, spoil

from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.file import check_place, free_place, is_untouched, write_planned
from stocksim.library.sources import library_folder
from stocksim.site.reading import load_site
from stocksim.writing import MANIFEST

GROW = ("grow", "bluegill", "--from", "28 g", "--at", "26 degC")


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def with_log(name: str = "tanks.csv") -> str:
    """The starter site, a month long, on a log of the keeper; the log's text."""
    text = Path("house.toml").read_text(encoding="utf-8").replace("2027-04-30", "2026-10-31")
    first, last = text.index("water_temperature"), text.index("[tanks.first]")
    log = f'water_temperature = {{ kind = "log", file = "{name}" }}\n\n'
    Path("house.toml").write_text(text[:first] + log + text[last:], encoding="utf-8")
    rows = [f"{dt.date(2026, 10, 1 + n)},{15 + 0.1 * (n % 7):.1f}" for n in range(31)]
    Path(name).parent.mkdir(parents=True, exist_ok=True)
    Path(name).write_text("\n".join(["date,temperature_c", *rows]) + "\n")
    return Path(name).read_text()


def everything(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


# ---- never over what the keeper wrote -------------------------------------------------------------------------------


@pytest.mark.parametrize("out", [".", "logs", "./logs/../logs"])
@pytest.mark.parametrize("command", ["season", "cold"])
def test_no_results_into_a_folder_that_the_site_reads_from(run, tmp_path, out, command):
    with_log("logs/tanks.csv")
    before = everything(tmp_path)
    refused(run(command, "house.toml", "--out", out), "give a folder of its own, as")
    assert everything(tmp_path) == before


def test_a_log_of_the_keeper_in_the_folder_of_results_stays(run, tmp_path):
    with_log()
    Path("results").mkdir()
    shutil.copy("tanks.csv", "results/tanks.csv")
    before = everything(tmp_path)
    refused(run("season", "house.toml", "--out", "results"), "results/tanks.csv: is there and not as stocksim wrote it")
    assert everything(tmp_path) == before


def test_results_replace_results_and_a_site_that_reads_them_is_refused(run, tmp_path):
    with_log()
    assert run("season", "house.toml", "--out", "results").code == 0
    first = everything(Path("results"))
    spoil("count = 60", "count = 50")
    assert run("season", "house.toml", "--out", "results").code == 0
    second = everything(Path("results"))
    assert set(first) == set(second) > {MANIFEST}
    assert all(first[name] != second[name] for name in first if name != "beds.csv")
    spoil('file = "tanks.csv"', 'file = "results/tanks.csv"')  # our own tables have a date and temperature_c
    refused(run("season", "house.toml", "--out", "results"), "holds tanks.csv, which the site reads")
    assert everything(Path("results")) == second


def test_grow_and_new_write_over_nothing_but_growth(run):
    before = Path("house.toml").read_text(encoding="utf-8")
    refused(run(*GROW, "--days", "9", "--out", "house.toml"), "house.toml: is already there")
    refused(run("new", "house.toml"), "house.toml: is already there")
    assert Path("house.toml").read_text(encoding="utf-8") == before
    assert run(*GROW, "--days", "9", "--out", "days.csv").code == 0
    assert run(*GROW, "--days", "5", "--out", "days.csv").code == 0
    assert len(Path("days.csv").read_text().splitlines()) == 6
    refused(run(*GROW, "--days", "9", "--out", os.devnull), "is already there")


# ---- plans ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def plan(run, tmp_path):
    """A quick plan of the starter site, which reads a log in a folder, a weather file and an own species file."""
    with_log("logs/sump.csv")
    with Path("house.toml").open("a", encoding="utf-8") as out:
        out.write('\n[weather]\nkind = "file"\nfile = "days.csv"\n')
    rows = [f"{dt.date(2026, 10, 1 + n)},{5 + n % 3},{12 + n % 2}" for n in range(31)]
    Path("days.csv").write_text("\n".join(["date,low_c,high_c", *rows]))
    own = Path("species_params/fish")
    own.mkdir(parents=True)
    shutil.copy(library_folder() / "fish" / "yellow_perch.toml", own)
    spoil("units =", "latitude = 45\nunits =")
    return plan_stocking(load_site("house.toml"), refused=False)


def test_a_plan_goes_with_all_it_reads_and_edits_of_it_are_kept(plan):
    source, folder = Path("house.toml"), Path("deep/plan")
    written = write_planned(folder, source, plan)
    copies = {"days.csv", "logs/sump.csv", "species_params/fish/yellow_perch.toml"}
    assert written[0] == folder / "house_planned.toml"
    assert {path.relative_to(folder).as_posix() for path in written[1:]} == copies
    assert load_site(written[0]).file.cohorts == load_site(folder / "house_planned.toml").file.cohorts
    # an unedited plan is replaced
    assert write_planned(folder, source, plan) == [written[0]]
    # an edited one stays, and so does the next
    edited = written[0].read_text(encoding="utf-8") + "\n# ask Ann about the perch\n"
    written[0].write_text(edited, encoding="utf-8")
    assert not is_untouched(written[0])
    (second,) = write_planned(folder, source, plan)
    assert second == folder / "house_planned_2.toml"
    assert written[0].read_text(encoding="utf-8") == edited
    assert write_planned(folder, source, plan) == [second]
    second.write_text("[site]\n", encoding="utf-8")
    assert free_place(folder, source) == folder / "house_planned_3.toml"


def test_a_plan_beside_the_site_copies_nothing(plan, tmp_path):
    before = everything(tmp_path)
    assert write_planned(Path(), Path("house.toml"), plan) == [Path("house_planned.toml")]
    after = everything(tmp_path)
    assert {name for name in after if name not in before} == {"house_planned.toml"}
    assert {name: after[name] for name in before} == before


def test_a_plan_never_runs_on_an_older_log(plan, run):
    folder = Path("plan")
    write_planned(folder, Path("house.toml"), plan)
    Path("logs/sump.csv").write_text(Path("logs/sump.csv").read_text().replace("15.1", "15.3"))
    before = everything(folder)
    refused(run("stock", "house.toml", "--out", "plan"), "plan/logs/sump.csv: is there and differs from the file")
    assert everything(folder) == before
    Path("a_file").write_text("x")
    refused(run("stock", "house.toml", "--out", "a_file"), "a_file: is a file; give a folder for the plan.")
    check_place(Path("elsewhere"), load_site("house.toml"))


# ---- texts in tables ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ("[tanks.NA]", "tanks.NA"),
        ("[tanks.1e5]", "tanks.1e5"),
        ("[tanks.true]", "tanks.true"),
        ("[tanks.12]", "tanks.12"),
    ],
)
def test_names_that_tables_would_not_give_back_are_refused(run, field, words):
    name = field[7:-1]
    spoil("[tanks.first]", field)
    spoil('tank = "first"', f'tank = "{name}"')
    refused(run("check", "house.toml"), f"{words}: is read as a number or as nothing in a table", f"as unit_{name}.")


@pytest.mark.parametrize("name", ["=1+1", "@cmd", "-x", "+x", "NA", "1e5"])
def test_own_species_whose_name_is_a_formula_or_nothing_are_refused(run, name):
    own = Path("species_params/fish")
    own.mkdir(parents=True)
    shutil.copy(library_folder() / "fish" / "yellow_perch.toml", own / f"{name}.toml")
    spoil('species = "yellow_perch"', f'species = "{name}"')
    refused(run("check", "house.toml"), f'cohorts.perch.species: "{name}" would be read as a number, a formula')


def test_tables_come_back_with_the_names_of_the_file_and_numbers_as_numbers(run):
    spoil("[tanks.first]", "[tanks.2nd-tank_]")
    spoil('tank = "first"', 'tank = "2nd-tank_"')
    spoil("[cohorts.perch]", "[cohorts.e5]")
    assert run("season", "house.toml", "--out", "results").code == 0
    cohorts = pd.read_csv("results/cohorts.csv")
    assert set(cohorts["tank"]) == {"2nd-tank_"}
    assert set(cohorts["cohort"]) == {"e5"}
    assert {cohorts[name].dtype.kind for name in ("count", "mean_weight_g", "growth_g_per_day")} == {"f"}
    assert (cohorts["growth_g_per_day"] >= 0).any()


# ---- the end of a run -----------------------------------------------------------------------------------------------


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("arguments", [["season", "house.toml"], ["check", "house.toml", "--json"], ["--help"]])
def test_a_full_standard_output_is_one_sentence(run, arguments, unbuffered):
    with open("/dev/full", "w") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "stocksim", *arguments], stdout=full, stderr=subprocess.PIPE, text=True,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered}, check=False,
        )  # fmt: skip
    assert ran.returncode == 1
    (line,) = ran.stderr.splitlines()
    assert "standard output" in line
    assert os.strerror(28) in line


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device")
def test_where_nothing_can_be_told_the_exit_code_tells(run):
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "stocksim", "check"]
        assert subprocess.run([*command, "house.toml"], stdout=full, stderr=full, check=False).returncode == 1
        assert subprocess.run([*command, "gone.toml"], stdout=full, stderr=full, check=False).returncode != 0


def test_a_faulty_file_stays_our_bug_where_it_is_no_output(monkeypatch, run):
    from stocksim.faces import cli

    def broken() -> None:
        raise FileNotFoundError(2, "No such file or directory", "inner.toml")

    monkeypatch.setattr(cli, "app", broken)
    with pytest.raises(FileNotFoundError):
        cli.main()


@pytest.mark.parametrize(
    ("path", "words"),
    [
        (".", ".: is a folder"),
        ("..", "..: is a folder"),
        ("", ".: is a folder"),
        ("binary.toml", "binary.toml: is not UTF-8"),
        ("nowhere/house.toml", "nowhere/house.toml: was not found"),
    ],
)
def test_what_is_no_site_file_is_one_sentence(run, path, words):
    Path("binary.toml").write_bytes(bytes(range(256)))
    ran = run("check", path)
    refused(ran)
    assert ran.lines[0].startswith(words)
