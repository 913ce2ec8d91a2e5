"""Plans that differ in kind side by side: all fish kept, most fillet, steadiest feed for the beds."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

from stocksim.answers.stock.balance import feed_balance
from stocksim.answers.stock.decide import GAP, StockingPlan, plan_stocking
from stocksim.answers.stock.keep import KeptPlan, keep_plan
from stocksim.answers.stock.less import given
from stocksim.answers.stock.milp import BRAKE_S
from stocksim.answers.stock.planner import Progress
from stocksim.engine.results.deaths import ledger
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.site.reading import Site

# of each kind the goals in their order
KINDS: dict[str, tuple[str, ...]] = {"keep": ("keep",), "edible": ("edible",), "steady": ("steady", "edible")}


class Kind(NamedTuple):
    """A plan of a kind.

    Parameters
    ----------
    name : str
        A key of `KINDS`.
    plan : KeptPlan, StockingPlan or None
        None where none can be sought.
    season : Season or None
        Its full season; None where no plan was found.
    why_none : str
        Why none can be sought, a sentence.
    beaten_by : str
        Kind whose plan is better by this one's own goal than what was found.
    """

    name: str
    plan: KeptPlan | StockingPlan | None
    season: Season | None
    why_none: str = ""
    beaten_by: str = ""


class Numbers(NamedTuple):
    """What a plan comes to by one count for all kinds.

    Parameters
    ----------
    fish, bought, left_out : int
        Fish in it; of them to buy; own fish that it has no place for.
    lived, fillet_kg : float
        Harvested, or alive at the season's end, and their fillet, whatever their size.
    weeks_in_band, weeks_asked : int
        Weeks, of all loops, in which feed is within the band of what is planted, and in which anything asks.
    """

    fish: int
    bought: int
    left_out: int
    lived: float
    fillet_kg: float
    weeks_in_band: int
    weeks_asked: int


def plans_beside(site: Site, brake_s: float = BRAKE_S, progress: Progress | None = None) -> tuple[Kind, ...]:
    """A plan of each kind.

    Parameters
    ----------
    site : Site
        A checked site.
    brake_s : float
        Emergency brake of each plan that places fish anew. [s]
    progress : callable, optional
        Called with (what is done, steps done, steps in all).

    Returns
    -------
    tuple of Kind
        In the order of `KINDS`. A search may end short of the best: a plan that one of another kind clearly beats by
        its own goal is not given.
    """
    kinds = [_kind(site, name, brake_s, progress) for name in KINDS]
    return tuple(_unless_beaten(kind, kinds) for kind in kinds)


def _unless_beaten(kind: Kind, kinds: Sequence[Kind]) -> Kind:
    if not isinstance(kind.plan, StockingPlan) or kind.season is None:
        return kind
    for other in kinds:
        if isinstance(other.plan, StockingPlan) and other.season is not None and _beats(other.plan, kind.plan):
            return kind._replace(plan=None, season=None, beaten_by=other.name)
    return kind


def _beats(other: StockingPlan, plan: StockingPlan) -> bool:
    """Whether a plan of another goal is better by this plan's own first goal, by more than the gap."""
    goal = plan.goals[0]
    one, two = plan.values[goal], other.values[goal]
    return two > one * (1.0 + GAP) if goal == "edible" else two < one * (1.0 - GAP)


def _kind(site: Site, name: str, brake_s: float, progress: Progress | None) -> Kind:
    if name == "keep":
        if not site.file.cohorts:
            return Kind(name, None, None, "There are no fish to keep yet.")
        kept = keep_plan(site, None if progress is None else partial(progress, "ways to keep all"))
        return Kind(name, kept, kept.lived)
    try:
        plan = plan_stocking(site, KINDS[name], brake_s, progress=progress, refused=False)
    except InputError as error:
        return Kind(name, None, None, " ".join(fault.message for fault in error.faults))
    return Kind(name, plan, plan.season if plan.plan is not None else None)


def numbers_of(kind: Kind) -> Numbers:
    """What a plan with a season comes to."""
    assert kind.season is not None
    season, site = kind.season, kind.season.site
    book = ledger(season.layout, season.course)
    fillet = sum(
        (entries["harvested"][1] + entries["at_end"][1])
        / 1000.0
        * site.species[site.cohorts[name].species].number("fillet_yield", 0.0)
        for name, entries in book.items()
    )
    weeks = [week for weeks in feed_balance(season).values() for week in weeks if week.asked_high_g > 0.0]
    in_band = sum(week.side == 0 for week in weeks)
    if isinstance(kind.plan, StockingPlan):
        fish = sum(p.fish for p in kind.plan.cohorts)
        own = sum(p.fish for p in kind.plan.cohorts if kind.plan.problem.is_own(p.candidate))
        bought, left_out = fish - own, int(kind.plan.problem.owned.sum()) - own
    else:
        fish, bought, left_out = round(sum(entries["stocked"][0] for entries in book.values())), 0, 0
    return Numbers(fish, bought, left_out, given(season).fish, fillet, in_band, len(weeks))
