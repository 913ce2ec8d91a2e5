"""The comparison of the cold months as plain data and as files."""

from __future__ import annotations

import csv
import datetime as dt
import math
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, TextIO

from stocksim.answers.cold.choice import Option
from stocksim.answers.cold.decide import Cold
from stocksim.answers.cold.fit import HeatFit
from stocksim.answers.cold.tally import FAIL_HOUR, FailedHeater
from stocksim.climate.greenhouse import FUELS
from stocksim.climate.weather import HOURS
from stocksim.heat.hourly import Warmth
from stocksim.site.weather import days_of_month
from stocksim.writing import Write, safe_cell, write_folder

CAUTIONS = (
    "The heat balance is known to some 2-3 degC of water and a quarter of the fuel until it is fitted to a log of "
    "your own (--fit); leaks and old covers alone move it that much. Read the water every morning of a cold spell.",
    "Combustion heaters inside need a flue to outdoors and fresh air: an unvented one fills the house with carbon "
    "monoxide, which kills without a smell, and with moisture and ethylene that harm crops. Hang a carbon monoxide "
    "alarm; never run a generator, grill or engine indoors.",
    "Fuel lines, tanks, flues and heaters are work for licensed trades under your local codes; so is any new "
    "electrical load: water heaters near tanks need their own circuits with ground-fault protection, drip loops, and "
    "wires sized for the load.",
    "Warming or cooling fish by more than a degree or two a day harms them; change set points step by step.",
)
BELIEVED = (0.5, 2.0)  # a fitted factor outside is told as hard to believe (our choice)
_THERM_KWH = FUELS["natural_gas"].kwh_per["therm"]


def fuel_rows(option: Option) -> list[dict[str, Any]]:
    """Fuel of each heater with the energy in it: kWh, therms and, of liquids, liters."""
    rows = []
    for use in option.fuel:
        energy = use.amount * FUELS[use.fuel].kwh_per[use.unit] if use.fuel in FUELS else use.heat_kwh
        litres = None
        if use.fuel in FUELS and "L" in FUELS[use.fuel].kwh_per:
            litres = round(energy / FUELS[use.fuel].kwh_per["L"], 1)
        rows.append(
            {"place": use.place, "fuel": use.fuel, "heat_kwh": round(use.heat_kwh, 1), "fuel_kwh": round(energy, 1),
             "fuel_therms": round(energy / _THERM_KWH, 2), "fuel_litres": litres, "amount": round(use.amount, 2),
             "amount_unit": use.unit, "cost": None if use.cost is None else round(use.cost, 2)}
        )  # fmt: skip
    return rows


def option_answer(option: Option, plan: Option) -> dict[str, Any]:
    """One option as plain data; keys carry units."""
    new = [f"{limit} {where}" for limit, where in option.broken if (limit, where) not in plan.broken]
    return {
        "name": option.name,
        "set_point_c": None if option.set_point_c is None else round(option.set_point_c, 2),
        "heater": option.place or None,
        "heat_kwh": round(option.heat_kwh, 1),
        "cost": None if option.cost is None else round(option.cost, 2),
        "growth_kg": round(option.growth_kg, 3),
        "dead_kg": round(option.dead_kg, 3),
        "growth_less_dead_kg": round(option.net_kg, 3),
        "feed_kg": round(option.feed_kg, 3),
        "deaths": round(option.deaths, 3),
        "deaths_by_cohort": {key: round(died, 3) for key, died in option.died.items()},
        "yield_kg": round(option.yield_kg, 2),
        "cost_per_extra_kg": None if option.cost_per_extra_kg is None else round(option.cost_per_extra_kg, 2),
        "is_on_frontier": option.is_on_frontier,
        "fuel": fuel_rows(option),
        "heat_kwh_by_month": {month: round(heat, 1) for month, heat in option.month_kwh.items()},
        "fuel_by_month": fuel_months(option),
        "design_night_kw": {place: round(power, 2) for place, power in option.design_kw.items()},
        "heaters_to_buy_kw": {place: round(option.design_kw[place], 2) for place in option.to_buy},
        "is_heater_too_small": bool(too_small(option)),
        "peak_kw": {place: round(peak, 2) for place, peak in option.peak_kw.items()},
        "installed_kw": {place: round(power, 2) for place, power in option.installed_kw.items()},
        "hours_below_set_point": round(option.short_hours),
        "water_low_c": {loop: round(span[0], 2) for loop, span in option.water_c.items()},
        "water_mean_c": {loop: round(span[1], 2) for loop, span in option.water_c.items()},
        "water_high_c": {loop: round(span[2], 2) for loop, span in option.water_c.items()},
        "cold_limit_share_of_years": {key: round(share, 4) for key, share in option.cold_share.items()},
        "limits_broken": [f"{limit} {where}" for limit, where in option.broken],
        "limits_broken_newly": new,
        "oxygen_low_mg_l": round(option.oxygen_low_mg_l, 3) if math.isfinite(option.oxygen_low_mg_l) else None,
        "tan_high_mg_l": round(option.tan_high_mg_l, 3),
    }


