"""The package as a library: names, types, one-line reprs, what every answer tells of its making, files written."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from command_line import runner

import stocksim
from stocksim.library.species import load_species
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.hashes import library_hash, library_of, site_hash
from stocksim.site.reading import load_site

PACKAGE = Path(stocksim.__file__).parent
MARKS = ("stocksim_version", "site_hash", "library_hash")


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


@pytest.fixture(scope="module")
def starter():
    return load_site(FOLDER / "starter.toml")


@pytest.fixture(scope="module")
def season(starter):
    return stocksim.run_season(starter)


# --- names, types, reprs


def test_the_names_are_shown_and_cost_nothing():
    code = (
        "import stocksim, sys\n"
        "names = dir(stocksim)\n"
        "assert set(stocksim.__all__) <= set(names), names\n"
        "assert stocksim.__version__ and '__version__' in names\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'numba', 'pydantic', 'stocksim.site', 'stocksim.engine'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
        "stocksim.load_site\n"
        "assert 'stocksim.site.reading' in sys.modules and 'stocksim.faces' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def test_every_public_name_is_kept_once_used():
    for name in stocksim.__all__:
        assert getattr(stocksim, name) is vars(stocksim)[name]


def test_the_types_are_marked():
    assert (PACKAGE / "py.typed").is_file()


def test_reprs_are_one_short_line(starter, season, demo_site):
    many = stocksim.run_seasons(starter, [{}])
    for thing in (starter, demo_site, season, many):
        assert len(repr(thing).splitlines()) == 1
        assert len(repr(thing)) < 200
    name, file, days = repr(starter).removeprefix("Site(").split(", ")[:3]
    assert (name, file, days[:24]) == ("'My growing house'", "'starter.toml'", "2026-10-01 to 2027-04-30")
    assert repr(starter) in repr(season)
    odd = starter.with_changes({"site.name": "two\nlines"})
    assert len(repr(odd).splitlines()) == 1


# --- hashes


def written(folder: Path, text: str) -> Path:
    path = folder / "house.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_sites_hash_is_of_what_it_says(tmp_path, starter):
    text = example_text("starter")
    same = written(tmp_path, f"# a note\n{text}")
    assert site_hash(load_site(same)) == site_hash(starter)
    assert site_hash(load_site(written(tmp_path, text.replace("1000 L/h", "1001 L/h")))) != site_hash(starter)
    changed = starter.with_changes({"cohorts.perch.count": 61})
    assert site_hash(changed) != site_hash(starter)
    assert site_hash(changed.with_changes({"cohorts.perch.count": 60})) == site_hash(starter)


def test_the_sites_hash_follows_the_log_that_it_names(tmp_path):
    log = tmp_path / "log.csv"
    text = example_text("starter").split("water_temperature =")
    text[1] = text[1].split("\n", 1)[1]
    path = written(tmp_path, 'water_temperature = { kind = "log", file = "log.csv" }\n'.join(text))

    def hash_with(celsius: float) -> str:
        days = [f"{day:%Y-%m-%d},{celsius}" for day in pd.date_range("2026-10-01", "2027-04-30")]
        log.write_text("\n".join(["date,temperature_c", *days]), encoding="utf-8")
        return site_hash(load_site(path))

    assert hash_with(14.0) == hash_with(14.0)
    assert hash_with(14.0) != hash_with(14.5)


def test_the_librarys_hash_is_of_the_species_feeds_and_crops_used(tmp_path, starter):
    used = library_of(starter)
    assert {entry.name for entry in used} == {"yellow_perch", "perch_45", "kale"}
    mine = library_hash(used)
    assert library_hash(reversed(used)) == mine
    assert library_hash([*used, load_species("bluegill")]) != mine
    shipped = Path(load_species("yellow_perch").origin)
    own = tmp_path / "species_params" / "fish" / "yellow_perch.toml"
    own.parent.mkdir(parents=True)
    own.write_text(shipped.read_text(encoding="utf-8"), encoding="utf-8")
    site = load_site(written(tmp_path, example_text("starter")))
    assert library_hash(library_of(site)) == mine, "the same values from another place"
    text = own.read_text(encoding="utf-8")
    value = f"value = {load_species('yellow_perch')['body_energy']:g}"
    assert value in text
    own.write_text(text.replace(value, f"{value}1", 1), encoding="utf-8")
    other = load_site(written(tmp_path, example_text("starter")))
    assert library_hash(library_of(other)) != mine
    assert site_hash(other) == site_hash(starter), "the library has a hash of its own"


def test_fish_to_buy_count_among_the_library_used(starter):
    offer = {"species": "bluegill", "feed": "sunfish_44", "mean_weight": "40 g", "price": 2.0, "at_most": 9}
    site = starter.with_changes({"stocking": {"candidates": {"more": offer}}})
    assert {"bluegill", "sunfish_44"} <= {entry.name for entry in library_of(site)}


@pytest.mark.parametrize(
    "command",
    [
        "check house.toml", "season house.toml", "beds house.toml", "powercut house.toml", "ramp house.toml",
        "company house.toml", "stock house.toml",
    ],
)  # fmt: skip
def test_every_answer_about_a_site_tells_its_making(run, starter, command):
    data = run(*command.split(), "--json").data
    assert list(data)[-3:] == list(MARKS)
    assert data["stocksim_version"] == stocksim.__version__
    assert data["site_hash"] == site_hash(starter)
    if "company" not in command:  # it compares all species
        assert data["library_hash"] == library_hash(library_of(starter))
    assert data["library_hash"]


@pytest.mark.parametrize(
    "command", ["fish bluegill", "water --at 18degC", "grow bluegill --from 28g --at 26degC --days 3"]
)
def test_every_answer_of_the_library_tells_its_making(run, command):
    data = run(*command.split(), "--json").data
    assert (data["stocksim_version"], data["site_hash"]) == (stocksim.__version__, None)
    assert len(data["library_hash"]) == 64


def test_a_refused_file_has_a_version_and_no_hash(run):
    Path("house.toml").write_text(example_text("starter").replace("yellow_perch", "no_such_fish"), encoding="utf-8")
    data = run("check", "house.toml", "--json").data
    assert data["faults"]
    assert [data[key] for key in MARKS] == [stocksim.__version__, None, None]


# --- files


def test_a_season_is_written_as_the_command_writes_it(run, season, tmp_path):
    by_hand = stocksim.write_season(season, tmp_path / "mine")
    assert run("season", "house.toml", "--out", "theirs").code == 0
    assert [path.name for path in by_hand] == [
        "tanks.csv", "cohorts.csv", "beds.csv", "loops.csv", "ledger.csv", "summary.json",
    ]  # fmt: skip
    for path in by_hand:
        assert path.read_bytes() == (tmp_path / "theirs" / path.name).read_bytes()
    summary = json.loads(by_hand[-1].read_text(encoding="utf-8"))
    assert [summary[key] for key in MARKS] == [
        stocksim.__version__, site_hash(season.site), library_hash(library_of(season.site)),
    ]  # fmt: skip


def test_findings_may_be_given_and_no_levers_sought(season, tmp_path, monkeypatch):
    from stocksim.answers.season import answer as season_files

    monkeypatch.setattr(season_files, "advise", lambda season: pytest.fail("levers were sought"))
    *_, summary = stocksim.write_season(season, str(tmp_path / "out"), season.findings)
    told = json.loads(summary.read_text(encoding="utf-8"))["limits"]
    assert len(told) == len(season.findings)
