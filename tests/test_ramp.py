"""The feeding ramp, the per-day ration it rests on, and the levers of the limits that it guards."""

from __future__ import annotations

import copy
import datetime as dt
import itertools
import json
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from small_sites import START, build, one_tank, two_loops

from stocksim import InputError, load_site, run_season
from stocksim.answers.ramp.answer import ramp_answer
from stocksim.answers.ramp.climb import RESERVE_PERCENT, STEPS, judged, margins_of
from stocksim.answers.ramp.decide import feeding_ramp
from stocksim.answers.ramp.words import loop_sentence
from stocksim.changes.change import Action
from stocksim.changes.search import help_of, prove_change
from stocksim.changes.ways import find_changes
from stocksim.engine.arrays.layout import build_layout, first_days
from stocksim.engine.season import scenario_count, simulate
from stocksim.faces.answer import Table
from stocksim.faces.marks import marked
from stocksim.faces.text import answer_text
from stocksim.site.examples import FOLDER
from stocksim.site.kinds import limits_left_by_film

SPRING = dt.date(2027, 4, 12)
STEP = 1 / STEPS


@pytest.fixture(scope="module")
def young_site():
    """The second demonstration site: a young cold film on its main loop, an old one on its warm loop."""
    return load_site(FOLDER / "heron_lane_young.toml")


@pytest.fixture(scope="module")
def young_ramp(young_site):
    """Its ramp."""
    return feeding_ramp(young_site)


def hungry_winter():
    """Few perch unfed from late October on, many more stocked in spring."""
    tables = one_tank(
        "yellow_perch", "perch_45", days=243, count=40, mean_weight_g=40.0, volume_l=2500.0, flow_l_h=2500.0,
        power_w=120.0, bed_m2=1.0, ph=7.4,
    )  # fmt: skip
    months = {"oct": 17, "nov": 11, "dec": 7, "jan": 5, "feb": 6, "mar": 9, "apr": 18, "may": 21}
    loop = tables["loops"]["main"]
    loop["water_temperature"] = {"kind": "monthly", "values": {key: f"{t} degC" for key, t in months.items()}}
    loop["alkalinity_target"] = "80 mg/L"
    loop["feeding_ramp"] = [{"from": dt.date(2026, 10, 25), "share": 0.0}, {"from": SPRING, "share": 1.0}]
    tables["cohorts"]["spring"] = tables["cohorts"]["fish"] | {"count": 200, "stocked": SPRING}
    return tables


@pytest.fixture(scope="module")
def spring_site():
    """The hungry winter's site."""
    return build(hungry_winter())


@pytest.fixture(scope="module")
def spring_ramp(spring_site):
    """Its ramp from spring."""
    return feeding_ramp(spring_site, SPRING)


def loop_of(ramp, name="main"):
    return next(loop for loop in ramp.loops if loop.loop == name)


def least_margin(site, first_day, last_day, column=0, **changes):
    """Smallest margin of ammonia and nitrite in a loop from a day to before a day of the season. [%]"""
    layout = build_layout(site.with_changes(changes) if changes else site)
    margins = margins_of(layout, judged(layout, simulate(layout)))
    return float(margins[:, 0, first_day:last_day, column].min())


def test_a_share_by_day_feeds_like_the_same_share_of_the_ration():
    layout = build_layout(build(two_loops()))
    plain = simulate(replace(layout, ration_fraction=0.5 * layout.ration_fraction))
    by_day = simulate(replace(layout, ration_by_day=np.full_like(layout.ration_by_day, 0.5)))
    np.testing.assert_allclose(by_day.fed_g, plain.fed_g, rtol=1e-12)
    np.testing.assert_allclose(by_day.nitrite_mg_l, plain.nitrite_mg_l, rtol=1e-9, atol=1e-15)


def test_each_scenario_and_loop_follows_its_own_shares():
    layout = build_layout(build(two_loops()))
    rng = np.random.default_rng(7)
    shares = rng.uniform(0.0, 1.0, (3, layout.days, len(layout.loops)))
    many = replace(layout, ration_by_day=shares)
    assert scenario_count(many) == 3
    course = simulate(many)
    for row in range(3):
        alone = simulate(replace(layout, ration_by_day=shares[row]))
        # the rounds of a day stop when all scenarios agree to 1e-10, so that company may add a round
        np.testing.assert_allclose(course.fed_g[row], alone.fed_g[0], rtol=1e-7)
    # the other loop does not feel it
    other = shares.copy()
    other[..., 0] = 1.0
    np.testing.assert_allclose(
        (simulate(replace(layout, ration_by_day=other)).fed_g @ layout.cohort_loop)[..., 1],
        (course.fed_g @ layout.cohort_loop)[..., 1], rtol=1e-7,
    )  # fmt: skip


