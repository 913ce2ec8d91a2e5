"""The tables and keys of a site file, each with its unit and bounds."""

from __future__ import annotations

import datetime as dt
import math
import numbers
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from stocksim.errors import InputError
from stocksim.units import parse_quantity, spellings

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


_LONGEST_SHOWN = 60
_FIRST_DAY, _LAST_DAY = dt.date(1900, 1, 1), dt.date(2199, 12, 31)
_LARGEST = 10.0**15  # beyond any number of a site; keeps numbers of hundreds of digits away from float and str


def shown(value: Any) -> str:
    """A value of a TOML file as a keeper would write it, short enough for a sentence."""
    if isinstance(value, str):
        text = value if len(value) <= _LONGEST_SHOWN else value[: _LONGEST_SHOWN - 3] + "..."
        return f'"{text}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, int) and abs(value) > _LARGEST:
        return "a number of very many digits"
    if isinstance(value, (dt.datetime, dt.date, dt.time)):
        return value.isoformat()
    return f"{value}"


def _refuse(sentence: str) -> PydanticCustomError:
    return PydanticCustomError("stocksim", "{sentence}", {"sentence": sentence})


def _quantity(dimension: str, low: float, high: float, allowed: str, low_is_allowed: bool = False) -> BeforeValidator:
    """Validator of a text with a unit; ``low`` and ``high`` in the inside unit."""

    def read(value: Any) -> float:
        is_number = isinstance(value, numbers.Real) and not isinstance(value, bool)
        if not isinstance(value, str) and not is_number:
            noun = dimension.replace("_", " ")
            raise _refuse(
                f"{shown(value)} is not a {noun}; write a number with its unit in quotes, in {spellings(dimension)}."
            )
        if len(shown(value)) > _LONGEST_SHOWN or (is_number and abs(value) > _LARGEST):
            raise _refuse(f"{shown(value)} is not allowed; {allowed}.")
        try:
            number = parse_quantity(value, dimension)
        except InputError as error:
            raise _refuse(str(error)) from None
        if number < low or number > high or (number == low and not low_is_allowed):
            raise _refuse(f"{shown(value)} is not allowed; {allowed}.")
        return number

    return BeforeValidator(read)


def _number(low: float, high: float, allowed: str, whole: bool = False) -> BeforeValidator:
    """Validator of a bare number without a unit."""

    def read(value: Any) -> float | int:
        # compared before anything is converted: a whole number of TOML may have any number of digits
        is_number = isinstance(value, numbers.Real) and not isinstance(value, bool)
        if not is_number or not low <= value <= high or (whole and value != math.floor(value)):
            raise _refuse(f"{shown(value)} is not allowed; {allowed}.")
        return int(value) if whole else float(value)

    return BeforeValidator(read)


def _date(value: Any) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        if not _FIRST_DAY <= value <= _LAST_DAY:
            raise _refuse(f"{value} is not allowed; a date must lie between {_FIRST_DAY} and {_LAST_DAY}.")
        return value
    raise _refuse(f"{shown(value)} is not a date; write it as 2026-10-01, without quotes and without a time.")


# the lower bounds lie below any real unit and keep the water balance clear of rounding
Volume = Annotated[float, _quantity("volume", 1e-3, 1e5, "a volume must lie between 1 L and 100,000 m3", True)]
Flow = Annotated[float, _quantity("flow", 1e-3, 1e6, "a flow must lie between 1 L/day and 1,000,000 m3/day", True)]
Area = Annotated[float, _quantity("area", 0.0, 1e6, "an area must be above 0 and at most 1,000,000 m2")]
BedArea = Annotated[float, _quantity("area", 0.01, 1e6, "a bed must cover between 0.01 and 1,000,000 m2", True)]
Depth = Annotated[float, _quantity("length", 1e-3, 10.0, "a depth must lie between 1 mm and 10 m", True)]
GrainSize = Annotated[float, _quantity("length", 0.0005, 0.1, "a grain size must lie between 0.5 mm and 100 mm", True)]
Elevation = Annotated[
    float,
    _quantity("length", -430.0, 4500.0, "an elevation must lie between -430 and 4500 m", low_is_allowed=True),
]
Weight = Annotated[
    float, _quantity("weight", 0.05, 2e4, "a fish's mean weight must lie between 0.05 g and 20 kg", True)
]
WaterTemperature = Annotated[
    float, _quantity("temperature", -0.01, 40.01, "fish water lies between 0 and 40 degC (32 and 104 degF)")
]
Power = Annotated[float, _quantity("power", 0.0, 1e6, "a power must be above 0 and at most 1,000 kW")]
OxygenRate = Annotated[float, _quantity("oxygen_rate", 0.0, 1e8, "a transfer must be above 0 and at most 100 t/day")]
Alkalinity = Annotated[
    float, _quantity("concentration", 0.0, 1000.0, "alkalinity must be above 0 and at most 1000 mg/L")
]
SpecificSurface = Annotated[
    float, _quantity("specific_surface", 0.0, 5000.0, "a specific surface must be above 0 and at most 5000 m2/m3")
]
Ph = Annotated[float, _number(5.0, 10.0, "pH must be a number between 5 and 10, without a unit")]
Latitude = Annotated[float, _number(-90.0, 90.0, "latitude must be degrees between -90 and 90, without a unit")]
Share = Annotated[float, _number(0.0, 1.0, "a fraction must be a number from 0 to 1")]
SpilledShare = Annotated[float, _number(0.0, 0.9, "a spilled share must be a number from 0 to 0.9")]
Count = Annotated[int, _number(0, 10_000_000, "a count must be a whole number of fish, 0 to 10,000,000", whole=True)]
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
    area: BedArea
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
