"""A forecast that learns: what differs from the season as reckoned is fitted to its records; seasons are run again.

The fit is bounded least squares with the declared spreads as prior; what it leaves open is sampled by real seasons,
each weighted by how well it meets the records (importance sampling from the fit's own normal approximation).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.forecast.evidence import (
    FURTHEST,
    Evidence,
    Run,
    Unknown,
    base_factor,
    evidence,
    grown_beyond_feed,
    reckoned,
    run,
    unknowns,
)
from stocksim.book.store import Record
from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.measured import LEAST_READ_MG_L, with_records
from stocksim.site.reading import Site
from stocksim.units import format_date, format_quantity

FloatArray = NDArray[np.float64]

SAMPLES = 300
QUANTILES = (0.1, 0.5, 0.9)
# A weighing so many of its errors from the season that the other records make likely is not averaged in (our choice).
_FAR_OUT = 5.0
_MOST_LEFT_OUT = 5
# Where fewer than this share of the samples count, they are drawn once more about those that do, this much wider (our
# choice).
_LEAST_COUNTING, _WIDER = 0.4, 1.5
_STEP = 0.02  # of a logarithm, for slopes
# kinds of records that the fit reads, so that they must not set the season as well
_READ_BY_FIT = ("weigh", "count", "deaths", "test", "base")


_TOLD_AS = {
    "weight": "weighed {} each", "feed": "was fed {} in all until then",
    "tan": "had ammonia of {}", "nitrite": "had nitrite of {}", "oxygen": "had oxygen of {}",
}  # fmt: skip
# what evidence is told in that is not a level in mg/L
_DIMENSIONS = {"weight": "weight", "feed": "dose"}


def _far_words(one: Evidence, has: float, units: str) -> str:
    def amount(logarithm: float) -> str:
        value = math.exp(logarithm)
        if one.what in _DIMENSIONS:
            return format_quantity(value, _DIMENSIONS[one.what], units)
        return f"{value - LEAST_READ_MG_L:.3g} mg/L"

    said = _TOLD_AS[one.what].format(amount(one.told))
    return (
        f"Record {one.record}: {one.place} {said} on {format_date(one.date)}, where the season and the other records "
        f"have {amount(has)}; was another unit read, or is something amiss that the season does not know? It is not "
        "averaged in."
    )


@dataclass(frozen=True)
class Factor:
    """What was learned of an unknown: the 10, 50 and 90 % points of its factor, declared and after the records."""

    what: str
    place: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]


@dataclass(frozen=True)
class Residual:
    """A record beside the forecast: what it says and what was likeliest before and after, in its own terms."""

    what: str
    place: str
    date: dt.date
    told: float
    before: float
    after: float
    errors_off: float


@dataclass(frozen=True)
class Band:
    """10, 50 and 90 % points of a cohort day by day, shape (3, day), before and after: weight [g] and number."""

    weight_before: FloatArray
    weight_after: FloatArray
    count_before: FloatArray
    count_after: FloatArray


@dataclass(frozen=True)
class Forecast:
    """How the season goes on.

    Parameters
    ----------
    site : Site
        The site that was run: harvests, moves, changes and readings of water as recorded.
    dates : tuple of date
        Days of the season.
    factors : tuple of Factor
        What was learned.
    planned_g : dict of str to ndarray, shape (day,)
        Weight by cohort in the season that the site file plans, no record put in. [g]
    bands : dict of str to Band
        By cohort.
    residuals : tuple of Residual
        Records that were fitted.
    left_out : tuple of str
        Records that contradict others or the model, a sentence each; they were not averaged in.
    base : dict of str to tuple
        By loop: base given over reckoned, the error of its logarithm, days of records.
    seasons : int
        Seasons that were run.
    seed : int
        Of the samples.
    """

    site: Site
    dates: tuple[dt.date, ...]
    factors: tuple[Factor, ...]
    planned_g: dict[str, FloatArray]
    bands: dict[str, Band]
    residuals: tuple[Residual, ...]
    left_out: tuple[str, ...]
    base: dict[str, tuple[float, float, int]]
    seasons: int
    seed: int


class _Fit:
    """Residuals of the records and of the prior at the logarithms of the unknowns, and their slopes."""

    def __init__(self, site: Site, layout: Layout, asked: Sequence[Unknown], told: Sequence[Evidence]):
        self.site, self.layout, self.asked, self.told = site, layout, asked, list(told)
        self.spread = np.array([unknown.spread for unknown in asked])
        self.value = np.array([one.told for one in told])
        self.error = np.array([one.error for one in told])
        self.seasons = 0

    def run(self, x: FloatArray) -> Run:
        self.seasons += len(x)
        return run(self.site, self.layout, self.asked, x)

    def off(self, seasons: Run) -> FloatArray:
        """Errors that the records lie from the seasons, shape (scenario, evidence)."""
        return (reckoned(self.site, self.told, seasons) - self.value) / self.error

    def residuals(self, x: FloatArray) -> FloatArray:
        return np.concatenate([self.off(self.run(x[None]))[0], x / self.spread])

    def slopes(self, x: FloatArray) -> FloatArray:
        steps = np.concatenate([np.eye(len(x)), -np.eye(len(x))]) * _STEP
        off = self.off(self.run(x + steps))
        told = (off[: len(x)] - off[len(x) :]).T / (2.0 * _STEP)
        return np.concatenate([told, np.diag(1.0 / self.spread)])

    def leave_out(self, which: Sequence[int], seasons: Run) -> list[str]:
        """Take records out of the fit; why, a sentence each."""
        has = np.median(reckoned(self.site, self.told, seasons), axis=0)
        said = [_far_words(self.told[at], float(has[at]), self.site.file.site.units) for at in which]
        kept = [at for at in range(len(self.told)) if at not in which]
        self.told = [self.told[at] for at in kept]
        self.value, self.error = self.value[kept], self.error[kept]
        return said

    def best(self) -> tuple[FloatArray, FloatArray]:
        """The likeliest logarithms, and the covariance that the fit leaves about them."""
        from scipy.optimize import least_squares

        start, bound = np.zeros(len(self.asked)), FURTHEST * self.spread
        if not self.told:
            return start, np.diag(self.spread**2)
        found = least_squares(self.residuals, start, self.slopes, bounds=(-bound, bound), xtol=1e-3, ftol=1e-3)
        return found.x, np.linalg.inv(found.jac.T @ found.jac)


def forecast(site: Site, records: Sequence[Record], samples: int = SAMPLES, seed: int = 1) -> Forecast:
    """How the season goes on, by its records.

    Parameters
    ----------
    site : Site
        A checked site.
    records : sequence of Record
        Those that hold.
    samples : int
        Seasons of each band.
    seed : int
        Of the samples.

    Returns
    -------
    Forecast
        Bands before and after the records.
    """
    # what the fit reads must not set the season too: it runs from the start, as if nothing were known of them
    told_site = with_records(site, [one for one in records if one.kind not in _READ_BY_FIT]).site
    layout, asked = build_layout(told_site), unknowns(site, records)
    fit = _Fit(told_site, layout, asked, evidence(site, records))
    rng = np.random.default_rng(seed)
    scores = rng.standard_normal((samples, len(asked)))
    bound = FURTHEST * fit.spread
    x_before = np.clip(scores * fit.spread, -bound, bound)
    before = fit.run(x_before)
    left_out = fit.leave_out(_beyond(fit, before), before)
    best, covariance = fit.best()
    for _ in range(_MOST_LEFT_OUT):
        likeliest = fit.run(best[None])
        if not (far := _far_out(fit, likeliest)):
            break
        left_out += fit.leave_out(far, likeliest)
        best, covariance = fit.best()
    x_after, after, weight = _posterior(fit, scores, bound, best, covariance)
    middle = fit.run(np.stack([np.zeros(len(asked)), best]))
    counts = {name: float(np.nanmedian(after.of("cohorts.count", name)[:, -1])) for name in site.cohorts}
    left_out += grown_beyond_feed(site, records, counts)
    base_g = _base(told_site)
    plan = run(site, build_layout(site), (), np.zeros((1, 0)))
    planned_g = {name: plan.of("cohorts.mean_weight_g", name)[0] for name in site.cohorts}
    return Forecast(
        told_site, _dates(site), _factors(asked, x_before, x_after, weight), planned_g,
        {name: _band(before, after, weight, name) for name in site.cohorts}, _residuals(fit, middle),
        tuple(left_out), base_factor(site, records, base_g), fit.seasons, seed,
    )  # fmt: skip


def _dates(site: Site) -> tuple[dt.date, ...]:
    return tuple(site.file.season.start + dt.timedelta(days=day) for day in range(site.days))


def _base(site: Site) -> FloatArray:
    """Base that the season doses, shape (day, loop). [g/day]"""
    from stocksim.engine.running import run_season

    return np.asarray(run_season(site).course.buffer_g[0])


def _beyond(fit: _Fit, before: Run) -> list[int]:
    """Records beyond what seasons of the declared spreads and the records' own errors have."""
    has = reckoned(fit.site, fit.told, before)
    off = np.abs(fit.value - has.mean(axis=0)) / np.hypot(fit.error, has.std(axis=0))
    return [at for at, one in enumerate(fit.told) if one.what != "losses" and off[at] > _FAR_OUT]


