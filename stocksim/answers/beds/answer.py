"""What is answered about fish and beds."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

from stocksim.answers.beds import words
from stocksim.answers.beds.brief import beds_brief, headline
from stocksim.answers.beds.changes import BedPlan, BedProof, fish_come_first
from stocksim.answers.beds.decide import Fall, LoopBalance, Week
from stocksim.answers.beds.nutrients import by_week
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Answer, Chart, Head, Lines, Part, Section, Sentences, Table, Topic, points
from stocksim.faces.care import HYGIENE, cares_beside
from stocksim.faces.change_words import change_words
from stocksim.faces.marks import marked
from stocksim.faces.markup import loop_label
from stocksim.faces.planting_words import build_data, build_words
from stocksim.plants.nutrients import PLANT_SALTS
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.units import format_date

Draw = Callable[[str], dict[str, Any] | None]


def beds_answer(plan: BedPlan, draw: Draw | None = None) -> Answer:
    """What a keeper who asks about fish and beds is answered.

    Parameters
    ----------
    plan : BedPlan
        Of `bed_plan`.
    draw : callable, optional
        Gives the specification of a loop's charts, or with an empty name that of the map of beds, where a page keeps
        them.

    Returns
    -------
    Answer
        With the sections ``areas``; for each loop ``balance``, ``changes``, ``weeks``, ``numbers`` and ``nutrients``,
        each called as `of_loop` tells; then ``beds``, ``cautions`` and ``assumptions``. Keys of its data carry units,
        null stands where nothing is known.
    """
    season = plan.season
    draw = draw or partial(drawn, plan)
    cautions: list[Part] = [Head("Cautions:", "text"), Head("Cautions", "page")]
    start, end = format_date(season.dates[0]), format_date(season.dates[-1])
    return Answer(
        f"{season.site.file.site.name}: beds and fish, {start} to {end}",
        headline(plan),
        [
            Section("areas", [Sentences(words.TWO_AREAS, on="text", gap=True)], topics=("assumptions",)),
            *(section for balance in plan.loops for section in _loop_sections(plan, balance, draw)),
            Section("beds", _bed_parts(season, draw), topics=("plants",)),
            Section("cautions", [*cautions, points(words.bed_cautions(plan), "background")], topics=("cautions",)),
            Section("assumptions", [points(words.bed_assumptions(plan), "background")], topics=("assumptions",)),
        ],
        partial(_data, plan),
        brief=beds_brief(plan),
    )


def of_loop(part: str, loop: str) -> str:
    """Key of a loop's section, as ``weeks_main``."""
    return f"{part}_{loop}"


def drawn(plan: BedPlan, loop: str = "") -> dict[str, Any] | None:
    """Specification of a loop's charts; of no loop that of the map of all beds, None without any."""
    from stocksim.answers.beds.charts import bed_map, bed_stack  # slow to import, and text draws none

    by_loop = {balance.loop: balance for balance in plan.loops}
    chart = bed_stack(plan.season, by_loop[loop]) if loop else bed_map(plan.season)
    return None if chart is None else chart.to_dict()


def _loop_sections(plan: BedPlan, balance: LoopBalance, draw: Draw) -> list[Section]:
    """One loop's balance, what helps, its weeks as charts and in numbers, its nutrients."""
    season, loop, units = plan.season, balance.loop, plan.season.site.file.site.units
    excess = words.excess_sentence(season, balance)
    build = season.build_areas.get(loop)
    area = [build_words(build, units)] if build is not None and build_words(build, units) else []
    say = [*words.loop_sentences(season, balance), *([excess] if excess else []), *area]
    unrated = words.area_words(season, loop)
    head = Lines([f"Loop {loop}"], on="text", gap=True)
    plants: tuple[Topic, ...] = ("plants",)
    weeks: list[Part] = [
        Head(f"Week by week: {loop_label(loop)}", "page"),
        Sentences(words.TWO_AREAS, "background", "page"),
        Chart(of_loop("bed_weeks", loop), partial(draw, loop)),
        Sentences(["; ".join(unrated) + "."] if unrated else [], "note", "page"),
    ]
    numbers: list[Part] = [
        Table(words.week_rows(balance, units), gap=True),
        Sentences([words.table_note(units)], "note"),
        Sentences([f"No ratio: {text}." for text in unrated], on="text"),
    ]
    return [
        Section(of_loop("balance", loop), [head, Sentences(say, "answer", indent="  ", first="  ")], topics=plants),
        Section(of_loop("changes", loop), _change_parts(plan, loop), topics=plants),
        Section(of_loop("weeks", loop), weeks),
        Section(of_loop("numbers", loop), numbers, "The same in numbers, week by week", topics=plants),
        Section(of_loop("nutrients", loop), _nutrient_parts(plan, loop), topics=("plants", "water")),
    ]


