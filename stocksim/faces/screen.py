"""What the pages share: the site's text in the session, and the season of its last sound version."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
import weakref
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, NamedTuple

import streamlit as st

from stocksim.book import store
from stocksim.changes.ways import Advice, advise
from stocksim.engine.onward import onward
from stocksim.engine.results.frames import Season
from stocksim.engine.running import run_season
from stocksim.engine.season import watched
from stocksim.errors import Fault, InputError
from stocksim.faces import charts, editing, guard, keeping, picture, working
from stocksim.faces.forms import KEPT_BY_WEATHER
from stocksim.memo import content_key
from stocksim.site.epw import is_epw, read_epw
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.site.logs import read_weather_file
from stocksim.site.quantities import is_day
from stocksim.site.reading import site_from_text
from stocksim.site.saving import named_files, text_of
from stocksim.writing import replace_file

_MOST_UNDO = 50
# our choice: ten years of a record every five minutes have some 30 MB; a name leaves room for what is put behind it
_MOST_LOG_BYTES, _LONGEST_NAME = 64_000_000, 200


class Source(NamedTuple):
    """What a season depends on.

    ``stamp`` changes when a file that the site names or an own species file changes; ``book`` is the day on which the
    rest of a season begins and a digest of its records, empty for the whole season as planned.
    """

    text: str
    folder: str
    name: str
    stamp: tuple[tuple[str, int, int, int], ...] = ()
    book: tuple[str, str] = ("", "")


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
    site = site_from_text(source.text, Path(source.folder), source.name)
    day, _ = source.book
    if day:
        site = onward(site, store.read_book(store.book_path(site.folder / site.name)), dt.date.fromisoformat(day)).site
    with watched(None):  # kept answers draw nothing
        season = run_season(site)
    _ = season.findings, season.tanks, season.cohorts, season.loops, season.beds
    return season


def seek_advice(source: Source) -> Advice | None:
    """What is advised for a sound site, with its findings; takes some seconds, and None where the keeper ends it."""
    season = solve(source)
    return working.worked("advice", "Trying what would help", (source,), lambda tell: advise(season, tell))


def chart_spec(source: Source, name: str) -> dict[str, Any]:
    """One of the stacks of charts (``density``, ``water``, ``growth``) of a sound site as a Vega-Lite specification."""
    return picture_spec(source, None, dt.date.today()) if name == "density" else _stack_spec(source, name)


@st.cache_data(max_entries=96, show_spinner=False)
def _stack_spec(source: Source, name: str) -> dict[str, Any]:
    return charts.STACKS[name](solve(source)).to_dict()


@st.cache_data(max_entries=96, show_spinner=False)
def picture_spec(
    source: Source, read: dt.date | None, today: dt.date, has_bands: bool = False, _bands: picture.Bands | None = None
) -> dict[str, Any]:
    """The picture of a sound site, first read on a day, as a Vega-Lite specification; with bands where it has them."""
    return picture.picture_stack(solve(source), read, today, _bands if has_bands else None).to_dict()


def begin() -> None:
    """Fill the session once: the file that ``stocksim open`` was given, or the first example."""
    if "site_text" in st.session_state:
        keeping.follow()
        return
    st.session_state.update(site_past=[], site_turn=0, site_sound=None, site_notes=[], site_unread="", site_target="")
    given = keeping.opened_file()
    if given is None:
        first = keeping.opened_example() or example_names()[0]
        text, folder, name = example_text(first), str(FOLDER), f"{first}.toml"
        keeping.begin_without_file(text, folder, name)
    else:
        text, folder, name = "", str(given.resolve().parent), given.name
        st.session_state.site_target = str(given)
        try:
            text = keeping.read_target(given)
        except InputError as error:  # an empty page that says why: never another site's verdict
            st.session_state.site_unread = str(error)
    st.session_state.update(site_text=text, site_folder=folder, site_name=name)


def begins_faulty() -> bool:
    """Whether the site has faults at this page's first look, so that they should be mended first; true once at most."""
    state = st.session_state
    if state.get("site_looked") or keeping.is_read_only():
        return False
    state.site_looked = True
    return bool(shown().faults) and bool(state.site_text or not state.site_unread)


