"""What the commands about fish and water answer, as data and as text."""

from __future__ import annotations

import csv
import warnings
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from stocksim.engine.running import grow as grow_fish
from stocksim.errors import InputError, OutsideValidity
from stocksim.faces.marks import marked
from stocksim.faces.tables import text_table
from stocksim.faces.wrapping import wrapped
from stocksim.library.feeds import feed_kind, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species, species_names
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.carbonate import carbon_dioxide
from stocksim.water.oxygen import oxygen_saturation
from stocksim.writing import safe_cell, write_file

# an unfed fish that has lost half of its weight counts as starved (engineering judgement of this project, no source)
_WASTED_SHARE = 0.5


def growth_answer(
    species: str,
    from_weight_g: float,
    temperature_c: float,
    days: int | None,
    to_weight_g: float | None,
    ration_fraction: float,
    feed: str | None,
) -> dict[str, Any]:
    """Answer of `grow` as plain data.

    Parameters
    ----------
    species, from_weight_g, temperature_c, days, to_weight_g, ration_fraction, feed
        As in `stocksim.grow`.

    Returns
    -------
    dict
        Keys of the contract, with notes on validity and evidence.
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
            f"{meal.title}: natural food, weighed wet as you give it. {meal.facts.get('caution', '')}".rstrip()
        )
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
        "feed_conversion": round(eaten / gain, 3) if gain > 0.0 else None,
        "specific_growth_percent_per_day": round(100.0 * float(np.log(end / from_weight_g)) / number, 4),
        "oxygen_g": round(float(course.oxygen_g.sum()), 3),
        "tan_g": round(float(course.tan_g.sum()), 4),
        "notes": notes,
        "daily": daily,
    }
    return marked(data, entries=(entry, meal))


def growth_text(species: str, answer: dict[str, Any]) -> str:
    """Printed answer of `grow`."""
    conversion = answer["feed_conversion"]
    lines = [
        f"{species} at {answer['temperature_c']:.1f} degC: {answer['weight_g']:.1f} g after {answer['days']} days "
        f"({answer['specific_growth_percent_per_day']:.2f} % a day).",
        f"Eaten {answer['feed_g']:.1f} g a fish"
        + (f", {conversion:.2f} g a g of gain" if conversion is not None else ", no gain")
        + f"; oxygen {answer['oxygen_g']:.1f} g, ammonia nitrogen {answer['tan_g']:.2f} g.",
        f"Evidence {answer['evidence']}; strain, density, light and meals move growth by 40 % either way.",
        f"Growth is fitted to the points in docs/fits.md; `stocksim fish {species}` names the source of every value.",
    ]
    return "\n".join(line for text in (*lines, *answer["notes"]) for line in wrapped(text, "  "))


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
) -> dict[str, Any]:
    """Answer of `water` as plain data.

    Parameters
    ----------
    temperature_c, ph, tan_mg_l, elevation_m, alkalinity_mg_l
        What was measured; what is not given stays null in the answer.

    Returns
    -------
    dict
        Keys of the contract and each species' limits beside the values.

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
        from stocksim.errors import Fault

        raise InputError([Fault("", "", sentence) for sentence in wrong])
    share = None if ph is None else float(unionized_fraction(ph, temperature_c))
    toxic = None if share is None or tan_mg_l is None else share * tan_mg_l
    gas = None
    if ph is not None and alkalinity_mg_l is not None:
        gas = float(carbon_dioxide(ph, alkalinity_mg_l, temperature_c))
    fish = [load_species(name) for name in species_names()]
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
    }
    return marked(data, entries=fish)


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


def water_text(answer: dict[str, Any]) -> str:
    """Printed answer of `water`."""
    lines = [
        f"At {answer['temperature_c']:.1f} degC and {answer['elevation_m']:.0f} m: oxygen saturation "
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
    said = {None: "-", True: "holds", False: "BROKEN"}
    rows = [
        {
            "species": row["species"],
            "oxygen above mg/L": f"{row['oxygen_recommended_mg_l']:g}",
            "un-ionized below mg/L": f"{row['unionized_ammonia_limit_mg_l']:g}",
            "that is TAN mg/L": "-" if row["tan_limit_mg_l"] is None else f"{row['tan_limit_mg_l']:.2f}",
            "ammonia": said[row["unionized_ammonia_holds"]],
            "temperature": said[row["temperature_holds"]],
            "evidence": row["evidence"],
        }
        for row in answer["limits"]
    ]
    return "\n".join([*(line for text in lines for line in wrapped(text, "  ")), "", text_table(rows)])
