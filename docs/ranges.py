"""The table of ranges on the page of the model: ``python docs/ranges.py`` writes it."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import stocksim
from stocksim.validity import RANGED

HERE = Path(stocksim.__file__).resolve().parents[1] / "docs"
BLOCK = re.compile(r"(<!-- ranges -->\n)(.*?)(\n<!-- end of ranges -->)", re.DOTALL)
ROOMS = ("water", "climate", "fish", "plants")


def ranges_table() -> str:
    """A row for every range beside a formula of the science rooms."""
    package = Path(stocksim.__file__).resolve().parent
    for path in sorted(path for room in ROOMS for path in (package / room).glob("*.py")):
        importlib.import_module(".".join(path.relative_to(package.parent).with_suffix("").parts))
    lines = ["| formula | gives | argument | from | to | unit | whose range |", "|---|---|---|---|---|---|---|"]
    for name, ranged in sorted(RANGED.items()):
        lines += [
            f"| `{name}` | {ranged.what} | `{one.argument}` | {one.low:g} | {one.high:g} | {one.unit} | {one.source} |"
            for one in ranged.ranges
        ]
    return "\n".join(lines)


def draw() -> None:
    """Write the table into the page."""
    page = HERE / "model.md"
    text = page.read_text(encoding="utf-8")
    page.write_text(BLOCK.sub(lambda match: match[1] + ranges_table() + match[3], text), encoding="utf-8")


if __name__ == "__main__":
    draw()
