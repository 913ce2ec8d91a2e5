"""Read and write quantities with their units: a short list of spellings, factors from scipy.constants."""

from __future__ import annotations

import datetime as dt
import math
import re
from functools import cache
from typing import NamedTuple

from stocksim.errors import InputError, shown


class _Unit(NamedTuple):
    factor: float
    offset: float = 0.0


# Conversion factors (exact by definition, as in scipy.constants; the test compares them one by one, so
# that start-up does not pay for importing scipy).
_INCH_M = 0.0254
_FOOT_M = 12 * _INCH_M
_GALLON_M3 = 231 * _INCH_M**3
_IMPERIAL_GALLON_M3 = 4.54609e-3
_POUND_KG = 0.45359237
_OUNCE_KG = _POUND_KG / 16
_BTU_J = 1055.05585262
_DAY_H = 24.0

# fmt: off
# dimension -> spelling (lower case, without spaces and dots) -> factor to the inside unit
_UNITS: dict[str, dict[str, _Unit]] = {
    "volume": {  # m3
        "m3": _Unit(1.0), "m³": _Unit(1.0), "l": _Unit(1e-3), "litre": _Unit(1e-3), "litres": _Unit(1e-3),
        "liter": _Unit(1e-3), "liters": _Unit(1e-3), "ml": _Unit(1e-6),
        "gal": _Unit(_GALLON_M3), "gallon": _Unit(_GALLON_M3), "gallons": _Unit(_GALLON_M3),
        "usgal": _Unit(_GALLON_M3), "impgal": _Unit(_IMPERIAL_GALLON_M3), "ft3": _Unit(_FOOT_M**3),
        "ft³": _Unit(_FOOT_M**3),
    },
    "flow": {  # m3/day
        "m3/h": _Unit(_DAY_H), "m3/d": _Unit(1.0), "m3/day": _Unit(1.0), "l/h": _Unit(1e-3 * _DAY_H),
        "l/min": _Unit(1e-3 * 60 * _DAY_H), "l/d": _Unit(1e-3), "l/day": _Unit(1e-3),
        "l/s": _Unit(1e-3 * 3600 * _DAY_H), "gal/h": _Unit(_GALLON_M3 * _DAY_H),
        "gph": _Unit(_GALLON_M3 * _DAY_H), "gal/min": _Unit(_GALLON_M3 * 60 * _DAY_H),
        "gpm": _Unit(_GALLON_M3 * 60 * _DAY_H), "gal/d": _Unit(_GALLON_M3), "gal/day": _Unit(_GALLON_M3),
        "impgal/h": _Unit(_IMPERIAL_GALLON_M3 * _DAY_H),
    },
    "area": {  # m2
        "m2": _Unit(1.0), "m²": _Unit(1.0), "ft2": _Unit(_FOOT_M**2), "ft²": _Unit(_FOOT_M**2),
        "sqft": _Unit(_FOOT_M**2),
    },
    "length": {  # m
        "m": _Unit(1.0), "cm": _Unit(1e-2), "mm": _Unit(1e-3), "ft": _Unit(_FOOT_M),
        "foot": _Unit(_FOOT_M), "feet": _Unit(_FOOT_M), "in": _Unit(_INCH_M), "inch": _Unit(_INCH_M),
        "inches": _Unit(_INCH_M),
    },
    "weight": {  # g
        "g": _Unit(1.0), "kg": _Unit(1e3), "mg": _Unit(1e-3), "lb": _Unit(_POUND_KG * 1e3),
        "lbs": _Unit(_POUND_KG * 1e3), "oz": _Unit(_OUNCE_KG * 1e3),
    },
    "temperature": {  # degC
        "degc": _Unit(1.0), "°c": _Unit(1.0), "c": _Unit(1.0),
        "degf": _Unit(5 / 9, -32 * 5 / 9), "°f": _Unit(5 / 9, -32 * 5 / 9), "f": _Unit(5 / 9, -32 * 5 / 9),
        "k": _Unit(1.0, -273.15),
    },
    "temperature_difference": {  # degC, never offset
        "degc": _Unit(1.0), "°c": _Unit(1.0), "c": _Unit(1.0), "k": _Unit(1.0),
        "degf": _Unit(5 / 9), "°f": _Unit(5 / 9), "f": _Unit(5 / 9),
    },
    "power": {  # W
        "w": _Unit(1.0), "kw": _Unit(1e3), "btu/h": _Unit(_BTU_J / 3600),
    },
    "energy": {  # Wh
        "wh": _Unit(1.0), "kwh": _Unit(1e3), "kj": _Unit(1.0 / 3.6), "mj": _Unit(1e3 / 3.6),
    },
    "oxygen_rate": {  # g/day
        "g/h": _Unit(_DAY_H), "g/d": _Unit(1.0), "g/day": _Unit(1.0), "kg/d": _Unit(1e3),
        "kg/day": _Unit(1e3), "kg/h": _Unit(1e3 * _DAY_H), "lb/h": _Unit(_POUND_KG * 1e3 * _DAY_H),
    },
    "concentration": {  # mg/L
        "mg/l": _Unit(1.0), "g/m3": _Unit(1.0), "ppm": _Unit(1.0), "ug/l": _Unit(1e-3),
    },
    "pressure": {  # bar
        "bar": _Unit(1.0), "kpa": _Unit(0.01), "mpa": _Unit(10.0),
        "psi": _Unit(_POUND_KG * 9.80665 / _INCH_M**2 / 1e5),
    },
    "planting_ratio": {  # g/m2/day
        "g/m2/day": _Unit(1.0), "g/m2/d": _Unit(1.0), "oz/ft2/day": _Unit(_OUNCE_KG * 1e3 / _FOOT_M**2),
    },
    "speed": {  # m/s
        "m/s": _Unit(1.0), "km/h": _Unit(1.0 / 3.6), "mph": _Unit(5280 * _FOOT_M / 3600.0),
    },
    "specific_surface": {  # m2/m3
        "m2/m3": _Unit(1.0), "ft2/ft3": _Unit(1.0 / _FOOT_M),
    },
}
# fmt: on

