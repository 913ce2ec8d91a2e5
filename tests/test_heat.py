"""The heat balance of rooms and water: steady states by hand, energy that closes, ice, heaters, a solver's answer."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from stars import linear

from stocksim.climate import network as climate_network
from stocksim.climate.greenhouse import degree_day_kwh
from stocksim.climate.network import run_network
from stocksim.climate.nodes import Network, evaporation_of
from stocksim.climate.weather import HOURS, Weather
from stocksim.heat.hourly import run_plan, site_warmth
from stocksim.heat.temperatures import loop_water_c
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site
from stocksim.site.weather import site_weather

HEAT = 4.186e6  # J/m3/K


def network(nodes: int, **changes) -> Network:
    """A network of bare nodes without any link, changed."""
    zero, square = np.zeros(nodes), np.zeros((nodes, nodes))
    controls = len(changes.get("control", []))
    bare = {
        "capacity_j_k": np.full(nodes, 1e6), "between_day_w_k": square, "between_night_w_k": square,
        "outdoor_day_w_k": zero, "outdoor_night_w_k": zero, "ground_w_k": zero, "sun_m2": zero,
        "gain_w": np.zeros((HOURS, nodes)), "wet_m2": zero, "wet_night_m2": zero,
        "air_of": np.full(nodes, -1), "humidity": np.ones(nodes), "can_freeze": np.zeros(nodes, bool),
        "control": np.zeros(0, int), "set_c": np.zeros((HOURS, controls)), "power_w": np.zeros(controls),
        "vent_c": np.full(controls, 1e6), "vent_w_k": np.zeros(controls), "cool_w": np.zeros(controls),
    }  # fmt: skip
    return Network(**(bare | changes))


def steady(days: int, air_c: float = 0.0, sun: float = 0.0, dew_c: float = -5.0) -> tuple[Weather, np.ndarray]:
    hours = days * HOURS
    weather = Weather(np.full(hours, air_c), np.full(hours, sun), np.full(days, dew_c))
    return weather, np.full(hours, sun <= 0.0)


def linked(*links: tuple[int, int, float], nodes: int) -> np.ndarray:
    matrix = np.zeros((nodes, nodes))
    for one, other, value in links:
        matrix[one, other] += value
        matrix[other, one] += value
    return matrix


def test_steady_state_by_hand():
    # Air loses 200 W/K to outdoors at -10 degC and exchanges 100 W/K with water that loses 20 W/K to ground at 8 degC.
    # Heater 3000 W in the air: 200 (T + 10) + 100 (T - W) = 3000 and 100 (T - W) = 20 (W - 8), so
    # W = (100 T + 160) / 120 and T (200 + 100 - 10000 / 120) = 3000 - 2000 + 100 * 160 / 120.
    air = (1000.0 + 16000.0 / 120.0) / (300.0 - 10000.0 / 120.0)
    water = (100.0 * air + 160.0) / 120.0
    between = linked((0, 1, 100.0), nodes=2)
    net = network(
        2, between_day_w_k=between, between_night_w_k=between, outdoor_day_w_k=np.array([200.0, 0.0]),
        outdoor_night_w_k=np.array([200.0, 0.0]), ground_w_k=np.array([0.0, 20.0]), control=np.array([0]),
        set_c=np.full((HOURS, 1), 99.0), power_w=np.array([3000.0]),
    )  # fmt: skip
    weather, night = steady(80, -10.0)
    run = run_network(net, weather, night, np.zeros(2), 8.0)
    assert run.mean_c[-1] == pytest.approx([air, water], abs=1e-9)
    assert run.heat_kwh[-1] == pytest.approx(72.0)
    assert run.short_hours == pytest.approx(80 * 24)
    # an hour is short where it ends more than a twentieth of a degree below the set point
    for below, hours in ((0.04, 0.0), (0.06, 80 * 24)):
        nearly = net._replace(set_c=np.full((HOURS, 1), air + below))
        assert run_network(nearly, weather, night, np.array([air, water]), 8.0).short_hours.sum() == hours


def test_a_steady_inflow_draws_the_water_towards_deep_ground():
    site = load_site(FOLDER / "heron_lane_computed.toml")
    streamed = site.with_changes({"loops.main.new_water": "10 L/min"})
    ground = site_weather(site.file, FOLDER).ground_c
    alone, drawn = (loop_water_c(one, "main") for one in (site, streamed))
    # 14.4 m3 a day of some 8 degC against all other losses of a house that is kept above freezing
    assert np.abs(drawn - ground).mean() < 0.5 * np.abs(alone - ground).mean()
    same = site.with_changes({"loops.warm.new_water": "1 L/day"})
    np.testing.assert_allclose(loop_water_c(same, "main"), alone, atol=0.01)


def test_a_heater_keeps_its_set_point_and_spends_what_leaves():
    net = network(
        1, outdoor_day_w_k=np.array([150.0]), outdoor_night_w_k=np.array([150.0]), control=np.array([0]),
        set_c=np.full((HOURS, 1), 12.0), power_w=np.array([1e5]),
    )  # fmt: skip
    weather, night = steady(20, -6.0)
    run = run_network(net, weather, night, np.full(1, 12.0), 0.0)
    assert run.low_c[-1] == pytest.approx(12.0, abs=1e-6)
    assert run.heat_kwh[-1] == pytest.approx(150.0 * 18.0 * 24.0 / 1000.0, rel=1e-9)
    assert run.heat_kwh.sum() == pytest.approx(float(degree_day_kwh(150.0, 12.0, np.full(20, -6.0))), rel=1e-9)
    assert run.short_hours.sum() == 0.0


def test_vents_hold_the_sun_off_until_they_are_wide_open():
    changes = {"sun_m2": np.array([20.0]), "control": np.array([0]), "set_c": np.full((HOURS, 1), -np.inf),
               "vent_c": np.array([25.0])}  # fmt: skip
    weather, night = steady(10, 15.0, 500.0)
    wide = run_network(network(1, **changes, vent_w_k=np.array([2000.0])), weather, night, np.full(1, 15.0), 0.0)
    assert wide.high_c[-1] == pytest.approx(25.0, abs=1e-6)
    narrow = run_network(network(1, **changes, vent_w_k=np.array([300.0])), weather, night, np.full(1, 15.0), 0.0)
    assert narrow.high_c[-1] > 30.0


def test_vents_wide_open_carry_off_what_the_room_is_warmer_than_outdoors():
    """Also where outdoors is warmer than the vents' set point, as on a summer noon: they must not shut then."""
    changes = {"sun_m2": np.array([20.0]), "control": np.array([0]), "set_c": np.full((HOURS, 1), -np.inf),
               "vent_c": np.array([25.0])}  # fmt: skip
    weather, night = steady(20, 30.0, 500.0)
    narrow, wide = (
        run_network(network(1, **changes, vent_w_k=np.array([vent])), weather, night, np.full(1, 30.0), 0.0).high_c[-1]
        for vent in (300.0, 3000.0)
    )
    # at rest: what the sun brings over what vents carry per degree, for this room has no other way out
    assert narrow == pytest.approx(30.0 + 20.0 * 500.0 / 300.0, rel=1e-6)
    assert wide == pytest.approx(30.0 + 20.0 * 500.0 / 3000.0, rel=1e-6)


