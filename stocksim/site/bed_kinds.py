"""Every kind of bed and biofilter. One row has all in which they differ, its numbers with their sources."""

from __future__ import annotations

from dataclasses import dataclass

from stocksim.climate.greenhouse import GRAVEL_J_M3_K
from stocksim.climate.tank_heat import FLOOR_W_M2_K
from stocksim.plants.light import FACE_SHARE
from stocksim.site.kinds import must


@dataclass(frozen=True, kw_only=True)
class Fill:
    """What a bed is filled with, on whose grains the film sits.

    Parameters
    ----------
    words : str
        What it is taken to be where the keeper does not say.
    grain_m : float
        Its grain then. [m]
    voids : float
        Share of the bulk that water may fill. [-]
    flooded_share : float
        Share of the day that it does. [-]
    active_surface_share : float
        Share of the grains' geometric surface 6 (1 - voids) / grain that works as film. [-]
    heat_j_m3_k : float
        Heat of the bulk. [J/m3/K]
    """

    words: str
    grain_m: float
    voids: float
    flooded_share: float
    active_surface_share: float
    heat_j_m3_k: float

    def __post_init__(self) -> None:
        must(bool(self.words), self, "has no words")
        must(min(self.grain_m, self.voids, self.flooded_share, self.heat_j_m3_k) > 0.0, self, "has a size of nothing")


@dataclass(frozen=True, kw_only=True)
class BedHeatLoss:
    """Heat of a bed's water.

    Parameters
    ----------
    air_w_m2_k, floor_w_m2_k : float
        Loss to the air and into the floor by footprint. [W/m2/K]
    open_share : float
        Open water by footprint. [-]
    sun_reaches_water : bool
        Whether a greenhouse's sun falls on that.
    can_be_covered : bool
        Whether a cover at night is worth trying.
    dries_when_still : bool
        Whether its open water dries away while nothing is pumped, so that pumping less at night is worth trying.
    """

    air_w_m2_k: float
    floor_w_m2_k: float
    open_share: float
    sun_reaches_water: bool = False
    can_be_covered: bool = False
    dries_when_still: bool = False

    def __post_init__(self) -> None:
        must(self.air_w_m2_k > 0.0 and self.floor_w_m2_k >= 0.0, self, "has losses that are none")
        must(0.0 <= self.open_share <= 1.0, self, "has an open share that is none")


@dataclass(frozen=True, kw_only=True)
class BedWater:
    """How loop water runs through a bed.

    Parameters
    ----------
    trapped_share : float
        Share of suspended solids that a pass leaves behind. [-]
    trickles : bool
        Whether water trickles or drains through it, and takes up oxygen from the air.
    heat : BedHeatLoss
        Its heat.
    depth_m : float
        Depth where the keeper gives none. [m]
    water_depth_m : float or None
        Water held by footprint whatever the depth [m]; None where water stands in the depth, or in its fill's voids.
    film_per_m2 : float
        Film surface by footprint, beside a fill's. [m2/m2]
    wall_per_m2 : float
        Length of wetted wall by footprint, which carries film over the bed's depth. [m/m2]
    residence_days, turnovers_per_day : float or None
        Usual time in the bed, or usual changes a day, of its bulk: footprint times depth, also where ``water_depth_m``
        says that it holds less; without both the keeper must give a flow.
    """

    trapped_share: float
    trickles: bool
    heat: BedHeatLoss
    # media beds are at least 30 cm deep (extension reprint, read); the same taken for rafts
    depth_m: float = 0.3
    water_depth_m: float | None = None
    film_per_m2: float = 0.0
    wall_per_m2: float = 0.0
    residence_days: float | None = None
    turnovers_per_day: float | None = None

    def __post_init__(self) -> None:
        must(0.0 <= self.trapped_share <= 1.0, self, "traps a share that is none")
        must(self.depth_m > 0.0 and self.water_depth_m != 0.0, self, "is without depth")
        must(self.wall_per_m2 >= 0.0, self, "has walls that are none")
        must(self.residence_days is None or self.turnovers_per_day is None, self, "has two usual flows")

    @property
    def has_usual_flow(self) -> bool:
        """Whether a flow that the keeper does not give is assumed."""
        return self.residence_days is not None or self.turnovers_per_day is not None

    def usual_flow_m3_day(self, bulk_m3: float) -> float:
        """Flow that is assumed for a bed of some bulk; 0 where there is no usual one."""
        if self.residence_days is not None:
            return bulk_m3 / self.residence_days
        return 0.0 if self.turnovers_per_day is None else bulk_m3 * self.turnovers_per_day


