"""Entering on the day's page: three fields, units, what is asked back, undo; the same at phone width in a browser."""

from __future__ import annotations

import datetime as dt

import pytest
import tomlkit
from browsing import MARKS, axe_faults, served, settle, show, width_of
from small_sites import START, one_tank
from streamlit.testing.v1 import AppTest

from stocksim.book import store
from stocksim.faces.registry import script_of

NOW = dt.datetime(2026, 10, 12, 12, tzinfo=dt.UTC)


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(one_tank(count=10)), encoding="utf-8")
    return path


@pytest.fixture
def page(monkeypatch, site):
    monkeypatch.setattr(store, "clock", lambda: NOW)
    monkeypatch.setenv("STOCKSIM_SITE", str(site))
    at = AppTest.from_file(script_of("today"), default_timeout=900).run()
    assert not at.exception
    return at


def enter(app: AppTest, button: str = "Keep", **fields: str) -> None:
    for name, text in fields.items():
        app.text_input(key=f"entered {name}").set_value(text)
    press(app, button)


def press(at: AppTest, label: str) -> None:
    next(one for one in at.button if one.label == label).click().run()
    assert not at.exception


def choose(at: AppTest, key: str, option: str) -> None:
    next(one for one in at.get("button_group") if one.key == key).set_value(option)


def html_of(at: AppTest) -> str:
    return " ".join(element.proto.body for element in at.get("html"))


def held(site, with_undone: bool = False) -> list[dict]:
    return [dict(one.held) for one in store.read_book(store.book_path(site), with_undone)]


def test_three_fields_are_kept_together_with_their_units_and_undone(page, site):
    choose(page, "form of ammonia", "NH4")
    choose(page, "unit of temperature", "degF")
    enter(page, at="57,2", ammonia="0,5", count="4", total="480")
    kept = held(site)
    assert kept[0]["temperature_c"] == pytest.approx(14.0)
    assert (kept[1]["ammonia_read"], kept[1]["ammonia_as"]) == (0.5, "NH4")
    assert kept[2] == {"count": 4.0, "total_g": 480.0}
    assert [field.value for field in page.text_input][:4] == [""] * 4
    assert store.read_settings(store.book_path(site)) == {"ammonia": "NH4"}
    assert "14.0 degC" in " ".join(caption.value for caption in page.caption)
    press(page, "Undo")
    assert held(site) == []
    assert len(held(site, with_undone=True)) == 3


def test_what_can_hardly_be_is_asked_back_and_kept_where_it_is_confirmed(page, site):
    enter(page, at="57")
    assert held(site) == []
    press(page, "Change it")
    assert page.text_input(key="entered at").value == "57"
    press(page, "Keep")
    press(page, "Keep it as it is")
    assert held(site) == [{"temperature_c": 57.0}]
    # the very same once more, as of a button pressed twice
    enter(page, at="57")
    press(page, "Change it")
    assert len(held(site)) == 1


def test_what_cannot_be_kept_is_told_and_stays_in_its_field(page, site):
    for fields, label in (
        ({}, "Nothing was entered"),
        ({"at": "warm"}, "Water temperature"),
        ({"at": "", "ammonia": "0.5"}, "Ammonia"),  # in which form it is read was never said
        ({"ammonia": "", "count": "-3", "total": "300"}, "Fish weighed"),
        ({"count": "three"}, "Fish weighed"),
        ({"count": "3", "total": ""}, "needs"),
    ):
        enter(page, **fields)
        assert label in html_of(page)
        assert "ss-faults" in html_of(page)
        for name, text in fields.items():
            assert page.text_input(key=f"entered {name}").value == text
    assert not store.book_path(site).exists()


def test_a_day_to_come_and_a_locked_book_keep_what_was_written(page, site, monkeypatch):
    page.text_input(key="day shown").set_value("14 Oct 2026").run()
    enter(page, at="14")
    assert "after today" in html_of(page)
    page.text_input(key="day shown").set_value("3 Oct 2026").run()

    def full(*_):
        raise store.InputError("mine.book.sqlite: cannot be written, the disk is full.")

    with monkeypatch.context() as patch:
        patch.setattr(store, "add", full)
        press(page, "Keep")
    assert "the disk is full" in html_of(page)
    assert page.text_input(key="entered at").value == "14"
    press(page, "Keep")
    assert [one.date for one in store.read_book(store.book_path(site))] == [dt.date(2026, 10, 3)]


