"""Days as the pages and the command line show and read them."""

from __future__ import annotations

import datetime as dt
import re

_SHORT = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FULL = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_WORDS = re.compile(r"(\d{1,2})\.?\s+([A-Za-z]+)\.?,?\s+(\d{4})")


def read_day(text: str) -> dt.date:
    """A day as it is shown to keepers, or as site files hold it.

    Parameters
    ----------
    text : str
        As ``1 Nov 2026``, ``1 November 2026`` or ``2026-11-01``.

    Returns
    -------
    date
        The day.

    Raises
    ------
    ValueError
        If it is written in another way, or is no day of the calendar.

    Examples
    --------
    >>> read_day("1 Nov 2026") == read_day("1 november 2026") == read_day("2026-11-01")
    True
    """
    found = _WORDS.fullmatch(text.strip())
    if found is None:
        return dt.date.fromisoformat(text.strip())
    month = found[2].lower()
    for names in (_SHORT, _FULL):
        if month in names:
            return dt.date(int(found[3]), names.index(month) + 1, int(found[1]))
    raise ValueError(f"{found[2]} is no month")
