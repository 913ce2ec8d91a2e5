"""What the full season of a stocking plan adds to its words: the level behind a biofilter, and fish lost."""

from __future__ import annotations

import numpy as np

from stocksim.engine.findings import Finding
from stocksim.faces.water_cautions import CHALK_PH
from stocksim.faces.words import day_words, level_words
from stocksim.planning.levers import limit_name
from stocksim.planning.program_reasons import Binding
from stocksim.planning.stock_rounds import HANGS_ON, MATTERS_FROM
from stocksim.planning.stocking import StockingPlan


def named(names: list[str]) -> str:
    """Names in a row, as ``A, B and C``."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def behind_biofilter(plan: StockingPlan, item: Binding) -> str:
    """Which level in the water stands near its limit in the full season, where the biofilter answers for it."""
    assert plan.season is not None
    layout, course = plan.season.layout, plan.season.course
    loop = layout.loops.index(item.where)
    near: list[tuple[float, Finding]] = []
    for found in plan.season.findings:
        if found.limit not in HANGS_ON or not found.threshold:
            continue
        tank = layout.tanks.index(found.where.split(".")[1])
        if layout.leaf_loop[tank, loop] > 0.0 and found.worst_value > MATTERS_FROM * found.threshold:
            near.append((found.worst_value / found.threshold, found))
    if not near:
        return ""
    found = max(near, key=lambda pair: pair[0])[1]
    units = plan.problem.site.file.site.units
    ph = float(course.ph[0, (found.worst_date - layout.start).days, loop])
    high = (
        f" (a pH above {CHALK_PH} comes out too high, and so does this: test it)"
        if ph > CHALK_PH and plan.problem.site.file.loops[item.where].ph is None
        else ""
    )
    return (
        f"; behind it stands {limit_name(found.limit)} in tank {found.where.split('.')[1]}, in the full season up to "
        f"{level_words(found.worst_value, 'mg/L', units)} of {level_words(found.threshold, 'mg/L', units)} on "
        f"{day_words(found.worst_date)} at pH {ph:.1f}{high}"
    )


def loss_words(plan: StockingPlan) -> list[str]:
    """Planned fish of which the model loses some before the end."""
    if plan.season is None:
        return []
    layout, count, said = plan.season.layout, plan.season.course.count[0], []
    for p in plan.cohorts:
        there = count[:, layout.cohorts.index(p.cohort)]
        days = np.flatnonzero(there > 0.0)
        left = round(float(there[days[-1]])) if days.size else 0
        if left < p.fish:
            said.append(f"{left} of the {p.fish} {p.cohort}")
    if not said:
        return []
    return [
        f"By the model {named(said)} are left at the end; the rest is taken out as the file says or dies, as wild fish "
        "do that never learn to take pellets."
    ]
