"""Each trial left out of the fit of its species, and what the model then says to it: ``python docs/left_out.py``.

Writes `left_out.csv`, from which docs/fits.md tells the score; takes some three minutes. This is the score by which a
change of a formula or of a number set by hand is judged, as it looks at rows that fits may see and at no others. A
trial is left out only where another of weighed fish is left; the pull to the earlier fit, which had seen the D points,
stays.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))  # pytest loads this file from another folder

import refit  # noqa: E402
from check_points import EVERY_SPECIES  # noqa: E402
from trial_scales import group_of, points_of, with_numbers  # noqa: E402

from stocksim.library.species import load_species  # noqa: E402

TABLE = HERE / "left_out.csv"
FIELDS = ("species", "trial", "point", "low", "high", "ours", "miss", "inside")


def rows_of(name: str) -> list[dict[str, object]]:
    """Rows of a species, each trial left out in turn; ``miss`` is in half widths of the tolerance."""
    entry, points, rows = load_species(name), points_of(name), []
    for group in sorted({group_of(check) for check in points}):
        if not any(check.trial and group_of(check) != group for check in points):
            continue
        values = refit.fit(name, without=group).values
        fish = with_numbers(entry, {key: np.array([value]) for key, value in values.items()})
        for check in (check for check in points if group_of(check) == group):
            ours = float(np.squeeze(check.value(fish)))
            half = 0.5 * (check.high - check.low)
            beyond = ours - check.expect if check.expect is not None else _outside(ours, check.low, check.high)
            inside = "yes" if check.low <= ours <= check.high else "no"
            rows.append(dict(zip(FIELDS, (
                name, group, check.id, f"{check.low:.4g}", f"{check.high:.4g}", f"{ours:.4g}", f"{beyond / half:.2f}",
                inside,
            ), strict=True)))  # fmt: skip
    return rows


def _outside(value: float, low: float, high: float) -> float:
    return max(value - high, 0.0) - max(low - value, 0.0)


def main() -> None:
    """Fit, write and print the score."""
    refit.STARTS = 1
    rows = [row for name in EVERY_SPECIES for row in rows_of(name)]
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, FIELDS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    inside = sum(row["inside"] == "yes" for row in rows)
    mean = np.mean([min(abs(float(str(row["miss"]))), 3.0) for row in rows])
    print(f"{inside} of {len(rows)} inside; mean miss, at most 3 half widths counted: {mean:.3f}")


if __name__ == "__main__":
    main()
