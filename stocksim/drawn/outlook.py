"""A season many times over: bands of every column, chances and dates of limits and losses, what matters most."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.drawn.bands import Bands
from stocksim.drawn.columns import BED_COLUMNS, EVERY_COLUMN, HEAT_COLUMN, Grown, bed_column
from stocksim.drawn.draws import Draws, prepared
from stocksim.drawn.indices import Indices, sobol_indices
from stocksim.drawn.one_by_one import die
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.arrays.tables import with_numbers
from stocksim.engine.results.course import LEAST_COUNT, Course
from stocksim.engine.results.deaths import every_death_by_cause
from stocksim.engine.results.findings import LimitWorst, limit_series, tank_extremes, worst_of
from stocksim.engine.results.frames import season_totals
from stocksim.engine.results.many import COLUMNS, kept_column
from stocksim.engine.season import CHUNK, Progress, in_chunks
from stocksim.errors import Fault, InputError, shown
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

SHARES = (0.1, 0.5, 0.9)
DEFAULT_SEASONS, MOST_SEASONS = 1024, 65536
QUICK_SEASONS = 256  # where a chance is told beside another answer: its standard error is 3 of 100 at most
INDEX_POINTS = 256  # at most; each group of uncertain things runs as many seasons again
LOST_SHARE = 0.1  # of a batch: a tenth lost is told by itself
_BLOCK = 8 * CHUNK  # scenarios whose arrays are at hand at once
_LEAST_LEVELS = ("oxygen", "unionized_ammonia", "nitrite")  # limits whose margin is an output of the indices


@dataclass(frozen=True)
class Band:
    """One column over the seasons.

    Parameters
    ----------
    column : str
        As ``cohorts.mean_weight_g``.
    places : tuple of str
        Cohorts, tanks or loops.
    ends : ndarray, shape (share, day, place)
        By `SHARES`, of the seasons that have a value that day; NaN where none has.
    """

    column: str
    places: tuple[str, ...]
    ends: FloatArray


@dataclass(frozen=True)
class Chance:
    """How often something happens, and when.

    Parameters
    ----------
    what : str
        Name of a limit, or ``loss``.
    where : str
        Its place, as ``tanks.cedar``.
    share : float
        Share of the seasons in which it happens. [-]
    dates : tuple of date
        By `SHARES`, of the seasons in which it does; empty where it never does.
    worst : tuple of float
        By `SHARES` of all seasons: the worst value, or the share of a batch that is lost. [unit]
    threshold : float
        Middle of what it is held against.
    unit : str
        Of both.
    """

    what: str
    where: str
    share: float
    dates: tuple[dt.date, ...]
    worst: tuple[float, ...]
    threshold: float
    unit: str


@dataclass(frozen=True)
class Outlook:
    """A site's season under what is uncertain.

    Parameters
    ----------
    site : Site
        The site.
    asked, number, seed : int
        Seasons that were asked for, and run: the next power of two; seed of all random numbers.
    draws : Draws
        What was uncertain.
    bands : dict of str to Band
        Every column of cohorts, tanks and loops that is kept.
    limits, losses : tuple of Chance
        Of every limit and place; of losing a tenth of each batch. The likeliest first.
    outputs : dict of str to tuple of float
        By `SHARES`: totals of the season, and each batch's fish and mean weight at its end.
    values : dict of str to ndarray, shape (season,)
        The same, season by season.
    safe_share, kept_share : float
        Share of the seasons in which no batch loses a tenth, and in which no limit is broken. [-]
    indices : dict of str to Indices
        Of outputs, by group of ``draws.groups``; empty where none were asked for.
    """

    site: Site
    asked: int
    number: int
    seed: int
    draws: Draws
    bands: dict[str, Band]
    limits: tuple[Chance, ...]
    losses: tuple[Chance, ...]
    outputs: dict[str, tuple[float, ...]]
    values: dict[str, FloatArray]
    safe_share: float
    kept_share: float
    indices: dict[str, Indices]

    @property
    def dates(self) -> list[dt.date]:
        """Days of the season."""
        layout = self.draws.layout
        return [layout.start + dt.timedelta(days=day) for day in range(layout.days)]


class _Part(NamedTuple):
    """What is kept of a chunk of seasons."""

    limits: list[LimitWorst]
    came: FloatArray  # (scenario, root): fish of the batch
    lost: FloatArray  # (scenario, root), before `_with_luck` (scenario, day, root): share of the batch that died
    lost_day: NDArray[np.int64]  # -1 where it never loses a tenth
    outputs: dict[str, FloatArray]
    columns: dict[str, tuple[tuple[str, ...], NDArray[np.float32]]]


def outlook(
    site: Site,
    n: int = DEFAULT_SEASONS,
    seed: int = 1,
    indices: bool = True,
    progress: Progress | None = None,
    threads: int | None = None,
    columns: Sequence[str] | None = None,
) -> Outlook:
    """Many seasons of a site, drawn from what is uncertain.

    Parameters
    ----------
    site : Site
        A checked site.
    n : int
        How many seasons; the next power of two is run.
    seed : int
        Of all random numbers: the same seed gives the same answer to the bit, on any number of threads.
    indices : bool
        Whether to find out what matters most, which runs up to 256 seasons more for each group of uncertain things.
    progress : callable, optional
        Called with (seasons done, seasons in all); what it raises ends the run.
    threads : int, optional
        Threads to run in; one for each processor if left out.
    columns : sequence of str, optional
        Columns whose bands are wanted; every one that is known if left out.

    Returns
    -------
    Outlook
        Bands, chances, and what to measure next.

    Raises
    ------
    InputError
        If ``n`` is no whole number from 1 to 65,536, the seed is none from 0 on, or a column is not known.
    """
    wanted = EVERY_COLUMN if columns is None else tuple(dict.fromkeys(columns))
    number = _rounded(n, seed, wanted)
    draws = prepared(site, seed)
    told = Telling(progress, number + (_more_seasons(draws, number) if indices else 0))
    at_a, _ = points_of(draws, number, seed)
    found = Gathered(draws)
    for part in run_points(draws, at_a, luck_of(draws, number, seed), wanted, threads, told):
        found.add(part)
    plain = Outlook(
        site, n, number, seed, draws, found.bands(), *found.chances(),
        {key: three(values) for key, values in found.outputs.items()}, found.outputs, *found.shares(), {},
    )  # fmt: skip
    return replace(plain, indices=_indices(plain, threads, told)) if indices else plain


def with_indices(found: Outlook, progress: Progress | None = None, threads: int | None = None) -> Outlook:
    """The same outlook with what matters most, as if it had been asked for at once.

    Parameters
    ----------
    found : Outlook
        An outlook.
    progress, threads : optional
        As for `outlook`; progress counts the seasons that are run for it.
    """
    told = Telling(progress, _more_seasons(found.draws, found.number))
    return replace(found, indices=_indices(found, threads, told))


def _more_seasons(draws: Draws, number: int) -> int:
    """Seasons that what matters most takes."""
    return min(number, INDEX_POINTS) * (1 + len(draws.groups))


def _rounded(n: int, seed: int, columns: Sequence[str]) -> int:
    """The power of two to run."""
    faults = []
    if isinstance(n, bool) or not isinstance(n, (int, np.integer)) or not 1 <= n <= MOST_SEASONS:
        faults.append(
            Fault("", "n", f"{n!r} is not allowed; give a whole number of seasons from 1 to {MOST_SEASONS:,}.")
        )
    if isinstance(seed, bool) or not isinstance(seed, (int, np.integer)) or seed < 0:
        faults.append(Fault("", "seed", f"{seed!r} is not allowed; give a whole number from 0 on."))
    faults += [
        Fault("", "columns", f"{shown(name)} is not known; known are {', '.join(EVERY_COLUMN)}.")
        for name in columns
        if name not in EVERY_COLUMN
    ]
    if faults:
        raise InputError(faults)
    return 1 << max(int(n) - 1, 0).bit_length()


def points_of(draws: Draws, number: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Scrambled Sobol points A and B of the axes, each of the shape (number, axis)."""
    from scipy.stats import qmc  # slow to import, and help starts without it

    sampler = qmc.Sobol(2 * len(draws.axes), scramble=True, seed=np.random.default_rng(seed))
    at_a, at_b = np.split(sampler.random_base2(number.bit_length() - 1), 2, axis=1)
    return at_a, at_b


