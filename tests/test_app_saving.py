"""Saving, drafts and changes on disk, driven without a browser."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import tomlkit
from small_sites import one_tank
from streamlit.testing.v1 import AppTest

from stocksim.faces.registry import script_of
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.saving import find_drafts, previous_path, state_folder

ROOT = Path(__file__).parents[1]
TEXT = "# my own comment\n" + tomlkit.dumps(one_tank(count=10, days=5))


@pytest.fixture
def house(tmp_path, monkeypatch) -> Path:
    """A small site on disk, given to the pages as `stocksim open` gives it."""
    path = tmp_path / "site" / "house.toml"
    path.parent.mkdir()
    path.write_text(TEXT, encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    monkeypatch.setenv("STOCKSIM_FOLDER", str(path.parent))
    return path


def tab(page: str = "") -> AppTest:
    """A tab that opens the pages."""
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    return go(at, page) if page else whole(at)


def go(at: AppTest, page: str) -> AppTest:
    return whole(at.switch_page(str(script_of(page))).run())


def whole(at: AppTest) -> AppTest:
    assert not at.exception
    return at


def words(at: AppTest) -> str:
    html = " ".join(element.proto.body for element in at.get("html"))
    plain = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL))
    return " ".join(plain.replace("&#x27;", "'").replace("&quot;", '"').split())


def click(at: AppTest, label: str) -> AppTest:
    return whole(button(at, label).click().run())


def button(at: AppTest, label: str):
    return next(found for found in at.button if found.label == label)


def has(at: AppTest, label: str) -> bool:
    return any(found.label == label for found in at.button)


def is_saved(at: AppTest) -> bool:
    """What the bar about the file shows: with unsaved edits its button stands out."""
    return at.button(key="save").proto.type == "secondary"


def offers(at: AppTest) -> int:
    """Number of drafts that the page offers."""
    return sum(found.label == "Take the draft" for found in at.button)


def asks(at: AppTest) -> set[str]:
    """What became of the file that the page asks about: its buttons."""
    return {found.key for found in at.button} & {"keep_mine", "take_theirs", "save_again"}


CHANGED, GONE = {"keep_mine", "take_theirs"}, {"save_again"}


def is_offered(at: AppTest, name: str) -> bool:
    """Whether the page says that it found unsaved edits of a file."""
    return f"Unsaved edits of {name} " in words(at)


def type_weight(at: AppTest, weight: str) -> AppTest:
    field = next(f for f in at.text_input if f.key.endswith(" cohorts.fish.mean_weight"))
    return whole(field.set_value(weight).run())


def names(path: Path) -> list[str]:
    return sorted(found.name for found in path.parent.iterdir())


# ---- save -----------------------------------------------------------------------------------------------------------


def test_a_page_saves_to_the_file_it_was_opened_with(house):
    at = tab("edit")
    assert is_saved(at)
    assert "house.previous.toml" not in words(at)
    click(at, "Save")  # there is nothing to save
    assert names(house) == ["house.toml"]
    type_weight(at, "77 g")
    assert house.read_text(encoding="utf-8") == TEXT
    assert not is_saved(at)
    assert "(house.draft.toml)" in words(at)
    assert names(house) == ["house.draft.toml", "house.toml"]
    click(at, "Save")
    assert house.read_text(encoding="utf-8") == at.session_state["site_text"]
    assert '"77 g"' in house.read_text(encoding="utf-8")
    assert "# my own comment" in house.read_text(encoding="utf-8")
    assert previous_path(house).read_text(encoding="utf-8") == TEXT
    assert names(house) == ["house.previous.toml", "house.toml"]
    assert is_saved(at)
    assert "house.previous.toml" in words(at)


def test_what_is_not_saved_is_said_on_every_page(house):
    at = tab("edit")
    type_weight(at, "77 g")
    for page in ("season", "fish", "powercut"):
        assert not is_saved(go(at, page))
        assert "(house.draft.toml)" in words(at)
    click(at, "Save")
    assert not has(at, "Save")  # a page that does not edit speaks only of what is not saved
    assert '"77 g"' in house.read_text(encoding="utf-8")


def test_undo_back_to_what_is_saved_needs_no_draft(house):
    at = tab("edit")
    type_weight(at, "77 g")
    click(at, "Undo")
    assert names(house) == ["house.toml"]
    assert is_saved(at)


def test_a_refused_save_says_why_and_keeps_the_draft(house, monkeypatch):
    at = tab("edit")
    type_weight(at, "77 g")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("stocksim.site.saving.replace_file", full)
        click(at, "Save")
    assert "No space left on " in words(at)
    assert not is_saved(at)
    assert str(house.parent) not in words(at)
    assert house.read_text(encoding="utf-8") == TEXT
    assert '"77 g"' in house.with_name("house.draft.toml").read_text(encoding="utf-8")


def test_edits_that_no_draft_can_hold_are_not_said_to_be_kept(house, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    at = tab("edit")
    monkeypatch.setattr("stocksim.site.saving.replace_file", full)
    type_weight(at, "heavy")
    for word in ("typed is not saved", "in this page only", "(No space left on device)"):
        assert word in words(at)
    assert "kept as a draft" not in words(at)
    assert names(house) == ["house.toml"]


# ---- drafts ---------------------------------------------------------------------------------------------------------


def test_a_draft_is_offered_and_never_applied_unasked(house):
    type_weight(tab("edit"), "77 g")
    at = tab("edit")  # loaded again: another session, as after a crash
    assert '"77 g"' not in at.session_state["site_text"]
    assert is_offered(at, "house.toml")
    assert any('+mean_weight = "77 g"' in code.value for code in at.code)
    click(at, "Take the draft")
    assert '"77 g"' in at.session_state["site_text"]
    assert offers(at) == 0
    (draft,) = find_drafts(house, house.name)
    assert draft.text == at.session_state["site_text"]
    click(at, "Save")
    assert names(house) == ["house.previous.toml", "house.toml"]
    assert '"77 g"' in house.read_text(encoding="utf-8")


def test_a_draft_is_discarded_only_when_told(house):
    type_weight(tab("edit"), "77 g")
    at = tab()
    assert is_offered(at, "house.toml")
    click(at, "Discard the draft")
    assert offers(at) == 0
    assert names(house) == ["house.toml"]


def test_a_draft_found_does_not_mix_with_new_edits(house):
    type_weight(tab("edit"), "77 g")
    at = tab("edit")
    type_weight(at, "88 g")
    assert {('"77 g"' in d.text, '"88 g"' in d.text) for d in find_drafts(house, house.name)} == {
        (True, False),
        (False, True),
    }
    click(at, "Take the draft")
    assert '"77 g"' in at.session_state["site_text"]
    (draft,) = find_drafts(house, house.name)
    assert '"77 g"' in draft.text
    click(at, "Undo")  # nothing typed here is lost by it
    assert '"88 g"' in at.session_state["site_text"]


def test_what_a_left_page_writes_after_its_draft_was_offered_is_taken_and_never_discarded_unseen(house):
    other = tab("edit")
    type_weight(other, "77 g")
    one, two = tab("edit"), tab("edit")
    type_weight(other, "78 g")
    click(one, "Discard the draft")
    assert '+mean_weight = "78 g"' in next(code.value for code in one.code if "78 g" in code.value)
    click(two, "Take the draft")
    assert '"78 g"' in two.session_state["site_text"]


def test_many_drafts_found_are_one_line_of_the_page(house):
    for weight in ("77 g", "78 g", "79 g"):
        type_weight(tab("edit"), weight)
    at = tab("edit")
    assert offers(at) == 3
    assert [one for one in at.get("popover") if one.proto.popover.label.endswith(": 3 drafts")]


def test_a_draft_begun_from_another_version_asks_before_it_can_be_saved(house):
    type_weight(tab("edit"), "77 g")
    house.write_text(TEXT.replace("count = 10", "count = 11"), encoding="utf-8")
    at = click(tab("edit"), "Take the draft")
    assert asks(at) == CHANGED
    assert "here are not saved" in words(at)
    assert not has(at, "Save")
    click(at, "Keep mine")
    click(at, "Save")
    assert '"77 g"' in house.read_text(encoding="utf-8")
    assert "count = 11" in previous_path(house).read_text(encoding="utf-8")


def test_a_draft_of_what_was_saved_since_is_not_offered(house):
    at = tab("edit")
    type_weight(at, "77 g")
    house.write_text(at.session_state["site_text"], encoding="utf-8")
    assert offers(tab()) == 0
    assert names(house) == ["house.toml"]


# ---- the file changes, or goes --------------------------------------------------------------------------------------


def test_two_tabs_never_overwrite_each_other_unasked(house):
    one, two = tab("edit"), tab("edit")
    type_weight(one, "77 g")
    type_weight(two, "88 g")
    click(one, "Save")
    saved = house.read_text(encoding="utf-8")
    # the button that stood there before the other saved
    click(two, "Save")
    assert house.read_text(encoding="utf-8") == saved
    assert asks(two) == CHANGED
    assert '"88 g"' in two.session_state["site_text"]
    click(two, "Keep mine")
    click(two, "Save")
    assert '"88 g"' in house.read_text(encoding="utf-8")
    assert previous_path(house).read_text(encoding="utf-8") == saved


def test_a_change_on_disk_is_noticed_and_taken_only_when_told(house):
    at = tab()
    theirs = TEXT.replace("count = 10", "count = 11")
    house.write_text(theirs, encoding="utf-8")
    go(at, "water")
    assert asks(at) == CHANGED
    assert "here are not saved" not in words(at)
    assert at.session_state["site_text"] == TEXT
    assert any("-count = 11" in code.value and "+count = 10" in code.value for code in at.code)
    click(at, "Take theirs")
    assert at.session_state["site_text"] == theirs
    assert not asks(at)
    click(go(at, "edit"), "Undo")
    assert at.session_state["site_text"] == TEXT
    assert not is_saved(at)


def test_a_file_touched_or_saved_with_other_line_ends_is_no_change(house):
    at = tab("edit")
    house.write_bytes(TEXT.encode().replace(b"\n", b"\r\n"))
    at.run()
    assert not asks(at)
    type_weight(at, "77 g")
    click(at, "Save")
    saved = house.read_bytes()
    assert saved.count(b"\r\n") == saved.count(b"\n") > 5
    assert b'"77 g"' in saved


def test_a_file_that_became_unreadable_is_told_and_can_be_replaced(house):
    at = tab("edit")
    house.write_bytes(b"\xff\xfea\x00")
    at.run()
    assert asks(at) == CHANGED
    assert "house.toml: is UTF-16" in words(at)
    assert button(at, "Take theirs").disabled
    click(at, "Keep mine")
    click(at, "Save")
    assert house.read_text(encoding="utf-8") == TEXT
    assert previous_path(house).read_bytes() == b"\xff\xfea\x00"


def test_a_deleted_file_is_told_and_saved_again(house):
    at = tab()
    house.unlink()
    at.run()
    again = tab()  # loaded again: still this site, not another one's verdict
    assert asks(at) == asks(again) == GONE
    assert "one tank (invented)" in words(again)
    click(again, "Save it again")
    assert house.read_text(encoding="utf-8") == TEXT
    assert not asks(at.run())


def test_a_file_that_never_was_there_is_told_without_another_sites_verdict(house, monkeypatch):
    path = house.with_name("other.toml")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = tab()
    assert "other.toml: cannot be " in words(at)
    assert not asks(at)
    assert "Heron Lane" not in words(at)
    assert str(house.parent) not in words(at)
    assert not at.get("vega_lite_chart")
    for page in ("edit", "water", "stock", "fish"):
        go(at, page)


# ---- faulty ---------------------------------------------------------------------------------------------------------


def test_a_faulty_file_opens_where_it_is_mended(house):
    house.write_text(TEXT.replace('mean_weight = "100.0 g"', 'mean_weight = "100"'), encoding="utf-8")
    at = tab()
    assert "To fix: 1. " in words(at)
    assert is_saved(at)
    type_weight(at, "100.0 g")
    assert "To fix" not in words(at)
    click(at, "Save")
    assert house.read_text(encoding="utf-8") == TEXT
    go(at, "season")
    assert "one tank (invented)" in words(at)


def test_a_sound_file_opens_with_its_season_even_when_faults_come_later(house):
    at = tab()
    type_weight(go(at, "edit"), "50")
    assert "To fix: 1. " in words(at)
    assert not is_saved(at)
    go(at, "season")
    assert "last sound version" in words(at)


def test_unreadable_toml_opens_as_a_whole_file(house):
    house.write_text(TEXT.replace("[season]", "[season"), encoding="utf-8")
    at = tab()
    assert "house.toml: line 6 " in words(at)
    whole(at.segmented_control(key="part").set_value("Whole file").run())
    whole(at.text_area[0].set_value(TEXT).run())
    click(at, "Save")
    assert house.read_text(encoding="utf-8") == TEXT


# ---- sites without a file -------------------------------------------------------------------------------------------


def save_as(at: AppTest, name: str) -> AppTest:
    whole(next(field for field in at.text_input if field.label == "Name of the new file").set_value(name).run())
    return click(at, "Save as a new file")


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    """A folder in which `stocksim open` was called without a file."""
    monkeypatch.delenv("STOCKSIM_SITE", raising=False)
    monkeypatch.setenv("STOCKSIM_FOLDER", str(tmp_path))
    return tmp_path


def small_example(monkeypatch, spared: str = "") -> None:
    """Every example is a small site, but for one that is spared."""
    monkeypatch.setattr(
        "stocksim.faces.screen.example_text", lambda name: example_text(name) if name == spared else TEXT
    )


def test_an_example_is_saved_as_a_new_file_and_never_over_another(folder, monkeypatch):
    small_example(monkeypatch)
    at = tab("edit")
    assert "(heron_lane.draft.toml)" not in words(at)
    type_weight(at, "77 g")
    assert "(heron_lane.draft.toml)" in words(at)
    (folder / "mine.toml").write_text("precious", encoding="utf-8")
    save_as(at, "mine")
    assert "mine.toml: is already" in words(at)
    assert (folder / "mine.toml").read_text(encoding="utf-8") == "precious"
    save_as(at, "ours")
    assert '"77 g"' in (folder / "ours.toml").read_text(encoding="utf-8")
    assert is_saved(at)
    assert find_drafts(None) == []
    type_weight(at, "78 g")
    click(at, "Save")
    assert '"78 g"' in (folder / "ours.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["../out.toml", "/etc/out.toml", "C:\\out.toml", ".hidden", "", "a\nb", "n" * 200])
def test_a_new_file_stays_in_its_folder(folder, monkeypatch, name):
    small_example(monkeypatch)
    before = sorted(folder.parent.rglob("*"))
    at = save_as(tab("edit"), name)
    assert "no name for a file" in words(at) or "The name has" in words(at)
    assert sorted(folder.parent.rglob("*")) == before


def test_edits_of_an_example_outlive_the_page(folder, monkeypatch):
    small_example(monkeypatch)
    type_weight(tab("edit"), "77 g")
    (draft,) = find_drafts(None)
    assert draft.path.is_relative_to(state_folder())
    at = tab("edit")
    assert is_offered(at, "heron_lane.toml")
    click(at, "Take the draft")
    assert '"77 g"' in at.session_state["site_text"]
    (draft,) = find_drafts(None)
    assert draft.text == at.session_state["site_text"]


def upload(at: AppTest, *files: tuple[str, bytes]) -> AppTest:
    return whole(at.file_uploader(key="upload").set_value([(n, data, "text/plain") for n, data in files]).run())


LOGGED = TEXT.replace(
    '[loops.main.water_temperature]\nkind = "constant"\nvalue = "26.0 degC"',
    '[loops.main.water_temperature]\nkind = "log"\nfile = "pond.csv"',
)
LOG = b"date,temperature_c\n" + b"".join(b"2026-10-0%d,21\n" % day for day in range(1, 6))


def test_an_upload_outlives_the_page_and_is_saved_with_its_log(house):
    assert "pond.csv" in LOGGED
    upload(tab(), ("load.toml", LOGGED.encode()), ("pond.csv", LOG))
    at = tab()  # the opened file, and the upload as a draft
    assert is_offered(at, "load.toml")
    assert at.session_state["site_text"] == TEXT
    click(at, "Take the draft")
    assert at.session_state["site_text"] == LOGGED
    assert "cannot be run" not in words(at)
    (house.parent / "pond.csv").write_bytes(b"another log")
    go(at, "edit")
    save_as(at, "load.toml")
    assert "pond.csv: is already" in words(at)
    assert not (house.parent / "load.toml").exists()
    (house.parent / "pond.csv").unlink()
    save_as(at, "load.toml")
    assert (house.parent / "load.toml").read_text(encoding="utf-8") == LOGGED
    assert (house.parent / "pond.csv").read_bytes() == LOG
    assert house.read_text(encoding="utf-8") == TEXT


def test_an_upload_does_not_end_the_draft_of_the_opened_file(house):
    at = tab("edit")
    type_weight(at, "77 g")
    upload(go(at, "season"), ("load.toml", TEXT.replace("one tank", "another").encode()))
    assert '"77 g"' in find_drafts(house, house.name)[0].text
    click(go(at, "edit"), "Undo")
    assert "(house.draft.toml)" in words(at)
    click(at, "Save")
    assert '"77 g"' in house.read_text(encoding="utf-8")


# ---- a plan asks ----------------------------------------------------------------------------------------------------


def test_a_plan_is_taken_only_after_it_was_shown_what_changes(house):
    house.write_text(TEXT.replace("count = 10", "count = 400"), encoding="utf-8")
    at = tab("stock")
    before = at.session_state["site_text"]
    click(at, "Take the plan into the site")
    assert at.session_state["site_text"] == before
    assert has(at, "Yes, take it")
    assert re.search(r"cohorts\.fish: .*count 400 becomes \d+", words(at))
    click(at, "No, leave the site as it is")
    assert not has(at, "Yes, take it")
    assert at.session_state["site_text"] == before
    click(at, "Take the plan into the site")
    click(at, "Yes, take it")
    assert at.session_state["site_text"] != before
    assert "# Planned by" in at.session_state["site_text"]
    assert house.read_text(encoding="utf-8") == before
    assert not is_saved(at)
    assert "(house.draft.toml)" in words(at)


# ---- a network ------------------------------------------------------------------------------------------------------


def test_pages_to_be_read_only_change_nothing(house, monkeypatch):
    type_weight(tab("edit"), "77 g")
    monkeypatch.setenv("STOCKSIM_READ_ONLY", "1")
    before = {path: path.read_bytes() for path in house.parent.iterdir()}
    at = tab()
    assert offers(at) == 0
    assert not [found for found in at.button if found.label.startswith(("Open the example", "Save"))]
    assert not at.get("file_uploader")
    with pytest.raises(ValueError, match=r"a navigation page for .*edit"):
        go(at, "edit")  # not in the menu: not to be had by its address either
    stock = tab("stock")
    assert not [found for found in stock.button if found.label.startswith("Take the plan")]
    assert {path: path.read_bytes() for path in house.parent.iterdir()} == before
    # what changes on disk is shown
    house.write_text(TEXT.replace("one tank", "other house"), encoding="utf-8")
    assert "other house (invented)" in words(go(at, "season"))


def test_a_page_that_is_edited_all_the_same_writes_nothing_when_read_only(house, monkeypatch):
    at = tab("edit")
    monkeypatch.setenv("STOCKSIM_READ_ONLY", "1")  # as a browser would that sends what its page no longer shows
    type_weight(at, "77 g")
    assert '"77 g"' not in at.session_state["site_text"]
    assert names(house) == ["house.toml"]


def test_the_pages_ask_for_their_token(house, monkeypatch):
    monkeypatch.setenv("STOCKSIM_TOKEN", "by-the-tank")
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    assert [field.key for field in at.text_input] == ["token"]
    assert "one tank" not in words(at)
    assert "site_text" not in at.session_state
    whole(at.text_input(key="token").set_value("by-the-tan").run())
    assert "not the token" in words(at)
    assert "site_text" not in at.session_state
    whole(at.text_input(key="token").set_value("by-the-tank").run())
    assert "one tank (invented)" in words(at)
    assert at.query_params["token"] in ("by-the-tank", ["by-the-tank"])
    by_address = AppTest.from_file(ROOT / "app.py", default_timeout=900)
    by_address.query_params["token"] = "by-the-tank"
    assert "one tank (invented)" in words(whole(by_address.run()))


def test_an_installed_example_is_nobodys_to_write(folder, monkeypatch):
    monkeypatch.setenv("STOCKSIM_SITE", str(FOLDER / "starter.toml"))
    before = {path: path.read_bytes() for path in FOLDER.iterdir() if path.is_file()}
    at = tab("edit")
    assert at.session_state["site_text"] == example_text("starter")
    next(n for n in at.text_input if "cohorts.perch.count" in n.key).set_value("61").run()
    assert "(starter.draft.toml)" in words(at)
    assert not has(at, "Save")
    assert {path: path.read_bytes() for path in FOLDER.iterdir() if path.is_file()} == before


def test_the_starter_is_an_example_too(folder, monkeypatch):
    small_example(monkeypatch, spared="starter")
    at = tab()
    assert at.session_state["site_text"] == TEXT
    click(at, "Open the example starter")
    assert at.session_state["site_text"] == example_text("starter")
    assert find_drafts(None) == []
