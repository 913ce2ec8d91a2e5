"""Every kind of thing that the whole house names: beds, filters, limits, causes of death, events. One row has all."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum, auto

from stocksim.climate.greenhouse import GRAVEL_J_M3_K
from stocksim.climate.tank_heat import FLOOR_W_M2_K
from stocksim.plants.light import FACE_SHARE


def _must(holds: bool, row: object, what: str) -> None:
    """Refuse a row that lacks something when it is made, long before a keeper's season."""
    if not holds:
        raise ValueError(f"{row!r} {what}")


# --- beds


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
        _must(bool(self.words), self, "has no words")
        _must(min(self.grain_m, self.voids, self.flooded_share, self.heat_j_m3_k) > 0.0, self, "has a size of nothing")


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
        _must(self.air_w_m2_k > 0.0 <= self.floor_w_m2_k, self, "keeps its heat")
        _must(0.0 <= self.open_share <= 1.0, self, "has an open share that is none")


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
    residence_days, turnovers_per_day : float or None
        Usual time in the bed, or usual changes of its bulk a day; without both the keeper must give a flow.
    """

    trapped_share: float
    trickles: bool
    heat: BedHeatLoss
    # media beds are at least 30 cm deep (extension reprint, read); the same taken for rafts
    depth_m: float = 0.3
    water_depth_m: float | None = None
    film_per_m2: float = 0.0
    residence_days: float | None = None
    turnovers_per_day: float | None = None

    def __post_init__(self) -> None:
        _must(0.0 <= self.trapped_share <= 1.0, self, "traps a share that is none")
        _must(self.depth_m > 0.0 and self.water_depth_m != 0.0, self, "is without depth")
        _must(self.residence_days is None or self.turnovers_per_day is None, self, "has two usual flows")

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
        _must(bool(self.noun and self.plural), self, "has no name for sentences")
        _must(self.fill is None or self.water is not None, self, "has a fill that no water runs through")
        _must(0.0 < self.light_share <= 1.0, self, "has a share of light that is none")
        _must(self.leafy_ratio is None or self.has_feed_ratio, self, "has a ratio that handbooks do not give")

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
            # fitted in this project to 0.56 g TAN/m2/day removed by rafts at 28 degC and about 1 mg/L (from memory of
            # Rakocy and co-workers): 0.56 / (0.837 * 1.06**8 / 2.93)
            film_per_m2=1.23,
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
        _must(0.0 <= self.trapped_share <= 1.0, self, "traps a share that is none")


BIOFILTER_KINDS: dict[str, BiofilterKind] = {
    "trickling": BiofilterKind(trickles=True, trapped_share=0.1),  # assumption
    "submerged": BiofilterKind(trickles=False, trapped_share=0.1),  # assumption
}


# --- limits


@dataclass(frozen=True, kw_only=True)
class LevelUnit:
    """How a unit of a limit is shown: its dimension in `stocksim.units` where it has two systems, and decimals in each.

    Levels below ``fine_below`` are shown to ``fine`` decimals.
    """

    decimals: int
    dimension: str | None = None
    us_decimals: int | None = None
    fine_below: float = 0.0
    fine: int = 0

    def __post_init__(self) -> None:
        _must((self.dimension is None) == (self.us_decimals is None), self, "has decimals for one system only")


LEVEL_UNITS: dict[str, LevelUnit] = {
    "% of pairs": LevelUnit(decimals=1),
    "mg/L": LevelUnit(decimals=2, fine_below=0.1, fine=4),  # as un-ionized ammonia
    "g/day": LevelUnit(decimals=1),
    "kg/m3": LevelUnit(decimals=1, dimension="density", us_decimals=2),
    "degC": LevelUnit(decimals=1, dimension="temperature", us_decimals=1),
    "degC/day": LevelUnit(decimals=1, dimension="temperature_difference", us_decimals=1),
    "g/m2/day": LevelUnit(decimals=0, dimension="planting_ratio", us_decimals=2),
}


class Mending(StrEnum):
    """What is tried where a limit is broken."""

    NOTHING = ""
    ROOM = "room"
    AIR = "air"
    LOOP_WATER = "loop water"
    TEMPERATURE = "temperature"
    AREA = "area"


class WhyNone(StrEnum):
    """Why no change is named for a broken limit; `stocksim.faces.change_words` says it."""

    NONE_MENDS = auto()  # without costing fish their lives
    OTHER_LOOP = auto()  # no temperature does, so the fish belong elsewhere
    SLOW_THE_CHANGE = auto()
    GRADE_INSTEAD = auto()
    NO_AREA = auto()
    FISH_DIE_ALL_THE_SAME = auto()  # in a run with the change that mends the limit


@dataclass(frozen=True, kw_only=True)
class LimitKind:
    """What the house needs to judge a limit and to tell it; `stocksim.engine.results.findings.JUDGES` has its series.

    Parameters
    ----------
    name : str
        In words, as ``un-ionized ammonia``.
    broken : str
        What is wrong where it is broken, as ``oxygen too low``.
    on_chart : str
        The same in a word or two.
    table : str
        Whose limit it is: ``tanks``, ``loops`` or ``cohorts``.
    unit : str
        Of its value, one of `LEVEL_UNITS`.
    is_floor : bool
        Whether less than it is broken, else more.
    is_advisory : bool
        Whether it is only told, as a band, and never broken.
    moves_with_feed : bool
        Whether fish and feed move it, so that every trial of less of them judges it.
    is_of_water : bool
        Whether it is of the water itself, and told with it.
    is_of_loop_water : bool
        Whether it is of the water that a loop's tanks share, so that one change may mend all of them.
    is_left_by_film : bool
        Whether it is a level that the film leaves in the water: a young one lets it rise, a water test measures it, a
        water change lowers it, and in a stocking plan the biofilter answers for it.
    is_of_warmth : bool
        Whether water too cold or too warm breaks it, which the cold months judge by themselves.
    eased_by_harvest : bool
        Whether taking fish out on the way mends it.
    goes_by_ph : bool
        Whether a lower pH eases it.
    lifted_by_chloride : bool
        Whether chloride in the water lifts it where it protects the species.
    species_value : str
        Key of the species' value that each cohort bears; empty where the limit is not one of those.
    on_temperature_chart : str
        Words before its line there; empty for none.
    none_below : float
        Threshold under which there is nothing to keep to, and ``none`` is said instead. [in its unit]
    none : str
        That.
    mended_by : Mending
        What is tried.
    if_unmended : WhyNone
        What is told where nothing tried mends it.
    """

    name: str
    broken: str
    on_chart: str
    table: str
    unit: str
    is_floor: bool = False
    is_advisory: bool = False
    moves_with_feed: bool = False
    is_of_water: bool = False
    is_of_loop_water: bool = False
    is_left_by_film: bool = False
    is_of_warmth: bool = False
    eased_by_harvest: bool = False
    goes_by_ph: bool = False
    lifted_by_chloride: bool = False
    species_value: str = ""
    on_temperature_chart: str = ""
    none_below: float = 0.0
    none: str = ""
    mended_by: Mending = Mending.NOTHING
    if_unmended: WhyNone = WhyNone.NONE_MENDS

    def __post_init__(self) -> None:
        _must(all((self.name, self.broken, self.on_chart)), self, "has no words")
        _must(self.table in ("tanks", "loops", "cohorts"), self, "is of no known table")
        _must(self.unit in LEVEL_UNITS, self, "has a unit that nothing shows")
        _must(not self.is_of_loop_water or self.table != "cohorts", self, "is of a loop's water but not judged there")
        _must(not self.is_left_by_film or self.is_of_loop_water, self, "is of a film but not of the loop's water")
        _must(not self.lifted_by_chloride or bool(self.species_value), self, "has nothing that chloride could lift")
        _must(bool(self.none) == (self.none_below > 0.0), self, "says half of what there is where nothing is")


# in the order in which they are judged; findings of one place are told in it
LIMITS: dict[str, LimitKind] = {
    "biofilter": LimitKind(
        name="biofilter", broken="more ammonia than the biofilter can take", on_chart="film overloaded", table="loops",
        unit="g/day", moves_with_feed=True, is_of_water=True, is_of_loop_water=True, goes_by_ph=True,
        none_below=0.05,  # would be printed as 0.0 g/day
        none="no film there takes any, so it stays in the water", mended_by=Mending.LOOP_WATER,
    ),
    "density": LimitKind(
        name="density", broken="fish too dense", on_chart="too dense", table="tanks", unit="kg/m3",
        moves_with_feed=True, eased_by_harvest=True, mended_by=Mending.ROOM,
    ),
    "oxygen": LimitKind(
        name="oxygen", broken="oxygen too low", on_chart="oxygen", table="tanks", unit="mg/L", is_floor=True,
        moves_with_feed=True, is_of_water=True, species_value="oxygen_recommended", mended_by=Mending.AIR,
    ),
    "unionized_ammonia": LimitKind(
        name="un-ionized ammonia", broken="un-ionized ammonia too high", on_chart="ammonia", table="tanks",
        unit="mg/L", moves_with_feed=True, is_of_water=True, is_of_loop_water=True, is_left_by_film=True,
        goes_by_ph=True, species_value="unionized_ammonia_design", mended_by=Mending.LOOP_WATER,
    ),
    "nitrite": LimitKind(
        name="nitrite", broken="nitrite too high", on_chart="nitrite", table="tanks", unit="mg/L",
        moves_with_feed=True, is_of_water=True, is_of_loop_water=True, is_left_by_film=True, lifted_by_chloride=True,
        species_value="nitrite_limit", mended_by=Mending.LOOP_WATER,
    ),
    "predation": LimitKind(
        name="chance of being eaten", broken="tankmates small enough to be eaten", on_chart="small enough to be eaten",
        table="tanks", unit="% of pairs",
        if_unmended=WhyNone.GRADE_INSTEAD,
    ),
    "temperature_low": LimitKind(
        name="cold limit", broken="water too cold", on_chart="too cold", table="cohorts", unit="degC", is_floor=True,
        is_of_warmth=True, on_temperature_chart="too cold below", mended_by=Mending.TEMPERATURE,
        if_unmended=WhyNone.OTHER_LOOP,
    ),
    "temperature_high": LimitKind(
        name="heat limit", broken="water too warm", on_chart="too warm", table="cohorts", unit="degC",
        is_of_warmth=True, on_temperature_chart="too warm above", mended_by=Mending.TEMPERATURE,
        if_unmended=WhyNone.OTHER_LOOP,
    ),
    "temperature_change": LimitKind(
        name="change of temperature", broken="water that changes too fast in a day", on_chart="changes too fast",
        table="cohorts", unit="degC/day",
        if_unmended=WhyNone.SLOW_THE_CHANGE,
    ),
    "planting_ratio": LimitKind(
        name="planting ratio", broken="feed and planted area out of step", on_chart="feed and area", table="loops",
        unit="g/m2/day", is_advisory=True, mended_by=Mending.AREA,
        if_unmended=WhyNone.NO_AREA,
    ),
}  # fmt: skip


def hard_limits() -> tuple[str, ...]:
    """Limits that may be broken, in the order in which they are judged."""
    return tuple(name for name, kind in LIMITS.items() if not kind.is_advisory)


def limits_left_by_film() -> tuple[str, ...]:
    """Limits of what the film leaves in the water."""
    return tuple(name for name, kind in LIMITS.items() if kind.is_left_by_film)


# --- causes of death


@dataclass(frozen=True, kw_only=True)
class CauseKind:
    """What a cause of death is called, and how it is told.

    Parameters
    ----------
    words : str
        As ``too little oxygen``; empty for one that is not named.
    is_of_water : bool
        Whether the water's levels cause it: what the other hazards leave of a day's deaths is shared between these.
    is_of_warmth : bool
        Whether cold or heat does.
    is_expected : bool
        Whether it takes fish whatever the water does and however they are kept.
    advice : str
        What helps against it where no limit tells of it, and so no lever is sought.
    """

    words: str
    is_of_water: bool = False
    is_of_warmth: bool = False
    is_expected: bool = False
    advice: str = ""

    def __post_init__(self) -> None:
        _must(bool(self.words) or self.is_expected, self, "has no words")


# in the order of answers as data
CAUSES_OF_DEATH: dict[str, CauseKind] = {
    "oxygen": CauseKind(words="too little oxygen", is_of_water=True),
    "ammonia": CauseKind(words="un-ionized ammonia", is_of_water=True),
    "nitrite": CauseKind(words="nitrite", is_of_water=True),
    "cold": CauseKind(words="cold", is_of_warmth=True),
    "heat": CauseKind(words="heat", is_of_warmth=True),
    "hunger": CauseKind(
        words="hunger",
        advice="Against hunger: feed whenever the water is warm enough for them to eat, a little at a time.",
    ),
    "training": CauseKind(words="feed training", is_expected=True),
    "everyday": CauseKind(words="", is_expected=True),
}


# --- what happens to fish on a date


class Act(StrEnum):
    """What an event does to the fish of a cohort."""

    CARRY = "carry"  # all of them on, as another stay of the same cohort
    GRADE = "grade"  # some of them into a cohort of their own
    TAKE = "take"  # some or all of them out for good
    ADD = "add"  # more of them


@dataclass(frozen=True, kw_only=True)
class EventKind:
    """All in which kinds of events differ.

    Parameters
    ----------
    act : Act
        What it does to fish.
    changes : str
        Key of the cohort's table that it changes, where it carries the fish on.
    entry : str
        What fish that it takes are called in the ledger.
    is_harvest : bool
        Whether they count as harvest.
    usual_which : str
        Which fish it takes where the keeper does not say: ``largest``, ``smallest`` or ``any``.
    tells_what_went : bool
        Whether its sentence ends with the fish that really went, which its own words do not say.
    """

    act: Act
    changes: str = ""
    entry: str = ""
    is_harvest: bool = False
    usual_which: str = "any"
    tells_what_went: bool = True

    def __post_init__(self) -> None:
        _must(bool(self.changes) == (self.act is Act.CARRY), self, "must change something where it carries fish on")
        _must(bool(self.entry) == (self.act is Act.TAKE), self, "must have an entry in the ledger where it takes fish")
        _must(self.act is Act.TAKE or not self.is_harvest, self, "harvests nothing")
        _must(self.usual_which in ("largest", "smallest", "any"), self, "takes no known part of the fish")


EVENT_KINDS: dict[str, EventKind] = {
    "stock": EventKind(act=Act.ADD, tells_what_went=False),
    "move": EventKind(act=Act.CARRY, changes="tank"),
    "grade": EventKind(act=Act.GRADE),
    "ration": EventKind(act=Act.CARRY, changes="ration", tells_what_went=False),
    "feed": EventKind(act=Act.CARRY, changes="feed", tells_what_went=False),
    "harvest": EventKind(act=Act.TAKE, entry="harvested", is_harvest=True, usual_which="largest"),
    "thin": EventKind(act=Act.TAKE, entry="thinned"),
    "sell": EventKind(act=Act.TAKE, entry="sold"),
    "give": EventKind(act=Act.TAKE, entry="given"),
}
# kinds that take fish out for good, and those of them that are no harvest
REMOVALS = tuple(name for name, kind in EVENT_KINDS.items() if kind.act is Act.TAKE)
HARVESTS = tuple(name for name in REMOVALS if EVENT_KINDS[name].is_harvest)
OTHERWISE_TAKEN = tuple(name for name in REMOVALS if not EVENT_KINDS[name].is_harvest)
