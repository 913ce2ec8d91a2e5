"""The beds: what the feed carries and what the beds need, what stands when, nutrients, harvest, cautions."""

import streamlit as st

from stocksim.answers.beds import words as bed_words
from stocksim.answers.beds.screen import bed_spec, map_spec, plan_of, weigh
from stocksim.answers.beds.words import bed_cautions
from stocksim.faces import guard, markup, screen

screen.begin()
shown = screen.shown()
season, source = shown.season, shown.source

st.html(markup.heading_html("Beds"))
if season is None:
    st.html(markup.faults_html(shown.faults))
    st.stop()
if shown.is_last_sound:
    st.html(markup.notice_html(f"Below: the last sound version, {source.name} before the faults."))
units = season.site.file.site.units
loops = weigh(source)
if not loops:
    st.caption("No fish and no plantings: nothing to weigh against each other.")
    st.stop()
named = {balance.loop: balance for balance in loops}
first = next(iter(named))
balance = named[guard.one_of("Loop", list(named), "beds_picked", markup.loop_label) if len(named) > 1 else first]

answer, *more = bed_words.loop_sentences(season, balance)
st.html(markup.answer_html(answer))
excess = bed_words.excess_sentence(season, balance)
st.html(markup.bullets_html([*more, *([excess] if excess else [])], is_small=False))

st.markdown("## What brings fish and beds nearer?")
if st.button("Try levers on the whole season"):
    st.session_state.beds_for = source
plan = plan_of(source) if st.session_state.get("beds_for") == source else None
if plan is None:
    st.caption("Each lever is run as a whole season; takes some seconds.")
else:
    proofs = plan.proofs[balance.loop]
    if proofs:
        st.html(markup.bullets_html([bed_words.proof_sentence(proof, units) for proof in proofs], is_small=False))
    else:
        st.caption("Nothing that we tried brings this loop nearer to balance.")

picture = map_spec(source)
if picture is not None:
    st.markdown("## Beds, drawn to area")
    st.vega_lite_chart(picture, theme=None, width="stretch", alt=picture.pop("description"), key="chart_beds")
    st.html(markup.table_html(bed_words.bed_rows(season, units)))
    st.html(markup.bullets_html(bed_words.solids_sentences(season)))

st.markdown(f"## Week by week: {markup.loop_label(balance.loop)}")
st.html(markup.bullets_html(bed_words.TWO_AREAS))
spec = bed_spec(source, balance.loop)
st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key="chart_bed_weeks")
unrated = bed_words.area_words(season, balance.loop)
if unrated:
    st.html(markup.caption_html("; ".join(unrated) + "."))
with st.expander("The same in numbers, week by week"):
    st.html(markup.table_html(bed_words.week_rows(balance, units)))
    st.caption(bed_words.table_note(units))

st.markdown("## Nutrients, g in the season")
plan_now = plan or plan_of(source, with_changes=False)
st.html(markup.table_html(bed_words.nutrient_rows(plan_now, balance.loop)))
st.caption(bed_words.NUTRIENT_NOTE)
st.html(markup.bullets_html(bed_words.adding_sentences(plan_now, balance.loop)))
st.markdown("## Cautions")
st.html(markup.bullets_html(bed_cautions(plan_now)))
