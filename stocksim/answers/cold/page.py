"""Cold months: water and air by the week, what a degree costs, what to do, and the night the heaters fail."""

from functools import partial

import streamlit as st

from stocksim.answers.cold import answer as cold_data
from stocksim.answers.cold import screen as cold_screen
from stocksim.answers.cold import words as cold_words
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, screen

screen.begin()
shown = screen.shown()
season, source = shown.season, shown.source

st.html(markup.heading_html("Cold months"))
if season is None:
    st.html(markup.faults_html(shown.faults))
    st.stop()
if shown.is_last_sound:
    st.html(markup.notice_html(f"Below: the last sound version, {source.name} before the faults."))
units = season.site.file.site.units
try:
    site, set_aside = cold_screen.computed(source)
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.markdown("The example below has everything that is needed; copy its tables into your own file.")
    example = "heron_lane_computed"
    st.button(f"Open the example {example}", on_click=guard.kept(screen.open_example), args=(example,))
    st.stop()

answer = st.empty()
with st.form("cold_form", border=False), st.container(horizontal=True, vertical_alignment="bottom"):
    guard.text(cold_screen.WORTH_LABEL, "worth", "8", in_form=True, width=330)
    take = guard.kept(partial(guard.store, "worth"))
    is_sent = st.form_submit_button("Compare set points and measures", type="primary", on_click=take)
if is_sent:
    st.session_state.cold_for = source
found = None
if st.session_state.get("cold_for") == source:
    try:
        worth = cold_screen.worth_of_typed(guard.entry("worth", "8"))
        found = cold_screen.compared(source, worth)
    except StocksimError as error:
        answer.html(markup.faults_html([str(fault) for fault in error.faults]))
else:
    answer.caption("The comparison takes some 15 seconds: every option is a whole season of heat and of fish.")
if found is not None:
    cold = found
    harm = [o for o in cold.options[:1] if o.name not in {s.name for s in cold.spared}]
    answer.html(
        markup.verdict_html(cold_words.verdict_sentence(cold), bool(harm))
        + markup.answer_html(f"Why: {cold.reason}. What would change it: {cold.change}.")
        + markup.answer_html(cold_words.failure_sentence(cold))
    )
    st.markdown("## What a degree costs")
    for name in ("frontier", "fuel"):
        spec = cold_screen.spec_of(source, worth, name)
        if spec is None:
            st.caption("No heater has a price: give price and price_per to see growth against cost.")
        else:
            st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key=f"cold_{name}")
        if name == "frontier":
            st.html(markup.numbered_html(cold_words.numbered(cold)))
    st.html(markup.caption_html(f"As the file says: {cold_words.fuel_sentence(cold.options[0])}."))
    st.html(markup.caption_html(f"As recommended: {cold_words.fuel_sentence(cold.option(cold.recommended))}."))
    with st.expander("Heat, fuel and cost by month"):
        st.html(markup.table_html(cold_words.fuel_month_rows(cold)))
    with st.expander("Every option in numbers"):
        st.html(markup.table_html(cold_words.option_rows(cold)))
    st.markdown("## The night the heaters fail")
    spec = cold_screen.spec_of(source, worth, "night")
    if spec is not None:
        st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key="cold_night")
    st.caption("As the file says:")
    st.html(markup.table_html(cold_words.failure_rows(cold.failed.times, units)))
    if cold.recommended != cold.options[0].name:
        st.caption("As recommended:")
        st.html(markup.table_html(cold_words.failure_rows(cold.failed_recommended.times, units)))

st.markdown("## Water and air, week by week")
st.html(markup.species_key_html(season))
spec = cold_screen.temperature_spec(source)
st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key="cold_temperature")
with st.expander("The same in numbers, month by month"):
    st.html(markup.table_html(cold_screen.month_table(source)))
st.markdown("## Keep in mind")
st.html(markup.bullets_html([*(found.notes if found is not None else set_aside), *cold_data.CAUTIONS]))