def test_the_file_key_sets_the_share_from_its_day_until_the_next():
    tables = one_tank(days=20)
    tables["loops"]["main"]["feeding_ramp"] = [
        {"from": START + dt.timedelta(days=5), "share": 0.0}, {"from": START + dt.timedelta(days=9), "share": 0.4},
    ]  # fmt: skip
    season, plain = run_season(build(tables)), run_season(build(one_tank(days=20)))
    shares = season.layout.ration_by_day[:, 0]
    assert shares.tolist() == [1.0] * 5 + [0.0] * 4 + [0.4] * 11
    fed, full = season.course.fed_g[0, :, 0], plain.course.fed_g[0, :, 0]
    assert fed[:5] == pytest.approx(full[:5], rel=1e-9)
    assert (fed[5:9] == 0.0).all()
    # the fish grew a little less by then, and eat by their weight
    assert fed[9] == pytest.approx(0.4 * full[9], rel=0.1)


@pytest.mark.parametrize(
    ("steps", "field", "words"),
    [
        ([{"from": dt.date(2026, 9, 1), "share": 0.4}], "feeding_ramp[1].from", "outside the season"),
        (
            [{"from": dt.date(2026, 10, 9), "share": 0.4}, {"from": dt.date(2026, 10, 9), "share": 1.0}],
            "feeding_ramp[2].from", "in date order",
        ),
        ([{"from": dt.date(2026, 10, 9), "share": 1.4}], "feeding_ramp[1].share", "from 0 to 1"),
        ([{"from": dt.date(2026, 10, 9)}], "feeding_ramp[1].share", "write a number from 0 to 1"),
        ([{"from": dt.date(2026, 10, 9), "part": 0.4, "share": 1.0}], "feeding_ramp[1].part", "known are from, share"),
    ],
)  # fmt: skip
def test_a_faulty_ramp_in_the_file_is_told(steps, field, words):
    tables = one_tank()
    tables["loops"]["main"]["feeding_ramp"] = steps
    with pytest.raises(InputError) as error:
        build(tables)
    (fault,) = error.value.faults
    assert (fault.table, fault.field) == ("loops.main", field)
    assert words in fault.message


def test_first_days_are_the_same_days(young_site):
    layout = build_layout(young_site)
    whole, part = simulate(layout), simulate(first_days(layout, 40))
    for name in ("fed_g", "tan_mg_l", "nitrite_mg_l", "ph", "nitrite_maturity", "alkalinity_mg_l"):
        np.testing.assert_array_equal(getattr(whole, name)[:, :40], getattr(part, name))
    assert first_days(layout, 10_000).days == layout.days


def test_nitrite_of_the_young_demonstration_site_peaks_and_falls_while_nitrate_rises(young_site):
    season = run_season(young_site)
    tanks = season.tanks
    cedar = tanks[tanks["tank"] == "cedar"].head(60)
    tan, nitrite = (cedar[key].to_numpy() for key in ("tan_mg_l", "nitrite_n_mg_l"))
    nitrate = season.course.nitrate_mg_l[0, :60, 0]
    assert nitrite.max() > 0.55  # perch's limit
    assert nitrite[-1] < 0.5 * nitrite.max()
    trout = (dt.date(2026, 10, 15) - START).days
    assert nitrite[:trout].argmax() < trout - 1  # nitrite has turned once before the trout come
    assert trout <= tan[:25].argmax() < nitrite.argmax()  # with them ammonia rises again, then nitrite
    assert (np.diff(nitrate) > 0.0).all()
    loop = young_site.file.loops["main"]
    assert loop.ph is None
    assert loop.alkalinity_target == 70.0
    assert "invented" in young_site.file.site.name


def test_as_fed_the_young_loop_breaks_nitrite_and_uses_up_the_reserve_of_ammonia(young_ramp):
    as_fed = loop_of(young_ramp).as_fed
    assert {finding.limit for finding in as_fed if finding.is_broken} == {"nitrite"}
    margins = [finding.margin_percent for finding in as_fed if finding.limit == "unionized_ammonia"]
    # within a twentieth, as the example says; wild bluegill eat little while they learn to take feed
    assert 0.0 < min(margins) < 5.0


@pytest.mark.parametrize("which", ["young_ramp", "spring_ramp"])
def test_the_schedule_never_falls_and_reaches_the_full_ration(which, request):
    loop = loop_of(request.getfixturevalue(which))
    shares = [week.share for week in loop.weeks]
    assert len(shares) > 2
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert max(np.diff(shares)) <= 0.2 + 1e-9
    assert loop.full_from == loop.weeks[-1].start
    starts = [week.start for week in loop.weeks]
    assert {(b - a).days for a, b in itertools.pairwise(starts)} == {7}


