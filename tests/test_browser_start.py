"""From an empty start to a first verdict on a phone, counted in a real Chromium."""

from __future__ import annotations

from browsing import LONG_MS, MARKS, settle

pytestmark = MARKS

MOST_INPUTS = 30  # clicks and typed fields
TYPED = {
    "latitude (north +)": "44.5", "coldest month, mean low": "-12 degC", "coldest month, mean high": "-3 degC",
    "warmest month, mean low": "14 degC", "warmest month, mean high": "26 degC", "number of fish tanks": "2",
    "water in each tank": "800 L", "water in the sump": "700 L", "bed area": "6 m2", "number of fish, all tanks": "60",
    "mean weight at the start": "50 g", "its temperature": "14 degC",
}  # fmt: skip


def choose(page, label: str, option: str) -> None:
    """Pick from a list; one that a late run has closed meanwhile is opened again."""
    box, wanted = page.get_by_label(label, exact=True), page.get_by_role("option", name=option, exact=True)
    for _ in range(5):
        box.click()
        try:
            wanted.click(timeout=LONG_MS / 8)
            break
        except page_error():
            page.keyboard.press("Escape")
            settle(page)
    settle(page)
    assert box.input_value() == option


def page_error() -> type[Exception]:
    """What playwright raises where it has waited in vain."""
    from playwright.sync_api import TimeoutError as TooLong

    return TooLong


def test_five_questions_lead_to_a_verdict_and_the_map_to_a_form(visit):
    page = visit(390, 844)
    inputs = 1
    page.get_by_role("button", name="Begin your own site").click()
    page.get_by_label("bed area", exact=True).wait_for(timeout=LONG_MS)
    settle(page)
    for label, value in TYPED.items():
        page.get_by_label(label, exact=True).fill(value)
        page.keyboard.press("Tab")
        settle(page)
        inputs += 1
    for label, option in (("crop", "kale"), ("kind of fish", "rainbow trout")):
        choose(page, label, option)
        inputs += 2
    page.get_by_role("button", name="Show the verdict").click()
    inputs += 1
    page.locator(".ss-site", has_text="My growing house").wait_for(timeout=LONG_MS)
    assert inputs <= MOST_INPUTS
    settle(page)
    page.get_by_role("link", name="Site", exact=True).click()
    page.locator('.ss-place[aria-label^="tank tank_2"]').click(timeout=LONG_MS)
    page.get_by_role("button", name="Show all 2 tanks").wait_for(timeout=LONG_MS)
    settle(page)  # until then a form of the map as a whole may stand below
    assert page.get_by_label("name", exact=True).input_value() == "tank_2"
    assert page.get_by_label("flow (assumed)", exact=True).input_value() == "800 L/h"
    assert page.get_by_label("volume", exact=True).input_value() == "800 L"
