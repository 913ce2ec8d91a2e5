"""Time and memory of an outlook of the demonstration, and what its parts take; asserts nothing.

Run: ``python tests/benchmarks/bench_outlook.py [SEASONS]`` (1,024 if left out; ``--quick`` draws 64). Times are of the
processor. The days alone are timed in the same run, which tells a busy machine from a quiet one.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable

import numpy as np

from stocksim.answers.outlook.words import FAN_COLUMNS
from stocksim.drawn.draws import prepared
from stocksim.drawn.outlook import outlook, with_indices
from stocksim.engine.arrays.tables import with_numbers
from stocksim.engine.season import in_chunks
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site


def peak_mb() -> float:
    """Greatest resident memory of this process so far. [MB]"""
    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / 1024.0 if sys.platform != "darwin" else size / 1024.0**2


def told(what: str, seasons: int, run: Callable[[], object]) -> None:
    """Print what a run of so many seasons took."""
    cpu, clock = time.process_time(), time.perf_counter()
    run()
    used = 1000.0 * (time.process_time() - cpu) / seasons
    print(f"{what:44} {used:14.2f} {time.perf_counter() - clock:8.1f} {peak_mb():8.0f}", flush=True)


def main(number: int) -> None:
    """Print the table."""
    site = load_site(FOLDER / "heron_lane.toml")
    outlook(site, 16, indices=False)  # compiled, and scipy imported
    print(f"{'what':44} {'CPU ms/season':>14} {'s':>8} {'MB':>8}")
    draws = prepared(site, 1)
    told("64 years of water, per year", 64, lambda: prepared(site, 2))
    rows = [[0.5] * len(draws.axes)] * 64
    many = with_numbers(draws.layout, draws.arrays(np.array(rows)))
    told("days of 64 seasons, nothing kept, one thread", 64, lambda: list(in_chunks(many, lambda *_: None, threads=1)))
    told(f"{number:,} seasons as text tells them", number, lambda: outlook(site, number, indices=False, columns=()))
    told(f"{number:,} seasons as the page draws them", number,
         lambda: outlook(site, number, indices=False, columns=FAN_COLUMNS))  # fmt: skip
    few = min(number, 256)
    told(f"{few:,} seasons with every band, as data", few, lambda: outlook(site, few, indices=False))
    told(f"indices of {few:,} points, {few * (1 + len(draws.groups)):,} seasons more", few * (1 + len(draws.groups)),
         lambda: with_indices(outlook(site, few, indices=False, columns=())))  # fmt: skip


if __name__ == "__main__":
    given = [argument for argument in sys.argv[1:] if argument != "--quick"]
    main(int(given[0]) if given else (64 if "--quick" in sys.argv else 1024))
