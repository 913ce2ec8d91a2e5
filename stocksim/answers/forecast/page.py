"""How the season goes on, learned from its records."""

import streamlit as st

from stocksim.answers.forecast.answer import forecast_answer
from stocksim.answers.forecast.decide import forecast
from stocksim.book import store
from stocksim.errors import StocksimError
from stocksim.faces import markup, showing, working

shown = showing.begin("Forecast", is_bar_from_book=True)
assert shown.season is not None  # without one the page has ended
site = shown.season.site
try:
    records = store.read_book(store.book_path(site.folder / site.name))
    if st.button("Work out the forecast"):
        st.session_state.forecast_for = (shown.source, len(records))
    if st.session_state.get("forecast_for") == (shown.source, len(records)):
        words = "Running some hundred seasons"
        found = working.worked("forecast", words, (shown.source, records), lambda tell: forecast(site, records))
        if found is not None:
            answer = forecast_answer(found)
            showing.verdict(answer)
            showing.show(answer)
            showing.words(answer)
    else:
        st.caption(f"{len(records)} records in the book. Takes some seconds.")
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
