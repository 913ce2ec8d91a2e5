"""Ranges of formulas: data beside each, warnings for Python users, told once by every answer, silent inside."""

from __future__ import annotations

import ast
import importlib
import re
import tomllib
import warnings
from pathlib import Path

import pytest
from command_line import refused, runner
from reliability.bases import toml_text
from site_faults import changed

from stocksim import OutsideValidity, run_season
from stocksim.engine.running import grow
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import load_site, site_from_tables
from stocksim.validity import RANGED, beyond
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.carbonate import carbon_dioxide
from stocksim.water.gas import water_drop_exchange
from stocksim.water.oxygen import air_pressure, oxygen_saturation, surface_exchange_velocity

ROOT = Path(__file__).resolve().parents[1]
SCIENCE = [path for room in ("water", "climate", "fish", "plants") for path in (ROOT / "stocksim" / room).glob("*.py")]
PROMISED = re.compile(r"\[([^\]]*)\] Valid (-?[\d.]+) to (-?[\d.]+)")


@pytest.fixture(autouse=True)
def imported():
    """All science, so that every range is there whatever ran before."""
    for path in SCIENCE:
        importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))


def promises() -> list[tuple[str, str, str, float, float]]:
    """Function, argument, unit and both ends of every range that a docstring of the science rooms tells."""
    found = []
    for path in SCIENCE:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef):
                continue
            names: list[str] = []
            for line in (ast.get_docstring(node) or "").splitlines():
                if re.match(r"\w[\w, ]* : ", line):
                    names = line.split(" : ")[0].split(", ")
                if told := PROMISED.search(line):
                    found += [(node.name, name, told[1], float(told[2]), float(told[3])) for name in names]
    return found


def test_a_docstring_and_the_data_tell_the_same_range():
    """Neither a promise without data nor data without a promise; what a formula takes for granted is data alone."""
    arguments = {
        node.name: {argument.arg for argument in node.args.args}
        for path in SCIENCE
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef)
    }
    data = {
        (name, one.argument, one.unit, one.low, one.high)
        for name, ranged in RANGED.items()
        for one in ranged.ranges
        if one.argument in arguments[name]
    }
    assert data == set(promises())
    assert len(data) > 30
    for ranged in RANGED.values():
        assert ranged.what
        for one in ranged.ranges:
            assert one.low < one.high
            assert one.source


OUTSIDE = [
    (lambda: unionized_fraction(7.5, 33.0), "Emerson et al. 1975"),
    (lambda: unionized_fraction(10.5, 20.0), "Emerson et al. 1975"),
    (lambda: air_pressure(3500.0), "3000 m"),
    (lambda: oxygen_saturation([20.0, 41.0]), "Benson & Krause 1984"),
    (lambda: oxygen_saturation(20.0, 3500.0), "3000 m"),
    (lambda: carbon_dioxide(9.4, 100.0, 20.0), "6 to 9"),
    (lambda: water_drop_exchange(24.0, 0.3, 32.0), "30 degC"),
    (lambda: surface_exchange_velocity(42.0), "Wanninkhof 2014"),
]


@pytest.mark.parametrize(("call", "says"), OUTSIDE)
def test_a_python_user_is_warned_outside_a_range(call, says):
    with pytest.warns(OutsideValidity, match=says) as caught:
        assert call() is not None
    assert len(caught) == 1
    assert caught[0].filename == __file__


def test_nothing_is_said_inside_or_of_numbers_that_are_not_there():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for temperature in (0.0, 15.0, 30.0, float("nan")):
            unionized_fraction([6.0, 10.0], temperature)
            oxygen_saturation(temperature, [-430.0, 3000.0])
        run_season(load_site(FOLDER / "heron_lane.toml"))
        run_season(load_site(FOLDER / "starter.toml"))
        grow("bluegill", 28.0, 24.0, days=5)
    assert beyond("carbon_dioxide_saturation", elevation_m=3000.0 + 1e-7, temperature_c=None) == []


