"""What the page on beds keeps between runs of its script."""

from __future__ import annotations

from typing import Any

import streamlit as st

from stocksim.answers.beds.answer import drawn
from stocksim.answers.beds.changes import BedPlan, bed_plan
from stocksim.faces.screen import Source, solve


@st.cache_data(max_entries=24, show_spinner=False)
def plan_of(source: Source, is_sought: bool) -> BedPlan:
    """Beds of a sound site; seeking changes takes some seconds."""
    return bed_plan(solve(source), is_sought=is_sought)


@st.cache_data(max_entries=96, show_spinner=False)
def chart_spec(source: Source, loop: str = "") -> dict[str, Any] | None:
    """Charts of a loop's beds as a Vega-Lite specification; of no loop the map of all beds, None without any."""
    return drawn(plan_of(source, False), loop)
