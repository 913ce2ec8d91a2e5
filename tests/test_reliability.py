"""Three hundred spoilt or built sites and as many spoilt files: refused in sentences, or run to numbers that can be.

The same by the thousand, on demand: ``python tests/reliability/mutants.py --sites 10000 --files 2000``.
"""

from __future__ import annotations

import os
import typing
from pathlib import Path

import pytest
from hunting import examples
from pydantic import BaseModel
from reliability import bases, judging, mutants, mutations

from stocksim import load_site
from stocksim.site.model import SiteFile

SITES, FILES, SEED = examples(300), examples(300), 11
SOUND = [
    *bases.site_bases(),
    *(bases.with_own_library(kind, names[0]) for kind, names in mutants.SHIPPED.items()),
    bases.recorded(days=25),
    bases.recorded(days=25, hourly=False),
]


@pytest.mark.parametrize("kind", [*mutants.SITE_KINDS, *mutants.FILE_KINDS])
def test_no_spoilt_file_gives_a_traceback_or_nonsense(kind):
    tally = mutants.run(SITES, FILES, SEED, only=kind)[kind]
    assert tally.counts["cases"] == round({**mutants.SITE_KINDS, **mutants.FILE_KINDS}[kind] * SITES)
    # a mutant that is never refused or never runs tries only half of the promise
    assert tally.counts["refused"] > 0
    assert tally.counts["ran"] > 0
    # the watch on 5 s is for the script: nothing here fails on a time
    found = [
        (case.number, verdict.outcome, verdict.what) for case, verdict in tally.failures if not verdict.is_slow_only
    ]
    assert found == []


@pytest.mark.parametrize("base", SOUND, ids=lambda base: base.name)
def test_what_is_spoilt_is_sound_before(base, tmp_path):
    mutants.put(mutants.as_case("sound", 0, base), tmp_path)
    verdict = judging.judge(tmp_path)
    assert (verdict.outcome, verdict.what) == ("ran", ""), verdict.sentences
    assert verdict.days <= 60


