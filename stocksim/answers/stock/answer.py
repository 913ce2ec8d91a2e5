"""What the stocking planner answers: the plan as a tank table and as drawn tanks, its proof, its reasons."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, Literal

from stocksim.answers.stock import words
from stocksim.answers.stock.brief import against, between_rows, change_head, first_layer, plan_rows
from stocksim.answers.stock.charts import tanks_html
from stocksim.answers.stock.decide import PLANS, Between, StockingPlan
from stocksim.answers.stock.keep import KeptPlan, kept_fish
from stocksim.answers.stock.program import Broken
from stocksim.answers.stock.reasons import Binding, Refusal
from stocksim.answers.stock.seasons import margin_of
from stocksim.changes.ways import Advice
from stocksim.engine.results.deaths import ledger
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Answer, Chart, Head, Html, Lines, Part, Section, Sentences, Table, points
from stocksim.faces.care import cares_beside
from stocksim.faces.fates import fate_note, fate_rows
from stocksim.faces.feeding_words import feeding_data, feeding_lines, feeding_note, small_data
from stocksim.faces.first_layer import season_brief
from stocksim.faces.marks import marked
from stocksim.faces.planting_words import build_words
from stocksim.faces.text import tank_rows
from stocksim.faces.ways_words import advice_data, dated_words, promise_words, test_words, way_rows, way_sentence
from stocksim.faces.words import assumptions, cautions, warnings_of
from stocksim.heat.small_fish import SmallFish, small_candidates, small_cohorts

_ROOM_USED = "(fullest: density on the fullest day, % of the limit of the most delicate fish there)"


def stock_answer(
    plan: StockingPlan, between: Sequence[Between] | None = None, pair: tuple[str, str] | None = None
) -> Answer:
    """What a keeper who asks for a stocking is answered.

    Parameters
    ----------
    plan : StockingPlan
        Of `plan_stocking`.
    between : sequence of Between, optional
        Plans between two goals, where they were sought.
    pair : tuple of str, optional
        Those goals.

    Returns
    -------
    Answer
        With a plan the sections ``tanks``, ``proof``, ``table``, ``goals``, ``wishes``, ``leaving``, ``feeding``,
        ``chart``, ``areas``, ``binding`` and ``refused``; without one ``clash``, ``gives`` and ``refused``; then
        ``between`` where asked, and ``cautions``.
        Numbers of its data are metric, sentences in the keeper's units.
    """
    goals = ", then ".join(words.GOAL_WORDS[goal] for goal in plan.goals)
    sections = _without_plan(plan) if plan.plan is None else _with_plan(plan)
    if between is not None and pair is not None:
        sections.append(Section("between", _between_parts(plan, between, pair)))
    noted = listed("Changed to plan at all", plan.notes, kind="background")
    cautions = listed("Cautions", words.cautions(plan), kind="background")
    sections.append(Section("cautions", [*noted, *cautions], "Cautions", is_open=True, topics=("cautions",)))
    return Answer(
        f"{plan.problem.site.file.site.name}: stocking for {goals}",
        words.headline(plan),
        sections,
        partial(_data, plan, between, pair),
        plan.plan is None or not plan.is_finished,
        brief=first_layer(plan, between, pair),
    )


def _with_plan(plan: StockingPlan) -> list[Section]:
    units = plan.problem.site.file.site.units
    values = [words.goal_words(goal, value, units) for goal, value in plan.values.items()]
    bound = [words.binding_words(plan, item) for item in plan.binding] or [words.unfilled_words(plan)]
    kept = [*words.option_words(plan), *words.wish_words(plan)]
    return [
        Section("tanks", [Html(tanks_html(plan))]),
        Section("proof", [Sentences([words.gap_words(plan)])], topics=("assumptions",)),
        Section("table", [Table(plan_rows(plan), gap=True), Sentences([_ROOM_USED], on="text")], topics=("fish",)),
        Section("goals", [Head("By every goal:", "text"), points(values, on="text")], topics=("fish",)),
        Section("wishes", [Sentences(kept, "list", mark="- ", indent="  ", gap=True)], topics=("assumptions",)),
        Section("leaving", listed("Fish that leave", words.leaving_words(plan)), topics=("fish",)),
        Section("feeding", _feeding_parts(plan), topics=("fish",)),
        Section("chart", [Chart("density", partial(_drawn, plan.season, "density"))] if plan.season else []),
        _areas(plan.season, units),
        Section(
            "binding",
            listed("What leaves no space for one more fish", bound, is_headed=True),
            topics=("fish", "water"),
        ),
        Section("refused", listed("Left out, and why", _refusals(plan), is_headed=True), topics=("fish",)),
    ]


def _areas(season: Season | None, units: str) -> Section:
    """How much each loop's feed would carry, and how what is planted stands to it."""
    builds = season.build_areas.values() if season is not None else ()
    said = [text for build in builds if (text := build_words(build, units))]
    return Section("areas", [Sentences(said, "answer", gap=True)], topics=("plants",))


