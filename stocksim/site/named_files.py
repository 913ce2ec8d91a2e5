"""The files that a site file names, as the logs of its loops and the weather that was recorded."""

from __future__ import annotations

from typing import Any


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
