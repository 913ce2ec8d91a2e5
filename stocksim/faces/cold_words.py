"""The cold months as an answer: plain data, and text with one row an option."""

from __future__ import annotations

import math
import textwrap
from typing import Any

from stocksim.climate.greenhouse import FUELS
from stocksim.faces.tables import text_table
from stocksim.faces.words import LIMIT_WORDS
from stocksim.planning.cold import Cold
from stocksim.planning.cold_choice import Option
from stocksim.planning.cold_fit import HeatFit
from stocksim.planning.cold_risk import FAIL_DAYS, FAIL_HOUR, CohortTime
from stocksim.site.warmth import Warmth, days_of_month
from stocksim.units import format_quantity

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
        "feed_kg": round(option.feed_kg, 3),
        "deaths": round(option.deaths, 3),
        "yield_kg": round(option.yield_kg, 2),
        "cost_per_extra_kg": None if option.cost_per_extra_kg is None else round(option.cost_per_extra_kg, 2),
        "is_on_frontier": option.is_on_frontier,
        "fuel": fuel_rows(option),
        "heat_kwh_by_month": {month: round(heat, 1) for month, heat in option.month_kwh.items()},
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
        "heater_failure": {
            "outdoor_low_c": round(cold.failed.outdoor_low_c, 2),
            "from_hour": FAIL_HOUR,
            "times": [
                {"cohort": t.cohort, "tank": t.tank, "species": t.species, "start_c": round(t.start_c, 2),
                 "limit_c": t.limit_c, "hours_to_limit": round(t.hours, 1) if math.isfinite(t.hours) else None,
                 "after_12_h_c": round(t.after_12_h_c, 2)}
                for t in cold.failed.times
            ],
        },
        "water_by_month": month_water(cold.warmth),
        "notes": list(cold.notes),
        "cautions": list(CAUTIONS),
    }  # fmt: skip


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


def money(value: float | None) -> str:
    """A sum in the keeper's own money; ``-`` where a price is missing."""
    return "-" if value is None else f"{value:,.0f}"


def option_rows(cold: Cold) -> list[dict[str, str]]:
    """One row an option, for text and pages; ``!`` marks options that are too cold or too warm for a fish."""
    units = cold.site.file.site.units
    plan = cold.options[0]
    spared = {option.name for option in cold.spared}
    rows = []
    for option in cold.options:
        new = {limit for limit, where in option.broken if (limit, where) not in plan.broken}
        coldest = ", ".join(
            f"{loop} {format_quantity(span[0], 'temperature', units)}" for loop, span in option.water_c.items()
        )
        extra = "-" if option.cost_per_extra_kg is None else f"{option.cost_per_extra_kg:,.0f}"
        years = round(option.worst_cold_share * cold.years)
        rows.append(
            {
                "option": ("" if option.name in spared else "!") + option.name,
                "heat": f"{option.heat_kwh:,.0f} kWh",
                "cost": money(option.cost),
                "growth": format_quantity(option.growth_kg, "mass", units),
                "feed": format_quantity(option.feed_kg, "mass", units),
                "deaths": f"{option.deaths:.0f}",
                "crops": format_quantity(option.yield_kg, "mass", units),
                "an extra kg": extra,
                "coldest water": coldest,
                "years too cold": f"{years} of {cold.years}",
                "breaks as well": ", ".join(sorted(LIMIT_WORDS.get(limit, limit) for limit in new)) or "-",
            }
        )
    return rows


def numbered(cold: Cold) -> list[str]:
    """The options that the frontier chart numbers, with cost and growth."""
    units = cold.site.file.site.units
    sentences = []
    for name in frontier_names(cold):
        option = cold.option(name)
        extra = option.cost_per_extra_kg
        sentences.append(
            f"{name}: {money(option.cost)} of fuel, {format_quantity(option.growth_kg, 'mass', units)} of growth"
            + ("" if extra is None else f", {extra:,.0f} for each extra kg")
            + (" (recommended)" if name == cold.recommended else "")
        )
    return sentences


def frontier_names(cold: Cold) -> list[str]:
    """Options numbered on the chart: the file's own way, then those that give most growth for their cost."""
    line = sorted((o for o in cold.options if o.is_on_frontier and o.cost is not None), key=lambda o: o.cost or 0.0)
    return list(dict.fromkeys([cold.options[0].name, cold.recommended, *(o.name for o in line)]))


def verdict_sentence(cold: Cold) -> str:
    """The recommendation in one sentence."""
    name = cold.option(cold.recommended)
    cost = "" if name.cost is None else f", {money(name.cost)} of fuel a season"
    return f"Recommended: {cold.recommended}{cost}."


def failure_sentence(cold: Cold) -> str:
    """The coldest night in one sentence."""
    units = cold.site.file.site.units
    low = format_quantity(cold.failed.outdoor_low_c, "temperature", units)
    if not cold.failed.times:
        return f"No fish are there when heaters fail at {low} outdoors."
    first = cold.failed.times[0]
    if not math.isfinite(first.hours):
        return f"If every heater fails at dusk of a {low} night, no fish meets its cold limit within {FAIL_DAYS} days."
    return (
        f"If every heater fails at dusk of a {low} night, {first.cohort} in {first.tank} "
        f"{'is' if first.hours == 0.0 else 'are'} at the cold limit after {hours_words(first.hours)}; be there in half "
        "of that."
    )


def hours_words(hours: float) -> str:
    """Hours as a keeper says them."""
    if not math.isfinite(hours):
        return f"more than {FAIL_DAYS} days"
    return "at once" if hours == 0.0 else f"{hours:.0f} hours"


