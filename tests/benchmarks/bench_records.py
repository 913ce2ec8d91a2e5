"""Time and memory to read ten years of readings every five minutes, against a plain loop; asserts nothing.

Run: ``python tests/benchmarks/bench_records.py`` (``--quick`` reads one year, for CI). Each reading is done in a
process of its own, whose largest memory beyond that of its imports is told. The plain loop makes the same checks a row
at a time and keeps lists, as this program did before it read in blocks.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from stocksim.site.logs import read_temperature_log, read_weather_file

START = dt.date(2016, 10, 1)


def write_files(folder: Path, days: int) -> None:
    """A log and a weather file, invented."""
    with (folder / "log.csv").open("w") as log, (folder / "weather.csv").open("w") as weather:
        log.write("date,temperature_c\n")
        weather.write("time,temperature_c,sun_w_m2\n")
        for number in range(288 * days):
            moment = dt.datetime.combine(START, dt.time()) + dt.timedelta(minutes=5 * number)
            when, turn = moment.isoformat(timespec="minutes"), 2.0 * math.pi * number / 288
            log.write(f"{when},{14 + 6 * math.sin(turn / 365):.2f}\n")
            sun = max(0.0, -600.0 * math.cos(turn))
            weather.write(f"{when},{10 - 9 * math.cos(turn / 365) + 3 * math.sin(turn):.2f},{sun:.0f}\n")


def plain(path: Path, days: int) -> float:
    """Every row checked by itself and kept in lists, then sorted or averaged; a sum of what that gives."""
    reader = csv.reader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline=""), strict=True)
    rows = [(f"line {reader.line_num}", row) for row in reader if any(cell.strip() for cell in row)]
    bounds = [(-70.0, 60.0), (0.0, 1500.0)]
    first, hours = dt.datetime.combine(START, dt.time()), []
    values: list[list[float]] = [[] for _ in rows[0][1][1:]]
    for line, row in rows[1:]:
        moment = dt.datetime.fromisoformat(row[0].strip()).replace(tzinfo=None)
        found = [_number(row, column, line, bounds[column - 1]) for column in range(1, len(row))]
        hours.append((moment - first).total_seconds() / 3600.0)
        for kept, value in zip(values, found, strict=True):
            kept.append(value)
    order = np.argsort(hours)
    at = np.array(hours)[order]
    if path.stem == "log":
        which = (at // 24.0).astype(int)
        return float((np.bincount(which, weights=np.array(values[0])[order]) / np.bincount(which)).sum())
    return float(np.interp(np.arange(24.0 * days), at, np.array(values[0])[order]).sum())


def _number(row: list[str], column: int, line: str, allowed: tuple[float, float]) -> float:
    cell = row[column].strip() if column < len(row) else ""
    value = float(cell) if "_" not in cell else math.nan
    if not allowed[0] <= value <= allowed[1]:
        raise ValueError(line)
    return value


def ours(path: Path, days: int) -> float:
    """The same file by the program's reader; a sum of what it gives."""
    if path.stem == "log":
        return float(read_temperature_log(path).mean_c.sum())
    record = read_weather_file(path, START, days)
    assert record.hourly_c is not None
    return float(record.hourly_c.sum())


def measure(way: str, path: Path, days: int) -> tuple[float, float]:
    """Seconds of processor time and MB beyond the imports, in a process of its own."""
    ran = subprocess.run([sys.executable, __file__, "--one", way, str(path), str(days)],
                         check=True, capture_output=True, text=True)  # fmt: skip
    seconds, memory = ran.stdout.split()
    return float(seconds), float(memory)


def one(way: str, path: Path, days: int) -> None:
    """Measure one reading in this process."""
    import resource

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began = time.process_time()
    (plain if way == "plain" else ours)(path, days)
    took = time.process_time() - began
    print(took, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024.0)


def main(quick: bool) -> None:
    """Print the table."""
    days = 365 if quick else 3652
    with tempfile.TemporaryDirectory() as folder:
        write_files(Path(folder), days)
        print(f"{f'file, {288 * days} rows':24} {'s':>6} {'plain':>7} {'ratio':>6} {'MB':>6} {'plain':>7} {'ratio':>6}")
        for name in ("log", "weather"):
            path = Path(folder) / f"{name}.csv"
            (mine, memory), (loop, more) = measure("ours", path, days), measure("plain", path, days)
            print(
                f"{name:24} {mine:6.2f} {loop:7.2f} {mine / loop:6.3f} {memory:6.0f} {more:7.0f} {memory / more:6.3f}"
            )


if __name__ == "__main__":
    if "--one" in sys.argv:
        one(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]))
    else:
        main(quick="--quick" in sys.argv)
