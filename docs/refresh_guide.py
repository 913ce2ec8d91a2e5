"""Put what the guide's commands print, and its pictures, into docs: ``python docs/refresh_guide.py``.

The guide is run from its first command to its last in one empty folder, in this process, as a keeper would.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import os
import re
import shlex
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from stocksim.faces import cli
from stocksim.faces.text import WITHOUT_TERMINAL
from stocksim.site.reading import load_site

GUIDE = Path(__file__).resolve().parent / "guide.md"
IMAGES = GUIDE.parent / "images"
# a block: commands after "$ ", each with what it prints
BLOCK = re.compile(r"(?<=```console\n)(.*?)(?=```)", re.DOTALL)
_WIDE_PX = 560
TODAY = dt.date(2026, 12, 1)  # of the keeper in the guide: no entry of the book lies in the future


def commands(block: str) -> list[str]:
    """The commands of a block."""
    return [line.removeprefix("$ ") for line in block.splitlines() if line.startswith("$ ")]


def ran(command: str) -> str:
    """What a command prints into the folder's terminal."""
    out = io.StringIO()
    with (
        mock.patch.object(sys, "argv", shlex.split(command)),
        mock.patch.dict(os.environ, COLUMNS=str(WITHOUT_TERMINAL), USER="keeper", LOGNAME="keeper"),
        mock.patch("stocksim.book.store.today", return_value=TODAY),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        try:
            cli.main()
        except SystemExit as stop:
            if stop.code:
                raise RuntimeError(f"{command} ends with {stop.code}") from stop
    return out.getvalue().rstrip("\n")


def session(blocks: list[str]) -> Iterator[str]:
    """The blocks anew, with what their commands print today."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        for block in blocks:
            shown = [f"$ {command}\n{ran(command)}".rstrip() for command in commands(block)]
            yield "\n\n".join(shown) + "\n"


def pictures() -> dict[str, Callable[[], dict[str, Any] | None]]:
    """Pictures of the guide by their file names, as Vega-Lite specifications that are drawn when called."""
    from stocksim.answers.beds.answer import drawn as beds_drawn
    from stocksim.answers.beds.changes import bed_plan
    from stocksim.engine.running import run_season
    from stocksim.faces.charts import STACKS
    from stocksim.site.examples import FOLDER

    season = run_season(load_site(FOLDER / "heron_lane.toml"))
    return {
        "guide_density.svg": lambda: STACKS["density"](season).to_dict(),
        "guide_water.svg": lambda: STACKS["water"](season).to_dict(),
        "guide_beds.svg": lambda: beds_drawn(bed_plan(season, is_sought=False), "main"),
    }


def _wide(spec: dict[str, Any]) -> dict[str, Any]:
    """A specification whose panels, that fill a page, have a width of their own."""
    if "vconcat" in spec:
        return spec | {"vconcat": [_wide(panel) for panel in spec["vconcat"]]}
    return {"width": _WIDE_PX} | {key: part for key, part in spec.items() if part != "container"}


def svg(spec: dict[str, Any]) -> str:
    """A specification as a drawing; its lines are rounded, for hundredths of a pixel are seen by nobody."""
    import vl_convert  # of the tests, not of the program

    def rounded(course: re.Match[str]) -> str:
        return re.sub(r"\d+\.\d{2,}", lambda number: f"{float(number[0]):.1f}", course[0])

    return re.sub(r'(?<= )(?:d|transform|points)="[^"]*"', rounded, vl_convert.vegalite_to_svg(_wide(spec)))


def refresh() -> None:
    """Write the guide's answers and pictures anew."""
    text = GUIDE.read_text(encoding="utf-8")
    anew = session(BLOCK.findall(text))
    GUIDE.write_text(BLOCK.sub(lambda _: next(anew), text), encoding="utf-8")
    for name, draw in pictures().items():
        spec = draw()
        assert spec is not None, name
        (IMAGES / name).write_text(svg(spec), encoding="utf-8")


if __name__ == "__main__":
    refresh()
