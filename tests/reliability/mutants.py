"""Spoilt and built site files, library files, weather and logs by the thousand; prints what came of them.

    python tests/reliability/mutants.py --sites 10000 --files 2000 --seed 1
    python tests/reliability/mutants.py --sites 300 --keep failing     # failing cases, each a folder to run

Sites: half are shipped examples and sites with every key, spoilt; a quarter the text of such a site with slips; a
quarter built by hypothesis. Files: own species, feeds and crops, weather and temperature logs, spoilt, beside a sound
site. Each is checked and, if sound, its season run without advice. Right is: refused in sentences, or run to numbers
that can be, in less than 5 s of CPU. Nothing is written but what ``--keep`` asks for.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from reliability import bases, mutations
from reliability.judging import LIMIT_S, Verdict, judge

SITE_KINDS = {"spoilt sites": 0.5, "slips in sites": 0.25, "built sites": 0.25}
FILE_KINDS = {"own species": 0.2, "own feeds": 0.2, "own crops": 0.2, "weather files": 0.2, "temperature logs": 0.2}
COLUMNS = ("cases", "refused", "ran", "traceback", "empty", "impossible", "unclear", "warned", "over 5 s")
NAMES = {"empty": "NaN or inf"}
MEMORY = 6 * 2**30  # bytes that a run may take before it is refused memory, and so fails as a traceback


@dataclass
class Case:
    """A folder's files by name, and where they come from."""

    kind: str
    number: int
    files: dict[str, bytes]


@dataclass
class Tally:
    """What came of all cases of a kind."""

    counts: Counter = field(default_factory=Counter)
    slowest_s: float = 0.0
    failures: list[tuple[Case, Verdict]] = field(default_factory=list)

    def add(self, case: Case, verdict: Verdict) -> None:
        self.counts["cases"] += 1
        self.counts[verdict.outcome] += 1
        self.counts["over 5 s"] += verdict.is_slow
        self.slowest_s = max(self.slowest_s, verdict.check_s, verdict.run_s)
        if verdict.is_failure:
            self.failures.append((case, verdict))


def _coded(files: dict[str, str]) -> dict[str, bytes]:
    return {name: text.encode("utf-8", errors="surrogatepass") for name, text in files.items()}


def as_case(kind: str, number: int, base: bases.Base) -> Case:
    """A base as the files of its folder."""
    return Case(kind, number, _coded({"site.toml": bases.toml_text(base.tables), **base.files}))


EACH_UNCUT = 20  # of so many spoilt sites one is a shipped example at its full length, where a run is long


def spoilt_sites(count: int, seed: int) -> Iterator[Case]:
    """Sites with one to four of their parts spoilt; in a run of more than a suite's, some of full length."""
    sound, uncut = bases.site_bases(), bases.uncut_examples()
    for number in range(count):
        rng = random.Random(f"{seed} site {number}")
        base = rng.choice(uncut if count > 200 and number % EACH_UNCUT == 0 else sound)
        yield as_case("spoilt sites", number, bases.Base(base.name, mutations.spoil(rng, base.tables), base.files))


def slips_in_sites(count: int, seed: int) -> Iterator[Case]:
    """Texts of sites with slips of the pen."""
    sound = bases.site_bases()
    for number in range(count):
        rng = random.Random(f"{seed} slip {number}")
        base = rng.choice(sound)
        case = as_case("slips in sites", number, base)
        case.files["site.toml"] = mutations.slip(rng, bases.toml_text(base.tables))
        yield case


def built_sites(count: int, seed: int) -> Iterator[Case]:
    """Sites built by hypothesis, collected before any is run: no case is shrunk here."""
    import hypothesis
    from reliability.built_sites import any_built_site

    collected: list[bases.Base] = []

    @hypothesis.seed(seed)
    @hypothesis.settings(
        max_examples=max(count, 1), database=None, deadline=None, phases=[hypothesis.Phase.generate],
        suppress_health_check=list(hypothesis.HealthCheck),
    )  # fmt: skip
    @hypothesis.given(any_built_site())
    def collect(base: bases.Base) -> None:
        collected.append(base)

    if count:
        collect()
    for number, base in enumerate(collected[:count]):
        yield as_case("built sites", number, base)


SHIPPED = {
    kind: sorted(path.stem for path in (bases.LIBRARY / kind).glob("*.toml")) for kind in ("fish", "feeds", "crops")
}


def own_library(kind: str, label: str, count: int, seed: int) -> Iterator[Case]:
    """A shipped species, feed or crop file, spoilt, as the keeper's own."""
    import tomllib

    for number in range(count):
        rng = random.Random(f"{seed} {kind} {number}")
        base = bases.with_own_library(kind, rng.choice(SHIPPED[kind]))
        name = f"species_params/{kind}/own.toml"
        case = as_case(label, number, base)
        if rng.random() < 0.15:
            case.files[name] = mutations.slip(rng, base.files[name])
        else:
            tables = mutations.spoil(rng, tomllib.loads(base.files[name]), mutations.LIBRARY_WAYS)
            case.files[name] = bases.toml_text(tables).encode("utf-8", errors="surrogatepass")
        yield case


def weather_files(count: int, seed: int) -> Iterator[Case]:
    """Recorded weather by the day or by the hour, spoilt."""
    sound = [bases.recorded(days=25), bases.recorded(days=25, hourly=False)]
    for number in range(count):
        rng = random.Random(f"{seed} weather {number}")
        base = rng.choice(sound)
        case = as_case("weather files", number, base)
        case.files["weather.csv"] = mutations.spoil_rows(rng, base.files["weather.csv"])
        yield case