_SHOWN: dict[str, tuple[str, ...]] = {
    "volume": ("L", "m3", "gal", "imp gal", "ft3"),
    "flow": ("L/h", "L/min", "m3/h", "gal/h", "gal/min"),
    "area": ("m2", "ft2"),
    "length": ("m", "cm", "mm", "ft", "in"),
    "weight": ("g", "kg", "lb", "oz"),
    "temperature": ("degC", "degF"),
    "temperature_difference": ("degC", "degF"),
    "power": ("W", "kW", "Btu/h"),
    "energy": ("Wh", "kWh"),
    "oxygen_rate": ("g/h", "g/day", "lb/h"),
    "concentration": ("mg/L", "ppm"),
    "pressure": ("bar", "psi", "kPa", "MPa"),
    "planting_ratio": ("g/m2/day", "oz/ft2/day"),
    "speed": ("m/s", "km/h", "mph"),
    "specific_surface": ("m2/m3", "ft2/ft3"),
}

_FACE_UNITS: dict[str, dict[str, tuple[str, str, int]]] = {
    # dimension -> keeper's system -> (spelling looked up, spelling shown, decimals)
    "volume": {"metric": ("l", "L", 0), "us": ("gal", "gal", 0)},
    "flow": {"metric": ("l/h", "L/h", 0), "us": ("gal/h", "gal/h", 0)},
    "area": {"metric": ("m2", "m2", 1), "us": ("ft2", "ft2", 0)},
    "length": {"metric": ("cm", "cm", 0), "us": ("in", "in", 1)},
    "weight": {"metric": ("g", "g", 0), "us": ("lb", "lb", 2)},
    "mass": {"metric": ("kg", "kg", 1), "us": ("lb", "lb", 1)},
    "dose": {"metric": ("g", "g", 0), "us": ("oz", "oz", 1)},  # feed and salts, as a scale shows them
    "heat_loss": {"metric": ("w/k", "W/K", 0), "us": ("btu/h/degf", "Btu/h per degF", 0)},
    "temperature": {"metric": ("degc", "degC", 1), "us": ("degf", "degF", 1)},
    "temperature_difference": {"metric": ("degc", "degC", 1), "us": ("degf", "degF", 1)},
    "density": {"metric": ("kg/m3", "kg/m3", 1), "us": ("lb/gal", "lb/gal", 3)},
    "concentration": {"metric": ("mg/l", "mg/L", 1), "us": ("mg/l", "mg/L", 1)},
    "power": {"metric": ("w", "W", 0), "us": ("w", "W", 0)},
    "planting_ratio": {"metric": ("g/m2/day", "g/m2/day", 0), "us": ("oz/ft2/day", "oz/ft2/day", 3)},
}
_FACE_ONLY: dict[str, dict[str, _Unit]] = {
    "mass": {"kg": _Unit(1.0), "lb": _Unit(_POUND_KG)},  # kg inside
    "dose": {"g": _Unit(1.0), "oz": _Unit(_OUNCE_KG * 1e3)},
    "heat_loss": {"w/k": _Unit(1.0), "btu/h/degf": _Unit(_BTU_J / 3600.0 * 1.8)},
    "density": {"kg/m3": _Unit(1.0), "lb/gal": _Unit(_POUND_KG / _GALLON_M3)},
}

