"""What the commands about a site answer, as data and as text."""

from __future__ import annotations

import math
import sys
import time
from typing import Any, NamedTuple

import numpy as np

from stocksim.engine.findings import Finding
from stocksim.engine.layout import bed_film_m2
from stocksim.engine.results import Season
from stocksim.engine.running import run_season
from stocksim.engine.warmth import warmth_of_site
from stocksim.faces.fate_words import (
    event_lines,
    event_words,
    fate_note,
    fate_rows,
    is_worth_telling,
    ration_words,
)
from stocksim.faces.tables import tank_rows, text_table, water_rows
from stocksim.faces.words import cautions, finding_sentence, verdict
from stocksim.faces.wrapping import wrapped
from stocksim.library.feeds import feed_kind
from stocksim.planning.levers import find_levers
from stocksim.site.climate_faults import heaters
from stocksim.site.cohorts import events_in_order
from stocksim.site.fish_tables import CohortTable
from stocksim.site.reading import Site
from stocksim.site.sizes import DEFAULT_BED_DEPTH_M, DEFAULT_GRAIN_M
from stocksim.units import format_quantity

_BAR_AFTER_SECONDS = 1.0
_BAR_WIDTH = 30
_EVENTS_PRINTED = 12


class Answer(NamedTuple):
    """A season with its findings, levers sought."""

    season: Season
    findings: list[Finding]


class Bar:
    """A progress bar on standard error, shown only when a run is long and someone watches."""

    def __init__(self, label: str):
        self.label, self.began, self.shown = label, time.monotonic(), False

    def __call__(self, done: int, total: int) -> None:
        if not sys.stderr.isatty() or time.monotonic() - self.began < _BAR_AFTER_SECONDS:
            return
        filled = _BAR_WIDTH * done // total
        self.shown = True
        print(
            f"\r{self.label} [{'#' * filled}{'.' * (_BAR_WIDTH - filled)}] {done}/{total}",
            end="",
            file=sys.stderr,
        )

    def close(self) -> None:
        """Wipe the bar."""
        if self.shown:
            print("\r" + " " * (len(self.label) + _BAR_WIDTH + 20) + "\r", end="", file=sys.stderr)


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
    levers = {f.where: f.lever for f in findings if f.limit == "planting_ratio" and f.lever}
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


def _more(cohort: CohortTable) -> str:
    """What sets a cohort apart."""
    words: list[str] = [] if cohort.sex == "mixed" else [cohort.sex]
    words += ["wild-caught" + (", trained" if cohort.trained else "")] if cohort.wild else []
    words += [] if cohort.size_spread is None else [f"sizes spread by {100 * cohort.size_spread:.0f} %"]
    return f" ({', '.join(words)})" if words else ""


def _fed(site: Site, cohort: CohortTable) -> str:
    return f"fed {cohort.feed}" + (" (natural)" if feed_kind(site.feeds[cohort.feed]) == "natural" else "")


def understood(site: Site) -> dict[str, Any]:
    """What was understood of a sound site file: keeper's units, and every assumption made.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    dict
        Texts by topic; ready for `check --json`.
    """
    file = site.file
    units = file.site.units

    def show(value: float, dimension: str) -> str:
        return format_quantity(value, dimension, units)

    loops = {
        key: f"sump {show(t.sump, 'volume')}, pH {t.ph if t.ph is not None else 'computed'}, water "
        f"{show(float(site.temperature_c[key].min()), 'temperature')} to "
        f"{show(float(site.temperature_c[key].max()), 'temperature')}"
        for key, t in file.loops.items()
    }
    tanks = {
        key: f"{show(t.volume, 'volume')} in loop {t.loop}, flow {show(t.flow, 'flow')}"
        for key, t in file.tanks.items()
    }
    beds = {}
    for key, bed in file.beds.items():
        words = f"{bed.kind}, {show(bed.area, 'area')} in loop {bed.loop}"
        if bed.kind != "wicking":
            words += f", nitrifying surface {show(bed_film_m2(bed), 'area')}"
            words += "" if bed.depth else f", depth {100 * DEFAULT_BED_DEPTH_M:.0f} cm assumed"
            words += "" if bed.flow else ", flow assumed"
            if bed.kind == "media" and not bed.media_size:
                words += f", grain {1000 * DEFAULT_GRAIN_M:.1f} mm assumed"
        beds[key] = words
    cohorts = {
        key: f"{c.count} {c.species} (evidence {site.species[c.species].evidence}) of "
        f"{show(c.mean_weight, 'weight')} in {c.tank}{_more(c)}, {_fed(site, c)} {ration_words(c.ration, units)}"
        for key, c in file.cohorts.items()
    }
    return {
        "season": f"{file.season.start} to {file.season.end}, {site.days} days",
        "loops": [f"{key}: {text}" for key, text in loops.items()],
        "tanks": [f"{key}: {text}" for key, text in tanks.items()],
        "beds": [f"{key}: {text}" for key, text in beds.items()],
        "biofilters": [f"{key}: {b.kind} in loop {b.loop}" for key, b in file.biofilters.items()],
        "settlers": [
            f"{key}: {s.kind.replace('_', ' ')} in loop {s.loop}, reached by {100 * s.share_of_flow:.0f} % of the "
            f"return, {show(s.drawn_off, 'volume')} drawn off a day"
            for key, s in file.settlers.items()
        ],
        "cohorts": [f"{key}: {text}" for key, text in cohorts.items()],
        "events": [f"{event.date}: {event_words(event, units)}" for _, event in events_in_order(file)],
        "heat": _heat_words(site),
        "questions": list(site.questions),
        "notes": [note for note in site.notes if note not in site.questions],
    }


def _heat_words(site: Site) -> list[str]:
    """Rooms with their loss, and heaters; empty for a site without weather."""
    warmth = warmth_of_site(site)
    if warmth is None:
        return []
    units = site.file.site.units
    cold = format_quantity(warmth.weather.design_cold_c, "temperature", units)
    rooms = [f"{room}: loses {loss:.0f} W/K at night" for room, loss in warmth.plan.loss_w_k.items()]
    burners = [
        f"{place}: {heater.power / 1000.0:g} kW of {heater.fuel.replace('_', ' ')}, set to "
        f"{format_quantity(heater.set_point, 'temperature', units)}"
        for place, heater in heaters(site.file)
    ]
    return [f"weather: {site.file.weather.kind if site.file.weather else ''}, design cold {cold}", *rooms, *burners]
