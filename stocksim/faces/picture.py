"""The picture of a season: stocking density over its limit above planted area, read along one line through all panels.

Apart from `charts`, whose stacks it leads: the numbers here also stand in a table beneath it.
"""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stocksim.engine.results.frames import Season
from stocksim.faces import chart_parts as parts
from stocksim.faces import vega
from stocksim.faces.palette import FEED, INK, LEAF, species_colour
from stocksim.faces.words import day_words
from stocksim.units import face_unit

if TYPE_CHECKING:
    from stocksim.drawn.outlook import Band

FloatArray = NDArray[np.float64]

_DENSITY_PX, _AREA_PX, _LINE_PX, _SPACING_PX = 150, 84, 15, 34
_SIGNS = 54  # of a line that is read, so that it fits a phone
_MOST_READ = 8  # tanks that are read at the line; the table has all
_HIGHEST = 1.7  # times planted area and handbook band: so far up nitrogen's band is followed
_READER = "when"
_COLUMNS = 5  # tanks side by side in a table


class Density(NamedTuple):
    """Density and limit of each tank by the day in the keeper's unit, shape (day, tank); NaN without fish."""

    tanks: list[str]
    value: FloatArray
    limit: FloatArray
    unit: str


class Areas(NamedTuple):
    """Areas of a loop by the day in the keeper's unit; the nitrogen's are those of the week around each day."""

    loop: str
    planted: FloatArray
    low: FloatArray
    high: FloatArray
    least: FloatArray
    middle: FloatArray
    most: FloatArray
    unit: str


Bands = Mapping[str, "Band"]


def picture_stack(
    season: Season, read: dt.date | None = None, today: dt.date | None = None, bands: Bands | None = None
) -> vega.Group:
    """Density of each tank with its limit above the areas of each loop, read along one line through all of them.

    Parameters
    ----------
    season : Season
        A season that was run.
    read : date, optional
        Day that is read at first; the fullest if left out or not of the season.
    today : date, optional
        Day that a line marks, where it is one of the season.
    bands : mapping of str to Band, optional
        Of the same season drawn many times, by column: ``tanks.density_kg_m3`` and ``loops.handbook_area_m2``.

    Returns
    -------
    Group
        Panels share the time axis; none has two scales.
    """
    density = densities(season)
    areas = [areas_of(season, loop) for loop in season.layout.loops]
    panels = [density_panel(season, bands), *(area_panel(season, loop, bands) for loop in season.layout.loops)]
    if today in season.dates:
        panels = [_with_today(season, panel, today, number == 0) for number, panel in enumerate(panels)]
    lines = [_read(season, density, areas, day) for day in range(season.layout.days)]
    dates = pd.to_datetime(np.array(season.dates, dtype="datetime64[ns]")) + parts.NOON
    reader = pd.DataFrame({"date": dates, "words": ["\n".join(line) for line in lines]})
    height = _LINE_PX * max((len(line) for line in lines), default=1)
    x = parts.time_axis(season, "date")
    rule = vega.Chart(reader).mark("rule", color=INK, strokeWidth=1.5).encode(
        x=x, tooltip=vega.value(None),
        opacity={"condition": {"param": _READER, "empty": False, "value": 0.75}, "value": 0.0},
    )  # fmt: skip
    ruled = [
        replace(panel, charts=(*panel.charts, rule.properties(name=f"reader_{number}")))
        for number, panel in enumerate(panels)
    ]
    words = vega.Chart(reader).mark(
        "text", align="left", baseline="top", lineBreak="\n", lineHeight=_LINE_PX, fontSize=12, color=INK
    ).encode(x=vega.value(0), y=vega.value(0), text="words:N").transform_filter(
        {"param": _READER, "empty": False}
    ).properties(height=height)  # fmt: skip
    start = read if read in season.dates else fullest_day(season, density)
    picked = {"year": start.year, "month": start.month, "date": start.day, "hours": 12}
    select = {"type": "point", "encodings": ["x"], "nearest": True, "on": "pointerover, click", "clear": False}
    stack = parts.stack([words, *map(_unlabelled, ruled[:-1]), *ruled[-1:]], told(season, density, areas), _SPACING_PX)
    return stack.properties(
        params=[
            {
                "name": _READER,
                "select": select,
                "value": [{"x": picked}],
                "views": [f"reader_{number}" for number in range(len(panels))],
            }
        ]
    )


def densities(season: Season) -> Density:
    """Density of the fish of each tank by the day, and its limit."""
    units = season.site.file.site.units
    series = season.series_of("density")
    limit = parts.in_face_unit(parts.daily(series, series.threshold), "density", units)
    value = parts.in_face_unit(parts.daily(series, series.value), "density", units)
    return Density(
        list(series.entities), np.where(np.isnan(limit), np.nan, value), np.asarray(limit), face_unit("density", units)
    )


