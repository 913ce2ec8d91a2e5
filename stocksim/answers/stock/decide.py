"""The stocking planner: what it is asked, checks of the wish, the plan, and goals weighed against each other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from stocksim.answers.stock.milp import BRAKE_S, Work
from stocksim.answers.stock.planner import Part, Planner, Progress, joined, planned_parts
from stocksim.answers.stock.problem import Misfit, Problem, build_problem
from stocksim.answers.stock.program import Program, goal_value, score
from stocksim.answers.stock.reasons import (
    Binding,
    Refusal,
    Relaxation,
    Worth,
    binding_limits,
    contradiction,
    refusals,
    smallest_relaxation,
    worth_of_more,
)
from stocksim.answers.stock.rounds import Proven
from stocksim.answers.stock.seasons import Placed, live_per_fish, placed, planned_tables, weight_on, worst_margins
from stocksim.answers.stock.solve import Compromise, Plan, trade_off
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.engine.running import run_season
from stocksim.errors import Fault, InputError
from stocksim.site.reading import Site, site_from_tables
from stocksim.site.stocking_tables import StockingTable
from stocksim.units import format_date, format_quantity


def impossible_wishes(problem: Problem, wishes: StockingTable, goals: Sequence[str]) -> list[Fault]:
    """Faults of wishes against the water, the numbers and the beds.

    Parameters
    ----------
    problem : Problem
        The problem.
    wishes : StockingTable
        The keeper's.
    goals : sequence of str
        In their order.

    Returns
    -------
    list of Fault
        One sentence each, with the two that contradict.
    """
    name, faults = problem.site.name, []
    if not problem.allowed.any():
        return [Fault("stocking", "", _nobody_fits(problem), name)]
    if "steady" in goals and not (np.isfinite(problem.feed_high).any() and problem.feed_low.max(initial=0.0) > 0.0):
        message = (
            '"steady" contradicts the beds: nothing planted wants feed, so the steadiest feed is none; plant a bed.'
        )
        faults.append(Fault("stocking", "goal", message, name))
    demands = problem.least.any() or wishes.harvest_wishes or wishes.species_at_least or "keep" in goals
    if goals[0] == "cost" and not demands:
        message = (
            '"cost" as the first goal contradicts wishing for nothing: the cheapest house is an empty one; wish for a '
            "harvest, a number of species or at_least, or put another goal first."
        )
        faults.append(Fault("stocking", "goal", message, name))
    unpriced = not problem.price.any() and not problem.option_cost.any() and not wishes.feed_price
    if goals[0] == "cost" and unpriced:
        message = (
            '"cost" contradicts the prices: nothing has one, so every plan costs nothing; write the price of fish, of '
            "feed (feed_price) or of set points (cost), or put another goal first."
        )
        faults.append(Fault("stocking", "goal", message, name))
    return faults + _harvest_faults(problem, wishes)


_SURELY = 0.98  # of what grows alone in good water: a size to wish for that rounding does not put out of reach (ours)


def _harvest_faults(problem: Problem, wishes: StockingTable) -> list[Fault]:
    """Harvests wished that all fish offered would not make in the best water there is, each with the nearest wish."""
    faults, units = [], problem.site.file.site.units
    lives = problem.allowed.any(axis=2)
    for number, wish in enumerate(wishes.harvest_wishes, 1):
        title = next((e.title for e in problem.entries if e.name == wish.species), wish.species)
        of_size = wish.each_at_least
        heaviest = float((weight_on(problem, wish) * lives).max(initial=0.0))
        possible = (live_per_fish(problem, wish) * lives).max(axis=0, initial=0.0) @ problem.most
        if of_size is not None and heaviest < of_size:
            field, few = "each_at_least", (of_size, heaviest, _SURELY * heaviest)
            wanted, most, near = (format_quantity(grams, "weight", units) for grams in few)
            message = (
                f"{wanted} contradicts growth: in the best water there is the heaviest {title} weigh {most} each on "
                f"{wish.by}; wish for {near} or less, give a later day or offer larger fish."
            )
        elif possible * 1000.0 < wish.weight:
            field = "weight"
            wanted, most = (format_quantity(kg, "mass", units) for kg in (wish.weight / 1000.0, float(possible)))
            size = "" if of_size is None else f" in fish of {format_quantity(of_size, 'weight', units)} or more"
            message = (
                f"{wanted} of {title}{size} by {wish.by} contradicts the numbers offered: all that may be had, in the "
                f"best water there is, weigh {most} by then; offer more or wish for less."
            )
        else:
            continue
        faults.append(Fault("stocking", f"harvest_wishes[{number}].{field}", message, problem.site.name))
    return faults


def _nobody_fits(problem: Problem) -> str:
    """One sentence on the water against the fish, with the candidate that comes nearest."""
    units = problem.site.file.site.units
    several = [(misfit, c) for (_, c), misfit in problem.misfits.items() if misfit.kind != "too_sudden"]
    if not several:
        return "no tank may hold any candidate; give them other tanks, or grade fish that would eat each other."
    misfit, c = min(several, key=lambda pair: abs(pair[0].value - pair[0].bound))
    return (
        f"the water contradicts the fish: no tank suits any candidate; the nearest is {problem.candidates[c].name}, "
        f"for which {misfit_words(problem, misfit, units)}; heat the water or offer other fish."
    )


def misfit_words(problem: Problem, misfit: Misfit, units: str) -> str:
    """What a candidate does not bear of an option's water, as ``main is too cold: down to 9.0 degC (...)``."""
    option = next(option for option in problem.options if option.name == misfit.option)
    where = f"loop {misfit.option}" if option.name == option.loop else f'loop {option.loop} kept as "{option.name}"'
    day = problem.site.file.season.start + dt.timedelta(days=misfit.day)
    kind = "temperature_difference" if misfit.kind == "too_sudden" else "temperature"
    value, bound = (format_quantity(number, kind, units) for number in (misfit.value, misfit.bound))
    when = f"from {format_date(day)}"
    if misfit.kind == "too_cold":
        return f"{where} is too cold, down to {value} ({when}; it needs {bound})"
    if misfit.kind == "too_warm":
        return f"{where} is too warm, up to {value} ({when}; it tolerates {bound})"
    return f"{where} changes too fast, {value} in a day ({when}; it tolerates {bound})"