def _change_parts(plan: BedPlan, loop: str) -> list[Part]:
    """Changes that help; pages tell too where none was sought or found."""
    if loop not in plan.proofs:
        return [Sentences(["Each change is run as a whole season; takes some seconds."], "note", "page")]
    units = plan.season.site.file.site.units
    parts: list[Part] = []
    if fish_come_first(plan.season, loop):
        parts.append(Sentences([words.FISH_FIRST], indent="  ", first="  "))
    if not plan.proofs[loop]:
        return [*parts, Sentences([words.nothing_words(plan, loop)], "note", "page")]
    for head, is_nearer in (
        ("What brings them nearer, cheapest first (each run as a whole season):", True),
        ("What keeps nitrate lower without closing the gap (each run as a whole season):", False),
    ):
        say = [words.proof_sentence(proof, units) for proof in plan.proofs[loop] if proof.is_nearer is is_nearer]
        if say:
            # the page's own head asks what brings them nearer
            parts += [
                Sentences([head], on="text" if is_nearer else "both", indent="  ", first="  "),
                Sentences(say, "list", mark="- ", indent="    ", first="  "),
            ]
    changes = [proof.change for proof in plan.proofs[loop]]
    cares = [*words.watercress_care(changes), *cares_beside(plan.season.site.file, changes)]
    return [*parts, Sentences(cares, "note", mark="! ", indent="    ", first="  ")]


def _nutrient_parts(plan: BedPlan, loop: str) -> list[Part]:
    """Where each nutrient comes from and goes, and what to add; nothing where nothing is fed or planted."""
    rows = words.nutrient_rows(plan, loop)
    if not rows:
        return []
    return [
        Lines([f"Nutrients of loop {loop}, g in the season:"], on="text", gap=True),
        Head("Nutrients, g in the season", "page"),
        Table(rows),
        Sentences([words.NUTRIENT_NOTE], "note"),
        Sentences(words.adding_sentences(plan, loop), "background"),
    ]


def _bed_parts(season: Season, draw: Draw) -> list[Part]:
    """Every bed on a map and in a table, then the sludge that beds and compost get."""
    solids = Sentences(words.solids_sentences(season), "background")
    if not season.planting.beds:
        return [solids]
    rows = words.bed_rows(season, season.site.file.site.units)
    clean = Sentences([HYGIENE], "note", gap=True)
    return [Head("Beds, drawn to area", "page"), Chart("beds", partial(draw, "")), clean, Table(rows), solids]


# --- the answer as plain data

_WEEK_KEYS = (
    "feed_g", "biomass_kg", "temperature_c", "light_mol_m2", "supply_g", "draw_g", "uptake_g", "gap_g", "planted_m2",
    "rated_m2", "handbook_low_m2", "handbook_high_m2", "balance_m2", "handbook_feed_g", "balance_feed_g",
    "handbook_biomass_kg", "balance_biomass_kg", "nitrate_n_mg_l", "lowest_n_mg_l", "stock_g", "missed_g",
)  # fmt: skip


def _data(plan: BedPlan) -> dict[str, Any]:
    season = plan.season
    answer = {
        "site": season.site.file.site.name,
        "two_areas": list(words.TWO_AREAS),
        "loops": [_loop(plan, balance) for balance in plan.loops],
        "beds": [_bed(season, column, key) for column, key in enumerate(season.planting.beds)],
        "sludge": _sludge(season),
        "solids": words.solids_sentences(season),
        "cautions": [*words.bed_cautions(plan), *words.bed_assumptions(plan)],
    }
    return marked(answer, season.site)


