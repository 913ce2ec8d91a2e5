"""Results are written whole or not at all, whatever ends the run, and nothing of others is lost."""

from __future__ import annotations

import errno
import io
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from written_sets import NAMES, generations, one_set

from stocksim import writing
from stocksim.errors import InputError
from stocksim.site.faults import name_fault
from stocksim.writing import MANIFEST, check_folder, new_folder, safe_cell, write_file, write_folder

# how often a writing child is killed at a random moment; 200 before a release
KILLS = int(os.environ.get("STOCKSIM_KILLS", "10"))
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="kills by SIGKILL")


def refusal(call, *arguments, **more) -> str:
    with pytest.raises(InputError) as caught:
        call(*arguments, **more)
    (fault,) = caught.value.faults
    assert str(fault).endswith(".")
    return str(fault)


def leftovers(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if ".stocksim-" in path.name)


def test_a_set_is_written_and_replaced_and_tells_what_it_wrote(tmp_path):
    folder = tmp_path / "deep" / "results"
    assert write_folder(folder, one_set(1)) == [folder / name for name in NAMES]
    assert generations(folder) == {"1"}
    write_folder(folder, one_set(2))
    assert generations(folder) == {"2"}
    assert leftovers(folder.parent) == []
    assert sorted(path.name for path in folder.iterdir()) == sorted([*NAMES, MANIFEST])


def test_other_sets_and_files_of_others_stay_through_a_link_too(tmp_path):
    folder = tmp_path / "results"
    write_folder(folder, one_set(1))
    write_folder(folder, {"hourly.csv": lambda out: out.write("x\n")})
    (folder / "notes.txt").write_text("mine")
    (folder / "link").symlink_to("notes.txt")
    (tmp_path / "to_results").symlink_to("results")
    write_folder(tmp_path / "to_results", one_set(2))
    assert generations(folder) == {"2"}
    assert (folder / "hourly.csv").read_text() == "x\n"
    assert (folder / "link").read_text() == "mine"
    assert (tmp_path / "to_results").is_symlink()
    write_folder(folder, {"hourly.csv": lambda out: out.write("y\n")})  # still known to be ours


def test_what_is_not_as_we_wrote_it_is_never_written_over(tmp_path):
    folder = tmp_path / "results"
    folder.mkdir()
    (folder / "a.csv").write_text("date,temperature_c\n")
    assert "a.csv: is there" in refusal(write_folder, folder, one_set(1))
    assert [path.name for path in folder.iterdir()] == ["a.csv"]
    (folder / "a.csv").unlink()
    write_folder(folder, one_set(1))
    with (folder / "b.csv").open("a") as out:
        out.write("my remark\n")
    assert "b.csv" in refusal(write_folder, folder, one_set(2))
    assert (folder / "b.csv").read_text().endswith("my remark\n")
    assert (folder / "a.csv").read_text().startswith("1,")
    for manifest in ("", "[]", "{", '{"files": 3}', "[" * 5000):
        (folder / MANIFEST).write_text(manifest)
        refusal(write_folder, folder, one_set(2))


def test_a_folder_that_the_site_reads_from_or_that_one_works_in_is_refused(tmp_path, monkeypatch):
    log = tmp_path / "plan" / "logs" / "tanks.csv"
    log.parent.mkdir(parents=True)
    log.write_text("date,temperature_c\n")
    for folder in (tmp_path / "plan", log.parent):
        assert "holds tanks.csv, " in refusal(check_folder, folder, NAMES, [log])
    linked = tmp_path / "house" / "log.csv"
    linked.parent.mkdir()
    linked.symlink_to(log)
    assert "which the site reads" in refusal(check_folder, log.parent, NAMES, [linked])
    monkeypatch.chdir(log.parent)
    for folder in (Path(), Path(".."), tmp_path):
        assert "you work in" in refusal(check_folder, folder, NAMES)
    check_folder(tmp_path / "new" / "folder", NAMES)
    assert not (tmp_path / "new").exists()


def test_a_folder_with_folders_in_it_is_refused(tmp_path):
    (tmp_path / "results" / "plots").mkdir(parents=True)
    assert "holds plots," in refusal(check_folder, tmp_path / "results", NAMES)


