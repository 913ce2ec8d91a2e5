"""Fish of a site as columns: stays in tanks, rations, and what each column begins with."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.beds import Planting
from stocksim.fish.energetics import PROTEIN_PER_NITROGEN, maintenance_rate
from stocksim.fish.growth import appetite_rate
from stocksim.fish.meals import USUAL_MEALS_PER_DAY, WAVES, Meal, meal_waves, usual_hours
from stocksim.fish.ration import feeding_days
from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY, training_hazard
from stocksim.fish.thermal import Lines, UsedTo, acclimated_to, lethal_lines, lower_lethal_c, temperature_hazard
from stocksim.library.feeds import USUAL_DRY_MATTER_DIGESTIBILITY, grams_like_pellets
from stocksim.library.sources import Entry
from stocksim.library.species import company_value, density_limits
from stocksim.memo import Memo, content_key
from stocksim.site.cohorts import events_in_order, roots
from stocksim.site.fish_tables import (
    WEEKDAYS,
    BedsRation,
    CohortTable,
    FeedEvent,
    FixedRation,
    FoundEvent,
    GradeEvent,
    MoveEvent,
    PercentRation,
    RationEvent,
    RemovalEvent,
    StockEvent,
    TableRation,
)
from stocksim.site.kinds import EVENT_KINDS, Act
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.reading import Site


@dataclass(frozen=True)
class Stay:
    """One column: ``cohort`` with ``table`` as it is from day ``first`` on; ``root`` is the cohort of the file.

    ``before`` is the column its fish lived in until then, -1 where they came to the site.
    """

    cohort: str
    root: str
    table: CohortTable
    first: int
    count: float
    before: int = -1


class Happening(NamedTuple):
    """What happens on the morning of a day, from column ``source`` to column ``target`` (-1: none).

    ``kind`` is the event's, ``number`` its place in the file; the amount is one of the rest, NaN where not given.
    """

    day: int
    number: int
    kind: str
    source: int
    target: int
    fish: float = float("nan")
    weight_g: float = float("nan")
    share: float = float("nan")
    above_g: float = float("nan")
    which: str = "largest"


def build_stays(site: Site) -> tuple[list[Stay], list[Happening]]:
    """Columns of a site and what happens between them, in the order it happens.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    tuple of list
        Stays, those of the file first in its order; happenings by day.
    """
    file, of_root = site.file, roots(site.file)
    start = file.season.start
    stays = [
        Stay(name, name, table, (table.stocked - start).days if table.stocked else 0, float(table.count))
        for name, table in file.cohorts.items()
    ]
    now = {stay.cohort: column for column, stay in enumerate(stays)}
    happenings: list[Happening] = []

    def begin(cohort: str, table: CohortTable, day: int, before: int) -> int:
        stays.append(Stay(cohort, of_root[cohort], table, day, 0.0, before))
        return len(stays) - 1

    def change(day: int, number: int, event: MoveEvent | FeedEvent | RationEvent) -> None:
        source = now[event.cohort]
        field = EVENT_KINDS[event.kind].changes
        table = stays[source].table.model_copy(update={field: getattr(event, field)})
        now[event.cohort] = begin(event.cohort, table, day, source)
        happenings.append(Happening(day, number, event.kind, source, now[event.cohort]))

    def grade(day: int, number: int, event: GradeEvent) -> None:
        source = now[event.cohort]
        table = stays[source].table.model_copy(update={"tank": event.tank})
        now[event.into] = begin(event.into, table, day, source)
        happenings.append(
            Happening(
                day, number, "grade", source, now[event.into], above_g=_given(event.above),
                share=_given(event.largest_share),
            )
        )  # fmt: skip

    def take(day: int, number: int, event: RemovalEvent) -> None:
        which = event.which or EVENT_KINDS[event.kind].usual_which
        share = 1.0 if event.all else _given(event.share)
        happenings.append(
            Happening(
                day, number, event.kind, now[event.cohort], -1, _given(event.count), _given(event.weight), share,
                _given(event.above), which,
            )
        )  # fmt: skip

    def have(day: int, number: int, event: StockEvent | FoundEvent) -> None:
        count, weight = _given(event.count), _given(event.mean_weight)
        happenings.append(Happening(day, number, event.kind, -1, now[event.cohort], count, weight))

    act: dict[type, Callable[..., None]] = {
        MoveEvent: change, FeedEvent: change, RationEvent: change, GradeEvent: grade, RemovalEvent: take,
        StockEvent: have, FoundEvent: have,
    }  # fmt: skip
    for number, event in events_in_order(file):
        act[type(event)]((event.date - start).days, number, event)
    return stays, happenings


def _given(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def last_days(stays: list[Stay], happenings: list[Happening], days: int) -> list[int]:
    """Day from which each column is empty because its fish went on to another; ``days`` where that never is."""
    ends = [days] * len(stays)
    for happening in happenings:
        if EVENT_KINDS[happening.kind].act is Act.CARRY:
            ends[happening.source] = happening.day
    return ends


# --- feeding rules of a site as arrays by column, and what they offer on a day

FloatArray = NDArray[np.float64]

# Practical over biological feed conversion 1.2 (range 1.0-1.4, engineering judgement of this project): the share of the
# offered feed that nobody eats.
DEFAULT_SPILLED_SHARE = 1.0 - 1.0 / 1.2
DEFAULT_APPETITE_FRACTION = 0.85  # ordinary stock (engineering judgement of this project)


@dataclass(frozen=True)
class Rations:
    """Feeding rules by column.

    Parameters
    ----------
    by_appetite : ndarray of bool, shape (column,)
        Rules that go by what fish would eat; the others offer an amount.
    fed_today : ndarray, shape (day, column)
        1 on days the rule feeds, 0 on others. [-]
    in_training : ndarray, shape (day, column)
        1 while wild fish learn to take feed. [-]
    tables : tuple of (int, weights, temperatures, percent)
        Column and its table of percent of body weight; a plain percentage is a table of one entry.
    fixed_g : ndarray, shape (column,)
        Feed a day of the column's whole tank [g/day], NaN where the rule is another.
    bed_led_g : ndarray, shape (day, column)
        Feed a day that the loop's beds ask for [g/day], NaN where the rule is another.
    meals : ndarray, shape (2 * WAVES, column)
        Hours of feeding as waves of the day, by `meal_waves`: real parts, then imaginary ones. [-]
    """

    by_appetite: NDArray[np.bool_]
    fed_today: FloatArray
    in_training: FloatArray
    tables: tuple[tuple[int, FloatArray, FloatArray, FloatArray], ...]
    fixed_g: FloatArray
    bed_led_g: FloatArray
    meals: FloatArray

    def first_days(self, days: int) -> Rations:
        """The rules on the first days of the season."""
        by_day = ("fed_today", "in_training", "bed_led_g")
        return replace(self, **{key: getattr(self, key)[..., :days, :] for key in by_day})


def build_rations(
    site: Site, stays: list[Stay], temperature_c: FloatArray, planting: Planting, column_loop: FloatArray
) -> Rations:
    """Rules of all columns.

    Parameters
    ----------
    site : Site
        A checked site.
    stays : list of Stay
        Its columns.
    temperature_c : ndarray, shape (day, column)
        Water of each column's tank. [degC]
    planting : Planting
        Planted areas; beds ask for the middle of the published band for the area that has one, or for the rule's own
        ratio times all of the planted area.
    column_loop : ndarray, shape (column, loop)
        1 where the column's tank is in the loop.

    Returns
    -------
    Rations
        Without scenario axes.
    """
    days, width = temperature_c.shape[0], len(stays)
    rules = [stay.table.ration for stay in stays]
    start = site.file.season.start
    weekdays = np.array([(start + dt.timedelta(days=day)).weekday() for day in range(days)])
    fed, training = np.ones((days, width)), np.zeros((days, width))
    fixed, led = np.full(width, np.nan), np.full((days, width), np.nan)
    tables = []
    for column, (stay, rule) in enumerate(zip(stays, rules, strict=True)):
        if rule is not None and rule.kind != "unfed":
            cold = [(entry.below, entry.feed_every_days) for entry in rule.cold_rules]
            stop = -np.inf if rule.stop_below is None else rule.stop_below
            fasting = [WEEKDAYS.index(name) for name in rule.fasting_days]
            asked = (
                temperature_c[:, column], weekdays, cold, stop, rule.restart_after_days, sorted(fasting),
                max(stay.first, 0), _unfed_days(stays, column, fed),
            )  # fmt: skip
            fed[:, column] = _fed.of(content_key(*asked), partial(_fed_on, *asked))
        if isinstance(rule, PercentRation):
            tables.append((column, np.zeros(1), np.zeros(1), np.full((1, 1), rule.percent) / _weighed(site, stay)))
        elif isinstance(rule, TableRation):
            percent = np.array(rule.percent, float) / _weighed(site, stay)
            tables.append((column, np.array(rule.weights), np.array(rule.temperatures), percent))
        elif isinstance(rule, FixedRation):
            fixed[column] = rule.per_day
        elif isinstance(rule, BedsRation):
            loop = int(column_loop[column].argmax())
            led[:, column] = bed_led_feed(planting, loop, rule.ratio)
        if stay.table.wild and not stay.table.trained:
            first = _arrival(site, stay)
            last = first + int(site.species[stay.table.species]["feed_training_days"])
            training[max(first, 0) : max(last, 0), column] = 1.0
    return Rations(
        by_appetite=np.array([rule is None or rule.kind in ("appetite", "unfed") for rule in rules], bool),
        fed_today=fed,
        in_training=training,
        tables=tuple(tables),
        fixed_g=fixed,
        bed_led_g=led,
        meals=_meals(site, stays),
    )


_fed: Memo[FloatArray] = Memo(128)  # some 2 kB each


def _fed_on(
    water: FloatArray, weekdays: NDArray[np.int64], cold: list[tuple[float, int]], stop: float, restart: int,
    fasting: list[int], first: int, unfed: float,
) -> FloatArray:  # fmt: skip
    return feeding_days(water, weekdays, cold, stop, restart, set(fasting), first, unfed)


def _unfed_days(stays: list[Stay], column: int, fed: FloatArray) -> float:
    """Days that the fish of a column went unfed before it began, in the columns they came from; infinite where new.

    A move, another rule or grading does not begin the count of an alternate-day rule anew.
    """
    first = end = stays[column].first
    while (column := stays[column].before) >= 0:
        stay = stays[column]
        is_fed = stay.table.ration is None or stay.table.ration.kind != "unfed"
        days = np.flatnonzero(fed[max(stay.first, 0) : max(end, 0), column]) if is_fed else np.zeros(0, int)
        if days.size:
            return float(first - 1 - max(stay.first, 0) - days[-1])
        end = stay.first
    return float("inf")


def bed_led_feed(planting: Planting, loop: int, ratio_g_m2_day: float | None = None) -> FloatArray:
    """Feed that the beds of a loop ask for, shape (day,). [g/day]

    By the middle of the published band, times the area that has one: nothing for crops without; by a ratio of the
    keeper's own, times all that is planted.
    """
    if ratio_g_m2_day is not None:
        return planting.loop_area_m2[:, loop] * ratio_g_m2_day
    middle = 0.5 * (planting.ratio_low + planting.ratio_high)[:, loop]
    return planting.rated_area_m2[:, loop] * np.nan_to_num(middle)


def _arrival(site: Site, stay: Stay) -> int:
    """Day on which the fish of a column came to the site."""
    stocked = site.file.cohorts[stay.root].stocked
    return (stocked - site.file.season.start).days if stocked else 0


def _weighed(site: Site, stay: Stay) -> float:
    """Share of a gram of feed that the percent of a column's rule counts: its dry matter, or all of it. [-]"""
    rule = stay.table.ration
    is_dry = isinstance(rule, (PercentRation, TableRation)) and rule.weighed == "dry"
    return site.feeds[stay.table.feed]["dry_matter"] if is_dry else 1.0


