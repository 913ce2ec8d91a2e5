"""Clocks of recorded files: times with a zone brought to the one standard clock of the site, or refused."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.site.records import NO_ZONE, Records

IntArray = NDArray[np.int64]


def on_site_clock(records: Records, utc_offset_h: float | None) -> tuple[IntArray, list[str], list[str]]:
    """Moments of records on the standard clock of the site.

    Parameters
    ----------
    records : Records
        As read.
    utc_offset_h : float or None
        How far the site's standard clock is ahead of UTC, where the site file tells. [h]

    Returns
    -------
    second : ndarray of int, shape (rows,)
        Seconds from 1970 on that clock. [s]
    notes, faults : list of str
        What was done with zones, and what cannot be used; sentences that go on from the file's name.

    Notes
    -----
    Times without a zone are taken as written. Times with zones go to the site's clock; where that is not told, to the
    zone of the file if it is a single one other than UTC, or to the earlier of two zones an hour apart, which is
    standard time.
    """
    zones = [int(zone) for zone in np.unique(records.zone)]
    if zones in ([], [NO_ZONE]):
        return records.second, [], []
    if NO_ZONE in zones:
        line = int(records.line[records.zone == NO_ZONE][0])
        return records.second, [], [f"line {line}: has a time without a zone where others have one; write all alike."]
    if utc_offset_h is not None:
        clock = round(60.0 * utc_offset_h)
        note = f"times are brought from their zone to the site's clock, {_zone(clock)} (site.utc_offset)."
    elif len(zones) == 1 and zones[0] != 0:
        clock = zones[0]
        note = f"times are in the zone {_zone(clock)}, which is taken as the site's clock."
    elif len(zones) == 2 and zones[1] - zones[0] == 60:
        clock = zones[0]
        note = f"times in summer time are brought to standard time, {_zone(clock)}."
    elif zones == [0]:
        return records.second, [], [_UTC]
    else:
        named = ", ".join(_zone(zone) for zone in zones[:3])
        return records.second, [], [f"has times of {len(zones)} zones ({named}); {_UTC_OFFSET}"]
    return records.second + 60 * (clock - records.zone.astype(np.int64)), [note], []


_UTC_OFFSET = "write utc_offset under [site], the hours that your standard clock is ahead of UTC, as utc_offset = -8."
_UTC = f"has its times in UTC; {_UTC_OFFSET}"


def _zone(minutes: int) -> str:
    sign = "-" if minutes < 0 else "+"
    return f"UTC{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
