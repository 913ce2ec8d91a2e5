"""Ratios of the engine's time to plain references measured in the same run; asserts nothing.

Run: ``python tests/benchmarks/bench_speed.py`` (``--quick`` repeats less, for CI).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from stocksim.engine.layout import build_layout
from stocksim.engine.season import simulate
from stocksim.site.reading import Site, site_from_tables


def eight_cohorts_three_loops(crowd: float, film: str | None = None) -> Site:
    """243 days, 8 cohorts, 3 loops with their whole water, invented.

    ``crowd`` scales the fish: 1 is easy, 3 makes oxygen bite. ``film`` is how the films start: a new one makes nitrogen
    move, and such days are done in steps.
    """
    import datetime as dt

    start, end = dt.date(2026, 10, 1), dt.date(2027, 5, 31)
    stock = [
        ("yellow_perch", "perch_45", 0), ("bluegill", "sunfish_44", 0), ("rainbow_trout", "trout_44", 0),
        ("largemouth_bass", "bass_46", 1), ("common_carp", "carp_35", 1), ("goldfish", "carp_35", 1),
        ("nile_tilapia", "tilapia_34", 2), ("channel_catfish", "catfish_32", 2),
    ]  # fmt: skip
    water = ["13 degC", "18 degC", "26 degC"]
    tables: dict[str, Any] = {
        "site": {"name": "benchmark (invented)"},
        "season": {"start": start, "end": end},
        "loops": {
            f"loop{n}": {
                "sump": "2000 L", "alkalinity_target": "80 mg/L",
                "water_temperature": {"kind": "constant", "value": text},
            }
            for n, text in enumerate(water)
        },
        "tanks": {},
        "settlers": {f"settler{n}": {"loop": f"loop{n}", "kind": "swirl"} for n in range(3)},
        "beds": {
            f"bed{n}": {
                "loop": f"loop{n}", "kind": "media", "area": "8 m2",
                "plantings": [{"crop": "kale", "from": start, "to": end}],
            }
            for n in range(3)
        },
        "cohorts": {},
    }  # fmt: skip
    if film is not None:
        for loop_table in tables["loops"].values():
            loop_table["biofilter_start"] = film
    for number, (species, feed, loop) in enumerate(stock):
        tables["tanks"][f"tank{number}"] = {
            "loop": f"loop{loop}", "volume": "1000 L", "flow": "1200 L/h",
            "oxygen_supply": {"kind": "diffuser", "power": "30 W"},
        }  # fmt: skip
        tables["cohorts"][f"fish{number}"] = {
            "species": species, "tank": f"tank{number}", "count": int(60 * crowd), "mean_weight": "60 g", "feed": feed,
        }  # fmt: skip
    return site_from_tables(tables, Path("."))


def best_ms(run: Callable[[], object], repeats: int) -> float:
    """Shortest of some runs. [ms]"""
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        run()
        times.append(1000.0 * (time.perf_counter() - began))
    return min(times)


def main(quick: bool) -> None:
    """Print the table."""
    import oracle

    repeats = 3 if quick else 15
    rows = []
    kinds = [("easy", 1.0, None), ("new films", 0.5, "new"), ("oxygen bites", 3.0, None)]
    # the plain loops take a quarter of a minute where oxygen bites
    for name, crowd, start in kinds[:2] if quick else kinds:
        site = eight_cohorts_three_loops(crowd, start)
        layout = build_layout(site)
        simulate(layout)
        mine = best_ms(lambda layout=layout: simulate(layout), repeats)
        plain = best_ms(lambda site=site: oracle.run(site), 1)
        rows.append((f"season, 243 d x 8 cohorts x 3 loops, {name}", mine, "plain Python loops", plain))
    scenarios = 100 if quick else 1000
    layout = build_layout(eight_cohorts_three_loops(1.0))
    counts = layout.count * np.linspace(0.5, 1.0, scenarios)[:, None]
    many = best_ms(lambda: simulate(replace(layout, count=counts)), 1)
    rows.append((f"{scenarios} seasons at once, each", many / scenarios, "one season alone", rows[0][1]))
    print(f"{'what':52} {'ms':>9}  {'reference':22} {'ms':>9} {'ratio':>8}")
    for what, mine, reference, theirs in rows:
        print(f"{what:52} {mine:9.2f}  {reference:22} {theirs:9.1f} {mine / theirs:8.4f}")


if __name__ == "__main__":
    main(quick="--quick" in sys.argv)