def feeding_hours(site: Site, stay: Stay) -> tuple[Meal, ...]:
    """Hours at which a column is fed: its rule's, the loop's, or the usual ones of so many meals. [h]"""
    rule = stay.table.ration
    told = getattr(rule, "feeding_hours", None)
    number = getattr(rule, "meals_per_day", None)
    if told is None and number is None:
        told = site.file.loops[site.file.tanks[stay.table.tank].loop].feeding_hours
    return told if told is not None else usual_hours(USUAL_MEALS_PER_DAY if number is None else number)


def _meals(site: Site, stays: Sequence[Stay]) -> FloatArray:
    waves = np.array([meal_waves(feeding_hours(site, stay)) for stay in stays], complex).reshape(-1, WAVES)
    return np.ascontiguousarray(np.concatenate([waves.real, waves.imag], axis=1).T)


def ration_fraction(stay: Stay) -> float:
    """Share of appetite that a column is fed; 1 where the rule offers an amount. [-]"""
    rule = stay.table.ration
    if rule is None:
        return DEFAULT_APPETITE_FRACTION
    if rule.kind == "unfed":
        return 0.0
    return rule.fraction if rule.kind == "appetite" else 1.0


def spilled_share(stay: Stay) -> float:
    """Share of the offered feed that nobody eats. [-]"""
    given = getattr(stay.table.ration, "spilled_share", None)
    return DEFAULT_SPILLED_SHARE if given is None else given


