"""Saving, drafts and changes on disk in a real Chromium: tabs, reloads, a server that dies, a network's guests."""

from __future__ import annotations

import os
import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import tomlkit
from served import CHROMIUM, FAR_OUT_MS, FLAGS, Opened, opened, settle
from small_sites import one_tank

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.is_file(), reason=f"no Chromium at {CHROMIUM}"),
    pytest.mark.skipif(os.name != "posix", reason="kills process groups of POSIX"),
]
sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
sync_api.expect.set_options(timeout=FAR_OUT_MS)
expect = sync_api.expect

TEXT = "# my own comment\n" + tomlkit.dumps(one_tank(count=10, days=5))


@pytest.fixture(scope="module")
def browser():
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture
def house(tmp_path) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def pages_of_one_file(tmp_path_factory) -> Iterator[tuple[Opened, Path]]:
    """Pages for the tests that neither end them nor start them in a way of their own, and the file that they show."""
    path = tmp_path_factory.mktemp("one_file") / "house.toml"
    path.write_text(TEXT, encoding="utf-8")
    with opened(path.parent, "house.toml", "--no-browser") as pages:
        yield pages, path


@pytest.fixture
def shared(pages_of_one_file) -> tuple[Opened, Path]:
    """These pages, with the file as it was at first and nothing beside it that an earlier test has left."""
    pages, path = pages_of_one_file
    for left in path.parent.glob("*.toml"):
        left.unlink()
    path.write_text(TEXT, encoding="utf-8")
    return pages, path


def visit(browser, address: str, width: int = 1440):
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.set_default_timeout(FAR_OUT_MS)
    page.goto(address)
    settle(page)
    return page


def edit(page, weight: str) -> None:
    """Type a weight on the edit page and leave the field."""
    if not page.get_by_role("textbox", name="mean weight").count():
        page.get_by_role("link", name="Site", exact=True).click()
        settle(page)
    field = page.get_by_role("textbox", name="mean weight").first
    field.fill(weight)
    field.press("Tab")
    settle(page)


