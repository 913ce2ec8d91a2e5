"""The questions that stocksim answers, by name: where the command and the page of each are found.

Rooms of questions are named here and imported only when asked for, so that the frame knows none of them.

Apart from `cli`, for the pages ask it too.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

# Each command and the module that has a function of its name; in the order of the help.
COMMANDS = {
    "new": "faces.file_commands",
    "check": "faces.file_commands",
    "season": "answers.season.command",
    "grow": "answers.library.command",
    "fish": "answers.library.command",
    "water": "answers.library.command",
    "beds": "answers.beds.command",
    "powercut": "answers.powercut.command",
    "ramp": "answers.ramp.command",
    "company": "answers.tankmates.command",
    "cold": "answers.cold.command",
    "stock": "answers.stock.command",
    "outlook": "answers.outlook.command",
    "sweep": "answers.sweep.command",
    "open": "answers.season.command",
}
_FUNCTIONS = {"open": "open_pages"}  # where a command's name is one of Python's own
_PACKAGE = Path(__file__).parents[1]


class Page(NamedTuple):
    """A page: its address, its title in the row of links, its script."""

    address: str
    title: str
    script: Path


PAGES = tuple(
    Page(address, title, _PACKAGE / f"{module}.py")
    for address, title, module in (
        ("season", "Season", "answers/season/page"),
        ("water", "Water", "answers/ramp/page"),
        ("beds", "Beds", "answers/beds/page"),
        ("cold", "Cold months", "answers/cold/page"),
        ("powercut", "Power cut", "answers/powercut/page"),
        ("company", "Company", "answers/tankmates/page"),
        ("stock", "Stocking", "answers/stock/page"),
        ("outlook", "Outlook", "answers/outlook/page"),
        ("edit", "Edit the site", "faces/edit_page"),
        ("fish", "Fish", "answers/library/page"),
    )
)


def command(name: str) -> tuple[Callable[..., None], str]:
    """Function of a command, and the example that its help ends with."""
    module: Any = import_module(f"stocksim.{COMMANDS[name]}")
    return getattr(module, _FUNCTIONS.get(name, name)), module.EXAMPLES[name]


def script_of(address: str) -> Path:
    """Script of the page at an address."""
    return next(page.script for page in PAGES if page.address == address)
