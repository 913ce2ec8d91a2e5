"""Charts of the cold months: water and air by the week, fuel by month, the frontier, the night the heaters fail."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from stocksim.answers.cold.choice import Option
from stocksim.answers.cold.decide import Cold
from stocksim.answers.cold.words import frontier_options, option_name
from stocksim.engine.results.frames import Season
from stocksim.faces import chart_parts as parts
from stocksim.faces import vega
from stocksim.faces.palette import FAINT, FEED, INK, LEAF, PAPER, SOUND, TROUBLE, readable, species_colour, species_dash
from stocksim.heat.hourly import Warmth
from stocksim.heat.temperatures import loop_water_c
from stocksim.units import face_unit, to_face

_AIR_PX, _WATER_PX, _FUEL_PX, _FRONTIER_PX, _NIGHT_PX = 170, 210, 190, 330, 260
_WIDTH_PX = 640
_SPAN = {"value": "week's mean", "low": "lowest hour", "high": "highest hour"}


def temperature_stack(season: Season, warmth: Warmth) -> vega.Group:
    """Air, then the water of each loop, by the week, with the range of days; each species' windows behind the water.

    Parameters
    ----------
    season : Season
        A season of the same site, for its dates, loops and fish.
    warmth : Warmth
        Its heat.

    Returns
    -------
    vega.Group
        Panels on one time axis.
    """
    panels = [_air_panel(season, warmth)]
    panels += [_water_panel(season, warmth, loop) for loop in season.layout.loops]
    return parts.stack(
        panels,
        "Weekly mean and daily range of air outdoors and indoors, and of each loop's water; behind the water the range "
        "in which each of its species grows well, and its cold limit.",
    )


def _weeks(season: Season, low: Any, mean: Any, high: Any, name: str) -> pd.DataFrame:
    """A row a week: mean of the means, lowest low, highest high, in the keeper's unit."""
    units = season.site.file.site.units
    days = season.layout.days
    span = 7 if days < 500 else 28
    rows = []
    for first in range(0, days, span):
        week = slice(first, min(first + span, days))
        middle = first + (week.stop - first) // 2
        numbers = {"low": np.min(low[week]), "value": np.mean(mean[week]), "high": np.max(high[week])}
        shown = {key: float(to_face(float(value), "temperature", units)) for key, value in numbers.items()}
        rows.append({"date": pd.Timestamp(season.dates[middle]) + parts.NOON, "name": name, **shown})
    return pd.DataFrame(rows)


def _scale(frames: list[pd.DataFrame], more: list[float]) -> vega.Scale:
    low = min([float(frame["low"].min()) for frame in frames] + more)
    high = max([float(frame["high"].max()) for frame in frames] + more)
    pad = max(0.08 * (high - low), 1.0)
    return vega.Scale(domain=[low - pad, high + pad], zero=False, nice=False)


def _lines(season: Season, frames: list[tuple[pd.DataFrame, str, list[int]]], scale: vega.Scale, px: int) -> list[Any]:
    unit = face_unit("temperature", season.site.file.site.units)
    layers: list[Any] = []
    ends = []
    for frame, colour, dash in frames:
        x, base = parts.time_axis(season, "date"), vega.Chart(frame)
        tip = [vega.by("name:N"), parts.date_tip("date"),
               *(vega.by(f"{key}:Q", title=f"{title}, {unit}", format=".1f")
                 for key, title in _SPAN.items())]  # fmt: skip
        layers.append(
            base.mark("area", color=colour, opacity=0.16).encode(x=x, y=parts.level("low", scale), y2="high:Q")
        )
        layers.append(
            base.mark("line", color=colour, strokeWidth=2.6, strokeDash=dash).encode(x=x, y=parts.level("value", scale))
        )
        layers.append(base.mark("point", opacity=0, size=110).encode(x=x, y=parts.level("value", scale), tooltip=tip))
        ends.append({"name": frame["name"].iloc[-1], "value": float(frame["value"].iloc[-1]), "colour": colour})
    labels = parts.end_labels(season, pd.DataFrame(ends), scale, px, vega.by("colour:N", scale=None))
    return [*layers, labels]


