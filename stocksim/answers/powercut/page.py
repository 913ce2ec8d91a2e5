"""When the power fails: how long each tank has, as a card that prints on half a sheet."""

from functools import partial

import streamlit as st

from stocksim.answers.powercut import card
from stocksim.answers.powercut.answer import SOURCES
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, screen
from stocksim.faces.words import day_words

screen.begin()
shown = screen.shown()
season = shown.season

st.html(card.CARD_STYLE)
st.html(markup.heading_html("When the power fails"))
if season is None:
    st.html(markup.faults_html(shown.faults))
    st.stop()
units = season.site.file.site.units
names = {key: f"power cut, {key}" for key in ("day", "hour", *card.AMOUNTS)}

result = st.empty()
with st.container(key="cut_screen"):
    if shown.is_last_sound:
        st.html(markup.notice_html(f"Above: the last sound version, {shown.source.name} before the faults."))
    st.markdown("## Your own case")
    st.caption("Empty: the worst day, 18:00, no battery, no cylinder, a room at freezing, a head of 2 m (6.6 ft).")
    with st.form("cut", border=False), st.container(horizontal=True, vertical_alignment="bottom"):
        first = day_words(season.dates[0])
        guard.text("Day", names["day"], in_form=True, placeholder=first, width=130)
        guard.text("Hour, 0 to 24", names["hour"], in_form=True, placeholder="18", width=110)
        for key, (label, *_) in card.AMOUNTS.items():
            guard.text(label, names[key], in_form=True, placeholder=card.example_of(key, units), width=205)
        take = guard.kept(partial(guard.store, *names.values()))
        st.form_submit_button("Show this case", type="primary", on_click=take)
    typed = {key: guard.entry(name, "") for key, name in names.items()}
    try:
        result.html(card.card_html(card.cut_of_typed(season, typed), units))
    except StocksimError as error:
        result.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.caption("Print this page (Ctrl P): the card alone fills the upper half of an A4 sheet. Hang it by the tanks.")
    with st.expander("What the minutes rest on"):
        st.html(markup.bullets_html(SOURCES))
