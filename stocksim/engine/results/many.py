"""What is kept of many seasons: extremes, totals and deaths, chosen columns, the whole course."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.beds import build_planting
from stocksim.engine.arrays.layout import Layout, sums_by
from stocksim.engine.results.course import Course, only
from stocksim.engine.results.deaths import CAUSES, every_death_by_cause, taken_g
from stocksim.engine.results.findings import Extremes, LimitWorst, limit_series, tank_extremes, worst_of
from stocksim.engine.results.frames import Season, season_totals
from stocksim.engine.running import impossible_events
from stocksim.errors import Fault, InputError
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.plants.area import handbook_area, planting_ratio
from stocksim.site.kinds import HARVESTS
from stocksim.site.reading import Site
from stocksim.water.oxygen import oxygen_saturation

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]

Kept = Callable[[Layout, Course, Extremes], FloatArray]


def _given_by_tank(layout: Layout, course: Course) -> FloatArray:
    """Oxygen that each tank is given: what is used there and what its water gains. [g/day]"""
    tanks = len(layout.tanks)
    first = oxygen_saturation(layout.temperature_c[:, :1], np.asarray(layout.elevation_m)[:, None, None])
    level, volume = course.oxygen_mg_l[..., :tanks], layout.volume_m3[:, None, :tanks]
    before = np.broadcast_to(first @ layout.leaf_loop[:tanks].T, level[:, :1].shape)
    return course.oxygen_used_g[..., :tanks] + np.diff(level, axis=1, prepend=before) * volume


def _per_fish(course: Course) -> FloatArray:
    fed = course.count + course.deaths
    return np.divide(course.gain_g, fed, out=np.zeros_like(fed), where=fed > 0.0)


def _percent_fed(course: Course) -> FloatArray:
    before = course.grown_g - course.gain_g
    return 100.0 * np.divide(course.fed_g, before, out=np.zeros_like(before), where=before > 0.0)


def _in_tanks(layout: Layout, values: FloatArray) -> FloatArray:
    return sums_by(values, layout.cohort_tank)


def _in_loops(layout: Layout, values: FloatArray) -> FloatArray:
    return sums_by(values, layout.cohort_loop)


def _loop_maturity(layout: Layout, course: Course, of_units: FloatArray) -> FloatArray:
    """Maturity of each loop, its units weighted by their capacity; NaN where a loop has no film."""
    tanks = len(layout.tanks)
    weight, members = course.capacity_g[..., tanks:], layout.leaf_loop[tanks:]
    whole, grown = np.broadcast_arrays(sums_by(weight, members), sums_by(of_units * weight, members))
    return np.asarray(np.divide(grown, whole, out=np.full(whole.shape, np.nan), where=whole > 0.0))


def _handbook(layout: Layout, course: Course, ratio: FloatArray) -> FloatArray:
    return handbook_area(_in_loops(layout, course.fed_g), ratio)


def _biomass(course: Course) -> FloatArray:
    return course.count * course.weight_g / 1000.0


def _excreted(course: Course) -> FloatArray:
    return AMMONIA_SHARE_OF_EXCRETION * course.excreted_nitrogen_g


def _harvested(layout: Layout, course: Course) -> FloatArray:
    return np.stack([taken_g(layout, course, HARVESTS, at) for at in range(len(course.count))]) / 1000.0


# What may be kept day by day, under its name in the frames of a season.
COLUMNS: Mapping[str, Kept] = {
    "cohorts.count": lambda _, course, __: course.count,
    "cohorts.mean_weight_g": lambda _, course, __: course.weight_g,
    "cohorts.biomass_kg": lambda _, course, __: _biomass(course),
    "cohorts.feed_g": lambda _, course, __: course.fed_g,
    "cohorts.feed_eaten_g": lambda _, course, __: course.eaten_g,
    "cohorts.feed_percent_body_weight": lambda _, course, __: _percent_fed(course),
    "cohorts.growth_g_per_day": lambda _, course, __: _per_fish(course),
    "cohorts.oxygen_use_g": lambda _, course, __: course.fish_oxygen_g,
    "cohorts.tan_excreted_g": lambda _, course, __: _excreted(course),
    "cohorts.nitrogen_spared_g": lambda _, course, __: course.spared_nitrogen_g,
    "cohorts.deaths": lambda _, course, __: course.deaths,
    "cohorts.deaths_kg": lambda _, course, __: course.dead_g / 1000.0,
    "cohorts.harvested_kg": lambda layout, course, _: _harvested(layout, course),
    "cohorts.temperature_c": lambda layout, _, __: layout.temperature_c @ layout.cohort_loop.T,
    "cohorts.size_spread": lambda _, course, __: course.size_spread,
    "cohorts.feed_dry_g": lambda layout, course, _: course.fed_g * layout.feed_dry_matter[:, None],
    "tanks.temperature_c": lambda layout, _, __: layout.temperature_c @ layout.leaf_loop[: len(layout.tanks)].T,
    "tanks.biomass_kg": lambda layout, course, _: _in_tanks(layout, _biomass(course)),
    "tanks.density_kg_m3": lambda layout, course, _: (
        _in_tanks(layout, _biomass(course)) / layout.volume_m3[:, None, : len(layout.tanks)]
    ),
    "tanks.feed_g": lambda layout, course, _: _in_tanks(layout, course.fed_g),
    "tanks.oxygen_use_g": lambda _, course, __: course.oxygen_used_g,
    "tanks.oxygen_supply_g": lambda layout, course, _: _given_by_tank(layout, course),
    "tanks.oxygen_mg_l": lambda _, course, __: course.oxygen_mg_l,
    "tanks.oxygen_min_mg_l": lambda _, __, extremes: extremes.oxygen_min_mg_l,
    "tanks.tan_mg_l": lambda _, course, __: course.tan_mg_l,
    "tanks.unionized_ammonia_mg_l": lambda _, __, extremes: extremes.unionized_mg_l,
    "tanks.unionized_ammonia_max_mg_l": lambda _, __, extremes: extremes.unionized_max_mg_l,
    "tanks.nitrite_n_mg_l": lambda _, course, __: course.nitrite_mg_l,
    "tanks.co2_mg_l": lambda _, course, __: course.co2_mg_l,
    "tanks.ph": lambda _, course, __: course.ph,
    "loops.temperature_c": lambda layout, _, __: layout.temperature_c,
    "loops.biomass_kg": lambda layout, course, _: _in_loops(layout, _biomass(course)),
    "loops.feed_g": lambda layout, course, _: _in_loops(layout, course.fed_g),
    "loops.tan_produced_g": lambda layout, course, _: _in_loops(layout, _excreted(course)) + course.sump_tan_load_g,
    "loops.tan_nitrified_g": lambda layout, course, _: sums_by(course.nitrified_g, layout.leaf_loop),
    "loops.planting_ratio_g_m2_day": lambda layout, course, _: planting_ratio(
        _in_loops(layout, course.fed_g), layout.rated_m2
    ),
    "loops.planted_area_m2": lambda layout, _, __: layout.planted_m2,
    "loops.handbook_area_m2": lambda layout, course, _: _handbook(
        layout, course, 0.5 * (layout.ratio_low + layout.ratio_high)
    ),
    "loops.handbook_area_low_m2": lambda layout, course, _: _handbook(layout, course, layout.ratio_high),
    "loops.handbook_area_high_m2": lambda layout, course, _: _handbook(layout, course, layout.ratio_low),
    "loops.nitrate_n_mg_l": lambda _, course, __: course.nitrate_mg_l,
    "loops.alkalinity_mg_l": lambda _, course, __: course.alkalinity_mg_l,
    "loops.buffer_g": lambda _, course, __: course.buffer_g,
    "loops.top_up_l": lambda layout, course, _: (
        1000.0 * (course.top_up_m3 - layout.water.exchanged_m3 + layout.water.changed_m3)
    ),
    "loops.ammonia_oxidizer_maturity": lambda layout, course, _: _loop_maturity(
        layout, course, course.ammonia_maturity
    ),
    "loops.nitrite_oxidizer_maturity": lambda layout, course, _: _loop_maturity(
        layout, course, course.nitrite_maturity
    ),
    "loops.potassium_mg_l": lambda _, course, __: course.potassium_mg_l,
    "loops.phosphorus_mg_l": lambda _, course, __: course.phosphorus_mg_l,
    "loops.chloride_mg_l": lambda _, course, __: course.chloride_mg_l,
    "loops.calcium_mg_l": lambda _, course, __: course.calcium_mg_l,
    "loops.sodium_mg_l": lambda _, course, __: course.sodium_mg_l,
    "loops.suspended_solids_mg_l": lambda _, course, __: course.solids_mg_l,
    "loops.denitrified_n_g": lambda _, course, __: course.denitrified_n_g,
    "loops.sludge_nitrogen_g": lambda _, course, __: course.sludge_n_g,
}


class KeptPart(NamedTuple):
    """What is kept of some scenarios that ran together."""

    start: dt.date
    limits: list[LimitWorst]
    totals: dict[str, FloatArray]  # (scenario,)
    cohorts: tuple[str, ...]
    deaths: FloatArray  # (scenario, cohort, cause)
    columns: dict[str, tuple[tuple[str, ...], NDArray[np.float32]]]  # places, and values (scenario, day, place)
    course: Course | None
    faults: list[tuple[int, Fault]]  # with the scenario's place in the part


class ManySeasons:
    """Many seasons of a site; a scenario is told by its place in what was asked, from 0.

    Parameters
    ----------
    site : Site
        The site that all scenarios were made from.
    number : int
        How many scenarios there are.
    parts : list of (ndarray of int, KeptPart)
        Places of the scenarios that ran together, and what is kept of them.
    courses : dict of int to (Site, Layout)
        Site and arrays of each scenario whose course is kept.
    """

    def __init__(
        self,
        site: Site,
        number: int,
        parts: list[tuple[NDArray[np.int64], KeptPart]],
        courses: dict[int, tuple[Site, Layout]],
    ):
        self.site, self.number = site, number
        self._parts, self._courses = parts, courses

    def __len__(self) -> int:
        return self.number

    def __repr__(self) -> str:
        return f"ManySeasons({self.number} of {self.site!r})"

    @cached_property
    def limits(self) -> pd.DataFrame:
        """Worst of every hard limit: a row for each scenario, limit and place where it applied.

        Columns ``scenario, limit, where, first_date, worst_date, worst_value, threshold, unit, margin_percent,
        days_broken``, as of a season's findings; below 0 the margin tells a broken limit.
        """
        pieces: dict[str, list[Any]] = {}
        words: dict[str, dict[str, int]] = {"limit": {}, "where": {}, "unit": {}}
        for numbers, part in self._parts:
            start = np.datetime64(part.start, "s")
            for worst in part.limits:
                row, at = np.nonzero(np.isfinite(worst.margin_percent))
                first = worst.first_day[row, at]
                date = start + first.astype("timedelta64[D]")
                date[first < 0] = np.datetime64("NaT")
                places = np.array([_code(words["where"], f"{worst.table}.{name}") for name in worst.entities], np.int32)
                found = {
                    "scenario": numbers[row],
                    "limit": np.full(row.size, _code(words["limit"], worst.limit), np.int32),
                    "where": places[at],
                    "first_date": date,
                    "worst_date": start + worst.worst_day[row, at].astype("timedelta64[D]"),
                    "worst_value": worst.worst_value[row, at],
                    "threshold": worst.threshold[row, at],
                    "unit": np.full(row.size, _code(words["unit"], worst.unit), np.int32),
                    "margin_percent": worst.margin_percent[row, at],
                    "days_broken": worst.days_broken[row, at],
                }
                for key, values in found.items():
                    pieces.setdefault(key, []).append(values)
        return _frame(pieces, words)

    @cached_property
    def totals(self) -> pd.DataFrame:
        """Sums of each season: a row for each scenario, columns as of `Season.totals`, NaN for what has no value."""
        pieces: dict[str, list[Any]] = {}
        for numbers, part in self._parts:
            for key, values in {"scenario": numbers, **part.totals}.items():
                pieces.setdefault(key, []).append(values)
        return _frame(pieces, {})

    @cached_property
    def deaths(self) -> pd.DataFrame:
        """Fish lost in the season: a row for each scenario, cohort and cause.

        Columns ``scenario, cohort, cause, fish``; they sum to the deaths of `totals`.
        """
        pieces: dict[str, list[Any]] = {}
        words: dict[str, dict[str, int]] = {"cohort": {}, "cause": {}}
        for numbers, part in self._parts:
            names = np.array([_code(words["cohort"], name) for name in part.cohorts], np.int32)
            causes = np.array([_code(words["cause"], cause) for cause in CAUSES], np.int32)
            row, name, cause = (axis.ravel() for axis in np.indices(part.deaths.shape))
            found = {
                "scenario": numbers[row], "cohort": names[name], "cause": causes[cause], "fish": part.deaths.ravel(),
            }  # fmt: skip
            for key, values in found.items():
                pieces.setdefault(key, []).append(values)
        return _frame(pieces, words)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns that are kept."""
        return tuple(dict.fromkeys(name for _, part in self._parts for name in part.columns))

    def places(self, column: str) -> tuple[str, ...]:
        """Cohorts, tanks or loops of a kept column, in the order of its values' last axis."""
        self._check_kept(column)
        return tuple(dict.fromkeys(place for _, part in self._parts for place in part.columns[column][0]))

    def values(self, column: str) -> NDArray[np.float32]:
        """Values of a kept column.

        Parameters
        ----------
        column : str
            One of `COLUMNS` that was asked for, as ``cohorts.mean_weight_g``.

        Returns
        -------
        ndarray of float32, shape (scenario, day, place)
            In the unit that its name tells, to 7 digits; NaN where a scenario has no such place or no fish there yet.

        Raises
        ------
        InputError
            If the column was not kept.
        """
        places = self.places(column)
        days = self._parts[0][1].columns[column][1].shape[1]
        whole = np.full((self.number, days, len(places)), np.nan, np.float32)
        for numbers, part in self._parts:
            own, values = part.columns[column]
            whole[np.ix_(numbers, np.arange(days), np.array([places.index(place) for place in own], int))] = values
        return whole

    def quantiles(self, column: str, shares: Sequence[float] = (0.05, 0.5, 0.95)) -> pd.DataFrame:
        """Quantiles of a kept column over the scenarios, day by day.

        Parameters
        ----------
        column : str
            As in `values`.
        shares : sequence of float
            Shares of the scenarios that lie below, 0 to 1; between two values a straight line is drawn.

        Returns
        -------
        DataFrame
            A row for each day, place and share: ``date``, ``cohort`` (or ``tank``, ``loop``), ``share``, ``value``;
            those of the scenarios that have a value that day, NaN where none has.

        Raises
        ------
        InputError
            If the column was not kept, or a share is not from 0 to 1.
        """
        import pandas as pd

        wrong = [share for share in shares if not 0.0 <= share <= 1.0]
        if wrong:
            raise InputError(f"shares: {wrong[0]:g} is not allowed; give shares of the scenarios from 0 to 1.")
        places, values = self.places(column), self.values(column)
        # a place at a time: sorting needs as much memory again
        found = np.stack([_quantiles(values[..., at], shares) for at in range(len(places))], axis=-1)
        dates = np.datetime64(self._parts[0][1].start, "s") + np.arange(values.shape[1]).astype("timedelta64[D]")
        share, day, place = (axis.ravel() for axis in np.indices(found.shape))
        frame = pd.DataFrame(
            {
                "date": dates[day],
                column.split(".")[0].removesuffix("s"): np.array(places, dtype=object)[place],
                "share": np.asarray(shares, float)[share],
                "value": found.ravel(),
            }
        )
        return frame.sort_values(list(frame.columns[:3]), kind="stable").reset_index(drop=True)

    def season(self, scenario: int) -> Season:
        """A scenario's whole season, where ``keep="course"`` was asked.

        Raises
        ------
        InputError
            If its course was not kept.
        """
        if scenario not in self._courses:
            raise InputError(f'season: the course of scenario {scenario} is not kept; ask for keep="course".')
        site, layout = self._courses[scenario]
        numbers, part = next(pair for pair in self._parts if scenario in pair[0])
        assert part.course is not None
        course = only(part.course, int(np.flatnonzero(numbers == scenario)[0]))
        return Season(site, layout, course, build_planting(site))

    def _check_kept(self, column: str) -> None:
        if column not in self.columns:
            kept = ", ".join(self.columns) or "none"
            raise InputError(f'columns: "{column}" is not kept (kept are: {kept}); name it in keep.')


