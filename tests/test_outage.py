"""Power cut: published reserves through the whole chain, the wave, help, directions, refusals, the sheet."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from small_sites import START, build, one_tank, two_loops

from stocksim import run_season
from stocksim.answers.powercut.alone import factor_at, use_factors
from stocksim.answers.powercut.answer import powercut_answer
from stocksim.answers.powercut.decide import PowerCut, power_cut
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.faces.answer import Answer
from stocksim.faces.text import answer_text
from stocksim.water.oxygen import oxygen_saturation, surface_exchange_velocity
from stocksim.water.pumping import PUMP_EFFICIENCY
from stocksim.water.reserve import cylinder_oxygen_g, hours_to_temperature, tank_loss_w_k

DAY = START + dt.timedelta(days=4)


def season_of(**changes) -> Season:
    return run_season(build(one_tank(days=6, **changes)))


def told(cut: PowerCut, season: Season, units: str = "us") -> Answer:
    return powercut_answer(cut, season.site, units)


def made_by_hand(
    celsius: float, kg_m3: float, use_mg_kg_h: float, from_mg_l: float, lethal_mg_l: float, surface_m2: float = 1e-12
) -> Season:
    """A cubic meter of unfed fish whose use and oxygen are set, without a surface unless one is given."""
    season = season_of(temperature_c=celsius, volume_l=1000.0)
    layout, course = season.layout, season.course
    surface = layout.surface_m2.copy()
    surface[0] = surface_m2
    ones = np.ones_like(course.count)
    oxygen = course.oxygen_mg_l.copy()
    oxygen[..., 0] = from_mg_l
    species = dict(layout.species) | {"oxygen_lethal": np.array([lethal_mg_l])}
    course = replace(
        course, count=ones * 10.0, weight_g=ones * kg_m3 * 100.0, oxygen_mg_l=oxygen,
        fish_oxygen_g=ones * kg_m3 * use_mg_kg_h * 24.0 / 1000.0, eaten_g=0.0 * ones,
    )  # fmt: skip
    return Season(season.site, replace(layout, surface_m2=surface, species=species), course, season.planting)


@pytest.mark.parametrize(
    ("celsius", "kg_m3", "use", "to_mg_l", "minutes"),
    [(10.0, 40.0, 150.0, 4.0, 59.1), (25.0, 60.0, 300.0, 3.0, 13.9)],
)
def test_worked_reserves_through_the_chain(celsius, kg_m3, use, to_mg_l, minutes):
    # worked for this project from the formula, fish from 90 % of saturation at sea level; the printed digit
    start = 0.9 * float(oxygen_saturation(celsius))
    cut = power_cut(made_by_hand(celsius, kg_m3, use, start, to_mg_l), DAY)
    assert cut.reserves[0].alone.to_lethal == pytest.approx(minutes, abs=0.05)


@pytest.mark.parametrize(("kg_m3", "minutes"), [(5.0, 120.0), (20.0, 30.0), (60.0, 10.0)])
def test_the_trades_ten_minutes(kg_m3, minutes):
    # 7 to 3 mg/L at 400 mg/kg/h: a trade page has gasping fish 10 minutes after a cut in dense tanks. The table counts
    # a full cubic meter of water, the chain leaves the fish out of it: hence the factor
    cut = power_cut(made_by_hand(26.0, kg_m3, 400.0, 7.0, 3.0), DAY)
    assert cut.reserves[0].alone.to_lethal == pytest.approx(minutes * (1.0 - kg_m3 / 1000.0), rel=1e-9)


def use_of(season: Season, day: int, column: int) -> float:
    """Oxygen that a tank's fish and the film on its walls use. [g/day]"""
    course = season.course
    fish = float(course.fish_oxygen_g[0, day] @ season.layout.cohort_tank[:, column])
    return fish + 3.427 * course.nitrified_g[0, day, column] + 1.142 * course.nitrite_oxidized_g[0, day, column]


