"""Every command's options with numbers and texts that nobody should write: one sentence, exit 2, no traceback."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from command_line import refused, runner
from small_sites import one_tank

from stocksim.answers.stock.decide import plan_stocking
from stocksim.errors import InputError
from stocksim.site.examples import example_text
from stocksim.site.reading import site_from_tables

LONG = "x" * 10**6
NUMBERS = ("inf", "-inf", "nan", "1e400", "-1", "", " ", "1,5", "0x10", "1_0", "five", LONG)
QUANTITIES = ("inf degC", "nan L", "1e400 g", "-1", "0", "", "5 parsecs", "1,5 L", LONG)
DATES = ("2026-13-45", "26-10-01", "2026-10-01T10:00", "3000-01-01", "0", "", "tomorrow", LONG)


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    call = runner(monkeypatch, capsys, tmp_path)
    Path("cold.toml").write_text(example_text("heron_lane_computed"), encoding="utf-8")
    return call


def sentence(ran) -> None:
    refused(ran)
    assert len(ran.err) < 700, ran.err[:200]


@pytest.mark.parametrize(
    ("command", "option", "texts"),
    [
        ("cold cold.toml", "--worth", (*NUMBERS, "1e308", "1e7")),
        ("cold cold.toml", "--years", (*NUMBERS, "0", "2.5", "1e308")),
        ("cold cold.toml", "--seed", (*NUMBERS, "1e308")),
        ("cold cold.toml", "--loop", ("mian", "", LONG)),
        ("powercut house.toml", "--hour", (*NUMBERS, "1e308", "24.5")),
        ("powercut house.toml", "--on", DATES),
        ("powercut house.toml", "--battery", (*QUANTITIES, "1e308 W")),
        ("powercut house.toml", "--room", (*QUANTITIES, "-300 degC")),
        ("powercut house.toml", "--head", (*QUANTITIES, "1e308 m")),
        ("powercut house.toml", "--heater", QUANTITIES),
        ("ramp house.toml", "--from", DATES),
        ("grow bluegill --at 20degC --days 5", "--from", (*QUANTITIES, "-5 g")),
        ("grow bluegill --from 20g --days 5", "--at", (*QUANTITIES, "1e308 degC")),
        ("grow bluegill --from 20g --at 20degC", "--days", (*NUMBERS, "0", "2.5", "1e308")),
        ("grow bluegill --from 20g --at 20degC --days 5", "--ration", (*NUMBERS, "1e308", "1.1")),
        ("grow bluegill --from 20g --at 20degC --days 5", "--feed", ("gravel", "", "../x", LONG)),
        ("water", "--at", (*QUANTITIES, "1e308 degC")),
        ("water --at 20degC", "--ph", (*NUMBERS, "1e308")),
        ("water --at 20degC --ph 7", "--tan", QUANTITIES),
        ("water --at 20degC", "--elevation", QUANTITIES),
        ("stock house.toml", "--goal", ("gold", "", "edible,edible", LONG)),
        ("stock house.toml", "--pareto", ("edible", "", "edible,keep", LONG)),
        ("stock house.toml", "--seconds", (*NUMBERS, "0", "1e308")),
        ("open house.toml", "--port", (*NUMBERS, "0", "65536", "80.5")),
        ("new other.toml", "--example", ("castle", "", LONG)),
    ],
)
def test_an_odd_option_is_refused_in_one_short_sentence(run, command, option, texts):
    for text in texts:
        ran = run(*command.split(), f"{option}={text}")
        sentence(ran)


def test_a_species_that_is_no_name_is_looked_up_nowhere(run):
    for name in ("gravel", "../../fish/bluegill", LONG):
        refused(run("fish", name), "is not in the library")


def test_numbers_at_the_ends_are_taken(run):
    assert run("grow", "bluegill", "--from", "20g", "--at", "20degC", "--days", "1", "--ration", "0").code == 0
    assert run("powercut", "house.toml", "--hour", "0").code == 0
    assert run("water", "--at", "0 degC", "--ph", "7").code == 0


def test_a_loop_of_no_such_name_or_without_a_log_is_refused(run):
    refused(run("cold", "cold.toml", "--loop", "mian"), "--loop", "mian", "main, warm")
    refused(run("cold", "cold.toml", "--loop", "main"), "--loop", "--fit")
    refused(run("cold", "cold.toml", "--fit", "log.csv", "--loop", "mian"), "--loop", "main, warm")


def with_option(option: dict, **loop: object) -> dict:
    tables = one_tank(days=20, **loop)
    bought = {"species": "nile_tilapia", "mean_weight": "90 g", "price": 1.0, "feed": "tilapia_34", "at_most": 20}
    tables["stocking"] = {"candidates": {"more": bought}, "options": {"hot": {"loop": "main"} | option}}
    return tables


def test_a_fault_of_a_stocking_option_is_told_as_the_options_own(tmp_path):
    water = {"kind": "constant", "value": "26 degC", "at_most": "27 degC"}
    site = site_from_tables(with_option({"at_least": "30 degC"}, water_temperature=water), tmp_path)
    with pytest.raises(InputError) as caught:
        plan_stocking(site, brake_s=2.0)
    assert {(fault.table, fault.field) for fault in caught.value.faults} == {("stocking.options.hot", "at_least")}


def test_an_option_on_computed_water_is_refused_where_it_stands(tmp_path):
    tables = tomllib.loads(example_text("heron_lane_computed"))
    tables["stocking"] = {"options": {"hot": {"loop": "main", "at_least": "15 degC"}}}
    with pytest.raises(InputError) as caught:
        site_from_tables(tables, tmp_path)
    assert [(fault.table, fault.field) for fault in caught.value.faults] == [("stocking.options.hot", "loop")]