def _far_out(fit: _Fit, likeliest: Run) -> list[int]:
    """The record that lies furthest from what all make likely, where that is far out."""
    off = np.abs(fit.off(likeliest)[0])
    off[[one.what == "losses" for one in fit.told]] = 0.0
    return [int(off.argmax())] if off.size and off.max() > _FAR_OUT else []


def _posterior(
    fit: _Fit, scores: FloatArray, bound: FloatArray, best: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, Run, FloatArray]:
    """Logarithms sampled about the fit, their seasons and weights; once more about those where few of them count."""
    at, about = best, covariance
    for is_last in (False, True):
        x = np.clip(at + scores @ np.linalg.cholesky(about).T, -bound, bound)
        seasons = fit.run(x)
        weight = _weights(fit, x, seasons, at, about)
        if is_last or 1.0 / float((weight**2).sum()) > _LEAST_COUNTING * len(scores):
            break
        at = weight @ x
        about = np.cov(x.T, aweights=weight) * _WIDER + covariance * (1.0 - 1.0 / _WIDER)
    return x, seasons, weight


def _weights(fit: _Fit, x: FloatArray, seasons: Run, best: FloatArray, covariance: FloatArray) -> FloatArray:
    """How much each sampled season counts: its likelihood and prior over the density that it was drawn by."""
    likely = -0.5 * ((fit.off(seasons) ** 2).sum(axis=1) + ((x / fit.spread) ** 2).sum(axis=1))
    away = np.linalg.solve(np.linalg.cholesky(covariance), (x - best).T)
    drawn = -0.5 * (away**2).sum(axis=0)
    weight = np.exp(likely - drawn - (likely - drawn).max())
    return np.asarray(weight / weight.sum())


