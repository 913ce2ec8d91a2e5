"""What beds take up and yield, and wicking beds fed with drawn-off solids."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum, auto
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.beds import Stands
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.course import Course, only
from stocksim.library.crops import NUTRIENTS
from stocksim.plants.uptake import evapotranspiration
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.reading import Site
from stocksim.water.solids import LABILE_SHARE, SETTLERS, breakdown_rate

FloatArray = NDArray[np.float64]

BARE_SOIL_SHARE = 0.3  # evaporation of bare wet soil against a closed crop (assumed; a wicking bed's top stays dry)
_KEYS = ("nitrogen", "potassium", "phosphorus")


class Wicking(NamedTuple):
    """What wicking beds get and use; arrays (day, bed), 0 for all other beds.

    Of many seasons, what is sent and what is taken has the scenarios first.
    """

    sent_n_g: FloatArray
    sent_p_g: FloatArray
    drawn_l: FloatArray
    drunk_l: FloatArray
    uptake_g: dict[str, FloatArray]
    is_fed: NDArray[np.bool_]  # (bed,)


def settler_shares(site: Site, loop: str) -> dict[str, float]:
    """Share of the sludge of a loop that each of its settlers draws off. [-]"""
    caught = {}
    passed = 1.0
    for key, settler in site.file.settlers.items():
        if settler.loop == loop:
            usual = SETTLERS[settler.kind].capture_share
            share = settler.share_of_flow * ((usual or 0.0) if settler.capture is None else settler.capture)
            caught[key] = passed * share
            passed *= 1.0 - share
    whole = sum(caught.values())
    return {key: value / whole if whole > 0.0 else 0.0 for key, value in caught.items()}


def wicking_beds(site: Site, layout: Layout, course: Course, stands: Stands) -> Wicking:
    """Nitrogen, potassium, phosphorus and water of a site's wicking beds, scenario by scenario.

    Parameters
    ----------
    site : Site
        A checked site.
    layout, course
        Its season.
    stands : Stands
        Its plantings.

    Returns
    -------
    Wicking
        What the beds were sent and took.

    Notes
    -----
    The labile half of the sludge breaks down in the bed at the same rate as in water of the bed's temperature; what is
    freed and what the water brings dissolved stays in the bed until a crop takes it. The soil starts with nothing: what
    compost the keeper gives comes on top.
    """
    days, width = stands.days, len(stands.beds)
    zeros, drawn = np.zeros((len(course.count), days, width)), np.zeros((days, width))
    sent_n, sent_p = zeros.copy(), zeros.copy()
    dissolved = {key: zeros.copy() for key in _KEYS}
    levels = {"nitrogen": course.nitrate_mg_l, "potassium": course.potassium_mg_l, "phosphorus": course.phosphorus_mg_l}
    is_fed = np.zeros(width, bool)
    for loop, name in enumerate(stands.loops):
        shares = settler_shares(site, name)
        for key, settler in site.file.settlers.items():
            if settler.loop != name or settler.feeds is None:
                continue
            bed = stands.beds.index(settler.feeds)
            is_fed[bed] = True
            sent_n[..., bed] += shares[key] * course.settler_n_g[..., loop]
            sent_p[..., bed] += shares[key] * course.settler_p_g[..., loop]
            drawn[:, bed] += 1000.0 * settler.drawn_off
            for nutrient, level in levels.items():
                dissolved[nutrient][..., bed] += settler.drawn_off * level[..., loop]
    decay = -np.expm1(-breakdown_rate(stands.climate.root_c))
    demand = dict(zip(_KEYS, stands.demand_g[[0, 2, 1]], strict=True))
    uptake = {}
    for nutrient, sent in (("nitrogen", sent_n), ("potassium", zeros), ("phosphorus", sent_p)):
        uptake[nutrient] = _taken(LABILE_SHARE * sent, decay, dissolved[nutrient], demand[nutrient] * is_fed)
    return Wicking(sent_n, sent_p, drawn, drinks(site, stands), uptake, is_fed)


def _taken(labile: FloatArray, decay: FloatArray, dissolved: FloatArray, demand: FloatArray) -> FloatArray:
    """Uptake, shape (scenario, day, bed), from a pool that sludge and water fill day by day. [g/day]"""
    taken = np.zeros_like(labile)
    lying, ready = np.zeros_like(labile[:, 0]), np.zeros_like(labile[:, 0])
    for day in range(len(demand)):
        lying += labile[:, day]
        freed = decay[day] * lying
        lying -= freed
        ready += freed + dissolved[:, day]
        taken[:, day] = np.minimum(demand[day], ready)
        ready -= taken[:, day]
    return taken


def drinks(site: Site, stands: Stands) -> FloatArray:
    """Water that wicking beds lose to crops and air, shape (day, bed); 0 for other beds. [L/day]"""
    climate = stands.climate
    most = evapotranspiration(climate.inside_mj_m2, climate.air_c)
    loss = np.zeros_like(most)
    for column, bed in enumerate(site.file.beds.values()):
        if BED_KINDS[bed.kind].is_on_loop:
            continue
        cover = stands.area_m2[:, column]
        open_soil = np.maximum(bed.area - cover, 0.0)
        loss[:, column] = most[:, column] * (cover + BARE_SOIL_SHARE * open_soil)
    return loss


# --- what beds took and gave in a season: nitrogen, potassium, harvest, and the area that the feed's nitrogen carries


# Under this a square metre of crops hardly grows, and the area that would balance a loop means nothing: a tenth of what
# the demonstration's crops draw in December (assumed). [g/m2/day]
LEAST_DRAW_G_M2 = 0.01
EVEN_AREA_SHARE = 0.05  # areas are told as one where they lie no further apart (assumed)


@dataclass(frozen=True)
class BedCourse:
    """Beds through a season, arrays (day, bed), or through many, (scenario, day, bed) but for ``demand_g``.

    Parameters
    ----------
    demand_g, uptake_g : mapping of str to ndarray
        Nitrogen, calcium, potassium, phosphorus: wanted with plenty of all, and taken. [g/day] Calcium of wicking beds
        is not followed.
    alkalinity_g : ndarray
        What roots gave back to the loop's water with the nitrogen they took, as CaCO3; below 0 they gave acid.
        [g/day] 0 for a wicking bed.
    met : ndarray
        Share of the nitrogen wanted that was taken; 1 where none was wanted, NaN for a wicking bed that nothing feeds.
    harvest_kg : ndarray
        Fresh harvest, cut down as nitrogen was short. [kg/day] NaN for a wicking bed that nothing feeds.
    wicking : Wicking
        What wicking beds were sent.
    """

    demand_g: dict[str, FloatArray]
    uptake_g: dict[str, FloatArray]
    alkalinity_g: FloatArray
    met: FloatArray
    harvest_kg: FloatArray
    wicking: Wicking

    def shortfall_g(self, nutrient: str) -> FloatArray:
        """Wanted less taken, shape (day, bed). [g/day] NaN for a wicking bed that nothing feeds."""
        short = np.maximum(self.demand_g[nutrient] - self.uptake_g[nutrient], 0.0)
        return np.where(np.isnan(self.met), np.nan, short)

    def taken_g(self, nutrient: str) -> FloatArray:
        """Taken, shape (day, bed). [g/day] NaN for a wicking bed that nothing feeds."""
        return np.where(np.isnan(self.met), np.nan, self.uptake_g[nutrient])


def bed_course(site: Site, layout: Layout, course: Course, stands: Stands) -> BedCourse:
    """Beds of a season that was run.

    Parameters
    ----------
    site : Site
        A checked site.
    layout, course
        Its season.
    stands : Stands
        Its plantings.

    Returns
    -------
    BedCourse
        Arrays of the first scenario.
    """
    every = bed_courses(site, layout, only(course, 0), stands)
    wicking = every.wicking
    alone = wicking._replace(
        sent_n_g=wicking.sent_n_g[0], sent_p_g=wicking.sent_p_g[0],
        uptake_g={key: taken[0] for key, taken in wicking.uptake_g.items()},
    )  # fmt: skip
    return BedCourse(
        every.demand_g, {key: taken[0] for key, taken in every.uptake_g.items()}, every.alkalinity_g[0], every.met[0],
        every.harvest_kg[0], alone,
    )  # fmt: skip


def bed_courses(site: Site, layout: Layout, course: Course, stands: Stands) -> BedCourse:
    """Beds of many seasons with the same plantings; parameters as in `bed_course`.

    Returns
    -------
    BedCourse
        Arrays with the scenarios first.
    """
    wicking = wicking_beds(site, layout, course, stands)
    followed = ("nitrogen", "calcium", "potassium", "phosphorus")
    demand = {key: stands.demand_g[NUTRIENTS.index(key)] for key in followed}
    shape = (len(course.count), stands.days, len(stands.beds))
    uptake, back = {}, np.zeros(shape)
    for column, bed in enumerate(stands.beds):
        if f"beds.{bed}" in layout.units:
            unit = layout.units.index(f"beds.{bed}")
            back[..., column] = layout.water.alkalinity_per_n[..., unit] * course.uptake_nitrogen_g[..., unit]
    for key in followed:
        taken = np.zeros(shape)
        of_units = getattr(course, f"uptake_{key}_g")
        for column, bed in enumerate(stands.beds):
            if f"beds.{bed}" in layout.units:
                taken[..., column] = of_units[..., layout.units.index(f"beds.{bed}")]
        uptake[key] = taken + wicking.uptake_g.get(key, 0.0)
    wanted = demand["nitrogen"]
    met = np.divide(uptake["nitrogen"], wanted, out=np.ones(shape), where=wanted > 0.0)
    unknown = ~np.array(stands.on_loop, bool) & ~wicking.is_fed
    met = np.where(unknown, np.nan, met)
    harvest = np.where(np.isnan(met), np.nan, stands.harvest_kg(np.nan_to_num(met)))
    return BedCourse(demand, uptake, back, met, harvest, wicking)


def dissolved_nitrogen(layout: Layout, course: Course, produced_g: FloatArray) -> FloatArray:
    """Nitrogen that a loop's feed puts at its crops' disposal, scenario by scenario. [g/day]

    Parameters
    ----------
    layout, course
        A season.
    produced_g : ndarray, shape (scenario, day, loop)
        Ammonia nitrogen that fish and breaking solids gave to the water. [g/day]

    Returns
    -------
    ndarray, shape (scenario, day, loop)
        That, less what denitrification takes and what was dosed. [g/day]
    """
    return np.asarray(np.maximum(produced_g - layout.water.ammonia_dose_g - course.denitrified_n_g, 0.0))


def balance_area(supply_g: FloatArray, stands: Stands) -> FloatArray:
    """Planted area that would take up a loop's dissolved nitrogen, its mix of crops at all ages.

    Parameters
    ----------
    supply_g : ndarray, shape (..., day, loop)
        Of `dissolved_nitrogen`. [g/day]
    stands : Stands
        Plantings of the site.

    Returns
    -------
    ndarray, shape (..., day, loop)
        Area. [m2] NaN where nothing is ever planted, or crops hardly grow that day: a square metre at all ages draws
        less than `LEAST_DRAW_G_M2`.
    """
    draw = stands.even_nitrogen_g_m2
    return np.asarray(np.divide(supply_g, draw, out=np.full(supply_g.shape, np.nan), where=draw >= LEAST_DRAW_G_M2))


# --- which of the two areas to build for


class BuildRule(Enum):
    """Which of the two areas a loop's beds are built for, and so why."""

    HANDBOOK = auto()  # the smaller: what its feed keeps green without a salt added
    NITROGEN = auto()  # the smaller: on more, crops starve of nitrogen
    NITROGEN_ALONE = auto()  # no feed ratio was published for what grows there
    HANDBOOK_ALONE = auto()  # nothing grows that would tell the other


