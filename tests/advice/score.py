"""Advice judged by doing it: each way is written into its site and run again.

python tests/advice/score.py     prints the score

A site passes where no fault is found: every promise kept, nothing cheaper by undoing what was broken, no less of the
same kind enough, and no single change that mends all where none was told.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]

from small_sites import build  # noqa: E402
from troubled import Troubled, broken_sites, other_sites  # noqa: E402

from stocksim import run_season  # noqa: E402
from stocksim.changes.change import Action  # noqa: E402
from stocksim.changes.effort import EFFORT  # noqa: E402
from stocksim.changes.fish import shop_powers  # noqa: E402
from stocksim.changes.ways import Advice, Way, advise  # noqa: E402
from stocksim.engine.results.findings import tank_extremes, water_limit_series  # noqa: E402
from stocksim.engine.results.frames import Season  # noqa: E402
from stocksim.engine.season import simulate  # noqa: E402
from stocksim.errors import InputError  # noqa: E402
from stocksim.site.kinds import LIMITS  # noqa: E402

RESERVE_PERCENT = 10.0
# what undoing a field asks of a keeper: the kinds of advice that it would be
_UNDONE_BY = {
    "flow": "flow", "oxygen_supply": "air", "count": "stock", "ration": "feed", "alkalinity_target": "base",
    "source_water": "water", "area": "biofilter", "media_volume": "biofilter", "tank": "move",
}  # fmt: skip


def all_sites() -> list[Troubled]:
    """Sites in which a limit breaks."""
    found = []
    for site in (*broken_sites(), *other_sites()):
        if any(finding.is_broken for finding in run_season(build(site.tables)).findings):
            found.append(site)
    return found


def margins(season: Season) -> dict[tuple[str, str], float]:
    """Margin of every limit by its place, infinite where it is not judged."""
    return {(f.limit, f.where): f.margin_percent for f in season.findings if f.margin_percent is not None}


def deaths(season: Season) -> float:
    """Fish that die, of whatever."""
    return float(season.course.deaths[0].sum())


def is_kept(season: Season, after: Season, reserve: float) -> bool:
    """Whether what was broken holds with a reserve, nothing else is broken, and no more fish die.

    The day of a test that found a limit broken is past mending and not judged.
    """
    before, then = margins(season), margins(after)
    tested = {test.date for loop in season.site.file.loops.values() for test in loop.water_tests}
    past = {(f.limit, f.where) for f in after.findings if f.is_broken and f.first_date in tested and f.days_broken == 1}
    for place, margin in then.items():
        if place in past:
            continue
        asked = reserve if before.get(place, 0.0) < 0.0 and LIMITS[place[0]].moves_with_feed else 0.0
        if margin < asked - 1e-3:
            return False
    fish = float((season.course.count + season.course.deaths)[0].sum(axis=-1).max())
    return deaths(after) <= deaths(season) + 0.01 * fish


def faults(site: Troubled) -> tuple[list[str], Advice, Season]:
    """What is wrong with the advice for a site; empty for nothing."""
    season = run_season(build(site.tables))
    advice = advise(season)
    found = []
    for way in advice.ways:
        after = run_season(season.site, **way.fields)
        if way.holds and not is_kept(season, after, RESERVE_PERCENT):
            found.append(f"{way.kind}: the promise is not kept")
        if way.near and not way.left and not is_kept(season, after, 0.0):
            found.append(f"{way.kind}: does not even hold without reserve")
        # deaths of every day come on top
        if not deaths_of(way) - 1.0 <= deaths(after) <= deaths_of(way) + 0.03 * way.deaths.fish + 1.0:
            found.append(f"{way.kind}: tells {deaths_of(way):.0f} deaths, its run has {deaths(after):.0f}")
    if not advice.ways or not advice.ways[0].holds:
        found += [
            f"nothing holds all, but {how} does"
            for how in simple_cures(season, bool(advice.ways) and not advice.ways[0].left)
        ]
    else:
        found += list(less_would_do(season, advice.ways[0]))
        asked = undo_points(season, site)
        if asked is not None and advice.ways[0].points > asked + 1e-6:
            found.append(f"costs {advice.ways[0].points:.2f} points, undoing {asked:.2f}")
    return found, advice, season


def deaths_of(way: Way) -> float:
    """Deaths that a way tells of: those of the water and of hunger; other ones come on top."""
    return way.deaths.dying


def undo_points(season: Season, site: Troubled) -> float | None:
    """Points of undoing what was broken; None where nobody can, or where it does not keep the reserve either."""
    if site.undo is None:
        return None
    kinds = [_UNDONE_BY.get(field.split(".")[-1]) for field in site.undo]
    if None in kinds:
        return None
    after = run_season(season.site, **site.undo)
    if not is_kept(season, after, RESERVE_PERCENT):
        return None
    had, has = fish_kg(season), fish_kg(after)
    return sum(EFFORT[kind] for kind in kinds) + 10.0 * max(had - has, 0.0) / had


def fish_kg(season: Season) -> float:
    """Fish harvested or sold and left. [kg]"""
    totals = season.totals()
    left = float((season.course.count[0, -1] * season.course.weight_g[0, -1]).sum()) / 1000.0
    out = sum(float(t.mass_g[0]) for t in season.course.transfers if t.happening.target < 0 <= t.happening.source)
    return left + out / 1000.0 + 0.0 * (totals["growth_kg"] or 0.0)


def less_would_do(season: Season, way: Way) -> Iterator[str]:
    """Less of the same, where a way is a single change."""
    if len(way.steps) != 1:
        return
    change = way.steps[0].change
    for how, fields in _less(season, change):
        try:
            after = run_season(season.site, **fields)
        except InputError:
            continue
        if is_kept(season, after, RESERVE_PERCENT):
            yield f"{how} is enough"


def _less(season: Season, change: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    at = change.amounts
    if change.kind is Action.MORE_AIR:
        for watts in shop_powers(at["power_w"]):
            if at["now_w"] < watts < at["power_w"]:
                supply = {"kind": "diffuser", "power": f"{watts:g} W"}
                yield f"{watts:g} W", {f"tanks.{at['tank']}.oxygen_supply": supply}
    elif change.kind is Action.FEWER_FISH:
        counts = {cohort: fish for cohort, fish, _ in at["kept"]}
        largest = max(at["kept"], key=lambda kept: kept[2])
        more = counts[largest[0]] + max(2, round(0.02 * largest[2]))
        if more < largest[2]:
            scaled = {cohort: int(of * more / largest[2]) for cohort, _, of in at["kept"]}
            yield f"keeping {scaled}", {f"cohorts.{cohort}.count": fish for cohort, fish in scaled.items()}
    elif change.kind is Action.TAKEN_OUT:
        fewer = at["fish"] - max(2, round(0.03 * at["of"]))
        if fewer > 0:
            *others, last = change.fields["events"]
            yield f"{fewer} fish", {"events": [*others, last | {"count": fewer}]}
    elif change.kind is Action.MORE_FLOW:
        for share in (0.6, 0.8):
            flow = at["now_m3_day"] + share * (at["flow_m3_day"] / 1.7 - at["now_m3_day"])
            if flow > at["now_m3_day"]:
                yield f"{flow:.1f} m3/day", {f"tanks.{at['tank']}.flow": f"{flow:.5g} m3/day"}
    elif change.kind is Action.LESS_FEED:
        fields = {}
        for cohort, fraction, now in at["rations"]:
            raw = season.site.raw["cohorts"][cohort].get("ration", {"kind": "appetite"})
            fields[f"cohorts.{cohort}.ration"] = raw | {"fraction": min(fraction + 0.04 * now, now)}
        yield "a little more feed", fields


def simple_cures(season: Season, advised: bool) -> Iterator[str]:
    """Single changes that hold every limit where the advice has none that does, or none with the reserve."""
    tables = season.site.raw
    tried: list[tuple[str, dict[str, Any]]] = []
    for share in (0.8, 0.6, 0.4, 0.2, 0.1):
        counts = {f"cohorts.{key}.count": int(share * table["count"]) for key, table in tables["cohorts"].items()}
        tried.append((f"keeping {share:.0%} of all fish", counts))
        tried += [(f"{key} = {value}", {key: value}) for key, value in counts.items()]
        rations = {f"cohorts.{key}.ration": {"kind": "appetite", "fraction": 0.85 * share} for key in tables["cohorts"]}
        if share > 0.25:
            tried.append((f"feeding {share:.0%}", rations))
    for key in tables["tanks"]:
        for watts in (20, 60, 120, 250, 400):
            tried.append(
                (f"{watts} W in {key}", {f"tanks.{key}.oxygen_supply": {"kind": "diffuser", "power": f"{watts} W"}})
            )
        tried += [(f"{flow} L/h through {key}", {f"tanks.{key}.flow": f"{flow} L/h"}) for flow in (600, 1500, 3000)]
    for loop in tables["loops"]:
        tried += [
            (f"alkalinity {level}", {f"loops.{loop}.alkalinity_target": f"{level} mg/L"}) for level in (40, 80, 120)
        ]
    for key in tables.get("biofilters", {}):
        tried += [
            (f"{volume} L of media", {f"biofilters.{key}.media_volume": f"{volume} L"}) for volume in (100, 300, 900)
        ]
    for how, fields in tried:
        try:
            after = run_season(season.site, **fields)
        except InputError:
            continue
        tanks = {stay.table.tank for stay in season.layout.stays}
        emptied = any(value == 0 for key, value in fields.items() if key.endswith(".count"))
        if not emptied and tanks and is_kept(season, after, RESERVE_PERCENT if advised else 0.0):
            yield how


def still_holds(season: Season, way: Way, appetite: float, film: float) -> bool:
    """Whether the limits that a way mends still hold where fish eat, or film does, more or less than modelled."""
    after = run_season(season.site, **way.fields)
    layout = replace(
        after.layout, appetite_at_1g=after.layout.appetite_at_1g * appetite, film_m2=after.layout.film_m2 * film
    )
    course = simulate(layout)
    worst = [
        np.nanmin(np.where(np.isfinite(series.margin_percent), series.margin_percent, np.nan))
        for series in water_limit_series(layout, course, tank_extremes(layout, course))
    ]
    return bool(min(worst) >= 0.0)


def main() -> None:
    """Print the score of every site, then of all."""
    sites, good, firm, tried = all_sites(), 0, 0, 0
    for site in sites:
        found, advice, season = faults(site)
        good += not found
        way = advice.ways[0] if advice.ways else None
        told = "-" if way is None else ", ".join(str(step.change.kind) for step in way.steps)
        left = "" if way is None or not way.left else f" [{len(way.left)} left]"
        print(
            f"{'ok  ' if not found else 'BAD '} {site.name}: {told}{left} ({advice.seasons})", *found, sep="\n       "
        )
        if way is not None and not way.left:
            for appetite, film in ((1.2, 1.0), (0.8, 1.0), (1.0, 1.2), (1.0, 0.8)):
                tried += 1
                firm += still_holds(season, way, appetite, film)
    print(f"{good} of {len(sites)} sites without a fault ({100 * good / len(sites):.0f} %)")
    print(f"{firm} of {tried} reruns with appetite or film 20 % more or less still hold every limit of the water")


if __name__ == "__main__":
    main()
