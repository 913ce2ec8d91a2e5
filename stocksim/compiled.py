"""The one place that knows numba: plain functions compiled when first called, and kept on disk.

A kernel is an ordinary function marked ``compiled`` that calls ordinary functions marked ``jitable``. Marking costs
nothing: numba is imported when a kernel is first called. ``kernel.py_func`` is the same code run by Python alone, the
plain engine: it answers, slowly, where numba is missing.
"""

from __future__ import annotations

import atexit
import ctypes
import gc
import hashlib
import importlib
import math
import os
import platform
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import update_wrapper, wraps
from importlib.metadata import version
from importlib.util import find_spec
from inspect import signature
from pathlib import Path
from typing import IO, Any, Generic, ParamSpec, TypeVar, cast

import numpy as np

P = ParamSpec("P")
F = TypeVar("F", bound=Callable[..., Any])

PACKAGE = Path(__file__).resolve().parent
# rooms above the compiled code, which may not use it; all other sources are in the cache's key
ABOVE = ("drawn", "changes", "answers", "faces", "__main__.py")
PREPARING = "stocksim: preparing the engine, once (half a minute or so)."
WITHOUT = "stocksim: numba is not installed here; the plain engine answers, some hundred times slower."
# s that a process waits for another that compiles; then it compiles too, so that nothing can hold it for good
_LONGEST_WAIT_S = 600.0
_DIGEST = 16  # bytes before kept machine code that tell whether it is whole
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


def compiled(function: Callable[P, None]) -> Compiled[P]:
    """Compile the outermost function of a kernel when it is first called.

    Parameters
    ----------
    function : callable
        Takes arrays that lie together, whole numbers and truths, and named tuples of them, always of the same types and
        dimensions; fills arrays that are handed to it and gives nothing back; calls functions marked `jitable`. Makes
        no arrays: room to work in is handed to it. Runs without Python's global lock, so threads may share the work. A
        division by zero gives inf or NaN.

    Returns
    -------
    Compiled
        Called like the function; ``py_func`` is the function itself.
    """
    return Compiled(function)


class Compiled(Generic[P]):
    """A function that is compiled, or read from the disk, when first called; see `compiled`."""

    py_func: Callable[P, None]

    def __init__(self, function: Callable[P, None]):
        update_wrapper(self, function)
        self.py_func = function
        self._ready: Callable[..., None] | None = None

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> None:
        if kwargs:
            args = signature(self.py_func).bind(*args, **kwargs).args  # type: ignore[assignment]
        if self._ready is None:
            with _lock:
                self._ready = self._ready or self._made_ready(args)
        self._ready(*args)

    def is_prepared(self) -> bool:
        """Whether a call would not wait half a minute: machine code is at hand or kept, or there will never be any."""
        if self._ready is not None or not has_numba():
            return True
        return any(cache_folder().glob(f"{self.py_func.__name__}-*.code"))

    def _made_ready(self, args: Sequence[Any]) -> Callable[..., None]:
        if not has_numba():
            _say(WITHOUT)
            return self.py_func
        try:
            return self._machine(args)
        except OSError as error:
            _use_temporary_folder(error)
            return self._machine(args)
        except ImportError as error:  # its files are there, but of another Python, or not all
            _say(f"{WITHOUT} ({error})")
            return self.py_func

    def _machine(self, args: Sequence[Any]) -> Callable[..., None]:
        """The machine code for such arguments: kept, or compiled now and kept."""
        name, form = self.py_func.__name__, _Taken(args).form
        mark = hashlib.blake2b(repr(form).encode(), digest_size=8).hexdigest()
        path = cache_folder() / f"{name}-{mark}.code"
        code = _kept(path)
        if code is None:
            with only_one(path.with_suffix(".lock")):
                code = _kept(path)
                if code is None:
                    _say(PREPARING)
                    code = _compile(self.py_func, args)
                    _keep(path, code)
        return _Machine(code, name, form)


