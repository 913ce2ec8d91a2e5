"""The tables and keys of a site file, each with its unit and bounds."""

from __future__ import annotations

import datetime as dt
import math
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from stocksim.errors import InputError
from stocksim.units import parse_quantity

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def _refuse(sentence: str) -> PydanticCustomError:
    return PydanticCustomError("stocksim", "{sentence}", {"sentence": sentence})


def _quantity(dimension: str, low: float, high: float, allowed: str, low_is_allowed: bool = False) -> BeforeValidator:
    """Validator of a text with a unit; ``low`` and ``high`` in the inside unit."""

    def read(text: Any) -> float:
        try:
            value = parse_quantity(text, dimension)
        except InputError as error:
            raise _refuse(str(error)) from None
        if value < low or value > high or (value == low and not low_is_allowed):
            raise _refuse(f'"{text}" is not allowed; {allowed}.')
        return value

    return BeforeValidator(read)


def _number(low: float, high: float, allowed: str, whole: bool = False) -> BeforeValidator:
    """Validator of a bare number without a unit."""

    def read(value: Any) -> float | int:
        is_number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
        if not is_number or not low <= value <= high or (whole and value != int(value)):
            shown = f'"{value}"' if isinstance(value, str) else str(value)
            raise _refuse(f"{shown} is not allowed; {allowed}.")
        return int(value) if whole else float(value)

    return BeforeValidator(read)


def _date(value: Any) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    shown = f'"{value}"' if isinstance(value, str) else str(value)
    raise _refuse(f"{shown} is not a date; write it as 2026-10-01, without quotes and without a time.")


Volume = Annotated[float, _quantity("volume", 0.0, 1e5, "a volume must be above 0 and at most 100,000 m3")]
Flow = Annotated[float, _quantity("flow", 0.0, 1e6, "a flow must be above 0 and at most 1,000,000 m3/day")]
Area = Annotated[float, _quantity("area", 0.0, 1e6, "an area must be above 0 and at most 1,000,000 m2")]
Depth = Annotated[float, _quantity("length", 0.0, 10.0, "a depth must be above 0 and at most 10 m")]
GrainSize = Annotated[float, _quantity("length", 0.0005, 0.1, "a grain size must lie between 0.5 mm and 100 mm")]
Elevation = Annotated[
    float,
    _quantity("length", -430.0, 4500.0, "an elevation must lie between -430 and 4500 m", low_is_allowed=True),
]
Weight = Annotated[float, _quantity("weight", 0.05, 2e4, "a fish's mean weight must lie between 0.05 g and 20 kg")]
WaterTemperature = Annotated[
    float, _quantity("temperature", -0.01, 40.0, "fish water lies between 0 and 40 degC (32 and 104 degF)")
]
Power = Annotated[float, _quantity("power", 0.0, 1e6, "a power must be above 0 and at most 1,000 kW")]
OxygenRate = Annotated[float, _quantity("oxygen_rate", 0.0, 1e8, "an oxygen transfer must be above 0")]
Alkalinity = Annotated[float, _quantity("concentration", 0.0, 1000.0, "alkalinity must lie between 0 and 1000 mg/L")]
SpecificSurface = Annotated[
    float, _quantity("specific_surface", 0.0, 5000.0, "a specific surface must lie between 0 and 5000 m2/m3")
]
Ph = Annotated[float, _number(5.0, 10.0, "pH must be a number between 5 and 10, without a unit")]
Latitude = Annotated[float, _number(-90.0, 90.0, "latitude must be degrees between -90 and 90, without a unit")]
Share = Annotated[float, _number(0.0, 1.0, "a fraction must be a number from 0 to 1")]
SpilledShare = Annotated[float, _number(0.0, 0.9, "a spilled share must be a number from 0 to 0.9")]
Count = Annotated[int, _number(0, 10_000_000, "a count must be a whole number of fish, 0 or more", whole=True)]
Date = Annotated[dt.date, BeforeValidator(_date)]


