"""What stocksim raises and warns, and nothing else.

StocksimError            catch this one to catch them all
├── InputError           a site file, a log or a command line the keeper wrote; carries every fault found
└── ParameterError       a species, feed or crop file; carries every fault found

OutsideValidity          warning: a result was computed outside the range its source covers
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

LONGEST_SHOWN = 60  # characters of a value in a sentence
LARGEST_SHOWN = 10.0**15  # beyond any number of a file; keeps numbers of hundreds of digits away from float and str


def shown(value: Any) -> str:
    """A value of a TOML file as a keeper would write it, short enough for a sentence.

    Parameters
    ----------
    value : object
        Anything that a TOML file can hold.

    Returns
    -------
    str
        As ``"900 L"``, ``0.85`` or ``a list``.
    """
    if isinstance(value, str):
        text = value if len(value) <= LONGEST_SHOWN else value[: LONGEST_SHOWN - 3] + "..."
        return f'"{text}"'
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, int) and abs(value) > LARGEST_SHOWN:
        return "a number of very many digits"
    if isinstance(value, (dt.datetime, dt.date, dt.time)):
        return value.isoformat()
    return f"{value}"


def one_line(text: str) -> str:
    """A text of a file on a single line, what cannot be printed escaped."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input: where it stands and what would be right.

    Parameters
    ----------
    table : str
        Table of the file, as ``tanks.cedar``; empty when the fault concerns the whole file.
    field : str
        Key inside the table; empty when the fault concerns the table.
    message : str
        One sentence that names the value met and what is allowed.
    file : str
        File name, empty for a command line.
    """

    table: str
    field: str
    message: str
    file: str = ""

    def __str__(self) -> str:
        place = ".".join(part for part in (self.table, self.field) if part)
        where = ", ".join(part for part in (self.file, place) if part)
        return f"{where}: {self.message}" if where else self.message


class StocksimError(Exception):
    """Anything stocksim can explain in a sentence.

    Parameters
    ----------
    faults : iterable of Fault or str
        All faults found; a bare string becomes one fault without a place.
    """

    def __init__(self, faults: Iterable[Fault] | str):
        listed = [Fault("", "", faults)] if isinstance(faults, str) else list(faults)
        self.faults: list[Fault] = listed
        super().__init__("\n".join(str(fault) for fault in listed))


class InputError(StocksimError):
    """A site file, a log or a command line that cannot be used as it stands."""


class ParameterError(StocksimError):
    """A species, feed or crop file that breaks the library's rules."""


class OutsideValidity(UserWarning):
    """A result was computed outside the range that its source covers."""
