"""The comparison of the cold months, and a fit to a log, in sentences and rows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import partial

from stocksim.answers.cold.choice import (
    Option,
    added_deaths,
    fuel_months,
    fuel_rows,
    sizes,
)
from stocksim.answers.cold.decide import Cold
from stocksim.answers.cold.fit import BELIEVED, HeatFit
from stocksim.answers.cold.options import Note, NoteKind
from stocksim.answers.cold.tally import FAIL_DAYS, CohortTime, FailedHeater, month_water
from stocksim.drawn.nights import NIGHT_YEARS, coldest_nights
from stocksim.faces.chance_words import chance_words
from stocksim.faces.change_words import change_words
from stocksim.heat.heaters import SIZE_WORDS, HeaterSize, size_to_have
from stocksim.heat.hourly import Warmth
from stocksim.site.kinds import LIMITS
from stocksim.units import face_unit, format_quantity, in_units, to_face

CAUTIONS = (
    "The heat balance may be 2-3 degC off in water, and a quarter in fuel, until it is fitted to a log of your own "
    "(--fit); leaks and old covers alone move it that much. Read the water every morning of a cold spell.",
    "Combustion heaters inside need a flue to outdoors and fresh air: an unvented one fills the house with carbon "
    "monoxide, which kills without a smell, and with moisture and ethylene that harm crops. Hang a carbon monoxide "
    "alarm; never run a generator, grill or engine indoors.",
    "Fuel lines, tanks, flues and heaters are work for licensed trades under your local codes; so is any new "
    "electrical load: water heaters near tanks need their own circuits with ground-fault protection, drip loops, and "
    "wires sized for the load.",
    "Warming or cooling fish by more than a degree or two a day harms them; change set points step by step.",
)


AS_PLANNED = "as the file says"
NOTES = {
    NoteKind.LOG_KEPT: "Loop {loop} keeps its logged temperatures: a log always goes before the model.",
    NoteKind.HELD_AS_TYPED: (
        "Loop {loop} is held at its typed temperature, for it names no heater; its heat is counted, but has no price. "
        "Give loops.{loop}.heat.heater to compare set points."
    ),
    NoteKind.TYPED_SET_ASIDE: (
        "The typed temperatures of loop {loop} are set aside here: its water is computed from weather and heaters."
    ),
    NoteKind.NO_MIXED_LOOP: (
        "No loop holds both tanks of warm-water and tanks of cool-water fish, so a separate warm loop is not tried."
    ),
    NoteKind.NO_HEATER: (
        "No set point is tried, for no room has a heater and no computed loop has fish; give one, as "
        "greenhouse.heater, to see what a degree costs."
    ),
    NoteKind.NO_ROOM_HEATER: (
        "Air is tried at no set point, for no room has a heater; give one, as greenhouse.heater, to see what a degree "
        "of air costs."
    ),
    NoteKind.UNPRICED_WATER_HEATER: (
        "Water of loop {loop} is tried with an electric heater to buy, whose heat has no price: its options stand in "
        "the table and are not ranked by money. Give loops.{loop}.heat.heater with its price to rank them."
    ),
    NoteKind.HEAT_FORBIDDEN: (
        "Heat is not advised here, nor covers and insulation, for the file wants no such advice ([advice] never)."
    ),
    NoteKind.CROPS: (
        "Crops are what light, the greenhouse's air and the water allow with the season's nitrogen, until the first "
        "night that is too cold for them: 10 degC for basil, beans, cucumbers, peppers and tomatoes, "
        "frost for the "
        "others (`temperature_low_limit` of the crop files, from memory). Cold air over warm roots is not known better."
    ),
    NoteKind.BEDS_IN_FISH_ROOM: "Beds in the fish room are taken to have the greenhouse's air here.",
    NoteKind.AIR_SET_ASIDE: ("site.air_temperature is set aside here: crops have the greenhouse's computed air."),
}


def option_name(option: Option, units: str) -> str:
    """What an option is called."""
    return AS_PLANNED if option.change is None else change_words(option.change, units)


def note_sentences(notes: Iterable[Note | str], units: str) -> list[str]:
    """What was set aside, assumed or left out; what is a sentence already stays."""
    return [
        note if isinstance(note, str) else in_units(NOTES[note.kind].format(loop=note.loop), units) for note in notes
    ]


def cautions(units: str) -> list[str]:
    """What to mind in the cold months, a text each."""
    return [in_units(text, units) for text in CAUTIONS]


def money(value: float | None) -> str:
    """A sum in the keeper's own money; ``-`` where a price is missing."""
    return "-" if value is None else f"{value:,.0f}"


