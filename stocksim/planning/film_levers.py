"""Levers on a loop's film: time to grow, a first biofilter, more surface."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator

import numpy as np

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.planning.trying import Lever, first_passing
from stocksim.units import format_quantity
from stocksim.water.maturity import maturity_after

# A young film is fed less for some weeks: weeks at most that each share is tried for. Fish do without any feed for a
# week, and with a fifth of it for four, with no harm that a keeper sees (common practice for fish of a finger's length
# and more, no source; fry and warm water bear less). That they live is proved besides.
_HELD_WEEKS = {0.8: 16, 0.6: 16, 0.4: 8, 0.2: 4, 0.0: 1}
_EARLY_DAYS = 7 * max(_HELD_WEEKS.values())
# A film below this share of what ordinary feeding keeps at its temperature is still growing (assumed); one that had so
# many days is not.
_YOUNG_SHARE, _GROWN_DAYS = 0.9, 3650.0
_FILM_FACTORS = np.arange(1.1, 4.01, 0.1)
# Media tried where a loop has no film, each size twice the one before; plastic media of 100-300 m2/m3 is common (common
# practice, no source).
_NEW_MEDIA = {
    "metric": [f"{10 * 2**step} L" for step in range(11)], "us": [f"{3 * 2**step} gal" for step in range(11)],
}  # fmt: skip
_NEW_MEDIA_SURFACE_M2_M3 = 200.0


def held_feed(season: Season, finding: Finding, loop: str) -> Iterator[Lever]:
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
        feed = f"{100 * share:.0f} % of its ration" if share else "nothing"
        yield Lever(
            f"feed loop {loop} {feed} before {end}, then all of it (`stocksim ramp` finds finer steps)",
            {f"loops.{loop}.feeding_ramp": [{"from": start, "share": share}, {"from": end, "share": 1.0}]},
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
    young = (layout.water.maturity < _YOUNG_SHARE * grown).any(axis=0)
    return bool(film[young].sum() > 0.5 * film.sum())


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
    good = first_passing(season, finding, {"film_m2": films, "volume_m3": volumes})
    if good is None:
        return
    factor, units = float(_FILM_FACTORS[good]), season.site.file.site.units
    surface = math.ceil(film[largest] * factor)
    now, wanted = (format_quantity(area, "area", units) for area in (float(film[largest]), surface))
    if table == "beds":
        changes = {f"beds.{name}.nitrifying_surface": f"{surface} m2"}
        yield Lever(f"give bed {name} {wanted} of nitrifying surface instead of {now}, by more or finer media", changes)
    else:
        media = season.site.file.biofilters[name].media_volume * factor
        words = f"give biofilter {name} {format_quantity(media, 'volume', units)} of media"
        yield Lever(words, {f"biofilters.{name}.media_volume": f"{media:.5f} m3"})
