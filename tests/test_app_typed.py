"""What is typed on the pages: kept, written as typed, refused in a sentence, remembered when another kind is picked."""

from __future__ import annotations

import datetime as dt
import os
import tomllib
from pathlib import Path
from types import SimpleNamespace

import pytest
import tomlkit
from calm_sites import calm_text
from small_sites import START, one_tank
from streamlit.testing.v1 import AppTest
from test_app import day, field, go, part, picker, sound, start, words

from stocksim.answers.cold import decide as cold_decide
from stocksim.errors import InputError
from stocksim.faces import editing, fields
from stocksim.site.examples import FOLDER, example_text

ROOT = Path(__file__).parents[1]


@pytest.fixture
def serve_text(tmp_path, monkeypatch):
    """Writes a site file that the pages open."""

    def write(text: str) -> Path:
        path = tmp_path / "mine.toml"
        path.write_text(text, encoding="utf-8")
        monkeypatch.setenv("STOCKSIM_SITE", str(path))
        return path

    return write


@pytest.fixture
def small_file(serve_text):
    return serve_text("# my own comment\n" + tomlkit.dumps(one_tank(count=10)))


def raw(at: AppTest) -> dict:
    return tomllib.loads(at.session_state["site_text"])


def click(at: AppTest, label: str) -> AppTest:
    next(b for b in at.button if b.label == label).click().run()
    assert not at.exception
    return at


# --- numbers and dates


@pytest.mark.parametrize(("typed", "written"), [("-4", -4), ("3.7", 3.7), ("many", "many"), ("", None)])
def test_a_count_that_cannot_be_is_told_beside_the_row(small_file, typed, written):
    at = go(start(), "edit")
    field(at, "cohorts.fish.count").set_value(typed).run()
    assert raw(at)["cohorts"]["fish"].get("count") == written
    assert field(at, "cohorts.fish.count").value == typed
    told = [element.proto.body for element in at.get("html") if "cohorts.fish.count" in element.proto.body]
    assert len(told) == 2  # at the top, and beside its row
    assert "To fix: 1." in words(at)
    field(at, "cohorts.fish.count").set_value("12").run()
    assert sound(at, small_file).cohorts["fish"].count == 12


@pytest.mark.parametrize("typed", ["3 Oct 2026", "3 October 2026", "3 oct 2026", "2026-10-03"])
def test_dates_are_taken_as_they_are_shown(small_file, typed):
    at = go(start(), "powercut")
    at.text_input(key="power cut, day").set_value(typed)
    click(at, "Show this case")
    assert "3 Oct 2026" in words(at)


def test_a_day_is_picked_and_one_that_is_none_is_typed_over(small_file):
    at = go(start(), "edit")
    day(at, "cohorts.fish.stocked").set_value(dt.date(2026, 10, 3)).run()
    assert sound(at, small_file).cohorts["fish"].stocked == dt.date(2026, 10, 3)
    day(at, "cohorts.fish.stocked").set_value(None).run()
    assert "stocked" not in raw(at)["cohorts"]["fish"]
    # what is no day cannot stand in a calendar: it stays to be seen, with its sentence, until it is one
    at.session_state["site_text"] = at.session_state["site_text"].replace("count = 10", 'count = 10\nstocked = "soon"')
    at.run()
    field(at, "cohorts.fish.stocked").set_value("3 Oct 2026").run()
    assert day(at, "cohorts.fish.stocked").value == dt.date(2026, 10, 3)


# --- refusals


def test_a_refused_name_stays_until_it_is_mended(small_file):
    at = go(start(), "edit")
    click(at, "Add a cohort")
    before = at.session_state["site_text"]

    def name():
        return next(f for f in at.text_input if f.label == "name")

    name().set_value("cohort_1").run()
    for _ in range(2):
        assert at.session_state["site_text"] == before
        assert name().value == "cohort_1"
        assert 'cohorts.fish: "cohort_1" ' in words(at)
        go(go(at, "season"), "edit")
    click(at, "Undo")
    assert (name().value, at.session_state["site_text"]) == ("fish", before)
    name().set_value("cohort_1").run()
    name().set_value("big_fish").run()
    assert not at.exception
    assert "already among" not in words(at)
    assert [*raw(at)["cohorts"]] == ["big_fish", "cohort_1"]


# --- forms that give way to others


class Remembered(dict):
    """A session's state: entries that are attributes as well."""

    __getattr__, __setattr__ = dict.__getitem__, dict.__setitem__


