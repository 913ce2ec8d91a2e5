"""Begin a site with five questions: what is not answered is assumed, marked in the file, and can be changed later."""

import datetime as dt
from pathlib import Path

import streamlit as st

from stocksim.errors import InputError
from stocksim.faces import care, guard, guided, keeping, markup, screen
from stocksim.faces.guided import ASKS, BY_MONTHS, HEATED, HELD, QUESTIONS, WAYS, WEATHER_FILE, Ask
from stocksim.faces.registry import script_of
from stocksim.library.crops import crop_names
from stocksim.library.species import species_names
from stocksim.site.examples import FOLDER

NAMES = {"metric": "liters, degC", "us": "gallons, degF"}
FILE = "my_site.toml"
UPLOAD = "start_weather"


def key(name: str) -> str:
    return f"start, {name}"


def options(ask: Ask) -> list[str]:
    """Choices of a question."""
    named = {"crops": crop_names, "species": species_names}
    return list(ask.choices) if not isinstance(ask.choices, str) else list(named[ask.choices](FOLDER))


def words(option: str) -> str:
    return WAYS.get(option, option.replace("_", " "))


def asked(ask: Ask, units: str) -> None:
    """A field of a question, with its faults beside it once the verdict was asked for."""
    with st.container(width=250):
        start = guided.assumed(ask.name, units)
        if ask.kind == "choice":
            choices = options(ask)
            held = guard.entry(key(ask.name), start)
            st.selectbox(ask.label, choices, format_func=words,
                         **guard.shown(key(ask.name), held if held in choices else choices[0]))  # fmt: skip
        else:
            guard.text(ask.label, key(ask.name), placeholder=f"{start} is assumed")
        for fault in st.session_state.get("start_faults", {}).get(ask.name, []):
            st.html(markup.fault_html(fault))


def weather_file() -> None:
    """A year of weather instead of four temperatures, for who has one."""
    st.file_uploader("or a year of weather: an EPW file (.epw)", type=["epw"], key=UPLOAD)
    for fault in st.session_state.get("start_faults", {}).get(WEATHER_FILE, []):
        st.html(markup.fault_html(fault))


def answers(units: str) -> dict[str, str]:
    """What was answered so far."""
    way = guard.entry(key("way"), HELD)
    return {
        name: str(guard.entry(key(name), guided.assumed(name, units) if ask.kind == "choice" else ""))
        for name, ask in ASKS.items()
        if not ask.ways or way in ask.ways
    }


def judge(units: str) -> None:
    """Look at all answers: their faults beside them, or the site that they make, opened as a draft."""
    folder, given = screen.own_folder(), st.session_state.get(UPLOAD)
    try:
        weather = screen.put_beside(folder, given) if given is not None else ""
    except InputError as error:
        st.session_state.start_faults = {WEATHER_FILE: [str(fault) for fault in error.faults]}
        return
    draft = guided.begin(answers(units), units, dt.date.today(), Path(folder), weather)
    st.session_state.start_faults = dict(draft.faults)
    if draft.site is None:
        return
    keeping.begin_without_file("", folder, FILE)  # nothing of it is saved yet
    screen.open_site(draft.text, folder, FILE)
    st.session_state.start_done = True


screen.begin()
st.html(markup.heading_html("Begin your own site"))
st.html(
    markup.paragraph_html(
        "Five questions to a first verdict. Leave empty what you do not know: it is assumed, marked in the file, and "
        "yours to change on the page Site."
    )
)
units = guard.one_of("Units", list(NAMES), key("units"), NAMES.__getitem__)
for number, (title, asks) in enumerate(QUESTIONS, 1):
    with st.container(border=True, key=f"question_{number}"):
        st.markdown(f"**{number}. {title}**")
        way = guard.entry(key("way"), HELD)
        with st.container(horizontal=True):
            for ask in asks:
                is_in_file = ask.name in BY_MONTHS and st.session_state.get(UPLOAD) is not None
                if (not ask.ways or way in ask.ways) and not is_in_file:
                    asked(ask, units)
        if number == 1:
            weather_file()
        if title == "Fish":
            st.html(markup.caption_html(care.PERMIT))
        if title == "Heat" and way == HEATED:
            fuel = guard.entry(key("fuel"), guided.assumed("fuel", units))
            st.html(markup.caption_html(" ".join(care.of_form(("greenhouse", "heater"), {"fuel": fuel}))))
faults = st.session_state.get("start_faults", {})
if faults:
    more = [f"To fix: {sum(map(len, faults.values()))}, beside what you typed.", *faults.get("", [])]
    st.html(markup.faults_html(more))
st.button("Show the verdict", type="primary", key="start_judge", on_click=guard.kept(judge), args=(units,))
st.html(markup.caption_html("The site that is open now stays where it is; Undo on the page Site goes back to it."))
if st.session_state.pop("start_done", False):
    st.switch_page(script_of("season"))
