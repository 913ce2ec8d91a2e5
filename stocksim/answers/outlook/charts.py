"""Fan charts of an outlook: the middle, and what eight of ten seasons lie between.

Apart from `answer`, which text needs without the slow import of charts.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from stocksim.answers.outlook.words import FAN_COLUMNS
from stocksim.drawn.outlook import SHARES, Outlook
from stocksim.engine.results.frames import Season
from stocksim.faces import chart_parts as parts
from stocksim.faces import vega
from stocksim.faces.palette import INK, LEAF, LOOP_DASHES, species_colour, species_dash
from stocksim.units import face_unit

_PX = 170
_TITLES = {
    "cohorts.mean_weight_g": "Mean weight",
    "tanks.density_kg_m3": "Stocking density",
    "tanks.oxygen_min_mg_l": "Oxygen, lowest hour",
    "tanks.unionized_ammonia_max_mg_l": "Un-ionized ammonia, highest hour",
}
_DIMENSIONS = {"cohorts.mean_weight_g": "weight", "tanks.density_kg_m3": "density"}


def fan_stack(found: Outlook) -> vega.Group:
    """Weight by batch; density, oxygen and ammonia by tank: a line for the middle, shade from 10 to 90 %.

    Parameters
    ----------
    found : Outlook
        An outlook.

    Returns
    -------
    Group
        Panels on one time axis.
    """
    panels = [panel for column in FAN_COLUMNS if (panel := _panel(found, column)) is not None]
    return parts.stack(
        panels,
        "Mean weight of each batch, and stocking density, lowest oxygen and highest un-ionized ammonia of each tank: "
        "the middle of the seasons as a line, and a shade between which eight of ten of them lie.",
    )


class _Days:
    """What charts ask of a season, of an outlook: its days and site."""

    def __init__(self, found: Outlook):
        self.dates, self.site, self.layout = found.dates, found.site, found.draws.layout


def _panel(found: Outlook, column: str) -> vega.Panel | None:
    band, units = found.bands[column], found.site.file.site.units
    season: Season = _Days(found)  # type: ignore[assignment]
    frames = [_frame(found, column, at) for at in range(len(band.places))]
    frames = [frame for frame in frames if len(frame)]
    if not frames:
        return None
    whole = pd.concat(frames)
    scale = vega.Scale(domain=[0.0, parts.top_of(whole["high"])], nice=False)
    layers: list[Any] = []
    for frame in frames:
        species = str(frame["species"].iloc[0])
        colour, dash = _look(found, column, str(frame["name"].iloc[0]), species)
        base, x = vega.Chart(frame), parts.time_axis(season, "date")
        tip = [vega.by("name:N"), parts.date_tip("date")]
        tip += [vega.by(f"{key}:Q", format=".3g", title=words) for key, words in _TIPS.items()]
        layers.append(
            base.mark("area", color=colour, opacity=0.16).encode(x=x, y=parts.level("low", scale), y2="high:Q")
        )
        line = base.mark("line", color=colour, strokeWidth=2.4, strokeDash=dash)
        layers.append(line.encode(x=x, y=parts.level("middle", scale)))
        layers.append(base.mark("point", opacity=0, size=110).encode(x=x, y=parts.level("middle", scale), tooltip=tip))
    last = whole.groupby("name", sort=False).tail(1).assign(value=lambda frame: frame["middle"])
    layers.append(
        parts.end_labels(season, last[["name", "value", "colour"]], scale, _PX, vega.by("colour:N", scale=None))
    )
    unit = face_unit(_DIMENSIONS[column], units) if column in _DIMENSIONS else "mg/L"
    return vega.layer(*layers).properties(title=f"{_TITLES[column]}, {unit}", height=_PX)


_TIPS = {"low": "1 in 10 below", "middle": "middle", "high": "1 in 10 above"}


def _look(found: Outlook, column: str, name: str, species: str) -> tuple[str, list[int]]:
    """Colour and dash: of a species where a line has one, else ink or leaf by turns."""
    if species:
        return species_colour(species), list(species_dash(species))
    at = found.bands[column].places.index(name)
    return (INK, LEAF)[at % 2], list(LOOP_DASHES[at % len(LOOP_DASHES)])


def _species_of(found: Outlook, table: str, name: str) -> str:
    """Species of a batch, or the first that comes into a tank; empty for a tank without fish."""
    for stay in found.draws.layout.stays:
        if (stay.cohort if table == "cohorts" else stay.table.tank) == name:
            return str(stay.table.species)
    return ""


def _frame(found: Outlook, column: str, at: int) -> pd.DataFrame:
    """A row for each day drawn of one place, in the keeper's unit."""
    band, units = found.bands[column], found.site.file.site.units
    values = band.ends[:, :, at]
    if column in _DIMENSIONS:
        values = parts.in_face_unit(values, _DIMENSIONS[column], units)
    days = [day for day in parts.picked_days(len(found.dates), len(band.places)) if np.isfinite(values[:, day]).all()]
    name, table = band.places[at], column.split(".")[0]
    species = _species_of(found, table, name)
    colour, _ = _look(found, column, name, species)
    rows = [
        {"date": pd.Timestamp(found.dates[day]) + parts.NOON, "name": name, "species": species, "colour": colour}
        | dict(zip(_TIPS, (float(values[row, day]) for row in range(len(SHARES))), strict=True))
        for day in days
    ]
    return pd.DataFrame(rows)