def _feeding_parts(plan: StockingPlan) -> list[Part]:
    """When to feed the planned fish in the cold, where any meet it."""
    lines = [] if plan.season is None else feeding_lines(plan.season)
    note = [Sentences([feeding_note(plan.problem.site.file.site.units)], "note")] if lines else []
    return [*listed("When to feed in the cold", lines, is_headed=True), *note]


def _without_plan(plan: StockingPlan) -> list[Section]:
    clash = [words.clash_words(plan)] if plan.contradiction else []
    gives: list[Part] = [Head("What must give", "page"), Sentences(["Nothing was found."], "list", "page")]
    if plan.relaxation is not None and plan.relaxation.gives:
        said = [words.giving_words(plan, item) for item in plan.relaxation.gives]
        change = change_head(plan)
        gives = [
            gives[0],
            Lines([change], on="text", gap=True),
            Sentences([change], on="page"),
            points([f"{text[0].upper()}{text[1:]}." for text in said]),
        ]
    return [
        Section("clash", [Sentences(clash, mark="- ", indent="  ", gap=True)]),
        Section("gives", gives),
        Section("refused", listed("What stands against keeping them", _refusals(plan))),
    ]


def listed(
    head: str, sentences: Sequence[str], is_headed: bool = False, kind: Literal["list", "background"] = "list"
) -> list[Part]:
    """A list below its heading, which pages show where it ``is_headed``; nothing where there is nothing to tell."""
    heads = [Head(f"{head}:", "text"), *([Head(head, "page")] if is_headed else [])]
    return [*heads, points(sentences, kind)] if sentences else []


def _refusals(plan: StockingPlan) -> list[str]:
    return [words.refusal_words(plan, item) for item in plan.refused]


def _between_parts(plan: StockingPlan, between: Sequence[Between], pair: tuple[str, str]) -> list[Part]:
    """Plans between two goals as a table."""
    names = against(pair)
    if not between:
        return [Head("Other plans", "page"), Lines([f"Plans between {names}: none found."], on="text", gap=True)]
    few = f"Only {len(between)} that differ were found."
    return [
        Head("Other plans", "page"),
        Lines([f"Plans between {names}, each held in its full season:"], on="text", gap=True),
        Table(between_rows(plan, between, pair)),
        Sentences([few] if len(between) < PLANS else [], on="text"),
    ]


# --- the answer as plain data


