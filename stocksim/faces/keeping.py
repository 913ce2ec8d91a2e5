"""What a page knows of the file behind its site: where a save goes, what is saved, what is a draft, what changed."""

from __future__ import annotations

import contextlib
import os
import threading
from pathlib import Path
from typing import Any, Literal, NamedTuple

import streamlit as st
from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

from stocksim.errors import Fault, InputError
from stocksim.faces import editing
from stocksim.site.examples import FOLDER, example_names
from stocksim.site.saving import (
    NO_FILE,
    Draft,
    OnDisk,
    draft_folders,
    drop_draft,
    find_drafts,
    name_of_site,
    named_files,
    previous_path,
    read_draft,
    read_text,
    save_new,
    save_text,
    version_on_disk,
    write_draft,
)
from stocksim.writing import replace_file

Standing = Literal["same", "changed", "gone", "no file"]
_LOCK = threading.Lock()


class Owner(NamedTuple):
    """The page that writes a draft, and what must live as long as the draft: the folder of an upload."""

    session: str
    holder: Any = None


# by file, of this server: who writes which draft, and the text last read, which outlives a deleted file
_OWNERS: dict[Path, Owner] = {}
_LAST_READ: dict[Path, str] = {}


def is_read_only() -> bool:
    """Whether these pages may change nothing, neither on disk nor in what they show."""
    return os.environ.get("STOCKSIM_READ_ONLY") == "1"


def opened_file() -> Path | None:
    """The file that ``stocksim open`` was given; None without one, and for an example where it is installed."""
    given = os.environ.get("STOCKSIM_SITE")
    return Path(given) if given and not opened_example() else None


def opened_example() -> str:
    """Name of the example whose installed file ``stocksim open`` was given, '' otherwise: it is nobody's to write."""
    path = Path(os.environ.get("STOCKSIM_SITE") or "")
    is_one = path.stem in example_names() and path.resolve().parent == FOLDER
    return path.stem if is_one else ""


def start_folder() -> Path | None:
    """The folder in which ``stocksim open`` was called; None where the pages were started in another way."""
    given = os.environ.get("STOCKSIM_FOLDER")
    return Path(given) if given else None


def target() -> Path | None:
    """The file that a save of the shown site goes to."""
    return Path(st.session_state.site_target) if st.session_state.site_target else None


def read_target(path: Path) -> str:
    """Text of a file that a page begins with; of a deleted one, the text last read by this server, if any.

    Raises
    ------
    InputError
        If it cannot be read and never was.
    """
    try:
        found = read_text(path)
    except InputError:
        with _LOCK:
            last = _LAST_READ.get(path)
        if last is None or path.exists():
            raise
        _know(path, OnDisk(last, "deleted"))
        return last
    _know(path, found)
    return found.text


def _know(path: Path, found: OnDisk) -> None:
    """Remember what stands in a file, as this page has seen it."""
    st.session_state.site_known = {**st.session_state.get("site_known", {}), str(path): found}
    with _LOCK:
        _LAST_READ[path] = found.text


def known() -> OnDisk:
    """What the page takes for saved: the file as it has seen it; of a site without a file, what it began with."""
    state = st.session_state
    found: OnDisk = state.get("site_known", {}).get(state.site_target or _loose_key(), OnDisk("", NO_FILE))
    return found


def begin_without_file(text: str, folder: str, name: str) -> None:
    """Note the text that a site without a file of the keeper's begins with, as an example's."""
    known_so_far = st.session_state.get("site_known", {})
    st.session_state.site_known = {**known_so_far, f"{folder}|{name}": OnDisk(text, NO_FILE)}


def _loose_key() -> str:
    return f"{st.session_state.site_folder}|{st.session_state.site_name}"


def is_unsaved() -> bool:
    """Whether the text differs from what is saved."""
    return bool(st.session_state.site_text != known().text)


def standing() -> Standing:
    """What became of the file since this page has read it."""
    path = target()
    if path is None:
        return "no file"
    if not path.exists():
        return "gone"
    version, seen = version_on_disk(path), known()
    if version == seen.version != NO_FILE:
        return "same"
    with contextlib.suppress(InputError):
        found = read_text(path)
        if found.text in (seen.text, st.session_state.site_text):
            _know(path, found)  # only its line ends changed, or another page saved the very same
            return "same"
    return "changed"


