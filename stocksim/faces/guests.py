"""Who may see the pages when they are served to a network: those who bring the token."""

from __future__ import annotations

import os
import secrets

import streamlit as st

from stocksim.faces import markup


def is_admitted() -> bool:
    """Whether the browser has brought the token, if one is asked for; asks for it otherwise.

    The address keeps the token, so that a page that is loaded again is not asked again.
    """
    wanted = os.environ.get("STOCKSIM_TOKEN", "")
    if not wanted:
        return True
    state = st.session_state
    if not state.get("is_admitted"):
        state.is_admitted = _is_same(st.query_params.get("token", ""), wanted)
    if state.is_admitted:
        if st.query_params.get("token") != wanted:
            st.query_params["token"] = wanted
        return True
    st.html(markup.heading_html("These pages ask for a token"))
    st.html(markup.paragraph_html('Open the whole address that "stocksim open" has printed, or type its token here.'))
    typed = st.text_input("Token", type="password", key="token")
    if typed and _is_same(typed.strip(), wanted):
        state.is_admitted = True
        st.rerun()
    if typed:
        st.html(markup.fault_html("This is not the token."))
    return False


def _is_same(given: str, wanted: str) -> bool:
    return secrets.compare_digest(given.encode("utf-8", "replace"), wanted.encode())
