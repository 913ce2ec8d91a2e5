"""Weather of an EPW file, the open text format of hourly weather: a typical year laid on the days of a season."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.weather import HOURS
from stocksim.errors import Fault, InputError
from stocksim.opening import open_regular
from stocksim.site.logs import LONGEST_GAP_HOURS, Record
from stocksim.site.records import read_once

FloatArray = NDArray[np.float64]

# Layout of the format (its data dictionary, U.S. Department of Energy, from memory; a test holds it against another
# reader): lines of a header from LOCATION to DATA PERIODS, then a line an hour, whose cells are known by their place.
_MONTH, _DAY, _HOUR, _AIR, _SUN, _CELLS = 1, 2, 3, 6, 13, 14
_LATITUDE, _LOCATION_CELLS = 6, 10
_MISSING_AIR_C, _MISSING_SUN = 99.9, 9999.0  # what the format writes where nothing was measured
_AIR_LOW_C, _AIR_HIGH_C = -70.0, 60.0
_YEAR_DAYS, _COMMON_YEAR = 365, 2025  # 29 February is left out: typical years have none
_MOST_BYTES = 20_000_000  # a year by the hour has some 1.6 MB; our choice
_FAR_DEGREES = 1.0  # some 110 km; our choice


class _Year(NamedTuple):
    """A year by the hour, shape (365, 24), NaN where nothing was measured, and the latitude of its place."""

    air_c: FloatArray
    sun_w_m2: FloatArray
    place: str
    latitude: float


def is_epw(path: str | Path) -> bool:
    """Whether a file is an EPW file, by the end of its name."""
    return Path(path).suffix.lower() == ".epw"


def read_epw(path: Path, start: dt.date, days: int, latitude: float | None = None) -> Record:
    """Weather of a season from an EPW file; kept until the file changes.

    Parameters
    ----------
    path : Path
        The file: of a year in local standard time, by the hour or finer.
    start : date
        First day of the season.
    days : int
        Days in it; each takes the day of its month from the file, 29 February that of the 28th.
    latitude : float, optional
        Of the site, to be asked about where the file is of another place. [degrees]

    Returns
    -------
    Record
        By the hour; the sun is None where the file has none.

    Raises
    ------
    InputError
        With one sentence, at the place that names the file.
    """
    year = read_once(path, _read)
    dates = [start + dt.timedelta(days=day) for day in range(days)]
    rows = np.array([_row(date.month, date.day) for date in dates])
    air, sun = year.air_c[rows], year.sun_w_m2[rows]
    notes = [f"{path.name} is a year of {year.place}; each day of the season takes the day of its date from it."]
    if latitude is not None and abs(latitude - year.latitude) > _FAR_DEGREES:
        notes.append(f"{path.name} is of latitude {year.latitude:g}, the site of {latitude:g}; is it another place?")
    light = None if np.isnan(sun).any() else sun.sum(axis=-1) / 1000.0
    said = tuple(f"weather.file: {note}" for note in notes)
    return Record(air.min(axis=-1), air.max(axis=-1), light, air.reshape(-1), said)


def _row(month: int, day: int) -> int:
    """Day of a common year, from 0."""
    return dt.date(_COMMON_YEAR, month, min(day, 28) if month == 2 else day).timetuple().tm_yday - 1


def _read(path: Path) -> _Year:
    try:
        with open_regular(path, _MOST_BYTES) as file:
            # place names are in whatever letters their makers had; numbers are not touched by it
            lines = file.read().decode("utf-8-sig", errors="replace").splitlines()
    except InputError as error:
        raise InputError(
            [Fault("weather", "file", f"{fault.file} {fault.message}") for fault in error.faults]
        ) from None
    head = lines[0].split(",") if lines else []
    begins = next((number for number, line in enumerate(lines) if line.upper().startswith("DATA PERIODS")), None)
    if len(head) < _LOCATION_CELLS or head[0].strip().upper() != "LOCATION" or begins is None:
        raise _refused(path, "is no EPW file: it lacks the lines LOCATION and DATA PERIODS that every such file has.")
    latitude = _number(head[_LATITUDE])
    if not abs(latitude) <= 90.0:
        raise _refused(path, "has no latitude in its line LOCATION; take the file anew from where it came.")
    air, sun = _hours(path, lines, begins + 1)
    place = ", ".join(part.strip() for part in head[1:4] if part.strip() not in ("", "-"))
    is_plain = place.isprintable() and 0 < len(place) <= 60
    return _Year(_bridged(path, air), sun, place if is_plain else "a place without a name", latitude)


def _hours(path: Path, lines: list[str], first: int) -> tuple[FloatArray, FloatArray]:
    """Air and sun by day and hour of a common year, means where an hour has several lines, NaN where it has none."""
    total, count = np.zeros((2, _YEAR_DAYS, HOURS)), np.zeros((2, _YEAR_DAYS, HOURS))
    for number, line in enumerate(lines[first:], first + 1):
        if not line.strip():
            continue
        cells = line.split(",")
        wanted = cells[_MONTH : _HOUR + 1] + cells[_AIR : _AIR + 1] + cells[_SUN : _SUN + 1]
        month, day, hour, air, sun = map(_number, wanted if len(cells) >= _CELLS else [""] * 5)
        try:
            row, column = _row(int(month), int(day)), int(hour) - 1
        except ValueError:  # no day of the calendar, or no number
            raise _refused(path, f"line {number}: has no month, day and hour of an EPW file.") from None
        if not 0 <= column < HOURS:
            raise _refused(path, f"line {number}: hours of an EPW file run from 1 to 24.")
        if air != _MISSING_AIR_C and not _AIR_LOW_C <= air <= _AIR_HIGH_C:
            wrong = f"line {number}: outdoor air must lie between {_AIR_LOW_C:g} and {_AIR_HIGH_C:g} degC."
            raise _refused(path, wrong)
        for which, value, missing in ((0, air, _MISSING_AIR_C), (1, sun, _MISSING_SUN)):
            if value < missing and not (month == 2 and day > 28):
                total[which, row, column] += value
                count[which, row, column] += 1
    with np.errstate(invalid="ignore"):
        air_c, sun_w_m2 = total / np.where(count > 0, count, np.nan)
    return air_c, np.maximum(sun_w_m2, 0.0)


def _bridged(path: Path, air_c: FloatArray) -> FloatArray:
    """Hours without air filled by a straight line where they are few in a row; the year goes round."""
    flat = air_c.reshape(-1)
    known = np.flatnonzero(~np.isnan(flat))
    longest = int(np.diff(known, append=known[:1] + len(flat)).max()) - 1 if len(known) else len(flat)
    if longest > LONGEST_GAP_HOURS:
        raise _refused(path, f"lacks the air of {longest:,} hours on end; it must cover a whole year, with gaps of "
                             f"{LONGEST_GAP_HOURS} hours at most.")  # fmt: skip
    return np.interp(np.arange(len(flat)), known, flat[known], period=len(flat)).reshape(air_c.shape)


def _number(cell: str) -> float:
    """A cell as a number, NaN where it is none."""
    try:
        value = float(cell)
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def _refused(path: Path, message: str) -> InputError:
    between = ", " if message.startswith("line ") else " "
    return InputError([Fault("weather", "file", f"{path.name}{between}{message}")])
