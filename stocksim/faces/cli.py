"""The command line: every command reads what its help says and writes what its help says.

Apart from `stocksim.__main__`, the way in, which decides how all of this is read.
"""

from __future__ import annotations

import errno
import gc
import io
import os
import sys
from contextlib import suppress
from typing import Any

import typer

from stocksim.errors import StocksimError
from stocksim.faces import registry
from stocksim.faces.options import layered, say

app = typer.Typer(
    name="stocksim",
    help="A season of fish, feed, ammonia, oxygen and planted area from one site file.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    rich_markup_mode=None,
)
for _name in registry.COMMANDS:
    _function, _example = registry.command(_name)
    app.command(_name, epilog=_example)(layered(_function))
for _name, _now in registry.HIDDEN.items():
    _function, _example = registry.command(_now)
    app.command(_name, epilog=_example, hidden=True)(layered(_function))
for _name in registry.GROUPS:
    _help, _commands = registry.group(_name)
    _inner = typer.Typer(help=_help, no_args_is_help=True, rich_markup_mode=None)
    for _own, _function, _example in _commands:
        _inner.command(_own, epilog=_example)(_function)
    app.add_typer(_inner, name=_name)
# why standard output may take nothing more; files are written elsewhere, and their faults told there
_OUTPUT_FAULTS = (errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT)
_OBJECTS_BETWEEN_LOOKS = 50_000  # Python's 700 cost a twentieth of a command, whose many small objects stay


def main() -> None:
    """Run a command; an explained error is printed a sentence a line and exits with 2."""
    gc.set_threshold(_OBJECTS_BETWEEN_LOOKS)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a name the terminal cannot show must not end the run
    code: Any = 0
    lost: str | None = None
    try:
        app()
    except StocksimError as error:
        code = 2
        with suppress(OSError):
            for fault in error.faults:
                say(str(fault))
    except SystemExit as stop:
        code = stop.code
    except OSError as error:
        if error.filename is not None or error.errno not in _OUTPUT_FAULTS:  # not of what we print, so our bug
            raise
        lost = error.strerror
    lost = _output_fault() or lost
    if lost is not None:
        code = 1
        with suppress(OSError):
            say(f"The answer cannot be written to standard output ({lost}).")
        # else Python tries once more as it ends, and shows a traceback
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)


def _output_fault() -> str | None:
    """Why standard output takes nothing more, as a full disk; None where it does."""
    try:
        sys.stdout.flush()
    except OSError as error:
        return error.strerror or str(error)
    return None


if __name__ == "__main__":
    main()
