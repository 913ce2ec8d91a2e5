"""What the stocking page remembers: problems, plans and reasons, by site and wishes.

Apart from `page`, whose script runs anew on every click: types of what is remembered must not.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import streamlit as st

from stocksim.answers.stock.beside import Kind, plans_beside
from stocksim.answers.stock.compared import COST, beside_answer
from stocksim.answers.stock.decide import Between, StockingPlan, plan_stocking, plans_between
from stocksim.answers.stock.file import plan_changes, planned_text
from stocksim.answers.stock.keep import KeptPlan, is_to_keep, keep_plan
from stocksim.answers.stock.problem import Problem, build_problem
from stocksim.answers.stock.reasons import Worth, worth_of_more
from stocksim.answers.stock.seasons import USUAL_BAND_WEIGHT, margin_of
from stocksim.answers.stock.words import GOAL_WORDS
from stocksim.faces import guard, keeping, markup, saving_bar, screen, showing, working
from stocksim.site.reading import Site
from stocksim.site.stocking_tables import StockingTable

GOALS: dict[str, str] = {
    **{goal: words.capitalize() for goal, words in GOAL_WORDS.items()},
    "edible,steady": "Most edible kilos, then steady feed",
    "edible,cost": "Most edible kilos, then least cost",
}


class Wished(NamedTuple):
    """What the sliders say: goal, budget, number of species, margin [-], price of the feed band [kg/kg]."""

    goal: str
    budget: float | None
    species_at_least: int
    margin: float
    band_weight: float


class First(NamedTuple):
    """Where the sliders stand at first, by the site file, and how far they reach."""

    goal_place: int
    budget: float | None
    budget_top: int
    has_prices: bool
    species_at_least: int
    most_species: int
    margin_percent: int
    band_g: int


def first_wishes(site: Site) -> First:
    """Sliders of a site."""
    wishes = site.file.stocking or StockingTable()
    worth = sum(fish.price * fish.at_most for fish in wishes.candidates.values())
    worth += sum(option.cost for option in wishes.options.values())
    species = {c.species for c in site.file.cohorts.values()} | {c.species for c in wishes.candidates.values()}
    band = USUAL_BAND_WEIGHT if wishes.feed_band_weight is None else wishes.feed_band_weight
    goal = "keep" if is_to_keep(site, None) else ",".join(wishes.goal)
    top = max(int(worth) + 1, int(wishes.budget or 0), 1)
    return First(
        list(GOALS).index(goal) if goal in GOALS else 0, wishes.budget, top, worth > 0.0, wishes.species_at_least,
        max(len(species), wishes.species_at_least, 1), round(100.0 * margin_of(wishes)), round(1000.0 * band),
    )  # fmt: skip


@st.cache_resource(max_entries=6, show_spinner="Following one fish of each kind")
def problem_of(source: screen.Source) -> Problem:
    """Stocking problem of a sound site."""
    return build_problem(screen.solve(source).site)


def plan_of(source: screen.Source, wished: Wished) -> StockingPlan | None:
    """Plan of a sound site under the sliders' wishes; None where the keeper ends it."""
    problem = problem_of(source)
    wishes = (problem.site.file.stocking or StockingTable()).model_copy(
        update={
            "budget": wished.budget, "species_at_least": wished.species_at_least, "margin": wished.margin,
            "feed_band_weight": wished.band_weight,
        }
    )  # fmt: skip

    def plan(tell: working.Tell) -> StockingPlan:
        def told(what: str, done: int, total: int) -> None:
            tell(done, total)

        return plan_stocking(problem.site, wished.goal, wishes=wishes, problem=problem, progress=told)

    return working.worked("plan", "Solving, and running the season with it", (source, wished), plan)


def kept_of(source: screen.Source) -> KeptPlan | None:
    """What keeps the fish of a sound site; None where the keeper ends it."""
    site = screen.solve(source).site
    return working.worked("keep", "Trying what keeps them all", (source,), lambda tell: keep_plan(site, tell))


def worths_of(source: screen.Source, wished: Wished, plan: StockingPlan) -> list[Worth] | None:
    """What more of each binding limit would bring; None where the keeper ends it."""
    found = plan.plan
    if found is None or not plan.binding:
        return []
    words = "Solving again with a tenth more of each"
    return working.worked(
        "worths", words, (source, wished), lambda tell: worth_of_more(plan.program, found, plan.binding, progress=tell)
    )


def plans_of(source: screen.Source, wished: Wished, plan: StockingPlan, pair: tuple[str, str]) -> list[Between] | None:
    """Plans between two goals; None where the keeper ends it."""
    words = "Weighing two goals against each other"
    asked = (source, wished, pair)
    return working.worked("between", words, asked, lambda tell: plans_between(plan, *pair, progress=tell))


def offer_beside(source: screen.Source) -> None:
    """Plans that differ in kind, made where they are asked for."""
    state = st.session_state
    if state.get("stock_beside") != source:
        st.markdown("## Plans that differ in kind")
        st.caption(COST)
        if st.button("Show them side by side"):
            state.stock_beside = source
            st.rerun()
        return
    site = screen.solve(source).site

    def plan(tell: working.Tell) -> tuple[Kind, ...]:
        return plans_beside(site, progress=lambda what, done, total: tell(done, total))

    kinds = working.worked("beside", "Making a plan of each kind", (source,), plan)
    if kinds is not None:
        showing.show(beside_answer(site, kinds), "beside", "ways")


def offer_plan(source: screen.Source, plan: StockingPlan | KeptPlan, wished: Wished | None = None) -> None:
    """The planned site file to download, or to take into the site after a look at what changes."""
    state, asked = st.session_state, (source, wished)
    text = planned_text(source.text, plan, source.name)
    with st.container(horizontal=True):
        stem = Path(source.name).stem
        st.download_button("Download the planned site file", text, f"{stem}_planned.toml", on_click="ignore")
        if not keeping.is_read_only() and st.button("Take the plan into the site"):
            state.stock_taking = asked
    if state.get("stock_taking") == asked and not keeping.is_read_only():
        confirm_plan(source, plan, text)


def confirm_plan(source: screen.Source, plan: StockingPlan | KeptPlan, text: str) -> None:
    """Ask before a plan goes into the site: what will change, in words and line by line."""
    state = st.session_state

    def close() -> None:
        state.stock_taking = None

    def take() -> None:
        screen.change_text(text, is_new_form=True)
        close()

    with st.container(border=True, key="stock_confirm"):
        st.html(markup.paragraph_html("Take this plan into the site? What will change:"))
        st.html(markup.bullets_html(plan_changes(source.text, plan.tables), False))
        if state.site_text != source.text:
            st.html(markup.paragraph_html("The plan is of the last sound version: edits made since are undone by it."))
        saving_bar.show_difference(state.site_text, text, "now", "with the plan")
        with st.container(horizontal=True):
            st.button("Yes, take it", type="primary", on_click=guard.kept(take))
            st.button("No, leave the site as it is", on_click=guard.kept(close))
        st.caption("It is not saved by this: Undo on the page Site takes it back, Save writes it.")
