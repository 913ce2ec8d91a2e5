"""The ramp where fish die of its own run, where pH binds and not the film, and where its numbers come from."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import load_site, run_season
from stocksim.answers.ramp.answer import ramp_answer
from stocksim.answers.ramp.climb import RESERVE_PERCENT, judged, margins_of
from stocksim.answers.ramp.decide import feeding_ramp
from stocksim.answers.ramp.fate import LoopFate, loop_fate, ph_binding
from stocksim.answers.ramp.words import COPY_WORDS, as_fed_sentence, loop_sentence, ph_sentence, ramp_sources
from stocksim.changes.change import ADVICE_OF, Action
from stocksim.changes.ways import advise
from stocksim.engine.results.deaths import ledger
from stocksim.faces.answer import Table
from stocksim.faces.text import answer_text
from stocksim.faces.water_cautions import settling_cautions
from stocksim.faces.ways_words import dated_words
from stocksim.faces.words import cautions as season_cautions
from stocksim.site.examples import FOLDER
from stocksim.water.ammonia import unionized_fraction

STOCKED = dt.date(2026, 10, 8)
SPRING = START + dt.timedelta(days=14)


def perch(**loop):
    """Perch over a media bed whose water is computed."""
    keys = {"alkalinity_target": "70 mg/L"} | loop
    return one_tank(
        "yellow_perch", "perch_45", 20.0, days=80, count=60, mean_weight_g=40.0, bed_m2=4.0, ph=None, power_w=30.0,
        **keys,
    )  # fmt: skip


def without_film():
    """A loop that nothing nitrifies in."""
    tables = perch()
    del tables["beds"]
    tables["season"]["end"] = dt.date(2026, 11, 30)
    return tables


def into_ammonia():
    """Fish put into water that was dosed for a week with far more ammonia than its film takes, the day after."""
    cycling = {"from": START, "to": STOCKED - dt.timedelta(days=1), "ammonia_nitrogen": "15 g/day"}
    tables = perch(biofilter_start="new", fishless_cycling=cycling)
    tables["cohorts"]["fish"]["stocked"] = STOCKED
    return tables


def newborn_tables():
    """A new film under many fish, whose wastes pass its limits even while they are not fed."""
    tables = perch(biofilter_start="new")
    tables["cohorts"]["fish"]["mean_weight"] = "80 g"
    return tables


@pytest.fixture(scope="module")
def newborn():
    """The ramp of the new film."""
    return feeding_ramp(build(newborn_tables()))


@pytest.fixture(scope="module")
def hard_site():
    """Few trout on a grown film in hard water that evaporation makes harder."""
    return build(
        one_tank(
            "rainbow_trout", "trout_44", 14.0, days=84, count=20, mean_weight_g=80.0, bed_m2=6.0, ph=None,
            power_w=200.0, volume_l=2000.0, flow_l_h=3000.0, biofilter_start="mature",
            source_water={"alkalinity": "300 mg/L", "chloride": "80 mg/L"},
        )
    )  # fmt: skip


@pytest.fixture(scope="module")
def hard_ramp(hard_site):
    """Its ramp from two weeks after the season's start."""
    return feeding_ramp(hard_site, SPRING)


@pytest.mark.parametrize("tables", [without_film, into_ammonia])
def test_a_schedule_that_all_fish_die_of_promises_nothing_and_is_not_given(tables):
    ramp = feeding_ramp(build(tables()))
    (loop,) = ramp.loops
    assert loop.full_from is None
    assert loop.needs_ramp
    assert loop.fate.loses_all
    assert loop.fate.dying == pytest.approx(60.0, abs=0.5)
    words = loop_sentence(loop, "metric")
    assert "keeps these fish" in words
    assert f"{loop.fate.dying:.0f} of 60 fish die" in words
    assert f"(fed as the file says, {loop.fate_as_fed.dying:.0f})" in words
    assert "holds from" not in words
    assert "no ramp needed" not in words
    assert any(f.limit == "unionized_ammonia" and f.is_broken for f in loop.as_fed)
    assert any(f.limit == "unionized_ammonia" for f in loop.still_broken)
    assert ramp.offered == {}
    answer = ramp_answer(ramp)
    assert not answer.has("copy")
    assert not any(isinstance(part, Table) for part in answer.section("loops").parts)
    assert "feeding_ramp = " not in answer_text(answer)
    data = answer.data
    assert data["site_changes"] == {}
    assert data["loops"][0]["full_ration_from"] is None
    assert data["loops"][0]["fish_dying"] == pytest.approx(loop.fate.dying, abs=0.01)


def test_fish_that_die_on_their_first_day_are_judged_by_that_day():
    season = run_season(build(into_ammonia()))
    day = (STOCKED - START).days
    assert season.course.count[0, day:].max() < 0.5  # they never see an evening
    margins = margins_of(season.layout, judged(season.layout, season.course))
    assert margins[0, 0, day, 0] < -100.0


