"""What a model could hold of the kept rows, trials left out of their fit, and the rows read last."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from stocksim.library.species import load_species

DOCS = Path(__file__).parents[1] / "docs"
sys.path.insert(0, str(DOCS))

import fit_scores  # noqa: E402
import fresh_points  # noqa: E402
import ideal_model  # noqa: E402
import trial_points  # noqa: E402
from check_points import CHECKS  # noqa: E402
from fish_trials import is_for_fitting, paper_of, trials  # noqa: E402
from trial_scales import group_of, points_of  # noqa: E402

OF_ID = {check.id: check for check in (*CHECKS, *trial_points.TRIALS)}


@cache
def growth_rows() -> list[fit_scores.Row]:
    """Rows of growth and appetite, worked out by the first test that asks for them."""
    return fit_scores.growth_rows()


def test_trials_that_do_not_differ_are_all_held_and_far_ones_are_not():
    for point in ("E3", "lmb_cai_10g_end", "pikeperch_28c_fe", "hsb_wirtz_183g_sgr"):
        chances = [ideal_model.chance_of(OF_ID[point], scale, 0.5 * scale) for scale in (0.0, 0.1, 0.2, 0.6)]
        assert chances[0] == 1.0
        assert chances == sorted(chances, reverse=True)
        assert chances[-1] < 0.6


def test_a_weight_is_held_as_often_as_the_spread_by_hand_says():
    # end weight rises with the scale to a power b near the mean: held if |exp(-b s z) - 1| is at most a fifth
    check, spread = OF_ID["E3"], 0.05
    mean, published = ideal_model.published_if(check, 0.01, 0.0)
    power = np.log(published[-1] / published[0]) / (0.01 * 2.0 * 2.8070)  # z of the outermost of 199 quantiles
    z = np.random.default_rng(1).normal(size=200_000)
    by_hand = np.mean(np.abs(np.exp(-power * 4.0 * spread * z) - 1.0) <= 0.2)
    assert ideal_model.chance_of(check, 4.0 * spread, 0.0) == pytest.approx(by_hand, abs=0.06)
    assert mean > 100.0


def test_what_kept_rows_published_changes_no_chance():
    kept = [row for row in growth_rows() if not row.seen and row.key in ("E3", "hsb_phase3_sunshine")]
    moved = [row._replace(published=3.0 * row.published, ours=0.0) for row in kept]
    seen = [row for row in growth_rows() if row.seen][:1] + [row for row in fit_scores.other_rows() if row.seen][:1]
    assert [c.chance for c in ideal_model.chances([*kept, *seen])] == [
        c.chance for c in ideal_model.chances([*moved, *seen])
    ]


def test_a_mean_of_few_trials_holds_fewer_rows_than_the_true_one():
    rows = [*growth_rows(), *fit_scores.other_rows()]
    known, ours = (ideal_model.summed(ideal_model.chances(rows, is_mean_known=given)) for given in (True, False))
    assert known.count == ours.count == sum(not row.seen and row.topic != "waste ranges" for row in rows)
    assert ours.expected < known.expected < known.count
    assert ideal_model.summed(ideal_model.chances(rows, between=0.5)).expected < ours.expected


def test_trials_left_out_are_those_that_fits_may_see():
    table = ideal_model.left_out()
    for row in table:
        groups = {group_of(check) for check in points_of(row["species"]) if check.id == row["point"]}
        assert groups == {row["trial"]}, row["point"]
    assert {row["point"] for row in table if not OF_ID[row["point"]].used} == set()
    assert len(table) > 80


def test_rows_read_last_are_in_no_fit_and_of_papers_that_are_not_in_the_table():
    rows = fresh_points.fresh_rows()
    assert {point[0] for point in fresh_points.POINTS} == set(rows)
    assert len(rows) >= 20
    assert not set(rows) & {check.id.split()[0] for check in OF_ID.values()}
    named = {paper_of(row["source"]) for row in rows.values() if "authors not" not in row["source"]}
    assert not named & {paper_of(row["source"]) for row in trials()}


def test_rows_of_one_paper_that_two_readings_wrote_differently_are_in_one_half():
    bass = [row for row in trials() if "2797" in row["source"]]
    assert len(bass) >= 4
    assert {is_for_fitting(row["source"]) for row in bass} == {True}


def test_bluegill_that_were_seen_to_eat_at_4_degc_eat():
    # Shoup & Wahl 2011; a search begun above 4 degC never found it
    assert load_species("bluegill")["no_feeding_below"] < 4.0