def cold_answer(cold: Cold) -> dict[str, Any]:
    """The comparison as plain data; keys carry units."""
    plan = cold.options[0]
    return {
        "site": cold.site.file.site.name,
        "options": [option_answer(option, plan) for option in cold.options],
        "recommended": cold.recommended,
        "reason": cold.reason,
        "what_would_change_it": cold.change,
        "worth_per_kg": cold.worth,
        "is_worth_assumed": cold.is_worth_assumed,
        "synthetic_years": cold.years,
        "seed": cold.seed,
        "heater_failure": _failure(plan.name, cold.failed),
        "heater_failure_recommended": _failure(cold.recommended, cold.failed_recommended),
        "water_by_month": month_water(cold.warmth),
        "notes": list(cold.notes),
        "cautions": list(CAUTIONS),
    }  # fmt: skip


def _failure(name: str, failed: FailedHeater) -> dict[str, Any]:
    return {
        "option": name,
        "outdoor_low_c": round(failed.outdoor_low_c, 2),
        "from_hour": FAIL_HOUR,
        "times": [
            {"cohort": t.cohort, "tank": t.tank, "species": t.species, "start_c": round(t.start_c, 2),
             "limit_c": t.limit_c, "hours_to_limit": round(t.hours, 1) if math.isfinite(t.hours) else None,
             "after_12_h_c": round(t.after_12_h_c, 2)}
            for t in failed.times
        ],
    }  # fmt: skip


def too_small(option: Option) -> dict[str, tuple[float, float]]:
    """Heaters that the design night asks more of than they have: needed and installed, by place. [kW]"""
    return {
        place: (need, option.installed_kw[place])
        for place, need in option.design_kw.items()
        if place in option.installed_kw and need > option.installed_kw[place] + 0.05
    }


def fuel_months(option: Option) -> list[dict[str, Any]]:
    """Heat, fuel and cost of each heater month by month; keys carry units."""
    rows = []
    for use in option.fuel:
        for month, heat in use.month_kwh.items():
            share = heat / use.heat_kwh if use.heat_kwh > 0.0 else 0.0
            rows.append(
                {"month": month, "place": use.place, "fuel": use.fuel, "heat_kwh": round(heat, 1),
                 "amount": round(share * use.amount, 2), "amount_unit": use.unit,
                 "cost": None if use.cost is None else round(share * use.cost, 2)}
            )  # fmt: skip
    return rows


