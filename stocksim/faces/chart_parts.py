"""What the panels are built of: the shared time axis, lines by species, limit lines, names at the lines' ends."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from stocksim.engine.results.findings import LimitSeries
from stocksim.engine.results.frames import Season
from stocksim.faces import vega
from stocksim.faces.palette import INK, LOOP_DASHES, PAPER, readable, species_colour, species_dash
from stocksim.site.kinds import LIMITS
from stocksim.units import to_face

Frame = pd.DataFrame
LABEL_STRIP = 0.17  # share of the season's length kept free at the right for the names of the lines
LEFT_AXIS_PX = 44  # every panel has the same, so that days stand above each other
NOON = pd.Timedelta(hours=12)  # marks stand at noon, so that a browser's time zone cannot move them to another day
MOST_ROWS = 1500  # marks of one panel; the days between are left out beyond it
_NEAR_C = 5.0  # a temperature limit is drawn when the water comes this near to it


def in_face_unit(values: Any, dimension: str, system: str) -> Any:
    """Number, array or column in the keeper's unit."""
    return to_face(values, dimension, system)


def ends(season: Season) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First and last moment of the season."""
    return pd.Timestamp(season.dates[0]), pd.Timestamp(season.dates[-1]) + pd.Timedelta(days=1)


def time_axis(season: Season, field: str) -> vega.Channel:
    """The season's time axis, the same on every panel; the strip at its right end is for names."""
    start, end = ends(season)
    days = len(season.dates)
    strip = pd.Timedelta(days=max(LABEL_STRIP * days, 1.0))
    every = "7D" if days < 75 else "MS" if days < 500 else "6MS"
    ticks = [_moment(tick) for tick in pd.date_range(start, end, freq=every)]
    words = "[timeFormat(datum.value, '%-d %b'), month(datum.value) == 0 ? timeFormat(datum.value, '%Y') : '']"
    axis = vega.Axis(title=None, values=ticks, labelExpr=words, labelOverlap="parity", labelSeparation=6)
    return vega.by(f"{field}:T", axis=axis, scale=vega.Scale(domain=[_moment(start), _moment(end + strip)], nice=False))


def _moment(moment: pd.Timestamp) -> dict[str, int]:
    """A local date and hour of Vega-Lite, as plain data."""
    return {"year": moment.year, "month": moment.month, "date": moment.day, "hours": moment.hour}


def level(field: str, scale: vega.Scale) -> vega.Channel:
    """A value axis without a title: the panel's title carries name and unit."""
    axis = vega.Axis(title=None, minExtent=LEFT_AXIS_PX, maxExtent=LEFT_AXIS_PX, tickCount=4)
    return vega.by(f"{field}:Q", scale=scale, axis=axis)


def date_tip(field: str) -> vega.Channel:
    """A date in a tooltip, as ``4 Feb 2027``."""
    return vega.by(f"{field}:T", format="%-d %b %Y")


def top_of(*columns: Iterable[float]) -> float:
    """Upper end of a value axis: no line on the edge."""
    values = [float(v) for column in columns for v in column if math.isfinite(v)]
    return 1.12 * max(values, default=0.0) or 1.0


def picked_days(days: int, entities: int, span: int = 7, most: int = MOST_ROWS) -> list[int]:
    """Days to draw: every ``span``-th, fewer when there are many lines, and the last."""
    step = max(span, math.ceil(days * max(entities, 1) / most))
    return sorted({*range(0, days, step), days - 1}) if days else []


def daily(series: LimitSeries, values: Any) -> np.ndarray:
    """Values of a limit's series for the first scenario, shape (day, entity)."""
    shape = np.broadcast_shapes(
        series.margin_percent.shape, series.value.shape, series.threshold.shape, (1, 1, len(series.entities))
    )
    return np.broadcast_to(values, shape)[0]


def daily_margin(series: LimitSeries, entity: str) -> np.ndarray:
    """Margin of one entity by day, the smallest of its columns; NaN where it has none."""
    inside = [at for at, name in enumerate(series.entities) if name == entity]
    margin = np.where(np.isnan(daily(series, series.margin_percent)), np.inf, daily(series, series.margin_percent))
    least = margin[:, inside].min(axis=1)
    return np.where(np.isinf(least), np.nan, least)