def test_what_is_told_beside_a_schedule_that_kills_keeps_the_fish():
    site = build(into_ammonia())
    (loop,) = feeding_ramp(site).loops
    assert loop.fate.loses_all
    found = loop.full_ration
    after = run_season(site, **found.way.fields)
    assert loop_fate(after.layout, after.course, 0, 0, after.layout.days).dying < 1.0
    assert found.holds
    assert found.fate.dying < 1.0


@pytest.mark.parametrize("tables", [without_film, into_ammonia, newborn_tables], ids=["no film", "ammonia", "newborn"])
def test_what_helps_is_what_the_season_advises_when_fed_so(tables):
    """One site, one set of answers: but for feeding less, which is no answer to how much may be fed."""
    site = build(tables() | {"advice": {"never": ["feed"]}})
    (loop,) = feeding_ramp(site).loops
    season = run_season(site)
    first = advise(season).ways[0]
    assert loop.full_ration.way.fields == first.fields
    told = loop_sentence(loop, "metric")
    for step in first.steps:
        assert dated_words(step, "metric") in told


def test_what_the_keeper_forbids_is_not_told_beside_a_schedule():
    tables = newborn_tables()
    usual = {ADVICE_OF[step.change.kind] for step in feeding_ramp(build(tables)).loops[0].full_ration.steps}
    assert usual
    (loop,) = feeding_ramp(build(tables | {"advice": {"never": sorted(usual)}})).loops
    kinds = {ADVICE_OF[step.change.kind] for step in loop.full_ration.steps} if loop.full_ration else set()
    assert kinds.isdisjoint({*usual, "feed"})


def test_deaths_of_a_schedule_are_told_with_those_without_it(newborn):
    (loop,) = newborn.loops
    proof = newborn.proof
    entries = ledger(proof.layout, proof.course)["fish"]
    # beside what the water kills there are only the deaths of every day
    assert loop.fate.dying == pytest.approx(entries["deaths"][0], abs=1.0)
    assert 5.0 < loop.fate.dying < loop.fate_as_fed.dying
    assert loop.full_from is None  # though the last week feeds all of the ration
    assert loop.weeks[-1].share == 1.0
    words = loop_sentence(loop, "metric")
    assert f"In its own run {loop.fate.dying:.0f} of 60 fish die" in words
    assert f"(fed as the file says, {loop.fate_as_fed.dying:.0f})" in words
    assert "holds from" not in words
    assert f"{loop.fate_as_fed.dying:.0f} of 60 fish die" in as_fed_sentence(loop)
    # it saves fish, so its lines are given, and say what they are
    assert newborn.offered == newborn.changes != {}
    in_text, on_page, _ = ramp_answer(newborn).section("copy").parts
    assert (in_text.on, list(in_text.lines)) == ("text", [f"{COPY_WORDS[True]}:"])
    assert (on_page.on, list(on_page.items)) == ("page", [f"{COPY_WORDS[True]}:"])


def test_fish_moved_within_a_loop_are_counted_once():
    tables = one_tank(days=30)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    plain = run_season(build(tables))
    tables["events"] = [{"date": START + dt.timedelta(days=9), "kind": "move", "cohort": "fish", "tank": "two"}]
    moved = run_season(build(tables))
    for season in (plain, moved):
        fate = loop_fate(season.layout, season.course, 0, 0, season.layout.days)
        assert fate.fish == pytest.approx(40.0, abs=1e-6)
        assert fate.dying < 0.5
        assert fate.first_date is None
    late = loop_fate(moved.layout, moved.course, 0, 20, 30)
    assert late.fish == pytest.approx(moved.course.count[0, 19].sum())


@pytest.mark.parametrize(
    ("fish", "dying", "told", "kept", "lost"),
    [
        (300.0, 0.4, False, True, False), (300.0, 4.0, True, True, False), (300.0, 15.0, True, False, False),
        (3.0, 0.4, False, True, False), (3.0, 0.6, True, False, False), (60.0, 59.9, True, False, True),
    ],
)  # fmt: skip
def test_what_a_fate_is_called(fish, dying, told, kept, lost):
    fate = LoopFate(fish, dying, None)
    assert (fate.is_told, fate.keeps_fish, fate.loses_all) == (told, kept, lost)


def test_ph_that_binds_is_named_with_alkalinity_and_the_chalk_caution_of_the_season(hard_ramp):
    (loop,) = hard_ramp.loops
    assert loop.full_from is None
    at = loop.ph_binding
    season, day = hard_ramp.proof, (at.date - START).days
    assert at.ph == pytest.approx(season.course.ph[0, day, 0])
    assert at.ph > 8.0
    assert at.tan_mg_l == pytest.approx(season.course.tan_mg_l[0, day, 0])
    assert at.tan_mg_l < 1.0
    assert at.alkalinity_mg_l == pytest.approx(season.course.alkalinity_mg_l[0, day, 0])
    less = unionized_fraction(7.5, 14.0) / unionized_fraction(at.ph, 14.0)
    assert at.at_easy_ph_mg_l == pytest.approx(at.unionized_mg_l * less)
    words = ph_sentence(loop, "metric")
    assert f"because pH is {at.ph:.1f}, with {at.alkalinity_mg_l:.0f} mg/L of alkalinity" in words
    assert "surface" not in loop_sentence(loop, "metric")
    assert "the film does not come" not in loop_sentence(loop, "metric")
    (chalk,) = settling_cautions(season)
    assert chalk in season_cautions(season)
    assert chalk in ramp_answer(hard_ramp).data["cautions"]


