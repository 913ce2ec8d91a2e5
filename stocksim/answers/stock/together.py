"""What a planned season puts together: who shares a tank, who is wild, and what is left to each limit in each tank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from stocksim.engine.results.company import (
    Pair,
    TankLoss,
    WildCohort,
    cohort_groups,
    eaten_fish,
    judge_pairs,
    wild_cohorts,
)
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.fish.company import VERDICTS
from stocksim.site.kinds import LIMITS

# what fish and feed move, so that a stocking decides it
FED_LIMITS = tuple(key for key, kind in LIMITS.items() if kind.moves_with_feed and not kind.is_advisory)


class Reserve(NamedTuple):
    """A tank's reserve on its worst day: to each limit that fish and feed move, and the least to any limit at all."""

    tank: str
    by_limit: dict[str, Finding]
    least: Finding


class Together(NamedTuple):
    """What a plan puts together.

    Parameters
    ----------
    season : Season
        Of the plan.
    pairs : tuple of Pair
        Batches that share a tank on any day, and each with itself.
    wild : tuple of WildCohort
        Wild-caught ones.
    losses : tuple of TankLoss
        Fish that tankmates eat.
    reserves : tuple of Reserve
        Of each tank with fish.
    """

    season: Season
    pairs: tuple[Pair, ...]
    wild: tuple[WildCohort, ...]
    losses: tuple[TankLoss, ...]
    reserves: tuple[Reserve, ...]


def put_together(season: Season, batch: Mapping[str, str] | None = None) -> Together:
    """Judge what a plan puts together by its full season.

    Parameters
    ----------
    season : Season
        Of the plan.
    batch : mapping of str to str, optional
        Of each cohort the name to tell it by: those of one name are one batch, in several tanks or harvested on
        several dates. By default each its own.

    Returns
    -------
    Together
        Pairs, wild fish and losses by batch.
    """
    names = {cohort: cohort for cohort in season.layout.cohorts} | dict(batch or {})
    groups = cohort_groups(season)
    pairs = judge_pairs(season, groups, is_now=True)
    return Together(
        season,
        _pairs_of_batches(pairs, names),
        _wild_of_batches(wild_cohorts(season.site, groups), names),
        tuple(_named_loss(loss, names) for loss in eaten_fish(season, pairs)),
        tank_reserves(season),
    )


def _pairs_of_batches(pairs: Sequence[Pair], names: Mapping[str, str]) -> tuple[Pair, ...]:
    """The gravest pair of every two batches, with all tanks that they share."""
    found: dict[tuple[str, str], Pair] = {}
    for pair in pairs:
        one, other = names[pair.a], names[pair.b]
        if pair.a != pair.b and one == other:  # one batch harvested on two dates
            continue
        grounds = tuple(g._replace(who=names.get(g.who, ""), whom=names.get(g.whom, "")) for g in pair.grounds)
        new = pair._replace(a=one, b=other, grounds=grounds)
        two = min(one, other), max(one, other)
        old = found.get(two, new)
        worse = max(old, new, key=_gravity)
        found[two] = worse._replace(tanks=tuple(dict.fromkeys([*old.tanks, *new.tanks])))
    return tuple(found.values())


def _gravity(pair: Pair) -> tuple[int, int]:
    return VERDICTS.index(pair.verdict), len(pair.grounds)


def _wild_of_batches(several: Sequence[WildCohort], names: Mapping[str, str]) -> tuple[WildCohort, ...]:
    found: dict[str, WildCohort] = {}
    for wild in several:
        name, one = names[wild.cohort], wild
        if (old := found.get(name)) is not None:
            tank = old.tank if wild.tank in old.tank.split(", ") else f"{old.tank}, {wild.tank}"
            one = old._replace(tank=tank, fish=old.fish + wild.fish)
        found[name] = one._replace(cohort=name)
    return tuple(found.values())


def _named_loss(loss: TankLoss, names: Mapping[str, str]) -> TankLoss:
    hunters = tuple(dict.fromkeys(names[hunter] for hunter in loss.hunters))
    return loss._replace(cohort=names[loss.cohort], hunters=hunters)


def tank_reserves(season: Season) -> tuple[Reserve, ...]:
    """Reserve of every tank that has fish, the limits of its loop and of its fish counted in.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    tuple of Reserve
        In the order of the tanks.
    """
    judged = [finding for finding in season.findings if finding.margin_percent is not None]
    found = []
    for tank, table in season.site.file.tanks.items():
        fish = {f"cohorts.{stay.cohort}" for stay in season.layout.stays if stay.table.tank == tank}
        places = {f"tanks.{tank}", f"loops.{table.loop}", *fish}
        here = [finding for finding in judged if finding.where in places]
        if fish and here:
            by_limit = {finding.limit: finding for finding in here if finding.limit in FED_LIMITS}
            found.append(Reserve(tank, by_limit, min(here, key=margin)))
    return tuple(found)


def margin(finding: Finding) -> float:
    """What is left to a limit, in percent of it; below 0 it is broken."""
    return finding.margin_percent or 0.0
