"""The printed report: what questions tell of a season, joined on one page of HTML that asks nothing of a network."""

from __future__ import annotations

import datetime as dt
from html import escape
from pathlib import Path

from stocksim import __version__
from stocksim.changes.ways import Advice
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.faces import markup, registry, verdict_bar
from stocksim.faces.answer import Section
from stocksim.faces.palette import CAUTION, FAINT, INK, PAPER, SHADE, SOUND, TROUBLE
from stocksim.faces.picture_svg import picture_svg
from stocksim.site.hashes import site_hash
from stocksim.units import format_date

_MARK = "<!-- a report of stocksim -->"
# No smaller letter than 9 pt; no size of paper, so that A4 and Letter both serve.
_STYLE = f"""
@page {{margin: 13mm}}
* {{box-sizing: border-box; print-color-adjust: exact; -webkit-print-color-adjust: exact}}
body {{font: 10.5pt/1.35 sans-serif; color: {INK}; background: {PAPER}; max-width: 184mm; margin: 0 auto;
  padding: 6mm 3mm}}
@media print {{body {{background: none; padding: 0; max-width: none}}}}
h1 {{font: 700 19pt/1.2 serif; margin: 0 0 2mm}}
h2 {{font: 700 13.5pt/1.2 serif; margin: 5mm 0 1.5mm; break-after: avoid}}
svg {{display: block; width: 100%; height: auto}} p, ul, ol {{margin: 1mm 0}}
table {{border-collapse: collapse; width: 100%; font-size: 9.5pt; font-variant-numeric: tabular-nums;
  margin: 1mm 0 2mm}}
th {{text-align: left; vertical-align: bottom; border-bottom: 1.5pt solid {INK}; padding: .6mm 1.2mm}}
td {{border-bottom: .5pt solid {FAINT}; padding: .8mm 1.2mm; vertical-align: top; overflow-wrap: anywhere}}
tr, .ss-card, .ss-verdict, svg {{break-inside: avoid}}
.ss-verdict {{display: flex; gap: 3mm; align-items: center; padding: 2mm 3mm; color: {PAPER}; font: 700 12pt/1.3 serif}}
.ss-trouble {{background: {TROUBLE}}} .ss-sound {{background: {SOUND}}} .ss-caution {{background: {CAUTION}}}
.ss-site {{display: block; font: 600 9pt/1.2 sans-serif}} .ss-bad {{color: {TROUBLE}; font-weight: 700}}
.ss-do {{display: block; background: {SHADE}; border-left: 3pt solid {SOUND}; padding: .6mm 2mm}}
.ss-key {{display: flex; flex-wrap: wrap; gap: 0 5mm; font-size: 9.5pt}} .ss-caption, .ss-small {{font-size: 9pt}}
.ss-swatch {{display: inline-block; width: 10mm; height: 1mm; vertical-align: middle; margin-right: 1.5mm}}
.ss-badge {{font-size: 9pt; border: .7pt solid {INK}; border-radius: 3mm; padding: 0 1.5mm; margin-left: 1mm}}
.ss-card {{border: 1.5pt solid {INK}; padding: 2.5mm 3.5mm}} .ss-card-answer {{font: 700 14pt/1.2 serif}}
.ss-card p, .ss-card li {{font-size: 9pt; margin: .8mm 0}}
"""


def first_day(season: Season, wanted: dt.date, is_asked: bool) -> dt.date:
    """The day that a report begins on: what was asked for, else today, or the season's first where that is not in it.

    Parameters
    ----------
    season : Season
        A season that was run.
    wanted : date
        Of the keeper or of the clock.
    is_asked : bool
        Whether the keeper asked for it: then another day is refused.

    Returns
    -------
    date
        One of the season.

    Raises
    ------
    InputError
        If a day was asked for that the season has not.
    """
    if wanted in season.dates:
        return wanted
    first, last = season.dates[0], season.dates[-1]
    if is_asked:
        raise InputError(
            f"--on: {format_date(wanted)} is not in the season, {format_date(first)} to {format_date(last)}."
        )
    return first


def report_html(season: Season, advice: Advice | None, day: dt.date) -> str:
    """The page.

    Parameters
    ----------
    season : Season
        A season that was run.
    advice : Advice or None
        What is advised for it, where that was sought.
    day : date
        Day of the season from which feed and shopping are told.

    Returns
    -------
    str
        A whole HTML document, styles and drawing in it, without scripts.
    """
    site, told = season.site, verdict_bar.told(season)
    title = f"{site.file.site.name}: report from {format_date(day)}"
    sections = [section for ask in registry.reported() for section in ask(season, advice, day)]
    plan, *others = sections
    drawn = f"<h2>The season at a glance</h2>{picture_svg(season, day)}{markup.species_key_html(season)}"
    made = (
        f"Made by stocksim {__version__} on {format_date(dt.date.today())} from {site.name} ({site_hash(site)[:12]}). "
        "A model, not a promise: look at the fish and test the water. Local codes and licensed trades decide on power, "
        "heat, fuel and water."
    )
    body = [
        markup.heading_html(title),
        markup.verdict_html(told.words, told.is_trouble, told.is_caution, told.name),
        _section_html(plan),
        drawn,
        *map(_section_html, others),
        markup.caption_html(made),
    ]
    return (
        f'<!DOCTYPE html>{_MARK}<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{_STYLE}</style></head>'
        f"<body><main>{''.join(body)}</main></body></html>\n"
    )


def is_report(path: Path) -> bool:
    """Whether a file is a report, which a new one may replace."""
    with path.open(encoding="utf-8", errors="replace") as file:
        return _MARK in file.read(200)


def _section_html(section: Section) -> str:
    return "".join(map(markup.part_html, section.parts))
