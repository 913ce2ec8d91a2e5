"""The water: which limit it breaks, what to add each week, how fast feeding may rise, the course of every level."""

import streamlit as st

from stocksim.answers.ramp import words as ramp_words
from stocksim.answers.ramp.screen import seek_ramp
from stocksim.answers.ramp.words import ramp_sources
from stocksim.errors import StocksimError
from stocksim.faces import editing, guard, markup, screen, water_words
from stocksim.faces.answer import Point, Points
from stocksim.faces.fates import is_heavy
from stocksim.faces.text import water_rows
from stocksim.faces.words import finding_sentence

screen.begin()
shown = screen.shown()
season, source = shown.season, shown.source

st.html(markup.heading_html("Water"))
if season is None:
    st.html(markup.faults_html(shown.faults))
    st.stop()
if shown.is_last_sound:
    st.html(markup.notice_html(f"Below: the last sound version, {source.name} before the faults."))
if st.session_state.site_notes:
    st.html(markup.faults_html(st.session_state.site_notes))
units = season.site.file.site.units
broken = water_words.water_findings(season.findings)
st.html(markup.verdict_html(water_words.water_verdict(season), bool(broken) or is_heavy(season)))
if broken:
    st.html(markup.points_html(Points([Point(finding_sentence(f, units), "") for f in broken])))
    st.caption("What helps against each of them stands on the page Season.")

loops = list(season.layout.loops)
loop = guard.one_of("Loop", loops, "loop_picked", markup.loop_label) if len(loops) > 1 else loops[0]
st.html(markup.bullets_html(water_words.loop_sentences(season, loop, units), is_small=False))
cautions = water_words.fish_water_cautions(season, loop) + water_words.dosing_cautions(season, loop)
if cautions:
    st.html(markup.bullets_html(cautions))


def write_ramp(changes: dict) -> None:
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


st.markdown("## How fast may feeding rise?")
if st.button("Work out the feeding ramp"):
    st.session_state.ramp_for = source
if st.session_state.get("ramp_for") == source:
    ramp = seek_ramp(source)
    for one in ramp.loops:
        st.html(markup.answer_html(ramp_words.loop_sentence(one, units)))
        if one.has_fish:
            st.html(markup.caption_html(ramp_words.as_fed_sentence(one)))
        if one.ph_binding:
            st.html(markup.bullets_html([ramp_words.ph_sentence(one, units)], is_small=False))
        if ramp_words.is_table_shown(one):
            st.html(markup.table_html(ramp_words.week_rows(one, units)))
    if any(map(ramp_words.is_table_shown, ramp.loops)):
        st.caption(ramp_words.TABLE_WORDS)
    if ramp.offered:
        if ramp_words.is_deadly(ramp):
            st.caption(f"{ramp_words.COPY_WORDS[True]}:")
        st.code("\n".join(ramp_words.site_lines(ramp)), language="toml", wrap_lines=True)
        if not shown.faults:
            st.button("Write the ramp into the site", on_click=guard.kept(write_ramp), args=(ramp.offered,))
    st.html(markup.bullets_html(ramp_words.cautions(ramp)))
    with st.expander("What the ramp rests on"):
        st.html(markup.bullets_html(ramp_sources(ramp.proof.site)))
else:
    st.caption("Week by week, the most feed that a young or winter-shrunken film bears. Takes some seconds.")

st.markdown(f"## Course of the water: {markup.loop_label(loop)}" if len(loops) > 1 else "## Course of the water")
st.html(markup.species_key_html(season))
spec = screen.water_spec(source, loop)
st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key="chart_loop")
with st.expander("The same in numbers, month by month"):
    st.html(markup.table_html(water_rows(season, loop, units)))
