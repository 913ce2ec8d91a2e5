"""Sets of files that tell by which writing they were made; also imported by the children that the tests kill."""

from __future__ import annotations

from pathlib import Path

from stocksim import writing
from stocksim.errors import InputError
from stocksim.writing import write_file, write_folder

__all__ = ["NAMES", "InputError", "generations", "one_set", "write_file", "write_folder", "writing"]
NAMES = ("a.csv", "b.csv", "c.csv", "summary.json")


def one_set(generation: int, size: int = 2000):
    """Files that all tell their generation in every line."""
    return {name: lambda out, n=name: out.write(f"{generation},{n}\n" * size) for name in NAMES}


def generations(folder: Path) -> set[str]:
    """Generations met in the files of a folder, 'half' where one is not whole or lacks."""
    found = set()
    for name in NAMES:
        lines = (folder / name).read_text().splitlines() if (folder / name).exists() else []
        found.add(lines[0].split(",")[0] if lines and lines == [lines[0]] * 2000 else "half")
    return found
