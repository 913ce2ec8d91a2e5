"""The command ``stocksim sweep``."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Annotated

import typer

from stocksim.faces.options import JsonOption, SiteArgument, deliver, number, say

POINTS = number("--points", 1, 1 << 20, "give a whole number of points from 1 to 1048576", whole=True)
SEED = number("--seed", 0, 2**32 - 1, "give a whole number from 0 to 4294967295", whole=True)

EXAMPLES = {
    "sweep": "Example: stocksim sweep house.toml --vary cohorts.perch.count=40,60,80 "
    '--vary "tanks.first.oxygen_supply.power=10 W,20 W" --out swept'
}


def sweep(
    site: SiteArgument,
    vary: Annotated[
        list[str],
        typer.Option(help="A field and its values: FIELD=VALUE,VALUE or, with --points, FIELD=LOW..HIGH.",
                     show_default=False),
    ],
    out: Annotated[Path, typer.Option(help="Folder for the chunks and tables; a sweep that stopped there goes on.",
                                      show_default=False)],
    points: Annotated[
        int | None, typer.Option(help="Sobol points instead of every combination.", show_default=False, **POINTS)
    ] = None,
    seed: Annotated[int, typer.Option(help="Seed of the points.", **SEED)] = 1,
    cluster: Annotated[
        str | None,
        typer.Option(help="Address of a Dask scheduler whose workers run it, as tcp://10.0.0.5:8786.",
                     show_default=False),
    ] = None,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """Run a season for every combination of some fields' values. Reads SITE and the files it names; writes runs.csv,
    limits.csv and their chunks into --out."""
    from stocksim.answers.sweep.answer import sweep_answer
    from stocksim.answers.sweep.decide import sweep as run_sweep
    from stocksim.answers.sweep.plan import read_vary
    from stocksim.site.reading import load_site

    loaded = load_site(site)
    bar = _Left()
    found = run_sweep(loaded, read_vary(vary), points or 0, seed, out, bar, cluster=cluster)
    bar.close()
    for path in found.files:
        say(f"Wrote {path}")
    deliver(sweep_answer(found), as_json)


class _Left:
    """Progress with the time that is left, on standard error where someone watches."""

    def __init__(self) -> None:
        self.began = time.monotonic()
        self.width = 0

    def __call__(self, done: int, total: int) -> None:
        took = time.monotonic() - self.began
        if not sys.stderr.isatty() or took < 1.0:
            return
        left = took / max(done, 1) * (total - done)
        words = f"\r{done:,} of {total:,} runs, some {left:.0f} s left "
        self.width = max(self.width, len(words))
        print(words.ljust(self.width), end="", file=sys.stderr, flush=True)

    def close(self) -> None:
        """Wipe the line."""
        if self.width:
            print("\r" + " " * self.width + "\r", end="", file=sys.stderr)