def tank_frame(season: Season, series: LimitSeries, values: np.ndarray, pick: Callable[..., Any]) -> Frame:
    """A row for each tank and week with fish: the value that ``pick`` (min or max) takes of the week, and its limit."""
    layout, species = season.layout, main_species(season)
    measured, threshold = daily(series, series.value), daily(series, series.threshold)
    starts = sorted({0, *(day + 1 for day in picked_days(layout.days, len(layout.tanks))[:-1])})
    rows = []
    for column, tank in enumerate(layout.tanks):
        for start, end in zip(starts, [*starts[1:], layout.days], strict=True):
            week = np.where(np.isnan(threshold[start:end, column]), np.nan, values[start:end, column])
            if np.isnan(week).all():
                continue
            day = start + int(np.flatnonzero(week == pick(week[~np.isnan(week)]))[0])
            rows.append(
                {"date": pd.Timestamp(season.dates[day]) + NOON, "tank": tank, "species": species[tank],
                 "value": float(values[day, column]), "measured": float(measured[day, column]),
                 "threshold": float(threshold[day, column])}
            )  # fmt: skip
    return pd.DataFrame(rows) if rows else empty(["date", "tank", "species", "value", "measured", "threshold"])


def empty(columns: Sequence[str]) -> Frame:
    """A frame without rows whose columns have the kinds the charts expect."""
    kinds = {"date": "datetime64[ns]", "from": "datetime64[ns]", "to": "datetime64[ns]"}
    words = ("species", "tank", "cohort", "label", "name")
    return pd.DataFrame({c: pd.Series(dtype=kinds.get(c, "object" if c in words else "float64")) for c in columns})


def main_species(season: Season) -> dict[str, str]:
    """For each tank the species with most weight in it over the season; it gives the tank's line its colour."""
    layout = season.layout
    weight = (season.course.count * season.course.weight_g)[0].sum(axis=0)
    best: dict[str, tuple[float, str]] = {}
    for column, stay in enumerate(layout.stays):
        cohort = stay.table
        best[cohort.tank] = max(best.get(cohort.tank, (-1.0, "")), (float(weight[column]), cohort.species))
    return {tank: best.get(tank, (0.0, ""))[1] for tank in layout.tanks}


def lines_by_species(
    season: Season, data: Frame, entity: str, scale: vega.Scale, tip: list[vega.Channel], height: int
) -> list[vega.Chart]:
    """A line for each tank or cohort in its species' colour and dash, and its name at the end."""
    present = sorted(set(data["species"]))
    colours = vega.Scale(domain=present, range=[species_colour(s) for s in present])
    colour = vega.by("species:N", scale=colours, legend=None)
    dashes = vega.Scale(domain=present, range=[list(species_dash(s)) for s in present])
    dash = vega.by("species:N", scale=dashes, legend=None)
    x, y = time_axis(season, "date"), level("value", scale)
    base = vega.Chart(data)
    lines = base.mark("line", strokeWidth=2.6).encode(x=x, y=y, color=colour, strokeDash=dash, detail=f"{entity}:N")
    dots = base.mark("point", opacity=0, size=110).encode(x=x, y=y, tooltip=tip, detail=f"{entity}:N")
    last = data.groupby(entity, sort=False).tail(1).rename(columns={entity: "name"})[["name", "species", "value"]]
    words = vega.Scale(domain=present, range=[readable(species_colour(s)) for s in present])
    return [lines, dots, end_labels(season, last, scale, height, vega.by("species:N", scale=words, legend=None))]


def end_labels(season: Season, names: Frame, scale: vega.Scale, height: int, colour: Any) -> vega.Chart:
    """Names beside the ends of lines, pushed apart where they would overlap."""
    bottom, top = (float(v) for v in scale["domain"])
    gap = (top - bottom) * 15.0 / height
    ordered = names.sort_values("value", kind="stable").reset_index(drop=True)
    places = [float(v) for v in ordered["value"]]
    for here in range(1, len(places)):
        places[here] = max(places[here], places[here - 1] + gap)
    ceiling = top - gap / 2.0
    for here in range(len(places) - 1, -1, -1):
        places[here] = min(places[here], ceiling)
        ceiling = places[here] - gap
    data = ordered.assign(date=ends(season)[1], place=places)
    if "colour" in data:
        data["colour"] = data["colour"].map(readable)
    marks = vega.Chart(data).mark("text", align="left", dx=4, fontWeight="bold", limit=92)
    return marks.encode(x=time_axis(season, "date"), y=level("place", scale), text="name:N", color=colour)


