"""What more of something brings: phrases read, more never worse, and the command that tells it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
import tomlkit
from command_line import runner

sys.path.insert(0, str(Path(__file__).parent / "advice"))

from small_sites import build
from troubled import HEALTHY, changed

from stocksim.answers.stock.more import one_more_each, read_more, what_if
from stocksim.errors import InputError

CROWDED = changed(HEALTHY["tilapia"], {"cohorts.fish_one.count": 300})


@pytest.mark.parametrize(
    ("text", "fields"),
    [
        ("tank one 3000 L", {"tanks.one.volume": "3000 L"}),
        ("bed gravel 20 m2", {"beds.gravel.area": "20 m2"}),
        ("air two 120 W", {"tanks.two.oxygen_supply": {"kind": "diffuser", "power": "120 W"}}),
    ],
)
def test_a_phrase_is_read_as_fields(text, fields):
    assert read_more(build(HEALTHY["perch"]), text).fields == fields


def test_a_tank_that_the_file_does_not_have_is_a_new_one():
    more = read_more(build(HEALTHY["perch"]), "tank three 3000 L")
    assert more.fields == {"tanks.three": HEALTHY["perch"]["tanks"]["one"] | {"volume": "3000 L"}}
    assert more.text == "tank three 3000 L (adds a tank like one)"


@pytest.mark.parametrize(
    ("text", "told"),
    [("tank aldre 2 m3", "alder"), ("tank Alder 2 m3", "alder"), ("tank tow 2 m3", "two"),
     ("tank tank_ast 2 m3", "tank_east"),
     ("bed grvel 3 m2", "gravel")],
)  # fmt: skip
def test_a_name_that_is_nearly_one_of_the_file_is_asked_about(text, told):
    tables = HEALTHY["perch"] | {"tanks": {"alder": HEALTHY["perch"]["tanks"]["one"]} | HEALTHY["perch"]["tanks"]}
    tables["tanks"] |= {"tank_east": tables["tanks"]["one"]}
    with pytest.raises(InputError, match=f"did you mean {told}\\?"):
        read_more(build(tables), text)


@pytest.mark.parametrize("name", ["one_2", "tank_west", "tank_b", "tank_east_2", "pond"])
def test_a_name_that_counts_on_or_is_another_is_a_new_tank(name):
    tables = HEALTHY["perch"] | {"tanks": {"tank_east": HEALTHY["perch"]["tanks"]["one"]} | HEALTHY["perch"]["tanks"]}
    assert set(read_more(build(tables), f"tank {name} 2 m3").fields) == {f"tanks.{name}"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("pond 3 m3", 'give "tank NAME VOLUME"'), ("tank one", 'give "tank NAME VOLUME"'),
        ("bed lettuce 3 m2", "it has gravel"), ("tank one 3 kg", "not a unit of volume"),
        ("heat main 2 kW", "no heater"), ("air main 20 W", "it has one, two"),
    ],
)  # fmt: skip
def test_other_phrases_are_told_what_is_wrong(text, told):
    with pytest.raises(InputError, match=told) as caught:
        read_more(build(HEALTHY["perch"]), text)
    assert text in str(caught.value)


def test_a_larger_tank_brings_kept_fish_and_a_smaller_one_stays_unused():
    site = build(CROWDED)
    found = what_if(site, [read_more(site, "tank one 6000 L"), read_more(site, "tank one 400 L")])
    larger, smaller = found.each
    assert not larger.is_unused
    assert larger.reached.rank > found.own.rank
    assert smaller.is_unused
    assert smaller.reached == found.own


def test_one_more_of_each_is_offered_with_what_the_file_has():
    several = one_more_each(build(HEALTHY["perch"]))
    assert [next(iter(more.fields)) for more in several] == [
        "tanks.one_2",
        "tanks.one.oxygen_supply",
        "beds.gravel.area",
    ]
    assert several[2].fields["beds.gravel.area"] == "10 m2"


def test_the_command_tells_what_more_would_bring(monkeypatch, capsys, tmp_path):
    run = runner(monkeypatch, capsys, tmp_path)
    path = tmp_path / "house.toml"
    path.write_text(tomlkit.dumps(CROWDED))
    ran = run("stock", path, "--what-if", "tank one 6000 L", "--json")
    assert ran.code == 0
    (more,) = ran.data["what_if"]
    assert more["what"] == "tank one 6000 L"
    assert more["reaches"]["kg"] > ran.data["own"]["kg"]
    assert run("stock", path, "--what-if", "pond 3 m3").code == 2
