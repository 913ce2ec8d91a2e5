"""Seasons drawn from what is uncertain: ranges, points, bands, chances, indices, and what a bad question is told."""

from __future__ import annotations

import datetime as dt
import math
from functools import cache

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim.drawn.bands import BINS, Bands
from stocksim.drawn.draws import prepared
from stocksim.drawn.indices import sobol_indices
from stocksim.drawn.outlook import SHARES, Outlook, matters_most, outlook
from stocksim.drawn.ranges import MEASURED, UNCERTAIN, quantile
from stocksim.drawn.years import YEARS, water_of_years
from stocksim.engine.arrays.tables import numbers_of
from stocksim.engine.many_seasons import run_seasons
from stocksim.errors import InputError
from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site


@cache
def small() -> Outlook:
    return outlook(build(one_tank(days=40)), 32, seed=5)


# --- ranges


@pytest.mark.parametrize("one", UNCERTAIN, ids=lambda one: one.key)
def test_a_range_is_met_at_its_ends_and_its_middle_is_what_a_season_takes(one):
    low, high = (0.6, 1.9) if math.isnan(one.low) else (one.low, one.high)
    assert low < one.middle < high
    assert one.group in MEASURED
    assert all((one.source, one.moves, one.words))
    end = 0.0 if one.shape == "flat" else 0.05
    found = quantile(one, [end, 0.5, 1.0 - end], low, high)
    np.testing.assert_allclose(found, [low, one.middle, high], rtol=1e-9)
    many = quantile(one, np.linspace(0.0, 1.0, 101), low, high)
    assert np.isfinite(many).all()
    assert (np.diff(many) >= 0.0).all()
    assert one.shape != "log" or (many > 0.0).all()


def test_the_middle_of_the_cube_is_the_season_that_is_run_without_it():
    site = build(one_tank(days=20))
    draws = prepared(site, 1)
    usual = numbers_of(draws.layout)
    # the year apart, for no drawn year is the usual one
    middle = np.full((1, len(draws.axes)), 0.5)
    changed = draws.arrays(middle)
    of_year = set(draws.years)
    assert "temperature_c" in of_year
    for name, array in changed.items():
        if name not in of_year:
            np.testing.assert_allclose(array[0], usual[name], rtol=1e-12, err_msg=name)


@pytest.mark.parametrize("one", [one for one in UNCERTAIN if one.key != "weather"], ids=lambda one: one.key)
def test_every_axis_of_the_demonstration_moves_numbers_one_way(one):
    site = load_site(FOLDER / "heron_lane.toml").with_changes(
        {
            "tanks.alder.oxygen_supply": {"kind": "measured", "transfer": "300 g/day"},
            "loops.main.water_temperature": {"kind": "constant", "value": "8 degC"},
        }
    )
    draws = prepared(site, 1, years=2)
    at = [axis.one.key for axis in draws.axes].index(one.key)
    points = np.full((3, len(draws.axes)), 0.5)
    points[:, at] = [0.1, 0.5, 0.9]
    moved = {
        name: array for name, array in draws.arrays(points).items() if not np.array_equal(array[0], array[2], True)
    }
    assert moved
    for array in moved.values():
        known = np.isfinite(array[0])
        change = array[2][known] - array[0][known]
        # a film that rises faster with warmth is slower in water below 20 degC
        assert one.key.startswith("film_") or (change >= -1e-15).all() or (change <= 1e-15).all()


def test_appetite_takes_the_range_of_the_species_file_and_weights_that_of_weighed_fish():
    site = build(one_tank(days=20))
    axes = {axis.one.key: axis for axis in prepared(site, 1).axes}
    (cohort,) = site.file.cohorts.values()
    scale = site.species[cohort.species].values["intake_scale"]
    assert axes["appetite"].of == cohort.species
    np.testing.assert_allclose(
        [axes["appetite"].low, axes["appetite"].high], [scale.low / scale.value, scale.high / scale.value]
    )
    spread = site.species[cohort.species]["size_spread"]
    np.testing.assert_allclose(axes["start_weight"].high - 1.0, 1.6449 * spread / math.sqrt(15), rtol=1e-3)


