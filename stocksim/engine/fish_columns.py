"""The fish side of a layout: one column for every stay of a cohort."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.planting import Planting
from stocksim.engine.rations import Rations, build_rations, ration_fraction, spilled_share
from stocksim.engine.stays import Happening, Stay, build_stays, last_days
from stocksim.fish.energetics import PROTEIN_PER_NITROGEN, maintenance_rate
from stocksim.fish.growth import appetite_rate
from stocksim.fish.survival import (
    BACKGROUND_DEATHS_PER_DAY,
    days_in_a_row_below,
    temperature_hazard,
    training_hazard,
)
from stocksim.library.feeds import load_feed
from stocksim.library.sources import Entry
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

USUAL_DRY_MATTER_DIGESTIBILITY = 0.75  # of feeds that do not say (from memory, 0.7-0.85)
# Fish fill up on energy rather than grams: of wet natural food they eat up to this many times the grams of pellets that
# hold as much energy (wet food of 4 kJ/g against pellets of 20, the ratio of published wet intakes to farmed ones).
MOST_WET_GRAMS = 5.0

_TEMPERATURE_KEYS = ("temperature_low_limit", "temperature_high_stress", "temperature_high_lethal")
SPECIES_KEYS = (
    "intake_exponent", "growth_efficiency", "fasting_loss_fraction", "body_energy", "body_protein", "oxygen_lethal",
    "oxygen_recommended", "unionized_ammonia_design", "unionized_ammonia_acute", "temperature_low_limit",
    "temperature_high_stress", "temperature_high_lethal", "nitrite_limit", "chloride_protects",
    "temperature_change_per_day", "length_weight_intercept", "length_weight_slope", "farmed_condition",
    "prey_share_deep", "prey_share_slender",
)  # fmt: skip


def membership(rows: list[str], columns: tuple[str, ...]) -> FloatArray:
    """Matrix of 1 where the row's name is the column's, shape (rows, columns)."""
    return np.array([[float(row == column) for column in columns] for row in rows]).reshape(len(rows), len(columns))


def fish_columns(site: Site, temperature_c: FloatArray, tank_loop: FloatArray, planting: Planting) -> dict[str, Any]:
    """Fields of a layout that belong to its fish.

    Parameters
    ----------
    site : Site
        A checked site.
    temperature_c : ndarray, shape (day, loop)
        Water of each loop. [degC]
    tank_loop : ndarray, shape (tank, loop)
        1 where the tank is in the loop.
    planting : Planting
        Its planted areas.

    Returns
    -------
    dict
        Arrays by field name, without scenario axes.
    """
    stays, happenings = build_stays(site)
    entries = [site.species[stay.table.species] for stay in stays]
    feeds = [site.feeds[stay.table.feed] for stay in stays]
    cohort_tank = membership([stay.table.tank for stay in stays], tuple(site.file.tanks))
    water = temperature_c @ (cohort_tank @ tank_loop).T
    ends = last_days(stays, happenings, site.days)

    def of_feed(key: str) -> FloatArray:
        return np.array([feed[key] for feed in feeds], float)

    species = {key: np.array([entry[key] for entry in entries], float) for key in SPECIES_KEYS}
    species["is_deep"] = np.array([entry.facts["body_form"] == "deep" for entry in entries], float)
    nitrogen = of_feed("protein") / PROTEIN_PER_NITROGEN
    rations = build_rations(site, stays, water, planting, cohort_tank @ tank_loop)
    return {
        "stays": tuple(stays),
        "happenings": tuple(happenings),
        "cohorts": tuple(stay.cohort for stay in stays),
        "cohort_tank": cohort_tank,
        "count": np.array([stay.count for stay in stays], float),
        "start_weight_g": np.array([stay.table.mean_weight for stay in stays], float),
        "size_spread": np.array([_spread(stay, entry) for stay, entry in zip(stays, entries, strict=True)], float),
        "ration_fraction": np.array([ration_fraction(stay) for stay in stays], float),
        "spilled_share": np.array([spilled_share(stay) for stay in stays], float),
        "stocked_day": np.array([stay.first for stay in stays], dtype=int),
        "until_day": np.array(ends, dtype=int),
        "rations": rations,
        "species": species,
        **by_water(site, stays, happenings, rations, water),
        "feed_energy_kj_g": of_feed("digestible_energy"),
        "feed_gross_kj_g": of_feed("gross_energy"),
        "feed_nitrogen": nitrogen,
        "feed_digested_nitrogen": nitrogen * of_feed("protein_digestibility"),
        "feed_potassium": of_feed("potassium"),
        "feed_phosphorus": of_feed("phosphorus"),
        "feed_dry_matter": of_feed("dry_matter"),
        "feed_digested_dry_matter": np.array(
            [feed.number("dry_matter_digestibility", USUAL_DRY_MATTER_DIGESTIBILITY) for feed in feeds], float
        ),
        "density_limit": np.array([entry[f"density_{site.file.site.density_level}"] for entry in entries], float),
    }


def _spread(stay: Stay, entry: Entry) -> float:
    given = stay.table.size_spread
    return entry["size_spread"] if given is None else given


def by_water(
    site: Site, stays: Sequence[Stay], happenings: Sequence[Happening], rations: Rations, temperature_c: FloatArray
) -> dict[str, Any]:
    """Fields of a layout that follow from the water of each column.

    Parameters
    ----------
    site : Site
        A checked site.
    stays, happenings, rations
        Its columns, what happens to them, and their feeding rules.
    temperature_c : ndarray, shape (..., day, column)
        Water of each column's tank. [degC] Leading axes are scenarios.

    Returns
    -------
    dict
        Appetite and maintenance, hazard and change of temperature, each of the shape of the temperature.
    """
    entries = [site.species[stay.table.species] for stay in stays]
    feeds = [site.feeds[stay.table.feed] for stay in stays]
    species = {key: np.array([entry[key] for entry in entries], float) for key in _TEMPERATURE_KEYS}
    appetite, maintenance = _daily_rates(site, stays, entries, feeds, temperature_c)
    return {
        "appetite_at_1g": appetite,
        "maintenance_per_kg": maintenance,
        "daily_hazard": BACKGROUND_DEATHS_PER_DAY
        + _temperature_deaths(species, temperature_c)
        + rations.in_training * _training_deaths(entries),
        "temperature_change_c": np.maximum(
            _temperature_change(stays, happenings, temperature_c), _by_new_water(site, stays, temperature_c)
        ),
    }


def _daily_rates(
    site: Site, stays: Sequence[Stay], entries: list[Entry], feeds: list[Entry], temperature_c: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Appetite of a 1 g fish and maintenance of a 1 kg fish, each shape (..., day, column)."""
    appetite = np.zeros_like(temperature_c)
    maintenance = np.zeros_like(temperature_c)
    for column, (stay, entry, feed) in enumerate(zip(stays, entries, feeds, strict=True)):
        daily = temperature_c[..., column]
        sex = stay.table.sex
        factor = 1.0 if sex == "mixed" else entry[f"appetite_{sex}"]
        appetite[..., column] = factor * _wet_grams(site, entry, feed) * appetite_rate(entry.__getitem__, daily)
        maintenance[..., column] = maintenance_rate(
            daily, entry["maintenance_at_20"], entry["maintenance_q10_cold"], entry["maintenance_q10_warm"]
        )
    return appetite, maintenance


