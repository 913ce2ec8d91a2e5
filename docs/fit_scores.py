"""How near the model comes to published values: in and out of fits, by topic and species; bands; grades of evidence.

Rows come from the points of growth and appetite and from the `POINTS` of the other modules of published trials.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))  # pytest loads this file from another folder

from check_points import CHECKS, EVERY_SPECIES, MALES, NO_TRIALS, SIZES, Check, Fish  # noqa: E402
from fish_trials import is_for_fitting, paper_of, tolerance, trials  # noqa: E402
from trial_points import OUTSIDE, TRIALS  # noqa: E402
from trial_scales import counted  # noqa: E402

from stocksim.library.sources import Entry  # noqa: E402
from stocksim.library.species import load_species  # noqa: E402
from stocksim.library.strains import Trials  # noqa: E402

# Modules of published trials on other topics, each with POINTS: (key, measure, model, unsafe side), and, where a miss
# is told to the keeper, WARNINGS: key to the sentence that is printed.
OTHER_MODULES = ("thermal_points", "water_points", "winter_points", "company_points", "feed_points")
ALPHA = 0.10  # of a 5-95 % band
GROWTH_MEASURES = ("weight", "growth rate", "ration")
ROWS_OF_TABLE = {row["key"]: row for row in trials()}

# What the older points measure; those of the table say it themselves. D24 and D25 are handbook ranges of waste, which
# hardly any budget that closes can miss, and are counted apart.
_MEASURES = {
    "weight": ("D1", "D2", "D9", "D11", "D15", "D16", "D19", "D23", "E2", "E3", "E4", "E8", "L1", "L3"),
    "growth rate": ("D8", "D21", "A1", "A2", "E5"),
    "maintenance": ("D22", "E7"),
    "weight lost": ("D10", "D13", "E1"),
    "gain in winter": ("E6",),
    "days": ("D4",),
    "waste ranges": ("D24", "D25"),
}
_OF_POINT = {point: measure for measure, points in _MEASURES.items() for point in points}
# Points of a paper that the table has as well
_SAME_PAPER = {SIZES: "cai 2020", MALES: "rearing"}


class Row(NamedTuple):
    """A published value beside the model's."""

    key: str
    species: str
    topic: str
    measure: str
    what: str
    seen: bool
    published: float | None
    low: float
    high: float
    ours: float
    unsafe: str
    paper: str
    warning: str = ""

    @property
    def is_inside(self) -> bool:
        """Within the tolerance."""
        return bool(self.low <= self.ours <= self.high)

    @property
    def is_unsafe_miss(self) -> bool:
        """Missed on the side on which a keeper is told too little."""
        return (self.unsafe == "low" and self.ours < self.low) or (self.unsafe == "high" and self.ours > self.high)


def measure_of(check: Check) -> str:
    """What a point measures, as a row of TOLERANCES or of the older points."""
    stem, *part = check.id.split()
    if check.measure or stem not in _OF_POINT:
        return check.measure or "ratio"
    return "conversion" if part == ["fcr"] else _OF_POINT[stem]


def topic_of(check: Check) -> str:
    """Topic under which a point is counted."""
    row = ROWS_OF_TABLE.get(check.id.split()[0])
    if row is not None:
        return row["topic"].replace("_", " ")
    measure = measure_of(check)
    if measure in ("weight lost", "waste ranges"):
        return {"weight lost": "weight lost unfed", "waste ranges": "waste ranges"}[measure]
    return "appetite" if measure in ("maintenance", "conversion") else "growth"


def paper(check: Check) -> str:
    """The paper of a point, so that its points are counted as one trial."""
    if check.id.split()[0] in ROWS_OF_TABLE:
        return paper_of(check.source)
    return next((name for source, name in _SAME_PAPER.items() if check.source.startswith(source)), check.source)


