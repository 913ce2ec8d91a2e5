"""What goes in comes out: fish mass, nitrogen, oxygen and energy of whole seasons of random small sites, day by day.

Every sum is written here from the library's own values, not from the engine's arrays. "Closes" means to 1e-9 of the
gross amounts in the sum: the day's rounds stop when appetite agrees to 1e-10.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from small_sites import FED_WELL, any_site, build, one_tank, two_loops

from stocksim import run_season
from stocksim.engine.eating import SOLIDS_BREAKDOWN_SHARE
from stocksim.water.oxygen import oxygen_saturation

CLOSED = 1e-9
UREA_AND_AMMONIA = 6.25  # kg protein per kg nitrogen


class Told:
    """A season with the library values of its cohorts, arrays (day, column) of the only scenario."""

    def __init__(self, tables: dict):
        self.season = run_season(build(tables))
        layout, course, site = self.season.layout, self.season.course, self.season.site
        self.layout, self.course = layout, course
        fish = [site.file.cohorts[key] for key in layout.cohorts]

        def of_feed(key: str) -> np.ndarray:
            return np.array([site.feeds[cohort.feed][key] for cohort in fish], float)

        def of_species(key: str) -> np.ndarray:
            return np.array([site.species[cohort.species][key] for cohort in fish], float)

        self.feed_nitrogen = of_feed("protein") / UREA_AND_AMMONIA
        self.digested = of_feed("protein_digestibility")
        self.feed_kj_g, self.feed_gross_kj_g = of_feed("digestible_energy"), of_feed("gross_energy")
        self.body_nitrogen = of_species("body_protein") / UREA_AND_AMMONIA
        self.body_kj_g = of_species("body_energy")
        self.fed, self.eaten, self.gain = course.fed_g[0], course.eaten_g[0], course.gain_g[0]
        self.excreted = course.excreted_nitrogen_g[0]
        self.faecal_nitrogen = self.eaten * self.feed_nitrogen * (1.0 - self.digested)
        self.uneaten_nitrogen = (self.fed - self.eaten) * self.feed_nitrogen

    def per_loop(self, cohorts: np.ndarray) -> np.ndarray:
        return cohorts @ self.layout.cohort_loop


def assert_same(left: np.ndarray, right: np.ndarray, gross: np.ndarray) -> None:
    """Equal day by day and over the season, to 1e-9 of the gross amounts."""
    for a, b, scale in ((left, right, gross), (left.sum(axis=0), right.sum(axis=0), gross.sum(axis=0))):
        off = np.abs(a - b)
        assert (off <= CLOSED * scale + 1e-12).all(), f"off by {np.max(off / np.maximum(scale, 1e-300)):.2e}"


def check_fish_mass(told: Told) -> None:
    count, weight = told.course.count[0], told.course.weight_g[0]
    started = told.layout.start_weight_g
    before = np.vstack([started, weight[:-1]]) if weight.size else weight
    # a day's gain belongs to the fish present; nobody dies or is harvested in this model
    assert_same(count * weight, count * before + told.gain, count * (weight + before))
    stocked = np.arange(told.layout.days)[:, None] >= told.layout.stocked_day
    np.testing.assert_array_equal(count, np.where(stocked, told.layout.count, 0.0))
    assert (weight > 0.0).all()
    end = count[-1] * weight[-1]
    assert_same(end - told.layout.count * started, told.gain.sum(axis=0), end + told.layout.count * started)


def check_feed_nitrogen(told: Told) -> None:
    assert (told.eaten <= told.fed + 1e-12).all()
    retained = told.gain * told.body_nitrogen
    assert_same(
        told.fed * told.feed_nitrogen,
        retained + told.excreted + told.faecal_nitrogen + told.uneaten_nitrogen,
        told.fed * told.feed_nitrogen + np.abs(retained) + np.abs(told.excreted),
    )


def check_energy(told: Told) -> None:
    digestible = told.eaten * told.feed_kj_g
    heat = 13.6 * told.course.fish_oxygen_g[0]
    retained = told.gain * told.body_kj_g
    assert (heat >= -1e-9).all()
    assert_same(digestible, 0.07 * digestible + heat + retained, digestible + heat + np.abs(retained))


def check_loop_nitrogen(told: Told) -> None:
    layout, course = told.layout, told.course
    tan, sump = course.tan_mg_l[0], course.sump_tan_mg_l[0]
    stored = (tan * layout.volume_m3) @ layout.leaf_loop + sump * layout.sump_volume_m3
    change = np.diff(stored, axis=0, prepend=0.0)  # the season starts with clean water
    produced = told.season.loops["tan_produced_g"].to_numpy().reshape(layout.days, -1)
    nitrified = course.nitrified_g[0] @ layout.leaf_loop
    assert_same(produced, nitrified + change, produced + nitrified + stored)
    # and what is produced is all that fish excrete and the half of faeces and spilled feed that breaks down
    solids = SOLIDS_BREAKDOWN_SHARE * (told.faecal_nitrogen + told.uneaten_nitrogen)
    assert_same(produced, told.per_loop(told.excreted + solids), produced)


def check_oxygen(told: Told) -> None:
    layout, course = told.layout, told.course
    leaf, sump = course.oxygen_mg_l[0], course.sump_oxygen_mg_l[0]
    assert (leaf >= 0.0).all()
    assert (sump >= 0.0).all()
    # the season starts with saturated water
    first = oxygen_saturation(layout.temperature_c[:1], layout.elevation_m)
    stored = np.vstack([first @ layout.leaf_loop.T, leaf]) * layout.volume_m3 @ layout.leaf_loop
    stored += np.vstack([first, sump]) * layout.sump_volume_m3
    from_air = (course.leaf_exchange_load_g[0] - course.leaf_exchange_m3_day[0] * leaf) @ layout.leaf_loop
    from_air += course.sump_exchange_load_g[0] - course.sump_exchange_m3_day[0] * sump
    used = course.oxygen_used_g[0] @ layout.leaf_loop + course.sump_oxygen_used_g[0]
    gross = used + stored[1:] + course.leaf_exchange_load_g[0] @ layout.leaf_loop + course.sump_exchange_load_g[0]
    assert_same(from_air, used + np.diff(stored, axis=0), gross)


def check_oxygen_users(told: Told) -> None:
    layout, course = told.layout, told.course
    tanks = len(layout.tanks)
    level, used = course.oxygen_mg_l[0], course.oxygen_used_g[0]
    nitrifiers = 4.569 * course.nitrified_g[0]
    assert (nitrifiers[:, :tanks] == 0.0).all(), "tanks carry no film in this model"
    breathing = course.fish_oxygen_g[0] @ layout.cohort_tank
    wanted = np.concatenate([breathing, nitrifiers[:, tanks:]], axis=1)
    left = level > 0.0
    assert (np.abs(used - wanted)[left] <= CLOSED * wanted[left] + 1e-12).all()
    assert (used <= wanted * (1.0 + CLOSED) + 1e-12).all()
    # solids in the sump: half of the energy of faeces and spilled feed, at 13.6 kJ per g
    undigested = told.eaten * (told.feed_gross_kj_g - told.feed_kj_g) + (told.fed - told.eaten) * told.feed_gross_kj_g
    solids = told.per_loop(SOLIDS_BREAKDOWN_SHARE * undigested / 13.6)
    sump_left = course.sump_oxygen_mg_l[0] > 0.0
    sump_used = course.sump_oxygen_used_g[0]
    assert (np.abs(sump_used - solids)[sump_left] <= CLOSED * solids[sump_left] + 1e-12).all()
    assert (sump_used <= solids * (1.0 + CLOSED) + 1e-12).all()


CHECKS = (check_fish_mass, check_feed_nitrogen, check_energy, check_loop_nitrogen, check_oxygen, check_oxygen_users)


@settings(max_examples=150)
@given(any_site())
def test_random_sites_close(tables):
    told = Told(tables)
    for check in CHECKS:
        check(told)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_a_site_with_every_unit_closes(check):
    check(Told(two_loops()))


@pytest.mark.parametrize(("species", "feed", "celsius"), FED_WELL)
def test_every_species_closes(species, feed, celsius):
    told = Told(one_tank(species, feed, celsius, days=10))
    for check in CHECKS:
        check(told)


def test_a_crowd_without_air_closes():
    # 1,500 fish in half a cubic metre: oxygen runs out or appetite stops, and nothing vanishes meanwhile
    told = Told(one_tank(count=1500, volume_l=500.0, flow_l_h=50.0, power_w=0.0, bed_m2=1.0))
    assert told.course.appetite_share[0].min() < 0.05
    for check in CHECKS:
        check(told)


def test_the_frames_close_too(demo_season):
    cohorts, loops, tanks = demo_season.cohorts, demo_season.loops, demo_season.tanks
    grown = (cohorts["growth_g_per_day"] * cohorts["count"]).sum()
    start = (demo_season.layout.count * demo_season.layout.start_weight_g).sum()
    last = cohorts[cohorts["date"] == cohorts["date"].max()]
    assert 1000.0 * last["biomass_kg"].sum() == pytest.approx(start + grown, rel=CLOSED)
    for column in ("feed_g", "biomass_kg"):
        assert loops[column].sum() == pytest.approx(tanks[column].sum(), rel=CLOSED)
        assert cohorts[column].sum() == pytest.approx(tanks[column].sum(), rel=CLOSED)
    assert cohorts["oxygen_use_g"].sum() == pytest.approx(tanks["oxygen_use_g"].sum(), rel=CLOSED)
