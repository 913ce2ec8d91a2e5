"""Seasons side by side: what differs in their files, then what becomes of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from stocksim.engine.results.frames import Season
from stocksim.engine.results.harm import harms
from stocksim.faces.editing import as_typed
from stocksim.heat.needed import fuel_needed
from stocksim.heat.temperatures import loop_heat_kwh
from stocksim.site.kinds import LIMITS
from stocksim.units import format_quantity

_JUDGED = ("density", "oxygen", "unionized_ammonia", "nitrite", "temperature_low", "temperature_high")
_ABSENT = "not given"


def outcome_rows(seasons: Mapping[str, Season]) -> list[dict[str, str]]:
    """A row for each thing that becomes of a site, a column for each season.

    Parameters
    ----------
    seasons : mapping of str to Season
        By the name that its column has.

    Returns
    -------
    list of dict of str to str
        Ready to show; what is broken begins with ``!``. All in the units of the first.
    """
    units = next(iter(seasons.values())).site.file.site.units
    told = {name: _outcome(season, units) for name, season in seasons.items()}
    heads = list(dict.fromkeys(head for one in told.values() for head in one))
    return [{"what": head} | {name: one.get(head, "-") for name, one in told.items()} for head in heads]


def outcome_data(season: Season) -> dict[str, float | int | None]:
    """The same of one season as plain numbers; keys carry units."""
    broken = [finding for finding in season.findings if finding.is_broken]
    totals = season.totals()
    margins = {
        f"{limit}_margin_percent": min(
            (f.margin_percent for f in season.findings if f.limit == limit and f.margin_percent is not None),
            default=None,
        )
        for limit in _JUDGED
    }
    return {
        "limits_broken": len(broken),
        "limits_that_harm": sum(harms(season, finding) for finding in broken),
        **margins,
        "fish_left": float(season.course.count[0, -1].sum()),
        "deaths": totals["deaths"],
        "biomass_end_kg": totals["biomass_end_kg"],
        "harvested_kg": totals["harvested_kg"],
        "growth_kg": totals["growth_kg"],
        "feed_kg": totals["feed_kg"],
        "crops_kg": float(np.nansum(season.bed_course.harvest_kg)),
        "planted_most_m2": float(season.loop_table["planted_area_m2"].sum(axis=1).max(initial=0.0)),
        "heat_kwh": float(np.nansum(loop_heat_kwh(season.site))),
        "fuel_cost": _fuel_cost(season),
        "feed_cost": _feed_cost(season),
    }


def _fuel_cost(season: Season) -> float | None:
    """Money for all fuel; None where nothing burns, or a heater that runs has no price."""
    costs = [one.cost() for one in fuel_needed(season.site)]
    return None if not costs or None in costs else float(sum(cost or 0.0 for cost in costs))


def _feed_cost(season: Season) -> float | None:
    """Money for all feed that is offered; None without a price in the file."""
    wishes = season.site.file.stocking
    price = None if wishes is None else wishes.feed_price
    return None if price is None else price * float(season.totals()["feed_kg"] or 0.0)


def differing(files: Mapping[str, Mapping[str, Any]]) -> list[dict[str, str]]:
    """A row for each field that is not the same in all files, a column for each file.

    Parameters
    ----------
    files : mapping of str to mapping
        Plain tables of each file, by the name that its column has.

    Returns
    -------
    list of dict of str to str
        Empty where nothing differs.
    """
    flat = {name: _flat(tables) for name, tables in files.items()}
    fields = list(dict.fromkeys(field for one in flat.values() for field in one))
    return [
        {"field": field} | {name: one.get(field, _ABSENT) for name, one in flat.items()}
        for field in fields
        if len({one.get(field) for one in flat.values()}) > 1
    ]


def _flat(value: Any, here: str = "") -> dict[str, str]:
    """Dotted fields of tables, each as it is typed; events and other lists of tables by their number."""
    if isinstance(value, Mapping):
        inside = value.items()
    elif isinstance(value, Sequence) and value and all(isinstance(one, Mapping) for one in value):
        inside = [(str(number), one) for number, one in enumerate(value, 1)]  # type: ignore[assignment]
    else:
        return {here: as_typed(value)}
    found: dict[str, str] = {}
    for key, one in inside:
        found |= _flat(one, f"{here}.{key}" if here else str(key))
    return found


def _outcome(season: Season, units: str) -> dict[str, str]:
    data = outcome_data(season)
    harm, broken = int(data["limits_that_harm"] or 0), int(data["limits_broken"] or 0)
    rows = {"limits broken": str(broken), "of them harming fish": f"{'!' if harm else ''}{harm}"}
    for limit in _JUDGED:
        margin = data[f"{limit}_margin_percent"]
        if margin is not None:
            rows[f"least reserve to {LIMITS[limit].name}"] = f"{'!' if margin < 0.0 else ''}{margin:z.0f} %"
    rows |= {
        "fish left": f"{data['fish_left']:.0f}",
        "fish that die": f"{data['deaths']:.0f}",
    }
    for head, key in (
        ("live fish left", "biomass_end_kg"), ("fish harvested", "harvested_kg"), ("growth", "growth_kg"),
        ("feed offered", "feed_kg"), ("crops harvested", "crops_kg"),
    ):  # fmt: skip
        rows[head] = format_quantity(float(data[key] or 0.0), "mass", units)
    rows["most area planted"] = format_quantity(float(data["planted_most_m2"] or 0.0), "area", units)
    if data["heat_kwh"]:
        rows["heat for the water and its rooms"] = f"{data['heat_kwh']:.0f} kWh"
    for head, key in (("cost of fuel, in your money", "fuel_cost"), ("cost of feed, in your money", "feed_cost")):
        if data[key] is not None:
            rows[head] = f"{data[key]:,.0f}"
    return rows
