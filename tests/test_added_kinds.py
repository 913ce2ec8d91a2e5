"""Limits, beds, filters and settlers that nobody has, added by a row each: every answer takes them."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from command_line import refused, rows_of, runner
from small_sites import START, build, one_tank
from streamlit.testing.v1 import AppTest

from stocksim import run_season
from stocksim.answers.cold.options import measures
from stocksim.changes.change import Action
from stocksim.changes.search import help_of
from stocksim.changes.ways import find_changes
from stocksim.engine.arrays import tables as engine_tables
from stocksim.engine.arrays.fish import SPECIES_KEYS
from stocksim.engine.results import findings as judging
from stocksim.engine.results.deaths import SIGNS, deaths_by_cause
from stocksim.faces import forms
from stocksim.faces.change_words import NO_CHANGE, change_words
from stocksim.faces.registry import script_of
from stocksim.faces.words import finding_sentence
from stocksim.heat.temperatures import warmth_of_site, water_c
from stocksim.site import bed_kinds, kinds
from stocksim.site.bed_kinds import BED_KINDS, BIOFILTER_KINDS
from stocksim.site.beds import bed_film_m2, bed_flow_m3_day, bed_water_m3
from stocksim.site.examples import example_text
from stocksim.site.kinds import CAUSES_OF_DEATH, EVENT_KINDS, LEVEL_UNITS, LIMITS
from stocksim.site.reading import site_from_text
from stocksim.units import face_unit
from stocksim.water.solids import SETTLERS, SettlerKind

PACKAGE = Path(__file__).parents[1] / "stocksim"

# All invented, to see whether a row is enough: a ceiling by loop, a ceiling by tank, a floor by cohort, a bed.
POTASSIUM = {
    "name": "potassium", "broken": "more potassium than this test likes", "on_chart": "potassium", "table": "loops",
    "unit": "mg/L", "moves_with_feed": True, "is_of_water": True,
}  # fmt: skip
FEED = {
    "name": "feed load", "broken": "more feed than a tank of this test bears", "on_chart": "feed load",
    "table": "tanks", "unit": "g/m3/day", "moves_with_feed": True, "mended_by": kinds.Mending.ROOM,
}  # fmt: skip
REST = {
    "name": "night's rest", "broken": "fish that never rest", "on_chart": "no rest", "table": "cohorts",
    "unit": "mg/L", "is_floor": True,
}  # fmt: skip
ADDED = {"potassium": POTASSIUM, "feed_load": FEED, "rest": REST}
TROUGH = bed_kinds.BedKind(
    noun="trough",
    plural="troughs",
    water=bed_kinds.BedWater(
        trapped_share=0.3, trickles=False, film_per_m2=0.5, turnovers_per_day=6.0, depth_m=0.2,
        heat=bed_kinds.BedHeatLoss(air_w_m2_k=5.0, floor_w_m2_k=1.0, open_share=0.5, can_be_covered=True),
    ),
    light_share=0.8,
    has_feed_ratio=False,
)  # fmt: skip


def judges(strictness: float):
    """The one function of each invented limit; the stricter, the sooner it breaks."""

    def potassium(given):
        level = given.course.potassium_mg_l
        return judging.Judged(level, np.full(level.shape, 10.0 / strictness))

    def feed_load(given):
        volume = given.layout.volume_m3[:, None, : len(given.layout.tanks)]
        load = given.course.fed_g @ given.layout.cohort_tank / volume
        return judging.Judged(load, np.full(load.shape, 1000.0 / strictness))

    def rest(given):
        level = np.where(given.present, 10.0, np.nan)
        return judging.Judged(level, np.full(level.shape, strictness))

    return {"potassium": potassium, "feed_load": feed_load, "rest": rest}


def add_limits(monkeypatch, strictness: float) -> None:
    monkeypatch.setitem(LEVEL_UNITS, "g/m3/day", kinds.LevelUnit(decimals=0))
    for name, judge in judges(strictness).items():
        monkeypatch.setitem(LIMITS, name, kinds.LimitKind(**ADDED[name]))
        monkeypatch.setitem(judging.JUDGES, name, judge)


@pytest.fixture
def added(monkeypatch):
    """Invented limits, all of them broken, and invented kinds of beds, filters and settlers."""
    add_limits(monkeypatch, 20.0)
    monkeypatch.setitem(BED_KINDS, "trough", TROUGH)
    monkeypatch.setitem(BIOFILTER_KINDS, "sponge", bed_kinds.BiofilterKind(trickles=True, trapped_share=0.2))
    monkeypatch.setitem(SETTLERS, "sieve", SettlerKind(0.5, 0.4, 0.6, "invented"))


def site_tables() -> dict:
    tables = one_tank(days=35, count=60, temperature_c=24.5)
    whole = {"from": START, "to": tables["season"]["end"]}
    tables["beds"] = {
        "gutter": {"loop": "main", "kind": "trough", "area": "4 m2", "plantings": [{"crop": "lettuce", **whole}]},
        "gravel": {"loop": "main", "kind": "media", "area": "4 m2", "plantings": [{"crop": "basil", **whole}]},
    }
    tables["settlers"] = {"mesh": {"loop": "main", "kind": "sieve"}}
    tables["biofilters"] = {
        "foam": {
            "loop": "main", "kind": "sponge", "media_volume": "20 L", "specific_surface": "300 m2/m3",
            "flow": "500 L/h",
        }
    }  # fmt: skip
    return tables


@pytest.fixture
def run(monkeypatch, capsys, tmp_path, added):
    call = runner(monkeypatch, capsys, tmp_path)
    Path("odd.toml").write_text(tomlkit.dumps(site_tables()), encoding="utf-8")
    return call


# --- the answers take what was added


def test_a_season_judges_and_tells_added_limits_and_grows_the_added_bed(run):
    ran = run("season", "odd.toml", "--json", "--out", "folder")
    assert ran.code == 0, ran.err
    told = {entry["limit"]: entry for entry in ran.data["limits"]}
    assert set(ADDED) <= set(told)
    assert {told[name]["where"] for name in ADDED} == {"loops.main", "tanks.one", "cohorts.fish"}
    assert all(told[name]["days_broken"] > 0 and told[name]["lever"] for name in ADDED)
    assert told["feed_load"]["unit"] == "g/m3/day"
    assert told["rest"]["margin_percent"] == pytest.approx(-50.0)  # 10 where 20 is the floor
    printed = re.sub(r"\s+", " ", run("season", "odd.toml", "--all").out)
    assert all(row["broken"] in printed for row in ADDED.values())
    assert "fish that never rest for fish, down to 10.00 mg/L" in printed
    rows = rows_of(Path("folder/beds.csv"))
    assert {row["kind"] for row in rows if row["bed"] == "gutter"} == {"trough"}
    assert sum(float(row["nitrogen_uptake_g"]) for row in rows if row["bed"] == "gutter") > 1.0


def test_check_understands_what_was_added(run):
    ran = run("check", "odd.toml", "--json")
    assert ran.code == 0
    told = ran.data["understood"]
    gutter, gravel = told["beds"]
    assert "trough" in gutter
    assert "depth 20 cm assumed" in gutter and "grain" not in gutter  # noqa: PT018
    assert "depth 30 cm assumed" in gravel and "grain 12.7 mm assumed" in gravel  # noqa: PT018
    assert any("sponge" in words for words in told["biofilters"])
    assert any("sieve" in words for words in told["settlers"])


def test_an_added_bed_has_its_harvest_and_may_lack_a_ratio(run):
    ran = run("beds", "odd.toml", "--json")
    assert ran.code == 0, ran.err
    found = {bed["bed"]: bed for bed in ran.data["beds"]}
    assert found["gutter"]["kind"] == "trough"
    assert found["gutter"]["nutrients"]["calcium"]["wanted_g"]
    assert sum(found["gutter"]["nutrients"]["nitrogen"]["wanted_g"]) > 1.0
    assert any("gutter (trough bed)" in words for words in ran.data["loops"][0]["no_published_ratio"])
    assert run("beds", "odd.toml").code == 0


@pytest.mark.parametrize("strictness", [0.001, 20.0])
def test_a_stocking_plan_keeps_added_limits_too(run, monkeypatch, strictness):
    add_limits(monkeypatch, strictness)
    # another site each time: seasons of equal sites are kept
    tables = site_tables()
    tables["site"]["elevation"] = f"{50 + strictness} m"
    Path("odd.toml").write_text(tomlkit.dumps(tables), encoding="utf-8")
    ran = run("stock", "odd.toml", "--goal", "edible", "--json")
    assert ran.code in (0, 1), ran.err
    if strictness < 1.0:
        assert ran.data["season"]["holds"]
        assert judging.by_place(run_season(build(tables)).findings, "potassium")
    else:
        assert ran.data["season"] is None
        broke = re.search(r"broke potassium in main \((.+) mg/L on .+, limit (.+) mg/L\)", ran.data["answer"])
        assert float(broke[1]) > float(broke[2]) == 0.5


def test_a_lever_is_tried_for_an_added_limit_by_what_its_row_says(added):
    season = run_season(build(site_tables()))
    helps = {finding.limit: help_of(finding) for finding in find_changes(season)}
    assert helps["feed_load"].change.kind is Action.FEWER_FISH  # as of a tank without room
    assert helps["potassium"].change is None
    assert helps["potassium"].why_none is LIMITS["potassium"].if_unmended
    (finding,) = judging.by_place(season.findings, "potassium").values()
    assert finding_sentence(finding, "us").split(": ")[1].startswith("more potassium than this test likes in loop main")


def test_an_added_bed_has_the_sizes_film_and_measures_of_its_row(added):
    file = build(site_tables()).file
    bed = file.beds["gutter"]
    assert bed_water_m3(bed) == pytest.approx(0.8)  # 4 m2, 20 cm deep
    assert bed_flow_m3_day(bed) == pytest.approx(4.8)  # six times a day
    assert bed_film_m2(bed) == pytest.approx(2.0)  # half of its footprint
    tried = {choice.change.kind: choice.change for choice in measures(file)}
    assert change_words(tried[Action.BED_COVERS], "us") == "cover troughs at night"
    assert tried[Action.NIGHT_FLOW].amounts["kinds"] == ("media",)


def test_the_heat_of_a_house_has_the_added_bed(added, tmp_path):
    """A loop whose water is computed, with troughs in place of rafts: other losses, other water."""
    text = example_text("heron_lane_computed")
    assert 'kind = "raft"' in text
    kept, changed = (
        site_from_text(words, tmp_path, "house.toml")
        for words in (text, text.replace('kind = "raft"', 'kind = "trough"'))
    )
    bed = next(key for key, bed in changed.file.beds.items() if bed.kind == "trough")
    at = warmth_of_site(changed).plan.nodes.index(f"beds.{bed}")
    assert warmth_of_site(changed).plan.volume_m3[at] == pytest.approx(bed_water_m3(changed.file.beds[bed]))
    moved = [np.abs(water_c(kept)[loop] - water_c(changed)[loop]).max() for loop in kept.file.loops]
    assert max(moved) > 0.1
    assert np.isfinite(moved).all()


@pytest.mark.parametrize("page", ["season", "beds", "edit", "water"])
def test_pages_show_what_was_added(page, added, tmp_path, monkeypatch):
    path = tmp_path / "odd.toml"
    path.write_text(tomlkit.dumps(site_tables()), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(script_of(page), default_timeout=900).run()
    assert not at.exception
    html = " ".join(element.proto.body for element in at.get("html"))
    if page == "season":
        assert all(row["broken"] in html for row in ADDED.values())
    if page == "beds":
        assert "gutter" in html
    if page == "edit":
        at.segmented_control(key="part").set_value("Beds").run()
        assert not at.exception
        kind = next(box for box in at.selectbox if box.key.endswith("beds.gutter.kind"))
        assert (kind.value, kind.options) == ("trough", list(BED_KINDS))
        kind.set_value("raft").run()
        assert not at.exception
        assert 'kind = "raft"' in at.session_state.site_text


# --- kinds are refused by the table, in the same sentence whatever it holds


def listed(names):
    """Names as a sentence lists them."""
    *first, last = (f'"{name}"' for name in names)
    return f"{', '.join(first)} or {last}"


@pytest.mark.parametrize(
    ("table", "known"),
    [
        ("beds", listed(BED_KINDS)),
        ("biofilters", listed(BIOFILTER_KINDS)),
        ("settlers", listed(SETTLERS)),
    ],
)
@pytest.mark.parametrize("written", ["pond", 3, ["raft"], None])
def test_an_unknown_kind_is_told_with_those_known(monkeypatch, capsys, tmp_path, table, known, written):
    run, tables = runner(monkeypatch, capsys, tmp_path), one_tank()
    entry = {"loop": "main", "kind": written, "area": "1 m2"} if table == "beds" else {"loop": "main", "kind": written}
    if table == "biofilters":
        entry |= {"media_volume": "20 L", "specific_surface": "300 m2/m3", "flow": "500 L/h"}
    tables[table] = {"one": {key: value for key, value in entry.items() if value is not None}}
    Path("odd.toml").write_text(tomlkit.dumps(tables), encoding="utf-8")
    said = "is missing" if written is None else "is not known here"
    refused(run("check", "odd.toml"), f"{table}.one.kind", f"{said}; use {known}.")


def test_an_added_kind_stands_among_those_known(run):
    tables = site_tables()
    tables["beds"]["gutter"]["kind"] = "pond"
    Path("odd.toml").write_text(tomlkit.dumps(tables), encoding="utf-8")
    refused(run("check", "odd.toml"), f"use {listed(BED_KINDS)}.")
    assert listed(BED_KINDS).endswith(' or "trough"')


def test_what_a_kind_cannot_have_is_told_by_its_noun(run):
    tables = site_tables()
    tables["beds"]["gutter"] |= {"media_size": "12 mm", "planted_face": "2 m2"}
    Path("odd.toml").write_text(tomlkit.dumps(tables), encoding="utf-8")
    refused(
        run("check", "odd.toml"),
        "belongs to a media bed, not to a trough;", "belongs to a tower, not to a trough bed;", faults=2,
    )  # fmt: skip


# --- a row that lacks something is found out here, not in a keeper's season


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda: kinds.LimitKind(**POTASSIUM | {"unit": "furlong"}), "unit"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"table": "rooms"}), "table"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"broken": ""}), "words"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"is_left_by_film": True}), "loop's water"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"lifted_by_chloride": True}), "chloride"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"is_advisory": True}), "neither"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"mended_by": kinds.Mending.AIR}), "not of its table"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"mended_by": kinds.Mending.LOOP_WATER}), "not of the loop's water"),
        (lambda: kinds.LimitKind(**POTASSIUM | {"none": "there is none"}), "half"),
        (lambda: kinds.LimitKind(**REST | {"is_of_loop_water": True}), "not judged there"),
        (lambda: bed_kinds.BedKind(noun="", plural="", water=TROUGH.water), "name"),
        (lambda: bed_kinds.BedKind(noun="a", plural="b", water=None, fill=BED_KINDS["media"].fill), "fill"),
        (lambda: bed_kinds.BedKind(noun="a", plural="b", water=None, light_share=0.0), "light"),
        (lambda: kinds.CauseKind(words=""), "words"),
        (lambda: kinds.EventKind(act=kinds.Act.CARRY), "change"),
        (lambda: kinds.EventKind(act=kinds.Act.TAKE), "ledger"),
        (lambda: kinds.EventKind(act=kinds.Act.ADD, is_harvest=True), "harvest"),
        (lambda: kinds.LevelUnit(decimals=1, dimension="area"), "system"),
    ],
)
def test_a_row_that_lacks_something_is_refused_when_made(make, what):
    with pytest.raises(ValueError, match=what):
        make()


@pytest.mark.parametrize("missing", ["name", "broken", "on_chart", "table", "unit"])
def test_a_limit_without_what_it_needs_is_no_row(missing):
    with pytest.raises(TypeError, match=missing):
        kinds.LimitKind(**{key: value for key, value in POTASSIUM.items() if key != missing})


def test_every_limit_is_judged_and_can_be_told():
    assert set(judging.JUDGES) == set(kinds.hard_limits())
    assert set(judging.ADVISERS) == set(LIMITS) - set(kinds.hard_limits())
    for row in LIMITS.values():
        assert row.species_value in ("", *SPECIES_KEYS)
        assert NO_CHANGE[row.if_unmended]
    for unit, shown in LEVEL_UNITS.items():
        if shown.dimension is not None:
            assert face_unit(shown.dimension, "metric") == unit.removesuffix("/day" if "degC" in unit else "")


def test_every_event_has_its_form_its_start_its_entry_and_its_row_of_the_engine():
    assert set(forms.EVENTS) == set(EVENT_KINDS)
    raw = tomlkit.parse(tomlkit.dumps(one_tank())).unwrap()
    for name, row in EVENT_KINDS.items():
        start = forms.event_start(name, raw)
        assert start["kind"] == name
        assert row.act is not kinds.Act.CARRY or row.changes in start
        assert not row.entry or SIGNS[row.entry] == -1.0
    assert set(engine_tables._ACTS) == set(kinds.Act)


def test_every_cause_of_death_is_reckoned(demo_season):
    assert tuple(deaths_by_cause(demo_season.layout, demo_season.course)) == tuple(CAUSES_OF_DEATH)


# --- and nobody asks for a kind by its name


NAMES = {*BED_KINDS, *BIOFILTER_KINDS, *SETTLERS, *LIMITS, *CAUSES_OF_DEATH, *EVENT_KINDS}


def compared_names(source: str) -> list[str]:
    """Comparisons of a kind, limit or cause with a name of its table."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
        elif isinstance(node, ast.Match):
            sides = [node.subject, *(case.pattern for case in node.cases)]
        else:
            continue
        asks = any(re.search(r"(^|[._])(kind|limit|cause)$", ast.unparse(side)) for side in sides)
        held = {part.value for side in sides for part in ast.walk(side) if isinstance(part, ast.Constant)}
        if asks and held & NAMES:
            found.append(ast.unparse(node))
    return found


@pytest.mark.parametrize(
    "source",
    [
        'if bed.kind == "wicking": pass',
        'x = finding.limit in ("nitrite", "oxygen")',
        'y = cause != "everyday"',
        'match event.kind:\n    case "move": pass',
        'z = bed_kind not in ("tower",)',
    ],
)
def test_a_comparison_by_name_would_be_seen(source):
    assert compared_names(source)


# a film's oxidizer is of another table, as is the kind of a crop
# the last one's kinds are of records, of which one is called as a kind of event
ELSEWHERE = {"water/maturity.py", "library/crops.py", "library/species.py", "answers/forecast/evidence.py"}


def test_no_file_compares_a_kind_by_its_name():
    files = {str(path.relative_to(PACKAGE)): path for path in sorted(PACKAGE.rglob("*.py"))}
    found = {
        name: compared_names(path.read_text(encoding="utf-8"))
        for name, path in files.items()
        if name.replace("\\", "/") not in ELSEWHERE
    }
    assert {name: said for name, said in found.items() if said} == {}
