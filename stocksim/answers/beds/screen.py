"""What the page on beds keeps between runs of its script."""

from __future__ import annotations

from typing import Any

import streamlit as st

from stocksim.answers.beds.changes import BedPlan, bed_plan
from stocksim.answers.beds.charts import bed_map, bed_stack
from stocksim.answers.beds.decide import LoopBalance, bed_balance, budgets
from stocksim.faces.screen import Source, solve


@st.cache_data(max_entries=32, show_spinner=False)
def weigh(source: Source) -> list[LoopBalance]:
    """Balance of every loop of a sound site."""
    return bed_balance(solve(source))


@st.cache_data(max_entries=8, show_spinner="Trying levers on whole seasons")
def _with_changes(source: Source) -> BedPlan:
    return bed_plan(solve(source))


@st.cache_data(max_entries=16, show_spinner=False)
def _without_changes(source: Source) -> BedPlan:
    season = solve(source)
    return BedPlan(season, tuple(weigh(source)), {}, tuple(budgets(season)))


def plan_of(source: Source, with_changes: bool = True) -> BedPlan:
    """Beds of a sound site; changes take some seconds."""
    return _with_changes(source) if with_changes else _without_changes(source)


@st.cache_data(max_entries=32, show_spinner=False)
def map_spec(source: Source) -> dict[str, Any] | None:
    """Map of the beds as a Vega-Lite specification; None without beds."""
    chart = bed_map(solve(source))
    return None if chart is None else chart.to_dict(validate=False)


@st.cache_data(max_entries=64, show_spinner=False)
def bed_spec(source: Source, loop: str) -> dict[str, Any]:
    """Charts of a loop's beds as a Vega-Lite specification."""
    balance = next(found for found in weigh(source) if found.loop == loop)
    return bed_stack(solve(source), balance).to_dict(validate=False)
