"""What brings fish and beds nearer to balance, and all that is told of a season's beds."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from stocksim.answers.beds.decide import Budget, LoopBalance, bed_balance, budgets
from stocksim.changes.change import season_with
from stocksim.engine.arrays.beds import build_stands
from stocksim.engine.arrays.fish import DEFAULT_APPETITE_FRACTION
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.fish_tables import AppetiteRation
from stocksim.units import format_quantity

# Crops of the cold that a leafy planting may be swapped for.
HUNGRY_IN_COLD = ("watercress", "spinach", "kale", "pak_choi")
MOST_LEVERS = 3
_LEAST_GOOD_SHARE = 0.05  # of the gap that a lever must close to be told
_WEEKLY_CHANGE = 0.10  # of the loop's water, a week


@dataclass(frozen=True)
class BedLever:
    """A change of the site file and what a whole season with it does.

    Parameters
    ----------
    words : str
        What to do, with quantities.
    effort : int
        Its place among the cheap ones, 1 first: no purchase, then seed, then fish, then water, then building.
    changes : dict
        Dotted fields to new values, as `Site.with_changes` takes them.
    gap_before_g, gap_after_g : float
        Nitrogen given less nitrogen wanted, mean of the season. [g/day]
    nitrate_before_mg_l, nitrate_after_mg_l : float
        Nitrate nitrogen on the last day.
    growth_kg, harvest_kg : float
        Fish growth and fresh harvest of the whole site, less those without the lever.
    breaks : tuple of str
        Limits that hold without the lever and are broken with it, as ``oxygen of tanks.cedar``.
    """

    words: str
    effort: int
    changes: dict[str, Any]
    gap_before_g: float
    gap_after_g: float
    nitrate_before_mg_l: float
    nitrate_after_mg_l: float
    growth_kg: float
    harvest_kg: float
    breaks: tuple[str, ...]


def bed_levers(season: Season, balance: LoopBalance) -> list[BedLever]:
    """The cheapest levers that a run proves to bring a loop nearer to balance.

    Parameters
    ----------
    season : Season
        A season that was run.
    balance : LoopBalance
        One of its loops.

    Returns
    -------
    list of BedLever
        At most three, cheapest first; empty where the loop is even, or nothing that was tried helps. Levers that break
        a limit come only where too few others help.
    """
    if balance.mean("supply_g") <= 0.0 or balance.mean("draw_g") <= 0.0:
        return []
    tried = []
    for effort, words, changes in _candidates(season, balance):
        try:
            after = season_with(season.site, changes)
        except InputError:  # it cannot be written so, as an area that is too large
            continue
        tried.append(_lever(season, after, balance, words, effort, changes))
    good = [lever for lever in tried if _closes(lever)]
    good.sort(key=lambda lever: (bool(lever.breaks), lever.effort))
    return sorted(good[:MOST_LEVERS], key=lambda lever: lever.effort)


def _closes(lever: BedLever) -> bool:
    """Whether the gap shrinks, or the nitrate that it leaves does."""
    nearer = abs(lever.gap_after_g) < (1.0 - _LEAST_GOOD_SHARE) * abs(lever.gap_before_g)
    cleaner = lever.gap_before_g > 0.0 and lever.nitrate_after_mg_l < 0.9 * lever.nitrate_before_mg_l
    return nearer or cleaner


def _lever(
    before: Season, after: Season, balance: LoopBalance, words: str, effort: int, changes: dict[str, Any]
) -> BedLever:
    column = before.layout.loops.index(balance.loop)
    new = next(found for found in bed_balance(after) if found.loop == balance.loop)
    broken = {(f.limit, f.where) for f in before.findings if f.is_broken}
    breaks = [f"{f.limit} of {f.where}" for f in after.findings if f.is_broken and (f.limit, f.where) not in broken]
    return BedLever(
        words, effort, changes, balance.mean_gap_g, new.mean_gap_g,
        float(before.course.nitrate_mg_l[0, -1, column]), float(after.course.nitrate_mg_l[0, -1, column]),
        float(after.course.gain_g[0].sum() - before.course.gain_g[0].sum()) / 1000.0,
        float(np.nansum(after.bed_course.harvest_kg) - np.nansum(before.bed_course.harvest_kg)), tuple(breaks),
    )  # fmt: skip


def _candidates(season: Season, balance: LoopBalance) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Effort, words and changes to try."""
    supply, draw = balance.mean("supply_g"), balance.mean("draw_g")
    if balance.mean_gap_g > 0.0:
        yield from _free_ground(season, balance.loop)
        yield from _hungrier_crops(season, balance.loop)
        yield from _ration(season, balance.loop, max(draw / supply, 0.5))
        yield from _stock(season, balance.loop, draw / supply)
        yield from _water_changes(season, balance.loop)
        yield from _area(season, balance.loop, supply / draw, 6)
    else:
        yield from _area(season, balance.loop, supply / draw, 1)
        yield from _ration(season, balance.loop, draw / supply)
        yield from _stock(season, balance.loop, draw / supply)