class Telling:
    """Progress over several runs."""

    def __init__(self, progress: Progress | None, whole: int):
        self.progress, self.whole, self.done = progress, whole, 0

    def add(self, more: int) -> None:
        self.done += more
        if self.progress is not None:
            self.progress(self.done, self.whole)


def run_points(
    draws: Draws, points: FloatArray, luck: FloatArray, columns: Sequence[str], threads: int | None, told: Telling
) -> Iterator[_Part]:
    """What is kept of the seasons at some points, a chunk at a time in their order."""
    wanted = tuple(columns)

    def finish(layout: Layout, course: Course) -> _Part:
        return _part(draws, layout, course, wanted)

    done = 0
    for first in range(0, len(points), _BLOCK):
        some = points[first : first + _BLOCK]
        many = with_numbers(draws.layout, draws.arrays(some))
        for part in in_chunks(many, finish, threads=threads):
            here = slice(done, done + len(part.lost))
            done = here.stop
            told.add(len(part.lost))
            if HEAT_COLUMN in wanted:
                heat = draws.heat_at(points[here]).astype(np.float32)
                part.columns[HEAT_COLUMN] = (draws.layout.loops, heat)
            yield _with_luck(draws, part, luck[here])


def luck_of(draws: Draws, number: int, seed: int, of_b: bool = False) -> FloatArray:
    """What decides which fish of each batch die, shape (season, batch); that of the points B is another."""
    batches = len(dict.fromkeys(draws.layout.roots))
    return np.random.default_rng([seed, int(of_b)]).random((number, batches))


