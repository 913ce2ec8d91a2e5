"""Widgets whose entry lasts: stored in the session when it changes, and shown from there in every run.

Streamlit forgets a widget that a page does not show, takes one whose start moves for another, and leaves keys behind
when a run is cut short by a change of page: so every entry has a place of its own, and every run shows what is there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from stocksim.faces import guard


def entry(name: str, start: Any) -> Any:
    """What stands under a name, or the start where nothing was entered."""
    return st.session_state.setdefault("kept", {}).get(name, start)


def store(*names: str) -> None:
    """Take what the widgets of these names hold now; a form's button calls it for its fields."""
    held = st.session_state.setdefault("kept", {})
    st.session_state.kept = held | {name: st.session_state[name] for name in names}


def forget(name: str) -> None:
    """Drop an entry, so that its start is shown again."""
    st.session_state.kept = {key: value for key, value in st.session_state.get("kept", {}).items() if key != name}


def shown(name: str, start: Any, in_form: bool = False) -> dict[str, Any]:
    """Arguments of a widget that shows an entry and stores it; in a form the button must call `store`.

    The name is the widget's key too, so no other value of the session may have it.
    """
    st.session_state[name] = entry(name, start)
    return {"key": name} if in_form else {"key": name, "on_change": guard.kept(store), "args": (name,)}


def text(label: str, name: str, start: str = "", in_form: bool = False, **more: Any) -> str:
    """A field of text; its value."""
    return st.text_input(label, **shown(name, start, in_form), **more)


def one_of(label: str, options: Sequence[str], name: str, words: Callable[[str], str] = str) -> str:
    """A row of choices of which one is always chosen, also when the chosen one is clicked again."""
    if entry(name, None) not in options:
        forget(name)
    return st.segmented_control(
        label, list(options), required=True, label_visibility="collapsed", format_func=words, **shown(name, options[0])
    )
