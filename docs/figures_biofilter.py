"""Draws docs/figures/cycling.svg: a loop that starts new, at 25 and at 10 degC. `python docs/figures_biofilter.py`."""

from __future__ import annotations

import sys
from pathlib import Path

import altair as alt
import pandas as pd

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))  # the loop drawn is the loop tested

from cycling import Loop, by_solver, day_ready  # noqa: E402

from stocksim.faces.palette import FAINT, FEED, INK, LEAF, TROUBLE, theme_config  # noqa: E402

FIGURE = HERE / "figures" / "cycling.svg"
DAYS, LIMIT_MG_L = 100, 0.5
SERIES = {"ammonia (TAN)": FEED, "nitrite": TROUBLE, "nitrate": LEAF}
FILMS = {"ammonia oxidizers": FEED, "nitrite oxidizers": TROUBLE}
TIME = alt.X(
    "day:Q", title="days since the start", scale=alt.Scale(domain=[0, DAYS], nice=False), axis=alt.Axis(tickCount=10)
)


def _long(course: pd.DataFrame, names: dict[str, str]) -> pd.DataFrame:
    return course.melt("day", list(names), "what", "value")


def _lines(frame: pd.DataFrame, names: dict[str, str], title: str, unit: str, height: int) -> alt.LayerChart:
    colour = alt.Color("what:N", scale=alt.Scale(domain=list(names), range=list(names.values())), legend=None)
    dash = alt.StrokeDash("what:N", scale=alt.Scale(domain=list(names), range=[[1, 0], [8, 3], [2, 3]]), legend=None)
    lines = alt.Chart(frame, title=title, width=620, height=height).mark_line(strokeWidth=2.5)
    lines = lines.encode(TIME, alt.Y("value:Q", title=unit, axis=alt.Axis(tickCount=4)), colour, dash)
    tops = frame.loc[frame.groupby("what")["value"].idxmax()]
    words = (
        alt.Chart(tops).mark_text(align="left", dx=9, dy=-8).encode(TIME, alt.Y("value:Q"), alt.Text("what:N"), colour)
    )
    return alt.layer(lines, words)


def figure() -> alt.VConcatChart:
    """The whole figure: panels on one time axis, one scale each."""
    panels = []
    for celsius in (25.0, 10.0):
        course = by_solver(Loop(celsius), DAYS)
        ready = day_ready(course)
        frame = pd.DataFrame(course, columns=[*SERIES, *FILMS]).assign(day=range(DAYS + 1))
        levels = {name: SERIES[name] for name in ("ammonia (TAN)", "nitrite")}
        title = f"{celsius:.0f} °C: both below {LIMIT_MG_L} mg/L from day {ready}"
        panel = _lines(_long(frame, levels), levels, title, "mg/L as N", 150)
        rule = alt.Chart(pd.DataFrame({"day": [ready]})).mark_rule(color=FAINT, strokeDash=[4, 3]).encode(TIME)
        panels.append(alt.layer(panel, rule))
        films = frame.melt("day", list(FILMS), "what", "value")
        panels.append(_lines(films[films["day"] <= DAYS - 22], FILMS, "", "maturity", 80))
    nitrate = pd.concat(
        pd.DataFrame({"day": range(DAYS + 1), "value": by_solver(Loop(t), DAYS)[:, 2], "what": f"{t:.0f} °C"})
        for t in (25.0, 10.0)
    )
    names = {"25 °C": LEAF, "10 °C": INK}
    panels.append(_lines(nitrate[nitrate["day"] <= DAYS - 8], names, "Nitrate comes last", "mg/L as N", 90))
    stack = alt.vconcat(*panels, spacing=12).resolve_scale(color="independent", strokeDash="independent")
    return stack.configure(**theme_config())


if __name__ == "__main__":
    figure().save(FIGURE)
    print(f"wrote {FIGURE.name}, {FIGURE.stat().st_size / 1000:.0f} kB")