@pytest.mark.parametrize(
    ("key", "path", "shown", "typed", "place"),
    [
        # the form before the last one sends once more what it was drawn with: nothing was typed
        ("field 2 loops.main.sump", "loops.another.sump", "900 L", "900 L", None),
        ("field 2 loops.cool.sump", "loops.cool.sump", "900 L", "900 L", None),
        ("field 2 loops.cool.sump", "loops.cool.sump", "900 L", "950 L", "loops.cool.sump"),
        # a row that is gone is not made again
        ("field 3 loops.lost.sump", "loops.lost.sump", "900 L", "950 L", None),
        ("field 3 loops.lost.sump", "loops.lost.sump", "900 L", "900 L", None),
        # a row that was renamed meanwhile takes what is typed in its other fields
        ("field 3 loops.main.sump", "loops.main.sump", "900 L", "950 L", "loops.cool.sump"),
        ("field 3 loops.main.sump", "loops.cool.sump", "900 L", "900 L", "loops.cool.sump"),
        ("field 3 site.name", "site.name", "here", "there", "site.name"),
    ],
)
def test_only_what_was_typed_goes_into_the_text_and_only_where_its_row_is(monkeypatch, key, path, shown, typed, place):
    state = Remembered(
        site_turn=3, site_text='[site]\nname = "here"\n[loops.cool]\nsump = "900 L"\n', edit_names_of=3,
        edit_names={("loops", "cool"): "main"},
    )  # fmt: skip
    state[key] = typed
    monkeypatch.setattr(fields, "st", SimpleNamespace(session_state=state))
    found = fields.place_of(key, tuple(path.split(".")), shown)
    assert found == (None if place is None else tuple(place.split(".")))


# --- kinds


def kind(at: AppTest, dotted: str, to: str) -> None:
    picker(at, dotted).set_value(to).run()
    assert not at.exception


def test_typed_temperatures_come_back_with_their_kind(serve_text):
    text = calm_text("heron_lane")
    serve_text(text)
    at = part(go(start(), "edit"), "Loops")
    typed = raw(at)["loops"]["main"]["water_temperature"]
    assert typed["kind"] == "monthly"
    here = "loops.main.water_temperature"
    kind(at, here, "constant")
    kind(at, here, "monthly")
    assert at.session_state["site_text"] == text  # nothing else was changed: the very text
    # what was typed for each kind comes back, through other kinds and other changes
    kind(at, here, "constant")
    field(at, f"{here}.value").set_value("61 degF").run()
    field(at, "loops.main.sump").set_value("900 L").run()
    kind(at, here, "log")
    kind(at, here, "monthly")
    assert raw(at)["loops"]["main"]["water_temperature"] == typed
    kind(at, here, "constant")
    assert raw(at)["loops"]["main"]["water_temperature"]["value"] == "61 degF"
    click(at, "Undo")
    assert raw(at)["loops"]["main"]["water_temperature"] == typed
    # and under another name
    kind(at, here, "constant")
    next(f for f in at.text_input if f.label == "name").set_value("cool").run()
    kind(at, here, "monthly")  # the fields of a row keep the name that it had at first
    assert raw(at)["loops"]["cool"]["water_temperature"] == typed


def test_another_loop_of_an_old_name_starts_afresh(small_file):
    at = part(go(start(), "edit"), "Loops")
    click(at, "Add a loop")
    field(at, "loops.loop_1.water_temperature.value").set_value("9 degC").run()
    kind(at, "loops.loop_1.water_temperature", "monthly")
    next(b for b in at.button if b.help == "remove loop_1").click().run()
    click(at, "Add a loop")
    kind(at, "loops.loop_1.water_temperature", "monthly")
    kind(at, "loops.loop_1.water_temperature", "constant")
    assert raw(at)["loops"]["loop_1"]["water_temperature"] == {"kind": "constant", "value": "15 degC"}


def test_set_points_stay_when_the_kind_of_temperature_changes():
    text = '[loops.a]\nwater_temperature = { kind = "constant", value = "15 degC", at_least = "14 degC" }\n'
    path = ("loops", "a", "water_temperature")
    new, memory = editing.switch_kind(text, path, "log", {"kind": "log", "file": "x.csv"}, ("at_least", "at_most"), {})
    assert editing.value_at(tomllib.loads(new), path) == {"kind": "log", "file": "x.csv", "at_least": "14 degC"}
    back, _ = editing.switch_kind(new, path, "constant", {}, ("at_least", "at_most"), memory)
    assert back == text


# --- entries whose start moves


def test_every_price_that_is_sent_counts(serve_text, monkeypatch):
    serve_text(calm_text("heron_lane_computed"))
    asked = []

    def compared(site, worth, progress):
        asked.append(worth)
        raise InputError("not compared in this test")

    monkeypatch.setattr(cold_decide, "compare_cold", compared)
    at = go(start(), "cold")
    for typed in ("12", "20", "5", "7.5"):
        at.text_input(key="worth").set_value(typed)
        click(at, "Compare set points and measures")
        assert at.text_input(key="worth").value == typed
    assert asked == [12.0, 20.0, 5.0, 7.5]
    for typed in ("-4", "inf", "nan", "much", ""):
        at.text_input(key="worth").set_value(typed)
        click(at, "Compare set points and measures")
        assert f'"{typed}" is not allowed' in words(at)
    assert len(asked) == 4


