"""What a species file says beside its values: strains that eat more or less, and how the model met published trials.

Apart from `sources`, the one file that reads it in, because it knows nothing of values and their bounds.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

LEAST_FACTOR, MOST_FACTOR = 0.3, 3.0  # what a strain may eat of what the species eats; wide about all read [ours]
_STRAIN_KEYS = ("title", "appetite", "source", "where")
_TRIAL_KEYS = ("count", "low", "high", "kept", "missed_low", "least")


@dataclass(frozen=True)
class Strain:
    """A strain, stock or way of feeding that a keeper may name."""

    title: str
    appetite: float  # times the appetite of the species
    source: str
    where: str


@dataclass(frozen=True)
class Trials:
    """How the model met published trials of a species: weights, growth rates and rations.

    Parameters
    ----------
    count : int
        Independent papers.
    low, high : float
        Least and greatest of ours over the published value. [-]
    kept : int
        Values that no fit saw.
    missed_low : int
        Of these, how many lie beyond their tolerance on the side where ours makes feed, ammonia and filter too small.
    least : float
        Least of ours over the published value among these. [-] 1 where there are none or they are no ratio.
    """

    count: int
    low: float
    high: float
    kept: int
    missed_low: int
    least: float


def read_strains(data: Mapping[str, Any], sources: Mapping[str, Any], fault: Callable[..., None]) -> dict[str, Strain]:
    """Strains of a species file.

    Parameters
    ----------
    data : mapping
        The whole file.
    sources : mapping
        Its sources by key.
    fault : callable
        Takes table, key and sentence.

    Returns
    -------
    dict of str to Strain
        Those without a fault, by name.
    """
    tables = data.get("strains", {})
    if not isinstance(tables, dict):
        fault("strains", "", "must be a table for each strain, as [strains.fast].")
        return {}
    found = {}
    for name, table in tables.items():
        place = f"strains.{name}"
        if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
            fault(place, "", "is no name; use small letters, digits and _, as fast or wild_stock.")
        elif not isinstance(table, dict) or set(table) != set(_STRAIN_KEYS):
            fault(place, "", f"must be a table with {', '.join(_STRAIN_KEYS)}.")
        elif not all(isinstance(table[key], str) and table[key].strip() for key in ("title", "source", "where")):
            fault(place, "", "must give title, source and where as text.")
        elif not _is_between(table["appetite"], LEAST_FACTOR, MOST_FACTOR):
            fault(place, "appetite", f"must be a number from {LEAST_FACTOR:g} to {MOST_FACTOR:g}, as 1.2.")
        elif table["source"] not in sources:
            fault(place, "source", f"is not among this file's sources; use one of {', '.join(sources)}.")
        else:
            found[name] = Strain(table["title"], float(table["appetite"]), table["source"], table["where"])
    return found


def read_trials(data: Mapping[str, Any], fault: Callable[..., None]) -> Trials | None:
    """How the model met published trials, as a species file tells it.

    Parameters
    ----------
    data : mapping
        The whole file.
    fault : callable
        Takes table, key and sentence.

    Returns
    -------
    Trials or None
        None where the file has no such table, or one with a fault.
    """
    table = data.get("trials")
    if table is None:
        return None
    if not isinstance(table, dict) or set(table) != set(_TRIAL_KEYS):
        fault("trials", "", f"must be a table with {', '.join(_TRIAL_KEYS)}.")
        return None
    whole = [key for key in ("count", "kept", "missed_low") if not isinstance(table[key], int) or table[key] < 0]
    parts = [key for key in ("low", "high", "least") if not _is_between(table[key], 0.0, 100.0)]
    for key in whole:
        fault("trials", key, "must be a whole number, 0 or more.")
    for key in parts:
        fault("trials", key, "must be a number from 0 to 100: ours over the published value.")
    if whole or parts:
        return None
    return Trials(*(table[key] for key in _TRIAL_KEYS))


def _is_between(value: Any, low: float, high: float) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and math.isfinite(value) and low <= value <= high


def trials_sentence(trials: Trials | None) -> str:
    """How near the model came to published trials, in a sentence; "" where nothing is told.

    Examples
    --------
    >>> trials_sentence(Trials(4, 0.57, 1.2, 3, 1, 0.57))
    'In 4 published trials ours was 0.57 to 1.2 of the published weight, growth rate or ration.'
    """
    if trials is None or trials.count == 0:
        return ""
    many = "1 published trial" if trials.count == 1 else f"{trials.count} published trials"
    return f"In {many} ours was {trials.low:g} to {trials.high:g} of the published weight, growth rate or ration."


def trials_warning(trials: Trials | None) -> str:
    """Warning where values that no fit saw lie above ours, beyond their tolerance; "" where none does.

    Examples
    --------
    >>> trials_warning(Trials(4, 0.57, 1.2, 3, 1, 0.5))[:91]
    'Of 3 published values that no fit saw, 1 shows fish that eat or grow more than ours, up to '
    """
    if trials is None or trials.missed_low == 0:
        return ""
    shows = "1 shows" if trials.missed_low == 1 else f"{trials.missed_low} show"
    far = f", up to {1.0 / trials.least:.2g} times" if 0.0 < trials.least < 1.0 else ""
    return (
        f"Of {trials.kept} published values that no fit saw, {shows} fish that eat or grow more than ours{far}: plan "
        "feed, ammonia, oxygen and filter for more than the middle, and weigh your own."
    )


def trials_warnings(trials: Mapping[str, Trials | None]) -> str:
    """`trials_warning` of several species by name, in one sentence; "" where none is warned of.

    Examples
    --------
    >>> few = Trials(4, 0.57, 1.2, 3, 1, 0.5)
    >>> trials_warnings({"perch": few, "carp": None})[:87]
    'Published values that no fit saw show fish that eat or grow more than ours: perch (up t'
    """
    named = [
        f"{name} (up to {1.0 / told.least:.2g} times)" if 0.0 < told.least < 1.0 else name
        for name, told in trials.items()
        if told is not None and told.missed_low > 0
    ]
    if not named:
        return ""
    return (
        f"Published values that no fit saw show fish that eat or grow more than ours: {', '.join(named)}. Plan feed, "
        "ammonia, oxygen and filter for more than the middle, and weigh your own."
    )
