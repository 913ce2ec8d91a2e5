"""Text broken to the width of the terminal; tables are printed as they are."""

from __future__ import annotations

import shutil
import textwrap

WITHOUT_TERMINAL = 100  # columns where nobody's terminal is known, as in a file: the same everywhere
_NARROWEST = 40  # narrower text would be one word a line


def text_width() -> int:
    """Columns to break text at: those of COLUMNS, else of the terminal, else 100."""
    return max(shutil.get_terminal_size((WITHOUT_TERMINAL, 24)).columns, _NARROWEST)


def wrapped(text: str, indent: str = "", first: str = "") -> list[str]:
    """Lines of a text; a word stays whole, as an option with hyphens or a path longer than a line.

    Parameters
    ----------
    text : str
        One paragraph.
    indent, first : str
        What its lines begin with from the second one on, and the first one.

    Returns
    -------
    list of str
        One empty line for an empty text.
    """
    lines = textwrap.wrap(
        text, text_width(), initial_indent=first, subsequent_indent=indent, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    return lines or [""]
