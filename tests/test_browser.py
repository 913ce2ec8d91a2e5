"""The pages in a real Chromium: charts drawn, nothing asked of the network, downloads, a phone, a sheet of paper."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
import zipfile
from pathlib import Path

import pytest
import tomlkit
from browsing import (
    LONG_MS,
    MARKS,
    axe_faults,
    keep_picture,
    open_example,
    settle,
    show,
    small_targets,
    upload,
    width_of,
)
from calm_sites import calm_text
from small_sites import one_tank

from stocksim.faces import palette, report
from stocksim.faces.registry import PAGES
from stocksim.site.examples import example_text

CHART = '[data-testid="stVegaLiteChart"] svg'
pytestmark = MARKS


def test_season_is_drawn_and_downloads(visit):
    page = visit(1440)
    page.wait_for_selector(CHART, timeout=LONG_MS)
    assert page.locator(CHART).count() == 3
    for number in range(3):
        chart = page.locator(CHART).nth(number)
        assert chart.locator("path").count() > 20
        assert chart.bounding_box()["height"] > 200
    picture = page.locator(CHART).first
    assert "by tank, lb/gal" in picture.text_content()
    # the answer stands on the first screen, with all of the picture beside what to do
    box = picture.bounding_box()
    assert box["y"] + box["height"] <= 900
    assert page.locator(".st-key-first_actions").bounding_box()["y"] < 300
    # one line through all panels is read above them
    before = picture.text_content()
    page.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 0.9 * box["height"])
    page.wait_for_timeout(300)
    after = picture.text_content()
    assert after != before
    assert " lb/gal of limit: " in after
    assert page.locator(".ss-verdict").first.bounding_box()["y"] < 300
    assert "cautions are passed" in page.locator(".ss-verdict").first.inner_text()
    page.mouse.move(0, 0)
    settle(page)
    keep_picture(page, "season")

    with page.expect_download() as caught:
        page.get_by_role("button", name="Download the site file").click()
    text = Path(caught.value.path()).read_text(encoding="utf-8")
    assert tomllib.loads(text) == tomllib.loads(example_text("heron_lane"))

    with page.expect_download() as caught:
        page.get_by_role("button", name="Download the results").click()
    with zipfile.ZipFile(caught.value.path()) as archive:
        names = set(archive.namelist())
        frames = {f"{name}.csv" for name in ("tanks", "cohorts", "beds", "loops", "ledger")}
        assert names == {*frames, "summary.json", "heron_lane.toml"}
        answer = json.loads(archive.read("summary.json"))
        rows = list(csv.DictReader(io.StringIO(archive.read("tanks.csv").decode())))
    assert answer["verdict"] in page.locator(".ss-verdict").first.inner_text()
    assert len({row["tank"] for row in rows}) == 5

    # and it prints on one sheet
    page.set_viewport_size({"width": 1200, "height": 900})
    settle(page)
    sheet = page.pdf(prefer_css_page_size=True, print_background=True)
    assert len(re.findall(rb"/Type\s*/Page[^s]", sheet)) == 1


def test_upload_edit_and_back(visit, tmp_path):
    page = visit(1440)
    own = tmp_path / "own.toml"
    tables = one_tank()
    tables["site"]["name"] = "Own house"
    own.write_text(tomlkit.dumps(tables), encoding="utf-8")
    page.get_by_text("Change the site").click()
    page.locator('[data-testid="stFileUploader"] input[type=file]').set_input_files(str(own))
    page.locator(".ss-site", has_text="Own house").wait_for(timeout=LONG_MS)
    page.keyboard.press("Escape")
    show(page, "Site")
    page.get_by_text("Tanks", exact=True).click()
    settle(page)
    volume = page.get_by_label("volume").first
    volume.fill("-500 L")
    volume.press("Tab")
    page.locator(".ss-faults").wait_for(timeout=LONG_MS)
    settle(page)
    assert "-500 L" in page.locator(".ss-faults").inner_text()
    assert volume.input_value() == "-500 L"
    show(page, "Season")
    assert "last sound version" in page.locator(".ss-old").inner_text()
    show(page, "Site")
    assert page.get_by_label("volume").first.input_value() == "-500 L"


def test_phone_tablet_zoom_and_a_dark_screen(visit):
    page = visit(390, 844)
    page.wait_for_selector(CHART, timeout=LONG_MS)
    assert width_of(page) <= 390
    settle(page)
    keep_picture(page, "season_phone")
    for number in range(3):
        box = page.locator(CHART).nth(number).bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 391
    assert page.locator(".ss-verdict").first.bounding_box()["y"] < 300
    assert page.locator(CHART).first.bounding_box()["y"] < 450
    page.mouse.wheel(0, 3000)
    page.wait_for_timeout(300)
    assert 0 <= page.locator(".ss-verdict").first.bounding_box()["y"] < 60  # it stays in sight
    # every page: nothing to scroll sideways, nothing that axe finds, targets that a thumb meets
    for title in [page_.title for page_ in PAGES if not page_.is_of_records]:
        if title == "New site":  # whose link has no room in the menu here
            page.get_by_role("button", name="Begin another site").click()
            page.wait_for_url("**/start")
            settle(page)
        else:
            show(page, title)
        assert page.title().startswith(f"{title} - ")
        assert width_of(page) <= 390
        assert axe_faults(page) == []
        assert small_targets(page) == []
        if title == "Water and ramp":
            box = page.locator(CHART).bounding_box()
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 391
        if title in ("Season", "Stocking", "Compare", "Site"):
            look_on_a_dark_tablet(page)


def look_on_a_dark_tablet(page) -> None:
    """The same page wider and dark, and back again."""
    page.emulate_media(color_scheme="dark")
    for width in (768, 720):  # a tablet, and 1440 px at 200 %
        page.set_viewport_size({"width": width, "height": 1024})
        settle(page)
        assert width_of(page) <= width
    ground = page.evaluate("getComputedStyle(document.querySelector('.stApp')).backgroundColor")
    assert ground == "rgb({}, {}, {})".format(*bytes.fromhex(palette.DARK_PAPER[1:]))
    assert axe_faults(page) == []
    page.emulate_media(color_scheme="light")
    page.set_viewport_size({"width": 390, "height": 844})
    settle(page)


def test_a_journey_by_keyboard(visit):
    page = visit(1440)

    def press_until(words: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.innerText.trim()") == words:
                return
        pytest.fail(f"{words} cannot be reached")

    press_until("Site")
    outline = page.evaluate("getComputedStyle(document.activeElement).outline")
    assert "solid" in outline  # where the focus is can be seen
    page.keyboard.press("Enter")
    page.wait_for_url("**/edit")
    settle(page)
    assert page.title().startswith("Site - ")
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('aria-label')") == "mean weight":
            break
    page.keyboard.press("Control+a")
    page.keyboard.type("61 g")
    page.keyboard.press("Tab")
    settle(page)
    assert page.get_by_label("mean weight").first.input_value() == "61 g"
    assert page.get_by_text("Not saved").is_visible()


def test_work_is_cancelled_and_an_address_leads_back(visit, tmp_path):
    page = visit(1440)
    own = tmp_path / "own.toml"
    own.write_text(calm_text("heron_lane_computed"), encoding="utf-8")
    upload(page, [str(own)], "few fish")
    show(page, "Cold months")
    page.get_by_role("button", name="Compare set points and measures").click()
    page.get_by_role("button", name="Cancel").click()
    page.get_by_text("ended before it was done").wait_for(timeout=LONG_MS)
    assert page.get_by_role("button", name="Do it after all").is_visible()
    page.goto(f"{page.url.rpartition('/')[0]}/powercut?day=2026-12-10&hour=21")
    settle(page)
    assert page.get_by_label("Day", exact=True).input_value() == "2026-12-10"
    assert "10 Dec 2026" in page.locator(".ss-card-when").first.inner_text()
    assert "hour=21" in page.url


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_report_is_printed_large_enough_and_whole(blank, paper, demo_season):
    page = blank
    page.set_viewport_size({"width": 800, "height": 900})
    page.set_content(report.report_html(demo_season, None, demo_season.dates[40]))
    sheets = len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format=paper, print_background=True)))
    assert 2 <= sheets <= 8
    page.emulate_media(media="print")
    wide_mm = {"A4": 210.0, "Letter": 215.9}[paper] - 2 * 13.0  # less the margins of the page
    width = int(wide_mm / 25.4 * 96)
    page.set_viewport_size({"width": width, "height": 900})
    # nothing wider than the sheet, for which all of it would be shrunk
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    smallest = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll('body *')].filter(one =>
             [...one.childNodes].some(node => node.nodeType === 3 && node.data.trim())).map(one => {
               const svg = one.closest('svg');
               const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
               return parseFloat(getComputedStyle(one).fontSize) * scale;
             }))"""
    )
    assert smallest * 72 / 96 >= 8.99  # pt
    assert axe_faults(page) == []