# --- the stocking planner: which fish, which tank, how many, proved by a full season, with reasons

GAP = 0.01


@dataclass(frozen=True)
class StockingPlan:
    """The planner's answer.

    Parameters
    ----------
    problem : Problem
        What there was to choose from.
    wishes : StockingTable
        What was wished.
    goals : tuple of str
        In their order.
    program : Program
        The last program, with what full seasons corrected.
    plan : Plan or None
        The solver's plan by the first goal; None where none held.
    cohorts : tuple of Placed
        Its fish.
    tables : dict
        Tables of the planned site file; empty without a plan.
    season : Season or None
        The full season of those tables, the proof.
    values : dict of str to float
        Every goal's own number.
    binding : tuple of Binding
        Limits with no room for one more fish.
    worths : tuple of Worth
        What more of them would bring, where asked.
    refused : tuple of Refusal
        Why candidates are left out.
    relaxation : Relaxation or None
        What must give, where the wishes cannot be met.
    relaxation_held : bool or None
        Whether the full season of that change held; None where it was not run, as where a limit itself gives way.
    contradiction : tuple of str
        A smallest set of conditions that cannot hold together.
    broken : tuple of Finding
        Limits that the tried plans broke in the full season, where none held.
    proven : Proven
        Rounds, and by how much program and season differ.
    is_finished : bool
        False where the emergency brake was pulled: then a better plan may be left, and reasons are missing.
    """

    problem: Problem
    wishes: StockingTable
    goals: tuple[str, ...]
    program: Program
    plan: Plan | None
    cohorts: tuple[Placed, ...]
    tables: dict[str, Any]
    season: Season | None
    values: dict[str, float]
    binding: tuple[Binding, ...]
    worths: tuple[Worth, ...]
    refused: tuple[Refusal, ...]
    relaxation: Relaxation | None
    contradiction: tuple[str, ...]
    broken: tuple[Finding, ...]
    proven: Proven
    is_finished: bool
    notes: tuple[str, ...] = field(default=())
    relaxation_held: bool | None = None

    @property
    def is_proven_impossible(self) -> bool:
        """Whether no plan is possible by the program alone, before any season that failed took something off it."""
        last = self.proven.plan
        return self.plan is None and last is not None and last.status == "infeasible" and not self.broken


