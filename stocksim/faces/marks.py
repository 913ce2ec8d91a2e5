"""What every answer tells of its making: version, site and library."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from stocksim import __version__
from stocksim.library.sources import Entry
from stocksim.site.hashes import library_hash, library_of, site_hash
from stocksim.site.reading import Site


def marked(data: dict[str, Any], site: Site | None = None, entries: Iterable[Entry] | None = None) -> dict[str, Any]:
    """Plain data with ``stocksim_version``, ``site_hash`` and ``library_hash`` at its end.

    Parameters
    ----------
    data : dict
        An answer.
    site : Site, optional
        What it was made from; else the hash is None.
    entries : iterable of Entry, optional
        Library that it was made from, where that is not what the site names; without both the hash is None.

    Returns
    -------
    dict
        A new one.
    """
    used = library_of(site) if entries is None and site is not None else entries
    return {
        **data,
        "stocksim_version": __version__,
        "site_hash": None if site is None else site_hash(site),
        "library_hash": None if used is None else library_hash(used),
    }