def kept_part(site: Site, layout: Layout, course: Course, columns: Sequence[str], keeps_course: bool) -> KeptPart:
    """What is kept of a chunk of scenarios.

    Parameters
    ----------
    site : Site
        That all were made from.
    layout, course : Layout, Course
        Of the chunk.
    columns : sequence of str
        Names of `COLUMNS` to keep.
    keeps_course : bool
        Whether to keep the course as well.

    Returns
    -------
    KeptPart
        Worst of every limit, totals, deaths, and what else was asked for.
    """
    scenarios = range(len(course.count))
    extremes = tank_extremes(layout, course)
    short = any((transfer.wanted > transfer.had).any() for transfer in course.transfers)
    cohorts = tuple(dict.fromkeys(layout.cohorts))
    members = np.array([[float(name == cohort) for cohort in cohorts] for name in layout.cohorts])
    lost = np.stack([dead.sum(axis=1) for dead in every_death_by_cause(layout, course).values()], axis=1)
    return KeptPart(
        start=layout.start,
        limits=[worst_of(series) for series in limit_series(layout, course, extremes)],
        totals=season_totals(layout, course),
        cohorts=cohorts,
        deaths=np.moveaxis(lost @ members.reshape(lost.shape[-1], len(cohorts)), 1, 2),
        columns={name: kept_column(name, layout, course, extremes) for name in columns},
        course=course if keeps_course else None,
        faults=[
            (at, fault) for at in scenarios if short for fault in impossible_events(site, layout, course, at)
        ],
    )  # fmt: skip


