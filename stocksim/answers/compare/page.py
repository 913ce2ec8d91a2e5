"""Two or three sites side by side: the one shown, as it is saved, before the last change, drafts, examples, uploads."""

from typing import Any

import streamlit as st

from stocksim.answers.compare.answer import FEWEST, MOST, compare_answer
from stocksim.engine.results.frames import Season
from stocksim.errors import StocksimError
from stocksim.faces import guard, keeping, markup, screen, showing, working
from stocksim.site.examples import FOLDER, example_names, example_text
from stocksim.site.saving import text_of

UPLOADS = "files to compare"


def candidates(shown: screen.Shown) -> dict[str, screen.Source]:
    """What can be set side by side, by the name it has on the screen."""
    state = st.session_state
    found = {"as shown": shown.source}
    if keeping.target() is not None and keeping.known().text:
        found["as saved"] = screen.source_of(keeping.known().text, state.site_folder, state.site_name)
    if state.site_past:
        text, folder, name, _ = state.site_past[-1]
        found["before the last change"] = screen.source_of(text, folder, name)
    for number, draft in enumerate(keeping.offered(), 1):
        found[f"draft {number}"] = screen.source_of(draft.text, state.site_folder, keeping.draft_name(draft))
    for file in state.get(UPLOADS) or []:
        found[file.name] = screen.source_of(text_of(file.getvalue(), file.name), state.site_folder, file.name)
    return found | {name: screen.source_of(example_text(name), str(FOLDER), f"{name}.toml") for name in example_names()}


def spec_of(name: str) -> dict[str, Any]:
    """The picture of one of those chosen."""
    return screen.chart_spec(known[name], "density")


shown = showing.begin("Compare")
try:
    known = candidates(shown)
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.stop()
wanted: tuple[str, ...] = ("as shown", "before the last change", "as saved")
start = [name for name in wanted if name in known][:FEWEST]
start += [name for name in known if name not in start][: FEWEST - len(start)]
if not set(guard.entry("compared", start)) <= set(known):
    guard.forget("compared")
chosen = st.multiselect(
    "Side by side, two or three", list(known), max_selections=MOST, **guard.shown("compared", start)
)
st.file_uploader(
    "and site files (.toml) of your own, beside the site shown", type=["toml"], accept_multiple_files=True, key=UPLOADS
)
if len(chosen) < FEWEST:
    st.caption("Choose two or three.")
    st.stop()


def solved(tell: working.Tell) -> tuple[dict[str, Season], list[str]]:
    """Seasons of those chosen by name, and the faults of those that cannot be run."""
    seasons, faults = {}, []
    for number, name in enumerate(chosen):
        tell(number, len(chosen))
        try:
            seasons[name] = screen.solve(known[name])
        except StocksimError as error:
            faults += [f"{name}: {fault}" for fault in error.faults]
    return seasons, faults


found = working.worked("compare", "Running their seasons", tuple((name, known[name]) for name in chosen), solved)
if found is None:
    st.stop()
seasons, faults = found
if faults:
    st.html(markup.faults_html(faults))
    st.stop()
answer = compare_answer(seasons, spec_of)
showing.verdict(answer)
showing.show(answer)
showing.words(answer)
