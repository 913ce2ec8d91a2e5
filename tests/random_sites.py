"""Random sites with a stocking table, and stockings to beat: greedy ones and random ones. All invented."""

from __future__ import annotations

import datetime as dt

import numpy as np

from stocksim.answers.stock.planner import Filling
from stocksim.answers.stock.problem import Problem
from stocksim.answers.stock.program import Program, Stocking, broken

START = dt.date(2026, 10, 1)
# species, feed, middle of the water it feeds well in [degC]; 14 and 24 make two kinds of house
COOL = (("rainbow_trout", "trout_44"), ("yellow_perch", "perch_45"), ("walleye", "perch_45"), ("goldfish", "carp_35"))
WARM = (
    ("nile_tilapia", "tilapia_34"), ("channel_catfish", "catfish_32"), ("bluegill", "sunfish_44"),
    ("common_carp", "carp_35"), ("yellow_perch", "perch_45"),
)  # fmt: skip


def random_tables(seed: int, days: int = 120) -> dict:
    """Tables of a site of one or two loops with fish to buy, drawn from a seed."""
    rng = np.random.default_rng(seed)
    tables: dict = {
        "site": {"name": f"random site {seed} (invented)", "elevation": f"{int(rng.integers(0, 900))} m"},
        "season": {"start": START, "end": START + dt.timedelta(days=days - 1)},
        "loops": {}, "tanks": {}, "beds": {}, "cohorts": {},
        "stocking": {"candidates": {}, "budget": int(rng.integers(150, 500))},
    }  # fmt: skip
    kinds: list[tuple[str, str]] = []
    for loop in range(int(rng.integers(1, 3))):
        is_warm = bool(rng.random() < 0.5)
        name = f"loop{loop}"
        water = float(rng.uniform(22.0, 26.0) if is_warm else rng.uniform(13.0, 17.0))
        tables["loops"][name] = {
            "sump": f"{int(rng.integers(500, 2500))} L", "alkalinity_target": "80 mg/L", "biofilter_start": "mature",
            "water_temperature": {"kind": "constant", "value": f"{water:.1f} degC"},
        }  # fmt: skip
        if rng.random() < 0.5:
            tables["loops"][name]["ph"] = round(float(rng.uniform(6.8, 7.4)), 1)
        tables["beds"][f"gravel{loop}"] = {
            "loop": name, "kind": "media", "area": f"{rng.uniform(1.5, 8.0):.1f} m2", "depth": "30 cm",
            "media_size": "12 mm",
            "plantings": [{"crop": "lettuce", "from": START, "to": tables["season"]["end"]}],
        }  # fmt: skip
        for tank in range(int(rng.integers(1, 4))):
            tables["tanks"][f"tank{loop}{tank}"] = {
                "loop": name, "volume": f"{int(rng.integers(500, 2000))} L",
                "flow": f"{int(rng.integers(600, 2000))} L/h",
                "oxygen_supply": {"kind": "diffuser", "power": f"{int(rng.integers(15, 60))} W"},
            }  # fmt: skip
        kinds += WARM if is_warm else COOL
    for number in range(int(rng.integers(3, 7))):
        species, feed = kinds[int(rng.integers(len(kinds)))]
        tables["stocking"]["candidates"][f"offer{number}"] = {
            "species": species, "feed": feed, "mean_weight": f"{int(rng.integers(15, 120))} g",
            "price": round(float(rng.uniform(0.5, 4.0)), 2), "at_most": int(rng.integers(40, 250)),
        }  # fmt: skip
    species, feed = kinds[0]
    tables["cohorts"]["own"] = {
        "species": species, "feed": feed, "tank": next(iter(tables["tanks"])), "count": int(rng.integers(20, 80)),
        "mean_weight": f"{int(rng.integers(20, 90))} g",
    }  # fmt: skip
    return tables


def random_stockings(program: Program, number: int, seed: int, tries: int = 20) -> list[Stocking]:
    """Random stockings that keep every condition of a program: tanks and fish in any order, filled by chance."""
    rng = np.random.default_rng(seed)
    cells = [(int(c), int(t)) for c, t in np.argwhere(program.allowed.any(axis=0))]
    found: list[Stocking] = []
    for _ in range(tries * number):
        if len(found) == number:
            break
        choice = np.array([rng.choice(program.options_of(loop)) for loop in range(len(program.loops))], int)
        filling, wanted = Filling(program, choice), rng.uniform(0.3, 1.0)
        for place in rng.permutation(len(cells)):
            c, t = cells[place]
            room = filling.room(c, t)
            if room >= program.minimum_batch[c] and rng.random() < wanted:
                # half of the time all that fits: the best random ones are full ones
                filling.add(c, t, room if rng.random() < 0.5 else int(rng.integers(program.minimum_batch[c], room + 1)))
        stocking = Stocking(filling.fish, choice)
        if not broken(program, stocking):
            found.append(stocking)
    return found


def thinned_until(problem: Problem, program: Program, stocking: Stocking, margins: object) -> Stocking | None:
    """A stocking with fewer and fewer fish until its season holds, two in a hundred at a time; None if never."""
    several = []
    for step in range(46):
        fish = np.floor(stocking.fish * (1.0 - 0.02 * step) + 1e-9).astype(int)
        fish = np.where(fish < program.minimum_batch[:, None], 0, fish)
        several.append(Stocking(fish, stocking.choice))
    held = margins(problem, several)  # type: ignore[operator]
    good = [s for s, margin in zip(several, held, strict=True) if margin >= 0.0 and not broken(program, s)]
    return good[0] if good else None
