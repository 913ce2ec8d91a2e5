"""Times of the engine as ratios to plain work measured in the same run; asserts nothing.

Run: ``python tests/benchmarks/bench_speed.py`` (``--quick`` repeats less and compiles nothing anew, for CI). All times
are of the processor, but where threads share the work; the unit is a fixed piece of plain numpy work, so that runs on
busy or other machines can be compared.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.arrays.tables import empty_course, empty_now, feed_tables, mornings, tables, with_scenarios
from stocksim.engine.days.day import seasons
from stocksim.engine.many_seasons import run_seasons
from stocksim.engine.running import run_season
from stocksim.engine.season import prepare
from stocksim.site.examples import FOLDER
from stocksim.site.reading import Site, load_site, site_from_tables


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


def plain_site(days: int, cohorts: int, tanks: int) -> Site:
    """A site of any size for the scaling: goldfish and carp at 18 degC in three loops, invented."""
    import datetime as dt

    start = dt.date(2026, 10, 1)
    loops = [f"loop{n}" for n in range(3)]
    water = {"kind": "constant", "value": "18 degC"}
    found: dict[str, Any] = {
        "site": {"name": "benchmark (invented)"},
        "season": {"start": start, "end": start + dt.timedelta(days=days - 1)},
        "loops": {
            loop: {"sump": "2000 L", "alkalinity_target": "80 mg/L", "water_temperature": water} for loop in loops
        },
        "beds": {f"bed_{loop}": {"loop": loop, "kind": "media", "area": "8 m2"} for loop in loops},
        "tanks": {
            f"tank{n}": {
                "loop": loops[n % 3], "volume": "1000 L", "flow": "1200 L/h",
                "oxygen_supply": {"kind": "diffuser", "power": "30 W"},
            }
            for n in range(tanks)
        },
        "cohorts": {
            f"fish{n}": {
                "species": ("goldfish", "common_carp")[n % 2], "tank": f"tank{n % tanks}", "count": 30,
                "mean_weight": "60 g", "feed": "carp_35",
            }
            for n in range(cohorts)
        },
    }  # fmt: skip
    return site_from_tables(found, Path("."))


def best_ms(run: Callable[[], object], repeats: int, clock: Callable[[], float] = time.process_time) -> float:
    """Shortest of some runs. [ms]"""
    times = []
    for _ in range(repeats):
        began = clock()
        run()
        times.append(1000.0 * (clock() - began))
    return min(times)


def unit_ms() -> float:
    """A fixed piece of plain numpy work. [ms]"""
    numbers = np.linspace(0.1, 5.0, 200_000)
    return best_ms(lambda: np.sqrt(np.exp(-numbers) + np.log(numbers) ** 2).sum(), 20)


def days_alone(layout: Layout, run: Callable[..., None] = seasons) -> Callable[[], None]:
    """The days of a season, and nothing around them, ready to run."""
    layout = with_scenarios(layout)
    given, _ = tables(layout)
    kept, now = empty_course(given, 1, len(layout.happenings)), empty_now(layout, given)
    happens, feeding = mornings(layout), feed_tables(layout)
    return lambda: run(given, happens, feeding, now, kept, 0, layout.days, True)


def exponent(sizes: Sequence[int], times: Sequence[float]) -> float:
    """Slope of log time over log size."""
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0])


def one_season(unit: float, repeats: int) -> None:
    """The compiled days against the plain ones and the unit."""
    print(f"\n{'one season':44} {'days ms':>9} {'units':>7} {'plain ms':>9} {'times':>6} {'all of run_season ms':>21}")
    demo = load_site(FOLDER / "heron_lane.toml")
    sites = {"heron_lane (243 d x 6 columns x 2 loops)": demo}
    for name, crowd, film in (("easy", 1.0, None), ("new films", 0.5, "new"), ("oxygen bites", 3.0, None)):
        sites[f"243 d x 8 cohorts x 3 loops, {name}"] = eight_cohorts_three_loops(crowd, film)
    for name, site in sites.items():
        layout = build_layout(site)
        mine = best_ms(days_alone(layout), 3 * repeats)
        plain = best_ms(days_alone(layout, seasons.py_func), 1)
        whole = best_ms(lambda site=site: run_season(site), repeats)  # type: ignore[misc]
        print(f"{name:44} {mine:9.2f} {mine / unit:7.2f} {plain:9.0f} {plain / mine:6.0f} {whole:21.1f}")


def many_seasons(unit: float, number: int) -> None:
    """Many seasons of which extremes are kept, in one thread and in two."""
    site = eight_cohorts_three_loops(1.0)
    layout = build_layout(site)
    counts = layout.count * np.random.default_rng(1).uniform(0.3, 1.2, (number, len(layout.cohorts)))
    share = 1e3 / (number * layout.days * len(layout.cohorts))
    print(f"\n{f'{number} seasons, extremes kept':44} {'CPU us':>9} {'units':>7} {'clock us':>9}  a cohort-day-season")
    clocks = []
    for threads in (1, 2):
        cpu, clock = time.process_time(), time.perf_counter()
        run_seasons(site, arrays={"count": counts}, threads=threads)
        cpu, clock = 1000.0 * (time.process_time() - cpu), 1000.0 * (time.perf_counter() - clock)
        clocks.append(clock)
        print(f"{f'{threads} threads':44} {cpu * share:9.2f} {cpu / number / unit:7.2f} {clock * share:9.2f}")
    print(f"two threads are {clocks[0] / clocks[1]:.2f} times as quick as one, of {os.cpu_count()} processors")


def scaling(repeats: int) -> None:
    """How the days' time grows with each size of a site, and that of many seasons with their number."""
    print("\ngrowth of time: exponent of size")
    for name, sizes, made in (
        ("days", (61, 122, 244, 488), lambda n: plain_site(n, 8, 8)),
        ("cohorts, 8 tanks", (4, 8, 16, 32), lambda n: plain_site(122, n, 8)),
        ("tanks, 8 cohorts", (8, 16, 32, 64), lambda n: plain_site(122, 8, n)),
    ):
        times = [best_ms(days_alone(build_layout(made(size))), 3 * repeats) for size in sizes]
        told = ", ".join(f"{size}: {ms:.2f} ms" for size, ms in zip(sizes, times, strict=True))
        print(f"{name:20} {exponent(sizes, times):5.2f}   {told}")
    site = plain_site(61, 8, 8)
    layout, sizes = build_layout(site), (64, 256, 1024)
    times = []
    for size in sizes:
        counts = {"count": layout.count * np.linspace(0.3, 1.2, size)[:, None]}
        times.append(best_ms(lambda counts=counts: run_seasons(site, arrays=counts, threads=1), 1))  # type: ignore[misc]
    told = ", ".join(f"{size}: {ms:.0f} ms" for size, ms in zip(sizes, times, strict=True))
    print(f"{'scenarios':20} {exponent(sizes, times):5.2f}   {told}")


