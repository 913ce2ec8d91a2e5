"""Edit the site in plain fields or as text, and see the verdict at once."""

import base64
from typing import Any
from urllib.parse import quote

import streamlit as st

from stocksim.faces import editing, fields, frame, guard, keeping, markup, rows, screen, site_map
from stocksim.faces import forms as refusals
from stocksim.faces.care import typed_cares
from stocksim.faces.palette import FAINT
from stocksim.faces.registry import script_of
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
    "Weather": "weather",
    "Greenhouse": "greenhouse",
    "Fish room": "fish_room",
    "Stocking": "stocking",
    "Advice": "advice",
    "Whole file": "",
}

ONCE = ("greenhouse", "fish_room", "stocking", "advice")


def _download(label: str) -> None:
    """A button that downloads the session's text of the site, as it is once the field that was left has been taken."""
    if st.button(label, key="download_latest"):
        state = st.session_state
        state.downloads = state.get("downloads", 0) + 1  # an element that changes nothing would not run again
        st.html(_script(state.site_text, state.site_name, state.downloads), unsafe_allow_javascript=True)


def _script(text: str, name: str, number: int) -> str:
    """Script that saves a text as a file; of text and name it holds nothing but letters of base64."""
    held, called = (base64.b64encode(part.encode("utf-8", "surrogateescape")).decode() for part in (text, name))
    return f"""<script>(() => {{
  const bytes = held => Uint8Array.from(atob(held), sign => sign.charCodeAt(0));
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([bytes("{held}")], {{type: "application/toml"}}));
  link.download = new TextDecoder().decode(bytes("{called}"));
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);  // download {number}
}})()</script>"""


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


def show_place(place: site_map.Place) -> None:
    """Show the form of a place that was tapped on the map."""
    name = next(name for name, table in PARTS.items() if table == place.table)
    st.session_state.kept = st.session_state.get("kept", {}) | {"part": name}
    st.session_state.site_focus = (place.table, place.name)


def show_all() -> None:
    """Show the forms of all places again."""
    st.session_state.site_focus = None


def lined_style(text: str) -> str:
    """Style that numbers the lines of the text view; they scroll with it and are no part of it."""
    lines = min(text.count("\n") + 1, _MOST_NUMBERED)
    marks = "".join(f"<tspan x='34' y='{22 + 20 * at}'>{at + 1}</tspan>" for at in range(lines))
    drawn = (
        f"<svg xmlns='http://www.w3.org/2000/svg' width='40' height='{20 * lines + 16}'>"
        f"<text font-family='monospace' font-size='12' text-anchor='end' fill='{FAINT}'>{marks}</text></svg>"
    )
    return f"""<style>.st-key-whole_text textarea {{font: 14px/20px monospace; white-space: pre; overflow-x: auto;
      padding: 8px 8px 8px 46px; background: url("data:image/svg+xml,{quote(drawn)}") no-repeat local 0 0}}</style>"""


def show_forms(table: str, raw: dict[str, Any]) -> None:
    """The forms of a part of the site."""
    fields.begin(raw, shown.faults)
    if table == "events":
        with st.expander("Calendar: all that has a date"):
            st.html(markup.table_html(rows.dated(raw)) or markup.caption_html("Nothing in the file has a date."))
        rows.events(raw, season if not shown.is_last_sound else None)
    elif table == "season":
        rows.row(raw, ("site",))
        rows.row(raw, ("season",))
    elif table == "weather":
        rows.weather(raw)
    elif table in ONCE:
        rows.one_table(raw, table)
    else:
        names = [str(name) for name in editing.entries(raw, table)]
        focus = st.session_state.get("site_focus")
        chosen = [name for name in names if focus == (table, name)]
        for name in chosen or names:
            rows.row(raw, (table, name))
        if chosen and len(names) > 1:
            st.button(f"Show all {len(names)} {table}", key="show_all_places", on_click=guard.kept(show_all))
        rows.add_button(table, raw)
    if season is not None:
        # where it is typed, once
        for care in typed_cares(season.site.file, season.site.species).get(table, []):
            st.html(markup.caption_html(care))


_MOST_NUMBERED = 2000
# all parts in sight at every width
PARTS_STYLE = """<style>.st-key-part [role="radiogroup"], .st-key-part [data-testid="stButtonGroup"] > div {
  flex-wrap: wrap !important; overflow: visible !important}</style>"""

# on a phone two fields share a line, however deep they stand, where what they hold can be read so
FIELDS_STYLE = """<style>@media (max-width: 640px) {
  .st-key-site_forms .stElementContainer:is(:has(.stTextInput), :has(.stSelectbox), :has(.stDateInput)) {
    flex: 1 1 150px; width: auto !important; min-width: 0}
  .st-key-site_forms .stElementContainer:has(.stTextInput) {flex-basis: 118px}
}</style>"""

if raw is not None:
    drawn = site_map.draw(raw)
    if drawn.places:
        st.html(site_map.html(drawn), unsafe_allow_javascript=True)
        with st.container(key="map_buttons"):
            for number, place in enumerate(drawn.places):
                st.button("form", key=f"map_place_{number}", on_click=guard.kept(show_place), args=(place,))

with st.container(horizontal=True, vertical_alignment="bottom"):
    st.html(PARTS_STYLE)
    part = guard.one_of("What to edit", list(PARTS), "part")
    has_past = bool(st.session_state.site_past or refused)
    st.button("Undo", on_click=guard.kept(go_back), disabled=not has_past)
    _download("Download the site file")
    if not keeping.is_read_only() and st.button("Begin another site: five questions", key="begin_site"):
        st.switch_page(script_of("start"))
table = PARTS[part]
st.caption("A change counts when you leave the field. Quantities carry their unit, as 900 L or 64 degF.")

if table and raw is None:
    st.markdown("The text cannot be read, so there are no fields to show. Fix it under **Whole file**.")
elif table and raw is not None:
    st.html(FIELDS_STYLE)
    with st.container(key="site_forms"):
        show_forms(table, raw)
else:
    key = f"whole {st.session_state.site_turn}"
    st.session_state[key] = text

    def take() -> None:
        # a text that was undone may be sent once more as it was drawn
        if key == f"whole {st.session_state.site_turn}" or st.session_state[key] != text:
            screen.change_text(st.session_state[key])

    for fault in shown.faults:
        line = editing.line_of(text, editing.place_in(fault))
        if line is not None:
            st.html(markup.caption_html(f"Line {line}: {fault}"))
    st.html(lined_style(text))
    with st.container(key="whole_text"):
        st.text_area("The whole site file", key=key, height=560, on_change=guard.kept(take))

if season is not None and table:
    st.html(markup.species_key_html(season))
    spec = screen.chart_spec(shown.source, "density")
    st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key="chart_density")
