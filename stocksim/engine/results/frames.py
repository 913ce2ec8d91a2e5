"""A season as tidy frames and one summary."""

from __future__ import annotations

import datetime as dt
import json
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TextIO

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.beds import Planting
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.beds import BedCourse, BuildArea, balance_area, bed_course, build_areas, dissolved_nitrogen
from stocksim.engine.results.course import Course, only
from stocksim.engine.results.deaths import ledger, taken_g
from stocksim.engine.results.films import FilmCorrection, film_corrections
from stocksim.engine.results.findings import (
    ADVISERS,
    Extremes,
    Finding,
    Judging,
    LimitSeries,
    findings,
    judge,
)
from stocksim.engine.results.ranges import LeftRange, left_ranges
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.heat.temperatures import loop_heat_kwh
from stocksim.library.feeds import feed_kind, shares_of
from stocksim.plants.area import handbook_area, planting_ratio
from stocksim.site.kinds import HARVESTS, LIMITS, OTHERWISE_TAKEN, hard_limits
from stocksim.site.reading import Site
from stocksim.writing import Write, safe_cell, write_folder

FloatArray = NDArray[np.float64]

if TYPE_CHECKING:
    import pandas as pd

    Frame = pd.DataFrame

TABLES = ("tanks", "cohorts", "beds", "loops", "ledger")
SEASON_FILES = (*(f"{name}.csv" for name in TABLES), "summary.json")


class FedFeed(NamedTuple):
    """A feed over a season: whether it is natural food, what was offered and eaten of it as it is weighed out [kg], and
    the dry matter of what was offered. [kg]"""

    is_natural: bool
    offered_kg: float
    eaten_kg: float
    dry_kg: float


