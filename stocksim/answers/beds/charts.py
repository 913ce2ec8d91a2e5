"""Charts of beds: feed against planted area, nutrients, and the beds drawn as a map.

Apart from `answer`, which text needs without the slow import of charts.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from stocksim.answers.beds.decide import LoopBalance, Week
from stocksim.answers.beds.nutrients import budgets, by_week
from stocksim.engine.results.frames import Season
from stocksim.faces import chart_parts as parts
from stocksim.faces import vega
from stocksim.faces.palette import FAINT, FEED, INK, LEAF, PAPER, SHADE, SOUND
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.units import face_unit, to_face

_MAP_ROW_PX = 96
_GAP_SHARE = 0.035  # of the widest row
KINDS = ("leafy", "fruiting", "bare")
KIND_COLOURS = (LEAF, FEED, SHADE)


def bed_map(season: Season) -> vega.Group | None:
    """Every bed as a rectangle of its area, cut into what is planted on it at its fullest; None without beds.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    vega.Group or None
        A row for each loop and one for wicking beds; all rectangles are as high as each other, so that width is area.
    """
    file, units = season.site.file, season.site.file.site.units
    if not file.beds:
        return None
    rows: dict[str, list[str]] = {}
    for key, bed in file.beds.items():
        name = f"loop {bed.loop}" if BED_KINDS[bed.kind].is_on_loop else f"{bed.kind}, off the loops"
        rows.setdefault(name, []).append(key)
    width = max(sum(_room(season, key) for key in keys) for keys in rows.values())
    gap = _GAP_SHARE * width
    beds, strips, heads = [], [], []
    for number, (name, keys) in enumerate(rows.items()):
        top, left = float(number), 0.0
        heads.append({"x": 0.0, "y": top + 0.13, "label": name})
        for key in keys:
            room = _room(season, key)
            shown = f"{to_face(room, 'area', units):.0f} {face_unit('area', units)}"
            beds.append(
                {"x": left, "x2": left + room, "y": top + 0.42, "y2": top + 0.95, "ly": top + 0.34,
                 "line": f"{key.replace('_', ' ')}, {file.beds[key].kind}, {shown}"}
            )  # fmt: skip
            at = left
            for crop, area in _fullest(season, key):
                kind = season.site.crops[crop].facts["kind"] if crop else "bare"
                strips.append(
                    {"x": at, "x2": at + area, "y": top + 0.42, "y2": top + 0.95, "mid": at + area / 2.0,
                     "my": top + 0.685, "crop": crop.replace("_", " "), "kind": kind, "bed": key,
                     "area": f"{to_face(area, 'area', units):.0f} {face_unit('area', units)}"}
                )  # fmt: skip
                at += area
            left += room + gap
    x = vega.by("x:Q", axis=None, scale=vega.Scale(domain=[0.0, width + gap * 3], nice=False))
    y = vega.by("y:Q", axis=None, scale=vega.Scale(domain=[float(len(rows)), 0.0], nice=False))
    colour = vega.by("kind:N", scale=vega.Scale(domain=list(KINDS), range=list(KIND_COLOURS)), legend=None)
    tip = [vega.by("bed:N"), vega.by("crop:N"), vega.by("area:N")]
    inside = vega.Chart(pd.DataFrame(strips))
    fill = inside.mark("rect", stroke=PAPER, strokeWidth=1.5).encode(
        x=x, x2="x2:Q", y=y, y2="y2:Q", color=colour, tooltip=tip
    )
    names = (
        inside.transform_filter("datum.kind != 'bare'")
        .mark("text", color=PAPER, fontWeight="bold", fontSize=13)
        .encode(x=vega.by("mid:Q", axis=None), y=vega.by("my:Q", axis=None), text="crop:N")
    )
    outline = vega.Chart(pd.DataFrame(beds))
    edge = outline.mark("rect", fillOpacity=0.0, stroke=INK, strokeWidth=1.6).encode(x=x, x2="x2:Q", y=y, y2="y2:Q")
    words = outline.mark("text", align="left", color=INK, fontSize=12).encode(
        x=x, y=vega.by("ly:Q", axis=None), text="line:N"
    )
    loops = vega.Chart(pd.DataFrame(heads)).mark("text", align="left", color=FAINT, fontWeight="bold", fontSize=13)
    return (
        vega.layer(fill, names, edge, words, loops.encode(x=x, y=y, text="label:N"))
        .properties(
            height=_MAP_ROW_PX * len(rows), background=PAPER, usermeta={"embedOptions": {"renderer": "svg"}},
            description="Beds drawn to their area, cut into the crops that stand on each when it is fullest.",
        )
        .resolve_scale(x="shared", y="shared")
    )  # fmt: skip


def _room(season: Season, key: str) -> float:
    bed = season.site.file.beds[key]
    return bed.planted_face or bed.area


def _fullest(season: Season, key: str) -> list[tuple[str, float]]:
    """Crops and areas on the day on which most of the bed is planted, and what stays bare. [m2]"""
    stands = season.planting.stands
    column = stands.beds.index(key)
    day = int(np.argmax(stands.area_m2[:, column]))
    found: dict[str, float] = {}
    for stand in stands.of_bed(key):
        here = sum(batch.area_m2 for batch in stand.batches if batch.first <= day <= batch.last)
        if here > 0.0:
            found[stand.crop] = found.get(stand.crop, 0.0) + here
    bare = _room(season, key) - sum(found.values())
    return [*found.items(), *([("", bare)] if bare > 1e-6 else [])]


# --- charts of a loop's beds: planting calendar, both areas, nitrogen, what crops get of what they want, harvest

_PANEL_PX, _ROW_PX, _SMALL_PX = 150, 30, 110
_HALF_WEEK = pd.Timedelta(days=3.5)
_NUTRIENT_COLOURS = {"nitrogen": LEAF, "phosphorus": FEED, "potassium": INK, "calcium": SOUND, "magnesium": "#7d4f8b"}


def bed_stack(season: Season, balance: LoopBalance) -> vega.Group:
    """Planting calendar, light, both areas, nitrogen, nutrients and harvest of a loop's beds on one time axis.

    Parameters
    ----------
    season : Season
        A season that was run.
    balance : LoopBalance
        One of its loops.

    Returns
    -------
    vega.Group
        Panels share the time axis; a loop without plantings has only its nitrogen.
    """
    panels = [
        calendar_panel(season, balance.loop),
        _light_panel(season, balance),
        _area_panel(season, balance),
        _nitrogen_panel(season, balance),
        _nutrient_panel(season, balance.loop),
        _harvest_panel(season, balance.loop),
    ]
    return parts.stack(
        [panel for panel in panels if panel is not None],
        f"Beds of loop {balance.loop}: bars show what stands when; then light, planted area beside the area that the "
        "feed supports, nitrogen given and wanted, the share of each nutrient that crops get, harvest by the week.",
    )


def _own_beds(season: Season, loop: str) -> list[str]:
    return [key for key, bed in season.site.file.beds.items() if bed.loop == loop]


def calendar_panel(season: Season, loop: str) -> vega.Group | None:
    """A bar for every batch, a row for every planting; ripe harvests are marked."""
    stands = season.planting.stands
    rows, heads = [], []
    number = 0
    for bed in _own_beds(season, loop):
        for stand in stands.of_bed(bed):
            kind = season.site.crops[stand.crop].facts["kind"]
            heads.append({"from": pd.Timestamp(season.dates[0]), "row": number + 0.24,
                          "label": f"{stand.crop.replace('_', ' ')}, {bed.replace('_', ' ')}"})  # fmt: skip
            for batch in stand.batches:
                rows.append(
                    {"from": pd.Timestamp(season.dates[batch.first]),
                     "to": pd.Timestamp(season.dates[batch.last]) + pd.Timedelta(days=1), "row": number + 0.44,
                     "end": number + 0.84, "kind": kind, "crop": stand.crop, "bed": bed,
                     "state": "ripe" if batch.is_ripe else "not ripe in time"}
                )  # fmt: skip
            number += 1
    if not rows:
        return None
    x = parts.time_axis(season, "from")
    y = vega.by("row:Q", axis=None, scale=vega.Scale(domain=[float(number), 0.0], nice=False))
    colour = vega.by("kind:N", scale=vega.Scale(domain=list(KINDS), range=list(KIND_COLOURS)), legend=None)
    tip = [vega.by("crop:N"), vega.by("bed:N"), parts.date_tip("from"), parts.date_tip("to"), "state:N"]
    opacity = vega.condition("datum.state == 'ripe'", vega.value(1.0), vega.value(0.45))
    bars = vega.Chart(pd.DataFrame(rows)).mark("rect", stroke=PAPER, strokeWidth=2)
    words = vega.Chart(pd.DataFrame(heads)).mark("text", align="left", color=INK, fontSize=12, dx=2)
    return vega.layer(
        bars.encode(x=x, x2="to:T", y=y, y2="end:Q", color=colour, opacity=opacity, tooltip=tip),
        words.encode(x=x, y=y, text="label:N"),
    ).properties(title="Plantings: green leafy, ochre fruiting, pale not ripe in time", height=_ROW_PX * number)


def _date(week: Week) -> pd.Timestamp:
    return pd.Timestamp(week.first) + _HALF_WEEK


def _lines(
    season: Season, values: dict[str, list[float]], colours: dict[str, str], dates: list[pd.Timestamp],
    title: str, unit: str, px: int, top: float | None = None,
) -> vega.Group:  # fmt: skip
    """A named line for each series of weekly values; NaN leaves a gap."""
    rows = [
        {"date": date, "name": name, "value": value}
        for name, series in values.items()
        for date, value in zip(dates, series, strict=True)
        if np.isfinite(value)
    ]
    data = pd.DataFrame(rows) if rows else parts.empty(["date", "name", "value"])
    scale = vega.Scale(domain=[0.0, top or parts.top_of(data["value"])])
    x, y, base = parts.time_axis(season, "date"), parts.level("value", scale), vega.Chart(data)
    names = list(values)
    colour = vega.by("name:N", scale=vega.Scale(domain=names, range=[colours[n] for n in names]), legend=None)
    dash = parts.dash_by_name(names, "name", None)
    tip = [vega.by("name:N"), parts.date_tip("date"), vega.by("value:Q", title=unit, format=".3~r")]
    lines = base.mark("line", strokeWidth=2.6).encode(x=x, y=y, color=colour, strokeDash=dash)
    dots = base.mark("point", opacity=0, size=110).encode(x=x, y=y, detail="name:N", tooltip=tip)
    last = data.groupby("name", sort=False).tail(1).assign(colour=lambda f: f["name"].map(colours))
    labels = parts.end_labels(season, last, scale, px, vega.by("colour:N", scale=None))
    return vega.layer(lines, dots, labels).properties(title=title, height=px)


def _light_panel(season: Season, balance: LoopBalance) -> vega.Group | None:
    light = [week.light_mol_m2 for week in balance.weeks]
    if not np.isfinite(light).any():
        return None
    dates = [_date(week) for week in balance.weeks]
    return _lines(season, {"light": light}, {"light": FEED}, dates, "Light on the beds, mol/m2/day", "mol/m2/day", 90)


def _area_panel(season: Season, balance: LoopBalance) -> vega.Group | None:
    """Planted area, the handbooks' band, and the area that balances nitrogen."""
    if not any(week.planted_m2 for week in balance.weeks):
        return None
    units = season.site.file.site.units
    unit = face_unit("area", units)

    def shown(name: str) -> list[float]:
        return [float(to_face(getattr(week, name), "area", units)) for week in balance.weeks]

    dates = [_date(week) for week in balance.weeks]
    low, high = shown("handbook_low_m2"), shown("handbook_high_m2")
    values = {"planted": shown("planted_m2"), "feeding ratio": [0.5 * (a + b) for a, b in zip(low, high, strict=True)],
              "nitrogen": shown("balance_m2")}  # fmt: skip
    colours = {"planted": LEAF, "feeding ratio": FEED, "nitrogen": INK}
    title = f"Area planted, and supported by feeding ratio and by nitrogen, {unit}"
    panel = _lines(season, values, colours, dates, title, unit, _PANEL_PX)
    scale = vega.Scale(domain=[0.0, parts.top_of(*values.values(), high)])
    band = (
        vega.Chart(pd.DataFrame({"date": dates, "low": low, "high": high}).dropna())
        .mark("area", color=FEED, opacity=0.35)
        .encode(x=parts.time_axis(season, "date"), y=parts.level("low", scale), y2="high:Q")
    )
    return vega.layer(band, *panel.charts).properties(title=title, height=_PANEL_PX)


