"""What `stocksim stock` does and prints: the plan as a tank table, its reasons, and the planned site file."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

from stocksim.answers.stock import words
from stocksim.answers.stock.decide import PLANS, Between, StockingPlan, plan_stocking, plans_between
from stocksim.answers.stock.program import Broken
from stocksim.answers.stock.reasons import Binding, Refusal, Worth
from stocksim.answers.stock.seasons import margin_of
from stocksim.answers.stock.why import change_head, clash_words, giving_words, refusal_words
from stocksim.errors import InputError
from stocksim.faces.marks import json_text
from stocksim.faces.text import text_table, wrapped
from stocksim.site.stocking_tables import read_goals

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


def stock_output(
    path: Path, goal: str | None, pareto: str | None, reasons: bool, seconds: float, out: Path | None, as_json: bool
) -> str:
    """What `stocksim stock` prints for a site file; writes the planned file into ``out``.

    Raises
    ------
    InputError
        With what is wrong in the file, the options, or the wishes.
    """
    from stocksim.site.reading import load_site

    pair = _pair(pareto)
    if goal is not None:
        try:
            read_goals(goal)
        except ValueError as error:
            raise InputError(f"--goal {error}") from None
    loaded = load_site(path)
    if out is not None:
        from stocksim.answers.stock.file import check_place

        check_place(out, loaded)
    talk = Talk()
    plan = plan_stocking(loaded, goal, seconds, reasons, talk)
    between: list[Between] | None = None
    if pair is not None:

        def counted(done: int, most: int) -> None:
            talk("plans between two goals", done, most)

        between = plans_between(plan, *pair, PLANS, seconds, counted) if plan.plan is not None else []
    talk.close()
    if out is not None and plan.plan is not None:
        from stocksim.answers.stock.file import write_planned

        written = write_planned(out, path, plan)
        print("Wrote " + ", ".join(map(str, written)), file=sys.stderr)
        usual = f"{path.stem}_planned.toml"
        if written[0].name != usual:
            print(f"{out / usual} was edited or is not of ours, and stays as it is.", file=sys.stderr)
    elif out is not None:
        print("No plan, so nothing was written.", file=sys.stderr)
    if as_json:
        return json_text(stock_answer(plan, between, pair), loaded)
    return stock_text(plan, between, pair)


def _pair(text: str | None) -> tuple[str, str] | None:
    if text is None:
        return None
    try:
        goals = read_goals(text)
    except ValueError as error:
        raise InputError(f"--pareto {error}") from None
    if len(goals) != 2 or "keep" in goals:
        raise InputError(f'--pareto "{text}": give two of edible, steady and cost, as "edible,cost".')
    return goals[0], goals[1]


def stock_text(plan: StockingPlan, between: list[Between] | None = None, pair: tuple[str, str] | None = None) -> str:
    """The printed answer of the planner.

    Parameters
    ----------
    plan : StockingPlan
        Of `plan_stocking`.
    between : list of Between, optional
        Plans between two goals.
    pair : tuple of str, optional
        Those goals.

    Returns
    -------
    str
        Lines.
    """
    site = plan.problem.site
    goals = ", then ".join(words.GOAL_WORDS[goal] for goal in plan.goals)
    lines = [f"{site.file.site.name}: stocking for {goals}", "", *_wrap(words.headline(plan))]
    if plan.plan is not None:
        lines += [*_wrap(words.gap_words(plan)), "", text_table(words.plan_rows(plan))]
        lines += ["(most room used: density on the fullest day over the limit of the most delicate fish there)"]
        units = site.file.site.units
        others = [f"- {words.goal_words(goal, value, units)}" for goal, value in plan.values.items()]
        lines += ["", "By every goal:", *(line for other in others for line in _wrap(other, "  "))]
        lines += _list("", [*words.option_words(plan), *words.wish_words(plan)])
        lines += _list("Fish that leave:", words.leaving_words(plan))
        worths = {(w.binding.limit, w.binding.where): w for w in plan.worths}
        bound = [words.binding_words(plan, b, worths.get((b.limit, b.where))) for b in plan.binding]
        lines += _list("What leaves no room for one more fish:", bound or [words.unfilled_words(plan)])
        lines += _list("Left out, and why:", [refusal_words(plan, r) for r in plan.refused])
    else:
        lines += _list("", [clash_words(plan)] if plan.contradiction else [])
        if plan.relaxation is not None and plan.relaxation.gives:
            said = [giving_words(plan, item) for item in plan.relaxation.gives]
            gives = [f"{text[0].upper()}{text[1:]}." for text in said]
            lines += _list(change_head(plan), gives)
        lines += _list("What stands against keeping them:", [refusal_words(plan, r) for r in plan.refused])
    if between is not None and pair is not None:
        lines += ["", *pareto_lines(plan, between, pair)]
    lines += _list("Changed to plan at all:", plan.notes)
    lines += _list("Cautions:", words.cautions(plan))
    return "\n".join(lines)


def pareto_lines(plan: StockingPlan, between: list[Between], pair: tuple[str, str]) -> list[str]:
    """Plans between two goals as a table."""
    names = " against ".join(words.GOAL_WORDS[goal] for goal in pair)
    if not between:
        return [f"Plans between {names}: none found."]
    rows = pareto_rows(plan, between, pair)
    lines = [f"Plans between {names}, each held in its full season:", text_table(rows)]
    if len(between) < PLANS:
        lines += _wrap(f"Only {len(between)} that differ were found; more time (--seconds) may find more.")
    return lines


def pareto_rows(plan: StockingPlan, between: list[Between], pair: tuple[str, str]) -> list[dict[str, str]]:
    """One row for each plan between two goals."""
    units = plan.problem.site.file.site.units
    short = {
        "edible": ("fillet", lambda v: words.kilos(v, units)),
        "cost": ("money", lambda v: f"{v:,.2f}"),
        "steady": ("unsteady feed", lambda v: f"{v:,.0f} g/day"),
    }
    rows = []
    for number, point in enumerate(between, 1):
        row = {"plan": str(number)}
        row |= {short[goal][0]: short[goal][1](point.values[goal]) for goal in pair}
        fish: dict[str, int] = {}
        for p in point.cohorts:
            name = plan.problem.candidates[p.candidate].name
            fish[name] = fish.get(name, 0) + p.fish
        row["fish"] = ", ".join(f"{count} {name}" for name, count in fish.items()) or "none"
        rows.append(row)
    return rows


def _wrap(text: str, indent: str = "") -> list[str]:
    return wrapped(text, indent) if text else []


def _list(head: str, sentences: list[str] | tuple[str, ...]) -> list[str]:
    if not sentences:
        return []
    lines = ["", head] if head else [""]
    return lines + [line for sentence in sentences for line in _wrap(f"- {sentence}", "  ")]


def stock_answer(
    plan: StockingPlan, between: list[Between] | None = None, pair: tuple[str, str] | None = None
) -> dict[str, Any]:
    """The planner's answer as plain data; numbers are metric, sentences in the keeper's units.

    Parameters
    ----------
    plan, between, pair
        As in `stock_text`.

    Returns
    -------
    dict
        Ready for JSON.
    """
    found = plan.plan
    answer: dict[str, Any] = {
        "site": plan.problem.site.file.site.name,
        "answer": words.headline(plan),
        "goal": list(plan.goals),
        "plan": None if found is None else [_cohort(plan, n) for n in range(len(plan.cohorts))],
        "goal_value": None if found is None else words.rounded(found.value),
        "goal_unit": {"edible": "kg", "cost": "money", "steady": "g/day"}.get(
            next((goal for goal in plan.goals if goal != "keep"), "edible")
        ),
        "score": None if found is None else words.rounded(found.score),
        "bound": None if found is None else words.rounded(found.bound),
        "gap": None if found is None else words.rounded(found.gap),
        "status": (plan.proven.plan.status if plan.proven.plan is not None else "none")
        if found is None
        else found.status,
        "is_settled": plan.proven.is_settled,
        "rounds": plan.proven.rounds,
        "seconds": round(plan.seconds, 2),
        "values": {goal: words.rounded(value) for goal, value in plan.values.items()},
        "margin_kept_percent": 100.0 * margin_of(plan.wishes),
        "binding": [_binding(plan, item) for item in plan.binding],
        "refused": [_refused(plan, item) for item in plan.refused],
        "relaxation": [_gives(plan, item) for item in (plan.relaxation.gives if plan.relaxation else ())],
        "is_proven_impossible": plan.is_proven_impossible,
        "relaxation_held_in_season": plan.relaxation_held,
        "contradiction": {"conditions": list(plan.contradiction), "sentence": clash_words(plan)},
        "leaving": words.leaving_words(plan) if found is not None else [],
        "wishes": words.wish_words(plan),
        "options": words.option_words(plan),
        "season": _season(plan),
        "program_and_season_apart": {key: words.rounded(value) for key, value in plan.proven.disagreement.items()},
        "notes": list(plan.notes),
        "cautions": words.cautions(plan),
    }
    if between is not None and pair is not None:
        answer["pareto"] = [
            {
                "values": {goal: words.rounded(value) for goal, value in point.values.items()},
                "gap": words.rounded(point.gap),
                "smallest_margin_percent": words.rounded(point.margin_percent, 2),
                "plan": [
                    {
                        "species": plan.problem.candidates[p.candidate].species, "tank": plan.problem.tanks[p.tank],
                        "count": p.fish, "cohort": p.cohort,
                    }
                    for p in point.cohorts
                ],
            }
            for point in between
        ]  # fmt: skip
        answer["pareto_goals"] = list(pair)
    return answer


def _cohort(plan: StockingPlan, number: int) -> dict[str, Any]:
    p = plan.cohorts[number]
    candidate = plan.problem.candidates[p.candidate]
    return {
        "species": candidate.species,
        "tank": plan.problem.tanks[p.tank],
        "count": p.fish,
        "cohort": p.cohort,
        "candidate": candidate.name,
        "is_own": bool(plan.problem.owned[p.candidate]),
        "mean_weight_g": candidate.mean_weight_g,
        "stocked": (candidate.stocked or plan.problem.site.file.season.start).isoformat(),
        "leaves": candidate.leaves.isoformat() if candidate.leaves else None,
        "price_each": words.rounded(plan.problem.price[p.candidate]),
    }


def _binding(plan: StockingPlan, item: Binding) -> dict[str, Any]:
    worth: Worth | None = next((w for w in plan.worths if w.binding == item), None)
    start = plan.problem.site.file.season.start.toordinal()
    day = type(plan.problem.site.file.season.start).fromordinal
    answer: dict[str, Any] = {
        "limit": item.limit,
        "where": item.where,
        "weeks": [day(start + 7 * week).isoformat() for week in item.weeks],
        "tightest_week": day(start + 7 * item.week).isoformat() if item.weeks else None,
        "use": words.rounded(item.use),
        "capacity": words.rounded(item.capacity),
        "unit": item.unit,
        "sentence": words.binding_words(plan, item, worth),
    }
    if worth is not None:
        answer["worth"] = {
            "more": words.rounded(worth.more), "gain": words.rounded(worth.gain),
            "gain_at_least": words.rounded(worth.gain_low), "gain_at_most": words.rounded(worth.gain_high),
        }  # fmt: skip
    return answer


def _refused(plan: StockingPlan, item: Refusal) -> dict[str, Any]:
    candidate = next(c for c in plan.problem.candidates if c.name == item.candidate)
    return {
        "candidate": item.candidate,
        "species": candidate.species,
        "kind": item.kind,
        "lost": words.rounded(item.lost),
        "reason": refusal_words(plan, item),
    }


def _gives(plan: StockingPlan, item: Broken) -> dict[str, Any]:
    start = plan.problem.site.file.season.start
    week = None if item.week is None else type(start).fromordinal(start.toordinal() + 7 * item.week).isoformat()
    return {
        "what": item.what,
        "where": item.where,
        "week": week,
        "value": words.rounded(item.value),
        "bound": words.rounded(item.bound),
        "sentence": giving_words(plan, item),
    }


def _season(plan: StockingPlan) -> dict[str, Any] | None:
    if plan.season is None:
        return None
    judged = [finding for finding in plan.season.findings if finding.margin_percent is not None]
    return {
        "holds": not any(finding.is_broken for finding in judged),
        "smallest_margin_percent": words.rounded(min((f.margin_percent or 0.0 for f in judged), default=0.0), 2),
        "closest": [
            {
                "limit": f.limit, "where": f.where, "date": f.worst_date.isoformat(),
                "worst_value": words.rounded(f.worst_value), "threshold": words.rounded(f.threshold), "unit": f.unit,
                "margin_percent": words.rounded(f.margin_percent or 0.0, 2),
            }
            for f in sorted(judged, key=lambda f: f.margin_percent or 0.0)[:8]
        ],
    }  # fmt: skip
