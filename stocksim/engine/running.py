"""Run a season of a site, or one fish in good water."""

from __future__ import annotations

import datetime as dt
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.engine.arrays.beds import build_planting
from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.results.course import Course
from stocksim.engine.results.frames import Season
from stocksim.engine.season import Progress, simulate
from stocksim.errors import Fault, InputError, OutsideValidity, ParameterError
from stocksim.fish.energetics import maintenance_energy
from stocksim.fish.growth import Growth, grow_in_good_water
from stocksim.fish.thermal import acclimated_to, days_to_death, lethal_lines, temperature_hazard
from stocksim.library.feeds import grams_like_pellets, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species
from stocksim.site.reading import Site
from stocksim.validity import RANGED, is_from_within

FloatArray = NDArray[np.float64]

_LONGEST_DAYS = 3660
# Water that kills this share of the fish within so many days is refused, for nobody grows there; slower deaths are
# told.
NEARLY_ALL, _SOON_DAYS = 0.95, 7


def run_season(site: Site, progress: Progress | None = None, **overrides: Any) -> Season:
    """Season of a site.

    Parameters
    ----------
    site : Site
        A checked site.
    progress : callable, optional
        Called with (days done, days in all).
    **overrides
        Dotted fields of the site file to the value it would hold there, as
        ``**{"cohorts.autumn_perch.count": 40}``.

    Returns
    -------
    Season
        Frames ``tanks``, ``cohorts``, ``beds``, ``loops`` and the findings.

    Raises
    ------
    InputError
        If an override makes the site faulty.

    Warns
    -----
    OutsideValidity
        Once, if the season leaves ranges that the sources of its formulas cover; `Season.left_ranges` tells all. Not
        where another part of this package asks, which tells it in its answer.
    """
    season = _run(site, progress, overrides)
    if not is_from_within(2) and season.left_ranges:
        left = season.left_ranges
        places = ", ".join(f"{one.argument} at {one.where} on {one.days} days" for one in left)
        warnings.warn(f"The season leaves ranges that its formulas hold in: {places}.", OutsideValidity, stacklevel=2)
    return season


def _run(site: Site, progress: Progress | None, overrides: dict[str, Any]) -> Season:
    changed = site.with_changes(overrides) if overrides else site
    planting = build_planting(changed)
    layout = build_layout(changed, planting)
    course = simulate(layout, progress)
    faults = impossible_events(changed, layout, course)
    if faults:
        raise InputError(faults)
    return Season(changed, layout, course, planting)


def impossible_events(site: Site, layout: Layout, course: Course, scenario: int = 0) -> list[Fault]:
    """Events that ask for more than there would be had no fish died; what deaths alone leave short is no fault."""
    faults = []
    for transfer in course.transfers:
        happening, had = transfer.happening, float(transfer.had[scenario])
        if not transfer.wanted > had:
            continue
        root = layout.stays[happening.source].root
        kin = [column for column, stay in enumerate(layout.stays) if stay.root == root]
        lost = course.deaths[scenario, : happening.day][:, kin]
        by_weight = not np.isnan(happening.weight_g)
        weight = course.weight_g[scenario]
        dead = float((lost * weight[: happening.day][:, kin]).sum() if by_weight else lost.sum())
        # the dead would have grown on: as heavy as those that are left at most
        if by_weight:
            dead = max(dead, float(lost.sum()) * float(weight[happening.day, happening.source]))
        if transfer.wanted <= had + dead + (0.0 if by_weight else 1e-6):
            continue
        cohort, when = layout.cohorts[happening.source], layout.start + dt.timedelta(days=happening.day)
        field, unit = ("weight", "g") if not np.isnan(happening.weight_g) else ("count", "fish")
        message = (
            f"{transfer.wanted:.0f} {unit} are more than the {had:.0f} {unit} that {cohort} has on {when}; ask for "
            "less, or write all = true."
        )
        faults.append(Fault(f"events[{happening.number}]", field, message, site.name))
    return faults


def grow(
    species: str,
    from_weight_g: float,
    temperature_c: ArrayLike,
    days: int | None = None,
    to_weight_g: float | None = None,
    ration_fraction: float = 1.0,
    feed: str | None = None,
    beside: Path | None = None,
) -> Growth:
    """Growth of one fish in good water, for a number of days or until it reaches a weight.

    Parameters
    ----------
    species : str
        Key of the species library.
    from_weight_g : float
        Weight on the first morning. [g]
    temperature_c : array_like, shape () or (days,)
        Water temperature, constant or day by day. [degC]
    days : int, optional
        Number of days; give this or ``to_weight_g``.
    to_weight_g : float, optional
        Weight to stop at. [g]
    ration_fraction : float
        Share of full appetite eaten, 0 for an unfed fish. [-]
    feed : str, optional
        Key of the feed library, or several with their shares of what is weighed out, as
        ``perch_45 80 %, duckweed 20 %``; by default the feed that the species was fitted with.
    beside : Path, optional
        Folder of a site file, whose own species and feed files win over the library's.

    Returns
    -------
    Growth
        Arrays of shape (days,).

    Raises
    ------
    InputError
        If anything asked is impossible, all of it at once, or the weight is not reached within ten years.

    Warns
    -----
    OutsideValidity
        If the fish leaves the range of weights that the growth points cover.
    """
    faults = growth_faults(species, from_weight_g, temperature_c, days, to_weight_g, ration_fraction, feed, beside)
    if (days is None) == (to_weight_g is None):
        faults.append(Fault("", "", "give either a number of days or a weight to reach, not both and not neither."))
    if faults:
        raise InputError(faults)
    entry = load_species(species, beside)
    meal = load_feed(feed or entry.facts["fitted_with_feed"], beside)
    horizon = days if days is not None else _LONGEST_DAYS
    temperature = np.asarray(temperature_c, float)
    daily = np.full(horizon, float(temperature)) if temperature.ndim == 0 else temperature[:horizon]
    grams = grams_like_pellets(entry, meal, beside)
    course = grow_in_good_water(
        entry.__getitem__, meal.__getitem__, from_weight_g, daily, ration_fraction, grams_like_pellets=grams
    )
    if to_weight_g is not None:
        reached = np.flatnonzero(course.weight_g >= to_weight_g)
        if not reached.size:
            raise InputError(
                f"{species} does not reach {to_weight_g:g} g at {daily.mean():.1f} degC within ten years; it stands at "
                f"{course.weight_g[-1]:.0f} g then."
            )
        course = Growth(*(part[: int(reached[0]) + 1] for part in course))
    _warn_outside(species, from_weight_g, course)
    return course


