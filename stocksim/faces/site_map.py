"""A drawn map of a site, to scale: each loop with its sump, tanks, beds and filters, as they would lie on a floor.

It is drawn from the text as it stands, sound or not, and each place in it leads to its form: a tap on it is a click on
a button that nobody sees. Apart from the page of the site, to be tested by itself.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping
from html import escape
from typing import Any, NamedTuple

from stocksim.errors import InputError
from stocksim.faces.editing import entries, value_at
from stocksim.faces.palette import FAINT, INK, PAPER, SHADE, SOUND
from stocksim.site.quantities import DEFAULT_TANK_DEPTH_M
from stocksim.units import format_quantity, parse_quantity

_WIDTH_M_LEAST, _GAP_M, _WORDS_M = 5.0, 0.45, 0.55  # gaps and lines of words at a scale of one (our choice)
_WORDS_ACROSS, _LONGEST_NAME = 2.9, 13  # room for the words of a place, and their longest name
_BED_WIDTH_M = 1.2  # beds are drawn so wide, as an arm reaches from both sides (common practice)
_UNIT_HEIGHT_M = 1.0  # filters are drawn as if so high
_WATER, _GROWN = "#c9dde0", "#d5e0c0"
MOST_PLACES = 60  # our choice: more cannot be tapped on a phone


class Place(NamedTuple):
    """A place of the map: table and name of its entry, its loop, what it covers [m2], its size in words, and whether
    that could be read."""

    table: str
    name: str
    loop: str
    area_m2: float
    size: str
    is_known: bool = True


class Drawn(NamedTuple):
    """A map: its SVG, its words for who cannot see it, and its places in the order of their numbers."""

    svg: str
    alt: str
    places: tuple[Place, ...]


def places(raw: Mapping[str, Any]) -> list[Place]:
    """Sumps, tanks, beds and filters of a site file by loop, as far as they can be read.

    Examples
    --------
    >>> tables = {"loops": {"main": {"sump": "800 L"}}, "tanks": {"cedar": {"loop": "main", "volume": "1.6 m3"}}}
    >>> [(place.table, place.name, round(place.area_m2, 2), place.size) for place in places(tables)]
    [('loops', 'main', 1.0, '800 L'), ('tanks', 'cedar', 2.0, '1,600 L')]
    """
    units = "us" if value_at(raw, ("site", "units")) == "us" else "metric"
    loops, found = list(entries(raw, "loops")), []
    for loop in loops:
        found.append(_water(raw, "loops", loop, loop, "sump", units))
        for table, key in (("tanks", "volume"), ("beds", "area"), ("biofilters", "media_volume")):
            for name, entry in entries(raw, table).items():
                if value_at(entry, ("loop",)) == loop:
                    found.append(_water(raw, table, str(name), loop, key, units))
    # what names a loop that is not there still has its form
    for table, key in (("tanks", "volume"), ("beds", "area"), ("biofilters", "media_volume")):
        for name, entry in entries(raw, table).items():
            if value_at(entry, ("loop",)) not in loops:
                found.append(_water(raw, table, str(name), "", key, units))
    return found[:MOST_PLACES]


def _water(raw: Mapping[str, Any], table: str, name: str, loop: str, key: str, units: str) -> Place:
    entry = value_at(raw, (table, name))
    dimension = "area" if table == "beds" else "volume"
    size = _read(value_at(entry, (key,)), dimension)
    if not size > 0.0:
        return Place(table, name, loop, 1.0, "size not known", False)
    words = format_quantity(size, dimension, units)
    if table == "beds":
        return Place(table, name, loop, size, words)
    depth = _UNIT_HEIGHT_M if table == "biofilters" else _read(value_at(entry, ("depth",)), "length")
    return Place(table, name, loop, size / (depth if depth > 0.0 else DEFAULT_TANK_DEPTH_M), words)


def _read(value: Any, dimension: str) -> float:
    try:
        return parse_quantity(value, dimension) if isinstance(value, str) else math.nan
    except InputError:
        return math.nan


class _Box(NamedTuple):
    place: Place
    x: float
    y: float
    width: float
    height: float


def _size(place: Place) -> tuple[float, float]:
    """Width and height of a place on the floor. [m] Tanks and sumps are round, beds long, filters square."""
    if place.table == "beds":
        across = min(_BED_WIDTH_M, math.sqrt(place.area_m2))
        return place.area_m2 / across, across
    side = math.sqrt(place.area_m2 * (1.0 if place.table == "biofilters" else 4.0 / math.pi))
    return side, side


def draw(raw: Mapping[str, Any]) -> Drawn:
    """The map of a site.

    Parameters
    ----------
    raw : mapping
        Tables of a site file, sound or not.

    Returns
    -------
    Drawn
        SVG with a shape for each place, which carries its number as ``data-place``.
    """
    found = places(raw)
    if not found:
        return Drawn("", "No loop, tank or bed is in the file yet.", ())
    total = sum(width * height for width, height in map(_size, found))
    widest = max(width for width, _ in map(_size, found))
    across = max(_WIDTH_M_LEAST, widest, 1.7 * math.sqrt(total))
    scale = across / 12.0  # words and gaps grow with the map, so that they keep their size on the screen
    boxes, heads, height = _laid(found, across, scale)
    numbers = {id(place): number for number, place in enumerate(found)}
    body = [
        f'<text x="0" y="{y:.3f}" font-size="{0.42 * scale:.3f}" font-weight="700" fill="{INK}">{escape(words)}</text>'
        for words, y in heads
    ]
    body += [_shape(box, numbers[id(box.place)], scale) for box in boxes]
    bar = _bar(across, height, scale, "us" if value_at(raw, ("site", "units")) == "us" else "metric")
    alt = _alt(found)
    edge = 0.15 * scale
    box = f"{-edge:.3f} {-edge:.3f} {across + 2 * edge:.3f} {height + 1.1 * scale + edge:.3f}"
    svg = (
        f'<svg class="ss-map" viewBox="{box}" role="group" aria-label="{escape(alt, quote=True)}" '
        f'xmlns="http://www.w3.org/2000/svg" font-family="sans-serif">{"".join(body)}{bar}</svg>'
    )
    return Drawn(svg, alt, tuple(found))


def _laid(found: list[Place], across: float, scale: float) -> tuple[list[_Box], list[tuple[str, float]], float]:
    """Boxes of all places, heads of the loops, and the height of it all: row after row, loop after loop."""
    boxes: list[_Box] = []
    heads: list[tuple[str, float]] = []
    gap, words = _GAP_M * scale, 2 * _WORDS_M * scale
    y = 0.0
    for loop in dict.fromkeys(place.loop for place in found):
        heads.append((f"Loop {loop}" if loop else "Of no loop", y + 0.5 * scale))
        x, top, tallest = 0.0, y + 0.8 * scale, 0.0
        for place in found:
            if place.loop != loop:
                continue
            width, height = _size(place)
            room = max(width, _WORDS_ACROSS * scale)
            if x > 0.0 and x + room > across * 1.0001:
                x, top, tallest = 0.0, top + tallest + words + gap, 0.0
            boxes.append(_Box(place, x, top, width, height))
            x, tallest = x + room + gap, max(tallest, height)
        y = top + tallest + words + gap
    return boxes, heads, y


def _shape(box: _Box, number: int, scale: float) -> str:
    place = box.place
    what = _WHAT[place.table]
    said = escape(f"{what} {place.name}, {place.size}: show its form", quote=True)
    fill = _GROWN if place.table == "beds" else _WATER if place.table in ("tanks", "loops") else SHADE
    line = f'fill="{fill}" stroke="{INK}" stroke-width="{0.05 * scale:.3f}"'
    line += "" if place.is_known else f' stroke-dasharray="{0.2 * scale:.3f}"'
    if place.table in ("beds", "biofilters"):
        form = f'<rect x="{box.x:.3f}" y="{box.y:.3f}" width="{box.width:.3f}" height="{box.height:.3f}" {line}/>'
        form += _rows_of_plants(box, scale) if place.table == "beds" else ""
    else:
        r = box.width / 2.0
        form = f'<circle cx="{box.x + r:.3f}" cy="{box.y + r:.3f}" r="{r:.3f}" {line}/>'
        if place.table == "loops":  # a second ring: where the pump stands
            ring = f'fill="none" stroke="{INK}" stroke-width="{0.04 * scale:.3f}"'
            form += f'<circle cx="{box.x + r:.3f}" cy="{box.y + r:.3f}" r="{0.6 * r:.3f}" {ring}/>'
    below = box.y + box.height
    name = place.name if len(place.name) <= _LONGEST_NAME else f"{place.name[: _LONGEST_NAME - 1]}…"
    words = "".join(
        f'<text x="{box.x:.3f}" y="{below + at * scale:.3f}" font-size="{size * scale:.3f}" fill="{ink}">'
        f"{escape(text)}</text>"
        for at, size, ink, text in ((0.45, 0.42, INK, name), (0.9, 0.4, FAINT, f"{what}, {place.size}"))
    )
    reach = max(box.width, _WORDS_ACROSS * scale)
    hit = (
        f'<rect x="{box.x:.3f}" y="{box.y:.3f}" width="{reach:.3f}" height="{box.height + scale:.3f}" fill="{PAPER}" '
        'fill-opacity="0"/>'
    )
    led = f'class="ss-place" role="button" tabindex="0" data-place="{number}" aria-label="{said}"'
    return f"<g {led}>{hit}{form}{words}</g>"


_WHAT = {"loops": "sump", "tanks": "tank", "beds": "bed", "biofilters": "filter"}


def _rows_of_plants(box: _Box, scale: float) -> str:
    """Dots on a bed, a sign that it is planted and not water."""
    step = max(0.35 * scale, box.width / 24.0)
    radius = 0.06 * scale
    dots = [
        f'<circle cx="{box.x + step * (0.5 + column):.3f}" cy="{box.y + share * box.height:.3f}" r="{radius:.3f}" '
        f'fill="{SOUND}"/>'
        for column in range(int(box.width / step))
        for share in (0.3, 0.7)
    ]
    return "".join(dots)


def _bar(across: float, height: float, scale: float, units: str) -> str:
    """The scale: one round length of the keeper's unit."""
    unit_m, name = (0.3048, "ft") if units == "us" else (1.0, "m")
    steps = [mantissa * 10**power for power in range(-1, 4) for mantissa in (1, 2, 5)]
    number = max((step for step in steps if step * unit_m <= across / 4.0), default=steps[0])
    length, y = number * unit_m, height + 0.35 * scale
    return (
        f'<path d="M0 {y - 0.12 * scale:.3f}V{y:.3f}H{length:.3f}V{y - 0.12 * scale:.3f}" fill="none" stroke="{INK}" '
        f'stroke-width="{0.05 * scale:.3f}"/><text x="{length + 0.15 * scale:.3f}" y="{y:.3f}" '
        f'font-size="{0.36 * scale:.3f}" fill="{INK}">{number:g} {name}</text>'
    )


