"""Feed of a planned season against its planted area, week by week, both ways: fish for the beds, beds for the fish."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.results.frames import Season

_WEEK_DAYS = 7


class Stretch(NamedTuple):
    """Some weeks of a loop; amounts are means a day.

    Parameters
    ----------
    first : date
        First day.
    days : int
        Days of it.
    fish_kg, feed_g : float
        Fish there, and feed offered.
    asked_low_g, asked_high_g : float
        Feed that the planted area asks for by the published band. [g/day] 0 where nothing planted has one.
    planted_m2 : float
        Area planted, with and without a published band. [m2]
    fed_low_m2, fed_high_m2 : float
        Area that the feed supports by the band. [m2] NaN where nothing that is ever planted has one.
    """

    first: dt.date
    days: int
    fish_kg: float
    feed_g: float
    asked_low_g: float
    asked_high_g: float
    planted_m2: float
    fed_low_m2: float
    fed_high_m2: float

    @property
    def asked_fish_kg(self) -> tuple[float, float]:
        """Fish that eat what the planted area asks for, at these weeks' feed a kilo. [kg] NaN where none is fed."""
        if self.feed_g <= 0.0:
            return float("nan"), float("nan")
        return self.fish_kg * self.asked_low_g / self.feed_g, self.fish_kg * self.asked_high_g / self.feed_g

    @property
    def side(self) -> int:
        """-1 where the plan feeds less than the planted area asks for, 1 where more, 0 within the band or unasked."""
        if self.asked_high_g <= 0.0 or self.asked_low_g <= self.feed_g <= self.asked_high_g:
            return 0
        return -1 if self.feed_g < self.asked_low_g else 1


def feed_balance(season: Season, most: int | None = None) -> dict[str, tuple[Stretch, ...]]:
    """Feed against planted area of every loop that has fish.

    Parameters
    ----------
    season : Season
        Of a plan.
    most : int, optional
        Stretches at most, of whole weeks; by default each week by itself.

    Returns
    -------
    dict of str to tuple of Stretch
        By loop.
    """
    layout, table = season.layout, season.loop_table
    weeks = -(-layout.days // _WEEK_DAYS)
    step = _WEEK_DAYS * (1 if most is None else -(-weeks // most))
    daily = {
        "fish_kg": table["biomass_kg"],
        "feed_g": table["feed_g"],
        "asked_low_g": layout.rated_m2 * np.nan_to_num(layout.ratio_low),
        "asked_high_g": layout.rated_m2 * np.nan_to_num(layout.ratio_high),
        "planted_m2": layout.planted_m2,
        "fed_low_m2": table["handbook_area_low_m2"],
        "fed_high_m2": table["handbook_area_high_m2"],
    }
    return {
        loop: tuple(_stretch(season, daily, column, start, step) for start in range(0, layout.days, step))
        for column, loop in enumerate(layout.loops)
        if table["biomass_kg"][:, column].any()
    }


def _stretch(season: Season, daily: dict[str, NDArray[np.float64]], column: int, start: int, step: int) -> Stretch:
    when = slice(start, start + step)
    mean = {key: float(values[when, column].mean()) for key, values in daily.items()}
    return Stretch(first=season.dates[start], days=len(season.dates[when]), **mean)
