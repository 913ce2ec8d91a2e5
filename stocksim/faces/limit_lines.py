"""Limits of the fish as lines on a panel of a loop's water, with words that no line covers."""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stocksim.engine.findings import cohort_limit
from stocksim.engine.results import Season
from stocksim.faces import chart_parts as parts
from stocksim.faces.palette import INK, PAPER
from stocksim.faces.water_cautions import nitrate_cautions

FloatArray = NDArray[np.float64]

_LABEL_PX = 15.0
_STEP_DAYS = 7


def cohort_limits(season: Season, limit: str) -> FloatArray:
    """Limit of every cohort, day by day.

    Parameters
    ----------
    season : Season
        A season that was run.
    limit : str
        ``oxygen``, ``unionized_ammonia`` or ``nitrite``.

    Returns
    -------
    ndarray, shape (day, cohort)
        The limit [mg/L]; NaN on days without fish of the cohort.
    """
    bearable = np.broadcast_to(cohort_limit(season.layout, season.course, limit), season.course.count.shape)
    return np.where(season.course.there_in_morning[0], bearable[0], np.nan)


def limit_groups(season: Season, loop: str, limit: str) -> list[tuple[str, FloatArray]]:
    """Names and course of each different limit of the loop's cohorts, the lowest first.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.
    limit : str
        As in `cohort_limits`.

    Returns
    -------
    list of (str, ndarray)
        Names of the cohorts that share the limit, and it day by day [mg/L], NaN on days without them.
    """
    layout = season.layout
    column = layout.loops.index(loop)
    every = cohort_limits(season, limit)
    groups: list[tuple[list[str], FloatArray]] = []
    for number, cohort in enumerate(layout.cohorts):
        course = every[:, number]
        if layout.cohort_loop[number, column] <= 0.0 or np.isnan(course).all():
            continue
        for names, other in groups:
            both = ~np.isnan(course) & ~np.isnan(other)
            if both.any() and np.allclose(course[both], other[both], rtol=1e-6):
                names.append(cohort)
                other[np.isnan(other)] = course[np.isnan(other)]
                break
        else:
            groups.append(([cohort], course.copy()))
    groups.sort(key=lambda group: float(np.nanmin(group[1])))
    return [(_names(names), course) for names, course in groups]


def nitrate_groups(season: Season, loop: str) -> list[tuple[str, FloatArray]]:
    """As `limit_groups`, of the levels of nitrate nitrogen to be cautious at."""
    groups: dict[float, tuple[list[str], FloatArray]] = {}
    for cohort, level, there in nitrate_cautions(season, loop):
        names, course = groups.setdefault(level, ([], np.full(len(there), np.nan)))
        names.append(cohort)
        course[there] = level
    return [(_names(names), course) for names, course in groups.values()]


def _names(names: list[str]) -> str:
    return ", ".join(names[:2]) + (f" and {len(names) - 2} more" if len(names) > 2 else "")


def _range(course: FloatArray) -> str:
    low, high = float(np.nanmin(course)), float(np.nanmax(course))
    return _short(low) if high < 1.01 * low else f"{_short(low)} to {_short(high)}"


def _short(level: float) -> str:
    return f"{level:.2g}" if level < 99.5 else f"{level:.0f}"


def limit_layers(
    season: Season,
    groups: list[tuple[str, FloatArray]],
    scale: alt.Scale,
    height: int,
    is_right: bool,
    word: str = "limit",
) -> tuple[list[alt.Chart], list[alt.Chart]]:
    """Dashed limit lines, and their words.

    Parameters
    ----------
    season : Season
        A season that was run.
    groups : list of (str, ndarray)
        Of `limit_groups`.
    scale : altair.Scale
        Of the panel.
    height : int
        Of the panel. [pixels]
    is_right : bool
        Whether the words stand at the season's end rather than at its start.
    word : str
        What the lines are: ``limit`` or ``caution``.

    Returns
    -------
    rules, words : list of altair.Chart
        The words are to be drawn above all lines; limits above the scale are named at its top.
    """
    bottom, top = (float(v) for v in scale["domain"])
    gap = (top - bottom) * _LABEL_PX / height
    lines: list[dict[str, Any]] = []
    words: list[dict[str, Any]] = []
    above = []
    for name, course in groups:
        inside = course <= top
        if not inside.any():
            above.append(f"{name} {_range(course)}")
            continue
        for first, last in parts.runs(inside):
            picked = sorted({*range(first, last + 1, _STEP_DAYS), last})
            group = f"{name} {first}"
            lines += [{"from": _noon(season, d), "threshold": float(course[d]), "group": group} for d in picked]
        days = np.flatnonzero(inside)
        first, last = int(days[0]), int(days[-1])
        # a line that leaves the scale early has its words beyond its end
        is_short = last < 0.6 * len(course) and (is_right or last - first < 0.25 * len(course))
        day, align = (last if is_right or is_short else first), ("right" if is_right and not is_short else "left")
        place = float(course[day]) + (0.0 if is_short else 0.5 * gap)
        label = f"{word} {_range(course)}: {name}"
        words.append({"from": _noon(season, day), "place": place, "label": label, "align": align})
    if above:
        day, align = (len(season.dates) - 1, "right") if is_right else (0, "left")
        label = f"{word}s above: {'; '.join(above)}"
        words.append({"from": _noon(season, day), "place": top, "label": label, "align": align})
    _push_apart(words, gap, top)
    rules, texts = [], []
    if lines:
        x, y = parts.time_axis(season, "from"), parts.level("threshold", scale)
        marks = alt.Chart(pd.DataFrame(lines)).mark_line(color=INK, strokeDash=[6, 4], strokeWidth=1.4)
        rules.append(marks.encode(x=x, y=y, detail="group:N"))
    for align in ("left", "right"):
        mine = [word for word in words if word["align"] == align]
        if not mine:
            continue
        base = alt.Chart(pd.DataFrame(mine)).encode(
            x=parts.time_axis(season, "from"), y=parts.level("place", scale), text="label:N"
        )
        style: dict[str, Any] = {"align": align, "dx": 4 if align == "left" else -4, "fontStyle": "italic"}
        # a halo of paper keeps the words legible where a line runs behind them
        texts += [base.mark_text(stroke=PAPER, strokeWidth=3, **style), base.mark_text(color=INK, **style)]
    return rules, texts


def _noon(season: Season, day: int) -> pd.Timestamp:
    return pd.Timestamp(season.dates[day]) + parts.NOON


def _push_apart(words: list[dict[str, Any]], gap: float, top: float) -> None:
    """Move words of limits apart, from the top down, so that none covers another."""
    ceiling = top - 0.5 * gap
    for word in sorted(words, key=lambda word: -word["place"]):
        word["place"] = min(word["place"], ceiling)
        ceiling = word["place"] - gap
