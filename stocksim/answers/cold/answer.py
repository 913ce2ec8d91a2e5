"""What the cold months are answered: the comparison and the fit, as text, pages and data have them, and as files."""

from __future__ import annotations

import csv
import datetime as dt
import math
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, TextIO

from stocksim.answers.cold import words
from stocksim.answers.cold.brief import cold_brief, verdict_sentence
from stocksim.answers.cold.choice import Option, fuel_months, fuel_rows, sizes
from stocksim.answers.cold.decide import Cold
from stocksim.answers.cold.fit import HeatFit
from stocksim.answers.cold.options import Note
from stocksim.answers.cold.tally import FAIL_HOUR, FailedHeater, month_water
from stocksim.answers.cold.why import condition_sentences, reason_words, turning_words
from stocksim.climate.weather import HOURS
from stocksim.drawn.nights import coldest_nights
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Answer, Chart, Head, Html, Lines, Part, Section, Sentences, Table, points
from stocksim.faces.care import cares_beside
from stocksim.faces.marks import marked
from stocksim.faces.markup import species_key_html
from stocksim.faces.words import heater_data
from stocksim.heat.heaters import HeaterSize, judged_heaters, size_to_have
from stocksim.heat.hourly import Warmth
from stocksim.site.reading import Site
from stocksim.units import format_date
from stocksim.writing import Write, safe_cell, write_folder


def cold_answer(found: Cold, site: Site) -> Answer:
    """What the comparison answers.

    Parameters
    ----------
    found : Cold
        The comparison.
    site : Site
        The site as it was given, its water not computed yet.

    Returns
    -------
    Answer
        With the sections ``advice``, ``options``, ``price``, ``fuel``, ``fuel_months``, ``months``, ``failure``,
        ``cautions`` and ``assumptions``; in trouble where the file's own way harms a fish that another option spares,
        or a crop stands too cold as recommended.
    """
    file = found.site.file
    why = f"Why: {reason_words(found.verdict, file.site.units)}."
    turning = turning_words(found.verdict, file.site.units, found.season_advice, found.is_heat_forbidden)
    change = f"What would change it: {turning}."
    advice: list[Part] = [
        *([Sentences(heaters, "do")] if (heaters := words.heater_sentences(found)) else []),
        Sentences([why, change], on="text", indent="  "),
        Sentences([f"{why} {change}"], "do", "page"),
        *([Sentences(conditions, "do")] if (conditions := condition_sentences(found)) else []),
        points(cares_beside(file, [found.best.change] if found.best.change is not None else [])),
        Sentences([words.failure_sentence(found)], "do"),
    ]
    options: list[Part] = [Table(words.option_rows(found), gap=True), Sentences([words.options_note(found)], on="text")]
    months: list[Part] = [Head("Fuel by month:", "text"), Table(words.fuel_month_rows(found))]
    sections = [
        Section("advice", advice, topics=("fish", "water", "plants")),
        Section("options", options, "Every option in numbers", topics=("fish",)),
        Section("price", _price_parts(found)),
        Section("fuel", _fuel_parts(found)),
        Section("fuel_months", months, "Heat, fuel and cost by month"),
        _month_section(found.warmth, file.site.units),
        Section("failure", _failure_parts(found), topics=("fish",)),
        *_caution_sections(found),
    ]
    start, end = format_date(found.warmth.weather.start), format_date(file.season.end)
    return Answer(
        f"{file.site.name}: the cold months, {start} to {end}",
        verdict_sentence(found),
        sections,
        lambda: marked(_cold_data(found), site),
        found.plan not in found.spared or bool(found.best.chilled),
        brief=cold_brief(found),
    )