def _data(plan: StockingPlan, between: Sequence[Between] | None, pair: tuple[str, str] | None) -> dict[str, Any]:
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
        "is_finished": plan.is_finished,
        "values": {goal: words.rounded(value) for goal, value in plan.values.items()},
        "margin_kept_percent": 100.0 * margin_of(plan.wishes),
        "binding": [_binding(plan, item) for item in plan.binding],
        "refused": [_refused(plan, item) for item in plan.refused],
        "relaxation": [_gives(plan, item) for item in (plan.relaxation.gives if plan.relaxation else ())],
        "is_proven_impossible": plan.is_proven_impossible,
        "relaxation_held_in_season": plan.relaxation_held,
        "contradiction": {"conditions": list(plan.contradiction), "sentence": words.clash_words(plan)},
        "leaving": words.leaving_words(plan) if found is not None else [],
        "wishes": words.wish_words(plan),
        "options": words.option_words(plan),
        "season": _season(plan),
        "feeding": {} if plan.season is None else feeding_data(plan.season),
        "small_in_winter": [small_data(small) for small in _small(plan)],
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
    return marked(answer, plan.problem.site)


def _small(plan: StockingPlan) -> list[SmallFish]:
    site = plan.problem.site
    return [*small_cohorts(site), *small_candidates(site)]


def _cohort(plan: StockingPlan, number: int) -> dict[str, Any]:
    p = plan.cohorts[number]
    candidate = plan.problem.candidates[p.candidate]
    return {
        "species": candidate.species,
        "tank": plan.problem.tanks[p.tank],
        "count": p.fish,
        "cohort": p.cohort,
        "candidate": candidate.name,
        "is_own": plan.problem.is_own(p.candidate),
        "mean_weight_g": candidate.mean_weight_g,
        "stocked": (candidate.stocked or plan.problem.site.file.season.start).isoformat(),
        "leaves": candidate.leaves.isoformat() if candidate.leaves else None,
        "price_each": words.rounded(plan.problem.price[p.candidate]),
    }


def _binding(plan: StockingPlan, item: Binding) -> dict[str, Any]:
    worth = words.worth_of(plan, item)
    answer: dict[str, Any] = {
        "limit": item.limit,
        "where": item.where,
        "weeks": [words.week_day(plan.problem, week).isoformat() for week in item.weeks],
        "tightest_week": words.week_day(plan.problem, item.week).isoformat() if item.weeks else None,
        "use": words.rounded(item.use),
        "capacity": words.rounded(item.capacity),
        "unit": item.unit,
        "sentence": words.binding_words(plan, item),
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
        "reason": words.refusal_words(plan, item),
    }


