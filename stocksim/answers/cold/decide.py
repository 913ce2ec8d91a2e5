"""What a degree costs: set points and measures through the cold months, side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from stocksim.answers.cold.choice import Option, on_frontier, recommend, spares
from stocksim.answers.cold.options import (
    Choice,
    choices,
    computed_site,
    measures,
    measures_on,
    spare_heater,
    stacked_plan,
    warm_loop_changes,
)
from stocksim.answers.cold.tally import FailedHeater, failed_heater, is_held, one_of, tallied
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
    recommended : str
        Name of an option.
    reason, change : str
        Why, and what would change it.
    worth : float
        Money for a kilo of fish.
    years, seed : int
        Synthetic years and the seed of their random numbers.
    failed, failed_recommended : FailedHeater
        Heaters that fail on the design night, as the file says and as recommended.
    notes : tuple of str
        What was set aside, assumed or left out.
    """

    site: Site
    warmth: Warmth
    options: tuple[Option, ...]
    recommended: str
    reason: str
    change: str
    worth: float
    is_worth_assumed: bool
    years: int
    seed: int
    failed: FailedHeater
    failed_recommended: FailedHeater
    notes: tuple[str, ...]

    @property
    def plan(self) -> Option:
        """The file's own way."""
        return self.options[0]

    @property
    def best(self) -> Option:
        """The recommended option, which may be the file's own way."""
        return self.option(self.recommended)

    @property
    def spared(self) -> list[Option]:
        """Options that harm no fish by temperature more than another one would."""
        return spares(list(self.options))

    def option(self, name: str) -> Option:
        """Option of a name."""
        return next(option for option in self.options if option.name == name)


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
    money, units = DEFAULT_WORTH if worth is None else worth, computed.file.site.units
    sites = {choice.name: (computed, choice) for choice in tried}
    base = sites[recommend(found, money, units).name][1]
    if base.heaters:
        more = measures_on(base, measures(computed.file))
        sites |= {choice.name: (computed, choice) for choice in more}
        found += tallied(computed, more, weather, years, seed, lambda part: tell(66 + int(20 * part), 100))
    split = warm_loop_changes(computed)
    if isinstance(split, str):
        notes.append(split)
    else:
        name, changes = split
        parted, own = computed.with_changes(changes), dict(heaters(computed.file))
        sites[name] = (parted, Choice(name))
        found += tallied(parted, [Choice(name)], weather, years, seed, lambda part: tell(86 + int(8 * part), 100), own)
    failed = failed_heater(computed, warmth.plan, weather)
    options = on_frontier(found)
    best, reason, change = recommend(options, money, units)
    of_best, chosen = sites[best]
    if best != options[0].name:
        failed_best = failed_heater(of_best, one_of(stacked_plan(of_best, [chosen], weather.wind_m_s), 0), weather)
    else:
        failed_best = failed
    notes += [*weather.notes, *design_notes(computed.file, warmth), *_said(computed.file, tried)]
    tell(100, 100)
    return Cold(
        computed, warmth, tuple(options), best, reason, change, money, worth is None, years, seed, failed,
        failed_best, tuple(notes),
    )  # fmt: skip


def _said(file: SiteFile, tried: list[Choice]) -> list[str]:
    """What is assumed of crops, air and set points, where it applies."""
    notes = []
    if not any(choice.place for choice in tried):
        notes.append(
            "No set point is tried, for no room and no computed loop has a heater; give one, as greenhouse.heater, to "
            "see what a degree costs."
        )
    else:
        swept = {choice.place for choice in tried}
        stocked = {file.tanks[cohort.tank].loop for cohort in file.cohorts.values()}
        notes += [
            f"Water of loop {key} is not tried at other set points: neither it nor a room has a heater."
            for key in sorted(stocked)
            if not is_held(file, key) and f"loops.{key}" not in swept and spare_heater(file) is None
        ]
    if not file.beds:
        return notes
    notes.append(
        "Crops are what light, the greenhouse's air and the water allow if no nutrient is short. Below about 10 degC "
        "basil, tomatoes and cucumbers are harmed (common practice), which the model does not know: weigh that by hand "
        "where an option cools the air."
    )
    if file.greenhouse is None:
        return notes
    if any(room_of(bed.heat, file, bed.loop) == "fish_room" for bed in file.beds.values()):
        notes.append("Beds in the fish room are taken to have the greenhouse's air here.")
    if file.site.air_temperature is not None:
        notes.append("site.air_temperature is set aside here: crops have the greenhouse's computed air.")
    return notes
