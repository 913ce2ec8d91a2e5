"""What becomes of the fish, in words: deaths and their causes, events, rations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from stocksim.engine.results.course import Transfer
from stocksim.engine.results.deaths import (
    CAUSES,
    DEATHS_TOLD,
    Loss,
    deaths_by_cause,
    ledger,
    losses,
)
from stocksim.engine.results.frames import Season
from stocksim.faces.fish_cautions import nitrite_data
from stocksim.fish.spread import share_above
from stocksim.library.feeds import shares_of
from stocksim.site.cohorts import events_in_order
from stocksim.site.fish_tables import (
    Event,
    FeedEvent,
    FoundEvent,
    GradeEvent,
    MoveEvent,
    Ration,
    RemovalEvent,
    StockEvent,
)
from stocksim.site.kinds import CAUSES_OF_DEATH, EVENT_KINDS, OTHERWISE_TAKEN
from stocksim.units import format_date, format_quantity

_COHORTS_NAMED = 3
_TOLD_SHARE = 0.1  # of a loss: a cause of less is left to the table
HOLDS_FOR_FEW = "limits that hold after that hold for too few fish"


def is_heavy(season: Season) -> bool:
    """Whether a cohort loses so many fish that the answer must begin with it."""
    return any(loss.is_heavy for loss in losses(season.layout, season.course)[1])


def heavy_words(season: Season) -> str:
    """The heavy losses, as ``Fish die in the model: 161 of 200 p of hunger, from 9 Dec 2026 to 30 Jun 2027``.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    str
        Without a full stop; empty where no cohort loses many.
    """
    whole, found = losses(season.layout, season.course)
    heavy = [loss for loss in found if loss.is_heavy]
    if not heavy:
        return ""
    told = [
        f"{_of(loss)} {loss.cohort} of {_causes(loss.by_cause)}, {_when(season, loss)}"
        for loss in heavy[:_COHORTS_NAMED]
    ]
    rest = whole.died - sum(loss.died for loss in heavy[:_COHORTS_NAMED])
    if rest >= DEATHS_TOLD:
        told.append(f"and {rest:.0f} of other batches")
    return f"Fish die in the model: {'; '.join(told)}"


def death_words(season: Season) -> str:
    """How many fish die of more than every day and feed training take, of what, from when and where; empty for few."""
    whole, _ = losses(season.layout, season.course)
    if heavy := heavy_words(season):
        return f"{heavy}: {HOLDS_FOR_FEW}. Take it as an alarm, not as a count.{_advice(whole)}"
    if whole.died < DEATHS_TOLD:
        return ""
    where = f", in {', '.join(whole.tanks)}" if whole.tanks else ""
    verb = "dies" if f"{whole.died:.0f}" in ("0", "1") else "die"
    return (
        f"In the model {_of(whole)} fish {verb} of {_causes(whole.by_cause)}, "
        f"from {format_date(season.dates[whole.first_day])}{where}: {HOLDS_FOR_FEW}."
    )


def cause_data(season: Season) -> dict[str, dict[str, float]]:
    """Fish that died, by cohort and cause."""
    layout = season.layout
    by_cause = deaths_by_cause(layout, season.course)
    inside = {key: [at for at, name in enumerate(layout.cohorts) if name == key] for key in layout.cohorts}
    return {
        key: {cause: float(by_cause[cause][:, columns].sum()) for cause in CAUSES} for key, columns in inside.items()
    }


def died_of(by_cause: Mapping[str, float]) -> str:
    """Causes of a cohort's deaths with their fish, as ``hunger 161``, less those of every day; ``-`` for none."""
    told = [(dead, cause) for cause, dead in by_cause.items() if dead >= DEATHS_TOLD and CAUSES_OF_DEATH[cause].words]
    return ", ".join(f"{CAUSES_OF_DEATH[cause].words} {dead:.0f}" for dead, cause in sorted(told, reverse=True)) or "-"


def _advice(loss: Loss) -> str:
    """What helps against the causes that no limit tells of."""
    told = [cause for cause in CAUSES if cause in loss.by_cause and loss.by_cause[cause] >= _TOLD_SHARE * loss.died]
    return "".join(f" {CAUSES_OF_DEATH[cause].advice}" for cause in told if CAUSES_OF_DEATH[cause].advice)


def _of(loss: Loss) -> str:
    # half a fish is told as one, never as none
    return f"{max(loss.died, 1.0):.0f} of {loss.had:.0f}"


