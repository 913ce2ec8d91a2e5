"""What a degree costs: set points and measures through the cold months, side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from stocksim.answers.cold.choice import Option, Verdict, on_frontier, recommend, spares
from stocksim.answers.cold.options import (
    Choice,
    Note,
    NoteKind,
    choices,
    computed_site,
    measures,
    measures_on,
    spare_heater,
    stacked_plan,
    warm_loop,
)
from stocksim.answers.cold.tally import FailedHeater, failed_heater, is_held, one_of, tallied
from stocksim.changes.change import Change
from stocksim.heat.hourly import Warmth, site_warmth
from stocksim.heat.notes import design_notes
from stocksim.heat.temperatures import typed_c
from stocksim.site.climate_faults import heaters
from stocksim.site.model import SiteFile
from stocksim.site.reading import Site
from stocksim.site.rooms import room_of
from stocksim.site.weather import site_weather

Progress = Callable[[int, int], None]

DEFAULT_WORTH = 8.0  # of a kilo of fish, in the money of the fuel prices; assumed where the keeper gives none
DEFAULT_YEARS, DEFAULT_SEED = 40, 1


@dataclass(frozen=True)
class Cold:
    """Answer of the comparison.

    Parameters
    ----------
    site : Site
        Its computed form.
    warmth : Warmth
        Its heat as the file says, by the hour.
    options : tuple of Option
        The file's own way first.
    verdict : Verdict
        Which option is recommended, why, and what would change it.
    worth : float
        Money for a kilo of fish.
    years, seed : int
        Synthetic years and the seed of their random numbers.
    failed, failed_recommended : FailedHeater
        Heaters that fail on the design night, as the file says and as recommended.
    notes : tuple of Note or str
        What was set aside, assumed or left out; those of weather and house are sentences already.
    """

    site: Site
    warmth: Warmth
    options: tuple[Option, ...]
    verdict: Verdict
    worth: float
    is_worth_assumed: bool
    years: int
    seed: int
    failed: FailedHeater
    failed_recommended: FailedHeater
    notes: tuple[Note | str, ...]

    @property
    def plan(self) -> Option:
        """The file's own way."""
        return self.options[0]

    @property
    def best(self) -> Option:
        """The recommended option, which may be the file's own way."""
        return self.option(self.verdict.best.change)

    @property
    def spared(self) -> list[Option]:
        """Options that harm no fish by temperature more than another one would."""
        return spares(list(self.options))

    def option(self, change: Change | None) -> Option:
        """Option of a change of the computed site; None is the file's own way."""
        return next(option for option in self.options if option.change == change)


def compare_cold(
    site: Site,
    worth: float | None = None,
    years: int = DEFAULT_YEARS,
    seed: int = DEFAULT_SEED,
    progress: Progress | None = None,
) -> Cold:
    """Compare set points and measures over a site's season.

    Parameters
    ----------
    site : Site
        A checked site with weather, a room and a latitude.
    worth : float, optional
        Money for a kilo of fish grown, in the money of the fuel prices; 8 where not given, and said.
    years, seed : int
        Synthetic years for the cold risk, and the seed of their random numbers.
    progress : callable, optional
        Called with (done, total).

    Returns
    -------
    Cold
        Options, recommendation, coldest night.

    Raises
    ------
    InputError
        If the site cannot be computed.
    """
    tell = progress or (lambda done, total: None)
    computed, notes = computed_site(site)
    tell(2, 100)
    weather = site_weather(computed.file, computed.folder)
    warmth = site_warmth(computed.file, computed.folder, typed_c(computed))
    tell(6, 100)
    tried = choices(computed)
    found = tallied(computed, tried, weather, years, seed, lambda part: tell(6 + int(60 * part), 100))
    money = DEFAULT_WORTH if worth is None else worth
    runs = [(computed, choice) for choice in tried]  # in the order of what is found
    _, base = runs[_place_of(found, recommend(found, money))]
    if base.heaters:
        more = measures_on(base, measures(computed.file))
        runs += [(computed, choice) for choice in more]
        found += tallied(computed, more, weather, years, seed, lambda part: tell(66 + int(20 * part), 100))
    split = warm_loop(computed)
    if split is not None:
        parted, own, choice = computed.with_changes(split.fields), dict(heaters(computed.file)), Choice(split)
        runs.append((parted, choice))
        found += tallied(parted, [choice], weather, years, seed, lambda part: tell(86 + int(8 * part), 100), own)
    failed = failed_heater(computed, warmth.plan, weather)
    options = on_frontier(found)
    verdict = recommend(options, money)
    of_best, chosen = runs[_place_of(options, verdict)]
    if verdict.best is not verdict.plan:
        failed_best = failed_heater(of_best, one_of(stacked_plan(of_best, [chosen], weather.wind_m_s), 0), weather)
    else:
        failed_best = failed
    notes += [Note(NoteKind.NO_MIXED_LOOP)] if split is None else []
    house = [*weather.notes, *design_notes(computed, warmth)]
    tell(100, 100)
    return Cold(
        computed, warmth, tuple(options), verdict, money, worth is None, years, seed, failed, failed_best,
        (*notes, *house, *_said(computed.file, tried)),
    )  # fmt: skip


def _place_of(options: list[Option], verdict: Verdict) -> int:
    """Place of the recommended option among those that it was chosen from."""
    return next(at for at, option in enumerate(options) if option is verdict.best)


def _said(file: SiteFile, tried: list[Choice]) -> list[Note]:
    """What is assumed of crops, air and set points, where it applies."""
    notes = []
    if not any(choice.place for choice in tried):
        notes.append(Note(NoteKind.NO_HEATER))
    else:
        swept = {choice.place for choice in tried}
        stocked = {file.tanks[cohort.tank].loop for cohort in file.cohorts.values()}
        notes += [
            Note(NoteKind.NO_WATER_HEATER, key)
            for key in sorted(stocked)
            if not is_held(file, key) and f"loops.{key}" not in swept and spare_heater(file) is None
        ]
    if not file.beds:
        return notes
    notes.append(Note(NoteKind.CROPS))
    if file.greenhouse is None:
        return notes
    if any(room_of(bed.heat, file, bed.loop) == "fish_room" for bed in file.beds.values()):
        notes.append(Note(NoteKind.BEDS_IN_FISH_ROOM))
    if file.site.air_temperature is not None:
        notes.append(Note(NoteKind.AIR_SET_ASIDE))
    return notes
