"""The first layer of what is answered about fish and beds: the sentence, what to change, a row a loop, care.

Apart from `answer` for its length.
"""

from __future__ import annotations

import math

from stocksim.answers.beds.changes import BedPlan
from stocksim.changes.change import Care
from stocksim.faces.answer import Brief
from stocksim.faces.care import brief_cares
from stocksim.faces.first_layer import change_row
from stocksim.units import face_unit, to_face


def headline(plan: BedPlan) -> str:
    """By how much fish and beds of each loop differ, in a sentence."""
    said = []
    for balance in plan.loops:
        gap = abs(balance.mean_gap_g)
        if balance.is_even:
            said.append(f"fish and beds of loop {balance.loop} are even")
        elif balance.mean_gap_g > 0.0:
            said.append(f"fish of loop {balance.loop} give {gap:.1f} g of nitrogen a day more than its crops take")
        else:
            said.append(f"crops of loop {balance.loop} want {gap:.1f} g of nitrogen a day more than its fish give")
    words = "; ".join(said) or "no fish and no plantings: nothing to weigh against each other"
    return f"{words[:1].upper()}{words[1:]}."


def _action_rows(plan: BedPlan) -> list[dict[str, str]]:
    """The first change of each loop that helps, and the water to change; by date."""
    season, rows = plan.season, []
    for loop, proofs in plan.proofs.items():
        for is_nearer in (True, False):
            first = next((proof.change for proof in proofs if proof.is_nearer is is_nearer), None)
            if first is not None:
                rows.append(change_row(season, loop, first))
    return [row for _, row in sorted(rows, key=lambda dated: dated[0])]


def _loop_rows(plan: BedPlan) -> list[dict[str, str]]:
    """A row a loop: planted area, the two areas, nitrate at the end."""
    season, rows = plan.season, []
    units = season.site.file.site.units
    unit = face_unit("area", units)

    def area(value: float) -> str:
        return "-" if math.isnan(value) else f"{to_face(value, 'area', units):,.0f}"

    for balance in plan.loops:
        build = season.build_areas.get(balance.loop)
        nan = math.nan
        planted, handbook, nitrogen = (
            (nan, nan, nan) if build is None else (build.planted_m2, build.handbook_m2, build.nitrogen_m2)
        )
        rows.append(
            {
                "loop": balance.loop,
                f"planted {unit}": area(planted),
                f"kept green {unit}": area(handbook),
                f"by nitrogen {unit}": area(nitrogen),
                "nitrate-N at the end mg/L": f"{balance.weeks[-1].nitrate_n_mg_l:.0f}",
            }
        )
    return rows


def _first_care(plan: BedPlan) -> list[str]:
    """Hygiene in a few words, and what watercress asks for where it is planted or advised."""
    crops = {planting.crop for bed in plan.season.site.file.beds.values() for planting in bed.plantings}
    cares = {proof.change.care for proofs in plan.proofs.values() for proof in proofs}
    cress = ["Watercress: own seed only; wild plants bring liver fluke; is it legal where you are?"]
    return [*(cress if "watercress" in crops or Care.WATERCRESS in cares else []), "No tank water on leaves eaten raw."]


def beds_brief(plan: BedPlan) -> Brief:
    """What to change by date, then each loop's planted area and nitrate."""
    rows = _action_rows(plan)
    head = "What would bring fish and beds nearer, by date:" if rows else "Nothing has to be changed."
    changes = [proof.change for proofs in plan.proofs.values() for proof in proofs]
    care = [*_first_care(plan), *brief_cares(plan.season.site.file, changes)]
    return Brief(rows, head, _loop_rows(plan), care)
