"""What a keeper wishes: of a stocking plan (which fish could come, what the own may become), and of advice."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from stocksim.site.fish_tables import FeedName, Ration
from stocksim.site.kinds import ADVICE_KINDS
from stocksim.site.quantities import (
    Count,
    Date,
    FishNumber,
    Money,
    OneOf,
    Portion,
    Reserve,
    Share,
    SizeSpread,
    Table,
    WaterTemperature,
    Weight,
    shown,
)

GOALS = ("edible", "steady", "cost", "keep")
# Fewest fish of a kind in a tank that holds it, where the keeper says nothing: a school, not a stray (assumed).
USUAL_BATCH = 5


def read_goals(value: Any) -> tuple[str, ...]:
    """Goals of a text, as ``edible,cost``: the first weighs most.

    Raises
    ------
    ValueError
        With a sentence, where a goal is not known or said twice.
    """
    parts = [part.strip() for part in value.split(",")] if isinstance(value, str) else []
    if not parts or not set(parts) <= set(GOALS) or len(set(parts)) < len(parts):
        known = f"{', '.join(GOALS[:-1])} or {GOALS[-1]}"
        raise ValueError(f'{shown(value)} is not a goal; use {known}, or several in their order, as "edible,cost".')
    return tuple(parts)


def _goals(value: Any) -> tuple[str, ...]:
    try:
        return read_goals(value)
    except ValueError as error:
        raise PydanticCustomError("stocksim", "{sentence}", {"sentence": str(error)}) from None


class CandidateTable(Table):
    """Fish that could be bought."""

    species: str
    mean_weight: Weight
    price: Money
    feed: FeedName
    at_least: Count = 0
    at_most: FishNumber
    minimum_batch: FishNumber | None = None
    stocked: Date | None = None
    leaves: Date | None = None
    ration: Ration | None = None
    tanks: list[str] | None = None
    wild: bool = False
    trained: bool = False
    sex: Literal["mixed", "males", "females"] = "mixed"
    size_spread: SizeSpread | None = None
    strain: str | None = None


class OwnTable(Table):
    """What may become of a cohort that the keeper has; what is not placed is sold, given away or eaten."""

    at_least: Count | None = None
    minimum_batch: FishNumber | None = None
    leaves: Date | None = None
    tanks: list[str] | None = None


class OptionTable(Table):
    """Another way to keep a loop's water, as with a heater at a set point, and what that costs over the season."""

    loop: str
    at_least: WaterTemperature | None = None
    at_most: WaterTemperature | None = None
    cost: Money = 0.0


class HarvestWish(Table):
    """Live weight of a species wanted by a date, if need be in fish of a market size: that mean weight at least."""

    species: str
    weight: Portion
    by: Date
    each_at_least: Weight | None = None


class AdviceTable(Table):
    """How near to a limit an advised change may come, what is never advised, and what a kilo of a crop is worth."""

    reserve: Reserve = 0.1
    never: list[Annotated[str, OneOf(ADVICE_KINDS)]] = []
    crop_worth: dict[str, Money] = {}


class StockingTable(Table):
    """What the stocking planner may choose from, and what is wished."""

    goal: Annotated[tuple[str, ...], BeforeValidator(_goals)] = ("edible",)
    budget: Money | None = None
    feed_price: Money | None = None
    species_at_least: Count = 0
    species_at_most: FishNumber | None = None
    margin: Share | None = None
    feed_band_weight: Money | None = None
    harvest_wishes: list[HarvestWish] = []
    candidates: dict[str, CandidateTable] = {}
    own: dict[str, OwnTable] = {}
    options: dict[str, OptionTable] = {}