def test_pumped_water_mixes_as_the_loop_balance_says():
    # a star of a sump and three leaves without any other link, one implicit hour
    flows, volumes = np.array([1.2, 0.5, 3.0]), np.array([0.9, 1.5, 0.4])  # m3/h, m3
    start = np.array([15.0, 20.0, 10.0, 5.0])
    between = linked(*((0, leaf + 1, flow * HEAT / 3600.0) for leaf, flow in enumerate(flows)), nodes=4)
    net = network(
        4, capacity_j_k=np.concatenate([[2.0], volumes]) * HEAT, between_day_w_k=between, between_night_w_k=between
    )
    weather, night = steady(1)
    run = run_network(net, weather, night, start, 0.0, is_hourly=True)
    (leaf,), (sump,) = linear(
        *(row[None] for row in (volumes + flows, volumes * start[1:], flows, flows)), np.array([[2.0 + flows.sum()]]),
        np.array([[2.0 * start[0]]]), np.ones((3, 1)),
    )  # fmt: skip
    assert run.hourly_c is not None
    assert run.hourly_c[0] == pytest.approx([*sump, *leaf], abs=1e-9)
    assert (run.hourly_c[-1] * net.capacity_j_k).sum() == pytest.approx((start * net.capacity_j_k).sum(), rel=1e-12)


