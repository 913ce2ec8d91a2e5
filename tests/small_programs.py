"""Small stocking programs for tests. All invented."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import strategies as st

from stocksim.answers.stock.program import Limit, Program, Stocking, Wish

TIGHT = 1e-6  # relative gap asked of the solver where its optimum is compared; HiGHS' own tolerance on rows


def small(candidates: int, tanks: int, weeks: int = 1, /, **changes) -> Program:
    """A program in one loop without limits; every fish is worth a kilo, and any number up to 3 may go anywhere."""
    shape = (1, candidates, weeks)
    fields = {
        "candidates": tuple(f"fish{n}" for n in range(candidates)),
        "species": tuple(f"kind{n}" for n in range(candidates)),
        "tanks": tuple(f"tank{n}" for n in range(tanks)),
        "loops": ("main",),
        "options": ("main",),
        "tank_loop": np.zeros(tanks, int),
        "option_loop": np.zeros(1, int),
        "weeks": weeks,
        "allowed": np.ones((1, candidates, tanks), bool),
        "limits": (),
        "edible_kg": np.ones((1, candidates)),
        "cost": np.zeros((1, candidates)),
        "least": np.zeros(candidates, int),
        "most": np.full(candidates, 3),
        "owned": np.zeros(candidates, int),
        "minimum_batch": np.ones(candidates, int),
        "thinned_kg": np.zeros(candidates),
        "price": np.zeros(candidates),
        "budget": np.inf,
        "option_cost": np.zeros(1),
        "apart_in_tank": np.zeros((candidates, candidates), bool),
        "apart_in_loop": np.zeros((candidates, candidates), bool),
        "feed_g_day": np.zeros(shape),
        "feed_low": np.zeros((1, weeks)),
        "feed_high": np.full((1, weeks), np.inf),
    }
    return Program(**(fields | changes))


def every_stocking(program: Program):
    """All stockings of a small program, holding or not."""
    choices = itertools.product(*(program.options_of(loop) for loop in range(len(program.loops))))
    counts = itertools.product(
        *(range(int(program.most[c]) + 1) for c in range(len(program.candidates)) for _ in program.tanks)
    )
    shape = (len(program.candidates), len(program.tanks))
    for choice, count in itertools.product(list(choices), list(counts)):
        yield Stocking(np.array(count, int).reshape(shape), np.array(choice, int))


@st.composite
def programs(draw: st.DrawFn) -> Program:
    """Small programs with every kind of condition; quarters, so that ties and exact fits come."""
    tanks = draw(st.integers(1, 2))
    loops = draw(st.integers(1, tanks))
    candidates = draw(st.integers(1, 3 if tanks == 1 else 2))
    weeks = draw(st.integers(1, 3))
    option_loop = np.array([*range(loops), *draw(st.lists(st.integers(0, loops - 1), max_size=1))])
    options = len(option_loop)
    tank_loop = np.array([0, *([loops - 1] if tanks == 2 else [])])
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))

    def quarters(low: int, high: int, *shape: int) -> np.ndarray:
        return rng.integers(low, high, shape) / 4.0

    def pairs() -> np.ndarray:
        upper = np.triu(rng.random((candidates, candidates)) < 0.25, 1)
        return upper | upper.T

    shape = (options, candidates, weeks)
    limits = [
        Limit("density", "kg", quarters(0, 6, *shape), quarters(4, 16, options, candidates, tanks, weeks)),
        Limit("biofilter", "g/day", quarters(0, 6, *shape), quarters(6, 24, options, candidates, 1, weeks), True),
        Limit(
            "oxygen", "mg/L", quarters(0, 6, *shape), quarters(4, 16, options, candidates, tanks, weeks),
            influence=quarters(0, 3, options, tanks, tanks, weeks),
        ),
    ]  # fmt: skip
    limits = [limit for limit in limits if draw(st.booleans())]
    owned = rng.integers(0, 3, candidates) * draw(st.integers(0, 1))
    most = np.where(owned > 0, owned, rng.integers(1, 4, candidates))
    wishes = [Wish("dinner", draw(st.integers(1, 6)) / 2.0, quarters(0, 5, options, candidates))]
    kinds = [f"kind{n % 2}" for n in range(candidates)]
    return small(
        candidates, tanks, weeks,
        species=tuple(kinds), loops=tuple(f"loop{n}" for n in range(loops)),
        options=tuple(f"option{n}" for n in range(options)), tank_loop=tank_loop, option_loop=option_loop,
        allowed=rng.random((options, candidates, tanks)) < 0.85, limits=tuple(limits),
        edible_kg=rng.random((options, candidates)).round(2), cost=rng.random((options, candidates)).round(2),
        least=np.where(owned > 0, rng.integers(0, 2, candidates), 0), most=most, owned=owned,
        minimum_batch=rng.integers(1, 3, candidates), thinned_kg=rng.random(candidates).round(2) * (owned > 0),
        price=quarters(0, 5, candidates), budget=draw(st.sampled_from([np.inf, 4.0, 8.0])),
        option_cost=quarters(0, 5, options), apart_in_tank=pairs(), apart_in_loop=pairs() & draw(st.booleans()),
        feed_g_day=quarters(0, 9, *shape), feed_low=quarters(0, 12, loops, weeks),
        feed_high=quarters(12, 24, loops, weeks),
        band_price=draw(st.sampled_from([{}, {"edible": 20.0, "cost": 30.0}])),
        wishes=tuple(wishes[: draw(st.integers(0, 1))]),
        species_least=draw(st.integers(0, 1)), species_most=draw(st.sampled_from([1, 9])),
    )  # fmt: skip


def crowded(room_kg: float = 10.0, **changes) -> Program:
    """Perch (1 kg, worth 0.5), bass (2 kg, worth 1.4) and trout (no tank cool enough) for one tank."""
    load = np.array([1.0, 2.0, 1.0])[None, :, None]
    fields = {
        "candidates": ("perch", "bass", "trout"), "species": ("perch", "bass", "trout"), "tanks": ("cedar",),
        "limits": (Limit("density", "kg/m3", load, np.full((1, 3, 1, 1), room_kg)),),
        "edible_kg": np.array([[0.5, 1.4, 0.9]]), "most": np.full(3, 50),
        "allowed": np.array([True, True, False]).reshape(1, 3, 1), "price": np.array([1.0, 3.0, 1.0]),
    }  # fmt: skip
    return small(3, 1, **(fields | changes))
