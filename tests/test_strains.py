"""Strains: what a cohort of one eats, what a species file must say of them, and how a wrong one is told."""

from __future__ import annotations

import pytest
from command_line import runner
from small_sites import build, one_tank

from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.season import simulate
from stocksim.errors import InputError, ParameterError
from stocksim.faces.understood import understood
from stocksim.library.sources import library_folder, read_entry
from stocksim.library.species import SPECIES_RULES, load_species, species_names

FULL = {"kind": "appetite", "fraction": 1.0}
STRAINS = [(name, strain) for name in species_names() for strain in load_species(name).strains]
OFFER = {"species": "rainbow_trout", "mean_weight": "60 g", "price": 2, "feed": "trout_44", "at_most": 30}


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def trout(**cohort: object) -> dict:
    tables = one_tank("rainbow_trout", "trout_44", 14.0, 2)
    tables["cohorts"]["fish"] |= {"ration": FULL} | cohort
    return tables


@pytest.mark.parametrize("strain", ["fast", "slow", "wild"])
def test_a_strain_multiplies_appetite(strain):
    common, own = (simulate(build_layout(build(tables))).eaten_g[0, 0, 0] for tables in (trout(), trout(strain=strain)))
    factor = load_species("rainbow_trout").strains[strain].appetite
    assert factor != 1.0
    assert own / common == pytest.approx(factor, rel=0.01)  # weight at noon differs
    assert f"strain {strain}" in understood(build(trout(strain=strain)))["cohorts"][0]


def test_strains_of_one_trial_keep_the_order_of_their_weights():
    strains = load_species("rainbow_trout").strains
    assert strains["fast"].appetite > strains["slow"].appetite > strains["wild"].appetite
    assert load_species("largemouth_bass").strains["modern"].appetite > 1.0
    assert load_species("largemouth_bass").strains["older"].appetite < 1.0


@pytest.mark.parametrize(("name", "strain"), STRAINS)
def test_every_strain_says_what_it_is_and_where_its_number_stands(name, strain):
    entry = load_species(name)
    told = entry.strains[strain]
    assert told.title
    assert told.where
    assert entry.sources[told.source].cite
    assert 0.5 <= told.appetite <= 2.0


def test_an_unknown_strain_is_told_with_those_that_are_known():
    with pytest.raises(InputError) as told:
        build(trout(strain="golden"))
    assert str(told.value).endswith('"golden" is not a strain of rainbow_trout; known are fast, slow, wild.')
    tables = one_tank()
    tables["cohorts"]["fish"]["strain"] = "fast"
    with pytest.raises(InputError, match=r"no strains of nile_tilapia are; leave strain out\."):
        build(tables)


@pytest.mark.parametrize(
    ("fish", "words"),
    [
        ({"strain": "golden"}, "known are fast, slow, wild"),
        ({"sex": "females"}, "makes no difference that is known for rainbow_trout"),  # ended in a KeyError before
    ],
)
def test_fish_to_buy_are_asked_for_their_strain_and_sex_too(fish, words):
    tables = one_tank("rainbow_trout", "trout_44", 14.0) | {"stocking": {"candidates": {"offer": OFFER | fish}}}
    with pytest.raises(InputError, match=words) as told:
        build(tables)
    assert "stocking.candidates.offer" in str(told.value)


def spoiled(tmp_path, old: str, new: str):
    text = (library_folder() / "fish" / "rainbow_trout.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "rainbow_trout.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[strains.fast]", '[strains."very fast"]', "strains.very fast: is no name"),
        ("[strains.fast]", "[strains.fast]\ncolour = 1", "must be a table with title, appetite, source, where"),
        ('source = "strains65"', 'source = "nobody"', "source: is not among this file's sources"),
        ("missed_low = ", "missed_low = -1 # ", "must be a whole number"),
        ("least = ", "least = 1e3 # ", "must be a number from 0 to 100"),
        ("least = ", "most = ", "must be a table with count, low, high, kept, missed_low, least"),
    ],
)
def test_a_wrong_table_of_strains_or_trials_is_one_sentence(tmp_path, old, new, words):
    with pytest.raises(ParameterError) as told:
        read_entry(spoiled(tmp_path, old, new), SPECIES_RULES)
    assert words in str(told.value)


def test_an_appetite_out_of_bounds_is_told(tmp_path):
    factor = load_species("rainbow_trout").strains["fast"].appetite
    with pytest.raises(ParameterError, match=r"strains.fast.appetite: must be a number from 0.3 to 3"):
        read_entry(spoiled(tmp_path, f"appetite = {factor:g}", "appetite = 117"), SPECIES_RULES)


def test_faces_tell_the_strains_of_a_species(run):
    data = run("fish", "rainbow_trout", "--json").data
    assert set(data["strains"]) == {"fast", "slow", "wild"}
    assert data["strains"]["wild"]["read"] == "abstract"
    assert any('`strain = "fast"`' in fact for fact in data["facts"])
    assert "died in 5 days at 2 degC" in " ".join(run("fish", "largemouth_bass", "--all").out.split())
