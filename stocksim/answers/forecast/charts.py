"""Bands of a forecast, and the weighings beside them.

Apart from `answer`, which needs no charts in a terminal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from stocksim.faces import vega
from stocksim.faces.palette import INK

if TYPE_CHECKING:
    from stocksim.answers.forecast.decide import Forecast


def weight_bands(forecast: Forecast, cohort: str) -> vega.Group:
    """Weight of a cohort: 10 to 90 % before (dashed) and after the records (filled), plan (dotted), weighings. [g]"""
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
    planned = pd.DataFrame({"date": dates, "band": "planned", "edge": "middle", "grams": forecast.planned_g[cohort]})
    edges = pd.concat(
        [
            *(
                frame[["date", "band"]].assign(edge=edge, grams=frame[edge])
                for frame in frames
                for edge in ("low", "high")
            ),
            planned,
        ]
    )
    x = vega.by("date:T", title=None)
    dashes = vega.Scale(domain=["planned", "before the records", "after them"], range=[[1, 3], [5, 3], [1, 0]])
    area = vega.Chart(frames[1]).mark("area", opacity=0.25, color=INK)
    area = area.encode(x=x, y=vega.by("low:Q", title="mean weight, g"), y2="high:Q")
    lines = vega.Chart(edges).mark("line", color=INK)
    lines = lines.encode(
        x=x, y=vega.by("grams:Q", title="mean weight, g"), strokeDash=vega.by("band:N", title=None, scale=dashes),
        detail=["edge:N", "band:N"],
    )  # fmt: skip
    dots = vega.Chart(weighed).mark("point", filled=True, size=50, color=INK).encode(x=x, y="weight:Q")
    last = (band.weight_before[:, -1], band.weight_after[:, -1])
    words = (
        f"Mean weight of {cohort} by day: at the end {last[0][0]:.0f} to {last[0][2]:.0f} g before the records, "
        f"{last[1][0]:.0f} to {last[1][2]:.0f} g after them, {forecast.planned_g[cohort][-1]:.0f} g as planned; "
        f"{len(weighed)} weighings."
    )
    return vega.layer(area, lines, dots).properties(height=220, description=words, title=f"Weight of {cohort}")