def temperature_logs(count: int, seed: int) -> Iterator[Case]:
    """A log of the sump's temperature, spoilt."""
    base = bases.small()
    for number in range(count):
        rng = random.Random(f"{seed} log {number}")
        case = as_case("temperature logs", number, base)
        case.files["sump.csv"] = mutations.spoil_rows(rng, base.files["sump.csv"])
        yield case


def _makers(sites: int, files: int, seed: int) -> dict[str, Iterator[Case]]:
    """Cases by kind, none made yet."""
    count = {kind: round(share * sites) for kind, share in SITE_KINDS.items()}
    count |= {kind: round(share * files) for kind, share in FILE_KINDS.items()}
    makers = {
        "spoilt sites": spoilt_sites, "slips in sites": slips_in_sites, "built sites": built_sites,
        "weather files": weather_files, "temperature logs": temperature_logs,
    }  # fmt: skip
    made = {kind: maker(count[kind], seed) for kind, maker in makers.items()}
    for folder, kind in (("fish", "own species"), ("feeds", "own feeds"), ("crops", "own crops")):
        made[kind] = own_library(folder, kind, count[kind], seed)
    return made


def cases(sites: int, files: int, seed: int, only: str | None = None) -> Iterator[Case]:
    """All cases of a run, or those of one kind, the same for the same seed."""
    made = _makers(sites, files, seed)
    for kind in (*SITE_KINDS, *FILE_KINDS):
        if only in (None, kind):
            yield from made[kind]


def put(case: Case, folder: Path) -> None:
    """Write a case's files into a folder, made if it is not there."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in case.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def run(
    sites: int, files: int, seed: int, keep: Path | None = None, only: str | None = None, loud: bool = False
) -> dict[str, Tally]:
    """Judge all cases; failing ones are kept where asked, each with what was found.

    Returns
    -------
    dict of str to Tally
        By kind of case, in the order of the table.
    """
    tallies = {kind: Tally() for kind in (*SITE_KINDS, *FILE_KINDS) if only in (None, kind)}
    from stocksim.engine.season import prepare

    prepare()  # the first season of an installation pays for all; no case shall
    with tempfile.TemporaryDirectory() as work:
        for done, case in enumerate(cases(sites, files, seed, only)):
            folder = Path(work) / f"case{done}"
            folder.mkdir()
            put(case, folder)
            verdict = judge(folder)
            tallies[case.kind].add(case, verdict)
            if keep and verdict.is_failure:
                place = keep / f"{case.kind.replace(' ', '_')}_{case.number}"
                place.mkdir(parents=True, exist_ok=True)
                put(case, place)
                said = f"{verdict.outcome}: {verdict.what}\ncheck {verdict.check_s:.1f} s, run {verdict.run_s:.1f} s\n"
                (place / "found.txt").write_text(said, encoding="utf-8", errors="backslashreplace")
            for path in sorted(folder.rglob("*"), reverse=True):
                path.unlink() if path.is_file() else path.rmdir()
            folder.rmdir()
            if loud and done % 200 == 199:
                print(f"{done + 1} cases", file=sys.stderr, flush=True)
    return tallies


def table(tallies: dict[str, Tally]) -> str:
    """The counts as a table, a row for each kind of case and one for all."""
    whole = Tally()
    for tally in tallies.values():
        whole.counts += tally.counts
        whole.slowest_s = max(whole.slowest_s, tally.slowest_s)
    rows = [["", *(NAMES.get(column, column) for column in COLUMNS), "slowest, CPU s"]]
    for kind, tally in [*tallies.items(), ("all", whole)]:
        rows.append([kind, *(f"{tally.counts[column]:,}" for column in COLUMNS), f"{tally.slowest_s:.1f}"])
    lines = ["| " + " | ".join(row) + " |" for row in rows]
    lines.insert(1, "|" + "---|" + "---:|" * (len(rows[0]) - 1))
    return "\n".join(lines)


def grouped(tallies: dict[str, Tally]) -> str:
    """What failed, the commonest first, each with one case of it."""
    found: dict[tuple[str, str, str], list[int]] = {}
    for kind, tally in tallies.items():
        for case, verdict in tally.failures:
            what = verdict.what if verdict.outcome not in ("ran", "refused") else ""
            slow = f" over {LIMIT_S:g} s, {verdict.days} days" if verdict.is_slow else ""
            found.setdefault((kind, verdict.outcome, what.split(" (")[0][:120] + slow), []).append(case.number)
    lines = [
        f"{len(numbers):5d}  {kind} {numbers[0]}: {outcome}: {what}"
        for (kind, outcome, what), numbers in sorted(found.items(), key=lambda item: -len(item[1]))
    ]
    return "\n".join(lines)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    asked.add_argument("--sites", type=int, default=1000, help="site files to try")
    asked.add_argument("--files", type=int, default=500, help="library, weather and log files to try")
    asked.add_argument("--seed", type=int, default=1, help="the same seed gives the same cases")
    asked.add_argument("--keep", type=Path, help="folder for the failing cases; none is kept otherwise")
    asked.add_argument("--only", choices=[*SITE_KINDS, *FILE_KINDS], help="one kind of case")
    given = asked.parse_args()
    with contextlib.suppress(ImportError, ValueError, OSError):  # no such bound on Windows
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, resource.getrlimit(resource.RLIMIT_AS)[1]))
    tallies = run(given.sites, given.files, given.seed, given.keep, given.only, loud=sys.stderr.isatty())
    print(f"seed {given.seed}\n\n{table(tallies)}\n")
    failed = grouped(tallies)
    print(failed or "No failure.")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
