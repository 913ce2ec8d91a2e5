"""A season watched while it runs: levels the course does not carry, and the library values of its fish, for sums."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from small_sites import build

from stocksim import run_season
from stocksim.engine.arrays.tables import (
    empty_course,
    empty_now,
    feed_tables,
    mornings,
    tables,
    with_scenarios,
)
from stocksim.engine.arrays.water import SOLUTES
from stocksim.engine.days import rows
from stocksim.engine.days.day import seasons
from stocksim.engine.days.waters import take_tests
from stocksim.water.buffering import SALTS

CLOSED = 1e-9
PROTEIN_PER_NITROGEN = 6.25


class Day(NamedTuple):
    """Water before and after, each by name: (leaf levels, sump levels), and the sediment and settlers of each loop."""

    before: dict
    after: dict
    freed: np.ndarray
    dose: np.ndarray
    out: tuple[np.ndarray, np.ndarray]


class Watched:
    """A season of one scenario stepped through by the plain days, with what each did to the water."""

    def __init__(self, layout):
        given, _ = tables(with_scenarios(layout))
        self.leaf_co2_exchange = given.leaf_day[0, :, rows.CO2_EXCHANGE - rows.LEAF_TODAY]
        self.sump_co2_exchange = given.loop_day[0, :, rows.SUMP_CO2_EXCHANGE - rows.LOOP_TODAY]
        self.co2_saturation = given.loop_day[0, :, rows.CO2_SATURATION - rows.LOOP_TODAY]
        happens, feeding = mornings(layout), feed_tables(layout)
        now = empty_now(layout, given)
        kept = empty_course(given, 1, len(layout.happenings))
        self.told: list[Day] = []
        self.at = now
        for day in range(layout.days):
            if day == 0:
                # the first morning, without a day lived
                seasons.py_func(given, happens, feeding, now, kept, 0, 0, True)
            # the day takes the tests itself, beside what the evening left
            evening = now.leaf.copy(), now.loop.copy()
            take_tests(now, happens, day)
            before = self.now()
            now.leaf[:], now.loop[:] = evening
            seasons.py_func(given, happens, feeding, now, kept, day, day + 1, False)
            freed = given.loop_day[0, day, rows.BROKEN_DOWN - rows.LOOP_TODAY] * (
                before["sediment"][0] + before["sediment"][1]
            )
            loop = now.loop
            out = (loop[rows.TAN_OUT].copy(), loop[rows.NITRITE_OUT].copy())
            self.told.append(Day(before, self.now(), freed, loop[rows.DOSE].copy(), out))

    def now(self) -> dict:
        leaf, loop = self.at.leaf, self.at.loop
        levels = {name: (leaf[row], loop[row]) for row, name in enumerate(SOLUTES)}
        levels |= {
            "tan": (leaf[rows.TAN], loop[rows.SUMP_TAN]),
            "nitrite": (leaf[rows.NITRITE], loop[rows.SUMP_NITRITE]),
            "nitrate": (leaf[rows.NITRATE], loop[rows.SUMP_NITRATE]),
            "sediment": tuple(loop[row : row + rows.POOL_COUNT] for row in (rows.SEDIMENT, rows.SETTLED)),
        }
        return {key: tuple(np.array(part) for part in pair) for key, pair in levels.items()}


class Told:
    """A season with the library values of its cohorts, arrays (day, column) of the only scenario."""

    def __init__(self, tables: dict):
        self.season = run_season(build(tables))
        self.water = Watched(self.season.layout)
        layout, course, site = self.season.layout, self.season.course, self.season.site
        self.layout, self.course = layout, course
        fish = [stay.table for stay in layout.stays]

        def of_feed(key: str) -> np.ndarray:
            return np.array([site.feeds[cohort.feed][key] for cohort in fish], float)

        def of_species(key: str) -> np.ndarray:
            return np.array([site.species[cohort.species][key] for cohort in fish], float)

        self.feed_nitrogen = of_feed("protein") / PROTEIN_PER_NITROGEN
        self.digested = of_feed("protein_digestibility")
        self.feed_kj_g, self.feed_gross_kj_g = of_feed("digestible_energy"), of_feed("gross_energy")
        self.body_nitrogen = of_species("body_protein") / PROTEIN_PER_NITROGEN
        self.body_kj_g = of_species("body_energy")
        self.fed, self.eaten, self.gain = course.fed_g[0], course.eaten_g[0], course.gain_g[0]
        self.excreted = course.excreted_nitrogen_g[0]
        self.laid_down_n = self.gain * self.body_nitrogen + course.spared_nitrogen_g[0]
        self.faecal_nitrogen = self.eaten * self.feed_nitrogen * (1.0 - self.digested)
        self.uneaten_nitrogen = (self.fed - self.eaten) * self.feed_nitrogen

        self.feed_minerals = {key: of_feed(key) for key in ("potassium", "phosphorus")}
        self.dry = of_feed("dry_matter")
        self.top_up, self.outflow = course.top_up_m3[0], course.outflow_m3[0]
        self.dose = np.array([day.dose for day in self.water.told])
        self.salts = [SALTS[loop.buffer] for loop in site.file.loops.values()]

    def per_loop(self, cohorts: np.ndarray) -> np.ndarray:
        return cohorts @ self.layout.cohort_loop

    def held(self, levels: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """Amount in the water of each loop. [g]"""
        return (levels[0] * self.layout.volume_m3) @ self.layout.leaf_loop + levels[1] * self.layout.sump_volume_m3

    def stored(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """Amount of a solute in each loop's water before and after each day, each (day, loop). [g]"""
        told = self.water.told
        return np.array([self.held(day.before[name]) for day in told]), np.array(
            [self.held(day.after[name]) for day in told]
        )

    def carried_out(self, name: str) -> np.ndarray:
        """Amount that left with water taken out of the sump, (day, loop). [g]"""
        return self.outflow * np.array([day.after[name][1] for day in self.water.told])

    def source(self, name: str) -> np.ndarray:
        """Level of the source water of each loop, given or usual. [mg/L]"""
        usual = {"alkalinity": 100.0, "potassium": 2.0, "phosphorus": 0.05, "calcium": 40.0, "chloride": 15.0,
                 "sodium": 10.0, "nitrate_n": 2.0}  # fmt: skip
        tables = [loop.source_water for loop in self.season.site.file.loops.values()]
        given = [None if table is None else getattr(table, name) for table in tables]
        return np.array([usual[name] if level is None else level for level in given])

    def solute_closes(self, name: str, gained: list[np.ndarray], lost: list[np.ndarray]) -> None:
        """Held before plus all gained equals held after plus all lost."""
        before, after = self.stored(name)
        gross = before + after + sum(np.abs(part) for part in (*gained, *lost))
        assert_same(before + sum(gained), after + sum(lost), np.abs(gross))


def assert_same(left: np.ndarray, right: np.ndarray, gross: np.ndarray) -> None:
    """Equal day by day and over the season, to 1e-9 of the gross amounts."""
    for a, b, scale in ((left, right, gross), (left.sum(axis=0), right.sum(axis=0), gross.sum(axis=0))):
        off = np.abs(a - b)
        assert (off <= CLOSED * scale + 1e-12).all(), f"off by {np.max(off / np.maximum(scale, 1e-300)):.2e}"
