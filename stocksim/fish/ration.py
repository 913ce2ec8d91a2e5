"""What the keeper offers: ration tables, and the days on which fish are fed."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import jitable

FloatArray = NDArray[np.float64]


def table_ration(
    weight_g: ArrayLike,
    temperature_c: ArrayLike,
    weights_g: ArrayLike,
    temperatures_c: ArrayLike,
    percent: ArrayLike,
) -> FloatArray:
    """Ration of a feeding table, between its entries along straight lines in both directions.

    Parameters
    ----------
    weight_g : array_like, shape (...)
        Mean weight. [g]
    temperature_c : array_like, shape (...)
        Water temperature. [degC]
    weights_g : array_like, shape (columns,)
        Weights of the table's columns, rising. [g]
    temperatures_c : array_like, shape (rows,)
        Temperatures of its rows, rising. [degC]
    percent : array_like, shape (rows, columns)
        Daily feed as percent of body weight. [%/day]

    Returns
    -------
    ndarray, shape (...)
        Ration. [%/day] Outside the table that of its nearest edge: a fish heavier than the last column is fed as the
        last column, water colder than the first row as the first row. Feeding in the cold is `feeding_days`' business.

    Examples
    --------
    >>> table_ration([10.0, 30.0, 99.0], 12.5, [10.0, 50.0], [10.0, 15.0], [[3.0, 2.0], [4.0, 3.0]])
    array([3.5, 3. , 2.5])
    """
    weights, temperatures = np.asarray(weights_g, float), np.asarray(temperatures_c, float)
    table = np.asarray(percent, float)
    weight, water = np.broadcast_arrays(np.asarray(weight_g, float), np.asarray(temperature_c, float))
    found = [table_cell(w, t, weights, temperatures, table) for w, t in zip(weight.flat, water.flat, strict=True)]
    return np.array(found, float).reshape(weight.shape)


@jitable
def table_cell(
    weight_g: float, temperature_c: float, weights_g: FloatArray, temperatures_c: FloatArray, percent: FloatArray
) -> float:
    """Ration of `table_ration` for one fish.

    Parameters
    ----------
    weight_g, temperature_c : float
        Of the fish and of its water. [g], [degC]
    weights_g, temperatures_c, percent : ndarray
        As in `table_ration`; the table may have more rows and columns than there are names. [g], [degC], [%/day]

    Returns
    -------
    float
        Ration. [%/day]
    """
    row, down = _between(temperature_c, temperatures_c)
    column, along = _between(weight_g, weights_g)
    next_row, next_column = min(row + 1, temperatures_c.size - 1), min(column + 1, weights_g.size - 1)
    upper = (1.0 - along) * percent[row, column] + along * percent[row, next_column]
    lower = (1.0 - along) * percent[next_row, column] + along * percent[next_row, next_column]
    return (1.0 - down) * upper + down * lower


@jitable
def _between(value: float, grid: FloatArray) -> tuple[int, float]:
    """Lower neighbour of a value in a rising grid, and how far it is on the way to the upper one; edges hold."""
    low = 0
    while low < grid.size - 2 and value >= grid[low + 1]:
        low += 1
    if grid.size == 1:
        return 0, 0.0
    share = (value - grid[low]) / (grid[low + 1] - grid[low])
    return low, min(max(share, 0.0), 1.0)


def feeding_days(
    temperature_c: ArrayLike,
    day_of_week: ArrayLike,
    rules: Sequence[tuple[float, int]] = (),
    stop_below_c: float = -np.inf,
    restart_days: int = 3,
    fasting_weekdays: Collection[int] = (),
    first_day: int = 0,
    unfed_days: float = np.inf,
) -> FloatArray:
    """Days on which fish are fed, by the keeper's cold-water rules.

    Parameters
    ----------
    temperature_c : array_like, shape (day, ...)
        Water temperature. [degC]
    day_of_week : array_like, shape (day,)
        Day of the week, Monday 0. [-]
    rules : sequence of (below_c, every_n_days)
        On days colder than below_c [degC] fish are fed only each n-th day [day], counted from the day they were last
        fed. Where several hold, the coldest does.
    stop_below_c : float
        Water colder than this is not fed at all. [degC]
    restart_days : int
        After a stop, or when the season begins below it, feeding starts again on this day in a row at or above
        stop_below_c. [day] 3: a warm spell of a day or two does not restart it (common practice).
    fasting_weekdays : collection of int
        Days of the week without feed, Monday 0. [-]
    first_day : int
        Day on which the fish begin to live by the rules; none is fed before. [day] What the water did earlier counts
        for a stop, as the keeper knows it.
    unfed_days : float
        Days that they went without feed just before it. [day] 0: fed the day before; infinite: new fish, which are fed
        on their first day.

    Returns
    -------
    ndarray, shape (day, ...)
        1 where fish are fed, 0 where not. [-] A day of unknown temperature (NaN) is not fed.

    Examples
    --------
    >>> feeding_days([12.0, 12.0, 12.0, 6.0, 9.0, 9.0, 9.0], range(7), [(13.0, 2)], stop_below_c=7.0)
    array([1., 0., 1., 0., 0., 0., 1.])

    Fish that come on the third day, fed the day before:

    >>> feeding_days([12.0] * 6, range(6), [(13.0, 3)], first_day=2, unfed_days=0)
    array([0., 0., 0., 0., 1., 0.])
    """
    water = np.asarray(temperature_c, float)
    fasts = [int(weekday) in fasting_weekdays for weekday in np.asarray(day_of_week)]
    every = np.ones(water.shape)
    for below_c, days in sorted(rules, reverse=True):
        every = np.where(water < below_c, float(days), every)
    columns = water.reshape(len(water), -1)
    fed = np.zeros(columns.shape)
    for column, (of_day, wait) in enumerate(
        zip(columns.T.tolist(), every.reshape(columns.shape).T.tolist(), strict=True)
    ):
        warm_in_a_row, is_stopped, since_fed = 0, False, float(unfed_days)
        for day, celsius in enumerate(of_day):
            is_warm = celsius >= stop_below_c
            warm_in_a_row = warm_in_a_row + 1 if is_warm else 0
            is_stopped = not is_warm or (is_stopped and warm_in_a_row < restart_days)
            if day < first_day:
                continue
            since_fed += 1.0
            if not is_stopped and since_fed >= wait[day] and not fasts[day]:
                since_fed, fed[day, column] = 0.0, 1.0
    return fed.reshape(water.shape)
