"""Plans against a greedy fill and the best of many random stockings, all judged by full seasons; asserts nothing.

Run: ``python tests/benchmarks/bench_plan_quality.py`` (``--quick`` does less, ``--random N`` tries so many). A random
stocking is feasible by the program's own check; of those only the ones whose full season holds count.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from random_sites import random_stockings, random_tables, thinned_until

from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.planner import greedy_stocking
from stocksim.answers.stock.problem import build_problem
from stocksim.answers.stock.program import score
from stocksim.answers.stock.seasons import build_program, first_courses, worst_margins
from stocksim.site.examples import FOLDER
from stocksim.site.reading import Site, load_site, site_from_tables
from stocksim.site.stocking_tables import StockingTable

SEEDS = range(1, 6)


def compared(name: str, site: Site, goal: str, number: int, margin: float) -> bool:
    """One line: the plan, a greedy fill, and the best random stocking; whether the plan is not beaten."""
    problem = build_problem(site)
    wishes = (site.file.stocking or StockingTable()).model_copy(update={"margin": margin})
    began = time.perf_counter()
    answer = plan_stocking(site, goal, wishes=wishes, problem=problem, refused=False)
    took = time.perf_counter() - began
    program = build_program(problem, wishes, first_courses(problem))
    # on the program before any season, and on the one that seasons have corrected; the better of the two counts
    fills = [thinned_until(problem, p, greedy_stocking(p, goal), worst_margins) for p in (program, answer.program)]
    greedy = max((fill for fill in fills if fill is not None), key=lambda s: score(program, goal, s), default=None)
    tried = random_stockings(program, number, seed=1)
    held = worst_margins(problem, tried) >= 0.0
    scores = [score(program, goal, stocking) for stocking, ok in zip(tried, held, strict=True) if ok]
    if answer.plan is None or answer.plan.stocking is None or answer.season is None:
        print(f"{name:26} no plan: {answer.contradiction} {[f.limit for f in answer.broken]}", flush=True)
        return False
    margins = [finding.margin_percent for finding in answer.season.findings if finding.margin_percent is not None]
    own = answer.plan.score
    best = max(scores, default=-np.inf)
    by_greed = score(program, goal, greedy) if greedy is not None else -np.inf
    is_best = own >= max(best, by_greed) - 1e-9
    print(
        f"{name:26} {own:9.2f} {by_greed:9.2f} {best:9.2f} {float(np.median(scores)) if scores else np.nan:9.2f} "
        f"{len(scores):6d} of {len(tried):5d} {100 * answer.plan.gap:6.1f} {answer.proven.rounds:6d} {took:6.1f} "
        f"{min(margins):7.2f}  {'best' if is_best else 'BEATEN'}",
        flush=True,
    )
    return is_best


def main() -> None:
    """Print the table."""
    quick = "--quick" in sys.argv
    number = int(sys.argv[sys.argv.index("--random") + 1]) if "--random" in sys.argv else (50 if quick else 1000)
    margin = float(sys.argv[sys.argv.index("--margin") + 1]) if "--margin" in sys.argv else 0.05
    goals = sys.argv[sys.argv.index("--goals") + 1].split(",") if "--goals" in sys.argv else ["edible"]
    print(f"scores: kilos of fillet less the price of feed outside the band, or as the goal says; margin {margin:g}")
    print(
        f"{'site':26} {'plan':>9} {'greedy':>9} {'random':>9} {'median':>9} {'held':>15} {'gap %':>6} {'rounds':>6} "
        f"{'s':>6} {'margin %':>8}"
    )
    sites = (
        {}
        if quick
        else {
            "demonstration": load_site(FOLDER / "heron_lane.toml"),
            "young demonstration": load_site(FOLDER / "heron_lane_young.toml"),
        }
    )
    sites |= {
        f"random {seed}": site_from_tables(random_tables(seed), Path()) for seed in list(SEEDS)[: 1 if quick else 5]
    }
    results = [
        compared(f"{name}, {goal}", replace(site), goal, number, margin)
        for goal in goals
        for name, site in sites.items()
    ]
    print(f"{sum(results)} of {len(results)} plans not beaten")


if __name__ == "__main__":
    main()
