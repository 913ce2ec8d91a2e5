"""How many kept rows a model could hold that knew every species' true mean: ``python docs/ideal_model.py`` prints it.

Published trials of one fish differ by stock, feed lot and tank, of which a model of the species knows nothing. Such a
model has the mean; a trial lies about it by the spread that trials seen by fits show. A kept row is held if the mean
lies within the tolerance of what the trial would then have published. Nothing here looks at what kept rows published,
only at what they measure and under which conditions.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.stats import norm

sys.path.insert(0, str(Path(__file__).resolve().parent))  # pytest loads this file from another folder

from check_points import CHECKS, EVERY_SPECIES, NO_TRIALS, Check
from fish_trials import TOLERANCES
from fit_scores import Row, growth_rows, measure_of, other_rows, paper
from fresh_points import growth_checks
from trial_points import TRIALS
from trial_scales import SCALED, counted, points_of, scale_of_trial, spread_between_trials, trial_scales, with_numbers

from stocksim.library.species import load_species

LEFT_OUT_TABLE = Path(__file__).with_name("left_out.csv")
# Quantiles of a trial's deviation, evenly spread; the second row is the same numbers in another order, so that scale
# and conversion vary apart from each other.
_COUNT = 199
_Z = norm.ppf((np.arange(_COUNT) + 0.5) / _COUNT)
_Z_OTHER = np.random.default_rng(20260101).permutation(_Z)
# Topics that turn on what a fish eats and makes of it, for which the spread is carried through the model
FED_TOPICS = ("growth", "appetite", "cold feeding", "weight lost unfed")
# Points of a told ration or a told conversion, seen by fits, from which the spread of conversion is taken: what was
# eaten is told, so that appetite does not matter. One a trial, told as feed per gain.
_CONVERSIONS = (
    "hsb_pond_29c_fcr", "walleye_ras_fcr", "carp_168g_24c_fcr1", "pikeperch_25g_ration_1_2", "eperch_10g_ration_1",
)  # fmt: skip


class Chance(NamedTuple):
    """A kept row and the chance that an ideal mean lies in its tolerance."""

    row: Row
    chance: float
    how: str  # what the chance rests on


def checks_of(rows: Iterable[Row]) -> dict[tuple[str, str], Check]:
    """The check of each row that has one, by species and id."""
    wanted = {(row.species, row.key) for row in rows}
    return {(c.species, c.id): c for c in (*CHECKS, *TRIALS) if (c.species, c.id) in wanted}


def log_conversions() -> dict[str, float]:
    """Logarithm of published over our feed per gain, of each trial seen by fits that tells what was eaten."""
    found = {}
    for check in TRIALS:
        if check.id not in _CONVERSIONS:
            continue
        ours = float(np.squeeze(check.value(with_numbers(load_species(check.species), {}))))
        assert check.expect is not None
        assert check.used
        if check.measure == "conversion":
            found[check.id] = float(np.log(check.expect / ours))
        else:  # the same feed, another gain
            start = float(check.what.split(" g,")[0])
            found[check.id] = float(np.log((ours - start) / (check.expect - start)))
    return found


@cache
def spreads() -> tuple[float, float]:
    """Standard deviation of the logarithm between trials of one species: scale of appetite, feed per gain.

    Of conversion each trial is of another species, so that their common mean is taken for what a better model would
    know, and the rest for trials.
    """
    return spread_between_trials(EVERY_SPECIES)[0], float(np.std(list(log_conversions().values()), ddof=1))


@cache
def trials_behind(name: str) -> int:
    """How many trials the scale of a species is the mean of."""
    return len(counted({key: value for key, value in trial_scales(name).items() if key not in NO_TRIALS}))


@cache
def unseen_scales() -> tuple[float, ...]:
    """Scale of appetite over ours at which each paper no fit saw is met best, by its weights and growth rates."""
    papers: dict[str, list[Check]] = {}
    for check in (*CHECKS, *TRIALS):
        measure = measure_of(check)
        if not check.used and check.expect and measure in ("weight", "growth rate") and not _is_on_ration(check):
            papers.setdefault(f"{check.species} {paper(check)}", []).append(check)
    found = []
    for checks in (*papers.values(), *growth_checks().values()):
        entry = load_species(checks[0].species)
        found.append(scale_of_trial(entry, {key: entry[key] for key in SCALED}, checks)[0])
    return tuple(found)


def published_if(check: Check, scale: float, conversion: float) -> tuple[float, np.ndarray]:
    """What the species' mean gives, and what trials would publish that lie about it by the two spreads."""
    entry = load_species(check.species)
    numbers = {
        "intake_scale": entry["intake_scale"] * np.exp(scale * np.concatenate([[0.0], _Z])),
        "body_energy": entry["body_energy"] * np.exp(conversion * np.concatenate([[0.0], _Z_OTHER])),
    }
    values = np.broadcast_to(np.squeeze(np.asarray(check.value(with_numbers(entry, numbers)), float)), (_COUNT + 1,))
    return float(values[0]), values[1:]


