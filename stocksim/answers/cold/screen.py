"""What the page of the cold months keeps: the comparison, and the chart of air and water."""

from __future__ import annotations

from typing import Any

import streamlit as st

from stocksim.answers.cold.charts import temperature_stack
from stocksim.answers.cold.decide import Cold, compare_cold
from stocksim.faces.screen import Source, solve
from stocksim.heat.hourly import Warmth


@st.cache_data(max_entries=8, show_spinner=False)
def compared(source: Source, worth: float) -> Cold:
    """Comparison of a sound site, with a progress bar the first time."""
    bar = st.progress(0.0, "Comparing set points and measures")

    def tell(done: int, total: int) -> None:
        bar.progress(min(done / total, 1.0), "Comparing set points and measures")

    found = compare_cold(solve(source).site, worth, progress=tell)
    bar.empty()
    return found


@st.cache_data(max_entries=32, show_spinner=False)
def temperature_spec(source: Source, _warmth: Warmth) -> dict[str, Any]:
    """Stack of air and water of a sound site, given its heat, as a Vega-Lite specification."""
    return dict(temperature_stack(solve(source), _warmth).to_dict(validate=False))