def test_a_hungry_winter_in_hard_water_is_not_blamed_on_the_film():
    winter = [{"from": dt.date(2026, 11, 15), "share": 0.0}, {"from": dt.date(2027, 3, 15), "share": 1.0}]
    changes = {"loops.main.feeding_ramp": winter, "loops.main.source_water.alkalinity": "150 mg/L"}
    site = load_site(FOLDER / "heron_lane.toml").with_changes(changes)
    ramp = feeding_ramp(site, dt.date(2027, 3, 15))
    loop = next(loop for loop in ramp.loops if loop.loop == "main")
    assert loop.full_from is None
    assert loop.ph_binding.ph > 8.0
    assert loop.ph_binding.tan_mg_l < 0.5
    # so little feed starves more fish than ammonia harms: the schedule is told for what it is, and not given
    assert loop.fate.dying > loop.fate_as_fed.dying + 20.0
    words = loop_sentence(loop, "us")
    assert "is worth following" in words
    assert "more surface" not in words
    assert "loops.main.feeding_ramp" not in ramp.offered
    assert loop.full_ration.holds
    assert loop.full_ration.fate.dying < loop.fate.dying
    # fish that are there already are not to be fewer from the start
    assert "stock" not in {ADVICE_OF[step.change.kind] for step in loop.full_ration.steps}


def test_water_that_helps_against_ph_is_proved_by_a_run(hard_site, hard_ramp):
    (loop,) = hard_ramp.loops
    found = loop.full_ration
    assert found.holds
    assert {step.change.kind for step in found.steps} <= {Action.SOFTER_SOURCE, Action.WATER_CHANGES}
    after = run_season(hard_site, **found.way.fields)
    margins = margins_of(after.layout, judged(after.layout, after.course))[:, 0, :, 0].min(axis=0)
    assert margins[(SPRING - START).days :].min() >= RESERVE_PERCENT
    assert found.fate.dying < 1.0
    # water is made no softer than nitrification bears, where nobody doses
    assert after.course.alkalinity_mg_l[0].min() >= 40.0


def test_ph_is_not_blamed_where_ammonia_is_high_or_ph_low(newborn, hard_ramp):
    assert newborn.loops[0].ph_binding is None
    proof = hard_ramp.proof
    days = (0, proof.layout.days, RESERVE_PERCENT)
    (unionized, _) = judged(proof.layout, proof.course)
    assert ph_binding(proof.layout, proof.course, unionized, 0, *days)
    for changed in (
        replace(proof.course, ph=np.full_like(proof.course.ph, 7.9)),
        replace(proof.course, tan_mg_l=np.full_like(proof.course.tan_mg_l, 1.5)),
    ):
        assert ph_binding(proof.layout, changed, unionized, 0, *days) is None


def test_where_nothing_helps_it_is_said(hard_ramp):
    loop = replace(hard_ramp.loops[0], full_ration=None)
    assert "Nothing that was tried" in loop_sentence(loop, "metric")
    assert "Nothing that was tried" not in loop_sentence(hard_ramp.loops[0], "metric")


def test_sources_of_limits_and_film_stand_in_text_and_data(hard_site, hard_ramp):
    sources = ramp_sources(hard_site)
    assert ramp_answer(hard_ramp).data["sources"] == sources
    flat = " ".join(answer_text(ramp_answer(hard_ramp)).split("\nSources:\n")[1].split())
    assert flat == " ".join(f"- {line}" for line in sources)
    trout = hard_site.species["rainbow_trout"]
    for key in ("unionized_ammonia_design", "nitrite_limit"):
        value = trout.values[key]
        source = trout.sources[value.source]
        assert f"rainbow_trout {value.value:g}: {source.cite} ({source.read})" in flat
    for words in ("from memory of US EPA 1975", "Emerson et al. 1975", "SRAC 462", "common practice, no source"):
        assert words in flat


def test_a_dosed_loop_is_told_to_aim_lower_before_softer_water():
    tables = one_tank(count=300, days=150, ph=None, alkalinity_target="150 mg/L", mean_weight_g=15.0, bed_m2=10.0)
    tables["cohorts"]["fish"] |= {"species": "yellow_perch", "feed": "perch_45"}
    tables["loops"]["main"] |= {
        "source_water": {"alkalinity": "15 mg/L"},
        "water_temperature": {"kind": "constant", "value": "20 degC"},
    }
    (loop,) = feeding_ramp(build(tables)).loops
    kinds = {step.change.kind for step in loop.full_ration.steps}
    assert Action.SOFTER_TARGET in kinds
    assert Action.SOFTER_SOURCE not in kinds
    assert loop.full_ration.fate.dying < 1.0
