"""Who may share a tank or a loop: verdicts with their dates on small sites, the command, the page, the charts."""

from __future__ import annotations

import copy
import datetime as dt
import html
import json
import math
import re
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
import tomlkit
from command_line import refused, runner, spoil
from hypothesis import given
from hypothesis import strategies as st
from small_sites import START, build, one_tank, two_loops
from streamlit.testing.v1 import AppTest

from stocksim.answers.tankmates.answer import company_answer
from stocksim.answers.tankmates.brief import headline
from stocksim.answers.tankmates.charts import matrix_chart, matrix_rows, windows_chart
from stocksim.answers.tankmates.decide import Company, judge_company
from stocksim.answers.tankmates.loops import _partitions
from stocksim.answers.tankmates.words import NO_SOURCE, PAGE_SIGNS, loop_sentences
from stocksim.changes.ways import advise
from stocksim.engine.running import run_season
from stocksim.faces.answer import Html, Table
from stocksim.faces.markup import answer_page_html
from stocksim.faces.palette import VERDICT_FIELDS
from stocksim.faces.text import answer_text
from stocksim.faces.ways_words import dated_words, step_data
from stocksim.fish.company import VERDICTS
from stocksim.library.species import load_species
from stocksim.site.reading import load_site

OF_WATER = ("season_outside_limits", "season_outside_growth")  # a cohort beside itself is judged by its water too
ROOT = Path(__file__).parents[1]
BASS = {"species": "largemouth_bass", "tank": "one", "count": 8, "mean_weight": "25 g", "feed": "bass_46"}
BLUEGILL = {"species": "bluegill", "tank": "one", "count": 30, "mean_weight": "40 g", "feed": "sunfish_44"}
TROUT = {"species": "rainbow_trout", "tank": "one", "count": 10, "mean_weight": "150 g", "feed": "trout_44"}
TILAPIA = {"species": "nile_tilapia", "tank": "two", "count": 10, "mean_weight": "100 g", "feed": "tilapia_34"}


def tables(days: int = 60, temperature_c: float = 26.0, **cohorts: dict) -> dict:
    """A site with one loop, two tanks and these cohorts."""
    made = one_tank(days=days, temperature_c=temperature_c)
    made["tanks"]["two"] = copy.deepcopy(made["tanks"]["one"])
    made["cohorts"] = {name: dict(cohort) for name, cohort in cohorts.items()}
    return made


def company_of(made: dict) -> Company:
    return judge_company(run_season(build(made)))


def text_of(company: Company) -> str:
    """What is printed, in one line."""
    return " ".join(answer_text(company_answer(company, "metric")).split())


def pair_of(company: Company, one: str, other: str):
    return next(pair for pair in company.pairs if {pair.a, pair.b} == {one, other})


def keys(pair) -> list[str]:
    return [ground.key for ground in pair.grounds]


@pytest.fixture(scope="module")
def demo(demo_season):
    return judge_company(demo_season)


def lengths_on(rows, entry) -> np.ndarray:
    """Mean length from mean weight by the file's own line: log10(W / condition) = a + b log10 L."""
    a, b = entry["length_weight_intercept"], entry["length_weight_slope"]
    return np.array([10 ** ((math.log10(w / entry["farmed_condition"]) - a) / b) for w in rows["mean_weight_g"]])


def growing_bass() -> dict:
    """Bass that grow past twice the length of bluegill that are not fed."""
    bass = BASS | {"mean_weight": "110 g", "size_spread": 0.1}
    return tables(bass=bass, bluegill=BLUEGILL | {"size_spread": 0.1, "ration": {"kind": "unfed"}})


