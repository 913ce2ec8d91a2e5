"""CPU of whole commands, start to end, against a unit of work measured in the same run; asserts nothing.

Run: ``python tests/benchmarks/bench_commands.py`` (``--quick`` runs a season and the help once, for CI).

The unit is ``python -c "import numpy, pandas"``, run before each command: it reads and starts as much code as a
command does, so that a busy or slow machine moves both. User and system time of the process and of all that it
started count; of several runs the least is told. Code is compiled, by Python and by numba, in a run beforehand, but
for ``--quick``.
"""

from __future__ import annotations

import contextlib
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from unittest import mock

ROOT = Path(__file__).resolve().parents[2]
UNIT = ["-c", "import numpy, pandas"]
# seconds of a free machine that each is meant to stay below
TARGETS_S = {
    "stocksim season, demo": 2.5,
    "stocksim season, demo x 1.5, new films": 3.0,
    "stocksim cold, demo": 5.0,
    "stocksim stock, demo": 5.0,
    "stocksim --help": 0.2,
    "an edit on the pages to its verdict": 0.3,
}


def crowded_on_new_films(text: str) -> str:
    """The demonstration with half as many fish more, on films that begin with its season."""
    text = re.sub(r"(?m)^count = (\d+)", lambda found: f"count = {int(found[1]) * 3 // 2}", text)
    return re.sub(r"(?m)^biofilter_started = .*$", 'biofilter_start = "new"', text)


def cpu_s(arguments: list[str], folder: str) -> float:
    """CPU time of a Python process and its children. [s]"""
    # bytecode is kept, as on a keeper's machine
    surroundings = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, *arguments], cwd=folder, env=surroundings, stdin=subprocess.DEVNULL, capture_output=True
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        sys.exit(f"{' '.join(arguments)} ended with {done.returncode}: {done.stderr.decode()[-500:]}")
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def edits_cpu_s(site: Path, edits: int) -> list[float]:
    """CPU time from a count typed on the page of the site's file to the page's new verdict, no chart drawn. [s]"""
    from streamlit.testing.v1 import AppTest

    from stocksim.faces import charts
    from stocksim.faces.registry import script_of

    class NoChart:
        def to_dict(self, validate: bool = False) -> dict[str, str]:
            return {"mark": "point", "description": "none"}

    times = []
    none_drawn = mock.patch.dict(charts.STACKS, dict.fromkeys(charts.STACKS, lambda season: NoChart()))
    with mock.patch.dict(os.environ, STOCKSIM_SITE=str(site)), none_drawn, contextlib.redirect_stderr(None):
        page = AppTest.from_file(script_of("edit"), default_timeout=900).run()
        for number in range(edits + 1):
            field = next(box for box in page.text_input if box.key.endswith(" cohorts.winter_trout.count"))
            field.set_value(str(40 + number))
            began = time.process_time()
            page.run()
            times.append(time.process_time() - began)
            if page.exception or f"count = {40 + number}" not in page.session_state.site_text:
                sys.exit("the edit did not reach the site's text")
    return times[1:]  # the first one reads what all later ones use


def main(quick: bool) -> None:
    """Print the table."""
    runs = 1 if quick else 5
    with tempfile.TemporaryDirectory() as folder:
        call = ["-m", "stocksim"]
        demo, crowd = Path(folder) / "demo.toml", Path(folder) / "crowd.toml"
        cpu_s([*call, "new", demo.name, "--example", "heron_lane"], folder)
        crowd.write_text(crowded_on_new_films(demo.read_text(encoding="utf-8")), encoding="utf-8")
        asked = {
            "stocksim season, demo": ["season", demo.name],
            "stocksim season, demo x 1.5, new films": ["season", crowd.name],
            "stocksim cold, demo": ["cold", demo.name],
            "stocksim stock, demo": ["stock", demo.name],
            "stocksim --help": ["--help"],
        }
        if quick:  # the others are run by the tests
            asked = {what: asked[what] for what in ("stocksim season, demo", "stocksim --help")}
        else:
            cpu_s([*call, "season", demo.name], folder)  # compiles what is not compiled yet, and waits for it
        unit, least = cpu_s(UNIT, folder), dict.fromkeys(asked, float("inf"))
        for _ in range(runs):
            for what, arguments in asked.items():
                unit = min(unit, cpu_s(UNIT, folder))
                least[what] = min(least[what], cpu_s([*call, *arguments], folder))
        least["an edit on the pages to its verdict"] = min(edits_cpu_s(demo, 3 * runs))
    load = f", load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors" if hasattr(os, "getloadavg") else ""
    print(f'unit: python -c "{UNIT[1]}", {unit:.2f} s of CPU; least of {runs} runs{load}')
    print(f"{'what':42} {'CPU s':>7} {'units':>7} {'meant to stay below, s':>23}")
    for what, seconds in least.items():
        print(f"{what:42} {seconds:7.2f} {seconds / unit:7.2f} {TARGETS_S[what]:23.1f}")


if __name__ == "__main__":
    main(quick="--quick" in sys.argv)
