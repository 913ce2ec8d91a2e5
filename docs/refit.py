"""Refits the fish species to the points of check_points.py and trial_points.py, writes docs/fits.md and its figure.

python docs/refit.py           fits, prints the values, rewrites docs/fits.md from the species files
python docs/refit.py --write   also puts the fitted values into species_params/fish
python docs/refit.py --check   changes nothing; exit 1 if the species files or docs/fits.md are stale
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from pathlib import Path
from typing import NamedTuple

import numpy as np
import tomlkit
from scipy.optimize import brentq, least_squares

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))  # pytest loads this file from another folder

import fit_scores  # noqa: E402
from check_points import (  # noqa: E402
    EVERY_SPECIES,
    LIKENED,
    SEX_TRIALS,
    SPECIES,
    Check,
    Fish,
    one_sex_weight,
)
from trial_points import OUTSIDE, STRAIN_POINTS  # noqa: E402
from trial_scales import (  # noqa: E402
    BETWEEN_TRIALS,
    counted,
    group_of,
    mean_factor,
    miss_in_widths,
    points_of,
    rounded,
    scale_band,
    scale_of_trial,
    strain_factors,
    trial_scales,
    with_numbers,
)

from stocksim.library.species import load_species  # noqa: E402
from stocksim.library.strains import Trials  # noqa: E402

# Largest relative difference between a species file and a fresh fit. Files hold four digits, worth 0.0005;
# the rest is room for another machine's rounding on the way to the least-squares minimum.
AGREEMENT = 0.005
SEED, STARTS = 20260101, 4
# Free numbers. `hump_exponent` stands for appetite_q10: from 1 up the hump's hot edge has a finite slope.
FREE = (
    "intake_scale", "intake_exponent", "appetite_optimum", "hump_span", "hump_exponent",
    "no_feeding_below", "cold_ramp_width",
)  # fmt: skip
FITTED = (
    "intake_scale", "intake_exponent", "appetite_optimum", "appetite_upper_zero", "appetite_q10",
    "no_feeding_below", "cold_ramp_width",
)  # fmt: skip
# Where the search is pulled to when the points do not decide: an earlier trial fit of this project by random
# search (optimum, zero, Q10, no feed below, ramp, scale, exponent), with the widths of PRIOR_WIDTH. The trial
# counted offered feed, so its scale is cut by the share it took as uneaten: 4 %, tilapia 6 %.
PRIOR = {
    "bluegill": (29.33, 39.62, 2.61, 4.50, 4.36, 0.0402 * 0.96, 0.760),
    "yellow_perch": (25.70, 32.23, 2.68, 5.01, 9.11, 0.0466 * 0.96, 0.6085),
    "black_crappie": (23.09, 28.00, 3.50, 7.96, 3.26, 0.0313 * 0.96, 0.6695),
    "largemouth_bass": (29.00, 35.27, 1.80, 8.12, 13.42, 0.0570 * 0.96, 0.6423),
    "channel_catfish": (29.52, 36.95, 2.11, 5.41, 18.14, 0.0833 * 0.96, 0.7011),
    "nile_tilapia": (30.91, 38.29, 3.11, 15.58, 3.59, 0.1652 * 0.94, 0.6348),
    "rainbow_trout": (16.83, 25.10, 3.02, 1.12, 2.66, 0.0984 * 0.96, 0.6233),
    "common_carp": (27.93, 35.89, 2.45, 8.21, 5.86, 0.0783 * 0.96, 0.780),
    "goldfish": (29.00, 37.67, 2.60, 6.03, 4.42, 0.0452 * 0.96, 0.7453),
    "hybrid_striped_bass": (27.51, 36.36, 2.74, 7.00, 10.71, 0.0989 * 0.96, 0.635),
}
PRIOR_WIDTH = np.array([1.0, 0.04, 1.5, 2.0, 0.35, 1.0, 2.5])  # natural logarithm for scale and hump exponent
LOWEST = np.array([-5.0, 0.50, 12.0, 3.0, np.log(1.02), 0.5, 2.0])
HIGHEST = np.array([-1.0, 0.85, 34.0, 14.0, np.log(6.0), 17.0, 20.0])
# What a likened species does not simply copy: added to the value of the species it is likened to.
LIKENED_SHIFT = {"walleye": {"appetite_optimum": -1.0}}
# What of a likened species is fitted to points of its own, where it is more than the scale
LIKENED_FREE = {
    "brown_bullhead": ("intake_scale", "appetite_optimum", "hump_span", "no_feeding_below", "cold_ramp_width"),
}
LIKENED_SCALE = (0.6, 1.6)  # span of the intake scale of a likened species, over its value
_NONE_BELOW, _BELOW_SEEN = FREE.index("no_feeding_below"), 1.5  # and how far below it a search begins [degC, ours]
EATS = "no feeding below, degC"  # words of points of water in which fish ate
HELD = {"black_crappie": ("intake_scale", "intake_exponent")}  # nothing published to fit them to


def hump_exponent(span, q10):
    """Exponent of the hump of `appetite_hump` from its span and Q10."""
    slope = np.log(q10)
    return (slope * span) ** 2 * (1.0 + np.sqrt(1.0 + 40.0 / (slope * (span + 2.0)))) ** 2 / 400.0


def hump_q10(span, exponent):
    """Q10 that gives a hump its exponent: `hump_exponent` solved for the Q10."""
    k = 20.0 * np.sqrt(exponent) / span
    return np.exp(k**2 / (2.0 * k + 40.0 / (span + 2.0)))


def species_numbers(points: np.ndarray) -> dict[str, np.ndarray]:
    """Species values, each of shape (trials,), from search points of shape (trials, 7)."""
    scale, exponent, optimum, span, hump, none_below, ramp = points.T
    values = (
        np.exp(scale),
        exponent,
        optimum,
        optimum + span,
        hump_q10(span, np.exp(hump)),
        none_below,
        ramp,
    )
    return dict(zip(FITTED, values, strict=True))


def prior_point(name: str) -> np.ndarray:
    """Search point of the prior; its hump exponent is lifted to 1.02 where the trial fit had less."""
    optimum, upper, q10, none_below, ramp, scale, exponent = PRIOR[name]
    hump = np.log(hump_exponent(upper - optimum, q10))
    return np.clip([np.log(scale), exponent, optimum, upper - optimum, hump, none_below, ramp], LOWEST, HIGHEST)


class Fitted(NamedTuple):
    """What a fit of a species gives."""

    values: dict[str, float]
    spans: dict[str, tuple[float, float]]
    scales: dict[str, tuple[float, bool]]  # of each trial, as `scale_of_trial`


def fit(name: str, without: str = "") -> Fitted:
    """Fitted values of a species, rounded as its file holds them, and the span of plausible ones (5-95 %).

    With ``without`` the points of one trial, or of one paper where they belong to no trial, are left out.

    Each trial has a factor on the scale of appetite, which lies about 1 by `BETWEEN_TRIALS`. What all trials say of
    the shape is fitted together; then each trial gives its own scale, and the mean of these, on the logarithm, is the
    scale of the species.
    """
    entry, checks = load_species(name), [c for c in points_of(name) if not without or group_of(c) != without]
    centre, width, free = start_of_search(name)
    groups = sorted({check.trial for check in checks if check.trial})
    place = {group: number for number, group in enumerate(groups)}
    pull = np.array([[1.0 if group in OUTSIDE else BETWEEN_TRIALS] for group in groups]).reshape(-1, 1)

    def misses(trials: np.ndarray) -> np.ndarray:
        shape, apart = trials[:, : len(FREE)], trials[:, len(FREE) :]
        numbers = species_numbers(shape)
        fish = {"": with_numbers(entry, numbers)}
        for group, column in place.items():
            own = numbers | {"intake_scale": numbers["intake_scale"] * np.exp(apart[:, column])}
            fish[group] = with_numbers(entry, own)
        published = [
            np.broadcast_to(miss_in_widths(check, check.value(fish[check.trial])), len(trials)) for check in checks
        ]
        return np.vstack([*published, ((shape - centre) / width).T[free], apart.T / pull])

    every = np.concatenate([free, np.ones(len(groups), bool)])
    middle = np.concatenate([centre, np.zeros(len(groups))])
    lowest = np.concatenate([LOWEST, np.full(len(groups), -2.0)])
    highest = np.concatenate([HIGHEST, np.full(len(groups), 2.0)])
    widths = np.concatenate([width, np.full(len(groups), 0.3)])
    best, widen = _least_squares(misses, middle, widths, lowest, highest, every, eats_at(checks))
    values = {key: rounded(float(v[0])) for key, v in species_numbers(widen(best.x[None])[:, : len(FREE)]).items()}
    scales = {group: scale_of_trial(entry, values, [c for c in checks if c.trial == group]) for group in groups}
    middle_factor = mean_factor(scales)
    values["intake_scale"] = rounded(values["intake_scale"] * middle_factor)
    scales = {group: (rounded(factor / middle_factor), bound) for group, (factor, bound) in scales.items()}
    kept = [key for key, is_free in zip(FITTED, free, strict=True) if is_free]
    rng = np.random.default_rng(SEED)
    spread = widen(rng.multivariate_normal(best.x, np.linalg.inv(best.jac.T @ best.jac), 2000))
    cloud = species_numbers(np.clip(spread[:, : len(FREE)], LOWEST, HIGHEST))
    spans = {key: tuple(np.quantile(cloud[key], (0.05, 0.95))) for key in kept}
    if "intake_scale" in kept:
        spans["intake_scale"] = scale_band(values["intake_scale"], counted(scales))
    return Fitted({key: values[key] for key in kept}, {
        key: (min(rounded(low), values[key]), max(rounded(high), values[key])) for key, (low, high) in spans.items()
    }, scales)  # fmt: skip


def eats_at(checks: list[Check]) -> float | None:
    """Coldest water in which a source saw the fish eat; None where none says. [degC]"""
    return min((check.high for check in checks if check.what.endswith(EATS)), default=None)


def start_of_search(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where a fit is pulled to, how weakly, and which numbers are free.

    A species likened to another has its shape, and only its scale is free.
    """
    if name in LIKENED:
        base = load_species(LIKENED[name])
        shift = LIKENED_SHIFT.get(name, {})
        scale, exponent, optimum, upper, q10, none_below, ramp = (
            rounded(base[key] + shift.get(key, 0.0)) for key in FITTED
        )
        span = upper - optimum
        centre = np.array([np.log(scale), exponent, optimum, span, np.log(hump_exponent(span, q10)), none_below, ramp])
        return centre, PRIOR_WIDTH, np.array([key in LIKENED_FREE.get(name, ("intake_scale",)) for key in FREE])
    return prior_point(name), PRIOR_WIDTH, np.array([key not in HELD.get(name, ()) for key in FREE])