_NUMBER = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?"
_QUANTITY = re.compile(rf"^\s*({_NUMBER})\s*(\S.*?)?\s*$")
_UNSIGNED = r"\d+(?:\.\d*)?|\.\d+"
_FEET_INCHES = re.compile(
    rf"^\s*({_UNSIGNED})\s*(?:ft|feet|foot)\s+({_UNSIGNED})\s*(?:in|inch|inches)\s*$", re.IGNORECASE
)


def spellings(dimension: str) -> str:
    """Spellings to suggest for a dimension, as one phrase.

    Parameters
    ----------
    dimension : str
        Name of the dimension, as ``volume``.

    Returns
    -------
    str
        For example ``L, m3, gal (US gallon), imp gal or ft3``.

    Examples
    --------
    >>> spellings("temperature")
    'degC or degF'
    """
    names = ["gal (US gallon)" if name == "gal" else name for name in _SHOWN[dimension]]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def parse_quantity(text: object, dimension: str) -> float:
    """Number in the inside unit of a dimension from what a keeper wrote.

    Parameters
    ----------
    text : object
        What stood in the file or on the command line, as ``"250 gal"`` or ``"3 ft 2 in"``.
    dimension : str
        One of volume [m3], flow [m3/day], area [m2], length [m], weight [g], temperature [degC],
        temperature_difference [degC], power [W], energy [Wh], oxygen_rate [g/day], concentration [mg/L],
        pressure [bar], speed [m/s], specific_surface [m2/m3].

    Returns
    -------
    float
        The quantity in the unit named above.

    Raises
    ------
    InputError
        If the text is not a number with a unit of that dimension. A bare number is never guessed at.

    Examples
    --------
    >>> parse_quantity("250 gal", "volume")
    0.9464
    >>> parse_quantity("64 degF", "temperature")
    17.78
    >>> parse_quantity("9 degF", "temperature_difference")
    5.0
    """
    noun, said = dimension.replace("_", " "), shown(text)
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise InputError(f"{said} is not {_a(noun)}; write a number with a unit in quotes, as {example(dimension)}.")
    if not isinstance(text, str):
        raise InputError(f"{said} has no unit; write {_a(noun)} in {spellings(dimension)}, as {example(dimension)}.")
    if dimension == "length" and (compound := _FEET_INCHES.match(text)):
        return _finite(float(compound[1]) * _FOOT_M + float(compound[2]) * _INCH_M, text, dimension)
    match = _QUANTITY.match(text)
    if not match:
        raise InputError(f"{said} is not {_a(noun)}; write a number and a unit, as {example(dimension)}.")
    value = _finite(float(match[1]), text, dimension)
    if not match[2]:
        raise InputError(f"{said} has no unit; write {_a(noun)} in {spellings(dimension)}, as {example(dimension)}.")
    if match[2][0] in ",.0123456789":
        # a comma is thousands to one keeper and a decimal sign to another: never guess
        raise InputError(
            f"{said}: write the number without commas or spaces, with a point for decimals, as {example(dimension)}."
        )
    unit = _UNITS[dimension].get(re.sub(r"[\s.]", "", match[2]).lower())
    if unit is None:
        raise InputError(f"{said}: {shown(match[2])} is not a unit of {noun}; use {spellings(dimension)}.")
    return _finite(value * unit.factor + unit.offset, text, dimension)


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeio' else 'a'} {noun}"


def _finite(value: float, text: str, dimension: str) -> float:
    if not math.isfinite(value):
        noun = dimension.replace("_", " ")
        raise InputError(f"{shown(text)} is not a finite {noun}; write a number and a unit, as {example(dimension)}.")
    return value


def example(dimension: str) -> str:
    """A quantity of a dimension as a site file has it, in quotes."""
    return {
        "volume": '"900 L"', "flow": '"1300 L/h"', "area": '"14 m2"', "length": '"30 cm"',
        "weight": '"35 g"', "temperature": '"64 degF"', "temperature_difference": '"3 degF"',
        "power": '"35 W"', "energy": '"1.2 kWh"', "oxygen_rate": '"20 g/h"',
        "concentration": '"80 mg/L"', "pressure": '"150 bar"',
        "specific_surface": '"280 m2/m3"', "speed": '"3 m/s"', "planting_ratio": '"25 g/m2/day"',
    }[dimension]  # fmt: skip


@cache
def face_unit(dimension: str, system: str) -> str:
    """Spelling of the unit that a keeper's system shows for a dimension.

    Parameters
    ----------
    dimension : str
        As in `parse_quantity`, or mass, dose, heat_loss, density, planting_ratio.
    system : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        Spelling, as ``degF``.
    """
    return _FACE_UNITS[dimension][system][1]