def press(page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()
    settle(page)


def wait_for(is_so) -> None:
    """Wait for what the server does by itself, with a bound far out."""
    for _ in range(int(FAR_OUT_MS) // 50):
        if is_so():
            return
        time.sleep(0.05)
    pytest.fail("it did not come about")


def drafts_beside(house: Path) -> str:
    """What stands in the drafts beside a site file."""
    return "".join(path.read_text(encoding="utf-8") for path in house.parent.glob("*draft*"))


def said(page) -> str:
    """What the bar about the file says."""
    return page.locator(".st-key-saving_bar").inner_text()


def test_edits_outlive_a_reload_and_a_dead_server(browser, house):
    with opened(house.parent, "house.toml", "--no-browser") as pages:
        page = visit(browser, f"{pages.address}edit")
        edit(page, "77 g")
        assert "(house.draft.toml)" in said(page)
        page.reload()
        settle(page)
        expect(page.get_by_role("textbox", name="mean weight").first).to_have_value("100.0 g")
        assert "Unsaved edits of house." in said(page)
        press(page, "Take the draft")
        expect(page.get_by_role("textbox", name="mean weight").first).to_have_value("77 g")
        edit(page, "78 g")
        os.killpg(pages.process.pid, signal.SIGKILL)  # as a power cut would end it
        pages.process.wait()
        page.close()
    assert house.read_text(encoding="utf-8") == TEXT
    with opened(house.parent, "house.toml", "--no-browser") as pages:
        page = visit(browser, pages.address)
        page.get_by_role("button", name="Unsaved edits of house.toml were found").click()
        press(page, "Take the draft")
        page.keyboard.press("Escape")
        press(page, "Save")
        page.close()
    assert '"78 g"' in house.read_text(encoding="utf-8")
    assert not list(house.parent.glob("*draft*"))


def test_what_stands_in_a_field_when_the_page_is_loaded_again_is_in_the_draft(browser, shared):
    """No browser promises to send what a page sends when it goes, so not every time is asked for: once in three."""
    pages, house = shared
    page = visit(browser, f"{pages.address}edit")
    edit(page, "77 g")
    is_kept = False
    for number in range(3):
        page.get_by_role("textbox", name="mean weight").first.fill(f"8{number} g")
        page.reload()  # as F5, straight out of the field
        settle(page)
        is_kept = f'"8{number} g"' in drafts_beside(house)
        press(page, "Take the draft")
        if is_kept:
            expect(page.get_by_role("textbox", name="mean weight").first).to_have_value(f"8{number} g")
            break
    page.close()
    assert is_kept


def test_save_clicked_straight_out_of_a_field_saves_what_was_typed(browser, shared):
    pages, house = shared
    page = visit(browser, f"{pages.address}edit")
    for number in range(2):
        page.get_by_role("textbox", name="mean weight").first.fill(f"7{number} g")
        page.get_by_role("button", name="Save", exact=True).click()
        wait_for(lambda typed=f'"7{number} g"': typed in house.read_text(encoding="utf-8"))
    page.close()


def test_two_tabs_ask_before_one_overwrites_the_other(browser, shared):
    pages, house = shared
    one, two = visit(browser, f"{pages.address}edit"), visit(browser, f"{pages.address}edit")
    edit(one, "77 g")
    edit(two, "88 g")
    # the draft of a page that is open belongs to it
    assert "Another page that is" in said(two)
    assert "Unsaved edits" not in said(two)
    press(one, "Save")
    saved = house.read_text(encoding="utf-8")
    assert '"77 g"' in saved
    press(two, "Save")
    assert house.read_text(encoding="utf-8") == saved
    assert "changed on disk" in said(two)
    two.get_by_text("Show the difference").click()
    two.get_by_text('+mean_weight = "88 g"').wait_for()
    press(two, "Take theirs")
    expect(two.get_by_role("textbox", name="mean weight").first).to_have_value("77 g")
    edit(two, "99 g")
    press(two, "Save")
    assert '"99 g"' in house.read_text(encoding="utf-8")
    one.get_by_role("link", name="Season").click()
    settle(one)
    assert "changed on disk" in said(one)
    one.close()
    two.close()


def test_a_change_on_disk_and_a_deleted_file_are_told(browser, shared):
    pages, house = shared
    page = visit(browser, pages.address)
    edit(page, "77 g")
    house.write_text(TEXT.replace("count = 10", "count = 11"), encoding="utf-8")
    page.get_by_role("link", name="Water and ramp").click()
    settle(page)
    assert "changed on disk" in said(page)
    assert "here are not saved" in said(page)
    press(page, "Keep mine")
    press(page, "Save")
    mine = house.read_text(encoding="utf-8")
    assert '"77 g"' in mine
    assert "count = 11" in house.with_name("house.previous.toml").read_text(encoding="utf-8")
    house.unlink()
    page.get_by_role("link", name="Season").click()
    settle(page)
    assert "no longer at its" in said(page)
    page.reload()
    settle(page)
    assert page.locator(".ss-site").inner_text() == "one tank (invented)"
    press(page, "Save it again")
    assert house.read_text(encoding="utf-8") == mine
    page.close()


def test_a_faulty_file_opens_where_it_is_mended_and_saved(browser, house):
    house.write_text(TEXT.replace('"100.0 g"', '"100"'), encoding="utf-8")
    with opened(house.parent, "house.toml", "--no-browser") as pages:
        page = visit(browser, pages.address)
        expect(page.get_by_role("textbox", name="mean weight").first).to_have_value("100")
        expect(page.locator(".ss-verdict").first).to_contain_text("To fix: 1")
        edit(page, "100.0 g")
        expect(page.locator(".ss-verdict").first).not_to_contain_text("To fix")
        press(page, "Save")
        page.get_by_role("link", name="Season").click()
        settle(page)
        assert page.locator(".ss-site").inner_text() == "one tank (invented)"
        page.close()
        _, _, err = pages.stop()
    assert "\nhouse.toml, " in f"\n{err}"
    assert "cohorts.fish.mean_weight: " in err
    assert house.read_text(encoding="utf-8") == TEXT


def test_a_plan_is_taken_only_when_confirmed(browser, shared):
    pages, house = shared
    house.write_text(TEXT.replace("count = 10", "count = 400"), encoding="utf-8")
    page = visit(browser, f"{pages.address}stock")
    press(page, "Take the plan into the site")
    assert re.search(r"count 400 becomes \d+", page.locator(".st-key-stock_confirm").inner_text())
    press(page, "No, leave the site as it is")
    assert not page.locator(".st-key-saving_bar").count()
    press(page, "Take the plan into the site")
    press(page, "Yes, take it")
    assert "Not saved" in said(page)
    page.close()
    assert "count = 400" in house.read_text(encoding="utf-8")


def test_a_guest_needs_the_token_and_may_only_look(browser, house):
    arguments = ("house.toml", "--no-browser", "--network", "--read-only", "--token", "by-the-tank")
    with opened(house.parent, *arguments) as pages:
        page = visit(browser, pages.address, 390)
        assert page.locator("h1").inner_text().endswith(" for a token")
        assert not page.get_by_role("link", name="Season").count()
        page.get_by_label("Token").fill("by-the-tank")
        page.get_by_label("Token").press("Enter")
        page.locator(".ss-site", has_text="one tank (invented)").wait_for()
        settle(page)
        page.get_by_role("link", name="Fish", exact=True).click()
        page.wait_for_url("**/fish?token=by-the-tank")
        settle(page)
        page.reload()  # the address keeps the token
        settle(page)
        assert page.get_by_role("link", name="Season").count()
        assert not page.get_by_role("link", name="Site", exact=True).count()
        page.set_viewport_size({"width": 1440, "height": 900})
        settle(page)
        assert page.locator(".ss-site").inner_text() == "one tank (invented)"
        assert not page.get_by_text("Change the site").count()
        page.close()
    assert sorted(path.name for path in house.parent.iterdir()) == ["house.toml"]


def test_an_odd_upload_is_one_sentence(browser, shared, tmp_path):
    pages, house = shared
    page = visit(browser, pages.address)
    page.get_by_text("Change the site").click()
    upload = page.locator('[data-testid="stFileUploader"] input[type=file]')
    for name, data, words in (
        ("n" * 285 + ".toml", TEXT.encode(), "290 letters"),
        ("big.toml", b"#" * 50_000_000, "more than 5 MB"),
        ("wide.toml", TEXT.encode("utf-16"), "wide.toml: is UTF-16"),
    ):
        if len(data) < 1_000_000:
            upload.set_input_files([{"name": name, "mimeType": "text/plain", "buffer": data}])
        else:
            file = tmp_path / name
            file.write_bytes(data)
            upload.set_input_files(str(file))
        expect(page.locator(".ss-faults")).to_contain_text(words)
        settle(page)
        assert words in page.locator(".ss-faults").inner_text()
        assert page.locator(".ss-faults li").count() == 1
        assert not page.get_by_text("Traceback").count()
        page.get_by_test_id("stFileChipDeleteBtn").click()
        expect(page.locator(".ss-faults")).to_have_count(0)
    page.close()
    assert house.read_text(encoding="utf-8") == TEXT
    assert not drafts_beside(house)