class Table(BaseModel):
    """A table whose keys are all known; unknown ones are faults."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, populate_by_name=False)


class SiteTable(Table):
    """What holds for the whole place."""

    name: str
    latitude: Latitude | None = None
    elevation: Elevation | None = None
    units: Literal["metric", "us"] = "metric"
    density_level: Literal["cautious", "experienced"] = "cautious"
    about: str = ""


class SeasonTable(Table):
    """First and last day, both counted."""

    start: Date
    end: Date


class Diffuser(Table):
    """Air pump with stones, known by its electric power."""

    kind: Literal["diffuser"]
    power: Power


class MeasuredTransfer(Table):
    """A device whose standard oxygen transfer is known."""

    kind: Literal["measured"]
    transfer: OxygenRate


class NoSupply(Table):
    """No device: only the surface and the flow bring oxygen."""

    kind: Literal["none"]


OxygenSupply = Annotated[Diffuser | MeasuredTransfer | NoSupply, Field(discriminator="kind")]


class _Heated(Table):
    at_least: WaterTemperature | None = None
    at_most: WaterTemperature | None = None


class ConstantTemperature(_Heated):
    """One temperature for the whole season."""

    kind: Literal["constant"]
    value: WaterTemperature


class MonthlyTemperature(_Heated):
    """Mean of each calendar month."""

    kind: Literal["monthly"]
    values: dict[Literal[MONTHS], WaterTemperature]  # type: ignore[valid-type]


class LoggedTemperature(_Heated):
    """A CSV file beside the site file, with date and temperature_c or temperature_f."""

    kind: Literal["log"]
    file: str


class LoopTable(Table):
    """Water that tanks, a sump and beds share."""

    sump: Volume
    ph: Ph | None = None
    alkalinity_target: Alkalinity | None = None
    biofilter_started: Date | None = None
    water_temperature: Annotated[
        ConstantTemperature | MonthlyTemperature | LoggedTemperature, Field(discriminator="kind")
    ]
    depth: Depth | None = None
    oxygen_supply: OxygenSupply | None = None


class TankTable(Table):
    """A fish tank."""

    loop: str
    volume: Volume
    flow: Flow
    depth: Depth | None = None
    oxygen_supply: OxygenSupply | None = None


class PlantingTable(Table):
    """One crop on a bed, or on part of it, from a first to a last day."""

    crop: str
    start: Date = Field(alias="from")
    end: Date = Field(alias="to")
    area: Area | None = None


class BedTable(Table):
    """A planted bed."""

    loop: str
    kind: Literal["raft", "media", "tower", "wicking"]
    area: Area
    depth: Depth | None = None
    flow: Flow | None = None
    media_size: GrainSize | None = None
    nitrifying_surface: Area | None = None
    biofilter_started: Date | None = None
    oxygen_supply: OxygenSupply | None = None
    plantings: list[PlantingTable] = []


class BiofilterTable(Table):
    """A dedicated nitrifying unit."""

    loop: str
    kind: Literal["trickling", "submerged"]
    media_volume: Volume
    specific_surface: SpecificSurface
    flow: Flow
    biofilter_started: Date | None = None
    oxygen_supply: OxygenSupply | None = None


class AppetiteRation(Table):
    """Feed by sight: a share of what the fish would eat today."""

    kind: Literal["appetite"]
    fraction: Share
    spilled_share: SpilledShare | None = None


class UnfedRation(Table):
    """No feed at all."""

    kind: Literal["unfed"]


class CohortTable(Table):
    """Fish of one species and size stocked together in one tank."""

    species: str
    tank: str
    count: Count
    mean_weight: Weight
    stocked: Date | None = None
    feed: str
    ration: Annotated[AppetiteRation | UnfedRation, Field(discriminator="kind")] | None = None
    wild: bool = False


class SiteFile(Table):
    """A whole site file."""

    site: SiteTable
    season: SeasonTable
    loops: dict[str, LoopTable] = Field(min_length=1)
    tanks: dict[str, TankTable] = Field(min_length=1)
    beds: dict[str, BedTable] = {}
    biofilters: dict[str, BiofilterTable] = {}
    cohorts: dict[str, CohortTable] = {}
