"""Example sites shipped with the package; every one of them is invented."""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).resolve().parent


def example_names() -> list[str]:
    """Sorted names of the example sites."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


def example_text(name: str) -> str:
    """Text of an example site.

    Raises
    ------
    KeyError
        If there is no such example.
    """
    path = FOLDER / f"{name}.toml"
    if name not in example_names():
        raise KeyError(name)
    return path.read_text(encoding="utf-8")
