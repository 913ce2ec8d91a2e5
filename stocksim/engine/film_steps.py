"""A day on which the nitrogen of a loop moves fast: done again in two and in three steps, and extrapolated."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.layout import Layout
from stocksim.water.extrapolation import extrapolated
from stocksim.water.loop import RemovalTerms, Star, balance_removal, removal_terms
from stocksim.water.maturity import SEED
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L

FloatArray = NDArray[np.float64]

# what the parts of a refined day are by column: TAN, its sump, nitrified; nitrite, its sump, oxidized; what of both
# left with the water; films
_COLUMNS = ("leaf", "loop", "leaf", "leaf", "loop", "leaf", "loop", "loop", "unit")


class FilmDay(NamedTuple):
    """Capacity of each leaf for ammonia and for nitrite [g/day], and the films that the night will leave."""

    capacity: FloatArray
    nitrite_capacity: FloatArray
    next_maturity: FloatArray


class Nitrogen(NamedTuple):
    """TAN and nitrite of a day with what the films removed.

    What left with water taken out of the sumps, shape (scenario, loop) [g/day], where it is not outflow times level.
    """

    tan: Star
    nitrite: Star
    tan_out_g: FloatArray | None = None
    nitrite_out_g: FloatArray | None = None


class Today(NamedTuple):
    """What the morning's water lets the films do, shape (..., scenario, unit)."""

    well_fed: FloatArray  # growth of both oxidizers with plenty of food [1/day]
    decay: FloatArray  # [1/day]
    surface: FloatArray  # capacity of a film that fills it [g/day]


FilmOfDay = Callable[[FloatArray, FloatArray, FloatArray, Today, FloatArray], FilmDay]


class Given(NamedTuple):
    """What every step of a refined day has in common: loads of leaves and sumps [g/day], outflow [m3/day]."""

    leaf_load: FloatArray
    sump_load: FloatArray
    outflow: FloatArray
    today: Today

    def twice(self, scenarios: int) -> Given:
        """The same for scenarios in two lengths of step."""
        leaf, sump, outflow = (_twice(part, scenarios) for part in (self.leaf_load, self.sump_load, self.outflow))
        return Given(leaf, sump, outflow, Today(*(_twice(part, scenarios) for part in self.today)))


class _Cut(NamedTuple):
    """Lengths of step with the loops' storage over them: a row is a scenario in one length. [day], [m3/day]"""

    days: FloatArray
    store: FloatArray
    flow: FloatArray
    gain: FloatArray
    sump_store: FloatArray
    sump_gain: FloatArray
    tan: RemovalTerms
    nitrite: RemovalTerms


def _twice(array: FloatArray, scenarios: int) -> FloatArray:
    """Rows (..., scenario or 1, column) of all scenarios, and again."""
    if array.shape[-2] != scenarios:
        array = np.broadcast_to(array, (*array.shape[:-2], scenarios, array.shape[-1]))
    return np.concatenate((array, array), axis=-2)


def _cut(layout: Layout, scenarios: int, lengths: list[float]) -> _Cut:
    def rows(array: FloatArray) -> FloatArray:
        return np.tile(np.broadcast_to(array, (scenarios, array.shape[-1])), (len(lengths), 1))

    days = np.repeat(np.array(lengths), scenarios)[:, None]
    store, sump_store = rows(layout.volume_m3) / days, rows(layout.sump_volume_m3) / days
    flow = rows(layout.flow_m3_day)
    gain, sump_gain = store + flow, sump_store + flow @ layout.leaf_loop
    terms = (removal_terms(gain, flow, half) for half in (HALF_SATURATION_TAN_MG_L, HALF_SATURATION_NITRITE_MG_L))
    return _Cut(days, store, flow, gain, sump_store, sump_gain, *terms)


