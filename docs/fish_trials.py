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
    """First word and first year of a source, so that rows of one paper go together however each writes it.

    Papers of one first author and year go together as well; a source without a year goes by its first word.

    Examples
    --------
    >>> paper_of("Currie, Bennett & Beitinger 2004, Upper and lower"), paper_of("Currie et al. 2004")
    ('currie 2004', 'currie 2004')
    """
    author, year = re.search(r"[^\W\d_]+", source), re.search(r"\b(?:18|19|20)\d\d\b", source)
    return " ".join(found[0].lower() for found in (author, year) if found)


def is_for_fitting(source: str) -> bool:
    """Whether a fit may see the trials of a source.

    Examples
    --------
    >>> [is_for_fitting(source) for source in ("Banner & Van Arman 1973, Thermal effects", "Black 1953, Upper lethal")]
    [False, False]
    """
    return hashlib.sha256(paper_of(source).encode()).digest()[0] < 128