def test_everyday_deaths_move_with_their_cause():
    draws = prepared(build(one_tank(days=20)), 1)
    at = [axis.one.key for axis in draws.axes].index("everyday_deaths")
    points = np.full((1, len(draws.axes)), 0.5)
    points[0, at] = 0.95
    arrays = draws.arrays(points)
    high = -math.log(0.916) / 168.0
    np.testing.assert_allclose(arrays["everyday_hazard"], high)
    year = {name: bank[YEARS // 2] for name, bank in draws.years.items()}
    usual = year.get("daily_hazard", draws.layout.daily_hazard)
    np.testing.assert_allclose(arrays["daily_hazard"][0] - usual, high - BACKGROUND_DEATHS_PER_DAY)


# --- years


def test_years_vary_about_what_is_typed_and_stay_from_day_to_day():
    site = build(one_tank(days=200))
    (water,) = water_of_years(site, 400, seed=3)[0].values()
    (typed,) = site.held_c.values()
    moved = water - typed
    assert moved.std() == pytest.approx(0.5, rel=0.05)  # one constant temperature
    np.testing.assert_allclose(moved.mean(axis=0), 0.0, atol=0.12)
    lagged = np.mean(moved[:, 1:] * moved[:, :-1]) / np.mean(np.square(moved))
    assert lagged == pytest.approx(0.95, abs=0.02)
    assert (np.diff(water.mean(axis=1)) >= 0.0).all()


def test_years_of_computed_water_differ_as_their_weather_does():
    site = load_site(FOLDER / "heron_lane_computed.toml")
    found, _ = water_of_years(site, 8, seed=2)
    assert list(found) == list(site.file.loops)
    for key, loop in site.file.loops.items():
        assert np.isfinite(found[key]).all()
        if loop.water_temperature.kind == "computed":
            # a heater that suffices holds its water nearly as it is; the water of the house follows the weather
            least = 0.001 if loop.heat and loop.heat.heater else 0.05
            assert least < found[key].std(axis=0).mean() < 5.0


# --- bands


def test_bands_are_the_quantiles_of_what_was_added_to_a_bin():
    random = np.random.default_rng(1)
    values = random.lognormal(0.0, 0.5, (2000, 3, 2)).astype(np.float32)
    values[:, 1, 0] = np.nan
    values[::2, 2, 1] = np.nan
    bands = Bands(values[:128])
    for first in range(0, 2000, 100):
        bands.add(values[first : first + 100])
    found = bands.quantiles(SHARES)
    exact = np.full(found.shape, np.nan)
    for day, place in [(0, 0), (0, 1), (1, 1), (2, 0), (2, 1)]:
        exact[:, day, place] = np.nanquantile(values[:, day, place], SHARES)
    first = values[:128]
    width = 1.6 * (np.nanmax(first, axis=0, initial=-1.0) - np.nanmin(first, axis=0, initial=99.0)) / BINS
    assert np.isnan(found[:, 1, 0]).all()
    known = ~np.isnan(exact)
    assert (np.abs(found - exact)[known] <= np.broadcast_to(width, exact.shape)[known]).all()
    assert bands.seasons[2, 1] == 1000


def test_bands_do_not_mind_the_order_of_seasons_nor_what_lies_far_out():
    values = np.random.default_rng(2).normal(5.0, 1.0, (640, 1, 1)).astype(np.float32)
    values[600] = 1e6
    one, other = Bands(values[:64]), Bands(values[:64])
    one.add(values)
    for part in np.array_split(values[::-1], 7):
        other.add(part)
    np.testing.assert_array_equal(one.quantiles(SHARES), other.quantiles(SHARES))
    assert abs(one.quantiles([0.5])[0, 0, 0] - 5.0) < 0.2


def test_bands_of_what_never_changes_are_that():
    bands = Bands(np.full((64, 2, 1), 3.25, np.float32))
    bands.add(np.full((64, 2, 1), 3.25, np.float32))
    np.testing.assert_array_equal(bands.quantiles(SHARES), 3.25)


# --- indices


def ishigami(points: np.ndarray) -> np.ndarray:
    """Ishigami and Homma 1990, with a = 7 and b = 0.1."""
    x = math.pi * (2.0 * points - 1.0)
    return np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def _indices_of(function, n: int, seed: int):
    from scipy.stats import qmc

    a, b = np.split(qmc.Sobol(6, seed=seed).random(n), 2, axis=1)
    mixed = []
    for axis in range(3):
        points = a.copy()
        points[:, axis] = b[:, axis]
        mixed.append(function(points))
    return sobol_indices(function(a), function(b), np.array(mixed), seed)


def test_indices_of_the_ishigami_function():
    # by hand: V1 = (1 + b pi^4 / 5)^2 / 2, V2 = a^2 / 8, V13 = 8 b^2 pi^8 / 225
    v1, v2, v13 = 0.5 * (1.0 + 0.1 * math.pi**4 / 5.0) ** 2, 49.0 / 8.0, 8.0 * 0.01 * math.pi**8 / 225.0
    whole = v1 + v2 + v13
    first, total = np.array([v1, v2, 0.0]) / whole, np.array([v1 + v13, v2, v13]) / whole
    np.testing.assert_allclose(first, [0.3139, 0.4424, 0.0], atol=1e-4)  # as printed in the literature
    found = _indices_of(ishigami, 4096, 1)
    np.testing.assert_allclose(found.first, first, atol=0.02)
    np.testing.assert_allclose(found.total, total, atol=0.02)


def test_errors_of_indices_hold_the_truth_about_as_often_as_they_say():
    truth = np.array([0.5576, 0.4424, 0.2437])
    inside = [
        np.abs(found.total - truth) <= 2.0 * found.total_error
        for found in (_indices_of(ishigami, 256, seed) for seed in range(40))
    ]
    # 95 % claimed; Sobol points do better than the random ones that the errors suppose
    assert np.mean(inside) >= 0.9
    few, many = (_indices_of(ishigami, n, 3).total_error.mean() for n in (128, 2048))
    assert many == pytest.approx(few / 4.0, rel=0.4)


def test_indices_agree_with_those_of_scipy():
    from scipy.stats import qmc
    from scipy.stats import sobol_indices as theirs

    a, b = np.split(qmc.Sobol(6, seed=4).random(1024), 2, axis=1)
    mixed = np.stack([np.where(np.arange(3) == axis, b, a) for axis in range(3)])
    f_a, f_b, f_ab = ishigami(a), ishigami(b), np.array([ishigami(points) for points in mixed])
    ours = sobol_indices(f_a, f_b, f_ab)
    found = theirs(func={"f_A": f_a[None], "f_B": f_b[None], "f_AB": f_ab[:, None]}, n=1024)
    np.testing.assert_allclose(ours.first, found.first_order.ravel(), atol=0.02)
    np.testing.assert_allclose(ours.total, found.total_order.ravel(), atol=0.02)


# --- the outlook


def test_threads_change_no_bit_and_a_seed_tells_all():
    site = build(one_tank(days=25))
    one, other = (outlook(site, 64, seed=9, threads=threads) for threads in (1, 3))
    for column, band in one.bands.items():
        np.testing.assert_array_equal(band.ends, other.bands[column].ends)
    assert (one.limits, one.losses, one.outputs) == (other.limits, other.losses, other.outputs)
    for key, index in one.indices.items():
        np.testing.assert_array_equal(np.array(index), np.array(other.indices[key]))
    third = outlook(site, 64, seed=10, indices=False)
    assert third.outputs != one.outputs


def test_bands_and_chances_are_those_of_the_same_seasons_run_one_by_one():
    tables = one_tank(days=40)
    site = build(tables)
    found = outlook(site, 32, seed=5, indices=False)
    from stocksim.drawn.outlook import points_of

    draws = found.draws
    points, _ = points_of(draws, 32, 5)
    many = run_seasons(site, arrays=draws.arrays(points), keep=["cohorts.mean_weight_g", "tanks.oxygen_min_mg_l"])
    for column in ("cohorts.mean_weight_g", "tanks.oxygen_min_mg_l"):
        values = many.values(column)
        exact = np.quantile(values, SHARES, axis=0)
        span = np.ptp(values, axis=0)
        assert (np.abs(found.bands[column].ends - exact) <= 0.06 * span + 1e-6).all()
    np.testing.assert_array_equal(found.values["growth_kg"], many.totals["growth_kg"])
    oxygen = many.limits[many.limits["limit"] == "oxygen"]
    (told,) = [one for one in found.limits if one.what == "oxygen"]
    assert told.share == (oxygen["margin_percent"] < 0.0).mean()


def test_a_crowded_tank_breaks_its_limit_in_every_season_and_a_sparse_one_in_none():
    tables = one_tank(days=30)
    tables["cohorts"]["fish"]["count"] = 5000
    found = outlook(build(tables), 16, indices=False)
    density = next(one for one in found.limits if one.what == "density")
    assert density.share == 1.0
    assert density.dates[0] == START
    assert found.kept_share == 0.0
    sparse = one_tank(days=30)
    sparse["cohorts"]["fish"]["count"] = 1
    none = outlook(build(sparse), 16, indices=False)
    assert next(one for one in none.limits if one.what == "density").share == 0.0
    assert next(one for one in none.limits if one.what == "density").dates == ()


def test_losing_a_tenth_is_told_with_its_dates():
    # so much base hazard that every season loses a tenth: no air at all for a crowd
    tables = one_tank(days=60)
    tables["cohorts"]["fish"]["count"] = 4000
    found = outlook(build(tables), 16, indices=False)
    (loss,) = found.losses
    assert loss.share > 0.9
    assert START <= loss.dates[0] <= loss.dates[1] <= loss.dates[2] <= START + dt.timedelta(days=59)
    assert found.safe_share == pytest.approx(1.0 - loss.share)
    assert loss.worst[0] <= loss.worst[1] <= loss.worst[2] <= 1.0 + 1e-9


def test_appetite_matters_most_for_ammonia_and_survival_for_the_fish_that_are_left():
    found = outlook(build(one_tank(days=60)), 256, seed=2)
    assert matters_most(found, "tan_produced_g")[0][0] == "appetite"
    assert matters_most(found, "feed_conversion_offered")[0][0] == "growth per feed"
    assert matters_most(found, "deaths")[0][0] == "survival"
    for index in found.indices.values():
        assert (index.total > -1e-9).all()
        assert (index.total_error[index.total > 0.2] > 0.0).all()


def test_a_band_holds_the_truth_as_often_as_it_claims():
    """Seasons of a drawn truth, apart from those that the bands are of: 8 in 10 lie inside, by the binomial law."""
    from scipy.stats import binom

    site = build(one_tank(days=40))
    found = outlook(site, 256, seed=1, indices=False)
    draws = found.draws
    truth = np.random.default_rng(77).uniform(size=(200, len(draws.axes)))
    many = run_seasons(site, arrays=draws.arrays(truth), keep=["cohorts.mean_weight_g", "tanks.tan_mg_l"])
    for column, day in (("cohorts.mean_weight_g", 39), ("tanks.tan_mg_l", 20)):
        low, _, high = found.bands[column].ends[:, day, 0]
        hits = int(((many.values(column)[:, day, 0] >= low) & (many.values(column)[:, day, 0] <= high)).sum())
        least, most = binom.ppf([0.0005, 0.9995], 200, 0.8)
        assert least <= hits <= most


# --- what is asked


@pytest.mark.parametrize(
    ("asked", "run"), [(1, 1), (2, 2), (3, 4), (16, 16), (17, 32)]
)  # fmt: skip
def test_seasons_are_rounded_up_to_a_power_of_two(asked, run):
    found = outlook(build(one_tank(days=5)), asked, indices=False)
    assert (found.asked, found.number) == (asked, run)


@pytest.mark.parametrize("n", [0, -4, 2.5, "many", True, 10**7])
def test_a_wrong_number_of_seasons_is_a_sentence(n):
    with pytest.raises(InputError) as told:
        outlook(build(one_tank(days=5)), n)
    (fault,) = told.value.faults
    assert fault.field == "n"
    assert "65,536" in fault.message


def test_both_faults_are_told_at_once():
    with pytest.raises(InputError) as told:
        outlook(build(one_tank(days=5)), 0, seed=-1)
    assert [fault.field for fault in told.value.faults] == ["n", "seed"]


def test_progress_counts_every_season_and_may_end_the_run():
    told: list[tuple[int, int]] = []
    found = outlook(build(one_tank(days=5)), 32, progress=lambda done, of: told.append((done, of)))
    whole = 32 + 32 * (1 + len(found.draws.groups))
    assert told[-1] == (whole, whole)
    assert [done for done, _ in told] == sorted(done for done, _ in told)

    def stop(done: int, of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        outlook(build(one_tank(days=5)), 32, progress=stop)


def test_a_site_without_fish_has_an_outlook_too():
    tables = one_tank(days=10)
    tables["cohorts"] = {}
    found = outlook(build(tables), 8)
    assert found.losses == ()
    assert found.safe_share == 1.0
    assert "loops.nitrate_n_mg_l" in found.bands


# --- what is told


def test_the_page_of_what_is_uncertain_is_that_of_the_table():
    """``python docs/uncertainty.py`` writes it."""
    from pathlib import Path

    folder = Path(__file__).resolve().parents[1] / "docs"
    spoken = {"__file__": str(folder / "uncertainty.py"), "__name__": "uncertainty"}
    exec(compile((folder / "uncertainty.py").read_text(encoding="utf-8"), "uncertainty.py", "exec"), spoken)
    assert (folder / "uncertainty.md").read_text(encoding="utf-8") == spoken["text"]()


def test_the_data_of_an_outlook_is_whole():
    import json

    from stocksim.answers.outlook.answer import outlook_answer

    found = small()
    answer = outlook_answer(found)
    data = json.loads(json.dumps(answer.data, allow_nan=False))
    assert (data["seasons_asked"], data["seasons"], data["seed"]) == (32, 32, 5)
    assert len(data["bands"]["cohorts.mean_weight_g"]["fish"]["50"]) == len(data["dates"]) == 40
    growth = data["totals"]["growth_kg"]
    assert growth == sorted(growth)
    assert {row["group"] for row in data["what_matters"]} == set(found.draws.groups)
    assert all(0.0 <= one["chance"] <= 1.0 for one in data["limits"] + data["losses"])
    assert data["measure_next"]


def test_seasons_that_were_rounded_are_told():
    from stocksim.answers.outlook.words import notes
    from stocksim.faces.chance_words import chance_words

    found = outlook(build(one_tank(days=5)), 3, indices=False)
    assert "3 seasons were asked for; 4 were run" in notes(found)[0]
    shares = (0.0, 0.001, 0.04, 0.1, 0.52, 0.9, 0.97, 0.999, 1.0)
    assert [chance_words(share) for share in shares] == [
        "none", "fewer than 1 of 100", "4 of 100", "1 of 10", "5 of 10", "9 of 10", "97 of 100", "more than 99 of 100",
        "all",
    ]  # fmt: skip


def test_fans_are_drawn_of_every_batch_and_tank():
    from stocksim.answers.outlook.charts import fan_stack

    spec = fan_stack(small()).to_dict()
    assert len(spec["vconcat"]) == 4
    assert "eight of ten" in spec["description"]
    held = [row for rows in spec["datasets"].values() for row in rows if "middle" in row and "low" in row]
    assert {row["name"] for row in held} == {"fish", "one"}
    assert all(row["low"] <= row["middle"] <= row["high"] for row in held)
