"""Who may share a tank or a loop: the matrix, the reasons, and what could be done instead."""

import streamlit as st

from stocksim.answers.tankmates.answer import company_answer
from stocksim.answers.tankmates.decide import judge_company
from stocksim.faces import screen, showing

shown = showing.begin("Tankmates")
season = shown.season
assert season is not None  # without one the page has ended
company, units = judge_company(season), season.site.file.site.units
answer = company_answer(company, units)
showing.verdict(answer)
to_do = st.container()
showing.show(answer)
with to_do:  # takes a second or two, so the rest stands first
    showing.show(company_answer(company, units, screen.seek_advice(shown.source)), "do")
showing.words(answer)
