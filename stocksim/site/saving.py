"""A site file read and saved: always the old or the new whole file, with the version before kept beside it."""

from __future__ import annotations

import hashlib
import os
import threading
from pathlib import Path
from typing import NamedTuple

from stocksim.errors import Fault, InputError
from stocksim.writing import drop_unfinished, replace_file

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
