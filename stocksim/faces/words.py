"""Words for keepers, shared by the command line and the pages: levels, limits, verdict, cautions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from stocksim.changes.ways import Advice
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.engine.results.harm import harms, is_measured
from stocksim.faces.care import alarm, whole_cares
from stocksim.faces.change_words import help_words
from stocksim.faces.density_words import density_data
from stocksim.faces.fates import (
    death_words,
    event_data,
    fate_data,
    feed_data,
    heavy_words,
    is_heavy,
)
from stocksim.faces.feeding_words import feeding_cautions, feeding_data, small_data
from stocksim.faces.film_words import film_cautions, film_data
from stocksim.faces.fish_cautions import fish_cautions, not_known_data
from stocksim.faces.marks import marked
from stocksim.faces.planting_words import build_data, unrated_words
from stocksim.faces.record_words import over_words
from stocksim.faces.validity_words import left_caution, left_data
from stocksim.faces.water_cautions import base_data, nitrate_data, water_cautions
from stocksim.faces.ways_words import advice_data
from stocksim.heat.heaters import JudgedHeater, judged_heaters, size_to_have
from stocksim.heat.notes import danger_notes, site_notes, site_questions
from stocksim.heat.small_fish import small_cohorts
from stocksim.site.climate_faults import unvented_notes
from stocksim.site.kinds import LEVEL_UNITS, LIMITS
from stocksim.site.reading import Site
from stocksim.units import face_unit, format_date, to_face


def day_words(day: dt.date) -> str:
    """A date as a keeper reads it, as ``4 Feb 2027``."""
    return format_date(day)


def level_words(value: float, unit: str, units: str) -> str:
    """A level with its unit, in the keeper's system."""
    shown = LEVEL_UNITS[unit]
    decimals = shown.decimals
    if shown.dimension is not None:
        value, unit = to_face(value, shown.dimension, units), face_unit(shown.dimension, units)
        decimals = shown.us_decimals if units == "us" and shown.us_decimals is not None else decimals
    if 0.0 < abs(round(value, shown.fine)) < shown.fine_below:
        decimals = shown.fine
    return f"{round(value, decimals) + 0.0:,.{decimals}f} {unit}"  # + 0.0: nothing below zero is no "-0.00"


def place_words(finding: Finding) -> str:
    """Name of the place without its table, as ``tank cedar``."""
    table, name = finding.where.split(".", 1)
    return {"tanks": f"tank {name}", "loops": f"loop {name}", "cohorts": name}[table]


def finding_sentence(finding: Finding, units: str) -> str:
    """One sentence: what, where, when, by how much.

    Parameters
    ----------
    finding : Finding
        Of `stocksim.engine.results.findings` or `stocksim.changes.search`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        As ``From 4 Feb 2027: oxygen too low in tank maple, down to 3.56 mg/L (keep above 5.00 mg/L).``
    """
    value = level_words(finding.worst_value, finding.unit, units)
    limit = level_words(finding.threshold, finding.unit, units)
    kind = LIMITS[finding.limit]
    where = place_words(finding)
    worst = day_words(finding.worst_date)
    if kind.is_advisory:
        if finding.first_date is None:
            return kind.if_kept.format(where=where)
        side = "above" if finding.worst_value > finding.threshold else "below"
        days = f"{finding.days_broken} day{'s' * (finding.days_broken != 1)}"
        return kind.if_outside.format(where=where, days=days, worst=worst, value=value, side=side, threshold=limit)
    if kind.none and finding.first_date and finding.threshold < kind.none_below:
        return f"From {day_words(finding.first_date)}: {kind.broken} in {where}: {value} on {worst}, when {kind.none}."
    keep = f"keep above {limit}" if kind.is_floor else f"keep below {limit}"
    joint = "for" if finding.where.startswith("cohorts.") else "in"
    if finding.first_date is None:
        return f"{kind.name.capitalize()} holds {joint} {where}: {value} at worst on {worst} ({keep})."
    reach = "down to" if kind.is_floor else "up to"
    # where both are printed alike, the reader sees no break
    past = f", {abs(finding.margin_percent):.1g} % past it" if value == limit and finding.margin_percent else ""
    return (
        f"From {day_words(finding.first_date)}: {kind.broken} {joint} {where}, {reach} {value} on {worst} "
        f"({keep}{past})."
    )