def _tables_of(kind: object) -> set[type[BaseModel]]:
    """All tables that may stand in a kind of value, those inside of them included."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        found = {kind}
        for field in kind.model_fields.values():
            found |= _tables_of(field.annotation)
        return found
    return {table for part in typing.get_args(kind) for table in _tables_of(part)}


def _keys_written(value: object) -> set[tuple[type, str]]:
    if isinstance(value, BaseModel):
        found = {(type(value), key) for key in value.model_fields_set}
        return found.union(*(_keys_written(getattr(value, key)) for key in value.model_fields_set))
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, (list, tuple)) else ()
    return set().union(*map(_keys_written, inner))


def test_every_key_of_a_site_file_is_in_what_is_spoilt(tmp_path):
    every = {(table, key) for table in _tables_of(SiteFile) for key in table.model_fields}
    written: set[tuple[type, str]] = set()
    for number, base in enumerate(SOUND):
        folder = tmp_path / str(number)
        mutants.put(mutants.as_case("sound", 0, base), folder)
        written |= _keys_written(load_site(folder / "site.toml").file)
    assert sorted(f"{table.__name__}.{key}" for table, key in every - written) == []


# --- the judge tells what it should


class _Frames:
    """A season of one row each."""

    def __init__(self, **changed: float):
        import pandas as pd

        self.tanks = pd.DataFrame({"temperature_c": [15.0], "oxygen_supply_g": [-3.0], "oxygen_mg_l": [8.0]})
        self.cohorts = pd.DataFrame({"temperature_c": [15.0], "count": [4.0], "growth_g_per_day": [-0.1]})
        self.loops = pd.DataFrame({"temperature_c": [15.0], "alkalinity_mg_l": [60.0], "heat_kwh": [float("nan")]})
        self.beds = pd.DataFrame({"yield_kg": [float("nan")]})
        self.ledger = pd.DataFrame({"fish": [4.0], "kg": [-0.2]})
        for place, value in changed.items():
            name, column = place.split("__")
            getattr(self, name)[column] = value


@pytest.mark.parametrize(
    ("place", "value", "outcome"),
    [
        ("cohorts__count", float("nan"), "empty"), ("loops__heat_kwh", float("inf"), "empty"),
        ("loops__alkalinity_mg_l", -0.01, "impossible"), ("tanks__temperature_c", 56.0, "impossible"),
        ("tanks__oxygen_mg_l", -1e-6, "impossible"), ("ledger__kg", -1.0, ""), ("tanks__oxygen_mg_l", 0.0, ""),
    ],
)  # fmt: skip
def test_numbers_that_cannot_be_are_seen(place, value, outcome):
    assert judging.odd_numbers(_Frames(**{place: value}))[0] == outcome


def test_a_traceback_is_counted_and_never_raised(tmp_path, monkeypatch):
    import stocksim.engine.running

    def broken(site: object) -> None:
        raise KeyError("biofilter")

    mutants.put(mutants.as_case("sound", 0, bases.small()), tmp_path)
    monkeypatch.setattr(stocksim.engine.running, "run_season", broken)
    verdict = judging.judge(tmp_path)
    assert (verdict.outcome, verdict.is_failure) == ("traceback", True)
    assert "KeyError" in verdict.what
    assert f"{Path(__file__).name}:broken" in verdict.what


@pytest.mark.skipif(os.name != "posix", reason="the watch needs a timer of CPU time")
def test_a_case_without_end_is_given_up(tmp_path, monkeypatch):
    import stocksim.engine.running

    def endless(site: object) -> None:
        while True:
            sum(range(1000))

    mutants.put(mutants.as_case("sound", 0, bases.small()), tmp_path)
    monkeypatch.setattr(stocksim.engine.running, "run_season", endless)
    monkeypatch.setattr(judging, "LIMIT_S", 0.05)
    monkeypatch.setattr(judging, "STOPPED_S", 0.2)
    verdict = judging.judge(tmp_path)
    assert verdict.what == "given up"
    assert verdict.is_slow
    assert verdict.is_failure


def test_the_same_seed_gives_the_same_cases():
    first, again, other = (
        [case.files for case in mutants.cases(12, 20, seed) if case.kind != "built sites"] for seed in (5, 5, 6)
    )
    assert first == again
    assert first != other


def test_failing_cases_are_kept_where_asked_and_nothing_else_is_written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(mutants, "judge", lambda folder: judging.Verdict("traceback", "KeyError in x.py:y (z)"))
    mutants.run(2, 0, 1, only="spoilt sites")
    assert list(tmp_path.iterdir()) == []
    mutants.run(2, 0, 1, keep=Path("failing"), only="spoilt sites")
    assert [path.name for path in Path("failing").iterdir()] == ["spoilt_sites_0"]
    assert (
        (Path("failing") / "spoilt_sites_0" / "found.txt").read_text(encoding="utf-8").startswith("traceback: KeyError")
    )


def test_toml_is_written_as_it_is_read():
    import tomllib

    for base in SOUND:
        assert tomllib.loads(bases.toml_text(base.tables)) == base.tables
    odd = {"a": [{"b": '\u007f\\"\n\u0000ä'}], "": {"x y": {}}, "d": mutations.ODD_VALUES[28], "n": -(10**400)}
    assert tomllib.loads(bases.toml_text(odd)) == odd


# --- what the mutants found, each by itself

LONG = "x" * 5000


@pytest.mark.parametrize(
    "place",
    [
        ("tanks", "north", "loop"), ("cohorts", "perch", "tank"), ("cohorts", "perch", "species"),
        ("cohorts", "perch", "feed"), ("settlers", "cone", "feeds"), ("stocking", "candidates", "more_trout",
        "species"),
        ("stocking", "harvest_wishes", 0, "species"), ("events", 0, "cohort"), ("events", 4, "feed"),
        ("beds", "raft", "plantings", 0, "crop"), ("stocking", "own", "gold", "tanks"),
    ],
    ids=lambda place: ".".join(map(str, place)),
)  # fmt: skip
def test_a_name_of_nothing_is_told_in_a_short_sentence(place, tmp_path):
    from stocksim import InputError

    base = bases.everything()
    mutations.at(base.tables, place[:-1])[place[-1]] = [LONG] if place[-1] == "tanks" else LONG
    mutants.put(mutants.as_case("sound", 0, base), tmp_path)
    with pytest.raises(InputError) as caught:
        load_site(tmp_path / "site.toml")
    assert [len(fault.message) < 600 for fault in caught.value.faults].count(False) == 0
    assert any('"xxx' in fault.message for fault in caught.value.faults)


def test_a_loop_without_tanks_is_told_without_a_number(tmp_path):
    from stocksim import run_season
    from stocksim.answers.season.answer import season_answer
    from stocksim.faces.text import answer_text

    base = bases.everything()
    base.tables["loops"]["dry"] = {"sump": "300 L", "water_temperature": {"kind": "constant", "value": "15 degC"}}
    mutants.put(mutants.as_case("sound", 0, base), tmp_path)
    season = run_season(load_site(tmp_path / "site.toml"))
    text = answer_text(season_answer(season, season.findings))
    assert "Water of loop dry" in text
    assert "nan" not in text


def test_a_cohort_that_dies_out_has_no_infinite_growth(tmp_path):
    """Tilapia in water of 6 degC: after four months 1e-310 of a fish is left, and 1 over that is infinite."""
    from stocksim import run_season

    base = bases.small(days=150)
    base.tables["loops"]["main"]["water_temperature"] = {"kind": "constant", "value": "6 degC"}
    base.tables["cohorts"]["fish"] |= {"species": "nile_tilapia", "feed": "tilapia_34"}
    mutants.put(mutants.as_case("sound", 0, base), tmp_path)
    season = run_season(load_site(tmp_path / "site.toml"))
    assert season.cohorts["count"].between(0.0, 1e-308, inclusive="neither").any()
    assert judging.odd_numbers(season) == ("", "")


@pytest.mark.parametrize("cycled", [False, True], ids=["bare", "dosed"])
def test_alkalinity_stays_above_nothing_where_many_fish_come_at_once(cycled, tmp_path):
    """Ammonia of fish that were not there yesterday may not be nitrified with alkalinity that is not there today."""
    import datetime as dt

    from stocksim import run_season

    base = bases.small(days=12)
    tables = base.tables
    tables["loops"]["main"] |= {"sump": "133 L", "source_water": {"alkalinity": "40 mg/L"}}
    del tables["loops"]["main"]["alkalinity_target"]
    tables["beds"]["gravel"] = {"loop": "main", "kind": "media", "area": "13 m2"}
    tables["tanks"]["one"]["flow"] = "4000 L/h"
    comes = bases.START + dt.timedelta(days=9)
    if cycled:
        dosed = {"from": bases.START, "to": comes - dt.timedelta(days=1), "ammonia_nitrogen": "3 g/day"}
        tables["loops"]["main"]["fishless_cycling"] = dosed
    tables["cohorts"]["fish"] |= {"stocked": comes, "count": 1500, "mean_weight": "300 g"}
    mutants.put(mutants.as_case("sound", 0, base), tmp_path)
    season = run_season(load_site(tmp_path / "site.toml"))
    assert season.loops["alkalinity_mg_l"].min() >= -judging.ROUNDING


def test_a_source_with_an_endless_name_is_told_in_a_short_sentence(tmp_path):
    from stocksim.errors import ParameterError
    from stocksim.library.species import load_species

    text = (bases.LIBRARY / "fish" / "bluegill.toml").read_text(encoding="utf-8")
    own = tmp_path / "species_params" / "fish" / "own.toml"
    own.parent.mkdir(parents=True)
    own.write_text(text.replace("[sources.", f"[sources.{LONG}", 1), encoding="utf-8")
    with pytest.raises(ParameterError) as caught:
        load_species("own", tmp_path)
    assert caught.value.faults
    assert max(len(fault.message) for fault in caught.value.faults) < 600