def source_of(text: str, folder: str, name: str) -> Source:
    """What a season of a text depends on, with the files that it names as they are now."""
    return Source(text, folder, name, _stamp(folder, text))


def name_shown() -> str:
    """Name of the site that the pages show, or of its file where no text of it was sound yet."""
    season = shown().season
    return str(season.site.file.site.name if season is not None else st.session_state.site_name)


def shown() -> Shown:
    """Season of the text as it stands, or the last sound one with the faults of the text."""
    state = st.session_state
    source = source_of(state.site_text, state.site_folder, state.site_name)
    if state.site_unread and not state.site_text:
        return Shown(None, source, [state.site_unread])
    try:
        season = solve(source)
    except Exception as error:
        faults = guard.faults_of(error)
        if state.site_sound is None:
            return Shown(None, source, faults)
        try:
            return Shown(solve(state.site_sound), state.site_sound, faults)
        except Exception:  # a log beside the site has gone since
            return Shown(None, source, faults)
    state.site_sound = source
    return Shown(season, source, [])


def from_book(shown: Shown) -> Shown:
    """The rest of a season by the record book beside its site; the same where there is none.

    Raises
    ------
    InputError
        If the book cannot be read, or its records do not go with the site.
    """
    assert shown.season is not None
    site = shown.season.site
    records = store.read_book(store.book_path(site.folder / site.name))
    today = store.today(records)
    known = [one for one in records if site.file.season.start <= one.date <= today]
    if not known or today > site.file.season.end:
        return shown
    source = shown.source._replace(book=(today.isoformat(), content_key(known).hex()))
    return Shown(solve(source), source, shown.faults)


def change_text(text: str, is_new_form: bool = False) -> None:
    """Put a new text in the session, the old one on the undo pile; fields are drawn afresh where they must be."""
    state = st.session_state
    if text == state.site_text or keeping.is_read_only():
        return
    _remember()
    state.site_text = text
    if is_new_form:
        state.site_turn += 1
    keeping.keep_draft()


def open_site(text: str, folder: str, name: str, target: str = "") -> None:
    """Show another site; ``target`` is the file that it is saved to, '' where it has none yet."""
    if keeping.is_read_only():
        return
    keeping.keep_draft()
    _remember()
    st.session_state.update(site_text=text, site_folder=folder, site_name=name, site_target=target, site_notes=[])
    st.session_state.site_turn += 1
    keeping.keep_draft()


def undo() -> None:
    """Go back to the text before the last change."""
    if st.session_state.site_past and not keeping.is_read_only():
        keeping.keep_draft()
        text, folder, name, target = st.session_state.site_past.pop()
        st.session_state.update(site_text=text, site_folder=folder, site_name=name, site_target=target)
        st.session_state.site_turn += 1
        keeping.keep_draft()


def open_example(name: str) -> None:
    """Show an example site."""
    text = example_text(name)
    keeping.begin_without_file(text, str(FOLDER), f"{name}.toml")
    open_site(text, str(FOLDER), f"{name}.toml")


def own_folder() -> str:
    """A folder of this session's for a site that has no file yet; it goes when the session goes."""
    return str(st.session_state.setdefault("site_uploads", _Folder()).path)


def is_own() -> bool:
    """Whether the keeper's own site is shown, and not an example."""
    return bool(st.session_state.site_target) or st.session_state.site_folder != str(FOLDER)


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
    if keeping.is_read_only() or not files:
        return
    if len(sites) != 1:
        found = f"{len(sites)} site files" if sites else "no site file"
        state.site_notes = [f"{found} among the uploads; give one file ending in .toml, and the logs it names."]
        return
    holder = state.setdefault("site_uploads", _Folder())
    try:
        text, name = text_of(sites[0].getvalue(), _bare(sites[0].name)), _bare(sites[0].name)
        if not text.strip():
            raise InputError([Fault("", "", "is empty; `stocksim new FILE` writes a site file to start from.", name)])
        for file in files:
            if file is not sites[0]:
                _put_log(Path(holder.path), file)
    except InputError as error:
        state.site_notes = [str(fault) for fault in error.faults]
        return
    if state.get("site_uploaded") != (name, text) or state.site_folder != holder.path:
        state.site_uploaded = (name, text)
        open_site(text, holder.path, name)


