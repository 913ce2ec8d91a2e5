"""Drafts: what was typed of a site file and not saved, kept on disk so that nothing that ends a page loses it."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import os
import re
import sys
from pathlib import Path
from typing import NamedTuple

from stocksim.errors import InputError
from stocksim.site.saving import read_text
from stocksim.writing import replace_file

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
