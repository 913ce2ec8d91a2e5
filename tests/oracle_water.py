"""The slower water of the second season (oracle.py): plain floats and loops, written from the equations.

Pure science with tests of its own (pH, dose, growth of films) is imported; balances, steps, pools and sums are not.
"""

from __future__ import annotations

import math

from oracle_pools import root_between

from stocksim.engine.arrays.beds import build_stands
from stocksim.library.crops import NUTRIENTS
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.buffering import SALTS, buffer_dose, chalk_room
from stocksim.water.carbonate import carbon_dioxide, carbon_dioxide_saturation, ph_from_alkalinity
from stocksim.water.gas import carbon_dioxide_exchange
from stocksim.water.maturity import (
    equilibrium_maturity,
    maturity_after,
    maturity_mean,
    maturity_step,
    oxidizer_decay,
    oxidizer_growth,
)
from stocksim.water.solids import fouled_capture

HALF_TAN, HALF_NITRITE, HALF_BASE = 1.93, 1.0, 25.0
BASE_PER_N, CO2_PER_BASE, CO2_PER_OXYGEN, OXYGEN_PER_NITRATE = 3.573, 44.01 / 50.04, 1.375, 2.856
SOURCE = {
    "alkalinity": 100.0, "potassium": 2.0, "phosphorus": 0.05, "calcium": 40.0, "chloride": 15.0, "sodium": 10.0,
    "nitrate": 2.0,
}  # fmt: skip
SOLIDS = ("solids", "solids_n", "solids_p", "solids_oxygen")
CARRIED = ("alkalinity", "co2", "calcium", "chloride", "sodium", "potassium", "phosphorus", *SOLIDS)
TRAPPED = {"media": 0.6, "raft": 0.2, "tower": 0.1, "trickling": 0.1, "submerged": 0.1}
CAPTURE = {"swirl": 0.37, "radial_flow": 0.78}
KINDS = ("ammonia", "nitrite")
HALF_MINERAL = {"calcium": 5.0, "potassium": 2.0, "phosphorus": 0.2}  # mg/L at half of what roots want


def with_uptake(gain: float, capacity: float, half: float, arriving: float) -> float:
    """Level c with gain c + capacity c / (half + c) = arriving."""
    b = gain * half + capacity - arriving
    root = math.sqrt(b * b + 4.0 * gain * half * arriving)
    if b > 0.0:
        return 2.0 * half * arriving / (b + root) if arriving > 0.0 else 0.0
    return (root - b) / (2.0 * gain)


def base_left(held: float, water: float, capacity: float, ammonia: float) -> float:
    """Alkalinity at the day's end, by halving what is nitrified."""
    held, ammonia = max(held, 0.0), max(ammonia, 0.0)
    low, high = 0.0, min(held / (2.0 * BASE_PER_N), ammonia)
    for _ in range(200):
        used = 0.5 * (low + high)
        level, tan = (held - 2.0 * BASE_PER_N * used) / water, (ammonia - used) / water
        rate = capacity * level / (HALF_BASE + level) * tan / (HALF_TAN + tan)
        low, high = (used, high) if used < rate else (low, used)
    return max(held - 2.0 * BASE_PER_N * high, 0.0) / water