class Season:
    """One season of a site: arrays inside, frames of the contract outside.

    Parameters
    ----------
    site : Site
        The site that was run.
    layout : Layout
        Its arrays.
    course : Course
        What happened.
    planting : Planting
        What was planted.
    """

    def __init__(self, site: Site, layout: Layout, course: Course, planting: Planting):
        self.site, self.layout, self.course, self.planting = site, layout, course, planting
        self._series: dict[str, LimitSeries] = {}

    def __repr__(self) -> str:
        return f"Season({self.site!r})"

    @cached_property
    def extremes(self) -> Extremes:
        """Worst hour of each day, arrays (scenario, day, tank)."""
        return self._judging.extremes

    @cached_property
    def water_limits(self) -> list[LimitSeries]:
        """Value, threshold and margin of the limits that fish and feed move, day by day."""
        return [self.series_of(limit) for limit in hard_limits() if LIMITS[limit].moves_with_feed]

    @cached_property
    def limits(self) -> list[LimitSeries]:
        """Value, threshold and margin of every hard limit, day by day."""
        others = [self.series_of(limit) for limit in hard_limits() if not LIMITS[limit].moves_with_feed]
        return self.water_limits + others

    @cached_property
    def _judging(self) -> Judging:
        return Judging(self.layout, self.course)

    def series_of(self, limit: str) -> LimitSeries:
        """One of `limits`, by its name; judged when it is first asked for."""
        if limit not in self._series:
            self._series[limit] = judge(self._judging, limit)
        return self._series[limit]

    @cached_property
    def findings(self) -> list[Finding]:
        """Every limit and advisory: broken first in date order, then by margin. What helps is not sought here."""
        advice = [told for advise in ADVISERS.values() for told in advise(self.layout, self.course)]
        return findings(self.layout, self.limits) + advice

    @cached_property
    def left_ranges(self) -> list[LeftRange]:
        """Ranges of formulas that the season leaves, and where; computed all the same."""
        return left_ranges(self.site, self.layout, self.course)

    @cached_property
    def film_corrections(self) -> list[FilmCorrection]:
        """Films that tests of the water made weaker or stronger, in the order of dates."""
        return film_corrections(self.layout, self.course)

    @cached_property
    def bed_course(self) -> BedCourse:
        """What every bed wanted, took and gave."""
        return bed_course(self.site, self.layout, self.course, self.planting.stands)

    @cached_property
    def dates(self) -> list[dt.date]:
        """Days of the season."""
        return [self.layout.start + dt.timedelta(days=day) for day in range(self.layout.days)]

    def _frame(self, entities: tuple[str, ...], entity: str, columns: dict[str, Any]) -> Frame:
        """Long frame, a row for each day and entity, from arrays (day, entity) or lists by entity."""
        import pandas as pd

        days, width = self.layout.days, len(entities)
        data: dict[str, Any] = {
            "date": np.repeat(np.array(self.dates, dtype="datetime64[s]"), width),
            entity: np.tile(np.array(entities, dtype=object), days),
        }
        for name, values in columns.items():
            if isinstance(values, list):
                data[name] = np.tile(np.array(values, dtype=object), days)
            else:
                data[name] = np.broadcast_to(values, (days, width)).reshape(-1)
        return pd.DataFrame(data)

    @cached_property
    def cohorts(self) -> Frame:
        """Columns of cohorts.csv, from the day each cohort is stocked."""
        layout, course = self.layout, self.course
        count, weight = course.count[0], course.weight_g[0]
        fed = count + course.deaths[0]
        # as one division: of a cohort that died out, so little is left that 1 over it is infinite
        growth = np.divide(course.gain_g[0], fed, out=np.zeros_like(fed), where=fed > 0.0)
        biomass = count * weight
        before = course.grown_g[0] - course.gain_g[0]
        frame = self._frame(
            layout.cohorts,
            "cohort",
            {
                "species": [stay.table.species for stay in layout.stays],
                "tank": [stay.table.tank for stay in layout.stays],
                "count": count,
                "mean_weight_g": weight,
                "biomass_kg": biomass / 1000.0,
                "feed_g": course.fed_g[0],
                "feed_eaten_g": course.eaten_g[0],
                "feed_percent_body_weight": 100.0
                * np.divide(course.fed_g[0], before, out=np.zeros_like(before), where=before > 0.0),
                "growth_g_per_day": growth,
                "oxygen_use_g": course.fish_oxygen_g[0],
                "tan_excreted_g": AMMONIA_SHARE_OF_EXCRETION * course.excreted_nitrogen_g[0],
                "nitrogen_spared_g": course.spared_nitrogen_g[0],
                "deaths": course.deaths[0],
                "deaths_kg": course.dead_g[0] / 1000.0,
                "harvested_kg": taken_g(layout, course, HARVESTS) / 1000.0,
                "temperature_c": layout.temperature_c @ layout.cohort_loop.T,
                "size_spread": course.size_spread[0],
                "feed": [stay.table.feed for stay in layout.stays],
                "feed_dry_g": course.fed_g[0] * layout.feed_dry_matter,
            },
        )
        day = np.arange(layout.days)[:, None]
        there = (day >= layout.stocked_day) & (day < layout.until_day)
        # a harvest is of the fish that were in the column that morning
        return frame[there.reshape(-1)].reset_index(drop=True)

    @cached_property
    def ledger(self) -> Frame:
        """What became of every cohort's fish: a row for each cohort and entry, in numbers and kg."""
        import pandas as pd

        rows = [
            {"cohort": name, "entry": entry, "fish": fish, "kg": mass / 1000.0}
            for name, entries in ledger(self.layout, self.course).items()
            for entry, (fish, mass) in entries.items()
        ]
        return pd.DataFrame(rows, columns=["cohort", "entry", "fish", "kg"])

    @cached_property
    def feeds(self) -> dict[str, FedFeed]:
        """Weights of each feed over the season, by its key; of a mix, each of its feeds has its share."""
        found: dict[str, FedFeed] = {}
        for column, stay in enumerate(self.layout.stays):
            offered, eaten = (float(g[0, :, column].sum()) / 1000.0 for g in (self.course.fed_g, self.course.eaten_g))
            for share, entry in shares_of(self.site.feeds[stay.table.feed]):
                before = found.get(entry.name, FedFeed(feed_kind(entry) == "natural", 0.0, 0.0, 0.0))
                offered_kg = before.offered_kg + share * offered
                found[entry.name] = FedFeed(
                    before.is_natural, offered_kg, before.eaten_kg + share * eaten, offered_kg * entry["dry_matter"]
                )
        return found

    @cached_property
    def tanks(self) -> Frame:
        """Columns of tanks.csv."""
        names = [self.site.file.tanks[key].loop for key in self.layout.tanks]
        return self._frame(self.layout.tanks, "tank", {"loop": names, **self.tank_table})

    @cached_property
    def tank_table(self) -> dict[str, FloatArray]:
        """Columns of tanks.csv as arrays, shape (day, tank)."""
        layout, course = self.layout, self.course
        tanks = len(layout.tanks)
        biomass = ((course.count * course.weight_g) @ layout.cohort_tank)[0] / 1000.0
        loop_of = layout.leaf_loop[:tanks].T
        level, used = course.oxygen_mg_l[0], course.oxygen_used_g[0, :, :tanks]
        volume = layout.volume_m3[:tanks]
        stored = np.diff(level[:, :tanks], axis=0, prepend=self._first_saturation()[None, :]) * volume
        return {
            "temperature_c": layout.temperature_c @ loop_of,
            "biomass_kg": biomass,
            "density_kg_m3": biomass / volume,
            "feed_g": (course.fed_g @ layout.cohort_tank)[0],
            "oxygen_use_g": used,
            "oxygen_supply_g": used + stored,
            "oxygen_mg_l": level[:, :tanks],
            "oxygen_min_mg_l": self.extremes.oxygen_min_mg_l[0],
            "tan_mg_l": course.tan_mg_l[0, :, :tanks],
            "unionized_ammonia_mg_l": self.extremes.unionized_mg_l[0],
            "unionized_ammonia_max_mg_l": self.extremes.unionized_max_mg_l[0],
            "nitrite_n_mg_l": course.nitrite_mg_l[0, :, :tanks],
            "co2_mg_l": course.co2_mg_l[0],
            "ph": course.ph[0],
        }

    def _first_saturation(self) -> Any:
        from stocksim.water.oxygen import oxygen_saturation

        layout = self.layout
        first = oxygen_saturation(layout.temperature_c[0], layout.elevation_m)
        return first @ layout.leaf_loop[: len(layout.tanks)].T

    @cached_property
    def loops(self) -> Frame:
        """Columns of loops.csv that the model computes."""
        return self._frame(self.layout.loops, "loop", {**self.loop_table, "heat_kwh": loop_heat_kwh(self.site)})

    @cached_property
    def _supply_g(self) -> FloatArray:
        """Nitrogen that each loop's fish put at its crops' disposal, shape (day, loop). [g/day]"""
        layout, course = self.layout, self.course
        tan = (AMMONIA_SHARE_OF_EXCRETION * course.excreted_nitrogen_g @ layout.cohort_loop)[0]
        supply: FloatArray = dissolved_nitrogen(layout, only(course, 0), (tan + course.sump_tan_load_g[0])[None])[0]
        return supply

    @cached_property
    def build_areas(self) -> dict[str, BuildArea]:
        """Planted area to build for, by loop that feeds fish."""
        return build_areas(self.layout, self.course, self.planting.stands, self._supply_g)

    @cached_property
    def loop_table(self) -> dict[str, FloatArray]:
        """Columns of loops.csv, but for heat, as arrays, shape (day, loop)."""
        layout, course = self.layout, self.course
        feed = (course.fed_g @ layout.cohort_loop)[0]
        tan = (AMMONIA_SHARE_OF_EXCRETION * course.excreted_nitrogen_g @ layout.cohort_loop)[0]
        ratio_mid = 0.5 * (layout.ratio_low + layout.ratio_high)
        supply = self._supply_g
        return {
            "biomass_kg": ((course.count * course.weight_g) @ layout.cohort_loop)[0] / 1000.0,
            "feed_g": feed,
            "tan_produced_g": tan + course.sump_tan_load_g[0],
            "tan_nitrified_g": (course.nitrified_g @ layout.leaf_loop)[0],
            "planted_area_m2": layout.planted_m2,
            "planting_ratio_g_m2_day": planting_ratio(feed, layout.rated_m2),
            "handbook_area_m2": handbook_area(feed, ratio_mid),
            "balance_area_m2": balance_area(supply, self.planting.stands),
            "handbook_area_low_m2": handbook_area(feed, layout.ratio_high),
            "handbook_area_high_m2": handbook_area(feed, layout.ratio_low),
            "temperature_c": layout.temperature_c,
            "nitrate_n_mg_l": course.nitrate_mg_l[0],
            "alkalinity_mg_l": course.alkalinity_mg_l[0],
            "buffer_g": course.buffer_g[0],
            # what was poured in: a change counts as more in the balance than it takes
            "top_up_l": 1000.0 * (course.top_up_m3[0] - layout.water.exchanged_m3 + layout.water.changed_m3),
            "ammonia_oxidizer_maturity": self._loop_maturity(course.ammonia_maturity[0]),
            "nitrite_oxidizer_maturity": self._loop_maturity(course.nitrite_maturity[0]),
            "potassium_mg_l": course.potassium_mg_l[0],
            "phosphorus_mg_l": course.phosphorus_mg_l[0],
            "chloride_mg_l": course.chloride_mg_l[0],
            "calcium_mg_l": course.calcium_mg_l[0],
            "sodium_mg_l": course.sodium_mg_l[0],
            "suspended_solids_mg_l": course.solids_mg_l[0],
            "denitrified_n_g": course.denitrified_n_g[0],
            "sludge_nitrogen_g": course.sludge_n_g[0],
        }

    def _loop_maturity(self, of_units: Any) -> Any:
        """Maturity of each loop, its units weighted by their capacity; NaN where a loop has no film."""
        layout = self.layout
        members = layout.leaf_loop[len(layout.tanks) :]
        weight = self.course.capacity_g[0, :, len(layout.tanks) :]
        whole = weight @ members
        return np.divide((of_units * weight) @ members, whole, out=np.full(whole.shape, np.nan), where=whole > 0.0)

    @cached_property
    def beds(self) -> Frame:
        """Columns of beds.csv that the model computes."""
        file, planting = self.site.file, self.planting
        frame = self._frame(
            planting.beds,
            "bed",
            {
                "loop": [file.beds[key].loop for key in planting.beds],
                "kind": [file.beds[key].kind for key in planting.beds],
                "planted_area_m2": planting.bed_area_m2,
                "nitrogen_uptake_g": self.bed_course.taken_g("nitrogen"),
                "nitrogen_shortfall_g": self.bed_course.shortfall_g("nitrogen"),
                "potassium_shortfall_g": self.bed_course.shortfall_g("potassium"),
                "alkalinity_given_back_g": self.bed_course.alkalinity_g,
                "yield_kg": self.bed_course.harvest_kg,
            },
        )
        words = [planting.crops[key][day] for day in range(self.layout.days) for key in planting.beds]
        frame.insert(4, "crop", np.array(words, dtype=object))
        return frame

    def totals(self) -> dict[str, float | None]:
        """Sums of the season; keys carry units."""
        found = {key: float(values[0]) for key, values in season_totals(self.layout, self.course).items()}
        return {key: None if np.isnan(value) else value for key, value in found.items()}

    def write(self, folder: Path, summary: dict[str, Any]) -> list[Path]:
        """Write tanks.csv, cohorts.csv, beds.csv, loops.csv, ledger.csv and summary.json.

        Parameters
        ----------
        folder : Path
            Made if it is not there.
        summary : dict
            What `stocksim.faces.words.summary` gives.

        Returns
        -------
        list of Path
            The files written.

        Raises
        ------
        InputError
            As `stocksim.writing.write_folder`: all files are written or none.
        """
        files: dict[str, Write] = {f"{name}.csv": partial(_write_table, getattr(self, name)) for name in TABLES}
        files["summary.json"] = lambda out: out.write(json.dumps(summary, indent=2, allow_nan=False) + "\n")
        return write_folder(folder, files, self.site.files())


