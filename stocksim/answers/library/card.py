"""One fish in good water, and water by itself, as data and text. Apart from the species' pages, which know neither."""

from __future__ import annotations

import csv
import warnings
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from stocksim.answers.library.answer import band_sentence
from stocksim.engine.running import cold_and_heat
from stocksim.engine.running import grow as grow_fish
from stocksim.errors import Fault, InputError, OutsideValidity
from stocksim.faces.answer import Answer, Part, Section, Sentences, Table
from stocksim.faces.marks import marked
from stocksim.faces.validity_words import beyond_caution, beyond_data
from stocksim.fish.thermal import days_to_death, is_cold_known, is_heat_known
from stocksim.library.feeds import feed_kind, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species, species_names
from stocksim.units import face_unit, format_quantity, in_units, to_face
from stocksim.validity import Beyond, beyond
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.carbonate import carbon_dioxide
from stocksim.water.oxygen import oxygen_saturation
from stocksim.writing import safe_cell, write_file

# Every value of a species file stands in one of these; tests/test_fish_answers.py sees to it.
_WASTED_SHARE = 0.5
_DEAD_TOLD = 0.005  # deaths by cold or heat of less are told nowhere


def growth_answer(
    species: str,
    from_weight_g: float,
    temperature_c: float,
    days: int | None,
    to_weight_g: float | None,
    ration_fraction: float,
    feed: str | None,
    units: str = "metric",
) -> Answer:
    """How one fish grows in good water.

    Parameters
    ----------
    species, from_weight_g, temperature_c, days, to_weight_g, ration_fraction, feed
        As in `stocksim.grow`.
    units : str
        ``metric`` or ``us``, for the sentences; numbers of the data are metric.

    Returns
    -------
    Answer
        With the section ``growth``; its data have the keys of the contract, with notes on validity and evidence.
    """
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", OutsideValidity)
        course = grow_fish(species, from_weight_g, temperature_c, days, to_weight_g, ration_fraction, feed)
    notes = [str(w.message) for w in caught if issubclass(w.category, OutsideValidity)]
    wasted = np.flatnonzero(~(course.weight_g > _WASTED_SHARE * from_weight_g))
    if wasted.size:
        day = int(wasted[0]) + 1
        notes.append(f"Half its weight is gone by day {day}: a real fish would have died of hunger by then.")
    entry = load_species(species)
    meal = load_feed(feed or entry.facts["fitted_with_feed"])
    if feed_kind(meal) == "natural":
        notes.append(
            f"{meal.title}: natural food, weighed fresh as you give it; {100.0 * meal['dry_matter']:.0f} % of it is "
            f"dry matter. {meal.facts.get('caution', '')}".rstrip()
        )
    notes += _temperature_notes(species, entry, temperature_c, int(course.weight_g.size), units)
    end = float(course.weight_g[-1])
    gain, eaten, number = end - from_weight_g, float(course.eaten_g.sum()), int(course.weight_g.size)
    starts = np.concatenate([[from_weight_g], course.weight_g[:-1]])
    daily = [
        {
            "day": day + 1,
            "weight_g": round(float(course.weight_g[day]), 4),
            "feed_g": round(float(course.eaten_g[day]), 5),
            "feed_percent_body_weight": round(100.0 * float(course.eaten_g[day] / starts[day]), 4),
            "oxygen_g": round(float(course.oxygen_g[day]), 5),
            "tan_g": round(float(course.tan_g[day]), 6),
        }
        for day in range(number)
    ]
    data = {
        "species": species,
        "evidence": entry.evidence,
        "sources": [f"{source.cite} ({source.read})" for source in entry.sources.values()],
        "temperature_c": round(temperature_c, 3),
        "days": number,
        "weight_g": round(end, 3),
        "feed_g": round(eaten, 3),
        "feed_dry_g": round(eaten * meal["dry_matter"], 3),
        "feed_conversion": round(eaten / gain, 3) if gain > 0.0 else None,
        "specific_growth_percent_per_day": round(100.0 * float(np.log(end / from_weight_g)) / number, 4),
        "oxygen_g": round(float(course.oxygen_g.sum()), 3),
        "tan_g": round(float(course.tan_g.sum()), 4),
        "notes": notes,
        "daily": daily,
    }
    told = marked(data, entries=(entry, meal))
    return Answer(
        "", "", [Section("growth", [Sentences(_growth_words(species, told, units), indent="  ")])], lambda: told
    )