def _part(draws: Draws, layout: Layout, course: Course, columns: tuple[str, ...]) -> _Part:
    grown = Grown(draws.site, draws.planting, layout, course)
    extremes = tank_extremes(layout, course)
    limits = [worst_of(series) for series in limit_series(layout, course, extremes)]
    came, lost = _lost(layout, course)
    return _Part(
        limits, came, lost, np.zeros(0, np.int64), _outputs(layout, course, limits),
        {name: kept_column(name, layout, course, extremes) for name in columns if name in COLUMNS}
        | {name: bed_column(name, grown) for name in columns if name in BED_COLUMNS},
    )  # fmt: skip


def _with_luck(draws: Draws, part: _Part, luck: FloatArray) -> _Part:
    """The same with whole fish that died; what their death does to the others stays that of the share."""
    dead = die(part.lost, part.came, luck, LOST_SHARE)
    share = np.divide(dead.fish, dead.of, out=np.zeros(dead.fish.shape), where=dead.of > 0.0)
    expected = part.lost[:, -1]
    outputs = dict(part.outputs)
    outputs["deaths"] = np.maximum(outputs["deaths"] + (dead.fish - dead.of * expected).sum(axis=1), 0.0)
    left = np.divide(1.0 - share, 1.0 - expected, out=np.ones(share.shape), where=expected < 1.0)
    layout = draws.layout
    roots = list(dict.fromkeys(layout.roots))
    for cohort, root in dict(zip(layout.cohorts, layout.roots, strict=True)).items():
        outputs[f"fish {cohort}"] = outputs[f"fish {cohort}"] * left[:, roots.index(root)]
    return part._replace(lost=share, lost_day=dead.day, outputs=outputs)


def _lost(layout: Layout, course: Course) -> tuple[FloatArray, FloatArray]:
    """Fish of each batch, and the share of them that died by each day, wherever they were.

    Wild fish that do not learn to take feed are not in it: they are lost in every season, which plans count with.
    """
    roots = tuple(dict.fromkeys(layout.roots))
    members = np.array([[float(of == root) for root in roots] for of in layout.roots]).reshape(
        len(layout.roots), len(roots)
    )
    came = np.broadcast_to(layout.count, (len(course.count), len(layout.cohorts))) @ members
    for transfer in course.transfers:
        if transfer.happening.source < 0:
            came[:, roots.index(layout.roots[transfer.happening.target])] += transfer.fish
    died = course.deaths
    if layout.rations.in_training.any():
        died = died - every_death_by_cause(layout, course)["training"]
    dead = np.cumsum(died, axis=1) @ members
    return came, np.divide(dead, came[:, None], out=np.zeros(dead.shape), where=came[:, None] > 0.0)


