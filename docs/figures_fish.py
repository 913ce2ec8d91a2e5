"""The figures of the page on fish: ``python docs/figures_fish.py``."""

from __future__ import annotations

import csv
from pathlib import Path

import altair as alt
import numpy as np

from stocksim.fish.growth import appetite_rate, grow_in_good_water
from stocksim.fish.survival import condition_hazard
from stocksim.library.feeds import load_feed
from stocksim.library.species import load_species

HERE = Path(__file__).resolve().parent
FIGURES = HERE / "figures"
# Leitritz & Lewis 1980, as reprinted by North Carolina extension (page read); the heads are inches
TABLE = HERE.parent / "tests" / "trout_ration_table.csv"
# fish per pound at the edges of the classes of length, same table -> g; the middle is the geometric mean
EDGES_G = np.array([0.2, 1.5, 5.1, 12.0, 23.0, 39.0, 62.0, 92.0, 131.0, 179.0])
SHOWN = {3: "10 g, 3-4 in", 5: "30 g, 5-6 in", 8: "107 g, 8-9 in"}  # column of the table: middle of its class
WINTER_DAYS, WINTER_C = 150, 4.0
BACKGROUND = "#fbf8f1"
SPECIES = {
    "bluegill": "#1f4e5f", "yellow_perch": "#c98a2b", "channel_catfish": "#b5532a", "rainbow_trout": "#8a9a5b",
}  # fmt: skip
CLASSES = ["#c98a2b", "#4f8a8b", "#1f4e5f"]


def unfed_survival_percent(name: str, start_weight_g: float) -> float:
    """Share of unfed fish alive after a winter of 150 days at 4 degC, of hunger alone. [%]"""
    species, feed = load_species(name), load_feed("cool_water_40")  # none of the feed is eaten
    run = grow_in_good_water(species.__getitem__, feed.__getitem__, start_weight_g, np.full(WINTER_DAYS, WINTER_C), 0.0)
    return float(100.0 * np.exp(-condition_hazard(run.weight_g, start_weight_g).sum()))


def winter_chart() -> alt.Chart:
    """Survival of an unfed winter against the weight in autumn."""
    rows = [
        {
            "weight": float(w),
            "species": name.replace("_", " "),
            "alive": round(unfed_survival_percent(name, float(w)), 2),
        }
        for name in SPECIES
        for w in np.geomspace(0.2, 200.0, 40)
    ]
    names = [name.replace("_", " ") for name in SPECIES]
    x = alt.X("weight:Q", title="weight in autumn [g]", scale=alt.Scale(type="log", domain=[0.2, 200.0], nice=False))
    y = alt.Y("alive:Q", title="alive after 150 unfed days at 4 degC [%]", scale=alt.Scale(domain=[0, 100]))
    color = alt.Color("species:N", title=None, sort=names, scale=alt.Scale(domain=names, range=[*SPECIES.values()]))
    dash = alt.StrokeDash("species:N", sort=names, legend=None)
    chart = alt.Chart(alt.Data(values=rows)).mark_line(strokeWidth=2).encode(x=x, y=y, color=color, strokeDash=dash)
    return chart.properties(width=380, height=260, background=BACKGROUND)


def trout_chart() -> alt.LayerChart:
    """The published ration of trout (points) and our full appetite (lines), for three classes of length."""
    species = load_species("rainbow_trout")
    with TABLE.open(encoding="utf-8") as file:
        rows = [[float(entry) for entry in row] for row in list(csv.reader(file))[1:]]
    points, lines = [], []
    for column, label in SHOWN.items():
        weight = float(np.sqrt(EDGES_G[column - 1] * EDGES_G[column]))
        points += [{"water": (row[0] - 32.0) / 1.8, "percent": row[1 + column], "fish": label} for row in rows]
        water = np.linspace(2.0, 22.0, 81)
        rate = appetite_rate(species.__getitem__, water) * weight ** (species["intake_exponent"] - 1.0)
        pairs = zip(water, rate, strict=True)
        lines += [{"water": float(t), "percent": round(float(100 * r), 4), "fish": label} for t, r in pairs]
    names = [*SHOWN.values()]
    x = alt.X("water:Q", title="water [degC]", scale=alt.Scale(domain=[0, 22]))
    y = alt.Y("percent:Q", title="feed [% of body weight a day]")
    color = alt.Color("fish:N", title=None, sort=names, scale=alt.Scale(domain=names, range=CLASSES))
    line = alt.Chart(alt.Data(values=lines)).mark_line(strokeWidth=2).encode(x=x, y=y, color=color)
    dots = alt.Chart(alt.Data(values=points)).mark_point(size=40, filled=True).encode(x=x, y=y, color=color)
    return (line + dots).properties(width=380, height=260, background=BACKGROUND)


def draw() -> None:
    """Write every figure of the page."""
    FIGURES.mkdir(exist_ok=True)
    for name, chart in (("winter", winter_chart()), ("trout_ration", trout_chart())):
        chart.configure(font="sans-serif").configure_view(stroke=None).save(str(FIGURES / f"{name}.svg"))


if __name__ == "__main__":
    draw()
