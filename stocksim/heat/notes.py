"""What is to be said of a site once the temperature of its water is known."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from stocksim.heat.heaters import SIZE_WORDS, HeaterSize, JudgedHeater, judged_heaters, size_to_have
from stocksim.heat.hourly import Warmth
from stocksim.heat.small_fish import small_cohorts, small_words
from stocksim.heat.temperatures import computed_water, short_hours, water_c
from stocksim.site.climate_faults import unvented_notes
from stocksim.site.notes import cycling_notes
from stocksim.site.plausible import ration_questions
from stocksim.site.reading import Site
from stocksim.units import format_quantity, in_units

FloatArray = NDArray[np.float64]


def site_questions(site: Site) -> tuple[str, ...]:
    """All questions on a site: those of its file, and those on rations in its water.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    tuple of str
        Sentences.

    Raises
    ------
    InputError
        As in `water_c`.
    """
    return *site.questions, *ration_questions(site.file, site.species, site.feeds, water_c(site), site.folder)


def site_notes(site: Site) -> tuple[str, ...]:
    """All that is to be said of a site: its questions, what was assumed, and what its water's temperature tells.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    tuple of str
        Sentences, the questions first.

    Raises
    ------
    InputError
        As in `water_c`.
    """
    assumed = site.notes[len(site.questions) :]
    return *site_questions(site), *assumed, *heat_notes(site)


def heat_notes(site: Site) -> list[str]:
    """What the temperatures of a site tell: cycling too cold, fish too small for it, heaters too small, ranges.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    list of str
        Sentences that name the place first.

    Raises
    ------
    InputError
        As in `water_c`.
    """
    if all(loop in site.held_c for loop in site.file.loops):
        return danger_notes(site)
    units = site.file.site.units
    return [*danger_notes(site), *(_range_note(loop, c, units) for loop, c in computed_water(site).mean_c.items())]


def danger_notes(site: Site) -> list[str]:
    """What the temperatures of a site put in danger: cycling too cold, fish too small for it, heaters too small."""
    water, units = water_c(site), site.file.site.units
    notes = cycling_notes(site.file, water) + [small_words(small, units) for small in small_cohorts(site)]
    notes += heater_notes(site)
    if all(loop in site.held_c for loop in site.file.loops):
        return notes
    return [*notes, *_short_notes(computed_water(site).short_hours)]


def design_notes(site: Site, warmth: Warmth) -> list[str]:
    """All that is to be said of a site's heaters."""
    return unvented_notes(site.file) + heater_notes(site) + _short_notes(short_hours(warmth))


def heater_notes(site: Site) -> list[str]:
    """Heaters that are too small for the design night, or too small to be sure of; the run keeps them as they are."""
    return [
        heater_words(one, site.file.site.units) for one in judged_heaters(site) if one.size is not HeaterSize.ENOUGH
    ]


def heater_words(one: JudgedHeater, units: str) -> str:
    """What the design night asks of a heater that is not surely enough, beside what it gives."""
    cold, inside = (format_quantity(t, "temperature", units) for t in (one.design_cold_c, one.set_point_c))
    field = "heat.heater" if one.place.startswith("loops.") else "heater"
    asks = (
        f"{one.place}.{field} is {SIZE_WORDS[one.size]}: a night of {cold} outdoors asks {one.needed_kw:.1f} kW for "
        f"{inside}, and it gives {one.power_kw:.1f} kW"
    )
    short = one.needed_kw - one.power_kw
    missing = (
        f", so {short:.1f} kW ({100.0 * short / one.needed_kw:.0f} %) is missing"
        if one.size is HeaterSize.TOO_SMALL
        else ""
    )
    return (
        f"{asks}{missing}. The balance is known to a quarter, so size a heater by a quarter more: "
        f"{size_to_have(one.needed_kw):.1f} kW."
    )


def _range_note(loop: str, daily_c: FloatArray, units: str) -> str:
    """How cold and warm a loop's computed water gets."""
    low, high = (format_quantity(float(t), "temperature", units) for t in (daily_c.min(), daily_c.max()))
    return (
        f"loops.{loop}.water_temperature is computed: {low} to {high}, which may be "
        f"{in_units('2-3 degC off', units)} until you fit it to a log of your own."
    )


def _short_notes(hours: Mapping[str, float]) -> list[str]:
    """Water heaters that miss their set point in normal weather."""
    return [
        f"{place}.heat.heater cannot keep its set point for {short:.0f} hours of this season's normal weather."
        for place, short in hours.items()
    ]
