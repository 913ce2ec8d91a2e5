"""What is planted where on each day, and which feed ratio the handbooks give for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.stands import Stands, build_stands, planted
from stocksim.library.sources import Entry
from stocksim.memo import Memo
from stocksim.plants.area import RAFT_RATIO_HIGH, RAFT_RATIO_LOW
from stocksim.site.bed_notes import has_published_ratio
from stocksim.site.model import BedTable
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]
# Leafy crops, only for loops on whose water nothing at all is planted in the season, as what a planting there might be:
# 40-50 g/m2/day, Somerville et al. 2014, FAO
# 589 s8.1.
UNPLANTED_RATIO = (40.0, 50.0)


@dataclass(frozen=True)
class Planting:
    """Planted area by day.

    Parameters
    ----------
    beds : tuple of str
        Bed names.
    bed_area_m2 : ndarray, shape (day, bed)
        Planted area.
    crops : mapping of str to list of str
        Words for each bed and day, as ``lettuce + basil``; empty when bare.
    loop_area_m2 : ndarray, shape (day, loop)
        Planted area of the beds that loop water runs through.
    rated_area_m2 : ndarray, shape (day, loop)
        The part of it for which a ratio was published: no tower, strawberry, bean or pea.
    ratio_low, ratio_high : ndarray, shape (day, loop)
        Published band of feed ratio for that part, weighted by area. [g/m2/day] On days without any, that of the
        season's rated plantings; `UNPLANTED_RATIO` where loop water feeds no planting all season; NaN where all that it
        feeds is without a published ratio.
    unrated : tuple of str
        What no published ratio covers, one phrase each.
    stands : Stands
        Batches of every planting.
    """

    beds: tuple[str, ...]
    bed_area_m2: FloatArray
    crops: dict[str, list[str]]
    loop_area_m2: FloatArray
    rated_area_m2: FloatArray
    ratio_low: FloatArray
    ratio_high: FloatArray
    unrated: tuple[str, ...]
    stands: Stands


def published_ratio(bed_kind: str, crop: Entry) -> tuple[float, float] | None:
    """Published band of g feed per m2 and day for a crop in a kind of bed; None where nobody published one."""
    if not has_published_ratio(bed_kind, crop):
        return None
    if bed_kind == "raft" and crop.facts["kind"] == "leafy":
        return RAFT_RATIO_LOW, RAFT_RATIO_HIGH
    return crop["feed_ratio_low"], crop["feed_ratio_high"]


def build_planting(site: Site) -> Planting:
    """Planted area and feed ratio of each day of a site."""
    stands = build_stands(site)
    return _kept.of(stands.key, lambda: _planting_of(site, stands))


_kept: Memo[Planting] = Memo(32)  # some 0.1 MB each


def _planting_of(site: Site, stands: Stands) -> Planting:
    file, days = site.file, site.days
    beds, loops = tuple(file.beds), list(file.loops)
    loop_area, rated = np.zeros((days, len(loops))), np.zeros((days, len(loops)))
    low, high = np.zeros_like(rated), np.zeros_like(rated)
    words: dict[str, list[list[str]]] = {key: [[] for _ in range(days)] for key in beds}
    unrated = []
    for key, bed in file.beds.items():
        loop = loops.index(bed.loop)
        for planting, stand in zip(bed.plantings, stands.of_bed(key), strict=True):
            here = planted(stand, days)
            for day in np.flatnonzero(here > 0.0):
                words[key][day].append(planting.crop)
            if bed.kind != "wicking":
                loop_area[:, loop] += here
            band = published_ratio(bed.kind, site.crops[planting.crop])
            if band is None:
                unrated.append(_unrated_phrase(bed, key, planting.crop))
                continue
            rated[:, loop] += here
            low[:, loop] += here * band[0]
            high[:, loop] += here * band[1]
    season_low, season_high, season_rated = low.sum(0), high.sum(0), rated.sum(0)
    for loop in range(len(loops)):
        usual_low, usual_high = UNPLANTED_RATIO
        if season_rated[loop] > 0:
            usual_low, usual_high = (season[loop] / season_rated[loop] for season in (season_low, season_high))
        elif loop_area[:, loop].any():
            usual_low = usual_high = np.nan
        has = rated[:, loop] > 0
        low[:, loop] = np.divide(low[:, loop], rated[:, loop], out=np.full(days, usual_low), where=has)
        high[:, loop] = np.divide(high[:, loop], rated[:, loop], out=np.full(days, usual_high), where=has)
    crops = {key: [" + ".join(dict.fromkeys(names)) for names in daily] for key, daily in words.items()}
    return Planting(beds, stands.area_m2, crops, loop_area, rated, low, high, tuple(dict.fromkeys(unrated)), stands)


def _unrated_phrase(bed: BedTable, key: str, crop: str) -> str:
    if bed.kind in ("tower", "wicking"):
        return f"{key} ({bed.kind} bed): no published feed ratio for this kind of bed"
    return f"{key}: no published feed ratio for {crop}"
