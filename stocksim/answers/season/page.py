"""The season's answer: in trouble or not, where, when, what to do; then the charts."""

import datetime as dt
import io
import tempfile
import zipfile
from functools import partial
from typing import Any

import streamlit as st

from stocksim.answers.season.answer import season_answer, with_advice, write_season
from stocksim.changes.ways import Advice
from stocksim.drawn.outlook import QUICK_SEASONS
from stocksim.drawn.sureness import Sureness, sureness
from stocksim.errors import StocksimError
from stocksim.faces import day_reading, frame, guard, keeping, markup, report, screen, showing, trial, working
from stocksim.faces.answer import Head, Sentences
from stocksim.faces.chance_words import picture_note, sure_words
from stocksim.faces.registry import script_of
from stocksim.faces.words import day_words
from stocksim.site.examples import example_names


@st.cache_data(max_entries=8, show_spinner=False)
def bundle(source: screen.Source, _advice: Advice | None, is_sought: bool) -> bytes:
    """Zip of the five CSV files, summary.json and the site file of a sound site."""
    season = screen.solve(source)
    buffer = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in write_season(season, folder, None if is_sought else season.findings, _advice):
            archive.write(path, path.name)
        archive.writestr(source.name, source.text)
    return buffer.getvalue()


def printed(source: screen.Source, advice: Advice | None) -> str:
    """The report of a sound site from today on; made when it is asked for."""
    season = screen.solve(source)
    return report.report_html(season, advice, report.first_day(season, dt.date.today(), is_asked=False))


def receive() -> None:
    """Take what was uploaded."""
    screen.receive(st.session_state.upload)


def ask_chance(asked: screen.Source) -> None:
    """Draw the seasons of a site in the next run."""
    st.session_state.chance_for = asked


def drawn(asked: screen.Source) -> Sureness | None:
    """How sure a sound site's season is, where it was asked for; None while it was not, and where it was ended."""
    if st.session_state.get("chance_for") != asked:
        words = f"How sure is this? Draw {QUICK_SEASONS} seasons"
        st.button(words, key="ask_chance", on_click=guard.kept(ask_chance), args=(asked,))
        return None
    try:
        site = screen.solve(asked).site
        return working.worked("chance", f"Drawing {QUICK_SEASONS} seasons", (asked,), lambda tell: sureness(site, tell))
    except StocksimError as error:
        st.html(markup.faults_html([str(fault) for fault in error.faults]))
        return None


day_reading.take()
screen.begin()
shown = screen.shown()
season, source = shown.season, shown.source
frame.head(shown)
with st.container(key="picker", horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
    span = f" from {day_words(season.dates[0])} to {day_words(season.dates[-1])}" if season else ""
    st.html(markup.heading_html(f"Season{span}"), width="content")
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

if not screen.is_own() and not keeping.is_read_only():
    with st.container(key="begin_own", horizontal=True, vertical_alignment="center"):
        st.html(markup.paragraph_html("This is an example."), width="content")
        if st.button("Begin your own site: five questions", type="primary", key="begin_own_site"):
            st.switch_page(script_of("start"))
if shown.faults:
    st.html(markup.faults_html([*st.session_state.site_notes, *shown.faults]))
    if not st.session_state.site_unread or st.session_state.site_text:
        st.markdown("Fix it on the page **Site**: everything typed is still there.")
elif st.session_state.site_notes:
    st.html(markup.faults_html(st.session_state.site_notes))
if season is None:
    st.stop()
showing.tell_version(shown, "Below")


def draw(name: str) -> dict[str, Any]:
    """A stack of charts, the picture with the day that is read."""
    if name == "density":
        bands = sure.found.bands if sure is not None else None
        read = day_reading.entered(screen.solve(source))
        return screen.picture_spec(source, read, dt.date.today(), bands is not None, bands)
    return screen.chart_spec(source, name)


sure: Sureness | None = None
answer = season_answer(season, season.findings, is_sought=False, draw=draw)
trial.show(source, season)
with st.container(key="first_screen", horizontal=True, vertical_alignment="top"):
    actions = st.container(key="first_actions")
    with st.container(key="first_picture"):
        told_chance, picture = st.empty(), st.container()
        sure = drawn(source) if season.site.file.cohorts else None  # asked for below the picture, whose bands it makes
        with picture:
            showing.show(answer, "picture", "key")
            if sure is not None:
                told_chance.html(markup.answer_html(sure_words(season, season.findings, sure)))
                st.html(markup.part_html(Sentences([picture_note(sure)], "note")))
            day_reading.show(season)
with actions:
    to_do = st.empty()
    tries, others = st.container(), st.empty()
limits = st.empty()
if answer.has("limits"):
    limits.html(showing.section_html(answer, "limits"))
showing.show(answer, "tanks", "fish", "feeding", "charts", "areas", "cautions", "assumptions")
with actions:
    advice = screen.seek_advice(source)
if sure is not None and advice is not None:
    with told_chance:
        whole = working.worked(
            "chance_advised", "Drawing what is advised", (source,),
            partial(with_advice, sure, season, advice),
        )  # fmt: skip
    if whole is not None:
        told_chance.html(markup.answer_html(sure_words(season, season.findings, whole)))
sought = season_answer(season, season.findings if advice is None else advice.findings, advice=advice)
if advice is not None and sought.has("do"):
    # the first way with its tries beside it, then the others
    parts = sought.section("do").parts
    heads = [at for at, part in enumerate(parts) if isinstance(part, Head) and part.on != "text"]
    to_do.html("".join(map(markup.part_html, parts[: heads[1] if len(heads) > 1 else None])))
    if len(heads) > 1:
        others.html("".join(map(markup.part_html, parts[heads[1] :])))
    if not shown.faults:
        with tries:
            trial.offer(source, season, advice.ways[0])
elif not any(finding.is_broken for finding in season.findings):  # else what was tried stands below, limit by limit
    to_do.html(markup.answer_html("Nothing has to change: every limit of the model holds."))
if sought.has("limits"):
    limits.html(showing.section_html(sought, "limits"))
with st.container(key="fetch", horizontal=True):
    st.download_button(
        "Download the report to print",
        partial(printed, source, advice),
        f"{source.name.removesuffix('.toml')}_report.html",
        "text/html",
        on_click="ignore",
    )
    st.download_button("Download the site file", source.text, source.name, "application/toml", on_click="ignore")
    st.download_button(
        "Download the results (CSV and summary.json, zip)",
        bundle(source, advice, advice is not None),
        f"{source.name.removesuffix('.toml')}_season.zip",
        "application/zip",
        on_click="ignore",
    )
showing.words(sought)
