"""The beds: what the feed carries and what the beds need, what stands when, nutrients, harvest, cautions."""

from functools import partial
from typing import Any

import streamlit as st

from stocksim.answers.beds.answer import beds_answer, drawn, of_loop
from stocksim.answers.beds.changes import BedPlan, bed_plan
from stocksim.faces import guard, markup, screen, showing


@st.cache_data(max_entries=24, show_spinner=False)
def plan_of(source: screen.Source, is_sought: bool) -> BedPlan:
    """Beds of a sound site; seeking changes takes some seconds."""
    return bed_plan(screen.solve(source), is_sought=is_sought)


@st.cache_data(max_entries=96, show_spinner=False)
def chart_spec(source: screen.Source, loop: str = "") -> dict[str, Any] | None:
    """Charts of a loop's beds as a Vega-Lite specification; of no loop the map of all beds, None without any."""
    return drawn(plan_of(source, False), loop)


source = showing.begin("Beds").source
draw = partial(chart_spec, source)
plan = plan_of(source, False)
loops = [balance.loop for balance in plan.loops]
if not loops:
    st.caption("No fish and no plantings: nothing to weigh against each other.")
    st.stop()
loop = guard.one_of("Loop", loops, "beds_picked", markup.loop_label) if len(loops) > 1 else loops[0]
answer = beds_answer(plan, draw)
showing.show(answer, of_loop("balance", loop))

st.markdown("## What brings fish and beds nearer?")
if st.button("Try changes on the whole season"):
    st.session_state.beds_for = source
if st.session_state.get("beds_for") == source:
    with st.spinner("Trying changes on whole seasons"):
        answer = beds_answer(plan_of(source, True), draw)
showing.show(answer, of_loop("changes", loop), "beds")
showing.show(answer, *(of_loop(part, loop) for part in ("weeks", "numbers", "nutrients")), "cautions", "assumptions")
showing.words(answer)
