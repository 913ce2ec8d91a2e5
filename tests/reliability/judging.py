"""One case through the reader and the season, and what came of it: refused in sentences, run soundly, or a failure.

A case is a folder: ``site.toml`` and what stands beside it. `judge` does what ``stocksim check`` and ``stocksim
season`` do, the advice left out, in this process and under a watch of CPU time.
"""

from __future__ import annotations

import contextlib
import json
import math
import re
import signal
import time
import traceback
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

LIMIT_S = 5.0  # CPU seconds that `check`, and the run without advice, may take
STOPPED_S = 4.0 * LIMIT_S  # CPU seconds after which a case is given up
# numbers that may lie below zero: all others of the frames are amounts, levels, shares or counts
SIGNED = {
    "tanks": {"temperature_c", "oxygen_supply_g"},
    "cohorts": {"temperature_c", "growth_g_per_day", "nitrogen_spared_g"},
    "loops": {"temperature_c"},
    "beds": {"alkalinity_given_back_g"},
    "ledger": {"kg"},  # growth of fish that lost weight
}
# numbers that the documents leave open where there is nothing to tell: no film, no crop with a ratio, no weather
MAY_BE_EMPTY = {
    "loops": {
        "ammonia_oxidizer_maturity", "nitrite_oxidizer_maturity", "planting_ratio_g_m2_day", "handbook_area_m2",
        "balance_area_m2", "handbook_area_low_m2", "handbook_area_high_m2", "heat_kwh",
    },
    "beds": {"nitrogen_uptake_g", "nitrogen_shortfall_g", "potassium_shortfall_g", "yield_kg"},
}  # fmt: skip
LONGEST = 1000  # characters of a sentence that lists all known names
WATER_C = (-0.011, 45.0)  # water outside is ice, or no place of the model
ROUNDING = 1e-9
# words of Python and of the reading library, which no keeper should meet
JARGON = re.compile(
    r"pydantic|validat|Input should|Traceback|datetime|NoneType|<class|object at|\bTrue\b|\bFalse\b|\bNone\b|\bdict\b"
    r"|\bKeyError|Error\b|\[type=",
)
# a key or word of the file itself may look like jargon: what stands in quotes is the keeper's own
_QUOTED = re.compile(r'"[^"]*"|\'[^\']*\'')


class TookTooLong(BaseException):
    """The watch of CPU time ran out; no ``except Exception`` may swallow it."""


@dataclass
class Verdict:
    """What came of a case: outcome is refused, ran, traceback, empty, impossible, unclear or warned."""

    outcome: str
    what: str = ""
    check_s: float = 0.0
    run_s: float = 0.0
    days: int = 0
    sentences: list[str] = field(default_factory=list)

    @property
    def is_slow(self) -> bool:
        return max(self.check_s, self.run_s) > LIMIT_S

    @property
    def is_slow_only(self) -> bool:
        return self.is_slow and self.outcome in ("refused", "ran") and self.what != "given up"

    @property
    def is_failure(self) -> bool:
        return self.outcome not in ("refused", "ran") or self.is_slow


@contextlib.contextmanager
def cpu_watch(seconds: float) -> Iterator[None]:
    """Raise `TookTooLong` after some CPU seconds of this process; without a watch where the system has none."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def stop(*_: object) -> None:
        raise TookTooLong

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def unclear(error: Exception, written: str = "") -> str:
    """What is wrong with the sentences of a refusal; empty when every fault is one sentence on one line.

    A line of the file that a sentence shows, ``written``, is the keeper's own and not judged.
    """
    own = [line.strip() for line in written.splitlines() if line.strip()]
    faults = error.faults  # type: ignore[attr-defined]
    if not faults:
        return "no fault is told"
    for fault in faults:
        said, message = str(fault), fault.message
        if not message.strip() or not message.endswith((".", "?")):
            return f"no sentence: {said[:200]!r}"
        if not said.isprintable():
            return f"not one printable line: {said[:200]!r}"
        if len(message) > LONGEST:
            return f"{len(message)} characters: {said[:200]!r}"
        ours = message
        shown = re.search(r": ([^;]*?)(?:\.\.\.)?; ", message)
        if shown and any(line.startswith(shown[1]) for line in own):
            ours = message.replace(shown[1], "")
        if JARGON.search(_QUOTED.sub("", ours)):
            return f"jargon: {said[:200]!r}"
    return ""


def where(error: BaseException) -> str:
    """Kind of an exception and the innermost of our own lines it came through."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if "stocksim" in Path(frame.filename).parts] or frames
    last = ours[-1]
    line = str(error).splitlines()[0][:100] if str(error) else ""
    return f"{type(error).__name__} in {Path(last.filename).name}:{last.name} ({line})"