def _alt(found: list[Place]) -> str:
    """The map in words."""
    parts = []
    for loop in dict.fromkeys(place.loop for place in found):
        of_loop = [f"{_WHAT[place.table]} {place.name} {place.size}" for place in found if place.loop == loop]
        parts.append(f"loop {loop}: {', '.join(of_loop)}" if loop else f"of no loop: {', '.join(of_loop)}")
    return f"Map of the site, to scale. {'; '.join(parts)}."


STYLE = f"""<style>
.ss-map {{display: block; width: 100%; max-width: 540px; height: auto; background: {PAPER}; border-radius: 6px;
  touch-action: manipulation}}
.ss-place {{cursor: pointer}}
.ss-place:hover circle, .ss-place:hover rect {{stroke-width: .12}}
.ss-place:focus-visible {{outline: 3px solid {SOUND}; outline-offset: 2px}}
.ss-place[aria-current="true"] text {{font-weight: 700; text-decoration: underline}}
[data-testid="stLayoutWrapper"]:has(> .st-key-map_buttons), .st-key-map_buttons {{position: absolute; height: 0;
  overflow: hidden; visibility: hidden}}
</style>"""

# The page takes drawings out of what it is given, so a script puts this one in; of it the script holds nothing but
# letters of base64. A tap or a key on a shape clicks the button of its number: heard once for the window.
_SCRIPT = """<script>(() => {
  const signs = Uint8Array.from(atob("%s"), sign => sign.charCodeAt(0));
  document.querySelectorAll(".ss-map-here").forEach(here => here.innerHTML = new TextDecoder().decode(signs));
  if (window.stocksimMap) return;
  window.stocksimMap = true;
  const open = event => {
    const place = event.target.closest && event.target.closest("[data-place]");
    if (!place || (event.type === "keydown" && event.key !== "Enter" && event.key !== " ")) return;
    event.preventDefault();
    document.querySelector(".st-key-map_place_" + place.dataset.place + " button")?.click();
  };
  document.addEventListener("click", open);
  document.addEventListener("keydown", open);
})()</script>"""


def html(drawn: Drawn) -> str:
    """A map as a page shows it; every name in it is escaped."""
    return STYLE + '<div class="ss-map-here"></div>' + _SCRIPT % base64.b64encode(drawn.svg.encode()).decode()
