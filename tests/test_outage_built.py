"""Power cut of what is built: plates, circuits, backups, sumps, computed rooms, and the shortest of all limits."""

from __future__ import annotations

import json

import numpy as np
import pytest
from pumped_sites import farm, one_pump
from site_faults import GONE, changed
from small_sites import START, build, one_tank

from stocksim import InputError, load_site, run_season
from stocksim.answers.powercut.answer import headline, powercut_answer
from stocksim.answers.powercut.decide import PowerCut, power_cut
from stocksim.answers.powercut.standing import fall_minutes, loop_oxygen, phases, standing, steps_d
from stocksim.engine.results.frames import Season
from stocksim.faces.text import answer_text
from stocksim.heat.outage import Phase, cooling, file_in_cut
from stocksim.heat.plan import build_heat_plan
from stocksim.heat.temperatures import warmth_of_site
from stocksim.site.examples import FOLDER
from stocksim.water.oxygen import oxygen_saturation, surface_exchange_velocity
from stocksim.water.reserve import minutes_to_level


@pytest.fixture(scope="module")
def farmed() -> Season:
    return run_season(build(farm()))


@pytest.fixture(scope="module")
def computed() -> Season:
    return run_season(load_site(FOLDER / "heron_lane_computed.toml"))


def by_tank(cut: PowerCut) -> dict:
    return {reserve.tank: reserve for reserve in cut.reserves}


def data_of(cut: PowerCut, season: Season) -> dict:
    data = powercut_answer(cut, season.site, "metric").data
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    return data


# --- plates


def test_a_pump_counts_with_the_watts_of_its_plate():
    tables = one_tank(days=3)
    tables["loops"]["main"]["heat"] = {"pump": "250 W"}
    load = power_cut(run_season(build(tables))).generator
    assert (load.pump_w, load.plate_w, load.unplated_m3_day) == (250.0, 250.0, 0.0)
    pumped = power_cut(run_season(build(one_pump(days=3)))).generator
    assert (pumped.pump_w, pumped.total_w) == pytest.approx((30.0, 90.0))
    # stones that nobody cleaned give less and draw the same
    fouled = one_tank(days=3)
    fouled["tanks"]["one"]["oxygen_supply"]["uncleaned_months"] = 12
    assert power_cut(run_season(build(fouled))).generator.air_w == pytest.approx(60.0)


def test_a_generator_carries_plates_and_guesses_the_rest():
    tables = changed(farm(), {"pumps.side": GONE, "tanks.west.oxygen_supply": GONE})
    load = power_cut(run_season(build(tables)), head_m=3.0).generator
    assert load.plate_w == pytest.approx(140.0)
    # 1,000 L/h lifted 3 m by hand: 0.27778 kg/s x 9.80665 x 3 = 8.172 W, at 30 %
    assert load.pump_w == pytest.approx(140.0 + 8.172 / 0.3, rel=1e-4)


# --- circuits and backups


def test_what_stands_still_follows_the_circuits(farmed):
    file = farmed.site.file
    everything = standing(file, None)
    assert everything.living == ()
    assert set(everything.still) == {
        "tanks.east", "tanks.west", "beds.north_gravel", "beds.south_gravel", "beds.line", "biofilters.drip",
    }  # fmt: skip
    west = standing(file, ["west"])
    assert (west.still, west.no_air, west.backups) == (("tanks.west",), ("tanks.west",), ())
    # what overflows from the east tank stops with its pump
    water = standing(file, ["water"])
    assert set(water.still) == {"tanks.east", "beds.north_gravel", "beds.south_gravel", "biofilters.drip"}
    assert [(backup.name, backup.circuits) for backup in water.backups] == [("engine", ("water",))]
    ends = [round(phase.ends_h, 3) for phase in phases(everything)]
    # cells carry from the start for 8 hours, the engine from half an hour for 10
    assert ends == [0.5, 8.0, 10.5, np.inf]
    assert [sorted(phase.live) for phase in phases(everything)] == [["air"], ["air", "water"], ["air", "water"], []]


def test_a_tank_whose_circuit_lives_keeps_its_fish(farmed):
    day = START + (farmed.dates[-1] - START) // 2
    west = by_tank(power_cut(farmed, day, fails=["west"], room_c=30.0))
    assert west["east"].as_built.to_lethal == np.inf
    assert west["west"].as_built.to_lethal == pytest.approx(west["west"].alone.to_lethal, rel=0.01)
    east = by_tank(power_cut(farmed, day, fails=["air", "water"], room_c=30.0))
    assert east["west"].as_built.to_lethal == np.inf