# --- the fish side of a layout: one column for every stay of a cohort


SPECIES_KEYS = (
    "intake_exponent", "growth_efficiency", "fasting_loss_fraction", "body_energy", "body_protein", "oxygen_lethal",
    "oxygen_recommended", "unionized_ammonia_design", "unionized_ammonia_acute", "temperature_low_limit",
    "temperature_high_stress", "nitrite_limit", "chloride_protects", "temperature_change_per_day",
)  # fmt: skip
# in the order of the day's rows of company
COMPANY_KEYS = (
    "prey_share_deep", "prey_share_slender", "body_depth", "eats_own", "sibling_loss", "sibling_length", "size_spread",
    "length_weight_intercept", "length_weight_slope", "farmed_condition",
)  # fmt: skip


# what stands in for a value that a species file may leave out: a number, or another value of the file
SPECIES_DEFAULTS: dict[str, float | str] = {
    "nitrite_lethal": math.inf,  # not known: no deaths of nitrite are counted
    "nitrite_lethal_chloride": 0.0,
    "oxygen_full_appetite": "oxygen_recommended",
}


def membership(rows: list[str], columns: tuple[str, ...]) -> FloatArray:
    """Matrix of 1 where the row's name is the column's, shape (rows, columns)."""
    return np.array([[float(row == column) for column in columns] for row in rows]).reshape(len(rows), len(columns))


