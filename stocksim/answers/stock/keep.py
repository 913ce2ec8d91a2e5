"""A plan that keeps the fish that are there to their harvest, by the least change: the season's own advice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from stocksim.answers.stock.apart import advise_apart
from stocksim.answers.stock.less import UNUSED, advise_more, best_first, given
from stocksim.changes.change import prove
from stocksim.changes.effort import fish_kg
from stocksim.changes.search import Progress
from stocksim.changes.ways import Advice, Way
from stocksim.engine.results.deaths import ledger
from stocksim.engine.results.frames import Season
from stocksim.site.reading import Site

_WISHES = ("candidates", "options", "harvest_wishes", "own", "species_at_least", "budget")  # of the stocking table


@dataclass(frozen=True)
class KeptPlan:
    """What keeps the fish of a site.

    Parameters
    ----------
    season : Season
        As the file has it.
    advice : Advice
        What the season advises.
    way : Way or None
        The way of it that keeps most fish; None where nothing has to change.
    after : Season
        With that way.
    """

    season: Season
    advice: Advice
    way: Way | None
    after: Season

    @property
    def site(self) -> Site:
        """The site as the file has it."""
        return self.season.site

    @property
    def fields(self) -> Mapping[str, Any]:
        """What the plan writes into the site file."""
        return self.way.fields if self.way else {}

    @property
    def tables(self) -> dict[str, Any]:
        """Tables of the planned site file."""
        return dict(self.after.site.raw)

    @cached_property
    def fish(self) -> float:
        """Fish that the file's cohorts have, stocked on whatever day."""
        return sum(entries["stocked"][0] for entries in ledger(self.season.layout, self.season.course).values())

    @property
    def lived(self) -> Season:
        """The season that the answer tells of: with the plan, or as the file has it where nothing has to change."""
        return self.after if self.advice.must_change else self.season

    @cached_property
    def kept(self) -> float:
        """Fish that are harvested, or alive at the season's end."""
        return kept_fish(self.lived)

    @cached_property
    def kept_kg(self) -> float:
        """Kilos of fish harvested, sold or eaten small, and left at the end. [kg]"""
        return fish_kg(self.lived)

    @property
    def is_harmless(self) -> bool:
        """Whether the plan leaves no limit broken that harms fish."""
        return not self.advice.must_change or (self.way is not None and not self.way.left)


def kept_fish(season: Season) -> float:
    """Fish that are harvested by a date, or alive at the season's end."""
    return given(season).fish


def is_to_keep(site: Site, goals: Sequence[str] | None) -> bool:
    """Whether the fish that are there are to be kept: asked for so, or where neither file nor keeper names a goal.

    Not where the file offers fish to buy or wishes for more: then what to take is chosen by `plan_stocking`.
    """
    stocking = site.raw.get("stocking", {})
    if any(stocking.get(key) for key in _WISHES):
        return False
    asked = goals or (stocking.get("goal", "keep"),)
    return tuple(asked) == ("keep",)


def keep_plan(site: Site, progress: Progress | None = None) -> KeptPlan:
    """Keep the fish that are there, by the least change that a run of the season proves.

    Parameters
    ----------
    site : Site
        A checked site.
    progress : callable, optional
        As for `advise`.

    Returns
    -------
    KeptPlan
        Of the ways that leave least broken, the one with most fish harvested or alive at the end; the same on every
        machine, for work is counted in seasons. Loops between which no fish are moved are planned apart and added;
        all together as well where one of them cannot be mended by itself.
    """
    season = prove(site, {})
    advice = advise_apart(season, progress)
    if advice is None or any(way.left for way in advice.ways[:1]):  # a move into another loop may help
        whole = advise_more(season, progress)
        advice = whole if advice is None else _either(advice, whole)
    # where nothing has to change, tanks filled in part are another way: they keep no caution
    ways = [way for way in advice.ways if advice.must_change or way.kind != UNUSED]
    way = next(iter(best_first(site, ways)), None)
    return KeptPlan(season, advice, way, prove(site, way.fields) if way else season)


def _either(apart: Advice, whole: Advice) -> Advice:
    """Ways of loops by themselves and those of all together, to choose from."""
    ways = (*apart.ways, *(way for way in whole.ways if all(way.fields != other.fields for other in apart.ways)))
    is_finished = apart.is_finished and whole.is_finished
    return replace(whole, ways=ways, seasons=apart.seasons + whole.seasons, is_finished=is_finished)