def _outputs(layout: Layout, course: Course, limits: list[LimitWorst]) -> dict[str, FloatArray]:
    """Numbers of each season that are told by themselves, shape (scenario,)."""
    found = dict(season_totals(layout, course))
    found["base_g"] = course.buffer_g.sum(axis=(1, 2))
    for cohort in dict.fromkeys(layout.cohorts):
        columns = [at for at, name in enumerate(layout.cohorts) if name == cohort]
        alive = course.count[:, :, columns]
        last = columns[-1]
        there = course.count[:, :, last] > LEAST_COUNT
        day = there.shape[1] - 1 - there[:, ::-1].argmax(axis=1)
        weight = course.weight_g[np.arange(len(day)), day, last]
        found[f"weight_g {cohort}"] = np.where(there.any(axis=1), weight, np.nan)
        found[f"fish {cohort}"] = alive[:, -1].sum(axis=1)
    for worst in limits:
        if worst.limit in _LEAST_LEVELS:
            least = worst.margin_percent.min(axis=1, initial=np.inf)
            if np.isfinite(least).all():
                found[f"margin_percent {worst.limit}"] = least
    return found


class Place(NamedTuple):
    """How drawn seasons fared at one limit and place, arrays (season,).

    ``first_day`` is the first day broken, -1 where none is; value, threshold and margin are of the worst day.
    """

    limit: str
    where: str
    unit: str
    first_day: NDArray[np.int64]
    margin_percent: FloatArray
    worst_value: FloatArray
    threshold: FloatArray


def gathered(site: Site, n: int, seed: int, progress: Progress | None = None, threads: int | None = None) -> Gathered:
    """Limits and losses of drawn seasons, season by season and without bands; as for `outlook`."""
    number = _rounded(n, seed, ())
    draws, told = prepared(site, seed), Telling(progress, number)
    found = Gathered(draws)
    for part in run_points(draws, points_of(draws, number, seed)[0], luck_of(draws, number, seed), (), threads, told):
        found.add(part)
    return found


class Gathered:
    """What is added up of the seasons as they come."""

    def __init__(self, draws: Draws):
        self.draws = draws
        self._waiting: list[_Part] = []
        self._bands: dict[str, tuple[tuple[str, ...], Bands]] = {}
        self._limits: list[list[LimitWorst]] = []
        self._lost: list[FloatArray] = []
        self._lost_day: list[NDArray[np.int64]] = []
        self._outputs: list[dict[str, FloatArray]] = []

    def add(self, part: _Part) -> None:
        """Take in a chunk."""
        self._limits.append([_small(worst) for worst in part.limits])
        self._lost.append(part.lost)
        self._lost_day.append(part.lost_day)
        self._outputs.append(part.outputs)
        if part.columns:
            self._waiting.append(part)
        if sum(len(one.lost) for one in self._waiting) >= _BLOCK:
            self._count()

    def _count(self) -> None:
        """Count the seasons that wait; those of the first block lay the bins."""
        for name in self._waiting[0].columns if self._waiting else ():
            values = np.concatenate([part.columns[name][1] for part in self._waiting])
            if name not in self._bands:
                self._bands[name] = (self._waiting[0].columns[name][0], Bands(values))
            self._bands[name][1].add(values)
        self._waiting = []

    def bands(self) -> dict[str, Band]:
        """Bands of every column."""
        self._count()
        return {name: Band(name, places, counts.quantiles(SHARES)) for name, (places, counts) in self._bands.items()}

    @property
    def outputs(self) -> dict[str, FloatArray]:
        """Numbers of each season, shape (season,)."""
        return {key: np.concatenate([part[key] for part in self._outputs]) for key in self._outputs[0]}

    def shares(self) -> tuple[float, float]:
        """Share of seasons in which no batch loses a tenth, and in which no limit is broken."""
        safe = np.concatenate([(day < 0).all(axis=1) for day in self._lost_day])
        kept = np.concatenate(
            [np.all([(worst.first_day < 0).all(axis=1) for worst in part], axis=0) for part in self._limits]
        )
        return float(safe.mean()), float(kept.mean())

    def places(self) -> Iterator[Place]:
        """Every limit and place where it applied in a season, with how each season fared there."""
        for row, kind in enumerate(self._limits[0]):
            first, margin, worst, threshold = (
                np.concatenate([getattr(part[row], name) for part in self._limits])
                for name in ("first_day", "margin_percent", "worst_value", "threshold")
            )
            for at, entity in enumerate(kind.entities):
                if np.isfinite(margin[:, at]).any():
                    of_place = (values[:, at] for values in (first, margin, worst, threshold))
                    yield Place(kind.limit, f"{kind.table}.{entity}", kind.unit, *of_place)

    def chances(self) -> tuple[tuple[Chance, ...], tuple[Chance, ...]]:
        """Of every limit and place, and of losing a tenth of each batch; the likeliest first."""
        limits = []
        for place in self.places():
            applied = np.isfinite(place.margin_percent)
            met, held = place.worst_value[applied], float(np.median(place.threshold[applied]))
            limits.append(self._chance(place.limit, place.where, place.first_day, met, held, place.unit))
        lost, day = np.concatenate(self._lost), np.concatenate(self._lost_day)
        roots = tuple(dict.fromkeys(self.draws.layout.roots))
        losses = [
            self._chance("loss", f"cohorts.{root}", day[:, at], lost[:, at], LOST_SHARE, "-")
            for at, root in enumerate(roots)
        ]
        return _likeliest(limits), _likeliest(losses)

    def _chance(
        self, what: str, where: str, day: NDArray[np.int64], met: FloatArray, threshold: float, unit: str
    ) -> Chance:
        happens = day[day >= 0]
        start = self.draws.layout.start
        dates = [start + dt.timedelta(days=int(at)) for at in _at_shares(happens)] if happens.size else []
        return Chance(what, where, happens.size / len(day), tuple(dates), three(met), threshold, unit)


