"""Starts the Streamlit pages: the frame around every page."""

import streamlit as st

from stocksim.faces import guard, guests, keeping, markup, menu, registry, saving_bar, screen

st.set_page_config(layout="wide")
st.html(markup.STYLE)
if not guests.is_admitted():
    st.stop()
st.html(guests.SCRIPT, unsafe_allow_javascript=True)
screen.begin()
pages = {
    page.address: st.Page(page.script, title=page.title, url_path=page.address)
    for page in registry.PAGES
    if not (page.address in ("edit", "start") and keeping.is_read_only())
}
editing = pages.get("edit")
# the first page stands at the bare address, and at its own, which a link may hold
at_its_own = pages[registry.FIRST]
bare = st.Page(registry.script_of(registry.FIRST), title=at_its_own.title, url_path="first", default=True)
shown = st.navigation([*pages.values(), bare], position="hidden")
if shown is not at_its_own:
    pages[registry.FIRST] = bare
menu.links(pages, shown)
if editing is not None and screen.begins_faulty() and shown is not editing:
    st.switch_page(editing)  # a faulty file: what must be mended comes first
st.set_page_config(page_title=f"{shown.title} - {screen.name_shown()}")
saving_bar.bar(is_editing=shown is editing)
guard.page(shown.run, screen.undo, lambda: None if editing is None else st.page_link(editing))
