"""What `kill9.py` may kill: writers by name, each writing one of two versions of a set of files, over and over.

A writer that makes a new promise is added here, to `WRITERS`, and to the list of the test that kills it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

Set = dict[str, bytes]


def whole_folder(folder: Path) -> list[Set]:
    """All files of a folder as one set; hidden ones are what a killed writer may leave behind."""
    return [
        {
            str(path.relative_to(folder)): path.read_bytes()
            for path in sorted(folder.rglob("*"))
            if path.is_file() and not any(part.startswith(".") for part in path.relative_to(folder).parts)
        }
    ]


class Writer(NamedTuple):
    """How a set is written, and how it is found again.

    Parameters
    ----------
    write : callable of (folder, version)
        Writes version 0 or 1 of the set into the folder, over what stands there.
    sets : callable of folder to list of dict of str to bytes
        The sets that stand there, as anyone who reads the folder would find them: the one in force first, then those
        kept from before. Each must be whole; file names are those of the set, wherever it is kept.
    warm : callable
        Called once before anything is killed, for what is slow and the same each time.
    """

    write: Callable[[Path, int], None]
    sets: Callable[[Path], list[Set]] = whole_folder
    warm: Callable[[], object] = lambda: None


# --- to prove that the harness can tell: one writer that must fail, and one that must not


def _plain(folder: Path, version: int) -> None:
    """Two files written in place, a piece at a time: a kill leaves halves and mixtures."""
    for name in ("one.csv", "two.csv"):
        with (folder / name).open("wb") as file:
            for _ in range(50):
                file.write(bytes([65 + version]) * 100)
                file.flush()
                time.sleep(0.0002)


def _replaced(folder: Path, version: int) -> None:
    """One file written beside and renamed over the old one."""
    beside = folder / ".one.new"
    with beside.open("wb") as file:
        for _ in range(50):
            file.write(bytes([65 + version]) * 100)
            file.flush()
            time.sleep(0.0002)
    os.replace(beside, folder / "one.csv")


# --- the project's own


@cache
def _seasons() -> tuple:
    """Two seasons that differ in every file, with their summaries."""
    from reliability.bases import example

    from stocksim.engine.running import run_season
    from stocksim.faces.words import summary
    from stocksim.site.examples import FOLDER
    from stocksim.site.reading import site_from_tables

    made = []
    for ration in (0.85, 0.5):
        tables = example("starter").tables
        tables["cohorts"]["perch"]["ration"]["fraction"] = ration
        tables["beds"]["gravel"]["area"] = f"{4.0 * ration} m2"
        season = run_season(site_from_tables(tables, FOLDER))
        made.append((season, summary(season, season.findings)))
    return tuple(made)


def _season_out(folder: Path, version: int) -> None:
    """What `stocksim season SITE --out DIR` writes."""
    season, data = _seasons()[version]
    season.write(folder / "out", data)


def _saved(folder: Path, version: int) -> None:
    """What the pages' Save does with the site file."""
    from stocksim.site.examples import example_text

    import_module("stocksim.site.saving").save_text(
        folder / "house.toml", example_text(("starter", "heron_lane")[version])
    )


def _saved_sets(folder: Path) -> list[Set]:
    """The site file, and the version before where one is kept: each by itself an old or a new one."""
    names = ("house.toml", "house.previous.toml")
    return [{"house.toml": (folder / name).read_bytes()} for name in names if (folder / name).exists()]


WRITERS = {
    "plain": Writer(_plain),
    "replaced": Writer(_replaced),
    "season_out": Writer(_season_out, warm=_seasons),
    "saved": Writer(_saved, _saved_sets),
}
