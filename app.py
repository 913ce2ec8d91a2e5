"""Starts the Streamlit pages: the frame around every page."""

import streamlit as st

from stocksim.faces import guard, guests, keeping, markup, registry, saving_bar, screen

st.set_page_config(layout="wide")
st.html(markup.STYLE)
if not guests.is_admitted():
    st.stop()
st.html(guests.SCRIPT, unsafe_allow_javascript=True)
screen.begin()
pages = {
    page.address: st.Page(page.script, title=page.title, url_path=page.address, default=page is registry.PAGES[0])
    for page in registry.PAGES
    if not (page.address in ("edit", "start") and keeping.is_read_only())
}
editing = pages.get("edit")
shown = st.navigation(list(pages.values()), position="hidden")
# our own row of links: on a phone the built-in menu hides in a drawer that stays open over the page
with st.container(key="menu", horizontal=True):
    group = ""
    for page in registry.PAGES:
        if page.address in pages:
            if page.group != group:
                group = page.group
                st.html(markup.group_html(group), width="content")
            st.page_link(pages[page.address], width="content")
if editing is not None and screen.begins_faulty() and shown is not editing:
    st.switch_page(editing)  # a faulty file: what must be mended comes first
st.set_page_config(page_title=f"{shown.title} - {screen.name_shown()}")
saving_bar.bar(is_editing=shown is editing)
guard.page(shown.run, screen.undo, lambda: None if editing is None else st.page_link(editing))
