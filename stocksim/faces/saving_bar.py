"""The bar that says what is saved and what is a draft, and asks where a file and a page have gone apart.

Apart from the frame of pages in app.py, which calls it, to be tested by itself.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import Literal

import streamlit as st

from stocksim.errors import StocksimError
from stocksim.faces import guard, keeping, markup, screen
from stocksim.faces.words import day_words
from stocksim.site.examples import FOLDER
from stocksim.site.saving import Draft, OnDisk

_MOST_LINES = 400


def bar(is_editing: bool) -> None:
    """All that there is to say about the file of the shown site.

    Parameters
    ----------
    is_editing : bool
        Whether the page edits the site: then what is saved is told even where nothing is amiss.
    """
    if keeping.is_read_only():
        return
    keeping.keep_draft()
    standing = keeping.standing()
    offers = keeping.offered()
    others = keeping.others_at_work()
    is_told = is_editing or keeping.is_unsaved() or standing in ("changed", "gone")
    said = st.session_state.pop("saving_said", "")
    if not (is_told or offers or others or said):
        return
    with st.container(key="saving_bar"):
        if said:
            st.html(markup.faults_html([said]))
        if offers:
            _offers(offers, is_editing)
        if others:
            st.html(markup.paragraph_html("Another page that is open now has edits of this file that are not saved."))
        if standing == "changed":
            _changed()
        elif standing == "gone":
            _gone()
        elif is_told:
            _saved_or_not(standing == "no file")


def difference(old: str, new: str, old_name: str, new_name: str) -> str:
    """Lines in which two texts differ, in the unified form, cut where there are very many.

    Examples
    --------
    >>> print(difference("count = 60\\n", "count = 46\\n", "saved", "here"))
    --- saved
    +++ here
    @@ -1 +1 @@
    -count = 60
    +count = 46
    """
    found = list(difflib.unified_diff(old.splitlines(), new.splitlines(), old_name, new_name, n=1, lineterm=""))
    more = len(found) - _MOST_LINES
    return "\n".join(found[:_MOST_LINES] + ([f"({more} more lines)"] if more > 0 else []))


def show_difference(old: str, new: str, old_name: str, new_name: str) -> None:
    """The lines in which two texts differ, one click away."""
    with st.expander("Show the difference"):
        st.code(difference(old, new, old_name, new_name) or "There is none.", language="diff")


def _difference_button(old: str, new: str, old_name: str, new_name: str) -> None:
    """The same in the row of what can be done."""
    with st.popover("Show the difference"):
        st.code(difference(old, new, old_name, new_name) or "There is none.", language="diff")


def _offers(offers: list[Draft], is_editing: bool) -> None:
    """Drafts found: in one line, so that the answer of the page stays near its top; a single one of the edit page as it
    is."""
    if is_editing and len(offers) == 1:
        _offer(0, offers[0])
        return
    names = {keeping.draft_name(draft) for draft in offers}
    found = "Unsaved edits were found" if len(offers) == 1 else f"Unsaved edits were found: {len(offers)} drafts"
    words = found.replace("edits", f"edits of {next(iter(names))}", 1) if len(names) == 1 else found
    with st.popover(markup.label(words, found), key="drafts_found"):
        for number, draft in enumerate(offers):
            _offer(number, draft)


def _offer(number: int, draft: Draft) -> None:
    """A draft found: take or discard it."""
    name = keeping.draft_name(draft)
    when = f"{day_words(draft.written.date())}, {draft.written:%H:%M}"
    st.html(markup.told_html(f"Unsaved edits of {name} were found, a draft of {when}. They are not in what you see."))
    with st.container(horizontal=True):
        st.button("Take the draft", key=f"take_draft_{number}", on_click=_told(_take_draft, draft))
        st.button("Discard the draft", key=f"discard_draft_{number}", on_click=_told(keeping.discard, draft))
    show_difference(st.session_state.site_text, draft.text, "shown", f"draft of {when}")


def _take_draft(draft: Draft) -> None:
    draft = keeping.latest(draft)
    path = keeping.opened_file() or keeping.target()
    if keeping.is_loose(draft) or path is None:
        holder = keeping.holder_of(draft)
        if holder is not None:
            st.session_state.site_uploads = holder
        folder, path = (holder.path if holder is not None else str(FOLDER)), None
    else:
        folder = str(path.resolve().parent)
        keeping.count_from(path, draft)
    screen.open_site(draft.text, folder, keeping.draft_name(draft), str(path or ""))
    if not st.session_state.get("site_draft_fault"):
        keeping.discard(draft)  # the page now keeps that text in a draft of its own


def _changed() -> None:
    """The file is another one than the page has seen."""
    state = st.session_state
    name = state.site_name
    try:
        found, why = keeping.theirs(), ""
    except StocksimError as error:
        found, why = None, f"It cannot be read now: {error}"
        if not state.site_text:
            return  # the page says so itself
    unsaved = " Your edits here are not saved." if keeping.is_unsaved() else ""
    st.html(markup.told_html(f"{name} was changed on disk since this page has read it.{unsaved} {why}".rstrip()))
    with st.container(horizontal=True):
        st.button("Keep mine", key="keep_mine", on_click=_told(keeping.accept, found))
        st.button("Take theirs", key="take_theirs", disabled=found is None, on_click=_told(_take_theirs, found))
        if found is not None:
            _difference_button(found.text, state.site_text, "on disk", "here")


def _take_theirs(found: OnDisk) -> None:
    keeping.accept(found)
    screen.change_text(found.text, is_new_form=True)


def _gone() -> None:
    """The file is no longer there."""
    name = st.session_state.site_name
    words = f"{name} is no longer at its place: deleted, renamed or moved. What you see is this page's copy of it."
    st.html(markup.told_html(words if st.session_state.site_text else f"{name} is not there."))
    if st.session_state.site_text:
        st.button("Save it again", key="save_again", on_click=_told(keeping.save))


def _saved_or_not(has_no_file: bool) -> None:
    """What is saved, what is a draft, and the button that saves."""
    state = st.session_state
    is_unsaved = keeping.is_unsaved()
    draft = keeping.own_draft()
    with st.container(horizontal=True, vertical_alignment="center"):
        if has_no_file:
            _save_as(is_unsaved)
        else:
            # never disabled: a click straight out of a field is the first that the pages hear of the entry
            kind: Literal["primary", "secondary"] = "primary" if is_unsaved else "secondary"
            st.button("Save", key="save", type=kind, on_click=_told(keeping.save))
        before = keeping.kept_version()
        if not is_unsaved:
            saved = "An example: your edits will be kept as a draft until you save them as a file of your own."
            words = saved if has_no_file else f"Saved in {state.site_name}."
            words += f" The version before is in {before}." if before and not has_no_file else ""
        else:
            kept = f"kept as a draft ({draft.name})" if draft is not None else "in this page only"
            words = f"Not saved: your edits are {kept}."
            words += "" if has_no_file else f" Save puts them into {state.site_name}."
        st.html(markup.paragraph_html(words), width="content")
    if state.get("site_draft_fault"):
        st.html(markup.faults_html([state.site_draft_fault]))


def _save_as(is_unsaved: bool) -> None:
    """A name for a site that has no file yet."""
    folder = keeping.start_folder()
    if folder is None:
        st.download_button(
            "Download to save", st.session_state.site_text, st.session_state.site_name, on_click="ignore", key="save_by"
        )
        return
    with st.popover("Save as", type="primary" if is_unsaved else "secondary"):
        place, start = f"name to save as of {st.session_state.site_name}", st.session_state.site_name
        guard.text("Name of the new file", place, start)
        st.caption("It goes into the folder in which `stocksim open` was called; no file there is overwritten.")
        st.button(
            "Save as a new file",
            key="save_as",
            on_click=_told(lambda: keeping.save_as(guard.entry(place, start))),
        )


def _told(act: Callable[..., object], *arguments: object) -> Callable[[], None]:
    """What a button does; a refusal, or a fault of ours, is told in the bar."""

    def do() -> None:
        try:
            act(*arguments)
        except Exception as error:
            st.session_state.saving_said = " ".join(guard.faults_of(error))

    return guard.kept(do)
