"""The one place that knows numba: plain functions compiled when first called, and kept on disk.

A kernel is an ordinary function marked ``compiled`` that calls ordinary functions marked ``jitable``. Marking costs
nothing: numba is imported when a kernel is first called. ``kernel.py_func`` is the same code run by Python alone, the
plain engine: it answers, slowly, where numba is missing.
"""

from __future__ import annotations

import atexit
import gc
import hashlib
import importlib
import math
import os
import pickle
import platform
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from functools import update_wrapper, wraps
from inspect import signature
from pathlib import Path
from typing import IO, Any, Generic, ParamSpec, TypeVar, cast

import numpy as np

P = ParamSpec("P")
R = TypeVar("R")
F = TypeVar("F", bound=Callable[..., Any])

PACKAGE = Path(__file__).resolve().parent
# rooms above the compiled code, which may not use it; all other sources are in the cache's key
ABOVE = ("drawn", "changes", "answers", "faces")
PREPARING = "stocksim: preparing the engine, once (half a minute or so)."
WITHOUT = "stocksim: numba is not installed here; the plain engine answers, some hundred times slower."
# s that a process waits for another that compiles; then it compiles too, so that nothing can hold it for good
_LONGEST_WAIT_S = 600.0
_KEPT_FOLDERS = 6  # of earlier sources and versions; older ones are removed

_lock = threading.RLock()
_marked: list[Callable[..., Any]] = []
_formulas: list[tuple[Callable[..., Any], Callable[..., Any]]] = []  # as called with arrays, and the body for numbers
_NUMBERS = (float, int, np.float64)
_said: set[str] = set()


def jitable(function: F) -> F:
    """Mark a plain function as one that compiled functions may call; it stays as it is."""
    _marked.append(function)
    return function


def formula(function: F) -> F:
    """Mark a formula made of operators and of numpy's `minimum`, `maximum` and `sqrt`.

    Arrays, and lists that make arrays, go through it whole; numbers as they are, also in compiled code.
    """

    @wraps(function)
    def on_arrays(*arguments: Any, **named: Any) -> Any:
        for argument in (*arguments, *named.values()):
            if type(argument) not in _NUMBERS:
                break
        else:
            return function(*arguments, **named)
        return function(*map(_as_array, arguments), **{key: _as_array(part) for key, part in named.items()})

    _formulas.append((on_arrays, function))
    return cast(F, on_arrays)


def elementwise(function: F) -> F:
    """Mark a formula of numbers that branches: arrays are broadcast and go through it element by element."""

    @wraps(function)
    def on_arrays(*arguments: Any, **named: Any) -> Any:
        if named:
            arguments = signature(function).bind(*arguments, **named).args
        for argument in arguments:
            if type(argument) not in _NUMBERS:
                break
        else:
            return function(*arguments)
        arrays = np.broadcast_arrays(*map(_as_array, arguments))
        found = list(map(function, *(array.ravel().tolist() for array in arrays)))
        if not found or not isinstance(found[0], tuple):
            return np.array(found, float).reshape(arrays[0].shape)
        parts = [np.array(part, float).reshape(arrays[0].shape) for part in zip(*found, strict=True)]
        return type(found[0])(*parts) if hasattr(found[0], "_fields") else tuple(parts)

    _formulas.append((on_arrays, function))
    return cast(F, on_arrays)


def _as_array(value: Any) -> Any:
    return value if value is None else np.asarray(value, float)


def compiled(function: Callable[P, R]) -> Compiled[P, R]:
    """Compile the outermost function of a kernel when it is first called.

    Parameters
    ----------
    function : callable
        Takes arrays, numbers and named tuples of them, always of the same types, layout and dimensions; calls functions
        marked `jitable`. Makes no arrays: room to work in is handed to it. Runs without Python's global lock, so
        threads may share the work. A division by zero gives inf or NaN.

    Returns
    -------
    Compiled
        Called like the function; ``py_func`` is the function itself.
    """
    return Compiled(function)


