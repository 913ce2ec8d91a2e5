"""Published trials of fish, each once, and which of them a fit may see.

The table stands beside this file. A hash of the paper decides whether fits may use its trials, so nobody chooses: the
others are kept for tests that no fit has seen. No fit of today uses any of them yet.
"""

from __future__ import annotations

import csv
import hashlib
import re
from pathlib import Path

TABLE = Path(__file__).with_name("fish_trials.csv")


def trials() -> list[dict[str, str]]:
    """Rows of the table, as written."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def paper_of(source: str) -> str:
    """What of a source tells its paper: all up to the year, so that rows of one paper go together.

    Examples
    --------
    >>> paper_of("Banner & Van Arman 1973, Thermal effects on eggs, larvae and juveniles of bluegill sunfish")
    'Banner & Van Arman 1973'
    """
    found = re.match(r".*?\b(?:18|19|20)\d\d\b", source)
    return found[0] if found else source


def is_for_fitting(source: str) -> bool:
    """Whether a fit may see the trials of a source.

    Examples
    --------
    >>> [is_for_fitting(source) for source in ("Banner & Van Arman 1973, Thermal effects", "Black 1953, Upper lethal")]
    [False, False]
    """
    return hashlib.sha256(paper_of(source).encode()).digest()[0] < 128