def test_bass_and_small_bluegill_are_parted_from_the_day_the_first_fits():
    season = run_season(build(growing_bass()))
    pair = pair_of(judge_company(season), "bass", "bluegill")
    bass, bluegill = load_species("largemouth_bass"), load_species("bluegill")
    frame = season.cohorts
    rows = frame[frame["cohort"] == "bass"], frame[frame["cohort"] == "bluegill"]
    long, short = lengths_on(rows[0], bass), lengths_on(rows[1], bluegill)
    # spread of the logarithm of length is that of weight over the slope; the ratio of two lognormals is lognormal
    spread = [
        np.array([math.sqrt(math.log1p(cv**2)) / entry["length_weight_slope"] for cv in row["size_spread"]])
        for row, entry in zip(rows, (bass, bluegill), strict=True)
    ]
    middle = np.log(0.5 * long / short) + 0.5 * (spread[1] ** 2 - spread[0] ** 2)
    width = np.sqrt(spread[0] ** 2 + spread[1] ** 2)
    chance = np.array([NormalDist().cdf(m / w) for m, w in zip(middle, width, strict=True)])
    first = int(np.flatnonzero(chance > 0.01)[0])
    assert 0 < first < season.layout.days - 1  # the case is one of growth, not of stocking
    assert (pair.verdict, pair.date, pair.until) == (
        "apart", START + dt.timedelta(days=first), START + dt.timedelta(days=season.layout.days - 1),
    )  # fmt: skip
    ground = pair.grounds[0]
    assert (ground.key, ground.who, ground.whom) == ("fits_mouth", "bass", "bluegill")
    assert ground.number == pytest.approx(chance.max(), rel=1e-6)
    assert (ground.who_mm, ground.whom_mm) == pytest.approx((long[first], short[first]), rel=1e-6)
    answer, is_trouble = headline(judge_company(season))
    assert is_trouble
    assert answer.startswith("Bass + bluegill ")


def test_the_date_agrees_with_the_season_s_own_limit():
    season = run_season(build(growing_bass()))
    finding = next(f for f in season.findings if f.limit == "predation" and f.where == "tanks.one")
    assert pair_of(judge_company(season), "bass", "bluegill").date == finding.first_date


def test_prey_that_outgrows_a_mouth_is_apart_only_until_then():
    # unfed bass stay as they are, fed tilapia grow out of reach
    made = tables(
        days=150, temperature_c=29.0, bass=BASS | {"ration": {"kind": "unfed"}, "size_spread": 0.0},
        tilapia=TILAPIA | {"tank": "one", "mean_weight": "3 g", "size_spread": 0.0},
    )  # fmt: skip
    pair = pair_of(company_of(made), "bass", "tilapia")
    assert pair.verdict == "apart"
    assert pair.date == START
    assert START < pair.until < pair.last
    assert pair.grounds[0].key == "fits_mouth"


@pytest.mark.parametrize(("spread", "verdict"), [(0.8, "apart"), (0.1, "together")])
def test_bass_of_wide_spread_eat_their_own(spread, verdict):
    company = company_of(tables(days=10, bass=BASS | {"size_spread": spread}))
    (pair,) = company.pairs
    assert (pair.a, pair.b, pair.verdict) == ("bass", "bass", verdict)
    assert keys(pair) == (["fits_mouth"] if verdict == "apart" else [])
    answer, is_trouble = headline(company)
    assert is_trouble is (verdict == "apart")
    assert ("graded" in answer) is (verdict == "apart")
    assert ("Grade by size" in text_of(company)) is (verdict == "apart")


def test_two_cohorts_of_one_species_are_judged_by_mouths_alone():
    small = BASS | {"mean_weight": "3 g", "tank": "two"}
    pair = pair_of(company_of(tables(days=10, bass=BASS | {"mean_weight": "200 g"}, fry=small)), "bass", "fry")
    assert (pair.verdict, pair.tanks, keys(pair)) == ("apart", (), ["fits_mouth"])


def test_trout_and_tilapia_share_no_loop():
    company = company_of(tables(days=40, temperature_c=15.0, trout=TROUT, tilapia=TILAPIA))
    (loop,) = company.loops
    (pair,) = loop.pairs
    assert (pair.verdict, pair.date) == ("apart", START)
    assert pair.low_c > pair.high_c  # no common growth window
    assert "never_by_rule" in [obstacle.key for obstacle in pair.obstacles]
    # what each gives up: tilapia are below their window on all days and do not grow, trout live near their best
    trout, tilapia = loop.residents
    assert (trout.days_cold, trout.days_warm, tilapia.days_cold) == (0, 0, 40)
    assert trout.growth_share > 0.8
    assert tilapia.growth_share < 0.1
    assert 0.0 < pair.share_b < 0.5 < pair.share_a
    assert [(part.species, part.low_c, part.high_c) for part in loop.partitions] == [
        ((resident.species,), resident.grows_from_c, resident.grows_to_c) for resident in (trout, tilapia)
    ]
    assert loop.fitting[0].species == "rainbow_trout"
    assert all(0.5 <= fit.share <= 1.0 for fit in loop.fitting)
    tank_pair = pair_of(company, "trout", "tilapia")
    assert (tank_pair.verdict, keys(tank_pair)[0]) == ("apart", "never_by_rule")
    answer = company_answer(company, "metric")
    assert answer.has("source")
    told = answer.data["loops"][0]
    assert f"{trout.grows_from_c:.0f}-{trout.grows_to_c:.0f} degC" in told["offers"][0]
    because = [load_species(name).facts["never_because"] for name in ("rainbow_trout", "nile_tilapia")]
    assert [rule["reason"] for rule in answer.data["never_mixed"]] == because
    for said in (told["pairs"][0]["reason"], text_of(company)):
        assert any(words in said for words in because)
    assert NO_SOURCE in text_of(company)


