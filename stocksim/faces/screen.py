"""What the pages share: the site's text in the session, and the season of its last sound version."""

from __future__ import annotations

import io
import os
import shutil
import tempfile
import weakref
import zipfile
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, NamedTuple

import streamlit as st

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.engine.running import run_season
from stocksim.errors import Fault, StocksimError
from stocksim.faces import charts, water_charts
from stocksim.faces.season_files import write_season
from stocksim.planning.levers import find_levers
from stocksim.planning.ramp import Ramp, feeding_ramp
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.site.reading import site_from_text

_MOST_UNDO = 50
STACKS = {"density": charts.density_stack, "water": charts.water_stack, "growth": charts.growth_stack}


class Source(NamedTuple):
    """What a season depends on; ``stamp`` changes when a log or an own species file beside the site changes."""

    text: str
    folder: str
    name: str
    stamp: tuple[tuple[str, int, int], ...] = ()


class Shown(NamedTuple):
    """What a page shows: a season (None before the first sound one), where it comes from, the faults of the text."""

    season: Season | None
    source: Source
    faults: list[str]

    @property
    def is_last_sound(self) -> bool:
        """Whether the season is older than the text, which has faults."""
        return bool(self.faults) and self.season is not None


class _Folder:
    """A folder for uploaded files that goes when the session goes."""

    def __init__(self) -> None:
        self.path = tempfile.mkdtemp(prefix="stocksim_")
        weakref.finalize(self, shutil.rmtree, self.path, True)


@st.cache_data(max_entries=32, show_spinner="Running the season")
def solve(source: Source) -> Season:
    """Season of a site's text; raises InputError with every fault."""
    season = run_season(site_from_text(source.text, Path(source.folder), source.name))
    _ = season.findings, season.tanks, season.cohorts, season.loops, season.beds
    return season


@st.cache_data(max_entries=32, show_spinner=False)
def seek_levers(source: Source) -> list[Finding]:
    """Findings of a sound site with what helps against each broken limit; takes some seconds."""
    return find_levers(solve(source))


@st.cache_data(max_entries=96, show_spinner=False)
def chart_spec(source: Source, name: str) -> dict[str, Any]:
    """One of the stacks of charts (``density``, ``water``, ``growth``) of a sound site as a Vega-Lite specification."""
    return STACKS[name](solve(source)).to_dict(validate=False)


@st.cache_data(max_entries=96, show_spinner=False)
def water_spec(source: Source, loop: str) -> dict[str, Any]:
    """The water charts of a loop of a sound site as a Vega-Lite specification."""
    return water_charts.loop_stack(solve(source), loop).to_dict(validate=False)


@st.cache_data(max_entries=8, show_spinner="Trying week after week")
def seek_ramp(source: Source) -> Ramp:
    """Feeding ramp of a sound site from its first day; takes some seconds."""
    return feeding_ramp(solve(source).site)


@st.cache_data(max_entries=8, show_spinner=False)
def bundle(source: Source) -> bytes:
    """Zip of the five CSV files, summary.json and the site file of a sound site."""
    season = solve(source)
    buffer = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in write_season(season, folder, seek_levers(source)):
            archive.write(path, path.name)
        archive.writestr(source.name, source.text)
    return buffer.getvalue()


def begin() -> None:
    """Fill the session once: the file that ``stocksim open`` was given, or the first example."""
    if "site_text" in st.session_state:
        return
    st.session_state.update(site_past=[], site_turn=0, site_sound=None, site_notes=[])
    first = example_names()[0]
    text, folder, name = example_text(first), str(FOLDER), f"{first}.toml"
    given = os.environ.get("STOCKSIM_SITE")
    if given:
        path = Path(given)
        try:
            text, folder, name = path.read_bytes().decode("utf-8-sig"), str(path.resolve().parent), path.name
        except UnicodeDecodeError:
            st.session_state.site_notes = [str(Fault("", "", "is not UTF-8 text; save it as UTF-8.", path.name))]
        except OSError as error:
            why = error.strerror or type(error).__name__
            st.session_state.site_notes = [str(Fault("", "", f"cannot be opened ({why}).", str(path)))]
    st.session_state.update(site_text=text, site_folder=folder, site_name=name)


