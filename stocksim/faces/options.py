"""Options of the command line read and judged together, so that every fault is told at once."""

from __future__ import annotations

import datetime as dt
import inspect
import json
import math
import sys
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stocksim.errors import Fault, InputError, shown
from stocksim.faces.answer import TOPICS, Answer
from stocksim.faces.days import read_day
from stocksim.units import parse_quantity

if TYPE_CHECKING:
    from stocksim.site.reading import Site

_BAR_AFTER_SECONDS = 1.0
_BAR_WIDTH = 30
SiteArgument = Annotated[Path, typer.Argument(help="Site file (TOML).", show_default=False)]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, keys carry units.")]

Topics = Collection[str] | None  # what `layered` makes of its options: none is the first layer, None is all


def say(text: str) -> None:
    """Talk to the keeper beside the answer."""
    typer.echo(text, err=True)


def site_from_book(path: Path) -> Site:
    """The site of a file, from today on where a record book stands beside it, which is said beside the answer.

    Raises
    ------
    InputError
        With every fault of the file, or what is wrong with the book.
    """
    from stocksim.engine.onward import of_book
    from stocksim.site.reading import load_site

    found = of_book(load_site(path))
    for sentence in found.told:
        say(sentence)
    return found.site


def print_json(data: Any) -> None:
    """Print an answer as one JSON object."""
    typer.echo(json.dumps(data, indent=2, allow_nan=False))


class Bar:
    """A progress bar on standard error, shown only when a run is long and someone watches."""

    def __init__(self, label: str):
        self.label, self.began, self.shown = label, time.monotonic(), False

    def __call__(self, done: int, total: int) -> None:
        if not sys.stderr.isatty() or time.monotonic() - self.began < _BAR_AFTER_SECONDS:
            return
        filled = _BAR_WIDTH * done // total
        self.shown = True
        print(
            f"\r{self.label} [{'#' * filled}{'.' * (_BAR_WIDTH - filled)}] {done}/{total}",
            end="",
            file=sys.stderr,
        )

    def close(self) -> None:
        """Wipe the bar."""
        if self.shown:
            print("\r" + " " * (len(self.label) + _BAR_WIDTH + 20) + "\r", end="", file=sys.stderr)


def deliver(answer: Answer, as_json: bool = False, topics: Topics = ()) -> None:
    """Print an answer, as text or as one JSON object.

    Parameters
    ----------
    answer : Answer
        What a command found.
    as_json : bool
        Whether as one JSON object, that always holds all of it.
    topics : collection of str, optional
        What of the text is asked for beyond its first layer; None for all of it. As `layered` hands them to a command.
    """
    if as_json:
        print_json(answer.data)
        return
    from stocksim.faces.text import answer_text

    typer.echo(answer_text(answer, topics))


_TOPIC_HELP = {
    "fish": "More on the fish.",
    "water": "More on the water.",
    "plants": "More on the plants.",
    "cautions": "Every caution.",
    "assumptions": "What was assumed, and on what evidence.",
}


def layered(command: Callable[..., None]) -> Callable[..., None]:
    """A command with an option for each topic behind its first layer, and one for all; its own where it takes none.

    Parameters
    ----------
    command : callable
        Takes ``topics``, as `deliver` does, where its answer has layers.

    Returns
    -------
    callable
        For typer, that takes ``--fish``, ``--water``, ..., ``--all`` in place of ``topics``.
    """
    signature = inspect.signature(command, eval_str=True)
    if "topics" not in signature.parameters:
        return command
    flags: dict[str, Any] = {topic: typer.Option(f"--{topic}", help=_TOPIC_HELP[topic]) for topic in TOPICS}
    flags["all"] = typer.Option("--all", help="All of the answer.")
    keyword = inspect.Parameter.KEYWORD_ONLY
    added = [
        inspect.Parameter(f"tell_{name}", keyword, default=False, annotation=Annotated[bool, flag])
        for name, flag in flags.items()
    ]
    own = [one.replace(kind=keyword) for name, one in signature.parameters.items() if name != "topics"]

    @wraps(command)
    def run(**given: Any) -> None:
        asked = [name for name in flags if given.pop(f"tell_{name}")]
        command(**given, topics=None if "all" in asked else asked)

    typed: Any = run
    typed.__signature__ = signature.replace(parameters=[*own, *added])
    typed.__annotations__ = {one.name: one.annotation for one in [*own, *added]} | {"return": None}
    return run


def read_options(*wanted: tuple[str, str | None, str]) -> tuple[list[Any], list[Fault]]:
    """Values of options given as (name, text, dimension or date).

    Parameters
    ----------
    *wanted : tuple of (str, str or None, str)
        Option, its text, and a dimension of `stocksim.units` or ``date``.

    Returns
    -------
    list
        A value for each, None for one that was not given or cannot be read.
    list of Fault
        One for each that cannot be read.
    """
    values: list[Any] = []
    faults = []
    for name, text, dimension in wanted:
        value = None
        try:
            if text is not None:
                value = _date(text) if dimension == "date" else parse_quantity(text, dimension)
        except InputError as error:
            faults.append(Fault("", "", f"{name}: {error}"))
        values.append(value)
    return values, faults


def options(*wanted: tuple[str, str | None, str]) -> list[Any]:
    """Values of `read_options`; raises InputError with all its faults."""
    values, faults = read_options(*wanted)
    if faults:
        raise InputError(faults)
    return values


def _date(text: str) -> dt.date:
    try:
        return read_day(text)
    except ValueError:
        raise InputError(f"{shown(text)} is not a date; write it as 2027-01-20.") from None


def number_option(name: str, low: float, high: float, allowed: str, whole: bool = False) -> Callable[[str], float]:
    """Reader of an option that is a number without a unit, for typer.

    Parameters
    ----------
    name : str
        The option, as ``--years``.
    low, high : float
        Least and greatest number allowed.
    allowed : str
        What to write, as ``give a number of years from 1 to 1000``.
    whole : bool
        Whether only whole numbers are allowed.

    Returns
    -------
    callable
        From the text to the number; raises InputError with a sentence, where the number is none that is allowed.
    """

    def read(text: str) -> float:
        written = str(text).strip()
        try:
            number = float(written) if written.isascii() and "_" not in written else math.nan
        except ValueError:
            number = math.nan
        if not low <= number <= high or (whole and number != int(number)):
            raise InputError([Fault("", name, f"{shown(str(text))} is not allowed; {allowed}.")])
        return int(number) if whole else number

    return read


def number(name: str, low: float, high: float, allowed: str, whole: bool = False) -> dict[str, Any]:
    """What `typer.Option` needs for a number; arguments as in `number_option`."""
    return {"parser": number_option(name, low, high, allowed, whole), "metavar": "NUMBER"}


def named(faults: list[Fault], only: str = "") -> list[Fault]:
    return [f if f.table else replace(f, field=f"--{f.field.replace('_', '-')}" if f.field else only) for f in faults]


@contextmanager
def options_named(only: str = "") -> Iterator[None]:
    """Faults of what a plan was asked, told with the option as the keeper wrote it."""
    try:
        yield
    except InputError as error:
        raise InputError(named(error.faults, only)) from None
