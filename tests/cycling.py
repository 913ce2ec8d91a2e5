"""A tiny closed loop that starts new, one volume and one film, dosed by hand: by the day and by an ordinary solver."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from stars import removal

from stocksim.water.ammonia import unionized_fraction
from stocksim.water.maturity import (
    SEED,
    ammonia_inhibition,
    maturity_mean,
    maturity_step,
    oxidizer_decay,
    oxidizer_growth,
)
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, nitrification_capacity
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L, nitrite_capacity
from stocksim.water.steps import extrapolated

OXYGEN_MG_L, ALKALINITY_MG_L, PH = 7.0, 100.0, 7.6
ONE, NONE = np.ones((1, 1)), np.zeros((1, 1))


class Loop(NamedTuple):
    """1 m3 of water with a film; the keeper doses ammonia each morning, at most `most_dose_g`, towards 4 mg/L."""

    temperature_c: float
    surface_m2: float = 15.0
    most_dose_g: float = 1.0
    steady: bool = False  # dose the same every day whatever the water says, as fish do

    def dose(self, tan_mg_l: float) -> float:
        return self.most_dose_g if self.steady else float(np.clip(4.0 - tan_mg_l, 0.0, self.most_dose_g))

    def free(self) -> float:
        """Un-ionized share of ammonia at the pH assumed for the loop."""
        return float(unionized_fraction(PH, self.temperature_c))

    def growth(self, tan_mg_l: float, nitrite_mg_l: float) -> np.ndarray:
        return np.array(
            [
                oxidizer_growth(self.temperature_c, food, OXYGEN_MG_L, ALKALINITY_MG_L, kind)
                * ammonia_inhibition(tan_mg_l * self.free(), kind)
                for kind, food in (("ammonia", tan_mg_l), ("nitrite", nitrite_mg_l))
            ]
        )

    def capacity(self) -> tuple[float, float]:
        surface, t = self.surface_m2, self.temperature_c
        return float(nitrification_capacity(surface, t)), float(nitrite_capacity(surface, t))


def _start(maturity: float | tuple[float, float]) -> np.ndarray:
    ammonia, nitrite = np.broadcast_to(maturity, 2)
    # TAN, nitrite, nitrate [mg/L], maturity of ammonia and of nitrite oxidizers
    return np.array([0.0, 0.0, 0.0, ammonia, nitrite])


def by_solver(loop: Loop, days: int, maturity: float | tuple[float, float] = 1e-3) -> np.ndarray:
    """State at each midnight, shape (days + 1, 5), by LSODA to 1e-8."""
    (ammonia, nitrite), decay = loop.capacity(), float(oxidizer_decay(loop.temperature_c))
    state = _start(maturity)
    course = [state]
    for _ in range(days):
        dose = loop.dose(state[0])

        def rate(_time: float, y: np.ndarray, dose: float = dose) -> np.ndarray:
            tan, no2 = np.maximum(y[:2], 0.0)
            first = ammonia * y[3] * tan / (HALF_SATURATION_TAN_MG_L + tan)
            second = nitrite * y[4] * no2 / (HALF_SATURATION_NITRITE_MG_L + no2)
            growth = loop.growth(tan, no2)
            return np.array([dose - first, first - second, second, *((growth - decay) * y[3:] - growth * y[3:] ** 2)])

        state = solve_ivp(rate, (0.0, 1.0), state, "LSODA", rtol=1e-8, atol=1e-10).y[:, -1]
        course.append(state)
    return np.array(course)


def _removal(level: float, load: float, capacity: float, half: float, step: float) -> tuple[float, float]:
    star = removal(ONE / step, ONE * (level / step + load), NONE, ONE, NONE, ONE, ONE * capacity, half, 0.0)
    return float(star.leaf_mg_l[0, 0]), float(star.removed_g[0, 0])


def _steps(loop: Loop, state: np.ndarray, dose: float, number: int) -> np.ndarray:
    (ammonia, nitrite), decay, step = loop.capacity(), oxidizer_decay(loop.temperature_c), 1.0 / number
    tan, no2, no3, *film = state
    for _ in range(number):
        growth = loop.growth(tan, no2)
        mean = maturity_mean(film, growth, decay, step)
        tan, first = _removal(tan, dose, ammonia * mean[0], HALF_SATURATION_TAN_MG_L, step)
        no2, second = _removal(no2, first, nitrite * mean[1], HALF_SATURATION_NITRITE_MG_L, step)
        no3 += second * step
        film = maturity_step(film, growth, decay, step)
    return np.array([tan, no2, no3, *film])


def by_day(loop: Loop, days: int, maturity: float | tuple[float, float] = 1e-3, order: int = 3) -> np.ndarray:
    """State at each midnight, shape (days + 1, 5), by daily balances of the order asked for (1, 2 or 3)."""
    state = _start(maturity)
    course = [state]
    for _ in range(days):
        dose = loop.dose(state[0])
        tries = [_steps(loop, state, dose, number) for number in range(1, order + 1)]
        state = tries[0] if order == 1 else extrapolated(*tries)
        state = np.maximum(state, [0.0, 0.0, 0.0, SEED, SEED])
        course.append(state)
    return np.array(course)


def day_ready(course: np.ndarray, below_mg_l: float = 0.5) -> int:
    """First day from which TAN and nitrite stay below a level; the number of days if they never do."""
    high = np.flatnonzero((course[:, :2] > below_mg_l).any(axis=1))
    return int(high[-1]) + 1 if high.size else 0
