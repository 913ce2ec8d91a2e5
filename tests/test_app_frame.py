"""The frame of the pages: links that hold what was seen, today's line, work that ends where the keeper says so."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
import tomlkit
from small_sites import START, build, one_tank
from streamlit.testing.v1 import AppTest
from test_app import start, words

from stocksim.answers.stock import keep
from stocksim.book import store
from stocksim.engine.running import run_season
from stocksim.engine.season import watched
from stocksim.faces import menu, picture, registry

ROOT = Path(__file__).parents[1]


@pytest.fixture
def small_file(tmp_path, monkeypatch):
    """A small site on disk, given to the pages as `stocksim open` gives it."""
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(one_tank(count=10, days=40)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    return path


def opened_at(page: str, **parameters: str) -> AppTest:
    """A page opened by an address with parameters."""
    at = AppTest.from_file(registry.script_of(page), default_timeout=900)
    for name, value in parameters.items():
        at.query_params[name] = value
    at.run()
    assert not at.exception
    return at


def held(at: AppTest) -> dict[str, str]:
    """Parameters of the address; this version of the test client gives lists."""
    return {key: value[0] if isinstance(value, list) else value for key, value in at.query_params.items()}


def first_read(at: AppTest) -> tuple[int, int]:
    """Month and day of the month that the picture reads at first."""
    picked = json.loads(at.get("vega_lite_chart")[0].proto.spec)["params"][0]["value"][0]["x"]
    return picked["month"], picked["date"]


def test_an_address_holds_day_and_tank(small_file):
    at = opened_at("season", day="12 Oct 2026", tank="one")
    assert at.text_input(key="season, day read").value == "12 Oct 2026"
    assert at.selectbox(key="season, tank read").value == "one"
    assert first_read(at) == (10, 12)
    at.text_input(key="season, day read").set_value("2026-10-20").run()
    assert held(at) == {"day": "2026-10-20", "tank": "one"}
    assert first_read(at) == (10, 20)
    at.text_input(key="season, day read").set_value("1 Jan 2031").run()
    assert '"1 Jan 2031" is no day of the season' in words(at)
    at.text_input(key="season, day read").set_value("").run()
    assert held(at) == {"tank": "one"}


def test_other_pages_keep_what_was_asked_in_their_address(small_file):
    assert opened_at("fish", species="walleye").selectbox(key="species").value == "walleye"
    at = opened_at("powercut", day="2026-10-08", hour="21")
    assert at.text_input(key="power cut, day").value == "2026-10-08"
    assert held(at) == {"day": "2026-10-08", "hour": "21"}


def test_a_day_in_numbers_is_that_of_the_season():
    season = run_season(build(one_tank(count=10, days=40)))
    day = START + dt.timedelta(days=17)
    row = picture.day_rows(season, day)[0]
    frame = season.tanks.set_index("date").loc[str(day)]
    assert row["water, degC"] == f"{frame['temperature_c']:.1f}"
    assert row["feed offered, g"] == f"{frame['feed_g']:.1f}"
    assert row["density, kg/m3"] == picture.day_rows(season, day, "one")[0]["density, kg/m3"]
    assert picture.day_rows(season, day, "none") == []


def test_today_is_a_line_through_all_panels_of_a_season_that_has_it():
    season = run_season(build(one_tank(count=10, days=40)))

    def lines(today: dt.date) -> int:
        panels = picture.picture_stack(season, today=today).to_dict()["vconcat"][1:]
        marks = [layer for panel in panels for layer in panel["layer"]]
        return sum(layer["encoding"]["x"]["field"] == "today" and layer["mark"]["type"] == "rule" for layer in marks)

    assert lines(START + dt.timedelta(days=3)) == 2  # density, and the one loop
    assert lines(START - dt.timedelta(days=1)) == 0


def test_records_are_in_the_menu_where_there_are_some(small_file):
    at = start()

    def named() -> list[str]:
        return [link.proto.label for link in at.get("page_link")]

    assert named()[:2] == [menu.BEGIN_RECORDS, "Season"]
    assert "Forecast" not in named()
    store.book_path(small_file).touch()
    at.run()
    assert named()[:2] == ["Today", "Season"]
    assert "Forecast" in named()


def test_work_ends_where_it_is_watched_and_nothing_is_kept_of_it():
    class Ended(BaseException):
        pass

    asked = []

    def watcher() -> None:
        asked.append(None)
        if len(asked) == 3:
            raise Ended

    site = build(one_tank(count=400, days=30, volume_l=700.0))
    with pytest.raises(Ended), watched(watcher):
        keep.keep_plan(site)
    assert len(asked) == 3


def cancelled_once() -> None:
    """A page whose work is cancelled while it goes on, the first time."""
    import streamlit as st

    from stocksim.faces import working
    from stocksim.memo import content_key

    def act(tell):
        st.session_state.begun = st.session_state.get("begun", 0) + 1
        tell(1, 2)
        if st.session_state.begun == 1:
            st.session_state["stopped work"] = content_key("work", "asked in a test")  # as the button does
            st.rerun()
        return 7

    st.caption(f"found {working.worked('work', 'Working', ('asked in a test',), act)}")


def test_cancelled_work_says_so_and_begins_again():
    at = AppTest.from_function(cancelled_once, default_timeout=60).run()
    assert [caption.value for caption in at.caption] == ["Working: ended before it was done.", "found None"]
    at.button(key="again_work").click().run()
    assert [caption.value for caption in at.caption] == ["found 7"]
    assert not at.button
    at.run()
    assert at.session_state.begun == 2  # what was found is kept
