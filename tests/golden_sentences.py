"""What keepers are told, word by word: one sentence of each kind, from the input that brings it about.

Other tests assert where a fault stands and the number or name that it carries; how it is worded is compared here alone.
Run ``python tests/golden_sentences.py`` to write ``golden/sentences.csv`` anew, only when words are meant to change;
then the difference is read line by line.
"""

from __future__ import annotations

import contextlib
import copy
import csv
import datetime as dt
import html
import io
import json
import os
import re
import sys
import tempfile
import tomllib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from site_faults import DEMO, GONE, STARTER, WATER, changed
from small_sites import START, build, one_tank

from stocksim.errors import StocksimError
from stocksim.site.examples import FOLDER, example_text

SENTENCES = Path(__file__).parent / "golden" / "sentences.csv"
LIBRARY = FOLDER.parents[2] / "species_params"
DAY = dt.date(2027, 1, 10)

Case = Callable[[Path], Iterable[str]]  # given an empty folder, what is said


def faults(call: Callable[..., Any], *arguments: Any, **named: Any) -> list[str]:
    """Sentences with which a call refuses."""
    try:
        call(*arguments, **named)
    except StocksimError as error:
        return [str(fault) for fault in error.faults]
    raise AssertionError("nothing was refused")


# --- what a case is made of


def site_file(data: bytes | str | None) -> Case:
    """A site file of these bytes, as ``check`` reads it; ``None`` for none, ``"folder"`` for a folder in its place."""

    def said(folder: Path) -> list[str]:
        from stocksim.site.reading import load_site

        path = folder / "house.toml"
        if data == "folder":
            path.mkdir()
        elif data is not None:
            path.write_bytes(data if isinstance(data, bytes) else data.encode())
        return [line.replace(str(folder), "FOLDER") for line in faults(load_site, path)]

    return said


def opened(make: Callable[[Path], object]) -> Case:
    """A site file as the pages open it."""

    def said(folder: Path) -> list[str]:
        from stocksim.site.saving import read_text

        make(folder / "house.toml")
        return faults(read_text, folder / "house.toml")

    return said