def growth_rows(entries: Callable[[str], Entry] = load_species) -> list[Row]:
    """Rows of every point of growth and appetite, with what species files give.

    Parameters
    ----------
    entries : callable
        Gives a species by its key.

    Returns
    -------
    list of Row
        In the order of species, then of points.
    """
    rows = []
    for name in EVERY_SPECIES:
        fish = Fish(entries(name).__getitem__)
        for check in (*CHECKS, *TRIALS):
            if check.species == name:
                ours = np.squeeze(check.value(fish)).item()
                rows.append(
                    Row(check.id, name, topic_of(check), measure_of(check), check.what, check.used, check.expect,
                        check.low, check.high, ours, check.unsafe, paper(check))
                )  # fmt: skip
    return rows


def other_rows() -> list[Row]:
    """Rows of the other modules, those that are there; a key that growth has already is not counted twice."""
    taken, rows = {check.id.split()[0] for check in TRIALS}, []
    for name in OTHER_MODULES:
        if not (HERE / f"{name}.py").is_file():
            continue
        module: Any = importlib.import_module(name)
        for key, measure, model, unsafe in module.POINTS:
            if key in taken:
                continue
            taken.add(key)
            rows.append(_other_row(key, measure, float(model()), unsafe, getattr(module, "WARNINGS", {}).get(key, "")))
    return rows


def _other_row(key: str, measure: str, ours: float, unsafe: str, warning: str) -> Row:
    row = ROWS_OF_TABLE[key]
    published = float(row["value"]) if row["value"] else None
    if published is None:
        low = tolerance(measure, float(row["low"]))[0] if row["low"] else -np.inf
        high = tolerance(measure, float(row["high"]))[1] if row["high"] else np.inf
    else:
        low, high = tolerance(measure, published)
    source = row["source"]
    return Row(key, row["species"] or row["fish"], row["topic"].replace("_", " "), measure, row["what"],
               is_for_fitting(source), published, low, high, ours, unsafe, paper_of(source), warning)  # fmt: skip


def _ratios(rows: Iterable[Row]) -> list[Row]:
    """Rows whose ratio of ours over the published value has a meaning."""
    return [row for row in rows if row.measure in GROWTH_MEASURES and row.published and row.ours > 0.0]


def trials_of(rows: Iterable[Row], name: str) -> Trials:
    """How a species met its published trials, for its file and its page."""
    own = [row for row in rows if row.species == name and row.topic != "waste ranges"]
    ratios = [row for row in _ratios(own) if row.paper not in _no_papers()]
    of = [row.ours / row.published for row in ratios]  # type: ignore[operator]
    kept = [row for row in own if not row.seen]
    missed = [row for row in kept if row.is_unsafe_miss]
    least = [row.ours / row.published for row in _ratios(missed) if row.unsafe == "low"]  # type: ignore[operator]
    return Trials(
        len({row.paper for row in ratios}), _two(min(of, default=1.0)), _two(max(of, default=1.0)), len(kept),
        len(missed), _two(min(least, default=1.0)),
    )  # fmt: skip


def _two(number: float) -> float:
    return float(f"{number:.2g}")


def _no_papers() -> set[str]:
    """Papers that are none: a recalled coefficient and our own targets."""
    return {paper(check) for check in CHECKS if check.trial in NO_TRIALS}


class Grade(NamedTuple):
    """What the grade of a species rests on."""

    name: str
    seen: int  # independent trials that its scale is drawn from
    unseen: int  # independent papers that no fit saw
    spread: float  # of the trials' own scales, as a factor
    inside: int
    kept: int
    capped: str  # why it is weak whatever the rest says; "" where nothing caps it
    grade: str


# The rule as it stands in docs/fish.md
RULE = (
    "**Good**: the scale rests on three or more independent trials that lie within a factor of 1.4 of each other "
    "(standard deviation), two or more papers that no fit saw test it, and at least 80 % of the values kept from "
    "fits lie inside their tolerance. **Fair**: two or more independent trials in all, one of them seen by the "
    "fit, within a factor of 2, and at least half of the values kept from fits inside. **Weak**: all else, and, "
    "whatever its trials say, a species that is likened to another, that has numbers of the model from memory, "
    "common practice or a guess, or whose appetite is set to no weighed fish."
)