def _loop(plan: BedPlan, balance: LoopBalance) -> dict[str, Any]:
    season, loop = plan.season, balance.loop
    build = season.build_areas.get(loop)
    return {
        "loop": loop,
        "answer": words.loop_sentences(season, balance),
        "build": None if build is None else build_data(build, season.site.file.site.units),
        "mean_gap_g": round(balance.mean_gap_g, 4),
        "turns": [{"week_of": day.isoformat(), "side": side} for day, side in balance.turns],
        "fall": None if balance.fall is None else _fall(balance.fall),
        "weeks": [_week(week) for week in balance.weeks],
        "fish_come_first": fish_come_first(season, loop),
        "levers": [_proof(proof, season.site.file.site.units) for proof in plan.proofs.get(loop, [])],
        "nutrients": {
            budget.nutrient: {
                "wanted_g": [round(float(v), 4) for v in budget.wanted_g],
                **{f"{key}_g": [round(float(v), 4) for v in values] for key, values in budget.terms.items()},
                "add_g": [round(float(v), 3) for v in budget.add_g],
                "is_short": [bool(week) for week in budget.is_short],
                "salt": PLANT_SALTS[budget.nutrient].name,
            }
            for budget in plan.budgets
            if budget.loop == loop
        },
        "no_published_ratio": words.area_words(season, loop),
    }


def _week(week: Week) -> dict[str, Any]:
    numbers = {name: _number(getattr(week, name)) for name in _WEEK_KEYS}
    return {"week_of": week.first.isoformat(), "days": week.days, "is_short": week.is_short} | numbers


def _fall(fall: Fall) -> dict[str, Any]:
    return {
        "reference": fall.reference.isoformat(), "trough": fall.trough.isoformat(), "faster": fall.faster,
        "feed_share": round(fall.feed_share, 4), "draw_share": round(fall.draw_share, 4),
        "feed_per_kg_share": round(fall.feed_per_kg_share, 4),
        "crosses_again": fall.back.isoformat() if fall.back else None,
    }  # fmt: skip


def _proof(proof: BedProof, units: str) -> dict[str, Any]:
    return {
        "words": change_words(proof.change, units), "is_nearer": proof.is_nearer,
        "gap_before_g": round(proof.gap_before_g, 4),
        "gap_after_g": round(proof.gap_after_g, 4),
        "nitrate_before_mg_l": round(proof.nitrate_before_mg_l, 2),
        "nitrate_after_mg_l": round(proof.nitrate_after_mg_l, 2),
        "growth_kg": round(proof.growth_kg, 3), "harvest_kg": round(proof.harvest_kg, 3),
        "breaks": [f"{limit} of {where}" for limit, where in proof.breaks],
    }  # fmt: skip


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 4)


def _bed(season: Season, column: int, key: str) -> dict[str, Any]:
    """One bed: harvest, and by week what its crops wanted and missed."""
    beds, table = season.bed_course, season.site.file.beds[key]
    followed = [name for name in beds.demand_g if name != "calcium" or BED_KINDS[table.kind].is_on_loop]
    return {
        "bed": key, "kind": table.kind, "area_m2": table.area, "planted_face_m2": table.planted_face,
        "harvest_kg": _number(float(beds.harvest_kg[:, column].sum())),
        "harvest_by_week_kg": [_number(float(kilos)) for kilos in by_week(beds.harvest_kg[:, column])],
        "nutrients": {
            name: {
                "wanted_g": [_number(float(v)) for v in by_week(beds.demand_g[name][:, column])],
                "missing_g": [_number(float(v)) for v in by_week(beds.shortfall_g(name)[:, column])],
            }
            for name in followed
        },
    }  # fmt: skip


def _sludge(season: Season) -> list[dict[str, Any]]:
    """What each fed wicking bed is sent and drinks, by week."""
    wicking = season.bed_course.wicking
    return [
        {
            "bed": bed,
            **{
                name: [_number(float(v)) for v in by_week(values[:, column])]
                for name, values in (
                    ("nitrogen_g", wicking.sent_n_g), ("phosphorus_g", wicking.sent_p_g),
                    ("drawn_l", wicking.drawn_l), ("drunk_l", wicking.drunk_l),
                )
            },
        }
        for column, bed in enumerate(season.planting.stands.beds)
        if wicking.is_fed[column]
    ]  # fmt: skip
