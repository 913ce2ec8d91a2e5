"""Charts: colours told apart by every eye, units in titles, one scale a panel, what is drawn is what was computed."""

from __future__ import annotations

import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest
from small_sites import START, build, one_tank, two_loops

from stocksim.answers.ramp import charts as water_charts
from stocksim.engine.running import run_season
from stocksim.faces import chart_parts, charts, palette, picture, vega
from stocksim.faces.water_words import weekly
from stocksim.library.species import load_species, species_names

# Full-strength colour vision deficiency in linear sRGB: Machado, Oliveira and Fernandes 2009, A physiologically-based
# model for simulation of color vision deficiency, IEEE Trans. Vis. Comput. Graph. 15, 1291-1298, severity 1.0 (the
# figures as quoted in several public programs; the paper's own table was not opened).
VISIONS = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# IEC 61966-2-1 (sRGB), linear RGB to XYZ under D65
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def linear(colour: str) -> np.ndarray:
    """Linear RGB of ``#rrggbb``."""
    srgb = np.array([int(colour[here : here + 2], 16) / 255.0 for here in (1, 3, 5)])
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def lab(colour: str, vision: str = "normal") -> np.ndarray:
    """CIE 1976 Lab of a colour as a kind of vision sees it."""
    seen = np.clip(VISIONS[vision] @ linear(colour), 0.0, 1.0)
    share = TO_XYZ @ seen / TO_XYZ.sum(axis=1)
    curved = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = curved
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def contrast(one: str, other: str) -> float:
    """WCAG 2.1 contrast ratio."""
    low, high = sorted(float(TO_XYZ[1] @ linear(colour)) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


def test_lab_of_known_colours():
    # white is L 100, a = b = 0 by definition; pure sRGB red is L 53.2, a 80.1, b 67.2 (common colour tables, 0.1 given)
    np.testing.assert_allclose(lab("#ffffff"), [100, 0, 0], atol=0.05)
    np.testing.assert_allclose(lab("#ff0000"), [53.2, 80.1, 67.2], atol=0.15)


def family(species: str) -> str:
    """The species it is likened to in its file, or itself."""
    return load_species(species).facts.get("like", species)


def pairs(is_likened: bool) -> list[tuple[str, str]]:
    """Pairs of shipped species that are likened to one another, or that are not."""
    every = itertools.combinations(palette.SPECIES_COLOURS, 2)
    return [(a, b) for a, b in every if (family(a) == family(b)) == is_likened]


def unlike_share(one: tuple[int, ...], other: tuple[int, ...]) -> float:
    """Share of a line where one dash has ink and the other paper, laid so that they match best."""
    length = 2520
    inks = [
        np.resize(np.repeat(np.arange(len(dash)) % 2 == 0, dash), length)  # ink first, then gap, as Vega-Lite draws
        for dash in (one, other)
    ]
    return min(float(np.mean(inks[0] != np.roll(inks[1], shift))) for shift in range(60))


@pytest.mark.parametrize("vision", VISIONS)
def test_species_colours_differ_in_every_vision(vision):
    # 20 is some nine just noticeable differences of 2.3 (Mahy et al. 1994, from memory); measured least: 20.2, tritan
    colours = palette.SPECIES_COLOURS
    least = min(
        (float(np.linalg.norm(lab(colours[a], vision) - lab(colours[b], vision))), a, b) for a, b in pairs(False)
    )
    assert least[0] >= 20.0, least
    assert np.linalg.norm(lab(palette.LEAF, vision) - lab(palette.FEED, vision)) >= 20.0


def test_likened_species_are_told_apart_by_their_dash():
    # their colours may run together to some eyes, so a fifth of the line at least must differ; measured least: 0.25
    assert set(pairs(True)) == {
        ("bluegill", "hybrid_sunfish"),
        ("bluegill", "pumpkinseed"),
        ("hybrid_sunfish", "pumpkinseed"),
        ("brown_bullhead", "channel_catfish"),
        ("walleye", "yellow_perch"),
    }
    for a, b in pairs(True):
        assert unlike_share(palette.SPECIES_DASHES[a], palette.SPECIES_DASHES[b]) >= 0.2, (a, b)
        assert palette.SPECIES_COLOURS[a] != palette.SPECIES_COLOURS[b]
    assert unlike_share((5, 4), (5, 4)) == 0.0
    assert unlike_share((1, 0), (1, 1)) == 0.5


def test_the_measure_catches_a_bad_pair():
    # red and green of one lightness: far apart to most, hardly to a deutan
    assert np.linalg.norm(lab("#b5562f") - lab("#6f7d2f")) > 40
    assert np.linalg.norm(lab("#b5562f", "deutan") - lab("#6f7d2f", "deutan")) < 20


@pytest.mark.parametrize(
    "colour", [*palette.SPECIES_COLOURS.values(), palette.TROUBLE, palette.SOUND, palette.LEAF, palette.FEED]
)
def test_colours_stand_out_from_paper(colour):
    assert contrast(colour, palette.PAPER) >= 3.0  # WCAG 2.1, 1.4.11, graphical objects


def test_text_stands_out():
    for text, ground in (
        ("INK", "PAPER"),
        ("FAINT", "PAPER"),
        ("PAPER", "TROUBLE"),
        ("PAPER", "SOUND"),
        ("INK", "SHADE"),
    ):
        assert contrast(getattr(palette, text), getattr(palette, ground)) >= 4.5  # WCAG 2.1, 1.4.3, text


def test_every_species_has_its_colour_and_dash():
    assert set(palette.SPECIES_COLOURS) == set(species_names()) == set(palette.SPECIES_DASHES)
    assert len(set(palette.SPECIES_DASHES.values())) == len(palette.SPECIES_DASHES)
    assert palette.species_colour("own_fish") in palette.SPECIES_COLOURS.values()
    assert palette.species_dash("own_fish") not in palette.SPECIES_DASHES.values()


def test_pages_and_charts_share_their_colours():
    config = tomllib.loads((Path(__file__).parents[1] / ".streamlit" / "config.toml").read_text())["theme"]
    assert config["backgroundColor"] == palette.PAPER
    assert config["secondaryBackgroundColor"] == palette.SHADE
    assert config["textColor"] == palette.INK
    assert config["primaryColor"] == palette.SOUND


STACKS = charts.STACKS


def panels_of(spec):
    return spec["vconcat"]


def x_domains(panel):
    return [str(layer["encoding"]["x"]["scale"]["domain"]) for layer in panel.get("layer", [])]


@pytest.mark.parametrize("name", STACKS)
def test_panels_share_one_time_axis_and_have_one_scale_each(demo_season, name):
    spec = STACKS[name](demo_season).to_dict()
    assert len({domain for panel in panels_of(spec) for domain in x_domains(panel)}) == 1
    for panel in panels_of(spec):
        assert "y" not in panel.get("resolve", {}).get("scale", {})
        drawn = [layer["encoding"]["y"] for layer in panel.get("layer", []) if "y" in layer["encoding"]]
        assert len({str(y.get("scale")) for y in drawn}) == ("layer" in panel), panel.get("title")
    assert sum(len(rows) for rows in spec["datasets"].values()) < 5000
    assert spec["config"]["background"] == palette.PAPER
    assert "description" in spec


def test_titles_carry_units():
    wanted = {
        "us": ["lb/gal", "ft2", "degF", "%", "%", "lb", "lb/day"],
        "metric": ["kg/m3", "m2", "degC", "%", "%", "g", "g/day"],
    }
    for units, unit_words in wanted.items():
        season = run_season(build(one_tank(days=5)).with_changes({"site.units": units}))
        titles = [
            panel["title"]
            for stack in STACKS.values()
            for panel in panels_of(stack(season).to_dict())
            if "title" in panel
        ]
        for unit in unit_words:
            assert any(f", {unit}" in title for title in titles), (unit, titles)


def test_bars_stand_where_limits_are_broken(demo_season):
    data = charts.trouble_panel(demo_season).to_dict()["datasets"]
    rows = [row for rows in data.values() for row in rows]
    broken = [finding for finding in demo_season.findings if finding.is_broken]
    firsts = {(finding.where.split(".")[1], finding.first_date.isoformat()) for finding in broken}
    assert {(row["place"], row["from"][:10]) for row in rows if row["label"]} == firsts
    days = sum((np.datetime64(row["to"][:10]) - np.datetime64(row["from"][:10])).astype(int) for row in rows)
    assert days == sum(finding.days_broken for finding in broken)


def test_the_worst_day_is_always_drawn(demo_season):
    # weekly points take each week's worst day, so that no breach falls between two points
    for limit, pick in (("oxygen", np.min), ("unionized_ammonia", np.min)):
        series = next(s for s in demo_season.limits if s.limit == limit)
        frame = chart_parts.tank_frame(demo_season, series, chart_parts.daily(series, series.margin_percent), pick)
        for finding in demo_season.findings:
            if finding.limit == limit:
                tank = frame[frame["tank"] == finding.where.split(".")[1]]
                assert tank["value"].min() == pytest.approx(finding.margin_percent, abs=0)


def test_planted_area_is_drawn_on_the_day_it_changes(demo_season):
    frame = demo_season.loops[demo_season.loops["loop"] == "warm"].set_index("date")["planted_area_m2"]
    changes = frame.index[frame.diff().fillna(0.0) != 0.0]
    spec = picture.area_panel(demo_season, "warm").to_dict()
    drawn = {row["date"][:10] for rows in spec["datasets"].values() for row in rows if "planted" in row}
    assert len(changes) > 0
    assert {f"{day:%Y-%m-%d}" for day in changes} <= drawn


def test_tank_takes_the_colour_of_its_main_species(demo_season):
    species = chart_parts.main_species(demo_season)
    assert species["birch"] == "bluegill"  # 160 bluegill of 45 g against 25 goldfish of 20 g
    assert species["maple"] == "nile_tilapia"


def test_limits_are_labelled(demo_season):
    spec = picture.density_panel(demo_season).to_dict()
    labels = [row["label"] for rows in spec["datasets"].values() for row in rows if "label" in row]
    assert any(label.startswith("limit") and "birch" in label for label in labels)
    spec = charts.temperature_panel(demo_season).to_dict()
    labels = [row["label"] for rows in spec["datasets"].values() for row in rows if "label" in row]
    (label,) = labels
    assert label.startswith("rainbow trout, loop main: ")
    assert label.endswith(" above 66")


def test_names_at_line_ends_do_not_overlap(demo_season):
    import pandas as pd

    names = pd.DataFrame({"name": list("abcdef"), "value": [0.0, 0.1, 0.1, 0.1, 9.9, 10.0], "species": "bluegill"})
    marks = chart_parts.end_labels(demo_season, names, vega.Scale(domain=[0.0, 10.0]), 150, vega.value("black"))
    places = np.sort(marks.data["place"])
    assert np.diff(places).min() >= 1.0 - 1e-9  # 15 of 150 pixels on a scale of 10
    assert places[-1] <= 10.0


@pytest.mark.parametrize(
    ("changes", "days"),
    [({"cohorts": {}}, 30), ({"beds": {}}, 30), ({"cohorts": {}, "beds": {}}, 30), ({}, 1), ({}, 900)],
    ids=["no fish", "no beds", "neither", "one day", "900 days"],
)
def test_odd_sites_can_be_drawn(changes, days):
    season = run_season(build({**one_tank(days=days), **changes}))
    for stack in STACKS.values():
        spec = stack(season).to_dict()
        assert sum(len(rows) for rows in spec["datasets"].values()) < 5000


def test_every_kind_of_unit_can_be_drawn():
    season = run_season(build(two_loops()))
    for stack in STACKS.values():
        assert stack(season).to_dict()["vconcat"]


def test_runs():
    assert chart_parts.runs(np.array([True, True, False, True])) == [(0, 1), (3, 3)]
    assert chart_parts.runs(np.array([], dtype=bool)) == []
    assert chart_parts.runs(np.zeros(3, dtype=bool)) == []


@pytest.fixture(scope="module")
def young_season():
    from stocksim.site.examples import FOLDER
    from stocksim.site.reading import load_site

    return run_season(load_site(FOLDER / "heron_lane_young.toml"))


@pytest.mark.parametrize("loop", ["main", "warm"])
def test_water_panels_share_one_time_axis_and_have_one_scale_each(young_season, loop):
    spec = water_charts.loop_stack(young_season, loop).to_dict()
    assert len({domain for panel in panels_of(spec) for domain in x_domains(panel)}) == 1
    for panel in panels_of(spec):
        scales = {str(layer["encoding"]["y"].get("scale")) for layer in panel["layer"]}
        assert len(scales) == 1, panel["title"]
    assert sum(len(rows) for rows in spec["datasets"].values()) < 5000
    # a canvas neither shrinks to a phone nor prints sharp
    assert spec["usermeta"]["embedOptions"]["renderer"] == "svg"


@pytest.mark.parametrize("limit", ["oxygen", "unionized_ammonia", "nitrite"])
def test_limits_of_cohorts_are_those_that_tanks_are_judged_by(young_season, limit):
    layout = young_season.layout
    series = next(s for s in young_season.limits if s.limit == limit)
    every = water_charts.cohort_limits(young_season, limit)
    pick = np.nanmax if limit == "oxygen" else np.nanmin
    for column in range(len(layout.tanks)):
        threshold = chart_parts.daily(series, series.threshold)[:, column]
        mine = every[:, layout.cohort_tank[:, column] > 0.0]
        there = ~np.isnan(threshold)
        np.testing.assert_array_equal(there, ~np.isnan(mine).all(axis=1))
        np.testing.assert_allclose(pick(mine[there], axis=1), threshold[there], rtol=1e-12)


def test_water_is_drawn_on_its_worst_days(young_season):
    spec = water_charts.loop_stack(young_season, "main").to_dict()
    panel = next(panel for panel in panels_of(spec) if panel["title"].startswith("Nitrite"))
    rows = [row for layer in panel["layer"] for row in spec["datasets"][layer["data"]["name"]] if "tank" in row]
    for tank, days in young_season.tanks[young_season.tanks["loop"] == "main"].groupby("tank"):
        drawn = max(row["value"] for row in rows if row["tank"] == tank)
        assert drawn == pytest.approx(days["nitrite_n_mg_l"].max(), abs=0)


def test_weeks_add_up_to_the_season(young_season):
    spec = water_charts.loop_stack(young_season, "main").to_dict()
    loops = young_season.loops[young_season.loops["loop"] == "main"]
    ounces, gallons = loops["buffer_g"].sum() / 28.349523125, loops["top_up_l"].sum() / 3.785411784
    for title, total in (("Buffer", ounces), ("Top-up", gallons)):
        panel = next(panel for panel in panels_of(spec) if panel["title"].startswith(title))
        rows = spec["datasets"][panel["layer"][0]["data"]["name"]]
        assert sum(row["value"] for row in rows) == pytest.approx(total, rel=1e-9)
        assert total > 0.0
    assert weekly(np.ones(15)) == [(0, 7, 7.0), (7, 7, 7.0), (14, 1, 1.0)]


@pytest.mark.parametrize(
    ("changes", "missing"),
    [
        ({"cohorts": {}}, "Buffer"),
        ({"beds": {}}, "Film"),
        ({"cohorts": {}, "beds": {}}, "Film"),
        ({"season": {"start": START, "end": START}}, "Buffer"),
    ],
    ids=["no fish", "no film", "neither", "one day"],
)
def test_water_of_odd_sites_can_be_drawn(changes, missing):
    season = run_season(build({**one_tank(days=30), **changes}))
    titles = [panel["title"] for panel in panels_of(water_charts.loop_stack(season, "main").to_dict())]
    assert not any(title.startswith(missing) for title in titles)
    assert "Top-up water, L a week" in titles


def test_loop_without_tanks_can_be_drawn():
    tables = one_tank(days=5)
    tables["loops"]["spare"] = {"sump": "500 L", "water_temperature": {"kind": "constant", "value": "15 degC"}}
    titles = [p["title"] for p in panels_of(water_charts.loop_stack(run_season(build(tables)), "spare").to_dict())]
    assert titles[0] == "Nitrate nitrogen, mg/L"
    assert not any("Oxygen" in title or "pH" in title for title in titles)


def test_words_of_limits_do_not_cover_each_other(young_season):
    groups = [("a", np.full(212, 1.0)), ("b", np.full(212, 1.01)), ("c", np.full(212, 9.0)), ("d", np.full(212, 99.0))]
    for is_right in (False, True):
        rules, words = water_charts.limit_layers(young_season, groups, vega.Scale(domain=[0.0, 10.0]), 150, is_right)
        rows = words[0].data
        assert len(rules) == 1
        assert set(rows["label"]) == {"limit 1: a", "limit 1: b", "limit 9: c", "limits above: d 99"}
        assert np.diff(np.sort(rows["place"])).min() >= 1.0 - 1e-9  # 15 of 150 pixels on a scale of 10
        assert rows["place"].max() <= 10.0
