"""What the tests of levers share: a site that is dosed, a change sought and told for a limit, and who dies of it."""

from __future__ import annotations

from small_sites import build, one_tank

from stocksim import run_season
from stocksim.changes.change import Change
from stocksim.changes.search import Help, help_of, prove_change
from stocksim.changes.ways import find_changes
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season


def dosed(**changes) -> dict:
    """One tank whose alkalinity is kept up: nitrification does not run out of it."""
    tables = one_tank(**changes)
    tables["loops"]["main"]["alkalinity_target"] = "150 mg/L"
    return tables


def find_change(season: Season, finding: Finding) -> Change | None:
    """The change that is proved against a finding."""
    return prove_change(season, finding).change


def told_help(season: Season, limit: str, where: str = "tanks.one") -> Help:
    """What is told of a limit of the season."""
    (found,) = [help_of(f) for f in find_changes(season) if (f.limit, f.where) == (limit, where)]
    assert found is not None
    return found


def finding_of(season: Season, limit: str, where: str = "tanks.one") -> Finding:
    (found,) = [f for f in season.findings if (f.limit, f.where) == (limit, where)]
    return found


def sought(tables: dict, limit: str, where: str = "tanks.one") -> tuple[Season, Change]:
    """The season of tables in which a limit is broken, and the change found for it."""
    season = run_season(build(tables))
    finding = finding_of(season, limit, where)
    assert finding.is_broken
    change = find_change(season, finding)
    assert change is not None
    assert told_help(season, limit, where).change == change
    assert_no_more_die(season, change.fields)
    return season, change


def deaths(season: Season) -> float:
    return float(season.course.deaths.sum())


def assert_no_more_die(season: Season, changes: dict) -> None:
    """A change's own run costs no more lives than the season, but for 0.5 % of the fish."""
    most = float((season.course.count + season.course.deaths)[0].sum(axis=-1).max())
    assert deaths(run_season(season.site, **changes)) <= deaths(season) + 0.005 * most


def is_broken(season: Season, changes: dict, limit: str, where: str = "tanks.one") -> bool:
    return finding_of(run_season(season.site, **changes), limit, where).is_broken
