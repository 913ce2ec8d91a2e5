"""Plans proved by full seasons: rounds of solving, running and correcting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_programs import TIGHT, small
from small_sites import build, one_tank

from stocksim.answers.stock.loads import Candidate, Option, candidate_layout, mean_of_weeks, unit_loads
from stocksim.answers.stock.program import Limit, broken
from stocksim.answers.stock.rounds import corrected, place_limits, prove_plan
from stocksim.answers.stock.solve import solve
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.results.findings import findings, limit_series, tank_extremes
from stocksim.engine.season import simulate
from stocksim.site.fish_tables import AppetiteRation

FED = AppetiteRation(kind="appetite", fraction=0.85)
CANDIDATES = [
    Candidate("tilapia", "nile_tilapia", 100.0, "tilapia_34", FED),
    Candidate("cats", "channel_catfish", 150.0, "catfish_32", FED),
]


class Planner:
    """What `prove_plan` needs of a site with one loop and one tank; remembers what was run."""

    def __init__(self, tables: dict):
        self.site = build(tables)
        self.options = [Option("main", "main", self.site.held_c["main"])]
        self.layouts = [candidate_layout(self.site, CANDIDATES, option) for option in self.options]
        self.loads = unit_loads(self.site, CANDIDATES, self.options)
        self.first = simulate(replace(self.layouts[0], count=np.full(2, 1e-3)))
        self.tables, self.runs = tables, []

    def program(self, courses, corrections):
        course = courses[0] or self.first
        limits = place_limits(self.layouts, [course], self.loads, is_film_mature=courses[0] is None)
        weight = self.loads.weight_g[:, :, -1] / 1000.0
        weeks = limits[0].load.shape[-1]
        return small(
            2, 1, weeks, candidates=("tilapia", "cats"), tanks=("one",), loops=("main",), most=np.full(2, 900),
            limits=corrected(limits, corrections, np.zeros(1, int)), edible_kg=0.4 * weight,
            minimum_batch=np.full(2, 5), feed_g_day=mean_of_weeks(self.loads.feed_g),
        )  # fmt: skip

    def run(self, stocking):
        tables = self.tables | {"cohorts": {}}
        for candidate, count in zip(CANDIDATES, stocking.fish[:, 0], strict=True):
            if count:
                tables["cohorts"][candidate.name] = {
                    "species": candidate.species, "tank": "one", "count": int(count), "feed": candidate.feed,
                    "mean_weight": f"{candidate.mean_weight_g} g", "ration": {"kind": "appetite", "fraction": 0.85},
                }  # fmt: skip
        layout = build_layout(build(tables))
        course = simulate(layout)
        self.runs.append((stocking, hard_limits_broken(layout, course)))
        return layout, course


def hard_limits_broken(layout, course) -> list[str]:
    every = limit_series(layout, course, tank_extremes(layout, course))
    return [f.limit for f in findings(layout, every) if f.is_broken]


@pytest.mark.parametrize(
    "changes",
    [
        {"bed_m2": 30.0, "power_w": 90.0, "ph": 7.0},  # room and air bind
        {"bed_m2": 1.0, "power_w": 90.0, "ph": 7.0},  # a small film binds
        {"bed_m2": 6.0, "power_w": 20.0, "ph": None},  # pH is computed and falls with the fish
        {"bed_m2": 6.0, "power_w": 60.0, "ph": 7.0, "biofilter_start": "new"},  # a new film: nitrite bites first
    ],
)
def test_a_proven_plan_holds_in_its_season(changes):
    planner = Planner(one_tank(days=60, alkalinity_target="100 mg/L", **changes))
    proven = prove_plan(planner.program, lambda program: solve(program, gap=TIGHT), planner.run, 1)
    assert proven.plan is not None
    assert proven.plan.stocking is not None, planner.runs
    assert not broken(proven.program, proven.plan.stocking)
    # run again from the site file, not from what the rounds remember
    layout, course = planner.run(proven.plan.stocking)
    assert hard_limits_broken(layout, course) == []
    assert proven.broken == ()
    assert proven.is_settled or proven.rounds == 8
    # and nothing much better held in any round
    held = [s for s, limits in planner.runs if not limits]
    worth = [float(planner.loads.weight_g[0, :, -1] @ s.fish[:, 0]) for s in held]
    assert max(worth) == pytest.approx(float(planner.loads.weight_g[0, :, -1] @ proven.plan.stocking.fish[:, 0]))


def test_a_plan_that_never_holds_is_not_given():
    """Tilapia must be kept, in water too cold for them; nothing told the program so, but the season does."""
    planner = Planner(one_tank(days=20, temperature_c=11.5, alkalinity_target="100 mg/L"))

    def solve_with_tilapia(program):
        return solve(replace(program, least=np.array([5, 0])), gap=TIGHT)

    proven = prove_plan(planner.program, solve_with_tilapia, planner.run, 1, rounds=3)
    assert len(planner.runs) == 3
    assert all("temperature_low" in limits for _, limits in planner.runs)
    assert (proven.plan, proven.layout, proven.course) == (None, None, None)
    assert "temperature_low" in {finding.limit for finding in proven.broken}
    assert not proven.is_settled


def test_corrections_scale_what_places_bear():
    ones = np.ones((2, 1, 2, 3))
    tank = Limit("density", "kg", np.zeros((2, 1, 3)), ones)
    loop = Limit("biofilter", "g/day", np.zeros((2, 1, 3)), ones[:, :, :1], is_of_loop=True)
    factors = {"density": np.array([[1.0, 0.5, 1.0], [1.0, 1.0, 0.25]]), "biofilter": np.array([[1.0] * 3, [0.5] * 3])}
    first, second = corrected([tank, loop], factors, np.array([1, 0]))
    assert first.capacity[0, 0].tolist() == factors["density"].tolist()
    assert second.capacity[:, 0, 0].tolist() == [[0.5] * 3, [1.0] * 3]
    assert corrected([tank], {}, np.zeros(2, int))[0] is tank
