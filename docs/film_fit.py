"""One fit of the film to the water of all published systems: its areal rate, and the alkalinity that halves it.

python docs/film_fit.py           runs the systems over a grid of both, prints best values and spreads
python docs/film_fit.py --check   changes nothing; exit 1 if the declared values and spreads are not those of a fresh fit

What is fitted stands with its spread beside its constant (`nitrification.AREAL_RATE_AT_20`, `maturity.HALF_ALKALINITY`).
Outputs are those of tests/systems that film decides; each system counts once, and one rig is one system.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))  # pytest loads this file from another folder

import systems  # noqa: E402

import stocksim.engine.season as engine  # noqa: E402
from stocksim.engine.days.day import seasons  # noqa: E402
from stocksim.water.maturity import HALF_ALKALINITY  # noqa: E402
from stocksim.water.nitrification import AREAL_RATE  # noqa: E402

FloatArray = NDArray[np.float64]

# what the film decides, by the first word of its measure
FILM_MEASURES = ("tan", "tan_late", "nitrite", "nitrite_late", "capacity", "day_tan_gone", "day_nitrite_peak")
RATES = np.geomspace(0.35, 5.6, 7)  # g/m2/day
HALVES = np.geomspace(1.5, 48.0, 6)  # mg/L as CaCO3
FINE = 200  # points between the ends of the grid when the best is looked for
WORSE = 1.0  # the spread ends where the sum of squared misses is greater by this
AGREEMENT = 0.03  # rounding of what is declared, to two digits


@contextmanager
def moved(**constants: Any) -> Iterator[None]:
    """The engine with constants of other values, wherever a module of it holds them; runs it uncompiled."""
    held = []
    for module in [module for name, module in sys.modules.items() if name.startswith("stocksim.")]:
        held += [(module, name, getattr(module, name)) for name in constants if hasattr(module, name)]
    missing = set(constants) - {name for _, name, _ in held}
    if missing:
        raise LookupError(f"no module of stocksim holds {', '.join(sorted(missing))}")
    compiled = engine._engine
    engine._engine = lambda scenarios: seasons.py_func
    for module, name, _ in held:
        setattr(module, name, constants[name])
    systems.season_of.cache_clear()
    try:
        yield
    finally:
        engine._engine = compiled
        for module, name, old in held:
            setattr(module, name, old)
        systems.season_of.cache_clear()


def judged() -> list[dict[str, str]]:
    """Rows of outputs.csv that the film decides."""
    return [row for row in systems.rows("outputs.csv") if row["measure"].split(" / ")[0] in FILM_MEASURES]


def miss(row: dict[str, str], ours: float) -> float:
    """How far ours lies from what is published, in half widths of the band on the logarithm.

    Where a paper gives no value there is no miss inside its band; a band from 0 counts a factor of 2.5 above it.
    """
    low, high = float(row["low"]), float(row["high"])
    width = 0.5 * np.log(high / low) if low > 0.0 else np.log(2.5)
    if row["published"]:
        return float(np.log(ours / float(row["published"])) / width)
    return float(max(np.log(ours / high), np.log(low / ours) if low > 0.0 else -np.inf, 0.0) / width)


def groups() -> dict[str, list[int]]:
    """Judged rows by what counts as one system: a paper, or a rig that several describe."""
    found: dict[str, list[int]] = {}
    for number, row in enumerate(judged()):
        found.setdefault(systems.paper_of(row["system"]), []).append(number)
    return found


def misses() -> FloatArray:
    """Misses of every judged output over the grid, shape (rate, half, output)."""
    rows = judged()
    table = np.empty((len(RATES), len(HALVES), len(rows)))
    for i, rate in enumerate(RATES):
        for j, half in enumerate(HALVES):
            with moved(AREAL_RATE_AT_20=float(rate), HALF_ALKALINITY_MG_L=float(half)):
                table[i, j] = [miss(row, systems.value(row["system"], row["measure"])) for row in rows]
    return table


def surface(table: FloatArray, kept: list[list[int]]) -> FloatArray:
    """Sum over systems of their outputs' mean squared miss on a fine grid, shape (FINE, FINE).

    Misses, not their squares, are drawn straight between the points of the coarse grid.
    """
    fine_rate, fine_half = (np.linspace(np.log(g[0]), np.log(g[-1]), FINE) for g in (RATES, HALVES))
    total = np.zeros((FINE, FINE))
    for numbers in kept:
        for number in numbers:
            by_half = np.array([np.interp(fine_half, np.log(HALVES), row) for row in table[:, :, number]])
            both = np.array([np.interp(fine_rate, np.log(RATES), column) for column in by_half.T]).T
            total += both**2 / len(numbers)
    return total


def best_of(total: FloatArray) -> tuple[float, float]:
    """Rate and half of the lowest sum."""
    i, j = np.unravel_index(int(np.argmin(total)), total.shape)
    ends = [np.geomspace(g[0], g[-1], FINE) for g in (RATES, HALVES)]
    return float(ends[0][i]), float(ends[1][j])


def spread_of(total: FloatArray, axis: int) -> tuple[float, float]:
    """Ends of the values of one constant for which the other leaves the sum within `WORSE` of the best."""
    profile = total.min(axis=1 - axis)
    values = np.geomspace((RATES, HALVES)[axis][0], (RATES, HALVES)[axis][-1], FINE)
    inside = values[profile <= profile.min() + WORSE]
    return float(inside[0]), float(inside[-1])


def report() -> tuple[list[str], list[str]]:
    """Lines that tell the fit, and what is stale of the declared values."""
    table, by_paper = misses(), groups()
    total = surface(table, list(by_paper.values()))
    best = best_of(total)
    lines = [f"{len(judged())} outputs of {len(by_paper)} systems; least sum of squared misses {total.min():.2f}"]
    left = {
        paper: best_of(surface(table, [part for other, part in by_paper.items() if other != paper]))
        for paper in by_paper
    }
    stale = []
    for axis, (name, declared) in enumerate((("areal rate", AREAL_RATE), ("half alkalinity", HALF_ALKALINITY))):
        low, high = spread_of(total, axis)
        without = [found[axis] for found in left.values()]
        lines.append(
            f"{name}: best {best[axis]:.3g}, spread {low:.3g} to {high:.3g}, without one system "
            f"{min(without):.3g} to {max(without):.3g}; declared {declared.value:g}, {declared.low:g} to {declared.high:g}"
        )
        if not low <= declared.value <= high:
            stale.append(f"{name}: declared {declared.value:g} lies outside the spread {low:.3g} to {high:.3g}.")
    for paper, (rate, half) in left.items():
        lines.append(f"  without {paper}: {rate:.3g}, {half:.3g}")
    return lines, stale


def main() -> int:
    """Fits and reports; exit code 1 only where --check finds something stale."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="exit 1 if what is declared is not what the fit gives")
    arguments = parser.parse_args()
    lines, stale = report()
    print("\n".join(lines))
    print("\n".join(stale) if stale else "What is declared agrees with the fit.", file=sys.stderr)
    return 1 if arguments.check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
