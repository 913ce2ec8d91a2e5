"""An answer speaks US units or metric, and never both; one date style, one spelling: every command's text is read.

What stays metric for all is what the field measures so: mg/L, mol of light, kWh and W, grams of a nutrient or of a salt
for plants, and the values of the library as their files have them.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest
from calm_sites import calm_text
from command_line import Ran, runner

from stocksim.answers.forecast.answer import forecast_answer
from stocksim.answers.forecast.decide import forecast
from stocksim.answers.records.answer import records_answer
from stocksim.answers.today.answer import today_answer
from stocksim.answers.today.decide import the_day
from stocksim.book.checks import doubts
from stocksim.book.store import Record
from stocksim.engine.measured import with_records
from stocksim.engine.running import run_season
from stocksim.faces.registry import COMMANDS
from stocksim.faces.text import answer_text
from stocksim.site.reading import site_from_text
from stocksim.units import in_units

# every command that answers in words, as it is asked here; {site} has no heat, {warm} computes it
ASKED = {
    "check": ("{site}", "--all"), "season": ("{site}", "--all"), "beds": ("{site}", "--all"),
    "powercut": ("{site}", "--all", "--battery", "20 W"), "ramp": ("{site}", "--all"),
    "tankmates": ("{site}", "--all"), "stock": ("{site}", "--all"),
    "cold": ("{warm}", "--years", "2", "--all"), "compare": ("{site}", "{warm}"),
    "outlook": ("{site}", "-n", "4"), "forecast": ("{site}", "-n", "50"), "today": ("{site}", "--on", "2026-12-01"),
    "grow": ("yellow_perch", "--from", "{fish}", "--at", "{water}", "--days", "40"),
    "water": ("--at", "{water}", "--ph", "7.2", "--tan", "1 mg/L", "--elevation", "{height}"),
    "fish": ("{us}",),
}  # fmt: skip
# these write a file, begin pages or answer by numbers of runs
SILENT = {"new", "open", "report", "sweep"}
TYPED = {
    "us": {"fish": "1 oz", "water": "64 degF", "height": "850 ft", "us": "--us"},
    "metric": {"fish": "28 g", "water": "18 degC", "height": "260 m", "us": "--fish"},
}
_NUTRIENT = r"(?: a day)? of (?:it|nitrogen|ammonia nitrogen|phosphorus|potassium|iron)|/day of ammonia nitrogen"
FOREIGN = {
    "us": re.compile(
        rf"\d ?(?:degC|kg|m|cm|mm|L|m2|m3|L/h|L/day|kg/m3|W/K|g(?!{_NUTRIENT}))(?![\w/])"
        r"|\b(?:kilos?|kilograms?|grams? of (?:feed|fish)|lit(?:er|re)s?|met(?:er|re)s?)\b|\bdegC\b|\bkg/m3\b"
    ),
    "metric": re.compile(
        r"\d ?(?:degF|lbs?|oz|gal|ft2|ft|in|gal/h|lb/gal|Btu/h)(?![\w/])"
        r"|\b(?:pounds?|gallons?|ounces?|feet|inches)\b|\bdegF\b|\blb/gal\b"
    ),
}
# words after a number that are no unit
_HARMLESS = re.compile(r"\d in (?!\d)|\d in\b(?= (?:the|a|its|all|this|that|four|each|loop|tank)\b)")
_BRITISH = re.compile(
    r"\b(?:\w*(?:colour|favour|labour|behaviour|mould|fibre|litre|metre|centre|grey|programme|aluminium|sulph)\w*"
    r"|\w+(?:isation|ised|ising))\b",
    re.IGNORECASE,
)
_NO_BRITISH = {"advised", "raised", "supervised", "revised", "raising", "rising", "promised", "exercised", "surprised"}
_DATE = re.compile(r"\b20\d\d-\d\d-\d\d\b|\b\d{1,2}/\d{1,2}/\d{2,4}\b|\b[A-Z][a-z]{2} \d{1,2}, 20\d\d\b")


def site_text(example: str, units: str) -> str:
    text = calm_text(example)
    if units == "us":
        return text
    text = text.replace('units = "us"', 'units = "metric"')
    return text.replace('price_per = "gal"', 'price_per = "L"')  # fuel is told in the measure it is paid by


def foreign(text: str, units: str) -> list[str]:
    """Quantities of the other system, each with what stands around it."""
    text = _HARMLESS.sub("", text)
    return [text[max(one.start() - 50, 0) : one.end() + 20] for one in FOREIGN[units].finditer(text)]


def british(text: str) -> list[str]:
    return [word for word in _BRITISH.findall(text) if word.lower() not in _NO_BRITISH]


@pytest.fixture
def ask(monkeypatch, capsys, tmp_path):
    monkeypatch.setenv("COLUMNS", "100000")  # no line is broken
    return runner(monkeypatch, capsys, tmp_path)


def told(ask, folder, command: str, units: str) -> str:
    """What a command says of a site in a system's units."""
    files = {}
    for key, example in (("site", "heron_lane"), ("warm", "heron_lane_computed")):
        files[key] = f"{example}.toml"
        (folder / files[key]).write_text(site_text(example, units), encoding="utf-8")
    ran: Ran = ask(command, *(word.format(**files, **TYPED[units]) for word in ASKED[command]))
    assert ran.code == 0, ran.err
    return ran.out