def _least_squares(misses, middle, width, lowest, highest, free, eats_at=None):
    """Bounded least squares of the free numbers from seeded starts, and how free numbers become whole search points.

    Below the end of appetite the misses are flat, so that a search begun there never finds fish that ate in the cold.
    Where they were seen to, one more start lets them; not of likened species, whose Q10 is not free.
    """

    def widen(x: np.ndarray) -> np.ndarray:
        full = np.tile(middle, (len(x), 1))
        full[:, free] = x
        return full

    cold = []
    if eats_at is not None and free[_NONE_BELOW]:
        begun = middle.copy()
        begun[_NONE_BELOW] = min(begun[_NONE_BELOW], eats_at - _BELOW_SEEN)
        cold = [begun[free]]
    step = 1e-5 * width[free]

    def slopes(x: np.ndarray) -> np.ndarray:
        both = misses(widen(np.vstack([x + np.diag(step), x - np.diag(step)])))
        return (both[:, : len(x)] - both[:, len(x) :]) / (2.0 * step)

    rng, best = np.random.default_rng(SEED), None
    inside = lowest[free] + 1e-6, highest[free] - 1e-6
    seeded = [middle[free] + rng.normal(size=free.sum()) * width[free] for _ in range(STARTS - 1)]
    for x in [middle[free], *([*cold, *seeded] if free.sum() > 6 else [])]:
        found = least_squares(
            lambda x: misses(widen(x[None]))[:, 0], np.clip(x, *inside), slopes,
            bounds=(lowest[free], highest[free]), x_scale=width[free], xtol=1e-9, ftol=1e-10, max_nfev=60,
        )  # fmt: skip
        best = found if best is None or found.cost < best.cost else best
    return best, widen