def _air_panel(season: Season, warmth: Warmth) -> vega.Group:
    unit = face_unit("temperature", season.site.file.site.units)
    hours = warmth.weather.hours.air_c.reshape(-1, 24)
    frames = [(_weeks(season, hours.min(1), hours.mean(1), hours.max(1), "outdoors"), FAINT, [3, 3])]
    for room, colour, dash in (("greenhouse", LEAF, [1, 0]), ("fish_room", FEED, [8, 3])):
        if room in warmth.plan.nodes:
            node = warmth.plan.nodes.index(room)
            run, name = warmth.run, room.replace("_", " ")
            frame = _weeks(season, run.low_c[:, node], run.mean_c[:, node], run.high_c[:, node], name)
            frames.append((frame, colour, dash))
    scale = _scale([frame for frame, *_ in frames], [])
    title = f"Air, {unit}: line the week's mean, shade from lowest to highest hour"
    return vega.layer(*_lines(season, frames, scale, _AIR_PX)).properties(title=title, height=_AIR_PX)


def _water_panel(season: Season, warmth: Warmth, loop: str) -> vega.Group:
    units = season.site.file.site.units
    nodes = warmth.plan.tanks_of(loop)
    run = warmth.run
    water = _weeks(
        season, run.low_c[:, nodes].min(1), warmth.loop_mean_c(loop), run.high_c[:, nodes].max(1), "computed"
    )
    frames: list[tuple[pd.DataFrame, str, list[int]]] = [(water, INK, [1, 0])]
    used = loop_water_c(season.site, loop)
    if season.site.file.loops[loop].water_temperature.kind != "computed":
        frames.append((_weeks(season, used, used, used, "as typed"), SOUND, [2, 3]))
    windows = _windows(season, loop, units)
    more = [float(v) for row in windows.to_dict("records") for v in (row["cold"], row["top"])]
    scale = _scale([frame for frame, *_ in frames], more)
    layers: list[Any] = []
    start, end = parts.ends(season)
    if len(windows):
        shown = windows.assign(**{"from": start, "to": end})
        for row in shown.to_dict("records"):
            one = vega.Chart(pd.DataFrame([row]))
            x = parts.time_axis(season, "from")
            colour = species_colour(row["species"])
            layers.append(
                one.mark("rect", color=colour, opacity=0.13).encode(
                    x=x, x2="to:T", y=parts.level("bottom", scale), y2="top:Q"
                )
            )
            layers.append(
                one.mark("rule", color=colour, strokeWidth=2, strokeDash=list(species_dash(row["species"]))).encode(
                    x=x, x2="to:T", y=parts.level("cold", scale)
                )
            )
    title = (
        f"Water of loop {loop}, {face_unit('temperature', units)}: shade where a fish grows well, rule its cold limit"
    )
    names = _window_names(season, windows.assign(**{"from": start}), scale) if len(windows) else []
    lines = _lines(season, frames, scale, _WATER_PX)
    return vega.layer(*layers, *lines, *names).properties(title=title, height=_WATER_PX)


def _windows(season: Season, loop: str, units: str) -> pd.DataFrame:
    """Good range and cold limit of each species of a loop."""
    file = season.site.file
    inside = dict.fromkeys(c.species for c in file.cohorts.values() if file.tanks[c.tank].loop == loop)
    rows = []
    for species in inside:
        entry = season.site.species[species]
        keys = {"bottom": "growth_temperature_low", "top": "growth_temperature_high", "cold": "temperature_low_limit"}
        numbers = {name: float(to_face(entry[key], "temperature", units)) for name, key in keys.items()}
        rows.append({"species": species, "label": species.replace("_", " "), **numbers})
    return pd.DataFrame(rows, columns=["species", "label", "bottom", "top", "cold"])


def _window_names(season: Season, windows: pd.DataFrame, scale: vega.Scale) -> list[Any]:
    """Names at the left of the windows' upper edges and of the cold limits, moved apart where they meet."""
    low, high = (float(v) for v in scale["domain"])
    gap = (high - low) * 15.0 / _WATER_PX
    layers = []
    for column, words in (("top", "{} grows well"), ("cold", "{} too cold")):
        ordered = windows.sort_values(column)
        place = -np.inf
        for row in ordered.to_dict("records"):
            place = max(float(row[column]) - (gap * 0.55 if column == "top" else -gap * 0.55), place + gap)
            data = pd.DataFrame([{"from": row["from"], "place": place, "label": words.format(row["label"])}])
            x, y = parts.time_axis(season, "from"), parts.level("place", scale)
            style: dict[str, Any] = {"align": "left", "dx": 5, "fontStyle": "italic"}
            base = vega.Chart(data).encode(x=x, y=y, text="label:N")
            layers.append(base.mark("text", **style, stroke=PAPER, strokeWidth=4, strokeOpacity=0.8))
            layers.append(base.mark("text", **style, color=readable(species_colour(row["species"]))))
    return layers


