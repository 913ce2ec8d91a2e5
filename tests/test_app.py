"""The pages, driven without a browser: what the keeper reads after each step."""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from pathlib import Path

import pytest
import tomlkit
from small_sites import one_tank
from streamlit.testing.v1 import AppTest

from stocksim.errors import InputError
from stocksim.faces.registry import script_of
from stocksim.library.sources import library_folder
from stocksim.library.species import load_species
from stocksim.site.examples import example_text
from stocksim.site.kinds import EVENT_KINDS
from stocksim.site.reading import site_from_text

ROOT = Path(__file__).parents[1]
FATES = "## What becomes of the fish"  # head of what the year tells
PAGES = {name: script_of(name) for name in ("season", "water", "powercut", "edit", "fish")}


@pytest.fixture
def small_file(tmp_path, monkeypatch):
    """A small site on disk, given to the pages as `stocksim open` gives it."""
    path = tmp_path / "mine.toml"
    path.write_text("# my own comment\n" + tomlkit.dumps(one_tank(count=10)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    return path


def start(page: str = "app") -> AppTest:
    script = ROOT / "app.py" if page == "app" else PAGES[page]
    at = AppTest.from_file(script, default_timeout=900).run()
    assert not at.exception
    return at


def words(at: AppTest) -> str:
    """All text that HTML blocks, captions and markdown of the page show."""
    html = " ".join(element.proto.body for element in at.get("html"))
    plain = re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL)
    plain = re.sub(r"<[^>]+>", " ", plain).replace("&quot;", '"').replace("&#x27;", "'").replace("&amp;", "&")
    return " ".join([plain, *(m.value for m in at.markdown), *(c.value for c in at.caption)])


def go(at: AppTest, page: str) -> AppTest:
    at.switch_page(str(script_of(page))).run()
    assert not at.exception
    return at


def part(at: AppTest, name: str) -> AppTest:
    at.segmented_control(key="part").set_value(name).run()
    assert not at.exception
    return at


def field(at: AppTest, dotted: str):
    """The text field bound to a place of the file."""
    return next(f for f in at.text_input if f.key.endswith(f" {dotted}"))


def day(at: AppTest, dotted: str):
    """The calendar bound to a place of the file."""
    return next(f for f in at.date_input if f.key.endswith(f" {dotted}"))


def faults_of(text: str, path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        site_from_text(text, path.parent, path.name)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("page", ["app", *PAGES])
def test_each_page_alone_and_in_its_frame(page, small_file):
    at = start(page)
    assert at.markdown or at.text_input


def test_demo_answers_first(monkeypatch):
    monkeypatch.delenv("STOCKSIM_SITE", raising=False)
    at = start()
    shown = words(at)
    assert "Heron Lane" in shown
    assert "cautions are passed" in shown
    assert "What helps:" in shown
    assert "trying changes" not in shown  # the levers were found and stand in their place
    for tank in ("cedar", "birch", "alder", "maple", "poplar"):
        assert tank in shown
    assert "evidence weak" in shown
    assert "Electricity beside water kills" in shown
    # a lever of the page is the one that a run proves
    assert len(at.get("vega_lite_chart")) == 3


def test_given_file_is_shown(small_file):
    at = start()
    assert "one tank (invented)" in words(at)
    specs = [json.loads(chart.proto.spec) for chart in at.get("vega_lite_chart")]
    titles = [panel["title"] for spec in specs for panel in spec["vconcat"] if "title" in panel]
    # what each panel draws, and in which unit
    assert {title.split(" ")[0]: title.rpartition(", ")[2] for title in titles}.items() >= {
        "Stocking": "kg/m3", "Loop": "m2", "Water": "degC", "Mean": "g",
    }.items()  # fmt: skip
    assert all(chart.proto.alt for chart in at.get("vega_lite_chart"))


def test_faulty_edit_shows_the_sentences_of_check_and_keeps_what_was_typed(small_file):
    at = part(start("edit"), "Tanks")
    field(at, "tanks.one.volume").set_value("-500 L").run()
    field(at, "tanks.one.flow").set_value("a lot").run()
    text = at.session_state["site_text"]
    faults = faults_of(text, small_file)
    assert len(faults) == 2
    for fault in faults:
        assert fault in words(at)
    assert field(at, "tanks.one.volume").value == "-500 L"
    assert "# my own comment" in text
    # the season page says so, shows the last sound version, and nothing typed is lost on the way back
    go(at, "season")
    assert "last sound version" in words(at)
    for fault in faults:
        assert fault in words(at)
    part(go(at, "edit"), "Tanks")
    assert field(at, "tanks.one.volume").value == "-500 L"
    assert field(at, "tanks.one.flow").value == "a lot"
    # mended
    field(at, "tanks.one.volume").set_value("900 L").run()
    field(at, "tanks.one.flow").set_value("1000 L/h").run()
    assert "cannot be run" not in words(at)
    assert not faults_missing(at, small_file)


def faults_missing(at: AppTest, path: Path) -> list[str]:
    try:
        site_from_text(at.session_state["site_text"], path.parent, path.name)
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return []


def test_edit_changes_the_verdict_at_once(small_file):
    at = start("edit")
    assert "Trouble" not in words(at)
    field(at, "cohorts.fish.count").set_value("2000").run()
    assert not at.exception
    assert "Trouble ahead" in words(at)
    next(b for b in at.button if b.label == "Undo").click().run()
    assert "Trouble" not in words(at)
    assert "count = 10" in at.session_state["site_text"]


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("Fish", "cohorts"),
        ("Tanks", "tanks"),
        ("Beds", "beds"),
        ("Loops", "loops"),
        ("Biofilters", "biofilters"),
        ("Settlers", "settlers"),
        ("Pumps", "pumps"),
        ("Backups", "backups"),
    ],
)
def test_rows_are_added_and_removed(small_file, name, table):
    at = part(start("edit"), name)
    before = site_from_text(at.session_state["site_text"], small_file.parent)
    next(b for b in at.button if b.label == f"Add a {table[:-1]}").click().run()
    assert not at.exception
    grown = site_from_text(at.session_state["site_text"], small_file.parent)
    assert len(getattr(grown.file, table)) == len(getattr(before.file, table)) + 1
    next(b for b in at.button if b.help == f"remove {table[:-1]}_1").click().run()
    assert site_from_text(at.session_state["site_text"], small_file.parent).file == before.file


