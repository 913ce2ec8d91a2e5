"""Fish of a tank that others swallow, for the second season (oracle.py): plain floats, written from docs/company.md.

Apart from oracle_fish.py, where a cohort is alone: here the cohorts of a tank meet.
"""

from __future__ import annotations

import math
from statistics import NormalDist

DEPTHS = {"deep": 0.36, "slender": 0.20}
below = NormalDist().cdf


class Guest:
    """A cohort as its tankmates meet it in the evening."""

    def __init__(self, fish):
        s = self.s = fish.s
        self.fish = fish
        self.slope = s["length_weight_slope"]
        standard = math.log10(fish.weight / s["farmed_condition"])
        self.mm = 10.0 ** ((standard - s["length_weight_intercept"]) / self.slope)
        self.sigma = math.sqrt(math.log(1.0 + fish.spread**2))  # of the logarithm of weights
        self.bend = self.sigma / self.slope  # and of lengths
        self.depth = s.number("body_depth", DEPTHS[s.facts["body_form"]])
        energy = fish.feed["digestible_energy"]
        self.all_kj = fish.here * fish.hunger * fish.share * fish.by_nitrite * energy
        self.fed_kj = fish.eaten * energy
        self.want_kj = max(0.2 * self.all_kj, self.all_kj - self.fed_kj)


def share_of_length(hunter: Guest, prey: Guest) -> float:
    """Longest prey of this kind over the hunter's length."""
    s = hunter.s
    reach = min(s["prey_share_deep"] * 0.36 / prey.depth, max(s["prey_share_slender"], s["prey_share_deep"]))
    if s.name == prey.s.name:
        if s.number("eats_own", 1.0) == 0.0:
            return 0.0
        if hunter.mm < 100.0:
            reach = max(reach, 0.4)
    return reach


def fitting(hunter: Guest, prey: Guest) -> tuple[float, float, float]:
    """Share of pairs in which the prey fits, and of its mass and of its squares of mass that lie in those."""
    reach = share_of_length(hunter, prey)
    if reach <= 0.0:
        return 0.0, 0.0, 0.0
    distance = math.log(reach * hunter.mm) - 0.5 * hunter.bend**2 - math.log(prey.mm) + 0.5 * prey.bend**2
    width = math.hypot(hunter.bend, prey.bend)
    if width == 0.0:
        return (0.999, 0.999, 0.999) if distance > 0.0 else (0.0, 0.0, 0.0)
    z = distance / width
    pull = prey.sigma * prey.bend / width
    whole = 0.5 * math.erfc(-z / math.sqrt(2.0))
    if whole <= 1e-3:
        return 0.0, 0.0, 0.0
    kept = whole - 1e-3
    tails = [0.5 * math.erfc(-(z - n * pull) / math.sqrt(2.0)) for n in (1, 2)]
    return kept, kept * tails[0] / whole, kept * tails[1] / whole


def among_siblings(guest: Guest) -> float:
    """Hazard of young by siblings of their size, which no mouth limits."""
    s, fish = guest.s, guest.fish
    loss, end = s.number("sibling_loss", 0.0), s.number("sibling_length", 0.0)
    if loss == 0.0 or guest.mm >= end:
        return 0.0
    fed = min(guest.fed_kj / guest.all_kj, 1.0) if guest.all_kj > 0.0 else 0.0
    hazard = math.log(1.0 / (1.0 - loss)) * (1.0 - guest.mm**2 / end**2)
    hazard *= min(fish.spread / s["size_spread"], 2.0) * (1.0 - (13.0 / 41.0) * fed)
    eaten_kj = 2.0 * below(-guest.sigma) * fish.weight * fish.here * s["body_energy"]
    return min(hazard, guest.all_kj / eaten_kj)


def company(cohorts: list) -> None:
    """Set how many of each cohort of a tank are swallowed today, and what is left of it."""
    guests = [Guest(fish) for fish in cohorts if fish.here > 0.0]
    meat = {
        hunter: sum(
            fitting(hunter, prey)[1] * prey.fish.here * prey.fish.weight * prey.s["body_energy"] for prey in guests
        )
        for hunter in guests
    }
    gone = []
    for prey in guests:
        sums, mouths = [0.0, 0.0, 0.0], []
        for hunter in guests:
            fits = fitting(hunter, prey)
            if fits[0] > 0.0 and hunter.want_kj > 0.0:
                pace = hunter.want_kj / (2.0 * hunter.want_kj + meat[hunter])
                sums = [total + pace * part for total, part in zip(sums, fits, strict=True)]
                mouths.append(fits[0])
        if mouths and max(mouths) < 1.0:
            # all hunters together take no more than the widest mouth fits
            most = math.log(1.0 / (1.0 - max(mouths)))
            sums = [total * min(most / sums[0], 1.0) for total in sums]
        own = among_siblings(prey)
        halves = (1.0, 2.0 * below(-prey.sigma), 2.0 * below(-2.0 * prey.sigma))
        gone.append([total + own * part for total, part in zip(sums, halves, strict=True)])
    for guest, (hazard, mass, square) in zip(guests, gone, strict=True):
        fish = guest.fish
        if hazard <= 0.0:
            continue
        share = 1.0 - math.exp(-hazard)
        fish.swallowed = share * fish.here
        left = 1.0 - share
        mean = fish.weight * (1.0 - share * mass / hazard) / left
        second = fish.weight**2 * (1.0 + fish.spread**2) * (1.0 - share * square / hazard) / left
        fish.swallowed_g = fish.swallowed * fish.weight * mass / hazard
        fish.greatest *= mean / fish.weight
        fish.spared *= mean / fish.weight
        fish.weight = mean
        if fish.spread > 0.0:
            fish.spread = math.sqrt(max(second / mean**2 - 1.0, 0.0))
