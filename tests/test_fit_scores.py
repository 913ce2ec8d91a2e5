"""Trials of growth and appetite: which are points, what the scale is drawn from, its band, the score and the grades."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from command_line import runner
from small_sites import build, one_tank

from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.fish.growth import appetite_rate
from stocksim.library.species import load_species, species_names
from stocksim.library.strains import trials_sentence, trials_warning

DOCS = Path(__file__).parents[1] / "docs"
sys.path.insert(0, str(DOCS))

import fit_scores  # noqa: E402
import fits_tables  # noqa: E402
import ideal_model  # noqa: E402
import trial_feeds  # noqa: E402
import trial_points  # noqa: E402
import trial_scales  # noqa: E402
from check_points import CHECKS, EVERY_SPECIES, NO_TRIALS, Fish  # noqa: E402
from fish_trials import is_for_fitting, tolerance  # noqa: E402


@cache
def trial_rows() -> list[fit_scores.Row]:
    """Rows of growth and appetite, worked out by the first test that asks for them."""
    return fit_scores.growth_rows()


def kept_rows() -> list[fit_scores.Row]:
    return [row for row in trial_rows() if not row.seen and row.topic != "waste ranges"]


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def full_ration(name: str, weight_g: float, temperature_c: float, key: str = "value") -> float:
    entry = load_species(name)
    scale = getattr(entry.values["intake_scale"], key) / entry["intake_scale"]
    appetite = scale * float(appetite_rate(entry.__getitem__, temperature_c))
    return 100.0 * appetite * weight_g ** (entry["intake_exponent"] - 1.0)


# --- what is a point


def test_every_row_of_growth_appetite_and_cold_feeding_is_a_point_or_left_out_for_a_reason():
    points = {check.id.split()[0] for check in trial_points.TRIALS}
    left = [key for keys in trial_points.LEFT_OUT.values() for key in keys]
    asked = {key for key, row in trial_points.ROWS.items() if row["topic"] in ("growth", "appetite", "cold_feeding")}
    assert len(left) == len(set(left))
    assert points | set(left) == asked
    assert not points & set(left)


def test_rows_kept_by_the_hash_are_seen_by_no_fit_and_set_no_strain():
    for check in trial_points.TRIALS:
        if check.used:
            assert is_for_fitting(trial_points.ROWS[check.id.split()[0]]["source"]), check.id
    for name in EVERY_SPECIES:
        assert all(check.used for check in trial_scales.points_of(name))
    used = {check.id for check in (*CHECKS, *trial_points.TRIALS) if check.used}
    for strains in trial_points.STRAIN_POINTS.values():
        assert {point for points in strains.values() for point in points} <= used


def test_points_have_the_tolerance_of_what_they_measure():
    for check in trial_points.TRIALS:
        if check.expect is not None:
            assert (check.low, check.high) == pytest.approx(tolerance(check.measure, check.expect)), check.id
        assert check.low < check.high


# --- the feed of a point

# words by which a row of the table tells its feed
TELLS = re.compile(
    r"\d % (?:digestible )?(?:protein|sinking feed)|(?:trout|catfish|pikeperch) (?:feed|pellets)|MJ DE|kcal"
)


def test_every_point_whose_source_tells_its_feed_runs_on_it():
    rows = trial_points.ROWS
    telling = {
        check.id
        for check in trial_points.TRIALS
        for row in (rows[check.id.split()[0]],)
        if TELLS.search(f"{row['what']}; {row['conditions']}")
    }
    telling |= {check.id for check in CHECKS if TELLS.search(check.source) and "%" in check.source}
    assert {"hsb_phase3_sunshine", "carp_168g_24c_52d", "D8 15", "tilapia_gmt_ration_4"} <= telling
    assert not {check.id for check in (*CHECKS, *trial_points.TRIALS) if check.id in telling and check.feed is None}
    named = [point for _, points in trial_feeds.TOLD for point in points]
    assert len(named) == len(set(named))
    assert set(named) <= {check.id.split()[0] for check in (*CHECKS, *trial_points.TRIALS)}


def test_energy_by_the_rule_is_that_of_the_library_pellets():
    # the rule was set by them: 10 % was agreed before
    for name, ours, rule in trial_feeds.library_check():
        assert rule == pytest.approx(ours, rel=0.10), name
    assert trial_feeds.digestible_energy(0.4, 0.2) > trial_feeds.digestible_energy(0.4, 0.1)
    # by hand: 0.44 x 23.6 x 0.88 + 0.22 x 39.5 x 0.9 + 0.16 x 17.2 x 0.5
    assert trial_feeds.digestible_energy(0.44, 0.22) == pytest.approx(9.138 + 7.821 + 1.376, abs=1e-3)


def test_fish_eat_the_same_grams_of_a_richer_feed_and_grow_by_its_energy():
    entry = load_species("hybrid_striped_bass")
    fish = Fish(entry.__getitem__)
    rich = fish.on(trial_feeds.TrialFeed("", 1.2 * entry["fitted_feed_energy"], None))
    lean, better = fish.growth(100.0, (25.0,), 1), rich.growth(100.0, (25.0,), 1)
    # but for what the weight moves within the day
    assert better.eaten.item() == pytest.approx(lean.eaten.item(), rel=0.003)
    assert better.end.item() > lean.end.item()
    assert better.oxygen.item() > lean.oxygen.item()
    assert rich.maintenance_percent(100.0, 25.0) == pytest.approx(fish.maintenance_percent(100.0, 25.0) / 1.2)
    protein = fish.on(trial_feeds.TrialFeed("", None, entry["fitted_feed_protein"] + 0.1))
    more = protein.growth(100.0, (25.0,), 1)
    assert more.end.item() == lean.end.item()  # protein alone moves only the nitrogen
    # a tenth of the grams as protein more: its digested nitrogen is given off, 6.25 g of protein a gram
    given_off = 0.1 * 0.88 / 6.25 * lean.eaten.item()
    assert more.tan.item() - lean.tan.item() == pytest.approx(AMMONIA_SHARE_OF_EXCRETION * given_off, rel=1e-6)
    # and a point takes it: these bass were fed trout feed
    point = next(check for check in trial_points.TRIALS if check.id == "hsb_phase3_sunshine")
    assert point.feed is not None
    assert point.value(fish).item() > 1.1 * fish.growth(177.5, (25.0,), 84).end.item()


# --- the scale and its band


@pytest.mark.parametrize("name", EVERY_SPECIES)
def test_a_scale_is_the_mean_of_the_trials_that_count(name):
    scales = trial_scales.trial_scales(name)
    if not scales:
        return
    assert trial_scales.mean_factor(scales) == pytest.approx(1.0, abs=0.03)


def test_a_lower_bound_counts_only_above_the_others():
    assert trial_scales.mean_factor({"a": (1.0, False), "b": (0.5, True)}) == pytest.approx(1.0)
    assert trial_scales.mean_factor({"a": (1.0, False), "b": (4.0, True)}) == pytest.approx(2.0)
    assert trial_scales.mean_factor({"a": (1.0, False), "UW": (4.0, False)}) == pytest.approx(1.0)  # offered
    assert trial_scales.counted({"a": (1.0, False), "b": (0.5, True), "UW": (4.0, False)}) == [1.0]


def test_a_trial_has_the_scale_that_its_fish_had():
    entry = load_species("nile_tilapia")
    values = {key: entry[key] for key in trial_scales.SCALED}
    faster = Fish(lambda key: 1.3 * entry[key] if key == "intake_scale" else entry[key])
    value = trial_points.weight(20.0, 28.0, 60)
    end = float(np.squeeze(value(faster)))
    check = trial_points.TRIALS[0]._replace(value=value, expect=end, low=0.8 * end, high=1.2 * end, trial="x", width=0)
    assert trial_scales.scale_of_trial(entry, values, [check]) == (pytest.approx(1.3, rel=0.005), False)


def test_more_and_closer_trials_give_a_narrower_band():
    def factor(*trials: float) -> float:
        low, high = trial_scales.scale_band(1.0, list(trials))
        assert low * high == pytest.approx(1.0)
        return high

    assert factor(1.0) > factor(1.0, 1.0) > factor(*[1.0] * 3) > factor(*[1.0] * 6)
    assert factor(0.5, 2.0) > factor(0.9, 1.1) >= factor(1.0, 1.0)
    assert factor(*[1.0] * 500) >= trial_scales.LEAST_BAND
    assert factor(1.0) > 1.4  # one trial: at least our 40 %


def test_the_spread_between_trials_is_near_what_bands_take():
    spread, freedom = trial_scales.spread_between_trials(EVERY_SPECIES)
    assert freedom >= 10
    # between what trials show whose fit follows them, and those that no fit saw
    unseen = float(np.std(np.log(ideal_model.unseen_scales()), ddof=1))
    assert spread < trial_scales.BETWEEN_TRIALS < unseen


# --- what failed while one trial set the scale of a species


def test_half_as_hungry_as_modern_trials_no_more():
    # 2016 (abstract): 85 g to 571-589 g in 9 months; ours was 354 g
    walleye = Fish(load_species("walleye").__getitem__)
    assert 457.0 < walleye.growth(85.0, (22.0,), 274).end.item() < 707.0
    # Animals 2022 (abstract): 12.7 to 36 g on 3 % a day at 30 degC, so that much was eaten; ours stopped at 2.4 %
    bass = load_species("largemouth_bass")
    assert full_ration("largemouth_bass", 20.0, 30.0, "high") > 3.0
    top = Fish(lambda key: bass.values[key].high if key == "intake_scale" else bass[key])
    assert top.growth(12.7, (30.0,), 28, trial_points.THREE).end.item() > 0.8 * 36.05
    modern = bass.strains["modern"].appetite
    rich = Fish(lambda key: modern * bass[key] if key == "intake_scale" else bass[key])
    assert rich.growth(12.7, (30.0,), 28, trial_points.THREE).end.item() > 0.8 * 36.05
    # and the declared band of carp holds what a farm reports, 101.9 to 349.9 g in 51 days; it ended at 308 g
    carp = load_species("common_carp")
    top = Fish(lambda key: carp.values[key].high if key == "intake_scale" else carp[key])
    assert top.growth(101.9, (22.5,), 51).end.item() > 349.9


def test_fish_that_were_seen_to_eat_in_the_cold_eat():
    # WAS abstract 75467: bass take pellets at 7.1 degC; ours ate nothing below 7.6
    assert full_ration("largemouth_bass", 20.0, 7.1) > 0.05
    # FAO: carp stop at 7; Reeve et al. 2022: pumpkinseed eat below 7
    assert load_species("common_carp")["no_feeding_below"] == pytest.approx(7.0, abs=1.5)
    assert load_species("pumpkinseed")["no_feeding_below"] < 7.0


def test_brown_bullhead_have_a_scale_of_their_own():
    # Buttner & Renyaan 1990 (abstract), black bullhead: 124.5 % in 63 days at 28 degC; as catfish they gained 383 %
    # on trout feed, as theirs
    fish = Fish(load_species("brown_bullhead").__getitem__).on(trial_feeds.feed_of("black_bullhead_28c_gain"))
    gain = 100.0 * (fish.growth(11.0, (28.0,), 63).end.item() / 11.0 - 1.0)
    assert 0.6 * 124.5 < gain < 1.4 * 124.5


# --- score


def test_interval_score_is_width_and_twenty_times_the_miss():
    base = fit_scores.band_score()
    assert base.score >= base.width

    def narrow(name: str):
        entry = load_species(name)
        scale = entry.values["intake_scale"]
        close = replace(scale, low=0.999 * scale.value, high=1.001 * scale.value)
        return replace(entry, values={**entry.values, "intake_scale": close})

    tight = fit_scores.band_score(narrow)
    assert tight.width < 0.02
    assert tight.score > base.score  # narrow bands pay for what they miss
    assert tight.inside < base.inside


def test_bands_and_kept_values_are_better_than_one_trial_each():
    now = fit_scores.band_score()
    assert now.score < 0.7 * fits_tables.BEFORE_BANDS.score
    assert now.inside > fits_tables.BEFORE_BANDS.inside
    # four rows of a paper that a fit had seen half of no longer count as kept, two of them weights
    assert (len(kept_rows()), now.count) == (fits_tables.BEFORE_KEPT[1] - 4, fits_tables.BEFORE_BANDS.count - 2)
    assert sum(row.is_inside for row in kept_rows()) > fits_tables.BEFORE_KEPT[0]
    assert sum(row.is_unsafe_miss for row in kept_rows()) < fits_tables.BEFORE_UNSAFE


def test_every_unsafe_miss_of_a_kept_value_is_warned_of(run):
    missed = {row.species for row in kept_rows() if row.is_unsafe_miss}
    assert "largemouth_bass" in missed
    for name in species_names():
        warning = trials_warning(load_species(name).trials)
        assert bool(warning) == (name in missed), name
    told = run("fish", "largemouth_bass", "--json").data["trials"]
    assert told["warning"] == trials_warning(load_species("largemouth_bass").trials)
    assert told["says"] in " ".join(run("fish", "largemouth_bass", "--all").out.split())


def test_the_season_warns_when_such_fish_are_kept():
    warned = build(one_tank("largemouth_bass", "bass_46", 25.0, 2)).notes
    assert any("no fit saw" in note and "largemouth_bass (up to" in note and "Plan feed" in note for note in warned)
    trout = build(one_tank("rainbow_trout", "trout_44", 14.0, 2)).notes
    assert not any("no fit saw" in note for note in trout)


# --- grades


@pytest.mark.parametrize("name", EVERY_SPECIES)
def test_grades_and_trials_of_species_files_follow_the_rule(name):
    entry = load_species(name)
    assert entry.evidence == fit_scores.grade_of(trial_rows(), name, trial_scales.trial_scales(name)).grade
    assert entry.trials == fit_scores.trials_of(trial_rows(), name)


def test_the_rule_is_printed_in_the_fish_page():
    page = " ".join((DOCS / "fish.md").read_text(encoding="utf-8").split())
    assert fit_scores.RULE in page


def test_grades_fall_with_few_far_or_failing_trials(monkeypatch):
    def grade(factors: dict[str, float], inside: int, kept: int = 10, papers: int = 3) -> str:
        rows = [
            trial_rows()[0]._replace(
                species="bluegill", seen=False, measure="weight", topic="growth", published=1.0,
                ours=1.0 if i < inside else 9.0, low=0.5, high=1.5, paper=f"p{i % papers}",
            )
            for i in range(kept)
        ]  # fmt: skip
        return fit_scores.grade_of(rows, "bluegill", {key: (value, False) for key, value in factors.items()}).grade

    three = {"a": 0.9, "b": 1.0, "c": 1.1}
    assert grade(three, 8) == "good"
    assert grade(three, 7) == "fair"
    assert grade(three, 4) == "weak"
    assert grade({"a": 1.0, "b": 1.0}, 10) == "fair"
    assert grade({"a": 0.6, "b": 1.0, "c": 1.7}, 10) == "fair"  # apart by more than 1.4
    assert grade({"a": 0.2, "b": 1.0, "c": 5.0}, 10) == "weak"
    assert grade({NO_TRIALS[0]: 1.0}, 10) == "weak"  # no weighed fish
    assert grade({"a": 1.0}, 0, kept=0) == "weak"  # one trial, and nothing to test it


def test_a_species_on_memory_or_likened_is_weak_whatever_its_trials_say():
    for name in EVERY_SPECIES:
        entry = load_species(name)
        if "like" in entry.facts or any(entry.is_weak(k) for k, v in entry.values.items() if v.use == "model"):
            assert entry.evidence == "weak", name


def test_the_sentence_on_trials_counts_papers_and_not_points():
    row = next(row for row in trial_rows() if row.key == "D1")
    rows = [
        row._replace(ours=80.0, published=100.0, paper="one"),
        row._replace(ours=130.0, published=100.0, paper="one"),
    ]
    met = fit_scores.trials_of(rows, "bluegill")
    assert (met.count, met.low, met.high) == (1, 0.8, 1.3)
    assert trials_sentence(met).startswith("In 1 published trial ours was 0.8 to 1.3 of")
    assert np.isfinite(met.least)
