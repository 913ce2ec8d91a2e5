"""Today: what was measured is entered, and what to feed, dose, test and do follows."""

import datetime as dt

import streamlit as st

from stocksim.answers.today import screen as entering
from stocksim.answers.today.answer import today_answer
from stocksim.answers.today.decide import Day, the_day
from stocksim.book import enter, store
from stocksim.book.store import Record
from stocksim.engine.measured import Measured, with_records
from stocksim.engine.running import run_season
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, screen, showing
from stocksim.faces.answer import Answer
from stocksim.faces.days import read_day
from stocksim.memo import content_key

shown = showing.begin("Today", is_bar_from_book=True)
assert shown.season is not None  # without one the page has ended
site = shown.season.site


@st.cache_data(max_entries=16, show_spinner="Working out the day")
def day_of(source: screen.Source, date: dt.date, book: bytes, _records: list[Record]) -> tuple[Day, Measured]:
    """The day of a sound site by the records up to it; ``book`` is their digest."""
    planned = screen.solve(source)
    measured = with_records(planned.site, _records)
    season = planned if measured.site is planned.site else run_season(measured.site)
    return the_day(season, _records, date), measured


def show_day(records: list[Record], today: dt.date, known: dict[str, str]) -> Answer | None:
    """The day that is typed, or today, or the nearest one of the season; what was answered, None for a fault."""
    typed = str(guard.entry(entering.DAY, "")).strip()
    try:
        season = site.file.season
        date = read_day(typed) if typed else min(max(today, season.start), season.end)
        until = [one for one in records if one.date <= date]
        day, measured = day_of(shown.source, date, content_key(until), until)
        scoop_g = enter.scoop_weight_g(known)
        answer = today_answer(day, measured.site, measured.notes, measured.contradictions, scoop_g)
        showing.verdict(answer)
        showing.show(answer)
        return answer
    except StocksimError as error:
        st.html(markup.faults_html([str(fault) for fault in error.faults]))
    except ValueError:
        st.html(markup.faults_html([entering.not_a_day(typed)]))
    return None


try:
    path = store.book_path(site.folder / site.name)
    records, known = store.read_book(path), store.read_settings(path)
    place = entering.Place(site, path, records, known, store.today(records))
    if entering.is_open():
        entering.big_fields(place)
    guard.text("Day", entering.DAY, placeholder="today", width=150)
    answered = show_day(records, place.today, known)
    if entering.is_open():
        entering.other_records(place)
    else:
        st.caption("Records are kept beside a site file of your own: save this one first, on the page Site.")
    if answered is not None:
        showing.words(answered)
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