class Compiled(Generic[P, R]):
    """A function that is compiled, or read from the disk, when first called; see `compiled`."""

    py_func: Callable[P, R]

    def __init__(self, function: Callable[P, R]):
        update_wrapper(self, function)
        self.py_func = function
        self._ready: Callable[P, R] | None = None

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> R:
        if self._ready is not None:
            return self._ready(*args, **kwargs)
        with _lock:
            if self._ready is None:
                return self._first_call(*args, **kwargs)
        return self._ready(*args, **kwargs)

    def is_prepared(self) -> bool:
        """Whether a call would not wait half a minute: machine code is at hand or kept, or there will never be any."""
        if self._ready is not None or not has_numba():
            return True
        return any(cache_folder().rglob(f"*.{self.py_func.__name__}-*.nbi"))

    def _first_call(self, *args: P.args, **kwargs: P.kwargs) -> R:
        if not has_numba():
            _say(WITHOUT)
            self._ready = self.py_func
            return self.py_func(*args, **kwargs)
        try:
            machine, answer = self._run_first(args, kwargs)
        except (OSError, EOFError, pickle.UnpicklingError) as error:  # a full disk, a file cut short
            _use_temporary_folder(error)
            machine, answer = self._run_first(args, kwargs)
        # numba would quietly compile half a minute for another layout or type: a caller's mistake, so let it be told
        machine.disable_compile()
        self._ready = machine
        return answer

    def _run_first(self, args: Any, kwargs: Any) -> tuple[Any, R]:
        from numba.core import config, event

        at_hand = self.is_prepared()
        machine = _machine(self.py_func)
        if at_hand:
            _read_without_typing(machine)
        else:
            _import_without_linear_algebra()

        class Announcing(event.Listener):
            def on_start(self, event: Any) -> None:
                if event.data["dispatcher"] is machine:
                    _say(PREPARING)

            def on_end(self, event: Any) -> None:
                pass

        settings: Any = config
        collects = gc.isenabled()
        gc.disable()  # it would go through the compiler's many small objects again and again
        before, settings.LOOP_VECTORIZE = settings.LOOP_VECTORIZE, 0
        try:  # rows are a few numbers long: compiled for wide vectors they take half as long again
            alone = nullcontext() if at_hand else only_one(cache_folder() / f"{self.py_func.__name__}.lock")
            with alone, event.install_listener("numba:compile", Announcing()):
                return machine, machine(*args, **kwargs)
        finally:
            settings.LOOP_VECTORIZE = before
            if collects:
                gc.enable()


def has_numba() -> bool:
    """Whether kernels are compiled here."""
    try:
        import numba  # noqa: F401
    except ImportError:
        return False
    return True


def _machine(function: Callable[..., Any]) -> Any:
    """Numba's dispatcher of a function, its compiled code kept in our folder."""
    from numba import njit
    from numba.core import config
    from numba.extending import overload, register_jitable

    settings: Any = config
    if "elementwise" not in _said:
        _said.add("elementwise")
        for ours, scalar in _SCALAR.items():
            overload(ours)(_taking_numbers(scalar))
    while _marked:
        register_jitable(_marked.pop())
    while _formulas:
        called, body = _formulas.pop()
        overload(called, strict=False)(_same_for_numbers(body))
    before, settings.CACHE_DIR = settings.CACHE_DIR, str(cache_folder())
    try:  # the folder is looked up here, not at the call; without _nrt every view of a row counts its references
        mark: Any = njit  # its types leave out an option that its documentation names
        return mark(function, cache=True, nogil=True, error_model="numpy", boundscheck=False, _nrt=False)
    finally:
        settings.CACHE_DIR = before


def _read_without_typing(machine: Any) -> None:
    """Spare numba its tables of types and of what they lower to where machine code is only read: a quarter of a second.

    Where what is kept turns out to be of other types, numba compiles, and makes its tables for that.
    """
    kept: Any = getattr(machine, "_cache", None)
    if not hasattr(kept, "load_overload"):
        return
    load = kept.load_overload

    def load_overload(signature: Any, target: Any) -> Any:
        target.refresh = lambda: None
        try:
            return load(signature, target)
        finally:
            del target.refresh

    kept.load_overload = load_overload


def _import_without_linear_algebra() -> None:
    """Spare numba its look for scipy's linear algebra: a fifth of a second, and no kernel uses it."""
    linalg = importlib.import_module("numba.np.linalg")
    look = getattr(linalg, "ensure_blas", None)
    if look is None or "scipy.linalg" in sys.modules or "numba.np.arraymath" in sys.modules:
        return
    linalg.__dict__["ensure_blas"] = lambda: None
    try:
        importlib.import_module("numba.np.arraymath")
    finally:
        linalg.__dict__["ensure_blas"] = look


def _same_for_numbers(body: Callable[..., Any]) -> Callable[..., Any]:
    return lambda *arguments, **named: body


def _say(line: str) -> None:
    """Print a line on stderr, once a process."""
    if line not in _said and sys.stderr is not None:
        _said.add(line)
        print(line, file=sys.stderr, flush=True)


# --- the same bits compiled and plain