def test_a_species_that_fits_a_loop_does_so_on_half_of_the_days(demo_season):
    for loop in judge_company(demo_season).loops:
        assert loop.fitting
        assert all(0.5 <= fit.share <= 1.0 for fit in loop.fitting)


def test_growth_here_is_told_against_the_best_temperature():
    # at its own best temperature a species gives up nothing, and no other water gives more
    cohort = {"tilapia": TILAPIA}
    best = company_of(tables(days=30, temperature_c=26.0, **cohort)).loops[0].residents[0].best_c
    shares = [
        company_of(tables(days=30, temperature_c=level, **cohort)).loops[0].residents[0].growth_share
        for level in (best, best - 3.0, best + 3.0)
    ]
    assert shares[0] == pytest.approx(1.0, rel=1e-9)
    assert max(shares[1:]) < 1.0


def test_a_loop_with_a_warm_half_offers_a_swap_by_season():
    made = tables(days=92, trout=TROUT, bluegill=BLUEGILL | {"tank": "two"})
    made["season"]["end"] = dt.date(2026, 12, 31)
    values = {"oct": "23 degC", "nov": "17 degC", "dec": "12 degC"}
    made["loops"]["main"]["water_temperature"] = {"kind": "monthly", "values": values}
    (loop,) = company_of(made).loops
    window = next((r.grows_from_c, r.grows_to_c) for r in loop.residents if r.species == "rainbow_trout")
    spells = {spell.species: spell for spell in loop.spells}
    water = build(made).held_c["main"]
    inside = np.flatnonzero((water >= window[0]) & (water <= window[1]))
    inside = max(
        np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1), key=len
    )  # the season's last day is one alone
    assert spells["rainbow_trout"].days == inside.size
    assert spells["rainbow_trout"].first == START + dt.timedelta(days=int(inside[0]))
    assert spells["bluegill"].first is None  # warm for less than four weeks
    assert loop.pairs[0].verdict == "apart"  # October's water is above what trout bear


def test_a_cohort_that_moves_away_is_judged_on_the_days_it_was_there():
    made = tables(bass=BASS | {"mean_weight": "300 g"}, bluegill=BLUEGILL)
    made["events"] = [{"kind": "move", "date": START + dt.timedelta(days=20), "cohort": "bass", "tank": "two"}]
    season = run_season(build(made))
    pair = pair_of(judge_company(season), "bass", "bluegill")
    bass = season.cohorts[season.cohorts["cohort"] == "bass"]
    shared = bass[bass["tank"] == "one"]["date"].dt.date
    assert (pair.tanks, pair.days, pair.last) == (("one",), len(shared), max(shared))
    assert pair.last < START + dt.timedelta(days=21)
    assert (pair.verdict, pair.until) == ("apart", pair.last)


def test_a_cohort_that_grading_makes_is_judged_too():
    made = tables(bass=BASS | {"size_spread": 0.6})
    made["events"] = [
        {"kind": "grade", "date": START + dt.timedelta(days=10), "cohort": "bass", "into": "large", "tank": "two",
         "largest_share": 0.5}
    ]  # fmt: skip
    company = company_of(made)
    assert company.cohorts == ("bass", "large")
    among, within = pair_of(company, "bass", "large"), pair_of(company, "large", "large")
    assert among.first >= START + dt.timedelta(days=10)
    assert among.tanks == ()
    # graded fish are more alike than the batch they came from
    whole = next(pair for pair in company.pairs if pair.a == pair.b == "bass")
    assert whole.verdict == "apart"
    assert whole.until < START + dt.timedelta(days=11)
    assert VERDICTS.index(within.verdict) < VERDICTS.index(whole.verdict)


