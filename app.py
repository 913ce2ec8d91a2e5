"""Starts the Streamlit pages: the frame around every page."""

from pathlib import Path

import streamlit as st

from stocksim import faces
from stocksim.faces import guard, guests, keeping, leaving, markup, saving_bar, screen

FOLDER = Path(faces.__file__).parent / "pages"

st.set_page_config(page_title="stocksim", layout="wide")
st.html(markup.STYLE)
if not guests.is_admitted():
    st.stop()
st.html(leaving.SCRIPT, unsafe_allow_javascript=True)
screen.begin()
editing = st.Page(FOLDER / "edit.py", title="Edit the site")
pages = [
    st.Page(FOLDER / "season.py", title="Season", default=True),
    st.Page(FOLDER / "water.py", title="Water"),
    st.Page(FOLDER / "beds.py", title="Beds"),
    st.Page(FOLDER / "cold.py", title="Cold months"),
    st.Page(FOLDER / "powercut.py", title="Power cut"),
    st.Page(FOLDER / "company.py", title="Company"),
    st.Page(FOLDER / "stock.py", title="Stocking"),
    *([] if keeping.is_read_only() else [editing]),
    st.Page(FOLDER / "fish.py", title="Fish"),
]
shown = st.navigation(pages, position="hidden")
# our own row of links: on a phone the built-in menu hides in a drawer that stays open over the page
with st.container(key="menu", horizontal=True):
    for page in pages:
        st.page_link(page, width="content")
if screen.begins_faulty() and shown is not editing:
    st.switch_page(editing)  # a faulty file: what must be mended comes first
saving_bar.bar(is_editing=shown is editing)
guard.page(shown.run, screen.undo, lambda: None if keeping.is_read_only() else st.page_link(editing))
