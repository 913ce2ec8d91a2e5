"""Speed of the heat balance: a season of 3 loops and 12 tanks, and the same hours as one bare product each.

`python tests/benchmarks/bench_heat.py`; nothing asserts a time.
"""

from __future__ import annotations

import copy
import time
import tomllib

import numpy as np

from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import site_from_tables
from stocksim.site.warm_plan import build_heat_plan
from stocksim.site.warmth import run_plan, site_weather


def three_loops() -> dict:
    """The computed example with a third loop and twelve tanks."""
    tables = tomllib.loads(example_text("heron_lane_computed"))
    tables["loops"]["third"] = copy.deepcopy(tables["loops"]["main"])
    for number in range(7):
        loop = ("main", "warm", "third")[number % 3]
        tables["tanks"][f"more_{number}"] = {"loop": loop, "volume": "800 L", "flow": "1000 L/h"}
    tables["beds"]["third_gravel"] = {"loop": "third", "kind": "media", "area": "4 m2"}
    return tables


def best_of(times: int, work) -> float:
    """Least seconds of some runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def main() -> None:
    """Print seconds and the ratio to the yardstick."""
    site = site_from_tables(three_loops(), FOLDER)
    weather = site_weather(site.file, site.folder)
    plan = build_heat_plan(site.file, {})
    matrix, state = np.random.default_rng(1).random((len(plan.nodes),) * 2) / len(plan.nodes), np.ones(len(plan.nodes))

    def yardstick() -> None:
        here = state
        for _ in range(24 * site.days):
            here = matrix @ here

    season, bare = best_of(3, lambda: run_plan(plan, weather)), best_of(3, yardstick)
    print(f"{len(site.file.loops)} loops, {len(site.file.tanks)} tanks, {len(plan.nodes)} nodes, {site.days} days")
    print(f"heat by the hour {season:.2f} s, {season / bare:.0f} times one bare product an hour")


if __name__ == "__main__":
    main()