@pytest.mark.parametrize("which", ["young_ramp", "spring_ramp"])
def test_a_run_with_the_schedule_holds_both_limits(which, request):
    site, ramp = request.getfixturevalue(which.replace("ramp", "site")), request.getfixturevalue(which)
    season = run_season(site, **ramp.changes)
    judged_here = [f for f in season.findings if f.limit in limits_left_by_film()]
    assert judged_here
    assert not any(finding.is_broken for finding in judged_here)
    assert loop_of(ramp).still_broken == ()
    # and keeps the reserve while the share still rises
    first, last = ((loop_of(ramp).weeks[at].start - season.layout.start).days for at in (0, -1))
    assert least_margin(site, first, last, **ramp.changes) >= RESERVE_PERCENT


def test_one_step_more_in_the_first_week_breaks_the_reserve(young_site, young_ramp):
    loop = loop_of(young_ramp)
    first = loop.weeks[0]
    assert first.bound_by == "nitrite"
    day = (first.start - young_site.file.season.start).days
    end = day + 7 + loop.lookahead_days

    def held(share):
        changes = {"loops.main.feeding_ramp": [{"from": first.start, "share": share}]}
        return least_margin(young_site, day, end, **changes)

    assert held(first.share) >= RESERVE_PERCENT > held(first.share + STEP)


def test_weeks_show_what_the_proving_run_has(young_site, young_ramp):
    season = run_season(young_site, **young_ramp.changes)
    frame = season.tanks[season.tanks["loop"] == "main"]
    feed = season.loops[season.loops["loop"] == "main"]["feed_g"].to_numpy()
    films = season.loops[season.loops["loop"] == "main"]["nitrite_oxidizer_maturity"].to_numpy()
    for number, week in enumerate(loop_of(young_ramp).weeks):
        days = slice(7 * number, 7 * number + 7)
        assert week.feed_g_day == pytest.approx(feed[days].mean(), rel=1e-9)
        assert week.nitrite_maturity == pytest.approx(films[days][-1], rel=1e-9)
        assert week.appetite_fraction == pytest.approx(0.85 * week.share, rel=1e-6)
        here = frame[(frame["date"] >= str(week.start)) & (frame["date"] < str(week.start + dt.timedelta(days=7)))]
        assert week.nitrite_max_mg_l <= here["nitrite_n_mg_l"].max() + 1e-12
        assert week.unionized_max_mg_l in here["unionized_ammonia_max_mg_l"].to_numpy()


def test_a_mature_loop_needs_no_ramp(demo_site, young_ramp):
    ramp = feeding_ramp(demo_site)
    assert ramp.changes == {}
    for loop in (*ramp.loops, loop_of(young_ramp, "warm")):
        assert not loop.needs_ramp
        assert loop.full_from == dt.date(2026, 10, 1)
        assert "no ramp needed" in loop_sentence(loop, "us")


def test_a_hungry_winter_shrinks_the_film_and_spring_needs_a_ramp(spring_site, spring_ramp):
    maturity = spring_ramp.proof.course.ammonia_maturity[0, :, 0]
    day = (SPRING - START).days
    assert maturity[day - 1] < 0.4 * maturity[:20].max()
    loop = loop_of(spring_ramp)
    assert any(f.limit == "nitrite" and f.is_broken and f.first_date >= SPRING for f in loop.as_fed)
    assert loop.weeks[0].start == SPRING
    assert loop.weeks[0].share <= 0.2  # the fish were fed nothing before
    steps = spring_ramp.changes["loops.main.feeding_ramp"]
    assert steps[0] == {"from": dt.date(2026, 10, 25), "share": 0.0}  # the winter stays as it was
    # a well-fed winter needs none
    fed = hungry_winter()
    del fed["loops"]["main"]["feeding_ramp"]
    fed["cohorts"]["fish"]["count"], fed["cohorts"]["spring"]["count"] = 140, 0
    assert not loop_of(feeding_ramp(build(fed), SPRING)).needs_ramp


def test_too_many_fish_for_a_film_are_told_with_a_lever():
    tables = one_tank("yellow_perch", "perch_45", 17.0, days=70, count=250, mean_weight_g=80.0, bed_m2=0.15, ph=7.6)
    tables["tanks"]["one"]["oxygen_supply"] = {"kind": "diffuser", "power": "200 W"}
    tables["advice"] = {"never": ["biofilter", "harvest"]}  # a second one would do as well
    loop = loop_of(feeding_ramp(build(tables)))
    assert loop.full_from is None
    assert loop.still_broken
    assert Action.FEWER_FISH in {step.change.kind for step in loop.full_ration.steps}
    assert "too many fish" in loop_sentence(loop, "metric")