def _causes(by_cause: Mapping[str, float]) -> str:
    """The causes worth naming, the most first, with their fish where there are several."""
    whole = sum(by_cause.values())
    named = sorted(((dead, cause) for cause, dead in by_cause.items() if dead >= _TOLD_SHARE * whole), reverse=True)
    if len(named) == 1:
        return CAUSES_OF_DEATH[named[0][1]].words
    words = [f"{CAUSES_OF_DEATH[cause].words} ({dead:.0f})" for dead, cause in named]
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _when(season: Season, loss: Loss) -> str:
    first, last = season.dates[loss.first_day], season.dates[loss.last_day]
    if first == last:
        return f"on {format_date(first)}"
    begin = format_date(first) if first.year != last.year else f"{first.day} {first:%b}"
    return f"from {begin} to {format_date(last)}"


# --- what becomes of the fish: rules and events in words, and a table of every cohort's ledger

_TOLD = 0.5  # fish: fewer are the model's crumbs
_OTHERWISE = tuple(EVENT_KINDS[kind].entry for kind in OTHERWISE_TAKEN)


_WEIGHED = {"fresh": ", weighed fresh", "dry": " as dry matter"}


def feed_words(season: Season, units: str) -> list[str]:
    """Weights of each feed, where a feed was mixed or natural: of natural food fresh and dry; empty otherwise."""
    fed = season.feeds
    is_mixed = any(len(shares_of(season.site.feeds[stay.table.feed])) > 1 for stay in season.layout.stays)
    if not is_mixed and not any(one.is_natural for one in fed.values()):
        return []

    def grams(kg: float) -> str:
        return format_quantity(kg, "mass", units) if kg >= 1.0 else format_quantity(1000.0 * kg, "weight", units)

    told = [
        f"{name} {grams(one.offered_kg)}" + (f" fresh ({grams(one.dry_kg)} dry)" if one.is_natural else "")
        for name, one in fed.items()
    ]
    return [f"Of it {', '.join(told)}."]


def feed_data(season: Season) -> dict[str, dict[str, float]]:
    """The same as plain data."""
    keys = ("offered_kg", "eaten_kg", "dry_kg")
    return {name: {key: round(getattr(one, key), 4) for key in keys} for name, one in season.feeds.items()}


def ration_words(rule: Ration | None, units: str) -> str:
    """A feeding rule in a few words, as ``by hand, 85 % of appetite, no feed on sun``."""
    if rule is None:
        return "by hand to satiation, as no rule is given"
    if rule.kind == "unfed":
        return "not fed"
    match rule.kind:
        case "appetite":
            words = [f"by hand, {100 * rule.fraction:.0f} % of appetite"]
        case "percent":
            words = [f"{rule.percent:g} % of body weight a day{_WEIGHED.get(rule.weighed or '', '')}"]
        case "table":
            words = [f"by a table of temperature and weight{_WEIGHED.get(rule.weighed or '', '')}"]
        case "fixed":
            words = [f"{format_quantity(rule.per_day, 'weight', units)} a day for the tank"]
        case "beds":
            ratio = "the handbook band's middle" if rule.ratio is None else _ratio(rule.ratio, units)
            words = [f"what the planted beds need, by {ratio}"]
    words += [
        f"every {_ordinal(cold.feed_every_days)} day below {format_quantity(cold.below, 'temperature', units)}"
        for cold in rule.cold_rules
    ]
    if rule.stop_below is not None:
        words.append(f"none below {format_quantity(rule.stop_below, 'temperature', units)}")
    if rule.fasting_days:
        words.append(f"none on {' and '.join(_WEEKDAYS[day] for day in rule.fasting_days)}")
    return ", ".join(words)


_WEEKDAYS = {
    "mon": "Mondays", "tue": "Tuesdays", "wed": "Wednesdays", "thu": "Thursdays", "fri": "Fridays", "sat": "Saturdays",
    "sun": "Sundays",
}  # fmt: skip


def _ordinal(number: int) -> str:
    return {2: "second", 3: "third", 4: "fourth", 5: "fifth"}.get(number, f"{number}th")


def _ratio(value: float, units: str) -> str:
    return format_quantity(value, "planting_ratio", units)