def falls_to(threshold: float, start: float, season: Season, column: int, day: int, battery_w: float = 0.0) -> float:
    """Minutes by integrating the tank's balance step by step, at the greatest use."""
    layout, course = season.layout, season.course
    water = float(layout.temperature_c[day] @ layout.leaf_loop[column])
    kilograms = float((course.count * course.weight_g)[0, day] @ layout.cohort_tank[:, column]) / 1000.0
    volume = layout.volume_m3[column] - kilograms / 1000.0
    use = use_factors(season)[:, day, column].max() * use_of(season, day, column)
    exchange = layout.surface_m2[column] * float(surface_exchange_velocity(water))
    saturation = float(oxygen_saturation(water, layout.elevation_m))

    # battery air by hand: 0.7 kg a kWh, 0.9 of it in fish water, toward 0.95 of saturation, 2.4 % a degree
    stones = battery_w * 24.0 * 0.7 * 0.9 / 9.09 * 1.024 ** (water - 20.0)

    def slope(_, level):
        return (exchange * (saturation - level) + stones * (0.95 * saturation - level) - use) / volume

    def there(_, level):
        return level[0] - threshold

    there.terminal = True
    told = solve_ivp(slope, (0.0, 10.0), [start], events=there, rtol=1e-8, atol=1e-10)
    return float(told.t_events[0][0]) * 1440.0


def test_equals_a_direct_integration(demo_season):
    worst = power_cut(demo_season, battery_w=2.0)
    day = (worst.date - demo_season.layout.start).days
    assert len(worst.reserves) == 6
    for place in worst.reserves:
        column = demo_season.layout.tanks.index(place.tank)
        # at the hour of its greatest use, which then holds
        hour = float(use_factors(demo_season)[:, day, column].argmax())
        cut = power_cut(demo_season, worst.date, hour, battery_w=2.0)
        reserve = next(r for r in cut.reserves if r.cohort == place.cohort)
        start = reserve.oxygen_mg_l
        # both exact but for the integrator's tolerance
        for watts, times in ((0.0, reserve.alone), (2.0, reserve.with_battery)):
            told = falls_to(reserve.lethal_mg_l, start, demo_season, column, day, watts)
            assert times.to_lethal == pytest.approx(told, rel=1e-5)


def test_worst_day_is_the_shortest_of_all_days(demo_season):
    worst = power_cut(demo_season)
    every = [power_cut(demo_season, day, worst.hour).reserves for day in demo_season.dates]
    shortest = [min((r.alone.to_lethal for r in rows), default=np.inf) for rows in every]
    assert worst.reserves[0].alone.to_lethal == min(shortest)
    assert worst.date == demo_season.dates[int(np.argmin(shortest))]
    assert worst.is_worst_day
    assert worst.hour in (19.0, 20.0, 21.0, 22.0), "some hours after the meal at 17:00"
    assert [r.alone.to_lethal for r in worst.reserves] == sorted(r.alone.to_lethal for r in worst.reserves)


def test_no_lethal_limit_within_reach_takes_the_stress_limit_then_any_day_with_fish():
    thin = season_of(count=1, mean_weight_g=20.0)
    cut = power_cut(thin, room_c=30.0)  # warm, so that no cold comes first
    assert cut.reserves[0].alone == (np.inf, np.inf)
    assert cut.date == START
    answer = told(cut, thin)
    assert "no tank falls" in answer_text(answer).splitlines()[0]
    assert answer.data["tanks"][0]["minutes_to_lethal"] is None
    assert answer.is_trouble  # only a still surface holds it
    # a few fish whose use a surface carries above the lethal, not above the stress level
    some = [power_cut(season_of(count=n)).reserves[0].alone for n in range(1, 20)]
    assert any(np.isinf(times.to_lethal) and 0.0 < times.to_stress < np.inf for times in some)


def test_more_fish_have_less_time():
    times = [power_cut(season_of(count=n), DAY).reserves[0].alone for n in (20, 30, 40, 60)]
    lethal = [t.to_lethal for t in times]
    assert lethal == sorted(lethal, reverse=True)
    assert len(set(lethal)) == 4
    assert all(t.to_stress <= t.to_lethal for t in times)


