"""Speed of the heat balance: a year of 3 loops and 12 tanks by the hour, and the same functions run by plain Python.

`python tests/benchmarks/bench_heat.py`; ratios in one run, in seconds of the processor; nothing asserts a time.
"""

from __future__ import annotations

import copy
import time
import tomllib
from collections.abc import Callable

import numpy as np

from stocksim.climate import network
from stocksim.climate.weather import HOURS
from stocksim.heat.hourly import run_plan
from stocksim.heat.plan import HeatPlan, build_heat_plan
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import site_from_tables
from stocksim.site.weather import SiteWeather, site_weather

PLAIN_DAYS = 8


def tables_of(loops: int, tanks: int) -> dict:
    """The computed example over a year, with further loops and tanks until there are so many."""
    tables = tomllib.loads(example_text("heron_lane_computed"))
    names = list(tables["loops"])
    for number in range(len(names), loops):
        names.append(f"more_{number}")
        tables["loops"][names[-1]] = copy.deepcopy(tables["loops"]["main"])
        tables["beds"][f"gravel_{number}"] = {"loop": names[-1], "kind": "media", "area": "4 m2"}
    for number in range(len(tables["tanks"]), tanks):
        loop = names[number % len(names)]
        tables["tanks"][f"more_{number}"] = {"loop": loop, "volume": "800 L", "flow": "1000 L/h"}
    return tables


def best_of(times: int, work: Callable[[], object]) -> float:
    """Least processor seconds of some runs."""
    found = []
    for _ in range(times):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def a_year(weather: SiteWeather, days: int) -> SiteWeather:
    """The season's weather over and over until it lasts so many days."""

    def longer(series: np.ndarray, width: int) -> np.ndarray:
        return np.resize(series, width)

    hours = weather.hours
    wide = hours._replace(
        air_c=longer(hours.air_c, days * HOURS),
        sun_w_m2=longer(hours.sun_w_m2, days * HOURS),
        dew_c=longer(hours.dew_c, days),
    )
    return SiteWeather(**{**vars(weather), "hours": wide, "night": longer(weather.night, days * HOURS)})


def seconds(plan: HeatPlan, weather: SiteWeather, days: int) -> float:
    """Of one run with every hour kept and no days before it."""
    wide = a_year(weather, days)
    return best_of(3, lambda: run_plan(plan, wide, spin_up_days=1))


def main() -> None:
    """Print seconds, and ratios to plain Python and among sizes."""
    site = site_from_tables(tables_of(3, 12), FOLDER)
    weather = site_weather(site.file, site.folder)
    plan = build_heat_plan(site.file, {})
    start = time.process_time()
    run_plan(plan, weather)
    print(f"first run, compiled or read from the disk: {time.process_time() - start:.2f} s")
    year = seconds(plan, weather, 366)
    print(
        f"{len(site.file.loops)} loops, {len(site.file.tanks)} tanks, {len(plan.nodes)} nodes, 366 days: {year:.4f} s"
    )

    short = seconds(plan, weather, PLAIN_DAYS)
    machine, network._seasons = network._seasons, network._seasons.py_func  # type: ignore[assignment]
    plain = seconds(plan, weather, PLAIN_DAYS)
    network._seasons = machine
    print(f"{PLAIN_DAYS} days by plain Python take {plain / short:.0f} times as long")

    twice = seconds(plan, weather, 732)
    print(f"scaling: days to the power of {np.log2(twice / year):.2f}", end="")
    small_site = site_from_tables(tables_of(2, 5), FOLDER)
    small = build_heat_plan(small_site.file, {})
    power = np.log(year / seconds(small, weather, 366)) / np.log(len(plan.nodes) / len(small.nodes))
    print(f", nodes to the power of {power:.2f} ({len(small.nodes)} to {len(plan.nodes)})")


if __name__ == "__main__":
    main()