def test_a_loop_without_fed_fish_and_a_day_outside_the_season():
    tables = one_tank(days=20)
    tables["cohorts"]["fish"]["ration"] = {"kind": "unfed"}
    loop = loop_of(feeding_ramp(build(tables)))
    assert not loop.has_fish
    assert "no fish are fed" in loop_sentence(loop, "metric")
    with pytest.raises(InputError, match="outside the season"):
        feeding_ramp(build(tables), dt.date(2027, 5, 1))


def test_progress_is_reported():
    calls = []
    tables = crowded(biofilter_start="seeded")
    feeding_ramp(build(tables), progress=lambda done, total: calls.append((done, total)))
    assert calls
    assert all(1 <= done <= total for done, total in calls)


def test_the_answer_in_words_and_as_data(young_site, young_ramp):
    answer, loop = ramp_answer(young_ramp), loop_of(young_ramp)
    held = [week for week in loop.weeks if week.share == loop.weeks[0].share]
    last = loop.weeks[len(held)].start - dt.timedelta(days=1)
    feed = int(min(week.feed_g_day for week in held))
    assert f"hold feed at {feed} g/day until {last.day} {last:%b %Y}, then" in loop_sentence(loop, "metric")
    data = json.loads(json.dumps(answer.data, allow_nan=False))
    (main, warm) = data["loops"]
    # the site is in US units, as its text and its table are
    assert main["answer"] == loop_sentence(loop, "us")
    assert main["answer"] in " ".join(answer_text(answer).split())
    (table,) = (part for part in answer.section("loops").parts if isinstance(part, Table))
    assert len(table.rows) == len(main["weeks"]) == len(loop.weeks)
    for row, week in zip(table.rows, loop.weeks, strict=True):
        number, unit = row["feed"].split()
        assert unit == "oz/day"
        assert 0.0 <= week.feed_g_day / 28.349523 - float(number) < 0.1  # rounded down
    assert main["needs_ramp"]
    assert not warm["needs_ramp"]
    assert main["full_ration_from"] == loop.full_from.isoformat()
    # told of the site that was asked about, not of the one that the schedule was written into
    assert marked({}, young_site).items() <= data.items()
    assert data["site_hash"] != marked({}, young_ramp.proof.site)["site_hash"]


def test_the_lines_to_copy_prove_themselves(young_ramp):
    answer = ramp_answer(young_ramp)
    (lines,) = (part.lines for part in answer.section("copy").parts if part.on == "both")
    written = tomllib.loads("\n".join(lines))["loops"]["main"]["feeding_ramp"]
    assert written == young_ramp.changes["loops.main.feeding_ramp"]
    assert "\n".join(lines) in answer_text(answer)


def crowded(**loop_keys):
    """Tilapia on little film."""
    tables = one_tank(days=60, count=60, bed_m2=0.8, ph=7.2, power_w=200.0)
    tables["loops"]["main"]["alkalinity_target"] = "80 mg/L"
    tables["loops"]["main"] |= loop_keys
    return tables


SHIELDED = one_tank("rainbow_trout", "trout_44", 14.0, days=60, count=30, bed_m2=3.0, ph=7.0, power_w=200.0)
SHIELDED["loops"]["main"] |= {
    "biofilter_start": "seeded", "alkalinity_target": "80 mg/L", "feeding_ramp": [{"from": START, "share": 1.0}],
    "source_water": {"chloride": "5 mg/L"},
}  # fmt: skip
LEVER_CASES = {
    "a young film": (
        crowded(biofilter_start="seeded") | {"advice": {"never": ["biofilter"]}}, ("nitrite", "biofilter"),
        {Action.HELD_FEED},
    ),
    "little film": (
        one_tank(days=40, count=150, bed_m2=0.2, power_w=300.0), ("nitrite", "biofilter", "unionized_ammonia"),
        set(Action),
    ),
    "fish that chloride shields": (SHIELDED, ("nitrite",), {Action.CHLORIDE}),
}  # fmt: skip


@pytest.mark.parametrize("case", list(LEVER_CASES))
def test_levers_mend_what_they_claim(case):
    tables, limits, kinds = LEVER_CASES[case]
    season = run_season(build(copy.deepcopy(tables)))
    broken = [f for f in season.findings if f.is_broken and f.limit in limits]
    assert {finding.limit for finding in broken} == set(limits)
    for finding in broken:
        change = prove_change(season, finding).change
        assert change is not None, finding
        assert change.kind in kinds
        after = run_season(season.site, **change.fields)
        (same,) = [f for f in after.findings if (f.limit, f.where) == (finding.limit, finding.where)]
        assert not same.is_broken


def test_a_lever_of_the_loop_is_used_for_all_its_broken_limits():
    season = run_season(build(crowded(biofilter_start="seeded")))
    water = [f for f in find_changes(season) if f.is_broken and f.limit in ("nitrite", "biofilter")]
    assert len(water) > 1
    told = [help_of(finding).change for finding in water]
    assert all(change in told[:2] for change in told)
