"""Spoil the sources one number at a time and see whether the tests notice.

Run: ``python tests/mutants/run.py [--only PART] [--whole] [--jobs N]``. Each mutation is made in a copy of the project;
there run the written-down answers and every test file that imports the spoilt module, and with ``--whole`` all tests
but those of a browser where these saw nothing. Prints a line each, and the score.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from mutations import MUTATIONS, Mutation

ROOT = Path(__file__).parents[2]
_NOT_COPIED = shutil.ignore_patterns(".git", ".venv", "dist", "build", "__pycache__", ".*_cache", "images")


def tests_of(mutation: Mutation) -> list[str]:
    """Test files that name the module, the written-down answers first."""
    module = mutation.file.removesuffix(".py").replace("/", ".")
    package, _, name = module.rpartition(".")
    imported = re.compile(rf"stocksim\.{re.escape(module)}\b|from stocksim\.{re.escape(package)} import .*\b{name}\b")
    found = [path for path in sorted((ROOT / "tests").glob("test_*.py")) if imported.search(path.read_text("utf-8"))]
    return ["tests/test_golden.py", *(f"tests/{path.name}" for path in found if "browser" not in path.name)]


def is_seen(home: Path, tests: list[str]) -> str:
    """Name of the first test that fails in the copy, '' where all pass."""
    environment = os.environ | {
        "PYTHONPATH": str(home), "CI": "true", "PYTHONDONTWRITEBYTECODE": "1",
    }  # fmt: skip
    command = [sys.executable, "-m", "pytest", "-n", "0", "-x", "-p", "no:cacheprovider", "-m", "not browser", *tests]
    done = subprocess.run(command, cwd=home, env=environment, capture_output=True, text=True)
    if done.returncode == 0:
        return ""
    if done.returncode not in (1, 2):  # 1 a test fails, 2 a file cannot be imported: all else says nothing of the tests
        raise RuntimeError(f"pytest ended with {done.returncode}: {done.stdout[-300:]}{done.stderr[-300:]}")
    failed = re.search(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.MULTILINE)
    return failed[1] if failed else f"pytest ended with {done.returncode}: {done.stdout[-300:]}"


def tried(mutation: Mutation, is_whole: bool) -> tuple[Mutation, str, float]:
    """The test that sees a mutation, '' for none, and how long that took. [s]"""
    start = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="mutant-") as folder:
        home = Path(folder) / "project"
        shutil.copytree(ROOT, home, ignore=_NOT_COPIED)
        path = home / "stocksim" / mutation.file
        text = path.read_text(encoding="utf-8")
        assert text.count(mutation.old) == 1, mutation
        path.write_text(text.replace(mutation.old, mutation.new), encoding="utf-8")
        seen = is_seen(home, tests_of(mutation))
        if not seen and is_whole:
            seen = is_seen(home, [])
    return mutation, seen, time.monotonic() - start


def main() -> None:
    """Print which mutations live."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--only", default="", help="part of a file's name or of the line")
    asked.add_argument("--whole", action="store_true", help="all tests where the nearest saw nothing")
    asked.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = asked.parse_args()
    os.environ.setdefault("STOCKSIM_CACHE", tempfile.mkdtemp(prefix="mutants-compiled-"))  # the sound engine, once
    chosen = [one for one in MUTATIONS if options.only in f"{one.file} {one.old}"]
    killed = 0
    with ThreadPoolExecutor(options.jobs) as pool:
        for mutation, seen, took in pool.map(lambda one: tried(one, options.whole), chosen):
            killed += bool(seen)
            print(f"{'seen' if seen else 'LIVES':6} {took:5.0f} s  {mutation.file}: {mutation.new}  {seen}", flush=True)
    print(f"{killed} of {len(chosen)} seen, {100.0 * killed / max(len(chosen), 1):.0f} %")


if __name__ == "__main__":
    main()
