"""The picture of a season as a drawing for paper: plain SVG, which needs no script and no network.

Apart from `picture`, whose specification a browser draws; both show the same numbers.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.results.frames import Season
from stocksim.faces import picture
from stocksim.faces.chart_parts import main_species
from stocksim.faces.palette import FAINT, FEED, INK, LEAF, readable, species_colour, species_dash

_WIDTH, _LEFT, _RIGHT, _TOP, _GAP = 700, 46, 96, 24, 44
_DENSITY_PX, _AREA_PX, _TEXT_PX = 170, 100, 13
FloatArray = NDArray[np.float64]


def picture_svg(season: Season, today: dt.date | None = None) -> str:
    """Density of each tank with its limit above the areas of each loop, on one time axis.

    Parameters
    ----------
    season : Season
        A season that was run.
    today : date, optional
        Day that a line marks, where it is one of the season.

    Returns
    -------
    str
        An ``svg`` element that fits the width it is given.
    """
    density = picture.densities(season)
    areas = [picture.areas_of(season, loop) for loop in season.layout.loops]
    parts, y = [], _TOP
    panel = _Panel(season, y, _DENSITY_PX, _highest([density.value, density.limit]))
    parts += _density(season, density, panel)
    for one in areas:
        y = panel.bottom + _GAP
        panel = _Panel(season, y, _AREA_PX, _highest([one.planted, one.high]))
        parts += _areas(one, panel)
    parts += _months(season, panel)
    if today in season.dates:
        x = panel.x(season.dates.index(today))
        parts.append(f'<path d="M{x:.1f} {_TOP}V{panel.bottom}" stroke="{LEAF}" stroke-dasharray="1 3" fill="none"/>')
        parts.append(_text(x + 3, _TOP + 11, "today", LEAF))
    told = escape(picture.told(season, density, areas), quote=True)
    height = panel.bottom + 40
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" role="img" aria-label="{told}" '
        f'font-family="sans-serif" font-size="{_TEXT_PX}">{"".join(parts)}</svg>'
    )


class _Panel:
    """Where a panel stands and how its values become places."""

    def __init__(self, season: Season, top: int, height: int, highest: float):
        self.top, self.bottom, self.highest = top, top + height, highest
        self.days = max(len(season.dates) - 1, 1)

    def x(self, day: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * day / self.days

    def y(self, value: float) -> float:
        return self.bottom - (self.bottom - self.top) * min(value, self.highest) / self.highest

    def line(self, values: FloatArray, colour: str, width: float, dash: Sequence[int] = ()) -> str:
        """A line over the days; it is broken where a value is missing."""
        steps, is_down = [], False
        for day, value in enumerate(values):
            if np.isnan(value):
                is_down = False
                continue
            steps.append(f"{'L' if is_down else 'M'}{self.x(day):.1f} {self.y(value):.1f}")
            is_down = True
        dashed = f' stroke-dasharray="{" ".join(map(str, dash))}"' if len(dash) and dash != (1, 0) else ""
        return f'<path d="{"".join(steps)}" fill="none" stroke="{colour}" stroke-width="{width}"{dashed}/>'

    def band(self, low: FloatArray, high: FloatArray, colour: str, opacity: float) -> str:
        """What lies between two lines, over the days on which both are known."""
        days = np.flatnonzero(~np.isnan(low) & ~np.isnan(high))
        if not days.size:
            return ""
        over = [f"{self.x(float(day)):.1f} {self.y(high[day]):.1f}" for day in days]
        under = [f"{self.x(float(day)):.1f} {self.y(low[day]):.1f}" for day in days[::-1]]
        return f'<path d="M{"L".join([*over, *under])}Z" fill="{colour}" opacity="{opacity}"/>'

    def frame(self, title: str) -> str:
        """Title, ground line and three values of the axis."""
        found = [_text(_LEFT, self.top - 8, title, INK, "bold")]
        for share in (0.0, 0.5, 1.0):
            value = share * self.highest
            y = self.y(value)
            found.append(f'<path d="M{_LEFT} {y:.1f}H{_WIDTH - _RIGHT}" stroke="{FAINT}" stroke-width=".4"/>')
            words = f"{value:.0f}" if self.highest >= 10.0 else f"{value:.2g}"
            found.append(_text(_LEFT - 5, y + 4, words, INK, anchor="end"))
        return "".join(found)

    def names(self, ends: Sequence[tuple[str, float, str]]) -> str:
        """Names at the right ends of lines, pushed apart."""
        found, above = [], -np.inf
        for name, value, colour in sorted(ends, key=lambda end: -end[1]):
            y = max(self.y(value) + 4, above + _TEXT_PX + 1)
            found.append(_text(_WIDTH - _RIGHT + 5, y, name, readable(colour), "bold"))
            above = y
        return "".join(found)


def _text(x: float, y: float, words: str, colour: str, weight: str = "normal", anchor: str = "start") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" font-weight="{weight}" text-anchor="{anchor}">'
        f"{escape(words)}</text>"
    )


def _highest(courses: Sequence[FloatArray]) -> float:
    known = np.concatenate([course[~np.isnan(course)].ravel() for course in courses])
    return 1.1 * float(known.max(initial=0.0)) or 1.0


def _last(course: FloatArray) -> float | None:
    known = course[~np.isnan(course)]
    return float(known[-1]) if known.size else None


def _density(season: Season, density: picture.Density, panel: _Panel) -> list[str]:
    species, parts, ends = main_species(season), [panel.frame(f"Stocking density by tank, {density.unit}")], []
    for limit in np.unique(density.limit[~np.isnan(density.limit)]):
        y = panel.y(float(limit))
        parts.append(f'<path d="M{_LEFT} {y:.1f}H{_WIDTH - _RIGHT}" stroke="{INK}" stroke-dasharray="6 4"/>')
        parts.append(_text(_LEFT + 4, y - 4, f"limit {limit:.2g}", INK))
    for column, tank in enumerate(density.tanks):
        colour, end = species_colour(species[tank]), _last(density.value[:, column])
        if end is not None:
            parts.append(panel.line(density.value[:, column], colour, 2.4, species_dash(species[tank])))
            ends.append((tank, end, colour))
    return [*parts, panel.names(ends)]


def _areas(areas: picture.Areas, panel: _Panel) -> list[str]:
    courses = (
        ("planted", areas.planted, LEAF, (), 3.0),
        ("handbook", 0.5 * (areas.low + areas.high), FEED, (5, 3), 2.0),
        ("nitrogen", areas.middle, INK, (2, 3), 1.6),
    )
    parts = [
        panel.frame(f"Loop {areas.loop}: area planted, and that its feed supports, {areas.unit}"),
        panel.band(areas.least, areas.most, INK, 0.13),
        panel.band(areas.low, areas.high, FEED, 0.35),
    ]
    ends = []
    for name, course, colour, dash, width in courses:
        end = _last(course)
        if end is not None:
            parts.append(panel.line(np.minimum(course, panel.highest), colour, width, dash))
            above = ", above" if end > panel.highest else ""
            ends.append((f"{name}{above}", end, colour))
    return [*parts, panel.names(ends)]


def _months(season: Season, panel: _Panel) -> list[str]:
    """Names of months below the lowest panel, as many as there is space for."""
    starts = [day for day, date in enumerate(season.dates) if date.day == 1 or day == 0]
    every = max(1, len(starts) // 10)
    parts = []
    for day in starts[::every]:
        x, date = panel.x(day), season.dates[day]
        if x > _WIDTH - _RIGHT - 20:
            continue
        parts.append(f'<path d="M{x:.1f} {panel.bottom}v5" stroke="{INK}"/>')
        parts.append(_text(x, panel.bottom + 19, f"{date.day} {date:%b}", INK))
        if date.month == 1 or day == 0:
            parts.append(_text(x, panel.bottom + 34, f"{date:%Y}", INK))
    return parts