def kept_column(
    heading: str, layout: Layout, course: Course, extremes: Extremes
) -> tuple[tuple[str, ...], NDArray[np.float32]]:
    """One of `COLUMNS` of some scenarios.

    Parameters
    ----------
    heading : str
        Its name.
    layout, course : Layout, Course
        Of the scenarios, from `with_scenarios`.
    extremes : Extremes
        Their worst hours.

    Returns
    -------
    tuple of str, ndarray of float32
        Places, and values (scenario, day, place); a cohort's stays are one after the other.
    """
    values = COLUMNS[heading](layout, course, extremes)
    if len(values) < len(course.count):  # what is the same in all scenarios
        values = np.broadcast_to(values, (len(course.count), *values.shape[1:]))
    table = heading.split(".")[0]
    if table != "cohorts":
        places = layout.tanks if table == "tanks" else layout.loops
        return places, values[..., : len(places)].astype(np.float32)
    cohorts = tuple(dict.fromkeys(layout.cohorts))
    found = np.full((*values.shape[:2], len(cohorts)), np.nan, np.float32)
    for stay, cohort in enumerate(layout.cohorts):
        days = slice(max(int(layout.stocked_day[stay]), 0), max(int(layout.until_day[stay]), 0))
        found[:, days, cohorts.index(cohort)] = values[:, days, stay]
    return cohorts, found


