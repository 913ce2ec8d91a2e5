"""Kill a writer at random moments and look whether the old or the new whole set stands there.

    python tests/reliability/kill9.py season_out --kills 200 --seed 1

The names are those of `writers.WRITERS`. A child writes version 0, 1, 0, 1 ... of a set into one folder; at a random
moment of its first or second write, or a little later, it gets SIGKILL. Then every set that stands there must be, byte
for byte, one of the two versions, whole. The folder is not cleaned between kills: what one kill leaves behind is what
the next write finds. This tries the death of the program, not of the machine: nobody pulls a plug here.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from reliability.writers import WRITERS, Writer

_ABOUT_TO_WRITE = b"."


def versions(writer: Writer, folder: Path) -> list[dict[str, bytes]]:
    """The two whole versions, each written by itself into an empty folder; they must differ in every file."""
    found = []
    for version in (0, 1):
        place = folder / f"version{version}"
        place.mkdir()
        writer.write(place, version)
        found.append(writer.sets(place)[0])
    one, other = found
    if set(one) != set(other) or any(one[name] == other[name] for name in one) or not one:
        raise SystemExit("the two versions must hold the same files, and each file must differ")
    return found


def seconds_of_a_write(writer: Writer, folder: Path) -> float:
    """How long a write takes in a child, on the clock: only where the kills fall depends on it."""
    began = time.perf_counter()
    killed_once(writer, folder, 0, 5, 0.0)
    return (time.perf_counter() - began) / 4.0


def _child(writer: Writer, folder: Path, version: int, told: int) -> None:
    while True:
        os.write(told, _ABOUT_TO_WRITE)
        writer.write(folder, version)
        version = 1 - version


def killed_once(writer: Writer, folder: Path, version: int, begun: int, after_s: float) -> None:
    """Start a child that writes a version, then the other and so on; kill it some time after some writes have begun."""
    heard, told = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            os.close(heard)
            _child(writer, folder, version, told)
        finally:
            os._exit(3)
    os.close(told)
    for _ in range(begun):
        os.read(heard, 1)
    time.sleep(after_s)
    os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    os.close(heard)
    if os.WIFEXITED(status):
        raise SystemExit("the writer failed before it was killed")


def kill(name: str, kills: int, seed: int) -> tuple[Counter, list[str]]:
    """Kill a writer many times.

    Returns
    -------
    tuple of Counter and list of str
        How often the old or the new whole version stood there, or a torn set, with the most files that kills left
        beside the sets; and what was torn.
    """
    writer, rng = WRITERS[name], random.Random(seed)
    writer.warm()
    counts: Counter = Counter()
    torn: list[str] = []
    with tempfile.TemporaryDirectory() as work:
        known = versions(writer, Path(work))
        folder = Path(work) / "written"
        folder.mkdir()
        length, there = seconds_of_a_write(writer, folder), 1
        writer.write(folder, there)
        for number in range(kills):
            killed_once(writer, folder, 1 - there, rng.choice((1, 2)), rng.uniform(0.0, 1.2 * length))
            stands = writer.sets(folder)
            if stands and all(found in known for found in stands):
                counts["old whole" if known.index(stands[0]) == there else "new whole"] += 1
                there = known.index(stands[0])
                in_sets = {file for found in stands for file in found}
                strays = [p for p in folder.rglob("*") if p.is_file() and str(p.relative_to(folder)) not in in_sets]
                counts["most files left beside"] = max(counts["most files left beside"], len(strays))
                continue
            counts["torn"] += 1
            for found in stands:
                if found not in known:
                    sizes = ", ".join(f"{file} {len(data)} bytes" for file, data in found.items())
                    torn.append(f"kill {number}: {sizes or 'nothing stands there'}")
            writer.write(folder, 0)  # whole again, so that each kill is tried on an old set that was whole
            there = 0
    return counts, torn


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    asked.add_argument("writer", choices=sorted(WRITERS))
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    if not hasattr(os, "fork"):
        print("this system has no fork and no SIGKILL; nothing was tried")
        return 4
    counts, torn = kill(given.writer, given.kills, given.seed)
    print(f"{given.writer}: {given.kills} kills, " + ", ".join(f"{what} {n}" for what, n in sorted(counts.items())))
    for line in torn[:5]:
        print(f"  {line}")
    return 1 if torn else 0


if __name__ == "__main__":
    sys.exit(main())
