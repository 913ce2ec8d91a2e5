"""Ration tables, cold-water feeding days, meals; and the trout appetite beside a published ration table."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stocksim.fish.growth import appetite_rate
from stocksim.fish.ration import feeding_days, table_ration
from stocksim.library.species import load_species

WEIGHTS, TEMPERATURES = [10.0, 50.0, 200.0], [8.0, 12.0]
TABLE = np.array([[3.0, 2.0, 1.0], [4.0, 3.0, 1.5]])


# --- tables


def test_a_table_gives_its_own_entries_and_straight_lines_between():
    weights, temperatures = np.meshgrid(WEIGHTS, TEMPERATURES)
    np.testing.assert_allclose(table_ration(weights, temperatures, WEIGHTS, TEMPERATURES, TABLE), TABLE, rtol=1e-14)
    assert table_ration(30.0, 10.0, WEIGHTS, TEMPERATURES, TABLE) == pytest.approx(3.0)  # middle of 3, 2, 4 and 3
    assert table_ration(125.0, 8.0, WEIGHTS, TEMPERATURES, TABLE) == pytest.approx(1.5)


def test_outside_a_table_its_edge_holds():
    assert table_ration(1.0, 2.0, WEIGHTS, TEMPERATURES, TABLE) == 3.0
    assert table_ration(900.0, 30.0, WEIGHTS, TEMPERATURES, TABLE) == 1.5
    assert table_ration(30.0, 30.0, WEIGHTS, TEMPERATURES, TABLE) == pytest.approx(3.5)


def test_a_table_may_have_one_row_or_one_entry():
    assert table_ration([5.0, 30.0], 20.0, [10.0, 50.0], [15.0], [[3.0, 2.0]]).tolist() == [3.0, 2.5]
    assert table_ration([5.0, 30.0], [3.0, 20.0], [10.0], [15.0], [[2.0]]).tolist() == [2.0, 2.0]


@given(
    st.lists(st.floats(0.0, 10.0), min_size=6, max_size=6),
    st.floats(0.0, 300.0),
    st.floats(0.0, 20.0),
    st.floats(0.0, 0.01),
)
def test_a_ration_stays_inside_the_table_and_never_jumps(entries, weight, temperature, step):
    table = np.array(entries).reshape(2, 3)
    found = table_ration([weight, weight + step], [temperature, temperature + step], WEIGHTS, TEMPERATURES, table)
    assert np.all((found >= table.min() - 1e-12) & (found <= table.max() + 1e-12))
    assert abs(found[1] - found[0]) <= step * (10.0 / 40.0 + 10.0 / 4.0) + 1e-9


def test_rations_broadcast_over_days_and_cohorts():
    weights, temperatures = np.array([20.0, 80.0, 500.0]), np.array([[5.0], [9.0], [11.0]])
    together = table_ration(weights, temperatures, WEIGHTS, TEMPERATURES, TABLE)
    assert together.shape == (3, 3)
    for row, column in np.ndindex(3, 3):
        alone = table_ration(weights[column], temperatures[row, 0], WEIGHTS, TEMPERATURES, TABLE)
        assert together[row, column] == alone


# --- days


def fed(temperatures, rules=(), **more):
    return feeding_days(temperatures, np.arange(len(temperatures)) % 7, rules, **more).astype(int).tolist()


def test_without_rules_fish_are_fed_every_day():
    assert fed([5.0] * 8) == [1] * 8


def test_alternate_days_start_with_a_fed_day():
    assert fed([12.0] * 6, [(13.0, 2)]) == [1, 0, 1, 0, 1, 0]
    # a warm day between is fed, and the count goes on from it
    assert fed([12.0, 14.0, 12.0, 12.0], [(13.0, 2)]) == [1, 1, 0, 1]
    # 13 is not colder than 13
    assert fed([13.0] * 3, [(13.0, 2)]) == [1, 1, 1]


@pytest.mark.parametrize("order", [1, -1])
def test_the_coldest_rule_that_holds_wins(order):
    rules = [(18.0, 2), (12.0, 4)][::order]
    assert fed([15.0] * 4 + [10.0] * 8, rules) == [1, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0]


def test_a_warm_spell_of_two_days_does_not_restart_feeding():
    course = [9.0, 6.0, 9.0, 9.0, 6.0, 9.0, 9.0, 9.0, 9.0]
    assert fed(course, stop_below_c=7.0) == [1, 0, 0, 0, 0, 0, 0, 1, 1]
    assert fed(course, stop_below_c=7.0, restart_days=1) == [1, 0, 1, 1, 0, 1, 1, 1, 1]
    assert fed(course, stop_below_c=7.0, restart_days=5) == [1, 0, 0, 0, 0, 0, 0, 0, 0]


def test_a_season_that_begins_cold_waits_too():
    assert fed([5.0, 9.0, 9.0, 9.0], stop_below_c=7.0) == [0, 0, 0, 1]


def test_fasting_days_are_not_fed_and_not_made_up():
    assert fed([20.0] * 8, fasting_weekdays={6}) == [1, 1, 1, 1, 1, 1, 0, 1]
    # an alternate-day fish whose day falls on the fast eats on the next
    assert fed([12.0] * 5, [(13.0, 2)], fasting_weekdays={2}) == [1, 0, 0, 1, 0]


def test_an_unknown_temperature_is_not_fed():
    assert fed([20.0, np.nan, 20.0], stop_below_c=7.0, restart_days=1) == [1, 0, 1]


def test_feeding_days_of_tanks_are_those_of_each_tank():
    rng = np.random.default_rng(4)
    water = 8.0 + 5.0 * rng.standard_normal((60, 2, 3))
    rules = [(12.0, 2), (8.0, 4)]
    weekdays = np.arange(60) % 7
    together = feeding_days(water, weekdays, rules, 6.0, 3, {6})
    for tank in np.ndindex(2, 3):
        alone = feeding_days(water[(slice(None), *tank)], weekdays, rules, 6.0, 3, {6})
        np.testing.assert_array_equal(together[(slice(None), *tank)], alone)


@given(st.lists(st.floats(0.0, 25.0), min_size=1, max_size=40), st.floats(2.0, 12.0), st.integers(1, 5))
def test_cold_days_are_never_fed_and_rules_only_take_away(temperatures, stop, restart):
    water = np.array(temperatures)
    weekdays = np.arange(water.size) % 7
    some = feeding_days(water, weekdays, [(15.0, 2)], stop, restart, {6})
    every = feeding_days(water, weekdays, (), stop, restart)
    assert set(np.unique(some)) <= {0.0, 1.0}
    assert np.all(some <= every)
    assert np.all(every[water < stop] == 0.0)
    for day in np.flatnonzero(every):
        stopped_before = np.flatnonzero(water[:day] < stop)
        assert stopped_before.size == 0 or day - stopped_before[-1] >= restart


def test_catfish_winter_rules_give_the_published_number_of_feeds():
    # Lovell and Sirikul 1974 (abstract): 1 % on alternate days, 100 days: 50 feeds. Extension advice: twice a week
    # at 7-12 degC, which as every third or fourth day is 25 to 34 feeds of a hundred days.
    assert sum(fed([14.0] * 100, [(18.0, 2), (12.5, 4)])) == 50
    assert 25 <= sum(fed([9.0] * 100, [(18.0, 2), (12.5, 4)])) <= 34


# --- the published table of trout

LEITRITZ_AND_LEWIS = Path(__file__).parent / "trout_ration_table.csv"
# fish per pound at the length class edges -> g (same table); middles are geometric means
EDGES_G = np.array([0.2, 1.5, 5.1, 12.0, 23.0, 39.0, 62.0, 92.0, 131.0, 179.0])
MIDDLES_G = np.sqrt(EDGES_G[1:] * EDGES_G[:-1])
# modelled appetite over table, by row, classes of 2 to 10 inches (2 to 180 g): lowest and highest, as measured
RATIOS_AS_MEASURED = {
    36: (0.36, 0.47), 40: (0.64, 0.80), 45: (0.71, 0.95), 50: (0.79, 1.05),
    55: (0.91, 1.11), 60: (0.90, 1.11), 65: (0.84, 0.99), 68: (0.70, 0.83),
}  # fmt: skip


def published_table():
    """Temperatures [degC] and percent of body weight, of the classes of 1-2 to 9-10 inches."""
    # Leitritz & Lewis 1980, trout feeding table, as reprinted by North Carolina extension (page read; every few
    # degrees F). Its 68 F, 1-2 inch entry, 9.4, breaks the series and is likely a misprint; it is kept and not used.
    with LEITRITZ_AND_LEWIS.open(encoding="utf-8") as file:
        rows = [[float(entry) for entry in row] for row in list(csv.reader(file))[1:]]
    numbers = np.array(rows)
    return (numbers[:, 0] - 32.0) / 1.8, numbers[:, 2:-1], numbers[:, 0].astype(int)


def trout_appetite_percent(weight, temperature):
    species = load_species("rainbow_trout")
    return 100.0 * appetite_rate(species.__getitem__, temperature) * weight ** (species["intake_exponent"] - 1.0)


def test_table_ration_reads_the_published_table():
    temperatures, percent, _ = published_table()
    assert percent.shape == (8, 9)
    assert table_ration(MIDDLES_G[4], 10.0, MIDDLES_G, temperatures, percent) == pytest.approx(1.7)
    # a fit to it, (2.41 + 0.7006 T) over length in inches, guards against a slip of the pen in the file
    fitted = (2.41 + 0.7006 * temperatures[:, None]) / np.arange(2.5, 10.0)
    miss = np.abs(percent[:, 1:] / fitted - 1.0)
    assert miss.mean() < 0.065
    assert miss.max() < 0.2


def test_trout_appetite_beside_the_published_ration():
    """The old table is for feeds of less energy: 0.7 to 0.8 of it is expected today (from memory).

    Measured: the rows of 4 and 20 degC are near that, 41 % of all cells within 0.65-0.85. At 7 to 18 degC our appetite
    is 0.7 to 1.1 of the table, highest at 13-16 degC and for the smallest fish; at 2 degC it is a third to a half. The
    table is what to offer and ours what a fish at full appetite eats.
    """
    temperatures, percent, rows = published_table()
    ratio = trout_appetite_percent(MIDDLES_G, temperatures[:, None]) / percent
    for row, found in zip(rows, ratio[:, 1:], strict=True):
        assert (found.min(), found.max()) == pytest.approx(RATIOS_AS_MEASURED[row], abs=0.03), row
    used = ratio[:, 1:]
    assert np.median(used) == pytest.approx(0.83, abs=0.02)
    assert ((used > 0.65) & (used < 0.85)).mean() == pytest.approx(0.41, abs=0.04)


def test_the_table_rises_to_20_degrees_and_our_trout_do_not():
    _, percent, _ = published_table()
    assert np.all(np.diff(percent[:, 1:], axis=0) > -1e-9)
    ours = trout_appetite_percent(40.0, np.array([18.0, 22.0]))
    assert ours[1] < 0.85 * ours[0]