def winter_answer(
    season: Season, warmth: Warmth, notes: Iterable[Note | str], draw: Callable[[], dict[str, Any]]
) -> Answer:
    """Air and water as the file says, which a page shows before anything is compared.

    Parameters
    ----------
    season : Season
        A season of the site.
    warmth : Warmth
        Its heat, by the hour.
    notes : iterable of Note or str
        What was set aside or assumed.
    draw : callable
        Gives the specification of the chart, `charts.temperature_stack`.

    Returns
    -------
    Answer
        With the sections ``weeks``, ``months`` and ``cautions``.
    """
    file = season.site.file
    weeks: list[Part] = [
        Head("Water and air, week by week", "page"),
        Html(species_key_html(season)),
        Chart("temperature", draw),
    ]
    return Answer(
        f"{file.site.name}: air and water, {format_date(file.season.start)} to {format_date(file.season.end)}",
        "",
        [Section("weeks", weeks), _month_section(warmth, file.site.units), _caution_section(notes, file.site.units)],
        lambda: marked({"water_by_month": month_water(warmth)}, season.site),
    )


def fit_answer(fit: HeatFit, site: Site) -> Answer:
    """What a fit of the heat balance answers: sections ``factors``, to write into the site file, and ``trust``."""
    head = f"Fitted to {fit.days} logged days of loop {fit.loop}. Under [greenhouse] write:"
    factors = [
        f"{key} = {value:.3f}    # known within a factor of {fit.uncertainty[key]:.2f}"
        for key, value in fit.factors.items()
    ]
    sections = [
        Section("factors", [Sentences([head]), Lines(factors)]),
        Section("trust", [Sentences(words.fit_sentences(fit, site.file.site.units))]),
    ]
    return Answer("", "", sections, lambda: marked(_fit_data(fit), site), bool(fit.hard_to_believe))


def _drawn(found: Cold, name: str) -> dict[str, Any] | None:
    from stocksim.answers.cold.charts import CHARTS  # slow to import, and text draws none

    chart = CHARTS[name](found)
    return None if chart is None else chart.to_dict()


def _price_parts(found: Cold) -> list[Part]:
    """Growth against cost, for pages: a chart whose points are numbered below it, then heat by month."""
    is_priced = any(option.cost is not None for option in found.options)
    unpriced = "No heater has a price: give price and price_per to see growth against cost."
    return [
        Head("What a degree costs", "page"),
        Chart("frontier", partial(_drawn, found, "frontier")) if is_priced else Sentences([unpriced], "note", "page"),
        Sentences(words.numbered(found), "numbered", "page"),
        Chart("fuel", partial(_drawn, found, "fuel")),
    ]


def _fuel_parts(found: Cold) -> list[Part]:
    """Fuel of the season, as the file says and as recommended."""
    plan, best = (words.fuel_sentence(one, found.site.file.site.units) for one in (found.plan, found.best))
    return [
        Sentences(
            [f"Fuel as the file says: {plan}.", f"Fuel as recommended: {best}."], on="text", indent="  ", gap=True
        ),
        Sentences([f"As the file says: {plan}.", f"As recommended: {best}."], "note", "page"),
    ]


def _month_section(warmth: Warmth, units: str) -> Section:
    """Air and water of each month as the file says."""
    head = Head("Month by month, water and air as the file says:", "text")
    return Section(
        "months",
        [head, Table(words.water_rows(warmth, units))],
        "The same in numbers, month by month",
        topics=("water",),
    )


def _failure_parts(found: Cold) -> list[Part]:
    """Hours that each cohort has when every heater fails, as the file says and, where that differs, as recommended."""
    units = found.site.file.site.units
    parts: list[Part] = [
        Head("When every heater fails at dusk of the design night, pumps still running, as the file says:", "text"),
        Head("The night the heaters fail", "page"),
        Chart("night", partial(_drawn, found, "night")),
        Sentences(["As the file says:"], "note", "page"),
        Table(words.failure_rows(found.failed.times, units)),
        Sentences([words.night_sentence(found)], "note"),
    ]
    if found.best is not found.plan:
        parts += [
            Head("The same as recommended:", "text"),
            Sentences(["As recommended:"], "note", "page"),
            Table(words.failure_rows(found.failed_recommended.times, units)),
        ]
    return parts


def _caution_sections(found: Cold) -> list[Section]:
    """What to mind, and what was set aside or assumed."""
    heads = [Head("Cautions:", "text"), Head("Keep in mind", "page")]
    units = found.site.file.site.units
    notes = words.note_sentences(found.notes, units)
    return [
        Section("cautions", [*heads, points(words.cautions(units), "background")], topics=("cautions",)),
        Section("assumptions", [Head("Notes:", "text"), points(notes, "background")], topics=("assumptions",)),
    ]


