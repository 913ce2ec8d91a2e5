"""One fit of the film to the water of all published systems: its areal rate, and the alkalinity that halves it.

python docs/film_fit.py           runs the systems over a grid of both, writes docs/film_fit.md
python docs/film_fit.py --check   writes nothing; exit 1 if what is declared lies outside the spread of a fresh fit

Both stand with their spread beside the constants, `nitrification.AREAL_RATE` and `maturity.HALF_ALKALINITY`.
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
PAGE = HERE / "film_fit.md"
sys.path.insert(0, str(HERE))  # pytest loads this file from another folder

import systems  # noqa: E402

import stocksim.engine.season as engine  # noqa: E402
from stocksim.water.maturity import HALF_ALKALINITY  # noqa: E402
from stocksim.water.nitrification import AREAL_RATE  # noqa: E402

FloatArray = NDArray[np.float64]

# what the film decides, by the first word of its measure
FILM_MEASURES = ("tan", "tan_late", "nitrite", "nitrite_late", "capacity", "day_tan_gone", "day_nitrite_peak")
RATES = np.geomspace(0.35, 5.6, 7)  # g/m2/day
HALVES = np.geomspace(1.5, 48.0, 6)  # mg/L as CaCO3
FINE = 200  # points between the ends of the grid when the best is looked for
WORSE = 1.0  # the spread ends where the sum of squared misses is greater by this


# constants that only the tables of a season are made with, before its days: the compiled days may run with them moved
OF_TABLES = {
    "AREAL_RATE_AT_20", "THETA", "THETA_COLD", "OXIDIZERS", "DECAY_AT_20_PER_DAY", "MOST_PH_RISE", "ALPHA_FISH_WATER",
    "BACKGROUND_DEATHS_PER_DAY",
}  # fmt: skip


@contextmanager
def moved(**constants: Any) -> Iterator[None]:
    """The engine with constants of other values, wherever a module of it holds them; uncompiled where days hold one."""
    held = []
    for module in [module for name, module in sys.modules.items() if name.startswith("stocksim.")]:
        # a row of the days' tables may have the name of a constant: it is a whole number
        held += [
            (module, name, getattr(module, name))
            for name, new in constants.items()
            if isinstance(getattr(module, name, None), type(new))
        ]
    missing = set(constants) - {name for _, name, _ in held}
    if missing:
        raise LookupError(f"no module of stocksim holds {', '.join(sorted(missing))}")
    compiled = engine.at_hand
    if not set(constants) <= OF_TABLES:
        engine.at_hand = lambda kernel, scenarios, is_first=False: kernel.py_func
    for module, name, _ in held:
        setattr(module, name, constants[name])
    systems.season_of.cache_clear()
    try:
        yield
    finally:
        engine.at_hand = compiled
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


def left_out(table: FloatArray) -> dict[str, tuple[float, float]]:
    """Rate and half that the other systems give, for each system."""
    by_paper = groups()
    return {
        paper: best_of(surface(table, [part for other, part in by_paper.items() if other != paper]))
        for paper in by_paper
    }


def met_at(paper: str, rate: float, half: float) -> tuple[int, int]:
    """Film outputs of a system in their bands at a rate and half, and how many there are."""
    rows = [row for row in judged() if systems.paper_of(row["system"]) == paper]
    with moved(AREAL_RATE_AT_20=rate, HALF_ALKALINITY_MG_L=half):
        found = [systems.value(row["system"], row["measure"]) for row in rows]
    return sum(float(row["low"]) <= ours <= float(row["high"]) for row, ours in zip(rows, found, strict=True)), len(
        rows
    )


DECLARED = (("areal rate, g/m2/day", AREAL_RATE), ("alkalinity at half the rate, mg/L", HALF_ALKALINITY))


def stale(total: FloatArray, left: dict[str, tuple[float, float]]) -> list[str]:
    """Declared ranges without the best value, and values that neither the fit nor a fit without one system allows."""
    found, best = [], best_of(total)
    for axis, (name, declared) in enumerate(DECLARED):
        allowed = [*spread_of(total, axis), *(pair[axis] for pair in left.values())]
        if not declared.low <= best[axis] <= declared.high and not min(allowed) <= declared.low <= max(allowed):
            found.append(f"{name}: the best, {best[axis]:.3g}, lies outside {declared.low:g} to {declared.high:g}.")
        if not min(allowed) <= declared.value <= max(allowed):
            found.append(f"{name}: {declared.value:g} lies outside {min(allowed):.3g} to {max(allowed):.3g}.")
    return found


def text(total: FloatArray, left: dict[str, tuple[float, float]]) -> str:
    """The page."""
    best, by_paper = best_of(total), groups()
    lines = [
        "# One fit of the film",
        "",
        "Written by `python docs/film_fit.py`; do not edit by hand. The areal rate of a whole film and the alkalinity",
        f"at half its rate move together over a grid. The {len(judged())} outputs of the",
        "[published systems](systems.md) that film decides are scored in half widths of their bands;",
        f"{len(by_paper)} papers or rigs count once each. The least sum of mean squared misses is {total.min():.2f},",
        f"as the model stands {value_at(total, AREAL_RATE.value, HALF_ALKALINITY.value):.2f}; spreads end where it is",
        f"{WORSE:g} more.",
        "",
        "| | best | spread | without one system | in the model | declared range |",
        "|---|---|---|---|---|---|",
    ]
    for axis, (name, declared) in enumerate(DECLARED):
        low, high = spread_of(total, axis)
        without = [found[axis] for found in left.values()]
        lines.append(
            f"| {name} | {best[axis]:.2g} | {low:.2g} to {high:.2g} | {min(without):.2g} to {max(without):.2g} "
            f"| {declared.value:g} | {declared.low:g} to {declared.high:g} |"
        )
    lines += [
        "",
        f"The grid ends at {RATES[0]:.2g} and {RATES[-1]:.2g} g/m2/day, {HALVES[0]:.2g} and {HALVES[-1]:.2g} mg/L: a",
        "spread that reaches an end is not bounded there by these systems.",
        "",
        "Each system by what the others give:",
        "",
        "| left out | rate | half | its outputs in band |",
        "|---|---|---|---|",
    ]
    met = {paper: met_at(paper, *found) for paper, found in left.items()}
    for paper, (rate, half) in left.items():
        lines.append(f"| {paper} | {rate:.2g} | {half:.2g} | {met[paper][0]} of {met[paper][1]} |")
    lines += [
        "",
        f"In all {sum(m for m, _ in met.values())} of {sum(n for _, n in met.values())} so left out.",
        "",
        *_KEPT,
    ]
    return "\n".join(lines) + "\n"


_KEPT = (
    "What the model keeps, and why:",
    "",
    "- The areal rate is bounded from above only: nearly all papers leave film area untold, and a slow film on much",
    "  area is a fast one on little. 1.38 lies inside, and what is published of areal rates (0.7-1.8 once freed of",
    "  ordinary water, beside the constant) bounds it from below; so the value stays and its range is declared.",
    "- The alkalinity at half the rate would be lower by these systems, by one of them alone (perlite at three",
    "  pH): without it they allow 25 and more. Laboratory films say lower too: unaffected at 45 mg/L and above,",
    "  impaired at 40 and below (Biesterfeld et al. 2003), 13 % a unit of pH and short of alkalinity only below",
    "  pH 5 (Villaverde et al. 1997; both abstracts read). At 45 mg/L a film would run at 0.70 of its rate at 308",
    "  with 25, at 0.90 with 6; but no half rate is whole at 45 and impaired at 40. The value stays, on the",
    "  cautious side for water below some 40 mg/L; at 100 mg/L it is divided out of the areal rate. The range is",
    "  declared down to what the fit gives.",
    "- With 6 instead of 25 and walls as half a film, 59 of 79 published outputs lay in band, as with 25",
    "  before two trout tanks had another feed:",
    "  perlite at pH 7 over 6 is 2.5 instead of 3.8 (published 1.6), but at pH 6 it then turns",
    "  1.4 g/day instead of 0.71 (published 0.38).",
    "- Walls of tanks count as none (`WALL_FILM_SHARE`, a range up to a whole film); as half a film they take",
    "  1 to 13 % of the ammonia in these systems. Meals, streams and vents changed since the fit, which was",
    "  checked after.",
)


def value_at(total: FloatArray, rate: float, half: float) -> float:
    """Sum at a rate and half."""
    i, j = (round((FINE - 1) * np.log(x / g[0]) / np.log(g[-1] / g[0])) for x, g in ((rate, RATES), (half, HALVES)))
    return float(total[i, j])


def main() -> int:
    """Fits and reports; exit code 1 only where --check finds something stale."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="exit 1 if what is declared is not what the fit gives")
    arguments = parser.parse_args()
    table = misses()
    total = surface(table, list(groups().values()))
    left = left_out(table)
    found = stale(total, left)
    if not arguments.check:
        PAGE.write_text(text(total, left), encoding="utf-8")
    print("\n".join(found) if found else "What is declared agrees with the fit.", file=sys.stderr)
    return 1 if arguments.check and found else 0


if __name__ == "__main__":
    sys.exit(main())
