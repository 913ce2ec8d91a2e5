"""Everything written: a file or a whole folder of results, the old or the new, never a part of either.

What is promised. A file, or all files of a folder of results, are first written in full beside their place and forced
to the disk, then put there in one step of the operating system. Whoever looks, also after the program was killed or the
power failed, finds everything as it was or everything new. Where the system cannot exchange two folders in one step
(Windows, some network and memory-stick file systems) the old folder is moved aside first: between two renames neither
is there, both stand whole beside it, and the next writing puts the old one back. A disk that is full changes nothing.
"""

from __future__ import annotations

import ctypes
import errno
import hashlib
import json
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TextIO

from stocksim.errors import InputError

Write = Callable[[TextIO], object]

MANIFEST = ".stocksim.json"  # what stocksim wrote into a folder, with a hash of each: only that is ever replaced
_NEW, _OLD = ".stocksim-new", ".stocksim-old"
_MOST_WAIT_S = 20.0
_LEFT_S = 60.0  # our choice: no file of ours takes a minute to write; without locks another may be at it
_LONGEST_NAME = 60
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def write_folder(folder: Path, files: Mapping[str, Write], reads: Iterable[Path] = ()) -> list[Path]:
    """Write a set of files into a folder: all of them or none.

    Parameters
    ----------
    folder : Path
        Made if it is not there. Files in it that others wrote stay; so do those of other sets of ours.
    files : mapping of str to callable
        Name of each file to what writes its text.
    reads : iterable of Path
        Files that the answer was made from; a folder that holds one of them is refused.

    Returns
    -------
    list of Path
        What was written, in the order given.

    Raises
    ------
    InputError
        As `check_folder`, or if the disk is full or the folder cannot be written; nothing is changed then.
    """
    check_folder(folder, files, reads)
    target = Path(os.path.realpath(folder))
    with _explained(folder, _only_inside(target)), _parents(target), _alone(target.parent):
        _recover(target)
        _check_folder(folder, files, reads, is_alone=True)
        _stage_and_swap(target, files)
    return [folder / name for name in files]


def new_folder(folder: Path, files: Mapping[Path, str | Path]) -> None:
    """Make a folder with files in it: the whole folder or none.

    Parameters
    ----------
    folder : Path
        Not there yet.
    files : mapping of Path to str or Path
        Each file's place inside the folder, to its text or the file that it is a copy of.

    Raises
    ------
    InputError
        If something is there already, or it cannot be written; nothing is changed then.
    """
    target = Path(os.path.realpath(folder))
    with _explained(folder), _parents(target), _alone(target.parent):
        _recover(target)
        if os.path.lexists(target):
            raise InputError(f"{folder}: is already there; give another name or remove it first.")
        stage = _beside(target, _NEW)
        try:
            for name, content in files.items():
                (stage / name).parent.mkdir(parents=True, exist_ok=True)
                _fill(stage / name, content)
            for inner in (path for path in stage.rglob("*") if path.is_dir()):
                _to_disk(inner)
            _to_disk(stage)
            os.rename(stage, target)
            _to_disk(target.parent)
        finally:
            shutil.rmtree(stage, ignore_errors=True)