def fuel_chart(cold: Cold) -> Any:
    """Heat by month, the file's own way beside the recommended one."""
    plan, best = cold.plan, cold.best
    shown = [("as the file says", plan, FAINT)] + ([("recommended", best, FEED)] if best is not plan else [])
    rows = [
        {"month": month, "option": name, "heat": heat} for name, option, _ in shown
        for month, heat in option.month_kwh.items()
    ]  # fmt: skip
    months = list(plan.month_kwh)
    names = [name for name, *_ in shown]
    colour = vega.by(
        "option:N",
        scale=vega.Scale(domain=names, range=[c for *_, c in shown]),
        legend=vega.Legend(orient="top", title=None),
    )
    bars = (
        vega.Chart(pd.DataFrame(rows))
        .mark("bar", stroke=PAPER, strokeWidth=1)
        .encode(
            x=vega.by("month:N", sort=months, title=None, axis=vega.Axis(labelAngle=0, labelOverlap=True)),
            xOffset=vega.by("option:N", sort=names),
            y=vega.by("heat:Q", title=None, axis=vega.Axis(tickCount=4)),
            color=colour,
            tooltip=["month:N", "option:N", vega.by("heat:Q", title="kWh", format=",.0f")],
        )
    )
    words = "Bars: heat of every month as the file says and as recommended."
    return _finished(bars, "Heat from all heaters, kWh a month", _FUEL_PX, words)


def _point(option: Option, cold: Cold, units: str, spared: list[Option]) -> dict[str, Any]:
    kind = "recommended" if option is cold.best else "harms a fish" if option not in spared else "other"
    if kind == "other" and option.is_on_frontier:
        kind = "best for its cost"
    if kind == "other" and option is cold.plan:
        kind = "as the file says"
    return {
        "option": option_name(option, units), "cost": option.cost, "kind": kind,
        "growth": float(to_face(option.net_kg, "mass", units)),
        "heat": option.heat_kwh,
    }  # fmt: skip


def frontier_chart(cold: Cold) -> Any:
    """Growth against cost of every option; None where no heater has a price."""
    units = cold.site.file.site.units
    spared = cold.spared
    points = pd.DataFrame([_point(o, cold, units, spared) for o in cold.options if o.cost is not None])
    if not len(points):
        return None
    kinds = {
        "recommended": (FEED, "diamond"), "as the file says": (INK, "square"), "best for its cost": (SOUND, "circle"),
        "other": (FAINT, "circle"), "harms a fish": (TROUBLE, "cross"),
    }  # fmt: skip
    present = [kind for kind in kinds if (points["kind"] == kind).any()]
    colour = vega.by("kind:N", scale=vega.Scale(domain=present, range=[kinds[k][0] for k in present]),
                       legend=vega.Legend(orient="top", title=None, columns=2))  # fmt: skip
    shape = vega.by("kind:N", scale=vega.Scale(domain=present, range=[kinds[k][1] for k in present]))
    unit = face_unit("mass", units)
    bottom = min(0.0, 1.08 * float(points["growth"].min()))
    top, right = 1.08 * float(points["growth"].max()), 1.08 * float(points["cost"].max()) + 1.0
    axis = vega.Axis(tickCount=6, labelOverlap=True)
    x = vega.by("cost:Q", title="fuel, your money", scale=vega.Scale(domain=[0.0, right], nice=False), axis=axis)
    y = vega.by("growth:Q", title=None, scale=vega.Scale(domain=[bottom, top], nice=False), axis=vega.Axis(tickCount=5))
    tip = [vega.by("option:N"), vega.by("cost:Q", format=",.0f"), vega.by("growth:Q", format=".1f"),
           vega.by("heat:Q", title="heat, kWh", format=",.0f")]  # fmt: skip
    marks = vega.Chart(points).mark("point", filled=True, size=150, opacity=0.9).encode(
        x=x, y=y, color=colour, shape=shape, tooltip=tip
    )  # fmt: skip
    on_line = points[
        points["option"].isin([option_name(o, units) for o in cold.options if o.is_on_frontier])
    ].sort_values("cost")
    line = vega.Chart(on_line).mark("line", color=SOUND, strokeWidth=2, strokeDash=[6, 3]).encode(
        x=x, y=y, order=vega.by("cost:Q")
    )  # fmt: skip
    numbers = {option_name(o, units): str(number) for number, o in enumerate(frontier_options(cold), 1)}
    named = points[points["option"].isin(numbers)].assign(number=lambda frame: frame["option"].map(numbers))
    words = (
        vega.Chart(named).mark("text", align="right", dx=-9, dy=-9, fontWeight="bold").encode(x=x, y=y, text="number:N")
    )
    return _finished(
        vega.layer(line, marks, words), f"Growth of the fish, {unit}, less those that die, against fuel", _FRONTIER_PX,
        "Each point is an option; the dashed line joins those that give most growth for their cost.",
    )  # fmt: skip