def failing(code: int):
    def write(out):
        out.write("half" * 5000)
        raise OSError(code, os.strerror(code))

    return write


@pytest.mark.parametrize("exchanges", [True, False])
def test_a_full_disk_changes_nothing(tmp_path, exchanges, monkeypatch):
    if not exchanges:
        monkeypatch.setattr(writing, "_exchange", lambda one, other: False)
    folder = tmp_path / "results"
    full = one_set(2) | {"c.csv": failing(errno.ENOSPC)}
    words = "cannot be written (No space left on device); nothing was changed."
    assert refusal(write_folder, folder / "deeper", full).endswith(words)
    assert list(tmp_path.iterdir()) == []
    write_folder(folder, one_set(1))
    assert refusal(write_folder, folder, full).endswith(words)
    assert generations(folder) == {"1"}
    assert refusal(write_file, tmp_path / "site.toml", failing(errno.ENOSPC)).endswith(words)
    assert refusal(new_folder, tmp_path / "plan", {Path("a"): "x", Path("b"): tmp_path / "gone"}).endswith("changed.")
    assert [path.name for path in tmp_path.iterdir()] == ["results"]
    write_folder(folder, one_set(3))
    assert generations(folder) == {"3"}
    assert leftovers(tmp_path) == []


@POSIX
def test_a_disk_that_takes_only_some_bytes_leaves_the_old_set(tmp_path):
    """A real short write: the system refuses bytes beyond a limit, as a full disk does."""
    write_folder(tmp_path / "results", one_set(1))
    script = f"""
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, {str(Path(__file__).parent)!r})
from written_sets import InputError, one_set, write_file, write_folder
long = ("x" * 10000)
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (9000, 9000))
for call, *given in ((write_folder, Path("results"), one_set(2)), (write_file, Path("x"), lambda o: o.write(long))):
    try:
        call(*given)
    except InputError as error:
        print(error)
"""
    ran = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, check=True)
    lines = ran.stdout.splitlines()
    assert [line.split(": ")[0] for line in lines] == ["results", "x"]
    assert all("(File too large)" in line for line in lines)
    assert generations(tmp_path / "results") == {"1"}
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


# killed at its n-th call to the system, for every n: the whole of what may go wrong in between
KILLED_AT = """
import itertools, os, signal, sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from written_sets import one_set, writing
left = itertools.count({at}, -1)
def deadly(call):
    def counted(*arguments, **more):
        if next(left) == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return call(*arguments, **more)
    return counted
for name in ("fsync", "rename", "link", "replace", "mkdir", "open", "rmdir", "unlink", "scandir", "chmod"):
    setattr(os, name, deadly(getattr(os, name)))
writing._exchange = deadly(writing._exchange) if {exchanges} else (lambda one, other: False)
writing.write_folder(Path("results"), one_set(2))
"""


@POSIX
@pytest.mark.parametrize("exchanges", [True, False])
def test_a_writing_killed_at_any_step_leaves_the_old_or_the_new_set(tmp_path, exchanges):
    folder = tmp_path / "results"
    seen = []
    for at in range(200):
        subprocess.run(["rm", "-rf", *map(str, tmp_path.iterdir())], check=True)
        write_folder(folder, one_set(1))
        (folder / "notes.txt").write_text("mine")
        script = KILLED_AT.format(tests=str(Path(__file__).parent), at=at, exchanges=exchanges)
        ran = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, check=False)
        if exchanges or folder.exists():
            seen.append(generations(folder))
            assert (folder / "notes.txt").read_text() == "mine"
        else:  # between the two renames both sets stand whole beside the place
            beside = [generations(tmp_path / name) for name in leftovers(tmp_path)]
            assert sorted(map(sorted, beside)) == [["1"], ["2"]]
        write_folder(folder, {"other.csv": lambda out: out.write("after\n")})  # the next writing puts all right
        assert generations(folder) in ({"1"}, {"2"})
        assert (folder / "notes.txt").read_text() == "mine"
        assert leftovers(tmp_path) == []
        if ran.returncode == 0:
            break
    assert ran.returncode == 0
    assert at > 15
    assert all(found in ({"1"}, {"2"}) for found in seen)
    assert {"1"} in seen
    assert {"2"} in seen