class Side(Enum):
    """How what is planted stands to the area to build for: the one direction that every answer takes."""

    BARE = auto()  # nothing is planted
    ROOM = auto()  # less than the feed keeps green: more may be planted, up to the area to build for
    EVEN = auto()  # as much as that, within the published band
    SALTS = auto()  # more, but not of nitrogen: less, or the salts that feed lacks; never more
    TOO_MUCH = auto()  # more than nitrogen does for as well: less


@dataclass(frozen=True)
class BuildArea:
    """Planted area to build for a loop: the smaller of the two that its season's feed carries.

    Parameters
    ----------
    loop : str
        Its name.
    handbook_m2, nitrogen_m2 : float
        That its feed carries by the middle of the published ratio, and whose crops, at all ages, take up the nitrogen
        that fish put at their disposal: sums over the days that are planted, or over all where none is. NaN where
        unknown.
    planted_m2 : float
        Mean of the days on which anything is planted; 0 where none is.
    rated_m2 : float
        Mean of what has a published ratio, of the days on which any of it is planted; 0 where none is.
    band_m2 : tuple of (float, float)
        Least and most area that its feed carries within the published band; NaN where none was published.
    """

    loop: str
    handbook_m2: float
    nitrogen_m2: float
    planted_m2: float
    rated_m2: float
    band_m2: tuple[float, float]

    @property
    def rule(self) -> BuildRule:
        """Which of the two it is."""
        if math.isnan(self.handbook_m2):
            return BuildRule.NITROGEN_ALONE
        if math.isnan(self.nitrogen_m2):
            return BuildRule.HANDBOOK_ALONE
        return BuildRule.HANDBOOK if self.handbook_m2 <= self.nitrogen_m2 else BuildRule.NITROGEN

    @property
    def area_m2(self) -> float:
        """Area to build for. [m2] NaN where neither is known."""
        return float(np.fmin(self.handbook_m2, self.nitrogen_m2))

    @property
    def most_m2(self) -> float:
        """Largest area that may be planted, with salts added for all above `area_m2`. [m2]"""
        return self.area_m2 if math.isnan(self.nitrogen_m2) else self.nitrogen_m2

    @property
    def is_by_ratio(self) -> bool:
        """Whether the published ratio decides, which counts only the area that has one."""
        return self.rule in (BuildRule.HANDBOOK, BuildRule.HANDBOOK_ALONE)

    @property
    def counted_m2(self) -> float:
        """What of the planted area stands against the area to build for. [m2]"""
        return self.rated_m2 if self.is_by_ratio and self.rated_m2 > 0.0 else self.planted_m2

    @property
    def side(self) -> Side:
        """How what is planted stands to it."""
        wide = 1.0 + EVEN_AREA_SHARE
        if self.planted_m2 <= 0.0 or math.isnan(self.area_m2):
            return Side.BARE
        if self.planted_m2 > wide * self.nitrogen_m2:
            return Side.TOO_MUCH
        low, high = self.band_m2 if self.is_by_ratio else (self.area_m2 / wide, self.area_m2 * wide)
        if self.counted_m2 > high:
            return Side.TOO_MUCH if self.rule is BuildRule.HANDBOOK_ALONE else Side.SALTS
        # all that is planted grows with what has a ratio, and its nitrogen must do for that too
        is_fed = not self.planted_m2 * self.area_m2 > wide * self.nitrogen_m2 * self.counted_m2
        return Side.ROOM if self.counted_m2 < low and is_fed else Side.EVEN


