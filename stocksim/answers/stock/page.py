"""The stocking planner: wishes as sliders, the plan as tanks with fish in them, and the reasons."""

from dataclasses import replace

import streamlit as st

from stocksim.answers.stock.answer import keep_answer, stock_answer
from stocksim.answers.stock.brief import against
from stocksim.answers.stock.charts import STYLE
from stocksim.answers.stock.keep import is_to_keep
from stocksim.answers.stock.screen import (
    GOALS,
    Wished,
    first_wishes,
    kept_of,
    offer_beside,
    offer_plan,
    plan_of,
    plans_of,
    worths_of,
)
from stocksim.errors import StocksimError
from stocksim.faces import guard, markup, showing

shown = showing.begin("Stocking", is_from_book=True)
assert shown.season is not None  # else the page has ended
site = shown.season.site
start = first_wishes(site)
st.html(STYLE)
answered = st.container(key="stock_answer")

st.markdown("## Wishes")
if site.file.stocking is None:
    st.caption("This site file has no [stocking] table, so only its own fish are planned: see docs/stocking.md.")
with st.container(horizontal=True, vertical_alignment="bottom", key="stock_wishes"):
    # a wish lasts until the file wishes something else: what it says is part of the name
    goals = list(GOALS)
    bound = guard.shown(f"goal of {start.goal_place}", goals[start.goal_place])
    goal = st.selectbox("Goal", goals, format_func=lambda key: GOALS[key], width=290, **bound)
    to_keep = is_to_keep(site, goal.split(","))
    if not to_keep:
        budget = start.budget
        if start.has_prices:
            top = start.budget_top
            bound = guard.shown(f"budget of {start.budget} to {top}", int(min(start.budget or top, top)))
            budget = st.slider("Budget for fish and heat", 0, top, width=240, **bound)
        bound = guard.shown(f"kinds of {start.species_at_least} to {start.most_species}", start.species_at_least)
        kinds = st.slider("Species at least", 0, start.most_species, width=200, **bound)
        bound = guard.shown(f"margin of {start.margin_percent}", start.margin_percent)
        margin = st.slider("Reserve of space, air and biofilter, %", 0, 30, width=290, **bound)
        bound = guard.shown(f"band of {start.band_g}", start.band_g)
        band = st.slider("Price of feed out of band, g fillet a kg", 0, 500, step=10, width=270, **bound)
if to_keep:
    kept = kept_of(shown.source)
    if kept is None:
        st.stop()
    answer = keep_answer(kept)
    with answered:
        showing.verdict(answer)
    showing.show(answer, "do", "fish", "company", "chart", "tanks", "areas", "balance")
    if kept.fields:
        offer_plan(shown.source, kept)
    offer_beside(shown.source)
    showing.show(answer, "law", "cautions", "assumptions")
    st.stop()
wished = Wished(goal, None if budget is None else float(budget), kinds, margin / 100.0, band / 1000.0)
try:
    plan = plan_of(shown.source, wished)
except StocksimError as error:
    answered.html(markup.faults_html([str(fault) for fault in error.faults]))
    st.stop()
if plan is None:
    st.stop()

asked = (shown.source, wished)
is_worth_asked = st.session_state.get("stock_worth") == asked
answer = stock_answer(plan)
with answered:
    showing.verdict(answer)
    showing.show(answer, "tanks")
showing.show(
    answer, "gives", "clash", "proof", "wishes", "leaving", "table", "company", "feeding", "chart", "areas", "balance"
)
if is_worth_asked:
    answer = stock_answer(replace(plan, worths=tuple(worths_of(shown.source, wished, plan) or ())))
showing.show(answer, "binding")
if plan.binding and not is_worth_asked and st.button("What would a tenth more of each bring?"):
    st.session_state.stock_worth = asked
    st.rerun()
showing.show(answer, "refused")
if plan.plan is not None:
    pair = ("edible", "cost") if start.has_prices else ("edible", "steady")
    if st.session_state.get("stock_between") == asked:
        between = plans_of(shown.source, wished, plan, pair)
        if between is not None:
            showing.show(stock_answer(plan, between, pair), "between")
    else:
        st.markdown("## Other plans")
        if st.button(f"Show plans between: {against(pair)}"):
            st.session_state.stock_between = asked
            st.rerun()
    offer_plan(shown.source, plan, wished)
offer_beside(shown.source)
showing.show(answer, "law", "cautions")
showing.words(answer)
