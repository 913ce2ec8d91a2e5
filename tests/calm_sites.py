"""Examples with so few fish that no limit is passed: for pages on which what is advised is not the matter."""

from __future__ import annotations

import datetime as dt

import tomlkit
from small_sites import START, two_loops

from stocksim.site.examples import example_text

ONE_IN = 20  # fish of the example that stay


def calm_text(name: str) -> str:
    """Text of an example with few of its fish and without its trout, for which the greenhouse grows too warm in May.

    Advice is sought on the page of the season where a limit is passed, and takes longer than all else that pages do.
    """
    raw = tomlkit.parse(example_text(name))
    raw["site"]["name"] = f"{raw['site']['name']}, few fish"  # by which a page is known to show it
    raw["cohorts"].pop("winter_trout", None)
    for cohort in raw["cohorts"].values():
        cohort["count"] = max(cohort["count"] // ONE_IN, 1)
    return tomlkit.dumps(raw)


def few_fish_of_two_loops() -> dict:
    """Tables of a sound site whose season costs next to nothing: two loops, four tanks, four cohorts, ten days."""
    tables = two_loops()
    tables["season"]["end"] = START + dt.timedelta(days=9)
    tables["cohorts"].pop("cats")  # eat the small ones beside them
    for cohort in tables["cohorts"].values():
        cohort["count"] = 3
    tables["events"] = [{"kind": "harvest", "date": START + dt.timedelta(days=4), "cohort": "trout", "count": 1}]
    return tables
