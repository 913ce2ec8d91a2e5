"""A sweep run a chunk at a time: each is written whole, so that a sweep that was killed goes on where it stopped."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from stocksim import __version__
from stocksim.answers.sweep.cluster import Chunk, run_on_cluster
from stocksim.answers.sweep.plan import Plan, Span, Values, make_plan
from stocksim.engine.many_seasons import run_seasons
from stocksim.engine.season import Progress
from stocksim.errors import Fault, InputError
from stocksim.site.hashes import library_hash, library_of, site_hash
from stocksim.site.reading import Site
from stocksim.writing import replace_file, safe_cell

if TYPE_CHECKING:
    import pandas as pd

CHUNK_RUNS = 64  # what a sweep that is killed may lose
PLAN_FILE = "sweep.json"
TABLES = ("runs", "limits")


@dataclass(frozen=True)
class Sweep:
    """A finished sweep.

    Parameters
    ----------
    plan : Plan
        What was run.
    runs : DataFrame
        A row for each run: ``run``, the fields, ``fault`` where the site refused it, totals, ``limits_broken`` and
        ``least_margin_percent`` over all hard limits.
    limits : DataFrame
        A row for each run, limit and place, as of `ManySeasons.limits`.
    done_before : int
        Runs that stood in the folder already.
    files : tuple of Path
        Tables that were written.
    """

    plan: Plan
    runs: pd.DataFrame
    limits: pd.DataFrame
    done_before: int
    files: tuple[Path, ...]


def sweep(
    site: Site,
    vary: Mapping[str, Values],
    points: int = 0,
    seed: int = 1,
    folder: Path | str | None = None,
    progress: Progress | None = None,
    threads: int | None = None,
    cluster: str | None = None,
) -> Sweep:
    """A season for every combination of some fields' values, or for Sobol points of their ranges.

    Parameters
    ----------
    site : Site
        A checked site.
    vary : mapping of str to sequence or Span
        Dotted fields to the values that the site file would hold.
    points : int
        Sobol points, rounded up to a power of two; 0 runs every combination.
    seed : int
        Of the scrambling of points.
    folder : Path, optional
        Where chunks and tables are written; a sweep that stopped there goes on. Without one nothing is written.
    progress : callable, optional
        Called with (runs done, runs in all).
    threads : int, optional
        Threads to run in; results are the same to the bit for any number.
    cluster : str, optional
        Address of a Dask scheduler whose workers run the chunks, as ``tcp://10.0.0.5:8786``; the same to the bit.

    Returns
    -------
    Sweep
        Tables of the runs.

    Raises
    ------
    InputError
        If the plan is faulty, the folder holds another sweep or other files, or the disk is full: chunks that are
        written stay.
    """
    plan = make_plan(site, vary, points, seed)
    runs, number = plan.runs(), plan.number
    target = None if folder is None else Path(folder)
    if target is not None:
        _claim(target, plan)
    chunks = {first: runs[first : first + CHUNK_RUNS] for first in range(0, number, CHUNK_RUNS)}
    parts = {first: part for first, some in chunks.items() if (part := _kept(target, first, some)) is not None}
    before = done = sum(len(chunks[first]) for first in parts)
    missing = [(first, some) for first, some in chunks.items() if first not in parts]
    for first, part in _run_chunks(site, missing, threads, cluster):
        if target is not None:
            _write(target / _name(first), json.dumps(part))
        parts[first] = part
        done += len(chunks[first])
        if progress is not None:
            progress(done, number)
    tables = _frames(plan, [parts[first] for first in chunks])
    files = _write_tables(target, tables) if target is not None else ()
    return Sweep(plan, tables["runs"], tables["limits"], before, files)


def _run_chunks(
    site: Site, missing: Sequence[Chunk], threads: int | None, cluster: str | None
) -> Iterator[tuple[int, dict[str, Any]]]:
    """Chunks as they are done, here or on a cluster."""
    if cluster is not None:
        yield from run_on_cluster(cluster, site, missing, run_chunk)
        return
    for first, some in missing:
        yield first, run_chunk(site, some, first, threads)


def run_chunk(site: Site, runs: Sequence[Mapping[str, Any]], first: int, threads: int | None = None) -> dict[str, Any]:
    """Some runs, as plain data: what a chunk's file holds.

    Parameters
    ----------
    site : Site
        That each changes.
    runs : sequence of mapping
        Fields to values.
    first : int
        Number of the first of them.
    threads : int, optional
        Threads to run in.

    Returns
    -------
    dict
        ``runs`` and ``limits``, lists of rows, and ``fields`` of the runs as text, by which a chunk is known again.
    """
    rows: list[dict[str, Any]] = []
    limits: list[dict[str, Any]] = []
    found, faults = _run(site, runs, list(range(len(runs))), threads)
    for at, changes in enumerate(runs):
        row = {"run": first + at, **{key: _cell(value) for key, value in changes.items()}, "fault": faults.get(at)}
        if at in found:
            totals, of_limits = found[at]
            broken = sum(one["margin_percent"] < 0.0 for one in of_limits)
            row |= {**totals, "limits_broken": broken, "least_margin_percent": _least(of_limits)}
            limits += [{"run": first + at, **one} for one in of_limits]
        rows.append(row)
    return {"fields": _known_by(runs), "runs": rows, "limits": limits}


_Found = dict[int, tuple[dict[str, Any], list[dict[str, Any]]]]


def _run(
    site: Site, runs: Sequence[Mapping[str, Any]], some: list[int], threads: int | None
) -> tuple[_Found, dict[int, str]]:
    """Totals and limits of some runs, and why a site or a season refuses the others.

    One that is refused stops all that are run with it, so these are halved until it stands alone.
    """
    try:
        many = run_seasons(site, [runs[at] for at in some], threads=threads)
    except InputError as error:
        if len(some) == 1:
            return {}, {some[0]: " ".join(map(_told_fault, error.faults))}
        half = len(some) // 2
        (found, faults), (more, others) = (_run(site, runs, part, threads) for part in (some[:half], some[half:]))
        return found | more, faults | others
    totals = many.totals.drop(columns="scenario").to_dict("records")
    limits: dict[int, list[dict[str, Any]]] = {at: [] for at in range(len(some))}
    for row in many.limits.to_dict("records"):
        limits[int(row.pop("scenario"))].append({str(key): _plain(value) for key, value in row.items()})
    plain = [{str(key): _plain(value) for key, value in row.items()} for row in totals]
    return {at: (plain[place], limits[place]) for place, at in enumerate(some)}, {}


def _told_fault(fault: Fault) -> str:
    place = ".".join(part for part in (fault.table, fault.field) if part)
    return f"{place}: {fault.message}" if place else fault.message


def _least(limits: list[dict[str, Any]]) -> float | None:
    return min((one["margin_percent"] for one in limits), default=None)


def _plain(value: Any) -> Any:
    """A cell as JSON holds it: dates as text, what has no value as None."""
    if value is None or value != value:
        return None
    if hasattr(value, "isoformat"):
        return str(value.isoformat())[:10]
    if isinstance(value, (np.generic,)):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _cell(value: Any) -> Any:
    """A field's value as a cell: tables and lists as text."""
    return value if isinstance(value, (str, int, float, bool)) else str(value)


