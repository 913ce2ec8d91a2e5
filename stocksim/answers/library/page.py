"""The species library: facts and values with unit, source and grade of evidence; growth of one fish; the feeds."""

from html import escape
from pathlib import Path

import streamlit as st

from stocksim.answers.library.answer import days_of_typed, feed_section, fish_answer
from stocksim.engine.running import grow
from stocksim.errors import StocksimError
from stocksim.faces import charts, frame, guard, links, markup, screen, showing
from stocksim.library.species import load_species, species_names
from stocksim.site.notes import own_files
from stocksim.units import format_quantity, parse_quantity

screen.begin()
shown = screen.shown()
units = shown.season.site.file.site.units if shown.season else "metric"
# a keeper's own species files stand beside the site
beside = Path(st.session_state.site_folder)

frame.head(shown)
st.html(markup.heading_html("Fish"))
names = species_names(beside)
links.take(species="species")
if guard.entry("species", None) not in names:
    guard.forget("species")
bound = guard.shown("species", names[0])
name = st.selectbox("Species", names, format_func=lambda key: key.replace("_", " ").capitalize(), **bound)
links.hold(species="species")
try:
    entry = load_species(name, beside)
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.stop()
st.html(
    f"{markup.swatch_html(name)} <b>{escape(entry.title)}</b> <i>{escape(entry.facts['latin'])}</i> "
    f"{markup.badge_html(entry.evidence)}{markup.badge_html(entry.facts['company_evidence'], 'evidence on tankmates')}"
)
if entry.is_own:
    st.html(markup.notice_html(own_files({name: entry})[0]))
answer = fish_answer(name, beside, units)
showing.show(answer, "facts", "evidence", "cautions")

st.markdown("## One fish")
with st.container(horizontal=True, vertical_alignment="bottom"):
    start = guard.text("Weight at the start", "one fish, weight", "20 g", width=150)
    water = guard.text("Water", "one fish, water", format_quantity(15.0, "temperature", units), width=150)
    typed = guard.text("Days", "one fish, days", "243", width=130)
try:
    days = days_of_typed(typed)
    weight_g, level = parse_quantity(start, "weight"), parse_quantity(water, "temperature")
    courses = {}
    for step in (-3.0, 0.0, 3.0):
        courses[format_quantity(level + step, "temperature", units)] = grow(
            name, weight_g, level + step, days=days, beside=beside
        )
    st.vega_lite_chart(
        charts.one_fish(courses, name, units).to_dict(),
        theme=None,
        width="stretch",
        alt=f"Growth of one {entry.title} at three waters",
    )
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))

st.markdown("## Values and sources")
st.caption("Grade: how much of the source was read. Weak: memory, common practice or a guess; do not rely on it.")
showing.show(answer, *(section.key for section in answer.sections if section.key.startswith("values")))

st.markdown("## Feeds")
showing.show_section(feed_section())
showing.words(answer)
