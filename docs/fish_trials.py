"""Published trials of fish, each once, and which of them a fit may see.

The table stands beside this file. A hash of the paper decides whether fits may use its trials, so nobody chooses: the
others are kept for tests that no fit has seen. Points of `check_points` that fits saw before the table was begun
count as seen, whatever their hash.
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


# How near the model must come, by what a row measures; set before any fit used the table, in the manner of the D points
# of `check_points`: (share of the value, least width in the value's unit).
TOLERANCES = {
    "weight": (0.20, 0.0),  # end weights, as D1
    "growth rate": (0.25, 0.15),  # % a day, as D8
    "ration": (0.40, 0.0),  # % of weight a day, oxygen and ammonia given off, as D22
    "conversion": (0.20, 0.0),
    "weight lost": (0.40, 2.0),  # % of weight, as D10 and D13
    "temperature": (0.0, 1.5),  # lethal temperatures [degC]
    "concentration": (0.50, 0.0),  # LC50s differ by half between laboratories
    "share of fish": (0.0, 15.0),  # dead or alive [% of fish]
    "ratio": (0.15, 0.05),
    "days": (0.50, 0.0),
}


def tolerance(measure: str, value: float) -> tuple[float, float]:
    """Least and greatest value that agrees with a published one.

    Examples
    --------
    >>> tolerance("weight", 100.0), tolerance("temperature", 30.0)
    ((80.0, 120.0), (28.5, 31.5))
    """
    share, least = TOLERANCES[measure]
    width = max(share * abs(value), least)
    return value - width, value + width