# --- the folder of a sweep


def _known_by(runs: Sequence[Mapping[str, Any]]) -> str:
    return json.dumps([{key: _cell(value) for key, value in run.items()} for run in runs])


def _told(plan: Plan) -> dict[str, Any]:
    """What a folder says of its sweep."""
    return {
        "stocksim_sweep": 1,
        "stocksim_version": __version__,
        "site_hash": site_hash(plan.site),
        "library_hash": library_hash(library_of(plan.site)),
        "vary": {
            key: list(values) if isinstance(values, Span) else [_cell(value) for value in values]
            for key, values in plan.vary.items()
        },
        "points": plan.points,
        "seed": plan.seed,
        "runs": plan.number,
        "chunk": CHUNK_RUNS,
    }


_WHAT = {
    "stocksim_version": "of another version of stocksim", "site_hash": "of another site file",
    "library_hash": "of other species, feeds or crops", "vary": "of other fields or values",
    "points": "of other points", "seed": "of another seed", "runs": "of other runs", "chunk": "of other chunks",
}  # fmt: skip


def _claim(folder: Path, plan: Plan) -> None:
    """Make a folder that of a sweep, or see that it is; raises InputError where it is another's."""
    told = _told(plan)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: is a file; give a folder for the sweep.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        held = sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))
    except OSError as error:
        raise InputError(f"{folder}: cannot be made or read ({error.strerror}).") from error
    if not held:
        _write(folder / PLAN_FILE, json.dumps(told, indent=2) + "\n")
        return
    before = _read(folder / PLAN_FILE)
    if not isinstance(before, dict) or before.get("stocksim_sweep") != told["stocksim_sweep"]:
        raise InputError(f"{folder}: holds {held[0]} and no sweep of this kind; give a folder of its own.")
    for key, words in _WHAT.items():
        if before.get(key) != json.loads(json.dumps(told[key])):
            was = f" ({before.get(key)}, this is {told[key]})" if key == "stocksim_version" else ""
            raise InputError(f"{folder}: holds a sweep {words}{was}; give another folder, or move this one away.")