def plan_stocking(
    site: Site,
    goal: str | Sequence[str] | None = None,
    brake_s: float = BRAKE_S,
    reasons: bool = False,
    progress: Progress | None = None,
    wishes: StockingTable | None = None,
    problem: Problem | None = None,
    refused: bool = True,
    gap: float = GAP,
) -> StockingPlan:
    """Best stocking of a site that holds every hard limit in its full season.

    Parameters
    ----------
    site : Site
        A checked site; its ``stocking`` table holds candidates and wishes. Without one the site's own fish are
        placed anew for most edible kilos.
    goal : str or sequence of str, optional
        ``edible``, ``steady``, ``cost``, ``keep``, or several in their order; by default the table's.
    brake_s : float
        Emergency brake: where it is pulled the answer is the best plan so far, and says that it is not finished. All
        else is counted, so that the same site gives the same plan on any machine. [s]
    reasons : bool
        Whether to solve again for the worth of more of each binding limit.
    progress : callable, optional
        Called with (what is done, steps done, steps in all).
    wishes : StockingTable, optional
        Instead of the site's own, as changed by sliders; its candidates must be those of the problem.
    problem : Problem, optional
        Of `build_problem` for the same site, to save its time.
    refused : bool
        Whether to solve again for the reason of each candidate left out.
    gap : float
        Share of the first goal that may be left open. [-]

    Returns
    -------
    StockingPlan
        ``plan`` is None where the wishes cannot be met; ``relaxation`` then tells what must give.

    Raises
    ------
    InputError
        For wishes that no stocking could meet on their face, as no tank warm enough for any candidate.
    """
    from stocksim.site.stocking_tables import read_goals

    work = Work(brake_s=brake_s)
    wishes = wishes or site.file.stocking or StockingTable()
    try:
        goals = wishes.goal if goal is None else read_goals(goal if isinstance(goal, str) else ",".join(goal))
    except ValueError as error:
        raise InputError(f"goal: {error}") from None
    problem = problem or build_problem(site)
    faults = impossible_wishes(problem, wishes, goals)
    if faults:
        raise InputError(faults)
    parts = planned_parts(problem, wishes, goals, work, gap, progress)
    problem = parts[0].planner.problem  # with the dates of harvest that the plan uses
    program, proven = joined(parts)
    base = StockingPlan(
        problem, wishes, tuple(goals), program, None, (), {}, None, {}, (), (), (), None, (), proven.broken, proven,
        True, problem.notes,
    )  # fmt: skip
    plan = proven.plan
    if plan is None or plan.stocking is None:
        answer = _without_plan(parts, base)
    else:
        answer = _with_plan(parts, base, plan, reasons, refused)
    return replace(answer, is_finished=not work.is_pulled)


def _with_plan(parts: Sequence[Part], base: StockingPlan, plan: Plan, reasons: bool, refused: bool) -> StockingPlan:
    """The answer for a plan that held: its file run as a keeper would run it, what binds, who is left out."""
    problem, program, stocking = base.problem, base.program, plan.stocking
    assert stocking is not None
    cohorts = tuple(placed(problem, stocking.fish))
    tables = planned_tables(problem, cohorts, stocking.choice)
    season = run_season(site_from_tables(tables, problem.site.folder, problem.site.name, problem.site))
    over = tuple(finding for finding in season.findings if finding.is_broken)
    if over:  # the file and the rounds run the same engine on the same numbers; should they ever differ, say so
        return replace(base, broken=over, season=season)
    binding = tuple(binding_limits(program, stocking))
    left_out: tuple[Refusal, ...] = ()
    worths: tuple[Worth, ...] = ()
    for part in parts:
        planner, own, found = part.planner, part.proven.program, part.proven.plan
        assert own is not None
        assert found is not None
        assert found.stocking is not None
        if refused:
            told = planner.counter("reasons for fish left out")
            left_out += tuple(refusals(own, found, planner.gap, planner.work, told))
        if reasons:
            told = planner.counter("worth of more")
            here = [item for item in binding if item in binding_limits(own, found.stocking)]
            worths += tuple(worth_of_more(own, found, here, 0.1, GAP, planner.work, told))
    values = {goal: goal_value(program, goal, stocking) for goal in ("edible", "steady", "cost")}
    return replace(
        base, plan=plan, cohorts=cohorts, tables=tables, season=season, values=values, binding=binding,
        worths=worths, refused=left_out,
    )  # fmt: skip


def _without_plan(parts: Sequence[Part], base: StockingPlan) -> StockingPlan:
    """The answer where no plan held: what must give in every part, and which conditions cannot hold together."""
    found: list[tuple[Relaxation, tuple[str, ...], tuple[Refusal, ...]]] = []
    for planner, proven in parts:
        program = proven.program or planner.latest
        if proven.plan is None or proven.plan.status != "infeasible" or program is None:
            continue
        relaxation = _smallest(planner, program)
        named = relaxation.contradiction or contradiction(program, planner.work)
        fewer = {item.where for item in relaxation.gives if item.what == "number"}
        found.append((relaxation, named, _kept_apart(program, fewer, named)))
    if not found:
        return base
    relaxation = _both([each for each, _, _ in found])
    return replace(
        base,
        relaxation=relaxation,
        contradiction=tuple(dict.fromkeys(name for _, named, _ in found for name in named)),
        relaxation_held=_held(parts[0].planner, relaxation) if len(parts) == 1 else None,
        refused=tuple(item for _, _, several in found for item in several),
    )


