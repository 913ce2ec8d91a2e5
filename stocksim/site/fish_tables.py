"""The fish tables of a site file: cohorts, the rules by which they are fed, and what happens to them on a date."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from stocksim.errors import ParameterError
from stocksim.library.feeds import read_feed
from stocksim.site.kinds import REMOVALS
from stocksim.site.quantities import (
    Biomass,
    Count,
    Date,
    Days,
    FeedingHours,
    FeedPerArea,
    FeedWeight,
    FishNumber,
    Meals,
    Percent,
    Share,
    SizeSpread,
    SpilledShare,
    Table,
    WaterTemperature,
    Weight,
)


def _feed(value: Any) -> Any:
    try:
        return read_feed(value)
    except ParameterError as error:
        raise PydanticCustomError("stocksim", "{sentence}", {"sentence": str(error)}) from None


# key of a feed, or of several with their shares of what is weighed out
FeedName = Annotated[str, BeforeValidator(_feed)]
Weighed = Literal[
    "fresh", "dry"
]  # what a percentage of body weight counts: food as it lies on the scale, or its dry matter

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class ColdRule(Table):
    """In water colder than this fish are fed only each n-th day."""

    below: WaterTemperature
    feed_every_days: Days


class _Fed(Table):
    """What every rule that offers feed may hold."""

    spilled_share: SpilledShare | None = None
    meals_per_day: Meals | None = None
    feeding_hours: FeedingHours | None = None
    fasting_days: list[Literal[WEEKDAYS]] = []  # type: ignore[valid-type]
    stop_below: WaterTemperature | None = None
    restart_after_days: Days = 3
    cold_rules: list[ColdRule] = []


class AppetiteRation(_Fed):
    """Feed by hand: a share of what the fish would eat today."""

    kind: Literal["appetite"]
    fraction: Share


class PercentRation(_Fed):
    """Percent of body weight a day."""

    kind: Literal["percent"]
    percent: Percent
    weighed: Weighed | None = None


class TableRation(_Fed):
    """Percent of body weight by temperature (rows) and mean weight (columns)."""

    kind: Literal["table"]
    temperatures: list[WaterTemperature] = Field(min_length=1)
    weights: list[Weight] = Field(min_length=1)
    percent: list[list[Percent]]
    weighed: Weighed | None = None


class FixedRation(_Fed):
    """A weight of feed a day for the whole tank; cohorts that share the rule share the feed by their appetite."""

    kind: Literal["fixed"]
    per_day: FeedWeight


class BedsRation(_Fed):
    """What the loop's planted beds need, shared by appetite among the cohorts with this rule."""

    kind: Literal["beds"]
    ratio: FeedPerArea | None = None


class UnfedRation(Table):
    """No feed at all."""

    kind: Literal["unfed"]


Ration = Annotated[
    AppetiteRation | PercentRation | TableRation | FixedRation | BedsRation | UnfedRation, Field(discriminator="kind")
]


class CohortTable(Table):
    """Fish of one species and size stocked together in one tank."""

    species: str
    tank: str
    count: Count
    mean_weight: Weight
    stocked: Date | None = None
    feed: FeedName
    ration: Ration | None = None
    wild: bool = False
    trained: bool = False
    sex: Literal["mixed", "males", "females"] = "mixed"
    size_spread: SizeSpread | None = None
    strain: str | None = None


class StockEvent(Table):
    """More fish of the same species put to a cohort."""

    kind: Literal["stock"]
    date: Date
    cohort: str
    count: FishNumber
    mean_weight: Weight


class MoveEvent(Table):
    """The whole cohort into another tank."""

    kind: Literal["move"]
    date: Date
    cohort: str
    tank: str


class GradeEvent(Table):
    """The larger fish of a cohort into another tank, as a cohort of their own."""

    kind: Literal["grade"]
    date: Date
    cohort: str
    into: str
    tank: str
    above: Weight | None = None
    largest_share: Share | None = None


class RemovalEvent(Table):
    """Fish taken out for good: harvested, thinned, sold or given away."""

    kind: Literal[REMOVALS]  # type: ignore[valid-type]
    date: Date
    cohort: str
    count: FishNumber | None = None
    weight: Biomass | None = None
    share: Share | None = None
    above: Weight | None = None
    all: bool = False
    which: Literal["largest", "smallest", "any"] | None = None


class RationEvent(Table):
    """A new feeding rule from this day on."""

    kind: Literal["ration"]
    date: Date
    cohort: str
    ration: Ration


class FeedEvent(Table):
    """Another feed from this day on."""

    kind: Literal["feed"]
    date: Date
    cohort: str
    feed: FeedName


class FoundEvent(Table):
    """Fish of a cohort counted or weighed: from this morning on they are so many, or none, and so heavy."""

    kind: Literal["found"]
    date: Date
    cohort: str
    count: Count | None = None
    mean_weight: Weight | None = None


Event = Annotated[
    StockEvent | MoveEvent | GradeEvent | RemovalEvent | RationEvent | FeedEvent | FoundEvent,
    Field(discriminator="kind"),
]
