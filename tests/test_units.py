"""Units: every spelling against scipy.constants, and every refusal in one clear sentence."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants as c

from stocksim import units
from stocksim.errors import InputError
from stocksim.units import face_unit, format_quantity, parse_quantity, spellings, to_face

DAY_S = c.day
GALLON_DAY = c.gallon * c.day
POUND_G = c.pound / c.gram

# dimension -> what a keeper may write -> value in the inside unit, from scipy.constants alone
EXPECTED: dict[str, dict[str, float]] = {
    "volume": {
        **dict.fromkeys(("m3", "m³"), 1.0),
        **dict.fromkeys(("L", "litre", "litres", "liter", "liters"), c.liter),
        "mL": c.liter * c.milli,
        **dict.fromkeys(("gal", "gallon", "gallons", "US gal"), c.gallon),
        "imp gal": c.gallon_imp,
        **dict.fromkeys(("ft3", "ft³"), c.foot**3),
    },
    "flow": {
        "m3/h": DAY_S / c.hour,
        **dict.fromkeys(("m3/d", "m3/day"), 1.0),
        "L/s": c.liter * DAY_S,
        "L/min": c.liter * DAY_S / c.minute,
        "L/h": c.liter * DAY_S / c.hour,
        **dict.fromkeys(("L/d", "L/day"), c.liter),
        **dict.fromkeys(("gal/min", "gpm"), GALLON_DAY / c.minute),
        **dict.fromkeys(("gal/h", "gph"), GALLON_DAY / c.hour),
        **dict.fromkeys(("gal/d", "gal/day"), c.gallon),
        "imp gal/h": c.gallon_imp * DAY_S / c.hour,
    },
    "area": {
        **dict.fromkeys(("m2", "m²"), 1.0),
        **dict.fromkeys(("ft2", "ft²", "sq ft", "sq. ft."), c.foot**2),
    },
    "length": {
        "m": 1.0,
        "cm": c.centi,
        "mm": c.milli,
        **dict.fromkeys(("ft", "foot", "feet"), c.foot),
        **dict.fromkeys(("in", "in.", "inch", "inches"), c.inch),
    },
    "weight": {
        "g": 1.0,
        "kg": c.kilo,
        "mg": c.milli,
        **dict.fromkeys(("lb", "lbs", "lb."), POUND_G),
        "oz": c.oz / c.gram,
    },
    "temperature": {
        **dict.fromkeys(("degC", "°C", "C"), 1.0),
        **dict.fromkeys(("degF", "°F", "F"), float(c.convert_temperature(1.0, "F", "C"))),
        "K": float(c.convert_temperature(1.0, "K", "C")),
    },
    "temperature_difference": {
        **dict.fromkeys(("degC", "°C", "C", "K"), 1.0),
        **dict.fromkeys(("degF", "°F", "F"), c.degree_Fahrenheit),
    },
    "power": {"W": 1.0, "kW": c.kilo, "Btu/h": c.Btu / c.hour},
    "energy": {"Wh": 1.0, "kWh": c.kilo, "kJ": c.kilo / c.hour, "MJ": c.mega / c.hour},
    "oxygen_rate": {
        "g/h": 24.0,
        **dict.fromkeys(("g/d", "g/day"), 1.0),
        **dict.fromkeys(("kg/d", "kg/day"), c.kilo),
        "kg/h": c.kilo * 24.0,
        "lb/h": POUND_G * 24.0,
    },
    "concentration": {
        **dict.fromkeys(("mg/L", "g/m3", "ppm"), 1.0),
        "ug/L": c.milli,
    },
    "pressure": {"bar": 1.0, "kPa": c.kilo / c.bar, "MPa": c.mega / c.bar, "psi": c.psi / c.bar},
    "planting_ratio": {"g/m2/day": 1.0, "g/m2/d": 1.0, "oz/ft2/day": c.oz * 1e3 / c.foot**2},
    "speed": {"m/s": 1.0, "km/h": c.kmh, "mph": c.mph},
    "specific_surface": {"m2/m3": 1.0, "ft2/ft3": 1.0 / c.foot},
}
DIMENSIONS = sorted(EXPECTED)
SPELLED = [(dimension, unit) for dimension in DIMENSIONS for unit in EXPECTED[dimension]]


def refusal(text: object, dimension: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_quantity(text, dimension)
    assert len(caught.value.faults) == 1
    return str(caught.value)


def test_no_spelling_is_left_out_of_this_table():
    def plain(unit: str) -> str:
        return unit.lower().replace(" ", "").replace(".", "")

    assert {d: {plain(u) for u in table} for d, table in EXPECTED.items()} == {
        d: set(table) for d, table in units._UNITS.items()
    }


@pytest.mark.parametrize(("dimension", "unit"), SPELLED)
def test_factor_is_that_of_scipy(dimension: str, unit: str):
    expected = EXPECTED[dimension][unit]
    # 4 units in the last place: one multiplication and one division more or less
    near = pytest.approx(expected, rel=1e-15, abs=1e-13 if dimension == "temperature" else 0.0)
    assert parse_quantity(f"1 {unit}", dimension) == near


@pytest.mark.parametrize(("dimension", "unit"), SPELLED)
def test_spelling_in_any_case_and_spacing(dimension: str, unit: str):
    expected = parse_quantity(f"2.5 {unit}", dimension)
    for text in (f"2.5{unit}", f"  2.5   {unit.upper()} ", f"25e-1 {unit.lower()}", f"+2.50\t{unit}"):
        assert parse_quantity(text, dimension) == expected


@pytest.mark.parametrize("fahrenheit", [-40.0, 0.0, 32.0, 64.0, 98.6, 212.0])
def test_fahrenheit_against_scipy(fahrenheit: float):
    expected = float(c.convert_temperature(fahrenheit, "F", "C"))
    assert parse_quantity(f"{fahrenheit} degF", "temperature") == pytest.approx(expected, abs=1e-12)


def test_a_difference_is_never_offset():
    assert parse_quantity("65 degF", "temperature_difference") == pytest.approx(65 * 5 / 9, rel=1e-15)
    assert parse_quantity("65 degF", "temperature") == pytest.approx(33 * 5 / 9, rel=1e-13)
    assert parse_quantity("0 degF", "temperature_difference") == 0.0
    assert parse_quantity("3 K", "temperature_difference") == 3.0


def test_gallon_is_the_us_gallon_and_says_so():
    assert parse_quantity("1 gal", "volume") == parse_quantity("1 US gal", "volume")
    assert parse_quantity("1 imp gal", "volume") / parse_quantity("1 gal", "volume") > 1.2
    assert "gal (US gallon)" in spellings("volume")


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_every_suggested_spelling_is_understood(dimension: str):
    for spelling in units._SHOWN[dimension]:
        assert math.isfinite(parse_quantity(f"1 {spelling}", dimension))
        assert spelling in spellings(dimension)
    example = units.example(dimension)
    assert math.isfinite(parse_quantity(example.strip('"'), dimension))


@pytest.mark.parametrize("dimension", DIMENSIONS)
@pytest.mark.parametrize("bare", [12, 12.5, -3, 0, "12", " 12.5 ", "1e3", ".5", math.inf, math.nan])
def test_a_bare_number_is_refused_with_the_units_that_fit(dimension: str, bare: object):
    message = refusal(bare, dimension)
    assert "has no unit" in message
    assert spellings(dimension) in message
    assert units.example(dimension) in message


@pytest.mark.parametrize("dimension", DIMENSIONS)
@pytest.mark.parametrize("thing", [True, False, None, [], {}, (1, "L"), b"12 L"])
def test_other_things_than_text_are_refused(dimension: str, thing: object):
    message = refusal(thing, dimension)
    assert re.search(rf"is not an? {dimension.replace('_', ' ')}", message)
    assert units.example(dimension) in message


@pytest.mark.parametrize("text", ["", "   ", "L", "inf L", "nan", "nan L", "- 5 L", "five L", "L 5", "--5 L"])
def test_text_without_a_number_is_refused(text: str):
    assert f'"{text}" is not a volume' in refusal(text, "volume")


@pytest.mark.parametrize(
    ("text", "dimension"),
    [
        ("1e999 L", "volume"),
        ("-1e999 L", "volume"),
        ("1e999", "volume"),
        ("1e308 kg", "weight"),  # finite as written, not in g
        ("1e308 m3/h", "flow"),
        ("9" * 400 + " ft 2 in", "length"),
    ],
)
def test_more_than_a_float_holds_is_refused(text: str, dimension: str):
    assert "is not a finite" in refusal(text, dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "unit"),
    [
        ("12 parsec", "length", "parsec"),
        ("12 parsec", "volume", "parsec"),
        ("5 degC", "volume", "degC"),
        ("5 L", "temperature", "L"),
        ("3 ft 2", "length", "ft 2"),
        ("3 ft", "area", "ft"),
        ("2 m", "temperature_difference", "m"),
        ("5 L/h", "volume", "L/h"),
        ("3' 2", "length", "' 2"),
        ("-3 ft 2 in", "length", "ft 2 in"),
        ("3 ft -2 in", "length", "ft -2 in"),
        ("1e L", "volume", "e L"),
    ],
)
def test_a_unit_that_does_not_fit_is_named(text: str, dimension: str, unit: str):
    noun = dimension.replace("_", " ")
    assert refusal(text, dimension) == (f'"{text}": "{unit}" is not a unit of {noun}; use {spellings(dimension)}.')


@pytest.mark.parametrize("text", ["1,300 L", "1,3 L", "1 300 L", "1.300.5 L", "3 4 L"])
def test_commas_and_spaces_in_a_number_are_never_guessed_at(text: str):
    assert "without commas or spaces" in refusal(text, "volume")


@pytest.mark.parametrize("text", ["3 ft 2 in", "3ft 2in", " 3 FT  2 Inches ", "3 feet 2 inch", "3 foot 2.0 in"])
def test_feet_and_inches(text: str):
    assert parse_quantity(text, "length") == pytest.approx(38 * c.inch, rel=1e-15)


def test_feet_and_inches_are_a_length_only():
    for dimension in DIMENSIONS:
        if dimension != "length":
            refusal("3 ft 2 in", dimension)


FACE_INSIDE = {  # what the faces alone know: a spelling that parse_quantity does not take, checked apart
    ("mass", "metric"): 1.0,
    ("mass", "us"): c.pound,
    ("dose", "metric"): 1.0,
    ("dose", "us"): c.oz / c.gram,
    ("heat_loss", "metric"): 1.0,
    ("heat_loss", "us"): c.Btu / c.hour / c.degree_Fahrenheit,
    ("density", "metric"): 1.0,
    ("density", "us"): c.pound / c.gallon,
    ("planting_ratio", "metric"): 1.0,
    ("planting_ratio", "us"): c.oz / c.gram / c.foot**2,
}
FACES = [(dimension, system) for dimension in sorted(units._FACE_UNITS) for system in ("metric", "us")]
PARSED_FACES = [face for face in FACES if face not in FACE_INSIDE]
INSIDE = st.floats(min_value=0.0, max_value=1e6)


@pytest.mark.parametrize(("face", "factor"), FACE_INSIDE.items())
def test_face_only_units(face: tuple[str, str], factor: float):
    assert to_face(factor, *face) == pytest.approx(1.0, rel=1e-15)


@pytest.mark.parametrize(("dimension", "system"), PARSED_FACES)
@settings(deadline=None)  # other work may share the machine
@given(value=INSIDE)
def test_round_trip_through_the_face(dimension: str, system: str, value: float):
    shown = f"{float(to_face(value, dimension, system))!r} {face_unit(dimension, system)}"
    # absolute part: degF carries an offset of 32, so a small degC loses digits of that size
    assert parse_quantity(shown, dimension) == pytest.approx(value, rel=1e-14, abs=1e-13)


@pytest.mark.parametrize(("dimension", "system"), FACES)
@settings(deadline=None)  # other work may share the machine
@given(value=INSIDE)
def test_round_trip_through_the_text(dimension: str, system: str, value: float):
    text = format_quantity(value, dimension, system)
    number, _, unit = text.partition(" ")
    assert unit == face_unit(dimension, system)
    decimals = len(number.partition(".")[2])
    # half of the last digit shown, and the float nearest to it
    half_digit = 0.5 * 10.0**-decimals * (1 + 1e-9) + 1e-9
    assert float(number.replace(",", "")) == pytest.approx(to_face(value, dimension, system), abs=half_digit)
    if (dimension, system) in PARSED_FACES:
        back = parse_quantity(f"{number.replace(',', '')} {unit}", dimension)
        assert to_face(back, dimension, system) == pytest.approx(to_face(value, dimension, system), abs=half_digit)


def test_nothing_is_shown_as_minus_zero():
    assert format_quantity(-0.01, "temperature") == "0.0 degC"
    assert format_quantity(-0.06, "temperature") == "-0.1 degC"


def test_to_face_takes_arrays():
    import numpy as np

    celsius = np.array([0.0, 100.0])
    assert to_face(celsius, "temperature", "us") == pytest.approx([32.0, 212.0])  # type: ignore[arg-type]
    assert celsius.tolist() == [0.0, 100.0]
