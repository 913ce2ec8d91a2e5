"""A second season, in plain floats and loops, written from the equations and the site's own tables.

Slow on purpose and without arrays, layout or Newton steps: every unknown is found between two bounds. It shares no code
with the engine; its constants are typed again. Used by test_engine.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from oracle_fish import Cohort, share_by_ammonia, share_by_oxygen

AS_AMMONIA = 0.87
OXYGEN_PER_N = 4.569
HALF_TAN, HALF_OXYGEN = 1.93, 0.9


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
    schmidt = 1800.6 - 120.10 * t + 3.7818 * t**2 - 0.047608 * t**3
    return 0.0207 * 24.0 * math.sqrt(600.0 / schmidt)


def film_rate(t: float) -> float:
    if t >= 10.0:
        return 0.837 * 1.06 ** (t - 20.0)
    return 0.837 * 1.06**-10.0 * 1.10 ** (t - 10.0)


def toxic_share(ph: float, t: float) -> float:
    return 1.0 / (1.0 + 10.0 ** (0.09018 + 2729.92 / (t + 273.15) - ph))


def rating(supply) -> float:
    """Standard transfer, g/day: 0.7 kg per kWh of an air pump."""
    if supply is None or supply.kind == "none":
        return 0.0
    return supply.power * 24.0 * 0.7 if supply.kind == "diffuser" else supply.transfer


class Pool:
    """One body of mixed water: tank, bed, biofilter or sump."""

    def __init__(self, volume, flow=0.0, surface=0.0, supply=None, film=0.0, trickles=False):
        self.volume, self.flow, self.surface, self.film = volume, flow, surface, film
        self.rating, self.passing = rating(supply), flow if trickles else 0.0
        self.oxygen = self.tan = 0.0
        self.cohorts: list[Cohort] = []

    def weather(self, t: float, elevation: float) -> None:
        """The day's exchange with air: volume renewed and oxygen brought."""
        full = saturation(t, elevation)
        device = 0.9 * self.rating * 1.024 ** (t - 20.0) / 9.09
        open_water = self.surface * still_velocity(t) + self.passing
        self.exchange = device + open_water
        self.brought = (0.95 * device + open_water) * full


def bed_pool(bed) -> Pool:
    depth = bed.depth or 0.3
    bulk = bed.area * depth
    if bed.kind == "raft":
        film = bed.nitrifying_surface or 1.23 * bed.area
        return Pool(bulk, bed.flow or bulk * 12.0, 0.0, bed.oxygen_supply, film)
    if bed.kind == "media":
        film = bed.nitrifying_surface or 0.4 * 6.0 * 0.6 / (bed.media_size or 0.0127) * bulk
        return Pool(bulk * 0.4 * 0.5, bed.flow or bulk * 24.0, 0.0, bed.oxygen_supply, film, True)
    return Pool(bed.area * 0.02, bed.flow, 0.0, bed.oxygen_supply, bed.nitrifying_surface or 0.0, True)


