"""Compiled functions: the plain ones' bits, a cache that follows its sources, and life without numba or a cache."""

from __future__ import annotations

import math
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from stocksim import compiled

KERNEL = '''
from typing import NamedTuple
import numpy as np
from stocksim.compiled import compiled, exp, jitable, log
from stocksim.climate.trial_number import FACTOR


class Series(NamedTuple):
    x: np.ndarray


@jitable
def one(series, place: int, more: float = 0.0) -> float:
    return FACTOR * exp(0.1 * series.x[place]) + log(series.x[place]) + more


@compiled
def total(series, times: int, is_more: bool, out) -> None:
    """Sum of a series, so many times."""
    for _ in range(times):
        for place in range(len(series.x)):
            out[0, 0] += one(series, place, 1.0 if is_more else 0.0)
'''
ASK = """
import sys
from stocksim.climate.trial import Series, np, total
assert sys.modules.get("numba") is None
series = Series(np.linspace(0.5, 9.5, 300))


def told(function, *more):
    out = np.zeros((1, 1))
    function(series, *more, out)
    return float(out[0, 0])


answer = told(total, 1, False)
assert answer == told(total, 1, False) == told(total.py_func, 1, False)
assert told(total, 2, True) == told(total.py_func, 2, True) > 2.0 * answer
print(repr(answer), sys.modules.get("numba") is not None)
"""


@pytest.fixture
def ask_together(tmp_path):
    """Run a kernel in a copy of the package, in some processes at one time: (factor in a file that it imports, times)
    -> for each the answer, whether it was compiled there, stderr.
    """
    package = tmp_path / "stocksim"
    shutil.copytree(compiled.PACKAGE, package, ignore=shutil.ignore_patterns("__pycache__"))
    (package / "climate" / "trial.py").write_text(KERNEL, encoding="utf-8")

    def run(factor: float, times: int, before: str = "", cache: Path | None = None):
        (package / "climate" / "trial_number.py").write_text(f"FACTOR = {factor}\n", encoding="utf-8")
        settings = os.environ | {
            "PYTHONPATH": str(tmp_path), "STOCKSIM_CACHE": str(cache or tmp_path / "kept"),
            "PYTHONDONTWRITEBYTECODE": "1",  # two changes of a file in one second are one to Python's own cache
        }  # fmt: skip
        how = {"env": settings, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "cwd": tmp_path}
        started = [subprocess.Popen([sys.executable, "-c", before + ASK], **how) for _ in range(times)]
        told = []
        for process in started:
            out, said = process.communicate(timeout=300)
            assert process.returncode == 0, said
            answer, was_compiled = out.split()
            told.append((float(answer), was_compiled == "True", said))
        return told

    return run


@pytest.fixture
def ask(ask_together):
    """The same in one process."""

    def run(factor: float, before: str = "", cache: Path | None = None) -> tuple[float, bool, str]:
        return ask_together(factor, 1, before, cache)[0]

    return run


def test_two_processes_do_not_compile_at_the_same_time(ask_together):
    (one, first, first_said), (other, second, second_said) = ask_together(2.0, 2)
    assert one == other
    assert first != second
    assert (first_said + second_said).splitlines() == [compiled.PREPARING]


def test_a_lock_left_behind_or_held_too_long_keeps_nobody_from_compiling(tmp_path):
    path = tmp_path / "seasons.lock"
    path.write_bytes(b"of a process that was killed")
    with compiled.only_one(path), path.open("ab") as second:
        assert not compiled._is_ours(second)
        with compiled.only_one(path, longest_s=0.0):
            pass
    with path.open("ab") as third:
        assert compiled._is_ours(third)


def test_the_kept_answer_follows_a_number_in_an_imported_file(ask):
    first, was_compiled, said = ask(2.0)
    assert was_compiled
    assert said.splitlines() == [compiled.PREPARING]
    assert ask(2.0) == (first, False, "")  # machine code is read without numba
    other, was_compiled, _ = ask(3.0)
    assert was_compiled
    growth = sum(math.exp(0.1 * x) for x in np.linspace(0.5, 9.5, 300))
    assert other - first == pytest.approx(growth, rel=1e-12)


