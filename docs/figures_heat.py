"""Draws docs/figures/heat.svg: January days of the computed example, and where the heat goes."""

from __future__ import annotations

from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd

from stocksim.climate.nodes import evaporation_of
from stocksim.climate.weather import HOURS
from stocksim.faces.palette import FAINT, FEED, INK, LEAF, SOUND, TROUBLE, theme_config
from stocksim.heat.hourly import Warmth, site_warmth
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site

FIGURE = Path(__file__).resolve().parent / "figures" / "heat.svg"
FIRST_DAY, DAYS = 107, 4  # 16 to 19 January
SERIES = {"outdoors": (FAINT, [3, 3]), "greenhouse air": (LEAF, [1, 0]), "water of loop main": (INK, [8, 3])}
FLOWS = {"heater": FEED, "sun": SOUND, "cover, leaks, edge": TROUBLE, "evaporation": INK}


def courses(warmth: Warmth) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Temperatures [degC] and heat flows of the greenhouse with the water in it [kW], by the hour."""
    hours = slice(FIRST_DAY * HOURS, (FIRST_DAY + DAYS) * HOURS)
    plan, run, net = warmth.plan, warmth.run, warmth.plan.network
    assert run.hourly_c is not None
    assert run.hourly_heat_w is not None
    state, outdoor = run.hourly_c[hours], warmth.weather.hours.air_c[hours]
    air, tank = plan.nodes.index("greenhouse"), plan.nodes.index("tanks.alder")
    temperatures = pd.DataFrame(dict(zip(SERIES, (outdoor, state[:, air], state[:, tank]), strict=True)))
    night = warmth.weather.night[hours]
    to_outdoor = np.where(night[:, None], net.outdoor_night_w_k, net.outdoor_day_w_k)
    inside = [
        n for n, name in enumerate(plan.nodes) if name.startswith("greenhouse") or plan.loop_of.get(name) == "main"
    ]
    before = run.hourly_c[hours.start - 1 : hours.stop - 1]
    vapour = np.array([
        evaporation_of(net, row, warmth.weather.hours.dew_c[(hours.start + n) // HOURS], bool(night[n]))
        for n, row in enumerate(before)
    ])  # fmt: skip
    flows = {
        "heater": run.hourly_heat_w[hours, plan.controls.index("greenhouse")],
        "sun": (warmth.weather.hours.sun_w_m2[hours, None] * net.sun_m2)[:, inside].sum(axis=1),
        "cover, leaks, edge": (to_outdoor * (outdoor[:, None] - state))[:, inside].sum(axis=1),
        "evaporation": -vapour[:, inside].sum(axis=1),
    }
    return temperatures, pd.DataFrame(flows) / 1000.0


def _panel(frame: pd.DataFrame, colours: list[str], dashes: list[list[int]], title: str, height: int) -> alt.LayerChart:
    long = frame.assign(hour=np.arange(len(frame))).melt("hour", list(frame.columns), "what", "value")
    scale = list(frame.columns)
    x = alt.X("hour:Q", title="hours", axis=alt.Axis(values=list(range(0, 97, 12))))
    colour = alt.Color(
        "what:N", scale=alt.Scale(domain=scale, range=colours), legend=alt.Legend(orient="top", title=None)
    )
    dash = alt.StrokeDash("what:N", scale=alt.Scale(domain=scale, range=dashes), legend=None)
    lines = alt.Chart(long, title=title, width=620, height=height).mark_line(strokeWidth=2.2)
    return alt.layer(lines.encode(x, alt.Y("value:Q", title=None), colour, dash))


def figure() -> alt.VConcatChart:
    """Two panels on one time axis."""
    site = load_site(FOLDER / "heron_lane_computed.toml")
    temperatures, flows = courses(site_warmth(site.file, site.folder, {}))
    upper = _panel(
        temperatures, [c for c, _ in SERIES.values()], [d for _, d in SERIES.values()],
        "Four January days of the example, degC", 190,
    )  # fmt: skip
    lower = _panel(
        flows,
        list(FLOWS.values()),
        [[1, 0], [8, 3], [2, 3], [6, 2, 2, 2]],
        "What brings heat and what takes it, kW",
        190,
    )
    stack = alt.vconcat(upper, lower, spacing=16).resolve_scale(color="independent", strokeDash="independent")
    return stack.configure(**theme_config())


if __name__ == "__main__":
    figure().save(FIGURE)
    print(f"wrote {FIGURE.name}, {FIGURE.stat().st_size / 1000:.0f} kB")
