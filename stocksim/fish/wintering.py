"""Fish in a winter: when to feed them, and how many of small ones hunger takes."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.fish.growth import Number, grow_in_good_water
from stocksim.fish.ration import feeding_days
from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY, condition_hazard

FloatArray = NDArray[np.float64]
# what a day's water asks for
NO_FEED, LITTLE_FEED, DAILY_FEED = 0, 1, 2
# Days from one feeding to the next between stop and start, where no trial of the fish tells one: common practice, no
# source.
USUAL_EVERY_DAYS = 3.0


class FeedingBand(NamedTuple):
    """When a species is fed: nothing below ``stop_c``, every day from ``start_c`` on, and a little between. [degC]

    ``ration_percent`` [% of weight] is of each ``every_days``-th day [day] between the two; NaN where no trial tells
    one. ``is_measured`` is False where the stop is only where the model's appetite ends.
    """

    stop_c: float
    start_c: float
    ration_percent: float
    every_days: float
    is_measured: bool


def feeding_band(species: Callable[..., float]) -> FeedingBand:
    """Feeding band of a species, from its file and, where that tells none, from the model's appetite.

    Parameters
    ----------
    species : callable
        Gives a value of the species by its key, and a second argument where its file has none, as ``entry.number``.

    Returns
    -------
    FeedingBand
        Without a stop of its own, where the model's appetite ends; without a start, half way up its cold ramp. [degC]
    """
    ends, ramp = species("no_feeding_below"), species("cold_ramp_width")
    own = species("feeding_stop", np.nan)
    is_measured = not np.isnan(own)
    stop = own if is_measured else ends
    start = species("feeding_start", ends + 0.5 * ramp)
    ration, every = species("winter_ration", np.nan), species("winter_feed_every", USUAL_EVERY_DAYS)
    return FeedingBand(float(stop), float(max(start, stop)), float(ration), float(every), is_measured)


def feeding_phases(
    temperature_c: ArrayLike, stop_below_c: float, start_c: float, restart_days: int = 3
) -> NDArray[np.int64]:
    """What each day's water asks for: no feed, a little, or feed every day.

    Parameters
    ----------
    temperature_c : array_like, shape (day,)
        Water temperature. [degC]
    stop_below_c, start_c : float
        Water colder than the first is not fed, from the second on every day. [degC]
    restart_days : int
        After colder water more is fed again on this day in a row of warm enough water, as in `feeding_days`. [day]

    Returns
    -------
    ndarray of int, shape (day,)
        `NO_FEED`, `LITTLE_FEED` or `DAILY_FEED`.

    Examples
    --------
    >>> feeding_phases([12.0, 9.0, 5.0, 7.0, 7.0, 7.0, 12.0], 6.0, 10.0)
    array([2, 1, 0, 0, 0, 1, 1])
    """
    water = np.asarray(temperature_c, float)
    weekdays = np.zeros(water.shape)
    some, full = (
        feeding_days(water, weekdays, stop_below_c=edge, restart_days=restart_days) for edge in (stop_below_c, start_c)
    )
    return np.asarray(some + some * full, int)


def winter_losses(
    species: Number,
    feed: Number,
    start_weight_g: float,
    temperature_c: ArrayLike,
    ration_fraction: float,
    grams_like_pellets: float = 1.0,
) -> float:
    """Share of fish that hunger and every day take from a batch that is fed by appetite, in good water.

    Parameters
    ----------
    species, feed : callable
        Give a value of the species and of the feed by its key.
    start_weight_g : float
        Weight on the first morning, of fish that have lost nothing before. [g] Above 0.
    temperature_c : array_like, shape (day,)
        Water temperature. [degC]
    ration_fraction : float
        Share of full appetite eaten. [-] 0 for unfed fish.
    grams_like_pellets : float
        As in `grow_in_good_water`. [-]

    Returns
    -------
    float
        Share. [-] Cold, heat and foul water are not in it.
    """
    weight = grow_in_good_water(
        species, feed, start_weight_g, temperature_c, ration_fraction, grams_like_pellets=grams_like_pellets
    ).weight_g
    greatest = np.maximum(np.maximum.accumulate(weight), start_weight_g)
    hazard = condition_hazard(weight, greatest) + BACKGROUND_DEATHS_PER_DAY
    return float(-np.expm1(-hazard.sum()))
