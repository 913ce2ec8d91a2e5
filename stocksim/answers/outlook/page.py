"""How sure is it: the season drawn many times from what is uncertain, with fan charts and what to measure next."""

from functools import partial
from typing import Any

import streamlit as st

from stocksim.answers.outlook.answer import outlook_answer
from stocksim.answers.outlook.charts import fan_stack
from stocksim.answers.outlook.decide import Outlook, outlook
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, screen, showing
from stocksim.faces.options import number_option

SEASONS_LABEL = "Seasons to draw"
seasons_of = number_option(SEASONS_LABEL, 1, 65536, "write a whole number from 1 to 65,536, as 1024", whole=True)
_SEED = 1


@st.cache_resource(max_entries=4, show_spinner=False)
def drawn(source: screen.Source, number: int) -> Outlook:
    """Outlook of a sound site, with a progress bar the first time; another page or a change of the number ends it."""
    bar = st.progress(0.0, "Drawing seasons")

    def tell(done: int, total: int) -> None:
        bar.progress(min(done / total, 1.0), f"Drawing seasons: {done:,} of {total:,}")

    found = outlook(screen.solve(source).site, number, _SEED, progress=tell)
    bar.empty()
    return found


@st.cache_data(max_entries=16, show_spinner=False)
def fan_spec(source: screen.Source, number: int, name: str) -> dict[str, Any]:
    """Fan charts of a sound site as a Vega-Lite specification."""
    return dict(fan_stack(drawn(source, number)).to_dict())


def forget_outlook() -> None:
    """Ask for no outlook any more; the run that draws it ends at its next step."""
    st.session_state.outlook_for = None


shown = showing.begin("Outlook")
assert shown.season is not None  # else the page has ended
with st.form("outlook_form", border=False), st.container(horizontal=True, vertical_alignment="bottom"):
    guard.text(SEASONS_LABEL, "seasons", "1024", in_form=True, width=200)
    take = guard.kept(partial(guard.store, "seasons"))
    is_sent = st.form_submit_button("Draw the seasons", type="primary", on_click=take)
if is_sent:
    st.session_state.outlook_for = shown.source
if st.session_state.get("outlook_for") == shown.source:
    try:
        number = int(seasons_of(guard.entry("seasons", "1024")))
        cancel = st.empty()
        cancel.button("Cancel", key="cancel_outlook", on_click=guard.kept(forget_outlook))
        answer = outlook_answer(drawn(shown.source, number), partial(fan_spec, shown.source, number))
        cancel.empty()
        showing.verdict(answer)
        showing.show(answer)
    except StocksimError as error:
        st.html(markup.faults_html([str(fault) for fault in error.faults]))
else:
    st.caption(
        "The season many times over, each with appetite, water, bacteria, air and weights drawn anew. 1,024 seasons "
        "and what matters most in them take some ten seconds."
    )
