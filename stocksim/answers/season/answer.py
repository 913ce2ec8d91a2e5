"""What the commands about a site answer, as data and as text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from stocksim.changes.search import find_levers
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.engine.running import run_season
from stocksim.faces.fates import (
    event_lines,
    fate_note,
    fate_rows,
    is_worth_telling,
)
from stocksim.faces.options import Bar
from stocksim.faces.text import tank_rows, text_table, water_rows, wrapped
from stocksim.faces.words import cautions, finding_sentence, summary, verdict
from stocksim.site.kinds import LIMITS
from stocksim.site.reading import Site
from stocksim.units import format_quantity

_EVENTS_PRINTED = 12


class Answer(NamedTuple):
    """A season with its findings, levers sought."""

    season: Season
    findings: list[Finding]


def solve(site: Site) -> Answer:
    """Run a site's season and seek a lever for every broken limit, with a progress bar when that takes long."""
    bar = Bar("days")
    season = run_season(site, bar)
    bar.close()
    bar = Bar("levers")
    findings = find_levers(season, bar)
    bar.close()
    return Answer(season, findings)


def season_text(season: Season, findings: list[Finding]) -> str:
    """The printed answer of a season."""
    file = season.site.file
    units = file.site.units
    totals = season.totals()
    lines = [
        *wrapped(f"{file.site.name}: {season.dates[0]} to {season.dates[-1]}"),
        "",
        *wrapped(verdict(season, findings)),
        "",
        text_table(tank_rows(season, findings, units)),
        *wrapped("(worst hour of the season / limit; ! marks a broken limit)", "  "),
    ]
    broken = [finding for finding in findings if finding.is_broken]
    if broken:
        lines += ["", "Limits that bite, in date order:"]
        for number, finding in enumerate(broken, 1):
            lines += wrapped(f"{number}. {finding_sentence(finding, units)}", "   ")
            lines += wrapped(f"What helps: {finding.lever}.", "     ", "   ") if finding.lever else []
    lines += _fate_lines(season, units)
    for loop, table in file.loops.items():
        given = f"pH {table.ph:g} as given" if table.ph is not None else "pH computed"
        dosed = table.buffer.replace("_", " ") if table.alkalinity_target is not None else "nobody doses"
        lines += ["", *wrapped(f"Water of loop {loop}, mg/L ({given}; buffer: {dosed}):", "  ")]
        lines.append(text_table(water_rows(season, loop, units)))
    lines += wrapped(
        "(film: share of its surface's capacity that ammonia and nitrite oxidizers fill; it grows with its food)", "  "
    )
    feed, growth = totals["feed_kg"] or 0.0, totals["growth_kg"] or 0.0
    conversion = totals["feed_conversion_offered"]
    lines += [
        "",
        *wrapped(
            f"Feed offered {format_quantity(feed, 'mass', units)}, growth {format_quantity(growth, 'mass', units)}"
            + (f", {conversion:.2f} kg of feed a kg of growth." if conversion else "."),
            "  ",
        ),
    ]
    lines += _area_lines(season, findings, units)
    lines += ["", "Cautions:"]
    for caution in cautions(season):
        lines += wrapped(f"- {caution}", "  ")
    return "\n".join(lines)


def _fate_lines(season: Season, units: str) -> list[str]:
    """What becomes of the fish, where there is something to tell: a row for each cohort, then the events."""
    if not is_worth_telling(season):
        return []
    lines = ["", "What becomes of the fish:", text_table(fate_rows(season, units))]
    lines += wrapped(f"({fate_note(season)})", "  ")
    for line in event_lines(season, units, _EVENTS_PRINTED):
        lines += wrapped(line, "  ")
    return lines


def _area_lines(season: Season, findings: list[Finding], units: str) -> list[str]:
    """Planted area against what the feed carries, a line for each loop with fish."""
    lines = []
    levers = {f.where: f.lever for f in findings if LIMITS[f.limit].is_advisory and f.lever}
    table = season.loop_table
    for column, loop in enumerate(season.layout.loops):
        if table["feed_g"][:, column].sum() == 0.0:
            continue
        carried, planted_m2 = table["handbook_area_m2"][:, column], table["planted_area_m2"][:, column]
        low, high = np.fmin.reduce(carried), np.fmax.reduce(carried)
        # the mean of the planted days, as the lever's own sentence counts it
        is_planted = planted_m2 > 0.0
        mean = float(planted_m2[is_planted].mean()) if is_planted.any() else 0.0
        planted = format_quantity(mean, "area", units)
        lever = levers.get(f"loops.{loop}", "")
        usual = "" if is_planted.any() else "of leafy crops "
        text = f"Loop {loop}: {planted} planted; no feed ratio was published for what grows there."
        if not math.isnan(low):
            text = (
                f"Loop {loop}: {planted} planted; by the handbook ratio {usual}its feed carries "
                f"{format_quantity(float(low), 'area', units)} on its leanest day and "
                f"{format_quantity(float(high), 'area', units)} on its fullest."
            )
        text += f" {lever[0].upper()}{lever[1:]}." if lever else ""
        balance = table["balance_area_m2"][:, column]
        balance = balance[~np.isnan(balance)]
        if balance.size:
            low, high = (format_quantity(float(value), "area", units) for value in (balance.min(), balance.max()))
            text += f" By nitrogen, in each day's light and warmth, it carries {low} to {high}: see `stocksim beds`."
        lines += wrapped(text, "  ")
    return lines


# --- a season's results as files


def write_season(season: Season, folder: str | Path, findings: Sequence[Finding] | None = None) -> list[Path]:
    """Write what ``stocksim season --out`` writes: five CSV files and summary.json.

    Parameters
    ----------
    season : Season
        A season that was run.
    folder : str or Path
        Made if it is not there; files of these names in it are replaced.
    findings : sequence of Finding, optional
        What is told of its limits. If left out, a change that mends each broken limit is sought and proved, which may
        take seconds; ``season.findings`` tells them without.

    Returns
    -------
    list of Path
        ``tanks.csv``, ``cohorts.csv``, ``beds.csv``, ``loops.csv``, ``ledger.csv`` and ``summary.json``; the last
        holds the version of stocksim and hashes of the site and of the library that the season was made from.
    """
    told = find_levers(season) if findings is None else list(findings)
    return season.write(Path(folder), summary(season, told))
