"""Cold months: water and air by the week, what a degree costs, what to do, and the night the heaters fail."""

from functools import partial
from typing import Any

import streamlit as st

from stocksim.answers.cold.answer import cold_answer, winter_answer
from stocksim.answers.cold.charts import temperature_stack
from stocksim.answers.cold.decide import Cold, compare_cold
from stocksim.answers.cold.options import Note, computed_site
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, screen, showing, working
from stocksim.faces.answer import Answer
from stocksim.faces.options import number_option
from stocksim.heat.hourly import Warmth
from stocksim.heat.temperatures import warmth_of_site

WORTH_LABEL = "A kilo of fish is worth (money of your fuel prices)"
worth_of = number_option(WORTH_LABEL, 0.0, 1e6, "write a number from 0 to 1,000,000, as 8")


def compared(source: screen.Source, worth: float) -> Cold | None:
    """Comparison of a sound site; None where the keeper ends it."""
    site, words = screen.solve(source).site, "Comparing set points and measures"
    return working.worked("cold", words, (source, worth), lambda tell: compare_cold(site, worth, progress=tell))


@st.cache_data(max_entries=32, show_spinner=False)
def temperature_spec(source: screen.Source, _warmth: Warmth) -> dict[str, Any]:
    """Stack of air and water of a sound site, given its heat, as a Vega-Lite specification."""
    return temperature_stack(screen.solve(source), _warmth).to_dict()


shown = showing.begin("Cold months", is_from_book=True)
season, source = shown.season, shown.source
assert season is not None
try:
    computed, set_aside = computed_site(season.site)
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.markdown("The example below has everything that is needed; copy its tables into your own file.")
    example = "heron_lane_computed"
    st.button(f"Open the example {example}", on_click=guard.kept(screen.open_example), args=(example,))
    st.stop()

notes: tuple[Note | str, ...] = tuple(set_aside)
told: list[Answer] = []
place = st.empty()
with st.form("cold_form", border=False), st.container(horizontal=True, vertical_alignment="bottom"):
    guard.text(WORTH_LABEL, "worth", "8", in_form=True, width=330)
    take = guard.kept(partial(guard.store, "worth"))
    is_sent = st.form_submit_button("Compare set points and measures", type="primary", on_click=take)
if is_sent:
    st.session_state.cold_for = source
if st.session_state.get("cold_for") == source:
    try:
        found = compared(source, worth_of(guard.entry("worth", "8")))
        if found is not None:
            notes = found.notes
            answer = cold_answer(found, season.site)
            told.append(answer)
            place.html(
                markup.said_html(answer.verdict, answer.is_trouble, answer.is_caution)
                + showing.section_html(answer, "advice")
            )
            showing.show(answer, "price", "fuel", "fuel_months", "options", "failure")
    except StocksimError as error:
        place.html(markup.faults_html([str(fault) for fault in error.faults]))
else:
    place.caption("The comparison takes some 15 seconds: every option is a whole season of heat and of fish.")

warmth = warmth_of_site(computed)
assert warmth is not None  # computed_site has refused the others
winter = winter_answer(season, warmth, notes, partial(temperature_spec, source, warmth))
showing.show(winter)
showing.words(*told, winter)