def _likeliest(chances: list[Chance]) -> tuple[Chance, ...]:
    return tuple(sorted(chances, key=lambda one: -one.share))


def _small(worst: LimitWorst) -> LimitWorst:
    """With what is read later alone, in fewer bytes."""
    none = np.zeros(0, np.int64)

    def short(values: FloatArray) -> FloatArray:
        return values.astype(np.float32)

    return worst._replace(
        first_day=worst.first_day.astype(np.int64), worst_day=none, days_broken=none,
        worst_value=short(worst.worst_value), threshold=short(worst.threshold),
        margin_percent=short(worst.margin_percent),
    )  # fmt: skip


def _at_shares(values: NDArray[np.int64]) -> NDArray[np.int64]:
    """Whole values at the shares of the seasons."""
    ordered = np.sort(values)
    return ordered[[min(int(share * len(ordered)), len(ordered) - 1) for share in SHARES]]


def three(values: FloatArray) -> tuple[float, ...]:
    known = values[np.isfinite(values)]
    return tuple(float(one) for one in np.quantile(known, SHARES)) if known.size else (np.nan,) * len(SHARES)


def _indices(found: Outlook, threads: int | None, told: Telling) -> dict[str, Indices]:
    """Sobol indices of every output that varies and has a value in every season."""
    draws, few = found.draws, min(found.number, INDEX_POINTS)
    at_a, at_b = (points[:few] for points in points_of(draws, found.number, found.seed))
    luck, luck_b = (luck_of(draws, found.number, found.seed, of_b)[:few] for of_b in (False, True))

    def run(points: FloatArray, luck: FloatArray) -> dict[str, FloatArray]:
        parts = [part.outputs for part in run_points(draws, points, luck, (), threads, told)]
        return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}

    of_b = run(at_b, luck_b)
    of_mixed = []
    for group in draws.groups:
        mixed = at_a.copy()
        inside = draws.in_group(group)
        mixed[:, inside] = at_b[:, inside]
        of_mixed.append(run(mixed, luck))
    made = {}
    for key, whole in found.values.items():
        if key not in of_b or not all(key in one for one in of_mixed):
            continue
        values = np.array([whole[: len(at_a)], of_b[key], *(one[key] for one in of_mixed)])
        if np.isfinite(values).all() and np.ptp(values[0]) > 0.0:
            made[key] = sobol_indices(values[0], values[1], values[2:], found.seed)
    return made


def matters_most(found: Outlook, output: str) -> list[tuple[str, float, float]]:
    """Groups by what they make of an output's variance with all others: group, total index, its error; greatest first.

    Parameters
    ----------
    found : Outlook
        With indices.
    output : str
        One of ``found.indices``.
    """
    index = found.indices[output]
    rows = zip(found.draws.groups, index.total.tolist(), index.total_error.tolist(), strict=True)
    return sorted(rows, key=lambda row: -row[1])
