"""Trying an action that is advised: a draft of the site with it, before and after side by side, then taken or left.

Apart from the page of the season, which draws its answer, as a change that is tried is a matter of the session.
"""

from __future__ import annotations

from typing import Any

import streamlit as st
import tomlkit

from stocksim.changes.steps import Step
from stocksim.changes.ways import Way
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.faces import editing, guard, keeping, markup, screen
from stocksim.faces.saving_bar import show_difference
from stocksim.faces.side_by_side import outcome_rows
from stocksim.faces.ways_words import dated_words
from stocksim.faces.words import verdict
from stocksim.site.reading import Site

_TRYING = "trying"  # (source, words, fields) of what is tried, in the session


def alone(site: Site, way: Way, step: Step) -> dict[str, Any] | None:
    """What one step of a way writes into the site file without the others: of the events, its own.

    Parameters
    ----------
    site : Site
        That the way is of.
    way : Way
        A way.
    step : Step
        One of its steps.

    Returns
    -------
    dict or None
        Dotted fields to new values, as `Site.with_changes` takes them; None where its events cannot be told from those
        of the other steps.
    """
    fields = dict(step.change.fields)
    if "events" in fields:
        own = list(site.raw.get("events", []))
        added = way.fields["events"][len(own) :]  # in the order of the steps
        with_events = [one for one in way.steps if "events" in one.change.fields]
        if len(added) != len(with_events):
            return None
        event = added[with_events.index(step)]
        if event not in fields["events"]:
            return None
        fields["events"] = [*own, event]
    return fields


def tried_text(text: str, site: Site, fields: dict[str, Any]) -> str:
    """Text of the site with an action: the keeper's own, or written anew where that cannot be edited without harm."""
    tables = site.with_changes(fields).raw
    try:
        new = editing.put_all(text, fields)
    except InputError:
        new = ""
    return new if editing.tables(new) == tables else tomlkit.dumps(tables)


def offer(source: screen.Source, season: Season, way: Way) -> None:
    """A button beside each action of a way, and one for all of them."""
    if keeping.is_read_only():
        return
    units = season.site.file.site.units
    steps = way.by_date(season.dates[0])
    with st.container(key="try_them", horizontal=True):
        st.html(markup.caption_html("Try it, before anything is changed:"), width="content")
        for number, step in enumerate(steps, 1):
            fields = alone(season.site, way, step)
            if fields is not None:
                asked = (source, dated_words(step, units), fields)
                st.button(f"Try line {number}", key=f"try_{number}", on_click=guard.kept(_begin), args=asked)
        if len(steps) > 1:
            st.button(
                "Try all lines",
                key="try_all",
                on_click=guard.kept(_begin),
                args=(source, "all lines", dict(way.fields)),
            )


def show(source: screen.Source, season: Season) -> None:
    """Before and after of what is tried with this site, if anything; then it is taken into the site, or left."""
    asked = st.session_state.get(_TRYING)
    if asked is None or asked[0] != source or keeping.is_read_only():
        return
    _, words, fields = asked
    text = tried_text(source.text, season.site, fields)
    after = screen.solve(source._replace(text=text))
    with st.container(border=True, key="tried"):
        st.html(markup.paragraph_html(f"{words[:1].upper()}{words[1:]}.", "Tried, in a draft:"))
        st.html(markup.bullets_html([f"Before: {verdict(season, season.findings)}",
                                     f"After: {verdict(after, after.findings)}"], False))  # fmt: skip
        rows = [row for row in outcome_rows({"before": season, "after": after}) if row["before"] != row["after"]]
        st.html(markup.table_html(rows) or markup.paragraph_html("Nothing that is counted here changes."))
        show_difference(source.text, text, "now", "with it")
        with st.container(horizontal=True):
            st.button(
                "Take it into the site", type="primary", key="take_tried", on_click=guard.kept(_take), args=(text,)
            )
            st.button("Leave it", key="leave_tried", on_click=guard.kept(_leave))
        st.html(markup.caption_html("Taken, it is a draft until you save it; Undo on the page Site takes it back."))


def _begin(source: screen.Source, words: str, fields: dict[str, Any]) -> None:
    st.session_state[_TRYING] = (source, words, fields)


def _take(text: str) -> None:
    screen.change_text(text, is_new_form=True)
    _leave()


def _leave() -> None:
    st.session_state.pop(_TRYING, None)
