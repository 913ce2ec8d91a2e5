"""Fish that are small for the winter they are to meet, with what hunger is expected to take of them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.fish.body import total_length_mm, weight_at_length_g
from stocksim.fish.growth import grow_in_good_water
from stocksim.fish.wintering import feeding_band, winter_losses
from stocksim.heat.temperatures import loop_water_c
from stocksim.library.feeds import grams_like_pellets, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species
from stocksim.site.cohorts import Spell, spells
from stocksim.site.fish_tables import AppetiteRation, StockEvent
from stocksim.site.reading import Site
from stocksim.units import format_date, format_fish_length, format_quantity

FloatArray = NDArray[np.float64]
# Fewer days in water too cold to feed well are no winter (our choice).
WINTER_DAYS = 21
# Share of appetite of fish that are fed, where the rule names none: an ordinary one (assumed).
USUAL_FRACTION = 0.85


@dataclass(frozen=True)
class SmallFish:
    """Fish below the length of which more die in a winter, and what is expected of theirs.

    Parameters
    ----------
    where : str
        Place in the site file, as ``cohorts.fry``.
    species : str
        Key of the species.
    title : str
        Its name.
    length_mm, safe_length_mm : float
        Length when the cold begins, and from which fewer die. [mm]
    feeding_start_c : float
        Water below this is cold to them. [degC]
    first : date
        First cold day.
    days : int
        Cold days from then on. [day]
    lost_fed, lost_unfed : float
        Share that hunger and every day take from the first cold day to the last, fed by appetite and not at all. [-]
    """

    where: str
    species: str
    title: str
    length_mm: float
    safe_length_mm: float
    feeding_start_c: float
    first: dt.date
    days: int
    lost_fed: float
    lost_unfed: float


class _Batch(NamedTuple):
    """Fish of one size with the water of their days, from the first on."""

    where: str
    entry: Entry
    feed: Entry
    weight_g: float
    fraction: float
    first: dt.date
    water_c: FloatArray
    folder: Path | None = None

    @property
    def grams(self) -> float:
        """Grams of the feed that full appetite takes for a gram of pellets. [-]"""
        return grams_like_pellets(self.entry, self.feed, self.folder)


def small_cohorts(site: Site) -> list[SmallFish]:
    """Cohorts, and fish that events bring, that are small for the winter they are to meet.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    list of SmallFish
        In the order of the file; none of a species whose length is not known. Fish are followed in good water to the
        cold, from then on fed and unfed; they may have grown out of it by then.
    """
    return [small for batch in _cohorts(site) if (small := _judged(batch)) is not None]


def small_candidates(site: Site) -> list[SmallFish]:
    """Fish to buy of the stocking table that would be, in the water of their tanks that takes most of them unfed."""
    found = []
    for name, table in (site.file.stocking.candidates if site.file.stocking else {}).items():
        entry = site.species.get(table.species) or load_species(table.species, site.folder)
        feed = site.feeds.get(table.feed) or load_feed(table.feed, site.folder)
        fraction = table.ration.fraction if isinstance(table.ration, AppetiteRation) else USUAL_FRACTION
        first = table.stocked or site.file.season.start
        last = table.leaves - dt.timedelta(days=1) if table.leaves else site.file.season.end
        loops = dict.fromkeys(site.file.tanks[tank].loop for tank in table.tanks or site.file.tanks)
        batches = [
            _Batch(f"stocking.candidates.{name}", entry, feed, table.mean_weight, fraction, first, water, site.folder)
            for loop in loops
            if (water := _between(site, loop, first, last)).size
        ]
        judged = [small for batch in batches if (small := _judged(batch)) is not None]
        found += [max(judged, key=lambda small: small.lost_unfed)] if judged else []
    return found


def small_words(small: SmallFish, units: str) -> str:
    """One sentence on fish that are small for their winter: how many may be lost, and what would be right."""
    length, safe = (format_fish_length(mm, units) for mm in (small.length_mm, small.safe_length_mm))
    below = format_quantity(small.feeding_start_c, "temperature", units)
    fed, unfed = (f"{100.0 * share:.0f}" for share in (small.lost_fed, small.lost_unfed))
    lost = f"{fed} of 100 if fed and {unfed} unfed" if fed != unfed else f"{unfed} of 100, fed or not,"
    return (
        f"{small.where}: these {small.title.lower()} are about {length} long when the water falls below {below} on "
        f"{format_date(small.first)}, for {small.days} days; in the model hunger then takes at least {lost} "
        f"(some trials lost more). Right would be fish of {safe} or longer, warmer water, or feed all winter "
        "as far as they eat."
    )


def _cohorts(site: Site) -> Iterator[_Batch]:
    """Each cohort as stocked, and each batch that an event adds to one."""
    stays = spells(site.file)
    for key, table in site.file.cohorts.items():
        own = sorted((stay for stay in stays if stay.cohort == key), key=lambda stay: stay.first)
        entry, feed = site.species[table.species], site.feeds[table.feed]
        came = [(f"cohorts.{key}", table.mean_weight, table.stocked or site.file.season.start)] if table.count else []
        came += [
            (f"events[{number}]", event.mean_weight, event.date)
            for number, event in enumerate(site.file.events, 1)
            if isinstance(event, StockEvent) and event.cohort == key
        ]
        for where, weight, first in came:
            after = [stay for stay in own if stay.last >= first]
            if after:
                water = np.concatenate([_of_stay(site, stay, first) for stay in after])
                fraction = getattr(after[0].ration, "fraction", USUAL_FRACTION)
                yield _Batch(where, entry, feed, weight, fraction, max(first, after[0].first), water, site.folder)


def _of_stay(site: Site, stay: Spell, first: dt.date) -> FloatArray:
    return _between(site, site.file.tanks[stay.tank].loop, max(stay.first, first), stay.last)


def _between(site: Site, loop: str, first: dt.date, last: dt.date) -> FloatArray:
    """Water of a loop from one date to another, both counted, as far as the season goes."""
    start = site.file.season.start
    return loop_water_c(site, loop)[max((first - start).days, 0) : max((last - start).days + 1, 0)]


def _judged(batch: _Batch) -> SmallFish | None:
    """A batch that is small when the cold begins; None where it is not, or where there is no cold."""
    entry, start_c = batch.entry, feeding_band(batch.entry.number).start_c
    body = entry["length_weight_intercept"], entry["length_weight_slope"], entry["farmed_condition"]
    safe_mm = entry.number("winter_safe_length")
    cold = np.flatnonzero(batch.water_c < start_c)
    if cold.size < WINTER_DAYS or not batch.weight_g < weight_at_length_g(safe_mm, *body):
        return None
    begins, ends = int(cold[0]), int(cold[-1])
    feed, weight = batch.feed.__getitem__, batch.weight_g
    if begins:
        run = grow_in_good_water(
            entry.__getitem__, feed, weight, batch.water_c[:begins], batch.fraction, grams_like_pellets=batch.grams
        )
        weight = float(run.weight_g[-1])
    length = float(total_length_mm(weight, *body))
    if length >= safe_mm:
        return None
    winter = batch.water_c[begins : ends + 1]
    fed, unfed = (
        winter_losses(entry.__getitem__, feed, weight, winter, fraction, batch.grams)
        for fraction in (batch.fraction or USUAL_FRACTION, 0.0)
    )
    first = batch.first + dt.timedelta(days=begins)
    return SmallFish(batch.where, entry.name, entry.title, length, safe_mm, start_c, first, int(cold.size), fed, unfed)
