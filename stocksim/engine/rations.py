"""Feeding rules of a site as arrays by column, and what they offer on a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.planting import Planting
from stocksim.engine.stays import Stay
from stocksim.fish.ration import feeding_days, meal_peak_factor
from stocksim.site.fish_tables import WEEKDAYS, BedsRation, FixedRation, PercentRation, TableRation
from stocksim.site.reading import Site

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
    meal_swing : ndarray, shape (column,)
        Daily swing of use and excretion over the usual one. [-]
    """

    by_appetite: NDArray[np.bool_]
    fed_today: FloatArray
    in_training: FloatArray
    tables: tuple[tuple[int, FloatArray, FloatArray, FloatArray], ...]
    fixed_g: FloatArray
    bed_led_g: FloatArray
    meal_swing: FloatArray

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
            fasting = {WEEKDAYS.index(name) for name in rule.fasting_days}
            fed[:, column] = feeding_days(
                temperature_c[:, column], weekdays, cold, stop, rule.restart_after_days, fasting, max(stay.first, 0),
                _unfed_days(stays, column, fed),
            )  # fmt: skip
        if isinstance(rule, PercentRation):
            tables.append((column, np.zeros(1), np.zeros(1), np.full((1, 1), rule.percent)))
        elif isinstance(rule, TableRation):
            tables.append((column, np.array(rule.weights), np.array(rule.temperatures), np.array(rule.percent, float)))
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
        meal_swing=np.array([_meal_swing(rule) for rule in rules], float),
    )


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


def _meal_swing(rule: object) -> float:
    meals = getattr(rule, "meals_per_day", None)
    return 1.0 if meals is None else float(meal_peak_factor(meals))


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
