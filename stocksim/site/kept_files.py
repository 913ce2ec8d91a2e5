"""Files read once: what was read is kept until the file changes."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

Read = TypeVar("Read")

_MOST_KEPT = 8
# some file systems' clocks are this coarse: a file changed so shortly before it was read may change once more unseen
_COARSE_S = 3.0
_KEPT: dict[tuple[Any, ...], tuple[tuple[int, ...], Any]] = {}
_KEEPING = threading.Lock()


def read_once(path: Path, read: Callable[..., Read], *more: object) -> Read:
    """What ``read(path, *more)`` gives, from memory where the file is as it was.

    Parameters
    ----------
    path : Path
        The file.
    read : callable
        Reads it; what it gives must not be changed by whoever gets it.
    more : hashable
        Further arguments.

    Returns
    -------
    object
        What was read. A refusal is raised and not kept.
    """
    try:
        key, before = (read, os.path.realpath(path), *more), _stamp(path)
    except (OSError, ValueError):
        return read(path, *more)
    with _KEEPING:
        kept = _KEPT.get(key)
    if kept is not None and kept[0] == before:
        return kept[1]
    found = read(path, *more)
    if time.time() - max(before[1], before[2]) / 1e9 > _COARSE_S and _stamp(path) == before:
        with _KEEPING:
            _KEPT.pop(key, None)
            while len(_KEPT) >= _MOST_KEPT:
                _KEPT.pop(next(iter(_KEPT)))
            _KEPT[key] = (before, found)
    return found


def _stamp(path: Path) -> tuple[int, ...]:
    status = os.stat(path)
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino, status.st_dev