def cold_start() -> None:
    """Compile the days anew, and load what that left, each in a process of its own."""
    words = (
        "import time; a = time.process_time(); from stocksim.engine.season import prepare; b = time.process_time();"
        "import llvmlite.binding; c = time.process_time(); prepare(); print(b - a, c - b, time.process_time() - c)"
    )
    print("\ncold start, CPU s: imports of the package, import of llvmlite, the days and their hours ready")
    with tempfile.TemporaryDirectory() as folder:
        for name in ("compiled", "loaded"):
            settings = os.environ | {"STOCKSIM_CACHE": folder}
            done = subprocess.run(
                [sys.executable, "-c", words], env=settings, check=True, stdout=subprocess.PIPE, text=True
            )
            print(f"{name:12}", *(f"{float(part):7.2f}" for part in done.stdout.split()))
        kept = sum(path.stat().st_size for path in Path(folder).rglob("*") if path.is_file())
        print(f"kept on disk: {kept / 1e6:.1f} MB")


def main(quick: bool) -> None:
    """Print the tables."""
    prepare()
    unit = unit_ms()
    print(f"unit of plain numpy work: {unit:.2f} ms")
    one_season(unit, 2 if quick else 10)
    many_seasons(unit, 100 if quick else 1000)
    scaling(1 if quick else 5)
    if not quick:
        cold_start()
    after = unit_ms()
    print(f"\nthe unit again: {after:.2f} ms; the machine's pace moved by {100.0 * math.log(after / unit):+.0f} %")


if __name__ == "__main__":
    main(quick="--quick" in sys.argv)