def fish_columns(site: Site, temperature_c: FloatArray, tank_loop: FloatArray, planting: Planting) -> dict[str, Any]:
    """Fields of a layout that belong to its fish.

    Parameters
    ----------
    site : Site
        A checked site.
    temperature_c : ndarray, shape (day, loop)
        Water of each loop. [degC]
    tank_loop : ndarray, shape (tank, loop)
        1 where the tank is in the loop.
    planting : Planting
        Its planted areas.

    Returns
    -------
    dict
        Arrays by field name, without scenario axes.
    """
    stays, happenings = build_stays(site)
    columns = _columns.of(
        content_key(site.stay_content, temperature_c, planting.stands.key),
        lambda: _columns_of(site, stays, happenings, temperature_c, tank_loop, planting),
    )
    return {**columns, "stays": tuple(stays), "happenings": tuple(happenings)}


_columns: Memo[dict[str, Any]] = Memo(64)  # some 0.2 MB each; fish that are taken out change none of them


def _columns_of(
    site: Site, stays: list[Stay], happenings: list[Happening], temperature_c: FloatArray, tank_loop: FloatArray,
    planting: Planting,
) -> dict[str, Any]:  # fmt: skip
    """Fields of a layout by fish column, but for the stays and what happens between them."""
    entries = [site.species[stay.table.species] for stay in stays]
    feeds = [site.feeds[stay.table.feed] for stay in stays]
    cohort_tank = membership([stay.table.tank for stay in stays], tuple(site.file.tanks))
    water = temperature_c @ (cohort_tank @ tank_loop).T
    ends = last_days(stays, happenings, site.days)

    def of_feed(key: str) -> FloatArray:
        return np.array([feed[key] for feed in feeds], float)

    species = {key: np.array([entry[key] for entry in entries], float) for key in SPECIES_KEYS}
    for key, other in SPECIES_DEFAULTS.items():
        species[key] = np.array(
            [entry.number(key, entry[other] if isinstance(other, str) else other) for entry in entries], float
        )
    species |= {key: np.array([company_value(entry, key) for entry in entries], float) for key in COMPANY_KEYS}
    dense = [density_limits(entry, site.file.site.density_level) for entry in entries]
    nitrogen = of_feed("protein") / PROTEIN_PER_NITROGEN
    rations = build_rations(site, stays, water, planting, cohort_tank @ tank_loop)
    return {
        "cohorts": tuple(stay.cohort for stay in stays),
        "cohort_tank": cohort_tank,
        "count": np.array([stay.count for stay in stays], float),
        "start_weight_g": np.array([stay.table.mean_weight for stay in stays], float),
        "size_spread": np.array([_spread(stay, entry) for stay, entry in zip(stays, entries, strict=True)], float),
        "ration_fraction": np.array([ration_fraction(stay) for stay in stays], float),
        "spilled_share": np.array([spilled_share(stay) for stay in stays], float),
        "everyday_hazard": np.full(len(stays), BACKGROUND_DEATHS_PER_DAY),
        "stocked_day": np.array([stay.first for stay in stays], dtype=int),
        "until_day": np.array(ends, dtype=int),
        "rations": rations,
        "species": species,
        **by_water(site, stays, happenings, rations, water),
        "feed_energy_kj_g": of_feed("digestible_energy"),
        "feed_gross_kj_g": of_feed("gross_energy"),
        "feed_nitrogen": nitrogen,
        "feed_digested_nitrogen": nitrogen * of_feed("protein_digestibility"),
        "feed_potassium": of_feed("potassium"),
        "feed_phosphorus": of_feed("phosphorus"),
        "feed_dry_matter": of_feed("dry_matter"),
        "feed_digested_dry_matter": np.array(
            [feed.number("dry_matter_digestibility", USUAL_DRY_MATTER_DIGESTIBILITY) for feed in feeds], float
        ),
        "density_limit": np.array([limits.of_tank for limits in dense], float),
        "growth_density": np.array([limits.of_own for limits in dense], float),
    }


