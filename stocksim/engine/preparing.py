"""Who runs a kernel while its machine code is not there yet.

Apart from `season`, for the hours of the days ask too, and the season knows them.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

from stocksim.compiled import Compiled

_preparing: list[subprocess.Popen[bytes]] = []


def at_hand(kernel: Compiled[Any], scenarios: int, is_first: bool = False) -> Callable[..., None]:
    """What runs a kernel: its machine code, or where that must first be compiled plain Python, for one season.

    The first verdict of a fresh installation does not wait for half a minute: another process compiles meanwhile. What
    comes after it, or asks for many seasons, waits for that.

    Parameters
    ----------
    kernel : Compiled
        One that `season.prepare` compiles.
    scenarios : int
        How many are asked for.
    is_first : bool
        Whether this kernel is the first of what is asked; the others follow a plain one's pace.

    Returns
    -------
    callable
        The kernel, or its plain function.
    """
    if kernel.is_prepared():
        return kernel
    if scenarios == 1 and is_first and not _preparing:
        words = "from stocksim.engine.season import prepare; prepare()"
        _preparing.append(subprocess.Popen([sys.executable, "-c", words], stdin=subprocess.DEVNULL))
    elif _preparing and (is_first or scenarios > 1):
        _preparing[0].wait()
    is_waited_for = scenarios > 1 or not _preparing or _preparing[0].poll() is not None
    return kernel if is_waited_for else kernel.py_func