def _wet_grams(site: Site, entry: Entry, feed: Entry) -> float:
    """Grams of a food eaten for a gram of the pellets that the appetite was fitted with; 1 for any pellet. [-]"""
    if feed.facts.get("kind", "pellet") == "pellet":
        return 1.0
    fitted = load_feed(entry.facts["fitted_with_feed"], site.folder)
    return min(max(fitted["gross_energy"] / feed["gross_energy"], 1.0), MOST_WET_GRAMS)


def _temperature_deaths(species: dict[str, FloatArray], temperature_c: FloatArray) -> FloatArray:
    low = species["temperature_low_limit"]
    spell = np.moveaxis(days_in_a_row_below(np.moveaxis(temperature_c, -2, 0), low), 0, -2)
    stress, lethal = species["temperature_high_stress"], species["temperature_high_lethal"]
    return temperature_hazard(temperature_c, low, stress, lethal, spell)


def _training_deaths(entries: list[Entry]) -> FloatArray:
    return np.array(
        [float(training_hazard(entry["feed_training_loss"], entry["feed_training_days"])) for entry in entries], float
    )


def _by_new_water(site: Site, stays: Sequence[Stay], temperature_c: FloatArray) -> FloatArray:
    """Jump of temperature when a planned change mixes in water of a given temperature. [degC]"""
    jump = np.zeros_like(temperature_c)
    loops = [site.file.tanks[stay.table.tank].loop for stay in stays]
    for key, loop in site.file.loops.items():
        columns = [column for column, name in enumerate(loops) if name == key]
        for change in loop.water_changes:
            if change.temperature is None or not columns:
                continue
            day = (change.date - site.file.season.start).days
            share = change.volume / loop_water_m3(site.file, key)
            jump[..., day, columns] = share * np.abs(change.temperature - temperature_c[..., day, columns])
    return jump


def _temperature_change(
    stays: Sequence[Stay], happenings: Sequence[Happening], temperature_c: FloatArray
) -> FloatArray:
    """Change of water from the day before, the move into another loop included, shape (..., day, column). [degC]"""
    change = np.abs(np.diff(temperature_c, axis=-2, prepend=temperature_c[..., :1, :]))
    for column, stay in enumerate(stays):
        if stay.first < change.shape[-2]:
            change[..., stay.first, column] = 0.0
    for happening in happenings:
        if happening.source >= 0 and happening.target >= 0 and happening.day > 0:
            day, source, target = happening.day, happening.source, happening.target
            change[..., day, target] = np.abs(temperature_c[..., day, target] - temperature_c[..., day - 1, source])
    return change