def copy_file(source: Path, path: Path) -> None:
    """Copy a file to a place that is free: whole or not at all; errors as `write_file`."""
    with _explained(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    _put(path, lambda stage: _fill(stage, source), None)


def check_folder(folder: Path, names: Iterable[str], reads: Iterable[Path] = ()) -> None:
    """Refuse a folder of results that cannot be written without a loss; quick, to be called before a long run.

    Parameters
    ----------
    folder : Path
        Where results are to go; it need not be there.
    names : iterable of str
        Names of the files to come.
    reads : iterable of Path
        Files that the answer is made from.

    Raises
    ------
    InputError
        If it is a file, the folder one works in, holds a file that the site reads or a folder, or if one of the names
        is there and not as stocksim wrote it.
    """
    _check_folder(folder, tuple(names), reads, is_alone=False)


def _check_folder(folder: Path, names: Iterable[str], reads: Iterable[Path], is_alone: bool) -> None:
    """`check_folder`; ``is_alone`` where no other command can be writing there."""
    target = Path(os.path.realpath(folder))
    if target.exists() and not target.is_dir():
        raise InputError(f"{folder}: is a file; give a folder for the results.")
    if not target.is_dir():
        return
    here = Path.cwd()
    if target == here or target in here.parents:
        raise InputError(f"{folder}: is the folder you work in; give a folder of its own, as {folder / 'results'}.")
    for path in reads:
        real = Path(os.path.realpath(path))
        if target in real.parents:
            raise InputError(
                f"{folder}: holds {real.name}, which the site reads; give a folder of its own, as {folder / 'results'}."
            )
    with _explained(folder):
        odd = sorted(e.name for e in os.scandir(target) if not (e.is_file(follow_symlinks=False) or e.is_symlink()))
    if odd:
        raise InputError(f"{folder}: holds {odd[0]}, which is no file; give a folder that is for the results alone.")
    foreign = _foreign(target, names)
    if (
        foreign is not None and not is_alone
    ):  # another command may be in the middle of its exchange: look when it is done
        with _alone(target.parent):
            foreign = _foreign(target, names)
    if foreign is not None:
        raise InputError(
            f"{folder / foreign}: is there and not as stocksim wrote it; move it away, or give another folder."
        )


def _foreign(target: Path, names: Iterable[str]) -> str | None:
    """First of some names that is there and not as stocksim wrote it."""
    ours = _manifest(target)
    for name in names:
        path = target / name
        if os.path.lexists(path) and (not path.is_file() or ours.get(name) != _hash(path)):
            return name
    return None


def write_file(path: Path, write: Write, is_ours: Callable[[Path], bool] | None = None) -> None:
    """Write one file: the old or the new stands there at any moment.

    Parameters
    ----------
    path : Path
        The file; its folder must be there.
    write : callable
        Writes its text.
    is_ours : callable, optional
        Whether a file that is there may be replaced; without it none may.

    Raises
    ------
    InputError
        If something else is there, or it cannot be written; nothing is changed then.
    """
    _put(path, lambda stage: _write_whole(stage, write), is_ours)


def replace_file(path: Path, data: bytes) -> None:
    """Put bytes in the place of a file, whatever stands there: the old or the new is there at any moment.

    Parameters
    ----------
    path : Path
        The file; its folder must be there. Of a link, the file it leads to is meant; a file's mode stays as it was.
    data : bytes
        Its whole content.

    Raises
    ------
    OSError
        If it cannot be written; what stood there stands.
    InputError
        If another command writes into the folder for very long.
    """
    target = Path(os.path.realpath(path))
    with _alone(target.parent):
        _put_whole(target, lambda stage: _write_bytes(stage, data))


def drop_unfinished(path: Path) -> None:
    """Remove what killed writings of a file, its drafts and its versions left beside it.

    Parameters
    ----------
    path : Path
        The file, as ``house.toml``: only regular files called ``.house.….stocksim-new`` are ours, and only those that
        are older than any writing takes.
    """
    target = Path(os.path.realpath(path))
    with suppress(OSError):
        for entry in list(os.scandir(target.parent)):
            is_ours = entry.name.startswith(f".{target.stem}.") and entry.name.endswith(_NEW)
            if not is_ours or not entry.is_file(follow_symlinks=False):
                continue
            if time.time() - entry.stat(follow_symlinks=False).st_mtime > _LEFT_S:
                os.unlink(entry.path)


def safe_cell(value: object) -> object:
    """A cell of a CSV file that a spreadsheet shows and does not run.

    Parameters
    ----------
    value : object
        The cell; only a text can be unsafe.

    Returns
    -------
    object
        A text that begins like a formula gets an apostrophe before it; numbers, also written ones, stay as they are.

    Examples
    --------
    >>> [safe_cell(cell) for cell in ("=1+1", "-3.5", "perch", -3.5)]
    ["'=1+1", '-3.5', 'perch', -3.5]
    """
    if not isinstance(value, str) or not value.startswith(_FORMULA):
        return value
    try:
        float(value)
    except ValueError:
        return f"'{value}"
    return value if value[0] in "+-" else f"'{value}"


# --- how


def _put(path: Path, fill: Callable[[Path], object], is_ours: Callable[[Path], bool] | None) -> None:
    target = Path(os.path.realpath(path))
    with _explained(path), _alone(target.parent):
        if target.is_dir():
            raise InputError(f"{path}: cannot be written (Is a directory).")
        there = os.path.lexists(target)
        if there and (is_ours is None or not target.is_file() or not is_ours(target)):
            raise InputError(f"{path}: is already there; give another name or remove it first.")
        _put_whole(target, fill)


def _put_whole(target: Path, fill: Callable[[Path], object]) -> None:
    """Fill a file beside its place, force it to the disk and rename it; raises OSError, and then nothing is changed."""
    stage = _beside(target, _NEW)
    if stage.is_symlink() or stage.is_file():
        stage.unlink()  # a killed writing left it
    try:
        fill(stage)
        if target.exists():
            shutil.copymode(target, stage)
        os.replace(stage, target)
    except FileExistsError:  # of a writer where the system has no locks, or no file at all
        raise
    except BaseException:
        stage.unlink(missing_ok=True)
        raise
    _to_disk(target.parent)


def _fill(path: Path, content: str | Path) -> None:
    if isinstance(content, str):
        _write_whole(path, lambda out: out.write(content))
        return
    shutil.copyfile(content, path)
    _to_disk(path)


def _write_bytes(path: Path, data: bytes) -> None:
    with path.open("xb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


@contextmanager
def _parents(target: Path) -> Iterator[None]:
    """Make the folders above; those made go again where the writing fails."""
    made = [parent for parent in target.parents if not parent.exists()]
    if any(parent.exists() and not parent.is_dir() for parent in target.parents):
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException:
        for parent in made:
            with suppress(OSError):
                parent.rmdir()
        raise


def _stage_and_swap(target: Path, files: Mapping[str, Write]) -> None:
    stage = _beside(target, _NEW)
    try:
        stage.mkdir()
        kept = _carry(target, stage, set(files)) if target.is_dir() else {}
        for name, write in files.items():
            _write_whole(stage / name, write)
        wrote = kept | {name: _hash(stage / name) for name in files}
        told = {"what": "written by stocksim; what is changed here is not written over", "files": wrote}
        _write_whole(stage / MANIFEST, lambda out: out.write(json.dumps(told, indent=2) + "\n"))
        if target.is_dir():
            shutil.copymode(target, stage)
        _to_disk(stage)
        if not target.is_dir():
            os.rename(stage, target)
        elif _exchange(stage, target):
            _bring_newcomers(stage, target)
        else:
            old = _beside(target, _OLD)
            os.rename(target, old)
            try:
                os.rename(stage, target)
            except OSError:
                os.rename(old, target)
                raise
            _bring_newcomers(old, target)
            shutil.rmtree(old, ignore_errors=True)
        _to_disk(target.parent)
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def _bring_newcomers(old: Path, target: Path) -> None:
    """Files that others put into the folder while its next set was made."""
    for entry in list(os.scandir(old)):
        if not os.path.lexists(target / entry.name):
            os.rename(entry.path, target / entry.name)


def _recover(target: Path) -> None:
    """Put right what a killed writing left, and take its unfinished set away."""
    old = _beside(target, _OLD)
    if old.is_dir() and not target.exists():
        os.rename(old, target)
    for rest in (old, _beside(target, _NEW)):
        if rest.exists():
            shutil.rmtree(rest)


def _carry(target: Path, stage: Path, replaced: set[str]) -> dict[str, str]:
    """Bring along the files that are not replaced; the hashes of those that we wrote."""
    ours, kept = _manifest(target), {}
    for entry in os.scandir(target):
        if entry.name in replaced or entry.name == MANIFEST:
            continue
        try:
            os.link(entry.path, stage / entry.name, follow_symlinks=False)
        except (OSError, NotImplementedError):
            shutil.copy2(entry.path, stage / entry.name, follow_symlinks=False)
        if entry.name in ours:
            kept[entry.name] = ours[entry.name]
    return kept


def _write_whole(path: Path, write: Write) -> None:
    with path.open("x", encoding="utf-8", newline="") as out:
        write(out)
        out.flush()
        os.fsync(out.fileno())


def _exchange(one: Path, other: Path) -> bool:
    """Exchange two folders in one step; False where the system cannot."""
    if sys.platform == "win32":
        return False
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        if sys.platform == "darwin":
            return bool(libc.renamex_np(os.fsencode(one), os.fsencode(other), 2) == 0)  # RENAME_SWAP
        here = -100  # AT_FDCWD
        return bool(libc.renameat2(here, os.fsencode(one), here, os.fsencode(other), 2) == 0)  # RENAME_EXCHANGE
    except (AttributeError, OSError):
        return False


def _to_disk(folder: Path) -> None:
    """Force the names in a folder to the disk, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _manifest(folder: Path) -> dict[str, str]:
    try:
        files = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["files"]
        return {str(name): str(value) for name, value in files.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _hash(path: Path) -> str:
    with path.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _beside(target: Path, ending: str) -> Path:
    name = target.name
    if len(name) > _LONGEST_NAME:  # a system bounds names too
        name = f"{name[:_LONGEST_NAME]}.{hashlib.sha256(os.fsencode(name)).hexdigest()[:12]}"
    return target.with_name(f".{name}{ending}")


def _only_inside(target: Path) -> str:
    """What to do where a folder may be written but not exchanged, as the root of a disk."""
    return "; the set is made beside it, so give a folder inside it" if target.is_dir() else ""


@contextmanager
def _explained(path: Path, more: str = "") -> Iterator[None]:
    """An operating system's refusal as one sentence."""
    try:
        yield
    except OSError as error:
        is_place = error.errno in (errno.EACCES, errno.EPERM, errno.EBUSY, errno.EXDEV)
        raise InputError(
            f"{path}: cannot be written ({error.strerror or error}){more if is_place else ''}; nothing was changed."
        ) from None


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keep other writings out of a folder; the system frees it when the program ends, however it ends."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, PermissionError):  # Windows, or a folder that may be written and not listed
        yield
        return
    try:
        until = time.monotonic() + _MOST_WAIT_S
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise InputError(f"{folder}: is being written by another command; try again.") from None
                time.sleep(0.02)
            except OSError:  # a file system without locks
                break
        yield
    finally:
        os.close(handle)