def to_face(value: float, dimension: str, system: str) -> float:
    """Value in the keeper's unit from the inside unit.

    Parameters
    ----------
    value : float or ndarray, shape (...)
        Quantity in the inside unit of the dimension.
    dimension, system : str
        As in `face_unit`.

    Returns
    -------
    float or ndarray, shape (...)
        Quantity in the unit that `face_unit` names.
    """
    key = _FACE_UNITS[dimension][system][0]
    unit = (_FACE_ONLY.get(dimension) or _UNITS[dimension])[key]
    return (value - unit.offset) / unit.factor


def format_quantity(value: float, dimension: str, system: str = "metric") -> str:
    """Text for a keeper: number and unit, in the keeper's system.

    Parameters
    ----------
    value : float
        Quantity in the inside unit of the dimension.
    dimension, system : str
        As in `face_unit`.

    Returns
    -------
    str
        As ``64.0 degF``.

    Examples
    --------
    >>> format_quantity(17.78, "temperature", "us")
    '64.0 degF'
    >>> format_quantity(0.9, "volume", "us")
    '238 gal'
    """
    _, shown, decimals = _FACE_UNITS[dimension][system]
    return f"{to_face(value, dimension, system):z,.{decimals}f} {shown}"


# units of fixed sentences, which are written in metric: dimension, and what a keeper in US units reads
_SAID: dict[str, tuple[str, str]] = {
    "degC": ("temperature", "degF"), "kg": ("mass", "lb"), "g": ("dose", "oz"), "m": ("length", "ft"),
    "L": ("volume", "gal"),
}  # fmt: skip
_SAID_METRIC = re.compile(
    r"(?<![\w.-])(?P<low>-?\d+(?:\.\d+)?)(?:(?P<to>-| to | and | or )(?P<high>-?\d+(?:\.\d+)?))? "
    rf"(?P<unit>{'|'.join(_SAID)})(?P<apart> (?:higher|lower|warmer|colder|apart|off)\b)?(?![\w/])"
)


def in_units(text: str, system: str) -> str:
    """A fixed sentence, written in metric, in a keeper's units.

    Parameters
    ----------
    text : str
        With quantities as ``12-27 degC``, ``18 and 24 degC``, ``2 g``; differences of temperature stand before
        ``higher``, ``lower``, ``warmer``, ``colder``, ``apart`` or ``off``.
    system : str
        As in `face_unit`.

    Returns
    -------
    str
        The same text for ``metric``.

    Examples
    --------
    >>> in_units("Best at 14-17 degC; 1.5 degC higher kills fish of 2 g.", "us")
    'Best at 57-63 degF; 2.7 degF higher kills fish of 0.071 oz.'
    """
    return text if system == "metric" else _SAID_METRIC.sub(_in_us, text)


def system_of(text: str) -> str:
    """The system that a keeper wrote a temperature in.

    Parameters
    ----------
    text : str
        As ``"64 degF"``.

    Returns
    -------
    str
        ``us`` or ``metric``.

    Examples
    --------
    >>> system_of("64 degF"), system_of("18 degC")
    ('us', 'metric')
    """
    return "us" if text.rstrip().lower().endswith("f") else "metric"


def _in_us(said: re.Match[str]) -> str:
    dimension, unit = _SAID[said["unit"]]
    dimension = "temperature_difference" if dimension == "temperature" and said["apart"] else dimension

    def shown(number: str) -> str:
        value = to_face(float(number) / (1000.0 if dimension == "volume" else 1.0), dimension, "us")
        value = value / 12.0 if unit == "ft" else value
        # whole degrees stay whole, all else keeps two digits that mean something
        if dimension == "temperature":
            return f"{value:.{1 if '.' in number else 0}f}"
        return f"{value:.{max(0, 1 - math.floor(math.log10(abs(value)))) if value else 0}f}"

    ends = shown(said["low"]) + (f"{said['to']}{shown(said['high'])}" if said["high"] else "")
    return f"{ends} {unit}{said['apart'] or ''}"


def format_fish_length(length_mm: float, system: str = "metric") -> str:
    """Length of a fish for a keeper.

    Parameters
    ----------
    length_mm : float
        Total length. [mm]
    system : str
        As in `face_unit`.

    Returns
    -------
    str
        In mm or inches.

    Examples
    --------
    >>> format_fish_length(50.8), format_fish_length(50.8, "us")
    ('51 mm', '2.0 in')
    """
    return f"{length_mm:.0f} mm" if system == "metric" else format_quantity(length_mm / 1000.0, "length", system)


def format_date(date: dt.date) -> str:
    """Date for a keeper.

    Parameters
    ----------
    date : date
        Any.

    Returns
    -------
    str
        Day, month in letters and year, the same for all keepers.

    Examples
    --------
    >>> format_date(dt.date(2026, 11, 9))
    '9 Nov 2026'
    """
    return f"{date.day} {date:%b %Y}"
