"""Runs of a sweep: values of fields in every combination, or at Sobol points of their ranges.

Apart from `decide`, for a plan is made and checked before anything runs.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any, NamedTuple

import numpy as np

from stocksim.errors import Fault, InputError, shown
from stocksim.site.reading import Site

MOST_RUNS = 1_000_000


class Span(NamedTuple):
    """A range of a field, for Sobol points: two numbers with one unit, which may be empty."""

    low: float
    high: float
    unit: str
    is_whole: bool


Values = Sequence[Any] | Span


@dataclass(frozen=True)
class Plan:
    """Runs of a sweep.

    Parameters
    ----------
    site : Site
        That each run changes.
    vary : dict of str to sequence or Span
        Dotted fields to their values.
    points, seed : int
        Sobol points, 0 where every combination is run, and the seed of their scrambling.
    """

    site: Site
    vary: dict[str, Values]
    points: int
    seed: int

    @property
    def number(self) -> int:
        """How many runs there are."""
        return self.points or math.prod(len(values) for values in self.vary.values())

    def runs(self) -> list[dict[str, Any]]:
        """Fields and their values of each run; of every combination the last field moves fastest."""
        if not self.points:
            combined = product(*(list(values) for values in self.vary.values()))
            return [dict(zip(self.vary, one, strict=True)) for one in combined]
        from scipy.stats import qmc  # slow to import, and help starts without it

        sampler = qmc.Sobol(len(self.vary), scramble=True, seed=np.random.default_rng(self.seed))
        drawn = sampler.random_base2(self.points.bit_length() - 1)
        return [
            {key: at_share(values, share) for (key, values), share in zip(self.vary.items(), point, strict=True)}
            for point in drawn.tolist()
        ]


def at_share(values: Values, share: float) -> Any:
    """Value of a range or a list at a share of it, 0 to 1."""
    if not isinstance(values, Span):
        return values[min(int(share * len(values)), len(values) - 1)]
    value = values.low + (values.high - values.low) * share
    number: float = min(math.floor(value + 0.5), values.high) if values.is_whole else float(f"{value:.9g}")
    if values.unit:
        return f"{number:.9g} {values.unit}"
    return int(number) if values.is_whole else number


_NUMBER = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?"
_RANGE = re.compile(rf"^\s*({_NUMBER})\s*([^\d\s.].*?)?\s*\.\.\s*({_NUMBER})\s*(\S.*?)?\s*$")
_WHOLE = re.compile(r"[-+]?\d+")


def read_vary(texts: Sequence[str]) -> dict[str, Values]:
    """Fields and values as the command line writes them.

    Parameters
    ----------
    texts : sequence of str
        Each ``FIELD=VALUE,VALUE`` or ``FIELD=LOW..HIGH``, as ``cohorts.perch.count=40,60`` or
        ``tanks.one.volume=800..1200 L``.

    Returns
    -------
    dict of str to sequence or Span
        In the order given.

    Raises
    ------
    InputError
        With a sentence for each text that cannot be read.
    """
    found: dict[str, Values] = {}
    faults = []
    for text in texts:
        field, equals, values = text.partition("=")
        field = field.strip()
        try:
            if not equals or not field or not values.strip():
                raise InputError(f"{shown(text)} is no field with values; write FIELD=VALUE,VALUE or FIELD=LOW..HIGH.")
            if field in found:
                raise InputError(f"{shown(field)} is varied twice; write all of its values once.")
            found[field] = _read_values(values)
        except InputError as error:
            faults += [Fault("", "--vary", fault.message) for fault in error.faults]
    if faults:
        raise InputError(faults)
    return found


def _read_values(text: str) -> Values:
    match = _RANGE.match(text)
    if match is None:
        cells = [cell.strip() for cell in text.split(",")]
        if "" in cells:
            raise InputError(f"{shown(text)} has an empty value between its commas; leave it out.")
        return [typed(cell) for cell in cells]
    low, unit, high, of_high = match.groups()
    if unit and of_high and unit != of_high:
        raise InputError(f"{shown(text)} has two units; write both ends in one.")
    if not float(low) < float(high):
        raise InputError(f"{shown(text)} must rise; write the lower end first.")
    is_whole = bool(_WHOLE.fullmatch(low) and _WHOLE.fullmatch(high)) and not (unit or of_high)
    return Span(float(low), float(high), of_high or unit or "", is_whole)


def typed(cell: str) -> Any:
    """A value as a site file would hold it: whole numbers, numbers, dates, true and false bare, all else text."""
    if cell in ("true", "false"):
        return cell == "true"
    if _WHOLE.fullmatch(cell):
        return int(cell)
    try:
        return float(cell) if re.fullmatch(_NUMBER, cell) else dt.date.fromisoformat(cell)
    except ValueError:
        return cell


def make_plan(site: Site, vary: Mapping[str, Values], points: int = 0, seed: int = 1) -> Plan:
    """A checked plan of a sweep.

    Parameters
    ----------
    site : Site
        A checked site.
    vary : mapping of str to sequence or Span
        Dotted fields to their values; each value is tried alone.
    points : int
        Sobol points, rounded up to a power of two; 0 runs every combination.
    seed : int
        Of the scrambling of points.

    Returns
    -------
    Plan
        What to run.

    Raises
    ------
    InputError
        If nothing is varied, a field is not known or takes no such value, a range is given without points, or there
        are too many runs.
    """
    faults = []
    if not vary:
        faults.append(
            Fault("", "--vary", "nothing is varied; give a field and its values, as cohorts.perch.count=40,60.")
        )
    for field, values in vary.items():
        if isinstance(values, Span) and not points:
            faults.append(Fault("", "--vary", f"{field} is a range, which needs --points; or list its values."))
        for value in [at_share(values, 0.0), at_share(values, 1.0)] if isinstance(values, Span) else values:
            faults += _refused(site, field, value)
    if points < 0:
        faults.append(Fault("", "--points", f"{points} is not allowed; give a whole number from 1 on."))
    if faults:
        raise InputError(list(dict.fromkeys(faults)))
    plan = Plan(site, dict(vary), 1 << (points - 1).bit_length() if points else 0, seed)
    if plan.number > MOST_RUNS:
        raise InputError(
            [Fault("", "--vary", f"gives {plan.number:,} runs; {MOST_RUNS:,} at most: fewer values, or --points.")]
        )
    return plan


def _refused(site: Site, field: str, value: Any) -> list[Fault]:
    """What is wrong in the table of a field with a value alone; elsewhere another field's value may set it right."""
    table = field.rpartition(".")[0]
    try:
        site.with_changes({field: value})
    except InputError as error:
        return [replace(fault, file=site.name) for fault in error.faults if _is_in(fault.table, table)]
    return []


def _is_in(place: str, table: str) -> bool:
    """Whether one table stands within the other."""
    return place == table or place.startswith(f"{table}.") or table.startswith(f"{place}.")