def limit_lines(season: Season, spans: Frame, scale: vega.Scale, below: bool = False) -> list[vega.Chart]:
    """Dashed ink lines with their words; ``spans`` has from, to, threshold and label."""
    if not len(spans):
        return []
    base = vega.Chart(spans)
    x, y = time_axis(season, "from"), level("threshold", scale)
    rule = base.mark("rule", color=INK, strokeDash=[6, 4], strokeWidth=1.4).encode(x=x, x2="to:T", y=y)
    words = base.mark("text", align="left", dx=4, dy=9 if below else -8, color=INK, fontStyle="italic")
    return [rule, words.encode(x=x, y=y, text="label:N")]


def limit_spans(season: Season, series: LimitSeries, system: str, dimension: str, unit: str) -> Frame:
    """One row for each limit value met: which tanks it holds for, from when to when."""
    threshold = daily(series, series.threshold)
    groups: dict[float, tuple[list[str], int, int]] = {}
    for column, tank in enumerate(series.entities):
        course = np.round(threshold[:, column], 6)
        for value in np.unique(course[~np.isnan(course)]):
            days = np.flatnonzero(course == value)
            tanks, first, last = groups.get(float(value), ([], len(course), 0))
            groups[float(value)] = ([*tanks, tank], min(first, int(days[0])), max(last, int(days[-1])))
    rows = []
    for value, (tanks, first, last) in sorted(groups.items()):
        shown = float(to_face(value, dimension, system))
        names = ", ".join(tanks[:4]) + (f" and {len(tanks) - 4} more" if len(tanks) > 4 else "")
        rows.append(
            {"from": pd.Timestamp(season.dates[first]), "to": pd.Timestamp(season.dates[last]) + dt.timedelta(days=1),
             "threshold": shown, "label": f"limit {shown:.2g}" + (f": {names}" if len(groups) > 1 else f" {unit}")}
        )  # fmt: skip
    return pd.DataFrame(rows) if rows else empty(["from", "to", "threshold", "label"])


def near_limits(season: Season, system: str) -> Frame:
    """Temperature limits that some loop's water comes near to, the strictest species of the loop each."""
    layout = season.layout
    start, end = ends(season)
    rows = []
    for series in season.limits:
        kind = LIMITS[series.limit]
        if not kind.on_temperature_chart:
            continue
        is_low = kind.is_floor
        value, threshold = daily(series, series.value), daily(series, series.threshold)
        for column, loop in enumerate(layout.loops):
            inside = np.flatnonzero(layout.cohort_loop[:, column] > 0.0)
            if not inside.size:
                continue
            strictest = int(inside[np.argmax(threshold[0, inside] if is_low else -threshold[0, inside])])
            limit = float(threshold[0, strictest])
            reach = value[:, strictest] - limit if is_low else limit - value[:, strictest]
            if float(reach.min()) > _NEAR_C:
                continue
            shown = float(to_face(limit, "temperature", system))
            name = layout.stays[strictest].table.species.replace("_", " ")
            rows.append(
                {
                    "from": start,
                    "to": end,
                    "threshold": shown,
                    "label": f"{name}, loop {loop}: {kind.on_temperature_chart} {shown:.0f}",
                }
            )
    return pd.DataFrame(rows) if rows else empty(["from", "to", "threshold", "label"])


def runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of every unbroken run of True."""
    edges = np.diff(np.concatenate([[0], flags.astype(int), [0]]))
    return list(zip(np.flatnonzero(edges == 1).tolist(), (np.flatnonzero(edges == -1) - 1).tolist(), strict=True))


def dash_by_name(names: Sequence[str], field: str, legend: vega.Legend | None) -> vega.Channel:
    """Dash of each name in the order given."""
    patterns = [list(LOOP_DASHES[number % len(LOOP_DASHES)]) for number in range(len(names))]
    return vega.by(f"{field}:N", scale=vega.Scale(domain=list(names), range=patterns), legend=legend)


def stack(panels: list[Any], description: str, spacing: int = 68) -> vega.Group:
    """Panels above each other whose days stand above each other."""
    chart = vega.vconcat(
        *panels, spacing=spacing, bounds="flush", padding={"left": 2, "right": 2, "top": 4, "bottom": 4}
    )
    return chart.resolve_scale(color="independent", strokeDash="independent", y="independent").properties(
        # the pages else draw many marks on a canvas, which neither shrinks on a phone nor prints sharp
        description=description, background=PAPER, usermeta={"embedOptions": {"renderer": "svg"}},
    )  # fmt: skip
