"""Files of the cold months: every hour as the file says, and the options."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable, Sequence
from pathlib import Path

from stocksim.climate.weather import HOURS
from stocksim.errors import InputError
from stocksim.faces.cold_data import option_answer
from stocksim.planning.cold import Cold

_OPTION_COLUMNS = (
    "name", "heat_kwh", "cost", "growth_kg", "dead_kg", "growth_less_dead_kg", "feed_kg", "deaths", "yield_kg",
    "cost_per_extra_kg", "is_on_frontier", "hours_below_set_point",
)  # fmt: skip


def write_cold(folder: Path, cold: Cold) -> list[Path]:
    """Write ``hourly.csv`` (date, hour, place, temperature_c) and ``options.csv`` into a folder, made if need be.

    Parameters
    ----------
    folder : Path
        Where to.
    cold : Cold
        The comparison; the hours are those of the file's own way.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [
            _write(folder / "hourly.csv", ("date", "hour", "place", "temperature_c"), _hours(cold)),
            _write(folder / "options.csv", (*_OPTION_COLUMNS, "design_night_kw", "installed_kw"), _options(cold)),
        ]
    except (FileExistsError, NotADirectoryError):
        raise InputError(f"{folder}: is a file; give a folder for the results.") from None
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror}).") from None


def _write(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)
    return path


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
