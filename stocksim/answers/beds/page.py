"""The beds: what the feed carries and what the beds need, what stands when, nutrients, harvest, cautions."""

from functools import partial
from typing import Any

import streamlit as st

from stocksim.answers.beds.answer import beds_answer, drawn, of_loop
from stocksim.answers.beds.changes import BedPlan, bed_plan
from stocksim.faces import guard, links, markup, screen, showing, working


@st.cache_data(max_entries=24, show_spinner=False)
def plan_of(source: screen.Source) -> BedPlan:
    """Beds of a sound site, without what would bring fish and beds nearer."""
    return bed_plan(screen.solve(source), is_sought=False)


@st.cache_data(max_entries=96, show_spinner=False)
def chart_spec(source: screen.Source, loop: str = "") -> dict[str, Any] | None:
    """Charts of a loop's beds as a Vega-Lite specification; of no loop the map of all beds, None without any."""
    return drawn(plan_of(source), loop)


source = showing.begin("Beds").source
draw = partial(chart_spec, source)
plan = plan_of(source)
loops = [balance.loop for balance in plan.loops]
if not loops:
    st.caption("No fish and no plantings: nothing to weigh against each other.")
    st.stop()
links.take(loop="beds_picked")
loop = guard.one_of("Loop", loops, "beds_picked", markup.loop_label) if len(loops) > 1 else loops[0]
links.hold(loop="beds_picked")
answer = beds_answer(plan, draw)
showing.show(answer, of_loop("balance", loop))

st.markdown("## What brings fish and beds nearer?")
if st.button("Try changes on the whole season"):
    st.session_state.beds_for = source
if st.session_state.get("beds_for") == source:
    season, words = screen.solve(source), "Trying changes on whole seasons"
    sought = working.worked("beds", words, (source,), lambda tell: bed_plan(season, tell))
    answer = answer if sought is None else beds_answer(sought, draw)
showing.show(answer, of_loop("changes", loop), "beds")
showing.show(answer, *(of_loop(part, loop) for part in ("weeks", "numbers", "nutrients")), "cautions", "assumptions")
showing.words(answer)
