"""Crops live in the air and under the cover of the room that the heat balance reckons."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from site_faults import DEMO

from stocksim.engine.bed_climate import bed_climate
from stocksim.engine.warmth import warmth_of_site
from stocksim.site.examples import FOLDER
from stocksim.site.reading import site_from_tables


def demo(**site: object):
    tables = copy.deepcopy(DEMO)
    tables["site"] |= site
    return tables


def built(tables):
    return site_from_tables(tables, FOLDER)


def test_air_over_the_beds_is_that_of_their_room():
    site = built(demo())
    warmth = warmth_of_site(site)
    greenhouse = warmth.run.mean_c[:, warmth.plan.nodes.index("greenhouse")]
    climate = bed_climate(site)
    for column in range(len(site.file.beds)):
        np.testing.assert_array_equal(climate.air_c[:, column], greenhouse)
    # a wicking bed's roots are in that air too, a gravel bed's in its water
    beds = list(site.file.beds)
    np.testing.assert_array_equal(climate.root_c[:, beds.index("wicking_tubs")], greenhouse)
    np.testing.assert_array_equal(climate.root_c[:, beds.index("long_gravel")], site.temperature_c["main"])


def test_what_the_keeper_typed_of_the_air_goes_before_it():
    months = ("oct", "nov", "dec", "jan", "feb", "mar", "apr", "may")
    climate = bed_climate(built(demo(air_temperature=dict.fromkeys(months, "14 degC"))))
    np.testing.assert_allclose(climate.air_c, 14.0)


def test_light_passes_the_greenhouse_cover_less_its_frame():
    # double film 0.77, of which frame and dirt leave 0.8
    own, typed = bed_climate(built(demo())), bed_climate(built(demo(cover_transmission=0.616)))
    np.testing.assert_allclose(own.light_mol_m2, typed.light_mol_m2, rtol=1e-12)


def test_a_fish_room_is_dark_and_says_so():
    tables = demo()
    tables["beds"]["warm_gravel"]["heat"] = {"room": "fish_room"}
    site = built(tables)
    column = list(site.file.beds).index("warm_gravel")
    climate = bed_climate(site)
    assert (climate.light_mol_m2[:, column] == 0.0).all()
    assert climate.light_mol_m2[:, 0].min() > 0.0
    assert any("beds.warm_gravel stands in the fish room" in note for note in site.notes)
    lit = bed_climate(built({**tables, "site": tables["site"] | {"cover_transmission": 0.5}}))
    assert lit.light_mol_m2[:, column].min() > 0.0


@pytest.mark.parametrize("missing", ["weather", "greenhouse"])
def test_without_weather_or_room_the_air_is_the_water(missing):
    tables = demo()
    del tables[missing]
    for table in (*tables["beds"].values(), *tables["loops"].values(), *tables["tanks"].values()):
        table.pop("heat", None)
    tables.pop("fish_room", None)
    site = built(tables)
    climate = bed_climate(site)
    np.testing.assert_array_equal(climate.air_c[:, 0], site.temperature_c[next(iter(site.file.beds.values())).loop])