class SlowWater:
    """The part of a loop that moves slowly; `oracle.Loop` has its pools, fish and temperature."""

    def begin(self, site, key: str) -> None:
        file, table = site.file, site.file.loops[key]
        self.table, self.days, self.start = table, site.days, file.season.start
        given = table.source_water
        self.source = dict(SOURCE)
        for name in SOURCE:
            level = getattr(given, "nitrate_n" if name == "nitrate" else name) if given else None
            self.source[name] = SOURCE[name] if level is None else level
        first = {name: self.source.get(name, 0.0) for name in CARRIED}
        first["co2"] = float(carbon_dioxide_saturation(self.temperature[0], self.elevation))
        if table.alkalinity_target is not None:
            typed = getattr(given, "alkalinity", None) if given else None
            first["alkalinity"] = max(table.alkalinity_target, typed or 0.0)
        for pool in [*self.pools, self.sump]:
            pool.level, pool.nitrite, pool.nitrate, pool.grams = dict(first), 0.0, self.source["nitrate"], {}
        self.sediment, self.settled = dict.fromkeys(SOLIDS, 0.0), dict.fromkeys(SOLIDS, 0.0)
        self.salt = SALTS[table.buffer]
        water = self.sump.volume + sum(pool.volume for pool in self.tanks.values())
        self.loss = 0.01 * water if table.evaporation is None else table.evaporation
        self.water = self.sump.volume + sum(pool.volume for pool in self.pools)
        self.settlers = [s for s in file.settlers.values() if s.loop == key]
        self.gave_back, self.used = 0.0, 0.0
        self.lies = [0.0 for _ in self.settlers]
        for name, pool in self.units.items():
            kind, own = name.split(".")
            bed = getattr(file, kind)[own]
            pool.keeps, pool.film = TRAPPED[bed.kind], pool.film
            # what crops would take is known before the days; its own tests hold it (test_crop_growth.py)
            stands = build_stands(site)
            wants = dict(zip(NUTRIENTS, stands.demand_g, strict=True))
            column = stands.beds.index(own) if own in stands.beds else None
            pool.wants = {
                key: [0.0] * site.days if column is None else [float(g) for g in of_beds[:, column]]
                for key, of_beds in wants.items()
            }
            back = [0.0] * site.days if column is None else [float(g) for g in stands.alkalinity_g[:, column]]
            pool.gives = [b / n if n > 0.0 else 0.0 for b, n in zip(back, pool.wants["nitrogen"], strict=True)]
            pool.grown = self._grown_at_start(table, bed.biofilter_started)
        own = [
            unit.biofilter_started
            for unit in (*file.beds.values(), *file.biofilters.values())
            if unit.loop == key and unit.biofilter_started is not None and getattr(unit, "kind", "") != "wicking"
        ]
        told = table.biofilter_start is not None or table.biofilter_started is not None
        youngest = max(own) if own else None if self.units else self.start
        for pool in self.tanks.values():
            pool.grown = self._grown_at_start(table, None if told else youngest)
        self.is_at_rest = all(pool.grown[0] is None for pool in self.units.values())
        self.excreted_yesterday, self.judged = 0.0, []
        self._find_ph(0)

    def _grown_at_start(self, table, own) -> list:
        """Films of a pool on the first morning; None where the first day's water tells."""
        if table.biofilter_start is not None:
            share = {"new": 1e-3, "seeded": 0.1, "mature": None}[table.biofilter_start]
            return [share, share]
        started = own or table.biofilter_started
        if started is None:
            return [None, None]
        age = max((self.start - started).days, 0)
        return [float(maturity_after(age, self.temperature[0], kind)) for kind in KINDS]

    def _find_ph(self, number: int) -> None:
        for pool in self.tanks.values():
            level = pool.level
            computed = ph_from_alkalinity(level["alkalinity"], max(level["co2"], 0.05), self.temperature[number])
            pool.ph = float(computed) if self.table.ph is None else self.table.ph

    def reset(self, date) -> None:
        """Take over a test of this morning."""
        self.judged, self.is_first = [], date == self.start
        for test in self.table.water_tests:
            if test.date != date:
                continue
            for place, (name, level) in enumerate((("tan", test.tan), ("nitrite", test.nitrite_n))):
                if level is not None and self.tanks:
                    water = sum(pool.volume for pool in self.tanks.values())
                    mean = sum(getattr(pool, name) * pool.volume for pool in self.tanks.values()) / water
                    self.judged.append((place, level, mean, getattr(self.sump, name)))
            for pool in [*self.pools, self.sump]:
                for name in ("tan", "nitrite_n", "nitrate_n"):
                    if getattr(test, name) is not None:
                        setattr(pool, name.removesuffix("_n"), getattr(test, name))
                for name in SOURCE:
                    if name != "nitrate" and getattr(test, name) is not None:
                        pool.level[name] = getattr(test, name)
        self._breathe_by_ph(date)

    def _breathe_by_ph(self, date) -> None:
        """The carbon dioxide that a tested pH and the alkalinity tell."""
        t = self.temperature[(date - self.start).days]
        for test in self.table.water_tests:
            if test.date == date and test.ph is not None:
                for pool in [*self.pools, self.sump]:
                    pool.level["co2"] = max(float(carbon_dioxide(test.ph, pool.level["alkalinity"], t)), 0.05)
                for pool in self.tanks.values():
                    pool.ph = test.ph

    def running_over(self) -> float:
        """What a steady inflow pushes over the rim, once it has made good what evaporates and is drawn off."""
        inflow = self.table.new_water or 0.0
        return max(inflow - self.loss - sum(s.drawn_off for s in self.settlers), 0.0)

    def held(self, name: str) -> float:
        return sum(pool.level[name] * pool.volume for pool in [*self.pools, self.sump])

    def morning(self, number: int, date) -> None:
        """Breakdown, dose, water taken out, and what the films can do today."""
        t = self.temperature[number]
        share = 0.5 * (1.0 - math.exp(-0.15 * 1.07 ** (t - 20.0)))
        self.freed_sediment = {name: share * self.sediment[name] for name in SOLIDS}
        self.freed_settled = {name: share * self.settled[name] for name in SOLIDS}
        self.freed = {name: self.freed_sediment[name] + self.freed_settled[name] for name in SOLIDS}
        demand, nitrate = self.freed["solids_oxygen"], self.sump.nitrate
        self.denitrifying = 0.15 * demand / OXYGEN_PER_NITRATE
        self.solids_oxygen = demand * (1.0 - 0.15 * nitrate / (0.5 + nitrate))
        # each change is drained, then filled; in a balance implicit in the day as much must run through as leaves that
        stays = 1.0
        for change in self.table.water_changes:
            if change.date == date:
                stays -= stays * change.volume / self.water
        drawn = sum(s.drawn_off for s in self.settlers)
        self.outflow = (self.water / stays - self.water) + drawn + self.running_over()
        self.top_up = self.loss + self.outflow
        cycling = self.table.fishless_cycling
        self.ammonia_dosed = 0.0
        if cycling is not None and cycling.start <= date <= cycling.end:
            self.ammonia_dosed = cycling.ammonia_nitrogen
        self.dose = 0.0
        if self.table.alkalinity_target is not None:
            self.dose = float(buffer_dose(
                self.held("alkalinity") / self.water, self.table.alkalinity_target, self.water,
                max((pool.ph for pool in self.tanks.values()), default=0.0),
                max((pool.tan for pool in self.tanks.values()), default=0.0), t, self.ammonia_limit,
                0.2 / (1.0 + 1.5 * SALTS[self.table.buffer].carbon_dioxide_g_per_alkalinity_g / (44.01 / 50.04)),
                self.used / self.water,
            ))  # fmt: skip
        if self.table.buffer == "calcium_carbonate":
            # what dissolves until the sump is full, after the water lost what it did yesterday
            left = max(self.sump.level["alkalinity"] - max(self.used, 0.0) / self.water, 0.0)
            ph = self.table.ph
            if ph is None:
                ph = ph_from_alkalinity(left, self.sump.level["co2"], t)
            dissolves = chalk_room(self.sump.level["calcium"], left, ph, t)
            self.dose = min(self.dose, float(dissolves) * self.water)
        self._base(t)

    def _base(self, t: float) -> None:
        # what the fish would excrete in the morning's water
        freed = sum(cohort.excreted for pool in self.tanks.values() for cohort in pool.cohorts) + self.freed["solids_n"]
        held = self.held("alkalinity") + self.dose + self.top_up * self.source["alkalinity"]
        held += BASE_PER_N * freed + self.gave_back
        ammonia = sum(pool.tan * pool.volume for pool in [*self.pools, self.sump]) + freed + self.ammonia_dosed
        active = [pool.full * (pool.grown[0] or 1.0) for pool in self.pools]
        of_loop = base_left(held, self.water + self.outflow, sum(active), ammonia)
        self.decay = float(oxidizer_decay(t))
        for pool, works in zip(self.pools, active, strict=True):
            given = 0.87 * sum(cohort.excreted for cohort in pool.cohorts)
            arriving = pool.volume * pool.level["alkalinity"] + pool.flow * of_loop + BASE_PER_N * given
            food = pool.volume * pool.tan + pool.flow * self.sump.tan + given
            pool.base = base_left(arriving, pool.volume + pool.flow, works, food)
            pool.working = pool.full * pool.base / (HALF_BASE + pool.base)
            pool.air = pool.oxygen
            pool.free = max((float(unionized_fraction(tank.ph, t)) for tank in self.tanks.values()), default=0.0)
            if pool.grown[0] is None:
                asleep = 0.8 * math.exp(-60.0 * self.decay)
                still = self._growth(pool, t, 0.3, 0.3)
                pool.grown = [max(float(equilibrium_maturity(g, self.decay)), asleep) for g in still]
        for one in self.judged:
            self._believe(*one)

    def _believe(self, place: int, level: float, mean: float, sump: float) -> None:
        """Films as strong as a test of ammonia (0) or nitrite (1) says, where fish fed them today and yesterday."""
        fish = [cohort for pool in self.tanks.values() for cohort in pool.cohorts]
        excreted = sum(cohort.excreted for cohort in fish)
        if self.ammonia_dosed > 0.0 or excreted <= 0.0 or not any(pool.working > 0.0 for pool in self.units.values()):
            return
        if not (self.is_at_rest if self.is_first else self.excreted_yesterday > 0.0):
            return
        half, rate = ((HALF_TAN, 1.0), (HALF_NITRITE, 0.62 / 0.56))[place]
        lost = sum(s.drawn_off for s in self.settlers) + self.running_over()

        # nitrite is made where it is taken: by the ammonia oxidizers beside
        made = {}
        if place == 1:
            active = {pool: pool.working * pool.grown[0] for pool in self.units.values() if pool.flow > 0.0}
            for pool, most in active.items():
                after = with_uptake(pool.flow, most, HALF_TAN, pool.flow * self.sump.tan)
                made[pool] = most * after / (HALF_TAN + after)
            if self.is_first:
                left = max(excreted + self.freed["solids_n"] - lost * self.sump.tan, 0.0)
                made = {pool: left * most / sum(active.values()) for pool, most in active.items()}

        def grown(pool, times: float) -> float:
            return min(max(times * pool.grown[place], 1e-5), 1.0)

        def leaves(times: float, at: float) -> float:
            """Nitrogen that films and outflow take a day of water that reaches them at a level."""
            whole = lost * at
            for pool in self.units.values():
                if pool.flow > 0.0:
                    capacity = rate * pool.working * grown(pool, times)
                    after = with_uptake(pool.flow, capacity, half, pool.flow * at + made.get(pool, 0.0))
                    whole += capacity * after / (half + after)
            return whole

        if self.is_first:
            at, comes = level, excreted + self.freed["solids_n"]
            if place == 0:
                at -= 0.87 * excreted / sum(pool.flow for pool in self.tanks.values())
            else:
                comes -= lost * self.sump.tan
            at = max(at, 0.05)
        else:
            at, comes = max(sump + level - mean, min(sump, 0.05)), leaves(1.0, sump)
        times = root_between(lambda f: leaves(f, at) - comes, 1e-3 if level > 0.05 else 1.0, 5.0)
        for pool in self.units.values():
            pool.grown[place] = grown(pool, times)

    def _growth(self, pool, t: float, tan: float, nitrite: float) -> list[float]:
        return [
            float(oxidizer_growth(t, food, pool.air, pool.base, kind) / (1.0 + tan * pool.free / hinders))
            for kind, food, hinders in zip(KINDS, (tan, nitrite), (40.0, 1.0), strict=True)
        ]

    def films(self, t: float, grown: list, tan: list, nitrite: list, days: float) -> tuple[list, list, list]:
        """Capacities of every pool for ammonia and for nitrite, and the films after the step."""
        first, second, after = [], [], []
        for pool, m, food, toxic in zip(self.pools, grown, tan, nitrite, strict=True):
            growth = self._growth(pool, t, food, toxic)
            mean = [float(maturity_mean(a, g, self.decay, days)) for a, g in zip(m, growth, strict=True)]
            first.append(pool.working * mean[0])
            second.append(0.62 / 0.56 * pool.working * mean[1])
            after.append([float(maturity_step(a, g, self.decay, days)) for a, g in zip(m, growth, strict=True)])
        return first, second, after

    def removal(self, levels, sump, loads, sump_load, capacity, half, days=1.0) -> tuple[list, float, list]:
        """One step of a solute that films take: levels, sump, and what was removed in a day at this rate."""

        def leaves(x: float) -> list[float]:
            return [
                with_uptake(p.volume / days + p.flow, c, half, p.volume / days * level + load + p.flow * x)
                for p, c, level, load in zip(self.pools, capacity, levels, loads, strict=True)
            ]

        store = self.sump.volume / days

        def missing(x: float) -> float:
            back = sum(p.flow * level for p, level in zip(self.pools, leaves(x), strict=True))
            return (store + self.flow + self.outflow) * x - store * sump - sump_load - back

        most = store * sump + sump_load
        most += sum(p.volume / days * level + load for p, level, load in zip(self.pools, levels, loads, strict=True))
        found = root_between(missing, 0.0, most / store)
        after = leaves(found)
        return after, found, [c * level / (half + level) for c, level in zip(capacity, after, strict=True)]

    def nitrogen_in_steps(self, number: int, steps: int, loads: list, sump_load: float) -> list[list]:
        """TAN, nitrite and films of the day in equal steps: flat lists that can be weighed against each other."""
        t, days = self.temperature[number], 1.0 / steps
        tan, nitrite = [p.tan for p in self.pools], [p.nitrite for p in self.pools]
        tan_sump, nitrite_sump = self.sump.tan, self.sump.nitrite
        grown = [getattr(p, "grown", None) for p in self.pools]
        nitrified, oxidized = [0.0] * len(tan), [0.0] * len(tan)
        for _ in range(steps):
            first, second, after = self.films(t, grown, tan, nitrite, days)
            tan, tan_sump, made = self.removal(tan, tan_sump, loads, sump_load, first, HALF_TAN, days)
            nitrite, nitrite_sump, used = self.removal(nitrite, nitrite_sump, made, 0.0, second, HALF_NITRITE, days)
            nitrified = [a + days * b for a, b in zip(nitrified, made, strict=True)]
            oxidized = [a + days * b for a, b in zip(oxidized, used, strict=True)]
            grown = after
        flat = [x for m in grown if m is not None for x in m]
        return [tan, [tan_sump], nitrified, nitrite, [nitrite_sump], oxidized, flat]

    def evening(self, number: int) -> None:
        """Nitrate, then every solute that is carried in proportion to its level, then sediment and pH."""
        t, sump = self.temperature[number], self.sump
        fish = [cohort for pool in self.tanks.values() for cohort in pool.cohorts]
        urea = sum(0.13 * cohort.excreted for cohort in fish)
        self.excreted_yesterday = sum(cohort.excreted for cohort in fish)
        uptake = self._nitrate(number)
        taken = self.denitrifying / (0.5 + sump.nitrate) * sump.nitrate
        full = float(carbon_dioxide_saturation(t, self.elevation))
        passed = 1.0
        for settler in self.settlers:
            device = CAPTURE[settler.kind] if settler.capture is None else settler.capture
            passed *= 1.0 - float(fouled_capture(device * settler.share_of_flow, number % settler.emptied_every_days))
        for pool in self.tanks.values():
            base = BASE_PER_N * (0.87 * sum(c.excreted for c in pool.cohorts) - 2.0 * pool.nitrified)
            breathed = max(pool.used - 3.427 * pool.nitrified - 1.142 * pool.oxidized, 0.0)
            pool.grams = {"alkalinity": base, "co2": CO2_PER_OXYGEN * breathed - CO2_PER_BASE * base}
            for name in ("potassium", "phosphorus", *SOLIDS):
                pool.grams[name] = sum(cohort.given[name] for cohort in pool.cohorts)
            pool.passes = passed
        gave = 0.0
        for pool, took in zip(self.units.values(), uptake, strict=True):
            gave += pool.gives[number] * took
            base = pool.gives[number] * took - 2.0 * BASE_PER_N * pool.nitrified
            pool.grams, pool.passes = {"alkalinity": base, "co2": -CO2_PER_BASE * base}, 1.0 - pool.keeps
            wanted = pool.wants["nitrogen"][number]
            pool.mineral = {
                key: took * pool.wants[key][number] / wanted / (half + pool.level[key]) if wanted > 0.0 else 0.0
                for key, half in HALF_MINERAL.items()
            }
        base = BASE_PER_N * (urea + self.freed["solids_n"] + taken)
        self.used = -base - sum(pool.grams["alkalinity"] for pool in self.pools)
        salt = self.dose * self.salt.salt_g_per_alkalinity_g
        to_sump = {
            "alkalinity": base + self.dose,
            "co2": CO2_PER_OXYGEN * (self.sump_used + OXYGEN_PER_NITRATE * taken) - CO2_PER_BASE * base
            - self.dose * self.salt.carbon_dioxide_g_per_alkalinity_g,
            "phosphorus": self.freed["solids_p"], "potassium": salt * self.salt.potassium_share,
            "calcium": salt * self.salt.calcium_share, "sodium": salt * self.salt.sodium_share,
        }  # fmt: skip
        for name in CARRIED:
            airy, muddy = name == "co2", name in SOLIDS
            gain = sump.volume + self.flow + self.outflow + (sump.co2_exchange if airy else 0.0)
            gain += 0.2 * self.flow if muddy else 0.0
            load = sump.volume * sump.level[name] + to_sump.get(name, 0.0) + self.top_up * self.source.get(name, 0.0)
            load += (sump.co2_exchange + self.running_over()) * full if airy else 0.0
            lines = []
            for pool in self.pools:
                through = pool.volume + pool.flow + (pool.co2_exchange if airy else 0.0)
                through += getattr(pool, "mineral", {}).get(name, 0.0)
                own = pool.volume * pool.level[name] + pool.grams.get(name, 0.0)
                own += pool.co2_exchange * full if airy else 0.0
                back = pool.flow * (pool.passes if muddy else 1.0)
                gain -= back * pool.flow / through
                load += back * own / through
                lines.append((pool, own, through))
            sump.level[name] = load / gain
            for pool, own, through in lines:
                pool.level[name] = (own + pool.flow * sump.level[name]) / through
        self._keep_solids(number)
        self._find_ph(number)
        self.gave_back = gave + BASE_PER_N * taken

    def _nitrate(self, number: int) -> list[float]:
        sump = self.sump
        gain = sump.volume + self.flow + self.outflow + self.denitrifying / (0.5 + sump.nitrate)
        load = sump.volume * sump.nitrate + self.top_up * self.source["nitrate"]
        lines = []
        for pool in self.pools:
            rate = 0.0
            if pool in self.units.values():
                rate = pool.wants["nitrogen"][number] / (5.0 + pool.nitrate)
            through, own = pool.volume + pool.flow + rate, pool.volume * pool.nitrate + pool.oxidized
            gain -= pool.flow * pool.flow / through
            load += pool.flow * own / through
            lines.append((pool, own, through, rate))
        before = sump.nitrate
        sump.nitrate = load / gain
        self.denitrifying *= (0.5 + sump.nitrate) / (0.5 + before)  # so that the day's rate stays that of its morning
        took = []
        for pool, own, through, rate in lines:
            pool.nitrate = (own + pool.flow * sump.nitrate) / through
            if pool in self.units.values():
                took.append(rate * pool.nitrate)
        return took

    def _keep_solids(self, number: int) -> None:
        reaching, taken = 1.0, 0.0
        for place, settler in enumerate(self.settlers):
            device = CAPTURE[settler.kind] if settler.capture is None else settler.capture
            every = settler.emptied_every_days
            keeps = reaching * float(fouled_capture(device * settler.share_of_flow, number % every))
            reaching -= keeps
            self.lies[place] += keeps
            taken += self.lies[place] if (number + 1) % every == 0 else 0.0
        whole, due = sum(self.lies), [(number + 1) % s.emptied_every_days == 0 for s in self.settlers]
        emptied = taken / whole if whole > 0.0 else float(bool(due) and all(due))
        self.lies = [0.0 if is_due else left for left, is_due in zip(self.lies, due, strict=True)]
        for name in SOLIDS:
            in_settlers = sum(p.flow * (1.0 - p.passes) * p.level[name] for p in self.tanks.values())
            in_beds = sum(p.flow * (1.0 - p.passes) * p.level[name] for p in self.units.values())
            in_beds += 0.2 * self.flow * self.sump.level[name]
            self.sediment[name] += 0.5 * in_beds - self.freed_sediment[name]
            self.settled[name] += 0.5 * in_settlers - self.freed_settled[name]
            self.settled[name] *= 1.0 - emptied

    def weather_co2(self) -> None:
        """Exchange of carbon dioxide by that of oxygen."""
        for pool in [*self.pools, self.sump]:
            pool.co2_exchange = float(carbon_dioxide_exchange(pool.open_water, pool.device))