def odd_numbers(season: object) -> tuple[str, str]:
    """Kind and place of the first number in a season's frames that cannot be; two empty words where there is none."""
    for name, signed in SIGNED.items():
        frame = getattr(season, name)
        if name == "ledger" and "entry" in frame:  # fish that were counted may be fewer than there were
            frame = frame[frame["entry"] != "found"]
        for column in frame.select_dtypes("number"):
            values = frame[column].to_numpy(dtype=float)
            empty = [v for v in values if math.isnan(v)]
            if empty and column not in MAY_BE_EMPTY.get(name, set()):
                return "empty", f"{name}.{column} is NaN on {len(empty)} rows"
            known = [v for v in values if not math.isnan(v)]
            if not known:
                continue
            low, high = min(known), max(known)
            if math.isinf(low) or math.isinf(high):
                return "empty", f"{name}.{column} is infinite"
            if column not in signed and low < -ROUNDING * max(1.0, high):
                return "impossible", f"{name}.{column} goes down to {low:.4g}"
            if column == "temperature_c" and not (WATER_C[0] <= low and high <= WATER_C[1]):
                return "impossible", f"{name}.{column} goes from {low:.4g} to {high:.4g}"
    return "", ""


def judge(folder: Path, name: str = "site.toml") -> Verdict:
    """Check and, if sound, run a case.

    Parameters
    ----------
    folder : Path
        Holds the site file and all it names.
    name : str
        The site file.

    Returns
    -------
    Verdict
        Never an exception but `KeyboardInterrupt`.
    """
    verdict = Verdict("ran")
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            _judge(folder / name, verdict)
        except TookTooLong:
            verdict.outcome, verdict.what = "ran", "given up"
    ours = ("OutsideValidity",)
    other = [told for told in caught if told.category.__name__ not in ours]
    if verdict.outcome == "ran" and other:
        told = other[0]
        verdict.outcome = "warned"
        verdict.what = f"{told.category.__name__} in {Path(told.filename).name}:{told.lineno} ({told.message})"
    return verdict


def _judge(path: Path, verdict: Verdict) -> None:
    from stocksim.answers.season.answer import season_answer
    from stocksim.engine.running import run_season
    from stocksim.errors import StocksimError
    from stocksim.faces.text import answer_text
    from stocksim.faces.understood import understood
    from stocksim.faces.words import summary
    from stocksim.site.reading import load_site

    began = time.process_time()
    stage = "check_s"
    try:
        with cpu_watch(STOPPED_S):
            try:
                site = load_site(path)
                json.dumps(understood(site), allow_nan=False)
            finally:
                verdict.check_s = time.process_time() - began
        verdict.days = site.days
        began, stage = time.process_time(), "run_s"
        with cpu_watch(STOPPED_S):
            season = run_season(site)
            verdict.outcome, verdict.what = odd_numbers(season)
            found = season.findings
            json.dumps(summary(season, found), allow_nan=False)
            text = answer_text(season_answer(season, found))
        written = path.read_text(encoding="utf-8-sig", errors="replace").lower()
        if not verdict.outcome and "nan" not in written and "inf" not in written:
            stray = re.search(r"(?<![a-z_])-?(nan|inf)(?![a-z_])", text)
            if stray:
                verdict.outcome = "empty"
                verdict.what = (
                    f"the answer says {stray.group()}: {text[max(0, stray.start() - 60) : stray.end() + 20]!r}"
                )
        verdict.outcome = verdict.outcome or "ran"
    except StocksimError as error:
        verdict.sentences = [str(fault) for fault in error.faults]
        verdict.what = unclear(error, path.read_text(encoding="utf-8-sig", errors="replace"))
        verdict.outcome = "unclear" if verdict.what else "refused"
    except Exception as error:  # what is sought here
        verdict.outcome, verdict.what = "traceback", where(error)
    finally:
        if stage == "run_s":
            verdict.run_s = time.process_time() - began
