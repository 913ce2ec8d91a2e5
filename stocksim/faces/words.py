"""Limits turned into sentences, and a season into its answer."""

from __future__ import annotations

import datetime as dt
from typing import Any

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.faces.death_words import death_words, heavy_words, is_heavy
from stocksim.faces.fate_words import event_data, fate_data
from stocksim.faces.fish_words import fish_cautions
from stocksim.faces.marks import marked
from stocksim.faces.water_cautions import water_cautions
from stocksim.planning.levers import limit_name
from stocksim.units import to_face

LIMIT_WORDS = {
    "predation": "tankmates small enough to be eaten",
    "temperature_change": "water that changes too fast in a day",
    "density": "fish too dense",
    "oxygen": "oxygen too low",
    "unionized_ammonia": "un-ionized ammonia too high",
    "nitrite": "nitrite too high",
    "biofilter": "more ammonia than the biofilter can take",
    "temperature_low": "water too cold",
    "temperature_high": "water too warm",
    "planting_ratio": "feed and planted area out of step",
}
_NO_CAPACITY_G = 0.05  # would be printed as 0.0 g/day
_FINE = 4  # decimals of a level below 0.1 mg/L, as un-ionized ammonia
_DIMENSIONS = {
    "kg/m3": "density",
    "degC": "temperature",
    "degC/day": "temperature_difference",
    "g/m2/day": "planting_ratio",
}
_DECIMALS = {
    "% of pairs": 1,
    "mg/L": 2,
    "g/day": 1,
    "kg/m3": 1,
    "lb/gal": 2,
    "degC": 1,
    "degF": 1,
    "g/m2/day": 0,
    "oz/ft2/day": 2,
}


def day_words(day: dt.date) -> str:
    """A date as a keeper reads it, as ``4 Feb 2027``."""
    return f"{day.day} {day:%b %Y}"