def likened(
    name: str, base: dict[str, float], spans: dict[str, tuple[float, float]]
) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
    """Values and spans of a species likened to a fitted one: its values, twice its spans, a wider span of scale.

    The intake scale, and what `LIKENED_FREE` names, is fitted to the points of the species that the fit may see, if it
    has any.
    """
    shift = LIKENED_SHIFT.get(name, {})
    values = {key: rounded(base[key] + shift.get(key, 0.0)) for key in FITTED}
    own = fit(name) if any(check.trial for check in points_of(name)) else None
    if own is not None:
        values |= own.values
    wide = {}
    for key, (low, high) in spans.items():
        wide[key] = values[key] - 2.0 * (base[key] - low), values[key] + 2.0 * (high - base[key])
    low, high = scale_band(values["intake_scale"], counted(own.scales) if own else [])
    wide["intake_scale"] = (
        min(low, LIKENED_SCALE[0] * values["intake_scale"]),
        max(high, LIKENED_SCALE[1] * values["intake_scale"]),
    )
    floors = {
        "appetite_upper_zero": values["appetite_optimum"] + 3.0,
        "appetite_q10": 1.1,
        "no_feeding_below": 0.0,
        "cold_ramp_width": 2.0,
    }
    return values, {
        key: (rounded(min(max(low, floors.get(key, low)), values[key])), rounded(high))
        for key, (low, high) in wide.items()
    }