def _bounds(check: Check, published: np.ndarray, mean: float) -> tuple[np.ndarray, np.ndarray]:
    """Tolerance about each value that might have been published; a published range moves with it."""
    measure = measure_of(check)
    if check.expect is not None and measure in TOLERANCES and check.measure:
        share, least = TOLERANCES[measure]
        width = np.maximum(share * np.abs(published), least)
        return published - width, published + width
    if check.expect is not None and measure in ("growth rate", "gain in winter", "weight lost"):
        return published + check.low - check.expect, published + check.high - check.expect
    if check.expect is not None:
        return published * check.low / check.expect, published * check.high / check.expect
    middle = 0.5 * (check.low + check.high)
    return published * check.low / middle, published * check.high / middle


def chance_of(check: Check, scale: float, conversion: float) -> float:
    """Chance that the mean lies within the tolerance of what one trial publishes."""
    fixed = _is_on_ration(check)
    mean, published = published_if(check, scale, conversion if fixed else 0.0)
    low, high = _bounds(check, published, mean)
    return float(np.mean((low <= mean) & (mean <= high)))


def _is_on_ration(check: Check) -> bool:
    return measure_of(check) == "conversion" or "% a day" in check.what or "ration, %" in check.what


def chances(rows: Iterable[Row], is_mean_known: bool = True, between: float | None = None) -> list[Chance]:
    """Every kept row with its chance.

    Parameters
    ----------
    rows : iterable of Row
        Of all topics.
    is_mean_known : bool
        Whether the model knows the mean of a species, or has it from as many trials as ours: then a trial lies further
        off, by the root of 1 + 1/n (of one trial where there is none).
    between : float, optional
        Standard deviation of the logarithm of the scale between trials; that of seen trials if left out.

    Returns
    -------
    list of Chance
        Waste ranges left out. Rows that only tell a side ("ate at 7 degC"), temperatures and what starving fish lose
        count as held by growth and appetite; of other topics each has the share of seen rows that are held.
    """
    rows = [row for row in rows if row.topic != "waste ranges"]
    conversion = spreads()[1]
    between = spreads()[0] if between is None else between
    other = [row for row in rows if row.seen and row.topic not in FED_TOPICS]
    share = sum(row.is_inside for row in other) / len(other)
    checks = checks_of(rows)
    found = []
    for row in rows:
        if row.seen:
            continue
        check = checks.get((row.species, row.key))
        scale = between
        if not is_mean_known and row.species in EVERY_SPECIES:
            scale *= np.sqrt(1.0 + 1.0 / max(trials_behind(row.species), 1))
        if row.topic not in FED_TOPICS:
            found.append(Chance(row, share, "share of seen rows held"))
        elif row.measure in ("temperature", "weight lost", "maintenance") or "maintenance" in row.what:
            found.append(Chance(row, 1.0, "no spread known: counted as held"))
        elif check is None:
            found.append(Chance(row, _of_ration(row, scale), "appetite"))
        else:
            found.append(Chance(row, chance_of(check, scale, conversion), "appetite and conversion"))
    return found


def _of_ration(row: Row, scale: float) -> float:
    """Chance of a row without a point: one that is in proportion to appetite, a rate or a ratio of two species."""
    published = np.exp(scale * _Z * (np.sqrt(2.0) if row.measure == "ratio" else 1.0))
    share = TOLERANCES[row.measure][0]
    return float(np.mean(np.abs(1.0 - published) <= share * published))


class Sum(NamedTuple):
    """Rows that an ideal model is expected to hold."""

    count: int
    expected: float
    spread: float  # standard deviation, where the rows of one paper are held or missed together
    now: int


def summed(found: Iterable[Chance]) -> Sum:
    """Expected number held, and how far it may lie off if the rows of one paper are held or missed together."""
    by_paper: dict[str, list[float]] = {}
    found = list(found)
    for item in found:
        by_paper.setdefault(f"{item.row.species} {item.row.paper}", []).append(item.chance)
    variance = 0.0
    for group in by_paper.values():
        mean = float(np.mean(group))
        variance += mean * (1.0 - mean) * len(group) ** 2
    return Sum(len(found), sum(item.chance for item in found), float(np.sqrt(variance)),
               sum(item.row.is_inside for item in found))  # fmt: skip


