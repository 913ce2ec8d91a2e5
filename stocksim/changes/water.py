"""What can be changed on a loop's water: its film, its salts, dosing, softer water, water changes."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.changes.change import (
    Action,
    Care,
    Change,
    first_passing,
    inside_tanks,
    mends_when_run,
    prove,
)
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.arrays.water import source_level
from stocksim.engine.results.findings import Finding, water_limit_series
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.site.kinds import LIMITS
from stocksim.units import parse_quantity
from stocksim.water.maturity import maturity_after
from stocksim.water.nitrite import (
    MOST_NITRITE_MG_L,
    SODIUM_CAUTION_MG_L,
    SODIUM_PER_CHLORIDE,
    chloride_needed,
    salt_for_chloride,
)

# A young film is fed less for some weeks: weeks at most that each share is tried for. Fish do without any feed for a
# week, and with a fifth of it for four, with no harm that a keeper sees (common practice for fish of a finger's length
# and more, no source; fry and warm water bear less). That they live is proved besides.
_HELD_WEEKS = {0.8: 16, 0.6: 16, 0.4: 8, 0.2: 4, 0.0: 1}
_EARLY_DAYS = 7 * max(_HELD_WEEKS.values())
# A film below this share of what ordinary feeding keeps at its temperature is still growing (assumed); one that had so
# many days is not.
_YOUNG_SHARE, _GROWN_DAYS = 0.9, 3650.0
_FILM_FACTORS = np.arange(1.1, 4.01, 0.1)  # of a bed, whose media can be finer or more
_MEDIA_STEPS, _MOST_MEDIA_M3 = 40, 2.0  # of a biofilter, which can be another one
# Media tried where a loop has no film, each size twice the one before; plastic media of 100-300 m2/m3 is common (common
# practice, no source).
_NEW_MEDIA = {
    "metric": [f"{10 * 2**step} L" for step in range(11)], "us": [f"{3 * 2**step} gal" for step in range(11)],
}  # fmt: skip
_NEW_MEDIA_SURFACE_M2_M3 = 200.0
# Largest new filter, media over the loop's water: it turns what 100 kg of fish a m3 make, at 1 % of feed a day, 30 g of
# TAN a kg of feed and 0.3 g of TAN a m2 and day (all common practice, no source); more of it is not the cure.
_MOST_MEDIA_SHARE = 0.5


def held_feed(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """Less feed until a young film has grown, for a limit that breaks in the season's first months."""
    layout, start = season.layout, season.layout.start
    if season.site.file.loops[loop].feeding_ramp or not is_early(season, finding) or not starts_young(season, loop):
        return
    # the least feed given up first
    tried = [(s, w) for s, most in _HELD_WEEKS.items() for w in range(1, most + 1) if 7 * w < layout.days]
    tried.sort(key=lambda pair: (1.0 - pair[0]) * pair[1])
    if not tried:
        return
    shares = np.repeat(layout.ration_by_day[None], len(tried), axis=0)
    for row, (share, week) in enumerate(tried):
        shares[row, : 7 * week, layout.loops.index(loop)] = share
    good = first_passing(season, finding, {"ration_by_day": shares}, True)
    if good is not None:
        share, week = tried[good]
        end = start + dt.timedelta(days=7 * week)
        yield Change(
            Action.HELD_FEED,
            {f"loops.{loop}.feeding_ramp": [{"from": start, "share": share}, {"from": end, "share": 1.0}]},
            {"loop": loop, "share": share, "until": end},
            start,
            cuts_feed=True,
        )


def is_early(season: Season, finding: Finding) -> bool:
    """Whether a limit breaks while a young film may still be the reason."""
    return ((finding.first_date or finding.worst_date) - season.layout.start).days <= _EARLY_DAYS


