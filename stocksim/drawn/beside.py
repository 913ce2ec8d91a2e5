"""Two sites in the same drawn seasons: how often one does better than the other, and by how much.

Apart from `outlook`, for both take common random numbers: what is uncertain in both has one value in a season, so that
what differs is what the sites make of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.drawn.draws import Axis, Draws, prepared
from stocksim.drawn.outlook import Chance, Gathered, Outlook, Telling, luck_of, points_of, run_points, three
from stocksim.engine.season import Progress
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

COMPARED = ("deaths", "growth_kg", "feed_kg", "base_g")  # totals that are set side by side
_ALIKE = 1e-9  # differences below this share of either are none


class Difference(NamedTuple):
    """One total of two sites in the same seasons.

    Parameters
    ----------
    key : str
        Of `COMPARED`.
    one, other, more : tuple of float
        By `SHARES`: of each site, and by how much the other has more, season by season.
    more_share, less_share : float
        Share of seasons in which the other has more, and less. [-]
    values : ndarray, shape (season,)
        By how much the other has more.
    """

    key: str
    one: tuple[float, ...]
    other: tuple[float, ...]
    more: tuple[float, ...]
    more_share: float
    less_share: float
    values: FloatArray


class Beside(NamedTuple):
    """Two sites side by side.

    Parameters
    ----------
    name : str
        What the other is called.
    number : int
        Seasons of each.
    safe, kept : tuple of float
        Share of seasons of the one and of the other in which no batch loses a tenth, and no limit is broken. [-]
    limits : tuple of (Chance or None, Chance or None)
        Every limit and place that breaks in either, of the one and of the other; None where one has not that place.
    differences : tuple of Difference
        Of `COMPARED`.
    """

    name: str
    number: int
    safe: tuple[float, float]
    kept: tuple[float, float]
    limits: tuple[tuple[Chance | None, Chance | None], ...]
    differences: tuple[Difference, ...]


def beside(
    found: Outlook, other: Site, name: str, progress: Progress | None = None, threads: int | None = None
) -> Beside:
    """Another site in the seasons of an outlook.

    Parameters
    ----------
    found : Outlook
        Of the one site.
    other : Site
        A checked site.
    name : str
        What the other is called.
    progress, threads : optional
        As for `stocksim.drawn.outlook.outlook`.

    Returns
    -------
    Beside
        Chances of each, and differences season by season.
    """
    draws = prepared(other, found.seed)
    gathered = Gathered(draws)
    for part in run_points(draws, *_common(found, draws), (), threads, Telling(progress, found.number)):
        gathered.add(part)
    safe, kept = gathered.shares()
    limits, _ = gathered.chances()
    return Beside(
        name, found.number, (found.safe_share, safe), (found.kept_share, kept), _limits(found.limits, limits),
        tuple(_difference(key, found.values[key], gathered.outputs[key]) for key in COMPARED),
    )  # fmt: skip


def _common(found: Outlook, draws: Draws) -> tuple[FloatArray, FloatArray]:
    """Points and luck of the other: an axis and a batch that the one has too take its numbers."""
    at_a, at_b = points_of(found.draws, found.number, found.seed)
    own = {_name(axis): column for axis, column in zip(found.draws.axes, at_a.T, strict=True)}
    fresh = iter(at_b.T)  # which the one does not take in these seasons
    random = np.random.default_rng([found.seed, 2])

    def drawn() -> FloatArray:
        return next(fresh, random.random(found.number))

    points = [own[_name(axis)] if _name(axis) in own else drawn() for axis in draws.axes]
    luck = dict(zip(_batches(found.draws), luck_of(found.draws, found.number, found.seed).T, strict=True))
    lucks = [luck[batch] if batch in luck else random.random(found.number) for batch in _batches(draws)]
    return (
        np.reshape(points, (len(points), found.number)).T,
        np.reshape(lucks, (len(lucks), found.number)).T,
    )


def _name(axis: Axis) -> tuple[str, str]:
    return axis.one.key, axis.of


def _batches(draws: Draws) -> list[str]:
    return list(dict.fromkeys(draws.layout.roots))


def _limits(one: Sequence[Chance], two: Sequence[Chance]) -> tuple[tuple[Chance | None, Chance | None], ...]:
    of_one, of_two = ({(met.what, met.where): met for met in limits} for limits in (one, two))
    pairs = [(of_one.get(place), of_two.get(place)) for place in dict.fromkeys([*of_one, *of_two])]
    return tuple(pair for pair in pairs if any(met is not None and met.share > 0.0 for met in pair))


def _difference(key: str, one: FloatArray, other: FloatArray) -> Difference:
    values = other - one
    least = _ALIKE * np.maximum(np.abs(one), np.abs(other))
    return Difference(
        key, three(one), three(other), three(values), float((values > least).mean()), float((values < -least).mean()),
        values,
    )  # fmt: skip
