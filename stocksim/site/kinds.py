"""Every limit, cause of death and kind of event that the whole house names. One row has all; beds: `bed_kinds`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum, auto


def must(holds: bool, row: object, what: str) -> None:
    """Refuse a row that lacks something when it is made, long before a keeper's season."""
    if not holds:
        raise ValueError(f"{row!r} {what}")


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
        must((self.dimension is None) == (self.us_decimals is None), self, "has decimals for one system only")


LEVEL_UNITS: dict[str, LevelUnit] = {
    "% of pairs": LevelUnit(decimals=1),
    "mg/L": LevelUnit(decimals=2, fine_below=0.1, fine=4),  # as un-ionized ammonia
    "g/day": LevelUnit(decimals=1),
    "kg/m3": LevelUnit(decimals=1, dimension="density", us_decimals=2),
    "degC": LevelUnit(decimals=1, dimension="temperature", us_decimals=1),
    "degC/day": LevelUnit(decimals=1, dimension="temperature_difference", us_decimals=1),
    "g/m2/day": LevelUnit(decimals=0, dimension="planting_ratio", us_decimals=2),
}


# Kinds of advice, as a keeper may forbid them (`[advice] never`), with what they are called. The order is that of what
# they ask of a keeper, the least first: no purchase, then salts and small machines, then building, heating (assumed).
ADVICE_KINDS: dict[str, str] = {
    "harvest": "harvest or sell fish earlier", "move": "move fish or grade them",
    "fill": "fill a tank only in part", "hours": "feed at other hours",
    "feed": "feed less", "base": "dose base or not", "solids": "empty settlers more often",
    "salt": "dose salt", "water": "change water or its source", "air": "more air", "flow": "more flow",
    "stock": "stock fewer fish, or later", "plant": "plant more, less or otherwise", "biofilter": "more biofilter",
    "vents": "vent the house earlier", "shade": "shade the house", "heat": "heat or cool",
}  # fmt: skip


class Mending(StrEnum):
    """What is tried where a limit is broken."""

    NOTHING = ""
    ROOM = "room"  # fish elsewhere, earlier out, fewer
    AIR = "air"  # more air or flow, less feed, fewer fish
    APART = "apart"  # fish in another tank
    LOOP_WATER = "loop water"  # what docs/limits.md lists for ammonia and nitrite
    TEMPERATURE = "temperature"
    AREA = "area"


class WhyNone(StrEnum):
    """Why no change is named for a broken limit; `stocksim.faces.change_words` says it."""

    NONE_MENDS = auto()  # without costing fish their lives
    OTHER_LOOP = auto()  # no temperature does, so the fish belong elsewhere
    SLOW_THE_CHANGE = auto()
    GRADE_INSTEAD = auto()
    NO_AREA = auto()


# what a change that is tried asks of the limit: whose it is, and whether trials of fish and feed judge it
_MENDING_ASKS: dict[Mending, tuple[str, bool] | None] = {
    Mending.NOTHING: None, Mending.LOOP_WATER: None, Mending.ROOM: ("tanks", True), Mending.AIR: ("tanks", True),
    Mending.TEMPERATURE: ("cohorts", False), Mending.AREA: ("loops", False), Mending.APART: ("tanks", False),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class LimitKind:
    """What the house needs to judge a limit and to tell it; `findings.JUDGES` of the engine has its series.

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
    if_kept, if_outside : str
        What an advisory says where it is kept on every day, and where it is not; ``{where}`` stands for its place,
        ``{days}`` for the days outside, ``{worst}``, ``{value}``, ``{side}`` and ``{threshold}`` for the furthest one.
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
    if_kept: str = ""
    if_outside: str = ""
    mended_by: Mending = Mending.NOTHING
    if_unmended: WhyNone = WhyNone.NONE_MENDS

    def __post_init__(self) -> None:
        must(all((self.name, self.broken, self.on_chart)), self, "has no words")
        must(self.table in ("tanks", "loops", "cohorts"), self, "is of no known table")
        must(self.unit in LEVEL_UNITS, self, "has a unit that nothing shows")
        at_loop = self.table != "cohorts" and self.moves_with_feed
        must(not self.is_of_loop_water or at_loop, self, "is of a loop's water but not judged there")
        must(not self.is_left_by_film or self.is_of_loop_water, self, "is of a biofilter but not of the loop's water")
        must(not self.lifted_by_chloride or bool(self.species_value), self, "has nothing that chloride could lift")
        must(
            self.is_advisory == bool(self.if_kept and self.if_outside), self, "is known neither as advice nor as limit"
        )
        asked = _MENDING_ASKS[self.mended_by]
        must(not asked or asked == (self.table, self.moves_with_feed), self, "is fixed by what is not of its table")
        must(self.mended_by is not Mending.LOOP_WATER or self.is_of_loop_water, self, "is not of the loop's water")
        must(bool(self.none) == (self.none_below > 0.0), self, "says half of what there is where nothing is")


# in the order in which they are judged; findings of one place are told in it
LIMITS: dict[str, LimitKind] = {
    "biofilter": LimitKind(
        name="biofilter", broken="more ammonia than the biofilter can take", on_chart="biofilter overloaded",
        table="loops",
        unit="g/day", moves_with_feed=True, is_of_water=True, is_of_loop_water=True, goes_by_ph=True,
        none_below=0.05,  # would be printed as 0.0 g/day
        none="no biofilter there takes any, so it stays in the water", mended_by=Mending.LOOP_WATER,
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
        table="tanks", unit="% of pairs", mended_by=Mending.APART,
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
        if_kept="Feed and planted area of {where} stay within the handbook band.",
        if_outside="Advice: in {where} feed per planted area is outside the handbook band on {days}, furthest on "
        "{worst} at {value}, {side} {threshold}.",
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
        must(bool(self.words) or self.is_expected, self, "has no words")


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
    "eaten": CauseKind(
        words="being eaten by tankmates",
        advice="Against being eaten: grade, or give the smaller fish a tank of their own.",
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
    FIND = "find"  # so many and so heavy as they were found, whatever was reckoned


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
        must(bool(self.changes) == (self.act is Act.CARRY), self, "must change something where it carries fish on")
        must(bool(self.entry) == (self.act is Act.TAKE), self, "must have an entry in the ledger where it takes fish")
        must(self.act is Act.TAKE or not self.is_harvest, self, "harvests nothing")
        must(self.usual_which in ("largest", "smallest", "any"), self, "takes no known part of the fish")


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
    "found": EventKind(act=Act.FIND, tells_what_went=False),
}
# kinds that take fish out for good, and those of them that are no harvest
REMOVALS = tuple(name for name, kind in EVENT_KINDS.items() if kind.act is Act.TAKE)
HARVESTS = tuple(name for name in REMOVALS if EVENT_KINDS[name].is_harvest)
OTHERWISE_TAKEN = tuple(name for name in REMOVALS if not EVENT_KINDS[name].is_harvest)
