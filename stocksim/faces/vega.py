"""A small writer of Vega-Lite specifications: charts as plain data, made in milliseconds and looked at by nobody.

A library that checks every part as it is made costs a second a page; here the tests check the whole against its schema.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from stocksim.faces.palette import theme_config

Spec = dict[str, Any]
Scale = dict[str, Any]
Axis = dict[str, Any]
Legend = dict[str, Any]
Channel = dict[str, Any]

_TYPES = {"Q": "quantitative", "T": "temporal", "N": "nominal", "O": "ordinal"}
_ENDS = ("x2", "y2")  # they have the type of x and y


def by(shorthand: str, **options: Any) -> Channel:
    """What a mark takes from a column, as ``weight:Q``.

    Examples
    --------
    >>> by("day:T", title=None)
    {'field': 'day', 'type': 'temporal', 'title': None}
    """
    name, _, kind = shorthand.rpartition(":")
    return {"field": name, "type": _TYPES[kind], **options}


def value(constant: Any) -> Channel:
    """The same for every mark."""
    return {"value": constant}


def condition(test: str, if_so: Channel, otherwise: Channel) -> Channel:
    """One or the other, by a test on the row."""
    return {"condition": {"test": test, **if_so}, **otherwise}


@dataclass(frozen=True)
class Chart:
    """Marks of one kind.

    Parameters
    ----------
    data : DataFrame
        A row for each mark, or for each point of a line.
    marked : dict
        Kind and style of the mark.
    encoding : dict
        Channels.
    options : dict
        All else of the specification.
    """

    data: pd.DataFrame
    marked: Spec = field(default_factory=dict)
    encoding: dict[str, Any] = field(default_factory=dict)
    options: Spec = field(default_factory=dict)

    def mark(self, kind: str, **style: Any) -> Chart:
        """The same data with marks of a kind."""
        return replace(self, marked={"type": kind, **style})

    def encode(self, **channels: Any) -> Chart:
        """With more channels; a text is a shorthand."""
        return replace(self, encoding=self.encoding | {key: _told(key, part) for key, part in channels.items()})

    def transform_filter(self, test: str | Spec) -> Chart:
        """With the rows alone that pass a test."""
        return self.properties(transform=[*self.options.get("transform", ()), {"filter": test}])

    def properties(self, **options: Any) -> Chart:
        """With more of the specification."""
        return replace(self, options=self.options | options)

    def to_dict(self) -> Spec:
        """The whole specification."""
        return _whole(self)


@dataclass(frozen=True)
class Group:
    """Charts in layers or above each other.

    Parameters
    ----------
    how : str
        ``layer`` or ``vconcat``.
    charts : tuple
        The charts.
    options : dict
        All else of the specification.
    """

    how: str
    charts: tuple[Chart | Group, ...]
    options: Spec = field(default_factory=dict)

    def properties(self, **options: Any) -> Group:
        """With more of the specification."""
        return replace(self, options=self.options | options)

    def resolve_scale(self, **how: str) -> Group:
        """With shared or independent scales, by channel."""
        return self.properties(resolve={"scale": how})

    @property
    def title(self) -> str:
        """Its title."""
        return str(self.options.get("title", ""))

    def to_dict(self) -> Spec:
        """The whole specification."""
        return _whole(self)


Panel = Chart | Group


def layer(*charts: Panel) -> Group:
    """Charts on top of each other, the first one lowest."""
    return Group("layer", charts)


def vconcat(*charts: Panel, **options: Any) -> Group:
    """Charts one below the other."""
    return Group("vconcat", charts, options)


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain data; what is not a number is None, a moment has no time zone.

    Examples
    --------
    >>> rows_of(pd.DataFrame({"day": [pd.Timestamp(2026, 10, 1, 12)], "kg": [float("nan")]}))
    [{'day': '2026-10-01T12:00:00', 'kg': None}]
    """
    names = [str(name) for name in frame]
    columns = [_plain(frame[name]) for name in names]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _plain(column: pd.Series[Any]) -> list[Any]:
    if column.dtype.kind == "M":
        moments = np.datetime_as_string(column.to_numpy("datetime64[s]"), unit="s").tolist()
        return [None if moment == "NaT" else moment for moment in moments]
    if column.dtype.kind == "f":
        return [None if number != number else number for number in column.tolist()]
    return [moment.isoformat() if isinstance(moment, pd.Timestamp) else moment for moment in column.tolist()]


def _told(key: str, part: Any) -> Any:
    if isinstance(part, str):
        return {"field": part.rpartition(":")[0]} if key in _ENDS else by(part)
    if isinstance(part, Sequence):
        return [_told(key, one) for one in part]
    return part


def _whole(chart: Panel) -> Spec:
    """The specification of a chart with the theme; each frame stands in it once, however many marks are drawn of it."""
    names: dict[int, tuple[str, pd.DataFrame]] = {}
    for one in _each(chart):
        names.setdefault(id(one.data), (f"frame_{len(names)}", one.data))
    spec = _spec(chart, names)
    spec["config"] = theme_config()
    spec["datasets"] = {name: rows_of(frame) for name, frame in names.values()}
    return spec


def _each(chart: Panel) -> Iterator[Chart]:
    if isinstance(chart, Chart):
        yield chart
        return
    for one in chart.charts:
        yield from _each(one)


def _spec(chart: Panel, names: dict[int, tuple[str, pd.DataFrame]]) -> Spec:
    if isinstance(chart, Group):
        return {chart.how: [_spec(one, names) for one in chart.charts], **chart.options}
    data = {"name": names[id(chart.data)][0]}
    return {"data": data, "mark": chart.marked, "encoding": chart.encoding, **chart.options}
