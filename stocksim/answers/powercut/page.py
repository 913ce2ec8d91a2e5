"""When the power fails: how long each tank has, as a card that prints on half a sheet."""

from functools import partial

import streamlit as st

from stocksim.answers.powercut.answer import powercut_answer
from stocksim.answers.powercut.card import CARD_STYLE, card_html
from stocksim.answers.powercut.case import AMOUNTS, FAILS, cut_of_typed, example_of
from stocksim.answers.powercut.decide import power_cut
from stocksim.answers.powercut.winters import Winter, cold_winters
from stocksim.engine.results.frames import Season
from stocksim.errors import StocksimError
from stocksim.faces import guard, links, markup, showing, working
from stocksim.faces.words import day_words
from stocksim.units import in_units


def _winters(of: Season, _: working.Tell) -> tuple[Winter, ...]:
    return cold_winters(of)


shown = showing.begin("Power cut", where="", is_from_book=True)
season = shown.season
assert season is not None  # without one the page has ended
st.html(CARD_STYLE)
units = season.site.file.site.units
names = {key: f"power cut, {key}" for key in ("day", "hour", "fails", *AMOUNTS)}
links.take(day=names["day"], hour=names["hour"])
winters = working.worked("winters", "Drawing winters", (shown.source,), partial(_winters, season)) or ()
tell = partial(
    powercut_answer, site=season.site, units=units, winters=winters,
    room_field=f'in the field "{AMOUNTS["room"][0]}"',
)  # fmt: skip

result = st.empty()
with st.container(key="cut_screen"):
    showing.tell_version(shown, "Above")
    st.markdown("## Your own case")
    st.caption(
        "Empty: the worst day and hour, all circuits, no battery, no cylinder, rooms as computed or at freezing, "
        f"a head of {in_units('2 m', units)}."
    )
    with st.form("cut", border=False), st.container(horizontal=True, vertical_alignment="bottom"):
        first = day_words(season.dates[0])
        guard.text("Day", names["day"], in_form=True, placeholder=first, width=130)
        guard.text("Hour, 0 to 24", names["hour"], in_form=True, placeholder="21", width=110)
        guard.text(FAILS, names["fails"], in_form=True, placeholder="all", width=170)
        for key, (label, *_) in AMOUNTS.items():
            guard.text(label, names[key], in_form=True, placeholder=example_of(key, units), width=205)
        take = guard.kept(partial(guard.store, *names.values()))
        st.form_submit_button("Show this case", type="primary", on_click=take)
    links.hold(day=names["day"], hour=names["hour"])
    typed = {key: guard.entry(name, "") for key, name in names.items()}
    try:
        answer = tell(cut_of_typed(season, typed))
        result.html(card_html(answer))
    except StocksimError as error:
        answer = tell(power_cut(season))  # for its sources, which are those of every case
        result.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.caption("Print this page (Ctrl P): the card alone fills the upper half of an A4 sheet. Hang it by the tanks.")
    showing.show(answer, "winters", "sources")
    showing.words(answer)
