"""What to buy for the rest of a season, by when: feed, base, iron, fuel, with what it costs and how long it keeps.

Apart from `answer`, which tells it: this decides.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import NamedTuple

import numpy as np

from stocksim.engine.results.frames import Season
from stocksim.heat.needed import fuel_needed
from stocksim.library.feeds import feed_kind, shares_of
from stocksim.plants.nutrients import IRON_EVERY_DAYS, PLANT_SALTS, iron_dose_g

# Common practice, no source: pellets keep some three months cool, dry and dark; then vitamins and fats spoil.
FEED_KEEPS_DAYS = 90
FEED_KEEPS = "3 months, cool, dry, dark"
FRESH_KEEPS = "days: grow or gather it fresh"
SALT_KEEPS = "years, closed and dry"
CHELATE_KEEPS = "a year or two, closed, dry and dark"
FUEL_KEEPS = {
    "natural_gas": "comes by pipe",
    "electricity": "comes by wire",
    "propane": "years, in its cylinder",
    "heating_oil": "a year, in a sound tank",
    "kerosene": "a year, in a sound can",
    "wood_pellets": "years, if dry",
}
_LEAST_KG = 0.005


class Item(NamedTuple):
    """Something to buy.

    Parameters
    ----------
    by : date
        Day on which it must be there.
    what : str
        Its name.
    kg : float
        Weight, NaN where it is sold in another unit. [kg]
    amount, unit
        Of what is sold otherwise.
    cost : float or None
        In the money of the file; None without a price.
    keeps : str
        How long (all of it common practice, no source).
    use : str
        What it is for.
    """

    by: dt.date
    what: str
    kg: float
    amount: float
    unit: str
    cost: float | None
    keeps: str
    use: str


def shopping(season: Season, first: dt.date) -> list[Item]:
    """What to buy from a day of the season on, the earliest first.

    Parameters
    ----------
    season : Season
        A season that was run.
    first : date
        One of its days.

    Returns
    -------
    list of Item
        Feed in lots that keep until they are fed, everything else once.
    """
    day = season.dates.index(first)
    items = [*_feeds(season, day), *_bases(season, day), *_irons(season, day), *_fuels(season, day)]
    return sorted(items, key=lambda item: item.by)


def _feeds(season: Season, day: int) -> list[Item]:
    wishes = season.site.file.stocking
    price = None if wishes is None else wishes.feed_price
    offered: dict[str, np.ndarray] = {}
    is_fresh: dict[str, bool] = {}
    for column, stay in enumerate(season.layout.stays):
        for share, entry in shares_of(season.site.feeds[stay.table.feed]):
            by_day = share * season.course.fed_g[0, :, column] / 1000.0
            offered[entry.name] = offered.get(entry.name, 0.0) + by_day
            is_fresh[entry.name] = feed_kind(entry) == "natural"
    items = []
    for name, kg_by_day in offered.items():
        every = len(season.dates) if is_fresh[name] else FEED_KEEPS_DAYS
        for start in range(day, len(season.dates), every):
            kg = float(kg_by_day[start : start + every].sum())
            fed = np.flatnonzero(kg_by_day[start : start + every])
            if kg >= _LEAST_KG:
                cost = None if price is None or is_fresh[name] else price * kg
                keeps = FRESH_KEEPS if is_fresh[name] else FEED_KEEPS
                by = season.dates[start + int(fed[0])]
                items.append(Item(by, name.replace("_", " "), kg, math.nan, "kg", cost, keeps, "feed"))
    return items


def _bases(season: Season, day: int) -> list[Item]:
    items = []
    for column, (loop, table) in enumerate(season.site.file.loops.items()):
        grams = season.course.buffer_g[0, day:, column]
        if grams.sum() / 1000.0 >= _LEAST_KG:
            by = season.dates[day + int(np.flatnonzero(grams)[0])]
            name = table.buffer.replace("_", " ")
            items.append(
                Item(by, name, float(grams.sum()) / 1000.0, math.nan, "kg", None, SALT_KEEPS, f"base of loop {loop}")
            )
    return items


def _irons(season: Season, day: int) -> list[Item]:
    items = []
    for column, loop in enumerate(season.layout.loops):
        planted = np.flatnonzero(season.loop_table["planted_area_m2"][day:, column] > 0.0)
        if planted.size:
            times = math.ceil(planted.size / IRON_EVERY_DAYS)
            kg = times * float(iron_dose_g(season.layout.loop_water_m3[column])) / 1000.0
            use = f"iron for the crops of loop {loop}, every {IRON_EVERY_DAYS} days; test first"
            by = season.dates[day + int(planted[0])]
            items.append(Item(by, PLANT_SALTS["iron"].name, kg, math.nan, "kg", None, CHELATE_KEEPS, use))
    return items


def _fuels(season: Season, day: int) -> list[Item]:
    items = []
    for one in fuel_needed(season.site):
        amount = float(one.by_day[day:].sum())
        burns = np.flatnonzero(one.by_day[day:])
        if burns.size and amount >= 0.1:
            where = one.place.replace("loops.", "loop ").replace("_", " ")
            by, fuel = season.dates[day + int(burns[0])], one.fuel.replace("_", " ")
            keeps = FUEL_KEEPS[one.fuel]
            items.append(Item(by, fuel, math.nan, amount, one.unit, one.cost(day), keeps, f"heater of {where}"))
    return items