def _points(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Weighted 10, 50 and 90 % points over the first axis; NaN where no fish are there."""
    order = np.argsort(values, axis=0)
    ranked = np.take_along_axis(values, order, axis=0)
    share = np.cumsum(weight[order], axis=0) - 0.5 * weight[order]
    flat, shares = ranked.reshape(len(values), -1), share.reshape(len(values), -1)
    found = np.stack([
        [np.interp(q, shares[:, column], flat[:, column]) for column in range(flat.shape[1])] for q in QUANTILES
    ])  # fmt: skip
    return found.reshape(len(QUANTILES), *values.shape[1:])


def _band(before: Run, after: Run, weight: FloatArray, cohort: str) -> Band:
    even = np.full(before.number, 1.0 / before.number)
    return Band(
        _points(before.of("cohorts.mean_weight_g", cohort), even),
        _points(after.of("cohorts.mean_weight_g", cohort), weight),
        _points(before.of("cohorts.count", cohort), even),
        _points(after.of("cohorts.count", cohort), weight),
    )


def _factors(asked: Sequence[Unknown], before: FloatArray, after: FloatArray, weight: FloatArray) -> tuple[Factor, ...]:
    first = np.exp(_points(before, np.full(len(before), 1.0 / len(before))))
    last = np.exp(_points(after, weight))
    return tuple(Factor(one.what, one.place, _three(first[:, at]), _three(last[:, at])) for at, one in enumerate(asked))


def _three(points: FloatArray) -> tuple[float, float, float]:
    low, middle, high = map(float, points)
    return low, middle, high


def _residuals(fit: _Fit, middle: Run) -> tuple[Residual, ...]:
    has, off = reckoned(fit.site, fit.told, middle), fit.off(middle)

    def own(what: str, value: float) -> float:
        return (0.5 * value) ** 2 - 0.375 if what == "losses" else math.exp(value)

    return tuple(
        Residual(one.what, one.place, one.date, own(one.what, one.told), own(one.what, has[0, at]),
                 own(one.what, has[1, at]), float(off[1, at]))
        for at, one in enumerate(fit.told)
    )  # fmt: skip
