"""Loads per fish from the engine: what they are, and that a season's loads are these times the numbers of fish."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, nobody_hunts, two_loops

from stocksim.answers.stock.loads import (
    Candidate,
    Option,
    least_of_weeks,
    mean_of_weeks,
    unit_loads,
    worst_of_weeks,
)
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.season import simulate
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.fish.growth import grow_in_good_water
from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY
from stocksim.library.feeds import load_feed
from stocksim.library.species import load_species
from stocksim.site.fish_tables import AppetiteRation, UnfedRation

FED = AppetiteRation(kind="appetite", fraction=0.85, spilled_share=0.1)
CANDIDATES = [
    Candidate("cats", "channel_catfish", 200.0, "catfish_32", FED),
    Candidate("tilapia", "nile_tilapia", 150.0, "tilapia_34", FED, START + dt.timedelta(days=6)),
    Candidate("unfed", "goldfish", 30.0, "koi_wheatgerm_32", UnfedRation(kind="unfed")),
    Candidate("bought", "bluegill", 20.0, "sunfish_44", FED, None, START + dt.timedelta(days=30)),
]


def good_tables() -> dict:
    """Two loops, the warm one with air in both tanks, a large mature filter and alkalinity."""
    tables = two_loops()
    tables["loops"]["warm"] |= {"ph": 7.0, "biofilter_start": "mature", "alkalinity_target": "100 mg/L"}
    tables["biofilters"]["trickle"] |= {"media_volume": "400 L", "flow": "2000 L/h"}
    tables["tanks"]["spare"] |= {"flow": "800 L/h", "oxygen_supply": {"kind": "diffuser", "power": "120 W"}}
    return tables


@pytest.fixture(scope="module")
def site():
    return build(good_tables())


@pytest.fixture(scope="module")
def options(site):
    days = site.days
    return [
        Option("warm", "warm", np.full(days, 27.0)),
        Option("cooler", "warm", np.full(days, 22.0)),
        Option("cool", "cool", site.held_c["cool"]),
    ]


@pytest.fixture(scope="module")
def loads(site, options):
    return unit_loads(site, CANDIDATES, options)


def test_a_fish_grows_as_one_in_good_water(site, options, loads):
    """The engine with few fish and the curve of one fish are two ways to the same weight."""
    for o, option in enumerate(options):
        for c, candidate in enumerate(CANDIDATES):
            first = (candidate.stocked - START).days if candidate.stocked else 0
            last = (candidate.leaves - START).days if candidate.leaves else site.days
            fraction = getattr(candidate.ration, "fraction", 0.0)
            alone = grow_in_good_water(
                load_species(candidate.species).__getitem__, load_feed(candidate.feed).__getitem__,
                candidate.mean_weight_g, option.temperature_c[first:last], fraction,
            )  # fmt: skip
            assert loads.weight_g[o, c, first:last] == pytest.approx(alone.weight_g, rel=1e-9)
            there = loads.biomass_g[o, c, first:last] / alone.weight_g  # those that live, nearly all
            assert loads.oxygen_g[o, c, first:last] == pytest.approx(there * alone.oxygen_g, rel=1e-9)
            assert loads.feed_g[o, c, first:last] * 0.9 == pytest.approx(there * alone.eaten_g, rel=1e-9, abs=1e-12)
            # ammonia from urea and solids comes on top
            assert (loads.tan_g[o, c, first:last] >= there * alone.tan_g * (1.0 - 1e-9)).all()


def test_a_fish_asks_nothing_on_days_it_is_not_there(loads):
    absent = [(1, slice(0, 6)), (3, slice(30, None))]
    for candidate, days in absent:
        assert all((part[:, candidate, days] == 0.0).all() for part in loads)
    assert (loads.biomass_g[:, 0] > 0.0).all()
    assert (loads.feed_g[:, 2] == 0.0).all()
    # those that die whatever the water, and a few in a million of the hazard's tail
    expected = (1.0 - BACKGROUND_DEATHS_PER_DAY) ** np.arange(1, loads.alive.shape[-1] + 1)
    assert loads.alive[:2, 0] == pytest.approx(np.broadcast_to(expected, loads.alive[:2, 0].shape), rel=1e-4)
    assert (loads.alive <= 1.0).all()


def run_with(counts: dict[str, int], tanks: tuple[str, ...] = ("east", "spare", "east")) -> dict[str, np.ndarray]:
    """Loads of a full season of the warm loop's tanks with some fish of each candidate."""
    tables = good_tables() | {"cohorts": {}}
    for candidate, tank in zip(CANDIDATES[:3], tanks, strict=True):
        tables["cohorts"][candidate.name] = {
            "species": candidate.species, "tank": tank, "count": counts[candidate.name],
            "mean_weight": f"{candidate.mean_weight_g} g", "feed": candidate.feed,
            "ration": candidate.ration.model_dump(exclude_none=True),
        }  # fmt: skip
        if candidate.stocked:
            tables["cohorts"][candidate.name]["stocked"] = candidate.stocked
    layout = nobody_hunts(build_layout(build(tables)))
    course = simulate(layout)
    in_tank = layout.cohort_tank
    made = course.sump_tan_load_g + AMMONIA_SHARE_OF_EXCRETION * (course.excreted_nitrogen_g @ layout.cohort_loop)
    return {
        "biomass_g": ((course.weight_g * (course.count + course.deaths)) @ in_tank)[0],
        "feed_g": (course.fed_g @ in_tank)[0],
        "oxygen_g": (course.fish_oxygen_g @ in_tank)[0],
        "tan_g": made[0],
        "appetite": course.appetite_share[0],
    }