@dataclass(frozen=True, kw_only=True)
class BedKind:
    """All in which kinds of beds differ.

    Parameters
    ----------
    noun, plural : str
        What sentences call it.
    water : BedWater or None
        How loop water runs through it; None for a bed off the loops, which takes drawn-off solids, whose roots are as
        warm as the air, and whose calcium is not followed.
    fill : Fill or None
        What it is filled with.
    light_share : float
        Light on the planted face over that on level ground. [-]
    has_planted_face : bool
        Whether a planted face of its own may be given.
    has_feed_ratio : bool
        Whether handbooks give feed by planted area for it; a crop's file holds the ratio.
    leafy_ratio : (float, float) or None
        Band for leafy crops that goes before the crop's file. [g feed/m2/day]
    needs_air : bool
        Whether roots hang in its water and need an air supply of its own.
    """

    noun: str
    plural: str
    water: BedWater | None
    fill: Fill | None = None
    light_share: float = 1.0
    has_planted_face: bool = False
    has_feed_ratio: bool = True
    leafy_ratio: tuple[float, float] | None = None
    needs_air: bool = False

    def __post_init__(self) -> None:
        must(bool(self.noun and self.plural), self, "has no name for sentences")
        must(self.fill is None or self.water is not None, self, "has a fill that no water runs through")
        must(0.0 < self.light_share <= 1.0, self, "has a share of light that is none")
        must(self.leafy_ratio is None or self.has_feed_ratio, self, "has a ratio that handbooks do not give")

    @property
    def is_on_loop(self) -> bool:
        """Whether loop water runs through it."""
        return self.water is not None

    @property
    def has_usual_film(self) -> bool:
        """Whether it nitrifies without the keeper giving its surface."""
        return self.fill is not None or (self.water is not None and self.water.film_per_m2 > 0.0)


BED_KINDS: dict[str, BedKind] = {
    "raft": BedKind(
        noun="raft",
        plural="rafts",
        water=BedWater(
            trapped_share=0.2,  # rafts settle (assumption)
            trickles=False,
            # 4 cm of foam over the water, a tenth of it open (assumed)
            heat=BedHeatLoss(
                air_w_m2_k=0.85, floor_w_m2_k=FLOOR_W_M2_K, open_share=0.1, sun_reaches_water=True, can_be_covered=True
            ),
            # underside and floor; the walls of a channel of 29.6 x 1.3 m (Rakocy et al. 1997, abstract read) are 1.6 m
            # long for each m2. Netting, pipes and roots carry more: give the surface yourself where you know it.
            film_per_m2=2.0,
            wall_per_m2=1.6,
            residence_days=2.0 / 24.0,  # raft canal residence 1-4 h (from memory of FAO 589)
        ),
        # 60-100, Rakocy 2007, Ten guidelines for aquaponic systems, Aquaponics Journal 46 (excerpt read): for a warm
        # raft system that discards its solids
        leafy_ratio=(60.0, 100.0),
        needs_air=True,
    ),
    "media": BedKind(
        noun="media bed",
        plural="gravel beds",
        water=BedWater(
            trapped_share=0.6,  # media beds filter (assumption)
            trickles=True,
            # its top is dry and the water stands 5 cm below (extension reprint, read); wet share as it drains (assumed)
            heat=BedHeatLoss(air_w_m2_k=6.0, floor_w_m2_k=FLOOR_W_M2_K, open_share=0.2, dries_when_still=True),
            turnovers_per_day=24.0,  # each media bed's volume once an hour (common practice, no source)
        ),
        fill=Fill(
            words="half-inch gravel",
            grain_m=0.0127,  # half an inch (common practice)
            voids=0.4,  # media takes about 60 % of the volume (extension reprint, read)
            flooded_share=0.5,  # a flood-and-drain bed is full half of the time (assumption, no source)
            # FAO 589 makes filters 2-3 times larger than the arithmetic asks (from memory), hence 0.4
            active_surface_share=0.4,
            heat_j_m3_k=GRAVEL_J_M3_K,
        ),
    ),
    "tower": BedKind(
        noun="tower",
        plural="towers",
        water=BedWater(
            trapped_share=0.1,  # assumption
            trickles=True,
            # of footprint: thin films on tall walls (assumed)
            heat=BedHeatLoss(air_w_m2_k=20.0, floor_w_m2_k=0.0, open_share=1.0),
            water_depth_m=0.02,  # water held per m2 of footprint (assumption, no source)
        ),
        light_share=FACE_SHARE,
        has_planted_face=True,
        has_feed_ratio=False,
    ),
    "wicking": BedKind(noun="wicking bed", plural="wicking beds", water=None, has_feed_ratio=False),
}


def solids_fed_kinds() -> tuple[str, ...]:
    """Kinds of beds that drawn-off solids feed: those that no loop water runs through."""
    return tuple(name for name, kind in BED_KINDS.items() if not kind.is_on_loop)


# --- biofilters; settlers stand in `stocksim.water.solids.SETTLERS` with their measurements


@dataclass(frozen=True, kw_only=True)
class BiofilterKind:
    """All in which kinds of biofilters differ.

    Parameters
    ----------
    trickles : bool
        Whether water takes up oxygen from the air in it.
    trapped_share : float
        Share of suspended solids that a pass leaves behind. [-]
    """

    trickles: bool
    trapped_share: float

    def __post_init__(self) -> None:
        must(0.0 <= self.trapped_share <= 1.0, self, "traps a share that is none")


BIOFILTER_KINDS: dict[str, BiofilterKind] = {
    "trickling": BiofilterKind(trickles=True, trapped_share=0.1),  # assumption
    "submerged": BiofilterKind(trickles=False, trapped_share=0.1),  # assumption
}