NUMBERS = st.floats(0.0, 500.0)


@settings(max_examples=examples(25))
@given(
    st.lists(NUMBERS, min_size=3, max_size=3), st.lists(NUMBERS, min_size=3, max_size=3), st.floats(-30.0, 20.0),
    st.floats(0.0, 800.0), st.floats(0.0, 5000.0), st.floats(-5.0, 25.0), st.floats(0.0, 20.0),
)  # fmt: skip
def test_energy_closes(links, outward, outdoor, sun, power, set_c, wet):
    # air, floor, water; everything at once: links, outdoors, ground, sun, heater, vents, evaporation, ice
    between = linked((0, 1, links[0]), (1, 2, links[1]), (0, 2, links[2]), nodes=3)
    net = network(
        3, capacity_j_k=np.array([2e6, 3e7, 5e6]), between_day_w_k=between, between_night_w_k=0.5 * between,
        outdoor_day_w_k=np.array(outward), outdoor_night_w_k=0.7 * np.array(outward),
        ground_w_k=np.array([0.0, 30.0, 1.0]),
        sun_m2=np.array([3.0, 5.0, 1.0]), gain_w=np.full((HOURS, 3), 40.0), wet_m2=np.array([0.0, 0.0, wet]),
        wet_night_m2=np.array([0.0, 0.0, 0.5 * wet]), air_of=np.array([-1, -1, 0]), humidity=np.full(3, 0.8),
        can_freeze=np.array([False, False, True]), control=np.array([0]), set_c=np.full((HOURS, 1), set_c),
        power_w=np.array([power]), vent_c=np.array([set_c + 2.0]), vent_w_k=np.array([400.0]),
    )  # fmt: skip
    days = 3
    hours = np.arange(days * HOURS)
    light = np.where((hours % HOURS >= 8) & (hours % HOURS < 16), sun, 0.0)
    weather = Weather(outdoor + 5.0 * np.sin(hours / 4.0), light, np.full(days, outdoor - 8.0))
    night = light <= 0.0
    start = np.array([8.0, 9.0, 3.0])
    run = run_network(net, weather, night, start, 6.0, is_hourly=True)
    assert run.hourly_c is not None
    assert run.hourly_heat_w is not None
    assert run.hourly_vent_w is not None
    assert run.hourly_ice_kwh is not None
    assert run.low_c[:, 2].min() >= 0.0
    state, ice, gained, flow = start, np.zeros(3), 0.0, 0.0
    for hour in range(days * HOURS):
        new, frozen = run.hourly_c[hour], 3.6e6 * run.hourly_ice_kwh[hour]
        # water that freezes gave off heat at the temperature it would have reached without ice
        reached = new - (frozen - ice) / net.capacity_j_k
        outer = net.outdoor_night_w_k if night[hour] else net.outdoor_day_w_k
        evaporated = evaporation_of(net, state, weather.dew_c[hour // HOURS], bool(night[hour]))
        brought = outer * (weather.air_c[hour] - reached) + net.ground_w_k * (6.0 - reached) + net.sun_m2 * light[hour]
        brought = (brought + 40.0 - evaporated).sum() + (run.hourly_heat_w[hour] - run.hourly_vent_w[hour]).sum()
        gained += 3600.0 * brought
        flow += 3600.0 * abs(brought)
        state, ice = new, frozen
    stored = (net.capacity_j_k * (state - start)).sum() - ice.sum()
    assert stored == pytest.approx(gained, abs=1e-9 * max(flow, net.capacity_j_k.sum()))


def test_freezing_water_stays_at_zero_and_gives_its_heat_back_before_it_warms():
    net = network(
        1, capacity_j_k=np.array([HEAT]), outdoor_day_w_k=np.array([50.0]), outdoor_night_w_k=np.array([50.0]),
        can_freeze=np.array([True]),
    )  # fmt: skip
    air = np.concatenate([np.full(5 * HOURS, -10.0), np.full(10 * HOURS, 10.0)])
    run = run_network(
        net, Weather(air, np.zeros(len(air)), np.full(15, -12.0)), np.ones(len(air), bool), np.zeros(1), 0.0
    )
    # five days of 500 W leave 60 kWh of ice: a little less, for each step is taken at the temperature it would reach
    assert run.ice_kwh[4, 0] == pytest.approx(60.0, rel=0.05)
    assert run.low_c.min() == 0.0
    assert run.mean_c[8, 0] == 0.0
    assert run.mean_c[-1, 0] > 0.0
    assert run.ice_kwh[-1, 0] == 0.0


def test_against_a_stiff_solver_on_a_finer_grid():
    # two rooms of very different time constants under a daily wave; hourly steps against a solver of order 5
    between = linked((0, 1, 150.0), nodes=2)
    capacity = np.array([3e6, 4e7])
    net = network(
        2, capacity_j_k=capacity, between_day_w_k=between, between_night_w_k=between,
        outdoor_day_w_k=np.array([120.0, 0.0]), outdoor_night_w_k=np.array([120.0, 0.0]),
    )  # fmt: skip
    hours = np.arange(10 * HOURS)

    def outdoor(hour):
        return 5.0 + 8.0 * np.sin(2.0 * np.pi * hour / 24.0)

    weather = Weather(outdoor(hours + 0.5), np.zeros(len(hours)), np.full(10, 0.0))
    run = run_network(net, weather, np.ones(len(hours), bool), np.full(2, 5.0), 0.0, is_hourly=True)

    def slope(hour, t):
        flow = 150.0 * (t[1] - t[0])
        return 3600.0 * np.array([flow + 120.0 * (outdoor(hour) - t[0]), -flow]) / capacity

    exact = solve_ivp(slope, (0.0, 240.0), [5.0, 5.0], t_eval=hours + 1.0, rtol=1e-8, atol=1e-8, method="Radau").y.T
    assert run.hourly_c is not None
    # backward Euler lags by up to half a step: pi/24 of the air's swing, some 8 degC
    assert np.abs(run.hourly_c - exact)[:, 0].max() < 8.0 * np.pi / 24.0
    assert np.abs(run.hourly_c - exact)[:, 1].max() < 0.3
    assert run.hourly_c.mean(axis=0) == pytest.approx(exact.mean(axis=0), abs=0.1)


def test_scenarios_do_not_touch_each_other_and_years_share_a_matrix():
    between = linked((0, 1, 90.0), nodes=2)
    base = {
        "between_day_w_k": between, "between_night_w_k": between, "outdoor_day_w_k": np.array([60.0, 5.0]),
        "outdoor_night_w_k": np.array([40.0, 5.0]), "control": np.array([0]), "power_w": np.array([900.0]),
    }  # fmt: skip
    random = np.random.default_rng(3)
    air = random.normal(-5.0, 4.0, (3, 4 * HOURS))
    light = np.tile(np.where((np.arange(HOURS) > 8) & (np.arange(HOURS) < 16), 200.0, 0.0), 4)
    night = light <= 0.0
    points = (6.0, 14.0)
    alone = [
        run_network(
            network(2, **base, set_c=np.full((HOURS, 1), point)),
            Weather(air[year], light, np.full(4, -8.0)), night, np.full(2, 8.0), 0.0,
        )
        for point in points for year in range(3)
    ]  # fmt: skip
    single = network(2, **base, set_c=np.zeros((HOURS, 1)))
    wide = {}
    for name in Network._fields:
        array = getattr(single, name)
        inner = 2 if name in ("between_day_w_k", "between_night_w_k", "gain_w", "set_c") else 1
        if name not in ("air_of", "control", "can_freeze", "humidity"):
            array = np.repeat(np.expand_dims(array, -1 - inner)[None], 2, axis=0)
        wide[name] = array
    wide["set_c"] = np.array(points)[:, None, None, None] + np.zeros((2, 1, HOURS, 1))
    together = run_network(
        Network(**wide), Weather(air, np.broadcast_to(light, air.shape), np.full((3, 4), -8.0)), night,
        np.full((2, 1, 2), 8.0), 0.0,
    )  # fmt: skip
    assert together.mean_c.shape == (4, 2, 3, 2)
    for number, run in enumerate(alone):
        option, year = divmod(number, 3)
        assert together.mean_c[:, option, year] == pytest.approx(run.mean_c, abs=1e-9)
        assert together.heat_kwh[:, option, year] == pytest.approx(run.heat_kwh, abs=1e-9)


def bits(run):
    return [None if table is None else (table.shape, np.ascontiguousarray(table).tobytes()) for table in run]


def test_plain_python_gives_the_same_bits(computed_site, monkeypatch):
    # the example's rooms and loops over the coldest days, with ice in the second scenario: no heat at all
    warmth = site_warmth(computed_site.file, computed_site.folder, {})
    net = warmth.plan.network
    days = slice(100 * HOURS, 106 * HOURS)
    outdoors = warmth.weather.hours
    cold = Weather(outdoors.air_c[days] - 15.0, outdoors.sun_w_m2[days], outdoors.dew_c[100:106] - 15.0)
    points = np.stack([net.set_c, np.full_like(net.set_c, -np.inf)])
    start = np.full(net.capacity_j_k.shape, 4.0)

    def run():
        return run_network(net._replace(set_c=points), cold, warmth.weather.night[days], start, 9.0, is_hourly=True)

    compiled = run()
    assert compiled.ice_kwh.max() > 0.0
    assert compiled.heat_kwh.max() > 0.0
    monkeypatch.setattr(climate_network, "_seasons", climate_network._seasons.py_func)
    assert bits(run()) == bits(compiled)


def test_a_warmer_winter_never_cools_the_water(computed_site):
    warmth = site_warmth(computed_site.file, computed_site.folder, {})
    hours = warmth.weather.hours
    warmer = run_plan(warmth.plan, warmth.weather, hours._replace(air_c=hours.air_c + 3.0), is_hourly=False)
    assert (warmer.mean_c >= warmth.run.mean_c - 1e-9).all()
    assert warmer.heat_kwh.sum() < warmth.run.heat_kwh.sum()


def test_every_tank_bed_and_sump_has_an_hourly_temperature(computed_site):
    warmth = site_warmth(computed_site.file, computed_site.folder, {})
    assert warmth.run.hourly_c is not None
    assert warmth.run.hourly_c.shape == (computed_site.days * HOURS, len(warmth.plan.nodes))
    wanted = {f"tanks.{key}" for key in computed_site.file.tanks} | {f"loops.{key}" for key in computed_site.file.loops}
    wanted |= {f"beds.{key}" for key, bed in computed_site.file.beds.items() if bed.kind != "wicking"}
    assert wanted <= set(warmth.plan.nodes)
    assert np.isfinite(warmth.run.hourly_c).all()


def test_fuel_against_the_degree_day_rule(computed_site):
    # The rule knows no sun, no water that the warm loop heats and no curtain by day: over the dark months the balance
    # must lie below it, yet above half of it.
    warmth = site_warmth(computed_site.file, computed_site.folder, {})
    days = slice(61, 151)  # December to February
    rule = float(degree_day_kwh(warmth.plan.loss_w_k["greenhouse"], 10.0, warmth.weather.mean_c[days]))
    ours = float(warmth.heat_kwh("greenhouse")[days].sum())
    assert 0.5 * rule < ours < 1.05 * rule


def test_three_hour_steps_give_the_same_lows_of_the_water(computed_site):
    # what the synthetic years are run with: within 0.2 degC of hourly steps
    warmth = site_warmth(computed_site.file, computed_site.folder, {})
    coarse = run_plan(warmth.plan, warmth.weather, is_hourly=False, step_h=3)
    tanks = [n for n, key in enumerate(warmth.plan.nodes) if key.startswith("tanks.")]
    assert np.abs(coarse.low_c[:, tanks] - warmth.run.low_c[:, tanks])[60:150].max() < 0.2
    assert coarse.heat_kwh.sum() == pytest.approx(warmth.run.heat_kwh.sum(), rel=0.03)


def test_one_season_asked_twice_is_computed_once(computed_site):
    first = site_warmth(computed_site.file, computed_site.folder, {})
    fewer = dataclasses.replace(computed_site, file=computed_site.with_changes({"cohorts.tilapia.count": 5}).file)
    assert site_warmth(fewer.file, fewer.folder, {}) is first


@pytest.fixture(scope="module")
def computed_site():
    """The example whose water is computed."""
    from stocksim.site.examples import FOLDER
    from stocksim.site.reading import load_site

    return load_site(FOLDER / "heron_lane_computed.toml")