def option_rows(cold: Cold) -> list[dict[str, str]]:
    """One row an option, for text and pages; ``!`` marks options that are too cold or too warm for a fish."""
    units = cold.site.file.site.units
    plan = cold.plan
    spared = cold.spared
    each, unit = float(to_face(1.0, "mass", units)), face_unit("mass", units)
    rows = []
    for option in cold.options:
        new = {limit for limit, where in option.broken if (limit, where) not in plan.broken}
        coldest = ", ".join(
            f"{loop} {format_quantity(span[0], 'temperature', units)}" for loop, span in option.water_c.items()
        )
        extra = "-" if option.cost_per_extra_kg is None else f"{option.cost_per_extra_kg / each:,.0f}"
        years = round(option.worst_cold_share * cold.years)
        rows.append(
            {
                "option": ("" if option in spared else "!") + option_name(option, units),
                "heat": f"{option.heat_kwh:,.0f} kWh",
                "cost": money(option.cost),
                "growth": format_quantity(option.growth_kg, "mass", units),
                "less fish that die": format_quantity(option.net_kg, "mass", units),
                "feed": format_quantity(option.feed_kg, "mass", units),
                "deaths": f"{option.deaths:.0f}",
                "crops": format_quantity(option.yield_kg, "mass", units),
                f"fuel per extra {unit}": extra,
                "coldest water": coldest,
                "heater size needed": power_words(option),
                "cold years": f"{years} of {cold.years}",
                "also breaks": ", ".join(
                    [
                        *sorted(LIMITS[limit].broken for limit in new),
                        *([f"more deaths of {' and '.join(dead)}"] if (dead := added_deaths(option, plan)) else []),
                        *([f"too cold for {listed(list(option.chilled))}"] if option.chilled else []),
                    ]
                )
                or "-",
            }
        )
    return rows


def numbered(cold: Cold) -> list[str]:
    """The options that the frontier chart numbers, with cost and growth."""
    units = cold.site.file.site.units
    each, unit = float(to_face(1.0, "mass", units)), face_unit("mass", units)
    sentences = []
    for option in frontier_options(cold):
        extra = option.cost_per_extra_kg
        sentences.append(
            f"{option_name(option, units)}: {money(option.cost)} of fuel, "
            f"{format_quantity(option.net_kg, 'mass', units)} of growth less fish that die"
            + ("" if extra is None else f", {extra / each:,.0f} for each extra {unit}")
            + (" (recommended)" if option is cold.best else "")
        )
    return sentences


def frontier_options(cold: Cold) -> list[Option]:
    """Options numbered on the chart: the file's own way, then those that give most growth for their cost."""
    line = sorted((o for o in cold.options if o.is_on_frontier and o.cost is not None), key=lambda o: o.cost or 0.0)
    first = [cold.plan] if cold.best is cold.plan else [cold.plan, cold.best]
    return first + [option for option in line if option not in first]


def power_words(option: Option) -> str:
    """Power that each heater needs on the design night, beside what it has."""
    words = []
    for place, need in option.design_kw.items():
        have = option.installed_kw.get(place)
        words.append(f"{place} {need:.1f} kW " + ("to buy" if have is None else f"of {have:.1f}"))
    return ", ".join(words) or "-"


def heater_sentences(cold: Cold) -> list[str]:
    """What heaters the recommendation takes."""
    best = cold.best
    low = format_quantity(cold.failed.outdoor_low_c, "temperature", cold.site.file.site.units)
    small = {place: size for place, size in sizes(best).items() if size is not HeaterSize.ENOUGH}
    said = [
        f"The design night, {low}, asks {best.design_kw[place]:.1f} kW of the heater of {place}; yours gives "
        f"{best.installed_kw[place]:.1f}, {SIZE_WORDS[size]}"
        + ("." if cold.is_heat_forbidden else f": have {size_to_have(best.design_kw[place]):.1f}.")
        for place, size in small.items()
    ]
    said += [
        f"An electric heater of {size_to_have(best.design_kw[place]):.1f} kW for {place} must be bought (the design "
        f"night asks {best.design_kw[place]:.1f}, and a quarter stands for what the balance does not know), "
        f"{_price_of(best, place)}."
        for place in best.to_buy
    ]
    if best.installed_kw and best.design_kw and not small:
        said.append(
            f"The heaters that the file has are large enough for the design night, {low}, with a quarter to spare."
        )
    return said


