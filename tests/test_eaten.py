"""Fish that their tankmates swallow: who, how many, and where they are told."""

from __future__ import annotations

import copy
import datetime as dt
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_sites import START, build, one_tank

from stocksim.answers.season.answer import season_answer
from stocksim.answers.stock.loads import Candidate, Option, candidate_layout, unit_loads
from stocksim.answers.stock.rounds import place_limits
from stocksim.answers.tankmates.answer import company_answer
from stocksim.answers.tankmates.decide import judge_company
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.results.course import Course
from stocksim.engine.results.deaths import deaths_by_cause, deaths_of_water_or_hunger, ledger
from stocksim.engine.running import run_season
from stocksim.engine.season import simulate
from stocksim.faces.density_words import density_ground
from stocksim.faces.text import answer_text
from stocksim.fish.hunting import hunters_want, hunting_hazard, prey_in_reach, sibling_hazard
from stocksim.library.species import density_limits, density_meaning, load_species

UNFED = {"ration": {"kind": "unfed"}}


def fish(species: str, count: int, weight_g: float, **more: object) -> dict:
    return {
        "species": species,
        "tank": "one",
        "count": count,
        "mean_weight": f"{weight_g} g",
        "feed": "perch_45",
    } | more


def tank(days: int = 30, temperature_c: float = 24.0, **cohorts: dict) -> dict:
    """A site with a tank of 3 m3 and these cohorts."""
    made = one_tank(days=days, temperature_c=temperature_c)
    made["tanks"]["one"]["volume"] = "3000 L"
    made["cohorts"] = cohorts
    return made


def eaten(made: dict) -> dict[str, float]:
    layout = build_layout(build(made))
    gone = simulate(layout).swallowed[0].sum(axis=0)
    return dict(zip(layout.cohorts, gone.tolist(), strict=True))


# ---- who, by science ----------------------------------------------------------------------------------------------


@given(st.floats(60.0, 500.0), st.floats(0.01, 0.2), st.floats(30.0, 300.0), st.floats(0.01, 0.2), st.floats(0.1, 0.65))
def test_the_smaller_ones_are_taken_and_longer_prey_is_safer(hunter, one, prey, other, share):
    reach = prey_in_reach(hunter, one, prey, other, share, 3.2)
    assert 0.0 <= reach.chance <= 1.0
    assert 0.0 <= reach.square_share <= reach.mass_share <= 1.0 + 1e-12
    longer = prey_in_reach(hunter, one, 1.1 * prey, other, share, 3.2)
    assert longer.chance <= reach.chance


def test_moments_of_the_swallowed_agree_with_drawn_pairs():
    # a lattice of quantiles instead of random draws: 600 x 600 pairs
    from scipy.special import ndtri

    scores = ndtri((np.arange(600) + 0.5) / 600)
    hunters = 250.0 * np.exp(0.09 * scores - 0.5 * 0.09**2)
    lengths = 120.0 * np.exp(0.12 * scores - 0.5 * 0.12**2)
    weights = lengths**3.2 / (lengths**3.2).mean()
    fits = lengths[None] < 0.5 * hunters[:, None]
    reach = prey_in_reach(250.0, 0.09, 120.0, 0.12, 0.5, 3.2)
    assert reach.chance + 1e-3 == pytest.approx(fits.mean(), abs=4e-3)
    held = np.broadcast_to(weights, fits.shape)
    assert reach.mass_share == pytest.approx(held[fits].mean(), rel=0.01)
    assert reach.square_share == pytest.approx((held**2)[fits].mean() / (weights**2).mean(), rel=0.01)


# no want of the smallest doubles, whose last digit is all of them
@given(st.floats(0.0, 1.0), st.one_of(st.just(0.0), st.floats(1e-9, 1e4)), st.floats(1.0, 1e5))
def test_hunters_take_no_more_than_they_want_and_more_of_them_take_more(chance, want, meat):
    hazard = hunting_hazard(chance, want, meat * max(chance, 1e-9))
    assert 0.0 <= hazard <= 0.5 * chance
    assert hazard * meat <= want * (1.0 + 1e-9)
    assert hunting_hazard(chance, 2.0 * want, meat) >= hunting_hazard(chance, want, meat)
    assert hunters_want(want, 0.0) == want
    assert hunters_want(want, want) == pytest.approx(0.2 * want)


