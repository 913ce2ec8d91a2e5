"""Beds drawn to their area, with what stands on them."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from stocksim.engine.results import Season
from stocksim.faces.palette import FAINT, FEED, INK, LEAF, PAPER, SHADE
from stocksim.units import face_unit, to_face

_ROW_PX = 96
_GAP_SHARE = 0.035  # of the widest row
KINDS = ("leafy", "fruiting", "bare")
KIND_COLOURS = (LEAF, FEED, SHADE)


def bed_map(season: Season) -> alt.LayerChart | None:
    """Every bed as a rectangle of its area, cut into what is planted on it at its fullest; None without beds.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    alt.LayerChart or None
        A row for each loop and one for wicking beds; all rectangles are as high as each other, so that width is area.
    """
    file, units = season.site.file, season.site.file.site.units
    if not file.beds:
        return None
    rows: dict[str, list[str]] = {}
    for key, bed in file.beds.items():
        rows.setdefault("wicking, off the loops" if bed.kind == "wicking" else f"loop {bed.loop}", []).append(key)
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
    x = alt.X("x:Q", axis=None, scale=alt.Scale(domain=[0.0, width + gap * 3], nice=False))
    y = alt.Y("y:Q", axis=None, scale=alt.Scale(domain=[float(len(rows)), 0.0], nice=False))
    colour = alt.Color("kind:N", scale=alt.Scale(domain=list(KINDS), range=list(KIND_COLOURS)), legend=None)
    tip = [alt.Tooltip("bed:N"), alt.Tooltip("crop:N"), alt.Tooltip("area:N")]
    inside = alt.Chart(pd.DataFrame(strips))
    fill = inside.mark_rect(stroke=PAPER, strokeWidth=1.5).encode(
        x=x, x2="x2:Q", y=y, y2="y2:Q", color=colour, tooltip=tip
    )
    names = (
        inside.transform_filter("datum.kind != 'bare'")
        .mark_text(color=PAPER, fontWeight="bold", fontSize=13)
        .encode(x=alt.X("mid:Q", axis=None), y=alt.Y("my:Q", axis=None), text="crop:N")
    )
    outline = alt.Chart(pd.DataFrame(beds))
    edge = outline.mark_rect(fillOpacity=0.0, stroke=INK, strokeWidth=1.6).encode(x=x, x2="x2:Q", y=y, y2="y2:Q")
    words = outline.mark_text(align="left", color=INK, fontSize=12).encode(
        x=x, y=alt.Y("ly:Q", axis=None), text="line:N"
    )
    loops = alt.Chart(pd.DataFrame(heads)).mark_text(align="left", color=FAINT, fontWeight="bold", fontSize=13)
    return (
        alt.layer(fill, names, edge, words, loops.encode(x=x, y=y, text="label:N"))
        .properties(
            height=_ROW_PX * len(rows), background=PAPER, usermeta={"embedOptions": {"renderer": "svg"}},
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