def picker(at: AppTest, dotted: str):
    """The choice bound to a place of the file."""
    return next(s for s in at.selectbox if s.key.endswith(f" {dotted}"))


def sound(at: AppTest, path: Path):
    """The site as the page's text has it; a fault fails the test."""
    assert not at.exception
    return site_from_text(at.session_state["site_text"], path.parent).file


def test_events_are_added_changed_and_removed(small_file):
    at = part(start("edit"), "Events")
    assert not [found for found in at.button if found.help == "remove event"]
    before = sound(at, small_file)
    next(b for b in at.button if b.label == "Add an event").click().run()
    (event,) = sound(at, small_file).events
    assert (event.kind, event.cohort, event.count, event.date) == ("harvest", "fish", 1, before.season.end)
    assert "harvest 1 of fish" in words(at)
    assert "(1 fish, " in words(at)
    picker(at, "events.0 amount").set_value("above").run()
    assert sound(at, small_file).events[0].above == 150.0
    field(at, "events.0.above").set_value("60 g").run()
    day(at, "events.0.date").set_value(dt.date(2026, 10, 20)).run()
    assert "On 20 Oct 2026: harvest " in words(at)
    assert "60 g or more" in words(at)
    picker(at, "events.0.kind").set_value("sell").run()
    event = sound(at, small_file).events[0]
    assert (event.kind, event.above, event.date) == ("sell", 60.0, dt.date(2026, 10, 20))
    # a slip stays as typed, with its sentence beside the row
    field(at, "events.0.above").set_value("60").run()
    (fault,) = faults_missing(at, small_file)
    assert "events[1].above" in fault
    assert fault in words(at)
    assert "# my own comment" in at.session_state["site_text"]
    next(b for b in at.button if b.help == "remove event").click().run()
    assert sound(at, small_file) == before


