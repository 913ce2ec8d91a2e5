"""The frame of every page: the site's name with one verdict bar, the same on all of them."""

from __future__ import annotations

import streamlit as st

from stocksim.faces import forms, keeping, markup, screen
from stocksim.faces.editing import tables
from stocksim.faces.verdict_bar import Told, told


def head(shown: screen.Shown) -> None:
    """The bar, which stays at the top of the window."""
    season = shown.season
    if shown.faults:
        name = season.site.file.site.name if season is not None else shown.source.name
        refused = forms.of_site(tables(st.session_state.site_text))
        words = f"To fix: {len(refused) + len(shown.faults)}. {keeping.kept_words()}"
        bar = Told(name, words, True, False)
    else:
        assert season is not None  # no season, no sound text
        bar = told(season)
    with st.container(key="verdict_bar"):
        st.html(markup.verdict_html(bar.words, bar.is_trouble, bar.is_caution, bar.name))
