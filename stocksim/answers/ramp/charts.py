"""Charts of a loop's water, with the lines of its limits.

Apart from `answer`, which text needs without the slow import of charts.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stocksim.engine.results.findings import cohort_limit
from stocksim.engine.results.frames import Season
from stocksim.engine.results.nitrate import nitrate_cautions
from stocksim.faces import chart_parts as parts
from stocksim.faces import vega
from stocksim.faces.palette import FEED, INK, LEAF, PAPER, SOUND
from stocksim.faces.water_words import weekly
from stocksim.units import face_unit
from stocksim.water.tolerance import FISH_PH_HIGH, FISH_PH_LOW

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
    scale: vega.Scale,
    height: int,
    is_right: bool,
    word: str = "limit",
) -> tuple[list[vega.Chart], list[vega.Chart]]:
    """Dashed limit lines, and their words.

    Parameters
    ----------
    season : Season
        A season that was run.
    groups : list of (str, ndarray)
        Of `limit_groups`.
    scale : vega.Scale
        Of the panel.
    height : int
        Of the panel. [pixels]
    is_right : bool
        Whether the words stand at the season's end rather than at its start.
    word : str
        What the lines are: ``limit`` or ``caution``.

    Returns
    -------
    rules, words : list of vega.Chart
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
        marks = vega.Chart(pd.DataFrame(lines)).mark("line", color=INK, strokeDash=[6, 4], strokeWidth=1.4)
        rules.append(marks.encode(x=x, y=y, detail="group:N"))
    for align in ("left", "right"):
        mine = [word for word in words if word["align"] == align]
        if not mine:
            continue
        base = vega.Chart(pd.DataFrame(mine)).encode(
            x=parts.time_axis(season, "from"), y=parts.level("place", scale), text="label:N"
        )
        style: dict[str, Any] = {"align": align, "dx": 4 if align == "left" else -4, "fontStyle": "italic"}
        # a halo of paper keeps the words legible where a line runs behind them
        texts += [base.mark("text", stroke=PAPER, strokeWidth=3, **style), base.mark("text", color=INK, **style)]
    return rules, texts


def _noon(season: Season, day: int) -> pd.Timestamp:
    return pd.Timestamp(season.dates[day]) + parts.NOON


def _push_apart(words: list[dict[str, Any]], gap: float, top: float) -> None:
    """Move words of limits apart, from the top down, so that none covers another."""
    ceiling = top - 0.5 * gap
    for word in sorted(words, key=lambda word: -word["place"]):
        word["place"] = min(word["place"], ceiling)
        ceiling = word["place"] - gap


# --- charts of a loop's water: each level against the limits of its fish, then what the keeper adds by the week


_PANEL_PX, _SMALL_PX = 150, 110
_MOST_MARKS = 330  # of one panel; a stack has ten


def loop_stack(season: Season, loop: str) -> vega.Group:
    """Every level of one loop's water, and what the keeper adds by the week, on one time axis.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.

    Returns
    -------
    vega.Group
        Panels of ammonia, nitrite, nitrate, oxygen, pH, alkalinity, buffer, top-up and film. A loop without tanks has
        none of the tanks' panels, one without film no film panel, one that needs no buffer no bars for it.
    """
    units = season.site.file.site.units
    unit, dose = face_unit("volume", units), face_unit("dose", units)
    has_tanks = bool(_tanks_of(season, loop))
    high = "Un-ionized ammonia, mg/L, day's high"
    buffer = parts.in_face_unit(_of_loop(season, loop, "buffer_g"), "dose", units)
    top_up = parts.in_face_unit(_of_loop(season, loop, "top_up_l") / 1000.0, "volume", units)
    salt = season.site.file.loops[loop].buffer.replace("_", " ")
    panels: list[vega.Group | None] = []
    if has_tanks:
        panels += [
            _tank_panel(season, loop, "tan_mg_l", "Total ammonia nitrogen (TAN), mg/L"),
            _tank_panel(season, loop, "unionized_ammonia_max_mg_l", high, "unionized_ammonia"),
            _tank_panel(season, loop, "nitrite_n_mg_l", "Nitrite nitrogen, mg/L", "nitrite"),
        ]
    panels.append(_nitrate_panel(season, loop))
    if has_tanks:
        panels += [_oxygen_panel(season, loop), _ph_panel(season, loop)]
    panels += [
        _alkalinity_panel(season, loop),
        _week_bars(season, buffer, f"Buffer: {salt}, {dose} a week", dose, FEED) if buffer.any() else None,
        _week_bars(season, top_up, f"Top-up water, {unit} a week", unit, SOUND),
        _film_panel(season, loop),
    ]
    return parts.stack(
        [panel for panel in panels if panel is not None],
        f"Water of loop {loop}: ammonia, nitrite and oxygen of each tank with the limits of its fish; nitrate and "
        "pH with the levels to be cautious at; alkalinity with its target; buffer and top-up by the week; how "
        "strong the biofilter is.",
    )


