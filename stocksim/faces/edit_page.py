"""Edit the site in plain fields or as text, and see the verdict at once."""

import streamlit as st

from stocksim.faces import editing, fields, frame, guard, markup, screen
from stocksim.faces import fields as latest
from stocksim.faces import forms as refusals
from stocksim.faces.care import typed_cares
from stocksim.faces.words import verdict

PARTS = {
    "Fish": "cohorts",
    "Events": "events",
    "Tanks": "tanks",
    "Beds": "beds",
    "Loops": "loops",
    "Biofilters": "biofilters",
    "Settlers": "settlers",
    "Pumps": "pumps",
    "Backups": "backups",
    "Season": "season",
    "Whole file": "",
}

screen.begin()
shown = screen.shown()
season = shown.season
text = st.session_state.site_text
raw = editing.tables(text)
refused = refusals.of_site(raw)
faults = [*st.session_state.site_notes, *refused, *shown.faults]

frame.head(shown)
st.html(markup.heading_html("Site"))
if faults:
    st.html(markup.faults_html(faults))
if shown.is_last_sound and season is not None:
    st.html(markup.notice_html(f"The last sound version said: {verdict(season, season.findings)}"))


def go_back() -> None:
    """Undo what was done last: an entry that was refused, or a change of the text."""
    if not refusals.drop_last():
        screen.undo()


with st.container(horizontal=True, vertical_alignment="bottom"):
    part = guard.one_of("What to edit", list(PARTS), "part")
    has_past = bool(st.session_state.site_past or refused)
    st.button("Undo", on_click=guard.kept(go_back), disabled=not has_past)
    latest.download("Download the site file")
table = PARTS[part]
st.caption("A change counts when you leave the field. Quantities carry their unit, as 900 L or 64 degF.")

if table and raw is None:
    st.markdown("The text cannot be read, so there are no fields to show. Fix it under **Whole file**.")
elif table and raw is not None:
    fields.keep_names(raw)
    if table == "events":
        fields.events(raw, shown.faults, season if not shown.is_last_sound else None)
    else:
        rows = editing.entries(raw, table)
        paths = [("site",), ("season",)] if table == "season" else [(table, str(name)) for name in rows]
        for path in paths:
            fields.row(raw, path, shown.faults)
        if table != "season":
            fields.add_button(table, raw)
    if season is not None:
        # where it is typed, once
        for care in typed_cares(season.site.file, season.site.species).get(table, []):
            st.html(markup.caption_html(care))
else:
    key = f"whole {st.session_state.site_turn}"
    st.session_state[key] = text

    def take() -> None:
        # a text that was undone may be sent once more as it was drawn
        if key == f"whole {st.session_state.site_turn}" or st.session_state[key] != text:
            screen.change_text(st.session_state[key])

    st.text_area("The whole site file", key=key, height=560, on_change=guard.kept(take))

if season is not None and table:
    st.html(markup.species_key_html(season))
    spec = screen.chart_spec(shown.source, "density")
    st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key="chart_density")
