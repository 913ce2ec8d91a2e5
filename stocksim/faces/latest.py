"""A download that gives the newest text, typed in the very field that the click on its button leaves.

A download button of Streamlit holds the file of the run before the click; this one lets a run take what was typed
first, and hands the file over at the end of it.
"""

from __future__ import annotations

import base64

import streamlit as st


def download(label: str) -> None:
    """A button that downloads the session's text of the site, as it is once the field that was left has been taken."""
    if st.button(label, key="download_latest"):
        state = st.session_state
        state.downloads = state.get("downloads", 0) + 1  # an element that changes nothing would not run again
        st.html(_script(state.site_text, state.site_name, state.downloads), unsafe_allow_javascript=True)


def _script(text: str, name: str, number: int) -> str:
    """Script that saves a text as a file; of text and name it holds nothing but letters of base64."""
    held, called = (base64.b64encode(part.encode("utf-8", "surrogateescape")).decode() for part in (text, name))
    return f"""<script>(() => {{
  const bytes = held => Uint8Array.from(atob(held), sign => sign.charCodeAt(0));
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([bytes("{held}")], {{type: "application/toml"}}));
  link.download = new TextDecoder().decode(bytes("{called}"));
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);  // download {number}
}})()</script>"""
