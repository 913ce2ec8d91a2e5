"""Films in the daily engine: nitrogen of a starting loop against a stiff solver, peaks, weeks, hungry winters."""

from __future__ import annotations

from dataclasses import replace

import cycling_site
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_sites import build, one_tank

from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.season import simulate
from stocksim.water.alkalinity import ALKALINITY_PER_NITRIFIED, alkalinity_limited

# What a keeper's test kit can tell at best, and a share of what is there: the day must keep within one of them.
# Measured at worst over the sites below: TAN 1.2 % where it falls by half in a day, nitrite 3.2 %.
WITHIN_SHARE, WITHIN_MG_L = 0.05, 0.02


def fed(start: str) -> dict:
    return one_tank(
        temperature_c=26.0, days=45, count=8, mean_weight_g=50.0, bed_m2=4.0, alkalinity_target="100 mg/L",
        biofilter_start=start,
    )  # fmt: skip


SITES = {
    "25 degC": cycling_site.cycling(25.0, 40),
    "20 degC": cycling_site.cycling(20.0, 45),
    "10 degC": cycling_site.cycling(10.0, 90, grams=0.3),
    "seeded": cycling_site.cycling(25.0, 20, start="seeded"),
    "fish on a new film": fed("new"),
    "fish on a seeded film": fed("seeded"),
}


@pytest.mark.parametrize("name", SITES)
def test_nitrogen_keeps_to_a_stiff_solver(name):
    assert_keeps_to_solver(SITES[name], WITHIN_SHARE)


def test_nitrogen_keeps_to_a_stiff_solver_where_alkalinity_is_short():
    # dosed to 30 mg/L only, nitrifiers are held back by it. Alkalinity goes by whole days: measured 7.7 % of nitrite on
    # the day it falls, held to 10 %
    loop = SITES["25 degC"]["loops"]["main"] | {"alkalinity_target": "30 mg/L"}
    assert_keeps_to_solver(SITES["25 degC"] | {"loops": {"main": loop}}, 0.1)


def assert_keeps_to_solver(tables: dict, within_share: float) -> None:
    layout, course = cycling_site.run(tables)
    solved = cycling_site.by_solver(layout, course)
    for key, leaf, sump in (
        ("tan", course.tan_mg_l[0], course.sump_tan_mg_l[0]),
        ("nitrite", course.nitrite_mg_l[0], course.sump_nitrite_mg_l[0]),
    ):
        off = np.abs(np.column_stack([leaf, sump]) - solved[key])
        excess = np.minimum(off / WITHIN_MG_L, off / (within_share * np.maximum(solved[key], 1e-9)))
        day, place = np.unravel_index(excess.argmax(), excess.shape)
        assert excess.max() <= 1.0, (
            f"{key}, day {day}, place {place}: {off[day, place]:.3f} of {solved[key][day, place]:.3f}"
        )
    films = np.column_stack([course.ammonia_maturity[0, :, 0], course.nitrite_maturity[0, :, 0]])
    assert np.abs(films - solved["film"]).max() <= 0.02


def test_one_step_a_day_would_not_do(monkeypatch):
    from stocksim.engine import season
    from stocksim.engine.days import films

    monkeypatch.setattr(films, "BEND_MG_L", np.inf)
    monkeypatch.setattr(season, "at_hand", lambda kernel, *_, **__: kernel.py_func)
    layout, course = cycling_site.run(SITES["25 degC"])
    solved = cycling_site.by_solver(layout, course)
    off = np.abs(course.tan_mg_l[0] - solved["tan"][:, :2])
    assert (np.minimum(off / WITHIN_MG_L, off / (WITHIN_SHARE * solved["tan"][:, :2])) > 3.0).any()


@pytest.mark.parametrize("temperature", [10.0, 18.0, 25.0])
def test_ammonia_peaks_before_nitrite_and_nitrate_comes_last(temperature):
    _, course = cycling_site.run(cycling_site.cycling(temperature, 120, grams=0.3))
    tan, nitrite, nitrate = course.tan_mg_l[0, :, 0], course.nitrite_mg_l[0, :, 0], course.nitrate_mg_l[0, :, 0]
    assert 0 < tan.argmax() < nitrite.argmax() < 119
    assert nitrate.argmax() == 119
    # while TAN peaks nitrate has hardly moved: most of it comes after nitrite's peak
    assert nitrate[tan.argmax()] - nitrate[0] < 0.1 * (nitrate[-1] - nitrate[0])
    assert nitrate[-1] - nitrate[nitrite.argmax()] > 0.5 * (nitrate[-1] - nitrate[0])


def days_until_ready(temperature: float, grams: float = 0.3, ph: float = 7.0) -> int:
    tables = cycling_site.cycling(temperature, 150, grams=grams)
    tables["loops"]["main"]["ph"] = ph
    _, course = cycling_site.run(tables)
    return cycling_site.day_ready(np.column_stack([course.tan_mg_l[0, :, 0], course.nitrite_mg_l[0, :, 0]]))


def test_a_film_takes_weeks_and_in_the_cold_several_times_as_long():
    # 2 to 6 weeks near 25 degC, two to six times longer at 10 (common practice, no source); measured 17 and 55 days
    warm, cold = days_until_ready(25.0), days_until_ready(10.0)
    assert 14 <= warm <= 42
    assert 2.0 <= cold / warm <= 6.0