def test_young_siblings_are_lost_as_published():
    # unfed walleye of over 30 mm: 6-33 % of the fish a day; koi on dry food: a third in 52 days; perch larvae beside
    # plenty: 28-53 % in three weeks (abstracts)
    walleye = -np.expm1(-sibling_hazard([30.0, 60.0, 79.0], 0.3, 0.3, 0.14, 120.0, 0.0))
    assert (np.diff(walleye) < 0.0).all()
    assert ((walleye > 0.06) & (walleye < 0.33)).all()
    koi = 1.0 - np.exp(-52.0 * sibling_hazard(8.0, 0.25, 0.25, 0.011, 50.0, 1.0))
    assert koi == pytest.approx(0.333, abs=0.05)
    perch = 1.0 - np.exp(-21.0 * sibling_hazard(8.0, 0.35, 0.35, 0.035, 40.0, 1.0))
    assert 0.28 < perch < 0.53
    assert sibling_hazard(60.0, 0.0, 0.3, 0.14, 120.0, 0.0) == 0.0  # alike
    assert sibling_hazard(60.0, 0.6, 0.3, 0.14, 120.0, 0.0) > sibling_hazard(60.0, 0.3, 0.3, 0.14, 120.0, 0.0)


# ---- in a season ---------------------------------------------------------------------------------------------------


def test_a_hungry_bass_eats_its_published_ration_of_bluegill():
    # 4.5 % of its weight a day, no other food, nearly all prey small enough (Fisheries Science 69, 2003, abstract)
    layout = build_layout(build(tank(days=1, temperature_c=25.0, bass=fish("largemouth_bass", 5, 40, **UNFED),
                                     bluegill=fish("bluegill", 2000, 1))))  # fmt: skip
    course = simulate(layout)
    share = course.swallowed_g[0, 0].sum() / (5 * 40.0)
    assert 0.6 * 0.045 < share < 1.4 * 0.045


def closes(course: Course, layout: object) -> None:
    for name, entries in ledger(layout, course).items():
        for n in (0, 1):
            added = sum(entries[key][n] for key in ("stocked", "from_grading", "growth"))
            taken = sum(
                entries[key][n] for key in entries if key not in ("stocked", "from_grading", "growth", "at_end")
            )
            assert added - taken == pytest.approx(entries["at_end"][n], rel=1e-9, abs=1e-6), name


def test_number_and_mass_close_and_the_small_ones_go_first():
    layout = build_layout(build(tank(bass=fish("largemouth_bass", 6, 300), bluegill=fish("bluegill", 60, 40))))
    course = simulate(layout)
    closes(course, layout)
    prey = layout.cohorts.index("bluegill")
    gone = course.swallowed[0, :, prey]
    assert 2.0 < gone.sum() < 60.0
    assert (course.swallowed_g[0, :, prey] / gone < course.weight_g[0, :, prey]).all()
    alone = simulate(build_layout(build(tank(bluegill=fish("bluegill", 60, 40)))))
    assert course.weight_g[0, -1, prey] > alone.weight_g[0, -1, 0]
    by_cause = deaths_by_cause(layout, course)
    assert by_cause["eaten"].sum() == pytest.approx(course.swallowed.sum())
    assert sum(by_cause.values()) == pytest.approx(course.deaths[0])
    assert (
        deaths_of_water_or_hunger(layout, course).sum() < 0.05 * gone.sum()
    )  # no lever of the water is sought for them


def test_the_tables_of_a_season_with_hunters_close_in_mass():
    made = tank(bass=fish("largemouth_bass", 6, 300, **UNFED), bluegill=fish("bluegill", 60, 40))
    season = run_season(build(made))
    rows = season.cohorts.set_index(["cohort", "date"]).loc["bluegill"]
    morning_g = np.concatenate([[60 * 40.0], 1000.0 * rows["biomass_kg"].to_numpy()[:-1]])
    gain_g = (rows["growth_g_per_day"] * (rows["count"] + rows["deaths"])).to_numpy()
    dead_g = 1000.0 * rows["deaths_kg"].to_numpy()
    assert morning_g + gain_g - dead_g == pytest.approx(1000.0 * rows["biomass_kg"].to_numpy(), rel=1e-12)
    # the eaten are small: at the mean of the rest they would weigh much more
    assert dead_g.sum() < 0.97 * (rows["deaths"] * rows["mean_weight_g"]).sum()
    # feed is a percentage of what lived in the morning, and a tank as dense as it was with its dead among them
    assert rows["feed_percent_body_weight"].to_numpy() == pytest.approx(100.0 * rows["feed_g"] / morning_g, rel=1e-12)
    bass = season.cohorts.set_index(["cohort", "date"]).loc["bass"]
    bass_g = 1000.0 * (bass["biomass_kg"] + bass["deaths_kg"]).to_numpy()
    judged = next(series for series in season.limits if series.limit == "density")
    assert judged.value[0, :, 0] == pytest.approx((bass_g + morning_g + gain_g) / 3000.0, rel=1e-12)


