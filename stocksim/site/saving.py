"""Saving a site file whole or not at all, and drafts of what is not saved yet."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import os
import re
import sys
import threading
from pathlib import Path
from typing import Any, NamedTuple

from stocksim.errors import Fault, InputError
from stocksim.writing import drop_unfinished, replace_file


def named_files(raw: Any) -> list[str]:
    """Every file named in the tables of a site, each once.

    Parameters
    ----------
    raw : object
        Tables as written, sound or not, or any part of them.

    Returns
    -------
    list of str
        Values of the keys ``file``, as written: beside the site file, in a folder below it, or anywhere.

    Examples
    --------
    >>> named_files({"loops": {"main": {"water_temperature": {"kind": "log", "file": "logs/pond.txt"}}}})
    ['logs/pond.txt']
    """
    if isinstance(raw, list):
        found = [name for entry in raw for name in named_files(entry)]
    elif isinstance(raw, dict):
        own = raw.get("file")
        found = [own] if isinstance(own, str) else []
        found += [name for entry in raw.values() for name in named_files(entry)]
    else:
        return []
    return list(dict.fromkeys(found))


# --- a site file read and saved: always the old or the new whole file, with the version before kept beside it

NO_FILE = ""
# our choice: a site file of a hundred tanks and a ten years' diary has some 0.3 MB
MOST_BYTES = 5_000_000
_SAVING = threading.Lock()


class ChangedOnDisk(InputError):
    """The file is another one than the version that was to be replaced."""


class OnDisk(NamedTuple):
    """Text of a file as it stood on disk, and what names that version: a hash of its bytes."""

    text: str
    version: str


def version_of(data: bytes) -> str:
    """Name of a version of a file: the SHA-256 hash of its bytes."""
    return hashlib.sha256(data).hexdigest()


def version_on_disk(path: Path) -> str:
    """Version of a file as it stands on disk, `NO_FILE` where there is none that can be read."""
    try:
        return version_of(_bytes_of(path))
    except (OSError, InputError):
        return NO_FILE


def read_text(path: Path) -> OnDisk:
    """Text of a site file, line ends as ``\\n``, and its version.

    Raises
    ------
    InputError
        If it is not there, no regular file, too large or not UTF-8; one sentence, which names the file but no folder.
    """
    try:
        data = _bytes_of(path)
    except OSError as error:
        why = error.strerror or type(error).__name__
        raise InputError([Fault("", "", f"cannot be opened ({why}).", path.name)]) from error
    return OnDisk(text_of(data, path.name), version_of(data))


def text_of(data: bytes, name: str) -> str:
    """Text of a site file's bytes, line ends as ``\\n``; errors as in `read_text`."""
    if len(data) > MOST_BYTES:
        raise InputError([Fault("", "", f"has more than {MOST_BYTES / 1e6:.0f} MB, too much for a site file.", name)])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        is_utf_16 = data[:2] in (b"\xff\xfe", b"\xfe\xff")
        what = "is UTF-16 text" if is_utf_16 else "is not UTF-8 text"
        raise InputError([Fault("", "", f"{what}; save it as UTF-8.", name)]) from error
    if "\0" in text:
        raise InputError([Fault("", "", "is no text: it holds zero bytes; give a site file saved as UTF-8.", name)])
    return text.replace("\r\n", "\n")


def previous_path(path: Path) -> Path:
    """Where the version before the last save is kept, as ``house.previous.toml`` beside ``house.toml``.

    Examples
    --------
    >>> previous_path(Path("greenhouse/house.toml")).name
    'house.previous.toml'
    """
    return path.with_name(f"{path.stem}.previous{path.suffix}")


def save_text(path: Path, text: str, seen: str | None = None) -> str:
    """Save a text as the whole of a file; whatever ends the run in between, the old or the new file stands there whole.

    Parameters
    ----------
    path : Path
        The file. What stood there is kept as `previous_path`. Of a link, the file it leads to is meant; line ends
        stay as they were.
    text : str
        The new text.
    seen : str, optional
        Version that is to be replaced, `NO_FILE` for none; by default whatever stands there.

    Returns
    -------
    str
        Version of the file as it is now.

    Raises
    ------
    ChangedOnDisk
        If another version than ``seen`` stands there; nothing is written.
    InputError
        If it cannot be written; the old file stands.
    """
    real = Path(os.path.realpath(path))
    with _SAVING:
        try:
            old = _bytes_of(real) if real.exists() else None
            if old is not None and len(old) > MOST_BYTES:
                text_of(old, path.name)  # says so: the version before could not be kept whole
            if seen is not None and seen != (NO_FILE if old is None else version_of(old)):
                what = "is no longer there" if old is None else "was changed by someone else meanwhile"
                raise ChangedOnDisk([Fault("", "", f"{what}; nothing was saved.", path.name)])
            if old is not None and b"\r\n" in old:
                text = text.replace("\r\n", "\n").replace("\n", "\r\n")
            data = text.encode("utf-8")
            drop_unfinished(real)
            if data == old:
                return version_of(data)
            if old is not None:
                replace_file(previous_path(real), old)
            replace_file(real, data)
        except (OSError, UnicodeEncodeError) as error:
            raise _unwritable(path, error) from error
    return version_of(data)


def save_new(path: Path, text: str) -> str:
    """Save a text as a new file, never over another; returns and raises as `save_text`."""
    try:
        return save_text(path, text, NO_FILE)
    except ChangedOnDisk as error:
        fault = Fault("", "", "is already there and is not overwritten; give another name.", path.name)
        raise InputError([fault]) from error