@pytest.mark.parametrize("kind", EVENT_KINDS)
def test_an_event_of_each_kind_is_sound_from_the_start(small_file, kind):
    at = part(start("edit"), "Events")
    next(b for b in at.button if b.label == "Add an event").click().run()
    if kind != "harvest":
        picker(at, "events.0.kind").set_value(kind).run()
    assert sound(at, small_file).events[0].kind == kind
    assert "On 30 Oct 2026: " in words(at)


@pytest.mark.parametrize("kind", ["appetite", "percent", "table", "fixed", "beds", "unfed"])
def test_each_rule_of_feeding_is_sound_from_the_start(small_file, kind):
    at = start("edit")
    picker(at, "cohorts.fish.ration").set_value("appetite").run()
    field(at, "cohorts.fish.ration.stop_below").set_value("8 degC").run()
    if kind != "appetite":
        picker(at, "cohorts.fish.ration").set_value(kind).run()
    rule = sound(at, small_file).cohorts["fish"].ration
    assert rule.kind == kind
    assert getattr(rule, "stop_below", None) == (None if kind == "unfed" else 8.0)


def test_a_ration_table_grows_by_a_row(small_file):
    at = start("edit")
    picker(at, "cohorts.fish.ration").set_value("table").run()
    field(at, "cohorts.fish.ration.temperatures").set_value("10 degC, 20 degC, 26 degC").run()
    assert "2 rows for 3 temperatures" in words(at)
    field(at, "cohorts.fish.ration.percent.2").set_value("4, 2.5").run()
    assert sound(at, small_file).cohorts["fish"].ration.percent == [[2.0, 1.5], [3.0, 2.0], [4.0, 2.5]]


def test_cold_rules_fasting_days_sex_and_sizes(small_file):
    at = start("edit")
    picker(at, "cohorts.fish.ration").set_value("appetite").run()
    next(b for b in at.button if b.label == "Add a cold rule").click().run()
    next(m for m in at.multiselect if m.key.endswith("ration.fasting_days")).set_value(["sun", "wed"]).run()
    picker(at, "cohorts.fish.sex").set_value("males").run()
    field(at, "cohorts.fish.size_spread").set_value("0.3").run()
    fish = sound(at, small_file).cohorts["fish"]
    assert [(rule.below, rule.feed_every_days) for rule in fish.ration.cold_rules] == [(12.0, 2)]
    assert set(fish.ration.fasting_days) == {"sun", "wed"}
    assert (fish.sex, fish.size_spread) == ("males", 0.3)
    next(c for c in at.checkbox if c.key.endswith("cohorts.fish.wild")).check().run()
    next(c for c in at.checkbox if c.key.endswith("cohorts.fish.trained")).check().run()
    fish = sound(at, small_file).cohorts["fish"]
    assert fish.wild
    assert fish.trained


def test_the_year_tells_what_becomes_of_the_fish(tmp_path, monkeypatch):
    monkeypatch.setenv("STOCKSIM_SITE", str(ROOT / "stocksim" / "site" / "examples" / "heron_lane_year.toml"))
    at = start()
    shown = words(at)
    assert FATES in shown
    assert "On 10 May 2027: harvest " in shown
    assert "reach 150 g" in shown


def test_nothing_is_told_of_fish_to_whom_nothing_happens(small_file):
    assert FATES not in words(start())


def test_planting_is_added(small_file):
    at = part(start("edit"), "Beds")
    next(b for b in at.button if b.label == "Add a planting").click().run()
    assert not at.exception
    site = site_from_text(at.session_state["site_text"], small_file.parent)
    assert [planting.crop for planting in site.file.beds["gravel"].plantings] == ["lettuce"]