def event_words(event: Event, units: str) -> str:
    """What an event asks for, as ``harvest 12 of big_perch, the largest``."""
    if isinstance(event, StockEvent):
        weight = format_quantity(event.mean_weight, "weight", units)
        return f"stock {event.count} more of {weight} into {event.cohort}"
    if isinstance(event, GradeEvent):
        which = (
            f"the largest {100 * event.largest_share:.0f} %"
            if event.largest_share is not None
            else f"those of {format_quantity(event.above or 0.0, 'weight', units)} or more"
        )
        return f"grade {event.cohort}: {which} become {event.into} in {event.tank}"
    if isinstance(event, RemovalEvent):
        return f"{event.kind} {_amount(event, units)}"
    if isinstance(event, FoundEvent):
        number = "" if event.count is None else f"{event.count} fish"
        mean = "" if event.mean_weight is None else f"{format_quantity(event.mean_weight, 'weight', units)} each"
        return f"{event.cohort} found to be {', '.join(part for part in (number, mean) if part)}"
    if isinstance(event, MoveEvent):
        return f"move {event.cohort} to {event.tank}"
    fed = event.feed if isinstance(event, FeedEvent) else ration_words(event.ration, units)
    return f"feed {event.cohort} {fed}"


def _amount(event: RemovalEvent, units: str) -> str:
    which = event.which or EVENT_KINDS[event.kind].usual_which
    of_size = "" if which == "any" else f", the {which}"
    if event.all:
        return f"all of {event.cohort}"
    if event.above is not None:
        return f"those of {event.cohort} of {format_quantity(event.above, 'weight', units)} or more"
    if event.weight is not None:
        return f"{format_quantity(event.weight / 1000.0, 'mass', units)} of {event.cohort}{of_size}"
    if event.share is not None:
        return f"{100 * event.share:.0f} % of {event.cohort}{of_size}"
    return f"{event.count} of {event.cohort}{of_size}"


def events_by_number(season: Season, units: str = "") -> dict[int, str]:
    """Sentence of each event by its number in the file, in date order; as in `event_lines`."""
    units = units or season.site.file.site.units
    done = {transfer.happening.number: transfer for transfer in season.course.transfers}
    return {
        number: f"On {format_date(event.date)}: {event_words(event, units)}{_outcome(done.get(number), units)}."
        for number, event in events_in_order(season.site.file)
    }


def event_lines(season: Season, units: str, most: int | None = None) -> list[str]:
    """Events in date order with what they really moved, as ``On 10 Jan 2027: harvest 12 of big_perch ...``.

    Parameters
    ----------
    season : Season
        A season that was run.
    units : str
        ``metric`` or ``us``.
    most : int, optional
        Lines at most; the last then says how many more there are.

    Returns
    -------
    list of str
        Sentences; empty where the file has no events.
    """
    lines = list(events_by_number(season, units).values())
    if most is not None and len(lines) > most:
        lines = [*lines[: most - 1], f"And {len(lines) - most + 1} more, in the site file and in the JSON answer."]
    return lines


def _outcome(transfer: Transfer | None, units: str) -> str:
    """What went in the model, where the event's own words do not say it."""
    if transfer is None or not EVENT_KINDS[transfer.happening.kind].tells_what_went:
        return ""
    fish, mass = float(transfer.fish[0]), float(transfer.mass_g[0])
    if fish < _TOLD:
        return " (in the model there is hardly a fish of them)"
    mean = format_quantity(mass / fish, "weight", units)
    return f" ({fish:.0f} fish, {format_quantity(mass / 1000.0, 'mass', units)}, {mean} each)"


def is_worth_telling(season: Season) -> bool:
    """Whether the file has events, or at least half a fish dies."""
    return bool(season.site.file.events) or float(season.course.deaths[0].sum()) >= _TOLD


def fate_rows(season: Season, units: str) -> list[dict[str, str]]:
    """One row a cohort: numbers and masses of what became of its fish; columns with nothing to tell are left out.

    Parameters
    ----------
    season : Season
        A season that was run.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    list of dict of str to str
        Ready to print; keys are the column heads. Numbers are rounded to whole fish: the exact ones are in ledger.csv.
    """
    rows, causes = [], cause_data(season)
    for name, entries in ledger(season.layout, season.course).items():
        graded = np.subtract(entries["from_grading"], entries["to_grading"])
        taken = np.sum([entries[key] for key in _OTHERWISE], axis=0)
        rows.append(
            {
                "fish": name,
                "stocked": _pair(entries["stocked"], units),
                "grown": format_quantity(entries["growth"][1] / 1000.0, "mass", units),
                "graded in/out": _pair(graded, units, "+"),
                "found": _pair(entries["found"], units, "+"),
                "harvested": _pair(entries["harvested"], units),
                "thinned, sold, given": _pair(taken, units),
                "died": _pair(entries["deaths"], units),
                "died of": died_of(causes[name]),
                "left": _pair(entries["at_end"], units),
                "market size": _market(season, name, units),
            }
        )
    often_idle = ("graded in/out", "found", "harvested", "thinned, sold, given", "died of")
    idle = {head for head in often_idle if all(row[head] == "-" for row in rows)}
    return [{head: text for head, text in row.items() if head not in idle} for row in rows]


