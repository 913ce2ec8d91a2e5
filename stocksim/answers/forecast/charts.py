"""Bands of a forecast, and the weighings beside them.

Apart from `answer`, which needs no charts in a terminal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from stocksim.faces import chart_parts as parts
from stocksim.faces import vega
from stocksim.faces.palette import INK
from stocksim.units import face_unit, format_quantity

if TYPE_CHECKING:
    from stocksim.answers.forecast.decide import Forecast


def weight_bands(forecast: Forecast, cohort: str) -> vega.Group:
    """Weight of a cohort: 10 to 90 % before (dashed) and after the records (filled), plan (dotted), weighings."""
    units = forecast.site.file.site.units
    unit = face_unit("weight", units)
    band = forecast.bands[cohort]
    dates = pd.to_datetime(list(forecast.dates))
    frames = [
        pd.DataFrame({"date": dates, "low": weight[0], "high": weight[2], "band": name})
        for name, weight in (
            ("before the records", parts.in_face_unit(band.weight_before, "weight", units)),
            ("after them", parts.in_face_unit(band.weight_after, "weight", units)),
        )
    ]
    weighed = pd.DataFrame(
        [{"date": pd.Timestamp(one.date), "weight": parts.in_face_unit(one.told, "weight", units)}
         for one in forecast.residuals if one.what == "weight" and one.place == cohort],
        columns=["date", "weight"],
    )  # fmt: skip
    weight = parts.in_face_unit(forecast.planned_g[cohort], "weight", units)
    planned = pd.DataFrame({"date": dates, "band": "planned", "edge": "middle", "weight": weight})
    edges = pd.concat(
        [
            *(
                frame[["date", "band"]].assign(edge=edge, weight=frame[edge])
                for frame in frames
                for edge in ("low", "high")
            ),
            planned,
        ]
    )
    x = vega.by("date:T", title=None)
    dashes = vega.Scale(domain=["planned", "before the records", "after them"], range=[[1, 3], [5, 3], [1, 0]])
    area = vega.Chart(frames[1]).mark("area", opacity=0.25, color=INK)
    area = area.encode(x=x, y=vega.by("low:Q", title=f"mean weight, {unit}"), y2="high:Q")
    lines = vega.Chart(edges).mark("line", color=INK)
    lines = lines.encode(
        x=x,
        y=vega.by("weight:Q", title=f"mean weight, {unit}"),
        strokeDash=vega.by("band:N", title=None, scale=dashes),
        detail=["edge:N", "band:N"],
    )
    dots = vega.Chart(weighed).mark("point", filled=True, size=50, color=INK).encode(x=x, y="weight:Q")
    before, after = (
        " to ".join(format_quantity(float(weight[at, -1]), "weight", units) for at in (0, 2))
        for weight in (band.weight_before, band.weight_after)
    )
    words = (
        f"Mean weight of {cohort} by day: at the end {before} before the records, {after} after them, "
        f"{format_quantity(float(forecast.planned_g[cohort][-1]), 'weight', units)} as planned; "
        f"{len(weighed)} weighings."
    )
    return vega.layer(area, lines, dots).properties(height=220, description=words, title=f"Weight of {cohort}")