def log(text: str | bytes | None) -> Case:
    """A temperature log of this text; ``None`` for none, ``"folder"`` for a folder in its place."""

    def said(folder: Path) -> list[str]:
        from stocksim.site.logs import read_temperature_log

        if text == "folder":
            (folder / "log.csv").mkdir()
        elif text is not None:
            (folder / "log.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
        return faults(read_temperature_log, folder / "log.csv")

    return said


def weather(text: str, days: int = 5) -> Case:
    """A weather file of this text."""

    def said(folder: Path) -> list[str]:
        from stocksim.site.logs import read_weather_file

        (folder / "weather.csv").write_text(text, encoding="utf-8")
        return faults(read_weather_file, folder / "weather.csv", dt.date(2026, 11, 1), days)

    return said


def site(tables: dict, **changes: Any) -> Case:
    """Tables of a site that is refused, when it is read or when its water is worked out."""

    def said(folder: Path) -> list[str]:
        from stocksim.heat.temperatures import water_c
        from stocksim.site.reading import site_from_tables

        return faults(lambda: water_c(site_from_tables(changed(tables, changes), folder, "site.toml")))

    return said


def starter(dotted: str, value: Any) -> Case:
    """The starter site with one thing changed."""
    return site(STARTER, **{dotted: value})


def notes(tables: dict, begins: str) -> Case:
    """Notes of a site that begin with these words."""

    def said(folder: Path) -> list[str]:
        from stocksim.heat.notes import site_notes
        from stocksim.site.reading import site_from_tables

        site = site_from_tables(copy.deepcopy(tables), folder)
        return [note for note in site_notes(site) if note.startswith(begins)]

    return said


def entry(kind: str, name: str, old: str, new: str) -> Case:
    """A file of the library with one thing changed."""

    def said(folder: Path) -> list[str]:
        from stocksim.library.crops import CROP_RULES
        from stocksim.library.feeds import FEED_RULES
        from stocksim.library.sources import read_entry
        from stocksim.library.species import SPECIES_RULES

        text = (LIBRARY / kind / f"{name}.toml").read_text(encoding="utf-8")
        assert old in text, old
        (folder / f"{name}.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
        rules = {"fish": SPECIES_RULES, "feeds": FEED_RULES, "crops": CROP_RULES}[kind]
        return faults(read_entry, folder / f"{name}.toml", rules)

    return said


def ran(folder: Path, *arguments: str) -> tuple[str, str]:
    """Standard output and standard error of a command in a folder that holds the starter site."""
    from stocksim.faces import cli

    (folder / "house.toml").write_text(example_text("starter"), encoding="utf-8")
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(folder),
        mock.patch.object(sys, "argv", ["stocksim", *arguments]),
        mock.patch.dict(os.environ, COLUMNS="100"),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        contextlib.suppress(SystemExit),
    ):
        cli.main()
    return out.getvalue(), err.getvalue()


def terminal(*arguments: str) -> Case:
    """What a command tells on standard error."""
    return lambda folder: ran(folder, *arguments)[1].splitlines()


# --- the cases

HEAD = "date,temperature_c\n"


def logged(*offsets: int, days: int) -> Case:
    """A season of some days whose log has readings on some days of it."""

    def said(_: Path) -> list[str]:
        from stocksim.climate.temperature import logged_temperature

        return faults(logged_temperature, START, days, [START + dt.timedelta(days=n) for n in offsets],
                      [10.0] * len(offsets))  # fmt: skip

    return said


FILES: dict[str, Case] = {
    "site file: = twice": site_file(b"a = = 3\n"),
    "site file: empty": site_file(b""),
    "site file: not UTF-8": site_file("[site]\nname = 'K\u00e4the'\n".encode("latin-1")),
    "site file: nested": site_file(b"a = " + b"[" * 9000),
    "site file: digits": site_file(b"a = " + b"9" * 9000),
    "site file: table twice": site_file(b"[site]\nname = 'a'\n[site]\n"),
    "site file: unforeseen": site_file(example_text("starter").replace("count = 60", "count = 60 )")),
    "site file: missing": site_file(None),
    "site file: folder": site_file("folder"),
    "opened: missing": opened(lambda path: None),
    "opened: folder": opened(lambda path: path.mkdir()),
    "opened: zero bytes": opened(lambda path: path.write_bytes(b"a\0b")),
    "opened: not UTF-8": opened(lambda path: path.write_bytes("\u00e4".encode("latin-1"))),
    "opened: UTF-16": opened(lambda path: path.write_bytes("a".encode("utf-16"))),
    "opened: too large": opened(lambda path: path.write_bytes(b" " * 5_000_001)),
    "log: empty": log(""),
    "log: no reading": log(HEAD),
    "log: not UTF-8": log((HEAD + "2026-10-01,17\u00b0\n").encode("latin-1")),
    "log: no date column": log("day,temperature_c\n2026-10-01,17\n"),
    "log: two temperatures": log("date,temperature_c,temperature_f\n2026-10-01,17,62.6\n"),
    "log: no header": log("2026-10-01,17\n2026-10-02,17\n"),
    "log: decimal comma": log(HEAD + "2026-10-01,16,5\n"),
    "log: a cell short": log("date,temperature_c,note\n2026-10-01,17\n"),
    "log: point and comma": log("date;temperature_c\n2026-10-01;16,5\n2026-10-02;16.5\n"),
    "log: date and number": log(HEAD + "yesterday,cold\n"),
    "log: too warm": log(HEAD + "2026-10-01,64\n"),
    "log: too cold in degF": log("date,temperature_f\n2026-10-01,17\n"),
    "log: unsplit": log(HEAD + 'date,"17\n2026-10-02,17\n'),
    "log: many": log(HEAD + "x,17\n" * 8),
    "log: missing": log(None),
    "log: folder": log("folder"),
    "log: gap": logged(0, 5, days=6),
    "log: begins late, ends early": logged(2, 3, days=6),
    "weather: no day": weather("date,low_c,high_c\n"),
    "weather: no date": weather("day,low_c,high_c\n2026-11-01,1,2\n"),
    "weather: no column": weather("date,low_c\n2026-11-01,1\n"),
    "weather: low above high": weather("date,low_c,high_c\n2026-11-01,3,2\n"),
    "weather: gap": weather("date,low_c,high_c\n2026-11-01,0,9\n2026-11-06,0,9\n"),
    "weather: a day twice": weather("date,low_c,high_c\n" + "".join(f"2026-11-0{n},0,9\n" for n in (1, 2, 2, 3, 4, 5))),
    "weather: begins late": weather("date,low_c,high_c\n2026-11-03,0,9\n2026-11-04,0,9\n2026-11-05,0,9\n"),
    "weather: ends early": weather("date,low_c,high_c\n2026-11-01,0,9\n2026-11-02,0,9\n2026-11-03,0,9\n"),
    "weather: decimal comma": weather("date,low_c,high_c\n2026-11-01,-1,5,3,5\n"),
    "weather: in UTC": weather("time,temperature_c\n2026-11-01T00:00Z,3\n2026-11-02T00:00Z,3\n"),
    "weather: a zone missing": weather("time,temperature_c\n2026-11-01T00:00-08:00,3\n2026-11-01T01:00,3\n"),
    "weather: zones": weather("time,temperature_c\n2026-11-01T00:00-08:00,3\n2026-11-01T01:00-05:00,3\n"
                              "2026-11-01T02:00Z,3\n"),
}  # fmt: skip


def _cycling(grams: int = 1, last: int = 9, **more: Any) -> dict:
    dosed = {"from": START, "to": START + dt.timedelta(days=last), "ammonia_nitrogen": f"{grams} g/day"}
    return one_tank(fishless_cycling=dosed, biofilter_start="new", **more)


def _weighed(grams: int) -> dict:
    return {"kind": "fixed", "per_day": f"{grams} g"}


_FISH = one_tank()["cohorts"]["fish"]
NO_START = {"loops.main.biofilter_started": GONE} if "biofilter_started" in STARTER["loops"]["main"] else {}
_POT = {"loop": "main", "kind": "swirl"}
_HARVEST = {"kind": "harvest", "date": DAY, "cohort": "perch"}
_KALE = {"crop": "kale", "from": STARTER["season"]["start"], "to": STARTER["season"]["end"]}
_WALL = {"loop": "main", "kind": "tower", "area": "1 m2", "flow": "50 L/h", "planted_face": "6 m2"}

SITES: dict[str, Case] = {
    "site: a word unknown": starter("tanks.first.loop", "mian"),
    "site: a number out of bounds": starter("cohorts.perch.count", -1),
    "site: more fish than there are": starter("events", [_HARVEST | {"count": 61}]),
    "site: a cohort that left": starter(
        "events", [_HARVEST | {"all": True}, _HARVEST | {"date": dt.date(2027, 2, 1), "count": 1}]
    ),
    "site: no amount": starter("events", [_HARVEST]),
    "site: two amounts": starter("events", [_HARVEST | {"count": 3, "share": 0.5}]),
    "site: outside the season": starter("events", [_HARVEST | {"date": dt.date(2027, 5, 1), "all": True}]),
    "site: grade by nothing": starter("events", [_HARVEST | {"kind": "grade", "into": "big", "tank": "first"}]),
    "site: fish in a dosed loop": site(_cycling()),
    "site: two weights of feed": site(
        one_tank() | {"cohorts": {"fish": _FISH | {"ration": _weighed(40)}, "mates": _FISH | {"ration": _weighed(30)}}}
    ),
    "site: evaporation": site(one_tank(evaporation="241 L/day")),
    "site: water change": site(one_tank(water_changes=[{"date": START, "volume": "2161 L"}])),
    "site: a test twice": site(
        one_tank(water_tests=[{"date": START, "tan": "0.5 mg/L"}, {"date": START, "tan": "0.6 mg/L"}])
    ),
    "site: sludge": site(
        one_tank() | {"settlers": dict.fromkeys(("pot", "basin"), _POT | {"drawn_off": "1300 L/day"})}
    ),
    "site: what nobody has": site(one_tank(flow_l_h=1e9)),
    "site: water of ice": site(DEMO, **{"loops.main.water_temperature.values.oct": "1.5 degC"}),
    "site: water of the heat balance": site(
        tomllib.loads(example_text("heron_lane_computed")), **{"loops.warm.heat.pump": "9 kW"}
    ),
    "site: a bed too full": starter("beds.gravel.plantings", [_KALE | {"area": "2 m2"}] * 2),
    "site: a face too full": starter("beds.wall", _WALL | {"plantings": [_KALE | {"area": "7 m2"}]}),
    "site: months missing": starter("site.air_temperature", {"oct": "10 degC"}),
    "site: no months of water": starter(WATER, {"kind": "monthly", "values": {"oct": "15 degC"}}),
    "site: a log out of its folder": starter(WATER, {"kind": "log", "file": "../log.csv"}),
    "note: own ph": notes(changed(STARTER, {"loops.main.ph": 7.4}), "loops.main.ph"),
    "note: film of later": notes(
        changed(STARTER, {"beds.gravel.biofilter_started": dt.date(2026, 11, 1)}), "loops.main: biofilter"
    ),
    "note: film not given": notes(changed(STARTER, NO_START), "loops.main.biofilter_started"),
    "note: no film": notes(changed(STARTER, {"beds": GONE}), "loops.main has no biofilter"),
    "note: media": notes(one_tank(days=3), "beds.gravel."),
    "note: light": notes(STARTER, "site.cloud_share"),
    "note: a raft without air": notes(
        changed(STARTER, {"beds.raft": {"loop": "main", "kind": "raft", "area": "3 m2", "plantings": [_KALE]}}),
        "beds.raft",
    ),
    "note: a planting too short": notes(
        changed(STARTER, {"beds.gravel.plantings": [_KALE | {"to": _KALE["from"] + dt.timedelta(days=9)}]}),
        "beds.gravel.plantings",
    ),
    "note: unrated crops": notes(
        changed(STARTER, {"beds.gravel.plantings.0.crop": "bean", "cohorts.perch.ration": {"kind": "beds"}}),
        "cohorts.perch.ration",
    ),
    "note: dosing that stalls": notes(_cycling(9, 59, days=60, count=0), "loops.main.fishless_cycling"),
}  # fmt: skip


def _stocking(stocking: dict, **more: Any) -> Case:
    offer = {"species": "nile_tilapia", "mean_weight": "60 g", "price": 2, "feed": "tilapia_34", "at_most": 30}

    def said(_: Path) -> list[str]:
        from stocksim.answers.stock.decide import plan_stocking

        tables = one_tank(**more) | {"cohorts": {}, "stocking": {"candidates": {"offer": offer}} | stocking}
        return faults(lambda: plan_stocking(build(tables)))

    return said


def _sized_up(asked: dict) -> Case:
    def said(_: Path) -> list[str]:
        from stocksim import run_seasons

        return faults(run_seasons, build(one_tank(days=5)), **asked)

    return said


_BY = START + dt.timedelta(days=20)
PLANS: dict[str, Case] = {
    "stocking: budget": _stocking({"budget": 0}),
    "stocking: species": _stocking({"species_at_least": 2}),
    "stocking: cold water": _stocking({}, temperature_c=9.0, days=20),
    "stocking: cost first": _stocking({"goal": "cost"}, days=20),
    "stocking: a wish too large": _stocking(
        {"harvest_wishes": [{"species": "nile_tilapia", "weight": "90 kg", "by": _BY}]}, days=30
    ),
    "stocking: a market size too large": _stocking(
        {"harvest_wishes": [{"species": "nile_tilapia", "weight": "1 kg", "by": _BY, "each_at_least": "900 g"}]},
        days=30,
    ),
    "stocking: a margin of all": _stocking({"margin": 1}),
    "seasons: keep": _sized_up({"scenarios": [{}], "keep": "all"}),
    "seasons: column": _sized_up({"scenarios": [{}], "keep": ["cohorts.length"]}),
    "seasons: no array": _sized_up({"arrays": {"fish": [[1.0]]}}),
    "seasons: first axis": _sized_up({"scenarios": [{}, {}], "arrays": {"count": [[1.0]]}}),
    "seasons: shape": _sized_up({"arrays": {"count": [[1.0, 2.0]]}}),
    "seasons: other days": _sized_up(
        {"scenarios": [{}, {"season.end": START + dt.timedelta(days=3)}], "keep": ["cohorts.count"]}
    ),
}


def _dragon(_: Path) -> list[str]:
    from stocksim.library.species import load_species

    return faults(load_species, "dragon")


ENTRIES: dict[str, Case] = {
    "entry: unit": entry("fish", "bluegill", 'unit = "degC"', 'unit = "degF"'),
    "entry: a word unknown": entry("fish", "bluegill", 'body_form = "deep"', 'body_form = "round"'),
    "entry: no grade": entry("fish", "bluegill", 'company_evidence = "weak"', 'company_evidence = "best"'),
    "entry: use": entry("fish", "bluegill", 'use = "company"', 'use = "guess"'),
    "entry: never with": entry(
        "fish", "bluegill", 'temper = "territorial"', 'temper = "territorial"\nnever_with = "goldfish"'
    ),
    "entry: rests on memory": entry("fish", "bluegill", 'read = "secondary"', 'read = "from memory"'),
    "entry: an idle source": entry(
        "fish", "bluegill", "[values.", '[sources.idle]\ncite = "Nobody 1900, a paper"\nread = "full"\n\n[values.'
    ),
    "entry: no source": entry("fish", "bluegill", 'source = "hicks2009"\n', ""),
    "entry: no number": entry("feeds", "cool_water_40", "value = 0.011", "value = inf"),
    "entry: a percentage": entry("feeds", "cool_water_40", "value = 0.4\n", "value = 40\n"),
    "entry: kind": entry("feeds", "duckweed", 'kind = "natural"', 'kind = "scraps"'),
    "entry: not in the library": _dragon,
}


def _starving(folder: Path) -> list[str]:
    asked = ("grow", "nile_tilapia", "--from", "28 g", "--at", "30 degC", "--ration", "0", "--days", "70", "--json")
    return list(json.loads(ran(folder, *asked)[0])["notes"])


def _full_disk(folder: Path) -> list[str]:
    from stocksim.site import saving

    path = folder / "house.toml"
    with mock.patch.object(saving.os, "replace", side_effect=OSError(28, "No space left on device")):
        return [*faults(saving.save_text, path, "a = 2\n"),
                *faults(saving.write_draft, path, "house.toml", "a = 2\n", "", None)]  # fmt: skip


def _changed_meanwhile(folder: Path) -> list[str]:
    from stocksim.site.saving import read_text, save_new, save_text

    path = folder / "house.toml"
    path.write_text("a = 1\n", encoding="utf-8")
    seen = read_text(path).version
    path.write_text("theirs = 1\n", encoding="utf-8")
    said = [*faults(save_text, path, "a = 2\n", seen), *faults(save_new, path, "a = 2\n")]
    path.unlink()
    return [*said, *faults(save_text, path, "a = 2\n", seen)]


TERMINAL: dict[str, Case] = {
    "terminal: new": terminal("new", "a.toml"),
    "terminal: new over another": terminal("new", "house.toml"),
    "terminal: check of nothing": terminal("check", "nope.toml"),
    "terminal: a folder": terminal("check", "."),
    "terminal: out is a file": terminal("season", "house.toml", "--out", "house.toml"),
    "terminal: a full disk": _full_disk,
    "terminal: changed meanwhile": _changed_meanwhile,
    "terminal: no unit": terminal("grow", "bluegill", "--from", "28", "--at", "24 degC", "--days", "9"),
    "terminal: another unit": terminal("grow", "bluegill", "--from", "28 L", "--at", "24 degC", "--days", "9"),
    "terminal: no end": terminal("grow", "bluegill", "--from", "28 g", "--at", "24 degC"),
    "terminal: never so heavy": terminal("grow", "bluegill", "--from", "28 g", "--at", "5 degC", "--to", "90 g"),
    "terminal: lighter": terminal("grow", "bluegill", "--from", "28 g", "--at", "24 degC", "--to", "9 g"),
    "terminal: starving": _starving,
    "terminal: power cut": terminal(
        "powercut", "house.toml", "--hour", "25", "--battery", "0 W", "--head", "500 m", "--cylinder", "10 L"
    ),
    "terminal: power cut, units": terminal("powercut", "house.toml", "--room", "5", "--cylinder", "10 kg"),
    "terminal: power cut of another year": terminal("powercut", "house.toml", "--on", "2030-01-01"),
    "terminal: no date": terminal("ramp", "house.toml", "--from", "soon"),
    "terminal: date outside": terminal("ramp", "house.toml", "--from", "2026-09-30"),
    "terminal: ph": terminal("water", "--at", "18 degC", "--ph", "nan"),
    "terminal: token": terminal("open", "house.toml", "--network", "--token", "short"),
    "terminal: token without network": terminal("open", "house.toml", "--token", "long-enough"),
}


# --- answers: what is said of a season, and of files that are read with a doubt


def season(made: Callable[[Any], str | Iterable[str]], tables: dict) -> Case:
    """What a function says of the season of these tables; the figures in it are the season's own."""

    def said(_: Path) -> Iterable[str]:
        from stocksim import run_season

        found = made(run_season(build(tables)))
        return [found] if isinstance(found, str) else found

    return said


def _verdicts(run: Any) -> list[str]:
    from stocksim.faces.water_words import water_verdict
    from stocksim.faces.words import verdict

    return [verdict(run, run.findings), water_verdict(run)]


def _outage(run: Any) -> str:
    from stocksim.answers.powercut.answer import headline
    from stocksim.answers.powercut.decide import power_cut

    return headline(power_cut(run))


def _company(run: Any) -> str:
    from stocksim.answers.tankmates.brief import headline
    from stocksim.answers.tankmates.decide import judge_company

    return headline(judge_company(run))[0]


def _events(run: Any) -> list[str]:
    from stocksim.faces.fates import event_lines

    return event_lines(run, "metric", 4)


def _weather_note(folder: Path, zone: str, offset: float | None) -> list[str]:
    from stocksim.site.logs import read_weather_file

    rows = [f"2026-11-0{1 + hour // 24}T{hour % 24:02d}:00{zone},5" for hour in range(60)]
    (folder / "weather.csv").write_text("\n".join(["time,temperature_c", *rows]), encoding="utf-8")
    return list(read_weather_file(folder / "weather.csv", dt.date(2026, 11, 1), 2, offset).notes)


def _doubts(_: Path) -> list[str]:
    """Questions to logs of water whose numbers can hardly be meant."""
    import numpy as np

    from stocksim.site.logs import water_questions

    logs: list[tuple[list[float], float, int, str]] = [
        ([38.0, 39.5, 36.0], 0.0, 1, "degC"), ([-1.5, -1.0], 0.0, 1, "degF"), ([15.0, 14.0], 12.0, 1, "degC"),
        ([15.0, 15.0, 21.0, 21.0], 0.0, 1, "degC"), ([15.0, *[16.25] * 30], 0.0, 24, "degC"),
    ]  # fmt: skip
    return [
        question
        for mean, spread, count, unit in logs
        for question in water_questions(
            700_000 + np.arange(len(mean)), np.array(mean), np.full(len(mean), spread), np.full(len(mean), count), unit
        )
    ]


def _understood(folder: Path) -> list[str]:
    from stocksim.faces.understood import understood
    from stocksim.site.reading import load_site

    heat = understood(load_site(FOLDER / "heron_lane_computed.toml"))["heat"]
    starter_site = understood(load_site(FOLDER / "starter.toml"))
    pot = _POT | {"share_of_flow": 0.5, "drawn_off": "20 L/day"}
    settled = understood(build(one_tank() | {"settlers": {"pot": pot}}))["settlers"]
    return [*heat, *starter_site["cohorts"], *settled]


_BASS = _FISH | {"species": "largemouth_bass", "feed": "bass_46", "mean_weight": "300 g", "count": 5}
_BLUEGILL = _FISH | {"species": "bluegill", "feed": "sunfish_44", "mean_weight": "10 g", "count": 20}
_PERCH = {"species": "yellow_perch", "feed": "perch_45", "count": 50, "mean_weight_g": 20.0}
_UNFED = one_tank(temperature_c=14.0, days=150, **_PERCH)
_UNFED["cohorts"]["fish"]["ration"] = {"kind": "unfed"}
_HUNGRY = changed(_UNFED, {"season.end": START + dt.timedelta(days=51)})
ANSWERS: dict[str, Case] = {
    "verdict: hunger": season(_verdicts, _UNFED),
    "verdict: a few deaths": season(_verdicts, _HUNGRY),
    "verdict: deaths of the water": season(_verdicts, one_tank(ph=9.0, count=300, days=20)),
    "verdict: without fish": season(_verdicts, one_tank(count=0, days=5)),
    "power cut: headline": season(_outage, one_tank(days=6)),
    "power cut: without fish": season(_outage, one_tank(days=6, count=0)),
    "company: headline": season(_company, one_tank(days=6) | {"cohorts": {"bass": _BASS, "bluegill": _BLUEGILL}}),
    "company: without fish": season(_company, one_tank(days=6, count=0)),
    "events: lines": season(_events, tomllib.loads(example_text("heron_lane_year"))),
    "weather note: zone": lambda folder: _weather_note(folder, "-08:00", None),
    "weather note: UTC": lambda folder: _weather_note(folder, "Z", -8.0),
    "questions: water": _doubts,
    "understood: heat, fish and settlers": _understood,
}


def _bar_of(at: Any) -> list[str]:
    """What a page says of the file, and whether there is anything to mend; times are left out."""
    bodies = [element.proto.body for element in at.get("html")]
    shown = [
        body for body in bodies
        if 'class="ss-told"' in body or ('class="ss-words"' in body and "aved" in body) or "To fix" in body
    ]  # fmt: skip
    plain = (html.unescape(re.sub(r"<[^>]+>", " ", body).replace("\u2717", "")) for body in shown)
    return [re.sub(r"a draft of [^.]*", "a draft of TIME", " ".join(text.strip("\u2717 ").split())) for text in plain]


def _saving_bar(folder: Path) -> Iterator[str]:
    """The bar about the file: saved, kept as a draft, a draft found, changed on disk, gone."""
    import tomlkit
    from streamlit.testing.v1 import AppTest

    from stocksim.faces.registry import script_of

    house = folder / "site" / "house.toml"
    house.parent.mkdir()
    text = tomlkit.dumps(one_tank(count=10, days=5))
    house.write_text(text, encoding="utf-8")

    def tab() -> Any:
        at = AppTest.from_file(FOLDER.parents[2] / "app.py", default_timeout=900).run()
        return at.switch_page(str(script_of("edit"))).run()

    def typed(at: Any, weight: str) -> None:
        next(f for f in at.text_input if f.key.endswith(" cohorts.fish.mean_weight")).set_value(weight).run()

    env = {"STOCKSIM_SITE": str(house), "STOCKSIM_FOLDER": str(house.parent), "STOCKSIM_STATE": str(folder / "state")}
    with mock.patch.dict(os.environ, env):
        at = tab()
        yield from _bar_of(at)
        typed(at, "77 g")
        yield from _bar_of(at)
        yield from _bar_of(tab())
        at.button(key="save").click().run()
        yield from _bar_of(at)
        typed(at, "heavy")
        yield from _bar_of(at)
        house.write_text(text.replace("count = 10", "count = 11"), encoding="utf-8")
        at.run()
        yield from _bar_of(at)
        house.write_bytes(b"\xff\xfea\x00")
        at.run()
        yield from _bar_of(at)
        house.unlink()
        at.run()
        yield from _bar_of(at)
        del os.environ["STOCKSIM_SITE"]
        with mock.patch("stocksim.faces.screen.example_text", return_value=text):
            at = tab()
            yield from _bar_of(at)


def _uploads(folder: Path) -> Iterator[str]:
    """What the pages say of uploads that are no site, and of a visitor without a token."""
    from streamlit.testing.v1 import AppTest

    path = folder / "house.toml"
    path.write_text(example_text("starter"), encoding="utf-8")
    odd = (("log.csv", b"date,temperature_c\n"), ("a.toml", b"\xff\xfea\x00"), ("a.toml", b"#" * 5_000_001),
           ("n" * 285 + ".toml", b""))  # fmt: skip
    env = {"STOCKSIM_SITE": str(path), "STOCKSIM_STATE": str(folder / "state")}
    with mock.patch.dict(os.environ, env):
        at = AppTest.from_file(FOLDER.parents[2] / "app.py", default_timeout=900).run()
        for name, data in odd:
            at.file_uploader(key="upload").set_value([(name, data, "text/plain")]).run()
            shown = " ".join(element.proto.body for element in at.get("html"))
            yield from (html.unescape(text) for text in re.findall(r'ss-faults"><li>(.*?)</li>', shown))
        with mock.patch.dict(os.environ, STOCKSIM_TOKEN="by-the-tank"):
            at = AppTest.from_file(FOLDER.parents[2] / "app.py", default_timeout=900).run()
            at.text_input(key="token").set_value("by-the-tan").run()
            shown = " ".join(element.proto.body for element in at.get("html"))
            yield from re.findall(r"<h1>(.*?)</h1>", shown)
            yield from re.findall(r"[A-Z][^<>]* not the token[^<>]*", shown)


PAGES: dict[str, Case] = {"pages: the bar about the file": _saving_bar, "pages: uploads and token": _uploads}

CASES: dict[str, Case] = FILES | SITES | PLANS | ENTRIES | TERMINAL | ANSWERS | PAGES


def told(case: str) -> list[str]:
    """What a case says."""
    with tempfile.TemporaryDirectory() as folder:
        # of a list of what is known, three stand for all
        return [re.sub(r"(known are (?:[\w.]+, ){3})[\w., ]+", r"\1...", line) for line in CASES[case](Path(folder))]


def read_sentences() -> dict[str, list[str]]:
    """The sentences written down, by case."""
    found: dict[str, list[str]] = {}
    with SENTENCES.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found.setdefault(row["case"], []).append(row["sentence"])
    return found


def main() -> None:
    """Write the sentences anew."""
    found = [(case, sentence) for case in CASES for sentence in told(case)]  # all of them, before any is written
    with SENTENCES.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(("case", "sentence"))
        rows.writerows(found)


if __name__ == "__main__":
    main()
