"""The stocking planner: wishes as sliders, the plan as tanks with fish in them, and the reasons."""

from pathlib import Path

import streamlit as st

from stocksim.answers.stock import charts as stock_drawing
from stocksim.answers.stock import words as stock_words
from stocksim.answers.stock.answer import pareto_rows
from stocksim.answers.stock.file import planned_text
from stocksim.answers.stock.screen import GOALS, Wished, confirm_plan, first_wishes, plan_of, plans_of, worths_of
from stocksim.answers.stock.why import change_head, clash_words, giving_words, refusal_words
from stocksim.errors import StocksimError
from stocksim.faces import guard, keeping, markup, screen

screen.begin()
shown = screen.shown()
st.html(stock_drawing.STYLE)
st.html(markup.heading_html("Stocking"))
if shown.season is None:
    st.html(markup.faults_html(shown.faults))
    st.stop()
if shown.is_last_sound:
    st.html(markup.notice_html(f"Below: the last sound version, {shown.source.name} before the faults."))
site = shown.season.site
units = site.file.site.units
start = first_wishes(site)
answer = st.container(key="stock_answer")

st.markdown("## Wishes")
if site.file.stocking is None:
    st.caption("This site file has no [stocking] table, so only its own fish are placed anew: see docs/stocking.md.")
with st.container(horizontal=True, vertical_alignment="bottom", key="stock_wishes"):
    # a wish lasts until the file wishes something else: what it says is part of the name
    goals = list(GOALS)
    bound = guard.shown(f"goal of {start.goal_place}", goals[start.goal_place])
    goal = st.selectbox("Goal", goals, format_func=lambda key: GOALS[key], width=290, **bound)
    budget = start.budget
    if start.has_prices:
        top = start.budget_top
        bound = guard.shown(f"budget of {start.budget} to {top}", int(min(start.budget or top, top)))
        budget = st.slider("Budget for fish and heat", 0, top, width=240, **bound)
    bound = guard.shown(f"kinds of {start.species_at_least} to {start.most_species}", start.species_at_least)
    kinds = st.slider("Species at least", 0, start.most_species, width=200, **bound)
    bound = guard.shown(f"margin of {start.margin_percent}", start.margin_percent)
    margin = st.slider("Kept in hand of room, air and biofilter, %", 0, 30, width=290, **bound)
    bound = guard.shown(f"band of {start.band_g}", start.band_g)
    band = st.slider("Price of feed out of band, g fillet a kg", 0, 500, step=10, width=270, **bound)
wished = Wished(goal, None if budget is None else float(budget), kinds, margin / 100.0, band / 1000.0)
try:
    with st.spinner("Solving, and running the season with it"):
        plan = plan_of(shown.source, wished)
except StocksimError as error:
    answer.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.stop()

with answer:
    st.html(markup.verdict_html(stock_words.headline(plan), plan.plan is None))
    if plan.plan is not None:
        st.html(stock_drawing.tanks_html(plan))
if plan.plan is None:
    gives = [giving_words(plan, item) for item in (plan.relaxation.gives if plan.relaxation else ())]
    st.markdown("## What must give")
    if gives:
        st.html(markup.paragraph_html(change_head(plan)))
    st.html(markup.bullets_html([f"{text[0].upper()}{text[1:]}." for text in gives] or ["Nothing was found."], False))
    st.html(markup.paragraph_html(clash_words(plan)))
    if plan.refused:
        st.html(markup.bullets_html([refusal_words(plan, item) for item in plan.refused], False))
else:
    st.html(markup.paragraph_html(stock_words.gap_words(plan)))
    said = [*stock_words.option_words(plan), *stock_words.wish_words(plan), *stock_words.leaving_words(plan)]
    if said:
        st.html(markup.bullets_html(said, False))
    st.html(markup.table_html(stock_words.plan_rows(plan)))
    st.markdown("## What leaves no room for one more fish")
    is_asked = st.session_state.get("stock_worth") == (shown.source, wished)
    worths = {(w.binding.limit, w.binding.where): w for w in worths_of(shown.source, wished)} if is_asked else {}
    full = [stock_words.binding_words(plan, item, worths.get((item.limit, item.where))) for item in plan.binding]
    st.html(markup.bullets_html(full or [stock_words.unfilled_words(plan)], False))
    if plan.binding and not is_asked and st.button("What would a tenth more of each bring?"):
        st.session_state.stock_worth = (shown.source, wished)
        st.rerun()
    if plan.refused:
        st.markdown("## Left out, and why")
        st.html(markup.bullets_html([refusal_words(plan, item) for item in plan.refused], False))
    st.markdown("## Other plans")
    pair = ("edible", "cost") if start.has_prices else ("edible", "steady")
    names = " against ".join(stock_words.GOAL_WORDS[goal] for goal in pair)
    if st.session_state.get("stock_between") == (shown.source, wished):
        with st.spinner("Weighing two goals against each other"):
            st.html(markup.table_html(pareto_rows(plan, plans_of(shown.source, wished, pair), pair)))
    elif st.button(f"Show plans between: {names}"):
        st.session_state.stock_between = (shown.source, wished)
        st.rerun()
    text = planned_text(shown.source.text, plan, shown.source.name)
    with st.container(horizontal=True):
        stem = Path(shown.source.name).stem
        st.download_button("Download the planned site file", text, f"{stem}_planned.toml", on_click="ignore")
        if not keeping.is_read_only() and st.button("Take the plan into the site"):
            st.session_state.stock_taking = (shown.source, wished)
    if st.session_state.get("stock_taking") == (shown.source, wished) and not keeping.is_read_only():
        confirm_plan(shown.source, plan, text)
with st.expander("Cautions", expanded=True):
    st.html(markup.bullets_html([*plan.notes, *stock_words.cautions(plan)]))
