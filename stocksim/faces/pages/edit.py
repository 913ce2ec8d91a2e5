"""Edit the site in plain fields or as text, and see the verdict at once."""

import streamlit as st

from stocksim.faces import editing, fields, keeping, markup, screen
from stocksim.faces.words import is_trouble, verdict

PARTS = {
    "Fish": "cohorts",
    "Events": "events",
    "Tanks": "tanks",
    "Beds": "beds",
    "Loops": "loops",
    "Biofilters": "biofilters",
    "Settlers": "settlers",
    "Season": "season",
    "Whole file": "",
}

screen.begin()
shown = screen.shown()
season = shown.season
faults = [*st.session_state.site_notes, *shown.faults]

with st.container(key="verdict_bar"):
    if shown.faults:
        st.html(markup.verdict_html(f"To mend: {len(shown.faults)}. {keeping.kept_words()}", True))
    elif season is not None:
        st.html(markup.verdict_html(verdict(season, season.findings), is_trouble(season, season.findings)))
if faults:
    st.html(markup.faults_html(faults))
if shown.is_last_sound and season is not None:
    st.html(markup.notice_html(f"The last sound version said: {verdict(season, season.findings)}"))

text = st.session_state.site_text
st.session_state.setdefault("edit_part", next(iter(PARTS)))
with st.container(horizontal=True, vertical_alignment="bottom"):
    picked = st.segmented_control(
        "What to edit", list(PARTS), default=st.session_state.edit_part, label_visibility="collapsed", key="part"
    )
    st.button("Undo", on_click=screen.undo, disabled=not st.session_state.site_past)
    st.download_button("Download the site file", text, st.session_state.site_name, on_click="ignore")
part = st.session_state.edit_part = picked or st.session_state.edit_part
table = PARTS[part]
raw = editing.tables(text)
st.caption("A change counts when you leave the field. Quantities carry their unit, as 900 L or 64 degF.")

if table and raw is None:
    st.markdown("The text cannot be read, so there are no fields to show. Mend it under **Whole file**.")
elif table and raw is not None:
    if table == "events":
        fields.events(raw, shown.faults, season if not shown.is_last_sound else None)
    else:
        names = raw.get(table) if table != "season" else None
        paths = [("site",), ("season",)] if table == "season" else [(table, str(name)) for name in names or {}]
        for path in paths:
            fields.row(raw, path, shown.faults)
        if table != "season":
            fields.add_button(table, raw)
else:
    key = f"whole {st.session_state.site_turn}"
    st.session_state.setdefault(key, text)
    st.text_area(
        "The whole site file",
        key=key,
        height=560,
        on_change=lambda: screen.change_text(st.session_state[key]),
    )

if season is not None and table:
    st.html(markup.species_key_html(season))
    spec = screen.chart_spec(shown.source, "density")
    st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key="chart_density")
