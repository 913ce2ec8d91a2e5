"""The power-cut card: what was typed for it, and the half sheet that hangs beside the tanks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from html import escape
from typing import Any

from stocksim.answers.powercut.answer import (
    TABLE_WORDS,
    UNSURE,
    cylinder_words,
    occasion,
    powercut_answer,
    reserve_rows,
)
from stocksim.answers.powercut.decide import PowerCut, cut_faults, power_cut
from stocksim.engine.results.frames import Season
from stocksim.errors import Fault, InputError
from stocksim.faces.days import read_day
from stocksim.faces.markup import table_html
from stocksim.units import parse_quantity

# key of the form -> label with an example, what `power_cut` calls it, dimension, factor to its unit
AMOUNTS = {
    "battery": ("Battery air pump, each tank", "10 W", "battery_w", "power", 1.0),
    "cylinder": ("Oxygen cylinder, water volume", "10 L", "cylinder_l", "volume", 1000.0),
    "pressure": ("Pressure on its gauge", "150 bar", "cylinder_bar", "pressure", 1.0),
    "room": ("Coldest room air", "5 degC", "room_c", "temperature", 1.0),
    "heater": ("Heater on the generator", "1500 W", "heater_w", "power", 1.0),
    "head": ("Head of the pumps", "2 m", "head_m", "length", 1.0),
}
NO_BATTERY = "0 W is no battery air pump; give the power of yours, or leave this out."
EXAMPLES_US = {"cylinder": "2.6 gal", "pressure": "2200 psi", "room": "40 degF", "head": "6 ft"}


def example_of(key: str, units: str) -> str:
    """What a keeper of a system of units might type."""
    return EXAMPLES_US.get(key, AMOUNTS[key][1]) if units == "us" else AMOUNTS[key][1]


def cut_of_typed(season: Season, typed: Mapping[str, str]) -> PowerCut:
    """Power cut of what stands in the form; an empty field takes the default.

    Parameters
    ----------
    season : Season
        A season that was run.
    typed : mapping of str to str
        ``day`` as 2027-01-20, ``hour`` as 18 or 6.5, and the keys of `AMOUNTS` with their units.

    Returns
    -------
    PowerCut
        As `stocksim.answers.powercut.decide.power_cut` gives it.

    Raises
    ------
    InputError
        With a sentence for every field that cannot be read.
    """
    given: dict[str, Any] = {}
    looked: dict[str, float | None] = {}  # what could be read, for its bounds
    faults = []
    day, hour = typed.get("day", "").strip(), typed.get("hour", "").strip()
    if day:
        try:
            given["on"] = read_day(day)
        except ValueError:
            faults.append(Fault("", "Day", f'"{day}" is not a date; write it as {season.dates[0]}.'))
    if hour:
        try:
            given["hour"] = looked["hour"] = float(hour)
        except ValueError:
            faults.append(Fault("", "Hour", f'"{hour}" is not an hour of the day; write it as 18 or 6.5.'))
    for key, (label, _, name, dimension, factor) in AMOUNTS.items():
        text = typed.get(key, "").strip()
        try:
            if text:
                given[name] = factor * parse_quantity(text, dimension)
                if key == "battery" and not given[name]:
                    raise InputError(NO_BATTERY)
            looked[key] = given.get(name, 0.0)
        except InputError as error:
            faults += [Fault("", label, fault.message) for fault in error.faults]
    labels = {"on": "Day", "hour": "Hour"} | {key: label for key, (label, *_) in AMOUNTS.items()}
    bounds = cut_faults(season.dates[0], season.dates[-1], given.get("on"), looked)
    faults += [replace(fault, field=labels[fault.field]) for fault in bounds]
    if faults:
        raise InputError(faults)
    return power_cut(season, **given)


def card_html(cut: PowerCut, units: str) -> str:
    """The card: the answer large, the tanks, what a generator must carry, every caution.

    Parameters
    ----------
    cut : PowerCut
        Of `stocksim.answers.powercut.decide`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        HTML; alone on paper it fills the upper half of an A4 sheet.
    """
    answer = powercut_answer(cut, units, f'in the field "{AMOUNTS["room"][0]}"')
    notes = list(answer["notes"])
    parts = [f'<div class="ss-card-answer" role="status">{escape(answer["answer"])}</div>']
    if cut.reserves:
        parts.append(f'<p class="ss-card-when">{escape(occasion(cut))}</p>')
        parts.append(table_html(reserve_rows(cut, units)))
        parts.append(f'<p class="ss-card-note">{escape(TABLE_WORDS)}</p>')
        if cut.cylinder_g > 0.0:
            notes.insert(1, cylinder_words(cut))
    else:
        notes = notes[-1:]  # without fish only the generator's load is left to tell
    for note in notes:
        words = f"<b>{escape(note)}</b>" if note == UNSURE else escape(note)
        parts.append(f'<p class="ss-card-note">{words}</p>')
    items = "".join(f"<li>{escape(caution)}</li>" for caution in answer["cautions"])
    parts.append(f'<ol class="ss-card-cautions">{items}</ol>')
    return f'<section class="ss-card">{"".join(parts)}</section>'


CARD_STYLE = """<style>
.ss-card {border: 2px solid currentColor; border-radius: 6px; padding: .8rem 1rem}
.ss-card-answer {font: 700 1.75rem/1.2 'Source Serif', serif; margin-bottom: .3rem}
.ss-card p {margin: .35rem 0} .ss-card-when {font-size: 1rem}
.ss-card-note {font-size: .92rem; line-height: 1.4}
.ss-card-cautions {font-size: .95rem; line-height: 1.4; margin: .5rem 0 0; padding-left: 1.5rem}
.ss-card-cautions li {margin: .25rem 0} .ss-card-cautions li::marker {font-weight: 700}
@media (max-width: 640px) {.ss-card {padding: .6rem .7rem} .ss-card-answer {font-size: 1.4rem}}
@media print {
  .stMainBlockContainer:has(.ss-card) {zoom: 1; padding: 0}
  .stMainBlockContainer:has(.ss-card) h1, .stMainBlockContainer:has(.ss-card) .st-key-cut_screen {display: none}
  .stMainBlockContainer:has(.ss-card) [data-testid="stVerticalBlock"] {gap: 0}
  .ss-card {border: 0; border-bottom: 1px dashed; border-radius: 0; padding: 0 0 2mm; max-height: 138mm}
  .ss-card-answer {font-size: 15pt; margin-bottom: 1mm} .ss-card p {margin: .8mm 0}
  .ss-card-when {font-size: 8.5pt}
  .ss-card .ss-table {font-size: 8.5pt} .ss-card .ss-table thead {display: table-header-group}
  .ss-card .ss-table tr {display: table-row}
  .ss-card .ss-table td, .ss-card .ss-table th {display: table-cell; padding: .4mm 1.2mm}
  .ss-card .ss-table td::before {content: none}
  .ss-card-note {font-size: 7.6pt; line-height: 1.25}
  .ss-card-cautions {font-size: 7.6pt; line-height: 1.25; columns: 2; column-gap: 5mm; margin: 1mm 0 0;
    padding-left: 4mm}
  .ss-card-cautions li {margin: 0 0 .7mm; break-inside: avoid}
}
</style>"""
