"""Many seasons at once: every number of a layout may differ by scenario, and each scenario is the season run alone."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields, is_dataclass, replace
from functools import cache

import numpy as np
import pytest
from small_sites import START, build, busy_season

from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.results.deaths import deaths_by_cause, ledger
from stocksim.engine.results.findings import findings, limit_series, planting_findings, tank_extremes
from stocksim.engine.season import scenario_count, simulate

STRUCTURE = ("cohort_tank", "leaf_loop")  # who lives where
# numbers that only the frames of a season and of its beds hold
OF_FRAMES_ONLY = {"planted_m2", "rated_m2", "ratio_low", "ratio_high", "water.changed_m3"}


@cache
def busy_layout() -> Layout:
    """Forty days of a site whose keeper does everything, its films young in one loop and grown in the other."""
    tables = busy_season()
    last = START + dt.timedelta(days=39)
    tables["season"]["end"] = last
    tables["events"] = [event for event in tables["events"] if event["date"] <= last]
    tables["beds"]["raft"]["plantings"][0]["to"] = last
    # so warm that heat kills catfish
    tables["loops"]["warm"] |= {
        "biofilter_start": "new", "water_temperature": {"kind": "constant", "value": "33 degC"},
    }  # fmt: skip
    tables["loops"]["cool"] |= {
        "water_tests": [{"date": START + dt.timedelta(days=9), "tan": "0.7 mg/L"}],
        "water_changes": [{"date": START + dt.timedelta(days=5), "volume": "200 L"}],
        "new_water": "300 L/day",
    }
    # young that eat each other, a hunter of their kind, and more crappie than their own growth bears
    tables["tanks"]["nursery"] = tables["tanks"]["east"] | {"loop": "cool"}
    for name, species, count, weight in (
        ("young", "walleye", 200, 7), ("old", "walleye", 2, 200), ("crappie", "black_crappie", 300, 60)
    ):  # fmt: skip
        tables["cohorts"][name] = {
            "species": species, "tank": "nursery", "count": count, "mean_weight": f"{weight} g", "feed": "perch_45",
        }  # fmt: skip
    tables["settlers"] = {"swirl": {"loop": "cool", "kind": "swirl", "drawn_off": "20 L/day"}}
    return build_layout(build(tables))


def float_arrays(layout: Layout) -> dict[str, np.ndarray]:
    """Every array of numbers of a layout by dotted name, found anew: a field that is added is tried too."""
    found: dict[str, np.ndarray] = {}

    def look(prefix: str, table: object) -> None:
        for field in fields(table):  # type: ignore[arg-type]
            value = getattr(table, field.name)
            if is_dataclass(value):
                look(f"{prefix}{field.name}.", value)
            elif isinstance(value, dict):
                found.update({f"{prefix}{field.name}.{key}": array for key, array in value.items()})
            elif isinstance(value, float) or (isinstance(value, np.ndarray) and value.dtype.kind == "f"):
                found[f"{prefix}{field.name}"] = np.asarray(value, float)

    look("", layout)
    return {name: array for name, array in found.items() if name not in STRUCTURE}


def with_array(layout: Layout, name: str, array: object) -> Layout:
    """The layout with one array another."""
    table, _, key = name.rpartition(".")
    if not table:
        return replace(layout, **{key: array})
    held = getattr(layout, table)
    return replace(layout, **{table: {**held, key: array} if isinstance(held, dict) else replace(held, **{key: array})})


def other(name: str, array: np.ndarray) -> np.ndarray:
    """Other numbers that the field may hold."""
    if name in ("water.maturity",):
        return np.where(np.isnan(array), 0.3, 1.5 * array)
    if name in ("rations.fed_today", "rations.in_training", "water.emptied", "species.eats_own"):
        return 1.0 - array
    if name == "species.chloride_protects":
        return 1.0 - array
    if name == "species.oxygen_full_appetite":
        return 2.0 * array  # the water holds enough for less
    if name in ("water.passing", "ration_fraction", "ration_by_day"):
        return 0.9 * array
    if name in ("rations.fixed_g", "rations.bed_led_g"):
        return 0.003 * array  # less than the fish would eat
    return np.where(array == 0.0, 0.02, 1.02 * array)


NAMES = sorted(float_arrays(busy_layout()))


def judged(layout: Layout, row: int) -> dict[str, object]:
    """All that is told of one scenario of a layout."""
    course = simulate(layout)
    told: dict[str, object] = {}
    for field in fields(course):
        array = getattr(course, field.name)
        if field.name == "transfers":
            told |= {
                f"transfer {n} {key}": np.broadcast_to(getattr(one, key), (len(course.count),))[row]
                for n, one in enumerate(array)
                for key in ("fish", "mass_g", "had")
            }
        else:
            told[field.name] = array[min(row, len(array) - 1)]
    extremes = tank_extremes(layout, course)
    told |= {f"extreme {key}": array[row] for key, array in extremes._asdict().items()}
    series = limit_series(layout, course, extremes)
    told["findings"] = findings(layout, series, row) + planting_findings(layout, course, row)
    told |= {f"deaths of {cause}": dead for cause, dead in deaths_by_cause(layout, course, row).items()}
    told["ledger"] = ledger(layout, course, row)
    return told


@pytest.mark.parametrize("name", NAMES)
def test_any_number_of_a_layout_may_differ_by_scenario(name):
    layout = busy_layout()
    mine = float_arrays(layout)[name]
    two = (mine, other(name, mine))
    both = with_array(layout, name, np.stack(two))
    assert scenario_count(both) == 2
    alone = [judged(with_array(layout, name, float(one) if one.ndim == 0 else one), 0) for one in two]
    for row in range(2):
        together = judged(both, row)
        assert list(together) == list(alone[row])
        wrong = [key for key, value in together.items() if not same(value, alone[row][key])]
        assert wrong == []
    if name not in OF_FRAMES_ONLY:
        assert not all(same(alone[0][key], alone[1][key]) for key in alone[0]), "the other value changes nothing"


def same(one: object, other: object) -> bool:
    """Whether two answers are the same to the bit."""
    if isinstance(one, np.ndarray):
        return one.shape == other.shape and np.array_equal(one, other, equal_nan=True)  # type: ignore[attr-defined]
    return repr(one) == repr(other)
