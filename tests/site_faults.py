"""What the tests of site files share: changed tables, and the faults they give, each checked as a sentence."""

from __future__ import annotations

import copy
import re
import tomllib
from pathlib import Path

import pytest

from stocksim.errors import Fault, InputError
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import site_from_tables

STARTER = tomllib.loads(example_text("starter"))
DEMO = tomllib.loads(example_text("heron_lane"))


class _Gone:
    """Says the same in every process, so that parallel workers name a test alike."""

    def __repr__(self) -> str:
        return "GONE"


GONE = _Gone()

# words of Python and of the reading library, which no keeper should meet
JARGON = re.compile(
    r"pydantic|validat|Input should|Traceback|datetime|NoneType|<class|object at|\bTrue\b|\bFalse\b|\bNone\b|\bdict\b"
    r"|\bstr\b|\bint\b|\bfloat\b|\bbool\b|\bKeyError|Error\b|\[type=",
)


def changed(tables: dict, changes: dict) -> dict:
    """A copy of tables with values replaced, added or (GONE) taken out, by dotted place."""
    tables = copy.deepcopy(tables)
    for dotted, value in changes.items():
        *path, last = (int(step) if step.isdigit() else step for step in dotted.split("."))
        here = tables
        for step in path:
            here = here.setdefault(step, {}) if isinstance(here, dict) else here[step]
        if value is GONE:
            del here[last]
        else:
            here[last] = value
    return tables


def good_english(fault: Fault) -> None:
    """One sentence on one line that says the place once and no word of the machinery."""
    said = str(fault)
    assert said == said.strip()
    assert said.isprintable()
    assert fault.message.endswith(".")
    assert len(fault.message) < 400
    assert not JARGON.search(fault.message), said
    place = ".".join(filter(None, (fault.table, fault.field)))
    assert said.startswith(f"{fault.file}, {place}: " if place else f"{fault.file}: ")
    if "." in place:
        assert place not in fault.message
    assert fault.file not in fault.message


def faults_of(tables: dict, folder: Path = FOLDER) -> list[Fault]:
    with pytest.raises(InputError) as caught:
        site_from_tables(tables, folder, "site.toml")
    for fault in caught.value.faults:
        good_english(fault)
    return caught.value.faults


def told(faults: list[Fault]) -> list[tuple[str, str]]:
    return sorted((fault.table, fault.field) for fault in faults)


WATER = "loops.main.water_temperature"