def test_water_is_drawn_and_the_ramp_is_worked_out(visit):
    page = visit(1440)
    open_example(page, "heron_lane_young", "three months old")
    show(page, "Water and ramp")
    assert "nitrite too high" in page.locator(".ss-answer").first.inner_text()
    chart = page.locator(CHART)
    chart.wait_for(timeout=LONG_MS)
    assert chart.count() == 1
    for title in (
        "TAN",
        "Nitrite nitrogen",
        "Oxygen",
        "pH, computed",
        "Alkalinity",
        "Buffer",
        "Top-up",
        "Biofilter bacteria",
    ):
        assert title in chart.text_content()
    keep_picture(page, "water")
    page.get_by_role("button", name="Work out the feeding ramp").click()
    page.locator(".ss-say").first.wait_for(timeout=LONG_MS)
    assert "hold feed at" in page.locator(".ss-say").first.inner_text()
    assert "feeding_ramp" in page.locator("code").inner_text()


def test_power_cut_card_prints_on_half_a_sheet(visit):
    page = visit(1200)
    open_example(page, "heron_lane_young", "three months old")
    show(page, "Power cut")
    page.get_by_label("Battery air pump").fill("10 W")
    page.get_by_label("Oxygen cylinder").fill("10 L")
    page.get_by_label("Pressure").fill("150 bar")
    page.get_by_role("button", name="Show this case").click()
    page.get_by_text("Oxygen feeds fire").wait_for(timeout=LONG_MS)
    settle(page)
    answer = page.locator(".ss-card-answer")
    assert answer.bounding_box()["y"] < 250
    assert "minutes in tank" in answer.inner_text()
    keep_picture(page, "powercut")
    sheet = page.pdf(prefer_css_page_size=True, print_background=True)
    assert len(re.findall(rb"/Type\s*/Page[^s]", sheet)) == 1
    # as on paper: 96 px an inch, A4 less the margins of 9 mm is 192 mm wide; half of its 297 mm less one margin is 139
    page.set_viewport_size({"width": round(192 / 25.4 * 96), "height": 900})
    page.emulate_media(media="print")
    card = page.locator(".ss-card").bounding_box()
    assert card["y"] + card["height"] <= 139 / 25.4 * 96
    assert card["width"] >= 185 / 25.4 * 96
    assert page.locator(".ss-card li").count() == 7
    assert not page.get_by_role("button", name="Show this case").is_visible()
    assert (
        page.evaluate("() => { const c = document.querySelector('.ss-card'); return c.scrollHeight - c.clientHeight }")
        <= 2
    )