def test_cohorts_that_are_never_here_together_are_told_so():
    made = tables(bass=BASS | {"mean_weight": "300 g"}, bluegill=BLUEGILL | {"stocked": START + dt.timedelta(days=30)})
    made["events"] = [{"kind": "harvest", "date": START + dt.timedelta(days=10), "cohort": "bass", "all": True}]
    company = company_of(made)
    pair = pair_of(company, "bass", "bluegill")
    assert (pair.days, pair.date, pair.tanks, pair.verdict) == (0, None, (), "apart")
    assert "never here together" in text_of(company)


def test_what_is_to_be_done_is_what_the_season_advises():
    made = growing_bass()
    company = company_of(made)
    advice = advise(company.season)
    parting = [step for step in advice.ways[0].steps if any(limit == "predation" for limit, _ in step.cures)]
    assert parting
    answer = company_answer(company, "metric", advice)
    assert [told["fields"] for told in answer.data["what_to_do"]] == [
        step_data(company.season, step)["fields"] for step in parting
    ]
    printed = " ".join(answer_text(answer).split())
    assert all(dated_words(step, "metric") in printed for step in parting)
    assert not company_answer(company, "metric").has("do")


def test_no_fish_no_company():
    made = tables(bass=BASS | {"count": 0})
    company = company_of(made)
    answer, is_trouble = headline(company)
    assert answer.startswith("No fish ")
    assert not is_trouble
    made["cohorts"] = {}
    company = company_of(made)
    assert (company.pairs, company.loops) == ((), ())
    answer = company_answer(company, "us")
    assert (answer.data["pairs"], answer.data["loops"], answer.is_trouble) == ([], [], False)
    assert answer.data["answer"] == answer.verdict == headline(company)[0]
    assert [section.key for section in answer.sections if section.parts] == ["evidence", "cautions", "assumptions"]
    assert answer.verdict in text_of(company)


def test_wild_fish_meet_nobody_before_quarantine():
    wild = BLUEGILL | {"wild": True, "stocked": START, "tank": "two"}
    company = company_of(tables(days=10, temperature_c=25.0, pond=wild, tilapia=TILAPIA | {"mean_weight": "60 g"}))
    pair = pair_of(company, "pond", "tilapia")
    assert "wild_caught" in keys(pair)
    assert pair.verdict == "with care"
    (told,) = company.wild
    entry = load_species("bluegill")
    assert (told.training_days, told.training_loss) == (entry["feed_training_days"], entry["feed_training_loss"])
    (data,) = company_answer(company, "metric").data["wild"]
    assert (data["cohort"], data["tank"], data["loop"], data["is_trained"]) == ("pond", "two", "main", False)
    assert data["feed_training_loss_percent"] == pytest.approx(100.0 * told.training_loss)
    assert "quarantine tank" in data["caution"]
    assert data["caution"].endswith(entry.facts["wild_caution"])
    assert data["caution"] in text_of(company)
    assert not company_of(tables(days=10, pond=BLUEGILL)).wild


def least_groups(windows: list[tuple[float, float]], width: float) -> int:
    """Fewest groups of a common window by trying every way to group them."""

    def fits(group):
        low, high = max(low for low, _ in group), min(high for _, high in group)
        return len(group) == 1 or high - low >= width

    def ways(left):
        if not left:
            yield []
            return
        for rest in ways(left[1:]):
            yield [[left[0]], *rest]
            for number, group in enumerate(rest):
                yield [*rest[:number], [left[0], *group], *rest[number + 1 :]]

    return min(len(way) for way in ways(windows) if all(fits(group) for group in way))


@given(st.lists(st.tuples(st.integers(5, 28), st.integers(3, 9)), min_size=1, max_size=5))
def test_species_are_parted_into_the_fewest_loops(drawn):
    windows = {f"fish_{n}": (float(low), float(low + width)) for n, (low, width) in enumerate(drawn)}
    found = _partitions(windows)
    assert sorted(key for part in found for key in part.species) == sorted(windows)
    for part in found:
        assert part.low_c == max(windows[key][0] for key in part.species)
        assert part.high_c == min(windows[key][1] for key in part.species)
        assert part.high_c >= part.low_c
    assert len(found) == least_groups(list(windows.values()), 0.0)