def _beds(season: Season, loop: str) -> list[str]:
    beds = season.site.file.beds
    return [key for key, bed in beds.items() if bed.loop == loop and BED_KINDS[bed.kind].is_on_loop and bed.plantings]


def _written(season: Season, bed: str, factor: float) -> list[dict[str, Any]]:
    """A bed's plantings as written, their areas times a factor."""
    table = season.site.file.beds[bed]
    room = table.planted_face or table.area
    return [
        {**raw, "area": f"{(planting.area or room) * factor:.4f} m2"}
        for raw, planting in zip(season.site.raw["beds"][bed]["plantings"], table.plantings, strict=True)
    ]


def _free_ground(season: Season, loop: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Plant what of the beds lies bare all season."""
    changes: dict[str, Any] = {}
    more = 0.0
    stands = season.planting.stands
    for key in _beds(season, loop):
        table = season.site.file.beds[key]
        room, most = table.planted_face or table.area, float(stands.area_m2[:, stands.beds.index(key)].max())
        if 0.0 < most < 0.97 * room:
            changes[f"beds.{key}.plantings"] = _written(season, key, room / most)
            more += room - most
    if changes:
        words = format_quantity(more, "area", season.site.file.site.units)
        yield 1, f"plant the {words} of loop {loop} that lie bare, with the crops beside them", changes


def _hungrier_crops(season: Season, loop: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Swap leafy crops for the one that draws most in this loop's season."""
    file, beds = season.site.file, _beds(season, loop)
    best: tuple[float, str] = (0.0, "")
    for name in HUNGRY_IN_COLD:
        changes = _with_crop(season, beds, name)
        if not changes:
            return
        try:
            stands = build_stands(season.site.with_changes(changes))
        except InputError:
            continue
        columns = [stands.beds.index(key) for key in beds]
        best = max(best, (float(stands.demand_g[0][:, columns].sum()), name))
    name = best[1]
    old = {
        p.crop for key in beds for p in file.beds[key].plantings if season.site.crops[p.crop].facts["kind"] == "leafy"
    }
    if name and old != {name}:
        swapped = ", ".join(sorted(old - {name}))
        yield 2, f"plant {name.replace('_', ' ')} in loop {loop} in place of {swapped}", _with_crop(season, beds, name)


def _with_crop(season: Season, beds: list[str], name: str) -> dict[str, Any]:
    """Changes that put one crop in place of every leafy one."""
    changes = {}
    for key in beds:
        plantings = season.site.file.beds[key].plantings
        raw = season.site.raw["beds"][key]["plantings"]
        kinds = [season.site.crops[planting.crop].facts["kind"] for planting in plantings]
        if "leafy" in kinds:
            changes[f"beds.{key}.plantings"] = [
                {**written, "crop": name} if kind == "leafy" else dict(written)
                for written, kind in zip(raw, kinds, strict=True)
            ]
    return changes


def _cohorts(season: Season, loop: str) -> list[str]:
    file = season.site.file
    return [key for key, cohort in file.cohorts.items() if file.tanks[cohort.tank].loop == loop]


def _ration(season: Season, loop: str, factor: float) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Feed more or less by sight."""
    changes: dict[str, Any] = {}
    shares = []
    for key in _cohorts(season, loop):
        ration = season.site.file.cohorts[key].ration
        if ration is not None and not isinstance(ration, AppetiteRation):
            continue
        old = ration.fraction if ration else DEFAULT_APPETITE_FRACTION
        new = min(1.0, math.floor(1000.0 * old * factor) / 1000.0)
        if abs(new - old) < 0.02:
            continue
        written = season.site.raw["cohorts"][key].get("ration", {"kind": "appetite"})
        changes[f"cohorts.{key}.ration"] = {**written, "fraction": new}
        shares.append((old, new))
    if changes:
        old, new = shares[0]
        yield 3, f"feed the fish of loop {loop} {100 * new:.0f} % of appetite in place of {100 * old:.0f} %", changes


def _stock(season: Season, loop: str, factor: float) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Carry fewer or more fish, all groups alike."""
    cohorts = season.site.file.cohorts
    keys = [key for key in _cohorts(season, loop) if cohorts[key].count > 0]
    new = {key: round(cohorts[key].count * min(factor, 4.0)) for key in keys}
    if not keys or all(new[key] == cohorts[key].count for key in keys):
        return
    kilos = sum((new[key] - cohorts[key].count) * cohorts[key].mean_weight for key in keys) / 1000.0
    weight = format_quantity(abs(kilos), "mass", season.site.file.site.units)
    what = "more" if kilos > 0.0 else "less"
    counts = ", ".join(f"{new[key]} {key} in place of {cohorts[key].count}" for key in keys)
    yield 4, f"stock {weight} {what} fish in loop {loop}: {counts}", {f"cohorts.{k}.count": n for k, n in new.items()}


def _water_changes(season: Season, loop: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Change a share of the loop's water every week, which carries nitrate and everything else off."""
    column = season.layout.loops.index(loop)
    water = float(season.layout.loop_water_m3[column])
    volume = f"{1000.0 * _WEEKLY_CHANGE * water:.0f} L"
    written = list(season.site.raw["loops"][loop].get("water_changes", []))
    written += [{"date": date, "volume": volume} for date in season.dates[7::7]]
    shown = format_quantity(_WEEKLY_CHANGE * water, "volume", season.site.file.site.units)
    words = f"change {shown} of loop {loop}'s water every week (its nitrogen is then lost to the beds)"
    yield 5, words, {f"loops.{loop}.water_changes": written}


def _area(season: Season, loop: str, factor: float, effort: int) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Plantings larger or smaller, and the beds with them where they are too small."""
    changes: dict[str, Any] = {}
    now = then = 0.0
    stands = season.planting.stands
    for key in _beds(season, loop):
        table = season.site.file.beds[key]
        most = float(stands.area_m2[:, stands.beds.index(key)].max())
        now, then = now + most, then + most * factor
        changes[f"beds.{key}.plantings"] = _written(season, key, factor)
        room = table.planted_face or table.area
        if most * factor > room:
            field = "planted_face" if table.planted_face else "area"
            changes[f"beds.{key}.{field}"] = f"{most * factor * 1.001:.4f} m2"
    if changes:
        units = season.site.file.site.units
        new, old = format_quantity(then, "area", units), format_quantity(now, "area", units)
        verb = "build beds and plant" if factor > 1.0 else "plant only"
        yield effort, f"{verb} {new} in loop {loop} in place of {old}", changes


# --- all that is told of a season's beds, brought together

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class BedPlan:
    """Balance, levers and budgets of a season's beds.

    Parameters
    ----------
    season : Season
        The season.
    loops : tuple of LoopBalance
        Every loop with fish or planted beds.
    levers : mapping of str to list of BedLever
        By loop.
    budgets : tuple of Budget
        Of every loop and nutrient.
    """

    season: Season
    loops: tuple[LoopBalance, ...]
    levers: dict[str, list[BedLever]]
    budgets: tuple[Budget, ...]


def bed_plan(season: Season, progress: Progress | None = None) -> BedPlan:
    """Balance, levers and budgets; some seconds a loop, for every lever is run.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        Called with (loops done, loops in all).

    Returns
    -------
    BedPlan
        For the command line and the pages.
    """
    loops = tuple(bed_balance(season))
    levers = {}
    for number, balance in enumerate(loops):
        levers[balance.loop] = bed_levers(season, balance)
        if progress is not None:
            progress(number + 1, len(loops))
    return BedPlan(season, loops, levers, tuple(budgets(season)))
