"""Charts of a season: stacked panels on one time axis, one colour and dash a species, limits as labelled lines."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import pandas as pd

from stocksim.engine.results.frames import Season
from stocksim.faces import chart_parts as parts
from stocksim.faces import picture, vega
from stocksim.faces.palette import INK, PAPER, TROUBLE, species_colour
from stocksim.faces.words import day_words, place_words
from stocksim.fish.growth import Growth
from stocksim.site.kinds import LIMITS
from stocksim.units import face_unit

_TEMPERATURE_PX, _MARGIN_PX, _COHORT_PX = 140, 150, 180


def water_stack(season: Season) -> vega.Group:
    """Days on which a limit is broken; water temperature, margins of oxygen and un-ionized ammonia.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    Group
        Panels share the time axis; none has two scales.
    """
    trouble = trouble_panel(season)
    return parts.stack(
        [
            *([trouble] if trouble is not None else []),
            temperature_panel(season),
            margin_panel(season, "oxygen", "Oxygen: margin above the limit, % (day's low)"),
            margin_panel(season, "unionized_ammonia", "Un-ionized ammonia: margin below the limit, % (day's high)"),
        ],
        f"{_trouble_told(season)} Then the water temperature of each loop; margin to the oxygen limit and to the "
        "ammonia limit in each tank.",
    )


def growth_stack(season: Season) -> vega.Group:
    """Mean weight and feed of each cohort on one time axis; argument as in `water_stack`."""
    units = season.site.file.site.units
    unit = face_unit("weight", units)
    weight, feed = f"Mean weight of a fish, {unit}", f"Feed offered to a batch, {unit}/day"
    return parts.stack(
        [cohort_panel(season, "mean_weight_g", weight), cohort_panel(season, "feed_g", feed)],
        "Mean weight of each batch of fish, and the feed offered to it.",
    )


def _trouble_told(season: Season) -> str:
    """Broken limits in words, for those who do not see the bars."""
    broken = [finding for finding in season.findings if finding.is_broken]
    said = [f"{place_words(one)}: {LIMITS[one.limit].on_chart} from {day_words(one.first_date)}" for one in broken
            if one.first_date]  # fmt: skip
    return f"Bars: days on which a limit is broken ({'; '.join(said)})." if said else "No limit is broken."


def trouble_panel(season: Season) -> vega.Group | None:
    """Bars over the days on which a limit is broken, a row for each place; None where nothing is broken."""
    broken = [finding for finding in season.findings if finding.is_broken]
    if not broken:
        return None
    rows = []
    days = len(season.dates)
    for number, finding in enumerate(broken):
        name, kind = finding.where.split(".")[1], LIMITS[finding.limit]
        margin = parts.daily_margin(season.series_of(finding.limit), name)
        runs = parts.runs(margin < 0.0)
        # the words stand after the bars that follow closely, not across them
        words_end = runs[0][1]
        for start, end in runs[1:]:
            words_end = end if start - words_end < 0.25 * days and end < 0.7 * days else words_end
        for start, end in runs:
            when = day_words(season.dates[start]) if days > 366 else day_words(season.dates[start])[:-5]
            is_first = season.dates[start] == finding.first_date
            rows.append(
                {
                    "row": number,
                    "from": pd.Timestamp(season.dates[start]),
                    "to": pd.Timestamp(season.dates[end]) + dt.timedelta(days=1),
                    "words": pd.Timestamp(season.dates[words_end]) + dt.timedelta(days=1),
                    "label": f"{name}: {kind.on_chart}, {when}" if is_first else "",
                    "side": "before" if start >= 0.5 * days else "inside" if end - start > 0.45 * days else "after",
                    "what": kind.broken,
                    "place": name,
                }
            )
    tip = [vega.by("place:N"), vega.by("what:N"), parts.date_tip("from"), parts.date_tip("to")]
    hidden = vega.Axis(labels=False, ticks=False, domain=False, grid=False, title=None, minExtent=parts.LEFT_AXIS_PX)
    x, y = parts.time_axis(season, "from"), vega.by("row:O", axis=hidden)
    base = vega.Chart(pd.DataFrame(rows))
    layers = [base.mark("bar", color=TROUBLE, height={"band": 0.82}).encode(x=x, x2="to:T", y=y, tooltip=tip)]
    for side, words, place in (
        ("before", base.mark("text", align="right", dx=-5, color=INK, fontWeight="bold"), x),
        ("inside", base.mark("text", align="left", dx=5, color=PAPER, fontWeight="bold"), x),
        (
            "after",
            base.mark("text", align="left", dx=5, color=INK, fontWeight="bold"),
            parts.time_axis(season, "words"),
        ),
    ):
        here = words.transform_filter(f"datum.side == '{side}'")
        layers.append(here.encode(x=place, y=y, text="label:N", tooltip=tip))
    return vega.layer(*layers).properties(title="Where and when a limit is broken", height=23 * len(broken))


def temperature_panel(season: Season) -> vega.Group:
    """Water temperature of each loop with the limits that come near it."""
    units = season.site.file.site.units
    unit = face_unit("temperature", units)
    layout = season.layout
    picked = parts.picked_days(layout.days, len(layout.loops), span=1)
    shown = parts.in_face_unit(layout.temperature_c, "temperature", units)
    data = pd.DataFrame(
        [
            {"date": pd.Timestamp(season.dates[day]) + parts.NOON, "loop": loop, "value": float(shown[day, column])}
            for column, loop in enumerate(layout.loops)
            for day in picked
        ]
    )
    limits = parts.near_limits(season, units)
    everything = [*data["value"], *limits["threshold"]]
    pad = max(0.18 * (max(everything) - min(everything)), 2.0)
    scale = vega.Scale(domain=[min(everything) - pad, max(everything) + pad], zero=False)
    x, y, base = parts.time_axis(season, "date"), parts.level("value", scale), vega.Chart(data)
    tip = [vega.by("loop:N"), parts.date_tip("date"), vega.by("value:Q", title=f"water, {unit}", format=".1f")]
    dash = parts.dash_by_name(layout.loops, "loop", None)
    lines = base.mark("line", color=INK, strokeWidth=2.2).encode(x=x, y=y, strokeDash=dash)
    dots = base.mark("point", opacity=0, size=120).encode(x=x, y=y, tooltip=tip)
    last = data.groupby("loop", sort=False).tail(1).rename(columns={"loop": "name"})[["name", "value"]]
    labels = parts.end_labels(season, last, scale, _TEMPERATURE_PX, vega.value(INK))
    return vega.layer(*parts.limit_lines(season, limits, scale), lines, dots, labels).properties(
        title=f"Water temperature by loop, {unit}", height=_TEMPERATURE_PX
    )


def margin_panel(season: Season, limit: str, title: str) -> vega.Group:
    """Margin of a tank limit in percent of it, the smallest of each week; below 0 it is broken."""
    series = season.series_of(limit)
    data = parts.tank_frame(season, series, parts.daily(series, series.margin_percent), np.min)
    level = "day's low" if LIMITS[limit].is_floor else "day's high"
    low = min([-15.0, *(1.1 * data["value"])])
    scale = vega.Scale(domain=[low, max([60.0, *(1.1 * data["value"])])])
    tip = [
        vega.by("tank:N"),
        vega.by("species:N"),
        parts.date_tip("date"),
        vega.by("value:Q", title="margin, %", format=".0f"),
        vega.by("measured:Q", title=f"{level}, mg/L", format=".3~r"),
        vega.by("threshold:Q", title="limit, mg/L", format=".3~r"),
    ]
    start, end = parts.ends(season)
    ground = vega.Chart(pd.DataFrame({"from": [start], "to": [end], "low": [low], "zero": [0.0]}))
    below = ground.mark("rect", color=TROUBLE, opacity=0.12).encode(
        x=parts.time_axis(season, "from"), x2="to:T", y=parts.level("low", scale), y2="zero:Q"
    )
    line = pd.DataFrame([{"from": start, "to": end, "threshold": 0.0, "label": "limit; below this line it is broken"}])
    lines = parts.lines_by_species(season, data, "tank", scale, tip, _MARGIN_PX)
    limits = parts.limit_lines(season, line, scale, below=True)
    return vega.layer(below, *limits, *lines).properties(title=title, height=_MARGIN_PX)


def cohort_panel(season: Season, column: str, title: str) -> vega.Group:
    """A weight column of cohorts.csv, a line for each cohort."""
    units = season.site.file.site.units
    found = []
    cohorts = list(dict.fromkeys(season.layout.cohorts))
    drawn = season.cohorts[["date", "cohort", "species", column]]
    for key in cohorts:
        frame = drawn[drawn["cohort"] == key]
        picked = frame.iloc[parts.picked_days(len(frame), len(cohorts))]
        course = {"date": picked["date"] + parts.NOON, "cohort": key, "species": picked["species"]}
        found.append(pd.DataFrame({**course, "value": parts.in_face_unit(picked[column], "weight", units)}))
    data = pd.concat(found, ignore_index=True) if found else parts.empty(["date", "cohort", "species", "value"])
    scale = vega.Scale(domain=[0.0, parts.top_of(data["value"])])
    tip = [
        vega.by("cohort:N"),
        vega.by("species:N"),
        parts.date_tip("date"),
        vega.by("value:Q", title=title.rsplit(", ", 1)[1], format=".3~r"),
    ]
    lines = parts.lines_by_species(season, data, "cohort", scale, tip, _COHORT_PX)
    return vega.layer(*lines).properties(title=title, height=_COHORT_PX)


def one_fish(growths: Mapping[str, Growth], species: str, units: str) -> vega.Group:
    """Weight of one fish by days from the start, a line for each named growth.

    Parameters
    ----------
    growths : mapping of str to Growth
        Label, as a temperature, to the course that `stocksim.engine.running.grow` gives.
    species : str
        Sets the colour.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    vega.Group
        One panel.
    """
    unit = face_unit("weight", units)
    rows = [
        {"day": day + 1, "water": label, "value": float(parts.in_face_unit(course.weight_g[day], "weight", units))}
        for label, course in growths.items()
        for day in parts.picked_days(len(course.weight_g), 1)
    ]
    tip = [vega.by("water:N"), vega.by("day:Q"), vega.by("value:Q", title=unit, format=".3~r")]
    base = vega.Chart(pd.DataFrame(rows)).encode(
        x=vega.by("day:Q", title="days from the start"), y=vega.by("value:Q", title=None)
    )
    dash = parts.dash_by_name(list(growths), "water", vega.Legend(title=None, orient="top", symbolType="stroke"))
    lines = base.mark("line", color=species_colour(species), strokeWidth=2.5).encode(strokeDash=dash)
    return vega.layer(lines, base.mark("point", opacity=0, size=100).encode(tooltip=tip)).properties(
        title=f"One fish in good water at full appetite, {unit}", height=230
    )


STACKS = {"density": picture.picture_stack, "water": water_stack, "growth": growth_stack}