def pairs() -> tuple[int, int, float]:
    """Values of one seen trial told by another of the same species: held, all, and share of pairs of trials.

    The other trial's scale stands for the species; conditions are carried over by the model. Of a trial that is a bound
    only, nothing is told.
    """
    held, count, shares = 0, 0, []
    for name in EVERY_SPECIES:
        entry, scales = load_species(name), trial_scales(name)
        usable = [trial for trial, (_, bound) in scales.items() if not bound and trial not in ("UW", "assumed")]
        for told in usable:
            fish = with_numbers(entry, {"intake_scale": np.array([entry["intake_scale"] * scales[told][0]])})
            for other in usable:
                points = [check for check in points_of(name) if check.trial == other]
                if other == told:
                    continue
                inside = [_is_met(check, fish) for check in points]
                held, count = held + sum(inside), count + len(inside)
                shares.append(sum(inside) / len(inside))
    return held, count, float(np.mean(shares))


def _is_met(check: Check, fish: object) -> bool:
    value = float(np.squeeze(check.value(fish)))
    return bool(check.low <= value <= check.high)


def _told(found: list[Chance], topic: str) -> list[Chance]:
    if topic == "all":
        return found
    if topic == "all others":
        return [item for item in found if item.row.topic not in FED_TOPICS]
    return [item for item in found if item.row.topic == topic]


def section(rows: list[Row]) -> list[str]:
    """Section of docs/fits.md."""
    (scale, conversion), (held, count, share), told = spreads(), pairs(), len(log_conversions())
    known, ours = chances(rows), chances(rows, is_mean_known=False)
    logs = np.log(unseen_scales())
    wide = chances(rows, between=float(logs.std(ddof=1)))
    left = left_out()
    lines = [
        "## How many kept rows could be held at all", "",
        "A model of a species knows nothing of a trial's stock, feed lot and tank. Suppose one that knows the true "
        "mean of each species: a kept row is held if that mean lies within the tolerance of what a trial with its own "
        "stock would have published. Between seen trials the logarithm of the scale of appetite differs by "
        f"{scale:.2f} and that of feed per gain by {conversion:.2f} ({told} trials that tell what was eaten, about "
        "their common mean); both are carried through the model to what each kept row measures. What kept rows "
        "published is not looked at. Counted for the model: statements of one side, temperatures and hunger as held "
        "for certain, and of deaths, winters, oxygen and company the share of *seen* rows that is held, lines drawn by "
        "those very rows. *With our trials* is a model of the same form whose means come from as many trials as ours. "
        "+- is the standard deviation if the rows of one paper are held or missed together.", "",
        "| topic | kept rows | true means known | with our trials | true means, spread of unseen trials | held now |",
        "|---|---|---|---|---|---|",
    ]  # fmt: skip
    for topic in (*FED_TOPICS, "all others", "all"):
        best, likely, far = (summed(_told(found, topic)) for found in (known, ours, wide))
        lines.append(
            f"| {topic} | {best.count} | {_expected(best)} | {_expected(likely)} | {_expected(far)} "
            f"| {best.now} "
            f"({100 * best.now / best.count:.0f} %) |"
        )
    lines += [
        "", f"The {len(logs)} papers of weights and growth rates that no fit saw, those read last among them, are met "
        f"best at {np.exp(logs.mean()):.2f} of our scale of appetite (geometric mean; {np.exp(logs.min()):.2f} to "
        f"{np.exp(logs.max()):.2f}), and the logarithm differs between them by {logs.std(ddof=1):.2f}: ours is in the "
        "middle of them, and they lie further apart than seen trials, whose fit follows them. The last but one column "
        "has that spread.", "",
        "Pairs of seen trials of one species: the scale of one, conditions carried over by the model, meets "
        f"{held} of {count} values of another ({100 * held / count:.0f} %; over pairs of trials {100 * share:.0f} "
        "%). Each trial left out of the fit of its species, by `python docs/left_out.py`: "
        f"{sum(row['inside'] == 'yes' for row in left)} of {len(left)} of its values inside "
        f"({100 * sum(row['inside'] == 'yes' for row in left) / len(left):.0f} %).", "",
    ]  # fmt: skip
    return lines


def _expected(found: Sum) -> str:
    return f"{found.expected:.1f} +- {found.spread:.1f} ({100 * found.expected / found.count:.0f} %)"


def left_out() -> list[dict[str, str]]:
    """Rows of the table that `left_out.py` wrote."""
    with LEFT_OUT_TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def main() -> None:
    """Print every kept row with its chance, and the sums."""
    rows = [*growth_rows(), *other_rows()]
    for item in chances(rows):
        mark = "in" if item.row.is_inside else "OUT"
        print(f"{item.row.topic:17} {item.row.species:20.20} {item.row.key:28} {item.chance:5.2f} {mark:4} {item.how}")
    print("\n".join(section(rows)))


if __name__ == "__main__":
    main()
