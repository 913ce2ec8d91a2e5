"""What a degree costs: set points and measures through the cold months, side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from stocksim.answers.cold.choice import (
    RUNS_KWH,
    Option,
    is_of_warmth,
    on_frontier,
    spares,
)
from stocksim.answers.cold.options import (
    SET_POINTS,
    Choice,
    Note,
    NoteKind,
    choices,
    computed_site,
    crossed,
    heater_places,
    measures,
    measures_on,
    stacked_plan,
)
from stocksim.answers.cold.recommend import Verdict, Why, recommend, warmest_waters
from stocksim.answers.cold.tally import FailedHeater, failed_heater, one_of, tallied
from stocksim.answers.cold.warm_loop import warm_loop
from stocksim.changes.change import ADVICE_OF, Action, Change
from stocksim.changes.heat import electric_heater
from stocksim.changes.search import prove_change
from stocksim.engine.running import run_season
from stocksim.heat.hourly import Warmth, site_warmth
from stocksim.heat.notes import design_notes
from stocksim.heat.temperatures import typed_c
from stocksim.site.climate_faults import heaters
from stocksim.site.model import SiteFile
from stocksim.site.reading import Site
from stocksim.site.rooms import ROOMS, room_of
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
    season_advice : tuple of Change
        What the season advises against water too cold, where no option spares every fish.
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
    season_advice: tuple[Change, ...] = ()

    @property
    def is_heat_forbidden(self) -> bool:
        """Whether the keeper wants no advice on heat."""
        return is_heat_forbidden(self.site.file)

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
    found = tallied(computed, tried, weather, years, seed, lambda part: tell(6 + int(50 * part), 100))
    money = DEFAULT_WORTH if worth is None else worth
    crop_worth = computed.file.advice.crop_worth
    runs, found = _worth_telling([(computed, choice) for choice in tried], found)
    # air and water together on top of the best of these, then measures on top of the best of all
    for at, further in ((56, crossed), (62, crossed), (68, _measures_on)):
        said = recommend(found, money, crop_worth)
        bases = [said.best]
        if at == 56 and not (said.best.change is not None and said.best.change.kind in SET_POINTS):
            bases = warmest_waters(found, crop_worth)
        elif further is _measures_on and said.without_crops is not None:
            bases.append(said.without_crops.option)
        more: list[Choice] = []
        for base in bases:
            made = [option.change for option in found] + [choice.change for choice in more]
            more += [one for one in further(computed, runs[_place_of(found, base)][1]) if one.change not in made]
        if more:
            new = tallied(computed, more, weather, years, seed, partial(_told, tell, at))
            kept, new = _worth_telling([(computed, choice) for choice in more], new)
            runs, found = runs + kept, found + new
    split = warm_loop(computed)
    if split is not None:
        parted, own, choice = computed.with_changes(split.fields), dict(heaters(computed.file)), Choice(split)
        runs.append((parted, choice))
        found += tallied(parted, [choice], weather, years, seed, lambda part: tell(86 + int(8 * part), 100), own)
    failed = failed_heater(computed, warmth.plan, weather)
    options = on_frontier(found)
    verdict = recommend(options, money, crop_worth)
    of_best, chosen = runs[_place_of(options, verdict.best)]
    if verdict.best is not verdict.plan:
        failed_best = failed_heater(of_best, one_of(stacked_plan(of_best, [chosen], weather.wind_m_s), 0), weather)
    else:
        failed_best = failed
    is_mixed_unknown = split is None and not is_heat_forbidden(computed.file)
    notes += [Note(NoteKind.NO_MIXED_LOOP)] if is_mixed_unknown else []
    house = [*weather.notes, *design_notes(computed, warmth)]
    tell(100, 100)
    return Cold(
        computed, warmth, tuple(options), verdict, money, worth is None, years, seed, failed, failed_best,
        (*notes, *house, *_said(computed.file, tried)),
        _season_advice(site) if verdict.why is Why.LEAST_HARM else (),
    )  # fmt: skip


def is_heat_forbidden(file: SiteFile) -> bool:
    """Whether the keeper wants no advice on heat."""
    return ADVICE_OF[Action.SET_POINT] in file.advice.never


def _measures_on(site: Site, base: Choice) -> list[Choice]:
    """Measures on top of a choice of set points, or all at once on the file's own."""
    return measures_on(base, measures(site.file))


def _season_advice(site: Site) -> tuple[Change, ...]:
    """What the season's advice has against water too cold."""
    season = run_season(site)
    cold = [finding for finding in season.findings if finding.is_broken and is_of_warmth(finding.limit, True)]
    found = [prove_change(season, finding).change for finding in cold]
    return tuple(change for at, change in enumerate(found) if change is not None and change not in found[:at])


def _told(tell: Progress, at: int, part: float) -> None:
    tell(at + int(12 * part), 100)


def _place_of(options: list[Option], best: Option) -> int:
    """Place of an option among those that it was chosen from."""
    return next(at for at, option in enumerate(options) if option is best)


def _worth_telling(
    runs: list[tuple[Site, Choice]], found: list[Option]
) -> tuple[list[tuple[Site, Choice]], list[Option]]:
    """Choices and options without those of a heater to buy that never runs, for the water is as warm already."""
    pairs = [(run, o) for run, o in zip(runs, found, strict=True) if not _is_idle(o)]
    return [run for run, _ in pairs], [option for _, option in pairs]


def _is_idle(option: Option) -> bool:
    own = sum(use.heat_kwh for use in option.fuel if use.place == option.place)
    return option.place.startswith("loops.") and option.place not in option.installed_kw and own <= RUNS_KWH


def _said(file: SiteFile, tried: list[Choice]) -> list[Note]:
    """What is assumed of crops, air and set points, where it applies."""
    notes = []
    places = heater_places(file)
    swept = list(dict.fromkeys(choice.place for choice in tried if choice.place))
    if is_heat_forbidden(file):
        notes.append(Note(NoteKind.HEAT_FORBIDDEN))
    elif not swept:
        notes.append(Note(NoteKind.NO_HEATER))
    elif not any(room in places for room in ROOMS):
        notes.append(Note(NoteKind.NO_ROOM_HEATER))
    if "price" not in electric_heater(file, "1 kW", "0 degC"):
        bought = [place.removeprefix("loops.") for place in swept if place not in places]
        notes += [Note(NoteKind.UNPRICED_WATER_HEATER, key) for key in bought]
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
