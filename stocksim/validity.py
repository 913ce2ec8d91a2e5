"""The ranges that the sources of formulas cover, as data beside each formula, and what lies outside of them."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable
from functools import cache, wraps
from inspect import signature
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.errors import OutsideValidity

F = TypeVar("F", bound=Callable[..., Any])


class Range(NamedTuple):
    """What one quantity may be for a formula to hold.

    Parameters
    ----------
    argument : str
        Name of the formula's argument, or of what it takes for granted, as ``chloride_mg_l`` of fresh water.
    unit : str
        Of both ends.
    low, high : float
        Ends, both inside.
    source : str
        Whose range it is.
    """

    argument: str
    unit: str
    low: float
    high: float
    source: str


class Ranged(NamedTuple):
    """Ranges of a formula, and what it gives in a keeper's words."""

    what: str
    ranges: tuple[Range, ...]


class Beyond(NamedTuple):
    """A quantity that left a range: of which formula, and the least and greatest value met."""

    formula: str
    what: str
    range: Range
    least: float
    greatest: float


_taken_by = cache(signature)  # to read one anew takes longer than most formulas
RANGED: dict[str, Ranged] = {}  # by the formula's name, in the order that its files are imported


def valid(what: str, *ranges: Range, is_called_compiled: bool = False) -> Callable[[F], F]:
    """Put the ranges of a formula beside it; a call from outside of this package that leaves one warns.

    Parameters
    ----------
    what : str
        What the formula gives, in a keeper's words.
    *ranges : Range
        All that its sources tell.
    is_called_compiled : bool
        Whether compiled code calls the function, which then stays as it is and never warns.

    Returns
    -------
    callable
        Decorator. What is called from within the package is told in the answer that calls, once, and warns of nothing.

    Warns
    -----
    OutsideValidity
        By the function that it decorates; the result is computed all the same.
    """

    def mark(function: F) -> F:
        name = function.__name__
        assert name not in RANGED, f"{name} has its ranges already"
        RANGED[name] = Ranged(what, ranges)
        if is_called_compiled:
            return function

        @wraps(function)
        def checked(*arguments: Any, **named: Any) -> Any:
            if not is_from_within(2):
                for one in beyond(name, **_taken_by(function).bind(*arguments, **named).arguments):
                    warnings.warn(beyond_words(one), OutsideValidity, stacklevel=2)
            return function(*arguments, **named)

        return cast(F, checked)

    return mark


def is_from_within(depth: int = 1) -> bool:
    """Whether the caller so many frames above the one that asks stands in this package."""
    name = str(sys._getframe(depth).f_globals.get("__name__", ""))
    return name.split(".", 1)[0] == __name__.split(".", 1)[0]


def beyond(formula: str, **quantities: Any) -> list[Beyond]:
    """Ranges of a formula that some quantities leave.

    Parameters
    ----------
    formula : str
        Its name.
    **quantities : array_like
        By the names of its ranges; others, None and NaN are not looked at.

    Returns
    -------
    list of Beyond
        In the order of its ranges.

    Examples
    --------
    >>> [(one.range.argument, one.greatest) for one in beyond("unionized_fraction", ph=7.0, temperature_c=[20.0, 33.0])]
    [('temperature_c', 33.0)]
    """
    what, ranges = RANGED[formula]
    found = []
    for one in ranges:
        value = quantities.get(one.argument)
        if value is None:
            continue
        level = np.asarray(value, float)
        is_out = np.logical_or(*outside(one, level))
        if is_out.any():
            out = level[is_out]
            found.append(Beyond(formula, what, one, float(out.min()), float(out.max())))
    return found


def outside(one: Range, level: ArrayLike) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether levels lie below and above a range by more than rounding, shape (...) each; NaN does not."""
    levels, slack = np.asarray(level, float), 1e-9 * max(1.0, abs(one.low), abs(one.high))
    return levels < one.low - slack, levels > one.high + slack


def beyond_words(one: Beyond) -> str:
    """A range that was left, as a sentence."""
    low, high, unit = one.range.low, one.range.high, "" if one.range.unit == "-" else f" {one.range.unit}"
    met = f"{one.least:.4g}" if one.least == one.greatest else f"{one.least:.4g} to {one.greatest:.4g}"
    return (
        f"{one.formula}: {one.range.argument} of {met}{unit} lies outside {low:g} to {high:g}{unit} "
        f"({one.range.source}); computed all the same."
    )