def is_trouble(season: Season, findings: list[Finding]) -> bool:
    """Whether a broken limit harms fish or was measured, a cohort loses many, or a burner can kill people."""
    is_known = bool(alarm(season.site.file)) or bool(season.site.begun.over)
    return is_known or any(harms(season, finding) for finding in findings) or is_heavy(season)


def is_caution(season: Season, findings: list[Finding]) -> bool:
    """Whether limits are broken, and no fish is harmed."""
    return any(finding.is_broken for finding in findings) and not is_trouble(season, findings)


def by_harm(season: Season, findings: Sequence[Finding]) -> list[Finding]:
    """What harms fish first, else in the order given."""
    return sorted(findings, key=lambda finding: not harms(season, finding))


def verdict(season: Season, findings: list[Finding]) -> str:
    """The answer in a few sentences: what can kill people, the worst that was measured, then how the fish fare."""
    measured = "".join(f"{over_words(one)} " for one in season.site.begun.over[:1])
    return f"{alarm(season.site.file)}{measured}{_verdict_on_fish(season, findings)}"


def _verdict_on_fish(season: Season, findings: list[Finding]) -> str:
    """Trouble, cautions or none, many deaths first, then which limit, where, when."""
    broken = by_harm(season, [finding for finding in findings if finding.is_broken])
    judged = [finding for finding in findings if finding.margin_percent is not None]
    heavy, dying = heavy_words(season), death_words(season)
    if not judged:
        # deaths are judged the day they come, so here nobody was there to die
        return "No fish are stocked, so there is nothing to judge."
    if not broken:
        close = min(judged, key=lambda finding: finding.margin_percent or 0.0)
        closest = (
            f"the {LIMITS[close.limit].name} of {place_words(close)}, {close.margin_percent:.0f} % away on "
            f"{day_words(close.worst_date)}."
        )
        if heavy:
            return f"Trouble ahead. {heavy}. Every limit of the model holds all the same. The closest is {closest}"
        return f"Every limit of the model holds all season. The closest is {closest}{' ' + dying if dying else ''}"
    first = broken[0]
    joint = "for" if first.where.startswith("cohorts.") else "in"
    place = (
        f"from {day_words(first.first_date or first.worst_date)}, {LIMITS[first.limit].broken} {joint} "
        f"{place_words(first)}."
    )
    if not any(harms(season, finding) for finding in broken) and not heavy:
        number = "1 caution is" if len(broken) == 1 else f"{len(broken)} cautions are"
        return f"No fish is harmed in the model, but {number} passed. First, {place}{' ' + dying if dying else ''}"
    number = "1 limit is" if len(broken) == 1 else f"{len(broken)} limits are"
    limits = f"{number} broken. First, {place}"
    if heavy:
        return f"Trouble ahead. {heavy}. {limits}"
    return f"Trouble ahead: {limits}{' ' + dying if dying else ''}"


def cautions(season: Season) -> list[str]:
    """What the keeper must know beside the numbers, one sentence each: what to mind, then what was assumed."""
    return [*warnings_of(season), *assumptions(season)]