def _nitrogen_panel(season: Season, balance: LoopBalance) -> vega.Group:
    values = {
        "given": [week.supply_g for week in balance.weeks],
        "wanted": [week.draw_g for week in balance.weeks],
        "taken": [week.uptake_g for week in balance.weeks],
    }
    colours = {"given": FEED, "wanted": LEAF, "taken": SOUND}
    dates = [_date(week) for week in balance.weeks]
    title = "Nitrogen, g a day: given by fish, wanted and taken by crops"
    return _lines(season, values, colours, dates, title, "g a day", _PANEL_PX)


def _nutrient_panel(season: Season, loop: str) -> vega.Group | None:
    """Share of what crops want that they get, for each nutrient but iron."""
    values = {}
    for budget in budgets(season):
        if budget.loop == loop and budget.nutrient in _NUTRIENT_COLOURS and budget.wanted_g.any():
            wanted = budget.wanted_g
            share = np.divide(budget.terms["taken"], wanted, out=np.full(wanted.shape, np.nan), where=wanted > 1e-3)
            values[budget.nutrient] = [100.0 * float(v) for v in share]
    if not values:
        return None
    dates = [pd.Timestamp(day) + _HALF_WEEK for day in season.dates[::7]]
    title = "Nutrients: % of what crops want that they get"
    return _lines(season, values, _NUTRIENT_COLOURS, dates, title, "%", _PANEL_PX, top=108.0)


