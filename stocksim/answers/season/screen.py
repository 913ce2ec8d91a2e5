"""What the page of the season keeps between runs of its script."""

from __future__ import annotations

import io
import tempfile
import zipfile

import streamlit as st

from stocksim.answers.season.answer import write_season
from stocksim.faces.screen import Source, seek_changes, solve


@st.cache_data(max_entries=8, show_spinner=False)
def bundle(source: Source) -> bytes:
    """Zip of the five CSV files, summary.json and the site file of a sound site."""
    season = solve(source)
    buffer = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in write_season(season, folder, seek_changes(source)):
            archive.write(path, path.name)
        archive.writestr(source.name, source.text)
    return buffer.getvalue()
