"""The species library: facts and values with unit, source and grade of evidence; growth of one fish; the feeds."""

from html import escape
from pathlib import Path

import streamlit as st

from stocksim.engine.running import grow
from stocksim.errors import StocksimError
from stocksim.faces import charts, fish_answers, markup, screen
from stocksim.library.species import load_species, species_names
from stocksim.site.notes import own_files
from stocksim.units import format_quantity, parse_quantity

screen.begin()
shown = screen.shown()
units = shown.season.site.file.site.units if shown.season else "metric"
# a keeper's own species files stand beside the site
beside = Path(st.session_state.site_folder)

st.markdown("# Fish")
names = species_names(beside)
# the key of a field is forgotten when its page is left, and a start that moves with the choice would undo the next one
if st.session_state.get("fish_picked") not in names:
    kept = st.session_state.get("fish_name")
    st.session_state.fish_picked = kept if kept in names else names[0]
name = st.selectbox("Species", names, key="fish_picked", format_func=lambda key: key.replace("_", " ").capitalize())
st.session_state.fish_name = name
try:
    entry = load_species(name, beside)
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.stop()
st.html(
    f"{markup.swatch_html(name)} <b>{escape(entry.title)}</b> <i>{escape(entry.facts['latin'])}</i> "
    f"{markup.badge_html(entry.evidence)}{markup.badge_html(entry.facts['company_evidence'], 'company evidence')}"
)
if entry.is_own:
    st.html(markup.notice_html(own_files({name: entry})[0]))
st.html(markup.paragraph_html(entry.summary))
st.html(markup.bullets_html(fish_answers.facts(entry)))
for head, key in (("Caution.", "caution"), ("Wild-caught fish.", "wild_caution")):
    if key in entry.facts:
        st.html(markup.paragraph_html(entry.facts[key], head))

st.markdown("## One fish")
with st.container(horizontal=True, vertical_alignment="bottom"):
    start = st.text_input("Weight at the start", "20 g", width=150)
    water = st.text_input("Water", format_quantity(15.0, "temperature", units), width=150)
    days = st.number_input("Days", 10, 1000, 243, 10, width=130)
try:
    weight_g, level = parse_quantity(start, "weight"), parse_quantity(water, "temperature")
    courses = {}
    for step in (-3.0, 0.0, 3.0):
        courses[format_quantity(level + step, "temperature", units)] = grow(
            name, weight_g, level + step, days=int(days), beside=beside
        )
    st.altair_chart(
        charts.one_fish(courses, name, units), theme=None, alt=f"Growth of one {entry.title} at three waters"
    )
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))

st.markdown("## Values and sources")
st.caption("Grade: how much of the source was read. Weak: memory, common practice or a guess; it bears little weight.")
for number, (topic, rows) in enumerate(fish_answers.value_rows(entry).items()):
    with st.expander(f"{topic} ({len(rows)})", expanded=number == 0):
        st.html(markup.table_html(rows))

st.markdown("## Feeds")
with st.expander("Feeds of the library, pellet or natural"):
    st.html(markup.table_html(fish_answers.feed_rows()))
    st.html(markup.bullets_html(fish_answers.feed_cautions()))
