"""The scale of appetite that each published trial of a species has by itself, and the band that follows from them.

Scales are taken from the shipped species files, so that page and tests need no fit.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np
from scipy.stats import t as student_t

sys.path.insert(0, str(Path(__file__).resolve().parent))  # pytest loads this file from another folder

from check_points import CHECKS, Check, Fish
from trial_points import AT_LEAST, OUTSIDE, STRAIN_POINTS, TRIALS

from stocksim.library.sources import Entry
from stocksim.library.species import load_species

# Spread of the scale of appetite between trials of one species, as standard deviation of its logarithm; measured over
# the trials of all species of docs/fits.md, see there: 0.18-0.20, and a fifth to a third on the safe side, as few
# trials gave it; trials that no fit saw lie 0.28 apart.
BETWEEN_TRIALS = 0.24
PRIOR_TRIALS = 8  # how many trials that spread counts for beside a species' own [ours]
LEAST_BAND = 1.4  # and never narrower than 40 % either way [ours]
# Numbers of a species that decide how much it eats
SCALED = (
    "intake_scale", "intake_exponent", "appetite_optimum", "appetite_upper_zero", "appetite_q10",
    "no_feeding_below", "cold_ramp_width",
)  # fmt: skip


def miss_in_widths(check: Check, value: np.ndarray) -> np.ndarray:
    """Miss of a check in quarters of its tolerance, or in its own width; for a bare range, what lies outside it."""
    width = check.width or 0.25 * (check.high - check.low)
    if check.expect is not None:
        return (value - check.expect) / width
    return (np.maximum(value - check.high, 0.0) - np.maximum(check.low - value, 0.0)) / width


def points_of(name: str) -> list[Check]:
    """The points of a species that a fit may see."""
    return [check for check in (*CHECKS, *TRIALS) if check.species == name and check.used]


def group_of(check: Check) -> str:
    """What is left out together when a fit is tried without it: the trial of a point, else its source."""
    return check.trial or check.source.split(";")[0].split(",")[0]


def with_numbers(entry: Entry, numbers: dict[str, np.ndarray]) -> Fish:
    """A species of which some numbers are others, each an array of trial values."""
    return Fish(lambda key: numbers[key] if key in numbers else entry[key])


def scale_of_trial(entry: Entry, values: dict[str, float], checks: list[Check]) -> tuple[float, bool]:
    """Factor on a species' scale of appetite at which the points of one trial are met best, and whether it is a bound.

    A trial on a fixed ration is met alike by all factors from some on: that least of them, and True.
    """
    factors = np.exp(np.linspace(-1.5, 2.0, 701))
    numbers = {key: np.full(factors.shape, value) for key, value in values.items()}
    fish = with_numbers(entry, numbers | {"intake_scale": numbers["intake_scale"] * factors})
    cost = sum(np.broadcast_to(miss_in_widths(check, check.value(fish)), factors.shape) ** 2 for check in checks)
    if any(check.trial in AT_LEAST for check in checks):
        return rounded(float(factors[np.flatnonzero(cost <= 1.01 * cost.min() + 1e-3)[0]])), True
    return rounded(float(factors[cost.argmin()])), False


def mean_factor(scales: dict[str, tuple[float, bool]]) -> float:
    """Geometric mean of the trials' factors; one that is only a lower bound counts where it lies above the others'."""
    logs = [np.log(factor) for group, (factor, bound) in scales.items() if not bound and group not in OUTSIDE]
    middle = float(np.mean(logs)) if logs else 0.0
    bounds = [np.log(factor) for group, (factor, bound) in scales.items() if bound and group not in OUTSIDE]
    logs += [bound for bound in bounds if bound > middle]
    return float(np.exp(np.mean(logs))) if logs else 1.0


def counted(scales: dict[str, tuple[float, bool]]) -> list[float]:
    """Factors that bear on the spread between trials: all but those outside and bounds that lie below the mean."""
    return [
        factor for group, (factor, bound) in scales.items() if group not in OUTSIDE and not (bound and factor < 1.0)
    ]


def scale_band(scale: float, factors: list[float]) -> tuple[float, float]:
    """Scale of appetite that a new trial of a species is expected to have, 5-95 %.

    A prediction interval on the logarithm: the spread between the species' trials, taken together with that between
    the trials of every species as if the latter were `PRIOR_TRIALS` more, as `moderated variance' does.
    """
    n = max(len(factors), 1)
    logs = np.log(factors) if factors else np.zeros(1)
    own = float(np.sum((logs - logs.mean()) ** 2))
    freedom = PRIOR_TRIALS + n - 1
    spread = np.sqrt((PRIOR_TRIALS * BETWEEN_TRIALS**2 + own) / freedom)
    reach = max(float(student_t.ppf(0.95, freedom)) * spread * np.sqrt(1.0 + 1.0 / n), np.log(LEAST_BAND))
    return scale * np.exp(-reach), scale * np.exp(reach)


def strain_factors(name: str) -> dict[str, float]:
    """Appetite of each strain that a trial gives, over that of the species."""
    entry = load_species(name)
    values = {key: entry[key] for key in SCALED}
    of_id = {check.id: check for check in points_of(name)}
    return {
        strain: scale_of_trial(entry, values, [of_id[point] for point in points])[0]
        for strain, points in STRAIN_POINTS[name].items()
    }


def rounded(number: float) -> float:
    """Four digits, as the species files hold them."""
    return float(f"{number:.4g}")


def trial_scales(name: str) -> dict[str, tuple[float, bool]]:
    """Of each trial of a species, what `scale_of_trial` gives for the shipped file."""
    # a hybrid's points are run beside bluegill
    return dict(_trial_scales(name, load_species(name).content, load_species("bluegill").content))


@cache
def _trial_scales(name: str, *contents: bytes) -> dict[str, tuple[float, bool]]:
    """The scales for files of these contents: every table of docs/fits.md asks for them."""
    entry, checks = load_species(name), points_of(name)
    values = {key: entry[key] for key in SCALED}
    groups = sorted({check.trial for check in checks if check.trial})
    return {group: scale_of_trial(entry, values, [c for c in checks if c.trial == group]) for group in groups}


def spread_between_trials(names: Iterable[str]) -> tuple[float, int]:
    """Standard deviation of the logarithm of trials' scales about their species' mean, and its degrees of freedom."""
    squares, freedom = 0.0, 0
    for name in names:
        logs = np.log(counted(trial_scales(name)) or [1.0])
        squares += float(np.sum((logs - logs.mean()) ** 2))
        freedom += len(logs) - 1
    return float(np.sqrt(squares / freedom)), freedom