def listed(words: Sequence[str]) -> str:
    """Some words as one phrase."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _price_of(option: Option, place: str) -> str:
    cost = next((use.cost for use in option.fuel if use.place == place), None)
    return "its heat without a price" if cost is None else "at the price of the file's own electricity"


def failure_sentence(cold: Cold) -> str:
    """The night the heaters fail, as the file says and as recommended."""
    said = [_failure(cold, cold.failed, "As the file says")]
    if cold.best is not cold.plan:
        said.append(_failure(cold, cold.failed_recommended, "As recommended"))
    return " ".join(said)


def night_sentence(cold: Cold) -> str:
    """How many drawn winters have a night as cold as the design night."""
    low = format_quantity(cold.failed.outdoor_low_c, "temperature", cold.site.file.site.units)
    share = coldest_nights(cold.warmth.weather).share_at(cold.failed.outdoor_low_c)
    return f"Of {NIGHT_YEARS:,} winters drawn about the normals, {chance_words(share)} have a night of {low} or colder."


def _failure(cold: Cold, failed: FailedHeater, way: str) -> str:
    low = format_quantity(failed.outdoor_low_c, "temperature", cold.site.file.site.units)
    if not failed.times:
        return f"{way}, no fish are there when heaters fail at {low} outdoors."
    first = failed.times[0]
    if not math.isfinite(first.hours):
        return (
            f"{way}, if every heater fails at dusk of a {low} night, no fish meets its cold limit in {FAIL_DAYS} days."
        )
    if first.hours == 0.0:
        return (
            f"{way}, {first.cohort} in {first.tank} are at their cold limit by dusk of a {low} night before any heater "
            "fails: the heating itself is too small or missing."
        )
    return (
        f"{way}, if every heater fails at dusk of a {low} night, {first.cohort} in {first.tank} meet their cold limit "
        f"after {hours_words(first.hours)}; be there in half of that."
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


def fuel_month_rows(cold: Cold) -> list[dict[str, str]]:
    """Heat, fuel and cost of each month, as the file says and as recommended."""
    ways = [("file", cold.plan)] + ([("recommended", cold.best)] if cold.best is not cold.plan else [])
    rows = []
    for month in cold.plan.month_kwh:
        row = {"month": month}
        for name, option in ways:
            uses = [use for use in fuel_months(option) if use["month"] == month and use["heat_kwh"] > 0.0]
            amounts: dict[tuple[str, str], float] = {}
            for use in uses:
                key = (use["amount_unit"], use["fuel"].replace("_", " "))
                amounts[key] = amounts.get(key, 0.0) + use["amount"]
            costs = [use["cost"] for use in uses]
            row[f"heat, {name}"] = f"{option.month_kwh[month]:,.0f} kWh"
            row[f"fuel, {name}"] = ", ".join(f"{v:,.0f} {unit} {fuel}" for (unit, fuel), v in amounts.items()) or "-"
            row[f"cost, {name}"] = money(None if None in costs else float(sum(costs)))
        rows.append(row)
    return rows


def worth_words(cold: Cold) -> str:
    """Worth of fish; by the pound on a site in US units."""
    assumed = " (assumed; --worth says yours)" if cold.is_worth_assumed else ""
    if cold.site.file.site.units == "us":
        return f"{cold.worth / float(to_face(1.0, 'mass', 'us')):,.2f} a pound of fish{assumed}"
    return f"{cold.worth:g} a kilo of fish{assumed}"


def fuel_sentence(option: Option, units: str) -> str:
    """Fuel of an option in words: amount, kWh, therms."""
    parts = []
    for row in fuel_rows(option):
        if row["heat_kwh"] < 0.5:
            continue
        text = f"{row['place']}: {row['amount']:,.0f} {row['amount_unit']} of {row['fuel'].replace('_', ' ')}"
        if units == "metric" and row["fuel_litres"] is not None and row["amount_unit"] != "L":
            text += f", {row['fuel_litres']:,.0f} L"
        text += f" ({row['fuel_kwh']:,.0f} kWh, {row['fuel_therms']:,.0f} therms)"
        parts.append(text + ("" if row["cost"] is None else f" for {row['cost']:,.0f}"))
    return "; ".join(parts) or "no fuel"


def options_note(cold: Cold) -> str:
    """What the heads of the options' table mean."""
    return (
        "(! some fish too cold, warmer than need be, or more of them dead than the file's own way has; heater size "
        "needed: heat on the third day of the design cold, without sun; fuel per extra "
        f"{face_unit('mass', cold.site.file.site.units)}: fuel for each further one of growth, less fish that die, "
        f"over the next cheaper option of the frontier; {worth_words(cold)}; cold years: synthetic years, seed "
        f"{cold.seed}, in which some fish crosses its cold limit; money is that of your fuel prices)"
    )


def fit_sentences(fit: HeatFit, units: str) -> list[str]:
    """How well a fit hits the log, and how far to trust it."""
    unit, apart = face_unit("temperature", units), partial(to_face, dimension="temperature_difference", system=units)
    said = [
        f"Misfit (root mean square of the day's mean): {apart(fit.rms_before_c):.2f} {unit} before, "
        f"{apart(fit.rms_after_c):.2f} {unit} after; mean error after {apart(fit.bias_after_c):+.2f} {unit}."
    ]
    if fit.is_on_normals:
        said.append(
            "The weather was monthly normals, so the log's own cold and warm spells are part of the misfit: a weather "
            'file of the same days (kind = "file") fits far better.'
        )
    said += [
        f"Do not take {key} over unseen: {fit.factors[key]:.2f} lies outside {BELIEVED[0]:g} to {BELIEVED[1]:g} (our "
        "choice), so the house is hardly as the site file says. Check sizes, cover, leaks, heaters, and the place and "
        "hour of the log first."
        for key in fit.hard_to_believe
    ]
    if any(value > 1.4 for value in fit.uncertainty.values()):
        said.append("A factor known no better than 1.4 is hardly shown by this log; leave it at 1.")
    return said
