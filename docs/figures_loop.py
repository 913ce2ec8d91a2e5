"""Draws the figures of the oxygen, loop, solids, ramp and power-cut pages: ``python docs/figures_loop.py``."""

from __future__ import annotations

from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd

from stocksim.answers.ramp.decide import feeding_ramp
from stocksim.engine.running import run_season
from stocksim.faces.palette import FEED, INK, LEAF, TROUBLE, theme_config
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site
from stocksim.water.loop import daily_swing
from stocksim.water.oxygen import device_exchange, oxygen_saturation, surface_exchange_velocity
from stocksim.water.reserve import minutes_to_level
from stocksim.water.solids import fouled_capture, mineralized_share

FIGURES = Path(__file__).resolve().parent / "figures"
COLOURS, DASHES = [FEED, TROUBLE, LEAF, INK], [[1, 0], [8, 3], [2, 3], [10, 3, 2, 3]]


def panel(frame: pd.DataFrame, title: str, x: alt.X, unit: str, height: int = 130) -> alt.LayerChart:
    """Lines of ``value`` by ``what``, each named at its end."""
    names = list(dict.fromkeys(frame["what"]))
    scale = alt.Scale(domain=names, range=COLOURS[: len(names)])
    colour = alt.Color("what:N", scale=scale, legend=None)
    dash = alt.StrokeDash("what:N", scale=alt.Scale(domain=names, range=DASHES[: len(names)]), legend=None)
    base = alt.Chart(frame, title=title, width=560, height=height)
    lines = base.mark_line(strokeWidth=2.2).encode(
        x, alt.Y("value:Q", title=unit, axis=alt.Axis(tickCount=4), scale=alt.Scale(zero=unit != "pH")), colour, dash
    )
    ends = frame.loc[frame.groupby("what")["x"].idxmax()]
    words = alt.Chart(ends).mark_text(align="left", dx=6).encode(x, alt.Y("value:Q"), alt.Text("what:N"), colour)
    return alt.layer(lines, words)


def lines(columns: dict[str, np.ndarray], x: np.ndarray) -> pd.DataFrame:
    """Long frame of named courses over one axis."""
    return pd.concat(pd.DataFrame({"x": x, "value": values, "what": what}) for what, values in columns.items())


def oxygen_figure() -> alt.VConcatChart:
    """What water holds, and what a 30 W pump and the surface bring into 1 m3 at 6 mg/L."""
    t = np.linspace(1.0, 32.0, 63)
    x = alt.X("x:Q", title="water temperature, degC", scale=alt.Scale(domain=[0, 38]))
    holds = {f"{h} m": oxygen_saturation(t, h) for h in (0, 1000, 2000)}
    device = device_exchange(30.0 / 1000 * 24 * 700.0, t) * (0.95 * oxygen_saturation(t) - 6.0)
    surface = surface_exchange_velocity(t) / 0.8 * (oxygen_saturation(t) - 6.0)
    brings = {"30 W of air stones": np.maximum(device, 0.0), "still surface": np.maximum(surface, 0.0)}
    hours = np.linspace(0.0, 24.0, 97)
    one, (swing, gain, sump) = np.ones(1), np.zeros((3, 1), complex)
    load = -0.4 * 100.0 * one.astype(complex)
    daily_swing(1, one, 12.0 * one, 24.0 * one, one, 24.0 * one + 10.0, np.zeros(1, int), load, swing, gain, sump)
    wave = {"tank": 7.0 + np.real(swing[0] * np.exp(2j * np.pi * hours / 24.0)), "day's mean": np.full(hours.size, 7.0)}
    return alt.vconcat(
        panel(lines(holds, t), "Oxygen at saturation, by elevation", x, "mg/L"),
        panel(lines(brings, t), "Brought into 1 m3 that holds 6 mg/L", x, "g a day"),
        panel(
            lines(wave, hours),
            "A day's wave: 100 g of use a day in 1 m3, hours after its peak",
            alt.X("x:Q", title="hours", scale=alt.Scale(domain=[0, 29])),
            "mg/L",
        ),
    )