# On machines with wide vectors numpy's own exp and log round otherwise than the C library that compiled code calls, in
# one of some twenty values. So a number goes to the C library here too, and only arrays go to numpy.


def exp(x: Any) -> Any:
    """Exponential of a number, as compiled code takes it, or of an array."""
    return math.exp(x) if isinstance(x, float) else np.exp(x)


def log(x: Any) -> Any:
    """Natural logarithm of a number above 0, as compiled code takes it, or of an array."""
    return math.log(x) if isinstance(x, float) else np.log(x)


def log1p(x: Any) -> Any:
    """Natural logarithm of one more than a number above -1, as compiled code takes it, or of an array."""
    return math.log1p(x) if isinstance(x, float) else np.log1p(x)


_SCALAR = {exp: math.exp, log: math.log, log1p: math.log1p}


def _taking_numbers(scalar: Callable[[float], float]) -> Callable[[Any], Callable[[Any], float]]:
    return lambda x: lambda x: scalar(x)


# --- where compiled code is kept

_folder: Path | None = None


def sources() -> list[Path]:
    """Every file that compiled code may take a formula or a number from."""
    return sorted(path for path in PACKAGE.rglob("*.py") if path.relative_to(PACKAGE).parts[0] not in ABOVE)


def cache_key() -> str:
    """Name of what is kept: it changes with every source, version and kind of processor.

    Numba's own key is the kernel's file alone: a number changed in a file that it imports would leave the old answer.
    """
    import llvmlite
    import llvmlite.binding
    import numba

    mark = hashlib.blake2b(digest_size=12)
    versions = (sys.version, platform.machine(), numba.__version__, llvmlite.__version__, np.__version__)
    for part in (*versions, llvmlite.binding.get_host_cpu_name()):
        mark.update(f"{part}\0".encode())
    for path in sources():
        mark.update(f"{path.relative_to(PACKAGE).as_posix()}\0".encode())
        mark.update(hashlib.blake2b(path.read_bytes()).digest())
    return mark.hexdigest()


def cache_folder() -> Path:
    """Folder of this version's compiled code, made if need be; a temporary one where it cannot be written."""
    global _folder
    with _lock:
        if _folder is None:
            base = _cache_base()
            folder = base / cache_key()
            try:
                folder.mkdir(parents=True, exist_ok=True)
                folder.touch()  # so that the folders in use are the youngest
                with tempfile.TemporaryFile(dir=folder):
                    pass
            except OSError as error:
                return _use_temporary_folder(error, folder)
            _folder = folder
            _remove_old(base)
        return _folder


@contextmanager
def only_one(path: Path, longest_s: float = _LONGEST_WAIT_S) -> Iterator[None]:
    """Hold the lock of a file, so that no two processes compile the same at one time.

    Whoever comes second waits, and then finds the machine code kept; after ``longest_s`` it goes on without the lock.
    The operating system opens the lock when its process ends, however it ends: a file left behind holds nobody up.
    """
    with path.open("ab") as file:
        until = time.monotonic() + longest_s
        while not _is_ours(file) and time.monotonic() < until:
            time.sleep(0.1)
        yield


def _is_ours(file: IO[bytes]) -> bool:
    """Whether the lock of an open file could be had; also where the file system knows no locks."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):  # held, as Windows too says it
        return False
    except OSError:
        return True
    return True


def _cache_base() -> Path:
    """Where a user's programs keep what can be made again; ``STOCKSIM_CACHE`` overrides it."""
    own = os.environ.get("STOCKSIM_CACHE")
    if own:
        return Path(own)
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache")
    return base / "stocksim" / "compiled"


def _use_temporary_folder(error: Exception, folder: Path | None = None) -> Path:
    """Keep compiled code in a new folder until the process ends, and say so."""
    global _folder
    refused = folder or _folder
    # a fresh one, never a known name: what lies there is run
    _folder = Path(tempfile.mkdtemp(prefix="stocksim-"))
    atexit.register(shutil.rmtree, _folder, ignore_errors=True)
    why = error.strerror if isinstance(error, OSError) and error.strerror else type(error).__name__
    _say(f"stocksim: {refused} cannot be used ({why}); the prepared engine is kept in {_folder} until this ends.")
    return _folder


def _remove_old(base: Path) -> None:
    """Remove the folders longest unused."""
    try:
        folders = sorted((p for p in base.iterdir() if p.is_dir()), key=lambda p: p.stat().st_mtime, reverse=True)
    except OSError:
        return
    for folder in folders[_KEPT_FOLDERS:]:
        shutil.rmtree(folder, ignore_errors=True)