def _tanks_of(season: Season, loop: str) -> list[str]:
    tanks = season.site.file.tanks
    return [tank for tank in season.layout.tanks if tanks[tank].loop == loop]


def _of_loop(season: Season, loop: str, column: str) -> FloatArray:
    frame = season.loops
    return frame.loc[frame["loop"] == loop, column].to_numpy(float)


def _of_tank(season: Season, tank: str, column: str) -> FloatArray:
    frame = season.tanks
    return frame.loc[frame["tank"] == tank, column].to_numpy(float)


def _date(season: Season, day: int) -> pd.Timestamp:
    return pd.Timestamp(season.dates[day]) + parts.NOON


def _spans(days: int, lines: int) -> list[tuple[int, int]]:
    """First and last day of each mark: a day where there is room, else some days whose worst is drawn."""
    step = max(1, -(-days * lines // _MOST_MARKS))
    return [(start, min(start + step, days) - 1) for start in range(0, days, step)]


def _tank_frame(season: Season, loop: str, columns: dict[str, str], is_floor: bool) -> parts.Frame:
    """A row for each tank and span of days: the columns on the day on which the first of them is worst."""
    tanks, species = _tanks_of(season, loop), parts.main_species(season)
    rows = []
    for tank in tanks:
        found = {name: _of_tank(season, tank, column) for name, column in columns.items()}
        judged = next(iter(found.values())) * (-1.0 if is_floor else 1.0)
        for first, last in _spans(season.layout.days, len(tanks)):
            day = first + int(np.argmax(judged[first : last + 1]))
            row = {"date": _date(season, day), "tank": tank, "species": species[tank]}
            rows.append(row | {name: float(values[day]) for name, values in found.items()})
    return pd.DataFrame(rows)


def _top(values: FloatArray, groups: list[tuple[str, FloatArray]]) -> float:
    """Upper end that shows the data, the strictest limit, and others that lie near."""
    lows = [float(np.nanmin(course)) for _, course in groups]
    top = parts.top_of(values, lows[:1])
    return parts.top_of([top / 1.12], [low for low in lows if low < 1.6 * top])


def _is_right_free(data: parts.Frame, is_floor: bool) -> bool:
    """Whether the lines keep farther from their limits in the last third of the season than in the first."""
    worst = data["value"] * (-1.0 if is_floor else 1.0)
    span = data["date"].max() - data["date"].min()
    early = worst[data["date"] <= data["date"].min() + span / 3]
    late = worst[data["date"] >= data["date"].max() - span / 3]
    return bool(late.max() < early.max())


def _tips(entity: str, **columns: str) -> list[vega.Channel]:
    numbers = [vega.by(f"{name}:Q", title=title, format=".3~r") for name, title in columns.items()]
    return [vega.by(f"{entity}:N"), parts.date_tip("date"), *numbers]


def _tank_panel(season: Season, loop: str, column: str, title: str, limit: str = "") -> vega.Group:
    """A level of every tank of the loop, from 0 up, with the limits of its cohorts."""
    data = _tank_frame(season, loop, {"value": column}, is_floor=False)
    groups = limit_groups(season, loop, limit) if limit else []
    scale = vega.Scale(domain=[0.0, _top(data["value"].to_numpy(), groups)])
    lines = parts.lines_by_species(season, data, "tank", scale, _tips("tank", value="mg/L"), _PANEL_PX)
    rules, words = limit_layers(season, groups, scale, _PANEL_PX, _is_right_free(data, is_floor=False))
    return vega.layer(*rules, *lines, *words).properties(title=title, height=_PANEL_PX)


def _oxygen_panel(season: Season, loop: str) -> vega.Group:
    """Oxygen of every tank: a thin line for the day's mean, a thick one for its low, the limits of its cohorts."""
    data = _tank_frame(season, loop, {"value": "oxygen_min_mg_l", "mean": "oxygen_mg_l"}, is_floor=True)
    groups = limit_groups(season, loop, "oxygen")
    everything = np.concatenate([data["value"], data["mean"], *(course for _, course in groups)])
    low, high = float(np.nanmin(everything)), float(np.nanmax(everything))
    pad = max(0.12 * (high - low), 0.5)
    scale = vega.Scale(domain=[max(low - pad, 0.0), high + pad], zero=False)
    tip = _tips("tank", value="day's low, mg/L", mean="day's mean, mg/L")
    lines = parts.lines_by_species(season, data, "tank", scale, tip, _PANEL_PX)
    colour = lines[0].encoding["color"]
    x = parts.time_axis(season, "date")
    band = vega.Chart(data).encode(x=x, detail="tank:N", color=colour)
    between = band.mark("area", opacity=0.16).encode(y=parts.level("value", scale), y2="mean:Q")
    mean = band.mark("line", strokeWidth=1.0, opacity=0.8).encode(y=parts.level("mean", scale))
    rules, words = limit_layers(season, groups, scale, _PANEL_PX, _is_right_free(data, is_floor=True))
    return vega.layer(*rules, between, mean, *lines, *words).properties(
        title="Oxygen, mg/L: thick the day's low, thin its mean", height=_PANEL_PX
    )


def _ph_panel(season: Season, loop: str) -> vega.Group:
    """PH of every tank with the end of the fish's range that it is nearer to; the title says where it comes from."""
    given = season.site.file.loops[loop].ph
    data = _tank_frame(season, loop, {"value": "ph"}, is_floor=True)
    low, high = float(data["value"].min()), float(data["value"].max())
    ends = sorted((FISH_PH_LOW, FISH_PH_HIGH), key=lambda end: abs(end - 0.5 * (low + high)))
    # both ends where the course comes near both, else the nearer alone: a wider scale would press the course flat
    shown = [end for end in ends if low - 0.5 < end < high + 0.5] or ends[:1]
    low, high = min(low, *shown), max(high, *shown)
    pad = max(0.5 * (1.0 - (high - low)), 0.16 * (high - low), 0.15)  # room for the words
    scale = vega.Scale(domain=[low - pad, high + pad], zero=False)
    lines = parts.lines_by_species(season, data, "tank", scale, _tips("tank", value="pH"), _PANEL_PX)
    first, last = parts.ends(season)
    rules, label = [], f"caution: fish want {FISH_PH_LOW:g} to {FISH_PH_HIGH:g}"
    for end in shown:
        span = {"from": first, "to": last, "threshold": end, "label": label}
        rules += parts.limit_lines(season, pd.DataFrame([span]), scale, below=end == FISH_PH_LOW)
    title = "pH, computed from alkalinity and CO2" if given is None else f"pH, {given:g} as given in the site file"
    return vega.layer(*rules, *lines).properties(title=title, height=_PANEL_PX)


def _line_layers(season: Season, data: parts.Frame, scale: vega.Scale, tip: list[vega.Channel]) -> list[vega.Chart]:
    x, y = parts.time_axis(season, "date"), parts.level("value", scale)
    base = vega.Chart(data)
    line = base.mark("line", color=INK, strokeWidth=2.4).encode(x=x, y=y)
    return [line, base.mark("point", opacity=0, size=110).encode(x=x, y=y, tooltip=tip)]


def _loop_frame(season: Season, loop: str, column: str) -> parts.Frame:
    values = _of_loop(season, loop, column)
    days = [last for _, last in _spans(len(values), 1)]
    return pd.DataFrame({"date": [_date(season, day) for day in days], "value": values[days], "loop": loop})


def _nitrate_panel(season: Season, loop: str) -> vega.Group:
    """Nitrate of the loop, from 0 up, with the levels at which its fish's keeper should be cautious."""
    data, groups = _loop_frame(season, loop, "nitrate_n_mg_l"), nitrate_groups(season, loop)
    # the line of a level that is far above would press the course flat: its words at the top are enough
    near = [
        low for low in (float(np.nanmin(course)) for _, course in groups) if low < 1.6 * parts.top_of(data["value"])
    ]
    scale = vega.Scale(domain=[0.0, parts.top_of(data["value"], near)])
    rules, words = limit_layers(season, groups, scale, _PANEL_PX, _is_right_free(data, is_floor=False), "caution")
    lines = _line_layers(season, data, scale, _tips("loop", value="mg/L"))
    return vega.layer(*rules, *lines, *words).properties(title="Nitrate nitrogen, mg/L", height=_PANEL_PX)


def _alkalinity_panel(season: Season, loop: str) -> vega.Group:
    """Alkalinity of the loop with the target that the buffer keeps, where the file gives one."""
    target = season.site.file.loops[loop].alkalinity_target
    data = _loop_frame(season, loop, "alkalinity_mg_l")
    scale = vega.Scale(domain=[0.0, parts.top_of(data["value"], [] if target is None else [target])])
    start, end = parts.ends(season)
    span = [] if target is None else [{"from": start, "to": end, "threshold": target, "label": f"target {target:g}"}]
    spans = pd.DataFrame(span) if span else parts.empty(["from", "to", "threshold", "label"])
    lines = _line_layers(season, data, scale, _tips("loop", value="mg/L as CaCO3"))
    return vega.layer(*parts.limit_lines(season, spans, scale), *lines).properties(
        title="Alkalinity, mg/L as CaCO3", height=_SMALL_PX
    )


def _film_panel(season: Season, loop: str) -> vega.Group | None:
    """How far both films have grown, in percent of what the surface can carry; None without film."""
    found = []
    for name, column in (("ammonia", "ammonia_oxidizer_maturity"), ("nitrite", "nitrite_oxidizer_maturity")):
        frame = _loop_frame(season, loop, column)
        found.append(frame.assign(value=100.0 * frame["value"], film=name))
    data = pd.concat(found, ignore_index=True).dropna(subset=["value"])
    if not len(data):
        return None
    scale = vega.Scale(domain=[0.0, 100.0])
    x, y, base = parts.time_axis(season, "date"), parts.level("value", scale), vega.Chart(data)
    colours = vega.by("film:N", scale=vega.Scale(domain=["ammonia", "nitrite"], range=[FEED, LEAF]), legend=None)
    dash = parts.dash_by_name(["ammonia", "nitrite"], "film", None)
    lines = base.mark("line", strokeWidth=2.6).encode(x=x, y=y, color=colours, strokeDash=dash)
    dots = base.mark("point", opacity=0, size=110).encode(
        x=x, y=y, detail="film:N", tooltip=_tips("film", value="% of full")
    )
    last = data.groupby("film", sort=False).tail(1).assign(name=lambda f: f["film"] + " bacteria", colour=[FEED, LEAF])
    labels = parts.end_labels(season, last, scale, _PANEL_PX, vega.by("colour:N", scale=None))
    return vega.layer(lines, dots, labels).properties(title="Biofilter bacteria, % of full strength", height=_PANEL_PX)


def _week_bars(season: Season, values: FloatArray, title: str, unit: str, colour: str) -> vega.Group:
    """A bar for each week's sum."""
    rows = [
        {"from": pd.Timestamp(season.dates[day]), "to": pd.Timestamp(season.dates[day]) + pd.Timedelta(days=count),
         "value": total, "zero": 0.0}
        for day, count, total in weekly(values)
    ]  # fmt: skip
    data = pd.DataFrame(rows)
    scale = vega.Scale(domain=[0.0, parts.top_of(data["value"])])
    tip = [parts.date_tip("from"), vega.by("value:Q", title=f"{unit} a week", format=",.0f")]
    bars = (
        vega.Chart(data)
        .mark("bar", color=colour, stroke=PAPER, strokeWidth=1)
        .encode(x=parts.time_axis(season, "from"), x2="to:T", y=parts.level("value", scale), y2="zero:Q", tooltip=tip)
    )
    return vega.layer(bars).properties(title=title, height=_SMALL_PX)