def month_water(warmth: Warmth) -> list[dict[str, Any]]:
    """Air and water of each month as the file says; keys carry units."""
    rows = []
    plan, run = warmth.plan, warmth.run
    loops = list(dict.fromkeys(plan.loop_of.values()))
    for label, days in days_of_month(warmth.weather.start, len(run.mean_c)):
        row: dict[str, Any] = {"month": label, "outdoor_mean_c": round(float(warmth.weather.mean_c[days].mean()), 2)}
        for room in ("greenhouse", "fish_room"):
            if room in plan.nodes:
                node = plan.nodes.index(room)
                row[f"{room}_mean_c"] = round(float(run.mean_c[days, node].mean()), 2)
                row[f"{room}_low_c"] = round(float(run.low_c[days, node].min()), 2)
        for loop in loops:
            nodes = plan.tanks_of(loop)
            row[f"{loop}_water_mean_c"] = round(float(warmth.loop_mean_c(loop)[days].mean()), 2)
            row[f"{loop}_water_low_c"] = round(float(run.low_c[days][:, nodes].min()), 2)
        row["heat_kwh"] = round(float(run.heat_kwh[days].sum()), 1)
        rows.append(row)
    return rows


def hard_to_believe(fit: HeatFit) -> list[str]:
    """Fitted factors that lie outside what a house as described can have."""
    return [key for key, value in fit.factors.items() if not BELIEVED[0] <= value <= BELIEVED[1]]


def fit_answer(fit: HeatFit) -> dict[str, Any]:
    """A fit as plain data."""
    return {
        "loop": fit.loop, "days": fit.days,
        "factors": {key: round(value, 4) for key, value in fit.factors.items()},
        "known_within_factor": {key: round(value, 3) for key, value in fit.uncertainty.items()},
        "rms_before_c": round(fit.rms_before_c, 3), "rms_after_c": round(fit.rms_after_c, 3),
        "bias_after_c": round(fit.bias_after_c, 3), "is_on_normals": fit.is_on_normals,
        "factors_hard_to_believe": hard_to_believe(fit),
    }  # fmt: skip


# --- files of the cold months: every hour as the file says, and the options

COLD_FILES = ("hourly.csv", "options.csv")

_OPTION_COLUMNS = (
    "name", "heat_kwh", "cost", "growth_kg", "dead_kg", "growth_less_dead_kg", "feed_kg", "deaths", "yield_kg",
    "cost_per_extra_kg", "is_on_frontier", "hours_below_set_point",
)  # fmt: skip


def write_cold(folder: Path, cold: Cold, reads: Iterable[Path] = ()) -> list[Path]:
    """Write ``hourly.csv`` (date, hour, place, temperature_c) and ``options.csv`` into a folder, made if need be.

    Parameters
    ----------
    folder : Path
        Where to.
    cold : Cold
        The comparison; the hours are those of the file's own way.
    reads : iterable of Path
        Files that it was made from.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    InputError
        As `stocksim.writing.write_folder`: both are written or none.
    """
    columns = (*_OPTION_COLUMNS, "design_night_kw", "installed_kw")
    files: dict[str, Write] = {
        "hourly.csv": partial(_write, ("date", "hour", "place", "temperature_c"), _hours(cold)),
        "options.csv": partial(_write, columns, _options(cold)),
    }
    return write_folder(folder, files, reads)


def _write(header: Sequence[str], rows: Iterable[Sequence[object]], out: TextIO) -> None:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([safe_cell(cell) for cell in row] for row in rows)


def _hours(cold: Cold) -> Iterable[Sequence[object]]:
    """Outdoor air, rooms and water; the hour is that at which it begins, of solar time."""
    run, weather = cold.warmth.run, cold.warmth.weather
    assert run.hourly_c is not None
    for hour, row in enumerate(run.hourly_c):
        date = weather.start + dt.timedelta(days=hour // HOURS)
        yield date, hour % HOURS, "outdoors", f"{weather.hours.air_c[hour]:.3f}"
        for place, value in zip(cold.warmth.plan.nodes, row, strict=True):
            yield date, hour % HOURS, place, f"{value:.3f}"


def _options(cold: Cold) -> Iterable[Sequence[object]]:
    for option in cold.options:
        data = option_answer(option, cold.options[0])
        kept = ["" if data[name] is None else data[name] for name in _OPTION_COLUMNS]
        yield [
            *kept,
            *("; ".join(f"{k} {v}" for k, v in data[key].items()) for key in ("design_night_kw", "installed_kw")),
        ]
