"""Actions tried on the page: what one line writes alone, before and after, taken as a draft; seasons side by side."""

from __future__ import annotations

from pathlib import Path

import pytest
import tomlkit
from small_sites import build, one_tank
from streamlit.testing.v1 import AppTest

from stocksim import run_season
from stocksim.changes.change import Action, Change
from stocksim.changes.search import Deaths
from stocksim.changes.steps import Step
from stocksim.changes.ways import Way
from stocksim.faces import side_by_side, trial, verdict_bar
from stocksim.faces.registry import script_of
from stocksim.site.reading import site_from_text

HARVEST = {"kind": "harvest", "date": "2026-10-20", "cohort": "fish", "count": 3, "which": "largest"}
MOVE = {"kind": "move", "date": "2026-10-21", "cohort": "fish", "tank": "one"}


def way_of(*fields: dict, events: tuple[dict, ...]) -> Way:
    """A way of steps that write these fields, its events in the order of the steps."""
    steps = tuple(Step(Change(next(iter(Action)), one), (), Deaths(0.0, 0.0, 0.0)) for one in fields)
    return Way("gentlest", steps, {"events": [*events]}, (), (), Deaths(0.0, 0.0, 0.0), 0.0, 0.0, 0.0)


def test_a_line_alone_writes_its_own_events_only():
    site = build(one_tank())
    old = HARVEST | {"count": 2}  # another size of the first step, which was sized again after the second was found
    way = way_of({"events": [HARVEST]}, {"events": [old, MOVE]}, {"tanks.one.flow": "9 L/h"}, events=(HARVEST, MOVE))
    assert [trial.alone(site, way, step) for step in way.steps] == [
        {"events": [HARVEST]},
        {"events": [MOVE]},
        {"tanks.one.flow": "9 L/h"},
    ]


def test_a_line_whose_events_cannot_be_told_is_not_tried_alone():
    site = build(one_tank())
    way = way_of({"events": [HARVEST, MOVE]}, events=(HARVEST, MOVE))
    assert trial.alone(site, way, way.steps[0]) is None
    way = way_of({"events": [HARVEST]}, events=(MOVE,))
    assert trial.alone(site, way, way.steps[0]) is None


def test_what_is_tried_keeps_the_comments_of_the_file():
    text = "# mine\n" + tomlkit.dumps(one_tank())
    site = site_from_text(text, Path())
    new = trial.tried_text(text, site, {"cohorts.fish.count": 4})
    assert new.startswith("# mine\n")
    assert site_from_text(new, Path()).file.cohorts["fish"].count == 4


@pytest.fixture
def crowded(tmp_path, monkeypatch) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text("# mine\n" + tomlkit.dumps(one_tank(count=400)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    return path


def press(at: AppTest, key: str) -> AppTest:
    at.button(key=key).click().run()
    assert not at.exception
    return at


def test_a_tried_action_shows_before_and_after_and_changes_nothing_until_taken(crowded):
    at = AppTest.from_file(script_of("season"), default_timeout=900).run()
    before = at.session_state["site_text"]
    name = next(button.key for button in at.button if (button.key or "").startswith("try_"))
    press(at, name)
    shown = " ".join(element.proto.body for element in at.get("html"))
    assert "Before: " in shown
    assert "After: " in shown
    assert ">before</th>" in shown
    assert at.session_state["site_text"] == before
    press(at, "leave_tried")
    assert not [button for button in at.button if button.key == "take_tried"]
    press(at, name)
    press(at, "take_tried")
    after = at.session_state["site_text"]
    assert after != before
    assert after.startswith("# mine\n")
    assert crowded.read_text(encoding="utf-8") == before  # a draft: the file is the keeper's to save


def test_seasons_stand_side_by_side():
    few, many = (run_season(build(one_tank(count=count, days=20))) for count in (10, 900))
    rows = {row["what"]: row for row in side_by_side.outcome_rows({"few": few, "many": many})}
    assert rows["limits broken"]["few"] == "0"
    assert int(rows["limits broken"]["many"]) == sum(f.is_broken for f in many.findings) > 0
    assert rows["least reserve to density"]["many"].startswith("!-")
    assert side_by_side.outcome_data(many)["feed_kg"] == pytest.approx(many.totals()["feed_kg"])


def test_only_fields_that_differ_are_told():
    one, other = one_tank(count=10), one_tank(count=20)
    other["events"] = [HARVEST]
    rows = side_by_side.differing({"a": one, "b": other})
    assert rows[0] == {"field": "cohorts.fish.count", "a": "10", "b": "20"}
    assert {row["field"] for row in rows[1:]} == {f"events.1.{key}" for key in HARVEST}
    assert {row["a"] for row in rows[1:]} == {"not given"}
    assert side_by_side.differing({"a": one, "b": one}) == []


def test_the_bar_is_green_only_without_a_doubt():
    season = run_season(build(one_tank(count=10, days=20)))
    assert not any(finding.is_broken for finding in season.findings)
    assert verdict_bar.told(season).is_caution == bool(verdict_bar.doubts(season))
    empty = run_season(build({**one_tank(days=20), "cohorts": {}}))
    assert "without fish nothing was tried" in verdict_bar.told(empty).words
    assert verdict_bar.told(empty).is_caution
