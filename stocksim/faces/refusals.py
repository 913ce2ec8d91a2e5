"""What was typed into a field of the edit page and could not be written into the site's text: kept until mended."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import streamlit as st

from stocksim.faces import editing
from stocksim.faces.forms import Path


class Refused(NamedTuple):
    """What was typed at a place, and why it was refused."""

    typed: str
    sentences: Sequence[str]


def _held() -> dict[Path, Refused]:
    """Refusals of the site that is shown; another site begins without."""
    state = st.session_state
    site = (state.site_folder, state.site_name)
    if state.get("refused_of") != site:
        state.refused_of, state.refused = site, {}
    held: dict[Path, Refused] = state.refused
    return held


def keep(place: Path, typed: str, sentences: Sequence[str]) -> None:
    """Remember what was refused at a place."""
    _held().pop(place, None)
    _held()[place] = Refused(typed, sentences)


def drop(place: Path) -> None:
    """Forget what was refused at a place, which holds something else now."""
    _held().pop(place, None)


def drop_last() -> bool:
    """Forget the newest refusal; whether there was one."""
    if not _held():
        return False
    _held().popitem()
    return True


def typed(place: Path, written: str) -> str:
    """What a field shows: what was refused there, or what the text has."""
    found = _held().get(place)
    return written if found is None else found.typed


def of_row(row: Path) -> list[str]:
    """Sentences of a row's fields."""
    return [said for place, found in _held().items() if place[: len(row)] == row for said in found.sentences]


def of_site(raw: dict[str, Any] | None) -> list[str]:
    """Sentences of all fields; those of rows that are gone are forgotten."""
    for place in [place for place in _held() if raw is not None and editing.value_at(raw, place[:2]) is None]:
        drop(place)
    return [said for found in _held().values() for said in found.sentences]
