"""Events of the second season (oracle.py): fish that come, go, and are sorted by size; plain floats."""

from __future__ import annotations

import math
from statistics import NormalDist

from oracle_fish import Cohort


def below(z: float) -> float:
    """Standard normal distribution; exact in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def score(share: float) -> float:
    return math.inf if share >= 1.0 else -math.inf if share <= 0.0 else NormalDist().inv_cdf(share)


def part(fish: Cohort, z: float) -> tuple[float, float, float]:
    """The fish above a cut of a lognormal, by its score z: share of the number, mean weight and cv."""
    s = math.sqrt(math.log(1.0 + fish.spread**2))
    share = below(z)
    if share == 0.0:
        return 0.0, fish.weight, 0.0
    mean = fish.weight * below(z + s) / share
    square = fish.weight**2 * (1.0 + fish.spread**2) * below(z + 2.0 * s) / share
    return share, mean, min(math.sqrt(max(square / mean**2 - 1.0, 0.0)), fish.spread)


def rest(fish: Cohort, z: float) -> tuple[float, float, float]:
    """The fish below the cut."""
    s = math.sqrt(math.log(1.0 + fish.spread**2))
    share = below(-z)
    if share == 0.0:
        return 0.0, fish.weight, 0.0
    mean = fish.weight * below(-z - s) / share
    square = fish.weight**2 * (1.0 + fish.spread**2) * below(-z - 2.0 * s) / share
    return share, mean, min(math.sqrt(max(square / mean**2 - 1.0, 0.0)), fish.spread)


def cut_at(fish: Cohort, grams: float) -> float:
    s = math.sqrt(math.log(1.0 + fish.spread**2))
    if s == 0.0:
        return math.inf if fish.weight >= grams else -math.inf
    return math.log(fish.weight / grams) / s - 0.5 * s


def become(fish: Cohort, number: float, mean: float, spread: float, like: Cohort | None = None) -> None:
    """Be so many fish of a size, as fat or thin as those they come from."""
    like = like or fish
    fish.greatest, fish.spared = like.greatest / like.weight * mean, like.spared / like.weight * mean
    fish.number, fish.weight = number, mean
    if number > 0.0:  # fish put to an empty cohort later vary as those did that were there
        fish.spread = spread


def take(fish: Cohort, event) -> float:
    """Take fish out for good; the mass taken. [g]"""
    number, mass = fish.number, fish.number * fish.weight
    which = event.which or ("largest" if event.kind == "harvest" else "any")
    if event.above is not None:
        share, mean, spread = rest(fish, cut_at(fish, event.above))
        become(fish, number * share, mean, spread)
        return mass - fish.number * fish.weight
    share = 1.0 if event.all else event.share
    if event.count is not None:
        share = min(event.count / number, 1.0) if number > 0.0 else 1.0
    if event.weight is not None:
        share = min(event.weight / mass, 1.0) if mass > 0.0 else 1.0
        s = math.sqrt(math.log(1.0 + fish.spread**2))
        if which == "largest":
            share = below(score(share) - s)
        elif which == "smallest":
            share = 1.0 - below(score(1.0 - share) - s)
    left = number * (1.0 - share)
    if which == "any" or left <= 0.0:
        fish.number = left
        return mass - left * fish.weight
    _, mean, spread = rest(fish, score(share)) if which == "largest" else part(fish, score(1.0 - share))
    become(fish, left, mean, spread)
    return mass - left * mean


def add(fish: Cohort, event) -> None:
    number = fish.number + event.count
    mean = (fish.number * fish.weight + event.count * event.mean_weight) / number
    square = (fish.number * fish.weight**2 + event.count * event.mean_weight**2) / number * (1.0 + fish.spread**2)
    fish.greatest = (fish.number * fish.greatest + event.count * event.mean_weight) / number
    fish.spared *= fish.number / number
    fish.number, fish.weight, fish.spread = number, mean, math.sqrt(max(square / mean**2 - 1.0, 0.0))


def happen(event, cohorts: dict[str, Cohort], site) -> None:
    """Let an event happen; grading adds to the cohorts."""
    fish = cohorts[event.cohort]
    if event.kind == "move":
        fish.begin(event.tank, fish.feed_name, fish.ration)
    elif event.kind == "feed":
        fish.begin(fish.tank, event.feed, fish.ration)
    elif event.kind == "ration":
        fish.begin(fish.tank, fish.feed_name, event.ration)
    elif event.kind == "stock":
        add(fish, event)
    elif event.kind == "found":
        number = fish.number if event.count is None else float(event.count)
        become(fish, number, event.mean_weight or fish.weight, fish.spread)
    elif event.kind == "grade":
        larger = cohorts[event.into] = Cohort(site, fish.table, 0.0, fish.came)
        larger.used = fish.used
        larger.stocked, larger.last_fed = event.date, fish.last_fed
        larger.begin(event.tank, fish.feed_name, fish.ration)
        z = cut_at(fish, event.above) if event.largest_share is None else score(event.largest_share)
        number, (up, mean_up, spread_up), (down, mean, spread) = fish.number, part(fish, z), rest(fish, z)
        become(larger, number * up, mean_up, spread_up, fish)
        become(fish, number * down, mean, spread)
    else:
        take(fish, event)


def homes(site) -> dict[str, set[str]]:
    """Tanks that each cohort ever lives in."""
    found = {name: {table.tank} for name, table in site.file.cohorts.items()}
    for event in sorted(site.file.events, key=lambda event: event.date):
        if event.kind == "move":
            found[event.cohort].add(event.tank)
        elif event.kind == "grade":
            found[event.into] = {event.tank}
    return found
