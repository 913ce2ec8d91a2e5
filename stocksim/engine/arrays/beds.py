"""Beds of a site as arrays: the crops that stand on them, and the area that feed is set against."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.bed_climate import BedClimate, bed_climate
from stocksim.engine.arrays.charge import given_back
from stocksim.library.crops import NUTRIENTS
from stocksim.library.sources import Entry
from stocksim.memo import Memo, content_key
from stocksim.plants.growth import (
    closed_cover_growth,
    growth_sum_needed,
    staggered_cover,
    stand_mass,
    temperature_response,
    thermal_days,
)
from stocksim.plants.light import usable_light
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.model import BedTable, PlantingTable
from stocksim.site.notes import has_published_ratio
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

# --- every planting as batches that stand, grow and are harvested on dates: known before the daily loop


PICKED_EVERY_DAYS = 7  # cut and picked crops: once a week (common practice)


class Batch(NamedTuple):
    """Plants that go in and come out together; arrays (day,) from ``first`` to ``last``, both counted."""

    first: int
    last: int
    area_m2: float
    growth_g: FloatArray  # dry matter of the whole plants
    nutrients_g: FloatArray  # (nutrient, day): what that growth takes up
    alkalinity_g: FloatArray  # what its roots give back with it, as CaCO3
    harvest_kg: FloatArray  # fresh, if nothing was short
    is_ripe: bool


@dataclass(frozen=True)
class Stand:
    """One planting of a bed.

    Parameters
    ----------
    bed : str
        Name of the bed.
    number : int
        Place in the bed's list of plantings.
    crop : str
        Key of the crop.
    area_m2 : float
        Of the planting.
    batches : tuple of Batch
        In the order they are planted.
    even_g_m2 : ndarray, shape (nutrient, day)
        What a square metre of this crop, all ages side by side, takes up in the day's light and warmth. [g/m2/day]
    """

    bed: str
    number: int
    crop: str
    area_m2: float
    batches: tuple[Batch, ...]
    even_g_m2: FloatArray


@dataclass(frozen=True)
class Stands:
    """All plantings of a site.

    Parameters
    ----------
    beds, loops : tuple of str
        Names; ``loop_of`` gives each bed's loop, ``on_loop`` whether loop water runs through it.
    climate : BedClimate
        What they grow in.
    stands : tuple of Stand
        Every planting.
    days : int
        Days of the season.
    key : bytes
        Content of all that they follow from.
    """

    beds: tuple[str, ...]
    loops: tuple[str, ...]
    loop_of: tuple[int, ...]
    on_loop: tuple[bool, ...]
    climate: BedClimate
    stands: tuple[Stand, ...]
    days: int
    key: bytes

    def of_bed(self, bed: str) -> list[Stand]:
        """Plantings of one bed."""
        return [stand for stand in self.stands if stand.bed == bed]

    @cached_property
    def area_m2(self) -> FloatArray:
        """Planted area, shape (day, bed)."""
        area = np.zeros((self.days, len(self.beds)))
        for stand in self.stands:
            area[:, self.beds.index(stand.bed)] += planted(stand, self.days)
        return area

    @cached_property
    def demand_g(self) -> FloatArray:
        """Uptake of every nutrient if nothing is short, shape (nutrient, day, bed). [g/day]"""
        demand = np.zeros((len(NUTRIENTS), self.days, len(self.beds)))
        for stand in self.stands:
            column = self.beds.index(stand.bed)
            for batch in stand.batches:
                demand[:, batch.first : batch.last + 1, column] += batch.nutrients_g
        return demand

    @cached_property
    def alkalinity_g(self) -> FloatArray:
        """What roots give back as they take all of ``demand_g``, as CaCO3, shape (day, bed). [g/day]"""
        back = np.zeros((self.days, len(self.beds)))
        for stand in self.stands:
            for batch in stand.batches:
                back[batch.first : batch.last + 1, self.beds.index(stand.bed)] += batch.alkalinity_g
        return back

    @cached_property
    def even_nitrogen_g_m2(self) -> FloatArray:
        """Nitrogen that a square metre of each loop's mix of crops takes up, all ages, shape (day, loop). [g/m2/day]

        On bare days the season's mix counts; NaN where loop water feeds no planting at all.
        """
        drawn, area = np.zeros((self.days, len(self.loops))), np.zeros((self.days, len(self.loops)))
        for loop, here, stand in self._fed_by_water():
            drawn[:, loop] += here * stand.even_g_m2[0]
            area[:, loop] += here
        return np.divide(drawn, area, out=self.mix_nitrogen_g_m2.copy(), where=area > 0.0)

    @cached_property
    def mix_nitrogen_g_m2(self) -> FloatArray:
        """The same for the season's whole mix of crops, whatever stands on the day: light and warmth alone move it."""
        drawn, whole = np.zeros((self.days, len(self.loops))), np.zeros(len(self.loops))
        for loop, here, stand in self._fed_by_water():
            drawn[:, loop] += here.sum() * stand.even_g_m2[0]
            whole[loop] += here.sum()
        mixed: FloatArray = np.divide(drawn, whole, out=np.full(drawn.shape, np.nan), where=whole > 0.0)
        return mixed

    def _fed_by_water(self) -> list[tuple[int, FloatArray, Stand]]:
        """Loop, area by day and planting of all that loop water feeds."""
        beds = [self.beds.index(stand.bed) for stand in self.stands]
        return [
            (self.loop_of[bed], planted(stand, self.days), stand)
            for bed, stand in zip(beds, self.stands, strict=True)
            if self.on_loop[bed]
        ]

    def harvest_kg(self, met: FloatArray) -> FloatArray:
        """Fresh harvest [kg/day], shape (..., day, bed), where growth was a share ``met`` of what it could be."""
        picked = np.zeros(met.shape)
        for stand in self.stands:
            column = self.beds.index(stand.bed)
            for batch in stand.batches:
                picked[..., batch.first : batch.last + 1, column] += batch_harvest(batch, met[..., column])
        return picked


