"""The commands about one fish and about water: keys of the contract, files, and refusals in a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import refused, rows_of, runner

from stocksim.library.species import species_names


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


# ---- grow -----------------------------------------------------------------------------------------------------------

BLUEGILL = ("grow", "bluegill", "--from", "28 g", "--at", "26 degC")


def test_grow_holds_the_contract_keys_and_its_days_add_up(run):
    data = run(*BLUEGILL, "--days", "40", "--json").data
    assert set(data) >= {
        "days", "weight_g", "feed_g", "feed_conversion", "specific_growth_percent_per_day", "oxygen_g", "tan_g",
        "daily",
    }  # fmt: skip
    daily = data["daily"]
    assert data["days"] == len(daily) == daily[-1]["day"] == 40
    assert daily[-1]["weight_g"] == pytest.approx(data["weight_g"], abs=5e-4)
    for key, rounding in (("feed_g", 5e-6), ("oxygen_g", 5e-6), ("tan_g", 5e-7)):
        assert sum(day[key] for day in daily) == pytest.approx(data[key], abs=5e-4 + 40 * rounding)
    assert data["feed_conversion"] == pytest.approx(data["feed_g"] / (data["weight_g"] - 28.0), rel=1e-3)
    assert data["weight_g"] > 28.0


def test_grow_until_a_weight_stops_on_the_day_it_is_reached(run):
    data = run(*BLUEGILL, "--to", "50 g", "--json").data
    assert data["daily"][-1]["weight_g"] >= 50.0 > data["daily"][-2]["weight_g"]


def test_an_unfed_fish_loses_weight_and_has_no_feed_conversion(run):
    ran = run(*BLUEGILL, "--days", "60", "--ration", "0", "--json")
    assert ran.data["weight_g"] < 28.0
    assert ran.data["feed_conversion"] is None
    assert ran.data["feed_g"] == 0.0
    assert ran.data["specific_growth_percent_per_day"] < 0.0
    assert "no gain" in run(*BLUEGILL, "--days", "60", "--ration", "0").out


def test_a_fish_unfed_for_years_is_told_to_starve_instead_of_shrinking_to_nothing(run):
    starving = ("grow", "nile_tilapia", "--from", "28 g", "--at", "30 degC", "--ration", "0", "--days")
    (note,) = run(*starving, "70", "--json").data["notes"]
    assert "day 51:" in note
    assert note in run(*starving, "70").out
    assert run(*starving, "50", "--json").data["notes"] == []
    course = run(*starving, "800", "--json").data  # the budget stops with the fish: finite to the end
    assert course["notes"] == [note]
    assert 0.35 * 28.0 < course["weight_g"] < 0.5 * 28.0


def test_less_ration_grows_less(run):
    weights = [
        run(*BLUEGILL, "--days", "30", "--ration", share, "--json").data["weight_g"] for share in ("1", "0.85", "0.4")
    ]
    assert weights == sorted(weights, reverse=True)
    assert weights[0] == run(*BLUEGILL, "--days", "30", "--json").data["weight_g"]


def test_grow_writes_its_days_as_csv(run):
    ran = run(*BLUEGILL, "--days", "5", "--out", "days.csv", "--json")
    assert ran.err == "Wrote days.csv\n"
    assert [{key: float(text) for key, text in row.items()} for row in rows_of(Path("days.csv"))] == ran.data["daily"]


def test_grow_takes_the_same_quantities_in_other_units(run):
    metric = run(*BLUEGILL, "--days", "9", "--json").data["weight_g"]
    other = run("grow", "bluegill", "--from", "0.028 kg", "--at", "78.8 degF", "--days", "9", "--json").data["weight_g"]
    assert other == metric


@pytest.mark.parametrize(
    ("arguments", "words", "faults"),
    [
        (["bluegill", "--from", "28 g", "--at", "24", "--days", "9"], ['--at: "24" has no unit', "degC or degF"], 1),
        (["bluegill", "--from", "28", "--at", "24", "--to", "90"],
         ['--from: "28" has no unit', "g, kg, lb or oz", "--at:", '--to: "90"'], 3),
        (["bluegill", "--from", "28 L", "--at", "24 degC", "--days", "9"], ['--from: "28 L"', "unit of weight"], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC"], ["days or a weight"], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--days", "9", "--to", "90 g"], ["not both"], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--to", "999 kg"], ["does not reach 999000 g"], 1),
        (["bluegill", "--from", "28 g", "--at", "5 degC", "--to", "90 g"], ["90 g at 5.0 degC"], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--to", "9 g"], ["9 g is not above ", "28 g"], 1),
        (["rainbow_trout", "--from", "28 g", "--at", "30 degC", "--days", "9"], ["30.0 degC kills rainbow_trout"], 1),
        (["bluegill", "--from", "28 g", "--at", "-5 degC", "--days", "9"], ["-5 degC is not allowed"], 1),
        (["bluegill", "--from", "0 g", "--at", "24 degC", "--days", "9"], ["0 g is not allowed"], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--days", "0"], ["0 days are not allowed"], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--days", "9", "--ration", "85"], ["from 0 to 1."], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--days", "9", "--ration", "nan"], ["from 0 to 1."], 1),
        (["sunfish", "--from", "28 g", "--at", "24 degC", "--days", "9"], ['"sunfish"', "bluegill"], 1),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--days", "9", "--feed", "corn"], ['"corn"', "perch_45"], 1),
        (["bluegil", "--from", "28", "--at", "64 degC", "--ration", "9", "--feed", "corn"],
         ['--from: "28" has no unit', "water of 64 degC", '"bluegil"', '"corn"', "a ration of 9", "days or a weight"],
         6),
        (["bluegill", "--from", "90 kg", "--at", "38 degC", "--to", "9 g", "--days", "0"],
         ["90000 g is not allowed", "9 g is not above", "38.0 degC kills", "0 days are not", "not both"], 5),
        (["bluegill", "--from", "28 g", "--at", "24 degC", "--days", "9", "--out", "."], [".: cannot be written"], 1),
    ],
)  # fmt: skip
def test_grow_refuses_in_a_sentence(run, arguments, words, faults):
    refused(run("grow", *arguments), *words, faults=faults)


# ---- fish, water ----------------------------------------------------------------------------------------------------


def test_fish_lists_every_species(run):
    data = run("fish", "--json").data
    assert [row["species"] for row in data] == species_names()
    assert all(row["evidence"] in ("good", "fair", "weak") for row in data)
    out = run("fish").out
    assert all(name in out for name in species_names())


def test_one_fish_shows_every_value_with_its_source(run):
    data = run("fish", "yellow_perch", "--json").data
    assert data["species"] == "yellow_perch"
    assert len(data["values"]) > 25
    for key, value in data["values"].items():
        assert value["source"], key
        assert value["where"], key
        assert value["read"], key
        assert value["unit"], key
    out = run("fish", "yellow_perch", "--all").out
    assert all(key in out for key in data["values"])


def test_an_unknown_fish_is_refused_with_the_known_ones(run):
    refused(run("fish", "perch", "--json"), '"perch" is not in the library', "yellow_perch")


def test_water_holds_the_contract_keys_and_leaves_open_what_was_not_measured(run):
    data = run("water", "--at", "18 degC", "--ph", "7.2", "--tan", "1 mg/L", "--alkalinity", "80 mg/L", "--json").data
    assert set(data) >= {"oxygen_saturation_mg_l", "unionized_fraction", "unionized_ammonia_mg_l", "co2_mg_l"}
    assert data["unionized_ammonia_mg_l"] == pytest.approx(data["unionized_fraction"], rel=1e-3)  # of 1 mg/L
    bare = run("water", "--at", "18 degC", "--json").data
    assert bare["oxygen_saturation_mg_l"] == data["oxygen_saturation_mg_l"]
    assert bare["unionized_fraction"] is bare["unionized_ammonia_mg_l"] is bare["co2_mg_l"] is None
    high = run("water", "--at", "64.4 degF", "--elevation", "5000 ft", "--json").data
    assert high["oxygen_saturation_mg_l"] < bare["oxygen_saturation_mg_l"]
    assert "oxygen saturation" in run("water", "--at", "18 degC").out


def test_water_says_which_fish_the_water_does_not_suit(run):
    warm = {row["species"]: row for row in run("water", "--at", "28 degC", "--json").data["limits"]}
    assert warm["rainbow_trout"]["temperature_holds"] is False
    assert warm["nile_tilapia"]["temperature_holds"] is True
    assert "BROKEN" in run("water", "--at", "28 degC").out


@pytest.mark.parametrize(
    ("arguments", "words", "faults"),
    [
        (["--at", "24"], ['--at: "24" has no unit', "degC or degF"], 1),
        (["--at", "18 degC", "--tan", "2", "--elevation", "850"], ['--tan: "2"', "mg/L", '--elevation: "850"'], 2),
        (["--at", "64 degC", "--ph", "70", "--tan", "-1 mg/L", "--elevation", "9 km"], ['"km" is not a unit'], 1),
        (["--at", "64 degC", "--ph", "70", "--tan", "-1 mg/L"], ["--at: 64 degC", "--ph: 70", "--tan: -1 mg/L"], 3),
        (["--at", "18 degC", "--ph", "nan"], ['--ph: "nan"', "from 5 to 10"], 1),
        (["--at", "18 degC", "--tan", "2 mg/L"], ["--tan: needs --ph too"], 1),
        (["--at", "18 degC", "--alkalinity", "2 mg/L"], ["--alkalinity: needs --ph too"], 1),
        (["--at", "18 degC", "--elevation", "9000 m"], ["--elevation: 9000 m is not allowed"], 1),
    ],
)  # fmt: skip
def test_water_refuses_in_a_sentence(run, arguments, words, faults):
    refused(run("water", *arguments), *words, faults=faults)