class FineSteps:
    """Days in steps of a half and of a third of a day."""

    def __init__(self, layout: Layout, scenarios: int):
        self.members, self.scenarios = layout.leaf_loop, scenarios
        self.cuts = (_cut(layout, scenarios, [1.0 / 2.0, 1.0 / 3.0]), _cut(layout, scenarios, [1.0 / 3.0]))
        units = self.members[len(layout.tanks) :]
        self.spread = {"leaf": self.members.T, "loop": np.eye(len(layout.loops)), "unit": units.T}

    def refine(
        self,
        film: FilmDay,
        found: Nitrogen,
        moving: NDArray[np.bool_],
        levels: list[FloatArray],
        given: Given,
        film_day: FilmOfDay,
    ) -> tuple[FilmDay, Nitrogen]:
        """The day's nitrogen done again where it moves fast.

        Parameters
        ----------
        film, found : FilmDay, Nitrogen
            The day in one step.
        moving : ndarray of bool, shape (scenario, loop)
            Loops to refine.
        levels : list of ndarray
            What the morning found: TAN of leaves and sumps, nitrite of leaves and sumps [mg/L], and the films. [-]
        given : Given
            What the day brings.
        film_day : callable
            What films can do in a step and what it leaves of them, from their maturity, TAN, nitrite, ``given.today``
            and the length of the step.

        Returns
        -------
        tuple of FilmDay and Nitrogen
            Where a level would come out below zero the day in three steps stands instead.
        """
        out = (given.outflow * found.tan.sump_mg_l, given.outflow * found.nitrite.sump_mg_l)
        whole = [*_parts(found.tan), *_parts(found.nitrite), *out, film.next_maturity]
        halves, thirds = self._steps(levels, given, film_day, [found.tan.sump_mg_l, found.nitrite.sump_mg_l])
        best = [extrapolated(one, two, three) for one, two, three in zip(whole, halves, thirds, strict=True)]
        below = [(columns, array < 0.0) for columns, array in zip(_COLUMNS[:-1], best, strict=False)]
        if any(array.any() for _, array in below):
            loops = [array @ self.spread[columns].T for columns, array in below]
            best = self._of_loops(np.add.reduce(loops) > 0.0, thirds, best)
        if not moving.all():
            best = self._of_loops(moving, best, whole)
        maturity = np.minimum(np.maximum(best[8], SEED), 1.0)
        return film._replace(next_maturity=maturity), Nitrogen(Star(*best[:3]), Star(*best[3:6]), *best[6:8])

    def _of_loops(
        self, chosen: NDArray[np.bool_], these: list[FloatArray], others: list[FloatArray]
    ) -> list[FloatArray]:
        """``these`` for the chosen loops, ``others`` for the rest, in the order of `_COLUMNS`."""
        masks = {columns: chosen @ matrix > 0.0 for columns, matrix in self.spread.items()}
        return [np.where(masks[c], this, other) for c, this, other in zip(_COLUMNS, these, others, strict=True)]

    def _steps(
        self, levels: list[FloatArray], given: Given, film_day: FilmOfDay, whole: list[FloatArray]
    ) -> tuple[list[FloatArray], list[FloatArray]]:
        """The day's nitrogen in two steps and in three; the first two steps of both are done at once."""
        scenarios = self.scenarios
        twice, days = given.twice(scenarios), self.cuts[0].days
        start = [_twice(level, scenarios) for level in levels]
        # each step is looked for on the line from the morning to where one step of a day ends
        by_day = [_twice(sump - level, scenarios) for sump, level in zip(whole, levels[1:4:2], strict=True)]
        on_line = [
            [level + step * days * change for level, change in zip(start[1:4:2], by_day, strict=True)]
            for step in (1.0, 2.0)
        ]
        both, first = self._step(start, twice, self.cuts[0], film_day, on_line[0])
        both, second = self._step(both, twice, self.cuts[0], film_day, on_line[1])
        halves = [level[..., :scenarios, :] for level in both]
        thirds, third = self._step([level[..., scenarios:, :] for level in both], given, self.cuts[1], film_day, whole)
        gone = [one + two for one, two in zip(first, second, strict=True)]
        lost_in_halves = [part[:scenarios] for part in gone]
        lost_in_thirds = [part[scenarios:] + more for part, more in zip(gone, third, strict=True)]
        return _in_columns(halves, lost_in_halves), _in_columns(thirds, lost_in_thirds)

    def _step(
        self, levels: list[FloatArray], given: Given, cut: _Cut, film_day: FilmOfDay, sump_guess: list[FloatArray]
    ) -> tuple[list[FloatArray], list[FloatArray]]:
        """Levels after a step, and what was removed and left with the water."""
        tan, sump, nitrite, nitrite_sump, maturity = levels
        sump_gain = cut.sump_gain + given.outflow
        film = film_day(maturity, tan, nitrite, given.today, cut.days)
        first = balance_removal(
            cut.gain, cut.store * tan + given.leaf_load, cut.flow, sump_gain, cut.sump_store * sump + given.sump_load,
            self.members, film.capacity, HALF_SATURATION_TAN_MG_L, sump_guess[0], cut.tan,
        )  # fmt: skip
        second = balance_removal(
            cut.gain, cut.store * nitrite + first.removed_g, cut.flow, sump_gain, cut.sump_store * nitrite_sump,
            self.members, film.nitrite_capacity, HALF_SATURATION_NITRITE_MG_L, sump_guess[1], cut.nitrite,
        )  # fmt: skip
        gone = (first.removed_g, second.removed_g, given.outflow * first.sump_mg_l, given.outflow * second.sump_mg_l)
        after = [first.leaf_mg_l, first.sump_mg_l, second.leaf_mg_l, second.sump_mg_l, film.next_maturity]
        return after, [cut.days * part for part in gone]


def _parts(star: Star) -> tuple[FloatArray, FloatArray, FloatArray]:
    return star.leaf_mg_l, star.sump_mg_l, star.removed_g


def _in_columns(levels: list[FloatArray], gone: list[FloatArray]) -> list[FloatArray]:
    """Levels and losses of a step in the order of `_COLUMNS`."""
    tan, sump, nitrite, nitrite_sump, maturity = levels
    nitrified, oxidized, tan_out, nitrite_out = gone
    return [tan, sump, nitrified, nitrite, nitrite_sump, oxidized, tan_out, nitrite_out, maturity]
