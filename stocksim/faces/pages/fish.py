"""The species library: every value with unit, source and grade of evidence; growth of one fish."""

import streamlit as st

from stocksim.engine.running import grow
from stocksim.errors import StocksimError
from stocksim.faces import charts, markup, screen
from stocksim.library.species import load_species, species_names
from stocksim.units import format_quantity, parse_quantity

screen.begin()
shown = screen.shown()
units = shown.season.site.file.site.units if shown.season else "metric"

st.markdown("# Fish")
names = species_names()
st.session_state.setdefault("fish_name", names[0])
name = st.selectbox(
    "Species", names, index=names.index(st.session_state.fish_name), format_func=lambda key: load_species(key).title
)
st.session_state.fish_name = name
entry = load_species(name)
st.html(
    f"{markup.swatch_html(name)} <b>{entry.title}</b> <i>{entry.facts['latin']}</i> {markup.badge_html(entry.evidence)}"
)
st.markdown(entry.summary)
if "caution" in entry.facts:
    st.markdown(f"**Caution.** {entry.facts['caution']}")

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
            name, weight_g, level + step, days=int(days)
        )
    st.altair_chart(
        charts.one_fish(courses, name, units), theme=None, alt=f"Growth of one {entry.title} at three waters"
    )
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))

st.markdown("## Values and sources")
rows = [
    {
        "value": key.replace("_", " "),
        "number": f"{value.value:g} {value.unit}".removesuffix(" -"),
        "range": "" if value.low is None else f"{value.low:g} to {value.high:g}",
        "source": entry.sources[value.source].cite,
        "read": entry.sources[value.source].read,
        "where": value.where,
    }
    for key, value in entry.values.items()
]
st.html(markup.table_html(rows))
