"""The picture in numbers: a day and a tank to read, which the address keeps, then all months.

Apart from the page of the season, whose script runs anew on every click.
"""

from __future__ import annotations

import datetime as dt

import streamlit as st

from stocksim.engine.results.frames import Season
from stocksim.faces import guard, links, markup, picture
from stocksim.faces.days import read_day
from stocksim.faces.words import day_words

_DAY, _TANK, _ALL = "season, day read", "season, tank read", "all tanks"
_PLACES = {"day": _DAY, "tank": _TANK}


def take() -> None:
    """Take the day and the tank that the address brings."""
    links.take(**_PLACES)


def entered(season: Season) -> dt.date | None:
    """The day that is read; None where none of the season was entered."""
    try:
        day = read_day(guard.entry(_DAY, ""))
    except ValueError:
        return None
    return day if day in season.dates else None


def show(season: Season) -> None:
    """The fields, the day's numbers and those of the months, folded until a day or a tank was entered."""
    tanks = [_ALL, *season.layout.tanks]
    if guard.entry(_TANK, _ALL) not in tanks:
        guard.forget(_TANK)
    is_read = bool(guard.entry(_DAY, "")) or guard.entry(_TANK, _ALL) != _ALL
    with st.expander("The picture in numbers: a day, and month by month", expanded=is_read):
        today = dt.date.today()
        start = today if today in season.dates else picture.fullest_day(season, picture.densities(season))
        with st.container(horizontal=True, vertical_alignment="bottom"):
            typed = guard.text("Day", _DAY, placeholder=day_words(start), width=150)
            tank = st.selectbox("Tank", tanks, width=200, **guard.shown(_TANK, _ALL))
        links.hold(**_PLACES)
        day = entered(season) if typed.strip() else start
        if day is None:
            first, last = day_words(season.dates[0]), day_words(season.dates[-1])
            words = f'"{typed}" is no day of the season, {first} to {last}; write it as {last}.'
            st.html(markup.faults_html([words]))
        else:
            rows = picture.day_rows(season, day, "" if tank == _ALL else tank)
            st.html(markup.paragraph_html(f"{day_words(day)}:") + markup.table_html(rows))
        st.html("".join(map(markup.table_html, picture.number_tables(season))))