def test_other_kinds_are_entered_below_feed_by_the_scoop(page, site):
    page.text_input(key="other feed amount").set_value("3 scoops")
    page.text_input(key="other feed scoop").set_value("20 g")
    press(page, "Keep this record")
    assert held(site) == [{"feed_g": 60.0, "scoop_g": 20.0}]
    assert "scoops" in html_of(page)
    page.selectbox(key="other kind").set_value("deaths").run()
    page.text_input(key="other deaths count").set_value("1")
    press(page, "Keep this record")
    assert held(site)[1] == {"count": 1.0}
    press(page, "Undo record 2")
    assert len(held(site)) == 1


@pytest.mark.parametrize("name", ["today", "season"])
def test_what_was_measured_over_a_limit_stands_in_the_bar_of_every_page(monkeypatch, site, name):
    monkeypatch.setattr(store, "clock", lambda: NOW)
    monkeypatch.setenv("STOCKSIM_SITE", str(site))
    bad = store.Record("test", NOW.date(), "loops.main", {"oxygen_mg_l": 2.0}, by="anna")
    store.add(store.book_path(site), [bad])
    at = AppTest.from_file(script_of(name), default_timeout=900).run()
    assert not at.exception
    (bar,) = [element.proto.body for element in at.get("html") if 'class="ss-verdict' in element.proto.body]
    assert "ss-trouble" in bar
    assert "Measured in loop main" in bar


def test_an_example_has_no_book_to_write(monkeypatch):
    monkeypatch.delenv("STOCKSIM_SITE", raising=False)
    monkeypatch.setenv("STOCKSIM_READ_ONLY", "1")
    at = AppTest.from_file(script_of("today"), default_timeout=900).run()
    assert [button.label for button in at.button] == []
    assert [field.label for field in at.text_input] == ["Day"]


class TestBrowser:
    pytestmark = MARKS

    def test_the_journey_at_phone_width(self, visit, site):
        """Open, see the day, enter three values, one of them asked back, undo it; nothing is wider than the phone."""
        path = site
        text = path.read_text(encoding="utf-8")
        days = (dt.date.today() - START).days
        moved = tomlkit.parse(text)
        moved["season"] = {"start": START + dt.timedelta(days=days - 10), "end": START + dt.timedelta(days=days + 19)}
        path.write_text(tomlkit.dumps(moved), encoding="utf-8")
        with served(path) as address:
            page = visit(390, 844, address)
            menu = page.locator(".st-key-menu")
            assert menu.bounding_box()["height"] < 60  # one line
            show(page, "Begin records")  # as the link is called where no book lies beside the file
            page.locator(".ss-answer").wait_for()
            for label in ("Water temperature", "Ammonia, mg/L", "Fish weighed"):
                field = page.get_by_label(label, exact=True)
                assert field.bounding_box()["height"] >= 44
            first = page.get_by_label("Water temperature").bounding_box()
            assert first["y"] < 500
            page.get_by_label("Water temperature").fill("24.5")
            page.get_by_label("Ammonia, mg/L").fill("45")
            page.get_by_role("radio", name="N", exact=True).click()
            page.get_by_label("Fish weighed", exact=True).fill("5")
            page.get_by_label("Weight of all").fill("600")
            page.get_by_role("button", name="Keep", exact=True).click()
            page.get_by_role("button", name="Keep it as it is").wait_for()
            assert not store.book_path(path).exists()
            page.get_by_role("button", name="Keep it as it is").click()
            page.locator(".ss-told", has_text="Kept for").wait_for()
            settle(page)
            assert len(store.read_book(store.book_path(path))) == 3
            assert "ammonia too high" in page.locator(".ss-answer").inner_text()
            assert width_of(page) <= 390
            assert menu.bounding_box()["height"] < 60
            assert axe_faults(page) == []
            show(page, "Forecast")
            page.get_by_role("button", name="Work out the forecast").click()
            page.locator(".ss-answer").wait_for()
            settle(page)
            assert menu.bounding_box()["height"] < 60
            assert width_of(page) <= 390
            assert axe_faults(page) == []
            show(page, "Today")
            page.get_by_role("button", name="Undo", exact=True).click()
            page.locator(".ss-told", has_text="Undone").wait_for()
            settle(page)
            assert store.read_book(store.book_path(path)) == []
            assert "ammonia too high" not in page.locator(".ss-answer").inner_text()
            page.close()  # before its server is gone
