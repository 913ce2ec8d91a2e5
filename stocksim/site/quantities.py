"""Quantities of a site file, read from text, and sizes taken where none is given."""

from __future__ import annotations

import datetime as dt
import math
import numbers
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, Literal, TypeGuard

from pydantic import BaseModel, BeforeValidator, ConfigDict, GetCoreSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from stocksim.errors import LARGEST_SHOWN, LONGEST_SHOWN, InputError, shown
from stocksim.units import parse_quantity, spellings


class Table(BaseModel):
    """A table whose keys are all known; unknown ones are faults."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, populate_by_name=False, defer_build=True, ser_json_inf_nan="strings"
    )


# --- a size assumed where a site file leaves it out; the water balance and the heat balance share it; those of beds
# stand by their kind in `stocksim.site.bed_kinds`

DEFAULT_TANK_DEPTH_M = 0.8  # assumed; sets the surface that meets the air


# --- quantities of a site file: each kind with its unit, its bounds and the sentence for what is not allowed

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


ALLOWED_DAYS = (dt.date(1900, 1, 1), dt.date(2199, 12, 31))


def _refuse(sentence: str) -> PydanticCustomError:
    return PydanticCustomError("stocksim", "{sentence}", {"sentence": sentence})


@dataclass(frozen=True)
class Measured(BeforeValidator):
    """Validator of a number that says what it reads, so that a form can say it too.

    Parameters
    ----------
    dimension : str
        Of a text with a unit, as ``volume``; '' of a bare number.
    allowed : str
        What is allowed, as a sentence without its point.
    """

    dimension: str = ""
    allowed: str = ""


def _quantity(dimension: str, low: float, high: float, allowed: str, low_is_allowed: bool = False) -> Measured:
    """Validator of a text with a unit; ``low`` and ``high`` in the inside unit."""

    def read(value: Any) -> float:
        return known(value) if type(value) is str else checked(value)

    def checked(value: Any) -> float:
        is_number = isinstance(value, numbers.Real) and not isinstance(value, bool)
        if not isinstance(value, str) and not is_number:
            noun = dimension.replace("_", " ")
            raise _refuse(
                f"{shown(value)} is not a {noun}; write a number with its unit in quotes, in {spellings(dimension)}."
            )
        if len(shown(value)) > LONGEST_SHOWN or (is_number and abs(value) > LARGEST_SHOWN):
            raise _refuse(f"{shown(value)} is not allowed; {allowed}.")
        try:
            number = parse_quantity(value, dimension)
        except InputError as error:
            raise _refuse(str(error)) from None
        if number < low or number > high or (number == low and not low_is_allowed):
            raise _refuse(f"{shown(value)} is not allowed; {allowed}.")
        return number

    known = lru_cache(1024)(checked)  # a site is read again for every change that is tried
    return Measured(read, dimension=dimension, allowed=allowed)


def _number(low: float, high: float, allowed: str, whole: bool = False) -> Measured:
    """Validator of a bare number without a unit."""

    def read(value: Any) -> float | int:
        # compared before anything is converted: a whole number of TOML may have any number of digits
        is_number = isinstance(value, numbers.Real) and not isinstance(value, bool)
        if not is_number or not low <= value <= high or (whole and value != math.floor(value)):
            raise _refuse(f"{shown(value)} is not allowed; {allowed}.")
        return int(value) if whole else float(value)

    return Measured(read, allowed=allowed)


def is_day(value: Any) -> TypeGuard[dt.date]:
    """Whether a value is a date without a time, of the years that a site file may have."""
    is_date = isinstance(value, dt.date) and not isinstance(value, dt.datetime)
    return is_date and ALLOWED_DAYS[0] <= value <= ALLOWED_DAYS[1]


def _date(value: Any) -> dt.date:
    if is_day(value):
        return value
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        raise _refuse(f"{value} is not allowed; a date must lie between {ALLOWED_DAYS[0]} and {ALLOWED_DAYS[1]}.")
    raise _refuse(f"{shown(value)} is not a date; write it as 2026-10-01, without quotes and without a time.")


quantity, number = _quantity, _number  # for tables of other files

_CLOCK = re.compile(r"(\d{1,2}):([0-5]\d)")


def _clock_h(text: str) -> float | None:
    """Hour of a time of day as 8:30, None where it is none. [h]"""
    found = _CLOCK.fullmatch(text.strip())
    hour = int(found[1]) + int(found[2]) / 60.0 if found else 99.0
    return hour if hour <= 24.0 else None


def _feeding_hours(value: Any) -> tuple[tuple[float, float], ...]:
    """Begin and length [h] of meals, each written as "08:00", or as "06:00-20:00" where feed falls all that time."""
    meals = []
    for entry in value if isinstance(value, list) else [value]:
        written = entry.strftime("%H:%M") if isinstance(entry, dt.time) else entry
        hours = [_clock_h(part) for part in written.split("-")] if isinstance(written, str) else [None]
        begin, end = hours[0], hours[-1]
        if begin is None or end is None or len(hours) > 2 or (len(hours) == 2 and begin == end):
            raise _refuse(f'{shown(entry)} is not an hour of the day; write "08:00", or "06:00-20:00" for a feeder.')
        meals.append((begin % 24.0, (end - begin) % 24.0 or (24.0 if len(hours) == 2 else 0.0)))
    if not meals or len(meals) > _MOST_MEALS:
        raise _refuse(f"{len(meals)} meals are not allowed; give 1 to {_MOST_MEALS}.")
    if len({begin for begin, _ in meals}) < len(meals):
        raise _refuse(f"{shown(value)} has one hour twice; give each meal its own.")
    return tuple(sorted(meals))


_MOST_MEALS = 48
FeedingHours = Annotated[tuple[tuple[float, float], ...], BeforeValidator(_feeding_hours)]


class OneOf:
    """Validator of a name of a table, looked up when a value is read: whatever row the table has is known.

    Parameters
    ----------
    table : mapping
        By name.
    """

    def __init__(self, table: Mapping[str, object]):
        self.table = table

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self._read, handler(source))

    def _read(self, value: Any) -> Any:
        if isinstance(value, str) and value in self.table:
            return value
        *most, last = (f"'{name}'" for name in self.table)
        raise PydanticCustomError("literal_error", "{expected}", {"expected": f"{', '.join(most)} or {last}"})


# the lower bounds lie below any real unit and keep the water balance clear of rounding
Volume = Annotated[float, _quantity("volume", 1e-3, 1e5, "a volume must lie between 1 L and 100,000 m3", True)]
Flow = Annotated[float, _quantity("flow", 1e-3, 1e6, "a flow must lie between 1 L/day and 1,000,000 m3/day", True)]
Area = Annotated[float, _quantity("area", 0.0, 1e6, "an area must be above 0 and at most 1,000,000 m2")]
BedArea = Annotated[float, _quantity("area", 0.01, 1e6, "a bed must cover between 0.01 and 1,000,000 m2", True)]
Drop = Annotated[float, _quantity("length", 0.0, 3.0, "a fall must lie between 0 and 3 m", low_is_allowed=True)]
Depth = Annotated[float, _quantity("length", 1e-3, 10.0, "a depth must lie between 1 mm and 10 m", True)]
GrainSize = Annotated[float, _quantity("length", 0.0005, 0.1, "a grain size must lie between 0.5 mm and 100 mm", True)]
Elevation = Annotated[
    float,
    _quantity("length", -430.0, 4500.0, "an elevation must lie between -430 and 4500 m", low_is_allowed=True),
]
Weight = Annotated[
    float, _quantity("weight", 0.05, 2e4, "a fish's mean weight must lie between 0.05 g and 20 kg", True)
]
Portion = Annotated[float, _quantity("weight", 0.0, 1e7, "a weight of fish must be above 0 and at most 10 t")]
FeedWeight = Annotated[
    float, _quantity("weight", 0.0, 1e8, "feed of a tank must lie between 0 and 100 t a day", low_is_allowed=True)
]
Biomass = Annotated[float, _quantity("weight", 0.0, 1e10, "a weight of fish must be above 0 and at most 10,000 t")]
WaterTemperature = Annotated[
    float, _quantity("temperature", -0.01, 40.01, "fish water lies between 0 and 40 degC (32 and 104 degF)")
]
AirTemperature = Annotated[
    float, _quantity("temperature", -40.01, 60.01, "air in a growing house lies between -40 and 60 degC", True)
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
UtcOffset = Annotated[float, _number(-12.0, 14.0, "a clock lies between 12 hours behind and 14 ahead of UTC, as -8")]
Latitude = Annotated[float, _number(-90.0, 90.0, "latitude must be degrees between -90 and 90, without a unit")]
Share = Annotated[float, _number(0.0, 1.0, "a fraction must be a number from 0 to 1")]
Months = Annotated[float, _number(0.0, 120.0, "give a number of months from 0 to 120")]
Reserve = Annotated[
    float, _number(0.005, 0.5, "a reserve must be a number from 0.005 to 0.5, the share of a limit that is kept free")
]
SpilledShare = Annotated[float, _number(0.0, 0.9, "a spilled share must be a number from 0 to 0.9")]
SeedlingShare = Annotated[float, _number(0.0, 0.9, "a seedling share must be a number from 0 to 0.9")]
Count = Annotated[int, _number(0, 10_000_000, "a count must be a whole number of fish, 0 to 10,000,000", whole=True)]
FishNumber = Annotated[int, _number(1, 10_000_000, "give a whole number of fish from 1 to 10,000,000", whole=True)]
Percent = Annotated[float, _number(0.0, 40.0, "a ration must be a number of percent of body weight from 0 to 40")]
Meals = Annotated[float, _number(1.0, 48.0, "give a number of meals a day from 1 to 48")]
SizeSpread = Annotated[float, _number(0.0, 1.0, "a spread of sizes must be a number from 0 to 1, as 0.25")]
FeedPerArea = Annotated[
    float,
    _quantity("planting_ratio", 0.0, 1000.0, "feed per planted area must lie above 0 and at 1000 g/m2/day or less"),
]
Money = Annotated[float, _number(0.0, 1e9, "money must be a number of 0 or more, in your own currency, without a unit")]
EmptyDays = Annotated[int, _number(0, 365, "give a whole number of days from 0 to 365", whole=True)]
Days = Annotated[int, _number(1, 365, "give a whole number of days from 1 to 365", whole=True)]
Level = Annotated[
    float, _quantity("concentration", 0.0, 5000.0, "a level must lie between 0 and 5000 mg/L", low_is_allowed=True)
]
Loss = Annotated[
    float, _quantity("flow", 0.0, 1e4, 'a loss of water must be 0 or more, as "30 L/day"', low_is_allowed=True)
]
NitrogenRate = Annotated[float, _quantity("oxygen_rate", 0.0, 1e6, 'a dose must be above 0, as "5 g/day"')]
BufferSalt = Literal[
    "potassium_bicarbonate", "calcium_carbonate", "calcium_hydroxide", "potassium_hydroxide", "sodium_bicarbonate"
]
Date = Annotated[dt.date, BeforeValidator(_date)]
