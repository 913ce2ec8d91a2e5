"""The water side of a site as arrays: source water, settlers, buffer, losses, changes, tests, film to start from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.beds import Stands, build_stands
from stocksim.library.crops import NUTRIENTS
from stocksim.plants.uptake import MINERALS
from stocksim.site.bed_kinds import BED_KINDS, BIOFILTER_KINDS
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.model import BedTable, BiofilterTable, LoopTable, SettlerTable
from stocksim.site.reading import Site
from stocksim.water.maturity import maturity_after, start_maturity
from stocksim.water.nitrite import SALT_PER_CHLORIDE, SODIUM_PER_CHLORIDE
from stocksim.water.solids import SETTLERS, fouled_capture

FloatArray = NDArray[np.float64]

ADDED = "added_"  # before the solute in a test that tells what the keeper added to the water

# Solutes whose balance is linear in their own level, in the order of the solute axis. What crops take stands together
# and what fish give too, so that slices pick them.
SOLUTES = (
    "alkalinity", "co2", "chloride", "sodium", *MINERALS,
    "solids", "solids_n", "solids_p", "solids_oxygen",
)  # fmt: skip
SOURCE_KEYS = ("alkalinity", "potassium", "phosphorus", "calcium", "chloride", "sodium", "nitrate_n")

# Source water where the keeper gives none: a moderately hard tap or well water (common practice, no source).
DEFAULT_SOURCE = {
    "alkalinity": 100.0, "potassium": 2.0, "phosphorus": 0.05, "calcium": 40.0, "chloride": 15.0, "sodium": 10.0,
    "nitrate_n": 2.0,
}  # fmt: skip
# Water lost to evaporation and crops, share of the loop's water a day: make-up of a raft greenhouse was 1 % a day
# (Love et al. 2015, excerpt read).
DEFAULT_LOSS_SHARE = 0.01


@dataclass(frozen=True)
class Waterworks:
    """Arrays beside the layout's own; leaves are tanks then units, solutes as `SOLUTES`.

    Parameters
    ----------
    start_level, source_level : ndarray, shape (solute, loop)
        First morning's water and source water. [mg/L]
    start_nitrate, source_nitrate, start_nitrite : ndarray, shape (loop,)
        As N. [mg/L]
    ph_given : ndarray, shape (loop,)
        The keeper's measured pH that overrides the computed one; NaN where none. [-]
    target_alkalinity : ndarray, shape (loop,)
        To dose to; NaN where nobody doses. [mg/L]
    salts : tuple of str
        Name of each loop's buffer salt.
    loss_m3_day : ndarray, shape (loop,)
        Evaporated and transpired water. [m3/day]
    new_water_m3_day : ndarray, shape (loop,)
        Steady inflow of source water. [m3/day]
    changed_m3 : ndarray, shape (day, loop)
        Planned water changes. [m3/day]
    exchanged_m3 : ndarray, shape (day, loop)
        Through-flow that in a day's balance leaves as much of the old water as draining and refilling those does.
        [m3/day]
    ammonia_dose_g : ndarray, shape (day, loop)
        Ammonia nitrogen dosed for fishless cycling. [g/day]
    passing : ndarray, shape (day, leaf)
        Share of suspended solids in a leaf's outflow that reaches the sump. [-]
    emptied : ndarray, shape (day, loop)
        Share of what lies in the loop's settlers that is taken out that day. [-]
    drawn_off_m3 : ndarray, shape (loop,)
        Water drawn off with sludge, on average. [m3/day]
    maturity : ndarray, shape (2, leaf)
        Start of ammonia and nitrite oxidizers. [-] NaN asks for the film that the first day's load feeds.
    uptake_g : ndarray, shape (day, unit)
        Nitrogen that crops of a unit would take up. [g/day]
    minerals_per_n : ndarray, shape (mineral, day, unit)
        Calcium, potassium and phosphorus that they take with a gram of it. [g/g]
    alkalinity_per_n : ndarray, shape (day, unit)
        Alkalinity as CaCO3 that their roots give back with a gram of it, below 0 where they give off acid. [g/g]
    tests : tuple of (int, int, dict)
        Day, loop and levels of measured tests that reset the loop's water.
    """

    start_level: FloatArray
    source_level: FloatArray
    start_nitrate: FloatArray
    source_nitrate: FloatArray
    start_nitrite: FloatArray
    ph_given: FloatArray
    target_alkalinity: FloatArray
    salts: tuple[str, ...]
    loss_m3_day: FloatArray
    new_water_m3_day: FloatArray
    changed_m3: FloatArray
    exchanged_m3: FloatArray
    ammonia_dose_g: FloatArray
    passing: FloatArray
    emptied: FloatArray
    drawn_off_m3: FloatArray
    maturity: FloatArray
    uptake_g: FloatArray
    minerals_per_n: FloatArray
    alkalinity_per_n: FloatArray
    tests: tuple[tuple[int, int, dict[str, float]], ...]

    @property
    def overflow_m3_day(self) -> FloatArray:
        """What runs over of the steady inflow, shape (loop,): the rest takes the place of what evaporates and is drawn
        off. [m3/day]"""
        return np.maximum(self.new_water_m3_day - self.loss_m3_day - self.drawn_off_m3, 0.0)


def _of_loops(site: Site, values: dict[str, float]) -> FloatArray:
    return np.array([values[key] for key in site.file.loops], float)


def source_level(loop: LoopTable, key: str) -> float:
    """Level of a solute in a loop's source water: given, or the usual one. [mg/L]"""
    given = getattr(loop.source_water, key) if loop.source_water else None
    return DEFAULT_SOURCE[key] if given is None else given


