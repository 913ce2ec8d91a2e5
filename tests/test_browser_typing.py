"""What a keeper types in a real Chromium: never lost or changed by the way he goes on, and shown as it is."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomlkit
from browsing import MARKS, served, settle, show, upload
from calm_sites import few_fish_of_two_loops
from test_app_names import SLY, SLY_KEY, faulty_site, own_library, sound_site
from test_renaming import deep

from stocksim.site.examples import example_text

pytestmark = MARKS
sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
sync_api.expect.set_options(timeout=120_000)
expect = sync_api.expect
DEMO = tomllib.loads(example_text("heron_lane"))
# where it does not matter which site is typed into: each entry is answered at once
SMALL = tomlkit.dumps(few_fish_of_two_loops())
# wishes that name its tanks, cohorts and loops in every place that takes one
STOCKING = """
[stocking]
budget = 500
[stocking.candidates.more_perch]
species = "yellow_perch"
mean_weight = "40 g"
price = 2
feed = "perch_45"
at_most = 4
tanks = ["west", "east"]
[stocking.own]
trout = { at_least = 1, tanks = ["north", "west"] }
[stocking.options]
heater_on = { loop = "warm", at_least = "18 degC", cost = 90 }
cooler = { loop = "cool", at_most = "22 degC" }
"""


def part(page, name: str) -> None:
    """Pick a part of the edit page, and wait until it stands."""
    page.get_by_role("radio", name=name, exact=True).click()
    expect(page.get_by_role("radio", name=name, exact=True)).to_be_checked()
    settle(page)


def leave(page, name: str, delay: int) -> None:
    """Click a link of the menu straight out of a field; ``delay`` is how long the button is down, in ms."""
    page.get_by_role("link", name=name, exact=True).click(delay=delay)
    page.wait_for_url(lambda url: not url.endswith("/edit"))
    settle(page)


def download(page) -> dict:
    """Tables of the site file that the edit page gives."""
    with page.expect_download() as caught:
        page.get_by_role("button", name="Download the site file").click()
    return tomllib.loads(Path(caught.value.path()).read_text(encoding="utf-8"))


def weights(raw: dict) -> list[str]:
    return [cohort["mean_weight"] for cohort in raw["cohorts"].values()]


def upload_text(page, folder: Path, text: str) -> dict:
    """Give the pages a site file with this text, wait until it is shown, and return its tables."""
    own, tables = folder / "own.toml", tomllib.loads(text)
    own.write_text(text, encoding="utf-8")
    upload(page, [str(own)], tables["site"]["name"])
    return tables


def test_what_is_typed_and_left_by_the_menu_is_kept_and_nothing_else_changes(visit, tmp_path):
    page = visit(1440)
    expected = upload_text(page, tmp_path, SMALL)
    show(page, "Site")
    first = next(iter(expected["cohorts"].values()))
    for number, (name, delay) in enumerate((("Water and ramp", 0), ("Season", 120))):
        first["mean_weight"] = f"{70 + number} g"
        field = page.get_by_label("mean weight").first
        field.fill(first["mean_weight"])
        leave(page, name, delay)
        show(page, "Site")
        expect(page.get_by_label("mean weight").first).to_have_value(first["mean_weight"])
        settle(page)
        shown = page.get_by_label("mean weight").evaluate_all("found => found.map(field => field.value)")
        assert shown == weights(expected)
        assert download(page) == expected
    part(page, "Tanks")
    page.get_by_label("volume").first.fill("1234 L")
    leave(page, "Fish", 180)
    show(page, "Site")
    expect(page.get_by_label("volume").first).to_have_value("1234 L")
    next(iter(expected["tanks"].values()))["volume"] = "1234 L"
    assert download(page) == expected


def test_typing_goes_on_while_the_season_runs(visit, address):
    page = visit(1440, url=f"{address}edit")
    page.get_by_label("mean weight").nth(0).fill("61 g")
    page.keyboard.press("Tab")
    second = page.get_by_label("mean weight").nth(1)
    second.click()
    page.keyboard.press("Control+a")
    second.press_sequentially("62 gr", delay=200)
    settle(page)
    expect(second).to_have_value("62 gr")
    second.fill("62 g")
    assert weights(download(page))[:2] == ["61 g", "62 g"]


def test_entries_in_quick_succession_all_count(visit):
    """As a keeper fills a row: each entry while the season of the one before is run, then a click at once."""
    page = visit(1440)
    show(page, "Site")
    expected = weights(DEMO)
    for number in range(len(expected)):
        expected[number] = f"{60 + number} g"
        page.get_by_label("mean weight").nth(number).fill(expected[number])
    assert weights(download(page)) == expected
    # a row is renamed and its next field typed in before the new name is taken
    page.get_by_label("name", exact=True).first.fill("renamed")
    page.get_by_label("mean weight").first.fill("99 g")
    page.get_by_label("mean weight").nth(1).fill("98 g")
    raw = download(page)
    assert weights(raw) == ["99 g", "98 g", *expected[2:]]
    assert list(raw["cohorts"]) == ["renamed", *list(DEMO["cohorts"])[1:]]


def test_the_whole_file_is_kept_and_downloaded_as_just_typed(visit, address):
    page = visit(1440, url=f"{address}edit")
    part(page, "Whole file")
    text = SMALL
    whole = page.get_by_label("The whole site file")
    text = text.replace("two loops (invented)", "House 0 of two loops (invented)")
    whole.fill(text)
    assert download(page) == tomllib.loads(text)
    text = f"# typed and left by the menu\n{text}"
    whole.fill(text)
    leave(page, "Season", 100)
    show(page, "Site")
    expect(whole).to_have_value(text)
    # in the field as it was drawn afresh
    text = text.replace("House 0", "House 1")
    whole.fill(text)
    assert download(page) == tomllib.loads(text)


def test_every_case_of_a_power_cut_that_is_sent_is_shown(visit, address):
    page = visit(1440, url=f"{address}powercut")
    day = page.get_by_label("Day", exact=True)
    for number, month in enumerate(("Dec", "Jan", "Feb", "Mar", "Apr")):
        typed = f"{10 + number} {month} {2026 if month == 'Dec' else 2027}"
        day.fill(typed)
        page.get_by_role("button", name="Show this case").click()
        expect(page.locator(".ss-card-when")).to_contain_text(typed)
        expect(day).to_have_value(typed)


def test_typed_temperatures_come_back_and_a_part_stays_picked(visit, address):
    page = visit(1440, url=f"{address}edit")
    part(page, "Loops")
    typed = DEMO["loops"]["main"]["water_temperature"]["values"]

    def shown() -> list[str]:
        found = [page.get_by_label(month, exact=True).first for month in typed]
        return [field.input_value() for field in found]

    def pick(kind: str) -> None:
        page.get_by_label("temperature", exact=True).first.click()
        page.get_by_role("option", name=kind, exact=True).click()
        expect(page.get_by_label("temperature", exact=True).first).to_have_value(kind)
        settle(page)

    assert shown() == list(typed.values())
    pick("constant")
    expect(page.get_by_label("water", exact=True).first).to_have_value("15 degC")
    pick("monthly")
    assert shown() == list(typed.values())
    assert download(page) == DEMO
    page.get_by_role("radio", name="Loops", exact=True).click()
    settle(page)
    expect(page.get_by_role("radio", name="Loops", exact=True)).to_be_checked()


def test_a_name_changes_wherever_the_file_names_it(visit, tmp_path):
    text = SMALL + STOCKING
    page = visit(1440)
    upload_text(page, tmp_path, text)
    show(page, "Site")
    for shown, table in (("Tanks", "tanks"), ("Loops", "loops"), ("Fish", "cohorts")):
        part(page, shown)
        old = next(iter(tomllib.loads(text)[table])) if table != "cohorts" else "trout"
        row = list(tomllib.loads(text)[table]).index(old)
        name = page.get_by_label("name", exact=True).nth(row)
        expect(name).to_have_value(old)
        name.fill("another")
        page.keyboard.press("Tab")
        expect(page.get_by_role("button", name="Undo")).to_be_enabled()
        settle(page)
        assert page.locator(".ss-faults").count() == 0
        assert download(page) == deep(tomllib.loads(text), {(table, old): "another"})
        page.get_by_role("button", name="Undo").click()
        expect(page.get_by_label("name", exact=True).nth(row)).to_have_value(old)
    # what is refused stays to be seen, with its reason
    name = page.get_by_label("name", exact=True).first
    name.fill("perch")
    page.keyboard.press("Tab")
    expect(page.locator(".ss-faults")).to_contain_text('"perch" is already among the cohorts')
    show(page, "Fish")
    show(page, "Site")
    expect(page.get_by_label("name", exact=True).first).to_have_value("perch")
    expect(page.locator(".ss-faults")).to_contain_text('"perch" is already among the cohorts')


def test_no_page_ends_when_a_loop_is_removed(visit, tmp_path):
    page = visit(1440)
    upload_text(page, tmp_path, SMALL)
    show(page, "Site")
    part(page, "Loops")
    page.get_by_role("button", name="Remove").first.click()
    expect(page.locator(".ss-faults")).to_contain_text('tanks.east.loop: "warm" is not among the loops')
    for name in ("Season", "Water and ramp", "Beds", "Cold months", "Power cut", "Tankmates", "Fish", "Site"):
        show(page, name)
        assert page.get_by_test_id("stException").count() == 0
        assert "fault of its own" not in page.locator("body").inner_text()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".ss-faults")).to_have_count(0)


def test_sly_names_are_text_and_ask_nothing_of_the_network(visit, tmp_path):
    own_library(tmp_path)
    site = tmp_path / "sly.toml"
    site.write_text(sound_site(), encoding="utf-8")
    with served(site) as address:
        page = visit(1440, url=address)
        expect(page.locator(".ss-site")).to_have_text(SLY)
        for name in ("Water and ramp", "Beds", "Tankmates", "Fish", "Site"):
            show(page, name)
            plain(page)
        assert SLY in page.locator("body").inner_text()  # the words of the species, below its row
        assert SLY_KEY in page.get_by_label("species", exact=True).first.input_value()
        part(page, "Whole file")
        page.get_by_label("The whole site file").fill(faulty_site())
        page.keyboard.press("Tab")
        page.locator(".ss-faults").wait_for()
        for name in ("Fish", "Tanks", "Beds", "Loops", "Events"):
            part(page, name)
            plain(page)
        part(page, "Fish")
        expect(page.get_by_label("name", exact=True).first).to_have_value(SLY)
        assert SLY in page.locator(".ss-faults").inner_text()
        expect(page.get_by_label("% in row 1", exact=True)).to_have_value("1")
        page.get_by_role("button", name="Remove").first.hover()
        page.get_by_test_id("stTooltipContent").wait_for()
        plain(page)
        page.close()  # before its server goes


def plain(page) -> None:
    """Nothing that sly words ask for has been made of them."""
    for made in ('img[src*="outside"]', 'a[href*="outside"]', ".katex", "b:text-is('h')", "strong:text-is('bold')"):
        assert page.locator(made).count() == 0, made