def sex_multipliers(name: str) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
    """Appetite of a batch of males and of females over that of a mixed batch, with their spans."""
    trial, fish = SEX_TRIALS[name], Fish(load_species(name).__getitem__)
    values, spans = {}, {}
    for sex in ("males", "females"):
        found = [
            rounded(brentq(lambda m, run=run, at=at: one_sex_weight(fish, run, at[0], m) - at[1], 0.3, 3.0, xtol=1e-6))
            for run in (trial.run, *trial.others)
            for at in (getattr(run, sex),)
        ]
        values[f"appetite_{sex}"], spans[f"appetite_{sex}"] = found[0], (min(found), max(found))
    return values, spans


def write_species(name: str, values: dict[str, float], spans: dict[str, tuple[float, float]]) -> None:
    """Puts fitted values and spans into a species file and leaves the rest of it as it is."""
    path = HERE.parent / "species_params" / "fish" / f"{name}.toml"
    document = tomlkit.parse(path.read_text(encoding="utf-8"))
    for key, value in values.items():
        document["values"][key]["value"] = value
        if key in spans:
            document["values"][key]["range"] = list(spans[key])
    path.write_text(tomlkit.dumps(document), encoding="utf-8")


def write_tables(name: str, strains: dict[str, float], met: Trials, grade: str) -> None:
    """Puts strains, how the trials were met, and the grade of evidence into a species file."""
    path = HERE.parent / "species_params" / "fish" / f"{name}.toml"
    document = tomlkit.parse(path.read_text(encoding="utf-8"))
    for strain, factor in strains.items():
        document["strains"][strain]["appetite"] = factor
    if "trials" not in document:
        document.add(tomlkit.nl())
    document["trials"] = asdict(met)
    document["evidence"] = grade
    path.write_text(tomlkit.dumps(document).rstrip() + "\n", encoding="utf-8")


def _tables(is_written: bool) -> list[str]:
    """What is stale of strains, trials and grades in the species files; written where asked."""
    stale = []
    strains = {name: strain_factors(name) for name in STRAIN_POINTS}
    rows = fit_scores.growth_rows()
    for name in EVERY_SPECIES:
        grade, met = fit_scores.grade_of(rows, name, trial_scales(name)), fit_scores.trials_of(rows, name)
        if is_written:
            write_tables(name, strains.get(name, {}), met, grade.grade)
        entry = load_species(name)
        for strain, factor in strains.get(name, {}).items():
            if abs(factor / entry.strains[strain].appetite - 1.0) > AGREEMENT:
                stale.append(f"{name}.toml, strains.{strain}: {entry.strains[strain].appetite:g}, fit {factor:g}.")
        if entry.trials != met:
            stale.append(f"{name}.toml, trials: {entry.trials} is not {met}.")
        if entry.evidence != grade.grade:
            stale.append(f"{name}.toml, evidence: {entry.evidence}, by the rule {grade.grade}.")
    return stale


def main() -> int:
    """Fits, reports and writes as asked; exit code 1 only where --check finds something stale."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    choice = parser.add_mutually_exclusive_group()
    choice.add_argument("--write", action="store_true", help="put the fitted values into species_params/fish")
    choice.add_argument("--check", action="store_true", help="change nothing; exit 1 if anything is stale")
    arguments = parser.parse_args()
    import fits_page  # late: it needs altair, which the fit does not

    stale: list[str] = []
    fitted: dict[str, Fitted] = {}

    def settle(name: str, values: dict[str, float], spans: dict[str, tuple[float, float]]) -> None:
        if arguments.write:
            write_species(name, values, spans)
        entry = load_species(name)
        print(name)
        for key, value in values.items():
            apart = abs(value / entry[key] - 1.0)
            span = f"{spans[key][0]:.4g} to {spans[key][1]:.4g}" if key in spans else ""
            print(f"  {key:20} {value:9.4g}   span {span:20}   file {entry[key]:.4g}")
            if apart > AGREEMENT:
                stale.append(f"{name}.toml, values.{key}: {entry[key]:g} is {100 * apart:.1f} % from the fit.")

    for name in SPECIES:
        fitted[name] = fit(name)
        settle(name, fitted[name].values, fitted[name].spans)
    for name in SEX_TRIALS:
        settle(name, *sex_multipliers(name))
    for name, base in LIKENED.items():
        settle(name, *likened(name, {key: load_species(base)[key] for key in FITTED}, fitted[base].spans))
    stale += _tables(arguments.write)
    page = fits_page.text()
    if arguments.check:
        if not fits_page.PAGE.is_file() or fits_page.PAGE.read_text(encoding="utf-8") != page:
            stale.append("docs/fits.md is not what the species files give; run python docs/refit.py.")
    else:
        fits_page.PAGE.write_text(page, encoding="utf-8")
        fits_page.draw()
    print("\n".join(stale) if stale else "Species files agree with the fit.", file=sys.stderr)
    return 1 if arguments.check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
