"""Spoilt site files: either a site that runs, or faults in sentences; never another exception."""

from __future__ import annotations

import copy
import dataclasses
import datetime as dt
import json
import tomllib
import typing
from pathlib import Path

import numpy as np
import pytest
from conftest import QUIET
from hunting import examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_sites import START, one_tank, two_loops

from stocksim import run_season
from stocksim.answers.season.answer import season_answer
from stocksim.errors import InputError
from stocksim.faces.text import answer_text
from stocksim.faces.understood import understood
from stocksim.faces.words import summary
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.model import LoopTable
from stocksim.site.reading import Site, load_site, site_from_tables, site_from_text

EXAMPLES = examples(120)  # of each test here; raised by hand for a long run
_MOST_DAYS = 60  # longer seasons are loaded but not run: the loop over days is the same


def cut_short(example: str, days: int = 25) -> dict:
    """A demonstration site with only its first days, so that a run takes milliseconds."""
    tables = tomllib.loads(example_text(example))
    last = tables["season"]["start"] + dt.timedelta(days=days - 1)
    tables["season"]["end"] = last
    for bed in tables["beds"].values():
        for planting in bed["plantings"]:
            planting["from"], planting["to"] = min(planting["from"], last), min(planting["to"], last)
    return tables


def planted_tank() -> dict:
    tables = one_tank(days=10)
    season = tables["season"]
    tables["beds"]["gravel"]["plantings"] = [{"crop": "basil", "from": season["start"], "to": season["end"]}]
    tables["cohorts"]["fish"]["ration"] = {"kind": "appetite", "fraction": 0.85}
    return tables


def watered_tank() -> dict:
    """A site with every key of a loop's water."""
    tables = planted_tank()
    season = tables["season"]
    first, last = season["start"], season["end"]
    tables["loops"]["main"] |= {
        "alkalinity_target": "80 mg/L", "buffer": "calcium_hydroxide", "evaporation": "30 L/day",
        "biofilter_start": "new",
        "source_water": {
            "alkalinity": "35 mg/L", "nitrate_n": "0.5 mg/L", "potassium": "1 mg/L", "phosphorus": "0.1 mg/L",
            "calcium": "12 mg/L", "chloride": "20 mg/L", "sodium": "12 mg/L",
        },
        "water_tests": [
            {"date": first, "tan": "0.5 mg/L", "nitrite_n": "0.1 mg/L", "nitrate_n": "9 mg/L"},
            {"date": last, "alkalinity": "60 mg/L", "potassium": "9 mg/L", "phosphorus": "1 mg/L"},
        ],
        "water_changes": [{"date": first, "volume": "200 L"}],
        "fishless_cycling": {"from": first, "to": first + dt.timedelta(days=3), "ammonia_nitrogen": "4 g/day"},
        "feeding_ramp": [{"from": first, "share": 0.3}, {"from": last, "share": 1.0}],
    }  # fmt: skip
    tables["cohorts"]["fish"]["stocked"] = first + dt.timedelta(days=4)
    del tables["loops"]["main"]["ph"]
    tables["beds"]["tub"] = {"loop": "main", "kind": "wicking", "area": "1 m2"}
    tables["settlers"] = {
        "basin": {
            "loop": "main", "kind": "settling_basin", "share_of_flow": 0.5, "capture": 0.6, "drawn_off": "20 L/day",
            "emptied_every_days": 3, "feeds": "tub",
        },
        "pot": {"loop": "main", "kind": "swirl"},
    }  # fmt: skip
    return tables


BASES = (cut_short("heron_lane"), cut_short("heron_lane_young"), two_loops(), planted_tank(), watered_tank())