def areas_of(season: Season, loop: str) -> Areas:
    """Planted area of a loop, the handbooks' band for its feed, and the area that takes up its nitrogen."""
    units = season.site.file.site.units
    column = season.layout.loops.index(loop)

    def shown(name: str) -> FloatArray:
        return np.asarray(parts.in_face_unit(season.loop_table[name][:, column], "area", units))

    balance = shown("balance_area_m2")
    with warnings.catch_warnings():  # weeks without any growth have no area
        warnings.simplefilter("ignore", RuntimeWarning)
        week = np.lib.stride_tricks.sliding_window_view(np.pad(balance, 3, constant_values=np.nan), 7)
        least, middle, most = np.nanmin(week, axis=1), np.nanmean(week, axis=1), np.nanmax(week, axis=1)
    low, high = shown("handbook_area_low_m2"), shown("handbook_area_high_m2")
    return Areas(loop, shown("planted_area_m2"), low, high, least, middle, most, face_unit("area", units))


def band_frame(season: Season, bands: Bands | None, column: str, place: str, dimension: str) -> pd.DataFrame:
    """Low, middle and high of a drawn column at one place, in the keeper's unit; without a row where none was drawn."""
    band = (bands or {}).get(column)
    if band is None or place not in band.places:
        return pd.DataFrame({"date": [], "low": [], "middle": [], "high": []})
    units = season.site.file.site.units
    ends = np.asarray(parts.in_face_unit(band.ends[:, :, band.places.index(place)], dimension, units))
    days = [day for day in parts.picked_days(ends.shape[1], len(band.places)) if np.isfinite(ends[:, day]).all()]
    dates = [pd.Timestamp(season.dates[day]) + parts.NOON for day in days]
    return pd.DataFrame({"date": dates, **dict(zip(("low", "middle", "high"), ends[:, days], strict=True))})


def _density_bands(season: Season, frames: Mapping[str, pd.DataFrame], scale: vega.Scale) -> list[vega.Chart]:
    """Shade of each tank between which 8 of 10 drawn seasons lie, and dots along their middle."""
    species, found = parts.main_species(season), []
    for tank, data in frames.items():
        colour, base, x = species_colour(species[tank]), vega.Chart(data), parts.time_axis(season, "date")
        shade = base.mark("area", color=colour, opacity=0.18)
        found.append(shade.encode(x=x, y=parts.level("low", scale), y2="high:Q"))
        dots = base.mark("line", color=colour, strokeWidth=1.4, strokeDash=[1, 3])
        found.append(dots.encode(x=x, y=parts.level("middle", scale)))
    return found


def density_panel(season: Season, bands: Bands | None = None) -> vega.Group:
    """Stocking density of each tank with its limit, and with bands where seasons were drawn."""
    units = season.site.file.site.units
    unit = face_unit("density", units)
    series = season.series_of("density")
    data = parts.tank_frame(season, series, parts.daily(series, series.value), np.max)
    for column in ("value", "threshold"):
        data[column] = parts.in_face_unit(data[column], "density", units)
    tanks = [tank for tank in series.entities if tank in set(data["tank"])]
    frames = {tank: band_frame(season, bands, "tanks.density_kg_m3", tank, "density") for tank in tanks}
    frames = {tank: frame for tank, frame in frames.items() if len(frame)}
    highs = [frame["high"] for frame in frames.values()]
    scale = vega.Scale(domain=[0.0, parts.top_of(data["value"], data["threshold"], *highs)])
    limits = parts.limit_lines(season, parts.limit_spans(season, series, units, "density", unit), scale)
    line, _, names = parts.lines_by_species(season, data, "tank", scale, [], _DENSITY_PX)
    shades = _density_bands(season, frames, scale)
    return vega.layer(*shades, *limits, line, names).properties(
        title=f"Stocking density by tank, {unit}", height=_DENSITY_PX
    )


