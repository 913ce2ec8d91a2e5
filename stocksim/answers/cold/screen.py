"""What the cold-months page keeps: the computed site, the comparison, and its charts."""

from __future__ import annotations

import math
from typing import Any

import streamlit as st

from stocksim.answers.cold import charts as cold_charts
from stocksim.answers.cold import words as cold_words
from stocksim.answers.cold.decide import Cold, compare_cold
from stocksim.answers.cold.options import computed_site
from stocksim.errors import Fault, InputError
from stocksim.faces.screen import Source, solve
from stocksim.heat.hourly import Warmth
from stocksim.heat.temperatures import warmth_of_site
from stocksim.site.reading import Site

WORTH_LABEL = "A kilo of fish is worth (money of your fuel prices)"
_MOST_WORTH = 1e6  # as much as a price of fuel may be


def worth_of_typed(typed: str) -> float:
    """What a kilo of fish is worth, of what was typed; raises InputError where that is no price."""
    try:
        worth = float(typed)
    except ValueError:
        worth = math.nan
    if not 0.0 <= worth <= _MOST_WORTH:
        met = typed.strip()
        raise InputError(
            [Fault("", WORTH_LABEL, f'"{met}" is not allowed; write a number from 0 to {_MOST_WORTH:,.0f}, as 8.')]
        )
    return worth


def computed(source: Source) -> tuple[Site, list[str]]:
    """The site with its water computed, and what was set aside; raises InputError where it cannot be."""
    return computed_site(solve(source).site)


@st.cache_data(max_entries=8, show_spinner="Computing the winter hour by hour")
def _warmth(source: Source) -> Warmth:
    found = warmth_of_site(computed(source)[0])
    assert found is not None  # computed_site has refused the others
    return found


@st.cache_data(max_entries=8, show_spinner=False)
def _compared(source: Source, worth: float) -> Cold:
    bar = st.progress(0.0, "Comparing set points and measures")

    def tell(done: int, total: int) -> None:
        bar.progress(min(done / total, 1.0), "Comparing set points and measures")

    found = compare_cold(solve(source).site, worth, progress=tell)
    bar.empty()
    return found


def compared(source: Source, worth: float) -> Cold:
    """Comparison of a sound site, with a progress bar the first time."""
    return _compared(source, worth)


@st.cache_data(max_entries=32, show_spinner=False)
def temperature_spec(source: Source) -> dict[str, Any]:
    """Stack of air and water as a Vega-Lite specification."""
    return cold_charts.temperature_stack(solve(source), _warmth(source)).to_dict(validate=False)


@st.cache_data(max_entries=32, show_spinner=False)
def spec_of(source: Source, worth: float, name: str) -> dict[str, Any] | None:
    """One of the charts ``frontier``, ``fuel``, ``night`` as a specification; None where there is nothing to draw."""
    charts = {
        "frontier": cold_charts.frontier_chart, "fuel": cold_charts.fuel_chart, "night": cold_charts.night_chart,
    }  # fmt: skip
    chart = charts[name](compared(source, worth))
    return None if chart is None else chart.to_dict(validate=False)


def month_table(source: Source) -> list[dict[str, str]]:
    """Air and water of each month, for a table."""
    return cold_words.water_rows(_warmth(source), solve(source).site.file.site.units)