def shown() -> Shown:
    """Season of the text as it stands, or the last sound one with the faults of the text."""
    state = st.session_state
    source = Source(state.site_text, state.site_folder, state.site_name, _stamp(state.site_folder))
    try:
        season = solve(source)
    except StocksimError as error:
        faults = [str(fault) for fault in error.faults]
        if state.site_sound is None:
            return Shown(None, source, faults)
        try:
            return Shown(solve(state.site_sound), state.site_sound, faults)
        except StocksimError:  # a log beside the site has gone since
            return Shown(None, source, faults)
    state.site_sound = source
    return Shown(season, source, [])


def change_text(text: str, is_new_form: bool = False) -> None:
    """Put a new text in the session, the old one on the undo pile; fields are drawn afresh where they must be."""
    state = st.session_state
    if text == state.site_text:
        return
    _remember()
    state.site_text = text
    if is_new_form:
        state.site_turn += 1


def open_site(text: str, folder: str, name: str) -> None:
    """Show another site."""
    _remember()
    st.session_state.update(site_text=text, site_folder=folder, site_name=name, site_notes=[])
    st.session_state.site_turn += 1


def undo() -> None:
    """Go back to the text before the last change."""
    if st.session_state.site_past:
        text, folder, name = st.session_state.site_past.pop()
        st.session_state.update(site_text=text, site_folder=folder, site_name=name)
        st.session_state.site_turn += 1


def open_example(name: str) -> None:
    """Show an example site."""
    open_site(example_text(name), str(FOLDER), f"{name}.toml")


def receive(files: list[Any]) -> None:
    """Take uploaded files: one site file and the logs it names.

    Parameters
    ----------
    files : list of UploadedFile
        All files in the upload box; the site file is read again only when it is another one than before.
    """
    state = st.session_state
    state.site_notes = []
    sites = [file for file in files if file.name.lower().endswith(".toml")]
    if len(sites) != 1:
        found = f"{len(sites)} site files" if sites else "no site file"
        if files:
            state.site_notes = [f"{found} among the uploads; give one file ending in .toml, and the logs it names."]
        return
    try:
        text = sites[0].getvalue().decode("utf-8-sig")
    except UnicodeDecodeError:
        state.site_notes = [str(Fault("", "", "is not UTF-8 text; save it as UTF-8.", sites[0].name))]
        return
    holder = state.setdefault("site_uploads", _Folder())
    for file in files:
        if file is not sites[0]:
            (Path(holder.path) / _bare(file.name)).write_bytes(file.getvalue())
    if state.get("site_uploaded") != (sites[0].name, text) or state.site_folder != holder.path:
        state.site_uploaded = (sites[0].name, text)
        open_site(text, holder.path, _bare(sites[0].name))


def _bare(name: str) -> str:
    """File name without any folder, whichever system wrote it."""
    return PureWindowsPath(PurePosixPath(name).name).name or "upload"


def _remember() -> None:
    state = st.session_state
    state.site_past = [*state.site_past, (state.site_text, state.site_folder, state.site_name)][-_MOST_UNDO:]


def _stamp(folder: str) -> tuple[tuple[str, int, int], ...]:
    """Names, times and sizes of the files beside a site that its season may depend on."""
    base = Path(folder)
    beside = [*base.glob("*.csv"), *base.glob("species_params/*/*.toml")]
    found = []
    for path in sorted(beside):
        try:
            status = path.stat()
        except OSError:
            continue
        found.append((str(path.relative_to(base)), status.st_mtime_ns, status.st_size))
    return tuple(found)
