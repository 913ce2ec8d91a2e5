"""Charts of a season: stacked panels on one time axis, one colour and dash a species, limits as labelled lines."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping
from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from stocksim.engine.findings import LimitSeries
from stocksim.engine.results import Season
from stocksim.faces.palette import (
    FAINT, FEED, INK, LEAF, LOOP_DASHES, PAPER, TROUBLE, species_colour, species_dash, theme_config,
)  # fmt: skip
from stocksim.faces.words import LIMIT_WORDS, day_words
from stocksim.units import face_unit, to_face

Frame = pd.DataFrame
_LABEL_STRIP = 0.17  # share of the season's length kept free at the right for the names of the lines
_LEFT_AXIS_PX = 44  # every panel has the same, so that days stand above each other
_NOON = pd.Timedelta(hours=12)  # marks stand at noon, so that a browser's time zone cannot move them to another day
_SHORT = {"density": "too dense", "oxygen": "oxygen", "unionized_ammonia": "ammonia",
          "temperature_low": "too cold", "temperature_high": "too warm"}  # fmt: skip


@alt.theme.register("stocksim", enable=True)
def _theme() -> alt.theme.ThemeConfig:
    return alt.theme.ThemeConfig(config=theme_config())  # type: ignore[typeddict-item]


def density_stack(season: Season) -> alt.VConcatChart:
    """Broken limits, stocking density by tank, planted area by loop, on one time axis.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    alt.VConcatChart
        Panels share the time axis; none has two scales.
    """
    panels = [density_panel(season), *(area_panel(season, loop) for loop in season.layout.loops)]
    trouble = trouble_panel(season)
    return _stack(
        ([trouble] if trouble is not None else []) + panels, "Stocking density by tank and planted area by loop"
    )


def water_stack(season: Season) -> alt.VConcatChart:
    """Water temperature, oxygen margin and un-ionized ammonia margin on one time axis; argument as in `density_stack`."""
    return _stack(
        [
            temperature_panel(season),
            margin_panel(season, "oxygen", "Oxygen: room above the limit, % (day's low)"),
            margin_panel(season, "unionized_ammonia", "Un-ionized ammonia: room below the limit, % (day's high)"),
        ],
        "Water temperature by loop, oxygen and un-ionized ammonia margins by tank",
    )


def growth_stack(season: Season) -> alt.VConcatChart:
    """Mean weight and feed of each cohort on one time axis; argument as in `density_stack`."""
    units = season.site.file.site.units
    unit = face_unit("weight", units)
    weight, feed = f"Mean weight of a fish, {unit}", f"Feed offered to a cohort, {unit}/day"
    return _stack(
        [_cohort_panel(season, "mean_weight_g", weight, unit), _cohort_panel(season, "feed_g", feed, f"{unit}/day")],
        "Growth and feed by cohort",
    )


def trouble_panel(season: Season) -> alt.LayerChart | None:
    """Bars over the days on which a limit is broken, a row for each place; None where nothing is broken."""
    broken = [finding for finding in season.findings if finding.is_broken]
    if not broken:
        return None
    rows = []
    first_day, days = season.dates[0], len(season.dates)
    for number, finding in enumerate(broken):
        name = finding.where.split(".")[1]
        series = next(s for s in season.limits if s.limit == finding.limit)
        margin = _daily(series, series.margin_percent)[:, series.entities.index(name)]
        for start, end in _runs(margin < 0.0):
            is_first = season.dates[start] == finding.first_date
            label = f"{name}: {_SHORT[finding.limit]}, {day_words(season.dates[start])}" if is_first else ""
            has_room = (season.dates[start] - first_day).days > 0.45 * days
            rows.append(
                {"row": number, "from": season.dates[start], "to": season.dates[end] + dt.timedelta(days=1),
                 "label": label, "inside": not has_room, "what": LIMIT_WORDS[finding.limit], "place": name}
            )  # fmt: skip
    data = _dated(pd.DataFrame(rows), "from", "to")
    tip = [alt.Tooltip("place:N"), alt.Tooltip("what:N"), _date_tip("from"), _date_tip("to")]
    y = alt.Y("row:O", axis=alt.Axis(labels=False, ticks=False, domain=False, title=None, minExtent=_LEFT_AXIS_PX))
    base = alt.Chart(data)
    x = _time(season, "from", with_dates=False)
    bars = base.mark_bar(color=TROUBLE, height={"band": 0.82}).encode(x=x, x2="to:T", y=y, tooltip=tip)
    outside = base.mark_text(align="right", dx=-5, fontWeight="bold").transform_filter("!datum.inside")
    inside = base.mark_text(align="left", dx=5, color=PAPER, fontWeight="bold").transform_filter("datum.inside")
    texts = [mark.encode(x=x, y=y, text="label:N", tooltip=tip) for mark in (outside, inside)]
    return alt.layer(bars, *texts).properties(title="Where and when a limit is broken", height=22 * len(broken))


def density_panel(season: Season) -> alt.LayerChart:
    """Stocking density of each tank with its limit."""
    units = season.site.file.site.units
    unit = face_unit("density", units)
    series = next(s for s in season.limits if s.limit == "density")
    data = _tank_frame(season, series, _daily(series, series.value), np.max)
    for column in ("value", "threshold"):
        data[column] = to_face(data[column], "density", units)
    top = _top(data["value"], data["threshold"])
    spans = _limit_spans(season, series, lambda v: to_face(v, "density", units), unit)
    tip = [alt.Tooltip("tank:N"), alt.Tooltip("species:N"), _date_tip("date"),
           alt.Tooltip("value:Q", title=f"density, {unit}", format=".2~f"),
           alt.Tooltip("threshold:Q", title=f"limit, {unit}", format=".2~f")]  # fmt: skip
    layers = _lines(season, data, "tank", "value", alt.Scale(domain=[0.0, top]), tip, legend=True)
    return alt.layer(*_limit_lines(season, spans), *layers).properties(
        title=f"Stocking density by tank, {unit}", height=230
    )


def area_panel(season: Season, loop: str) -> alt.LayerChart:
    """Planted area of a loop beside the area that the day's feed could carry by the handbooks' ratio."""
    units = season.site.file.site.units
    unit = face_unit("area", units)
    frame = season.loops[season.loops["loop"] == loop]
    picked = frame.iloc[_picked(len(frame), 1)]
    data = pd.DataFrame(
        {
            "date": picked["date"] + _NOON,
            "planted": to_face(picked["planted_area_m2"], "area", units),
            "carried": to_face(picked["handbook_area_m2"], "area", units),
            "low": to_face(picked["handbook_area_low_m2"], "area", units),
            "high": to_face(picked["handbook_area_high_m2"], "area", units),
        }
    )
    top = _top(data["planted"], data["high"])
    x = _time(season, "date")
    scale = alt.Scale(domain=[0.0, top])
    tip = [_date_tip("date"), alt.Tooltip("planted:Q", title=f"planted, {unit}", format=".1~f"),
           alt.Tooltip("low:Q", title=f"feed carries from, {unit}", format=".1~f"),
           alt.Tooltip("high:Q", title=f"to, {unit}", format=".1~f")]  # fmt: skip
    base = alt.Chart(data)
    band = base.mark_area(color=FEED, opacity=0.35).encode(x=x, y=_level("low", scale), y2="high:Q", tooltip=tip)
    middle = base.mark_line(color=FEED, strokeWidth=2, strokeDash=[5, 3]).encode(x=x, y=_level("carried", scale))
    planted = base.mark_line(color=LEAF, strokeWidth=3, interpolate="step-after").encode(
        x=x, y=_level("planted", scale)
    )
    dots = base.mark_point(opacity=0, size=120).encode(x=x, y=_level("planted", scale), tooltip=tip)
    ends = data.iloc[-1]
    names = pd.DataFrame(
        [{"name": "planted", "value": ends["planted"], "colour": LEAF},
         {"name": "feed carries", "value": ends["carried"], "colour": FEED}]
    )  # fmt: skip
    labels = _end_labels(season, names, scale, top, 120, alt.Color("colour:N", scale=None))
    return alt.layer(band, middle, planted, dots, labels).properties(
        title=f"Planted area, loop {loop}, {unit}", height=120
    )


def temperature_panel(season: Season) -> alt.LayerChart:
    """Water temperature of each loop with the limits that come near it."""
    units = season.site.file.site.units
    unit = face_unit("temperature", units)
    layout = season.layout
    picked = _picked(layout.days, len(layout.loops), most=1500, span=1)
    rows = [
        {"date": pd.Timestamp(season.dates[day]) + _NOON, "loop": loop, "dash": list(LOOP_DASHES)[column % 4],
         "value": float(to_face(layout.temperature_c[day, column], "temperature", units))}
        for column, loop in enumerate(layout.loops) for day in picked
    ]  # fmt: skip
    data = pd.DataFrame(rows).drop(columns="dash")
    limits = _near_limits(season, units, unit)
    low = min([float(data["value"].min()), *(r["threshold"] for r in limits)])
    high = max([float(data["value"].max()), *(r["threshold"] for r in limits)])
    pad = max(0.15 * (high - low), 2.0)
    scale = alt.Scale(domain=[low - pad, high + pad], zero=False)
    x = _time(season, "date")
    dash = alt.StrokeDash(
        "loop:N", scale=alt.Scale(domain=list(layout.loops), range=_loop_dashes(layout.loops)), legend=None
    )
    tip = [alt.Tooltip("loop:N"), _date_tip("date"), alt.Tooltip("value:Q", title=f"water, {unit}", format=".1f")]
    base = alt.Chart(data)
    lines = base.mark_line(color=INK, strokeWidth=2.2).encode(x=x, y=_level("value", scale), strokeDash=dash)
    dots = base.mark_point(opacity=0, size=120).encode(x=x, y=_level("value", scale), tooltip=tip)
    ends = data.groupby("loop", sort=False).tail(1).rename(columns={"loop": "name"})[["name", "value"]]
    labels = _end_labels(season, ends, scale, high + pad, 130, alt.value(INK), bottom=low - pad)
    return alt.layer(*_limit_lines(season, pd.DataFrame(limits)), lines, dots, labels).properties(
        title=f"Water temperature by loop, {unit}", height=130
    )


def margin_panel(season: Season, limit: str, title: str) -> alt.LayerChart:
    """Margin of a tank limit in percent of it, the smallest of each week; below 0 it is broken."""
    series = next(s for s in season.limits if s.limit == limit)
    data = _tank_frame(season, series, _daily(series, series.margin_percent), np.min)
    level = "day's low" if limit == "oxygen" else "day's high"
    low = min(-12.0, 1.1 * float(data["value"].min())) if len(data) else -12.0
    high = max(100.0 if limit != "oxygen" else 60.0, float(data["value"].max())) if len(data) else 100.0
    scale = alt.Scale(domain=[low, 1.06 * high])
    tip = [alt.Tooltip("tank:N"), alt.Tooltip("species:N"), _date_tip("date"),
           alt.Tooltip("value:Q", title="margin, %", format=".0f"),
           alt.Tooltip("measured:Q", title=f"{level}, mg/L", format=".3~r"),
           alt.Tooltip("threshold:Q", title="limit, mg/L", format=".3~r")]  # fmt: skip
    start, end = _ends(season)
    ground = alt.Chart(pd.DataFrame({"from": [start], "to": [end], "low": [low], "zero": [0.0]}))
    x = _time(season, "from")
    below = ground.mark_rect(color=TROUBLE, opacity=0.10).encode(x=x, x2="to:T", y=_level("low", scale), y2="zero:Q")
    line = pd.DataFrame([{"from": start, "to": end, "threshold": 0.0, "label": "limit: below this line it is broken"}])
    layers = _lines(season, data, "tank", "value", scale, tip, legend=False, bottom=low, height=150)
    return alt.layer(below, *_limit_lines(season, line, below=True), *layers).properties(title=title, height=150)


def _cohort_panel(season: Season, column: str, title: str, unit: str) -> alt.LayerChart:
    units = season.site.file.site.units
    parts = []
    for key in season.layout.cohorts:
        frame = season.cohorts[season.cohorts["cohort"] == key]
        picked = frame.iloc[_picked(len(frame), len(season.layout.cohorts))]
        parts.append(
            pd.DataFrame(
                {"date": picked["date"] + _NOON, "cohort": key, "species": picked["species"],
                 "value": to_face(picked[column], "weight", units)}
            )
        )  # fmt: skip
    columns = ["date", "cohort", "species", "value"]
    data = pd.concat(parts, ignore_index=True) if parts else _empty(columns)
    tip = [alt.Tooltip("cohort:N"), alt.Tooltip("species:N"), _date_tip("date"),
           alt.Tooltip("value:Q", title=unit, format=".3~r")]  # fmt: skip
    scale = alt.Scale(domain=[0.0, _top(data["value"])])
    layers = _lines(season, data, "cohort", "value", scale, tip, legend=column == "mean_weight_g", height=180)
    return alt.layer(*layers).properties(title=title, height=180)


def one_fish(growths: Mapping[str, Any], species: str, units: str) -> alt.LayerChart:
    """Weight of one fish by days from the start, a line for each named growth.

    Parameters
    ----------
    growths : mapping of str to Growth
        Label, as a temperature, to the course `stocksim.engine.running.grow` gives.
    species : str
        Sets the colour.
    units : str
        ``metric`` or ``us``.
    """
    unit = face_unit("weight", units)
    data = pd.DataFrame(
        [
            {"day": day + 1, "water": label, "value": float(to_face(course.weight_g[day], "weight", units))}
            for label, course in growths.items()
            for day in _picked(len(course.weight_g), 1)
        ]
    )
    base = alt.Chart(data).encode(
        x=alt.X("day:Q", title="days"),
        y=alt.Y("value:Q", title=None),
        tooltip=["water:N", "day:Q", alt.Tooltip("value:Q", title=unit, format=".3~r")],
    )
    dash = alt.StrokeDash(
        "water:N", scale=alt.Scale(domain=list(growths), range=_loop_dashes(list(growths))), title=None
    )
    return alt.layer(
        base.mark_line(color=species_colour(species), strokeWidth=2.5).encode(strokeDash=dash),
        base.mark_point(opacity=0, size=100),
    ).properties(title=f"One fish in good water, {unit}", height=220)