def area_panel(season: Season, loop: str, bands: Bands | None = None) -> vega.Group:
    """Planted area of a loop beside what the day's feed could carry: by the handbooks' ratio, and by its nitrogen."""
    areas = areas_of(season, loop)
    steps = np.flatnonzero(np.diff(areas.planted) != 0.0) + 1
    days = sorted({*parts.picked_days(len(areas.planted), 1), *steps.tolist()})
    data = pd.DataFrame({name: getattr(areas, name)[days] for name in Areas._fields[1:-1]})
    data["date"] = [pd.Timestamp(season.dates[day]) + parts.NOON for day in days]
    data["carried"] = 0.5 * (data["low"] + data["high"])
    drawn = band_frame(season, bands, "loops.handbook_area_m2", loop, "area")
    highest = _HIGHEST * parts.top_of(data["planted"], data["high"], drawn["high"])
    top = parts.top_of(data["planted"], data["high"], drawn["high"], [min(value, highest) for value in data["most"]])
    scale = vega.Scale(domain=[0.0, top])
    x, base = parts.time_axis(season, "date"), vega.Chart(data)
    nitrogen = base.mark("area", color=INK, opacity=0.13, clip=True)
    handbook = base.mark("area", color=FEED, opacity=0.35)
    layers = [
        nitrogen.encode(x=x, y=parts.level("least", scale), y2="most:Q"),
        handbook.encode(x=x, y=parts.level("low", scale), y2="high:Q"),
        base.mark("line", color=INK, strokeWidth=1.6, strokeDash=[2, 3], clip=True).encode(
            x=x, y=parts.level("middle", scale)
        ),
        base.mark("line", color=FEED, strokeWidth=2, strokeDash=[5, 3]).encode(x=x, y=parts.level("carried", scale)),
        base.mark("line", color=LEAF, strokeWidth=3, interpolate="step-after").encode(
            x=x, y=parts.level("planted", scale)
        ),
    ]
    for column in ("low", "middle", "high") if len(drawn) else ():
        edge = vega.Chart(drawn).mark("line", color=FEED, strokeWidth=1.2, strokeDash=[1, 3])
        layers.append(edge.encode(x=x, y=parts.level(column, scale)))
    ends = {"planted": (data["planted"], LEAF), "handbook": (data["carried"], FEED), "nitrogen": (data["middle"], INK)}
    rows = [
        {"name": name, "value": min(float(course.dropna().iloc[-1]), top), "colour": colour}
        for name, (course, colour) in ends.items()
        if course.notna().any()  # no ratio or no crop, no area
    ]
    names = pd.DataFrame(rows, columns=["name", "value", "colour"])
    layers.append(parts.end_labels(season, names, scale, _AREA_PX, vega.by("colour:N", scale=None)))
    beyond = data["most"].max()
    title = f"Loop {loop}: area planted and supported, {areas.unit}"
    if beyond > top:
        title += f" (nitrogen up to {beyond:.0f})"
    return vega.layer(*layers).properties(title=title, height=_AREA_PX)


def told(season: Season, density: Density, areas: Sequence[Areas]) -> str:
    """What the picture shows, for those who do not see it."""
    said = []
    for column, tank in enumerate(density.tanks):
        share = density.value[:, column] / density.limit[:, column]
        if np.isnan(share).all():
            continue
        day = int(np.nanargmax(share))
        said.append(
            f"{tank} {_number(density.value[day, column])} of {_number(density.limit[day, column])} {density.unit} on "
            f"{day_words(season.dates[day])}"
        )
    words = f"Stocking density against its limit, at its fullest: {'; '.join(said)}. " if said else "No fish. "
    for one in areas:
        first, last = one.planted[0], one.planted[-1]
        words += f"Loop {one.loop}: {first:.0f} {one.unit} planted at the start, {last:.0f} at the end"
        for name, low, high in (("the handbook ratio", one.low, one.high), ("nitrogen", one.least, one.most)):
            if not np.isnan(low).all():
                words += f"; by {name} the feed supports {np.nanmin(low):.0f} to {np.nanmax(high):.0f}"
        words += ". "
    return f"{words}The numbers stand in the table below."


def number_tables(season: Season) -> list[list[dict[str, str]]]:
    """The picture in numbers, month by month: tables of densities, then one of the areas of each loop."""
    density = densities(season)
    months: dict[str, list[int]] = {}
    for day, date in enumerate(season.dates):
        months.setdefault(f"{date:%b %Y}", []).append(day)
    tables = []
    for first in range(0, len(density.tanks), _COLUMNS):
        shown = range(first, min(first + _COLUMNS, len(density.tanks)))
        tables.append(
            [
                {"month": month} | {f"{density.tanks[at]}, {density.unit}": _highest(density, days, at) for at in shown}
                for month, days in months.items()
            ]
        )
    for loop in season.layout.loops:
        areas = areas_of(season, loop)
        tables.append(
            [
                {
                    "month": month,
                    f"loop {loop} planted, {areas.unit}": _span(areas.planted[days], areas.planted[days]),
                    "handbook ratio carries": _span(areas.low[days], areas.high[days]),
                    "nitrogen carries": _span(areas.least[days], areas.most[days]),
                }
                for month, days in months.items()
            ]
        )
    return tables


