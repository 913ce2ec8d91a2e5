"""Bands of a forecast, and the weighings beside them.

Apart from `answer`, which needs no charts in a terminal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import altair as alt
import pandas as pd

from stocksim.faces.palette import INK, theme_config

if TYPE_CHECKING:
    from stocksim.answers.forecast.decide import Forecast


def weight_bands(forecast: Forecast, cohort: str) -> alt.LayerChart:
    """Weight of a cohort: 10 to 90 % before (dashed edge) and after the records (filled), weighings as dots. [g]"""
    band = forecast.bands[cohort]
    dates = pd.to_datetime(list(forecast.dates))
    frames = [
        pd.DataFrame({"date": dates, "low": weight[0], "middle": weight[1], "high": weight[2], "band": name})
        for name, weight in (("before the records", band.weight_before), ("after them", band.weight_after))
    ]
    weighed = pd.DataFrame(
        [{"date": pd.Timestamp(one.date), "weight": one.told}
         for one in forecast.residuals if one.what == "weight" and one.place == cohort],
        columns=["date", "weight"],
    )  # fmt: skip
    frame = pd.concat(frames)
    x = alt.X("date:T", title=None)
    dash = alt.StrokeDash("band:N", title=None, scale=alt.Scale(domain=["before the records", "after them"],
                                                                range=[[5, 3], [1, 0]]))  # fmt: skip
    area = (
        alt.Chart(frames[1]).mark_area(opacity=0.25, color=INK).encode(x, alt.Y("low:Q", title="g"), alt.Y2("high:Q"))
    )
    lines = alt.Chart(frame).transform_fold(["low", "high"], ["edge", "grams"]).mark_line(color=INK).encode(
        x, alt.Y("grams:Q", title="mean weight, g"), dash, alt.Detail(["edge:N", "band:N"])
    )  # fmt: skip
    dots = alt.Chart(weighed).mark_point(filled=True, size=50, color=INK).encode(x, alt.Y("weight:Q"))
    last = (band.weight_before[:, -1], band.weight_after[:, -1])
    words = (
        f"Mean weight of {cohort} by day: at the end {last[0][0]:.0f} to {last[0][2]:.0f} g before the records, "
        f"{last[1][0]:.0f} to {last[1][2]:.0f} g after them; {len(weighed)} weighings."
    )
    chart = alt.layer(area, lines, dots).properties(height=220, description=words, title=f"Weight of {cohort}")
    return chart.configure(**theme_config())
