"""The answer about fish and beds, as text and as data."""

from __future__ import annotations

import math
from typing import Any

from stocksim.answers.beds.changes import BedPlan, BedProof
from stocksim.answers.beds.decide import by_week
from stocksim.answers.beds.words import (
    NUTRIENT_NOTE,
    TWO_AREAS,
    adding_sentences,
    area_words,
    bed_cautions,
    bed_rows,
    excess_sentence,
    loop_sentences,
    nutrient_rows,
    proof_sentence,
    solids_sentences,
    table_note,
    week_rows,
)
from stocksim.engine.results.frames import Season
from stocksim.faces.change_words import change_words
from stocksim.faces.text import text_table, wrapped
from stocksim.plants.nutrients import PLANT_SALTS
from stocksim.site.bed_kinds import BED_KINDS


def beds_text(plan: BedPlan) -> str:
    """The answer of ``stocksim beds``."""
    season = plan.season
    units = season.site.file.site.units
    lines = [f"{season.site.file.site.name}: beds and fish, {season.dates[0]} to {season.dates[-1]}", ""]
    lines += [line for text in TWO_AREAS for line in _wrapped(text)]
    for balance in plan.loops:
        lines += ["", f"Loop {balance.loop}"]
        say = loop_sentences(season, balance)
        say += [excess_sentence(season, balance)] if excess_sentence(season, balance) else []
        lines += [line for text in say for line in _wrapped(text, "  ")]
        proofs = plan.proofs[balance.loop]
        if proofs:
            lines += _wrapped("What brings them nearer, cheapest first (each run as a whole season):", "  ")
            lines += [line for proof in proofs for line in _wrapped(f"- {proof_sentence(proof, units)}", "    ")]
        lines += ["", text_table(week_rows(balance, units)), *_wrapped(table_note(units))]
        lines += [line for text in area_words(season, balance.loop) for line in _wrapped(f"No ratio: {text}.")]
        rows = nutrient_rows(plan, balance.loop)
        if rows:
            lines += ["", f"Nutrients of loop {balance.loop}, g in the season:", text_table(rows)]
            lines += _wrapped(NUTRIENT_NOTE)
        lines += [line for text in adding_sentences(plan, balance.loop) for line in _wrapped(text)]
    if season.planting.beds:
        lines += ["", text_table(bed_rows(season, units))]
    lines += [line for text in solids_sentences(season) for line in _wrapped(text)]
    lines += ["", "Cautions:"]
    lines += [line for text in bed_cautions(plan) for line in _wrapped(f"- {text}", "  ")]
    return "\n".join(lines)


def _wrapped(text: str, indent: str = "") -> list[str]:
    return wrapped(text, indent, indent[2:] if text.startswith("- ") else indent)


def beds_answer(plan: BedPlan) -> dict[str, Any]:
    """The answer of ``stocksim beds --json``: keys carry units, null where nothing is known."""
    season = plan.season
    loops = []
    for balance in plan.loops:
        fall = balance.fall
        weeks = [
            {"week_of": week.first.isoformat(), "days": week.days}
            | {
                name: _number(getattr(week, name))
                for name in (
                    "feed_g", "biomass_kg", "temperature_c", "light_mol_m2", "supply_g", "draw_g", "uptake_g", "gap_g",
                    "planted_m2", "rated_m2", "handbook_low_m2", "handbook_high_m2", "balance_m2",
                    "handbook_feed_g", "balance_feed_g", "handbook_biomass_kg", "balance_biomass_kg", "nitrate_n_mg_l",
                )
            }
            for week in balance.weeks
        ]  # fmt: skip
        mine = [budget for budget in plan.budgets if budget.loop == balance.loop]
        loops.append(
            {
                "loop": balance.loop,
                "answer": loop_sentences(season, balance),
                "mean_gap_g": round(balance.mean_gap_g, 4),
                "turns": [{"week_of": day.isoformat(), "side": side} for day, side in balance.turns],
                "fall": None
                if fall is None
                else {
                    "reference": fall.reference.isoformat(), "trough": fall.trough.isoformat(), "faster": fall.faster,
                    "feed_share": round(fall.feed_share, 4), "draw_share": round(fall.draw_share, 4),
                    "feed_per_kg_share": round(fall.feed_per_kg_share, 4),
                    "crosses_again": fall.back.isoformat() if fall.back else None,
                },
                "weeks": weeks,
                "levers": [_proof(proof, season.site.file.site.units) for proof in plan.proofs[balance.loop]],
                "nutrients": {
                    budget.nutrient: {
                        "wanted_g": [round(float(v), 4) for v in budget.wanted_g],
                        **{f"{key}_g": [round(float(v), 4) for v in values] for key, values in budget.terms.items()},
                        "add_g": [round(float(v), 3) for v in budget.add_g],
                        "salt": PLANT_SALTS[budget.nutrient].name,
                    }
                    for budget in mine
                },
                "no_published_ratio": area_words(season, balance.loop),
            }
        )  # fmt: skip
    return {
        "site": season.site.file.site.name,
        "two_areas": list(TWO_AREAS),
        "loops": loops,
        "beds": [_bed(season, column, key) for column, key in enumerate(season.planting.beds)],
        "sludge": _sludge(season),
        "solids": solids_sentences(season),
        "cautions": bed_cautions(plan),
    }  # fmt: skip


def _proof(proof: BedProof, units: str) -> dict[str, Any]:
    return {
        "words": change_words(proof.change, units), "gap_before_g": round(proof.gap_before_g, 4),
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
