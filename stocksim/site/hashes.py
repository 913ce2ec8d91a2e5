"""What an answer was made from, as hashes that change with it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

import numpy as np

from stocksim.library.feeds import load_feed, shares_of
from stocksim.library.sources import Entry
from stocksim.library.species import load_species
from stocksim.site.reading import Site


def site_hash(site: Site) -> str:
    """Hash of what a site says: its tables with every changed field, and the logs and weather files that they name.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    str
        SHA-256 in hexadecimal. Comments, blanks and the file's place do not count, the order of tables does; species,
        feeds and crops have a hash of their own. The files beside the site are read as they are now.
    """
    mark = hashlib.sha256(_text(site.raw))
    own = {Path(entry.origin) for entry in library_of(site)}
    for path in site.files()[1:]:
        if path not in own:
            try:
                mark.update(hashlib.sha256(path.read_bytes()).digest())
            except OSError:  # gone since it was read: no hash of a site that has it
                mark.update(b"missing")
    return mark.hexdigest()


def library_of(site: Site) -> list[Entry]:
    """Species, feeds and crops that a site names, fish to buy among them, and the feeds that its species were fitted
    with."""
    planner = site.file.stocking
    offers = planner.candidates.values() if planner is not None else ()
    species = {**site.species, **{offer.species: load_species(offer.species, site.folder) for offer in offers}}
    offered = [load_feed(offer.feed, site.folder) for offer in offers]
    feeds = {**site.feeds, **{part.name: part for feed in offered for _, part in ((1.0, feed), *shares_of(feed))}}
    for entry in species.values():
        feed = entry.facts["fitted_with_feed"]
        feeds.setdefault(feed, load_feed(feed, site.folder))
    return [*species.values(), *feeds.values(), *site.crops.values()]


def library_hash(entries: Iterable[Entry]) -> str:
    """Hash of species, feeds and crops: their names, values, sources and words, in any order and wherever they stand.

    Parameters
    ----------
    entries : iterable of Entry
        From the library or a keeper's own files.

    Returns
    -------
    str
        SHA-256 in hexadecimal.
    """
    told = [field.name for field in fields(Entry) if field.name != "origin"]  # parts of a mix stand by themselves
    texts = sorted({_text({key: part for key, part in asdict(entry).items() if key in told}) for entry in entries})
    return hashlib.sha256(b"\n".join(texts)).hexdigest()


def _text(data: Any) -> bytes:
    return json.dumps(data, default=_plain, ensure_ascii=True).encode()


def _plain(value: Any) -> Any:
    """A value that JSON does not know: numpy's numbers and arrays as Python's, dates as text."""
    return value.tolist() if isinstance(value, (np.generic, np.ndarray)) else str(value)
