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
    "today": "answers.today.command",
    "forecast": "answers.forecast.command",
    "tankmates": "answers.tankmates.command",
    "cold": "answers.cold.command",
    "stock": "answers.stock.command",
    "compare": "answers.compare.command",
    "outlook": "answers.outlook.command",
    "report": "answers.report.command",
    "sweep": "answers.sweep.command",
    "open": "answers.season.command",
}
# Questions of which a printed report tells something, in its order; each has a file `report` or `answer` that gives it.
REPORTED = ("answers.report.answer", "answers.season.report", "answers.today.report", "answers.powercut.report")
HIDDEN = {"company": "tankmates"}  # former names of commands, that still answer
# A command that has commands of its own: its module, with their help and examples, and their names.
GROUPS = {"record": ("answers.records.command", ("add", "list", "import", "export", "undo", "sheet"))}
_FUNCTIONS = {"open": "open_pages"}  # where a command's name is one of Python's own
_PACKAGE = Path(__file__).parents[1]


class Page(NamedTuple):
    """A page: its address, its title in the row of links, its script, the group of links that it stands in, and
    whether it is about records, so that it is named only where some are."""

    address: str
    title: str
    script: Path
    group: str = ""
    is_of_records: bool = False


FIRST = "season"  # the page that stands at the bare address
DECIDE = "Decide"
PAGES = tuple(
    Page(address, title, _PACKAGE / f"{module}.py", group, address in ("today", "forecast"))
    for address, title, module, group in (
        ("today", "Today", "answers/today/page", ""),
        ("season", "Season", "answers/season/page", ""),
        ("stock", "Stocking", "answers/stock/page", DECIDE),
        ("tankmates", "Tankmates", "answers/tankmates/page", DECIDE),
        ("beds", "Beds", "answers/beds/page", DECIDE),
        ("cold", "Cold months", "answers/cold/page", DECIDE),
        ("powercut", "Power cut", "answers/powercut/page", DECIDE),
        ("water", "Water and ramp", "answers/ramp/page", DECIDE),
        ("compare", "Compare", "answers/compare/page", DECIDE),
        ("outlook", "Outlook", "answers/outlook/page", DECIDE),
        ("forecast", "Forecast", "answers/forecast/page", DECIDE),
        ("edit", "Site", "faces/edit_page", ""),
        ("start", "New site", "faces/start_page", ""),
        ("fish", "Fish", "answers/library/page", ""),
    )
)


def command(name: str) -> tuple[Callable[..., None], str]:
    """Function of a command, and the example that its help ends with."""
    module: Any = import_module(f"stocksim.{COMMANDS[name]}")
    return getattr(module, _FUNCTIONS.get(name, name)), module.EXAMPLES[name]


def group(name: str) -> tuple[str, list[tuple[str, Callable[..., None], str]]]:
    """Help of a command with commands of its own, and of each its name, function and example."""
    address, names = GROUPS[name]
    module: Any = import_module(f"stocksim.{address}")
    # a name that is one of Python's own, or of its words, ends with a line below
    return module.HELP, [
        (own, getattr(module, own, None) or getattr(module, f"{own}_"), module.EXAMPLES[own]) for own in names
    ]


def reported() -> list[Callable[..., Any]]:
    """What gives each question's sections of a report, of a season, its advice and a day."""
    return [import_module(f"stocksim.{module}").report_sections for module in REPORTED]


def script_of(address: str) -> Path:
    """Script of the page at an address."""
    return next(page.script for page in PAGES if page.address == address)