def _pair(amount: Any, units: str, sign: str = "") -> str:
    """Number and mass of fish, as ``12, 3.4 kg``."""
    fish, kg = float(amount[0]), float(amount[1]) / 1000.0
    if fish == 0.0 and abs(kg) < 5e-4:
        return "-"
    mass = format_quantity(kg, "mass", units)
    plus = sign if fish > 0.0 else ""
    return f"{'<1' if 0.0 < fish < _TOLD else f'{plus}{fish:z.0f}'}, {plus}{mass}"


def market(season: Season, cohort: str) -> dict[str, float] | None:
    """Share of a cohort's fish left on the last day that weigh the species' market weight or more.

    Returns
    -------
    dict or None
        ``market_weight_g``, ``mean_weight_g``, ``size_spread``, ``share_above_market``; None where no fish are left.
    """
    layout, course = season.layout, season.course
    columns = [at for at, name in enumerate(layout.cohorts) if name == cohort and course.count[0, -1, at] >= _TOLD]
    if not columns:
        return None
    at = columns[-1]
    weight, spread = float(course.weight_g[0, -1, at]), float(course.size_spread[0, -1, at])
    cut = season.site.species[layout.stays[at].table.species]["market_weight"]
    return {
        "market_weight_g": cut,
        "mean_weight_g": weight,
        "size_spread": spread,
        "share_above_market": float(share_above(weight, spread, cut)),
    }


def _market(season: Season, cohort: str, units: str) -> str:
    found = market(season, cohort)
    if found is None:
        return "-"
    cut = format_quantity(found["market_weight_g"], "weight", units)
    percent = 100.0 * found["share_above_market"]
    return f"{'<1' if 0.0 < percent < _TOLD else f'{percent:.0f}'} % reach {cut}"


def fate_note(season: Season) -> str:
    """How to read the table, and what its shares of market size rest on."""
    shown = [stay for stay in season.layout.stays if market(season, stay.cohort) is not None]
    assumed = dict.fromkeys(stay.cohort for stay in shown if stay.table.size_spread is None)
    every = len(assumed) == len({stay.cohort for stay in shown})
    names = "" if every else f" for {', '.join(assumed)}"
    rest = (
        f"an assumed spread of sizes{names}: weigh twenty fish one by one and write size_spread"
        if assumed
        else "the file's spread of sizes, which only grading and harvests change in the model"
    )
    told = any(died_of(causes) != "-" for causes in cause_data(season).values())
    others = "Died of: the rest are ordinary daily losses. " if told else ""
    return f"{others}Market size: share of the fish left that weigh as much or more, by {rest}."


def fate_data(season: Season) -> dict[str, Any]:
    """Every cohort's ledger, what its fish died of and its market share, keys carry units."""
    data: dict[str, Any] = {}
    causes = cause_data(season)
    reached = nitrite_data(season)
    for name, entries in ledger(season.layout, season.course).items():
        sums = {key: {"fish": round(fish, 6), "kg": round(mass / 1000.0, 6)} for key, (fish, mass) in entries.items()}
        found = market(season, name)
        rounded = {key: round(value, 6) for key, value in found.items()} if found else None
        died = {cause: round(fish, 6) for cause, fish in causes[name].items()}
        data[name] = {"ledger": sums, "deaths_by_cause_fish": died, "market_size_at_end": rounded}
        data[name]["nitrite_over_caution"] = reached.get(name)
    return data


def event_data(season: Season) -> list[dict[str, Any]]:
    """Events in date order: what each asked for, in the site file's words, and what it moved."""
    units = season.site.file.site.units
    done = {transfer.happening.number: transfer for transfer in season.course.transfers}
    found = []
    for number, event in events_in_order(season.site.file):
        transfer = done.get(number)
        found.append(
            {
                "event": number,
                "date": event.date.isoformat(),
                "kind": event.kind,
                "cohort": event.cohort,
                "words": event_words(event, units),
                "fish": None if transfer is None else round(float(transfer.fish[0]), 6),
                "kg": None if transfer is None else round(float(transfer.mass_g[0]) / 1000.0, 6),
            }
        )
    return found