def _smallest(planner: Planner, program: Program) -> Relaxation:
    """The smallest change; own fish that must all be kept give way only where nothing else makes room."""
    giving: tuple[str, ...] = ("limits", "budget", "wishes", "species")
    if planner.keep_all:
        relaxation = smallest_relaxation(program, giving, GAP, planner.work)
        if relaxation.stocking is not None:
            return relaxation
    return smallest_relaxation(program, (*giving, "keep"), GAP, planner.work)


def _both(several: Sequence[Relaxation]) -> Relaxation:
    """What must give in several parts of a site, all of it together."""
    if len(several) == 1:
        return several[0]
    return Relaxation(
        None,
        tuple(item for one in several for item in one.gives),
        sum(one.total for one in several),
        sum(one.bound for one in several),
        next((one.status for one in several if one.status != "optimal"), "optimal"),
        tuple(name for one in several for name in one.contradiction),
    )


def _held(planner: Planner, relaxation: Relaxation) -> bool | None:
    """Whether the full season holds with what gives way; unknown where a limit itself would have to."""
    limits = {limit.name for limit in planner.latest.limits} if planner.latest is not None else set()
    if relaxation.stocking is None or any(item.what in limits for item in relaxation.gives):
        return None
    return bool(worst_margins(planner.problem, [relaxation.stocking])[0] >= 0.0)


def _kept_apart(program: Program, fewer: set[str], named: tuple[str, ...]) -> tuple[Refusal, ...]:
    """Candidates whose keeping cannot be met because of where they may live, or of the company that must be kept."""
    nan, found = float("nan"), []
    inside = program.tank_loop[None, :] == program.option_loop[:, None]
    apart = program.apart_in_tank | program.apart_in_tank.T
    for c, name in enumerate(program.candidates):
        if name not in fewer and f"keep {name}" not in named:
            continue
        if not (program.allowed[:, c] & inside).any():
            found.append(Refusal(name, "no_place", nan, nan, nan, ()))
        elif (apart[c] & (program.least > 0)).any():
            found.append(Refusal(name, "company", nan, nan, nan, ()))
    return tuple(found)


# --- plans between two goals, each held in its full season

PLANS = 5
# Where a plan breaks a limit in its season, all limits of the program are held to this much less and it is tried again.
_TIGHTER, _MOST_TRIES = 0.97, 5


class Between(NamedTuple):
    """A plan between two goals that held in its full season; ``margin_percent`` is its smallest margin there."""

    cohorts: tuple[Placed, ...]
    values: dict[str, float]
    gap: float
    margin_percent: float


_Scored = tuple[float, float, Between]


def plans_between(
    answer: StockingPlan,
    first: str,
    second: str,
    plans: int = PLANS,
    work: Work | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Between]:
    """Plans of which none is better than another in both goals.

    Parameters
    ----------
    answer : StockingPlan
        A plan of the same site and wishes, whose program seasons have corrected.
    first, second : str
        Of ``edible``, ``steady``, ``cost``.
    plans : int
        Wanted, the best by each goal included.
    work : Work, optional
        What it may take.
    progress : callable, optional
        Called with (plans found, plans wanted).

    Returns
    -------
    list of Between
        From the best by the first goal to the best by the second. Fewer than asked where no more differ; only
        plans whose full season holds every hard limit.
    """
    work = work or Work()
    program, best = answer.program, list[_Scored]()
    for _ in range(_MOST_TRIES):
        found = trade_off(program, first, second, plans, 0.01, work, progress)
        margins = worst_margins(answer.problem, [point.stocking for point in found])
        held = [
            (
                score(program, first, p.stocking),
                score(program, second, p.stocking),
                _between(answer, program, p, margin),
            )
            for p, margin in zip(found, margins.tolist(), strict=True)
            if margin >= 0.0
        ]
        best = _not_beaten(best + held)
        if len(best) >= plans or len(held) == len(found) or work.is_over():
            break
        limits = tuple(limit._replace(capacity=_TIGHTER * limit.capacity) for limit in program.limits)
        program = replace(program, limits=limits)
    return [point for _, _, point in best]


def _not_beaten(points: list[_Scored]) -> list[_Scored]:
    """Points that none equals or beats in both goals, best by the first goal leading."""
    kept: list[_Scored] = []
    for point in sorted(points, key=lambda p: (-p[0], -p[1])):
        if not kept or point[1] > kept[-1][1] + 1e-6 * max(1.0, abs(point[1])):
            kept.append(point)
    return kept


def _between(answer: StockingPlan, program: Program, point: Compromise, margin: float) -> Between:
    values = {goal: goal_value(program, goal, point.stocking) for goal in ("edible", "steady", "cost")}
    return Between(tuple(placed(answer.problem, point.stocking.fish)), values, point.gap, margin)
