"""Files of the cold months: every hour as the file says, and the options."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TextIO

from stocksim.climate.weather import HOURS
from stocksim.faces.cold_data import option_answer
from stocksim.planning.cold import Cold
from stocksim.writing import Write, safe_cell, write_folder

COLD_FILES = ("hourly.csv", "options.csv")

_OPTION_COLUMNS = (
    "name", "heat_kwh", "cost", "growth_kg", "dead_kg", "growth_less_dead_kg", "feed_kg", "deaths", "yield_kg",
    "cost_per_extra_kg", "is_on_frontier", "hours_below_set_point",
)  # fmt: skip


def write_cold(folder: Path, cold: Cold, reads: Iterable[Path] = ()) -> list[Path]:
    """Write ``hourly.csv`` (date, hour, place, temperature_c) and ``options.csv`` into a folder, made if need be.

    Parameters
    ----------
    folder : Path
        Where to.
    cold : Cold
        The comparison; the hours are those of the file's own way.
    reads : iterable of Path
        Files that it was made from.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    InputError
        As `stocksim.writing.write_folder`: both are written or none.
    """
    columns = (*_OPTION_COLUMNS, "design_night_kw", "installed_kw")
    files: dict[str, Write] = {
        "hourly.csv": partial(_write, ("date", "hour", "place", "temperature_c"), _hours(cold)),
        "options.csv": partial(_write, columns, _options(cold)),
    }
    return write_folder(folder, files, reads)


def _write(header: Sequence[str], rows: Iterable[Sequence[object]], out: TextIO) -> None:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([safe_cell(cell) for cell in row] for row in rows)


def _hours(cold: Cold) -> Iterable[Sequence[object]]:
    """Outdoor air, rooms and water; the hour is that at which it begins, of solar time."""
    run, weather = cold.warmth.run, cold.warmth.weather
    assert run.hourly_c is not None
    for hour, row in enumerate(run.hourly_c):
        date = weather.start + dt.timedelta(days=hour // HOURS)
        yield date, hour % HOURS, "outdoors", f"{weather.hours.air_c[hour]:.3f}"
        for place, value in zip(cold.warmth.plan.nodes, row, strict=True):
            yield date, hour % HOURS, place, f"{value:.3f}"


def _options(cold: Cold) -> Iterable[Sequence[object]]:
    for option in cold.options:
        data = option_answer(option, cold.options[0])
        kept = ["" if data[name] is None else data[name] for name in _OPTION_COLUMNS]
        yield [
            *kept,
            *("; ".join(f"{k} {v}" for k, v in data[key].items()) for key in ("design_night_kw", "installed_kw")),
        ]