def receive_weather(file: Any) -> None:
    """Take an uploaded weather file into the folder of the site and name it there; a wrong one changes nothing.

    A site without a folder of its own, as an example, goes on in one of the session.
    """
    state = st.session_state
    state.site_notes = []
    if keeping.is_read_only():
        return
    folder = Path(state.site_folder) if state.site_target else Path(own_folder())
    try:
        name = _bare(file.name)
        with tempfile.TemporaryDirectory() as aside:
            _put_log(Path(aside), file)
            _read_weather(Path(aside) / name)
        there = folder / name
        if there.exists() and there.read_bytes() != file.getvalue():
            raise InputError([Fault("", "", "is already there and is another file; rename the one you upload.", name)])
        values = {"kind": "file", "file": name}
        if isinstance((editing.tables(state.site_text) or {}).get("weather"), dict):
            text = editing.switch(state.site_text, ("weather",), values, KEPT_BY_WEATHER)
            text = editing.put(text, ("weather", "file"), name)
        else:
            text = editing.add_table(state.site_text, ("weather",), values)
        _put_log(folder, file)
    except InputError as error:
        state.site_notes = [str(fault) for fault in error.faults]
        return
    if str(folder) == state.site_folder:
        change_text(text, is_new_form=True)
        return
    for log in named_files(editing.tables(state.site_text)):
        source = Path(state.site_folder) / log
        if source.is_file() and Path(log).name == log:
            shutil.copy(source, folder / log)
    keeping.begin_without_file(state.site_text, str(folder), state.site_name)
    open_site(text, str(folder), state.site_name)


def _read_weather(path: Path) -> None:
    """Read a weather file for the season of the shown site; raises InputError with what is wrong with it."""
    raw = editing.tables(st.session_state.site_text)
    start, end = (editing.value_at(raw, ("season", key)) for key in ("start", "end"))
    days = (end - start).days + 1 if is_day(start) and is_day(end) else 0
    if not 0 < days <= _MOST_DAYS:
        raise InputError("season: give its first and last day before you upload weather for it.")
    (read_epw if is_epw(path) else read_weather_file)(path, start, days)


_MOST_DAYS = 3660  # ten years, as a season may have


def put_beside(folder: str, file: Any) -> str:
    """Put an uploaded file into a folder; its name there. Raises InputError."""
    _put_log(Path(folder), file)
    return _bare(file.name)


def _put_log(folder: Path, file: Any) -> None:
    """Put an uploaded log where its site is read from; raises InputError."""
    name, data = _bare(file.name), file.getvalue()
    if len(data) > _MOST_LOG_BYTES:
        size = f"{len(data) / 1e6:.0f} MB"
        raise InputError([Fault("", "", f"has {size}; a log may have {_MOST_LOG_BYTES / 1e6:.0f} MB at most.", name)])
    try:
        replace_file(folder / name, data)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", "") or "its name is none that a file can have"
        raise InputError([Fault("", "", f"cannot be taken ({why}).", name)]) from error


def _bare(name: str) -> str:
    """File name without any folder, whichever system wrote it; raises InputError where no file can have it."""
    bare = PureWindowsPath(PurePosixPath(name).name).name or "upload"
    if len(bare.encode("utf-8", "replace")) > _LONGEST_NAME:
        words = f"its name has {len(bare)} letters; rename it to {_LONGEST_NAME // 2} at most."
        raise InputError([Fault("", "", words, f"{bare[:30]}…")])
    return bare


def _remember() -> None:
    state = st.session_state
    now = (state.site_text, state.site_folder, state.site_name, state.site_target)
    state.site_past = [*state.site_past, now][-_MOST_UNDO:]


def _stamp(folder: str, text: str) -> tuple[tuple[str, int, int, int], ...]:
    """Names, times and sizes of the files that a site names, and of the keeper's own species, feeds and crops."""
    base = Path(folder)
    own = [str(path.relative_to(base)) for path in base.glob("species_params/*/*.toml")]
    found = []
    for name in sorted({*named_files(editing.tables(text)), *own}):
        try:
            status = (base / name).stat()
        except (OSError, ValueError):  # none there, or no name of a file
            continue
        found.append((name, status.st_mtime_ns, status.st_ctime_ns, status.st_size))
    return tuple(found)
