"""Oxygen from which a species eats fully: its own where it was measured, the recommended level where not."""

from __future__ import annotations

import pytest
from small_sites import build, one_tank

from stocksim.engine.running import run_season
from stocksim.fish.appetite import oxygen_appetite
from stocksim.library.species import load_species, species_names


def test_perch_eat_fully_where_carlson_saw_them_grow_as_well():
    # Carlson et al. 1980: growth of perch was not affected at 3.5 mg/L and was less at 2.0, though still a gain
    perch = load_species("yellow_perch")
    full, lethal = perch["oxygen_full_appetite"], perch["oxygen_lethal"]
    assert full == 3.5 < perch["oxygen_recommended"]
    share = oxygen_appetite([2.0, 3.5, 5.0], lethal, full)[0]
    assert share == pytest.approx([0.667, 1.0, 1.0], abs=5e-3)


def test_a_season_of_perch_goes_by_it_and_the_limit_stays():
    # a crowded tank, whose oxygen falls between the two levels
    tables = one_tank("yellow_perch", "perch_45", 22.0, days=5, count=350, power_w=12.0)
    season = run_season(build(tables))
    oxygen, perch = season.course.oxygen_mg_l[0, :, 0], load_species("yellow_perch")
    between = (oxygen > perch["oxygen_full_appetite"]) & (oxygen < perch["oxygen_recommended"])
    assert between.any(), oxygen
    layout = season.layout
    assert (layout.species["oxygen_full_appetite"] == 3.5).all()
    (found,) = [one for one in season.findings if one.limit == "oxygen"]
    assert found.is_broken
    assert found.threshold == perch["oxygen_recommended"]
    # un-ionized ammonia is far below what curbs appetite, so none is lost
    toxic = season.course.appetite_share[0, between, 0]
    assert toxic == pytest.approx(1.0, abs=0.01)


def test_other_species_keep_the_general_curve():
    own = {name for name in species_names() if "oxygen_full_appetite" in load_species(name).values}
    assert own == {"yellow_perch"}
    tables = one_tank("channel_catfish", "catfish_32", 26.0, days=2)
    layout = run_season(build(tables)).layout
    assert (layout.species["oxygen_full_appetite"] == layout.species["oxygen_recommended"]).all()


def test_walleye_copies_none_of_it():
    # likened to perch in appetite, but said to grow less below 4 mg/L
    assert "oxygen_full_appetite" not in load_species("walleye").values