def warnings_of(season: Season) -> list[str]:
    """What to mind, one sentence each, those last that can hurt people."""
    site, layout = season.site, season.layout
    words = [
        "The model is a plan, not a measurement: growth alone differs by 40 % with strain, density and light. Keep "
        "testing the water and weighing fish.",
        "Not modelled: disease. A limit that holds here may still be broken by it. Biofilter bacteria in the "
        "cold and when young "
        "are known to a factor of two.",
    ]
    words += fish_cautions(season)
    dying = death_words(season)
    words += [dying] if dying else []
    words += water_cautions(season)
    words += film_cautions(season.film_corrections)
    words += _grave_notes(site)
    words += filter(None, [left_caution(season.left_ranges, site.file.site.units)])
    unsettled = float(season.course.apart.max(initial=0.0))
    if unsettled > 1e-4:
        words.append("On some days feed and oxygen did not settle within the day's rounds; read those days with care.")
    hungry = zip(layout.cohorts, layout.appetite_at_1g.T, strict=True)
    unfed = list(dict.fromkeys(key for key, column in hungry if (column <= 0.0).any()))
    if unfed:
        words.append(
            f"Too cold to feed on some days, in the model: {', '.join(unfed)}. Follow the dates to feed, take out what "
            "is left, and watch their condition."
        )
    return words + feeding_cautions(season) + whole_cares(site.file)


def _grave_notes(site: Site) -> list[str]:
    """Notes on a site that tell of a danger, or ask whether something is meant."""
    return [*unvented_notes(site.file), *site_questions(site), *danger_notes(site)]


def assumptions(season: Season) -> list[str]:
    """What was assumed or left out, and on what evidence, one sentence each."""
    grave = set(_grave_notes(season.site))
    words = [note for note in site_notes(season.site) if note not in grave]
    return words + [f"{unrated_words(one)}; it is left out of the ratio." for one in season.planting.unrated]


def heater_data(judged: JudgedHeater) -> dict[str, Any]:
    """A heater beside what the design night asks of it, as plain values."""
    return {
        "place": judged.place,
        "power_kw": round(judged.power_kw, 2),
        "design_night_kw": round(judged.needed_kw, 2),
        "size_to_have_kw": round(size_to_have(judged.needed_kw), 2),
        "size": judged.size.value,
    }


def finding_data(finding: Finding, units: str) -> dict[str, Any]:
    """A finding as plain values; what helps is a sentence in the keeper's units."""
    return {
        "limit": finding.limit,
        "where": finding.where,
        "first_date": finding.first_date.isoformat() if finding.first_date else None,
        "worst_date": finding.worst_date.isoformat(),
        "worst_value": round(finding.worst_value, 6),
        "threshold": round(finding.threshold, 6),
        "unit": finding.unit,
        "margin_percent": None if finding.margin_percent is None else round(finding.margin_percent, 2),
        "days_broken": finding.days_broken,
        "lever": help_words(finding, units) or None,
    }


def summary(season: Season, findings: list[Finding], advice: Advice | None = None) -> dict[str, Any]:
    """The season's answer as plain data, keys carry units; it is what summary.json holds."""
    data = {
        "site": season.site.file.site.name,
        "season": {"start": season.dates[0].isoformat(), "end": season.dates[-1].isoformat()},
        "verdict": verdict(season, findings),
        "trouble": is_trouble(season, findings),
        "limits": [
            finding_data(f, season.site.file.site.units)
            | {"harms": harms(season, f), "measured": is_measured(season, f)}
            | density_data(season.site, f)
            for f in findings
        ],
        "advice": advice_data(season, advice),
        "totals": {key: None if value is None else round(value, 4) for key, value in season.totals().items()},
        "feeds": feed_data(season),
        "fish": fate_data(season),
        "survival_not_known": not_known_data(season),
        "feeding": feeding_data(season),
        "small_in_winter": [small_data(small) for small in small_cohorts(season.site)],
        "heaters": [heater_data(judged) for judged in judged_heaters(season.site)],
        "events": event_data(season),
        "build": [build_data(build, season.site.file.site.units) for build in season.build_areas.values()],
        "nitrate": nitrate_data(season),
        "base_needed": base_data(season),
        "evidence": {key: entry.evidence for key, entry in season.site.species.items()},
        "film_corrected": film_data(season.film_corrections),
        "outside_validity": left_data(season.left_ranges),
        "cautions": cautions(season),
    }
    return marked(data, season.site)
