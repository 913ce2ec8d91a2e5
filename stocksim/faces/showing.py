"""Answers on pages: the frame that every page begins with, and the sections of an answer shown one below the other."""

from __future__ import annotations

import streamlit as st

from stocksim.errors import StocksimError
from stocksim.faces import frame, markup, screen
from stocksim.faces.answer import Answer, Chart, Head, Lines, Section
from stocksim.faces.glossary import words_of
from stocksim.units import format_date


def begin(title: str, where: str = "Below", is_from_book: bool = False, is_bar_from_book: bool = False) -> screen.Shown:
    """Head of a page: the bar, its title and, where the text has faults, whose answer is shown.

    Parameters
    ----------
    title : str
        The page's heading.
    where : str
        Where the answer stands, as ``Below``; empty where the page tells that itself, by `tell_version`.
    is_from_book : bool
        Whether the season that is shown starts today where the site has a record book.
    is_bar_from_book : bool
        Whether the bar alone tells of that season.

    Returns
    -------
    Shown
        With a season; a page without any sound version ends here, after the faults.
    """
    screen.begin()
    shown = screen.shown()
    frame.head(shown, is_from_book or is_bar_from_book)
    st.html(markup.heading_html(title))
    if shown.season is None:
        st.html(markup.faults_html(shown.faults))
        st.stop()
    if where:
        tell_version(shown, where)
    return _from_book(shown) if is_from_book else shown


def _from_book(shown: screen.Shown) -> screen.Shown:
    """The rest of the season by the record book, which is told; the whole one where there is none or it is faulty."""
    try:
        rest = screen.from_book(shown)
    except StocksimError as error:
        st.html(markup.faults_html([str(fault) for fault in error.faults]))
        return shown
    if rest is not shown and rest.season is not None:
        begins = format_date(rest.season.dates[0])
        st.html(markup.notice_html(f"By the record book: the season from {begins} on."))
    return rest


def tell_version(shown: screen.Shown, where: str) -> None:
    """Whose answer is shown, where the text has faults; ``where`` it stands is ``Below`` or ``Above``."""
    if shown.is_last_sound:
        st.html(markup.notice_html(f"{where}: the last sound version, {shown.source.name} before the faults."))


def verdict(answer: Answer) -> None:
    """What the page answers, below the site's own verdict."""
    st.html(markup.said_html(answer.verdict, answer.is_trouble, answer.is_caution))


def words(*answers: Answer) -> None:
    """What the words of the field mean that these answers say, folded, at the end of a page; paper goes without."""
    met = words_of(answers)
    if met:
        st.html(markup.words_html(met))


def section_html(answer: Answer, key: str) -> str:
    """HTML of a section without charts, for a place that is filled again in the same run."""
    return "".join(map(markup.part_html, answer.section(key).parts))


def show(answer: Answer, *keys: str) -> None:
    """Sections of an answer, in the order of the keys; all where none is named, and none for a key that it has not."""
    chosen = [answer.section(key) for key in keys if answer.has(key)] if keys else list(answer.sections)
    for section in chosen:
        show_section(section)


def show_section(section: Section) -> None:
    """One section; nothing where it is empty on pages."""
    parts = [part for part in section.parts if isinstance(part, Chart) or markup.part_html(part)]
    if not parts:
        return
    fold = st.expander(section.folded, section.is_open) if section.folded else st.container(key=f"part_{section.key}")
    with fold:
        for part in parts:
            if isinstance(part, Chart):
                spec = part.draw()
                if spec is not None:
                    spec = dict(spec)
                    words = spec.pop("description")
                    st.vega_lite_chart(spec, theme=None, width="stretch", alt=words, key=f"chart_{part.name}")
            elif isinstance(part, Head):
                st.markdown(f"## {markup.plain_underscores(part.text)}")
            elif isinstance(part, Lines):
                st.code("\n".join(part.lines), language="toml", wrap_lines=True)
            else:
                st.html(markup.part_html(part))
