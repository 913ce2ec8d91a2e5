"""How sure is it: the season drawn many times from what is uncertain, with fan charts and what to measure next."""

from functools import partial
from typing import Any

import streamlit as st

from stocksim.answers.outlook.answer import outlook_answer
from stocksim.answers.outlook.charts import fan_stack
from stocksim.answers.outlook.words import FAN_COLUMNS
from stocksim.drawn.outlook import Outlook, outlook, with_indices
from stocksim.engine.season import Progress
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, screen, showing
from stocksim.faces.options import number_option

SEASONS_LABEL, SEED_LABEL = "Seasons to draw", "Seed of the draws"
seasons_of = number_option(SEASONS_LABEL, 1, 65536, "write a whole number from 1 to 65,536, as 1024", whole=True)
seed_of = number_option(SEED_LABEL, 0, 2**32 - 1, "write a whole number from 0 to 4294967295, as 1", whole=True)


def bar(words: str) -> tuple[Any, Progress]:
    """A progress bar, and what moves it; another page or another number ends the run that it tells of."""
    place = st.progress(0.0, words)

    def tell(done: int, total: int) -> None:
        place.progress(min(done / total, 1.0), f"{words}: {done:,} of {total:,}")

    return place, tell


@st.cache_resource(max_entries=4, show_spinner=False)
def drawn(source: screen.Source, number: int, seed: int) -> Outlook:
    """Bands and chances of a sound site."""
    place, tell = bar("Drawing seasons")
    site = screen.solve(source).site
    found = outlook(site, number, seed, indices=False, progress=tell, columns=FAN_COLUMNS)
    place.empty()
    return found


@st.cache_resource(max_entries=4, show_spinner=False)
def judged(source: screen.Source, number: int, seed: int) -> Outlook:
    """The same with what matters most, which takes some times as many seasons."""
    place, tell = bar("Finding out what matters most")
    found = with_indices(drawn(source, number, seed), tell)
    place.empty()
    return found


@st.cache_data(max_entries=16, show_spinner=False)
def fan_spec(source: screen.Source, number: int, seed: int, name: str) -> dict[str, Any]:
    """Fan charts of a sound site as a Vega-Lite specification."""
    return dict(fan_stack(drawn(source, number, seed)).to_dict())


def stop_drawing() -> None:
    """Ask for nothing more; the run ends at its next step, and bands that are drawn stay."""
    if st.session_state.get("outlook_bands") == st.session_state.outlook_for:
        st.session_state.outlook_only = True
    else:
        st.session_state.outlook_for = None


shown = showing.begin("Outlook")
assert shown.season is not None  # else the page has ended
with st.form("outlook_form", border=False), st.container(horizontal=True, vertical_alignment="bottom"):
    guard.text(SEASONS_LABEL, "seasons", "1024", in_form=True, width=200)
    guard.text(SEED_LABEL, "seed", "1", in_form=True, width=200)
    take = guard.kept(partial(guard.store, "seasons", "seed"))
    is_sent = st.form_submit_button("Draw the seasons", type="primary", on_click=take)
state = st.session_state
if is_sent:
    state.update(outlook_for=shown.source, outlook_bands=None, outlook_only=False)
if state.get("outlook_for") == shown.source:
    try:
        asked = (shown.source, int(seasons_of(guard.entry("seasons", "1024"))), int(seed_of(guard.entry("seed", "1"))))
        cancel = st.empty()
        cancel.button("Cancel", key="cancel_outlook", on_click=guard.kept(stop_drawing))
        answer = outlook_answer(drawn(*asked), partial(fan_spec, *asked))
        state.outlook_bands = shown.source
        showing.verdict(answer)
        first, working = st.container(), st.container()
        showing.show(answer, "fans", "limits", "batches", "totals")
        last = st.container()
        showing.show(answer, "notes")
        if not state.outlook_only:
            with working:
                found = judged(*asked)
            with first:
                showing.show(outlook_answer(found), "measure")
            with last:
                showing.show(outlook_answer(found), "indices")
        cancel.empty()
        showing.words(answer)
    except StocksimError as error:
        st.html(markup.faults_html([str(fault) for fault in error.faults]))
else:
    st.caption(
        "The season many times over, each with appetite, water, bacteria, air and weights drawn anew. Bands and "
        "chances come first, then what matters most in them."
    )
