"""Crops live in the air and under the cover of the room that the heat balance reckons."""

from __future__ import annotations

import copy
import datetime as dt

import numpy as np
import pytest
from site_faults import DEMO

from stocksim.climate.daylight import USUAL_CLOUD_SHARE, daily_radiation
from stocksim.engine.arrays.bed_climate import bed_climate
from stocksim.heat.temperatures import warmth_of_site, water_c
from stocksim.site.examples import FOLDER
from stocksim.site.notes import bed_room
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
    np.testing.assert_array_equal(climate.root_c[:, beds.index("long_gravel")], water_c(site)["main"])


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
    (note,) = (note for note in site.notes if note.startswith("beds.warm_gravel "))
    assert "fish room" in note
    lit = bed_climate(built({**tables, "site": tables["site"] | {"cover_transmission": 0.5}}))
    assert lit.light_mol_m2[:, column].min() > 0.0


def test_house_and_crops_stand_under_the_same_sun():
    site = built(demo())
    weather = warmth_of_site(site).weather
    sun = 0.0036 * weather.hours.sun_w_m2.reshape(-1, 24).sum(axis=-1)
    np.testing.assert_allclose(bed_climate(site).radiation_mj_m2, sun, rtol=1e-9)
    assert not any("usual clouds" in note for note in site.notes)
    # half the sun in the weather is half the light on the crops
    darker = demo()
    darker["weather"]["sun"] = {month: 0.5 * share for month, share in darker["weather"]["sun"].items()}
    half = bed_climate(built(darker)).light_mol_m2[:, 0] / bed_climate(site).light_mol_m2[:, 0]
    np.testing.assert_allclose(half, 0.5, rtol=0.02)


def test_typed_clouds_go_before_the_weather_in_their_month_alone():
    own, typed = bed_climate(built(demo())), bed_climate(built(demo(cloud_share={"dec": 0.9})))
    december = np.arange(61, 92)
    number = np.arange(335, 366)
    np.testing.assert_allclose(typed.radiation_mj_m2[december], daily_radiation(45.0, number, 0.9))
    np.testing.assert_array_equal(typed.radiation_mj_m2[:61], own.radiation_mj_m2[:61])


def test_weather_without_sun_leaves_usual_clouds_and_says_so():
    tables = demo()
    del tables["weather"]["sun"]
    site = built(tables)
    (note,) = (note for note in site.notes if note.startswith("site.cloud_share "))
    assert "usual clouds" in note
    np.testing.assert_allclose(
        bed_climate(site).radiation_mj_m2[75], daily_radiation(45.0, 349, USUAL_CLOUD_SHARE[11]), rtol=1e-12
    )


@pytest.mark.parametrize("has_sun", [True, False])
def test_a_weather_file_gives_its_sun_to_the_crops_where_it_has_one(tmp_path, has_sun):
    tables = demo()
    start, end = tables["season"]["start"], tables["season"]["end"]
    days = [start + dt.timedelta(days=day) for day in range((end - start).days + 1)]
    rows = [f"{day},-2,6{',1.2' if has_sun else ''}" for day in days]
    (tmp_path / "met.csv").write_text("\n".join(["date,low_c,high_c" + ",sun_kwh_m2" * has_sun, *rows]) + "\n")
    tables["weather"] = {"kind": "file", "file": "met.csv"}
    site = site_from_tables(tables, tmp_path)
    radiation = bed_climate(site).radiation_mj_m2
    if has_sun:
        np.testing.assert_allclose(radiation[:150], 3.6 * 1.2, rtol=1e-9)
    else:
        assert radiation[75] == pytest.approx(daily_radiation(45.0, 349, USUAL_CLOUD_SHARE[11]))
    assert any("usual clouds" in note for note in site.notes) is not has_sun


def test_a_bed_outdoors_leaves_the_others_in_their_room():
    tables = demo()
    tables["beds"]["wicking_tubs"]["heat"] = {"room": "outdoors"}
    site, inside = built(tables), bed_climate(built(demo()))
    warmth, climate = warmth_of_site(site), bed_climate(site)
    out = list(site.file.beds).index("wicking_tubs")
    greenhouse = warmth.run.mean_c[:, warmth.plan.nodes.index("greenhouse")]
    np.testing.assert_array_equal(climate.air_c[:, out], warmth.weather.mean_c)
    np.testing.assert_array_equal(np.delete(climate.air_c, out, axis=1)[:, 0], greenhouse)
    np.testing.assert_allclose(climate.light_mol_m2[:, out] * 0.77 * 0.8, inside.light_mol_m2[:, out], rtol=1e-12)
    assert climate.air_c[:, out].min() < 0.0
    (note,) = (note for note in site.notes if note.startswith("beds.wicking_tubs stands "))
    assert "outdoors" in note
    assert "[weather]" in note


def test_a_site_of_a_fish_room_alone_hears_of_the_dark_and_of_no_film():
    tables = demo()
    del tables["greenhouse"]
    for table in (*tables["beds"].values(), *tables["loops"].values(), *tables["tanks"].values()):
        table.pop("heat", None)
    site = built(tables)
    assert all(room == "fish_room" for room in (bed_room(bed, site.file) for bed in site.file.beds.values()))
    assert not any("double plastic film" in note or "air like the water" in note for note in site.notes)
    assert any("fish room" in note and "as dark" in note for note in site.notes)
    warmth = warmth_of_site(site)
    room = warmth.run.mean_c[:, warmth.plan.nodes.index("fish_room")]
    np.testing.assert_array_equal(bed_climate(site).air_c[:, 0], room)


@pytest.mark.parametrize("missing", ["weather", "greenhouse"])
def test_without_weather_or_room_the_air_is_the_water(missing):
    tables = demo()
    del tables[missing]
    for table in (*tables["beds"].values(), *tables["loops"].values(), *tables["tanks"].values()):
        table.pop("heat", None)
    tables.pop("fish_room", None)
    site = built(tables)
    climate = bed_climate(site)
    np.testing.assert_array_equal(climate.air_c[:, 0], site.held_c[next(iter(site.file.beds.values())).loop])