def build_areas(layout: Layout, course: Course, stands: Stands, supply_g: FloatArray) -> dict[str, BuildArea]:
    """Planted area to build for, of every loop that feeds fish.

    Parameters
    ----------
    layout, course
        A season.
    stands : Stands
        Its plantings.
    supply_g : ndarray, shape (day, loop)
        Of `dissolved_nitrogen`. [g/day]

    Returns
    -------
    dict of str to BuildArea
        By loop.

    Notes
    -----
    A handbook area is smaller wherever feed is what the handbooks' is: the ratio is set by the nutrient that runs out
    first (potassium, iron), nitrogen goes further. So the smaller of the two needs nothing but feed; on what lies
    between them crops find nitrogen and miss the others; above the larger they miss nitrogen too.
    """
    feed = (course.fed_g @ layout.cohort_loop)[0]
    found = {}
    for column, loop in enumerate(layout.loops):
        if not feed[:, column].any():
            continue
        planted, rated = layout.planted_m2[:, column], layout.rated_m2[:, column]
        days = planted > 0.0 if planted.any() else np.ones(layout.days, bool)
        # the ratio goes by the days on which something rated stands, as its advice does
        by_ratio = rated > 0.0 if rated.any() else days & ~planted.any()
        low, high = (ratio[by_ratio, column] for ratio in (layout.ratio_low, layout.ratio_high))
        least, middle, most = (
            float(feed[by_ratio, column].mean() / ratio.mean()) if ratio.size else float("nan")
            for ratio in (high, 0.5 * (low + high), low)
        )
        draw = stands.even_nitrogen_g_m2[days, column]
        found[loop] = BuildArea(
            loop,
            middle,
            float(supply_g[days, column].sum() / draw.sum()) if draw.mean() >= LEAST_DRAW_G_M2 else float("nan"),
            float(planted[days].mean()),
            float(rated[by_ratio].mean()) if by_ratio.any() else 0.0,
            (least, most),
        )
    return found