def test_renamed_tank_takes_its_fish_along(small_file):
    at = part(start("edit"), "Tanks")
    next(f for f in at.text_input if f.label == "name").set_value("big_one").run()
    site = site_from_text(at.session_state["site_text"], small_file.parent)
    assert site.file.cohorts["fish"].tank == "big_one"


def test_kind_of_temperature_brings_its_fields(small_file):
    at = part(start("edit"), "Loops")
    next(s for s in at.selectbox if s.label == "temperature").set_value("monthly").run()
    assert not at.exception
    assert field(at, "loops.main.water_temperature.values.oct").value == "15 degC"


def test_unreadable_text_stays_and_says_why(small_file):
    at = part(start("edit"), "Whole file")
    good = at.text_area[0].value
    broken = good.replace("[season]", "[season")
    at.text_area[0].set_value(broken).run()
    (fault,) = faults_of(broken, small_file)
    assert fault in words(at)
    part(at, "Tanks")
    assert "Fix it under" in words(at)
    part(at, "Whole file")
    assert at.text_area[0].value == broken
    at.text_area[0].set_value(good).run()
    assert fault not in words(at)


def upload(at: AppTest, *files: tuple[str, bytes]) -> AppTest:
    at.file_uploader(key="upload").set_value([(name, data, "text/plain") for name, data in files]).run()
    assert not at.exception
    return at


def logged_site() -> tuple[bytes, bytes]:
    raw = one_tank(count=10, days=5)
    raw["site"]["name"] = "logged (invented)"
    raw["loops"]["main"]["water_temperature"] = {"kind": "log", "file": "pond.csv"}
    days = [dt.date(2026, 10, 1) + dt.timedelta(days=day) for day in range(5)]
    log = "date,temperature_c\n" + "".join(f"{day},{21 + n}\n" for n, day in enumerate(days))
    return tomlkit.dumps(raw).encode(), log.encode()


def test_upload_with_a_log(small_file):
    site, log = logged_site()
    at = upload(start(), ("up/load.toml", site), ("pond.csv", log))
    assert "logged (invented)" in words(at)
    assert "cannot be run" not in words(at)
    folder = Path(at.session_state["site_folder"])
    assert (folder / "pond.csv").is_file()
    assert at.session_state["site_name"] == "load.toml"
    # an edit is not overwritten when the log is uploaded again
    part(go(at, "edit"), "Season")
    field(at, "site.name").set_value("renamed").run()
    assert "renamed" in at.session_state["site_text"]


def test_upload_without_its_log_names_it(small_file):
    site, _ = logged_site()
    at = upload(start(), ("load.toml", site))
    assert "pond.csv" in words(at)
    assert "last sound version" in words(at)


@pytest.mark.parametrize(
    ("files", "sentence"),
    [
        ([("log.csv", b"date,temperature_c\n")], "no site file"),
        ([("a.toml", b""), ("b.toml", b"")], "2 site files"),
        ([("a.toml", b"\xff\xfea\x00")], "a.toml: is UTF-16 "),
        ([("a.toml", "name = 'b\xe4r'".encode("latin-1"))], "a.toml: is not UTF-8 "),
        ([("a.toml", b"")], "a.toml: is empty;"),
        ([("a.toml", b"\xef\xbb\xbf \n")], "a.toml: is empty;"),
        ([("a.toml", b"\x00\x01[[[")], "zero bytes"),
        ([("a.toml", b"[[[")], "a.toml: line 1 "),
        ([("a.toml", b"#" * 50_000_000)], "more than 5 MB"),
        ([("n" * 285 + ".toml", b"")], "its name has 290 letters"),
        ([("a.toml", b"[site]"), ("n" * 286 + ".csv", b"")], "its name has 290 letters"),
    ],
)
def test_bad_uploads_are_sentences(small_file, files, sentence):
    at = upload(start(), *files)
    assert sentence in words(at)


def test_example_can_be_opened_again(small_file):
    at = start()
    next(b for b in at.button if b.label == "Open the example starter").click().run()
    assert tomllib.loads(example_text("starter"))["site"]["name"] in words(at)


