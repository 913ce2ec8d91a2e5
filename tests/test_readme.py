"""The README says what is true: its printed answer is the program's, and what it links to is there."""

from __future__ import annotations

import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "docs"))

from refresh_readme import BLOCK, printed_answer  # noqa: E402

README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_printed_answer_is_the_programs() -> None:
    shown = BLOCK.search(README)
    assert shown is not None
    assert shown[2] == printed_answer(), "run: python docs/refresh_readme.py"


def test_every_linked_file_is_there() -> None:
    missing = [
        f"{page.name}: {link}"
        for page in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")]
        for link in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8"))
        if not link.startswith("http") and not (page.parent / link).exists()
    ]
    assert missing == []


def test_pages_that_say_words_of_the_field_lead_to_what_they_mean() -> None:
    # these are written whole by programs of docs
    written = {"fits.md", "systems.md", "systems_constants.md", "film_fit.md", "uncertainty.md"}
    pages = [page for page in (ROOT / "docs").glob("*.md") if page.name not in written | {"glossary.md"}]
    assert [page.name for page in pages if "(glossary.md)" not in page.read_text(encoding="utf-8")] == []


def test_first_answer_stands_on_the_first_screen() -> None:
    above = README[: README.index("<!-- printed answer -->")].splitlines()
    assert len(above) <= 15


def test_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]
    for word in ("keeper", "which fish go in which", "how many", "planted area"):
        assert word in first.replace("\n", " ")