def grade_of(rows: Iterable[Row], name: str, scales: dict[str, tuple[float, bool]]) -> Grade:
    """Grade of evidence of a species by `RULE`.

    Parameters
    ----------
    rows : iterable of Row
        Of growth and appetite.
    name : str
        Species.
    scales : dict of str to (float, bool)
        Its trials, as `trial_scales`.

    Returns
    -------
    Grade
        The grade with what it rests on.
    """
    entry = load_species(name)
    trials_seen = [trial for trial in scales if trial not in OUTSIDE and trial not in NO_TRIALS]
    kept = [row for row in rows if row.species == name and not row.seen and row.topic != "waste ranges"]
    growth = [row for row in kept if row.measure in (*GROWTH_MEASURES, "conversion")]
    papers_seen = {row.paper for row in rows if row.species == name and row.seen}
    unseen = len({row.paper for row in growth if row.measure in GROWTH_MEASURES} - papers_seen)
    logs = np.log(counted(scales) or [1.0])
    spread = float(np.exp(np.std(logs, ddof=1))) if len(logs) > 1 else 1.0
    inside = sum(row.is_inside for row in kept)
    share = inside / len(kept) if kept else 1.0
    capped = _cap(entry, trials_seen)
    grade = "weak"
    if not capped and trials_seen and len(trials_seen) + unseen >= 2 and spread <= 2.0 and share >= 0.5:
        grade = "fair"
        if len(trials_seen) >= 3 and spread <= 1.4 and unseen >= 2 and share >= 0.8:
            grade = "good"
    return Grade(name, len(trials_seen), unseen, spread, inside, len(kept), capped, grade)


def _cap(entry: Entry, trials_seen: list[str]) -> str:
    if "like" in entry.facts:
        return f"likened to {entry.facts['like']}"
    if any(entry.is_weak(key) for key, value in entry.values.items() if value.use == "model"):
        return "numbers of the model from memory, practice or a guess"
    return "" if trials_seen else "appetite set to no weighed fish"


class Bands(NamedTuple):
    """Score of declared 5-95 % bands, on the natural logarithm of the value."""

    count: int
    inside: int
    width: float  # mean
    score: float  # mean interval score, width and penalty


def band_score(entries: Callable[[str], Entry] = load_species) -> Bands:
    """Interval score of the bands that species declare for their scale of appetite, over values no fit saw.

    Parameters
    ----------
    entries : callable
        Gives a species by its key.

    Returns
    -------
    Bands
        Width + 2/alpha times what a value lies outside (Gneiting & Raftery 2007, Strictly proper scoring rules,
        prediction, and estimation, J. Am. Stat. Assoc. 102, 359-378; from memory), of the logarithm of weight, growth
        rate or ration. [-]
    """
    widths, scores, inside = [], [], 0
    for check in (*CHECKS, *TRIALS):
        if check.used or not check.expect or measure_of(check) not in GROWTH_MEASURES:
            continue
        entry = entries(check.species)
        band = entry.values["intake_scale"]
        ends = np.array([band.low, band.high])
        fish = Fish(lambda key, entry=entry, ends=ends: ends if key == "intake_scale" else entry[key])  # type: ignore[misc]
        low, high = np.log(np.maximum(np.sort(np.broadcast_to(check.value(fish), (2,))), 0.01))
        at = float(np.log(check.expect))
        widths.append(high - low)
        scores.append(high - low + 2.0 / ALPHA * (max(low - at, 0.0) + max(at - high, 0.0)))
        inside += low <= at <= high
    return Bands(len(widths), int(inside), float(np.mean(widths)), float(np.mean(scores)))
