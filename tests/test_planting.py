"""What is planted when, and which published feed ratio holds for it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.answers.beds.decide import bed_balance
from stocksim.answers.beds.words import week_rows
from stocksim.engine.arrays.beds import UNPLANTED_RATIO, Unrated, build_planting, published_ratio
from stocksim.engine.arrays.fish import bed_led_feed
from stocksim.engine.results.findings import planting_findings
from stocksim.library.crops import crop_names, load_crop
from stocksim.plants.area import handbook_area, planting_ratio


def planted(beds: dict, days: int = 20) -> dict:
    tables = one_tank(days=days)
    tables["beds"] = beds
    return tables


def bed(kind: str, area: str, *plantings: dict) -> dict:
    return {"loop": "main", "kind": kind, "area": area, "plantings": list(plantings)} | (
        {"flow": "200 L/h"} if kind == "tower" else {}
    )


def crop(name: str, first: int = 0, last: int = 19, area: str | None = None) -> dict:
    table = {"crop": name, "from": START + dt.timedelta(days=first), "to": START + dt.timedelta(days=last)}
    return table if area is None else table | {"area": area}


# Published bands, g feed per m2 and day. Rafts 60-100: Rakocy 2007, Ten guidelines for aquaponic systems. Leafy 40-50,
# fruiting 50-80: Somerville et al. 2014, FAO 589, section 8.1 (excerpts read). None was found for towers and wicking
# beds.
@pytest.mark.parametrize(
    ("kind", "name", "band"),
    [
        ("raft", "lettuce", (60.0, 100.0)),
        ("raft", "basil", (60.0, 100.0)),
        ("raft", "tomato", (50.0, 80.0)),
        ("media", "lettuce", (40.0, 50.0)),
        ("media", "kale", (40.0, 50.0)),
        ("media", "tomato", (50.0, 80.0)),
        ("media", "cucumber", (50.0, 80.0)),
        ("tower", "lettuce", None),
        ("wicking", "tomato", None),
        ("raft", "bean", None),
        ("media", "pea", None),
        ("media", "strawberry", None),
    ],
)
def test_published_ratio(kind, name, band):
    assert published_ratio(kind, load_crop(name)) == band


def test_every_crop_has_a_band_or_says_that_it_has_none():
    for name in crop_names():
        band = published_ratio("media", load_crop(name))
        assert band is None or 0.0 < band[0] < band[1]
        if band is None:
            assert "no published feed ratio" in load_crop(name).summary


def test_bands_are_weighted_by_area():
    site = build(planted({
        "raft": bed("raft", "9 m2", crop("lettuce")), "gravel": bed("media", "3 m2", crop("tomato", 5, 14)),
    }))  # fmt: skip
    planting = build_planting(site)
    assert planting.ratio_low[0, 0] == 60.0
    assert planting.ratio_high[0, 0] == 100.0
    # from the sixth day to the fifteenth, both counted: 9 m2 at 60-100 and 3 m2 at 50-80
    for day in (5, 14):
        assert planting.ratio_low[day, 0] == pytest.approx((9 * 60 + 3 * 50) / 12)
        assert planting.ratio_high[day, 0] == pytest.approx((9 * 100 + 3 * 80) / 12)
        assert planting.loop_area_m2[day, 0] == pytest.approx(12.0)
    for day in (4, 15):
        assert planting.loop_area_m2[day, 0] == pytest.approx(9.0)
    assert planting.crops["gravel"][4:6] == ["", "tomato"]


def test_unrated_crops_count_as_area_but_not_in_the_band():
    site = build(planted({"gravel": bed("media", "8 m2", crop("lettuce", area="2 m2"), crop("bean", area="6 m2"))}))
    planting = build_planting(site)
    assert planting.loop_area_m2[0, 0] == pytest.approx(8.0)
    assert planting.rated_area_m2[0, 0] == pytest.approx(2.0)
    assert (planting.ratio_low[0, 0], planting.ratio_high[0, 0]) == (40.0, 50.0)
    assert planting.crops["gravel"][0] == "lettuce + bean"
    assert planting.unrated == (Unrated("gravel", "media", "bean"),)


def test_feed_by_the_beds_asks_nothing_for_what_has_no_ratio():
    beds = {"gravel": bed("media", "6 m2", crop("lettuce", area="2 m2"), crop("bean", area="4 m2")),
            "wall": bed("tower", "18 m2", crop("lettuce"))}  # fmt: skip
    planting = build_planting(build(planted(beds)))
    np.testing.assert_allclose(planting.loop_area_m2[:, 0], 24.0)
    # 2 m2 of lettuce in gravel at 45; beans and the tower have no ratio
    np.testing.assert_allclose(bed_led_feed(planting, 0), 2.0 * 45.0)
    # a ratio of the keeper's own goes for all that is planted
    np.testing.assert_allclose(bed_led_feed(planting, 0, 20.0), 24.0 * 20.0)
    week = bed_balance(run_season(build(planted(beds))))[0].weeks[0]
    assert week.handbook_feed_g == pytest.approx(90.0)
    assert (week.planted_m2, week.rated_m2) == pytest.approx((24.0, 2.0))


def test_a_loop_of_unrated_crops_has_no_handbook_area_and_feeds_no_fish():
    beds = {"gravel": bed("media", "6 m2", crop("bean", area="4 m2"), crop("pea", area="2 m2"))}
    tables = planted(beds)
    planting = build_planting(build(tables))
    assert np.isnan(planting.ratio_low).all()
    assert np.isnan(planting.ratio_high).all()
    (cohort,) = tables["cohorts"].values()
    cohort["ration"] = {"kind": "beds"}
    site = build(tables)
    assert [note for note in site.notes if note.startswith("cohorts.") and "feed ratio" in note]
    season = run_season(site)
    assert season.loops["feed_g"].eq(0.0).all()
    for column in ("planting_ratio_g_m2_day", "handbook_area_m2", "handbook_area_low_m2", "handbook_area_high_m2"):
        assert season.loops[column].isna().all()
    assert planting_findings(season.layout, season.course) == []
    (balance,) = bed_balance(season)
    assert all(np.isnan(week.handbook_feed_g) for week in balance.weeks)
    row = week_rows(balance, "metric")[0]
    assert row["feeding-ratio area"] == "-"
    assert row["feed needed"].endswith("(-)")
    cohort["ration"] = {"kind": "beds", "ratio": "10 g/m2/day"}
    assert run_season(build(tables)).loops["feed_g"].iloc[0] == pytest.approx(60.0)


def test_what_has_no_ratio_is_named_once_by_its_bed_and_why():
    site = build(planted({
        "wall": bed("tower", "2 m2", crop("lettuce", 0, 9), crop("basil", 10, 19)),
        "tub": bed("wicking", "2 m2", crop("tomato")),
        "gravel": bed("media", "4 m2", crop("pea", 0, 9), crop("pea", 10, 19)),
    }))  # fmt: skip
    assert build_planting(site).unrated == (
        Unrated("wall", "tower"),
        Unrated("tub", "wicking"),
        Unrated("gravel", "media", "pea"),
    )


def test_wicking_beds_are_planted_but_not_on_loop_water():
    site = build(planted({"tub": bed("wicking", "5 m2", crop("tomato"))}))
    planting = build_planting(site)
    assert (planting.bed_area_m2[:, 0] == 5.0).all()
    assert (planting.loop_area_m2 == 0.0).all()
    season = run_season(site)
    assert season.loops["planting_ratio_g_m2_day"].isna().all()
    assert season.beds["planted_area_m2"].eq(5.0).all()
    assert not [finding for finding in season.findings if finding.limit == "planting_ratio"]


def test_bare_days_keep_the_band_of_the_season():
    site = build(planted({"raft": bed("raft", "9 m2", crop("lettuce", 10, 19))}))
    planting = build_planting(site)
    assert (planting.loop_area_m2[:10] == 0.0).all()
    assert (planting.ratio_low[:, 0] == 60.0).all()
    assert build_planting(build(planted({}))).ratio_low[0, 0] == UNPLANTED_RATIO[0]


def test_replanting_on_the_day_after_is_no_overlap():
    site = build(planted({"gravel": bed("media", "4 m2", crop("lettuce", 0, 9), crop("tomato", 10, 19))}))
    planting = build_planting(site)
    assert (planting.bed_area_m2 == 4.0).all()
    assert planting.crops["gravel"][9:11] == ["lettuce", "tomato"]
    assert planting.ratio_high[9:11, 0].tolist() == [50.0, 80.0]


def test_columns_of_loops_and_beds_agree_with_the_demonstration_file(demo_site, demo_season):
    for day in (0, 40, 120, demo_site.days - 1):
        date = demo_season.layout.start + dt.timedelta(days=day)
        for loop in demo_site.file.loops:
            area = low = high = rated = 0.0
            for bed_table in demo_site.file.beds.values():
                for planting in bed_table.plantings:
                    if (
                        bed_table.loop != loop
                        or bed_table.kind == "wicking"
                        or not planting.start <= date <= planting.end
                    ):
                        continue
                    here = planting.area or bed_table.area
                    area += here
                    band = published_ratio(bed_table.kind, demo_site.crops[planting.crop])
                    if band is not None:
                        rated, low, high = rated + here, low + here * band[0], high + here * band[1]
            loops = demo_season.loops[demo_season.loops["loop"] == loop].set_index("date")
            row = loops.loc[date.isoformat()]
            assert row["planted_area_m2"] == pytest.approx(area)
            if rated > 0.0:
                assert row["planting_ratio_g_m2_day"] == pytest.approx(row["feed_g"] / rated)
                assert row["handbook_area_m2"] == pytest.approx(row["feed_g"] / (0.5 * (low + high) / rated))
                assert row["handbook_area_low_m2"] == pytest.approx(row["feed_g"] / (high / rated))
                assert row["handbook_area_high_m2"] == pytest.approx(row["feed_g"] / (low / rated))


def test_area_functions_broadcast_and_mark_bare_ground():
    ratio = planting_ratio([[100.0], [0.0]], [10.0, 0.0, 5.0])
    np.testing.assert_array_equal(ratio, [[10.0, np.nan, 20.0], [0.0, np.nan, 0.0]])
    assert np.isnan(planting_ratio(np.nan, 1.0))
    np.testing.assert_allclose(handbook_area([1000.0, 0.0], [[50.0], [100.0]]), [[20.0, 0.0], [10.0, 0.0]])
    # a ratio carried back gives the area it came from
    assert handbook_area(750.0, planting_ratio(750.0, 12.0)) == pytest.approx(12.0)
