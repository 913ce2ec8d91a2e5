"""The first layer of answers about a season: rows of what to do by date, and a narrow table of the fish."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stocksim.changes.change import Action, Care, Change
from stocksim.changes.nitrate import nitrate_changes
from stocksim.changes.steps import Step
from stocksim.changes.ways import Advice, Way
from stocksim.engine.results.deaths import ledger
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Brief
from stocksim.faces.care import brief_cares
from stocksim.faces.change_words import change_words, help_words
from stocksim.faces.fates import market
from stocksim.faces.ways_words import step_words
from stocksim.faces.words import by_harm, place_words
from stocksim.site.kinds import LIMITS
from stocksim.units import face_unit, format_date, format_quantity, to_face

_WATER = (Action.WEEKLY_CHANGES, Action.WATER_CHANGES)
Dated = tuple[dt.date, dict[str, str]]


def season_brief(
    season: Season, findings: Sequence[Finding], advice: Advice | None, after: Season | None = None
) -> Brief:
    """The first layer of a season.

    Parameters
    ----------
    season : Season
        A season that was run.
    findings : sequence of Finding
        Its limits.
    advice : Advice or None
        What was sought.
    after : Season, optional
        The season with all of it, where its fish are to be told.

    Returns
    -------
    Brief
        What to do by date, the fish, and care.
    """
    return Brief(
        action_rows(season, findings, advice),
        action_head(season, findings, advice),
        fish_rows(after or season),
        brief_cares(season.site.file, action_changes(season, advice)),
    )


def action_rows(season: Season, findings: Sequence[Finding], advice: Advice | None) -> list[dict[str, str]]:
    """What to do, the earliest first: by when, where, what.

    Parameters
    ----------
    season : Season
        A season that was run.
    findings : sequence of Finding
        Its limits, told one by one where no way was found.
    advice : Advice or None
        What was sought.

    Returns
    -------
    list of dict of str to str
        Empty where there is nothing to do.
    """
    if advice is not None and advice.ways:
        first = season.dates[0]
        rows = [_step_row(season, step, first) for step in advice.ways[0].steps]
    else:
        rows = [_finding_row(season, one) for one in by_harm(season, [f for f in findings if f.is_broken])]
    return [row for _, row in sorted([*rows, *_nitrate_rows(season)], key=lambda dated: dated[0])]


def step_rows(season: Season, steps: Sequence[Step]) -> list[dict[str, str]]:
    """Steps of a way, the earliest first."""
    dated = sorted((_step_row(season, step, season.dates[0]) for step in steps), key=lambda row: row[0])
    return [row for _, row in dated]


def action_changes(season: Season, advice: Advice | None) -> list[Change]:
    """The changes that these rows tell."""
    steps = advice.ways[0].steps if advice is not None and advice.ways else ()
    return [*(step.change for step in steps), *(change for _, change in _nitrate_changes(season))]


def action_head(season: Season, findings: Sequence[Finding], advice: Advice | None) -> str:
    """What stands above the rows: whether they must be done, and what they promise."""
    rows = action_rows(season, findings, advice)
    if not rows:
        return "Nothing has to be done."
    if advice is None or not advice.ways:
        return "What to do, by date:"
    way = advice.ways[0]
    if not advice.must_change:
        if way.left:
            return "Nothing must change; nearest to holding these:"
        return f"Nothing must change; to hold these{', though hardly' * bool(way.near)}:"
    if advice.saves_none:
        return "Nothing tried saves these fish. The least bad, by date:"
    if way.left:
        return f"No changes tried hold every limit. The nearest, by date{_dying(way)}:"
    return f"Do all of these, by date{_dying(way)}{'; limits then hold, though hardly' * bool(way.near)}:"


def _dying(way: Way) -> str:
    """Fish that die of the water or of hunger all the same."""
    deaths = way.deaths
    return f" (with them {deaths.dying:.0f} of {deaths.fish:.0f} fish still die)" if deaths.is_told else ""


def _row(day: dt.date, where: str, what: str) -> Dated:
    # the place stands beside it already
    what = what.removesuffix(f" in {where}").replace(f" in {where} ", " ").replace(f" from {where} ", " ")
    return day, {"do by": format_date(day), "where": where, "what": f"{what[:1].upper()}{what[1:]}"}


def change_row(season: Season, loop: str, change: Change) -> Dated:
    """A change of a loop as a row with its day, shortly where it is water against nitrate."""
    units = season.site.file.site.units
    words = change_words(change, units)
    if change.kind in _WATER and change.care is Care.LOST_NITROGEN:
        volume = format_quantity(change.amounts["volume_m3"], "volume", units)
        words = f"change {volume}{'/week' if change.kind is Action.WEEKLY_CHANGES else ''}: nitrate"
    return _row(change.start or season.dates[0], f"loop {loop}", words)


def _step_row(season: Season, step: Step, first: dt.date) -> Dated:
    places = list(dict.fromkeys(where.split(".")[1] for _, where in step.cures))
    return _row(step.change.start or first, ", ".join(places) or "-", step_words(step, season.site.file.site.units))


def _finding_row(season: Season, finding: Finding) -> Dated:
    words = help_words(finding, season.site.file.site.units) or f"{LIMITS[finding.limit].broken}: see --all"
    return _row(finding.first_date or finding.worst_date, place_words(finding), words)


def _nitrate_changes(season: Season) -> list[tuple[str, Change]]:
    """Water to change against nitrate, by loop."""
    return [(loop, one) for loop in season.layout.loops for one in nitrate_changes(season, loop) if one.kind in _WATER]


def _nitrate_rows(season: Season) -> list[Dated]:
    return [change_row(season, loop, change) for loop, change in _nitrate_changes(season)]


# --- the fish


def fish_rows(season: Season) -> list[dict[str, str]]:
    """A row for each cohort: how many are alive of all that came, what left alive, weight, share of market size."""
    units, rows = season.site.file.site.units, []
    for name, entries in ledger(season.layout, season.course).items():
        came = entries["stocked"][0] + entries["from_grading"][0]
        fish, grams = entries["at_end"]
        taken = came - fish - entries["deaths"][0]
        found = market(season, name)
        rows.append(
            {
                "fish": name,
                "alive": f"{fish:.0f}/{came:.0f}",
                "taken out": f"{taken:.0f}" if taken >= 0.5 else "-",
                f"{face_unit('mass', units)} left": f"{to_face(grams / 1000.0, 'mass', units):,.1f}",
                "market size %": "-" if found is None else f"{100.0 * found['share_above_market']:.0f}",
            }
        )
    idle = {"taken out"} if all(row["taken out"] == "-" for row in rows) else set()
    return [{head: text for head, text in row.items() if head not in idle} for row in rows]