def test_help_gives_time():
    season = season_of(count=150)
    none = power_cut(season, DAY).reserves[0]
    assert none.with_battery == none.alone == none.with_cylinder
    last = none.alone.to_lethal
    for watts in (5.0, 10.0, 20.0):
        battery = power_cut(season, DAY, battery_w=watts).reserves[0]
        assert battery.alone == none.alone
        assert battery.with_battery.to_lethal > last
        last = battery.with_battery.to_lethal
    # enough air for the whole need never lets it fall
    assert power_cut(season, DAY, battery_w=500.0).reserves[0].with_battery.to_lethal == np.inf


def test_fish_leave_the_rest_of_the_tank_to_the_water():
    # twice the fish breathe twice as much, of half a cubic meter less a quarter
    times = [
        power_cut(made_by_hand(20.0, kg_m3, 200.0, 8.0, 2.0), DAY).reserves[0].alone.to_lethal
        for kg_m3 in (250.0, 500.0, 1200.0)
    ]
    assert times[1] == pytest.approx(times[0] / 2.0 * 0.5 / 0.75, rel=1e-6)
    assert 0.0 < times[2] < times[1] / 10.0


def test_cylinder_holds_all_tanks_and_then_lets_go():
    season = run_season(build(two_loops()))
    day = START + dt.timedelta(days=10)
    cut = power_cut(season, day, cylinder_l=10.0, cylinder_bar=100.0)
    need = 0.0
    for column, tank in enumerate(season.layout.tanks):
        if not any(r.tank == tank for r in cut.reserves):
            continue
        water = float(season.layout.temperature_c[10] @ season.layout.leaf_loop[column])
        level = next(r.oxygen_mg_l for r in cut.reserves if r.tank == tank)
        air = season.layout.surface_m2[column] * float(surface_exchange_velocity(water))
        air *= float(oxygen_saturation(water, 900.0)) - level
        use = use_factors(season)[:, 10, column].max()
        use *= use_of(season, 10, column)
        need += max(use - air, 0.0) / 24.0
    dissolved = 0.1 * float(cylinder_oxygen_g(10.0, 100.0))  # a tenth of what bubbles up dissolves
    assert cut.cylinder_hours == pytest.approx(dissolved / need, rel=1e-9)
    assert any(r.alone.to_lethal > 0.0 for r in cut.reserves)
    for r in cut.reserves:
        if r.alone.to_lethal > 0.0:
            # the fall that follows is at the day's greatest use
            assert 0.9 * r.alone.to_lethal < r.with_cylinder.to_lethal - 60.0 * cut.cylinder_hours
            assert r.with_cylinder.to_lethal <= (r.alone.to_lethal + 60.0 * cut.cylinder_hours) * (1.0 + 1e-9)


def test_already_below_is_no_time_even_with_help():
    cut = power_cut(season_of(count=400, power_w=30.0), DAY, battery_w=5.0, cylinder_l=10.0, cylinder_bar=100.0)
    row = cut.reserves[0]
    assert row.lethal_mg_l < row.oxygen_mg_l < row.stress_mg_l
    assert row.alone.to_stress == row.with_battery.to_stress == row.with_cylinder.to_stress == 0.0
    assert row.alone.to_lethal > 0.0
    season = made_by_hand(26.0, 20.0, 300.0, 0.4, 0.5)
    dead = power_cut(season, DAY, cylinder_l=10.0, cylinder_bar=100.0)
    assert dead.reserves[0].alone == dead.reserves[0].with_cylinder == (0.0, 0.0)
    answer = told(dead, season, "metric")
    assert "no time in tank one" in answer.verdict
    assert answer.data["tanks"][0]["minutes_to_lethal_with_cylinder"] == 0.0


