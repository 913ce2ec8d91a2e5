"""Tables and paragraphs of plain text."""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Collection, Sequence
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import (
    MOST_ACTIONS,
    MOST_CARES,
    MOST_NOTES,
    TOPICS,
    Answer,
    Brief,
    Chart,
    Head,
    Html,
    Part,
    Point,
    Points,
    Sentences,
    Table,
)
from stocksim.faces.words import day_words, level_words
from stocksim.site.weather import days_of_month
from stocksim.units import face_unit, format_quantity

WITHOUT_TERMINAL = 100  # columns where nobody's terminal is known, as in a file: the same everywhere
_NARROWEST = 40  # narrower text would be one word a line
_EASY = 24  # columns of a cell that is broken, where there is space
_BETWEEN, _HARD = "  ", "\N{NO-BREAK SPACE}"  # between columns; inside a quantity


def text_width() -> int:
    """Columns to break text at: those of COLUMNS, else of the terminal, else 100."""
    return max(shutil.get_terminal_size((WITHOUT_TERMINAL, 24)).columns, _NARROWEST)


def wrapped(text: str, indent: str = "", first: str = "") -> list[str]:
    """Lines of a text; a word stays whole, as an option with hyphens or a path longer than a line.

    Parameters
    ----------
    text : str
        One paragraph.
    indent, first : str
        What its lines begin with from the second one on, and the first one.

    Returns
    -------
    list of str
        One empty line for an empty text.
    """
    lines = textwrap.wrap(
        text, text_width(), initial_indent=first, subsequent_indent=indent, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    return lines or [""]


# --- tables that the command line and the pages share


def tank_rows(season: Season, findings: list[Finding], units: str) -> list[dict[str, str]]:
    """One row a tank: fish, density at start and peak, the limits and when they are met.

    Parameters
    ----------
    season : Season
        A season that was run.
    findings : list of Finding
        Its findings.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    list of dict of str to str
        Ready to print; keys are the column heads.
    """
    layout, course, file = season.layout, season.course, season.site.file
    # as density is judged: of the fish that the day began with, its dead among them
    biomass = (course.grown_g @ layout.cohort_tank)[0] / 1000.0
    has_fish = course.there_in_morning[0] @ layout.cohort_tank > 0.0
    density = biomass / layout.volume_m3[: len(layout.tanks)]
    by_place = {(f.limit, f.where): f for f in findings}
    rows = []
    for column, tank in enumerate(layout.tanks):
        where = f"tanks.{tank}"
        dense, air, toxic = (by_place.get((name, where)) for name in ("density", "oxygen", "unionized_ammonia"))
        stocked = np.flatnonzero(has_fish[:, column])
        row = {
            "tank": tank,
            "loop": file.tanks[tank].loop,
            "fish": ", ".join(dict.fromkeys(s.cohort for s in layout.stays if s.table.tank == tank)) or "none",
        }
        if dense is None or air is None or toxic is None or not stocked.size:
            rows.append(
                row
                | dict.fromkeys(
                    ("density start", "density peak", "density limit", "peak date", "biomass", "oxygen low", "ammonia"),
                    "-",
                )
            )
            continue
        peak = int(np.argmax(density[:, column]))
        rows.append(
            row
            | {
                "density start": level_words(float(density[stocked[0], column]), "kg/m3", units),
                "density peak": ("!" if dense.is_broken else "")
                + level_words(float(density[peak, column]), "kg/m3", units),
                "density limit": level_words(dense.threshold, "kg/m3", units),
                "peak date": day_words(season.dates[peak]),
                "biomass": format_quantity(float(biomass[peak, column]), "mass", units),
                "oxygen low": _against(air, units),
                "ammonia": _against(toxic, units),
            }
        )
    return rows


def _against(finding: Finding, units: str) -> str:
    mark = "!" if finding.is_broken else ""
    value = level_words(finding.worst_value, finding.unit, units)
    return f"{mark}{value.rsplit(' ', 1)[0]} / {level_words(finding.threshold, finding.unit, units)}"


def water_rows(season: Season, loop: str, units: str) -> list[dict[str, str]]:
    """The course of a loop's water, a row a month: means of the month, pH from lowest to highest tank and day.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    list of dict of str to str
        Ready to print; keys are the column heads.
    """
    layout, loops, tanks = season.layout, season.loop_table, season.tank_table
    column = layout.loops.index(loop)
    its_tanks = layout.leaf_loop[: len(layout.tanks), column] > 0.0
    has_tanks = bool(its_tanks.any())
    rows = []
    for month, days in days_of_month(layout.start, layout.days):

        def mean(key: str, days: NDArray[np.int64] = days) -> float:
            return float(loops[key][days, column].mean())

        inside = {key: tanks[key][np.ix_(days, its_tanks)] for key in ("tan_mg_l", "nitrite_n_mg_l", "ph")}
        film = [loops[f"{kind}_oxidizer_maturity"][days[-1], column] for kind in ("ammonia", "nitrite")]
        rows.append(
            {
                "month": month,
                # a loop without tanks has no water that is told by the tank
                "TAN": f"{inside['tan_mg_l'].mean():.2f}" if has_tanks else "-",
                "nitrite-N": f"{inside['nitrite_n_mg_l'].mean():.2f}" if has_tanks else "-",
                "nitrate-N": f"{mean('nitrate_n_mg_l'):.0f}",
                "alkalinity": f"{mean('alkalinity_mg_l'):.0f}",
                "pH": f"{inside['ph'].min():.1f}-{inside['ph'].max():.1f}" if has_tanks else "-",
                f"buffer {face_unit('dose', units)}/week": format_quantity(
                    7.0 * mean("buffer_g"), "dose", units
                ).split()[0],
                "top-up a day": format_quantity(mean("top_up_l") / 1000.0, "volume", units),
                "biofilter % (ammonia, nitrite)": "none"
                if film[0] != film[0]
                else f"{100 * film[0]:.0f}, {100 * film[1]:.0f}",
            }
        )
    return rows


# --- tables of text, no wider than a page


def text_table(rows: Sequence[dict[str, str]]) -> str:
    """Rows as an aligned text table, no wider than the text: long cells are broken, then columns go below each other.

    Parameters
    ----------
    rows : sequence of dict of str to str
        Keys are the column heads; the first column is repeated where the others go below each other.

    Returns
    -------
    str
        Empty for no rows.
    """
    if not rows:
        return ""
    width = min(text_width(), WITHOUT_TERMINAL)
    columns = [[_glued(text) for text in (head, *(row[head] for row in rows))] for head in rows[0]]
    blocks = _blocks(columns, width)
    return "\n\n".join("\n".join(_block_lines([columns[at] for at in block], width)) for block in blocks)


def _glued(text: str) -> str:
    """A cell with hard spaces inside quantities and dates."""
    text = re.sub(r"(?<![\w.])(\d[\d.,/-]*) (?=[A-Za-z%])", rf"\1{_HARD}", text)
    return re.sub(rf"(?<=\d{_HARD}[A-Z][a-z][a-z]) (?=\d{{4}})", _HARD, text)


def _least(column: list[str]) -> int:
    """Width of a column's longest word."""
    return max(len(word) for text in column for word in text.split(" "))


def _blocks(columns: list[list[str]], width: int) -> list[list[int]]:
    """Columns in blocks that fit the width, each with the first column before it; one block where that can be."""
    if sum(map(_least, columns)) + len(_BETWEEN) * (len(columns) - 1) <= width:
        return [list(range(len(columns)))]
    wide = [max(_least(column), min(_EASY, max(map(len, column)))) for column in columns]
    blocks = [[0]]
    for at in range(1, len(columns)):
        used = sum(wide[column] + len(_BETWEEN) for column in blocks[-1])
        if len(blocks[-1]) > 1 and used + wide[at] > width:
            blocks.append([0])
        blocks[-1].append(at)
    return blocks


def _block_lines(columns: list[list[str]], width: int) -> list[str]:
    """Lines of columns side by side, the head first; the widest are narrowed until all fit."""
    least = [_least(column) for column in columns]
    widths = [max(map(len, column)) for column in columns]
    while sum(widths) + len(_BETWEEN) * (len(widths) - 1) > width:
        spare = [max(wide - narrow, 0) and wide for wide, narrow in zip(widths, least, strict=True)]
        if not any(spare):
            break  # one word wider than the page stays whole
        widths[spare.index(max(spare))] -= 1
    lines = []
    for number, cells in enumerate(zip(*columns, strict=True)):
        broken = [
            textwrap.wrap(cell, wide, break_long_words=False, break_on_hyphens=False) or [""]
            for cell, wide in zip(cells, widths, strict=True)
        ]
        for parts in zip_longest(*broken, fillvalue=""):
            line = _BETWEEN.join(part.ljust(wide) for part, wide in zip(parts, widths, strict=True))
            lines.append(line.rstrip().replace(_HARD, " "))
        if number == 0:
            lines.append(_BETWEEN.join("-" * wide for wide in widths))
    return lines


# --- an answer as text


def answer_text(answer: Answer, topics: Collection[str] | None = None) -> str:
    """An answer as the command line prints it.

    Parameters
    ----------
    answer : Answer
        With all its sections.
    topics : collection of str, optional
        What is asked for, of `TOPICS`; none of them is the first layer, and left out is all of the answer.

    Returns
    -------
    str
        Lines as wide as the terminal at most, save for lines to copy; tables no wider than `WITHOUT_TERMINAL`.
    """
    has_title = bool(answer.title) and answer.begins != "verdict"
    lines = wrapped(answer.title) if has_title else []
    lines += [""] if has_title and answer.begins == "title" else []
    if answer.verdict:
        lines += wrapped(answer.verdict)
    if topics is None or answer.brief is None:
        sections = answer.sections
    elif topics:
        sections = answer.about(topics)
    else:
        return "\n".join([*lines, *_brief_lines(answer, answer.brief)])
    lines += [line for section in sections for part in section.parts for line in _part_lines(part)]
    return "\n".join(lines)


def _brief_lines(answer: Answer, brief: Brief) -> list[str]:
    """The first layer below the verdict, and which options tell more."""
    lines = [""] * bool(answer.verdict) + wrapped(brief.head) if brief.head else []
    if brief.actions:
        lines += text_table(brief.actions[:MOST_ACTIONS]).splitlines()
        more = len(brief.actions) - MOST_ACTIONS
        lines += [f"and {more} more with --all"] if more > 0 else []
    lines += ["", *text_table(brief.table).splitlines()] if brief.table else []
    lines += ["", *(line for note in brief.notes[:MOST_NOTES] for line in wrapped(note, "  "))] * bool(brief.notes)
    lines += ["", *(line for care in brief.care[:MOST_CARES] for line in wrapped(care, "  ", "! "))] * bool(brief.care)
    return [*lines, "", *wrapped(f"More: {' '.join(f'--{name}' for name in [*told_topics(answer), 'all'])}")]


def told_topics(answer: Answer) -> list[str]:
    """Topics of which text has something to tell."""
    return [
        topic
        for topic in TOPICS
        if any(_part_lines(part) for section in answer.about([topic]) for part in section.parts)
    ]


def _part_lines(part: Part) -> list[str]:
    """Lines of a part; none of what only pages show, or of what is empty."""
    if isinstance(part, Points):
        return _point_lines([point for point in part.items if point.is_broken])
    if isinstance(part, Chart | Html) or part.on == "page":
        return []
    if isinstance(part, Head):
        lines = wrapped(part.text)
    elif isinstance(part, Sentences):
        lines = [line for item in part.items for line in wrapped(f"{part.mark}{item}", part.indent, part.first)]
    elif isinstance(part, Table):
        lines = [text_table(list(part.rows))] if part.rows else []
    else:
        lines = list(part.lines)
    return ["", *lines] if lines and part.gap else lines


def _point_lines(points: list[Point]) -> list[str]:
    """Numbered, each with what helps below it."""
    lines = []
    for number, point in enumerate(points, 1):
        lines += wrapped(f"{number}. {point.words}", "   ")
        lines += wrapped(f"What helps: {point.helps}.", "     ", "   ") if point.helps else []
    return lines