@pytest.mark.parametrize("content", [b"\xff\xfe", None, b"not toml ["], ids=["not UTF-8", "missing", "not TOML"])
def test_faulty_file_given_at_the_start(tmp_path, monkeypatch, content):
    path = tmp_path / "mine.toml"
    if content is not None:
        path.write_bytes(content)
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    assert "mine.toml" in words(start())


@pytest.mark.parametrize("lacking", [("cohorts",), ("beds",), ("cohorts", "beds")])
def test_empty_sites_do_not_break(tmp_path, monkeypatch, lacking):
    raw = {key: value for key, value in one_tank().items() if key not in lacking}
    path = tmp_path / "bare.toml"
    path.write_text(tomlkit.dumps(raw), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = start()
    for page in ("edit", "fish", "water", "powercut", "season"):
        go(at, page)
    if "cohorts" in lacking:
        assert "nothing to judge" in words(at)
        assert "no limit to keep" in words(go(at, "water"))
        assert "No fish " in words(go(at, "powercut"))
    if "beds" in lacking:
        assert "this loop has none" in words(go(at, "water"))


def test_names_from_outside_cannot_bring_markup(tmp_path, monkeypatch):
    raw = one_tank(count=10)
    raw["site"]["name"] = "<script>alert(1)</script> [x](http://example.org)"
    path = tmp_path / "sly.toml"
    path.write_text(tomlkit.dumps(raw), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = start()
    html = " ".join(element.proto.body for element in at.get("html"))
    assert "&lt;script&gt;" in html
    field(part(go(at, "edit"), "Tanks"), "tanks.one.volume").set_value("<script>x</script>").run()
    html += " ".join(element.proto.body for element in at.get("html"))
    assert "&lt;script&gt;x" in html
    # the pages' own scripts hold nothing of a site but letters of base64; there may be no other
    plain = [element.proto.body for element in at.get("html") if not element.proto.unsafe_allow_javascript]
    own = [element.proto.body for element in at.get("html") if element.proto.unsafe_allow_javascript]
    assert not any("<script>" in body for body in plain)
    assert not any("alert(1)" in body or "script>x" in body for body in own)
    assert not any("example.org" in element.value for element in at.markdown)
    assert not any(element.proto.allow_html for element in at.markdown)


def test_species_page_shows_every_value_with_its_source(small_file):
    at = start("fish")
    for name in ("walleye", "nile_tilapia"):  # a second choice holds as the first does
        at.selectbox[0].set_value(name).run()
        assert load_species(name).facts["latin"] in words(at)
    assert not at.exception
    entry, shown = load_species("nile_tilapia"), words(at)
    for key, value in entry.values.items():
        assert key.replace("_", " ") in shown
        assert value.where[:30] in shown
    for source in entry.sources.values():
        assert source.read in shown
    assert f"evidence {entry.evidence}" in shown


def test_species_page_shows_a_keepers_own_file_and_names_it(small_file):
    folder = Path(small_file).parent / "species_params" / "fish"
    folder.mkdir(parents=True)
    text = (library_folder() / "fish" / "bluegill.toml").read_text(encoding="utf-8")
    text = text.replace('title = "Bluegill"', 'title = "Pond <b>bluegill"')
    (folder / "bluegill.toml").write_text(text, encoding="utf-8")
    (folder / "pond_mix.toml").write_text("schema = 1", encoding="utf-8")
    at = start("fish")
    at.selectbox[0].set_value("bluegill").run()
    assert not at.exception
    assert "species_params/fish/bluegill.toml" in words(at)
    assert "Pond &lt;b&gt;bluegill" in words(at)
    at.selectbox[0].set_value("walleye").run()
    assert "species_params/fish/" not in words(at)
    at.selectbox[0].set_value("pond_mix").run()
    assert not at.exception
    assert "pond_mix.toml, title: " in words(at)


def test_species_page_says_what_is_wrong_with_a_field(small_file):
    at = start("fish")
    at.text_input[0].set_value("heavy").run()
    assert not at.exception
    assert '"heavy" is not a weight' in words(at)
    assert at.text_input[0].value == "heavy"