@pytest.fixture
def call(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


@pytest.mark.parametrize(
    ("options", "formulas"),
    [
        (("--at", "20 degC", "--ph", "7"), []),
        (("--at", "33 degC", "--ph", "7"), ["unionized_fraction"]),
        (("--at", "33 degC"), []),
        (("--at", "20 degC", "--ph", "9.5", "--alkalinity", "80 mg/L"), ["carbon_dioxide"]),
        (("--at", "20 degC", "--elevation", "3600 m"), ["oxygen_saturation"]),
        (("--at", "32 degC", "--ph", "5.5", "--alkalinity", "8 mg/L", "--elevation", "4000 m"),
         ["oxygen_saturation", "unionized_fraction", "unionized_fraction", "carbon_dioxide"]),
    ],
)  # fmt: skip
def test_water_tells_each_range_it_leaves(call, options, formulas):
    ran = call("water", *options, "--json")
    assert (ran.code, ran.err) == (0, "")
    assert [one["formula"] for one in ran.data["outside_validity"]] == formulas
    text = call("water", *options)
    assert text.out.count("Less sure:") == len(formulas)
    assert text.err == ""


def test_water_still_refuses_what_no_formula_knows(call):
    refused(call("water", "--at", "45 degC", "--ph", "7"), "give 0 to 40 degC")


STARTER = tomllib.loads(example_text("starter"))
(LOOP,) = STARTER["loops"]
(COHORT,) = STARTER["cohorts"]
WARM_HIGH = changed(
    STARTER,
    {
        f"cohorts.{COHORT}.species": "nile_tilapia",
        f"cohorts.{COHORT}.feed": "tilapia_34",
        f"loops.{LOOP}.water_temperature": {"kind": "constant", "value": "31 degC"},
        "site.elevation": "3400 m",
    },
)


def test_a_season_tells_once_what_left_its_range_where_and_how_long(call, tmp_path):
    path = tmp_path / "warm.toml"
    path.write_text(toml_text(WARM_HIGH), encoding="utf-8")
    ran = call("season", path, "--json")
    assert ran.err == ""
    rows = {(one["argument"], one["where"]): one for one in ran.data["outside_validity"]}
    days = load_site(path).days
    warm, high = rows[("temperature_c", f"loops.{LOOP}")], rows[("elevation_m", "site")]
    assert {"unionized_fraction", "oxidizer_growth", "oxidizer_decay"} <= set(warm["formulas"])
    assert (warm["bound"], warm["side"], warm["days"], warm["worst"]) == (30.0, "above", days, 31.0)
    assert {"air_pressure", "oxygen_saturation", "carbon_dioxide_saturation"} <= set(high["formulas"])
    assert (high["bound"], high["days"]) == (3000.0, days)
    assert len(warm["sources"]) == len(warm["formulas"])
    told = [caution for caution in ran.data["cautions"] if "sources of a formula cover" in caution]
    assert len(told) == 1
    text = " ".join(call("season", path, "--all").out.split())
    assert text.count("sources of a formula cover") == 1
    inside = call("season", "house.toml", "--json")
    assert inside.data["outside_validity"] == []
    assert not any("sources of a formula cover" in caution for caution in inside.data["cautions"])


def test_run_season_warns_a_python_user_once():
    site = site_from_tables(WARM_HIGH, FOLDER)
    with pytest.warns(OutsideValidity) as caught:
        season = run_season(site)
    assert len(caught) == 1
    assert caught[0].filename == __file__
    assert {one.argument for one in season.left_ranges} == {"temperature_c", "elevation_m"}


def test_the_page_of_the_model_has_every_range():
    """``python docs/ranges.py`` writes the table."""
    text = (ROOT / "docs" / "model.md").read_text(encoding="utf-8")
    told = text.split("<!-- ranges -->\n")[1].split("\n<!-- end of ranges -->")[0]
    namespace: dict[str, object] = {}
    exec((ROOT / "docs" / "ranges.py").read_text(encoding="utf-8"), namespace)
    assert told == namespace["ranges_table"]()  # type: ignore[operator]
