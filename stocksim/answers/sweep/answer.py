"""What a sweep is answered: what was run, what held, and where the tables stand.

Apart from `command`, for programs may ask for it too.
"""

from __future__ import annotations

import math
from functools import partial
from typing import Any

from stocksim.answers.sweep.decide import Sweep
from stocksim.faces.answer import Answer, Head, Section, Table, points
from stocksim.faces.marks import marked
from stocksim.units import format_quantity

_MOST_ROWS = 12


def sweep_answer(found: Sweep) -> Answer:
    """What a keeper who swept fields is answered.

    Parameters
    ----------
    found : Sweep
        Of `stocksim.answers.sweep.decide.sweep`.

    Returns
    -------
    Answer
        With the sections ``runs`` and ``notes``.
    """
    site = found.plan.site
    rows = _rows(found)
    sections = [Section("runs", [Head("Runs, the fewest broken limits first"), Table(rows)])] if rows else []
    sections.append(Section("notes", [points(_notes(found), "background")]))
    title = f"{site.file.site.name}: {found.plan.number:,} runs over {', '.join(found.plan.vary)}"
    return Answer(title, _verdict(found), sections, partial(_data, found))


def _verdict(found: Sweep) -> str:
    runs = found.runs
    refused = int(runs["fault"].notna().sum())
    if refused == len(runs):
        return f"None of {len(runs):,} runs gives a sound site; the column fault says why."
    held = int((runs["limits_broken"] == 0).sum()) if "limits_broken" in runs else 0
    more = f" {refused:,} are no sound site; the column fault says why." if refused else ""
    return f"In {held:,} of {len(runs):,} runs no limit is broken.{more}"


def _rows(found: Sweep) -> list[dict[str, str]]:
    """The best runs: fewest broken limits, then most growth."""
    runs = found.runs
    if "growth_kg" not in runs:
        return []
    units = found.plan.site.file.site.units
    best = runs[runs["fault"].isna()].sort_values(
        ["limits_broken", "growth_kg"], ascending=[True, False], kind="stable"
    )
    return [
        {
            **{field: _text(row[field]) for field in found.plan.vary},
            "limits broken": f"{row['limits_broken']:.0f}",
            "growth": format_quantity(row["growth_kg"], "mass", units),
            "feed": format_quantity(row["feed_kg"], "mass", units),
            "deaths": f"{row['deaths']:.0f}",
        }
        for row in best.head(_MOST_ROWS).to_dict("records")
    ]


def _text(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _notes(found: Sweep) -> list[str]:
    told = []
    if found.plan.points:
        told.append(f"{found.plan.points:,} Sobol points with seed {found.plan.seed}; a power of two is run.")
    if found.done_before:
        told.append(f"{found.done_before:,} of the runs stood in the folder already.")
    if len(found.runs) > _MOST_ROWS:
        told.append(f"The {_MOST_ROWS} best runs are shown; all stand in runs.csv, every limit of each in limits.csv.")
    told.append("A season of the model is a plan: nothing here is drawn from what is uncertain; `outlook` does that.")
    return told


def _data(found: Sweep) -> dict[str, Any]:
    data = {
        "site": found.plan.site.file.site.name,
        "verdict": _verdict(found),
        "fields": list(found.plan.vary),
        "points": found.plan.points or None,
        "seed": found.plan.seed,
        "number": found.plan.number,
        "done_before": found.done_before,
        "files": [path.name for path in found.files],
        "runs": [{key: _plain(value) for key, value in row.items()} for row in found.runs.to_dict("records")],
    }
    return marked(data, found.plan.site)


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
