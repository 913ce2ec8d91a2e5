"""The frame of every page: the site's name with one verdict bar, the same on all of them."""

from __future__ import annotations

import streamlit as st

from stocksim.engine.results.frames import Season
from stocksim.errors import StocksimError
from stocksim.faces import forms, keeping, markup, screen
from stocksim.faces.editing import tables
from stocksim.faces.verdict_bar import Told, told


def head(shown: screen.Shown, is_from_book: bool = False) -> None:
    """The bar, which stays at the top of the window.

    Parameters
    ----------
    shown : Shown
        What the page shows.
    is_from_book : bool
        Whether the bar tells of the season from today on by the record book. What a test found over a limit stands in
        the bar of every page.
    """
    season = shown.season
    if shown.faults:
        name = season.site.file.site.name if season is not None else shown.source.name
        refused = forms.of_site(tables(st.session_state.site_text))
        words = f"To fix: {len(refused) + len(shown.faults)}. {keeping.kept_words()}"
        bar = Told(name, words, True, False)
    else:
        assert season is not None  # no season, no sound text
        bar = told(season)
        rest = _by_book(shown)
        if rest is not None and (is_from_book or rest.site.begun.over):
            bar = told(rest)
            bar = bar._replace(name=f"{bar.name}, by the record book")
    with st.container(key="verdict_bar"):
        st.html(markup.verdict_html(bar.words, bar.is_trouble, bar.is_caution, bar.name))


def _by_book(shown: screen.Shown) -> Season | None:
    """The season from today on by the record book; None without one, or where it is faulty, which the page tells."""
    try:
        rest = screen.from_book(shown)
    except StocksimError:
        return None
    return None if rest is shown else rest.season