def planted(stand: Stand, days: int) -> FloatArray:
    """Area that a planting really covers, shape (day,). [m2]"""
    area = np.zeros(days)
    for batch in stand.batches:
        area[batch.first : batch.last + 1] += batch.area_m2
    return area


def batch_harvest(batch: Batch, met: FloatArray) -> FloatArray:
    """Fresh harvest of a batch on each of its days, by the share of growth met, (..., day), since the last. [kg/day]"""
    here = met[..., batch.first : batch.last + 1]
    picked = np.zeros((*met.shape[:-1], len(batch.harvest_kg)))
    since = 0
    for day in np.flatnonzero(batch.harvest_kg > 0.0):
        grown = batch.growth_g[since : day + 1]
        whole = float(grown.sum())
        share = (grown * here[..., since : day + 1]).sum(axis=-1) / whole if whole > 0.0 else 1.0
        picked[..., day] = share * batch.harvest_kg[day]
        since = int(day) + 1
    return picked


def build_stands(site: Site) -> Stands:
    """Batches of every planting of a site.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    Stands
        What stands where on each day, what it takes up and when it is harvested, if nothing is short. Sites that differ
        in their fish only share it.
    """
    key = content_key(site.place_content, site.crops)
    return _kept.of(key, lambda: _stands_in(site, bed_climate(site), key))


_kept: Memo[Stands] = Memo(32)  # some 0.3 MB each


def _stands_in(site: Site, climate: BedClimate, content: bytes) -> Stands:
    file = site.file
    loops = tuple(file.loops)
    stands = []
    starts = [planting.start for bed in file.beds.values() for planting in bed.plantings]
    lead = max((file.season.start - min(starts, default=file.season.start)).days, 0)
    # what was planted before the season grew in light and warmth as on its first day (assumed)
    longer = BedClimate(*(np.concatenate([np.repeat(of_day[:1], lead, axis=0), of_day]) for of_day in climate))
    for column, (key, bed) in enumerate(file.beds.items()):
        for number, planting in enumerate(bed.plantings):
            area = (bed.planted_face or bed.area) if planting.area is None else planting.area
            weather = _Weather(site.crops[planting.crop], longer, column)
            first = (planting.start - file.season.start).days + lead
            end = (planting.end - file.season.start).days + lead
            batches = tuple(_since(lead, _batches(planting, first, end, area, weather)))
            stands.append(Stand(key, number, planting.crop, area, batches, weather.even_nutrients()[:, lead:]))
    return Stands(
        beds=tuple(file.beds), loops=loops, loop_of=tuple(loops.index(bed.loop) for bed in file.beds.values()),
        on_loop=tuple(BED_KINDS[bed.kind].is_on_loop for bed in file.beds.values()), climate=climate,
        stands=tuple(stands), days=site.days, key=content,
    )  # fmt: skip