def _caution_section(notes: Iterable[Note | str], units: str) -> Section:
    heads = [Head("Notes and cautions:", "text"), Head("Keep in mind", "page")]
    return Section(
        "cautions", [*heads, points([*words.note_sentences(notes, units), *words.cautions(units)], "background")]
    )


# --- the comparison and a fit as plain data


def _option_data(option: Option, plan: Option, units: str) -> dict[str, Any]:
    """One option as plain data; keys carry units."""
    new = [f"{limit} {where}" for limit, where in option.broken if (limit, where) not in plan.broken]
    return {
        "name": words.option_name(option, units),
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
        "yield_kg_by_crop": {crop: round(kg, 2) for crop, kg in option.crops.items()},
        "nights_too_cold_by_crop": dict(option.chilled),
        "limits_short_of_reserve": [f"{limit} {where}" for limit, where in option.near],
        "cost_per_extra_kg": None if option.cost_per_extra_kg is None else round(option.cost_per_extra_kg, 2),
        "is_on_frontier": option.is_on_frontier,
        "fuel": fuel_rows(option),
        "heat_kwh_by_month": {month: round(heat, 1) for month, heat in option.month_kwh.items()},
        "fuel_by_month": fuel_months(option),
        "design_night_kw": {place: round(power, 2) for place, power in option.design_kw.items()},
        "heaters_to_buy_kw": {place: round(size_to_have(option.design_kw[place]), 2) for place in option.to_buy},
        "heater_sizes": {place: size.value for place, size in sizes(option).items()},
        "is_heater_too_small": any(size is not HeaterSize.ENOUGH for size in sizes(option).values()),
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


def _cold_data(cold: Cold) -> dict[str, Any]:
    """The comparison as plain data; keys carry units."""
    units = cold.site.file.site.units
    recommended = words.option_name(cold.best, units)
    return {
        "site": cold.site.file.site.name,
        "heaters": [heater_data(judged) for judged in judged_heaters(cold.site)],
        "options": [_option_data(option, cold.plan, units) for option in cold.options],
        "recommended": recommended,
        "reason": reason_words(cold.verdict, units),
        "what_would_change_it": turning_words(cold.verdict, units, cold.season_advice, cold.is_heat_forbidden),
        "conditions": condition_sentences(cold),
        "crop_worth_per_kg": dict(cold.verdict.crop_worth),
        "worth_per_kg": cold.worth,
        "is_worth_assumed": cold.is_worth_assumed,
        "synthetic_years": cold.years,
        "seed": cold.seed,
        "chance_of_design_night": round(coldest_nights(cold.warmth.weather).share_at(cold.failed.outdoor_low_c), 4),
        "heater_failure": _failure(words.option_name(cold.plan, units), cold.failed),
        "heater_failure_recommended": _failure(recommended, cold.failed_recommended),
        "water_by_month": month_water(cold.warmth),
        "notes": words.note_sentences(cold.notes, units),
        "cautions": words.cautions(units),
    }


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


def _fit_data(fit: HeatFit) -> dict[str, Any]:
    """A fit as plain data."""
    return {
        "loop": fit.loop, "days": fit.days,
        "factors": {key: round(value, 4) for key, value in fit.factors.items()},
        "known_within_factor": {key: round(value, 3) for key, value in fit.uncertainty.items()},
        "rms_before_c": round(fit.rms_before_c, 3), "rms_after_c": round(fit.rms_after_c, 3),
        "bias_after_c": round(fit.bias_after_c, 3), "is_on_normals": fit.is_on_normals,
        "factors_hard_to_believe": fit.hard_to_believe,
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
        data = _option_data(option, cold.plan, cold.site.file.site.units)
        kept = ["" if data[name] is None else data[name] for name in _OPTION_COLUMNS]
        yield [
            *kept,
            *("; ".join(f"{k} {v}" for k, v in data[key].items()) for key in ("design_night_kw", "installed_kw")),
        ]
