"""The season's answer: in trouble or not, where, when, what to do; then the charts."""

import streamlit as st

from stocksim.answers.season.screen import bundle
from stocksim.engine.results.findings import by_place
from stocksim.faces import guard, keeping, markup, screen
from stocksim.faces.fates import event_lines, fate_note, fate_rows, is_worth_telling
from stocksim.faces.water_words import tank_water_rows
from stocksim.faces.words import cautions, day_words, is_trouble, verdict
from stocksim.site.examples import example_names

screen.begin()
shown = screen.shown()
season, source = shown.season, shown.source


def receive() -> None:
    """Take what was uploaded."""
    screen.receive(st.session_state.upload)


with st.container(key="picker", horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
    st.html(markup.heading_html(season.site.file.site.name if season else source.name), width="content")
    if not keeping.is_read_only():
        with st.popover("Change the site"):
            for example in example_names():
                st.button(f"Open the example {example}", on_click=guard.kept(screen.open_example), args=(example,))
            st.file_uploader(
                "or upload a site file (.toml) with the temperature logs (.csv) it names",
                type=["toml", "csv"],
                accept_multiple_files=True,
                key="upload",
                on_change=guard.kept(receive),
            )

if shown.faults:
    st.html(markup.verdict_html("This site file cannot be run as it stands:", True))
    st.html(markup.faults_html([*st.session_state.site_notes, *shown.faults]))
    if not st.session_state.site_unread or st.session_state.site_text:
        st.markdown("Mend it on the page **Edit the site**: everything typed is still there.")
elif st.session_state.site_notes:
    st.html(markup.faults_html(st.session_state.site_notes))
if season is None:
    st.stop()
if shown.is_last_sound:
    st.html(markup.notice_html(f"Below: the last sound version, {source.name} before the faults."))

units = season.site.file.site.units
broken = [finding for finding in season.findings if finding.is_broken]
advice = [finding for finding in season.findings if finding.margin_percent is None and finding.days_broken]
st.html(markup.verdict_html(verdict(season, season.findings), is_trouble(season, season.findings)))
answer = st.empty()
answer.html(markup.findings_html([*broken, *advice], units, False))

st.markdown("## Tank by tank")
dense = by_place(broken, "density")
rows = tank_water_rows(season, season.findings, units)
st.html(markup.table_html(rows, [(n, "peak") for n, row in enumerate(rows) if f"tanks.{row['tank']}" in dense]))
st.caption("Oxygen low, ammonia and nitrite: worst of the season / limit of that day, mg/L. ✗: limit broken.")

if is_worth_telling(season):
    st.markdown("## What becomes of the fish")
    st.html(markup.table_html(fate_rows(season, units)))
    st.html(markup.caption_html(fate_note(season)))
    st.html(markup.bullets_html(event_lines(season, units), False))

st.markdown(f"## The season, {day_words(season.dates[0])} to {day_words(season.dates[-1])}")
st.html(markup.species_key_html(season))
with st.container(key="charts"):
    for name in screen.STACKS:
        spec = screen.chart_spec(source, name)
        st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key=f"chart_{name}")

st.markdown("## Keep in mind")
st.html(markup.bullets_html(cautions(season)))
with st.spinner("Trying what would help"):
    levers = screen.seek_levers(source)
found = [f for f in levers if f.is_broken or (f.margin_percent is None and f.days_broken)]
answer.html(markup.findings_html(found, units, True))
with st.container(key="fetch", horizontal=True):
    st.download_button("Download the site file", source.text, source.name, "application/toml", on_click="ignore")
    st.download_button(
        "Download the results (CSV and summary.json, zip)",
        bundle(source),
        f"{source.name.removesuffix('.toml')}_season.zip",
        "application/zip",
        on_click="ignore",
    )
