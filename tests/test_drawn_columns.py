"""Columns of beds and heat of many drawn seasons: each is the one of the season's own files."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from small_sites import START, build, busy_season, one_tank

from stocksim.drawn.columns import BED_COLUMNS, EVERY_COLUMN, HEAT_COLUMN, Grown, bed_column
from stocksim.drawn.draws import prepared
from stocksim.drawn.outlook import SHARES, outlook, points_of
from stocksim.drawn.years import heat_of_years, warmth_of_years
from stocksim.engine.arrays.beds import build_planting
from stocksim.engine.arrays.tables import with_numbers
from stocksim.engine.results.frames import TABLES, Season
from stocksim.engine.running import run_season
from stocksim.engine.season import simulate
from stocksim.errors import InputError
from stocksim.heat.hourly import Warmth, run_plan
from stocksim.heat.temperatures import heat_of_loops, loop_heat_kwh, typed_c, warmth_of_site
from stocksim.site.reading import Site


@cache
def planted() -> Site:
    """A raft, and a wicking bed that a settler's solids feed."""
    tables = one_tank(days=40, count=30)
    tables["beds"]["raft"] = {
        "loop": "main", "kind": "raft", "area": "12 m2",
        "plantings": [{"crop": "lettuce", "from": START, "to": tables["season"]["end"]}],
    }  # fmt: skip
    tables["beds"]["earth"] = tables["beds"]["raft"] | {"kind": "wicking", "area": "3 m2"}
    tables["settlers"] = {"cone": {"loop": "main", "kind": "swirl", "feeds": "earth", "drawn_off": "20 L/day"}}
    return build(tables)


def test_every_numeric_column_of_a_seasons_files_has_a_band():
    season = run_season(build(busy_season()))
    wanted = {
        f"{table}.{name}"
        for table in TABLES
        if table != "ledger"
        for name, kind in getattr(season, table).dtypes.items()
        if kind.kind == "f"
    }
    assert wanted == set(EVERY_COLUMN)


@pytest.mark.parametrize("column", BED_COLUMNS)
def test_a_column_of_many_seasons_is_the_one_of_each_alone(column):
    site = planted()
    draws = prepared(site, 1, years=2)
    points = points_of(draws, 2, 1)[0]
    layout = with_numbers(draws.layout, draws.arrays(points))
    places, values = bed_column(column, Grown(site, build_planting(site), layout, simulate(layout)))
    table, name = column.split(".")
    for row in range(2):
        one = with_numbers(draws.layout, {key: array[row] for key, array in draws.arrays(points).items()})
        frame = getattr(Season(site, one, simulate(one), build_planting(site)), table)
        alone = frame.pivot_table(name, "date", table[:-1], sort=False, dropna=False)[list(places)].to_numpy()
        np.testing.assert_allclose(values[row], alone, rtol=1e-6, atol=1e-12)
    # something grows, or there would be nothing to compare
    assert column.endswith("shortfall_g") or np.nanmax(np.abs(values)) > 0.0


@cache
def warm() -> Site:
    tables = one_tank(days=12, count=10)
    tables["site"] |= {"latitude": 45.0}
    heater = {"power": "20 kW", "set_point": "12 degC", "fuel": "electricity"}
    tables["greenhouse"] = {"floor_area": "40 m2", "height": "2.5 m", "cover": "double_film", "heater": heater}
    tables["weather"] = {"kind": "normals", "low": {"oct": "-4 degC"}, "high": {"oct": "6 degC"}}
    return build(tables)


def test_heat_of_years_is_that_of_each_years_weather():
    site = warm()
    heat = heat_of_years(site, 3, seed=4)
    assert heat.shape == (3, 12, 1)
    whole = [warmth.run.mean_c for warmth in warmth_of_years(site, 3, 4, typed_c(site), ("mean",))]
    assert whole[0].shape[:2] == (12, 3)
    assert heat.std(axis=0).max() > 0.0
    # the same reckoning in the normals gives the column of the files
    plain = warmth_of_site(site)
    assert plain is not None
    again = Warmth(plain.plan, plain.weather, run_plan(plain.plan, plain.weather, is_hourly=False, keep=("mean",)))
    np.testing.assert_allclose(heat_of_loops(again, site), loop_heat_kwh(site), rtol=1e-12)


def test_the_band_of_heat_is_that_of_the_drawn_years():
    found = outlook(warm(), 64, seed=4, indices=False, columns=[HEAT_COLUMN])
    (places, ends) = found.bands[HEAT_COLUMN].places, found.bands[HEAT_COLUMN].ends
    assert places == ("main",)
    bank = found.draws.heat_kwh[:, :, 0]  # 64 seasons draw each of 64 years once
    exact = np.quantile(bank, SHARES, axis=0)
    assert (np.abs(ends[..., 0] - exact) <= 0.06 * np.ptp(bank, axis=0) + 1e-6).all()


def test_a_site_without_weather_has_no_heat_to_tell():
    found = outlook(build(one_tank(days=5)), 2, indices=False, columns=[HEAT_COLUMN])
    assert np.isnan(found.bands[HEAT_COLUMN].ends).all()


def test_an_unknown_column_is_a_sentence():
    with pytest.raises(InputError, match="nonsense"):
        outlook(build(one_tank(days=5)), 2, columns=["nonsense"])
