"""What the address of a page holds besides its name, as a tank or a day, so that a link leads back to what was seen."""

from __future__ import annotations

import streamlit as st

from stocksim.faces import guard

_LONGEST = 60  # signs of an entry that an address may bring or hold


def take(**places: str) -> None:
    """Enter what the address brings, where nothing was entered yet.

    Parameters
    ----------
    **places : str
        Name of an entry of `guard` by the parameter of the address, as ``day="day shown"``.
    """
    for parameter, name in places.items():
        brought = st.query_params.get(parameter, "")
        if brought and guard.entry(name, None) is None:
            guard.put(name, brought[:_LONGEST])


def hold(**places: str) -> None:
    """Put what was entered into the address; arguments as in `take`."""
    for parameter, name in places.items():
        entered = str(guard.entry(name, None) or "")[:_LONGEST]
        if not entered:
            st.query_params.pop(parameter, None)
        elif st.query_params.get(parameter) != entered:
            st.query_params[parameter] = entered