def theirs() -> OnDisk:
    """The file as it stands; raises InputError where it cannot be read."""
    path = target()
    assert path is not None
    return read_text(path)


def accept(found: OnDisk | None) -> None:
    """Take a version of the file as seen, so that a save replaces it; None for one that cannot be read."""
    path = target()
    assert path is not None
    _know(path, found or OnDisk("", version_on_disk(path)))
    keep_draft()


def follow() -> None:
    """Of pages that may only look: show the file as it stands."""
    path = target()
    if path is None or not is_read_only() or version_on_disk(path) in (known().version, NO_FILE):
        return
    with contextlib.suppress(InputError):
        st.session_state.site_text = read_target(path)
        st.session_state.site_unread = ""


# --- drafts


def keep_draft() -> None:
    """Write the unsaved text to this page's draft, or remove the draft when nothing is unsaved."""
    if is_read_only():
        return
    state = st.session_state
    key = state.site_target or _loose_key()
    drafts: dict[str, str] = state.setdefault("site_drafts", {})
    written: dict[str, str] = state.setdefault("site_drafted", {})
    own = drafts.get(key)
    if not is_unsaved():
        if own is not None:
            del drafts[key]
            written.pop(key, None)
            _forget(Path(own))
        state.site_draft_fault = ""
        return
    if own is not None and written.get(key) == state.site_text and Path(own).exists():
        return
    try:
        path = write_draft(target(), state.site_name, state.site_text, known().version, Path(own) if own else None)
    except InputError as error:
        state.site_draft_fault = str(error)
        return
    state.site_draft_fault = ""
    drafts[key], written[key] = str(path), state.site_text
    with _LOCK:
        _OWNERS[path] = Owner(_session(), state.get("site_uploads"))


def own_draft() -> Path | None:
    """The draft that this page writes of the shown site."""
    own = st.session_state.get("site_drafts", {}).get(st.session_state.site_target or _loose_key())
    return Path(own) if own else None


def kept_words() -> str:
    """Where what was typed is kept."""
    if not is_unsaved():
        return "Everything typed is saved."
    return "Everything typed is kept as a draft." if own_draft() is not None else "What was typed is not saved."


def offered() -> list[Draft]:
    """Drafts that no open page writes: of the opened file, and those without a file that this page could have lost."""
    if is_read_only():
        return []
    path = opened_file() or target()
    mine = set(st.session_state.get("site_drafts", {}).values())
    found = [] if path is None else find_drafts(path, path.name)
    with _LOCK:
        owners = dict(_OWNERS)
    found += [draft for draft in find_drafts(None) if path is None or draft.path in owners]
    offers = []
    for draft in found:
        if str(draft.path) in mine or _is_open(owners.get(draft.path)):
            continue
        if path is not None and not is_loose(draft) and draft.text == st.session_state.site_text == known().text:
            _forget(draft.path)  # saved since
            continue
        offers.append(draft)
    return offers


def others_at_work() -> int:
    """Number of other open pages that have unsaved edits of the same file."""
    path = target()
    if path is None or is_read_only():
        return 0
    mine = own_draft()
    with _LOCK:
        owners = dict(_OWNERS)
    return sum(
        draft.path != mine and _is_open(owners.get(draft.path)) for draft in find_drafts(path, path.name) if owners
    )


def is_loose(draft: Draft) -> bool:
    """Whether a draft is of a site without a file."""
    return draft.path.parent == draft_folders(None)[0]


def holder_of(draft: Draft) -> Any:
    """Folder of the uploads that a draft was made with, if this server still has it."""
    with _LOCK:
        owner = _OWNERS.get(draft.path)
    return owner.holder if owner else None


def count_from(path: Path, draft: Draft) -> None:
    """Let the version that a draft was begun from count as what the page has seen of its file."""
    state = st.session_state
    known_so_far = state.get("site_known", {})
    seen = known_so_far.get(str(path), OnDisk("", NO_FILE))
    if seen.version != draft.begun_from:
        state.site_known = {**known_so_far, str(path): OnDisk("", draft.begun_from)}


