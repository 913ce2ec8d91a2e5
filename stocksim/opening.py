"""Files that a keeper names, opened with care: regular files of a bounded size, below a folder where one is given."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from stocksim.errors import Fault, InputError

MOST_BYTES = 200_000_000  # ten years of readings every five minutes take some 30 MB; our choice


@contextmanager
def open_regular(path: str | Path, most_bytes: int = MOST_BYTES) -> Iterator[BinaryIO]:
    """A regular file of a bounded size, open for reading; devices, pipes and folders are never read.

    Parameters
    ----------
    path : str or Path
        The file.
    most_bytes : int
        Largest size that is read. [byte]

    Yields
    ------
    BinaryIO
        The open file.

    Raises
    ------
    InputError
        With one fault, which goes on from the file's name: not there, not a regular file, too large, not readable.
    """
    file = Path(path)
    name = file.name or str(file)
    handle = -1
    try:
        _refuse_odd(os.stat(file), name, most_bytes)
        # opened without waiting, and looked at again: it may have become a pipe since
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        handle = os.open(file, flags)
        _refuse_odd(os.fstat(handle), name, most_bytes)
    except FileNotFoundError:
        raise _refused(name, "was not found; check its name and folder.") from None
    except (OSError, ValueError) as error:
        if handle >= 0:
            os.close(handle)
        raise _refused(name, f"cannot be opened ({getattr(error, 'strerror', None) or error}).") from None
    except InputError:
        if handle >= 0:
            os.close(handle)
        raise
    with os.fdopen(handle, "rb") as opened:
        yield opened


def read_regular(path: str | Path, most_bytes: int) -> bytes:
    """All bytes of a regular file; arguments and errors as in `open_regular`."""
    with open_regular(path, most_bytes) as opened:
        data = opened.read(most_bytes + 1)  # a file that grows while it is read ends here, too
    if len(data) > most_bytes:
        raise _refused(Path(path).name, _too_large(most_bytes))
    return data


def beside(folder: Path, name: str) -> Path:
    """Path of a file that a site file names.

    Parameters
    ----------
    folder : Path
        Folder of the site file.
    name : str
        Name as written, which may hold subfolders.

    Returns
    -------
    Path
        The file, which need not be there.

    Raises
    ------
    InputError
        If the name leads out of the folder: by an absolute path, by ``..`` or by a link.
    """
    try:
        home = folder.resolve()
        inside = (home / name).resolve().is_relative_to(home)
    except (OSError, RuntimeError, ValueError):  # a ring of links, a name the system does not take
        raise _refused(name, "cannot be used as the name of a file; put the file beside the site file.") from None
    if not inside:
        raise _refused(name, "leads out of the site's folder; put the file beside the site file, or in a folder there.")
    return folder / name


def _refuse_odd(status: os.stat_result, name: str, most_bytes: int) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise _refused(name, "is a folder; give the name of a file.")
    if not stat.S_ISREG(status.st_mode):
        raise _refused(name, "is a device or a pipe; give an ordinary file.")
    if status.st_size > most_bytes:
        raise _refused(name, _too_large(most_bytes))


def _too_large(most_bytes: int) -> str:
    return f"is larger than {most_bytes / 1e6:g} MB, the most that is read; give a shorter file."


def _refused(name: str, message: str) -> InputError:
    return InputError([Fault("", "", message, name)])