def _spread(stay: Stay, entry: Entry) -> float:
    given = stay.table.size_spread
    return entry["size_spread"] if given is None else given


def by_water(
    site: Site, stays: Sequence[Stay], happenings: Sequence[Happening], rations: Rations, temperature_c: FloatArray
) -> dict[str, Any]:
    """Fields of a layout that follow from the water of each column.

    Parameters
    ----------
    site : Site
        A checked site.
    stays, happenings, rations
        Its columns, what happens to them, and their feeding rules.
    temperature_c : ndarray, shape (..., day, column)
        Water of each column's tank. [degC] Leading axes are scenarios.

    Returns
    -------
    dict
        Appetite and maintenance, hazards and change of temperature, each of the shape of the temperature.
    """
    entries = [site.species[stay.table.species] for stay in stays]
    feeds = [site.feeds[stay.table.feed] for stay in stays]
    lines, used_to = _what_fish_bear(site, stays, temperature_c)
    cold, heat = temperature_hazard(temperature_c, used_to, lines)
    appetite, maintenance = _daily_rates(site, stays, entries, feeds, temperature_c)
    return {
        "appetite_at_1g": appetite,
        "maintenance_per_kg": maintenance,
        "daily_hazard": BACKGROUND_DEATHS_PER_DAY + cold + heat + rations.in_training * _training_deaths(entries),
        "cold_hazard": cold,
        "heat_hazard": heat,
        "temperature_change_c": np.maximum(
            _temperature_change(stays, happenings, temperature_c), _by_new_water(site, stays, temperature_c)
        ),
    }


