"""A second season, in plain floats and loops, written from the equations and the site's own tables.

Slow on purpose and without arrays, layout or Newton steps: unknowns are found between two bounds. It shares no code
with the engine; its constants are typed again. The slower water is in oracle_water.py, which takes pH, dose and film
growth from stocksim.water (they have tests of their own). Used by test_engine.py.
"""

from __future__ import annotations

import math

from oracle_company import company
from oracle_events import happen, homes
from oracle_fish import Cohort, beds_want, share_by_ammonia, share_by_oxygen
from oracle_pools import Pool, bed_pool, film_rate, root_between, saturation, toxic_share, walls
from oracle_water import HALF_NITRITE, SlowWater

from stocksim.engine.days.films import BEND_MG_L, BEND_SHARE

# where the engine takes a day in steps: a choice of its own, no science
from stocksim.heat.temperatures import loop_water_c

AS_AMMONIA = 0.87
OXYGEN_PER_N, TO_NITRITE, TO_NITRATE = 4.569, 3.427, 1.142
HALF_TAN, HALF_OXYGEN = 1.93, 0.9


class Loop(SlowWater):
    """A sump, its tanks and its units, and one day of them."""

    def __init__(self, site, key: str):
        file = self.file = site.file
        self.site, self.key = site, key
        table = file.loops[key]
        self.elevation = file.site.elevation or 0.0
        self.temperature = [float(t) for t in loop_water_c(site, key)]
        self.sump = Pool(table.sump, 0.0, table.sump / (table.depth or 0.8), table.oxygen_supply)
        self.tanks = {
            name: Pool(t.volume, t.flow, t.volume / (t.depth or 0.8), t.oxygen_supply, walls(t.volume, t.depth or 0.8))
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
        self.pools = [*self.tanks.values(), *self.units.values()]
        self.flow = sum(pool.flow for pool in self.pools)
        self.sump.flow, self.sump.fall = self.flow, table.return_drop
        for pool in [*self.pools, self.sump]:
            pool.oxygen = saturation(self.temperature[0], self.elevation)
        self.begin(site, key)

    def day(self, number: int, date) -> None:
        t = self.temperature[number]
        self.reset(date)
        for pool in [*self.pools, self.sump]:
            pool.weather(t, self.elevation)
        self.weather_co2()
        # a stream of new water comes with all the oxygen that air gives it
        self.sump.exchange += self.running_over()
        self.sump.brought += self.running_over() * saturation(t, self.elevation)
        for pool in self.tanks.values():
            pool.toxic = toxic_share(pool.ph, t)
        for pool in self.units.values():
            pool.full = self._film_capacity(pool, t)
        for pool in self.tanks.values():
            pool.full = pool.film * film_rate(t) * pool.oxygen / (HALF_OXYGEN + pool.oxygen)
        for pool in self.pools:
            pool.tan_now = pool.tan
        self._wake_fish(number, date)
        for pool in self.tanks.values():
            self._feed_tank(pool, pool.oxygen)
        self.morning(number, date)
        grown = [getattr(pool, "grown", None) for pool in self.pools]
        tan, nitrite = [pool.tan for pool in self.pools], [pool.nitrite for pool in self.pools]
        capacities = self.films(t, grown, tan, nitrite, 1.0)
        for pool, first, second in zip(self.pools, *capacities[:2], strict=True):
            pool.capacity, pool.nitrite_capacity = first, second
            pool.tan_now, pool.oxygen_now, pool.nitrite_now = pool.tan, pool.oxygen, pool.nitrite
        # ammonia and oxygen hang together through appetite and film: turn and turn about, half steps in ammonia
        for turn in range(400):
            self._breathe()
            before = [pool.tan_now for pool in self.pools]
            nitrite = [pool.nitrite_now for pool in self.pools]
            found = self._excrete()
            old_new = [(old, pool.tan_now) for pool, old in zip(self.pools, before, strict=True)]
            old_new += [(old, pool.nitrite_now) for pool, old in zip(self.pools, nitrite, strict=True)]
            moved = max((abs(new - old) / (1.0 + old) for old, new in old_new), default=0.0)
            if moved < 1e-13:
                break
            if turn > 3:
                for pool, old in zip(self.pools, before, strict=True):
                    pool.tan_now = 0.5 * (old + pool.tan_now)
        else:
            raise RuntimeError(f"the oracle did not settle on day {number}")
        for pool in self.pools:
            pool.settled = (pool.oxygen_now, pool.toxic * pool.tan_now) if pool in self.tanks.values() else None
        whole = [*found, [x for m in capacities[2] if m is not None for x in m]]
        self._take(self._refined(number, whole) if self._bends(whole) else whole)
        self.sump.oxygen = self.sump_oxygen
        for pool in self.pools:
            pool.oxygen = pool.oxygen_now
            for cohort in pool.cohorts:
                cohort.grow()
            company(pool.cohorts)
            for cohort in pool.cohorts:
                cohort.die(number, pool.oxygen, pool.toxic * pool.tan, pool.nitrite)
        self.evening(number)

    def _wake_fish(self, number: int, date) -> None:
        """Feed in hand for every cohort, shared where a rule is for a whole tank or loop."""
        fish = [cohort for pool in self.tanks.values() for cohort in pool.cohorts]
        steps = [step.share for step in self.file.loops[self.key].feeding_ramp if step.start <= date]
        for cohort in fish:
            cohort.rise(number, date)
        for pool in self.tanks.values():
            for cohort in pool.cohorts:
                share = 1.0  # of appetite, as yesterday's water of this tank would leave them
                if number > 0:
                    oxygen, toxic = pool.settled
                    share = share_by_oxygen(cohort.s, oxygen) * share_by_ammonia(cohort.s, toxic)
                asked = beds_want(self.site, self.key, cohort.ration.ratio, date) if cohort.kind == "beds" else 0.0
                offered = cohort.offer(number, pool.cohorts, fish, asked)
                ramp = steps[-1] if steps else 1.0
                cohort.wake(number, offered, ramp, share, pool.nitrite, self.sump.level["chloride"])

    def _bends(self, whole: list[list[float]]) -> bool:
        """Whether TAN or nitrite of any pool changed its pace against yesterday."""
        for pool, tan, nitrite in zip(self.pools, whole[0], whole[3], strict=True):
            for level, before, last in ((tan, pool.tan, pool.tan_moved), (nitrite, pool.nitrite, pool.nitrite_moved)):
                if abs(level - before - last) > max(BEND_MG_L, BEND_SHARE * level):
                    return True
        return False

    def _loads(self) -> tuple[list[float], float]:
        fish = [cohort for pool in self.tanks.values() for cohort in pool.cohorts]
        to_sump = (1.0 - AS_AMMONIA) * sum(cohort.excreted for cohort in fish)
        loads = [AS_AMMONIA * sum(cohort.excreted for cohort in pool.cohorts) for pool in self.pools]
        return loads, to_sump + self.freed["solids_n"] + self.ammonia_dosed

    def _refined(self, number: int, whole: list[list[float]]) -> list[list[float]]:
        """The day in one, two and three steps weighed together; oxygen follows what the films then do."""
        halves, thirds = (self.nitrogen_in_steps(number, steps, *self._loads()) for steps in (2, 3))
        best = [
            [0.5 * a - 4.0 * b + 4.5 * c for a, b, c in zip(*three, strict=True)]
            for three in zip(whole, halves, thirds, strict=True)
        ]
        if any(x < 0.0 for part in best[:6] for x in part):
            best = thirds
        best[6] = [min(max(x, 1e-5), 1.0) for x in best[6]]
        wanted = {
            pool: sum(cohort.oxygen for cohort in pool.cohorts) + TO_NITRITE * first + TO_NITRATE * second
            for pool, first, second in zip(self.pools, best[2], best[5], strict=True)
        }
        sump = self.sump
        gain = sump.volume + self.flow + sump.exchange
        arriving = sump.volume * sump.oxygen + sump.brought - self.solids_oxygen

        def missing(level: float) -> float:
            back = 0.0
            for pool, need in wanted.items():
                left = pool.volume * pool.oxygen + pool.brought + pool.flow * level - need
                pool.oxygen_now = max(left, 0.0) / (pool.volume + pool.flow + pool.exchange)
                back += pool.flow * pool.oxygen_now
            return gain * level - arriving - back

        self.sump_oxygen = root_between(missing, 0.0, 30.0)
        missing(self.sump_oxygen)
        return best

    def _take(self, found: list[list[float]]) -> None:
        """Keep the day's nitrogen and films, and what oxygen was really used."""
        tan, (self.sump.tan,), nitrified, nitrite, (self.sump.nitrite,), oxidized, films = found
        for pool, *values in zip(self.pools, tan, nitrified, nitrite, oxidized, strict=True):
            pool.tan_moved, pool.nitrite_moved = values[0] - pool.tan, values[2] - pool.nitrite
            pool.tan, pool.nitrified, pool.nitrite, pool.oxidized = values
            reaching = pool.volume * pool.oxygen + pool.brought + pool.flow * self.sump_oxygen
            wanted = sum(c.oxygen for c in pool.cohorts) + TO_NITRITE * values[1] + TO_NITRATE * values[3]
            pool.used = min(wanted, reaching)
        for pool, pair in zip(self.pools, zip(films[::2], films[1::2], strict=True), strict=True):
            pool.grown = list(pair)
        back = sum(pool.flow * pool.oxygen_now for pool in self.pools)
        self.sump_used = min(self.solids_oxygen, self.sump.volume * self.sump.oxygen + self.sump.brought + back)

    def _film_capacity(self, pool: Pool, t: float) -> float:
        """Capacity of the whole surface that the oxygen reaching the grown film allows, with last evening's TAN."""
        capacity = pool.film * film_rate(t)
        if capacity == 0.0:
            return 0.0
        through = pool.flow + pool.exchange
        arriving = pool.brought + pool.flow * self.sump.oxygen
        grown = 1.0 if pool.grown[0] is None else pool.grown[0]
        full_use = OXYGEN_PER_N * capacity * grown * pool.tan / (HALF_TAN + pool.tan)
        level = root_between(
            lambda o: through * o - arriving + full_use * o / (HALF_OXYGEN + o), 0.0, arriving / through
        )
        return capacity * level / (HALF_OXYGEN + level)

    def _feed_tank(self, pool: Pool, oxygen: float) -> float:
        """Let the tank's fish eat in this oxygen; their use of it."""
        for cohort in pool.cohorts:
            cohort.eat(share_by_oxygen(cohort.s, oxygen) * share_by_ammonia(cohort.s, pool.toxic * pool.tan_now))
        return sum(cohort.oxygen for cohort in pool.cohorts)

    def _tank_oxygen(self, pool: Pool, sump: float) -> float:
        gain = pool.volume + pool.flow + pool.exchange
        arriving = pool.volume * pool.oxygen + pool.brought + pool.flow * sump - self._film_use(pool)
        level = (arriving - self._feed_tank(pool, 1e3)) / gain
        if all(share_by_oxygen(cohort.s, level) == 1.0 for cohort in pool.cohorts):
            return level
        most = max(arriving / gain, 0.0)
        level = root_between(lambda o: gain * o - arriving + self._feed_tank(pool, o), 0.0, most)
        self._feed_tank(pool, level)
        return level

    def _film_use(self, pool: Pool) -> float:
        """Oxygen that a pool's films use at the TAN and nitrite in hand."""
        used = TO_NITRITE * pool.capacity * pool.tan_now / (HALF_TAN + pool.tan_now)
        return used + TO_NITRATE * pool.nitrite_capacity * pool.nitrite_now / (HALF_NITRITE + pool.nitrite_now)

    def _breathe(self) -> None:
        """Oxygen of sump, tanks and units, and with it what the fish eat, at the TAN in hand."""
        sump = self.sump
        gain = sump.volume + self.flow + sump.exchange
        arriving = sump.volume * sump.oxygen + sump.brought

        def missing(level: float) -> float:
            back = 0.0
            for pool in self.tanks.values():
                pool.oxygen_now = self._tank_oxygen(pool, level)
                back += pool.flow * pool.oxygen_now
            for pool in self.units.values():
                left = pool.volume * pool.oxygen + pool.brought + pool.flow * level - self._film_use(pool)
                pool.oxygen_now = max(left, 0.0) / (pool.volume + pool.flow + pool.exchange)
                back += pool.flow * pool.oxygen_now
            return gain * level - arriving - back + self.solids_oxygen

        self.sump_oxygen = root_between(missing, 0.0, 30.0)
        missing(self.sump_oxygen)

    def _excrete(self) -> list[list[float]]:
        """TAN and nitrite of tanks, units and sump, with what the fish have eaten."""
        loads, to_sump = self._loads()
        capacity, second = [pool.capacity for pool in self.pools], [pool.nitrite_capacity for pool in self.pools]
        old = [pool.tan for pool in self.pools], [pool.nitrite for pool in self.pools]
        tan, sump, made = self.removal(old[0], self.sump.tan, loads, to_sump, capacity, HALF_TAN)
        nitrite, nitrite_sump, used = self.removal(old[1], self.sump.nitrite, made, 0.0, second, HALF_NITRITE)
        for pool, level, other in zip(self.pools, tan, nitrite, strict=True):
            pool.tan_now, pool.nitrite_now = level, other
        return [tan, [sump], made, nitrite, [nitrite_sump], used]


class Nobody:
    """A cohort before it is graded out of another."""

    weight = spread = eaten = fed = oxygen = excreted = here = deaths = gain_each = swallowed = swallowed_g = 0.0


NOBODY = Nobody()


def run(site) -> dict[str, list[list[float]]]:
    """The season: rows of days, columns in the order of the site file (leaves: tanks, then beds, then biofilters).

    Keys are fields of the engine's course. Cohorts made by grading come after those of the file, empty until then.
    """
    import datetime as dt

    cohorts = {key: Cohort(site, t, float(t.count), t.stocked or site.file.season.start)
               for key, t in site.file.cohorts.items()}  # fmt: skip
    loops = {key: Loop(site, key) for key in site.file.loops}
    tanks = {name: pool for loop in loops.values() for name, pool in loop.tanks.items()}
    lived_in = homes(site)
    roots = {event.into: event.cohort for event in site.file.events if event.kind == "grade"}
    for loop in loops.values():
        species = []
        for name, seen in lived_in.items():
            root = name
            while root in roots:
                root = roots[root]
            species += [cohorts[root].s] if seen & set(loop.tanks) else []
        loop.ammonia_limit = min((s["unionized_ammonia_design"] for s in species), default=math.inf)
    units = [f"beds.{key}" for key, bed in site.file.beds.items() if bed.kind != "wicking"]
    units += [f"biofilters.{key}" for key in site.file.biofilters]
    pools = {name: pool for loop in loops.values() for name, pool in (*loop.tanks.items(), *loop.units.items())}
    leaves = [pools[name] for name in (*site.file.tanks, *units)]
    told: dict[str, list[list[float]]] = {}

    def note(key: str, values) -> None:
        told.setdefault(key, []).append([float(value) for value in values])

    for number in range(site.days):
        date = site.file.season.start + dt.timedelta(days=number)
        for event in site.file.events:
            if event.date == date:
                happen(event, cohorts, site)
        for pool in tanks.values():
            pool.cohorts = [cohort for cohort in cohorts.values() if tanks[cohort.tank] is pool]
        for loop in loops.values():
            loop.day(number, date)
        fish = [cohorts.get(name, NOBODY) for name in lived_in]
        note("weight_g", (c.weight for c in fish))
        note("size_spread", (c.spread for c in fish))
        note("there", (c.here > 0.0 for c in fish))
        note("eaten_g", (c.eaten for c in fish))
        note("fed_g", (c.fed for c in fish))
        note("fish_oxygen_g", (c.oxygen for c in fish))
        note("excreted_nitrogen_g", (c.excreted for c in fish))
        note("oxygen_mg_l", (pool.oxygen for pool in leaves))
        note("tan_mg_l", (pool.tan for pool in leaves))
        note("nitrified_g", (pool.nitrified for pool in leaves))
        note("nitrite_mg_l", (pool.nitrite for pool in leaves))
        note("nitrite_oxidized_g", (pool.oxidized for pool in leaves))
        note("count", (c.here - c.deaths for c in fish))
        note("deaths", (c.deaths for c in fish))
        note("swallowed", (c.swallowed for c in fish))
        note("swallowed_g", (c.swallowed_g for c in fish))
        note("ph", (pools[name].ph for name in site.file.tanks))
        note("co2_mg_l", (max(pools[name].level["co2"], 0.0) for name in site.file.tanks))
        note("ammonia_maturity", (pools[name].grown[0] for name in units))
        note("nitrite_maturity", (pools[name].grown[1] for name in units))
        sumps = [loop.sump for loop in loops.values()]
        note("sump_oxygen_mg_l", (sump.oxygen for sump in sumps))
        note("sump_tan_mg_l", (sump.tan for sump in sumps))
        note("nitrate_mg_l", (sump.nitrate for sump in sumps))
        note("alkalinity_mg_l", (loop.held("alkalinity") / loop.water for loop in loops.values()))
        for name in ("potassium", "phosphorus", "solids", "chloride", "calcium", "sodium"):
            note(f"{name}_mg_l", (sump.level[name] for sump in sumps))
        note("solids_n_freed_g", (loop.freed["solids_n"] for loop in loops.values()))
    return told
