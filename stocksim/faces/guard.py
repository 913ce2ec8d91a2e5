"""What keeps a page whole: no exception ends it, and widgets keep what they were given."""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, ParamSpec

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from stocksim.errors import StocksimError
from stocksim.faces import markup

_LOG = logging.getLogger("stocksim.pages")
P = ParamSpec("P")


def faults_of(error: Exception) -> list[str]:
    """Sentences for whatever went wrong; what is no fault of the site goes to the server's log with its traceback."""
    if isinstance(error, StocksimError):
        return [str(fault) for fault in error.faults]
    _LOG.error("a fault of ours on a page", exc_info=error)
    kind = type(error).__name__
    return [f"stocksim met a fault of its own here ({kind}); your text is kept: undo the last change or fix it."]


def kept(act: Callable[P, object]) -> Callable[P, None]:
    """The same for a button or a field: done to its end, and a fault told instead of ending the page."""

    @functools.wraps(act)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> None:
        with _to_its_end():
            try:
                act(*args, **kwargs)
            except Exception as error:
                st.session_state.site_notes = faults_of(error)

    return guarded


@contextmanager
def _to_its_end() -> Iterator[None]:
    """Let no newer request of the browser break off what is done meanwhile; it is served right afterwards."""
    context = get_script_run_ctx(suppress_warning=True)
    session = context and context.session_state  # of this run alone
    # no public way leads to where it breaks off; another version without this one breaks off as it always did
    breaks_off = getattr(session, "_yield_callback", None)
    if breaks_off is None:
        yield
        return
    object.__setattr__(session, "_yield_callback", lambda: None)
    try:
        yield
    finally:
        object.__setattr__(session, "_yield_callback", breaks_off)


def page(run: Callable[[], object], undo: Callable[[], object], edit: Callable[[], object]) -> None:
    """Run a page; when it fails, say so in one sentence and offer ``undo`` and the way to ``edit``."""
    try:
        run()
    except Exception as error:
        with st.container(key="fault_of_ours"):
            st.html(markup.faults_html(faults_of(error)))
            has_past = bool(st.session_state.get("site_past"))
            st.button("Undo the last change", key="undo_fault", on_click=kept(undo), disabled=not has_past)
            edit()


# --- widgets whose entry lasts: stored in the session when it changes, and shown from there in every run


def entry(name: str, start: Any) -> Any:
    """What stands under a name, or the start where nothing was entered."""
    return st.session_state.setdefault("kept", {}).get(name, start)


def store(*names: str) -> None:
    """Take what the widgets of these names hold now; a form's button calls it for its fields."""
    held = st.session_state.setdefault("kept", {})
    st.session_state.kept = held | {name: st.session_state[name] for name in names}


def put(name: str, value: Any) -> None:
    """Enter a value for the keeper."""
    st.session_state.kept = st.session_state.get("kept", {}) | {name: value}


def forget(name: str) -> None:
    """Drop an entry, so that its start is shown again."""
    st.session_state.kept = {key: value for key, value in st.session_state.get("kept", {}).items() if key != name}


def shown(name: str, start: Any, in_form: bool = False) -> dict[str, Any]:
    """Arguments of a widget that shows an entry and stores it; in a form the button must call `store`.

    The name is the widget's key too, so no other value of the session may have it.
    """
    st.session_state[name] = entry(name, start)
    return {"key": name} if in_form else {"key": name, "on_change": kept(store), "args": (name,)}


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
