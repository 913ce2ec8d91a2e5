"""Time and memory of many seasons of which only extremes are kept; asserts nothing.

Run: ``python tests/benchmarks/bench_scenarios.py [SEASONS]`` (10,000 if left out; ``--quick`` runs 200).
Memory is the process's greatest resident size over that before the seasons, the arrays of the scenarios among it.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from bench_speed import eight_cohorts_three_loops

from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.arrays.tables import with_numbers
from stocksim.engine.many_seasons import Keep, run_seasons
from stocksim.engine.season import in_chunks


def peak_mb() -> float:
    """Greatest resident memory of this process so far. [MB]"""
    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / 1024.0 if sys.platform != "darwin" else size / 1024.0**2


def main(number: int) -> None:
    """Print the table."""
    site = eight_cohorts_three_loops(1.0)
    layout = build_layout(site)
    rng = np.random.default_rng(1)

    def counts(seasons: int) -> dict[str, np.ndarray]:
        return {"count": layout.count * rng.uniform(0.3, 1.2, (seasons, len(layout.cohorts)))}

    first = run_seasons(site, arrays=counts(32))  # compiled, and pandas imported
    print(len(first.limits), "rows of limits,", len(first.deaths), "of deaths in 32 seasons")
    print(f"{'what':58} {'CPU ms a season':>16} {'s':>8} {'MB above the start':>20}")

    def told(what: str, seasons: int, run: object) -> None:
        before, cpu, clock = peak_mb(), time.process_time(), time.perf_counter()
        run()  # type: ignore[operator]
        used = 1000.0 * (time.process_time() - cpu) / seasons
        print(f"{what:58} {used:16.2f} {time.perf_counter() - clock:8.1f} {peak_mb() - before:20.0f}", flush=True)

    few = max(number // 10, 64)
    bare = with_numbers(layout, counts(few))
    told(f"{few} seasons, nothing kept", few, lambda: list(in_chunks(bare, lambda *_: None)))
    told(f"{few} seasons, extremes", few, lambda: run_seasons(site, arrays=counts(few)))
    told(f"{few} seasons, extremes, one thread", few, lambda: run_seasons(site, arrays=counts(few), threads=1))
    changes = [{"cohorts.fish0.count": int(count)} for count in rng.integers(20, 80, 64)]
    told("64 seasons of changed fields, extremes", 64, lambda: run_seasons(site, changes))

    def framed(keep: Keep = "extremes") -> None:
        many = run_seasons(site, arrays=counts(number), keep=keep)
        rows = sum(len(frame) for frame in (many.limits, many.totals, many.deaths))
        print(f"{rows} rows in three frames;", end=" ")

    told(f"{number} seasons, extremes and their frames", number, framed)
    told(f"{number} seasons, one column more", number, lambda: framed(["tanks.oxygen_min_mg_l"]))


if __name__ == "__main__":
    given = [argument for argument in sys.argv[1:] if argument != "--quick"]
    main(int(given[0]) if given else (200 if "--quick" in sys.argv else 10_000))
