"""Levers on a loop's film: time to grow, chloride against nitrite, more surface."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.planning.trying import Lever, inside_tanks, passes
from stocksim.units import format_quantity
from stocksim.water.nitrite import MOST_NITRITE_MG_L, chloride_needed, salt_for_chloride

# A young film is fed less for some weeks: shares and weeks tried.
_HELD_SHARES, _HELD_WEEKS = (0.8, 0.6, 0.4, 0.2, 0.0), range(1, 17)
_FILM_FACTORS = np.arange(1.1, 4.01, 0.1)
_CHLORIDE_STEP_MG_L = 10.0
# Media tried where a loop has no film, each size twice the one before; plastic media of 100-300 m2/m3 is common (common
# practice, no source).
_NEW_MEDIA = {
    "metric": [f"{10 * 2**step} L" for step in range(11)], "us": [f"{3 * 2**step} gal" for step in range(11)],
}  # fmt: skip
_NEW_MEDIA_SURFACE_M2_M3 = 200.0
# Alkalinity below which nitrification suffers, 40 mg/L or more being advised (SRAC text, read), and to hold: 80 (common
# practice).
_SCARCE_ALKALINITY_MG_L, _HELD_ALKALINITY_MG_L = 40.0, 80.0


def held_feed(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
    """Less feed until the film has grown, for a limit that breaks in the season's first months."""
    layout, start = season.layout, season.layout.start
    weeks = [week for week in _HELD_WEEKS if 7 * week < layout.days]
    if not weeks or season.site.file.loops[loop].feeding_ramp or not is_early(season, finding):
        return
    # the least feed given up first
    tried = sorted(((s, w) for s in _HELD_SHARES for w in weeks), key=lambda pair: (1.0 - pair[0]) * pair[1])
    shares = np.repeat(layout.ration_by_day[None], len(tried), axis=0)
    for row, (share, week) in enumerate(tried):
        shares[row, : 7 * week, layout.loops.index(loop)] = share
    good = np.flatnonzero(passes(season, finding, replace(layout, ration_by_day=shares)))
    if good.size:
        share, week = tried[good[0]]
        end = start + dt.timedelta(days=7 * week)
        feed = f"{100 * share:.0f} % of its ration" if share else "nothing"
        yield Lever(
            f"feed loop {loop} {feed} before {end}, then all of it (`stocksim ramp` finds finer steps)",
            {f"loops.{loop}.feeding_ramp": [{"from": start, "share": share}, {"from": end, "share": 1.0}]},
        )


def is_early(season: Season, finding: Finding) -> bool:
    """Whether a limit breaks while a young film may still be the reason."""
    return ((finding.first_date or finding.worst_date) - season.layout.start).days <= 7 * _HELD_WEEKS[-1]


def more_chloride(season: Season, finding: Finding, tank: str, loop: str) -> Iterator[Lever]:
    """Chloride that keeps nitrite out of the fish of a tank, where it protects all of them."""
    layout, file = season.layout, season.site.file
    inside = inside_tanks(season, [tank])
    # chloride shields some species only, and no more than so much nitrite is counted on
    if not (layout.species["chloride_protects"][inside] > 0.0).all() or finding.worst_value > MOST_NITRITE_MG_L:
        return
    least = math.ceil(float(chloride_needed(finding.worst_value)) / _CHLORIDE_STEP_MG_L) * _CHLORIDE_STEP_MG_L
    column = layout.loops.index(loop)
    now = float(season.course.chloride_mg_l[0, 0, column])
    volume = file.loops[loop].sump + float((layout.volume_m3 @ layout.leaf_loop)[column])
    # shielded fish eat what nitrite kept them from, and nitrite rises: the first target may fall short
    most = min(2.0 * least, float(chloride_needed(MOST_NITRITE_MG_L)) + _CHLORIDE_STEP_MG_L)
    for target in np.arange(least, most + 1e-9, _CHLORIDE_STEP_MG_L):
        salt = format_quantity(float(salt_for_chloride(volume, now, target)), "weight", file.site.units)
        yield Lever(
            f"keep {target:.0f} mg/L of chloride in loop {loop}, top-up water too (about {salt} of plain salt to begin "
            "with, and sodium sets crops back: calcium or potassium chloride where they grow)",
            {f"loops.{loop}.source_water.chloride": f"{target:g} mg/L"},
        )


def more_buffer(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
    """Alkalinity held up by dosing, where nobody doses and nitrification runs out of it."""
    if season.site.file.loops[loop].alkalinity_target is not None:
        return
    column = season.layout.loops.index(loop)
    lowest = float(season.course.alkalinity_mg_l[0, :, column].min())
    if lowest >= _SCARCE_ALKALINITY_MG_L:
        return
    yield Lever(
        f"dose loop {loop} to hold {_HELD_ALKALINITY_MG_L:.0f} mg/L of alkalinity: it falls to {max(lowest, 0.0):.0f}",
        {f"loops.{loop}.alkalinity_target": f"{_HELD_ALKALINITY_MG_L:g} mg/L"},
    )


def new_film(season: Season, loop: str) -> Iterator[Lever]:
    """A biofilter for a loop that has no film at all, the smallest first."""
    layout, file = season.layout, season.site.file
    if layout.film_m2[layout.leaf_loop[:, layout.loops.index(loop)] > 0.0].any():
        return
    name = next(name for name in map("new_{}".format, itertools.count(1)) if name not in file.biofilters)
    flow = sum(tank.flow for tank in file.tanks.values() if tank.loop == loop)
    for size in _NEW_MEDIA[file.site.units]:
        table = {
            "loop": loop, "kind": "trickling", "media_volume": size,
            "specific_surface": f"{_NEW_MEDIA_SURFACE_M2_M3:g} m2/m3", "flow": f"{flow:.6g} m3/day",
        }  # fmt: skip
        yield Lever(
            f"give loop {loop} a trickling biofilter with {size} of {_NEW_MEDIA_SURFACE_M2_M3:g} m2/m3 media, its film "
            "grown before it must carry these fish",
            {f"biofilters.{name}": table},
        )


def more_film(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
    """More surface on the loop's largest bed or biofilter, as old as what is there."""
    layout = season.layout
    film = np.where(layout.leaf_loop[:, layout.loops.index(loop)] > 0.0, layout.film_m2, 0.0)
    largest = int(np.argmax(film))
    if film[largest] <= 0.0:
        return
    table, name = layout.units[largest - len(layout.tanks)].split(".")
    films, volumes = (np.repeat(a[None], _FILM_FACTORS.size, axis=0) for a in (layout.film_m2, layout.volume_m3))
    films[:, largest] *= _FILM_FACTORS
    if table == "biofilters":
        volumes[:, largest] *= _FILM_FACTORS
    good = np.flatnonzero(passes(season, finding, replace(layout, film_m2=films, volume_m3=volumes)))
    if not good.size:
        return
    factor, units = float(_FILM_FACTORS[good[0]]), season.site.file.site.units
    surface = math.ceil(film[largest] * factor)
    now, wanted = (format_quantity(area, "area", units) for area in (float(film[largest]), surface))
    if table == "beds":
        changes = {f"beds.{name}.nitrifying_surface": f"{surface} m2"}
        yield Lever(f"give bed {name} {wanted} of nitrifying surface instead of {now}, by more or finer media", changes)
    else:
        media = season.site.file.biofilters[name].media_volume * factor
        words = f"give biofilter {name} {format_quantity(media, 'volume', units)} of media"
        yield Lever(words, {f"biofilters.{name}.media_volume": f"{media:.5f} m3"})