def _harvest_panel(season: Season, loop: str) -> vega.Group | None:
    """Fresh harvest of the loop's beds by the week, a tone for each bed."""
    units = season.site.file.site.units
    unit = face_unit("mass", units)
    beds, stands = season.bed_course.harvest_kg, season.planting.stands
    rows = []
    for bed in _own_beds(season, loop):
        weekly = by_week(np.nan_to_num(beds[:, stands.beds.index(bed)]))
        for day, kilos in zip(season.dates[::7], weekly, strict=True):
            first, value = pd.Timestamp(day), float(to_face(kilos, "mass", units))
            last = min(first + pd.Timedelta(days=7), parts.ends(season)[1])
            if kilos > 0.0:
                rows.append({"from": first, "to": last, "bed": bed.replace("_", " "), "value": value})
    if not rows:
        return None
    data = pd.DataFrame(rows)
    # stacked by hand: bars that reach from date to date cannot be stacked by the chart
    data["top"] = data.groupby("from")["value"].cumsum()
    data["bottom"] = data["top"] - data["value"]
    names = list(dict.fromkeys(data["bed"]))
    tones = [LEAF, "#a9741f", "#8fb17c", "#6d6a5c", "#d3ab62"]
    shades = vega.Scale(domain=names, range=[tones[number % len(tones)] for number in range(len(names))])
    colour = vega.by("bed:N", legend=None, scale=shades)
    scale = vega.Scale(domain=[0.0, parts.top_of(data["top"])])
    tip = [vega.by("bed:N"), parts.date_tip("from"), vega.by("value:Q", title=f"{unit} a week", format=".1f")]
    x, y = parts.time_axis(season, "from"), parts.level("bottom", scale)
    bars = vega.Chart(data).mark("bar", stroke=PAPER, strokeWidth=1)
    bars = bars.encode(x=x, x2="to:T", y=y, y2="top:Q", color=colour, tooltip=tip)
    ends = pd.DataFrame(
        {
            "name": names,
            "value": [(0.1 + 0.2 * number) * scale["domain"][1] for number in range(len(names))],
            "colour": shades["range"],
        }
    )
    labels = parts.end_labels(season, ends, scale, _SMALL_PX, vega.by("colour:N", scale=None))
    return vega.layer(bars, labels).properties(title=f"Harvest, {unit} a week", height=_SMALL_PX)
