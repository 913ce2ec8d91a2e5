"""Planted area in words that questions share: which of the two areas to build for, and why; what no ratio covers."""

from __future__ import annotations

import math
from typing import Any

from stocksim.engine.arrays.beds import Unrated
from stocksim.engine.results.beds import BuildArea, BuildRule, Side
from stocksim.units import format_quantity


def build_words(build: BuildArea, units: str) -> str:
    """Which area to build for, why, and how what is planted stands to it.

    Parameters
    ----------
    build : BuildArea
        Of a season.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        Sentences; empty where neither area is known.
    """
    if math.isnan(build.area_m2):
        return ""
    area, most = (format_quantity(value, "area", units) for value in (build.area_m2, build.most_m2))
    why = {
        BuildRule.HANDBOOK: f"Build beds of loop {build.loop} for {area} of plants: so much the season's feed keeps "
        f"green with all that it brings, by the handbook ratio. Its nitrogen alone would do for {most}, but all above "
        f"{area} lacks potassium, iron and other salts, see Beds, which you would have to add.",
        BuildRule.NITROGEN: f"Build beds of loop {build.loop} for {area} of plants: on more of them crops of this "
        "light and warmth starve of nitrogen, though by the handbook ratio the season's feed supports "
        f"{format_quantity(build.handbook_m2, 'area', units)}.",
        BuildRule.NITROGEN_ALONE: f"Build beds of loop {build.loop} for {area} of plants, which take up the nitrogen "
        "that fish give: no feed ratio was published for what grows there, so nothing shows for how much of it the "
        "feed's potassium, iron and other salts do; what to add stands under Beds.",
        BuildRule.HANDBOOK_ALONE: f"Build beds of loop {build.loop} for {area} of plants: so much the season's feed "
        "supports by the handbook ratio; nothing grows there that would show for how many its nitrogen does.",
    }[build.rule]
    return f"{why} {_planted(build, units)}".strip()


def _planted(build: BuildArea, units: str) -> str:
    """How what is planted stands to the area to build for."""
    planted, counted = (format_quantity(value, "area", units) for value in (build.planted_m2, build.counted_m2))
    rated = f"The {counted} planted" + (" that have a published ratio" if counted != planted else "")
    either = "either" if build.rule is BuildRule.HANDBOOK else "that"
    return {
        Side.BARE: "",
        Side.ROOM: f"{rated} are less: there is space for more.",
        Side.EVEN: f"{rated} are just that.",
        Side.SALTS: f"{rated} lie between the two: they need those salts.",
        Side.TOO_MUCH: f"The {planted} planted are more than {either}: plant less.",
    }[build.side]


def build_data(build: BuildArea, units: str) -> dict[str, Any]:
    """The same as plain data, keys carry units; null where unknown."""

    def number(value: float) -> float | None:
        return None if math.isnan(value) else round(value, 4)

    return {
        "loop": build.loop,
        "area_m2": number(build.area_m2),
        "rule": build.rule.name.lower(),
        "side": build.side.name.lower(),
        "handbook_m2": number(build.handbook_m2),
        "nitrogen_m2": number(build.nitrogen_m2),
        "planted_m2": number(build.planted_m2),
        "words": build_words(build, units),
    }


def unrated_words(one: Unrated) -> str:
    """What no published feed ratio covers, as a phrase."""
    if one.crop is None:
        return f"{one.bed} ({one.kind} bed): no published feed ratio for this kind of bed"
    return f"{one.bed}: no published feed ratio for {one.crop}"