def _daily_rates(
    site: Site, stays: Sequence[Stay], entries: list[Entry], feeds: list[Entry], temperature_c: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Appetite of a 1 g fish and maintenance of a 1 kg fish, each shape (..., day, column)."""
    appetite = np.zeros_like(temperature_c)
    maintenance = np.zeros_like(temperature_c)
    for column, (stay, entry, feed) in enumerate(zip(stays, entries, feeds, strict=True)):
        daily = temperature_c[..., column]
        sex = stay.table.sex
        factor = 1.0 if sex == "mixed" else entry[f"appetite_{sex}"]
        if stay.table.strain is not None:
            factor *= entry.strains[stay.table.strain].appetite
        factor *= grams_like_pellets(entry, feed, site.folder)
        appetite[..., column] = factor * appetite_rate(entry.__getitem__, daily)
        maintenance[..., column] = maintenance_rate(
            daily, entry["maintenance_at_20"], entry["maintenance_q10_cold"], entry["maintenance_q10_warm"]
        )
    return appetite, maintenance


def cold_lethal_c(site: Site, stays: Sequence[Stay], temperature_c: FloatArray) -> FloatArray:
    """Cold that half of the fish of each column would outlive for four days, by what they are used to that morning.

    Parameters
    ----------
    site : Site
        A checked site.
    stays : sequence of Stay
        Its columns.
    temperature_c : ndarray, shape (..., day, column)
        Water of each column's tank. [degC]

    Returns
    -------
    ndarray, shape (..., day, column)
        [degC] Far below any water for species of which it is not known.
    """
    lines, used_to = _what_fish_bear(site, stays, temperature_c)
    return lower_lethal_c(used_to.for_cold_c, lines)


def _what_fish_bear(site: Site, stays: Sequence[Stay], temperature_c: FloatArray) -> tuple[Lines, UsedTo]:
    """Lethal lines of each column, and what its fish are used to, shape (..., day, column)."""
    of_species = [lethal_lines(site.species[stay.table.species].number) for stay in stays]
    lines = Lines(*np.array(of_species, float).reshape(len(stays), len(Lines._fields)).T)
    # before they come fish are used to the water they come into, or live where they were
    lived = temperature_c.copy()
    for column, stay in enumerate(stays):
        first = min(stay.first, lived.shape[-2] - 1)
        came_from = lived[..., first : first + 1, column] if stay.before < 0 else lived[..., :first, stay.before]
        lived[..., :first, column] = came_from
    # trials of counts, feed and air leave the water as it is
    used_to = _used_to.of(content_key(lived, lines), lambda: acclimated_to(np.moveaxis(lived, -2, 0), lines))
    return lines, UsedTo(*(np.moveaxis(part, 0, -2) for part in used_to))


_used_to: Memo[UsedTo] = Memo(64)  # some 30 kB each


def _training_deaths(entries: list[Entry]) -> FloatArray:
    return np.array(
        [float(training_hazard(entry["feed_training_loss"], entry["feed_training_days"])) for entry in entries], float
    )


def _by_new_water(site: Site, stays: Sequence[Stay], temperature_c: FloatArray) -> FloatArray:
    """Jump of temperature when a planned change mixes in water of a given temperature. [degC]"""
    jump = np.zeros_like(temperature_c)
    loops = [site.file.tanks[stay.table.tank].loop for stay in stays]
    for key, loop in site.file.loops.items():
        columns = [column for column, name in enumerate(loops) if name == key]
        for change in loop.water_changes:
            if change.temperature is None or not columns:
                continue
            day = (change.date - site.file.season.start).days
            share = change.volume / loop_water_m3(site.file, key)
            jump[..., day, columns] = share * np.abs(change.temperature - temperature_c[..., day, columns])
    return jump


def _temperature_change(
    stays: Sequence[Stay], happenings: Sequence[Happening], temperature_c: FloatArray
) -> FloatArray:
    """Change of water from the day before, the move into another loop included, shape (..., day, column). [degC]"""
    change = np.abs(np.diff(temperature_c, axis=-2, prepend=temperature_c[..., :1, :]))
    for column, stay in enumerate(stays):
        if stay.first < change.shape[-2]:
            change[..., stay.first, column] = 0.0
    for happening in happenings:
        if happening.source >= 0 and happening.target >= 0 and happening.day > 0:
            day, source, target = happening.day, happening.source, happening.target
            change[..., day, target] = np.abs(temperature_c[..., day, target] - temperature_c[..., day - 1, source])
    return change