odd_text = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["", " ", "\n", "\x00", "\u202e", "0", "-1", "nan", "inf", "1e999 L", "0.05 g", "1e-300 L", "900 L"]
    ),
    st.sampled_from(["64 degF", "40 degC", "0 degC", "1e5 m3", "1e-9 m2", "20 kg", "1 kW", "10 m", "media", "raft"]),
    st.sampled_from(
        [
            "tower",
            "wicking",
            "constant",
            "monthly",
            "log",
            "unfed",
            "appetite",
            "none",
            "measured",
            "main",
            "swirl",
            "settling_basin",
            "new",
            "seeded",
            "mature",
            "potassium_hydroxide",
            "tub",
            "tub_2",
            "30 L/day",
            "0 mg/L",
        ]
    ),
    st.sampled_from(["nile_tilapia", "perch_45", "kale", "../x", "1 m3/day", "4500 m", "🐟", "ä" * 200, "us"]),
    st.builds(
        "{} {}".format,
        st.floats(allow_nan=False, allow_infinity=False) | st.integers(-5, 5000),
        st.sampled_from(
            ["L", "gal", "m3", "L/h", "m2", "ft2", "cm", "mm", "m", "g", "kg", "degC", "degF", "W", "g/h", "mg/L"]
        ),
    ),
)
odd_value = st.recursive(
    st.one_of(
        odd_text,
        st.booleans(),
        st.integers(),
        st.sampled_from([0, 1, -1, 10**7, 10**400, -(10**400), 0.85, 1.0]),
        st.floats(),
        st.dates(),
        st.dates(dt.date(2026, 9, 25), dt.date(2026, 11, 20)),
        st.datetimes(),
        st.times(),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(odd_text, inner, max_size=3),
    max_leaves=4,
)


def places(node: object, path: tuple = ()) -> list[tuple]:
    """Paths of all tables, lists and values of some tables."""
    found = [path] if path else []
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, inner in items:
        found += places(inner, (*path, key))
    return found


def at(tables: dict, path: tuple) -> object:
    for step in path:
        tables = tables[step]
    return tables


@st.composite
def spoilt_tables(draw: st.DrawFn) -> dict:
    """Tables of a sound site with one to four of its parts taken out, replaced, swapped, copied or added to."""
    tables = copy.deepcopy(draw(st.sampled_from(BASES)))
    for _ in range(draw(st.integers(1, 4))):
        every = places(tables)
        if not every:
            break
        path = draw(st.sampled_from(every))
        parent, key = at(tables, path[:-1]), path[-1]
        act = draw(st.sampled_from(["out", "odd", "odd", "odd", "other", "rename", "copy", "add"]))
        if act == "out":
            del parent[key]
        elif act == "odd":
            parent[key] = draw(odd_value)
        elif act == "other":  # a part of the file itself in the wrong place
            parent[key] = copy.deepcopy(at(tables, draw(st.sampled_from(every))))
        elif act == "rename" and isinstance(parent, dict):
            parent[draw(odd_text)] = parent.pop(key)
        elif act == "copy" and isinstance(parent, list):
            parent.append(copy.deepcopy(parent[key]))
        elif act == "copy":
            parent[f"{key}_2"] = copy.deepcopy(parent[key])
        elif isinstance(at(tables, path), dict):
            at(tables, path)[draw(odd_text)] = draw(odd_value)
    return tables


@st.composite
def resized_tables(draw: st.DrawFn) -> dict:
    """Tables of a sound site with one to six of its numbers made up to 10,000 times larger or smaller."""
    tables = copy.deepcopy(draw(st.sampled_from(BASES)))
    every = [path for path in places(tables) if isinstance(at(tables, path), (str, int, float))]
    numbers = [path for path in every if not isinstance(at(tables, path), str) or at(tables, path)[0].isdigit()]
    for path in draw(st.lists(st.sampled_from(numbers), min_size=1, max_size=6, unique=True)):
        was, factor = at(tables, path), 10.0 ** draw(st.integers(-8, 8).map(lambda tenth: tenth / 2))
        parent = at(tables, path[:-1])
        if isinstance(was, str):
            number, unit = was.split(" ", 1)
            parent[path[-1]] = f"{float(number) * factor:.6g} {unit}"
        else:
            parent[path[-1]] = round(was * factor) if path[-1] == "count" else was * factor
    return tables


@pytest.fixture
def undoubted(monkeypatch):
    """Sites let in however wild their numbers are beside each other, as long as each one is allowed by itself."""
    monkeypatch.setattr("stocksim.site.plausible._judge", lambda relation, doubts: None)


def check_faults(error: InputError) -> None:
    assert error.faults
    for fault in error.faults:
        assert fault.message.strip()
        assert str(fault).isprintable()
        assert fault.message.endswith(".")
        assert fault.file
        assert "<object" not in str(fault)


def check_runs(site: Site) -> None:
    """A site that was let in runs to finite numbers, and its answer can be written."""
    json.dumps(understood(site), allow_nan=False)
    if site.days > _MOST_DAYS:
        return
    season = run_season(site)
    for field in dataclasses.fields(season.course):
        assert np.isfinite(getattr(season.course, field.name)).all(), field.name
    for level in season.extremes:
        assert np.isfinite(level).all()
        assert (level >= 0.0).all()
    for name in ("tanks", "cohorts", "loops", "beds"):
        numbers = getattr(season, name).select_dtypes("number").to_numpy()
        assert not np.isinf(numbers).any(), name
    found = season.findings
    json.dumps(summary(season, found), allow_nan=False)
    assert answer_text(season_answer(season, found))


@given(st.one_of(spoilt_tables(), spoilt_tables(), resized_tables()))
@settings(max_examples=EXAMPLES)
def test_spoilt_tables_give_faults_or_a_site_that_runs(tables):
    before = copy.deepcopy(tables)
    try:
        site = site_from_tables(tables, FOLDER)
    except InputError as error:
        check_faults(error)
    else:
        check_runs(site)
    assert repr_of(tables) == repr_of(before)


def repr_of(node: object) -> object:
    """Tables in a form that is equal to itself even where they hold nan or numbers too long to print."""
    if isinstance(node, dict):
        return {key: repr_of(inner) for key, inner in node.items()}
    if isinstance(node, list):
        return [repr_of(inner) for inner in node]
    return "nan" if isinstance(node, float) and np.isnan(node) else node


@st.composite
def spoilt_text(draw: st.DrawFn) -> bytes:
    """Bytes of an example with one to six random edits."""
    data = bytearray(example_text(draw(st.sampled_from(example_names()))).encode())
    for _ in range(draw(st.integers(1, 6))):
        start = draw(st.integers(0, len(data)))
        stop = min(len(data), start + draw(st.sampled_from([0, 0, 1, 1, 2, 7, 60])))
        put = draw(
            st.one_of(
                st.binary(max_size=4),
                st.sampled_from(
                    [b"\n", b"=", b'"', b"[", b"]", b"{", b"}", b"#", b".", b"-", b"9", b"'''", b"\xff", b"[["]
                ),
            )
        )
        data[start:stop] = put
    return bytes(data)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("spoilt")


@given(data=spoilt_text())
@settings(max_examples=EXAMPLES)
def test_spoilt_bytes_give_faults_or_a_site(folder, data):
    path = folder / "site.toml"
    path.write_bytes(data)
    try:
        site = load_site(path)
    except InputError as error:
        check_faults(error)
    else:
        check_runs(site)


@given(st.text(max_size=60))
@settings(max_examples=EXAMPLES)
def test_any_text_gives_faults(text):
    with pytest.raises(InputError) as caught:
        site_from_text(text, FOLDER)
    check_faults(caught.value)


EXTREMES = {
    "tanks.one.volume": ["1 L", "1e5 m3"], "tanks.one.flow": ["1 L/day", "1e6 m3/day"],
    "loops.main.sump": ["1 L", "1e5 m3"], "beds.gravel.area": ["0.01 m2", "1e6 m2"],
    "cohorts.fish.count": [0, 1, 10_000_000], "cohorts.fish.mean_weight": ["0.05 g", "20 kg"],
    "loops.main.ph": [5, 10], "site.elevation": ["-430 m", "4500 m"], "beds.gravel.depth": ["1 mm", "10 m"],
    "tanks.one.depth": ["1 mm", "10 m"], "beds.gravel.media_size": ["0.5 mm", "100 mm"],
    "beds.gravel.flow": ["1 L/day", "1e6 m3/day"], "tanks.one.oxygen_supply.power": ["1e-9 W", "1000 kW"],
    "loops.main.water_temperature.value": ["0 degC", "37 degC"],
    "beds.gravel.nitrifying_surface": ["1e-9 m2", "1e6 m2"],
    "cohorts.fish.ration.fraction": [0, 1], "cohorts.fish.ration.spilled_share": [0, 0.9],
}  # fmt: skip


# the same of a loop's water, on a tank that has all its keys
LEVELS = ["0 mg/L", "5000 mg/L"]
WATER_EXTREMES = EXTREMES | {
    "loops.main.ph": [5, 10, None], "loops.main.alkalinity_target": ["1e-9 mg/L", "1000 mg/L", None],
    "loops.main.buffer": typing.get_args(LoopTable.model_fields["buffer"].annotation),
    **{
        f"loops.main.source_water.{key}": LEVELS
        for key in ("alkalinity", "nitrate_n", "potassium", "phosphorus", "calcium", "chloride", "sodium")
    },
    "loops.main.water_tests": [
        [{"date": START, "tan": tan, "nitrite_n": nitrite, "alkalinity": alkalinity, "nitrate_n": nitrite}]
        for tan in LEVELS for nitrite in LEVELS for alkalinity in LEVELS
    ],
    "loops.main.fishless_cycling.ammonia_nitrogen": ["1e-9 g/day", "1000 kg/day"],
    "loops.main.feeding_ramp": [[], [{"from": START, "share": 0}], [{"from": START, "share": 1}]],
    "loops.main.biofilter_start": ["new", "seeded", "mature", None],
    "loops.main.biofilter_started": [dt.date(1900, 1, 1), dt.date(2199, 12, 31)],
    "settlers.basin.capture": [0, 1], "settlers.basin.share_of_flow": [0, 1],
    "settlers.basin.emptied_every_days": [1, 365],
    "settlers.pot.kind": ["swirl", "radial_flow"],
}  # fmt: skip


@given(
    picked=st.sampled_from([1, 9]).flatmap(
        lambda most: st.dictionaries(
            st.sampled_from(sorted(WATER_EXTREMES)), st.integers(0, 7), min_size=1, max_size=most
        )
    )
)
@settings(max_examples=EXAMPLES, suppress_health_check=[*QUIET, HealthCheck.function_scoped_fixture])
def test_the_outermost_allowed_water_runs(undoubted, picked):
    changes = {key: WATER_EXTREMES[key][which % len(WATER_EXTREMES[key])] for key, which in picked.items()}
    bare = dict.fromkeys(("loops.main.evaporation", "loops.main.water_changes", "settlers.basin.drawn_off"))
    site = site_from_tables(watered_tank(), FOLDER).with_changes(bare | changes)
    # what is bounded by the loop's water: least and most, by turns
    water, which = loop_water_m3(site.file, "main") * (1.0 - 1e-9), sum(picked.values())
    most = f"{min(0.9 * water, 1e5)} m3"
    bounded = {
        "loops.main.evaporation": ["0 L/day", f"{0.1 * min(water, 1e5)} m3/day"],
        "loops.main.water_changes": [[{"date": START, "volume": v}] * 2 for v in ("1 L", most)],
        "settlers.basin.drawn_off": ["0 L/day", f"{min(water, 1e4)} m3/day"],
    }
    check_runs(site.with_changes({key: values[(which >> n) % 2] for n, (key, values) in enumerate(bounded.items())}))


@given(extremes=st.fixed_dictionaries({}, optional={key: st.sampled_from(v) for key, v in EXTREMES.items()}))
@settings(max_examples=EXAMPLES // 2, suppress_health_check=[*QUIET, HealthCheck.function_scoped_fixture])
def test_the_outermost_allowed_numbers_run_together(undoubted, extremes):
    check_runs(site_from_tables(planted_tank(), FOLDER).with_changes(extremes))