# ---- any site ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "made",
    [two_loops(), tables(days=30, temperature_c=18.0, bass=BASS, bluegill=BLUEGILL, trout=TROUT, tilapia=TILAPIA)],
)
def test_verdicts_follow_from_their_grounds_and_not_from_the_order(made):
    season = run_season(build(made))
    company = judge_company(season)
    number = len(company.cohorts)
    assert len(company.pairs) == number * (number + 1) // 2
    for pair in company.pairs:
        worst = max((VERDICTS.index(ground.verdict) for ground in pair.grounds), default=0)
        assert pair.verdict == VERDICTS[worst]
        if pair.a == pair.b:
            assert set(keys(pair)) <= {"fits_mouth", "nearly_fits", "siblings", *OF_WATER}
        if pair.days:
            assert pair.first <= pair.date <= pair.until <= pair.last
            assert all(pair.first <= ground.first <= ground.last <= pair.last for ground in pair.grounds)
    turned = copy.deepcopy(made)
    turned["cohorts"] = dict(reversed(list(made["cohorts"].items())))
    other = company_of(turned)
    for pair in company.pairs:
        twin = pair_of(other, pair.a, pair.b)
        assert (twin.verdict, twin.date, sorted(keys(twin))) == (pair.verdict, pair.date, sorted(keys(pair)))


def test_fish_that_share_a_tank_are_marked(demo, demo_season):
    rows = demo_season.cohorts[["date", "cohort", "tank"]]
    met = rows.merge(rows, on=["date", "tank"])
    together = {frozenset(pair) for pair in met[["cohort_x", "cohort_y"]].itertuples(index=False)}
    assert {frozenset((pair.a, pair.b)) for pair in demo.pairs if pair.tanks} == together
    assert frozenset(("pond_bluegill", "pond_goldfish")) in together