class Loop:
    """A sump, its tanks and its units, and one day of them."""

    def __init__(self, site, key: str, cohorts: dict[str, Cohort]):
        file = site.file
        table = file.loops[key]
        self.elevation = file.site.elevation or 0.0
        self.ph = 7.2 if table.ph is None else table.ph
        self.temperature = [float(t) for t in site.temperature_c[key]]
        self.sump = Pool(table.sump, 0.0, table.sump / (table.depth or 0.8), table.oxygen_supply)
        self.tanks = {
            name: Pool(t.volume, t.flow, t.volume / (t.depth or 0.8), t.oxygen_supply)
            for name, t in file.tanks.items()
            if t.loop == key
        }
        self.units = {
            f"beds.{name}": bed_pool(bed)
            for name, bed in file.beds.items()
            if bed.loop == key and bed.kind != "wicking"
        }
        for name, unit in file.biofilters.items():
            if unit.loop == key:
                film = unit.media_volume * unit.specific_surface
                self.units[f"biofilters.{name}"] = Pool(
                    unit.media_volume, unit.flow, 0.0, unit.oxygen_supply, film, unit.kind == "trickling"
                )
        for cohort in cohorts.values():
            if cohort.tank in self.tanks:
                self.tanks[cohort.tank].cohorts.append(cohort)
        self.pools = [*self.tanks.values(), *self.units.values()]
        self.flow = sum(pool.flow for pool in self.pools)
        for pool in [*self.pools, self.sump]:
            pool.oxygen = saturation(self.temperature[0], self.elevation)

    def day(self, number: int, date) -> None:
        t = self.temperature[number]
        self.toxic = toxic_share(self.ph, t)
        for pool in [*self.pools, self.sump]:
            pool.weather(t, self.elevation)
        for pool in self.pools:
            pool.capacity = self._film_capacity(pool, t)
            for cohort in pool.cohorts:
                cohort.wake(t, date)
            pool.tan_now, pool.oxygen_now = pool.tan, pool.oxygen
        # ammonia and oxygen hang together through appetite and film: turn and turn about, half steps in ammonia
        for turn in range(400):
            self._breathe()
            before = [pool.tan_now for pool in self.pools]
            sump_tan = self._excrete()
            steps = (abs(pool.tan_now - old) / (1.0 + old) for pool, old in zip(self.pools, before, strict=True))
            moved = max(steps, default=0.0)
            if moved < 1e-13:
                break
            if turn > 3:
                for pool, old in zip(self.pools, before, strict=True):
                    pool.tan_now = 0.5 * (old + pool.tan_now)
        else:
            raise RuntimeError(f"the oracle did not settle on day {number}")
        self.sump.oxygen, self.sump.tan = self.sump_oxygen, sump_tan
        for pool in self.pools:
            pool.oxygen, pool.tan = pool.oxygen_now, pool.tan_now
            for cohort in pool.cohorts:
                if cohort.here > 0.0:
                    cohort.weight += cohort.gain_each
                    cohort.greatest = max(cohort.greatest, cohort.weight)

    def _film_capacity(self, pool: Pool, t: float) -> float:
        """Capacity that the oxygen reaching the film allows, with last evening's TAN and sump."""
        capacity = pool.film * film_rate(t)
        if capacity == 0.0:
            return 0.0
        through = pool.flow + pool.exchange
        arriving = pool.brought + pool.flow * self.sump.oxygen
        full_use = OXYGEN_PER_N * capacity * pool.tan / (HALF_TAN + pool.tan)
        level = root_between(
            lambda o: through * o - arriving + full_use * o / (HALF_OXYGEN + o), 0.0, arriving / through
        )
        return capacity * level / (HALF_OXYGEN + level)

    def _feed_tank(self, pool: Pool, oxygen: float) -> float:
        """Let the tank's fish eat in this oxygen; their use of it."""
        for cohort in pool.cohorts:
            cohort.eat(share_by_oxygen(cohort.s, oxygen) * share_by_ammonia(cohort.s, self.toxic * pool.tan_now))
        return sum(cohort.oxygen for cohort in pool.cohorts)

    def _tank_oxygen(self, pool: Pool, sump: float) -> float:
        gain = pool.volume + pool.flow + pool.exchange
        arriving = pool.volume * pool.oxygen + pool.brought + pool.flow * sump
        level = (arriving - self._feed_tank(pool, 1e3)) / gain
        if all(level >= cohort.s["oxygen_recommended"] for cohort in pool.cohorts):
            return level
        level = root_between(lambda o: gain * o - arriving + self._feed_tank(pool, o), 0.0, arriving / gain)
        self._feed_tank(pool, level)
        return level

    def _breathe(self) -> None:
        """Oxygen of sump, tanks and units, and with it what the fish eat, at the TAN in hand."""
        sump = self.sump
        gain = sump.volume + self.flow + sump.exchange
        arriving = sump.volume * sump.oxygen + sump.brought

        def missing(level: float) -> float:
            back = solids = 0.0
            for pool in self.tanks.values():
                pool.oxygen_now = self._tank_oxygen(pool, level)
                back += pool.flow * pool.oxygen_now
                solids += sum(cohort.solids_oxygen for cohort in pool.cohorts)
            for pool in self.units.values():
                left = pool.volume * pool.oxygen + pool.brought + pool.flow * level - OXYGEN_PER_N * nitrified(pool)
                pool.oxygen_now = max(left, 0.0) / (pool.volume + pool.flow + pool.exchange)
                back += pool.flow * pool.oxygen_now
            return gain * level - arriving - back + solids

        self.sump_oxygen = root_between(missing, 0.0, 30.0)
        missing(self.sump_oxygen)

    def _excrete(self) -> float:
        """TAN of tanks and units, and of the sump, with what the fish have eaten."""
        sump = self.sump
        fish = [cohort for pool in self.tanks.values() for cohort in pool.cohorts]
        to_sump = sum((1.0 - AS_AMMONIA) * cohort.excreted + cohort.solids_nitrogen for cohort in fish)
        load = sump.volume * sump.tan + to_sump
        total = load + sum(
            pool.volume * pool.tan + AS_AMMONIA * sum(c.excreted for c in pool.cohorts) for pool in self.pools
        )

        def missing(level: float) -> float:
            back = 0.0
            for pool in self.pools:
                arriving = (
                    pool.volume * pool.tan + AS_AMMONIA * sum(c.excreted for c in pool.cohorts) + pool.flow * level
                )
                gain = pool.volume + pool.flow
                pool.tan_now = self._tan_in(pool, arriving, gain)
                back += pool.flow * pool.tan_now
            return (sump.volume + self.flow) * level - load - back

        found = root_between(missing, 0.0, total / sump.volume)
        missing(found)
        return found

    @staticmethod
    def _tan_in(pool: Pool, arriving: float, gain: float) -> float:
        if pool.capacity == 0.0:
            return arriving / gain
        return root_between(lambda c: gain * c + pool.capacity * c / (HALF_TAN + c) - arriving, 0.0, arriving / gain)