def starts_young(season: Season, loop: str) -> bool:
    """Whether most of a loop's film is new, seeded or not yet grown on the first morning.

    A film that is mature fits the load of the first day: less feed only makes it smaller.
    """
    layout = season.layout
    column = layout.loops.index(loop)
    film = (layout.film_m2 * layout.leaf_loop[:, column])[len(layout.tanks) :]
    water = layout.temperature_c[0, column]
    grown = np.array([[maturity_after(_GROWN_DAYS, water, "ammonia")], [maturity_after(_GROWN_DAYS, water, "nitrite")]])
    # a mature film stands as NaN: the first day's load decides how large it is
    young = (layout.water.maturity[..., len(layout.tanks) :] < _YOUNG_SHARE * grown).any(axis=0)
    return bool(film[young].sum() > 0.5 * film.sum())


def _unit_film_m2(layout: Layout, loop: str) -> NDArray[np.float64]:
    """Film of a loop's beds and biofilters, shape (leaf,); 0 for tanks, whose walls the keeper cannot make larger."""
    film = np.where(layout.leaf_loop[:, layout.loops.index(loop)] > 0.0, layout.film_m2, 0.0)
    film[: len(layout.tanks)] = 0.0
    return film


def new_film(season: Season, loop: str) -> Iterator[Change]:
    """A biofilter for a loop that has no film but on its tanks' walls, the smallest first."""
    layout = season.layout
    if not _unit_film_m2(layout, loop).any():
        yield from _new_filters(season, loop)


