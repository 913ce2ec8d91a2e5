"""Today: what to feed, dose, test and do."""

import streamlit as st

from stocksim.answers.today.answer import today_answer
from stocksim.answers.today.decide import the_day
from stocksim.book import store
from stocksim.engine.measured import with_records
from stocksim.engine.running import run_season
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, showing
from stocksim.faces.days import read_day

shown = showing.begin("Today")
assert shown.season is not None  # without one the page has ended
site = shown.season.site
path = store.book_path(site.folder / site.name)
guard.text("Day", "day shown", placeholder="today", width=150)
typed = guard.entry("day shown", "")
try:
    records = store.read_book(path)
    today = store.today(records)
    season = site.file.season
    date = read_day(typed) if typed.strip() else min(max(today, season.start), season.end)
    measured = with_records(site, [one for one in records if one.date <= date])
    ran = run_season(measured.site)
    answer = today_answer(the_day(ran, records, date), measured.site, measured.notes, measured.contradictions)
    showing.verdict(answer)
    showing.show(answer)
except StocksimError as error:
    st.html(markup.faults_html([str(fault) for fault in error.faults]))
except ValueError:
    st.html(markup.faults_html([f'"{typed}" is not a day; write it as 1 Dec 2026.']))
