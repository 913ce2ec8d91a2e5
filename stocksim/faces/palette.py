"""Colours, dashes and chart theme of the faces: paper, ink, and one colour and dash for each species."""

from __future__ import annotations

import zlib
from typing import Any

PAPER, SHADE, INK, FAINT = "#fbf6ea", "#f1e8d5", "#22302f", "#6d6a5c"
# the same on a dark screen, without the charts, which stay paper
DARK_PAPER, DARK_SHADE, DARK_INK, DARK_FAINT = "#1b2221", "#2a3331", "#ece5d3", "#b3ad9a"
DARK_TROUBLE, DARK_SOUND = "#ff9d8f", "#9fd3bd"
TROUBLE, CAUTION, SOUND, LEAF, FEED = "#a8201a", "#7d5410", "#2f5d50", "#3f6f3a", "#a9741f"

# Chosen in this project by a search for the largest least difference (CIE 1976 Lab) between any two of them in normal,
# protan, deutan and tritan vision, each kept near a colour that suits the fish; tests/test_charts.py holds the figure.
# A species likened to another wears a shade of that one's colour, told apart by its dash.
SPECIES_COLOURS = {
    "black_crappie": "#4f1a94",
    "bluegill": "#4066e6",
    "brown_bullhead": "#cc6c90",
    "channel_catfish": "#b76c81",
    "common_carp": "#652920",
    "goldfish": "#a02700",
    "hybrid_striped_bass": "#9780d8",
    "hybrid_sunfish": "#7848fc",
    "largemouth_bass": "#3c9e51",
    "nile_tilapia": "#0b434d",
    "pumpkinseed": "#3c24cc",
    "rainbow_trout": "#bc1f91",
    "walleye": "#6c9c0c",
    "yellow_perch": "#a08f07",
}
SPECIES_DASHES = {
    "yellow_perch": (1, 0),
    "bluegill": (9, 3),
    "rainbow_trout": (3, 2),
    "nile_tilapia": (10, 3, 2, 3),
    "channel_catfish": (5, 4),
    "goldfish": (2, 4),
    "largemouth_bass": (14, 4),
    "hybrid_striped_bass": (6, 2, 2, 2, 2, 2),
    "common_carp": (12, 3, 4, 3),
    "black_crappie": (1, 2),
    "pumpkinseed": (3, 9),
    "hybrid_sunfish": (3, 3, 3, 9),
    "brown_bullhead": (1, 5),
    "walleye": (7, 7),
}
# fields of a verdict on company: pale, so that ink on them reads well, and never without a sign and a word
VERDICT_FIELDS = {"together": "#d5e3cf", "with care": "#f3dda6", "apart": "#eab4a6"}
_TEXT_CONTRAST = 4.5  # WCAG 2.1, 1.4.3
LOOP_DASHES = ((1, 0), (7, 4), (2, 3), (9, 3, 2, 3))


def species_colour(species: str) -> str:
    """Colour of a species, the same on every chart; a keeper's own species borrows one by its name."""
    spare = sorted(SPECIES_COLOURS.values())
    return SPECIES_COLOURS.get(species) or spare[zlib.crc32(species.encode()) % len(spare)]


def species_dash(species: str) -> tuple[int, ...]:
    """Dash of a species; a keeper's own species has one that no shipped species has."""
    return SPECIES_DASHES.get(species, (4, 1, 1, 1))


def contrast(one: str, other: str) -> float:
    """Contrast of two colours: WCAG 2.1, relative luminance and contrast ratio.

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 1), round(contrast(INK, PAPER), 1)
    (21.0, 12.7)
    """
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def readable(colour: str) -> str:
    """A colour for words on paper: as it is, or mixed with ink until its contrast is that of text.

    Examples
    --------
    >>> readable(INK) == INK, contrast(readable("#a08f07"), PAPER) >= 4.5
    (True, True)
    """
    for share in range(0, 101, 5):
        mixed = [round(a + (b - a) * share / 100) for a, b in zip(_channels(colour), _channels(INK), strict=True)]
        found = "#" + "".join(f"{channel:02x}" for channel in mixed)
        if contrast(found, PAPER) >= _TEXT_CONTRAST:
            return found
    return INK


def _channels(colour: str) -> list[int]:
    return [int(colour[here : here + 2], 16) for here in (1, 3, 5)]


def _luminance(colour: str) -> float:
    srgb = [channel / 255.0 for channel in _channels(colour)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in srgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def theme_config() -> dict[str, Any]:
    """Vega-Lite configuration of every chart."""
    axis = {
        "labelColor": INK, "labelFontSize": 13, "domainColor": FAINT, "tickColor": FAINT, "gridColor": "#e3d9c3",
        "gridOpacity": 1.0, "titleColor": INK, "titleFontSize": 13, "titleFontWeight": "normal",
    }  # fmt: skip
    return {
        "background": PAPER,
        "font": "'Source Sans', sans-serif",
        "view": {"stroke": None},
        "axis": axis,
        "title": {"anchor": "start", "color": INK, "fontSize": 15, "fontWeight": "bold", "offset": 8, "frame": "group"},
        "legend": {"labelColor": INK, "labelFontSize": 13, "title": None, "orient": "top", "symbolSize": 220,
                   "symbolStrokeWidth": 3, "columnPadding": 14, "offset": 4},
        "text": {"color": INK, "fontSize": 13},
    }  # fmt: skip
