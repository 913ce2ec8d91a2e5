"""Who of a season's fish may share a tank or a loop: its pairs, its loops, who is wild and who is eaten."""

from __future__ import annotations

from typing import NamedTuple

from stocksim.answers.tankmates.loops import LoopCompany, judge_loops
from stocksim.engine.results.company import (
    Pair,
    TankLoss,
    WildCohort,
    cohort_groups,
    eaten_fish,
    judge_pairs,
    wild_cohorts,
)
from stocksim.engine.results.frames import Season
from stocksim.heat.temperatures import water_c


class Company(NamedTuple):
    """Who may share a tank and a loop in a season."""

    season: Season
    cohorts: tuple[str, ...]
    pairs: tuple[Pair, ...]
    loops: tuple[LoopCompany, ...]
    wild: tuple[WildCohort, ...]
    losses: tuple[TankLoss, ...]


def judge_company(season: Season) -> Company:
    """Judge every pair of cohorts, every cohort within itself, and every two species that share a loop.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    Company
        Pairs in the order of the cohorts, each with itself first.
    """
    site, groups = season.site, cohort_groups(season)
    pairs = judge_pairs(season, groups)
    stays = [
        (group.cohort, group.species, group.days, group.tanks, group.weight_g) for group in groups if group.is_here
    ]
    return Company(
        season,
        tuple(group.cohort for group in groups),
        pairs,
        judge_loops(site, water_c(site), stays),
        wild_cohorts(site, groups),
        eaten_fish(season, pairs),
    )