def test_every_case_that_is_sent_counts(small_file):
    at = go(start(), "powercut")
    for number in range(3, 9):
        at.text_input(key="power cut, day").set_value(f"2026-10-{number:02}")
        at.text_input(key="power cut, battery").set_value(f"{number} W")
        click(at, "Show this case")
        assert f"{number} Oct 2026" in words(at)
    go(go(at, "season"), "powercut")
    assert at.text_input(key="power cut, day").value == "2026-10-08"
    assert "8 Oct 2026" in words(at)


def test_what_is_asked_of_one_fish_lasts(small_file):
    at = go(start(), "fish")
    for typed in ("-4", "3.7", "9", "2000", "", "9" * 5000):
        at.text_input(key="one fish, days").set_value(typed).run()
        assert "from 10 to 1,000" in words(at)
    at.text_input(key="one fish, days").set_value("100").run()
    at.text_input(key="one fish, water").set_value("20 degC").run()
    at.selectbox(key="species").set_value("walleye").run()
    go(go(at, "season"), "fish")
    assert [at.text_input(key=f"one fish, {what}").value for what in ("weight", "water", "days")] == [
        "20 g", "20 degC", "100",
    ]  # fmt: skip
    assert at.selectbox(key="species").value == "walleye"


def test_every_entry_of_a_page_has_a_key_of_its_own():
    """A widget without one is another widget as soon as its start moves, and what was entered is dropped."""
    import ast

    moving = {"text_input", "number_input", "slider", "selectbox", "segmented_control", "text_area", "checkbox",
              "multiselect", "radio", "toggle", "date_input", "data_editor", "file_uploader"}  # fmt: skip
    keyless = []
    for path in (ROOT / "stocksim" / "faces").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in moving:
                keys = {keyword.arg for keyword in node.keywords}
                if isinstance(node.func.value, ast.Name) and node.func.value.id == "st" and not keys & {"key", None}:
                    keyless.append(f"{path.name}:{node.lineno}")
    assert keyless == []


# --- what the season depends on


@pytest.mark.parametrize("name", ["logs/pond.csv", "pond.txt", "logs/old/pond"])
def test_a_log_that_changes_is_noticed_wherever_it_is(serve_text, tmp_path, name):
    tables = one_tank(count=10, days=5)
    tables["loops"]["main"]["water_temperature"] = {"kind": "log", "file": name}
    log = tmp_path / name
    log.parent.mkdir(parents=True, exist_ok=True)
    days = [START + dt.timedelta(days=day) for day in range(5)]

    def write(water: int) -> None:
        log.write_text("date,temperature_c\n" + "".join(f"{day},{water}\n" for day in days), encoding="utf-8")

    write(21)
    serve_text(tomlkit.dumps(tables))
    at = start()
    (first,) = {round(float(value), 6) for value in at.session_state["site_sound"] and water_of(at)}
    before = log.stat()
    write(27)
    os.utime(log, ns=(before.st_atime_ns, before.st_mtime_ns))  # as a copy that keeps its time, of the same length
    at.run()
    assert not at.exception
    (second,) = {round(float(value), 6) for value in water_of(at)}
    assert (first, second) == (21.0, 27.0)
    log.unlink()
    at.run()
    assert f"{Path(name).name} was not found" in words(at)


def water_of(at: AppTest):
    from stocksim.faces.screen import solve

    return solve(at.session_state["site_sound"]).site.held_c["main"]


def test_a_weather_file_in_a_folder_is_watched(tmp_path):
    from stocksim.faces.screen import _stamp

    text = example_text("heron_lane_computed")
    named = editing.put(text, ("weather",), {"kind": "file", "file": "records/winter.dat"})
    assert _stamp(str(tmp_path), named) == ()
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "winter.dat").write_text("date")
    (tmp_path / "other.csv").write_text("of nobody")
    (stamp,) = _stamp(str(tmp_path), named)
    assert stamp[0] == "records/winter.dat"
    # names of no file, and texts that cannot be read, are nothing to watch
    for odd in ('"a\\u0000b"', '""', f'"{"n" * 400}"', "3"):
        _stamp(str(FOLDER), f"file = {odd}")
    assert _stamp(str(tmp_path), "[[[") == ()


def test_care_stands_where_it_is_typed_and_words_where_they_are_said(serve_text):
    tables = one_tank(count=3)
    tables["cohorts"]["fish"] |= {"wild": True, "trained": True}
    serve_text(tomlkit.dumps(tables))
    at = go(start(), "edit")
    told = words(at)
    assert "weeks of quarantine off the loop" in told
    assert "ask the local authority" in told
    assert "Children drown" not in told
    part(at, "Tanks")
    assert "Children drown" in words(at)
    go(at, "season")
    folded = next(body for body in (e.proto.body for e in at.get("html")) if "Words on this page" in body)
    assert "<dt><b>ration</b></dt>" in folded or "<dt><b>appetite</b></dt>" in folded
    assert "<dt><b>wicking bed</b></dt>" not in folded  # it has none