def test_a_tank_without_fish_is_left_out():
    season = run_season(build(two_loops()), **{"cohorts.perch.count": 60})
    perch_come = START + dt.timedelta(days=6)
    before = power_cut(season, START + dt.timedelta(days=5))
    assert "perch" not in [r.cohort for r in before.reserves]
    assert "perch" in [r.cohort for r in power_cut(season, perch_come).reserves]
    assert {r.tank for r in before.reserves} == {"east", "north"}
    season = season_of(count=0)
    empty = power_cut(season)
    assert empty.reserves == ()
    answer = told(empty, season)
    assert answer.verdict.startswith("No fish")
    assert (answer.is_trouble, answer.has("tanks"), answer.data["tanks"]) == (False, False, [])
    assert answer.data["date"] == "2026-10-01"
    # only the generator's load is left to tell
    assert answer_text(answer).split("\n\n")[1].startswith("A generator")


def test_the_worst_hour_is_sought_and_follows_the_meals():
    factors = use_factors(season_of(count=150))[:, 4, 0]
    assert factors.mean() == pytest.approx(1.0, abs=1e-12)
    assert factors.argmax() in (20, 21), "four hours after the meal at 17:00"
    # dense enough that the answer comes before the wave moves far
    season = season_of(count=150)
    minutes = {hour: power_cut(season, DAY, float(hour)).reserves[0].alone.to_lethal for hour in range(25)}
    worst = power_cut(season, DAY)
    assert worst.is_worst_hour
    assert not power_cut(season, DAY, 3.0).is_worst_hour
    assert worst.reserves[0].alone.to_lethal == min(minutes.values())
    assert minutes[0] == pytest.approx(minutes[24])
    assert max(minutes.values()) > 1.1 * min(minutes.values())
    lowest = season.extremes.oxygen_min_hour[0, 4, 0]
    assert power_cut(season, DAY, lowest).reserves[0].oxygen_mg_l == season.extremes.oxygen_min_mg_l[0, 4, 0]
    assert abs(worst.hour - lowest) <= 2.0


@pytest.mark.parametrize("hour", [0.0, 3.0, 6.0, 10.0, 14.0, 17.0, 19.0, 23.0])
def test_never_longer_than_with_the_wave_running_on(hour, demo_season):
    # the use is held at the greatest met before the answer: an integration with the moving wave must last longer
    day = dt.date(2027, 5, 31)
    layout, course = demo_season.layout, demo_season.course
    row = next(r for r in power_cut(demo_season, day, hour).reserves if r.tank == "maple")
    column, index = layout.tanks.index("maple"), layout.days - 1
    volume = layout.volume_m3[column] - row.biomass_kg / 1000.0
    exchange = layout.surface_m2[column] * float(surface_exchange_velocity(row.temperature_c))
    saturation = float(oxygen_saturation(row.temperature_c, layout.elevation_m))
    use = float(course.fish_oxygen_g[0, index] @ layout.cohort_tank[:, column])
    factors = use_factors(demo_season)

    def slope(days, level):
        factor = factor_at(factors, hour + 24.0 * days)[index, column]
        return (exchange * (saturation - level) - use * factor) / volume

    end = row.alone.to_lethal / 1440.0
    left = solve_ivp(slope, (0.0, end), [row.oxygen_mg_l], rtol=1e-9, atol=1e-10, max_step=end / 50.0).y[0, -1]
    # not below the limit, and not so far above it that the answer is of no use
    assert row.lethal_mg_l - 1e-6 <= left < row.lethal_mg_l + 0.3 * (row.oxygen_mg_l - row.lethal_mg_l)


def test_cooling_depends_on_the_room_and_the_tank():
    season = season_of(volume_l=900.0)
    row = power_cut(season, DAY, room_c=5.0).reserves[0]
    expected = hours_to_temperature(26.0, row.cold_limit_c, 5.0, 0.9, tank_loss_w_k(0.9, 0.8))
    assert row.hours_to_cold_limit == pytest.approx(float(expected))
    by_room = [power_cut(season, DAY, room_c=room).reserves[0].hours_to_cold_limit for room in (-10.0, 0.0, 10.0, 20.0)]
    assert by_room == sorted(by_room)
    assert by_room[-1] == np.inf
    answer = told(power_cut(season, DAY), season)
    assert answer.data["room_c"] == 0.0
    assert "32.0 degF" in answer.data["notes"][1]
    assert answer.data["notes"][1] in " ".join(answer_text(answer).split())


