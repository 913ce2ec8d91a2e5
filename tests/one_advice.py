"""What several questions advise for one site, gathered and held against each other."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from stocksim.answers.beds.changes import bed_plan
from stocksim.changes.change import ADVICE_OF, Change, allowed
from stocksim.changes.nitrate import nitrate_changes
from stocksim.changes.search import help_of
from stocksim.changes.water import held_base
from stocksim.changes.ways import advise
from stocksim.engine.results.beds import Side
from stocksim.engine.results.findings import PLANTING_RATIO
from stocksim.engine.results.frames import Season
from stocksim.faces.water_cautions import base_short
from stocksim.site.fish_tables import REMOVALS
from stocksim.units import parse_quantity


class Told(NamedTuple):
    """What an answer tells: a change, or that a loop has more planted than its feed carries (-1), or less (1)."""

    answer: str
    change: Change | None = None
    planted_loop: str = ""
    side: int = 0


def gathered(season: Season) -> list[Told]:
    """All that season, water and beds tell to do for one site, and what they say of its planted area."""
    advice = advise(season)
    told = [Told("season", step.change) for way in advice.ways for step in way.steps]
    helps = [found.change for finding in advice.findings if (found := help_of(finding)) and found.change]
    told += [Told("season", change) for change in helps]
    told += [Told("water", change) for loop in season.layout.loops for change in nitrate_changes(season, loop)]
    for loop in season.layout.loops:
        if (short := base_short(season, loop)) is not None:
            told += [Told("water", change) for change in allowed(season.site, [held_base(loop, short[2])])]
    told += [Told("beds", proof.change) for proofs in bed_plan(season).proofs.values() for proof in proofs]
    for finding in advice.findings:
        if finding.limit == PLANTING_RATIO and finding.days_broken:
            side = 1 if finding.worst_value > finding.threshold else -1
            told.append(Told("season", None, finding.where.removeprefix("loops."), side))
    for answer, (loop, build) in itertools.product(("season", "beds"), season.build_areas.items()):
        side = {Side.ROOM: 1, Side.SALTS: -1, Side.TOO_MUCH: -1}.get(build.side, 0)
        told += [Told(answer, None, loop, side)] if side else []
    return told


def contradictions(season: Season, told: Sequence[Told]) -> list[str]:
    """Pairs that cannot both be done: a field set to two values by two answers, or more and less of the same thing.

    What the keeper forbids stands with itself alone.
    """
    never = season.site.file.advice.never
    found = [f"{one.answer} advises {one.change.kind}, forbidden" for one in told if one.change and _kind(one) in never]
    for one, other in itertools.combinations(told, 2):
        pair = f"{one.answer} {_name(one)} / {other.answer} {_name(other)}"
        if one.answer != other.answer and one.change and other.change:
            mine, theirs = written(season, one.change), written(season, other.change)
            found += [f"{pair}: {key}" for key in mine.keys() & theirs.keys() if mine[key] != theirs[key]]
        for loop, what, sign in directions(season, one):
            if (loop, what, -sign) in directions(season, other):
                found.append(f"{pair}: more and less {what} in {loop}")
    return found


def _kind(one: Told) -> str:
    assert one.change is not None
    return ADVICE_OF[one.change.kind]


def _name(one: Told) -> str:
    return str(one.change.kind) if one.change else f"side {one.side}"


def written(season: Season, change: Change) -> dict[str, Any]:
    """Single values that a change writes over those of the site file; a list of other length counts as one."""
    new = {}
    for dotted, value in change.fields.items():
        if dotted == "events":  # they add up: each answer's own harvests, moves and rations
            continue
        old: Any = season.site.raw
        for step in dotted.split("."):
            old = old.get(step) if isinstance(old, dict) else None
        new |= dict(_differing(dotted, old, value))
    return new


def _differing(place: str, old: Any, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _differing(f"{place}.{key}", old.get(key) if isinstance(old, dict) else None, inner)
    elif isinstance(value, list) and isinstance(old, list) and len(value) == len(old):
        for number, (before, inner) in enumerate(zip(old, value, strict=True)):
            yield from _differing(f"{place}[{number}]", before, inner)
    elif value != old:
        yield place, value


def directions(season: Season, one: Told) -> set[tuple[str, str, int]]:
    """Loops in which more (1) or less (-1) is planted, or fed and stocked, than the file has."""
    if one.change is None:
        return {(one.planted_loop, "planted area", one.side)}
    file, found = season.site.file, set()
    for dotted, value in one.change.fields.items():
        table, _, rest = dotted.partition(".")
        name = rest.split(".")[0]
        if table == "beds" and rest.endswith(".plantings"):
            bed = file.beds[name]
            room = bed.planted_face or bed.area
            before = sum(planting.area or room for planting in bed.plantings)
            after = sum(parse_quantity(row["area"], "area") if "area" in row else room for row in value)
            found.add((bed.loop, "planted area", _sign(after / before - 1.0)))
        elif table == "cohorts" and rest.endswith(".count"):
            loop = file.tanks[file.cohorts[name].tank].loop
            found.add((loop, "fish and feed", _sign(value - file.cohorts[name].count)))
        elif table == "cohorts" and ".ration" in rest and "fraction" in value:
            cohort = file.cohorts[name]
            before = getattr(cohort.ration, "fraction", 1.0) if cohort.ration else 1.0
            found.add((file.tanks[cohort.tank].loop, "fish and feed", _sign(value["fraction"] - before)))
        elif dotted.endswith(".feeding_ramp"):
            found.add((name, "fish and feed", -1))
        elif dotted == "events":
            new = value[len(season.site.raw.get("events", [])) :]
            for event in (event for event in new if event["kind"] in REMOVALS):
                root = file.cohorts.get(event["cohort"])
                found |= {(file.tanks[root.tank].loop, "fish and feed", -1)} if root else set()
    return {direction for direction in found if direction[2]}


def _sign(value: float) -> int:
    return 0 if abs(value) < 1e-3 else 1 if value > 0.0 else -1
