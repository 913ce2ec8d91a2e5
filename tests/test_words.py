"""Findings as sentences, the verdict, the cautions and the summary, in both systems of units."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace

import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.answers.season.answer import season_answer
from stocksim.changes.ways import find_changes
from stocksim.engine.results.findings import Finding
from stocksim.faces import words as verdict_words
from stocksim.faces.change_words import help_words
from stocksim.faces.text import answer_text, tank_rows, text_table
from stocksim.faces.words import (
    cautions,
    day_words,
    finding_sentence,
    level_words,
    place_words,
    summary,
    verdict,
)
from stocksim.site.kinds import LIMITS, hard_limits

DAY, LATER = dt.date(2027, 2, 4), dt.date(2027, 3, 14)
BROKEN = {
    "density": Finding("density", "tanks.cedar", DAY, LATER, 22.3, 20.0, "kg/m3", -11.5, 39),
    "oxygen": Finding("oxygen", "tanks.maple", DAY, LATER, 3.557, 5.0, "mg/L", -28.9, 39),
    "unionized_ammonia": Finding("unionized_ammonia", "tanks.maple", DAY, LATER, 0.0414, 0.025, "mg/L", -65.6, 39),
    "nitrite": Finding("nitrite", "tanks.maple", DAY, LATER, 1.234, 0.55, "mg/L", -124.4, 39),
    "biofilter": Finding("biofilter", "loops.main", DAY, LATER, 31.26, 24.0, "g/day", -30.2, 39),
    "temperature_low": Finding("temperature_low", "cohorts.tilapia", DAY, LATER, 11.0, 13.0, "degC", -9.1, 39),
    "temperature_high": Finding("temperature_high", "cohorts.perch", DAY, LATER, 27.0, 26.0, "degC", -4.0, 39),
    "temperature_change": Finding("temperature_change", "cohorts.perch", DAY, LATER, 3.4, 1.7, "degC/day", -100.0, 2),
    "predation": Finding("predation", "tanks.cedar", DAY, LATER, 12.3, 1.0, "% of pairs", -1130.0, 39),
}
SENTENCES = {
    ("density", "metric"): "From 4 Feb 2027: fish too dense in tank cedar, up to 22.3 kg/m3 on 14 Mar 2027 "
    "(keep below 20.0 kg/m3).",
    # 1 kg/m3 is 0.45359237^-1 * 3.785411784e-3 = 0.0083454 lb/gal
    ("density", "us"): "From 4 Feb 2027: fish too dense in tank cedar, up to 0.19 lb/gal on 14 Mar 2027 "
    "(keep below 0.17 lb/gal).",
    ("oxygen", "metric"): "From 4 Feb 2027: oxygen too low in tank maple, down to 3.56 mg/L on 14 Mar 2027 "
    "(keep above 5.00 mg/L).",
    ("unionized_ammonia", "us"): "From 4 Feb 2027: un-ionized ammonia too high in tank maple, up to 0.0414 mg/L on "
    "14 Mar 2027 (keep below 0.0250 mg/L).",
    ("nitrite", "metric"): "From 4 Feb 2027: nitrite too high in tank maple, up to 1.23 mg/L on 14 Mar 2027 "
    "(keep below 0.55 mg/L).",
    ("biofilter", "us"): "From 4 Feb 2027: more ammonia than the biofilter can take in loop main, up to 31.3 g/day on "
    "14 Mar 2027 (keep below 24.0 g/day).",
    ("temperature_low", "metric"): "From 4 Feb 2027: water too cold for tilapia, down to 11.0 degC on 14 Mar 2027 "
    "(keep above 13.0 degC).",
    ("temperature_low", "us"): "From 4 Feb 2027: water too cold for tilapia, down to 51.8 degF on 14 Mar 2027 "
    "(keep above 55.4 degF).",
    # 1 degC is 1.8 degF of difference, and no 32 are added
    ("temperature_change", "us"): "From 4 Feb 2027: water that changes too fast in a day for perch, up to 6.1 degF on "
    "14 Mar 2027 (keep below 3.1 degF).",
    ("predation", "metric"): "From 4 Feb 2027: tankmates small enough to be eaten in tank cedar, up to 12.3 % of pairs "
    "on 14 Mar 2027 (keep below 1.0 % of pairs).",
    ("temperature_high", "us"): "From 4 Feb 2027: water too warm for perch, up to 80.6 degF on 14 Mar 2027 "
    "(keep below 78.8 degF).",
}


@pytest.mark.parametrize(("limit", "units"), SENTENCES)
def test_a_broken_limit_in_a_sentence(limit, units):
    assert finding_sentence(BROKEN[limit], units) == SENTENCES[limit, units]


def test_every_kind_of_broken_limit_has_words():
    for limit in hard_limits():
        row = LIMITS[limit]
        plain = Finding(limit, f"{row.table}.one", DAY, LATER, 3.0, 2.0, row.unit, -50.0, 39)
        for units in ("metric", "us"):
            assert row.broken in finding_sentence(BROKEN.get(limit, plain), units)


def test_a_biofilter_that_takes_nothing_is_told_so_and_not_as_a_limit_of_zero():
    none = replace(BROKEN["biofilter"], threshold=0.0, margin_percent=-9900.0)
    for finding in (none, replace(none, threshold=0.04)):
        assert finding_sentence(finding, "metric") == (
            "From 4 Feb 2027: more ammonia than the biofilter can take in loop main: 31.3 g/day on 14 Mar 2027, when "
            "no biofilter there takes any, so it stays in the water."
        )
    assert "keep below 0.1 g/day" in finding_sentence(replace(none, threshold=0.051), "metric")
    tables = one_tank(days=5)
    del tables["beds"]
    season = run_season(build(tables))
    (finding,) = [f for f in season.findings if f.limit == "biofilter"]
    assert finding.first_date == START
    assert finding.threshold == 0.0
    assert "when no biofilter there takes any" in finding_sentence(finding, "metric")
    assert any(words.startswith("loops.main has no biofilter") for words in cautions(season))
    assert "more ammonia than the biofilter can take in loop main." in verdict(season, season.findings)


def test_a_limit_that_holds_in_a_sentence():
    holds = replace(BROKEN["unionized_ammonia"], first_date=None, worst_value=0.0123, margin_percent=50.8)
    assert finding_sentence(holds, "metric") == (
        "Un-ionized ammonia holds in tank maple: 0.0123 mg/L at worst on 14 Mar 2027 (keep below 0.0250 mg/L)."
    )
    calm = replace(BROKEN["biofilter"], first_date=None, worst_value=12.0, margin_percent=50.0)
    assert finding_sentence(calm, "metric") == (
        "Biofilter holds in loop main: 12.0 g/day at worst on 14 Mar 2027 (keep below 24.0 g/day)."
    )
    warm = replace(BROKEN["temperature_low"], first_date=None, worst_value=15.0, margin_percent=9.1)
    assert finding_sentence(warm, "us") == (
        "Cold limit holds for tilapia: 59.0 degF at worst on 14 Mar 2027 (keep above 55.4 degF)."
    )


def test_the_planting_advice_in_a_sentence():
    advice = Finding("planting_ratio", "loops.main", DAY, LATER, 206.9, 50.0, "g/m2/day", None, 21)
    assert finding_sentence(advice, "metric") == (
        "Advice: in loop main feed per planted area is outside the handbook band on 21 days, furthest on 14 Mar 2027 "
        "at 207 g/m2/day, above 50 g/m2/day."
    )
    low = replace(advice, worst_value=8.76, threshold=40.0)
    assert finding_sentence(low, "us").endswith("at 0.03 oz/ft2/day, below 0.13 oz/ft2/day.")  # 1 oz/ft2 is 305.15 g/m2
    assert " on 1 day, furthest" in finding_sentence(replace(advice, days_broken=1), "metric")
    inside = replace(advice, first_date=None, days_broken=0)
    assert finding_sentence(inside, "metric") == "Feed and planted area of loop main stay within the handbook band."


def test_small_words():
    assert day_words(DAY) == "4 Feb 2027"
    assert level_words(0.0999, "mg/L", "us") == "0.0999 mg/L"
    assert level_words(0.1, "mg/L", "us") == "0.10 mg/L"
    # nothing at all is not told to four decimals, and not as less than nothing
    assert [level_words(value, "mg/L", "us") for value in (0.0, 4e-5, -1e-9)] == ["0.00 mg/L"] * 3
    assert level_words(6e-5, "mg/L", "us") == "0.0001 mg/L"
    assert level_words(1234.5, "kg/m3", "metric") == "1,234.5 kg/m3"
    assert [place_words(finding) for finding in (BROKEN["oxygen"], BROKEN["temperature_low"])] == [
        "tank maple",
        "tilapia",
    ]


# ---- verdict and summary of real seasons ----------------------------------------------------------------------------


def dosed(tables: dict) -> dict:
    """The same with alkalinity kept up, without which a fed loop loses its nitrification within a week or two."""
    tables["loops"]["main"]["alkalinity_target"] = "150 mg/L"
    return tables


@pytest.fixture(scope="module")
def holding():
    return run_season(build(dosed(one_tank())))


@pytest.fixture(scope="module")
def broken():
    tables = dosed(one_tank(count=300, mean_weight_g=200, power_w=400, bed_m2=40))
    tables["site"]["units"] = "us"
    tables["beds"]["gravel"]["plantings"] = [{"crop": "basil", "from": START, "to": START + dt.timedelta(days=20)}]
    return run_season(build(tables))


def fishless(count_in_a_cohort: bool):
    tables = one_tank(count=0)
    if not count_in_a_cohort:
        del tables["cohorts"]
    return run_season(build(tables))


def test_the_verdict_where_every_limit_holds_names_the_closest(holding):
    said = verdict(holding, holding.findings)
    hard = [finding for finding in holding.findings if finding.margin_percent is not None]
    closest = min(hard, key=lambda finding: finding.margin_percent)
    assert said.startswith("Every limit of the model holds all season. The closest is the ")
    assert f"of {place_words(closest)}, {closest.margin_percent:.0f} % away on {day_words(closest.worst_date)}." in said


def test_a_broken_limit_that_harms_no_fish_is_told_as_a_caution(broken):
    assert verdict(broken, broken.findings) == (
        "No fish is harmed in the model, but 1 caution is passed. First, from 1 Oct 2026, fish too dense in tank one."
    )
    answer = season_answer(broken, broken.findings)
    assert (answer.is_trouble, answer.is_caution) == (False, True)
    (told,) = [limit for limit in answer.data["limits"] if limit["margin_percent"] and limit["margin_percent"] < 0.0]
    assert (told["harms"], told["measured"]) == (False, False)


def test_the_verdict_where_a_limit_is_broken_tells_what_harms_first_where_and_when(broken, monkeypatch):
    monkeypatch.setattr(verdict_words, "harms", lambda season, finding: finding.limit != "density")
    many = list(BROKEN.values())
    first = next(finding for finding in many if finding.limit != "density")
    said = verdict(broken, many)
    assert said.startswith("Trouble ahead: 9 limits are broken. First, from 4 Feb 2027, ")
    assert LIMITS[first.limit].broken in said
    assert "water too cold for tilapia." in verdict(broken, [BROKEN["temperature_low"]])


@pytest.mark.parametrize("count_in_a_cohort", [True, False])
def test_the_verdict_without_fish(count_in_a_cohort):
    season = fishless(count_in_a_cohort)
    assert verdict(season, season.findings) == "No fish are stocked, so there is nothing to judge."
    data = summary(season, season.findings)
    json.dumps(data, allow_nan=False)
    assert [limit for limit in data["limits"] if limit["limit"] != "planting_ratio"] == []
    assert data["totals"]["feed_conversion_offered"] is None
    assert "No fish are stocked" in answer_text(season_answer(season, season.findings))


def test_the_summary_is_json_with_the_keys_of_the_contract(broken):
    found = find_changes(broken)
    data = json.loads(json.dumps(summary(broken, found), allow_nan=False))
    assert set(data) >= {"verdict", "limits", "totals", "cautions"}
    assert data["season"] == {"start": "2026-10-01", "end": "2026-10-30"}
    by_name = {limit["limit"]: limit for limit in data["limits"]}
    for limit, finding in zip(data["limits"], found, strict=True):
        assert set(limit) >= {
            "limit", "where", "first_date", "worst_value", "threshold", "unit", "margin_percent", "lever",
        }  # fmt: skip
        assert limit["lever"] == (help_words(finding, "us") or None)
        assert (limit["first_date"] is None) == (finding.days_broken == 0)
    assert by_name["density"]["margin_percent"] < 0.0
    assert by_name["density"]["first_date"] == "2026-10-01"
    assert by_name["density"]["lever"].startswith("keep ")
    assert by_name["oxygen"]["margin_percent"] > 0.0
    assert by_name["oxygen"]["lever"] is None
    assert by_name["planting_ratio"]["margin_percent"] is None
    assert by_name["planting_ratio"]["first_date"] == "2026-10-01"
    for key in set(data["totals"]) - {"deaths"}:
        assert re.search(r"_kg$|_g$|_offered$", key)
    assert data["totals"]["deaths"] == pytest.approx(broken.cohorts["deaths"].sum(), abs=5e-5)


def test_the_summary_agrees_with_the_frames(broken):
    data = summary(broken, broken.findings)
    (density,) = (limit for limit in data["limits"] if limit["limit"] == "density")
    # the frame tells the evening's survivors, the limit is judged before the day's deaths are taken out
    fish = broken.cohorts.groupby("date", as_index=False).agg(count=("count", "sum"), deaths=("deaths", "sum"))
    grown = broken.tanks["density_kg_m3"].to_numpy() * (fish["count"] + fish["deaths"]) / fish["count"]
    assert density["worst_value"] == pytest.approx(grown.max(), abs=1e-6)
    assert data["totals"]["feed_kg"] == pytest.approx(broken.tanks["feed_g"].sum() / 1000, abs=1e-4)
    assert data["totals"]["biomass_end_kg"] == pytest.approx(broken.tanks["biomass_kg"].iloc[-1], abs=1e-4)


def test_what_can_hurt_someone_is_among_the_cautions(broken):
    tables = one_tank()
    tables["cohorts"]["fish"] |= {"wild": True, "stocked": tables["season"]["start"]}
    said = " ".join(cautions(run_season(build(tables))))
    for words in ("not a measurement", "Electricity beside water kills", "licensed", "raw", "permit", "never release"):
        assert words in said
    assert "quarantine" in said
    assert "quarantine" not in " ".join(cautions(broken))


def test_a_break_smaller_than_the_printed_digits_is_still_seen():
    hardly = Finding("density", "tanks.cedar", DAY, LATER, 20.04, 20.0, "kg/m3", -0.2, 39)
    assert finding_sentence(hardly, "metric").endswith("(keep below 20.0 kg/m3, 0.2 % past it).")
    assert "past it" not in finding_sentence(BROKEN["density"], "metric")


def test_cold_days_without_appetite_are_a_caution():
    season = run_season(build(one_tank("bluegill", "sunfish_44", temperature_c=3.0)))
    assert any(caution.startswith("Too cold to feed on some days, in the model: fish.") for caution in cautions(season))


def test_the_printed_answer_marks_what_is_broken_and_speaks_the_keepers_units(broken, holding):
    text = answer_text(season_answer(broken, find_changes(broken)))
    assert re.search(r"!\d\.\d\d lb/gal", text)
    assert "1. From 1 Oct 2026: fish too dense in tank one" in text
    assert re.search(r"What helps: keep \d+ of the 300 fish in one\.", text)
    assert "kg/m3" not in text
    assert "degC" not in text.split("Cautions:")[0]
    plain = answer_text(season_answer(holding, find_changes(holding)))
    assert "!" not in plain.split("marks a broken limit")[0].replace("! ", "")
    assert "Limits that bite" not in plain
    assert "kg/m3" in plain


def test_the_table_has_a_row_for_every_tank_also_an_empty_one(demo_season):
    tables = one_tank()
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    season = run_season(build(tables))
    rows = tank_rows(season, season.findings, "metric")
    assert [(row["tank"], row["fish"]) for row in rows] == [("one", "fish"), ("two", "none")]
    assert rows[1]["density peak"] == "-"
    lines = text_table(rows).splitlines()
    assert [line.split()[0] for line in lines if line.startswith(("one ", "two "))] == ["one", "two"]
    assert [row["tank"] for row in tank_rows(demo_season, demo_season.findings, "us")] == list(demo_season.layout.tanks)


def test_sodium_that_crops_resent_is_told_where_beds_grow():
    def salty(sodium: str, beds: bool = True) -> list[str]:
        tables = one_tank(days=30)
        tables["loops"]["main"]["source_water"] = {"sodium": sodium}
        if not beds:
            tables["beds"] = {}
        season = run_season(build(tables))
        return [words for words in cautions(season) if words.startswith("Sodium")]

    assert salty("10 mg/L") == []
    (words,) = salty("60 mg/L")
    first = day_words(START)
    assert words.startswith(f"Sodium of loop main passes 50 mg/L on {first} and reaches ")
    assert salty("60 mg/L", beds=False) == []
    # 49 mg/L passes 50 within days, as evaporated water leaves its salt behind
    (later,) = salty("49 mg/L")
    assert f" on {first} and" not in later