def level_words(value: float, unit: str, units: str) -> str:
    """A level with its unit, in the keeper's system."""
    dimension = _DIMENSIONS.get(unit)
    if dimension:
        from stocksim.units import face_unit

        value, unit = to_face(value, dimension, units), face_unit(dimension, units)
    decimals = _DECIMALS[unit]
    if unit == "mg/L" and 0.0 < abs(round(value, _FINE)) < 0.1:
        decimals = _FINE
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
        Of `stocksim.engine.findings` or `stocksim.planning.levers`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        As ``From 4 Feb 2027: oxygen too low in tank maple, down to 3.56 mg/L (keep above 5.00 mg/L).``
    """
    value = level_words(finding.worst_value, finding.unit, units)
    limit = level_words(finding.threshold, finding.unit, units)
    is_floor = finding.limit in ("oxygen", "temperature_low")
    where = place_words(finding)
    worst = day_words(finding.worst_date)
    if finding.limit == "planting_ratio":
        if finding.first_date is None:
            return f"Feed and planted area of {where} stay within the handbook band."
        side = "above" if finding.worst_value > finding.threshold else "below"
        days = f"{finding.days_broken} day{'s' * (finding.days_broken != 1)}"
        return (
            f"Advice: in {where} feed per planted area is outside the handbook band on {days}, "
            f"furthest on {worst} at {value}, {side} {limit}."
        )
    if finding.limit == "biofilter" and finding.first_date and finding.threshold < _NO_CAPACITY_G:
        return (
            f"From {day_words(finding.first_date)}: {LIMIT_WORDS[finding.limit]} in {where}: {value} on {worst}, when "
            "no film there takes any, so it stays in the water."
        )
    keep = f"keep above {limit}" if is_floor else f"keep below {limit}"
    joint = "for" if finding.where.startswith("cohorts.") else "in"
    if finding.first_date is None:
        name = limit_name(finding.limit)
        return f"{name.capitalize()} holds {joint} {where}: {value} at worst on {worst} ({keep})."
    reach = "down to" if is_floor else "up to"
    what = LIMIT_WORDS[finding.limit]
    return f"From {day_words(finding.first_date)}: {what} {joint} {where}, {reach} {value} on {worst} ({keep})."


def is_trouble(season: Season, findings: list[Finding]) -> bool:
    """Whether a limit is broken or a cohort loses many fish."""
    return any(finding.is_broken for finding in findings) or is_heavy(season)


def verdict(season: Season, findings: list[Finding]) -> str:
    """The answer in a few sentences: trouble or not, many deaths first, then which limit, where, when."""
    broken = [finding for finding in findings if finding.is_broken]
    judged = [finding for finding in findings if finding.margin_percent is not None]
    heavy, dying = heavy_words(season), death_words(season)
    if not judged:
        # deaths are judged the day they come, so here nobody was there to die
        return "No fish are stocked, so there is nothing to judge."
    if not broken:
        close = min(judged, key=lambda finding: finding.margin_percent or 0.0)
        closest = (
            f"the {limit_name(close.limit)} of {place_words(close)}, {close.margin_percent:.0f} % away on "
            f"{day_words(close.worst_date)}."
        )
        if heavy:
            return f"Trouble ahead. {heavy}. Every limit of the model holds all the same. The closest is {closest}"
        return f"Every limit of the model holds all season. The closest is {closest}{' ' + dying if dying else ''}"
    first = broken[0]
    joint = "for" if first.where.startswith("cohorts.") else "in"
    number = "1 limit is" if len(broken) == 1 else f"{len(broken)} limits are"
    limits = (
        f"{number} broken. First, from {day_words(first.first_date or first.worst_date)}, "
        f"{LIMIT_WORDS[first.limit]} {joint} {place_words(first)}."
    )
    if heavy:
        return f"Trouble ahead. {heavy}. {limits}"
    return f"Trouble ahead: {limits}{' ' + dying if dying else ''}"


def cautions(season: Season) -> list[str]:
    """What the keeper must know beside the numbers, one sentence each."""
    site, layout = season.site, season.layout
    words = [
        "The model is a plan, not a measurement: growth alone differs by 40 % with strain, density and light. Keep "
        "testing the water and weighing fish.",
        "Not modelled: disease. A limit that holds here may still be broken by it. Nitrifiers in the cold and in young "
        "films are known to a factor of two.",
    ]
    words += fish_cautions(season)
    dying = death_words(season)
    words += [dying] if dying else []
    words += water_cautions(season)
    words += list(site.notes)
    unsettled = float(season.course.apart.max(initial=0.0))
    if unsettled > 1e-4:
        words.append("On some days feed and oxygen did not settle within the day's rounds; read those days with care.")
    hungry = zip(layout.cohorts, layout.appetite_at_1g.T, strict=True)
    unfed = list(dict.fromkeys(key for key, column in hungry if (column <= 0.0).any()))
    if unfed:
        words.append(
            f"Too cold to feed on some days: {', '.join(unfed)}. Offer nothing then and watch their condition."
        )
    words += [f"{phrase}; it is left out of the ratio." for phrase in season.planting.unrated]
    if site.file.cohorts:
        words.append(
            "Keeping, moving or selling these fish may need a permit where you live; never release any of them."
        )
    words.append(
        "Electricity beside water kills: ground-fault protection on every circuit, drip loops, work by a licensed "
        "electrician under your local code."
    )
    words.append(
        "Harvest hygiene: no tank water on leaves that are eaten raw; wash hands and produce; follow local food rules."
    )
    return words


def finding_data(finding: Finding) -> dict[str, Any]:
    """A finding as plain values."""
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
        "lever": finding.lever or None,
    }


def summary(season: Season, findings: list[Finding]) -> dict[str, Any]:
    """The season's answer as plain data, keys carry units; it is what summary.json holds."""
    data = {
        "site": season.site.file.site.name,
        "season": {"start": season.dates[0].isoformat(), "end": season.dates[-1].isoformat()},
        "verdict": verdict(season, findings),
        "trouble": is_trouble(season, findings),
        "limits": [finding_data(f) for f in findings],
        "totals": {key: None if value is None else round(value, 4) for key, value in season.totals().items()},
        "fish": fate_data(season),
        "events": event_data(season),
        "evidence": {key: entry.evidence for key, entry in season.site.species.items()},
        "cautions": cautions(season),
    }
    return marked(data, season.site)
