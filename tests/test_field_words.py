"""Screens say one word for one thing, that of the field: docs/glossary.md, whose list of words not said is read "
"here."""

from __future__ import annotations

import ast
import csv
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
LINKED = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
ANCHOR = re.compile(r'<a id="([a-z0-9-]+)"></a>')
PAGE = ANCHOR.sub("", LINKED)
# what a keeper reads of other rooms than faces and answers
OTHERS = ("site", "heat", "plants", "changes", "library")
SPARED = re.compile(r"plastic film|double_film|ss-told", re.IGNORECASE)


def rows(part: str) -> list[list[str]]:
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in part.splitlines() if line[:1] == "|"]
    return cells[2:]


KNOWN, NOT_SAID = (rows(part) for part in PAGE.split("## Not said"))
BANNED = [word.strip() for row in NOT_SAID for word in row[0].split(",")]
PATTERN = re.compile(rf"\b(?:{'|'.join(rf'{re.escape(word)}s?' for word in BANNED)})\b", re.IGNORECASE)


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Texts of a module with a space in them, but for docstrings of what is no command."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    is_command = path.name in ("command.py", "file_commands.py")
    spared = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            words = ast.get_docstring(node)
            if words is not None and not (is_command and "Reads" in words):
                spared.add(id(node.body[0].value))  # type: ignore[attr-defined]
    for node in ast.walk(tree):
        is_text = isinstance(node, ast.Constant) and isinstance(node.value, str)
        if is_text and id(node) not in spared and " " in node.value:
            yield node.lineno, node.value
        if isinstance(node, ast.JoinedStr):  # a single word that is filled in, one or the other
            chosen = [part for filled in node.values for part in ast.walk(filled) if isinstance(part, ast.IfExp)]
            words = [one.value for choice in chosen for one in (choice.body, choice.orelse) if hasattr(one, "value")]
            yield from ((node.lineno, word) for word in words if isinstance(word, str) and " " not in word)


def found(text: str) -> list[str]:
    return PATTERN.findall(SPARED.sub("", text))


FILES = sorted(
    path
    for room in ("faces", "answers", *OTHERS)
    for path in (ROOT / "stocksim" / room).rglob("*.py")
)  # fmt: skip


@pytest.mark.parametrize("room", ["faces", "answers", *OTHERS])
def test_sentences_labels_and_help_say_the_words_of_the_field(room):
    said = [
        f"{path.relative_to(ROOT)}:{line}: {', '.join(words)}: {text[:90]}"
        for path in FILES
        if path.is_relative_to(ROOT / "stocksim" / room)
        for line, text in sentences(path)
        if (words := found(text))
    ]
    assert said == []


def test_cautions_of_the_library_say_them_too():
    said = []
    for path in (ROOT / "species_params").rglob("*.toml"):
        facts = tomllib.loads(path.read_text(encoding="utf-8"))
        for key in ("summary", "caution", "wild_caution", "never_because", "deaths_caution"):
            said += [f"{path.name} {key}: {word}" for word in found(str(facts.get(key, "")))]
    assert said == []


def test_golden_sentences_say_them_too():
    with (ROOT / "tests" / "golden" / "sentences.csv").open(encoding="utf-8", newline="") as file:
        said = [row for row in csv.DictReader(file) if found(row["sentence"])]
    assert said == []


def test_the_pattern_finds_what_is_not_said_and_spares_what_is():
    assert found("its film is young") == ["film"]
    assert found("It bears 12 degC, by sight, in litres.") == ["bears", "by sight", "litres"]
    assert found("a double plastic film; they tolerate it; bearing") == []
    assert len(BANNED) >= 30


def test_every_word_can_be_linked_to_and_links_to_words_lead_somewhere():
    anchors = ANCHOR.findall(LINKED)
    assert len(anchors) == len(set(anchors)) == len(KNOWN)
    linked = {
        anchor
        for path in [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]
        for anchor in re.findall(r"glossary\.md#([\w-]+)", path.read_text(encoding="utf-8"))
    }
    assert len(linked) > 20
    assert linked <= set(anchors)


def test_every_word_is_explained_once_in_a_line():
    words = [row[0].split(" (")[0] for row in KNOWN]
    assert 34 <= len(words) == len(set(words))
    assert words == sorted(words, key=str.lower)
    assert all(len(row) == 2 and row[1] for row in KNOWN)
    assert not [row for row in KNOWN if found(f"{row[0].split(' (')[0]} {row[1]}")]