class _Weather:
    """A crop in a bed's light and warmth: running sums over the season."""

    def __init__(self, crop: Entry, climate: BedClimate, column: int):
        self.crop = crop
        warmth = climate.growth_c[:, column]
        base, best, most = (crop[f"temperature_{end}"] for end in ("base", "optimum", "max"))
        share = temperature_response(warmth, base, best, most)
        most = crop.number("light_saturation", np.inf)
        light = usable_light(climate.light_mol_m2[:, column], climate.day_length_h, most)
        self.growth = closed_cover_growth(light, share, crop["light_use"], crop["light_half_saturation"])
        self.growth_sum = np.concatenate([[0.0], np.cumsum(self.growth)])
        self.thermal_sum = np.concatenate([[0.0], np.cumsum(thermal_days(warmth, base, best))])
        plants = 0.5 * (crop["plants_per_area_low"] + crop["plants_per_area_high"])
        self.start, self.cover = plants * crop["seedling_dry_mass"], crop["cover_per_dry_mass"]
        self.goal = max(crop["stand_dry_mass"], 1.0001 * self.start)
        self.needed = float(growth_sum_needed(self.start, self.goal, self.cover))
        self.harvest = crop.facts["harvest"]
        self.leaf = np.array([crop[key] for key in NUTRIENTS])
        self.fruit = np.array([crop.number(f"fruit_{key}", crop[key]) for key in NUTRIENTS])
        for content in (self.leaf, self.fruit):  # beans and peas take part of their nitrogen from the air
            content[0] *= 1.0 - crop.number("nitrogen_fixed", 0.0)
        self.leaf_back, self.fruit_back = (
            content[0] * given_back(crop, part).alkalinity_per_nitrogen
            for content, part in ((self.leaf, ""), (self.fruit, "fruit_"))
        )

    def even_nutrients(self) -> FloatArray:
        """Uptake of a square metre of all ages, shape (nutrient, day). [g/m2/day]"""
        cover = float(staggered_cover(self.start, self.goal, self.cover))
        content = self.leaf
        if self.harvest != "once":
            cover = float(-np.expm1(-self.cover * self.goal))
        if self.harvest == "fruit":
            picked = self.crop["harvest_index"]
            content = picked * self.fruit + (1.0 - picked) * self.leaf
        return content[:, None] * (cover * self.growth)

    def ripe_day(self, first: int) -> int:
        """First day at whose end a batch planted on a day may be harvested; beyond the season where none."""
        by_mass = self.growth_sum[first] + (0.0 if self.harvest == "fruit" else self.needed)
        by_warmth = self.thermal_sum[first] + self.crop["thermal_time"]
        return int(max(np.searchsorted(self.growth_sum, by_mass), np.searchsorted(self.thermal_sum, by_warmth))) - 1

    def batch(self, first: int, end: int, area: float, growing: float) -> Batch:
        """A batch planted on the morning of a day that must be out by the evening of another."""
        ripe, crop = self.ripe_day(first), self.crop
        is_ripe = ripe <= end
        last = min(ripe, end) if self.harvest == "once" else end
        mass = stand_mass(self.start, self.growth_sum[first : last + 2] - self.growth_sum[first], self.cover)
        if self.harvest == "cut" and is_ripe:
            # cut back to the stand when cutting begins, and held there
            after = self.growth[ripe + 1 : last + 1] * -np.expm1(-self.cover * self.goal)
            growth = np.concatenate([np.diff(mass)[: ripe + 1 - first], after])
        else:
            growth = np.diff(mass)
        picking = np.arange(first, last + 1) > ripe  # growth that goes into fruit or later cuts
        index = crop["harvest_index"]
        share = index * picking if self.harvest == "fruit" else np.zeros(growth.size)
        content = self.leaf[:, None] + (self.fruit - self.leaf)[:, None] * share
        fresh = self._fresh(growth, mass, first, last, ripe) * growing / crop["dry_matter"] / 1000.0
        back, grown = self.leaf_back + (self.fruit_back - self.leaf_back) * share, growing * growth
        return Batch(first, last, area, grown, content * grown, back * grown, fresh, is_ripe)

    def _fresh(self, growth: FloatArray, mass: FloatArray, first: int, last: int, ripe: int) -> FloatArray:
        """Dry matter harvested on each day. [g/m2/day]"""
        out, index = np.zeros(growth.size), self.crop["harvest_index"]
        if self.harvest == "once":
            out[-1] = index * mass[-1]
            return out
        if ripe > last:
            if self.harvest == "cut":  # cleared young
                out[-1] = index * mass[-1]
            return out
        days = np.arange(ripe, last + 1, PICKED_EVERY_DAYS)
        cuts = [day - first for day in sorted({*days.tolist(), last})]
        before = ripe - first
        if self.harvest == "cut":
            out[before] = index * max(mass[before + 1] - self.goal, 0.0)
        for start, stop in itertools.pairwise(cuts):
            out[stop] += index * growth[start + 1 : stop + 1].sum()
        if self.harvest == "cut":  # the last cut clears the bed
            out[-1] += index * self.goal
        return out