def water_figure() -> alt.VConcatChart:
    """The young example's main loop: ammonia, nitrite, nitrate, alkalinity and pH."""
    season = run_season(load_site(FOLDER / "heron_lane_young.toml"))
    loop = season.loops[season.loops["loop"] == "main"]
    tank = season.tanks[season.tanks["tank"] == "cedar"]
    day = np.arange(len(loop))
    x = alt.X("x:Q", title="day of the season", scale=alt.Scale(domain=[0, 260]))

    def of_loop(**columns: str) -> pd.DataFrame:
        return lines({what.replace("_", " "): loop[column].to_numpy() for what, column in columns.items()}, day)

    def of_tank(**columns: str) -> pd.DataFrame:
        return lines({what: tank[column].to_numpy() for what, column in columns.items()}, day)

    films = of_loop(ammonia_oxidizers="ammonia_oxidizer_maturity", nitrite_oxidizers="nitrite_oxidizer_maturity")
    slow = of_loop(nitrate="nitrate_n_mg_l", alkalinity="alkalinity_mg_l")
    return alt.vconcat(
        panel(of_tank(TAN="tan_mg_l", nitrite="nitrite_n_mg_l"), "A young film: tank cedar", x, "mg/L as N"),
        panel(films, "Maturity of the film", x, "share", 100),
        panel(slow, "Nitrate as N and alkalinity as CaCO3", x, "mg/L", 110),
        panel(of_tank(pH="ph"), "pH of tank cedar", x, "pH", 80),
    )


def solids_figure() -> alt.VConcatChart:
    """How fast solids break down, and what a settler still catches when it is not emptied."""
    days = np.arange(0.0, 61.0)
    broken = {f"{t} degC": mineralized_share(t, days) for t in (8, 16, 24)}
    caught = {name: fouled_capture(share, days) for name, share in (("radial flow", 0.78), ("swirl", 0.37))}
    x = alt.X("x:Q", title="days", scale=alt.Scale(domain=[0, 72]))
    return alt.vconcat(
        panel(lines(broken, days), "Share of dry solids broken down", x, "share"),
        panel(lines(caught, days), "Share that a settler catches, days after it was emptied", x, "share"),
    )


def ramp_figure() -> alt.VConcatChart:
    """The young example's ramp: feed and nitrite, as fed and ramped."""
    site = load_site(FOLDER / "heron_lane_young.toml")
    as_fed, ramped = run_season(site), run_season(site, **feeding_ramp(site).changes)
    days = 70
    x = alt.X("x:Q", title="day of the season", scale=alt.Scale(domain=[0, 84]))

    def course(of: object, frame: str, column: str, key: str, name: str) -> np.ndarray:
        table = getattr(of, frame)
        return table[table[key] == name][column].to_numpy()[:days]

    def both(frame: str, column: str, key: str, name: str) -> pd.DataFrame:
        told = {what: course(of, frame, column, key, name) for what, of in (("as fed", as_fed), ("ramped", ramped))}
        return lines(told, np.arange(days))

    nitrite = pd.concat(
        [both("tanks", "nitrite_n_mg_l", "tank", "birch"), lines({"limit": np.full(days, 0.55)}, np.arange(days))]
    )
    return alt.vconcat(
        panel(both("loops", "feed_g", "loop", "main"), "Feed of loop main", x, "g a day"),
        panel(nitrite, "Nitrite in tank birch", x, "mg/L as N"),
    )


def power_cut_figure() -> alt.LayerChart:
    """Minutes from 7 to 3 mg/L by density and use."""
    density = np.linspace(3.0, 70.0, 68)
    water = 1.0 - density / 1000.0
    told = {
        f"{use} mg/kg/h ({words})": np.minimum(
            minutes_to_level(7.0, 3.0, water, density * use / 1000.0, 0.0, 9.0), 240.0
        )
        for use, words in ((400, "just fed, warm"), (120, "cool"), (50, "cold"))
    }
    x = alt.X("x:Q", title="kg of fish a m3", scale=alt.Scale(domain=[0, 105]))
    return panel(lines(told, density), "Minutes from 7 to 3 mg/L without pump and air", x, "minutes", 200)


DRAWN = {
    "oxygen": oxygen_figure,
    "water": water_figure,
    "solids": solids_figure,
    "ramp": ramp_figure,
    "powercut": power_cut_figure,
}


def main() -> None:
    """Draw all of them."""
    alt.theme.register("stocksim-docs", enable=True)(lambda: alt.theme.ThemeConfig(theme_config()))
    for name, draw in DRAWN.items():
        chart = draw().resolve_scale(color="independent", strokeDash="independent")
        chart.save(FIGURES / f"{name}.svg")
        print(f"docs/figures/{name}.svg")


if __name__ == "__main__":
    main()
