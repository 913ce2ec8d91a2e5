"""The guide shows what its commands print and what its pictures draw today."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "docs"))

from refresh_guide import BLOCK, IMAGES, commands, pictures, session, svg  # noqa: E402

from stocksim.faces.registry import COMMANDS  # noqa: E402

GUIDE = (ROOT / "docs" / "guide.md").read_text(encoding="utf-8")
BLOCKS = BLOCK.findall(GUIDE)
# drawings are laid out by the fonts that a machine has
_FONT_PX = 8.0


def test_every_command_prints_what_the_guide_shows() -> None:
    assert list(session(BLOCKS)) == BLOCKS, "run: python docs/refresh_guide.py"


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", text)]


@pytest.mark.parametrize("name", sorted(path.name for path in IMAGES.glob("guide_*.svg")))
def test_every_picture_is_what_is_drawn_today(name: str) -> None:
    kept, drawn = (IMAGES / name).read_text(encoding="utf-8"), svg(pictures()[name]() or {})
    words = re.compile(r"<text[^>]*>([^<]*)</text>")
    assert words.findall(drawn) == words.findall(kept), "run: python docs/refresh_guide.py"
    lines = re.compile(r'<path aria-label[^>]* d="([^"]*)"|<path [^>]*d="([^"]*)"')
    courses = [[numbers("".join(pair)) for pair in lines.findall(text)] for text in (drawn, kept)]
    assert [len(course) for course in courses[0]] == [len(course) for course in courses[1]]
    for new, old in zip(*courses, strict=True):
        assert new == pytest.approx(old, abs=_FONT_PX), "run: python docs/refresh_guide.py"


def test_the_guide_has_eight_chapters_its_pictures_and_most_commands() -> None:
    chapters = re.findall(r"^## (\d)\. ", GUIDE, re.MULTILINE)
    assert chapters == [str(number) for number in range(1, 9)]
    shown = set(re.findall(r"\]\(images/([^)]+)\)", GUIDE))
    assert shown == set(pictures()) == {path.name for path in IMAGES.glob("guide_*.svg")}
    asked = {command.split()[1] for block in BLOCKS for command in commands(block)}
    assert set(COMMANDS) - asked == {
        "grow", "fish", "water", "forecast", "compare", "outlook", "report", "sweep", "open",
    }  # fmt: skip
