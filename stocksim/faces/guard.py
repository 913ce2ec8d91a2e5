"""What a page does when it meets a fault of ours: one sentence, the text of the site untouched, and the way back.

Streamlit breaks a run off at the next look into its session when the browser has sent something newer, in the middle of
a button's or field's work too, and takes the entry for done: what was typed was lost when a click followed at once. So
here that work is done to its end first.
"""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import ParamSpec

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
    return [f"stocksim met a fault of its own here ({kind}); your text is kept: undo the last change or mend it."]


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