def test_a_battery_on_the_air_holds_as_long_as_it_lasts_and_the_fall_begins_when_it_is_empty(farmed):
    day = farmed.dates[5]
    only = changed(farm(), {"backups.engine": GONE})
    held = power_cut(run_season(build(only)), day, room_c=30.0)
    east = by_tank(held)["east"]
    assert held.standing.backups[0].ends_h == pytest.approx(8.0)
    assert east.as_built.to_lethal > 60.0 * 8.0 > 2.0 * east.alone.to_lethal
    assert east.as_built.to_lethal < 60.0 * 8.0 + 2.0 * east.alone.to_lethal
    more = run_season(build(changed(only, {"backups.cells.energy": "1.92 kWh"})))
    assert by_tank(power_cut(more, day, room_c=30.0))["east"].as_built.to_lethal == pytest.approx(
        east.as_built.to_lethal + 60.0 * 8.0, rel=0.02
    )
    # the west tank hangs on a circuit that nothing carries
    west = by_tank(held)["west"]
    assert west.as_built.to_lethal == pytest.approx(west.alone.to_lethal, rel=0.01)


def test_a_backup_that_comes_too_late_saves_nobody(farmed):
    day = farmed.dates[5]
    alone = by_tank(power_cut(farmed, day, room_c=30.0))["east"].alone
    for minutes, is_saved in ((0.3 * alone.to_lethal, True), (2.0 * alone.to_lethal, False)):
        tables = changed(farm(), {"backups.cells": GONE, "backups.engine.after_minutes": minutes})
        east = by_tank(power_cut(run_season(build(tables)), day, room_c=30.0))["east"]
        # steps of a minute against the exact fall
        close = pytest.approx(alone.to_lethal, rel=0.01)
        assert (east.as_built.to_lethal > 600.0) if is_saved else (east.as_built.to_lethal == close)


def test_stepping_the_loop_equals_the_exact_fall_of_tanks_alone(farmed):
    days = np.array([2, 9])
    cuts = [power_cut(farmed, farmed.dates[day], room_c=30.0) for day in days]
    tanks = farmed.layout.tanks
    start = np.broadcast_to(farmed.extremes.oxygen_min_mg_l[0], (farmed.layout.days, len(tanks)))
    kilograms = ((farmed.course.count * farmed.course.weight_g) @ farmed.layout.cohort_tank)[0] / 1000.0
    every = loop_oxygen(farmed, 0, start, farmed.layout.volume_m3[: len(tanks)] - kilograms / 1000.0)
    asked = every._replace(**{key: getattr(every, key)[days] for key in every._fields if key != "leaves"})
    whiles = [Phase(np.inf, frozenset())]
    steps = steps_d(whiles)
    limit = np.full((1, len(days), len(tanks)), 3.0)
    found, _, _ = fall_minutes(farmed, 0, asked, whiles, np.full(len(steps), 1.4), steps, limit, np.arange(len(tanks)))
    for row, cut in enumerate(cuts):
        for column, tank in enumerate(tanks):
            reserve = by_tank(cut)[tank]
            water = every.volume_m3[days[row], column]
            # fish by the hour's factor, the film on the walls as it was
            use = (1.4 * every.fish_g_day[days[row], column] + every.other_g_day[days[row], column]) / 24.0
            surface = farmed.layout.surface_m2[column] * float(surface_exchange_velocity(reserve.temperature_c))
            air = float(oxygen_saturation(reserve.temperature_c, farmed.layout.elevation_m))
            exact = float(minutes_to_level(start[days[row], column], 3.0, water, use, surface, air))
            assert found[0, row, column] == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("hour", [3.0, 12.0])
def test_what_falls_before_help_comes_stands_alone(hour):
    late = run_season(build(changed(farm(), {"backups.cells": GONE, "backups.engine.after_minutes": 10080})))
    for reserve in power_cut(late, late.dates[9], hour, room_c=30.0).reserves:
        assert reserve.as_built == reserve.alone


def test_without_backups_and_circuits_nothing_is_told_of_them():
    season = run_season(build(one_tank(days=4)))
    cut = power_cut(season)
    assert cut.standing.is_all
    assert cut.reserves[0].as_built == cut.reserves[0].alone
    assert not any("as_built" in key for key in data_of(cut, season)["tanks"][0])


def test_an_unknown_circuit_is_a_fault(farmed):
    with pytest.raises(InputError) as caught:
        power_cut(farmed, fails=["watre"])
    (fault,) = caught.value.faults
    assert fault.field == "fails"
    assert "mains, water, west, towers, air" in fault.message


# --- the sump