def _since(lead: int, batches: list[Batch]) -> list[Batch]:
    """Batches as they stand in a season that begins so many days after the first of their days."""
    found = []
    for batch in batches:
        gone = max(lead - batch.first, 0)
        if batch.last >= lead:
            of_day = {name: getattr(batch, name)[..., gone:] for name in ("growth_g", "nutrients_g", "alkalinity_g",
                                                                          "harvest_kg")}  # fmt: skip
            found.append(batch._replace(first=max(batch.first - lead, 0), last=batch.last - lead, **of_day))
    return found


def _batches(planting: PlantingTable, first: int, end: int, area: float, weather: _Weather) -> list[Batch]:
    """Batches of a planting: shares planted every few days, each planted again when it is harvested and has rested."""
    crop = weather.crop
    usual_days = 0.5 * (crop["days_to_harvest_low"] + crop["days_to_harvest_high"]) + planting.empty_days
    every = planting.every_days
    shares = 1 if every is None else max(1, round(usual_days / every))
    here = area / shares
    batches = []
    for share in range(shares):
        day = first + share * (every or 0)
        while day <= end:
            batch = weather.batch(day, end, here, here * (1.0 - planting.seedling_share))
            batches.append(batch)
            if weather.harvest != "once":
                break
            day = batch.last + 1 + planting.empty_days
            if every is not None:  # its next turn
                turns = -(-(day - first - share * every) // (shares * every))
                day = first + share * every + turns * shares * every
    return sorted(batches, key=lambda batch: batch.first)


# --- what is planted where on each day, and which feed ratio the handbooks give for it

# Leafy crops, only for loops on whose water nothing at all is planted in the season, as what a planting there might be:
# 40-50 g/m2/day, Somerville et al. 2014, FAO
# 589 s8.1.
UNPLANTED_RATIO = (40.0, 50.0)


class Unrated(NamedTuple):
    """What no published feed ratio covers: a crop in a bed, or all crops where it is the kind of bed that has none.

    Parameters
    ----------
    bed, kind : str
        Name and kind of the bed.
    crop : str or None
        None where no crop of the bed has one.
    """

    bed: str
    kind: str
    crop: str | None = None


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
    unrated : tuple of Unrated
        What no published ratio covers.
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
    unrated: tuple[Unrated, ...]
    stands: Stands


def published_ratio(bed_kind: str, crop: Entry) -> tuple[float, float] | None:
    """Published band of g feed per m2 and day for a crop in a kind of bed; None where nobody published one."""
    if not has_published_ratio(bed_kind, crop):
        return None
    of_leaves = BED_KINDS[bed_kind].leafy_ratio
    if of_leaves is not None and crop.facts["kind"] == "leafy":
        return of_leaves
    return crop["feed_ratio_low"], crop["feed_ratio_high"]


def build_planting(site: Site) -> Planting:
    """Planted area and feed ratio of each day of a site."""
    stands = build_stands(site)
    return _kept_planting.of(stands.key, lambda: _planting_of(site, stands))


_kept_planting: Memo[Planting] = Memo(32)  # some 0.1 MB each


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
            if BED_KINDS[bed.kind].is_on_loop:
                loop_area[:, loop] += here
            band = published_ratio(bed.kind, site.crops[planting.crop])
            if band is None:
                unrated.append(_unrated(bed, key, planting.crop))
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


def _unrated(bed: BedTable, key: str, crop: str) -> Unrated:
    return Unrated(key, bed.kind, crop) if BED_KINDS[bed.kind].has_feed_ratio else Unrated(key, bed.kind)