def _temperature_notes(species: str, entry: Entry, temperature_c: float, days: int, units: str) -> list[str]:
    """How many die of cold or heat in those days, or that it is not known."""
    notes = []
    for word, cause, hazard, is_known, is_past in zip(
        ("cold", "hot"),
        ("cold", "heat"),
        cold_and_heat(entry, temperature_c, days),
        (is_cold_known(entry.number), is_heat_known(entry.number)),
        (temperature_c < entry["temperature_low_limit"], temperature_c > entry["temperature_high_stress"]),
        strict=True,
    ):
        dead = -np.expm1(-hazard.sum())
        if is_past and not is_known:
            notes.append(
                f"Whether {species} survives water as {word} as {format_quantity(temperature_c, 'temperature', units)} "
                f"is not known here: its file holds no measured death by {cause}."
            )
        elif dead >= _DEAD_TOLD:
            half = days_to_death(hazard, 0.5)
            when = f", half of them by the end of day {half:.0f}" if np.isfinite(half) else ""
            notes.append(
                f"Water as {word} as this kills about {100.0 * dead:.0f} of 100 fish in {days} days in the "
                f"model{when}: an alarm, not a count."
            )
    return notes


def _growth_words(species: str, answer: dict[str, Any], units: str) -> list[str]:
    conversion, unit = answer["feed_conversion"], face_unit("dose", units)

    def mass(key: str) -> str:
        return f"{to_face(answer[key], 'dose', units):.{1 if units == 'metric' else 2}f} {unit}"

    return [
        f"{species} at {format_quantity(answer['temperature_c'], 'temperature', units)}: {mass('weight_g')} after "
        f"{answer['days']} days ({answer['specific_growth_percent_per_day']:.2f} % a day).",
        f"Eaten {mass('feed_g')} a fish ({mass('feed_dry_g')} of dry matter)"
        + (f", feed conversion {conversion:.2f}" if conversion is not None else ", no gain")
        + f"; oxygen {mass('oxygen_g')}, {answer['tan_g']:.2f} g of ammonia nitrogen.",
        f"Evidence {answer['evidence']}; strain, density, light and meals move growth by 40 % either way. "
        f"{band_sentence(load_species(answer['species']))}",
        f"Growth is fitted to the points in docs/fits.md; `stocksim fish {species}` names the source of every value.",
        *answer["notes"],
    ]