def latest(draft: Draft) -> Draft:
    """A draft as it stands now: a page that was left may have written its last entry since the draft was offered."""
    return read_draft(draft.path) or draft


def discard(draft: Draft) -> None:
    """Remove a draft, unless more was written to it than the keeper has seen; then it is offered again."""
    if not is_read_only() and latest(draft).text == draft.text:
        _forget(draft.path)


def draft_name(draft: Draft) -> str:
    """Name of the site file that a draft is of."""
    return name_of_site(draft.path)


def _forget(path: Path) -> None:
    drop_draft(path)
    with _LOCK:
        _OWNERS.pop(path, None)


def _session() -> str:
    context = get_script_run_ctx(suppress_warning=True)
    return context.session_id if context is not None else ""


def _is_open(owner: Owner | None) -> bool:
    """Whether the page that writes a draft is open in some browser, and another than this one."""
    if owner is None or not runtime.exists() or owner.session == _session():
        return False
    return runtime.get_instance().is_active_session(owner.session)


# --- saving


def save() -> None:
    """Save the text to its file; raises InputError when that cannot be done, and never over a version not seen."""
    _refuse_if_read_only()
    path = target()
    assert path is not None
    state = st.session_state
    seen = NO_FILE if standing() == "gone" else known().version
    version = save_text(path, state.site_text, seen)
    _know(path, OnDisk(state.site_text, version))
    state.site_unread = ""
    keep_draft()


def save_as(name: str) -> Path:
    """Save a site without a file beside where ``stocksim open`` was called, with the logs it names; never over a file.

    Raises
    ------
    InputError
        If the name is none, or something stands there.
    """
    _refuse_if_read_only()
    folder = start_folder()
    assert folder is not None
    state = st.session_state
    path = folder / _file_name(name)
    if path.exists():
        raise InputError([Fault("", "", "is already there and is not overwritten; give another name.", path.name)])
    _bring_logs(Path(state.site_folder), folder)
    version = save_new(path, state.site_text)
    loose = own_draft()
    if loose is not None:
        _forget(loose)
        state.site_drafts.pop(_loose_key(), None)
    state.update(site_target=str(path), site_folder=str(folder), site_name=path.name)
    _know(path, OnDisk(state.site_text, version))
    keep_draft()
    return path


def kept_version() -> str:
    """Name of the file that holds the version before the last save, '' where there is none."""
    path = target()
    before = None if path is None else previous_path(Path(os.path.realpath(path)))
    return before.name if before is not None and before.exists() else ""


def _refuse_if_read_only() -> None:
    if is_read_only():
        raise InputError("These pages are served to be read only; nothing was saved.")


def _file_name(typed: str) -> str:
    """A plain file name ending in .toml; raises InputError for anything else."""
    name = typed.strip()
    if not name or name.startswith(".") or any(c in '/\\:*?"<>|' or not c.isprintable() for c in name):
        raise InputError(f'"{typed[:60]}" is no name for a file here; give one without folders, as my_house.toml.')
    if not name.lower().endswith(".toml"):
        name += ".toml"
    if len(name.encode()) > 100:
        raise InputError(f"The name has {len(name)} letters; give one of 80 at most.")
    return name


def _bring_logs(old: Path, new: Path) -> None:
    """Copy the logs that the text names from an upload's folder, never over another file."""
    pairs = []
    for name in named_files(editing.tables(st.session_state.site_text)):
        source, copy = old / name, new / name
        if Path(name).name != name or not source.is_file():
            continue
        if not copy.exists():
            pairs.append((source, copy))
        elif copy.read_bytes() != source.read_bytes():
            raise InputError([Fault("", "", "is already there, and is another one than the site's own log.", name)])
    for source, copy in pairs:
        try:
            replace_file(copy, source.read_bytes())
        except OSError as error:
            why = error.strerror or type(error).__name__
            raise InputError([Fault("", "", f"cannot be written ({why}).", copy.name)]) from error