def typed_alkalinity(loop: LoopTable) -> float:
    """Alkalinity of a loop's source water where the keeper typed it, else 0. [mg/L]"""
    given = loop.source_water.alkalinity if loop.source_water else None
    return 0.0 if given is None else given


def _open_water_m3(site: Site, key: str) -> float:
    """Water in a loop's sump and tanks. [m3]"""
    return site.file.loops[key].sump + sum(t.volume for t in site.file.tanks.values() if t.loop == key)


def loss_m3_day(site: Site, key: str) -> float:
    """Water that a loop loses to air and crops: given, or 1 % of its water a day. [m3/day]"""
    given = site.file.loops[key].evaporation
    return DEFAULT_LOSS_SHARE * _open_water_m3(site, key) if given is None else given


def build_waterworks(
    site: Site,
    units: list[tuple[str, BedTable | BiofilterTable]],
    temperature_c: FloatArray,
    stands: Stands | None = None,
) -> Waterworks:
    """Water side of a site.

    Parameters
    ----------
    site : Site
        A checked site.
    units : list of (str, table)
        Beds and biofilters that loop water runs through, in the layout's order.
    temperature_c : ndarray, shape (day, loop)
        Water of each loop. [degC]
    stands : Stands, optional
        The site's plantings, where they are at hand.

    Returns
    -------
    Waterworks
        Arrays without scenario axes.
    """
    file, days = site.file, site.days
    loops = list(file.loops)
    first_c = dict(zip(loops, temperature_c[0].tolist(), strict=True))
    start_level, source = np.zeros((len(SOLUTES), len(loops))), np.zeros((len(SOLUTES), len(loops)))
    for column, key in enumerate(loops):
        loop = file.loops[key]
        for solute in SOURCE_KEYS:
            if solute in SOLUTES:
                row = SOLUTES.index(solute)
                source[row, column] = start_level[row, column] = source_level(loop, solute)
        if loop.alkalinity_target is not None:
            # base only raises: water typed harder than the target is as the source is
            row = SOLUTES.index("alkalinity")
            start_level[row, column] = max(loop.alkalinity_target, typed_alkalinity(loop))
    changed, kept, doses = np.zeros((days, len(loops))), np.ones((days, len(loops))), np.zeros((days, len(loops)))
    water = np.array([loop_water_m3(file, key) for key in loops])
    for column, key in enumerate(loops):
        for change in file.loops[key].water_changes:
            changed[_day(site, change.date), column] += change.volume
            kept[_day(site, change.date), column] *= 1.0 - change.volume / water[column]
        cycling = file.loops[key].fishless_cycling
        if cycling is not None:
            doses[_day(site, cycling.start) : _day(site, cycling.end) + 1, column] = cycling.ammonia_nitrogen
    settlers = {key: [s for s in file.settlers.values() if s.loop == key] for key in loops}
    caught = {key: _caught(settlers[key], days).sum(axis=1) for key in loops}
    emptied = np.stack([_emptied(settlers[key], days) for key in loops], axis=-1)
    passing = np.ones((days, len(file.tanks) + len(units)))
    for column, tank in enumerate(file.tanks.values()):
        passing[:, column] -= caught[tank.loop]
    passing[:, len(file.tanks) :] -= np.array([_trapped_share(unit) for _, unit in units])
    start_nitrate, start_nitrite = _first_nitrogen(site, start_level)
    stands, names = stands or build_stands(site), [name.removeprefix("beds.") for name, _ in units]
    uptake, minerals_per_n = _uptake(stands, names)
    return Waterworks(
        start_level=start_level,
        source_level=source,
        start_nitrate=start_nitrate,
        source_nitrate=_of_loops(site, {k: source_level(t, "nitrate_n") for k, t in file.loops.items()}),
        start_nitrite=start_nitrite,
        ph_given=_of_loops(site, {k: np.nan if t.ph is None else t.ph for k, t in file.loops.items()}),
        target_alkalinity=_of_loops(
            site, {k: np.nan if t.alkalinity_target is None else t.alkalinity_target for k, t in file.loops.items()}
        ),
        salts=tuple(t.buffer for t in file.loops.values()),
        loss_m3_day=_of_loops(site, {k: loss_m3_day(site, k) for k in loops}),
        new_water_m3_day=_of_loops(site, {k: t.new_water or 0.0 for k, t in file.loops.items()}),
        changed_m3=changed,
        exchanged_m3=water * (1.0 / kept - 1.0),
        ammonia_dose_g=doses,
        passing=passing,
        emptied=emptied,
        drawn_off_m3=_of_loops(site, {k: sum(s.drawn_off for s in settlers[k]) for k in loops}),
        maturity=np.array(_starts(site, units, first_c), float).reshape(-1, 2).T,
        uptake_g=uptake,
        minerals_per_n=minerals_per_n,
        alkalinity_per_n=_given_back(stands, names, uptake),
        tests=tuple(_tests(site)),
    )