def test_much_ammonia_slows_a_cold_film_where_it_is_un_ionized_and_never_halts_it():
    # 2 g a day in 1.9 m3 at 10 degC: TAN climbs to 18 mg/L, of which at pH 8.8 a tenth is un-ionized, at 7 a 500th;
    # measured 54 and 57 days with 0.3 g, 60 and 77 with 2 g
    little, much = ([days_until_ready(10.0, grams, ph) for ph in (7.0, 8.8)] for grams in (0.3, 2.0))
    assert much[1] - much[0] > 2 * (little[1] - little[0])
    assert much[1] > 1.15 * much[0]
    assert max(much) < 150, "ready all the same"


def test_a_hungry_winter_shrinks_the_film_and_food_brings_it_back():
    tables = one_tank(temperature_c=8.0, days=120, count=0, biofilter_start="mature")
    winter = simulate(build_layout(build(tables)))
    film = winter.ammonia_maturity[0, :, 0]
    assert (np.diff(film) < 0.0).all()
    # a sixth to a third of itself is what the decay was chosen for
    assert 1.0 / 6.0 <= film[-1] / film[0] <= 1.0 / 3.0
    # the same film put to work at 20 degC is back in two to four weeks
    layout = build_layout(build(cycling_site.cycling(20.0, 60, start="mature", grams=8.0, bed_m2=2.0)))
    left = np.full_like(layout.water.maturity, film[-1])
    spring = simulate(replace(layout, water=replace(layout.water, maturity=left)))
    back = np.flatnonzero(spring.ammonia_maturity[0, :, 0] > film[0])
    assert back.size
    assert back[0] <= 28
    # and meanwhile ammonia stands above what a mature film of the same bed lets stand
    ripe = simulate(layout)
    assert spring.tan_mg_l[0, :20, 0].max() > ripe.tan_mg_l[0, :20, 0].max()


def test_a_film_is_the_same_alone_or_among_loops_that_move():
    # days are refined loop by loop: a still loop's numbers must not depend on its neighbour's haste
    still, hasty = one_tank(count=5, days=30, biofilter_start="mature"), cycling_site.cycling(25.0, 30)
    both = {**still, "loops": still["loops"] | {"other": hasty["loops"]["main"]}}
    both["tanks"] = still["tanks"] | {"second": hasty["tanks"]["one"] | {"loop": "other"}}
    both["beds"] = still["beds"] | {"second": hasty["beds"]["gravel"] | {"loop": "other"}}
    alone, together = simulate(build_layout(build(still))), simulate(build_layout(build(both)))
    apart = simulate(build_layout(build(hasty)))
    for key in ("tan_mg_l", "nitrite_mg_l"):
        ours = getattr(together, key)[0]
        np.testing.assert_allclose(ours[:, [0, 2]], getattr(alone, key)[0], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(ours[:, [1, 3]], getattr(apart, key)[0], rtol=1e-9, atol=1e-12)


amounts = st.floats(0.0, 1e4)


@given(amounts, st.floats(0.01, 100.0), amounts, amounts, st.floats(0.0, 1e4))
def test_nitrification_that_runs_out_of_alkalinity_balances(held, water, capacity, ammonia, guess):
    held, water, capacity, ammonia, guess = (np.array([x]) for x in (held, water, capacity, ammonia, guess))
    left, nitrified = (float(x[0]) for x in alkalinity_limited(held, water, capacity, ammonia, guess))
    most = min(held[0] / ALKALINITY_PER_NITRIFIED, ammonia[0])
    assert left >= 0.0
    assert 0.0 <= nitrified <= most
    assert water[0] * left == pytest.approx(held[0] - ALKALINITY_PER_NITRIFIED * nitrified, abs=1e-9 * (1.0 + held[0]))

    def excess(used: float) -> float:
        base, tan = (held[0] - ALKALINITY_PER_NITRIFIED * used) / water[0], (ammonia[0] - used) / water[0]
        return used - capacity[0] * base / (25.0 + base) * tan / (1.93 + tan)

    # the excess rises with what is used: its root lies within a hair of what was found
    near = 1e-9 * most + 1e-12
    assert excess(max(nitrified - near, 0.0)) <= 1e-12
    assert excess(min(nitrified + near, most)) >= -1e-12


def test_alkalinity_in_plenty_and_in_want():
    one = np.ones(1)
    # 1 m3 with 200 g and 2 g ammonia, ample film: all is nitrified but the little that stays, so 200 - 7.146 * 2
    assert alkalinity_limited(200.0 * one, one, 1000.0 * one, 2.0 * one)[0] == pytest.approx(185.71, abs=0.1)
    # 20 g of ammonia would ask for 143 g of 50: an ample film uses nearly all of it
    assert 0.0 < alkalinity_limited(50.0 * one, one, 1000.0 * one, 20.0 * one)[0] < 1.0
    assert alkalinity_limited(50.0 * one, one, 0.0 * one, 20.0 * one)[0] == 50.0
    assert alkalinity_limited(0.0 * one, one, 10.0 * one, 20.0 * one)[0] == 0.0


def test_a_loop_without_buffer_settles_where_its_supply_lets_it():
    # 40 m2 of gravel and 60 fish on tap water alone: nitrification falls to what source water and sediment give back,
    # and does not leap from all to nothing and back
    course = simulate(build_layout(build(one_tank(count=60, days=90, bed_m2=40.0))))
    alkalinity, tan = course.alkalinity_mg_l[0, :, 0], course.tan_mg_l[0, :, 0]
    assert alkalinity.min() >= 0.0
    assert alkalinity[-1] < 15.0
    change = np.diff(tan)
    change = change[np.abs(change) > 0.02 * tan.max()]
    assert (change[1:] * change[:-1] < 0.0).sum() <= 1, "up, and perhaps down again when fish stop eating"