def growth_faults(
    species: str,
    from_weight_g: float | None,
    temperature_c: ArrayLike | None,
    days: int | None,
    to_weight_g: float | None,
    ration_fraction: float,
    feed: str | None,
    beside: Path | None = None,
) -> list[Fault]:
    """Everything impossible in what `grow` is asked; None is not looked at.

    Parameters
    ----------
    species, from_weight_g, temperature_c, days, to_weight_g, ration_fraction, feed, beside
        As in `grow`.

    Returns
    -------
    list of Fault
        One for each, without a place.
    """
    faults: list[Fault] = []
    entry = None
    try:
        entry = load_species(species, beside)
    except ParameterError as error:
        faults += error.faults
    try:
        if feed is not None:
            load_feed(feed, beside)
    except ParameterError as error:
        faults += error.faults
    sentences = []
    if from_weight_g is not None and not 0.05 <= from_weight_g <= 2e4:
        sentences.append(f"a start of {from_weight_g:g} g is not allowed; give 0.05 g to 20 kg.")
    if from_weight_g is not None and to_weight_g is not None and not to_weight_g > from_weight_g:
        sentences.append(f"{to_weight_g:g} g is not above the start of {from_weight_g:g} g.")
    if temperature_c is not None and entry is not None:
        sentences += _deadly_water(species, entry, temperature_c, days)
    if days is not None and not 1 <= days <= _LONGEST_DAYS:
        sentences.append(f"{days} days are not allowed; give 1 to {_LONGEST_DAYS}.")
    if not 0.0 <= ration_fraction <= 1.0:
        sentences.append(f"a ration of {ration_fraction:g} is not allowed; give a share of appetite from 0 to 1.")
    return faults + [Fault("", "", sentence) for sentence in sentences]


def cold_and_heat(entry: Entry, temperature_c: ArrayLike, days: int | None) -> tuple[FloatArray, FloatArray]:
    """Hazards of cold and of heat for fish that begin used to the water of their first day.

    Parameters
    ----------
    entry : Entry
        A species.
    temperature_c : array_like, shape () or (days,)
        Water temperature, constant or day by day. [degC]
    days : int, optional
        Number of days; where not given, those of the temperatures, or two months of a constant one.

    Returns
    -------
    cold, heat : ndarray, shape (days,)
        Hazards. [1/day]
    """
    water = np.asarray(temperature_c, float)
    daily = np.full(60 if days is None else days, float(water)) if water.ndim == 0 else water[:days]
    if not daily.size:
        return daily, daily.copy()
    lines = lethal_lines(entry.number)
    return temperature_hazard(daily, acclimated_to(daily, lines), lines)


def _deadly_water(species: str, entry: Entry, temperature_c: ArrayLike, days: int | None) -> list[str]:
    """That water kills nearly all fish of a species within days, and when; empty where it does not."""
    if days is not None and not 1 <= days <= _LONGEST_DAYS:
        days = None  # told already
    hazard = np.sum(cold_and_heat(entry, temperature_c, days), axis=0)
    within = np.cumsum(hazard)
    within[_SOON_DAYS:] -= within[:-_SOON_DAYS].copy()
    if within.max(initial=0.0) < -np.log1p(-NEARLY_ALL):
        return []
    water = np.broadcast_to(np.asarray(temperature_c, float), hazard.shape)
    half, most = (f"{days_to_death(hazard, share):.0f}" for share in (0.5, NEARLY_ALL))
    low, high = entry["temperature_low_limit"], entry["temperature_high_stress"]
    return [
        f"{water[hazard.argmax()]:.1f} degC kills {species}: in the model half are dead by the end of day {half}, "
        f"nearly all by the end of day {most}; give water of {low:.1f} to {high:.1f} degC, or check the unit."
    ]


def _warn_outside(species: str, start_g: float, course: Growth) -> None:
    (weights,) = RANGED[maintenance_energy.__name__].ranges
    low, high = weights.low, weights.high
    outside = int(((course.weight_g < low) | (course.weight_g > high)).sum()) + int(not low <= start_g <= high)
    if outside:
        warnings.warn(
            f"{species} is outside {low:g}-{high:g} g on {outside} days, where no growth point was published.",
            OutsideValidity,
            stacklevel=3,
        )