# ---- words and the command -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
def test_text_is_readable_at_80_columns(demo, units, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    text = answer_text(company_answer(demo, units))
    assert max(len(line) for line in text.splitlines()) <= 80
    assert not re.search(r"\bnan\b|None|_", text)
    for pair in demo.pairs:
        if pair.a != pair.b:
            assert re.search(rf"{pair.verdict.upper()}", text)
    assert "Evidence weak" in text
    assert "may need a permit" in text


def test_many_cohorts_of_long_names_keep_within_80_columns(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    many = {f"second_batch_of_hybrid_striped_{n}": BASS | {"tank": ("one", "two")[n % 2]} for n in range(11)}
    many["hybrid"] = BASS | {"species": "hybrid_striped_bass", "feed": "hybrid_bass_42"}
    text = answer_text(company_answer(company_of(tables(days=5, **many)), "us"))
    assert max(len(line) for line in text.splitlines()) <= 80


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


def test_json_holds_the_keys_of_the_contract(run, demo_site, tmp_path):
    Path("demo.toml").write_text((demo_site.folder / demo_site.name).read_text(encoding="utf-8"), encoding="utf-8")
    ran = run("company", "demo.toml", "--json")
    assert (ran.code, ran.err) == (0, "")
    data = ran.data
    names = list(demo_site.file.cohorts)
    assert len(data["pairs"]) == len(names) * (len(names) + 1) // 2
    for pair in data["pairs"]:
        assert {"a", "b", "verdict", "reason", "date", "shares_tank", "evidence", "reasons"} <= set(pair)
        assert pair["verdict"] in VERDICTS
        assert pair["reason"].endswith(".")
        assert pair["evidence"] == "weak"
        assert dt.date.fromisoformat(pair["date"])
        assert pair["reason"] == (pair["reasons"][0]["reason"] if pair["reasons"] else pair["reason"])
    assert {loop["loop"] for loop in data["loops"]} == {"main", "warm"}
    assert {"a", "b", "verdict", "reason", "date"} <= set(data["loops"][0]["pairs"][0])
    assert [one["cohort"] for one in data["wild"]] == ["pond_bluegill"]
    assert {rule["a"] for rule in data["never_mixed"]} == {"rainbow_trout", "nile_tilapia"}
    assert data["evidence"] == "weak"


def test_trouble_is_an_answer_and_the_help_says_what_is_read(run):
    spoil("[cohorts.perch]", '[cohorts.bass]\nspecies = "largemouth_bass"\ntank = "first"\ncount = 4\n'
          'mean_weight = "2 lb"\nfeed = "bass_46"\n\n[cohorts.perch]')  # fmt: skip
    ran = run("tankmates", "house.toml", "--all")
    assert (ran.code, ran.err) == (0, "")
    assert "should be apart" in ran.out
    helped = run("tankmates", "--help")
    assert "Reads SITE; writes nothing" in " ".join(helped.out.split())


def test_the_former_name_of_the_command_still_answers_and_is_not_in_the_help(run):
    assert run("company", "house.toml", "--json").data == run("tankmates", "house.toml", "--json").data
    shown = " ".join(run("--help").out.split())
    assert " tankmates " in shown
    assert " company " not in shown


def test_bad_input_is_a_sentence(run):
    refused(run("tankmates", "nowhere.toml"), "nowhere.toml", "was not found")
    spoil('species = "yellow_perch"', 'species = "unicorn"')
    refused(run("company", "house.toml", "--json"), "unicorn", "not in the library")


def test_an_own_species_file_is_named(tmp_path):
    folder = tmp_path / "species_params" / "fish"
    folder.mkdir(parents=True)
    shipped = Path(load_species("bluegill").origin).read_text(encoding="utf-8")
    own = shipped.replace('temper = "territorial"', 'temper = "calm"')
    assert own != shipped
    (folder / "bluegill.toml").write_text(own, encoding="utf-8")
    made = tables(days=5, one=BLUEGILL, perch={**BASS, "species": "yellow_perch", "feed": "perch_45", "tank": "two"})
    path = tmp_path / "own.toml"
    path.write_text(tomlkit.dumps(made), encoding="utf-8")
    company = judge_company(run_season(load_site(path)))
    assert not any(key.startswith("territor") for pair in company.pairs for key in keys(pair))
    assert any("bluegill.toml" in caution for caution in company_answer(company, "metric").data["cautions"])
    assert "bluegill.toml" in text_of(company)


def test_text_leaves_out_the_days_that_the_table_tells_and_no_other_reason(tmp_path):
    # a keeper's own words of a rule may speak of growth windows, too
    folder = tmp_path / "species_params" / "fish"
    folder.mkdir(parents=True)
    shipped = Path(load_species("nile_tilapia").origin).read_text(encoding="utf-8")
    rule = "Trout water is outside the growth window of tilapia."
    own, changed = re.subn(r'(?m)^never_because = ".*"$', f'never_because = "{rule}"', shipped)
    assert changed == 1
    (folder / "nile_tilapia.toml").write_text(own, encoding="utf-8")
    path = tmp_path / "own.toml"
    path.write_text(tomlkit.dumps(tables(days=40, temperature_c=15.0, tilapia=TILAPIA, trout=TROUT)), encoding="utf-8")
    company = judge_company(run_season(load_site(path)))
    (loop,) = company.loops
    (pair,) = loop.pairs
    assert {"never_by_rule", "season_outside_growth"} <= {obstacle.key for obstacle in pair.obstacles}
    every = loop_sentences(pair, company.season.site, "metric")
    brief = loop_sentences(pair, company.season.site, "metric", is_brief=True)
    assert len(brief) == len(every) - sum(obstacle.key == "season_outside_growth" for obstacle in pair.obstacles)
    assert any(rule in sentence for sentence in brief)
    answer = company_answer(company, "metric")
    text = answer_text(answer).split("Loop main", 1)[1]
    shown = "".join(part.html for part in answer.section("pairs_main").parts if isinstance(part, Html))
    for sentence in every:
        assert (" ".join(sentence.split()) in " ".join(text.split())) is (sentence in brief)
        assert html.escape(sentence) in shown
    assert answer.data["loops"][0]["pairs"][0]["reason"] == " ".join(every)


def test_species_outside_what_they_bear_are_marked_on_pages():
    company = company_of(tables(days=40, temperature_c=24.0, trout=TROUT, tilapia=TILAPIA))
    (loop,) = company.loops
    (table,) = [p for p in company_answer(company, "us").section("loop_main").parts if isinstance(p, Table)]
    outside = {row for row, resident in enumerate(loop.residents) if resident.days_outside}
    assert outside == {0}  # trout, not tilapia
    assert set(table.bad) == {(row, "limits") for row in outside}
    assert [row["limits"] for row in table.rows] == [str(resident.days_outside) for resident in loop.residents]


# ---- charts and the page -------------------------------------------------------------------------------------------


def test_the_matrix_can_be_read_without_colour(demo):
    spec = matrix_chart(demo).to_dict()
    (data,) = spec["datasets"].values()
    rows = matrix_rows(demo)
    assert data == json.loads(json.dumps(rows))
    assert len(rows) == len(demo.pairs)
    by_verdict = {row["verdict"]: row["sign"] for row in rows}
    assert by_verdict == {verdict: PAGE_SIGNS[verdict] for verdict in by_verdict}
    assert len(set(PAGE_SIGNS.values())) == len(VERDICTS) == len(VERDICT_FIELDS)
    assert all(row["word"] and row["reasons"] for row in rows)
    assert [row["pair"] for row in rows if row["shares"]] == ["pond bluegill + pond goldfish"]
    layers = {layer["encoding"]["text"]["field"] for layer in spec["layer"] if "text" in layer["encoding"]}
    assert layers == {"sign", "word", "from"}
    late = {row["pair"]: row["from"] for row in rows if row["from"]}
    for pair in demo.pairs:
        if pair.a != pair.b:
            name = f"{pair.a} + {pair.b}".replace("_", " ")
            assert late.get(name, "") == ("" if pair.date == pair.first else f"{pair.date.day} {pair.date:%b}")
    assert str(sum(row["verdict"] == "apart" for row in rows)) in spec["description"]


def test_windows_are_drawn_in_the_keeper_s_unit(demo):
    loop = next(loop for loop in demo.loops if loop.loop == "main")
    spec = windows_chart(loop, demo).to_dict()
    rows = next(rows for rows in spec["datasets"].values() if "species" in rows[0])
    assert [row["species"] for row in rows] == [resident.species.replace("_", " ") for resident in loop.residents]
    trout = next(row for row in rows if row["key"] == "rainbow_trout")
    resident = next(resident for resident in loop.residents if resident.species == "rainbow_trout")
    window = (32.0 + 1.8 * resident.grows_from_c, 32.0 + 1.8 * resident.grows_to_c)
    assert (trout["grows from"], trout["grows to"]) == pytest.approx(window)
    assert "degF" in spec["layer"][0]["encoding"]["x"]["axis"]["title"]


def page(monkeypatch, path: Path) -> AppTest:
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    at.switch_page("stocksim/answers/tankmates/page.py").run()
    assert not at.exception
    return at


def test_the_page_shows_verdict_matrix_loops_and_cautions(monkeypatch, tmp_path):
    path = tmp_path / "bass.toml"
    made = tables(
        temperature_c=22.0, bass=BASS | {"mean_weight": "300 g"},
        bluegill=BLUEGILL | {"wild": True, "stocked": START}, trout=TROUT | {"tank": "two"},
    )  # fmt: skip
    path.write_text(tomlkit.dumps(made), encoding="utf-8")
    at = page(monkeypatch, path)
    shown = " ".join(element.proto.body for element in at.get("html"))
    answer = company_answer(judge_company(run_season(load_site(path))), "metric")
    assert "ss-trouble" in shown
    assert answer.verdict in shown
    assert "evidence weak" in shown
    assert answer.data["wild"][0]["caution"] in shown
    assert NO_SOURCE in shown
    # loop by loop, species by species: open where two should be apart
    folds = {fold.label: fold.proto.expanded for fold in at.expander}
    assert folds == {"Could the others share a tank?": False, "Species by species": True}
    report = answer_page_html(answer)
    assert re.findall("<details( open)?><summary>(.*?)</summary>", report) == [
        (" open" if is_open else "", label) for label, is_open in folds.items()
    ]
    charts = at.get("vega_lite_chart")
    assert len(charts) == 2  # the matrix and one loop
    spec = json.loads(charts[0].proto.spec)
    assert spec["width"] == "container"


def test_the_page_tells_faults_of_a_site_that_cannot_run(monkeypatch, tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(tomlkit.dumps(tables(bass=BASS | {"species": "unicorn"})), encoding="utf-8")
    at = page(monkeypatch, path)
    assert any("unicorn" in element.proto.body for element in at.get("html"))
    assert not at.get("vega_lite_chart")