def nitrified(pool: Pool) -> float:
    return pool.capacity * pool.tan_now / (HALF_TAN + pool.tan_now)


def run(site) -> dict[str, list[list[float]]]:
    """The season: rows of days, columns in the order of the site file (leaves: tanks, then beds, then biofilters).

    Keys weight_g, eaten_g, fed_g, fish_oxygen_g, excreted_nitrogen_g, oxygen_mg_l, tan_mg_l, nitrified_g,
    sump_oxygen_mg_l, sump_tan_mg_l.
    """
    import datetime as dt

    cohorts = {key: Cohort(site, key) for key in site.file.cohorts}
    loops = {key: Loop(site, key, cohorts) for key in site.file.loops}
    units = [f"beds.{key}" for key, bed in site.file.beds.items() if bed.kind != "wicking"]
    units += [f"biofilters.{key}" for key in site.file.biofilters]
    pools = {name: pool for loop in loops.values() for name, pool in (*loop.tanks.items(), *loop.units.items())}
    leaves = [pools[name] for name in (*site.file.tanks, *units)]
    told: dict[str, list[list[float]]] = {}

    def note(key: str, values) -> None:
        told.setdefault(key, []).append([float(value) for value in values])

    for number in range(site.days):
        for loop in loops.values():
            loop.day(number, site.file.season.start + dt.timedelta(days=number))
        fish = list(cohorts.values())
        note("weight_g", (c.weight for c in fish))
        note("eaten_g", (c.eaten for c in fish))
        note("fed_g", (c.fed for c in fish))
        note("fish_oxygen_g", (c.oxygen for c in fish))
        note("excreted_nitrogen_g", (c.excreted for c in fish))
        note("oxygen_mg_l", (pool.oxygen for pool in leaves))
        note("tan_mg_l", (pool.tan for pool in leaves))
        note("nitrified_g", (nitrified(pool) for pool in leaves))
        note("sump_oxygen_mg_l", (loop.sump.oxygen for loop in loops.values()))
        note("sump_tan_mg_l", (loop.sump.tan for loop in loops.values()))
    return told