def another_film(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """A biofilter for a loop that has beds only, the smallest that does."""
    if any(unit.loop == loop for unit in season.site.file.biofilters.values()):
        return
    sizes = list(_new_filters(season, loop))
    try:
        proved = prove(season.site, sizes[-1].fields)
    except InputError:  # no pump carries its flow
        return
    largest = proved.layout
    leaf = len(largest.tanks) + len(largest.units) - 1
    media = np.array([size.amounts["media_m3"] for size in sizes])
    films, volumes = (np.repeat(a[None], media.size, axis=0) for a in (largest.film_m2, largest.volume_m3))
    films[:, leaf] *= media / media[-1]
    volumes[:, leaf] *= media / media[-1]
    before = Season(proved.site, largest, season.course, season.planting)  # whom it must spare
    good = first_passing(before, finding, {"film_m2": films, "volume_m3": volumes}, is_one_stretch=True)
    if good is not None:
        yield sizes[good]


def _new_filters(season: Season, loop: str) -> Iterator[Change]:
    file = season.site.file
    name = next(name for name in map("new_{}".format, itertools.count(1)) if name not in file.biofilters)
    flow = sum(tank.flow for tank in file.tanks.values() if tank.loop == loop)
    most_m3 = _MOST_MEDIA_SHARE * float(season.layout.loop_water_m3[season.layout.loops.index(loop)])
    sizes = [size for size in _NEW_MEDIA[file.site.units] if parse_quantity(size, "volume") <= most_m3]
    for size in sizes or _NEW_MEDIA[file.site.units][:1]:
        table = {
            "loop": loop, "kind": "trickling", "media_volume": size,
            "specific_surface": f"{_NEW_MEDIA_SURFACE_M2_M3:g} m2/m3", "flow": f"{flow:.6g} m3/day",
        }  # fmt: skip
        media = {"media_m3": parse_quantity(size, "volume"), "surface_m2_m3": _NEW_MEDIA_SURFACE_M2_M3}
        yield Change(Action.NEW_FILM, {f"biofilters.{name}": table}, {"loop": loop} | media, care=Care.GROWN_FILM)


def more_film(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """More surface on the loop's largest bed or biofilter, as old as what is there."""
    layout = season.layout
    film = _unit_film_m2(layout, loop)
    largest = int(np.argmax(film))
    if film[largest] <= 0.0:
        return
    units = [largest]
    filters = [
        at + len(layout.tanks)
        for at, unit in enumerate(layout.units)
        if unit.startswith("biofilters.") and film[at + len(layout.tanks)] > 0.0
    ]
    units += [at for at in filters if at != largest]
    for leaf in units:
        yield from _grown(season, finding, leaf)


def _grown(season: Season, finding: Finding, leaf: int) -> Iterator[Change]:
    """The least surface of one bed or biofilter that does."""
    layout = season.layout
    film = layout.film_m2
    table, name = layout.units[leaf - len(layout.tanks)].split(".")
    factors = _FILM_FACTORS
    if table == "biofilters":
        now = season.site.file.biofilters[name].media_volume
        factors = np.geomspace(1.1, max(_MOST_MEDIA_M3 / now, 2.2), _MEDIA_STEPS)
    films, volumes = (np.repeat(a[None], factors.size, axis=0) for a in (layout.film_m2, layout.volume_m3))
    films[:, leaf] *= factors
    if table == "biofilters":
        volumes[:, leaf] *= factors
    good = first_passing(season, finding, {"film_m2": films, "volume_m3": volumes}, is_one_stretch=True)
    if good is None:
        return
    factor, where = float(factors[good]), {"where": f"{table}.{name}"}
    if table == "beds":
        surface = math.ceil(film[leaf] * factor)
        amounts = where | {"surface_m2": surface, "now_m2": float(film[leaf])}
        yield Change(Action.MORE_FILM, {f"beds.{name}.nitrifying_surface": f"{surface} m2"}, amounts)
    else:
        media = season.site.file.biofilters[name].media_volume * factor
        field = f"biofilters.{name}.media_volume"
        yield Change(Action.MORE_FILM, {field: f"{media:.5f} m3"}, where | {"media_m3": media})


# --- chloride against nitrite: as plain salt, or without sodium where crops grow

_CHLORIDE_STEP_MG_L = 10.0
# g per g of chloride, from molar masses (CaCl2 2 H2O 147.01, Ca 40.078, KCl 74.551, Cl 35.453): calcium chloride
# dihydrate, its calcium, and potassium chloride. That both stand in for salt where crops grow is common practice.
_CALCIUM_SALT, _CALCIUM, _POTASSIUM_SALT = 147.01 / 70.906, 40.078 / 70.906, 74.551 / 35.453


def more_chloride(season: Season, finding: Finding, tank: str, loop: str) -> Iterator[Change]:
    """Chloride that keeps nitrite out of the fish of a tank, where it protects all of them.

    Notes
    -----
    The source water is given the chloride and what comes with it, so top-up water brings more of both: where none is
    drawn off, sodium comes out too high, the careful side for crops.
    """
    layout = season.layout
    inside = inside_tanks(season, [tank])
    # chloride shields some species only, and no more than so much nitrite is counted on
    if not (layout.species["chloride_protects"][inside] > 0.0).all() or finding.worst_value > MOST_NITRITE_MG_L:
        return
    least = math.ceil(float(chloride_needed(finding.worst_value)) / _CHLORIDE_STEP_MG_L) * _CHLORIDE_STEP_MG_L
    # shielded fish eat what nitrite kept them from, and nitrite rises: the first target may fall short
    most = min(2.0 * least, float(chloride_needed(MOST_NITRITE_MG_L)) + _CHLORIDE_STEP_MG_L)
    for target in np.arange(least, most + 1e-9, _CHLORIDE_STEP_MG_L):
        yield from _salts(season, loop, float(target))


def _salts(season: Season, loop: str, target: float) -> Iterator[Change]:
    """Plain salt, or calcium chloride where crops grow and would get too much sodium."""
    file, layout = season.site.file, season.layout
    column = layout.loops.index(loop)
    table = file.loops[loop]
    volume = float(layout.loop_water_m3[column])
    # of what the loop holds at first; the top-up water gets as much as the source lacks
    now = float(season.course.chloride_mg_l[0, 0, column])
    missing = max(target - now, 0.0)
    rise = max(target - source_level(table, "chloride"), 0.0)

    def level(solute: str, per_chloride: float) -> dict[str, str]:
        return {f"loops.{loop}.source_water.{solute}": f"{source_level(table, solute) + per_chloride * rise:.6g} mg/L"}

    chloride = {f"loops.{loop}.source_water.chloride": f"{target:g} mg/L"}
    salted = chloride | level("sodium", SODIUM_PER_CHLORIDE)
    sodium = _most_sodium(season, salted, column)
    if sodium is None:
        return
    is_planted = _grows_crops(season, loop)
    amounts = {"loop": loop, "chloride_mg_l": target, "sodium_mg_l": sodium, "is_planted": is_planted}
    if sodium <= SODIUM_CAUTION_MG_L or not is_planted:
        salts_g = {"plain_salt": float(salt_for_chloride(volume, now, target))}
        yield Change(Action.CHLORIDE, salted, amounts | {"salts_g": salts_g})
        return
    others = {"calcium_chloride_dihydrate": _CALCIUM_SALT, "potassium_chloride": _POTASSIUM_SALT}
    salts_g = {salt: per_chloride * missing * volume for salt, per_chloride in others.items()}
    yield Change(
        Action.CHLORIDE,
        chloride | level("calcium", _CALCIUM),
        amounts | {"salts_g": salts_g},
        care=Care.FOOD_GRADE,
    )


def _most_sodium(season: Season, fields: dict[str, Any], column: int) -> float | None:
    """Highest sodium of the loop in a season with the salt; None where that cannot be run. [mg/L]"""
    try:
        return float(prove(season.site, fields).course.sodium_mg_l[0, :, column].max())
    except InputError:
        return None


def _grows_crops(season: Season, loop: str) -> bool:
    return any(bed.loop == loop and bed.plantings for bed in season.site.file.beds.values())


# --- a loop's water: dosing, softer water, water changes, less ammonia where a film is fed before fish come

# Alkalinity below which nitrification suffers, 40 mg/L or more being advised (SRAC text, read), and to hold: 80 (common
# practice).
SCARCE_ALKALINITY_MG_L, HELD_ALKALINITY_MG_L = 40.0, 80.0
_ALKALINITY_STEP_MG_L = 20.0
# Of the loop's water at most this share is changed in a day (common practice, no source: fish bear no larger step in
# salts and pH), in tenths.
_CHANGE_SHARES = (0.1, 0.2, 0.3, 0.4, 0.5)
# How often, and every how many days.
_CHANGE_PATTERNS = ((1, 1), (2, 1), (3, 1), (5, 1), (7, 1), (14, 1), (21, 1), (4, 7), (8, 7))
_BRIEF_DAYS = 21  # a limit broken for longer is not a matter of one or a few water changes (assumed)
# What is tried where ammonia is dosed to feed a film: shares of the dose, and weeks from its end until fish
# come.
_DOSE_SHARES, _LATER_WEEKS = (1.0, 0.5, 0.25, 0.1), (0, 2, 4, 8)
_CLEAR_DAYS = (0, 3, 7, 14)  # that the film is given to clear the water before fish come
_LEAST_SEASON_DAYS = 28  # that fish stocked later must still be in the season for, to prove anything (assumed)
_FILM_WEEKS, _FIRST_DAYS = (3, 4, 6, 8, 10, 12, 16), 14  # tried, and the fish's first days that a new film must carry
_TEST_DAYS = 3  # a test this long before a limit breaks found what breaks it (assumed)


def more_buffer(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """Alkalinity held up by dosing, where nobody doses and nitrification runs out of it."""
    if season.site.file.loops[loop].alkalinity_target is not None:
        return
    column = season.layout.loops.index(loop)
    lowest = float(season.course.alkalinity_mg_l[0, :, column].min())
    if lowest >= SCARCE_ALKALINITY_MG_L:
        return
    yield held_base(loop, lowest)


def held_base(loop: str, lowest_mg_l: float) -> Change:
    """Base dosed into a loop whose alkalinity falls so low: the one that every answer asks for."""
    return Change(
        Action.BUFFER,
        {f"loops.{loop}.alkalinity_target": f"{HELD_ALKALINITY_MG_L:g} mg/L"},
        {"loop": loop, "alkalinity_mg_l": HELD_ALKALINITY_MG_L, "lowest_mg_l": max(lowest_mg_l, 0.0)},
    )


def emptied_more_often(season: Season, loop: str) -> Iterator[Change]:
    """A loop's settlers emptied twice as often, down to each day: what lies in them gives off ammonia as it rots."""
    slow = {
        key: settler.emptied_every_days
        for key, settler in season.site.file.settlers.items()
        if settler.loop == loop and settler.emptied_every_days > 1
    }
    days = max(slow.values(), default=1)
    while days > 1:
        days //= 2
        slower = tuple(key for key, now in slow.items() if now > days)
        fields = {f"settlers.{key}.emptied_every_days": days for key in slower}
        yield Change(Action.EMPTIED, fields, {"settlers": slower, "days": days, "now_days": max(slow.values())})


def softer_water(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """Less alkalinity, by a lower target or softer source water: a lower pH leaves less ammonia un-ionized.

    Only where pH is computed; a pH that the keeper measured follows no alkalinity of the model.
    """
    table = season.site.file.loops[loop]
    if not LIMITS[finding.limit].goes_by_ph or table.ph is not None:
        return
    target, source = table.alkalinity_target, source_level(table, "alkalinity")
    if target is not None:
        for level in alkalinity_steps(target):
            yield softer_target(loop, level, target)
    for level in softer_sources(season, loop):
        amounts = {"loop": loop, "alkalinity_mg_l": level, "now_mg_l": source}
        yield Change(Action.SOFTER_SOURCE, softened(season, loop, level), amounts)


def softer_target(loop: str, level: float, target: float) -> Change:
    """A loop's target of alkalinity lowered from one level to another. [mg/L]"""
    amounts = {"loop": loop, "alkalinity_mg_l": level, "now_mg_l": target}
    return Change(Action.SOFTER_TARGET, {f"loops.{loop}.alkalinity_target": f"{level:g} mg/L"}, amounts)


def softer_sources(season: Season, loop: str) -> list[float]:
    """Alkalinities of softer source water that a loop bears, the highest first. [mg/L]

    Where nobody doses, nitrification must not run out of it.
    """
    table = season.site.file.loops[loop]
    source = source_level(table, "alkalinity")
    lowest = float(season.course.alkalinity_mg_l[0, :, season.layout.loops.index(loop)].min())
    return [
        level
        for level in alkalinity_steps(source)
        if table.alkalinity_target is not None or lowest - (source - level) >= SCARCE_ALKALINITY_MG_L
    ]


def softened(season: Season, loop: str, level: float) -> dict[str, Any]:
    """Fields for source water of this alkalinity, and a target of no more than it."""
    fields = {f"loops.{loop}.source_water.alkalinity": f"{level:g} mg/L"}
    target = season.site.file.loops[loop].alkalinity_target
    if target is not None:
        fields[f"loops.{loop}.alkalinity_target"] = f"{min(level, target):g} mg/L"
    return fields


def alkalinity_steps(now: float) -> list[float]:
    """Levels below today's that nitrification still bears, the highest first, ten at most."""
    steps = []
    level = _ALKALINITY_STEP_MG_L * ((now - 1e-9) // _ALKALINITY_STEP_MG_L)
    while level >= SCARCE_ALKALINITY_MG_L:
        steps.append(level)
        level -= _ALKALINITY_STEP_MG_L
    return steps[:: -(-len(steps) // 10) or 1]


def measured_on(season: Season, finding: Finding, loop: str) -> dt.date | None:
    """Day of the last test of ammonia or nitrite shortly before a limit broke, None without such."""
    first = finding.first_date
    if first is None or not LIMITS[finding.limit].is_left_by_film:
        return None
    tests = season.site.file.loops[loop].water_tests
    days = [test.date for test in tests if test.tan is not None or test.nitrite_n is not None]
    return max((day for day in days if 0 <= (first - day).days <= _TEST_DAYS), default=None)


def water_changes(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """The fewest and smallest water changes that keep nitrite or ammonia under its limit.

    They begin on the day before it breaks. Where a test found the water bad they begin on the day of the test, which
    may itself be past mending.
    """
    is_lowered = LIMITS[finding.limit].is_left_by_film
    if not is_lowered or finding.first_date is None or finding.days_broken > _BRIEF_DAYS:
        return
    layout = season.layout
    tested = measured_on(season, finding, loop)
    first = tested or max(finding.first_date - dt.timedelta(days=1), layout.start)
    is_tested = tested == finding.first_date
    # where it is broken on the test's day alone, later days prove nothing: what the day itself makes of it is asked
    is_alone = is_tested and finding.days_broken == 1
    spared: list[tuple[dt.date, ...]] = [()] * (not is_alone) + [(first,)] * is_tested
    for past in spared:
        for times, every in _CHANGE_PATTERNS:
            days = [first + dt.timedelta(days=every * number) for number in range(times)]
            if (days[-1] - layout.start).days >= layout.days:
                break
            largest = _changed(season, loop, days, _CHANGE_SHARES[-1], past)
            if not _holds(season, finding, largest, is_alone):
                continue
            smaller = (_changed(season, loop, days, share, past) for share in _CHANGE_SHARES[:-1])
            yield next((change for change in smaller if _holds(season, finding, change, is_alone)), largest)
            return


def weekly_water(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """The smallest share of a loop's water changed every week that keeps a level which the film leaves too high."""
    if not LIMITS[finding.limit].is_left_by_film or finding.days_broken <= _BRIEF_DAYS or finding.first_date is None:
        return
    layout = season.layout
    first = max((finding.first_date - layout.start).days - 7, 0)
    days = season.dates[first::7]
    for share in _CHANGE_SHARES:
        change = _changed(season, loop, days, share, ())
        if _holds(season, finding, change, False):
            yield change
            return


def _holds(season: Season, finding: Finding, change: Change, is_alone: bool) -> bool:
    is_mended = mends_when_run(season, finding, change)
    return is_mended and (not is_alone or _clears(prove(season.site, change.fields), finding))


def _clears(after: Season, finding: Finding) -> bool:
    """Whether a limit holds on the day of a test as well, but for what the test itself found in the morning."""
    untested = replace(after.layout, water=replace(after.layout.water, tests=()))
    judged = water_limit_series(untested, after.course, after.extremes)
    (series,) = [one for one in judged if one.limit == finding.limit]
    margin = series.margin_percent[0, :, series.entities.index(finding.where.split(".")[1])]
    return not bool((margin < 0.0).any())


def _changed(season: Season, loop: str, days: list[dt.date], share: float, past: tuple[dt.date, ...]) -> Change:
    """The same share of a loop's water changed on some days."""
    layout = season.layout
    column = layout.loops.index(loop)
    water = float(layout.loop_water_m3[column])
    volume = f"{1000.0 * share * water:.0f} L"
    written = list(season.site.raw["loops"][loop].get("water_changes", []))
    every = (days[1] - days[0]).days if len(days) > 1 else 0
    return Change(
        Action.WATER_CHANGES,
        {f"loops.{loop}.water_changes": [*written, *({"date": day, "volume": volume} for day in days)]},
        {"loop": loop, "volume_m3": share * water, "share": share, "last": days[-1], "every_days": every},
        days[0],
        care=Care.NEW_WATER,
        past=past,
    )


def less_dosed_ammonia(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """Where ammonia was dosed to feed a film before fish came: less of it, for fewer days, or fish later."""
    cycling = season.site.file.loops[loop].fishless_cycling
    if cycling is None or (finding.first_date or finding.worst_date) < cycling.start:
        return
    field = f"loops.{loop}.fishless_cycling"
    start, end = cycling.start, cycling.end
    fish = _stocked(season, loop)
    if not fish:  # they come by events only, and no change moves these
        return
    first = min(fish.values())
    for days in _CLEAR_DAYS:
        last = min(end, first - dt.timedelta(days=1)) - dt.timedelta(days=days)
        if start <= last < end:
            amounts = {"loop": loop, "last": last, "days_ahead": (first - last).days}
            yield Change(Action.DOSING_ENDS, {field: _dose(season, loop, 1.0, last)}, amounts)
    for weeks, share in itertools.product(_LATER_WEEKS, _DOSE_SHARES):
        due = max(first, end + dt.timedelta(days=1 + 7 * weeks))
        later = {key: max(day, due) for key, day in fish.items()}
        is_same = share == 1.0 and later == fish
        if is_same or (due - season.layout.start).days + _LEAST_SEASON_DAYS > season.layout.days:
            continue
        moved = tuple(key for key in fish if later[key] != fish[key])
        fields: dict[str, Any] = {field: _dose(season, loop, share, end)} if share < 1.0 else {}
        yield Change(
            Action.LESS_DOSED_AMMONIA,
            fields | dict.fromkeys([f"cohorts.{key}.stocked" for key in moved], due),
            {
                "loop": loop,
                "dose_g_day": share * cycling.ammonia_nitrogen if share < 1.0 else None,
                "now_g_day": cycling.ammonia_nitrogen,
                "cohorts": moved,
                "due": due,
            },
            care=Care.CLEAR_TESTS if moved else None,
        )


def film_first(season: Season, finding: Finding, loop: str) -> Iterator[Change]:
    """Ammonia dosed into a loop whose film is new until it carries the fish's first weeks; the fish come then.

    The soonest date that does, with a dose of what the fish would have made, or half of it.
    """
    table, start = season.site.file.loops[loop], season.layout.start
    fish = _stocked(season, loop)
    if table.fishless_cycling is not None or table.feeding_ramp or not fish or not is_early(season, finding):
        return
    if min(fish.values()) > start + dt.timedelta(days=_EARLY_DAYS) or not starts_young(season, loop):
        return
    column = season.layout.loops.index(loop)
    made = float(season.loop_table["tan_produced_g"][:_FIRST_DAYS, column].mean())
    if not made > 0.0:
        return
    first = min(fish.values())
    for weeks, share in itertools.product(_FILM_WEEKS, (1.0, 0.5)):
        due = first + dt.timedelta(days=7 * weeks)
        until = due - dt.timedelta(days=1 + _CLEAR_DAYS[1])
        if (due - start).days + _LEAST_SEASON_DAYS > season.layout.days:
            return
        late = {key: max(day, due) for key, day in fish.items()}
        moved = tuple(key for key in fish if late[key] != fish[key])
        dose = {"from": start, "to": until, "ammonia_nitrogen": f"{share * made:.4g} g/day"}
        change = Change(
            Action.FILM_FIRST,
            {f"loops.{loop}.fishless_cycling": dose} | {f"cohorts.{key}.stocked": due for key in moved},
            {"loop": loop, "dose_g_day": share * made, "until": until, "cohorts": moved, "due": due},
            start,
            care=Care.AMMONIA,
        )
        if mends_when_run(season, finding, change):
            yield change
            return


def _stocked(season: Season, loop: str) -> dict[str, dt.date]:
    """Day on which each of the file's cohorts comes into a loop."""
    file = season.site.file
    return {
        key: cohort.stocked or season.layout.start
        for key, cohort in file.cohorts.items()
        if file.tanks[cohort.tank].loop == loop
    }


def _dose(season: Season, loop: str, share: float, last: dt.date) -> dict[str, Any]:
    cycling = season.site.file.loops[loop].fishless_cycling
    assert cycling is not None
    return {"from": cycling.start, "to": last, "ammonia_nitrogen": f"{share * cycling.ammonia_nitrogen:.6g} g/day"}
