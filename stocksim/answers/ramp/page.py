"""The water: which limit it breaks, what to add each week, how fast feeding may rise, the course of every level."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import streamlit as st

from stocksim.answers.ramp.answer import ramp_answer, water_answer
from stocksim.answers.ramp.charts import loop_stack
from stocksim.answers.ramp.decide import Ramp, feeding_ramp
from stocksim.errors import StocksimError
from stocksim.faces import editing, guard, links, markup, screen, showing, working


def seek_ramp(source: screen.Source) -> Ramp | None:
    """Feeding ramp of a sound site from its first day; takes some seconds, and None where the keeper ends it."""
    site = screen.solve(source).site
    words = "Trying week after week"
    return working.worked("ramp", words, (source,), lambda tell: feeding_ramp(site, progress=tell))


@st.cache_data(max_entries=96, show_spinner=False)
def water_spec(source: screen.Source, loop: str) -> dict[str, Any]:
    """The water charts of a loop of a sound site as a Vega-Lite specification."""
    return loop_stack(screen.solve(source), loop).to_dict()


def write_ramp(changes: Mapping[str, Any]) -> None:
    """Put the schedule into the text of the site, where it can be undone on the edit page."""
    text = st.session_state.site_text
    try:
        for place, steps in changes.items():
            name = place.removeprefix("loops.").removesuffix(".feeding_ramp")
            text = editing.put(text, ("loops", name, "feeding_ramp"), steps or None)
    except StocksimError as error:
        st.session_state.site_notes = [str(fault) for fault in error.faults]
        return
    screen.change_text(text, is_new_form=True)


shown = showing.begin("Water and ramp")
assert shown.season is not None  # else the page has ended
season, source = shown.season, shown.source
if st.session_state.site_notes:
    st.html(markup.faults_html(st.session_state.site_notes))
answered = st.container(key="water_answer")
loops = list(season.layout.loops)
links.take(loop="loop_picked")
loop = guard.one_of("Loop", loops, "loop_picked", markup.loop_label) if len(loops) > 1 else loops[0]
links.hold(loop="loop_picked")
answer = water_answer(season, loop, partial(water_spec, source))
with answered:
    showing.verdict(answer)
    showing.show(answer, "limits")
showing.show(answer, "loop")

st.markdown("## How fast may feeding rise?")
if st.button("Work out the feeding ramp"):
    st.session_state.ramp_for = source
if st.session_state.get("ramp_for") == source:
    ramp = seek_ramp(source)
    if ramp is not None:
        answered_ramp = ramp_answer(ramp)
        showing.show(answered_ramp, "loops", "copy")
        if ramp.offered and not shown.faults:
            st.button("Write the ramp into the site", on_click=guard.kept(write_ramp), args=(ramp.offered,))
        showing.show(answered_ramp, "cautions", "sources")
else:
    st.caption(
        "Week by week, the most feed that a young biofilter, or one weakened by winter, can take. Takes some seconds."
    )
showing.show(answer, "course", "months")
showing.words(answer)