def _name(first: int) -> str:
    return f"part-{first // CHUNK_RUNS:06d}.json"


def _kept(folder: Path | None, first: int, runs: Sequence[Mapping[str, Any]]) -> dict[str, Any] | None:
    """A chunk that stands in the folder whole; None where it is to be run."""
    part = None if folder is None else _read(folder / _name(first))
    return part if isinstance(part, dict) and part.get("fields") == _known_by(runs) else None


def _read(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):  # spoiled by others: run again, and written anew
        return None


def _write(path: Path, text: str) -> None:
    """A whole file or none; raises InputError with what is to be done."""
    try:
        replace_file(path, text.encode())
    except OSError as error:
        why = error.strerror or "it cannot be written"
        raise InputError(
            f"{path}: cannot be written ({why}); what stands in the folder is whole: make room and run the same again."
        ) from error


# --- tables


def _frames(plan: Plan, parts: list[dict[str, Any]]) -> dict[str, pd.DataFrame]:
    import pandas as pd

    tables = {name: pd.DataFrame([row for part in parts for row in part[name]]) for name in TABLES}
    runs = tables["runs"]
    last = [key for key in runs.columns if key not in ("run", *plan.vary, "fault")]
    tables["runs"] = runs[["run", *plan.vary, *last, "fault"]]
    return tables


def _write_tables(folder: Path, tables: dict[str, pd.DataFrame]) -> tuple[Path, ...]:
    """Both tables as CSV, and as Parquet where pyarrow is there."""
    files = []
    for name, table in tables.items():
        path = folder / f"{name}.csv"
        _write(path, _csv(table))
        files.append(path)
        data = _parquet(table)
        if data is not None:
            try:
                replace_file(folder / f"{name}.parquet", data)
            except OSError as error:
                raise InputError(f"{folder / name}.parquet: cannot be written ({error.strerror}).") from error
            files.append(folder / f"{name}.parquet")
    return tuple(files)


def _csv(table: pd.DataFrame) -> str:
    safe = {name: table[name].map(safe_cell) for name in table.columns if table[name].dtype.kind == "O"}
    found: str = table.assign(**safe).to_csv(index=False, lineterminator="\n")
    return found


def _parquet(table: pd.DataFrame) -> bytes | None:
    """The table as Parquet; None without pyarrow, which comes with the pages."""
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        return None
    # a field may hold numbers in one run and words in another
    mixed = {
        name: table[name].map(lambda cell: None if cell is None else str(cell))
        for name in table.columns
        if len({type(cell) for cell in table[name] if cell is not None}) > 1 and table[name].dtype.kind == "O"
    }
    return bytes(table.assign(**mixed).to_parquet(index=False))