def _quantiles(values: NDArray[np.float32], shares: Sequence[float]) -> FloatArray:
    """Quantiles over the first axis of (scenario, day), NaN left out, shape (share, day)."""
    ordered = np.sort(values, axis=0)  # NaN last
    known = np.count_nonzero(~np.isnan(ordered), axis=0)
    place = np.asarray(shares, float)[:, None] * np.maximum(known - 1, 0)
    low = np.floor(place).astype(np.intp)
    high = np.minimum(low + 1, np.maximum(known - 1, 0))
    below, above = (np.take_along_axis(ordered, at, axis=0).astype(float) for at in (low, high))
    return np.asarray(below + (above - below) * (place - low))


def _code(words: dict[str, int], word: str) -> int:
    return words.setdefault(word, len(words))


def _frame(pieces: dict[str, list[Any]], words: dict[str, dict[str, int]]) -> pd.DataFrame:
    """Frame of arrays in pieces, in the order of the scenarios; columns of words as categories."""
    import pandas as pd

    whole: dict[str, Any] = {key: np.concatenate(parts) for key, parts in pieces.items()}
    order = np.argsort(whole["scenario"], kind="stable")
    return pd.DataFrame(
        {
            key: pd.Categorical.from_codes(values[order], pd.Index(list(words[key]))) if key in words else values[order]
            for key, values in whole.items()
        }
    )