@POSIX
def test_killed_at_random_moments_the_folder_is_the_old_or_the_new_set(tmp_path):
    script = f"""
import itertools, sys
from pathlib import Path
sys.path.insert(0, {str(Path(__file__).parent)!r})
from written_sets import one_set, write_folder
for generation in itertools.count():
    write_folder(Path("results"), one_set(generation))
    print(generation, flush=True)
"""
    for _ in range(KILLS):
        with subprocess.Popen([sys.executable, "-c", script], cwd=tmp_path, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            child.stdout.readline()  # at least one whole set is there
            time.sleep(random.random() * 0.1)
            child.send_signal(signal.SIGKILL)
            child.wait()
        found = generations(tmp_path / "results")
        assert len(found) == 1
        assert "half" not in found


def test_two_writers_at_once_take_turns(tmp_path):
    script = f"""
import sys
from pathlib import Path
sys.path.insert(0, {str(Path(__file__).parent)!r})
from written_sets import one_set, write_folder
for _ in range(10):
    write_folder(Path("results"), one_set(int(sys.argv[1])))
"""
    children = [subprocess.Popen([sys.executable, "-c", script, str(n)], cwd=tmp_path) for n in (1, 2)]
    assert [child.wait() for child in children] == [0, 0]
    assert generations(tmp_path / "results") in ({"1"}, {"2"})
    assert leftovers(tmp_path) == []


def test_a_look_in_the_middle_of_anothers_exchange_waits_for_its_end(tmp_path):
    folder = tmp_path / "results"
    names = [path.name for path in write_folder(folder, one_set(1))]
    path = folder / names[0]
    whole, begun = path.read_bytes(), threading.Event()

    def exchange() -> None:
        with writing._alone(tmp_path):
            path.write_bytes(b"half of it")
            begun.set()
            time.sleep(0.3)
            path.write_bytes(whole)

    other = threading.Thread(target=exchange)
    other.start()
    assert begun.wait(60.0)
    writing.check_folder(folder, names)
    other.join()
    path.write_bytes(b"somebody's own")
    assert names[0] in refusal(writing.check_folder, folder, names)


def test_a_single_file_is_only_replaced_where_it_is_ours_and_no_device_ever(tmp_path):
    path = tmp_path / "x.csv"
    write_file(path, lambda out: out.write("one"))
    assert "is already there" in refusal(write_file, path, lambda out: out.write("two"))
    write_file(path, lambda out: out.write("two"), lambda file: file.read_text() == "one")
    assert path.read_text() == "two"
    assert "is already there" in refusal(write_file, Path(os.devnull), lambda out: None, lambda file: True)
    assert "Is a directory" in refusal(write_file, tmp_path, lambda out: None, lambda file: True)
    assert "No such file" in refusal(write_file, tmp_path / "nowhere" / "x", lambda out: None)
    (tmp_path / "dangling").symlink_to("nothing")
    write_file(tmp_path / "dangling", lambda out: out.write("three"))
    assert (tmp_path / "nothing").read_text() == "three"


# ---- cells ----------------------------------------------------------------------------------------------------------


@given(st.text(max_size=12) | st.sampled_from(["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1"]))
def test_no_cell_begins_like_a_formula_unless_it_is_a_number(text):
    cell = safe_cell(text)
    assert cell in (text, f"'{text}")
    if cell and cell[0] in "=+-@\t\r\n":
        float(cell)


@given(st.floats() | st.integers() | st.none() | st.booleans())
def test_numbers_stay(value):
    assert safe_cell(value) is value
    assert safe_cell(f"{-3.2:.3f}") == "-3.200"


@given(st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_-]{0,8}", fullmatch=True))
def test_every_name_that_is_allowed_comes_back_from_a_table_as_it_is(name):
    if name_fault(name):
        return
    read = pd.read_csv(io.StringIO(f"tank\n{name}\n"))["tank"]
    assert read.tolist() == [name]


@pytest.mark.parametrize(
    "name", ["NA", "nan", "NaN", "null", "NULL", "None", "n-a", "true", "False", "1e5", "007", "inf"]
)
def test_names_that_a_table_would_give_back_as_something_else_are_refused(name):
    back = pd.read_csv(io.StringIO(f"tank\n{name}\n"))["tank"].tolist() == [name]
    assert bool(name_fault(name)) != back
