"""The figures of the pages on water: ``python docs/figures_water.py``."""

from __future__ import annotations

from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd

from stocksim.water.carbonate import ph_from_alkalinity

HERE = Path(__file__).resolve().parent
FIGURES = HERE / "figures"
MODEL = HERE.parent / "tests" / "data" / "carbon_dioxide_ph.csv"
CELSIUS = 20.0
BACKGROUND = "#fbf8f1"
# from little carbon dioxide to much
COLORS = ["#1f4e5f", "#4f8a8b", "#8a9a5b", "#c98a2b", "#b5532a"]


def carbonate_chart() -> alt.LayerChart:
    """PH against alkalinity for five amounts of carbon dioxide, with the full aqueous model's points."""
    model = pd.read_csv(MODEL, comment="#")
    model = model[model.temperature_c == CELSIUS]
    amounts = sorted(model.carbon_dioxide_mg_l.unique())
    lines = pd.DataFrame(
        [
            {"alkalinity": float(x), "gas": f"{gas} mg/L", "ph": round(float(ph_from_alkalinity(x, gas, CELSIUS)), 4)}
            for gas in amounts
            for x in np.concatenate([np.arange(0.0, 10.0, 0.5), np.arange(10.0, 201.0, 5.0)])
        ]
    )
    names = [f"{gas} mg/L" for gas in amounts]
    points = model.rename(columns={"alkalinity_mg_l": "alkalinity", "ph_full_model": "ph"})
    points["gas"] = [f"{gas} mg/L" for gas in points.carbon_dioxide_mg_l]
    x = alt.X("alkalinity:Q", title="alkalinity as CaCO3 [mg/L]", scale=alt.Scale(domain=[0, 200]))
    y = alt.Y("ph:Q", title="pH", scale=alt.Scale(domain=[4.5, 9.0]))
    color = alt.Color("gas:N", title="carbon dioxide", sort=names, scale=alt.Scale(domain=names, range=COLORS))
    line = alt.Chart(alt.Data(values=lines.to_dict("records"))).mark_line(strokeWidth=2).encode(x=x, y=y, color=color)
    kept = points[["alkalinity", "ph", "gas"]].to_dict("records")
    dots = alt.Chart(alt.Data(values=kept)).mark_point(size=40, filled=True).encode(x=x, y=y, color=color)
    return (line + dots).properties(width=420, height=280, background=BACKGROUND)


def draw() -> None:
    """Write every figure of these pages."""
    FIGURES.mkdir(exist_ok=True)
    chart = carbonate_chart().configure(font="sans-serif").configure_view(stroke=None)
    chart.save(str(FIGURES / "carbonate.svg"))


if __name__ == "__main__":
    draw()
