"""The words of docs/glossary.md, and which of them an answer says.

Apart from `showing`, which knows nothing of files.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

from stocksim.faces.answer import Answer, Head, Part, Points, Sentences, Table

_PACKAGE = Path(__file__).parents[1]


@cache
def glossary() -> dict[str, str]:
    """What each word means, by the word."""
    # a wheel has the page inside the package
    inside, beside = _PACKAGE / "glossary.md", _PACKAGE.parent / "docs" / "glossary.md"
    page = (inside if inside.is_file() else beside).read_text(encoding="utf-8").split("## Not said")[0]
    rows = [line.strip().strip("|").split("|") for line in page.splitlines() if line.startswith("| ")]
    return {_plain(term): _plain(meaning) for term, meaning in rows if _plain(term) != "word"}


def _plain(cell: str) -> str:
    told = re.sub(r"<a id=[^>]*></a>| \((?:`[^`]*`|handbook ratio)\)", "", cell)
    return told.replace("*", "").replace("`", "").strip()


@cache
def _pattern(term: str) -> re.Pattern[str]:
    ways = "|".join(re.escape(way.split(" (")[0]) for way in term.split(", "))
    return re.compile(rf"\b(?:{ways})(?:es|s)?\b", re.IGNORECASE)


def words_of(answers: Iterable[Answer]) -> dict[str, str]:
    """The words of the glossary that some answers say, with what they mean."""
    said = "\n".join(text for answer in answers for text in _texts(answer))
    return {term: meaning for term, meaning in glossary().items() if _pattern(term).search(said)}


def _texts(answer: Answer) -> Iterator[str]:
    yield answer.verdict
    for section in answer.sections:
        yield section.folded
        for part in section.parts:
            yield from _texts_of(part)


def _texts_of(part: Part) -> Iterator[str]:
    if isinstance(part, Head):
        yield part.text
    elif isinstance(part, Sentences):
        yield from part.items
    elif isinstance(part, Points):
        yield from (f"{point.words} {point.helps}" for point in part.items)
    elif isinstance(part, Table):
        yield from (" ".join((*row, *row.values())) for row in part.rows)