def _bytes_of(path: Path) -> bytes:
    """Bytes of a regular file, one more than `MOST_BYTES` at most."""
    if path.exists() and not path.is_file():
        what = "a folder" if path.is_dir() else "no regular file"
        raise InputError([Fault("", "", f"is {what}; give a site file.", path.name)])
    with path.open("rb") as file:
        return file.read(MOST_BYTES + 1)


def _unwritable(path: Path, error: OSError | UnicodeEncodeError) -> InputError:
    why = (error.strerror if isinstance(error, OSError) else "it holds half a character") or type(error).__name__
    return InputError([Fault("", "", f"cannot be written ({why}); nothing was changed.", path.name)])


# --- drafts: what was typed of a site file and not saved, kept on disk so that nothing that ends a page loses it

_HEAD = re.compile(r"# Draft of [^\n]*, not saved; begun from version ([0-9a-f]{64}|none)\.\n")
_MOST = 50


class Draft(NamedTuple):
    """A draft found: its file, the text, the version of the site file it was begun from ('' for none), when written."""

    path: Path
    text: str
    begun_from: str
    written: dt.datetime


def state_folder() -> Path:
    """Folder of this user for what programs keep between runs; the variable ``STOCKSIM_STATE`` gives another.

    Returns
    -------
    Path
        ``~/.local/state/stocksim``, or what the system has for it.
    """
    given = os.environ.get("STOCKSIM_STATE")
    if given:
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "stocksim"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "stocksim"
    return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "stocksim"


def draft_folders(site: Path | None) -> list[Path]:
    """Where drafts of a site file may lie: beside it, and in the user's state folder; only there without a file."""
    if site is None:
        return [state_folder() / "no_file"]
    real = os.path.realpath(site)
    return [
        Path(real).parent,
        state_folder() / hashlib.sha256(real.encode("utf-8", "surrogateescape")).hexdigest()[:16],
    ]


def write_draft(site: Path | None, name: str, text: str, begun_from: str, place: Path | None) -> Path:
    """Keep a draft.

    Parameters
    ----------
    site : Path or None
        The site file; None where the site has none yet.
    name : str
        Its name, as ``house.toml``.
    text : str
        What was typed.
    begun_from : str
        Version of the site file that it was begun from.
    place : Path or None
        The draft to replace; None claims a new one, as ``house.draft.toml`` or ``house.draft_2.toml``.

    Returns
    -------
    Path
        The draft.

    Raises
    ------
    InputError
        If no folder can be written.
    """
    data = f"# Draft of {name}, not saved; begun from version {begun_from or 'none'}.\n{text}"
    data_bytes = data.encode("utf-8", "replace")
    if place is not None:
        try:
            replace_file(place, data_bytes)
            return place
        except OSError:
            pass  # its folder went or is full: another may do
    problem: OSError | None = None
    for folder in draft_folders(site):
        try:
            if site is None or folder != draft_folders(site)[0]:
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            claimed = _claimed(folder, name)
            try:
                replace_file(claimed, data_bytes)
            except OSError:
                drop_draft(claimed)
                raise
            return claimed
        except OSError as error:
            problem = error
    why = (problem and problem.strerror) or "no place for it"
    raise InputError(f"{name}: no draft of the unsaved edits can be kept ({why}); save or download them.")


def find_drafts(site: Path | None, name: str = "") -> list[Draft]:
    """Drafts of a site file, the newest first; of a site without a file, all that lie in the user's state folder."""
    stem, suffix = _parts(name) if site is not None else ("*", ".toml")
    pattern = f"{_plain(stem)}.draft*{_plain(suffix)}" if site is not None else f"*.draft*{suffix}"
    found = []
    for folder in draft_folders(site):
        with contextlib.suppress(OSError):
            for path in sorted(folder.glob(pattern)):
                draft = read_draft(path)
                if draft is not None:
                    found.append(draft)
    return sorted(found, key=lambda draft: draft.written, reverse=True)


def read_draft(path: Path) -> Draft | None:
    """A draft as it stands, or None where a file of that name is none of ours."""
    try:
        text = read_text(path).text
        written = dt.datetime.fromtimestamp(path.stat().st_mtime)
    except (OSError, InputError):
        return None
    head = _HEAD.match(text)
    if head is None:
        return None
    return Draft(path, text[head.end() :], "" if head[1] == "none" else head[1], written)


def drop_draft(path: Path) -> None:
    """Remove a draft; one that is gone already is no fault."""
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def name_of_site(draft: Path) -> str:
    """Name of the site file of a draft.

    Examples
    --------
    >>> name_of_site(Path("house.draft_2.toml"))
    'house.toml'
    """
    return re.sub(r"\.draft(_\d+)?(?=(\.[^.]*)?$)", "", draft.name)


def _claimed(folder: Path, name: str) -> Path:
    """A draft's name that no other has, claimed by an empty file."""
    stem, suffix = _parts(name)
    for number in range(1, _MOST):
        path = folder / (f"{stem}.draft{suffix}" if number == 1 else f"{stem}.draft_{number}{suffix}")
        with contextlib.suppress(FileExistsError):
            path.open("x").close()
            return path
    raise OSError(0, f"there are {_MOST - 1} drafts already")


def _parts(name: str) -> tuple[str, str]:
    path = Path(name)
    return path.stem, path.suffix


def _plain(text: str) -> str:
    """Text with what a file pattern would take for a wildcard taken literally."""
    return re.sub(r"([*?[])", r"[\1]", text)