def book() -> list[Record]:
    """Weighings that no feed can make and that are far from the season, feed, nitrite over its limit, base."""

    def record(kind: str, day: int, of: str, **held: float) -> Record:
        return Record(kind, dt.date(2026, 11, day), of, held, number=day)

    fed = [record("feed", day, "cohorts.tilapia", feed_g=20.0) for day in range(3, 18)]
    weighed = [
        record("weigh", day, "cohorts.tilapia", count=5.0, total_g=grams) for day, grams in ((2, 800), (18, 4e4))
    ]
    return [
        *fed,
        *weighed,
        record("test", 29, "loops.warm", nitrite_n_mg_l=9.0),
        record("base", 28, "loops.warm", weight_g=90.0),
    ]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_day_a_forecast_and_records_speak_one_system_whatever_was_recorded(tmp_path, units):
    site, records = site_from_text(site_text("heron_lane", units), tmp_path), book()
    measured = with_records(site, records)
    day = the_day(run_season(measured.site), records, dt.date(2026, 12, 1))
    found = forecast(site, records, samples=20)
    asked_back = doubts(records[-3], site, records[:-3])
    assert day.loops[-1].plain_salt is not None
    assert found.left_out
    assert asked_back
    answers = (today_answer(day, site, scoop_g=20.0), forecast_answer(found), records_answer(records, site))
    text = "\n".join([*map(answer_text, answers), *asked_back])
    assert foreign(re.sub(r"\d (?=mg/L)", "", text), units) == []
    assert _DATE.findall(text) == []
    # heads of tables hold units without a number before them
    other = {"us": "g|kg|L", "metric": "oz|lb|gal"}[units]
    assert re.findall(rf"in (?:{other})\n|, (?:{other})  ", text) == []


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("command", ASKED)
def test_an_answer_speaks_one_system_one_date_style_one_spelling(ask, tmp_path, command, units):
    text = told(ask, tmp_path, command, units)
    # grams of nutrients and of their salts, in tables
    read = re.sub(r"\d g\b", "", text) if command == "beds" else text
    # what a keeper typed is compared as it was typed
    if command == "compare":
        read = "\n".join(line for line in read.splitlines() if not re.match(r"\s*\S?\w+\.\w", line))
    assert foreign(read, units) == []
    # a site file's lines to copy hold dates as files do
    said = "\n".join(line for line in text.splitlines() if "=" not in line)
    assert _DATE.findall(said) == []
    assert british(text) == []


def test_every_command_is_asked():
    assert set(ASKED) | SILENT == set(COMMANDS)


@pytest.mark.parametrize("species", ["yellow_perch", "nile_tilapia", "brown_bullhead"])
def test_a_fish_is_told_in_us_units_but_for_the_values_of_its_file(ask, species):
    for layer in ((), ("--cautions",), ("--assumptions",)):
        assert foreign(ask("fish", species, "--us", *layer).out, "us") == []
    assert "degC" in ask("fish", species).out


def test_the_patterns_find_what_is_foreign_and_spare_what_is_not():
    for text in (
        "at 12 degC",
        "3.5 kg of feed",
        "20 L a day",
        "a kilo of fish",
        "50 mm of foam",
        "872 W/K",
        "4 g a day",
    ):
        assert foreign(text, "us"), text
    for text in ("5.8 g of nitrogen a day", "7.0 mg/L", "0.3 g/day of ammonia nitrogen", "40 kWh", "54 ft2", "pH 7.1"):
        assert not foreign(text, "us"), text
    for text in ("64.0 degF", "20 lb", "9 gal", "11.8 in", "20 ft", "5 pounds", "0.2 lb/gal"):
        assert foreign(text, "metric"), text
    for text in ("18 degC", "12 in the tank", "2 g"):
        assert not foreign(text, "metric"), text
    assert british("colours were organised at the centre") == ["colours", "organised", "centre"]
    assert in_units("6 m", "us") == "20 ft"