class _Taken:
    """Arguments as machine code takes them: addresses of arrays, their lengths and whole numbers, and the form of all.

    Parameters
    ----------
    args : sequence
        Of a kernel.

    Raises
    ------
    TypeError
        For an array that does not lie together, or what is neither an array nor a whole number.
    """

    def __init__(self, args: Sequence[Any]):
        self.addresses: list[int] = []
        self.numbers: list[int] = []
        self.form: list[Any] = []
        for argument in args:
            self._add(argument)

    def _add(self, thing: Any) -> None:
        if isinstance(thing, np.ndarray):
            if not thing.flags.c_contiguous:
                raise TypeError("a kernel takes arrays that lie together in memory, and was handed another")
            self.form.append((thing.dtype.str, thing.ndim))
            self.addresses.append(thing.ctypes.data)
            self.numbers += thing.shape
        elif isinstance(thing, tuple):
            self.form.append((type(thing).__qualname__, len(thing)))
            for part in thing:
                self._add(part)
        elif isinstance(thing, (bool, np.bool_, int, np.integer)):
            self.form.append("truth" if isinstance(thing, (bool, np.bool_)) else "number")
            self.numbers.append(int(thing))
        else:
            raise TypeError(f"a kernel takes arrays and whole numbers, and was handed {type(thing).__name__}")


class _Machine:
    """Machine code in memory, called with a kernel's arguments.

    Parameters
    ----------
    code : bytes
        From `_compile`.
    name : str
        Of the kernel.
    form : list
        What the code was compiled for.
    """

    def __init__(self, code: bytes, name: str, form: list[Any]):
        import llvmlite.binding as llvm

        self._name, self._form = name, form
        # the engine owns the code's memory, so it is kept as long as the code may be called
        self._engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _processor())
        self._engine.add_object_file(llvm.ObjectFileRef.from_data(code))
        self._engine.finalize_object()
        door = ctypes.CFUNCTYPE(ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p)
        self._door = door(self._engine.get_function_address(_DOOR))

    def __call__(self, *args: Any) -> None:
        taken = _Taken(args)
        if taken.form != self._form:
            # compiling for another layout or type would take half a minute unseen: a caller's mistake, so it is told
            raise TypeError(f"{self._name} was compiled for other types or dimensions than it was handed")
        addresses, numbers = np.array(taken.addresses, np.uintp), np.array(taken.numbers, np.int64)
        if self._door(addresses.ctypes.data, numbers.ctypes.data) not in _WELL:
            raise RuntimeError(f"{self._name} failed in compiled code; its py_func tells where")


def has_numba() -> bool:
    """Whether kernels are compiled here."""
    return all(find_spec(name) is not None for name in ("numba", "llvmlite"))


# --- compiling

_DOOR = "stocksim_kernel"
_WELL = (0, -2)  # what numba's functions answer where nothing was raised: with a value, and with None
# A C function's own way in tells faults to Python and so needs numba in memory. This one answers a number instead, and
# what numba would count references with, which no kernel has, does nothing.
_WAY_IN = f"""
declare i32 @"{{inner}}"(ptr, ptr, ptr, ptr)
define i32 @{_DOOR}(ptr %addresses, ptr %numbers) {{{{
  %answer = alloca ptr
  %fault = alloca ptr
  %status = call i32 @"{{inner}}"(ptr %answer, ptr %fault, ptr %addresses, ptr %numbers)
  ret i32 %status
}}}}
define void @NRT_MemInfo_call_dtor(ptr %0) {{{{
  ret void
}}}}
"""


def _compile(function: Callable[..., None], args: Sequence[Any]) -> bytes:
    """Machine code of a kernel for such arguments, which needs nothing of numba when it runs."""
    _import_without_linear_algebra()
    from numba import cfunc, njit, types
    from numba.core import config

    _mark_all()
    settings: Any = config
    collects = gc.isenabled()
    gc.disable()  # it would go through the compiler's many small objects again and again
    before, settings.LOOP_VECTORIZE = settings.LOOP_VECTORIZE, 0
    try:  # rows are a few numbers long: compiled for wide vectors they take half as long again
        mark: Any = njit  # its types leave out an option that its documentation names
        # without _nrt every view of a row counts its references
        kernel = mark(nogil=True, error_model="numpy", boundscheck=False, _nrt=False)(function)
        form = types.void(types.CPointer(types.voidptr), types.CPointer(types.int64))
        outer = cfunc(form, error_model="numpy")(_unpacking(kernel, args))
        return _object_code(outer.inspect_llvm(), outer.native_name.removeprefix("cfunc."))
    finally:
        settings.LOOP_VECTORIZE = before
        if collects:
            gc.enable()


