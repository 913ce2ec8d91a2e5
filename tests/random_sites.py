"""Random sites with a stocking table, and stockings to beat: greedy ones and random ones. All invented."""

from __future__ import annotations

import datetime as dt

import numpy as np

from stocksim.planning.program import Program, Stocking, broken, score
from stocksim.planning.stock_problem import Problem

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


class Filling:
    """A stocking being filled, with what each limit has left."""

    def __init__(self, program: Program, choice: np.ndarray):
        self.program, self.choice = program, choice
        self.fish = np.zeros((len(program.candidates), len(program.tanks)), int)
        self.spent = float(program.option_cost[choice].sum())
        weeks = program.weeks
        self.use = [
            np.zeros((len(program.loops) if limit.is_of_loop else len(program.tanks), weeks))
            for limit in program.limits
        ]
        self.bears = [np.full_like(use, np.inf) for use in self.use]

    def room(self, c: int, t: int) -> int:
        """Most fish of a candidate that a tank still takes by the program's own limits."""
        program = self.program
        loop = int(program.tank_loop[t])
        o = int(self.choice[loop])
        left = float(program.most[c] - self.fish[c].sum())
        there = np.flatnonzero(self.fish[:, t])
        if not program.allowed[o, c, t] or program.apart_in_tank[c, there].any():
            return 0
        if program.price[c] > 0.0:
            left = min(left, (program.budget - self.spent) / program.price[c])
        for limit, use, bears in zip(program.limits, self.use, self.bears, strict=True):
            load = limit.load[o, c]
            if limit.is_of_loop:
                bear = np.minimum(bears[loop], limit.capacity[o, c, 0])
                left = min(left, _most(bear - use[loop], load))
                continue
            for other in np.flatnonzero(program.tank_loop == loop):
                bear = np.minimum(bears[other], limit.capacity[o, c, t]) if other == t else bears[other]
                pull = (1.0 if other == t else 0.0) if limit.influence is None else limit.influence[o, other, t]
                left = min(left, _most(bear - use[other], load * pull))
        return max(int(np.floor(left + 1e-9)), 0)

    def add(self, c: int, t: int, number: int) -> None:
        """Put fish into a tank."""
        program = self.program
        loop = int(program.tank_loop[t])
        o = int(self.choice[loop])
        self.fish[c, t] += number
        self.spent += number * float(program.price[c])
        for limit, use, bears in zip(program.limits, self.use, self.bears, strict=True):
            load = number * limit.load[o, c]
            if limit.is_of_loop:
                use[loop] += load
                bears[loop] = np.minimum(bears[loop], limit.capacity[o, c, 0])
                continue
            bears[t] = np.minimum(bears[t], limit.capacity[o, c, t])
            for other in np.flatnonzero(program.tank_loop == loop):
                pull = (1.0 if other == t else 0.0) if limit.influence is None else limit.influence[o, other, t]
                use[other] += load * pull


def _most(left: np.ndarray, load: np.ndarray) -> float:
    if (left < -1e-9).any():
        return 0.0
    asks = load > 0.0
    return float((left[asks] / load[asks]).min()) if asks.any() else np.inf


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


def greedy_stocking(program: Program, goal: str) -> Stocking:
    """The fish that gains most for its share of the tightest limit, as many as fit, and so on: a keeper's fill."""
    choice = np.array([program.options_of(loop)[0] for loop in range(len(program.loops))], int)
    filling = Filling(program, choice)
    while True:
        base = score(program, goal, Stocking(filling.fish, choice))
        best, gain = None, 0.0
        for c, t in np.argwhere(program.allowed.any(axis=0)):
            room = filling.room(int(c), int(t))
            if room < program.minimum_batch[c]:
                continue
            fish = filling.fish.copy()
            fish[c, t] += room
            more = score(program, goal, Stocking(fish, choice)) - base
            worth = more / _tightest(filling, int(c), int(t), room)
            if more > 1e-9 and worth > gain:
                best, gain = (int(c), int(t), room), worth
        if best is None:
            return Stocking(filling.fish, choice)
        filling.add(*best)


def _tightest(filling: Filling, c: int, t: int, room: int) -> float:
    """Greatest share of any limit of its own place that so many fish of a candidate take."""
    program = filling.program
    loop = int(program.tank_loop[t])
    o = int(filling.choice[loop])
    shares = [1e-6]
    for limit in program.limits:
        place = 0 if limit.is_of_loop else t
        pull = 1.0 if limit.influence is None else limit.influence[o, t, t]
        capacity = limit.capacity[o, c, place]
        asks = np.isfinite(capacity) & (capacity > 0.0)
        shares.append(float((room * (limit.load[o, c] * pull)[asks] / capacity[asks]).max(initial=0.0)))
    return max(shares)


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