def test_larger_and_more_hunters_eat_more_and_fed_ones_less():
    def by(weight_g: float = 300.0, count: int = 4, **more: object) -> float:
        bass, prey = fish("largemouth_bass", count, weight_g, **more), fish("bluegill", 200, 30)
        return eaten(tank(days=10, bass=bass, bluegill=prey))["bluegill"]

    for rising in ([by(weight) for weight in (60.0, 120.0, 200.0, 400.0)], [by(count=n) for n in (1, 2, 4, 8)]):
        assert all(one < other for one, other in pairwise(rising))
    assert by() < by(**UNFED)


def test_without_hunters_a_season_is_the_same_to_the_bit(monkeypatch):
    made = tank(goldfish=fish("goldfish", 40, 30), tilapia=fish("nile_tilapia", 40, 60))
    with_rule = simulate(build_layout(build(made)))
    assert with_rule.swallowed.sum() == 0.0
    layout = build_layout(build(made))
    # nobody could hunt, and no young: the arrays say so
    for key in ("eats_own", "prey_share_deep", "prey_share_slender", "sibling_loss"):
        layout.species[key][:] = 0.0
    without = simulate(layout)
    for key in ("count", "deaths", "weight_g", "greatest_g", "size_spread", "tan_mg_l", "oxygen_mg_l"):
        assert np.array_equal(getattr(with_rule, key), getattr(without, key)), key


def test_small_walleye_are_told_and_large_ones_are_not():
    def beside_itself(weight_g: float) -> object:
        company = judge_company(run_season(build(tank(days=20, temperature_c=22.0, a=fish("walleye", 200, weight_g)))))
        return company, next(pair for pair in company.pairs if pair.a == pair.b)

    company, small = beside_itself(4.0)
    assert (small.verdict, small.grounds[0].key) == ("apart", "siblings")
    assert 0.06 * 200 < company.losses[0].fish < 200.0
    assert company.losses[0].hunters == ("a",)
    data = company_answer(company, "metric").data
    assert data["eaten"][0]["fish"] == pytest.approx(company.losses[0].fish, abs=0.01)
    assert f"{company.losses[0].fish:.0f} fish are eaten" in " ".join(
        answer_text(company_answer(company, "metric")).split()
    )
    company, large = beside_itself(250.0)
    assert large.verdict == "together"
    assert company.losses == ()


def test_a_walleye_swallows_no_bullhead_of_its_own_weight():
    made = tank(days=5, temperature_c=22.0, a=fish("walleye", 10, 250), b=fish("brown_bullhead", 10, 250))
    company = judge_company(run_season(build(made)))
    pair = next(pair for pair in company.pairs if pair.a != pair.b)
    assert not {"fits_mouth", "nearly_fits"} & {ground.key for ground in pair.grounds}
    assert company.losses == ()


def test_catfish_fingerlings_beside_larger_ones_are_not_eaten_but_kept_from_the_feed():
    # no more were lost beside food-size fish (Torrans & Ott 2015), but alone they were 42 % heavier (Freeman 1998)
    made = tank(large=fish("channel_catfish", 5, 400), small=fish("channel_catfish", 30, 20))
    company = judge_company(run_season(build(made)))
    pair = next(pair for pair in company.pairs if pair.a != pair.b)
    assert (pair.verdict, pair.grounds[0].key) == ("with care", "larger_kin")
    assert company.losses == ()


def test_no_tick_stands_over_water_that_does_not_suit():
    made = tank(temperature_c=21.0, a=fish("rainbow_trout", 10, 200))
    company = judge_company(run_season(build(made)))
    (pair,) = company.pairs
    assert pair.verdict == "with care"
    assert pair.grounds[0].key == "season_outside_limits"


def test_crappie_and_bluegill_have_water_in_which_both_grow():
    made = tank(temperature_c=24.0, a=fish("black_crappie", 10, 60), b=fish("bluegill", 10, 90))
    company = judge_company(run_season(build(made)))
    (pair,) = company.loops[0].pairs
    assert "narrow_growth_window" not in {obstacle.key for obstacle in pair.obstacles}
    assert min(pair.share_a, pair.share_b) > 0.7
    trout = copy.deepcopy(made)
    trout["cohorts"]["a"] = fish("rainbow_trout", 10, 60)
    (pair,) = judge_company(run_season(build(trout))).loops[0].pairs
    assert "narrow_growth_window" in {obstacle.key for obstacle in pair.obstacles}


# ---- density that means growth ---------------------------------------------------------------------------------------