def _mark_all() -> None:
    """Tell numba of all functions that were marked since."""
    from numba.extending import overload, register_jitable

    if "elementwise" not in _said:
        _said.add("elementwise")
        for ours, scalar in _SCALAR.items():
            overload(ours)(_taking_numbers(scalar))
    while _marked:
        register_jitable(_marked.pop())
    while _formulas:
        called, body = _formulas.pop()
        overload(called, strict=False)(_same_for_numbers(body))


def _unpacking(kernel: Callable[..., None], args: Sequence[Any]) -> Callable[..., None]:
    """Function of addresses and numbers, in the order of `_Taken`, that calls a kernel with the arguments they are."""
    from numba import carray

    names: dict[str, Any] = {"kernel": kernel, "carray": carray}
    places = {"addresses": 0, "numbers": 0}

    def next_of(row: str) -> str:
        places[row] += 1
        return f"{row}[{places[row] - 1}]"

    def named(thing: Any) -> str:
        names.setdefault(name := f"name_{len(names)}", thing)
        return name

    def text(thing: Any) -> str:
        if isinstance(thing, np.ndarray):
            shape = "".join(f"{next_of('numbers')}, " for _ in thing.shape)
            return f"carray({next_of('addresses')}, ({shape}), {named(thing.dtype.type)})"
        if isinstance(thing, tuple):
            return f"{named(type(thing))}({', '.join(map(text, thing))})"
        return next_of("numbers") + (" != 0" if isinstance(thing, (bool, np.bool_)) else "")

    exec(f"def unpacked(addresses, numbers):\n    kernel({', '.join(map(text, args))})", names)
    return cast(Callable[..., None], names["unpacked"])


def _object_code(text: str, inner: str) -> bytes:
    """An object file of LLVM's text of a function, with one way in."""
    import llvmlite.binding as llvm

    machine = _processor()
    module = llvm.parse_assembly(text)
    module.link_in(llvm.parse_assembly(_WAY_IN.format(inner=inner)))
    for function in module.functions:
        if not function.is_declaration and function.name != _DOOR:
            function.linkage = "internal"
    # once more as a whole, now that nothing else may call its parts: a sixth less time, for a tenth more to compile
    tuning = llvm.create_pipeline_tuning_options(speed_level=3)
    tuning.loop_vectorization = tuning.slp_vectorization = False
    builder = llvm.create_pass_builder(machine, tuning)
    builder.getModulePassManager().run(module, builder)
    outside = [one.name for one in module.functions if one.is_declaration and not one.name.startswith("llvm.")]
    unknown = [name for name in outside if llvm.address_of_symbol(name) is None]
    if unknown:  # reading such code would end the process
        raise ImportError(f"compiled code would need {', '.join(unknown)}")
    return bytes(machine.emit_object(module))


def _processor() -> Any:
    """LLVM for the processor at hand."""
    import llvmlite.binding as llvm

    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_triple(llvm.get_process_triple()).create_target_machine(
        cpu=llvm.get_host_cpu_name(), features=llvm.get_host_cpu_features().flatten(), opt=3, reloc="pic",
        codemodel="jitdefault", jit=True,
    )  # fmt: skip


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
    """Name of what is kept: it changes with every source, version and kind of processor."""
    import llvmlite.binding as llvm

    mark = hashlib.blake2b(digest_size=12)
    versions = (sys.version, platform.machine(), *map(version, ("numba", "llvmlite", "numpy")))
    for part in (*versions, llvm.get_host_cpu_name()):
        mark.update(f"{part}\0".encode())
    for path in sources():
        mark.update(f"{path.relative_to(PACKAGE).as_posix()}\0".encode())
        mark.update(hashlib.blake2b(path.read_bytes()).digest())
    return mark.hexdigest()


def _kept(path: Path) -> bytes | None:
    """Machine code from the disk; None where there is none, or not all of it."""
    if not path.exists():
        return None
    digest, code = (whole := path.read_bytes())[:_DIGEST], whole[_DIGEST:]
    return code if hashlib.blake2b(code, digest_size=_DIGEST).digest() == digest else None


def _keep(path: Path, code: bytes) -> None:
    """Write machine code under a digest of itself, whole or not at all."""
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:  # gone with what a full disk left of it
        part = Path(folder) / path.name
        part.write_bytes(hashlib.blake2b(code, digest_size=_DIGEST).digest() + code)
        os.replace(part, path)


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
