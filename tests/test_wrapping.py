"""Printed text, tables among it, is as wide as the terminal at most, a hundred columns where there is none."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import runner

from stocksim.faces.text import text_width, wrapped
from stocksim.site.examples import example_text

ROW = re.compile(r"\S {2,}\S")  # cells of a table stand two blanks apart or more
COMMANDS = [
    "check young.toml", "season young.toml", "beds house.toml", "powercut house.toml", "ramp young.toml",
    "company young.toml", "fish", "fish bluegill", "water --at 18degC --ph 7 --tan 1mg/L --alkalinity 80mg/L",
    "grow bluegill --from 28g --at 26degC --days 12",
]  # fmt: skip


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    call = runner(monkeypatch, capsys, tmp_path)
    Path("young.toml").write_text(example_text("heron_lane_young"), encoding="utf-8")
    return call


def texts(out: str) -> list[str]:
    """Lines that are neither of a table nor to be copied into a file."""
    return [line for line in out.splitlines() if not ROW.search(line) and not line.startswith(("[", "feeding_ramp"))]


@pytest.mark.parametrize("command", COMMANDS)
def test_text_and_tables_keep_to_the_terminal(run, monkeypatch, command):
    widest = {}
    more = [] if command.startswith(("water", "grow")) else ["--all"]
    for columns in (60, 90, 160):
        monkeypatch.setenv("COLUMNS", str(columns))
        out = run(*command.split(), *more).out
        widest[columns] = max(map(len, texts(out)))
        assert widest[columns] <= columns
        lines = [line for line in out.splitlines() if not line.startswith(("[", "feeding_ramp"))]
        assert max(map(len, lines)) <= columns
        tables = [line for line in out.splitlines() if re.fullmatch(r"-+( {2}-+)+", line)]
        assert all(len(line) <= min(columns, 100) for line in tables)
    assert widest[60] < widest[90] <= widest[160]


def test_the_same_words_are_told_at_every_width(run, monkeypatch):
    said = []
    for columns in (50, 200):
        monkeypatch.setenv("COLUMNS", str(columns))
        said.append({word for word in run("season", "young.toml", "--all").out.split() if not word.startswith("---")})
    assert said[0] == said[1]


def test_a_file_is_a_hundred_columns_wide_whoever_writes_it():
    words = "from stocksim.faces.text import text_width; print(text_width())"
    bare = {key: value for key, value in os.environ.items() if key != "COLUMNS"}
    ran = subprocess.run(
        [sys.executable, "-c", words], capture_output=True, text=True, check=True, env=bare, stdin=subprocess.DEVNULL
    )
    assert ran.stdout.strip() == "100"


def test_a_terminal_too_narrow_and_a_word_too_long_do_no_harm(monkeypatch):
    monkeypatch.setenv("COLUMNS", "1")
    assert text_width() == 40
    assert wrapped("see " + "x" * 90) == ["see", "x" * 90]
    assert wrapped("") == [""]
