"""A season's results as files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.faces.words import summary
from stocksim.planning.levers import find_levers


def write_season(season: Season, folder: str | Path, findings: Sequence[Finding] | None = None) -> list[Path]:
    """Write what ``stocksim season --out`` writes: five CSV files and summary.json.

    Parameters
    ----------
    season : Season
        A season that was run.
    folder : str or Path
        Made if it is not there; files of these names in it are replaced.
    findings : sequence of Finding, optional
        What is told of its limits. If left out, a change that mends each broken limit is sought and proved, which may
        take seconds; ``season.findings`` tells them without.

    Returns
    -------
    list of Path
        ``tanks.csv``, ``cohorts.csv``, ``beds.csv``, ``loops.csv``, ``ledger.csv`` and ``summary.json``; the last
        holds the version of stocksim and hashes of the site and of the library that the season was made from.
    """
    told = find_levers(season) if findings is None else list(findings)
    return season.write(Path(folder), summary(season, told))
