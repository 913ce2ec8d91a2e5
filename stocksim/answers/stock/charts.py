"""Tanks drawn to their volume, with the fish of a plan in them."""

from __future__ import annotations

import base64
import math
from html import escape

from stocksim.answers.stock.brief import room_percent
from stocksim.answers.stock.decide import StockingPlan
from stocksim.answers.stock.seasons import Placed
from stocksim.faces.markup import swatch_html
from stocksim.faces.palette import INK, PAPER, species_colour
from stocksim.units import format_quantity

_WATER = "#dcebea"
_WIDEST = 320.0  # pixels of the largest tank
_FLAT = 0.62  # height of a tank over its width
_MOST_DRAWN = 40  # fish drawn in the fullest tank
_EDGE = 10.0

STYLE = """<style>
.ss-tanks {display: flex; flex-wrap: wrap; gap: 1rem 1.6rem; align-items: flex-end}
.ss-tank {margin: 0; max-width: 100%} .ss-tank img {display: block; max-width: 100%; height: auto}
.ss-tank figcaption {font-size: .93rem; line-height: 1.35; max-width: 22rem; min-height: 4.6rem}
.ss-tank b {font-size: 1.02rem} .ss-tank .ss-faint {color: var(--ss-faint)}
</style>"""


def fish_a_shape(plan: StockingPlan) -> int:
    """How many fish one shape stands for, the same in all tanks: 1, 2, 5, 10, 20, ..."""
    fullest = max((sum(p.fish for p in plan.cohorts if p.tank == t) for t in range(len(plan.problem.tanks))), default=0)
    wanted = max(fullest / _MOST_DRAWN, 1.0)
    power = 10.0 ** math.floor(math.log10(wanted))
    return int(next(step * power for step in (1, 2, 5, 10) if step * power >= wanted))


def tanks_html(plan: StockingPlan) -> str:
    """All tanks, area by volume, each with its fish, their numbers and how full it is at its fullest."""
    volumes = [table.volume for table in plan.problem.site.file.tanks.values()]
    each = fish_a_shape(plan)
    figures = [_tank(plan, t, _WIDEST * math.sqrt(v / max(volumes)), each) for t, v in enumerate(volumes)]
    said = "One shape is one fish" if each == 1 else f"One shape stands for {each} fish"
    note = f"{said}; the area of a tank follows its volume. Bar: density on the fullest day, % of its limit."
    return f'<div class="ss-tanks">{"".join(figures)}</div><p class="ss-small">{note}</p>'


def _tank(plan: StockingPlan, tank: int, width: float, each: int) -> str:
    problem = plan.problem
    units, name = problem.site.file.site.units, problem.tanks[tank]
    table = list(problem.site.file.tanks.values())[tank]
    here = [p for p in plan.cohorts if p.tank == tank]
    height = width * _FLAT
    shapes = _shapes(plan, here, width, height, each)
    full = room_percent(plan, tank)
    # the bar: a thin gauge at the right edge, with its number below in words
    level = min(full, 100.0) / 100.0 * (height - 2.0)
    bar = f'<rect x="{width - 7:.1f}" y="{height - 1 - level:.1f}" width="6" height="{level:.1f}" fill="{INK}"/>'
    edge = "" if here else ' stroke-dasharray="5 4"'
    told = ", ".join(f"{p.fish} {p.cohort}" for p in here) or "empty"
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" width="{width:.0f}" '
        f'height="{height:.0f}">'
        f'<rect x="1" y="1" width="{width - 2:.1f}" height="{height - 2:.1f}" rx="9" '
        f'fill="{_WATER if here else PAPER}" stroke="{INK}" stroke-width="2"{edge}/>{"".join(shapes)}'
        f"{bar if here else ''}</svg>"
    )
    lines = [
        f"{swatch_html(problem.candidates[p.candidate].species)}{p.fish} {escape(p.cohort)}"
        + ("" if problem.is_own(p.candidate) else " <i>to buy</i>")
        for p in here
    ]
    used = f"{full:.0f} % of its limit at most" if here else "left empty"
    place = f"{format_quantity(table.volume, 'volume', units)}, loop {escape(table.loop)}"
    # an image, because the pages let no drawing stand among other HTML
    picture = base64.b64encode(drawing.encode()).decode()
    alt = escape(f"tank {name}: {told}", quote=True)
    return (
        f'<figure class="ss-tank"><img alt="{alt}" src="data:image/svg+xml;base64,{picture}"><figcaption>'
        f'<b>{escape(name)}</b> <span class="ss-faint">{place}; {used}'
        f"</span><br>{'<br>'.join(lines)}</figcaption></figure>"
    )


def _shapes(plan: StockingPlan, here: list[Placed], width: float, height: float, each: int) -> list[str]:
    """Fish in rows from the bottom up, larger ones for heavier fish."""
    drawn = [
        (p, number)
        for p in sorted(here, key=lambda p: -plan.problem.candidates[p.candidate].mean_weight_g)
        for number in range(max(1, round(p.fish / each)))
    ]
    if not drawn:
        return []
    room_w, room_h = width - 2.0 * _EDGE - 8.0, height - 2.0 * _EDGE
    columns = max(1, math.ceil(math.sqrt(len(drawn) * room_w / room_h / 1.9)))
    rows = math.ceil(len(drawn) / columns)
    step_x, step_y = room_w / columns, room_h / max(rows, 3)
    longest = min(step_x * 0.86, step_y * 1.9)
    heaviest = max(plan.problem.candidates[p.candidate].mean_weight_g for p, _ in drawn)
    shapes = []
    for place, (p, _) in enumerate(drawn):
        candidate = plan.problem.candidates[p.candidate]
        length = longest * max((candidate.mean_weight_g / heaviest) ** (1.0 / 3.0), 0.45)
        row, column = divmod(place, columns)
        x = _EDGE + step_x * (column + (0.62 if row % 2 else 0.45))
        y = height - _EDGE - step_y * (row + 0.5)
        shapes.append(_fish(x, y, length, species_colour(candidate.species), row % 2 == 1))
    return shapes


def _fish(x: float, y: float, length: float, colour: str, turned: bool) -> str:
    """A fish of our own drawing: a leaf-shaped body, a tail and an eye."""
    half, high = 0.5 * length, 0.21 * length
    nose, tail = (-half, half) if not turned else (half, -half)
    root = 0.48 * tail
    body = (
        f"M{nose:.1f} 0 Q{0.2 * nose:.1f} {-2 * high:.1f} {root:.1f} 0 Q{0.2 * nose:.1f} {2 * high:.1f} {nose:.1f} 0Z"
    )
    fin = f"M{0.8 * root:.1f} 0 L{tail:.1f} {-high:.1f} L{0.85 * tail:.1f} 0 L{tail:.1f} {high:.1f}Z"
    return (
        f'<g transform="translate({x:.1f} {y:.1f})"><path d="{body} {fin}" fill="{colour}"/>'
        f'<circle cx="{0.66 * nose:.1f}" cy="{-0.25 * high:.1f}" r="{max(0.03 * length, 0.7):.1f}" fill="{PAPER}"/></g>'
    )