def test_a_folder_that_cannot_be_written_gives_way_to_a_temporary_one(ask, tmp_path):
    blocked = tmp_path / "a file"
    blocked.write_text("not a folder", encoding="utf-8")
    answer, _, said = ask(2.0, cache=blocked)
    assert answer == ask(2.0)[0]
    lines = said.splitlines()
    assert len(lines) == 2
    assert str(blocked) in lines[0]
    temporary = re.search(r"is kept in (\S+) until", lines[0])
    assert temporary is not None
    assert not Path(temporary[1]).exists()  # it went with the process


def test_a_kept_file_that_was_cut_short_is_made_again(ask, tmp_path):
    first = ask(2.0)[0]
    (path,) = (tmp_path / "kept").rglob("*.code")
    path.write_bytes(path.read_bytes()[:-20])
    assert ask(2.0) == (first, True, f"{compiled.PREPARING}\n")
    assert ask(2.0) == (first, False, "")


def test_without_numba_the_plain_engine_answers_and_says_so(ask):
    plain, was_compiled, said = ask(2.0, before="import sys; sys.modules['numba'] = None\n")
    assert not was_compiled
    assert said.splitlines() == [compiled.WITHOUT]
    assert plain == ask(2.0)[0]


class Numbers(NamedTuple):
    """What the kernel below takes."""

    x: np.ndarray


@compiled.jitable
def _both(x):
    return compiled.exp(x) * compiled.log(x)


@compiled.compiled
def _course(numbers, out):
    for place in range(len(numbers.x)):
        out[place] = _both(numbers.x[place])


def test_compiled_and_plain_give_the_same_bits():
    numbers = Numbers(np.random.default_rng(1).uniform(0.01, 40.0, 5000))
    fast, plain = np.empty(5000), np.empty(5000)
    _course(numbers, fast)
    _course.py_func(numbers, plain)
    assert fast.tobytes() == plain.tobytes()
    assert fast == pytest.approx(_both(numbers.x), rel=1e-14)


def test_another_type_is_refused_not_compiled_for_half_a_minute():
    numbers, out = Numbers(np.ones(3)), np.zeros(3)
    _course(numbers, out)
    out[:] = 0.0
    for other in (np.ones((3, 3)), np.ones(3, np.int64), np.ones(6)[::2], 1.0):
        with pytest.raises(TypeError, match=r"compiled for other|lie together|arrays and whole numbers"):
            _course(Numbers(other), out)
    assert out.tobytes() == np.zeros(3).tobytes()


@compiled.compiled
def _refusing(x):
    if x[0] < 0.0:
        raise ValueError


def test_what_fails_in_compiled_code_is_an_error_not_the_end_of_the_process():
    _refusing(np.ones(1))
    with pytest.raises(RuntimeError, match="_refusing"):
        _refusing(-np.ones(1))
    _refusing(np.ones(1))


def test_code_that_would_need_what_is_not_there_is_refused_before_it_is_read():
    missing = """
declare i32 @nowhere(ptr)
define i32 @inner(ptr %0, ptr %1, ptr %2, ptr %3) {
  %5 = call i32 @nowhere(ptr %0)
  ret i32 %5
}
"""
    with pytest.raises(ImportError, match="nowhere"):
        compiled._object_code(missing, "inner")


def test_every_source_that_may_be_compiled_is_in_the_key():
    known = set(compiled.sources())
    users = [p for p in compiled.PACKAGE.rglob("*.py") if "stocksim.compiled" in p.read_text(encoding="utf-8")]
    assert known >= set(users)


def test_old_folders_are_removed(tmp_path, monkeypatch):
    for number in range(9):
        (tmp_path / str(number)).mkdir()
        os.utime(tmp_path / str(number), (number + 1.0, number + 1.0))
    compiled._remove_old(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["3", "4", "5", "6", "7", "8"]