def _gives(plan: StockingPlan, item: Broken) -> dict[str, Any]:
    return {
        "what": item.what,
        "where": item.where,
        "week": None if item.week is None else words.week_day(plan.problem, item.week).isoformat(),
        "value": words.rounded(item.value),
        "bound": words.rounded(item.bound),
        "sentence": words.giving_words(plan, item),
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


# --- the plan that keeps the fish that are there

_FEW_STEPS = 3  # that the headline tells


def keep_answer(plan: KeptPlan, draw: Callable[[str], dict[str, Any]] | None = None) -> Answer:
    """What a keeper who wants to keep the fish is answered.

    Parameters
    ----------
    plan : KeptPlan
        Of `keep_plan`.
    draw : callable, optional
        Gives the specification of a stack of charts of the planned season by its name.

    Returns
    -------
    Answer
        With the sections ``do``, ``fish``, ``tanks``, ``chart``, ``areas`` and ``cautions``.
    """
    units, after = plan.site.file.site.units, plan.after
    fate: list[Part] = [*_heads("What becomes of the fish with it"), Table(fate_rows(after, units))]
    sections = [
        Section("do", _do_parts(plan)),
        Section("fish", [*fate, Sentences([fate_note(after)], "note")], topics=("fish",)),
        Section(
            "tanks",
            [*_heads("Tank by tank, with it"), Table(tank_rows(after, after.findings, units), gap=True)],
            topics=("fish", "water"),
        ),
        Section("chart", [Chart("density", partial(draw or partial(_drawn, after), "density"))]),
        _areas(after, units),
        Section(
            "cautions",
            [*_heads("Cautions"), points(warnings_of(after), "background")],
            "Cautions",
            is_open=True,
            topics=("cautions",),
        ),
        Section(
            "assumptions",
            [*_heads("Assumptions"), points(assumptions(after), "background")],
            "Assumptions",
            topics=("assumptions",),
        ),
    ]
    title = f"{plan.site.file.site.name}: keeping the fish that are there"
    passed = plan.season if not plan.advice.must_change else after
    is_caution = plan.is_harmless and any(finding.is_broken for finding in passed.findings)
    told = partial(_keep_data, plan)
    brief = season_brief(plan.season, plan.season.findings, _chosen(plan), after)
    return Answer(title, keep_headline(plan), sections, told, not plan.is_harmless, is_caution=is_caution, brief=brief)


def _chosen(plan: KeptPlan) -> Advice:
    """The advice with the way alone that keeps the fish."""
    return replace(plan.advice, ways=(plan.way,) if plan.way else ())


def _heads(text: str) -> list[Part]:
    return [Head(f"{text}:", "text"), Head(text, "page")]


def _drawn(season: Season, name: str) -> dict[str, Any]:
    from stocksim.faces.charts import STACKS  # slow to import, and text draws none

    return STACKS[name](season).to_dict()


def keep_headline(plan: KeptPlan) -> str:
    """What to change, and that all else stays."""
    units = plan.site.file.site.units
    fish, kept = round(plan.fish), round(plan.kept)
    if not fish:
        return "No fish are stocked, so there is nothing to keep."
    told = f"{kept} of the {fish} fish live to their harvest or to the season's end"
    if plan.way is None:
        return f"Keep all fish as they are: nothing has to change, and {told}."
    steps = [dated_words(step, units) for step in plan.way.by_date(plan.season.dates[0])]
    rest = f"; and {len(steps) - _FEW_STEPS} more below" if len(steps) > _FEW_STEPS else ""
    changes = f"{'; '.join(steps[:_FEW_STEPS])}{rest}. Everything else stays, and {told}."
    if not plan.advice.must_change:
        kept = round(kept_fish(plan.season))
        return (
            f"Keep all fish as they are: nothing has to change, and {kept} of the {fish} live to their harvest or to "
            "the season's end. Cautions are passed; what would keep them too stands below."
        )
    if plan.way.left:
        return f"These fish cannot all be kept well by any change that was tried. The least bad: {changes}"
    return f"{changes[0].upper()}{changes[1:]}"


def _do_parts(plan: KeptPlan) -> list[Part]:
    others = [way for way in plan.advice.ways if way is not plan.way]
    told = [*_heads("Other ways"), points([way_sentence(plan.season, way) for way in others], "background")]
    if plan.way is None:
        return told if others else []
    parts: list[Part] = [*_heads("What to do, by date")]
    if not plan.advice.must_change:
        parts.append(Sentences([test_words(plan.season.findings)], indent="  "))
    parts += [
        Table(way_rows(plan.season, plan.way)),
        Sentences([promise_words(plan.season, _chosen(plan))], indent="  "),
        points(cares_beside(plan.site.file, [step.change for step in plan.way.steps])),
    ]
    parts += told if others else []
    if not plan.advice.is_finished:
        parts.append(Sentences([f"The search ended at {plan.advice.seasons} seasons: a better way may exist."]))
    return parts


def _keep_data(plan: KeptPlan) -> dict[str, Any]:
    answer = {
        "site": plan.site.file.site.name,
        "answer": keep_headline(plan),
        "goal": ["keep"],
        "fish": round(plan.fish, 2),
        "kept": round(plan.kept, 2),
        "kept_kg": round(plan.kept_kg, 3),
        "is_harmless": plan.is_harmless,
        "plan": advice_data(plan.season, _chosen(plan)),
        "others": advice_data(plan.season, plan.advice)["ways"],
        "cohorts": {
            name: {key: [round(number, 3), round(mass / 1000.0, 4)] for key, (number, mass) in entries.items()}
            for name, entries in ledger(plan.after.layout, plan.after.course).items()
        },
        "cautions": cautions(plan.after),
    }
    return marked(answer, plan.site)