def density(made: dict) -> tuple[object, object]:
    season = run_season(build(made))
    (found,) = (finding for finding in season.findings if finding.limit == "density")
    return season, found


def test_a_limit_of_growth_binds_its_own_species_alone():
    # fifteen crappie among seventy bluegill: growth of crappie fell up to 6.5 kg/m3, survival did not
    made = tank(days=5, crappie=fish("black_crappie", 15, 60), bluegill=fish("bluegill", 170, 200))
    season, found = density(made)
    assert found.worst_value > 10.0
    assert not found.is_broken
    assert found.threshold == 20.0  # of bluegill, for all fish of the tank
    assert density_ground(season.site, found) == ("bluegill", "welfare")
    made["cohorts"]["crappie"]["count"] = 400
    season, found = density(made)
    assert found.is_broken
    assert found.threshold == 6.5
    own = season.course.weight_g[0, :, 0] * season.course.count[0, :, 0] / 3000.0
    assert found.worst_value == pytest.approx(own.max(), rel=0.02)
    assert density_ground(season.site, found) == ("black_crappie", "growth")
    told = season_answer(season, season.findings).data["limits"]
    assert next(row for row in told if row["limit"] == "density")["meaning"] == "growth"


def test_only_a_species_that_stands_in_the_tank_is_named_for_its_density():
    # both bear 20 kg/m3, so that the number alone does not tell whose it is
    made = tank(days=5, bluegill=fish("bluegill", 20, 90), tilapia=fish("nile_tilapia", 20, 90))
    made["tanks"]["two"] = dict(made["tanks"]["one"])
    made["cohorts"]["tilapia"]["tank"] = "two"

    def named(made: dict) -> dict:
        season = run_season(build(made))
        return {f.where: (f.threshold, density_ground(season.site, f)) for f in season.findings if f.limit == "density"}

    tilapia, bluegill = (20.0, ("nile_tilapia", "welfare")), (20.0, ("bluegill", "welfare"))
    assert named(made) == {"tanks.one": bluegill, "tanks.two": tilapia}
    # one that an event moves or grades into it counts as well
    made["cohorts"]["goldfish"] = fish("goldfish", 20, 60)
    for more in ({"kind": "move"}, {"kind": "grade", "largest_share": 0.5, "into": "larger"}):
        made["events"] = [{"date": START + dt.timedelta(days=2), "cohort": "goldfish", "tank": "two"} | more]
        assert named(made)["tanks.two"] == (10.0, ("goldfish", "welfare"))


def test_the_level_that_means_more_holds_for_the_tank():
    crappie, perch = load_species("black_crappie"), load_species("yellow_perch")
    assert density_limits(crappie, "cautious") == (30.0, 6.5)
    assert density_limits(crappie, "experienced") == (30.0, float("inf"))
    assert density_limits(perch, "cautious") == (20.0, float("inf"))
    walleye = load_species("walleye")
    assert density_limits(walleye, "experienced") == (36.0, 36.0)
    assert density_meaning(walleye, "cautious") == "welfare"


def test_the_planner_holds_crappie_alone_to_their_own_growth():
    site = build(tank(days=20, crappie=fish("black_crappie", 15, 60)))
    candidates = [Candidate(name, name, 60.0, "perch_45") for name in ("black_crappie", "bluegill")]
    option = Option("as it is", "main", site.held_c["main"])
    course, loads = simulate(build_layout(site)), unit_loads(site, candidates, [option])
    density, *_, own = place_limits([candidate_layout(site, candidates, option)], [course], loads)
    assert (density.name, own.name) == ("density", "density")
    assert density.capacity[0, :, 0, 0] == pytest.approx([30.0 * 3.0, 20.0 * 3.0])  # kg in 3 m3
    assert own.capacity[0, :, 0, 0].tolist() == pytest.approx([6.5 * 3.0, np.inf])
    assert own.load[0, 0].min() > 0.0
    assert own.load[0, 1].max() == 0.0


def test_many_hunters_together_take_no_more_than_fits_a_mouth():
    """Their hazards add up: twice as many batches of small bass used to take nearly twice the bluegill that none of
    them could swallow."""

    def taken(batches: int) -> float:
        bass = {f"bass_{n}": fish("largemouth_bass", 10, 30.0, **UNFED) for n in range(batches)}
        layout = build_layout(build(tank(1, bluegill=fish("bluegill", 40, 12.0), **bass)))
        return float(simulate(layout).swallowed[0, 0, layout.cohorts.index("bluegill")])

    assert taken(1) < 0.5 * taken(10)
    assert taken(20) == pytest.approx(taken(10), rel=1e-6)
