"""What a computed site is told when a table beside its weather is at fault: the fault, and no other."""

from __future__ import annotations

import tomllib

import pytest

from stocksim.errors import InputError
from stocksim.faces import editing
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import site_from_text

TEXT = example_text("heron_lane_computed")


def places(text: str) -> list[tuple[str, str]]:
    """Table and key of every fault."""
    with pytest.raises(InputError) as caught:
        site_from_text(text, FOLDER)
    return [(fault.table, fault.field) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("key", "value"), [("elevation", "300"), ("units", "feet"), ("name", 3), ("latitude", "north"), ("colour", "red")]
)
def test_a_fault_in_the_site_table_is_told_alone(key, value):
    assert places(editing.put(TEXT, ("site", key), value)) == [("site", key)]


@pytest.mark.parametrize("key", ["weather", "greenhouse"])
def test_a_fault_in_a_table_of_the_heat_is_told_alone(key):
    assert places(editing.put(TEXT, (key, "colour"), "red")) == [(key, "colour")]


def test_a_latitude_that_is_missing_is_told_beside_a_fault():
    text = editing.put(editing.put(TEXT, ("site", "latitude"), None), ("site", "elevation"), "300")
    computed = [f"loops.{name}" for name in tomllib.loads(TEXT)["loops"]]
    assert places(text) == [("site", "elevation"), *((loop, "water_temperature") for loop in computed)]


def test_a_loop_that_is_gone_is_told_where_it_is_named():
    text = editing.remove_entry(TEXT, "loops", "main")
    found = places(text)
    assert ("tanks.cedar", "loop") in found
    assert {field for _, field in found} == {"loop"}
