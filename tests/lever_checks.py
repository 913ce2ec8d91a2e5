"""What the tests of levers share: a site that is dosed, a change sought and told for a limit, and who dies of it."""

from __future__ import annotations

from small_sites import build, one_tank

from stocksim import run_season
from stocksim.changes.change import ADVICE_OF, Change, reserve_percent
from stocksim.changes.search import Help, help_of, newly_broken, prove_change
from stocksim.changes.ways import advise, find_changes
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.site.kinds import ADVICE_KINDS

LEAST_RESERVE = 0.005  # what a site file may ask for at least


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


def only(tables: dict, *kinds: str, reserve: float = LEAST_RESERVE) -> dict:
    """Tables of a keeper who wants advice of some kinds alone."""
    assert set(kinds) <= set(ADVICE_KINDS)
    return tables | {"advice": {"reserve": reserve, "never": [kind for kind in ADVICE_KINDS if kind not in kinds]}}


def sought(
    tables: dict, limit: str, where: str = "tanks.one", kinds: tuple[str, ...] = tuple(ADVICE_KINDS)
) -> tuple[Season, Change]:
    """The season of tables in which a limit is broken, and the change found for it among some kinds of advice.

    It is asked of every change: it is of these kinds, it leaves the reserve, no more fish die, and what is told of the
    limit beside all others of the season is of these kinds too and holds with all that is told.
    """
    season = run_season(build(only(tables, *kinds)))
    finding = finding_of(season, limit, where)
    assert finding.is_broken
    change = find_change(season, finding)
    assert change is not None
    assert ADVICE_OF[change.kind] in kinds
    if not change.past:
        assert keeps(season, change.fields, limit, where)
    assert_no_more_die(season, change.fields)
    assert_told(season, finding, change, kinds)
    return season, change


def assert_told(season: Season, finding: Finding, change: Change, kinds: tuple[str, ...]) -> None:
    """What is told beside all other limits: the same where it breaks first, breaks nothing and needs no other.

    Else it is of the same kinds, and the limit holds with all that is told.
    """
    place, first = (finding.limit, finding.where), next(f for f in season.findings if f.is_broken)
    (way, *_) = advise(season).ways
    told = told_help(season, *place).change
    assert told is not None
    assert ADVICE_OF[told.kind] in kinds
    if first == finding and len(way.steps) == 1 and not newly_broken(season, run_season(season.site, **change.fields)):
        assert told == change
    if not told.past and place not in [(f.limit, f.where) for f in way.left]:
        assert keeps(season, way.fields, *place)


def deaths(season: Season) -> float:
    return float(season.course.deaths.sum())


def assert_no_more_die(season: Season, changes: dict) -> None:
    """A change's own run costs no more lives than the season, but for 0.5 % of the fish."""
    most = float((season.course.count + season.course.deaths)[0].sum(axis=-1).max())
    assert deaths(run_season(season.site, **changes)) <= deaths(season) + 0.005 * most


def is_broken(season: Season, changes: dict, limit: str, where: str = "tanks.one") -> bool:
    return finding_of(run_season(season.site, **changes), limit, where).is_broken


def margin_of(season: Season, changes: dict, limit: str, where: str = "tanks.one") -> float:
    """Worst margin of a limit in the season with some changes. [%]"""
    margin = finding_of(run_season(season.site, **changes), limit, where).margin_percent
    assert margin is not None
    return margin


def keeps(season: Season, changes: dict, limit: str, where: str = "tanks.one") -> bool:
    """Whether the season with some changes leaves the reserve of a limit that its site asks for."""
    return margin_of(season, changes, limit, where) >= reserve_percent(season.site, limit)