def _first_nitrogen(site: Site, start_level: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Nitrate and nitrite of the first morning, shape (loop,) [mg/L]; what a season that goes on from another has, also
    of the solutes, goes before what the file would begin with."""
    nitrate = _of_loops(site, {k: source_level(t, "nitrate_n") for k, t in site.file.loops.items()})
    nitrite = np.zeros(len(nitrate))
    for column, key in enumerate(site.file.loops):
        known = dict(site.begun.levels.get(key, {}))
        nitrate[column] = known.pop("nitrate_n", nitrate[column])
        nitrite[column] = known.pop("nitrite_n", 0.0)
        for solute, level in known.items():
            start_level[SOLUTES.index(solute), column] = level
    return nitrate, nitrite


def _uptake(stands: Stands, units: list[str]) -> tuple[FloatArray, FloatArray]:
    """Nitrogen that crops of each unit would take up [g/day], and the minerals that go with a gram of it. [g/g]"""
    demand = np.zeros((len(NUTRIENTS), stands.days, len(units)))
    for column, name in enumerate(units):
        if name in stands.beds:
            demand[..., column] = stands.demand_g[..., stands.beds.index(name)]
    nitrogen = demand[0]
    minerals = demand[[NUTRIENTS.index(key) for key in MINERALS]]
    return nitrogen, np.divide(minerals, nitrogen, out=np.zeros_like(minerals), where=nitrogen > 0.0)


def _given_back(stands: Stands, units: list[str], nitrogen_g: FloatArray) -> FloatArray:
    """Alkalinity that a unit's crops give back with a gram of nitrogen, weighted by what each takes. [g/g]"""
    back = np.zeros_like(nitrogen_g)
    for column, name in enumerate(units):
        if name in stands.beds:
            back[:, column] = stands.alkalinity_g[:, stands.beds.index(name)]
    return np.divide(back, nitrogen_g, out=np.zeros_like(back), where=nitrogen_g > 0.0)


def _trapped_share(unit: BedTable | BiofilterTable) -> float:
    """Share of suspended solids that a pass through a bed or biofilter leaves behind. [-]"""
    if isinstance(unit, BiofilterTable):
        return BIOFILTER_KINDS[unit.kind].trapped_share
    water = BED_KINDS[unit.kind].water
    assert water is not None
    return water.trapped_share


def _day(site: Site, day: dt.date) -> int:
    return (day - site.file.season.start).days


def _caught(settlers: list[SettlerTable], days: int) -> FloatArray:
    """Share of the tanks' suspended solids that each settler catches, (day, settler): water meets them in order."""
    reaching, caught = np.ones(days), np.zeros((days, len(settlers)))
    for column, settler in enumerate(settlers):
        device = SETTLERS[settler.kind].capture_share if settler.capture is None else settler.capture
        assert device is not None  # a kind without a measured capture is refused when the file is read
        since = np.arange(days) % settler.emptied_every_days
        caught[:, column] = reaching * fouled_capture(device * settler.share_of_flow, since)
        reaching = reaching - caught[:, column]
    return caught


def _emptied(settlers: list[SettlerTable], days: int) -> FloatArray:
    """Share of what lies in a loop's settlers that is taken out each day: of each, what it caught since it was emptied.

    Load and breakdown are taken as even over those days, which only shares it out between settlers.
    """
    caught, lying, share = _caught(settlers, days), np.zeros(len(settlers)), np.zeros(days)
    every = np.array([settler.emptied_every_days for settler in settlers], int)
    for day in range(days if settlers else 0):
        lying += caught[day]
        is_emptied = (day + 1) % every == 0
        whole = float(lying.sum())
        share[day] = float(lying[is_emptied].sum()) / whole if whole > 0.0 else float(is_emptied.all())
        lying[is_emptied] = 0.0
    return share


def _starts(
    site: Site, units: list[tuple[str, BedTable | BiofilterTable]], water_c: Mapping[str, float]
) -> list[tuple[float, float]]:
    """Films of tanks, beds and biofilters on the first morning; those that are known of a season that goes on.

    Walls are as old as the loop is told to be, else as the youngest film of its beds and biofilters; of a loop that has
    neither they are bare.
    """
    leaves = [(unit.loop, unit.biofilter_started) for _, unit in units]
    youngest = {
        key: max((started for of, started in leaves if of == key and started is not None), default=None)
        for key, loop in site.file.loops.items()
        if loop.biofilter_start is None and loop.biofilter_started is None
    }
    bare = youngest.keys() - {key for key, _ in leaves}
    youngest |= dict.fromkeys(bare, site.file.season.start)
    leaves = [(tank.loop, youngest.get(tank.loop)) for tank in site.file.tanks.values()] + leaves
    names = [*(f"tanks.{name}" for name in site.file.tanks), *(name for name, _ in units)]
    known = site.begun.films
    return [
        known[name] if name in known else _maturity(site, key, own, water_c[key])
        for name, (key, own) in zip(names, leaves, strict=True)
    ]


def _maturity(site: Site, key: str, own: dt.date | None, water_c: float) -> tuple[float, float]:
    """Ammonia and nitrite oxidizers of a leaf on the first morning; NaN where it is mature and the load decides."""
    loop = site.file.loops[key]
    if own is None and loop.biofilter_start is not None:
        if loop.biofilter_start == "mature":
            return np.nan, np.nan
        share = start_maturity(loop.biofilter_start)
        return share, share
    started = own or loop.biofilter_started
    if started is None:
        return np.nan, np.nan
    return _aged(max((site.file.season.start - started).days, 0), water_c)


@lru_cache(1024)  # leaves of a loop, and sites that are changed elsewhere, ask the same
def _aged(days: int, water_c: float) -> tuple[float, float]:
    return float(maturity_after(days, water_c, "ammonia")), float(maturity_after(days, water_c, "nitrite"))


def _tests(site: Site) -> list[tuple[int, int, dict[str, float]]]:
    tests = []
    for column, loop in enumerate(site.file.loops.values()):
        for test in loop.water_tests:
            levels = {key: value for key, value in test.model_dump(exclude={"date"}).items() if value is not None}
            tests.append((_day(site, test.date), column, levels))
    for column, key in enumerate(site.file.loops):
        for date, grams in site.begun.salt_g.get(key, ()):
            chloride = grams / SALT_PER_CHLORIDE / loop_water_m3(site.file, key)
            levels = {f"{ADDED}chloride": chloride, f"{ADDED}sodium": SODIUM_PER_CHLORIDE * chloride}
            tests.append((_day(site, date), column, levels))
    return sorted(tests, key=lambda item: item[0])
