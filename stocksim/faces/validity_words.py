"""Where numbers leave the ranges that the sources of formulas cover, in words and as data."""

from __future__ import annotations

from typing import Any

from stocksim.engine.results.ranges import LeftRange
from stocksim.units import format_date, format_quantity
from stocksim.validity import Beyond

_NAMES = {
    "temperature_c": "water", "ph": "pH", "elevation_m": "elevation", "chloride_mg_l": "chloride", "weight_g": "weight",
    "alkalinity_mg_l": "alkalinity", "carbon_dioxide_mg_l": "carbon dioxide",
}  # fmt: skip
_DIMENSIONS = {"degC": "temperature", "m": "length", "g": "weight", "mg/L": "concentration"}
_TABLES = {"tanks": "tank ", "loops": "loop ", "cohorts": ""}


def level_of_range(value: float, unit: str, units: str) -> str:
    """A level of a range in the keeper's units."""
    return format_quantity(value, _DIMENSIONS[unit], units) if unit in _DIMENSIONS else f"{value:.4g}"


def left_caution(left: list[LeftRange], units: str) -> str:
    """All ranges that a season leaves, in one caution; empty where it leaves none."""
    if not left:
        return ""
    said = "; ".join(_left_words(one, units) for one in left)
    return f"Outside the range that the sources of a formula cover, so less sure there: {said}."


def _left_words(one: LeftRange, units: str) -> str:
    table, _, name = one.where.rpartition(".")
    place = f"{_TABLES[table]}{name}" if table else one.where
    quantity = "air" if not table and one.argument == "temperature_c" else _NAMES[one.argument]
    bound, worst = (level_of_range(value, one.unit, units) for value in (one.bound, one.worst))
    what = ", ".join(one.what)
    if one.where == "site":
        return f"{quantity} of {worst}, {'above' if one.is_above else 'below'} {bound} ({what})"
    days = f"{one.days} day{'s' * (one.days != 1)}"
    return (
        f"{quantity} {'above' if one.is_above else 'below'} {bound} in {place} on {days} from "
        f"{format_date(one.first_date)}, {'up' if one.is_above else 'down'} to {worst} ({what})"
    )


def left_data(left: list[LeftRange]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "formulas": list(one.formulas),
            "sources": list(one.sources),
            "argument": one.argument,
            "unit": one.unit,
            "bound": one.bound,
            "side": "above" if one.is_above else "below",
            "where": one.where,
            "days": one.days,
            "first_date": one.first_date.isoformat(),
            "worst": round(one.worst, 4),
        }
        for one in left
    ]


def beyond_caution(one: Beyond) -> str:
    """A range that a single water leaves, as a sentence."""
    unit = "" if one.range.unit == "-" else f" {one.range.unit}"
    name = _NAMES.get(one.range.argument, one.range.argument)
    return (
        f"Less sure: {one.what} holds for {name} of {one.range.low:g} to {one.range.high:g}{unit} "
        f"({one.range.source}); this is {one.greatest:g}{unit}."
    )


def beyond_data(one: Beyond) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "formula": one.formula,
        "argument": one.range.argument,
        "unit": one.range.unit,
        "low": one.range.low,
        "high": one.range.high,
        "source": one.range.source,
        "met": one.greatest,
    }
