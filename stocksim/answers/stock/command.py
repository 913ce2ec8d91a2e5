"""The command that plans a stocking."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar, cast

import typer

from stocksim.errors import InputError
from stocksim.faces.options import JsonOption, SiteArgument, Topics, deliver, number, say, site_from_book

if TYPE_CHECKING:
    from stocksim.answers.stock.decide import StockingPlan
    from stocksim.answers.stock.keep import KeptPlan
    from stocksim.faces.answer import Answer
    from stocksim.site.reading import Site

P = TypeVar("P", "StockingPlan", "KeptPlan")

EXAMPLES = {
    "stock": "Example: stocksim stock house.toml --goal edible,cost --out plan",
}
SECONDS = number("--seconds", 1.0, 86400.0, "give seconds from 1 to 86400, as 60")
GOAL_HELP = 'keep, edible, steady, cost, or some in their order, as "edible,cost"; by default the file\'s, else keep.'
PARETO_HELP = 'Two goals to weigh against each other, as "edible,cost".'
WHAT_IF_HELP = 'Plan with more as well, as "tank alder 3000 L", "bed gravel 20 m2", "air alder 80 W", "heat main 3 kW".'
WORTH_HELP = "What one more tank, pump, kilowatt and square meter would bring; a plan for each, so slow."
BESIDE_HELP = "Plans that differ in kind side by side: keep all, most fillet, steadiest feed; a plan for each, so slow."
HOLD_HELP = 'Take fish out by date until the plan holds in so many drawn seasons, as "9 of 10"; half a minute more.'
_TOLD_EVERY_S = 2.0


class Talk:
    """Progress on standard error: a line that changes where someone watches, else a line now and then."""

    def __init__(self) -> None:
        self.began = self.told = time.monotonic()
        self.is_open = False

    def __call__(self, what: str, done: int, most: int) -> None:
        now = time.monotonic()
        text = f"{now - self.began:5.1f} s  {what}: {done} of {most} at most"
        if sys.stderr.isatty():
            print(f"\r{text:<78}", end="", file=sys.stderr, flush=True)
            self.is_open = True
        elif now - self.told > _TOLD_EVERY_S:
            print(text, file=sys.stderr, flush=True)
            self.told = now

    def close(self) -> None:
        """Wipe the line."""
        if self.is_open:
            print("\r" + " " * 78 + "\r", end="", file=sys.stderr)


def _goals(option: str, text: str) -> tuple[str, ...]:
    """Goals of an option; raises InputError with its name."""
    from stocksim.site.stocking_tables import read_goals

    try:
        return read_goals(text)
    except ValueError as error:
        raise InputError(f"{option} {error}") from None


def _pair(text: str) -> tuple[str, str]:
    """Two goals to weigh against each other."""
    goals = _goals("--pareto", text)
    if len(goals) != 2 or "keep" in goals:
        raise InputError(f'--pareto "{text}": give two of edible, steady and cost, as "edible,cost".')
    return goals[0], goals[1]


def _tell_written(written: list[Path], out: Path, site: Path) -> None:
    say("Wrote " + ", ".join(map(str, written)))
    usual = f"{site.stem}_planned.toml"
    if written[0].name != usual:
        say(f"{out / usual} was edited or is not of ours, and stays as it is.")


def _deliver_more(
    site: Site, phrases: list[str], worth: bool, goals: tuple[str, ...] | None, seconds: float, as_json: bool
) -> None:
    """What more of something would bring."""
    from stocksim.answers.stock.more import one_more_each, read_more, what_if
    from stocksim.answers.stock.worth import more_answer

    several = [read_more(site, text) for text in phrases] + (one_more_each(site) if worth else [])
    talk = Talk()
    found = what_if(site, several, goals, seconds, partial(talk, "plans"))
    talk.close()
    deliver(more_answer(found), as_json)


def _deliver_beside(site: Site, seconds: float, as_json: bool, topics: Topics) -> None:
    """Plans that differ in kind."""
    from stocksim.answers.stock.beside import plans_beside
    from stocksim.answers.stock.compared import COST, beside_answer

    say(COST)
    talk = Talk()
    kinds = plans_beside(site, seconds, talk)
    talk.close()
    deliver(beside_answer(site, kinds), as_json, topics)


def _held(plan: P, wanted: float | None, talk: Talk) -> tuple[P, Callable[[Answer], Answer]]:
    """A plan that holds in so many seasons, where that is asked, and what adds it to the answer."""
    if wanted is None:
        return plan, lambda answer: answer
    from stocksim.answers.stock.case import held_answer
    from stocksim.answers.stock.hold_in import held_plan

    found = held_plan(plan, wanted, partial(talk, "fish taken out"))
    return cast("P", found.plan), partial(held_answer, found=found)


def stock(
    site: SiteArgument,
    goal: Annotated[str | None, typer.Option(help=GOAL_HELP, show_default=False)] = None,
    pareto: Annotated[str | None, typer.Option(help=PARETO_HELP, show_default=False)] = None,
    reasons: Annotated[bool, typer.Option("--reasons", help="Say what more of each limit would bring; slow.")] = False,
    seconds: Annotated[
        float, typer.Option(help="Emergency brake: the answer is not finished then.", **SECONDS)
    ] = 900.0,
    what_if: Annotated[list[str] | None, typer.Option(help=WHAT_IF_HELP, show_default=False)] = None,
    worth: Annotated[bool, typer.Option("--worth", help=WORTH_HELP)] = False,
    beside: Annotated[bool, typer.Option("--beside", help=BESIDE_HELP)] = False,
    hold: Annotated[str | None, typer.Option("--hold-in", help=HOLD_HELP, show_default=False)] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the planned site file.", show_default=False)] = None,
    as_json: JsonOption = False,
    topics: Topics = (),
) -> None:
    """Plan which fish go into which tank, with reasons. Reads SITE; with --out writes the planned site file."""
    from stocksim.answers.stock.answer import keep_answer, stock_answer
    from stocksim.answers.stock.decide import PLANS, Between, plan_stocking, plans_between
    from stocksim.answers.stock.file import check_place, write_planned
    from stocksim.answers.stock.hold_in import read_share
    from stocksim.answers.stock.keep import is_to_keep, keep_plan

    pair = None if pareto is None else _pair(pareto)
    goals = None if goal is None else _goals("--goal", goal)
    wanted = None if hold is None else read_share(hold)
    if wanted is not None and (pair is not None or what_if or worth):
        raise InputError("--hold-in is for one plan: leave out --pareto, --what-if and --worth.")
    loaded = site_from_book(site)
    if out is not None:
        check_place(out, loaded)
    if beside:
        if pair is not None or out is not None or goals is not None or what_if or worth or wanted is not None:
            raise InputError(
                "--beside plans for each goal by itself and writes no file: leave out --goal, --pareto, --out, "
                "--what-if, --worth and --hold-in."
            )
        _deliver_beside(loaded, seconds, as_json, topics)
        return
    if what_if or worth:
        if pair is not None or out is not None:
            raise InputError(
                "--what-if and --worth write no file and weigh no two goals: leave out --out and --pareto."
            )
        _deliver_more(loaded, what_if or [], worth, goals, seconds, as_json)
        return
    talk = Talk()
    if is_to_keep(loaded, goals) and pair is None:
        kept = keep_plan(loaded, partial(talk, "ways tried"))
        kept, held = _held(kept, wanted, talk)
        talk.close()
        if out is not None:
            _tell_written(write_planned(out, site, kept), out, site)
        deliver(held(keep_answer(kept)), as_json, topics)
        return
    plan, held = _held(plan_stocking(loaded, goals, seconds, reasons, talk), wanted, talk)
    between: list[Between] | None = None if pair is None else []
    if pair is not None and plan.plan is not None:
        between = plans_between(plan, *pair, PLANS, None, partial(talk, "plans between two goals"))
    talk.close()
    if out is not None and plan.plan is not None:
        _tell_written(write_planned(out, site, plan), out, site)
    elif out is not None:
        say("No plan, so nothing was written.")
    if reasons and topics is not None:
        topics = {*topics, "fish"}  # the reasons that were asked for stand there
    deliver(held(stock_answer(plan, between, pair)), as_json, topics)
