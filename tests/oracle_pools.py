"""Bodies of water of the second season (oracle.py): exchange with air, rates of film, and a root between bounds."""

from __future__ import annotations

import math
from collections.abc import Callable

from oracle_fish import Cohort


def root_between(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses zero: bisection, with a chord tried in between (Illinois rule)."""
    below, above = rising(low), rising(high)
    if below >= 0.0:
        return low
    if above <= 0.0:
        return high
    side = 0
    for step in range(200):
        middle = 0.5 * (low + high) if step % 4 == 3 else (low * above - high * below) / (above - below)
        if not low < middle < high:
            middle = 0.5 * (low + high)
        if high - low <= 1e-15 * (1.0 + abs(high)) or not low < middle < high:
            break
        value = rising(middle)
        if value == 0.0:
            return middle
        if value < 0.0:
            low, below = middle, value
            if side < 0:
                above *= 0.5
            side = -1
        else:
            high, above = middle, value
            if side > 0:
                below *= 0.5
            side = 1
    return 0.5 * (low + high)


# --- water


def saturation(t: float, elevation: float) -> float:
    k = t + 273.15
    at_sea = math.exp(-139.34411 + 1.575701e5 / k - 6.642308e7 / k**2 + 1.2438e10 / k**3 - 8.621949e11 / k**4)
    p = (1.0 - 2.25577e-5 * elevation) ** 5.2559
    u = math.exp(11.8571 - 3840.70 / k - 216961.0 / k**2)
    th = 0.000975 - 1.426e-5 * t + 6.436e-8 * t * t
    return at_sea * p * (1.0 - u / p) * (1.0 - th * p) / ((1.0 - u) * (1.0 - th))


def still_velocity(t: float) -> float:
    schmidt = 1745.1 - 124.34 * t + 4.8055 * t**2 - 0.10115 * t**3 + 0.00086842 * t**4
    return 0.0207 * 24.0 * math.sqrt(600.0 / schmidt)


def film_rate(t: float) -> float:
    if t >= 10.0:
        return 1.38 * 1.06 ** (t - 20.0)
    return 1.38 * 1.06**-10.0 * 1.10 ** (t - 10.0)


def toxic_share(ph: float, t: float) -> float:
    return 1.0 / (1.0 + 10.0 ** (0.09018 + 2729.92 / (t + 273.15) - ph))


def rating(supply) -> float:
    """Standard transfer, g/day: 0.7 kg per kWh of an air pump."""
    if supply is None or supply.kind == "none":
        return 0.0
    return supply.power * 24.0 * 0.7 if supply.kind == "diffuser" else supply.transfer


WALL_SHARE = 0.0


def walls(volume: float, depth: float) -> float:
    """Film on the wall and floor of a round tank: none is counted (docs/nitrification.md)."""
    radius = math.sqrt(volume / depth / math.pi)
    return WALL_SHARE * math.pi * radius * (radius + 2.0 * depth)


class Pool:
    """One body of mixed water: tank, bed, biofilter or sump."""

    def __init__(self, volume, flow=0.0, surface=0.0, supply=None, film=0.0, trickles=False):
        self.volume, self.flow, self.surface, self.film = volume, flow, surface, film
        self.fall = 0.0
        self.rating, self.passing = rating(supply), flow if trickles else 0.0
        self.oxygen = self.tan = self.nitrified = self.oxidized = 0.0
        self.tan_moved = self.nitrite_moved = math.inf
        self.cohorts: list[Cohort] = []

    def weather(self, t: float, elevation: float) -> None:
        """The day's exchange with air: volume renewed and oxygen brought."""
        full = saturation(t, elevation)
        device = 0.9 * self.rating * 1.024 ** (t - 20.0) / 9.09
        gain = 0.38 * 1.0 * 0.8 * self.fall * (1.0 - 0.11 * self.fall) * (1.0 + 0.046 * t)
        falling = self.flow * (1.0 - 1.0 / (1.0 + gain)) if self.fall > 0.0 else 0.0
        self.device, self.open_water = device, self.surface * still_velocity(t) + self.passing + falling
        self.exchange = device + self.open_water
        self.brought = (0.95 * device + self.open_water) * full


def bed_pool(bed) -> Pool:
    depth = bed.depth or 0.3
    bulk = bed.area * depth
    if bed.kind == "raft":
        film = bed.nitrifying_surface or (2.0 + 1.6 * (bed.depth or 0.3)) * bed.area
        return Pool(bulk, bed.flow or bulk * 12.0, 0.0, bed.oxygen_supply, film)
    if bed.kind == "media":
        film = bed.nitrifying_surface or 0.4 * 6.0 * 0.6 / (bed.media_size or 0.0127) * bulk
        return Pool(bulk * 0.4 * 0.5, bed.flow or bulk * 24.0, 0.0, bed.oxygen_supply, film, True)
    return Pool(bed.area * 0.02, bed.flow, 0.0, bed.oxygen_supply, bed.nitrifying_surface or 0.0, True)
