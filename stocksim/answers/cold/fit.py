"""Fit of the heat balance to the keeper's own water log: two or three factors by least squares, misfit shown."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.cold.options import Choice, computed_site, stacked_plan
from stocksim.errors import Fault, InputError
from stocksim.heat.hourly import run_plan, tank_mean_c
from stocksim.site.climate_tables import NormalsWeather
from stocksim.site.logs import read_temperature_log
from stocksim.site.reading import Site
from stocksim.site.weather import SiteWeather, site_weather

FloatArray = NDArray[np.float64]

FACTORS = ("loss_factor", "sun_factor", "water_loss_factor")
# Each factor is drawn toward 1 as if it were known to a factor of 1.8 (our choice): a log that says nothing of one
# leaves it where it was.
PRIOR_LOG_SPREAD = 0.6
LOG_SPREAD_C = 1.0  # what the balance misses by itself from day to day (our choice)
LEAST_DAYS = 14
BELIEVED = (0.5, 2.0)  # a fitted factor outside is told as hard to believe (our choice)
_STEP = 0.02


@dataclass(frozen=True)
class HeatFit:
    """Fitted factors and what they leave.

    Parameters
    ----------
    loop : str
        Loop whose log it was.
    days : int
        Days of the season with a reading.
    factors, uncertainty : dict of str to float
        Factors of the greenhouse table, and the factor either way within which each is known (one standard
        deviation).
    rms_before_c, rms_after_c, bias_after_c : float
        Root mean square of model less log, and its mean. [degC]
    dates, log_c, before_c, after_c : tuple and arrays, shape (days,)
        Days with a reading: log and model. [degC]
    is_on_normals : bool
        Whether the weather was monthly normals, so that the log's own weather is part of the misfit.
    """

    loop: str
    days: int
    factors: dict[str, float]
    uncertainty: dict[str, float]
    rms_before_c: float
    rms_after_c: float
    bias_after_c: float
    dates: tuple[dt.date, ...]
    log_c: FloatArray
    before_c: FloatArray
    after_c: FloatArray
    is_on_normals: bool

    @property
    def hard_to_believe(self) -> list[str]:
        """Fitted factors that lie outside what a house as described can have."""
        return [key for key, value in self.factors.items() if not BELIEVED[0] <= value <= BELIEVED[1]]


def fit_heat(site: Site, log: Path, loop: str | None = None, factors: tuple[str, ...] = FACTORS) -> HeatFit:
    """Fit factors of the heat balance to a log of water temperature.

    Parameters
    ----------
    site : Site
        A checked site with weather and a greenhouse.
    log : Path
        CSV with ``date`` and ``temperature_c`` or ``temperature_f``.
    loop : str, optional
        Whose water it is; the only computed loop where not given.
    factors : tuple of str
        Which factors of the greenhouse table to fit.

    Returns
    -------
    HeatFit
        Factors to write into the site file, with the misfit.

    Raises
    ------
    InputError
        If there is no greenhouse, the loop is not computed, or the log has less than 14 days of the season.
    """
    from scipy.optimize import least_squares  # slow to import, and only a fit needs it

    computed, _ = computed_site(site)
    file = computed.file
    open_loops = [key for key, t in file.loops.items() if t.water_temperature.kind == "computed"]
    if file.greenhouse is None:
        raise InputError([Fault("", "fit", "needs a [greenhouse] table, whose factors it sets.")])
    if loop is None and len(open_loops) > 1:
        raise InputError([Fault("", "loop", f"is needed to fit; the log is of one of {', '.join(open_loops)}.")])
    name = open_loops[0] if loop is None else loop
    if name not in open_loops:
        raise InputError(
            [Fault("", "loop", f'"{name}" is not a loop that can be computed; use {", ".join(open_loops)}.')]
        )
    dates, celsius, _ = read_temperature_log(log, file.site.utc_offset)
    offset = np.array([(date - file.season.start).days for date in dates])
    inside = (offset >= 0) & (offset < computed.days)
    days, which = np.unique(offset[inside], return_inverse=True)
    if len(days) < LEAST_DAYS:
        raise InputError(
            [Fault("", "fit", f"{log.name} has {len(days)} days within the season; a fit needs {LEAST_DAYS}.")]
        )
    logged = np.bincount(which, weights=celsius[inside]) / np.bincount(which)
    weather = site_weather(file, computed.folder)
    start = np.array([getattr(file.greenhouse, key) for key in factors])

    def model(logs: FloatArray) -> FloatArray:
        return _water(computed, weather, factors, np.exp(logs) * start, name)[:, days]

    def residual(x: FloatArray) -> FloatArray:
        return np.concatenate([(model(x[None])[0] - logged) / LOG_SPREAD_C, x / PRIOR_LOG_SPREAD])

    def jacobian(x: FloatArray) -> FloatArray:
        shifted = model(np.concatenate([x[None], x + _STEP * np.eye(len(x))]))
        slope = ((shifted[1:] - shifted[0]) / _STEP / LOG_SPREAD_C).T
        return np.concatenate([slope, np.eye(len(x)) / PRIOR_LOG_SPREAD])

    bound = np.log(3.0)
    found = least_squares(
        residual, np.zeros(len(factors)), jac=jacobian, bounds=(-bound, bound), max_nfev=6, ftol=1e-3, xtol=1e-3
    )
    before, after = model(np.zeros((1, len(factors))))[0], model(found.x[None])[0]
    spread = np.sqrt(np.diag(np.linalg.inv(found.jac.T @ found.jac)))
    return HeatFit(
        name, len(days), dict(zip(factors, (np.exp(found.x) * start).tolist(), strict=True)),
        dict(zip(factors, np.exp(spread).tolist(), strict=True)),
        float(np.sqrt(np.mean((before - logged) ** 2))), float(np.sqrt(np.mean((after - logged) ** 2))),
        float(np.mean(after - logged)), tuple(file.season.start + dt.timedelta(days=int(day)) for day in days), logged,
        before, after, isinstance(file.weather, NormalsWeather),
    )  # fmt: skip


def _water(site: Site, weather: SiteWeather, names: tuple[str, ...], factors: FloatArray, loop: str) -> FloatArray:
    """Daily water of a loop for several sets of factors, shape (set, day)."""
    tried = [
        Choice(built={f"greenhouse.{key}": float(value) for key, value in zip(names, row, strict=True)})
        for row in factors
    ]
    plan = stacked_plan(site, tried, weather.wind_m_s)
    run = run_plan(plan, weather, is_hourly=False, keep=("mean",))
    return np.moveaxis(tank_mean_c(plan, run.mean_c, loop), 0, 1)