def night_chart(cold: Cold) -> Any:
    """Water of every tank after all heaters fail at dusk of the design night; None without fish."""
    units = cold.site.file.site.units
    if not cold.failed.times:
        return None
    seen: dict[str, str] = {}
    for time in cold.failed.times:
        seen.setdefault(cold.site.file.tanks[time.tank].loop, time.tank)
    courses = {f"loop {loop}": cold.failed.tank_c[tank] for loop, tank in seen.items()}
    courses["air inside"] = cold.failed.air_c
    data = pd.DataFrame(
        {"hour": hour, "line": line, "value": float(to_face(float(course[hour]), "temperature", units))}
        for line, course in courses.items()
        for hour in range(0, len(course), 2)
    )
    names = list(courses)
    ink = [INK] * len(seen) + [FAINT]
    colour = vega.by("line:N", scale=vega.Scale(domain=names, range=ink), legend=None)
    patterns = [[1, 0], [8, 3], [10, 3, 2, 3], [5, 4], [14, 4], [6, 2, 2, 2]]
    dashes = [patterns[n % len(patterns)] for n in range(len(seen))] + [[3, 3]]
    dash = vega.by("line:N", scale=vega.Scale(domain=names, range=dashes), legend=None)
    axis = vega.Axis(values=list(range(0, len(cold.failed.air_c), 12)), labelOverlap=True)
    x = vega.by("hour:Q", title="hours since the heaters failed, at 18:00", scale=vega.Scale(nice=False), axis=axis)
    y = vega.by("value:Q", title=None, scale=vega.Scale(zero=False), axis=vega.Axis(tickCount=5))
    tip = ["line:N", "hour:Q", vega.by("value:Q", format=".1f")]
    ends = data.groupby("line", sort=False).tail(1)
    layers: list[Any] = [
        vega.Chart(data).mark("line", strokeWidth=2.6).encode(x=x, y=y, color=colour, strokeDash=dash, tooltip=tip),
        vega.Chart(ends).mark("text", align="right", dy=-10).encode(x=x, y=y, text="line:N", color=colour),
    ]  # fmt: skip
    met = [
        {"hour": t.hours, "cohort": t.cohort, "value": float(to_face(max(t.limit_c, 0.0), "temperature", units)),
         "colour": species_colour(t.species)}
        for t in cold.failed.times if np.isfinite(t.hours)
    ]  # fmt: skip
    if met:
        crosses = vega.Chart(pd.DataFrame(met)).mark("point", filled=True, size=170, shape="cross", opacity=1.0)
        paint = vega.by("colour:N", scale=None)
        tip = ["cohort:N", vega.by("hour:Q", title="hours to its cold limit", format=".0f")]
        layers.append(crosses.encode(x=x, y=y, color=paint, tooltip=tip))
        first = pd.DataFrame(met[:1]).assign(label=f"{met[0]['cohort']} at its limit: {met[0]['hour']:.0f} h")
        layers.append(
            vega.Chart(first)
            .mark("text", align="left", dx=4, dy=-16, fontWeight="bold")
            .encode(x=x, y=y, text="label:N")
        )
    unit = face_unit("temperature", units)
    return _finished(
        vega.layer(*layers), f"Water, {unit}, when every heater fails, as the file says; crosses: limits", _NIGHT_PX,
        "Lines: water of each loop after the failure; crosses: where a batch meets its cold limit.",
    )  # fmt: skip


def _finished(chart: Any, title: str, height: int, description: str) -> Any:
    return chart.properties(
        title=title, width=_WIDTH_PX, height=height, background=PAPER, description=description,
        usermeta={"embedOptions": {"renderer": "svg"}},
    )  # fmt: skip


CHARTS = {"frontier": frontier_chart, "fuel": fuel_chart, "night": night_chart}  # of a comparison, by name