def test_the_sheet_says_whether_the_sump_holds_what_drains_back(farmed):
    (told,) = data_of(power_cut(farmed), farmed)["sumps"]
    assert told == {"loop": "cool", "water_m3": 1.5, "after_draining_m3": 1.85, "brim_m3": 2.2}
    low = run_season(build(changed(farm(days=3), {"loops.cool.sump_brim": "1800 L"})))
    text = " ".join(answer_text(powercut_answer(power_cut(low), low.site, "metric")).split())
    assert "OVERFLOWS (brim 1,800 L)" in text
    # while another pump of the loop runs nothing is said of all that drains
    assert power_cut(low, fails=["towers"]).standing.sumps == ()


# --- cold


def test_the_headline_is_the_shortest_of_all_limits(farmed):
    season = run_season(build(one_tank("yellow_perch", "perch_45", 10.0, days=3, count=3, mean_weight_g=20.0)))
    for room, is_cold in ((-30.0, True), (30.0, False)):
        cut = power_cut(season, room_c=room)
        first = cut.reserves[0]
        assert first.first_minutes == min(reserve.first_minutes for reserve in cut.reserves)
        assert (first.cold_minutes < first.as_built.to_lethal) == is_cold
        assert ("cold" in headline(cut)) == is_cold
    cold = power_cut(season, room_c=-30.0)
    hours = int(cold.reserves[0].hours_to_cold_limit)
    assert f"about {hours} hours" in headline(cold)
    # a tank that is short of oxygen goes before a colder one that has longer
    both = power_cut(farmed, room_c=-30.0)
    assert both.reserves[0].first_minutes == min(r.first_minutes for r in both.reserves)


def test_rooms_are_computed_where_the_site_tells_them(computed):
    day = computed.dates[100]
    cut = power_cut(computed, day)
    assert cut.room_c is None
    begins, lowest = cut.air_c
    assert lowest < begins
    data = data_of(cut, computed)
    assert (data["room_c"], data["room_at_cut_c"]) == (None, pytest.approx(begins, abs=0.01))
    typed = power_cut(computed, day, room_c=0.0)
    assert (typed.room_c, typed.air_c) == (0.0, None)
    assert [r.hours_to_cold_limit for r in cut.reserves] != [r.hours_to_cold_limit for r in typed.reserves]


def test_water_and_air_cool_from_where_they_stand_and_end_near_outdoors(computed):
    site, warmth = computed.site, warmth_of_site(computed.site)
    found = standing(site.file, None)
    day = 100
    course = cooling(site, warmth, phases(found), 18.0, [day, day + 1])
    node = warmth.plan.nodes.index("tanks.cedar")
    water = course.tank_c["cedar"]
    assert water.shape == (2, 121)
    assert water[0, 0] == warmth.run.hourly_c[day * 24 + 17, node]
    outdoors = warmth.weather.hours.air_c[day * 24 + 18 : day * 24 + 18 + 120]
    assert outdoors.min() - 1.0 < course.air_c[0].min() < course.air_c[0, 0]
    # heat alone goes: without heaters, and without a pump that mixes, no tank ends warmer than it began in winter
    assert water[0, -1] < water[0, 0]
    held = cooling(site, warmth, phases(standing(site.file, ["air"])), 18.0, [day])
    assert held.tank_c["cedar"][0] == pytest.approx(warmth.run.hourly_c[day * 24 + 17 :][:121, node], abs=0.3)


def test_nothing_flows_between_waters_that_stand_still(farmed):
    file = farmed.site.file
    plan = build_heat_plan(file_in_cut(file, frozenset()), {})
    east, sump = (plan.nodes.index(name) for name in ("tanks.east", "loops.cool"))
    assert plan.network.between_day_w_k[east, sump] < 1e-3
    assert plan.network.gain_w.sum() == 0.0
    running = build_heat_plan(file_in_cut(file, {"water"}), {})
    assert running.network.gain_w.sum(axis=-1) == pytest.approx(120.0)


def test_help_that_heats_delays_the_cold(computed):
    tables = dict(computed.site.raw)
    heated = changed(
        tables,
        {
            "backups": {
                "engine": {
                    "kind": "generator", "carries": ["mains"], "power": "100 kW", "fuel_volume": "60 L",
                    "burns": "2 L/h",
                }
            }
        },
    )  # fmt: skip
    from stocksim.site.reading import site_from_tables

    site = site_from_tables(heated, FOLDER)
    warmth = warmth_of_site(site)
    bare = cooling(site, warmth, phases(standing(site.file, None))[-1:], 18.0, [100])
    carried = cooling(site, warmth, phases(standing(site.file, None)), 18.0, [100])
    assert (carried.air_c[0, 1:30] > bare.air_c[0, 1:30]).all()
    assert carried.tank_c["cedar"][0, -1] >= bare.tank_c["cedar"][0, -1]
