"""The row of links to the pages: one line at every width, for on a narrow screen what is to be decided is folded.

Apart from `app`, whose script cannot be imported. The built-in menu would hide in a drawer that stays over the page.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from pathlib import Path

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from stocksim.book import store
from stocksim.faces import keeping, markup, registry

BEGIN_RECORDS = "Begin records"


def links(pages: Mapping[str, StreamlitPage], shown: StreamlitPage) -> None:
    """The row of links.

    Parameters
    ----------
    pages : mapping of str to StreamlitPage
        By their addresses.
    shown : StreamlitPage
        The one that is shown.
    """
    named = [page for page in registry.PAGES if page.address in pages and _label(page, pages[page.address] is shown)]
    with st.container(key="menu", horizontal=True):
        for group, inside in groupby(named, key=lambda page: page.group):
            if not group:
                for page in inside:
                    _link(page, pages, shown)
                continue
            here = list(inside)
            with st.container(key="menu_group", horizontal=True, width="content"):
                st.html(markup.group_html(group), width="content")
                for page in here:
                    _link(page, pages, shown)
                st.html(markup.group_html(""), width="content")
            with st.container(key="menu_fold", width="content"):
                is_here = any(pages[page.address] is shown for page in here)
                # of another page it is another one, so that it closes when a link in it was followed
                with st.popover(f"**{group}**" if is_here else group, key=f"fold at {shown.url_path}"):
                    for page in here:
                        _link(page, pages, shown)


def _link(page: registry.Page, pages: Mapping[str, StreamlitPage], shown: StreamlitPage) -> None:
    here = pages[page.address]
    st.page_link(here, label=_label(page, here is shown), width="content")


def _label(page: registry.Page, is_shown: bool) -> str:
    """Name of a link; empty where the page has nothing to tell yet and is not the one shown."""
    if not page.is_of_records or is_shown or has_records():
        return page.title
    is_first = page.address == "today"
    return BEGIN_RECORDS if is_first and keeping.target() is not None and not keeping.is_read_only() else ""


def has_records() -> bool:
    """Whether a record book lies beside the site that is shown."""
    state = st.session_state
    return store.book_path(Path(state.site_folder) / state.site_name).is_file()