def _write_table(table: Frame, out: TextIO) -> None:
    """Write a table as CSV, its texts safe to open in a spreadsheet."""
    safe = {name: table[name].map(safe_cell) for name in table.columns if table[name].dtype.kind == "O"}
    table.assign(**safe).to_csv(out, index=False, date_format="%Y-%m-%d", float_format="%.6g", lineterminator="\n")


def season_totals(layout: Layout, course: Course) -> dict[str, FloatArray]:
    """Sums of the season, scenario by scenario.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays.

    Returns
    -------
    dict of str to ndarray, shape (scenario,)
        Keys carry units; feed conversion is NaN where nothing grew.
    """

    def summed(array: FloatArray) -> FloatArray:
        # one scenario at a time: a sum of all of them rounds otherwise
        return np.array([part.sum() for part in array], float)

    def taken_kg(kinds: tuple[str, ...]) -> FloatArray:
        masses = [t.mass_g for t in course.transfers if t.happening.kind in kinds]
        return sum(masses, np.zeros(len(course.count))) / 1000.0

    gain, offered = summed(course.gain_g), summed(course.fed_g)
    return {
        "feed_kg": offered / 1000.0,
        "feed_eaten_kg": summed(course.eaten_g) / 1000.0,
        "growth_kg": gain / 1000.0,
        "biomass_end_kg": summed(course.count[:, -1] * course.weight_g[:, -1]) / 1000.0,
        "deaths": summed(course.deaths),
        "harvested_kg": taken_kg(HARVESTS),
        "otherwise_taken_kg": taken_kg(OTHERWISE_TAKEN),
        "feed_conversion_offered": np.divide(offered, gain, out=np.full(gain.shape, np.nan), where=gain > 0.0),
        "tan_produced_g": AMMONIA_SHARE_OF_EXCRETION * summed(course.excreted_nitrogen_g)
        + summed(course.sump_tan_load_g),
        "oxygen_use_by_fish_kg": summed(course.fish_oxygen_g) / 1000.0,
    }


# --- where a finding stands, and how a limit fares there


def loop_of(season: Season, finding: Finding) -> str:
    """Loop that a finding concerns; of a cohort where it is on the worst day."""
    table, name = finding.where.split(".")
    if table == "loops":
        return name
    if table == "cohorts":
        name = season.layout.stay_on(name, (finding.worst_date - season.layout.start).days).table.tank
    return season.site.file.tanks[name].loop


def margin_of(season: Season, finding: Finding) -> FloatArray:
    """Margin of a finding's limit at its place, shape (day,), the worst of a cohort's stays. [%]

    NaN on days on which it does not apply.
    """
    series = season.series_of(finding.limit)
    columns = [at for at, name in enumerate(series.entities) if name == finding.where.split(".")[1]]
    shape = np.broadcast_shapes(series.margin_percent.shape, series.value.shape)
    return np.asarray(np.fmin.reduce(np.broadcast_to(series.margin_percent, shape)[0][:, columns], axis=1))