def test_generator_adds_up():
    tables = one_tank(days=3, power_w=60.0)
    tables["loops"]["main"]["oxygen_supply"] = {"kind": "diffuser", "power": "20 W"}
    tables["beds"]["gravel"]["flow"] = "500 L/h"
    load = power_cut(run_season(build(tables)), heater_w=800.0, head_m=1.5).generator
    assert load.air_w == pytest.approx(80.0)
    # 1500 L/h over 1.5 m by hand: 0.41667 kg/s x 9.80665 x 1.5 = 6.129 W of lifted water
    assert load.pump_w == pytest.approx(6.1292 / PUMP_EFFICIENCY, rel=1e-4)
    assert load.total_w == pytest.approx(80.0 + load.pump_w + 800.0)
    assert load.guessed == ()
    assert power_cut(run_season(build(two_loops()))).generator.guessed[0] == "loops.warm"


def test_faults_in_sentences_all_at_once():
    season = season_of()
    with pytest.raises(InputError) as caught:
        power_cut(season, dt.date(2027, 1, 1), 25.0, battery_w=-1.0, cylinder_l=10.0, room_c=float("nan"), head_m=500.0)
    told = [(fault.table, fault.field, *re.findall(r"[\d.,-]*\d|nan", fault.message)) for fault in caught.value.faults]
    assert [tuple(filter(None, words)) for words in told] == [
        ("on", "2027-01-01", "2026-10-01", "2026-10-06"),
        ("hour", "25", "0", "24", "18", "6.5"),
        ("battery", "-1", "0", "100,000"),
        ("room", "nan", "-60", "60"),
        ("head", "500", "0", "100"),
        ("cylinder",),
    ]
    with pytest.raises(InputError, match="safe side"):
        power_cut(season, cylinder_l=10.0, cylinder_bar=300.0)


def test_the_sheet_and_the_data_tell_the_same(demo_season):
    cut = power_cut(demo_season, battery_w=10.0, cylinder_l=10.0, cylinder_bar=150.0)
    for units in ("metric", "us"):
        answer = told(cut, demo_season, units)
        text, data = answer_text(answer), answer.data
        assert json.loads(json.dumps(data, allow_nan=False)) == data
        first = " ".join(text.split("\n\n")[0].split())
        assert first == data["answer"] == answer.verdict
        worst = data["tanks"][0]
        assert f"about {int(worst['minutes_to_lethal'])} minutes in tank {worst['tank']} ({worst['cohort']})" in first
        assert "factor of 2" in text
        _, sources = text.split("\n\nSources:\n")
        assert len(answer_text(answer, ()).splitlines()) <= 45, "half a sheet"
        assert " ".join(sources.split()) == " ".join(f"- {source}" for source in data["sources"])
        assert "Cole & Caraco 1998" in sources
        flat = " ".join(text.split())
        for word in (
            "20 ft" if units == "us" else "6 m",
            "carbon monoxide",
            "licensed electrician",
            "back-feed",
            "round-fault",
            "battery air pump",
            "feed",
        ):
            assert word in flat
        assert data["generator_w"] == pytest.approx(cut.generator.total_w, abs=0.1)
        assert {"minutes_to_stress", "minutes_to_lethal", "hours_to_cold_limit", "minutes_to_lethal_with_battery",
                "minutes_to_stress_with_cylinder"} <= set(worst)  # fmt: skip
        assert data["sources"]
    plain = told(power_cut(demo_season), demo_season).data
    assert not any("battery" in key or "cylinder" in key for key in plain["tanks"][0])
