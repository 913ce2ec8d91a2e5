"""What the tests of the command line share: a command run in this process, and what a refusal must look like."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from site_faults import JARGON

from stocksim.faces import cli
from stocksim.site.examples import example_text


class Ran:
    """What a command gave."""

    def __init__(self, code: int, out: str, err: str):
        self.code, self.out, self.err = code, out, err
        self.lines = err.splitlines()

    @property
    def data(self):
        return json.loads(self.out, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))


def runner(monkeypatch, capsys, folder: Path) -> Callable[..., Ran]:
    """Runs the command line in this process, in a folder that holds house.toml, the starter site."""
    monkeypatch.chdir(folder)
    Path("house.toml").write_text(example_text("starter"), encoding="utf-8")

    def call(*arguments: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["stocksim", *map(str, arguments)])
        code = 0
        try:
            cli.main()
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        shown = capsys.readouterr()
        return Ran(code, shown.out, shown.err)

    return call


def refused(ran: Ran, *words: str, faults: int = 1) -> None:
    """Exit 2, nothing on stdout, a sentence a fault on stderr."""
    assert (ran.code, ran.out, len(ran.lines)) == (2, "", faults), ran.err
    for line in ran.lines:
        assert line.endswith(".")
        assert not JARGON.search(line)
    for word in words:
        assert word in ran.err


def spoil(old: str, new: str) -> None:
    text = Path("house.toml").read_text(encoding="utf-8")
    assert old in text
    Path("house.toml").write_text(text.replace(old, new), encoding="utf-8")


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
