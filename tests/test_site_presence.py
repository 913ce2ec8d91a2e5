"""What of a site file only shows with every fish in its place: fishless cycling, feed by weight, a loop's water."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from cycling_site import cycling, day_ready, run
from site_faults import changed, faults_of, told
from small_sites import START, build, one_tank

from stocksim import load_site, run_season
from stocksim.answers.season.answer import season_answer
from stocksim.engine.arrays.layout import build_layout
from stocksim.faces.text import answer_text
from stocksim.faces.understood import understood
from stocksim.heat.notes import site_notes
from stocksim.site.cohorts import spells
from stocksim.site.examples import FOLDER, example_names
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.reading import Site, site_from_tables


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


DOSED = {"from": on(2), "to": on(9), "ammonia_nitrogen": "1 g/day"}


def two_tanks(**loop: object) -> dict:
    """One loop with fish in its tank, another with an empty one."""
    tables = one_tank(days=30)
    tables["loops"]["spare"] = changed(tables["loops"]["main"], {}) | loop
    tables["tanks"]["spare"] = {"loop": "spare", "volume": "500 L", "flow": "500 L/h"}
    tables["tanks"]["other"] = {"loop": "main", "volume": "500 L", "flow": "500 L/h"}
    return tables


# --- fishless cycling


def dosed(stocked: int | None, events: list[dict], count: int = 40) -> dict:
    tables = one_tank(days=30, count=count, fishless_cycling=DOSED, biofilter_start="new")
    if stocked is not None:
        tables["cohorts"]["fish"]["stocked"] = on(stocked)
    return tables | {"events": events}


HARVEST = {"kind": "harvest", "date": on(2), "cohort": "fish", "all": True}
MORE = {"kind": "stock", "cohort": "fish", "count": 5, "mean_weight": "20 g"}


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        (
            dosed(None, []),
            ["from 2026-10-03 to 2026-10-10", "in tank one ", "from 2026-10-01", "after the last"],
        ),
        (dosed(9, []), ["from 2026-10-10", "2026-10-09 or earlier"]),
        (dosed(None, [HARVEST | {"date": on(3)}]), ["from 2026-10-01"]),
        (dosed(None, [HARVEST | {"all": False, "count": 39}]), ["from 2026-10-01"]),
        (dosed(None, [HARVEST, MORE | {"date": on(7)}]), ["from 2026-10-08 by events[2]", "end it on 2026-10-07"]),
        (dosed(None, [MORE | {"date": on(7)}], count=0), ["from 2026-10-08 by events[1]"]),
    ],
)
def test_fish_in_a_loop_dosed_with_ammonia_are_one_fault(tables, words):
    (fault,) = faults_of(tables)
    assert (fault.table, fault.field) == ("loops.main", "fishless_cycling")
    for word in words:
        assert word in fault.message


@pytest.mark.parametrize("kind", ["move", "grade"])
def test_fish_that_events_bring_into_a_dosed_loop_are_a_fault(kind):
    tables = two_tanks(fishless_cycling=DOSED)
    more = {"into": "big", "largest_share": 0.5} if kind == "grade" else {}
    event = {"kind": kind, "date": on(4), "cohort": "fish", "tank": "spare"} | more
    (fault,) = faults_of(tables | {"events": [event]})
    assert told([fault]) == [("loops.spare", "fishless_cycling")]
    name = "big" if kind == "grade" else "fish"
    for word in (f"{name} is in tank spare", "from 2026-10-05 by events[1]"):
        assert word in fault.message
    # the day after the last dose they may come, and those that leave before the first may have been there
    site_from_tables(tables | {"events": [event | {"date": on(10)}]}, FOLDER)
    tables["cohorts"]["fish"]["tank"] = "spare"
    site_from_tables(tables | {"events": [{"kind": "move", "date": on(2), "cohort": "fish", "tank": "one"}]}, FOLDER)


@pytest.mark.parametrize("tables", [
    dosed(10, []), dosed(None, [], count=0), dosed(None, [HARVEST]),
    dosed(None, [HARVEST | {"all": False, "count": 40}]),
    dosed(None, [HARVEST, MORE | {"date": on(10)}]), two_tanks(fishless_cycling=DOSED),
])  # fmt: skip
def test_a_loop_without_fish_may_be_dosed(tables):
    site_from_tables(tables, FOLDER)


@pytest.mark.parametrize("name", example_names())
def test_no_example_is_at_fault(name):
    site = load_site(FOLDER / f"{name}.toml")
    there = spells(site.file)
    assert {spell.cohort for spell in there} == set(site.cohorts)
    for spell in there:
        assert site.file.season.start <= spell.first <= spell.last <= site.file.season.end


@pytest.mark.parametrize(("grams_mg_l", "temperature_c"), [(1.5, 20.0), (0.8, 12.0), (3.6, 20.0)])
def test_dosing_that_runs_ahead_of_a_new_film_is_noted_and_the_advised_dose_does_not(grams_mg_l, temperature_c):
    tables = cycling(temperature_c, 60, bed_m2=6.0)
    water = loop_water_m3(build(tables).file, "main")

    def dosed_with(dose: str) -> tuple[list[str], np.ndarray, int]:
        """Notes, TAN of the tank and the day from which the loop is ready."""
        tables["loops"]["main"]["fishless_cycling"]["ammonia_nitrogen"] = dose
        _, course = run(tables)
        tan, nitrite = course.tan_mg_l[0, :, 0], course.nitrite_mg_l[0, :, 0]
        notes = [note for note in site_notes(build(tables)) if "fishless_cycling" in note]
        return notes, tan, day_ready(np.column_stack([tan, nitrite]))

    (note,), tan, ready = dosed_with(f"{grams_mg_l * water} g/day")
    assert note.startswith("loops.main.fishless_cycling ")
    assert f" {grams_mg_l:g} mg/L" in note
    assert "ready later" in note
    assert tan.max() > 6.0
    notes, tan, ready_as_advised = dosed_with(note.split("Dose ")[1].split(" or less")[0])
    assert notes == []
    assert tan.max() < 6.0
    assert tan[-1] < 0.5 * tan.max(), "the film takes it"
    assert ready_as_advised < ready


def test_a_film_that_is_there_or_a_short_dosing_has_no_note():
    for more in ({"start": "seeded"}, {"days": 3}):
        site = build(cycling(20.0, **({"days": 60, "grams": 4.0} | more)))
        assert not any("fishless_cycling" in note for note in site_notes(site))


# --- feed by weight


def weighed(grams: int) -> dict:
    return {"kind": "fixed", "per_day": f"{grams} g"}


def two_cohorts(events: list[dict]) -> dict:
    tables = two_tanks()
    fish = tables["cohorts"]["fish"]
    tables["cohorts"] = {
        "fish": fish | {"ration": weighed(40)}, "mates": fish | {"tank": "other", "ration": weighed(30)},
    }  # fmt: skip
    return tables | {"events": events}


MOVE = {"kind": "move", "date": on(5), "cohort": "mates", "tank": "one"}
RATION = {"kind": "ration", "date": on(5), "cohort": "mates", "ration": weighed(40)}


@pytest.mark.parametrize(
    ("events", "place", "words"),
    [
        ([MOVE], ("events[1]", "tank"), ["mates, on 30 g", "tank one", "fish, on 40 g"]),
        ([MOVE, RATION | {"ration": weighed(25)}], ("events[2]", "ration.per_day"), ["feeds mates 25 g a day, but"]),
        ([MOVE, RATION | {"date": on(6)}], ("events[1]", "tank"), ["mates", "this date or before"]),
        ([RATION, MOVE, RATION | {"cohort": "fish", "ration": weighed(10), "date": on(9)}],
         ("events[3]", "ration.per_day"), ["fish 10 g a day", "mates", "40 g"]),
        ([MOVE | {"kind": "grade", "into": "big", "largest_share": 0.5}], ("events[1]", "tank"), ["puts big, on 30 g"]),
    ],
)  # fmt: skip
def test_two_weights_of_feed_that_meet_in_a_tank_are_one_fault(events, place, words):
    (fault,) = faults_of(two_cohorts(events))
    assert (fault.table, fault.field) == place
    for word in words:
        assert word in fault.message


@pytest.mark.parametrize("events", [
    [RATION, MOVE], [MOVE, RATION], [RATION | {"date": on(3)}, MOVE],
    [RATION | {"ration": {"kind": "unfed"}}, MOVE],
    [{"kind": "move", "date": on(5), "cohort": "fish", "tank": "spare"}, MOVE],
    [{"kind": "harvest", "date": on(5), "cohort": "fish", "all": True}, MOVE],
])  # fmt: skip
def test_one_weight_of_a_tank_runs_and_is_never_exceeded(events):
    told = run_season(site_from_tables(two_cohorts(events), FOLDER))
    in_one = told.layout.cohort_tank[:, list(told.layout.tanks).index("one")]
    fed = told.course.fed_g[0] @ in_one
    assert fed.max() <= 40.0 * (1.0 + 1e-9)
    assert fed.max() > 0.0


def test_weights_that_never_meet_are_no_fault():
    tables = two_cohorts([{"kind": "harvest", "date": on(5), "cohort": "fish", "all": True}])
    tables["cohorts"]["mates"] |= {"tank": "one", "stocked": on(5)}
    site_from_tables(tables, FOLDER)
    tables["cohorts"]["mates"]["stocked"] = on(4)
    (fault,) = faults_of(tables)
    assert (fault.table, fault.field) == ("cohorts.mates", "ration.per_day")
    assert " fish " in fault.message


# --- the loop's water


def test_the_loop_water_is_that_of_the_season():
    for name in example_names():
        site = load_site(FOLDER / f"{name}.toml")
        lay = build_layout(site)
        water = lay.volume_m3 @ lay.leaf_loop + lay.sump_volume_m3
        np.testing.assert_allclose([loop_water_m3(site.file, key) for key in site.file.loops], water, rtol=1e-12)


# 800 L of sump, 1000 L of tank, 0.6 m3 of voids, half full
@pytest.mark.parametrize(
    ("loop", "field", "words"),
    [
        ({"evaporation": "100000 L/day"}, "evaporation", ['"100000 L/day"', "2,400 L", "240 L"]),
        ({"evaporation": "241 L/day"}, "evaporation", ['"241 L/day"']),
        ({"water_changes": [{"date": on(1), "volume": "1 m3"}, {"date": on(2), "volume": "2161 L"}]},
         "water_changes[2].volume", ['"2161 L"', "2,400 L", "2,160 L or less"]),
        ({"water_tests": [{"date": on(1), "tan": "0.5 mg/L"}, {"date": on(1), "tan": "0.6 mg/L"}]},
         "water_tests[2].tan", ["second tan for 2026-10-02", "0.6 mg/L after 0.5 mg/L", "water_tests[1]"]),
    ],
)  # fmt: skip
def test_water_that_does_not_fit_a_loop_is_one_fault(loop, field, words):
    (fault,) = faults_of(one_tank(**loop))
    assert (fault.table, fault.field) == ("loops.main", field)
    for word in words:
        assert word in fault.message


def test_the_most_that_fits_is_let_in():
    tests = [
        {"date": on(1), "tan": "0.5 mg/L"},
        {"date": on(1), "nitrite_n": "0.5 mg/L"},
        {"date": on(2), "tan": "1 mg/L"},
    ]
    changes = [{"date": on(1), "volume": "2159 L"}, {"date": on(1), "volume": "2159 L"}]
    tables = one_tank(evaporation="239 L/day", water_tests=tests, water_changes=changes)
    pot = {"loop": "main", "kind": "swirl", "drawn_off": "1200 L/day"}
    site_from_tables(tables | {"settlers": {"pot": pot, "basin": pot}}, FOLDER)


def test_sludge_drawn_off_is_less_than_the_water():
    pot = {"loop": "main", "kind": "swirl", "drawn_off": "1300 L/day"}
    (fault,) = faults_of(one_tank() | {"settlers": {"pot": pot, "basin": pot}})
    assert (fault.table, fault.field) == ("settlers.basin", "drawn_off")
    for word in ('"1300 L/day"', "settlers before it", "2,400 L"):
        assert word in fault.message
    (fault,) = faults_of(one_tank() | {"settlers": {"pot": pot | {"drawn_off": "3 m3/day"}}})
    assert (fault.table, fault.field) == ("settlers.pot", "drawn_off")
    assert '"3 m3/day"' in fault.message
    assert "settlers before it" not in fault.message


def test_a_wrong_volume_is_not_told_as_a_wrong_loss():
    tables = changed(one_tank(evaporation="150 L/day"), {"tanks.one.volume": "many"})
    assert told(faults_of(tables)) == [("tanks.one", "volume")]


# --- a bed without media


def bed_notes_of(**bed: object) -> tuple[Site, list[str]]:
    tables = one_tank(days=3)
    tables["beds"]["gravel"] |= bed
    site = site_from_tables(tables, FOLDER)
    return site, [note for note in site.notes if note.startswith("beds.gravel.")]


def test_a_bed_without_media_is_noted_in_check_and_in_the_season():
    site, (note,) = bed_notes_of()
    for word in ("depth, media_size not given", "30 cm", "12.7 mm"):
        assert word in note
    assert note in understood(site)["notes"]
    season = run_season(site)
    assert note in " ".join(answer_text(season_answer(season, season.findings)).split())
    assert bed_notes_of(media_size="12 mm", depth="30 cm")[1] == []
    assert bed_notes_of(nitrifying_surface="20 m2", depth="30 cm")[1] == []
    (of_depth,) = bed_notes_of(media_size="12 mm")[1]
    assert "30 cm" in of_depth
    assert "media_size" not in of_depth


# --- days between feedings


def fed_days(events: list[dict], stocked: int, every: int = 3) -> list[int]:
    """Days on which the cohort is fed in water that is always cold, by a rule of each n-th day."""
    tables = two_tanks()
    rule = {"kind": "percent", "percent": 1.0, "cold_rules": [{"below": "30 degC", "feed_every_days": every}]}
    tables["cohorts"]["fish"] |= {"stocked": on(stocked), "ration": rule}
    course = run_season(site_from_tables(tables | {"events": events}, FOLDER)).course
    return np.flatnonzero(course.fed_g[0].sum(axis=1)).tolist()[:6]


def test_new_fish_are_fed_on_their_first_day_and_the_count_goes_on_from_it():
    assert fed_days([], 0) == [0, 3, 6, 9, 12, 15]
    assert fed_days([], 4) == [4, 7, 10, 13, 16, 19]
    assert fed_days([], 5, every=2) == [5, 7, 9, 11, 13, 15]


@pytest.mark.parametrize("event", [
    {"kind": "move", "tank": "spare"}, {"kind": "move", "tank": "other"}, {"kind": "feed", "feed": "carp_35"},
    {"kind": "grade", "into": "big", "tank": "spare", "largest_share": 0.5},
])  # fmt: skip
@pytest.mark.parametrize("day", [5, 6, 7])
def test_a_move_does_not_begin_the_count_anew(event, day):
    event = event | {"date": on(day), "cohort": "fish"}
    assert fed_days([event], 4) == [4, 7, 10, 13, 16, 19]


def test_another_rule_counts_from_the_last_fed_day():
    slow = {"kind": "percent", "percent": 1.0, "cold_rules": [{"below": "30 degC", "feed_every_days": 5}]}
    event = {"kind": "ration", "date": on(6), "cohort": "fish", "ration": slow}
    assert fed_days([event], 4)[:3] == [4, 9, 14]
    fast = event | {"ration": {"kind": "unfed"}}
    assert fed_days([fast, event | {"date": on(8)}], 4)[:3] == [4, 9, 14]
    assert fed_days([fast, event | {"date": on(12)}], 4)[:3] == [4, 12, 17]
