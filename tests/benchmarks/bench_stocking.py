"""Time of the stocking planner on random sites, and how it grows; asserts nothing.

Run: ``python tests/benchmarks/bench_stocking.py`` (``--quick`` does less, for CI; ``--untouched`` takes the sites with
numbers 20 to 39, which nobody looked at while the solver was made; ``--whole`` times whole plans, seasons and all). The
sites are invented: loops at random temperatures, growth and loads of plausible size and shape. They test the solver,
not the biology.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
import time
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.program import Limit, Program, Wish, broken
from stocksim.answers.stock.solve import solve
from stocksim.site.reading import site_from_tables

GAP = 0.01
OFFERED = (
    ("nile_tilapia", "tilapia_34"), ("channel_catfish", "catfish_32"), ("bluegill", "sunfish_44"),
    ("common_carp", "carp_35"), ("yellow_perch", "perch_45"), ("rainbow_trout", "trout_44"),
    ("yellow_perch", "perch_45"), ("walleye", "perch_45"), ("goldfish", "carp_35"),
)  # fmt: skip
DENSITIES = (15.0, 20.0, 25.0, 30.0, 40.0)  # kg/m3, invented


def random_program(
    seed: int, candidates: int = 10, tanks: int = 8, weeks: int = 40, options_a_loop: int = 2
) -> Program:
    """A site of up to three loops with its candidates, all drawn from a seed."""
    rng = np.random.default_rng(seed)
    loops = int(rng.integers(1, min(3, tanks) + 1))
    tank_loop = np.sort(np.concatenate([np.arange(loops), rng.integers(0, loops, tanks - loops)]))
    option_loop = np.repeat(np.arange(loops), options_a_loop)
    options = len(option_loop)
    season = np.cos(np.linspace(-0.5 * np.pi, 1.5 * np.pi, weeks))[None]
    base = rng.uniform(10.0, 22.0, loops)[option_loop] + 4.0 * np.tile(np.arange(options_a_loop), loops)
    temperature = base[:, None] - rng.uniform(2.0, 6.0) * season  # (option, week)
    kinds = rng.integers(0, max(2, candidates * 2 // 3), candidates)
    optimum = rng.uniform(14.0, 28.0, kinds.max() + 1)[kinds]
    start = rng.uniform(10.0, 120.0, candidates)
    pace = np.exp(-(((temperature[:, None] - optimum[None, :, None]) / 8.0) ** 2))
    growth = 1.0 + 0.035 * rng.uniform(0.6, 1.4, candidates)[None, :, None] * pace
    weight = start[None, :, None] * np.cumprod(growth, axis=2)  # (option, candidate, week), g
    feed = 0.02 * weight**0.8 * pace * 1.5
    oxygen = 0.4 * feed + 0.002 * weight**0.8 * 1.08 ** (temperature[:, None] - 15.0)
    density = rng.choice(DENSITIES, kinds.max() + 1)[kinds]
    volume = rng.uniform(0.5, 4.0, tanks)
    toxic = rng.choice([0.4, 0.6, 1.0], kinds.max() + 1)[kinds]
    supply = rng.uniform(60.0, 160.0, tanks)[None, None, :, None] * volume[None, None, :, None]
    # water that a tank's neighbours have used comes back to it by the sump
    same = (tank_loop[:, None] == tank_loop)[None, :, :, None]
    influence = np.eye(tanks)[None, :, :, None] + same * rng.uniform(0.02, 0.15, (options, tanks, tanks, weeks))
    shape = (options, candidates, tanks, weeks)
    removal = rng.uniform(4.0, 9.0, loops)[option_loop][:, None] * 1.06 ** (temperature - 20.0)
    limits = (
        Limit(
            "density", "kg/m3", weight / 1000.0,
            np.broadcast_to((density[:, None] * volume)[None, :, :, None], shape).copy(),
        ),
        Limit(
            "oxygen", "g/day", 1.4 * oxygen,
            np.broadcast_to(supply * rng.uniform(0.7, 1.0, kinds.max() + 1)[kinds][None, :, None, None], shape).copy(),
            influence=influence,
        ),
        Limit("biofilter", "g/day", 0.035 * feed, (removal[:, None] * toxic[None, :, None])[:, :, None], True),
    )  # fmt: skip
    far = np.abs(temperature.mean(axis=1)[:, None] - optimum[None]) < 9.0
    apart = np.triu(rng.random((candidates, candidates)) < 0.3, 1)
    owned = np.where(rng.random(candidates) < 0.2, rng.integers(5, 40, candidates), 0)
    gain = (weight[:, :, -1] - start[None]) / 1000.0
    area = rng.uniform(0.5, 3.0, loops)[:, None] * np.ones((1, weeks))
    bought_kg = feed.sum(axis=2) * 7.0 / 1000.0
    return Program(
        candidates=tuple(f"candidate{n}" for n in range(candidates)), species=tuple(f"kind{k}" for k in kinds),
        tanks=tuple(f"tank{n}" for n in range(tanks)), loops=tuple(f"loop{n}" for n in range(loops)),
        options=tuple(f"option{n}" for n in range(options)), tank_loop=tank_loop, option_loop=option_loop, weeks=weeks,
        allowed=np.repeat(far[:, :, None], tanks, axis=2), limits=limits, edible_kg=0.5 * gain,
        cost=2.5 * bought_kg + rng.uniform(0.5, 3.0, candidates), least=np.zeros(candidates, int),
        most=np.where(owned > 0, owned, 400), owned=owned, minimum_batch=np.full(candidates, 5),
        thinned_kg=0.3 * start / 1000.0 * (owned > 0), price=rng.uniform(0.5, 3.0, candidates) * (owned == 0),
        budget=float(rng.uniform(300.0, 1200.0)), option_cost=np.tile(np.arange(options_a_loop) * 40.0, loops),
        apart_in_tank=apart | apart.T, apart_in_loop=np.zeros_like(apart), feed_g_day=feed, feed_low=60.0 * area,
        feed_high=100.0 * area, band_price={"edible": 0.01},
        wishes=(Wish("supper", float(rng.uniform(0.5, 2.0)), 0.5 * gain * (kinds == kinds[0])),)
        if far[:, 0].any() and rng.random() < 0.5 else (),
        species_most=5,
    )  # fmt: skip


def timed(seed: int, *size: int) -> tuple[float, float, str, float]:
    """Clock and processor time of one solve, its status and gap."""
    program = random_program(seed, *size)
    clock, processor = time.perf_counter(), time.process_time()
    plan = solve(program, "edible", GAP)
    if plan.stocking is not None and broken(program, plan.stocking):
        plan = plan._replace(status="BROKEN")
    return time.perf_counter() - clock, time.process_time() - processor, plan.status, plan.gap


def table(label: str, sites: Iterable[int], *size: int) -> None:
    """One line of the table."""
    runs = [timed(seed, *size) for seed in sites]
    clock, processor = (np.array([run[i] for run in runs]) for i in (0, 1))
    states = {state: sum(run[2] == state for run in runs) for state in sorted({run[2] for run in runs})}
    worst = max((run[3] for run in runs if np.isfinite(run[3])), default=float("nan"))
    print(
        f"{label:34} {np.median(clock):8.2f} {clock.max():8.2f} {np.median(processor):8.2f} {processor.max():8.2f}"
        f" {100.0 * worst:7.2f}  {', '.join(f'{number} {state}' for state, number in states.items())}",
        flush=True,
    )


def large_tables(loops: int, tanks: int, kinds: int, weeks: int, seed: int = 1) -> dict:
    """Tables of a site of cool and warm loops, tanks in turn, with fish to buy that may go anywhere."""
    rng, start = np.random.default_rng(seed), dt.date(2026, 10, 1)
    end = start + dt.timedelta(days=7 * weeks - 1)
    tables: dict = {
        "site": {"name": f"{tanks} tanks (invented)", "elevation": "200 m"}, "season": {"start": start, "end": end},
        "loops": {}, "tanks": {}, "beds": {}, "cohorts": {}, "stocking": {"goal": "edible", "candidates": {}},
    }  # fmt: skip
    for n in range(loops):
        tables["loops"][f"loop{n}"] = {
            "sump": "3000 L", "alkalinity_target": "80 mg/L", "biofilter_start": "mature",
            "water_temperature": {"kind": "constant", "value": f"{24 if n % 2 else 15} degC"},
        }  # fmt: skip
        tables["beds"][f"gravel{n}"] = {
            "loop": f"loop{n}", "kind": "media", "area": "12 m2", "depth": "30 cm", "media_size": "12 mm",
            "plantings": [{"crop": "lettuce", "from": start, "to": end}],
        }  # fmt: skip
    for n in range(tanks):
        tables["tanks"][f"tank{n}"] = {
            "loop": f"loop{n % loops}", "volume": f"{int(rng.integers(500, 2000))} L",
            "flow": f"{int(rng.integers(900, 2000))} L/h",
            "oxygen_supply": {"kind": "diffuser", "power": f"{int(rng.integers(15, 60))} W"},
        }  # fmt: skip
    for n in range(kinds - 1):
        species, feed = OFFERED[n % len(OFFERED)]
        tables["stocking"]["candidates"][f"offer{n}"] = {
            "species": species, "feed": feed, "mean_weight": f"{int(rng.integers(15, 120))} g",
            "price": round(float(rng.uniform(0.5, 4.0)), 2), "at_most": int(rng.integers(40, 250)),
        }  # fmt: skip
    tables["cohorts"]["own"] = {
        "species": "yellow_perch", "feed": "perch_45", "tank": "tank0", "count": 60, "mean_weight": "50 g",
    }  # fmt: skip
    return tables


def whole_plans() -> None:
    """Processor time of whole plans, reasons for fish left out among it, as sites grow."""
    print(f"{'loops, tanks, kinds, weeks':28} {'cpu s':>8} {'score':>8} {'gap %':>6}  status")
    for size in ((1, 3, 5, 20), (2, 6, 7, 30), (3, 12, 10, 40), (3, 20, 14, 52)):
        began = time.process_time()
        plan = plan_stocking(site_from_tables(large_tables(*size), Path()), refused=False)
        found, took = plan.plan, time.process_time() - began
        told = "no plan" if found is None else f"{found.score:8.2f} {100.0 * found.gap:6.1f}  {found.status}"
        print(f"{', '.join(map(str, size)):28} {took:8.1f} {told}", flush=True)


def main(quick: bool, is_untouched: bool = False) -> None:
    """Print the table."""
    if "--whole" in sys.argv:
        whole_plans()
        return
    print(f"gap asked {100 * GAP:g} %, {os.cpu_count()} cores; other work may run on them: see processor time")
    print(f"{'candidates x tanks x weeks':34} {'median s':>8} {'most':>8} {'cpu med':>8} {'most':>8} {'gap %':>7}")
    if quick:
        table("5 x 4 x 20, two options a loop", range(3), 5, 4, 20)
        return
    if is_untouched:
        table("10 x 8 x 40, two options a loop", range(20, 40), 10, 8, 40)
        return
    table("10 x 8 x 40, two options a loop", range(20), 10, 8, 40)
    table("10 x 8 x 40, one option a loop", range(20), 10, 8, 40, 1)
    for size in ((5, 4, 20), (5, 4, 40), (10, 4, 40), (10, 8, 20), (15, 12, 40)):
        table(" x ".join(map(str, size)) + ", two options a loop", range(5), *size)


if __name__ == "__main__":
    main("--quick" in sys.argv, "--untouched" in sys.argv)
