"""An answer to a question, once: its sections and its data, for text, pages, reports and JSON to render."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal, get_args

# where a part is shown: on the command line, on pages and reports, or on both
Where = Literal["both", "text", "page"]
# what a keeper asks for behind the first layer; a section without any is told with all else only
Topic = Literal["fish", "water", "plants", "cautions", "assumptions"]
TOPICS: tuple[Topic, ...] = get_args(Topic)
MOST_ACTIONS, MOST_CARES, MOST_NOTES = 7, 3, 3  # of the first layer: what is read in half a minute


@dataclass(frozen=True)
class Head:
    """A heading of a section.

    Parameters
    ----------
    text : str
        Its words.
    on : str
        ``both``, ``text`` or ``page``.
    gap : bool
        Whether text leaves a line empty above it.
    """

    text: str
    on: Where = "both"
    gap: bool = True


@dataclass(frozen=True)
class Sentences:
    """Sentences, each a paragraph or a point of a list.

    Parameters
    ----------
    items : sequence of str
        One sentence or paragraph each.
    kind : str
        How a page shows them: ``do`` (what to do, each in a box), ``plain`` (paragraphs), ``list``, ``background`` (a
        small list), ``numbered``, ``note`` (small lines below something) or ``answer`` (the first in a box, the others
        as a list).
    on : str
        ``both``, ``text`` or ``page``.
    mark : str
        What text writes before each item, as ``- ``.
    indent, first : str
        What text begins a paragraph's further lines and its first line with.
    gap : bool
        Whether text leaves a line empty above them.
    """

    items: Sequence[str]
    kind: Literal["do", "plain", "list", "background", "numbered", "note", "answer"] = "plain"
    on: Where = "both"
    mark: str = ""
    indent: str = ""
    first: str = ""
    gap: bool = False


def points(items: Sequence[str], kind: Literal["list", "background"] = "list", on: Where = "both") -> Sentences:
    """Sentences that are a list in text too."""
    return Sentences(items, kind, on, mark="- ", indent="  ")


@dataclass(frozen=True)
class Table:
    """A table.

    Parameters
    ----------
    rows : sequence of dict of str to str
        Keys are the heads; a text that begins with ``!`` is bad.
    bad : sequence of (int, str)
        More bad cells, by row and head.
    on : str
        ``both``, ``text`` or ``page``.
    gap : bool
        Whether text leaves a line empty above it.
    """

    rows: Sequence[dict[str, str]]
    bad: Sequence[tuple[int, str]] = ()
    on: Where = "both"
    gap: bool = False


@dataclass(frozen=True)
class Chart:
    """A chart, drawn only where pages or reports show it.

    Parameters
    ----------
    name : str
        What a page knows it by.
    draw : callable
        Gives its Vega-Lite specification, with a ``description`` for those who do not see it; None where there is
        nothing to draw.
    """

    name: str
    draw: Callable[[], dict[str, Any] | None]


@dataclass(frozen=True)
class Html:
    """HTML of our own for pages and reports, as a key to the colours; names in it are escaped."""

    html: str


@dataclass(frozen=True)
class Lines:
    """Lines to copy as they are, as of a site file, or text that is laid out already.

    Parameters
    ----------
    lines : sequence of str
        As they are.
    on : str
        ``both``, ``text`` or ``page``.
    gap : bool
        Whether text leaves a line empty above them.
    """

    lines: Sequence[str]
    on: Where = "both"
    gap: bool = False


@dataclass(frozen=True)
class Point:
    """A broken limit or an advice, with what helps.

    Parameters
    ----------
    words : str
        What is wrong, one sentence.
    helps : str
        What helps, without a full stop; empty where nothing is told.
    is_broken : bool
        Whether a limit is broken; else it is advice.
    """

    words: str
    helps: str
    is_broken: bool = True


@dataclass(frozen=True)
class Points:
    """What is wrong, each with what helps; text tells what is broken only.

    Parameters
    ----------
    items : sequence of Point
        In the order of telling.
    is_sought : bool
        Whether what helps was sought; else a page says that it is being tried.
    """

    items: Sequence[Point]
    is_sought: bool = True


Part = Head | Sentences | Table | Chart | Html | Lines | Points


@dataclass(frozen=True)
class Section:
    """Parts that belong together.

    Parameters
    ----------
    key : str
        What a page calls it by.
    parts : sequence of Part
        In their order.
    folded : str
        Words under which a page folds it; empty where it is not folded.
    is_open : bool
        Whether a folded one begins open.
    topics : tuple of str
        What it is about, of `TOPICS`: text tells it where one of them is asked for; without any only with all else.
    """

    key: str
    parts: Sequence[Part]
    folded: str = ""
    is_open: bool = False
    topics: tuple[Topic, ...] = ()


@dataclass(frozen=True)
class Brief:
    """The first layer below the verdict: what to do by date, one table, and the care that this site needs most.

    Parameters
    ----------
    actions : sequence of dict of str to str
        Rows of what to do, the first to do first; of more than `MOST_ACTIONS` the others are only counted.
    head : str
        What stands above them, or in their place where there is nothing to do.
    table : sequence of dict of str to str
        Rows of the one table, as of the fish.
    care : sequence of str
        Care lines, the gravest first; of more than `MOST_CARES` the others stand among the cautions.
    notes : sequence of str
        What else must be known of that table, `MOST_NOTES` short sentences at most.
    """

    actions: Sequence[dict[str, str]] = ()
    head: str = ""
    table: Sequence[dict[str, str]] = ()
    care: Sequence[str] = ()
    notes: Sequence[str] = ()


@dataclass(frozen=True)
class Answer:
    """What a question is answered.

    Parameters
    ----------
    title : str
        Of what, for whom, when; empty where there is none.
    verdict : str
        The answer in a sentence or two; empty where the sections say it.
    sections : sequence of Section
        What is told, in the order of the text.
    tell : callable
        Gives the answer as plain data for JSON, keys carry units; called when first asked for.
    is_trouble : bool
        Whether the verdict is a bad one.
    is_caution : bool
        Whether it is neither a bad nor a good one.
    brief : Brief or None
        What text tells first, with the rest on request; None for a short answer, that is told whole.
    begins : str
        What text begins with: ``title`` and an empty line, ``close`` (the title, the verdict right below it) or
        ``verdict``, without the title.
    """

    title: str
    verdict: str
    sections: Sequence[Section]
    tell: Callable[[], Any] = field(repr=False, compare=False)
    is_trouble: bool = False
    begins: Literal["title", "close", "verdict"] = "title"
    is_caution: bool = False
    brief: Brief | None = None

    @cached_property
    def data(self) -> Any:
        """The answer as plain data: an object, or a list of them."""
        return self.tell()

    def section(self, key: str) -> Section:
        """The section of a key; raises KeyError where there is none."""
        for section in self.sections:
            if section.key == key:
                return section
        raise KeyError(key)

    def about(self, topics: Collection[str]) -> list[Section]:
        """Sections of which a topic is asked for, in their order."""
        return [section for section in self.sections if any(topic in topics for topic in section.topics)]

    def has(self, key: str) -> bool:
        """Whether there is such a section with something in it."""
        return any(section.key == key and section.parts for section in self.sections)
