"""What the page on water keeps between runs of its script."""

from __future__ import annotations

import streamlit as st

from stocksim.answers.ramp.decide import Ramp, feeding_ramp
from stocksim.faces.screen import Source, solve


@st.cache_data(max_entries=8, show_spinner="Trying week after week")
def seek_ramp(source: Source) -> Ramp:
    """Feeding ramp of a sound site from its first day; takes some seconds."""
    return feeding_ramp(solve(source).site)