def write_rows(path: Path, rows: list[dict[str, Any]]) -> None:
    """Write rows as CSV; only a file with the same columns is written over.

    Raises
    ------
    InputError
        If something else is there, or the file cannot be written.
    """
    columns = list(rows[0])

    def write(out: TextIO) -> None:
        writer = csv.DictWriter(out, fieldnames=columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows({key: safe_cell(cell) for key, cell in row.items()} for row in rows)

    def is_ours(file: Path) -> bool:
        with file.open("rb") as there:
            return there.readline(1000).rstrip() == ",".join(columns).encode()

    write_file(path, write, is_ours)


def water_answer(
    temperature_c: float,
    ph: float | None,
    tan_mg_l: float | None,
    elevation_m: float,
    alkalinity_mg_l: float | None,
    units: str = "metric",
) -> Answer:
    """What water of some temperature and test holds, beside each species' limits.

    Parameters
    ----------
    temperature_c, ph, tan_mg_l, elevation_m, alkalinity_mg_l
        What was measured; what is not given stays null in the answer.
    units : str
        ``metric`` or ``us``, for the sentences; numbers of the data are metric.

    Returns
    -------
    Answer
        With the section ``water``; its data have the keys of the contract.

    Raises
    ------
    InputError
        If a value is outside the range of the formulas, all such values at once.
    """
    bounds = (
        ("--at", temperature_c, 0.0, 40.0, "degC"),
        ("--ph", ph, 5.0, 10.0, ""),
        ("--tan", tan_mg_l, 0.0, 1000.0, "mg/L"),
        ("--elevation", elevation_m, -430.0, 4500.0, "m"),
        ("--alkalinity", alkalinity_mg_l, 0.0, 1000.0, "mg/L"),
    )
    wrong = [
        f"{name}: {value:g}{unit and ' '}{unit} is not allowed; give {low:g} to {high:g} {unit}".rstrip() + "."
        for name, value, low, high, unit in bounds
        if value is not None and not low <= value <= high
    ]
    if tan_mg_l is not None and ph is None:
        wrong.append("--tan: needs --ph too; the toxic share of ammonia depends on it.")
    if alkalinity_mg_l is not None and ph is None:
        wrong.append("--alkalinity: needs --ph too; together they give carbon dioxide.")
    if wrong:
        raise InputError([Fault("", "", sentence) for sentence in wrong])
    share = None if ph is None else float(unionized_fraction(ph, temperature_c))
    toxic = None if share is None or tan_mg_l is None else share * tan_mg_l
    gas = None
    if ph is not None and alkalinity_mg_l is not None:
        gas = float(carbon_dioxide(ph, alkalinity_mg_l, temperature_c))
    fish = [load_species(name) for name in species_names()]
    outside = _water_beyond(temperature_c, ph, elevation_m, has_gas=gas is not None)
    data = {
        "temperature_c": round(temperature_c, 3),
        "ph": ph,
        "tan_mg_l": tan_mg_l,
        "elevation_m": round(elevation_m, 1),
        "alkalinity_mg_l": alkalinity_mg_l,
        "oxygen_saturation_mg_l": round(float(oxygen_saturation(temperature_c, elevation_m)), 4),
        "unionized_fraction": None if share is None else round(share, 7),
        "unionized_ammonia_mg_l": None if toxic is None else round(toxic, 6),
        "co2_mg_l": None if gas is None else round(gas, 3),
        "limits": [_limits_row(entry, temperature_c, share, toxic) for entry in fish],
        "outside_validity": [beyond_data(one) for one in outside],
    }
    told = marked(data, entries=fish)
    parts: list[Part] = [
        Sentences([*_water_words(told, units), *map(beyond_caution, outside)], indent="  "),
        Table([_water_row(row) for row in told["limits"]], gap=True),
    ]
    return Answer("", "", [Section("water", parts)], lambda: told)


def _water_beyond(temperature_c: float, ph: float | None, elevation_m: float, has_gas: bool) -> list[Beyond]:
    """Ranges that this water leaves, of the formulas that answer it."""
    asked = ["oxygen_saturation"] + ["unionized_fraction"] * (ph is not None) + ["carbon_dioxide"] * has_gas
    return [one for name in asked for one in beyond(name, temperature_c=temperature_c, ph=ph, elevation_m=elevation_m)]


def _limits_row(entry: Entry, temperature_c: float, share: float | None, toxic: float | None) -> dict[str, Any]:
    design = entry["unionized_ammonia_design"]
    low, high = entry["temperature_low_limit"], entry["temperature_high_stress"]
    return {
        "species": entry.name,
        "evidence": entry.evidence,
        "oxygen_recommended_mg_l": entry["oxygen_recommended"],
        "unionized_ammonia_limit_mg_l": design,
        "tan_limit_mg_l": None if share is None else round(design / share, 3),
        "unionized_ammonia_holds": None if toxic is None else toxic <= design,
        "temperature_holds": low <= temperature_c <= high,
    }


def _water_words(answer: dict[str, Any], units: str) -> list[str]:
    height = in_units(f"{answer['elevation_m']:.0f} m", units)
    lines = [
        f"At {format_quantity(answer['temperature_c'], 'temperature', units)} and {height}: oxygen saturation "
        f"{answer['oxygen_saturation_mg_l']:.2f} mg/L."
    ]
    if answer["unionized_fraction"] is not None:
        lines.append(f"At pH {answer['ph']:g} {100 * answer['unionized_fraction']:.3f} % of ammonia is un-ionized.")
    if answer["unionized_ammonia_mg_l"] is not None:
        lines.append(
            f"{answer['tan_mg_l']:g} mg/L total ammonia nitrogen, of which {answer['unionized_ammonia_mg_l']:.4f} mg/L "
            "is un-ionized (as N)."
        )
    if answer["co2_mg_l"] is not None:
        lines.append(f"Carbon dioxide {answer['co2_mg_l']:.1f} mg/L (an error of 0.1 in pH moves it by 26 %).")
    return lines


def _water_row(row: dict[str, Any]) -> dict[str, str]:
    """A species' limits beside the water."""
    said = {None: "-", True: "holds", False: "BROKEN"}
    return {
        "species": row["species"],
        "oxygen above mg/L": f"{row['oxygen_recommended_mg_l']:g}",
        "un-ionized below mg/L": f"{row['unionized_ammonia_limit_mg_l']:g}",
        "that is TAN mg/L": "-" if row["tan_limit_mg_l"] is None else f"{row['tan_limit_mg_l']:.2f}",
        "ammonia": said[row["unionized_ammonia_holds"]],
        "temperature": said[row["temperature_holds"]],
        "evidence": row["evidence"],
    }