def failure_rows(times: tuple[CohortTime, ...], units: str) -> list[dict[str, str]]:
    """Hours to each cohort's cold limit."""
    return [
        {
            "fish": t.cohort, "tank": t.tank, "water at the start": format_quantity(t.start_c, "temperature", units),
            "after 12 hours": format_quantity(t.after_12_h_c, "temperature", units),
            "cold limit": format_quantity(t.limit_c, "temperature", units), "reached after": hours_words(t.hours),
        }
        for t in times
    ]  # fmt: skip


def water_rows(warmth: Warmth, units: str) -> list[dict[str, str]]:
    """Air and water of each month, with the lowest hour, ready to print."""
    rows = []
    for data in month_water(warmth):
        row = {"month": str(data["month"])}
        for key, value in data.items():
            if key.endswith("_mean_c"):
                name = key.removesuffix("_mean_c").replace("_", " ")
                low = data.get(key.replace("_mean_c", "_low_c"))
                text = format_quantity(value, "temperature", units)
                row[name] = text if low is None else f"{text} (low {format_quantity(low, 'temperature', units)})"
        row["heat, file"] = f"{data['heat_kwh']:,.0f} kWh"
        rows.append(row)
    return rows


def month_rows(cold: Cold) -> list[dict[str, str]]:
    """Water by month as the file says, and heat by month for the file and the recommended option."""
    best = cold.option(cold.recommended)
    return [
        row | {"heat, recommended": f"{best.month_kwh[row['month']]:,.0f} kWh"}
        for row in water_rows(cold.warmth, cold.site.file.site.units)
    ]


def fuel_sentence(option: Option) -> str:
    """Fuel of an option in words: amount, kWh, therms."""
    parts = []
    for row in fuel_rows(option):
        if row["heat_kwh"] < 0.5:
            continue
        text = f"{row['place']}: {row['amount']:,.0f} {row['amount_unit']} of {row['fuel'].replace('_', ' ')}"
        if row["fuel_litres"] is not None and row["amount_unit"] != "L":
            text += f", {row['fuel_litres']:,.0f} L"
        text += f" ({row['fuel_kwh']:,.0f} kWh, {row['fuel_therms']:,.0f} therms)"
        parts.append(text + ("" if row["cost"] is None else f" for {row['cost']:,.0f}"))
    return "; ".join(parts) or "no fuel"


def _wrapped(text: str, indent: str) -> str:
    return textwrap.fill(text, 110, subsequent_indent=indent)


def cold_text(cold: Cold) -> str:
    """The printed answer."""
    best, plan = cold.option(cold.recommended), cold.options[0]
    worth = f"{cold.worth:g} a kilo of fish" + (" (assumed; give --worth)" if cold.is_worth_assumed else "")
    lines = [
        f"{cold.site.file.site.name}: the cold months, {cold.warmth.weather.start} to {cold.site.file.season.end}",
        "",
        _wrapped(verdict_sentence(cold), ""),
        _wrapped(f"Why: {cold.reason}.", "  "),
        _wrapped(f"What would change it: {cold.change}.", "  "),
        _wrapped(failure_sentence(cold), ""),
        "",
        text_table(option_rows(cold)),
        _wrapped(
            "(! too cold, or warmer than it need be, for some fish; an extra kg: fuel for each further kilo of growth "
            f"over the next cheaper option of the frontier; {worth}; years too cold: synthetic years, seed "
            f"{cold.seed}, in which some fish crosses its cold limit; money is that of your fuel prices)", ""
        ),
        "",
        _wrapped(f"Fuel as the file says: {fuel_sentence(plan)}.", "  "),
        _wrapped(f"Fuel as recommended: {fuel_sentence(best)}.", "  "),
        "",
        "Month by month, water and air as the file says:",
        text_table(month_rows(cold)),
        "",
        "When every heater fails at dusk of the design night, pumps still running:",
        text_table(failure_rows(cold.failed.times, cold.site.file.site.units)),
        "",
        "Notes and cautions:",
    ]  # fmt: skip
    return "\n".join([*lines, *(_wrapped(f"- {note}", "  ") for note in (*cold.notes, *CAUTIONS))])


def fit_answer(fit: HeatFit) -> dict[str, Any]:
    """A fit as plain data."""
    return {
        "loop": fit.loop, "days": fit.days,
        "factors": {key: round(value, 4) for key, value in fit.factors.items()},
        "known_within_factor": {key: round(value, 3) for key, value in fit.uncertainty.items()},
        "rms_before_c": round(fit.rms_before_c, 3), "rms_after_c": round(fit.rms_after_c, 3),
        "bias_after_c": round(fit.bias_after_c, 3), "is_on_normals": fit.is_on_normals,
    }  # fmt: skip


def fit_text(fit: HeatFit) -> str:
    """What to write into the site file, and how far to trust it."""
    lines = [
        f"Fitted to {fit.days} logged days of loop {fit.loop}. Under [greenhouse] write:",
        *(f"{key} = {value:.3f}    # known within a factor of {fit.uncertainty[key]:.2f}"
          for key, value in fit.factors.items()),
        _wrapped(
            f"Misfit (root mean square of the day's mean): {fit.rms_before_c:.2f} degC before, {fit.rms_after_c:.2f} "
            f"degC after; mean error after {fit.bias_after_c:+.2f} degC.", ""
        ),
    ]  # fmt: skip
    if fit.is_on_normals:
        lines.append(
            _wrapped(
                "The weather was monthly normals, so the log's own cold and warm spells are part of the misfit: a "
                'weather file of the same days (kind = "file") fits far better.', ""
            )
        )  # fmt: skip
    if any(value > 1.4 for value in fit.uncertainty.values()):
        lines.append("A factor known no better than 1.4 is hardly told by this log; leave it at 1.")
    return "\n".join(lines)
