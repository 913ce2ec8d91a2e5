"""Work that takes longer than a second: shown with how far it is, and ended where the keeper says so."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, TypeVar

import streamlit as st

from stocksim.engine.season import watched
from stocksim.faces import guard
from stocksim.memo import Memo, content_key

R = TypeVar("R")
Tell = Callable[[int, int], None]
_MOST_KEPT = 48  # answers of all pages and sessions
_EVERY_S = 0.15  # between two looks at whether it is still wanted
_kept: Memo[Any] = Memo(_MOST_KEPT)


def worked(name: str, words: str, asked: tuple[Any, ...], act: Callable[[Tell], R]) -> R | None:
    """What some work gives, kept by what was asked; with a bar and a button that ends it while it goes on.

    Parameters
    ----------
    name : str
        Of the work, by which its widgets and what it gives are known.
    words : str
        What is done, for the bar.
    asked : tuple
        All that the answer depends on, as `content_key` takes it.
    act : callable
        Does the work; takes a callable for (done, in all). It is looked after each time that it tells of itself, and
        before each season that it runs.

    Returns
    -------
    object or None
        None where the keeper has ended it; the page says so, and offers to begin again.
    """
    key = content_key(name, *asked)
    stopped = f"stopped {name}"
    if st.session_state.get(stopped) == key:
        with st.container(horizontal=True, vertical_alignment="center", key=f"ended_{name}"):
            st.caption(f"{words}: ended before it was done.")
            st.button("Do it after all", key=f"again_{name}", on_click=guard.kept(_forget), args=(stopped,))
        return None
    return _kept.of(key, lambda: _shown(name, words, stopped, key, act))


def _shown(name: str, words: str, stopped: str, key: bytes, act: Callable[[Tell], R]) -> R:
    place = st.empty()
    with place.container(horizontal=True, vertical_alignment="center", key=f"work_{name}"):
        bar = st.progress(0.0, words)
        st.button("Cancel", key=f"cancel_{name}", on_click=guard.kept(_stop), args=(stopped, key))
    telling = _Telling(bar, words)
    try:
        with watched(telling.look):
            found = act(telling.tell)
    except Exception:  # what is told in the work's place; where the keeper ends it, the next run draws all anew
        place.empty()
        raise
    place.empty()
    return found


class _Telling:
    """A bar that is drawn now and then: drawing ends the work if the keeper has asked for another run."""

    def __init__(self, bar: Any, words: str):
        self.bar, self.words, self.share, self.seasons = bar, words, 0.0, 0
        self.last = time.monotonic()

    def tell(self, done: int, total: int) -> None:
        """How far it is."""
        self.share = min(done / total, 1.0) if total else 0.0
        self._draw()

    def look(self) -> None:
        """A season more."""
        self.seasons += 1
        self._draw()

    def _draw(self) -> None:
        now = time.monotonic()
        if now - self.last >= _EVERY_S:
            self.last = now
            seasons = f" ({self.seasons} runs of seasons)" if self.seasons else ""
            self.bar.progress(self.share, f"{self.words}{seasons}")


def _stop(stopped: str, key: bytes) -> None:
    st.session_state[stopped] = key


def _forget(stopped: str) -> None:
    st.session_state.pop(stopped, None)
