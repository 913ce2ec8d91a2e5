"""What the tests of levers share: a site that is dosed, a lever sought and told for a limit, and who dies of it."""

from __future__ import annotations

from dataclasses import replace

from small_sites import build, one_tank

from stocksim import run_season
from stocksim.changes.change import Lever
from stocksim.changes.search import find_levers, prove_lever
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season


def dosed(**changes) -> dict:
    """One tank whose alkalinity is kept up: nitrification does not run out of it."""
    tables = one_tank(**changes)
    tables["loops"]["main"]["alkalinity_target"] = "150 mg/L"
    return tables


def find_lever(season: Season, finding: Finding) -> Lever | None:
    """The lever that is proved against a finding, with the words that are told of it."""
    lever, words = prove_lever(season, finding)
    return None if lever is None else replace(lever, words=words)


def finding_of(season: Season, limit: str, where: str = "tanks.one") -> Finding:
    (found,) = [f for f in season.findings if (f.limit, f.where) == (limit, where)]
    return found


def sought(tables: dict, limit: str, where: str = "tanks.one") -> tuple[Season, Lever]:
    """The season of tables in which a limit is broken, and the lever found for it."""
    season = run_season(build(tables))
    finding = finding_of(season, limit, where)
    assert finding.is_broken
    lever = find_lever(season, finding)
    assert lever is not None
    (told,) = [f.lever for f in find_levers(season) if (f.limit, f.where) == (limit, where)]
    assert told == lever.words
    assert_no_more_die(season, lever.changes)
    return season, lever


def deaths(season: Season) -> float:
    return float(season.course.deaths.sum())


def assert_no_more_die(season: Season, changes: dict) -> None:
    """A lever's own run costs no more lives than the season, but for 0.5 % of the fish."""
    most = float((season.course.count + season.course.deaths)[0].sum(axis=-1).max())
    assert deaths(run_season(season.site, **changes)) <= deaths(season) + 0.005 * most


def is_broken(season: Season, changes: dict, limit: str, where: str = "tanks.one") -> bool:
    return finding_of(run_season(season.site, **changes), limit, where).is_broken
