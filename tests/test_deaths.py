"""Deaths by cause, and told: no answer is sound, and no limit unjudged, where the fish are dead."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from hunting import examples
from hypothesis import assume, given, settings
from small_sites import START, any_eventful_site, build, one_tank
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from stocksim import run_season
from stocksim.engine import season as season_module
from stocksim.engine.arrays.tables import with_scenarios
from stocksim.engine.days import fish
from stocksim.engine.results.deaths import CAUSES, EXPECTED, Loss, deaths_by_cause, lethal_nitrite, losses
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.faces.cli import app
from stocksim.faces.fates import death_words, died_of, fate_data, fate_rows
from stocksim.faces.registry import script_of
from stocksim.faces.text import tank_rows
from stocksim.faces.water_words import water_verdict
from stocksim.faces.words import is_trouble, summary, verdict
from stocksim.fish.survival import death_hazard
from stocksim.site.kinds import CAUSES_OF_DEATH
from stocksim.water.ammonia import unionized_fraction

OF_WATER = tuple(cause for cause, kind in CAUSES_OF_DEATH.items() if kind.is_of_water)

ROOT = Path(__file__).parents[1]
LATE = START + dt.timedelta(days=6)  # before much of the ammonia has become nitrite, which kills perch as well


def foul() -> dict:
    """Sixty perch stocked into a new loop that was dosed with far too much ammonia: none sees the evening."""
    tables = one_tank("yellow_perch", "perch_45", 20.0, days=20, count=60, mean_weight_g=40.0, ph=8.6, bed_m2=4.0)
    tables["loops"]["main"] |= {
        "biofilter_start": "new",
        "fishless_cycling": {"from": START, "to": LATE - dt.timedelta(days=2), "ammonia_nitrogen": "15 g/day"},
    }
    tables["cohorts"]["fish"]["stocked"] = LATE
    return tables


def beside_sound() -> dict:
    """The foul loop, and a sound one of its own."""
    tables, sound = foul(), one_tank("yellow_perch", "perch_45", 20.0, count=20, mean_weight_g=40.0)
    for table in ("loops", "tanks", "beds", "cohorts"):
        for key, fields in sound[table].items():
            tables[table][f"sound_{key}"] = fields | ({"loop": "sound_main"} if "loop" in fields else {})
    tables["cohorts"]["sound_fish"]["tank"] = "sound_one"
    return tables


def hungry() -> dict:
    """Perch unfed for so long that the first have died."""
    return unfed(days=52)


def unfed(days: int = 150) -> dict:
    """Perch that nobody feeds in good water."""
    tables = one_tank("yellow_perch", "perch_45", 14.0, days=days, count=50, mean_weight_g=20.0)
    tables["cohorts"]["fish"]["ration"] = {"kind": "unfed"}
    return tables


def choking() -> dict:
    """More perch than the air can serve: dead on the first day."""
    tables = one_tank("yellow_perch", "perch_45", 20.0, days=20, count=900, mean_weight_g=40.0, power_w=0.0)
    tables["tanks"]["one"]["flow"] = "20 L/h"
    return tables


def cold() -> dict:
    """Tilapia far below what they bear."""
    return one_tank(temperature_c=9.0, count=30, days=30)


DEADLY = {"foul": (foul, "ammonia"), "unfed": (unfed, "hunger"), "choking": (choking, "oxygen"), "cold": (cold, "cold")}


@pytest.fixture(scope="module", params=DEADLY)
def deadly(request):
    """A season in which most fish die, and of what."""
    tables, cause = DEADLY[request.param]
    return run_season(build(tables())), cause


def watched(tables: dict, hazard: str) -> tuple[Season, list[tuple]]:
    """Season of tables by the plain days, and what they handed to a hazard of fish, column by column."""
    seen: list[tuple] = []
    with pytest.MonkeyPatch.context() as patch:
        kept = getattr(fish, hazard)

        def spy(*given_to: float) -> float:
            seen.append(given_to)
            return kept(*given_to)

        patch.setattr(fish, hazard, spy)
        patch.setattr(season_module, "at_hand", lambda kernel, *_, **__: kernel.py_func)
        return run_season(build(tables)), seen


# --- causes


def test_the_cause_is_found_and_the_causes_sum_to_the_deaths(deadly):
    season, cause = deadly
    found = deaths_by_cause(season.layout, season.course)
    assert tuple(found) == CAUSES
    assert all((dead >= 0.0).all() for dead in found.values())
    np.testing.assert_allclose(sum(found.values()), season.course.deaths[0], rtol=1e-12, atol=1e-15)
    most = max(CAUSES, key=lambda key: found[key].sum())
    assert most == cause
    assert found[cause].sum() > 0.75 * season.course.deaths.sum() > 0.5 * season.course.count[0, 0].sum()
    allowed = {cause, "everyday"} if cause in ("hunger", "cold") else {*OF_WATER, "everyday"}
    assert sum(found[key].sum() for key in set(CAUSES) - allowed) < 0.01 * found[cause].sum()


@settings(max_examples=examples(25), deadline=None)
@given(any_eventful_site())
def test_the_greatest_weight_is_the_seasons_own_through_all_events(tables):
    try:
        season, seen = watched(tables, "condition_hazard")
    except InputError as error:
        if any("are more than the" not in fault.message for fault in error.faults):
            raise
        assume(False)  # more was asked for than deaths had left
    there = (season.course.count + season.course.deaths)[0] > 0.0
    truth = np.array([greatest for _, greatest in seen]).reshape(there.shape)
    np.testing.assert_array_equal(season.course.greatest_g[0][there], truth[there])
    found = deaths_by_cause(season.layout, season.course)
    np.testing.assert_allclose(sum(found.values()), season.course.deaths[0], rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("tables", [foul, choking])
def test_the_water_is_shared_as_its_own_hazards_were(tables):
    season, seen = watched(tables(), "death_hazard")
    found = {cause: dead.sum() for cause, dead in deaths_by_cause(season.layout, season.course).items()}
    there = (season.course.count + season.course.deaths)[0, :, 0]
    truth = dict.fromkeys(OF_WATER, 0.0)
    for day, (oxygen, lethal, ammonia, acute, nitrite, limit) in enumerate(seen):
        terms = {
            "oxygen": np.log(2.0) * (lethal / max(oxygen, 1e-3)) ** 12,
            "ammonia": np.log(2.0) / 4.0 * (ammonia / acute) ** 6,
            "nitrite": np.log(2.0) / 4.0 * (nitrite / limit) ** 6,
        }
        whole = sum(terms.values())
        dead = -np.expm1(-min(whole, 10.0)) * there[day]
        for cause, term in terms.items():
            truth[cause] += dead * term / whole
    for cause, number in truth.items():
        # the day took yesterday's pH for its ammonia, the causes take the day's own
        assert found[cause] == pytest.approx(number, rel=0.02, abs=0.3), cause


def test_causes_that_both_pass_the_cap_of_a_day_share_by_their_hazards():
    season = run_season(build(foul()))
    layout, course = season.layout, season.course
    day = int(course.deaths[0, :, 0].argmax())
    assert course.deaths[0, day, 0] > 50.0
    acute = season.site.species["yellow_perch"]["unionized_ammonia_acute"]
    tan, nitrite = course.tan_mg_l.copy(), course.nitrite_mg_l.copy()
    temperature = layout.temperature_c[day, 0]
    # three times and six times the level that kills half in four days: hazards of 126 and 8,086 a day, both above 10
    tan[0, day, :1] = 3.0 * acute / unionized_fraction(course.ph[0, day, :1], temperature)
    nitrite[0, day, :1] = 6.0 * lethal_nitrite(with_scenarios(layout), course)[0, day, 0]
    dead = deaths_by_cause(layout, replace(course, tan_mg_l=tan, nitrite_mg_l=nitrite))
    assert death_hazard(np.inf, 1.0, 3.0, 1.0, 0.0, 1.0) == death_hazard(np.inf, 1.0, 0.0, 1.0, 6.0, 1.0)
    assert dead["nitrite"][day, 0] / dead["ammonia"][day, 0] == pytest.approx(2.0**6, rel=1e-9)


def test_a_move_does_not_feed_the_hungry():
    moved = unfed()
    moved["tanks"]["other"] = dict(moved["tanks"]["one"])
    moved["events"] = [{"date": START + dt.timedelta(days=100), "cohort": "fish", "kind": "move", "tank": "other"}]
    told = []
    for tables in (unfed(), moved):
        season = run_season(build(tables))
        told.append(losses(season.layout, season.course)[1][0])
    stayed, went = told
    assert went.by_cause["hunger"] == pytest.approx(stayed.by_cause["hunger"], rel=1e-6)
    assert went.tanks == ("one", "other")
    assert (went.first_day, went.last_day) == (stayed.first_day, stayed.last_day)


def test_training_and_every_day_are_no_loss_but_are_told_apart():
    tables = one_tank("bluegill", "sunfish_44", 22.0, days=40, count=100, mean_weight_g=45.0)
    tables["cohorts"]["fish"] |= {"wild": True, "stocked": tables["season"]["start"]}
    season = run_season(build(tables))
    found = {cause: dead.sum() for cause, dead in deaths_by_cause(season.layout, season.course).items()}
    share = season.site.species["bluegill"]["feed_training_loss"]
    assert found["training"] == pytest.approx(100.0 * share, rel=0.02)
    assert found["everyday"] == pytest.approx(7.2e-5 * (season.course.count + season.course.deaths).sum(), rel=0.01)
    assert losses(season.layout, season.course)[1] == []
    assert death_words(season) == ""
    assert fate_rows(season, "metric")[0]["died of"] == f"feed training {100.0 * share:.0f}"
    assert not is_trouble(season, season.findings)


def test_heat_is_told_from_cold():
    season = run_season(build(one_tank("rainbow_trout", "trout_44", 24.5, count=20, days=20)))
    (loss,) = losses(season.layout, season.course)[1]
    assert next(iter(loss.by_cause)) == "heat"
    assert loss.by_cause["cold"] == 0.0


def test_the_bound_of_a_heavy_loss_is_a_twentieth_and_a_whole_fish():
    season = run_season(build(unfed()))
    (loss,) = losses(season.layout, season.course)[1]
    few = {"hunger": 1.0}
    kinds = [
        Loss("fish", had, by_cause, 0, 0, ()).is_heavy
        for had, by_cause in ((20.0, few), (20.1, few), (2.0, {"hunger": 0.9}))
    ]
    assert kinds == [True, False, False]
    assert loss.is_heavy


# --- told


def test_a_day_that_kills_every_fish_is_judged():
    season = run_season(build(foul()))
    assert season.course.count[0, -1].sum() < 0.01, "the evening knows no fish"
    broken = {finding.limit: finding for finding in season.findings if finding.is_broken}
    assert broken["unionized_ammonia"].first_date == LATE
    assert broken["unionized_ammonia"].days_broken == 1
    judged = {finding.limit for finding in season.findings if finding.margin_percent is not None}
    assert judged >= {"density", "oxygen", "unionized_ammonia", "nitrite", "temperature_low", "temperature_high"}


def test_both_verdicts_begin_with_many_deaths_their_cause_and_their_dates(deadly):
    season, cause = deadly
    words = {"ammonia": "un-ionized ammonia", "hunger": "hunger", "oxygen": "too little oxygen", "cold": "cold"}[cause]
    loss = losses(season.layout, season.course)[1][0]
    first, last = (season.dates[day] for day in (loss.first_day, loss.last_day))
    told = re.compile(
        rf"Fish die in the model: {loss.died:.0f} of {loss.had:.0f} fish of {words}( \(\d+\) and .*)?, "
        rf"(on {first.day} {first:%b %Y}|from {first.day} {first:%b}( {first.year})? to {last.day} {last:%b %Y})\. "
    )
    said = verdict(season, season.findings)
    assert said.startswith("Trouble ahead. ")
    assert told.match(said.removeprefix("Trouble ahead. "))
    assert told.match(water_verdict(season))
    assert is_trouble(season, season.findings)
    assert ("Against hunger: feed" in death_words(season)) == (cause == "hunger")
    assert "die of the water" not in json.dumps(summary(season, season.findings))
    assert summary(season, season.findings)["trouble"] is True


def test_hunger_is_not_laid_on_the_water():
    season = run_season(build(unfed()))
    assert not [finding for finding in season.findings if finding.is_broken]
    said = verdict(season, season.findings)
    assert "of hunger" in said
    for words in (said, water_verdict(season)):
        assert "all the same." in words
        assert "all season" not in words
    (row,) = fate_rows(season, "metric")
    assert re.fullmatch(r"hunger \d+", row["died of"])
    data = fate_data(season)["fish"]
    assert sum(data["deaths_by_cause_fish"].values()) == pytest.approx(data["ledger"]["deaths"]["fish"], abs=1e-5)
    assert sum(data["deaths_by_cause_fish"][cause] for cause in OF_WATER) < 0.01


def test_dead_fish_are_told_beside_a_sound_loop():
    season = run_season(build(beside_sound()))
    assert "60 of 60 fish " in verdict(season, season.findings)
    assert is_trouble(season, season.findings)
    assert " hold " not in water_verdict(season)
    rows = {row["fish"]: row["died of"] for row in fate_rows(season, "metric")}
    assert rows["fish"].startswith("un-ionized ammonia")
    assert rows["sound_fish"] == "-"


def test_a_few_deaths_are_told_last_and_are_no_trouble():
    season = run_season(build(hungry()))
    whole, _ = losses(season.layout, season.course)
    assert 0.5 < whole.died < 0.05 * 50, "the site is chosen for it"
    said = verdict(season, season.findings)
    for words in (said, water_verdict(season)):
        sound, _, deaths = words.partition(" all season. ")
        assert " hold" in sound
        assert re.search(r"\d of 50 fish dies? ", deaths)
        assert "of hunger" in deaths
    assert re.search(r", from \d+ Nov 2026, in one: ", said)
    assert not is_trouble(season, season.findings)


def test_without_deaths_beyond_every_days_nothing_is_said_of_them():
    season = run_season(build(one_tank(count=10)))
    assert death_words(season) == ""
    assert "die" not in verdict(season, season.findings)
    assert "died of" not in fate_rows(season, "metric")[0]
    assert died_of(dict.fromkeys(EXPECTED, 0.4)) == "-"


def test_the_table_tells_the_density_that_the_limit_was_judged_by():
    season = run_season(build(choking()))
    (row,) = tank_rows(season, season.findings, "metric")
    density = next(finding for finding in season.findings if finding.limit == "density")
    assert density.worst_value > 30.0
    assert row["density start"] == row["density peak"].removeprefix("!") == f"{density.worst_value:.1f} kg/m3"
    assert row["density peak"].startswith("!")
    assert row["peak date"] == "1 Oct 2026"


@pytest.mark.parametrize(("tables", "code"), [(foul, 3), (unfed, 3), (hungry, 0)])
def test_strict_counts_many_deaths_as_trouble(tmp_path, tables, code):
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(tables()), encoding="utf-8")
    ran = CliRunner().invoke(app, ["season", str(path), "--strict"])
    assert ran.exit_code == code
    assert ("Fish die " in ran.output) == bool(code)
    assert CliRunner().invoke(app, ["season", str(path)]).exit_code == 0


def test_the_pages_say_the_same(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(unfed()), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    season = run_season(build(unfed()))
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    for page, said in (("season", verdict(season, season.findings)), ("water", water_verdict(season))):
        at.switch_page(str(script_of(page))).run()
        assert not at.exception
        html = " ".join(element.proto.body for element in at.get("html")).replace("&#x27;", "'")
        assert said in html
        assert re.search("ss-verdict ss-trouble|ss-answer ss-bad-answer", html.split(said)[0][-200:])