def disagreement(season: dict[str, np.ndarray], counts: dict[str, int], loads) -> dict[str, float]:
    """Greatest difference between numbers times unit loads and a full season, as a share of the season's greatest."""
    fish = np.array([counts["cats"], counts["tilapia"], counts["unfed"]])
    found = {}
    for name in ("biomass_g", "feed_g", "oxygen_g", "tan_g"):
        actual = season[name][:, 0] if name == "tan_g" else season[name].sum(axis=1)
        expected = getattr(loads, name)[0, :3].T @ fish
        found[name] = float(np.abs(expected - actual).max() / actual.max())
    return found


@pytest.mark.parametrize(("tanks", "tan_apart"), [(("east",) * 3, 1e-5), (("east", "spare", "east"), 1e-3)])
def test_loads_are_in_proportion_to_numbers_where_no_limit_bites(loads, tanks, tan_apart):
    """Uncrowded: the numbers of fish times the loads of one fish are the season's.

    They differ by the hazard's tail, a few fish in a million. Ammonia differs by another ten-thousandth or two where
    the fish live in a tank that lets its solids go at another pace than the one the loads were taken in.
    """
    counts = {"cats": 12, "tilapia": 9, "unfed": 10}
    season = run_with(counts, tanks)
    assert season["appetite"].min() == 1.0
    found = disagreement(season, counts, loads)
    assert max(found["biomass_g"], found["feed_g"], found["oxygen_g"]) < 1e-5
    assert found["tan_g"] < tan_apart, found


def test_loads_fall_short_of_proportion_where_the_water_bites(loads):
    """Crowded: the fish eat less than in good water, so that loads of one fish times numbers are on the safe side."""
    counts = {"cats": 500, "tilapia": 300, "unfed": 10}
    season = run_with(counts)
    assert season["appetite"].min() < 0.9
    assert season["feed_g"].sum() < sum(loads.feed_g[0, c].sum() * n for c, n in enumerate(counts.values()))


def test_weeks():
    daily = np.array([[1.0, 5.0, 2.0, 3.0, 3.0, 3.0, 4.0, 7.0, 1.0]])
    assert worst_of_weeks(daily).tolist() == [[5.0, 7.0]]
    assert least_of_weeks(daily).tolist() == [[1.0, 1.0]]
    assert mean_of_weeks(daily).tolist() == [[3.0, 4.0]]