def day_rows(season: Season, day: dt.date, tank: str = "") -> list[dict[str, str]]:
    """A day in numbers, a row for each tank, or for one: density with its limit, and the water that its fish live in.

    Parameters
    ----------
    season : Season
        A season that was run.
    day : date
        One of its days.
    tank : str
        The one tank that is told; empty for all.

    Returns
    -------
    list of dict of str to str
        Ready to show; above its limit begins with ``!``.
    """
    density, units, at = densities(season), season.site.file.site.units, season.dates.index(day)
    frame = season.tanks[season.tanks["date"] == pd.Timestamp(day)].set_index("tank")
    warm, feed = face_unit("temperature", units), face_unit("dose", units)
    rows = []
    for column, name in enumerate(density.tanks):
        if tank not in ("", name):
            continue
        water = frame.loc[name]
        rows.append(
            {
                "tank": name,
                f"density, {density.unit}": _highest(density, [at], column),
                f"water, {warm}": f"{parts.in_face_unit(water['temperature_c'], 'temperature', units):.1f}",
                "oxygen low, mg/L": f"{water['oxygen_min_mg_l']:.1f}",
                "un-ionized ammonia high, mg/L": f"{water['unionized_ammonia_max_mg_l']:.3f}",
                f"feed offered, {feed}": f"{parts.in_face_unit(water['feed_g'], 'dose', units):.1f}",
            }
        )
    return rows


def _highest(density: Density, days: list[int], column: int) -> str:
    """Highest density of some days with its limit, marked where above it."""
    value, limit = density.value[days, column], density.limit[days, column]
    if np.isnan(value).all():
        return "no fish"
    at = int(np.nanargmax(value / limit))
    mark = "!" if value[at] > limit[at] else ""
    return f"{mark}{_number(value[at])} of {_number(limit[at])}"


def _span(low: FloatArray, high: FloatArray, to: str = " to ") -> str:
    if np.isnan(low).all():
        return "unknown"
    least, most = f"{np.nanmin(low):.0f}", f"{np.nanmax(high):.0f}"
    return least if least == most else f"{least}{to}{most}"


def _number(value: float) -> str:
    return f"{value:.1f}" if value >= 1.0 else f"{value:.2g}"


def _read(season: Season, density: Density, areas: Sequence[Areas], day: int) -> list[str]:
    """What is read at the line on a day, broken to the width of a phone."""
    share = density.value[day] / density.limit[day]
    fullest = [int(at) for at in np.argsort(-np.nan_to_num(share), kind="stable") if not np.isnan(share[at])]
    said = [
        f"{density.tanks[at]} {_number(density.value[day, at])}/{_number(density.limit[day, at])}"
        for at in fullest[:_MOST_READ]
    ]
    said += [f"{len(fullest) - _MOST_READ} more"] if len(fullest) > _MOST_READ else []
    date = day_words(season.dates[day])
    lines = _packed([f"{date}, {density.unit} of limit:", *_listed(said)] if said else [f"{date}: no fish"])
    for one in areas:
        words = [f"{one.planted[day]:.0f} {one.unit} planted"]
        for name, low, high in (("handbook", one.low[day], one.high[day]), ("nitrogen", one.least[day], one.most[day])):
            words += [] if np.isnan(low) else [f"{name} {_span(np.array([low]), np.array([high]), '-')}"]
        lines += _packed([f"{one.loop}:", *_listed(words)])
    return lines


def _listed(words: Sequence[str]) -> list[str]:
    return [*(f"{word}," for word in words[:-1]), *words[-1:]]


def _packed(words: Iterable[str]) -> list[str]:
    """Words in as few lines as hold them."""
    lines: list[str] = []
    for word in words:
        if lines and len(lines[-1]) + 1 + len(word) <= _SIGNS:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def fullest_day(season: Season, density: Density) -> dt.date:
    """The day on which a tank is fullest against its limit; the first without fish."""
    share = density.value / density.limit
    return season.dates[0 if np.isnan(share).all() else int(np.nanargmax(share)) // share.shape[1]]


def _with_today(season: Season, panel: vega.Group, today: dt.date, is_named: bool) -> vega.Group:
    """A panel with a line at today's date."""
    base = vega.Chart(pd.DataFrame({"today": [pd.Timestamp(today) + parts.NOON], "words": ["today"]}))
    x = parts.time_axis(season, "today")
    marks = [base.mark("rule", color=LEAF, strokeWidth=2, strokeDash=[1, 3]).encode(x=x)]
    if is_named:
        above = base.mark("text", align="left", baseline="top", dx=4, color=LEAF, fontWeight="bold")
        marks.append(above.encode(x=x, y=vega.value(0), text="words:N"))
    return replace(panel, charts=(*panel.charts, *marks))


def _unlabelled(panel: vega.Group) -> vega.Group:
    """A panel whose days are told below another one."""

    def bare(one: vega.Panel) -> vega.Panel:
        if isinstance(one, vega.Group):
            return _unlabelled(one)
        x: dict[str, Any] = one.encoding["x"]
        return one.encode(x={**x, "axis": {**x["axis"], "labels": False, "ticks": False}})

    return replace(panel, charts=tuple(map(bare, panel.charts)))
