"""Feeds: which values a file must hold, and how to find one."""

from __future__ import annotations

from pathlib import Path

from stocksim.library.sources import Entry, Rules, entry_names, find_entry

FEED_RULES = Rules(
    kind="feeds",
    required={
        "digestible_energy": "MJ/kg",
        "gross_energy": "MJ/kg",
        "protein": "-",  # crude protein as fed; nitrogen is protein / 6.25
        "protein_digestibility": "-",
        "phosphorus": "-",
        "potassium": "-",
        "dry_matter": "-",
    },
    optional={"calcium": "-", "magnesium": "-", "iron": "-", "fat": "-", "dry_matter_digestibility": "-"},
    # kind: natural for food that no mill made, given wet; all its values are per g as fed
    facts={"caution": False, "kind": False},
    choices={"kind": ("pellet", "natural")},
)


def load_feed(name: str, beside: Path | None = None) -> Entry:
    """Feed by its key; arguments, returns and errors as in `load_species`."""
    return find_entry(name, FEED_RULES, beside)


def feed_names(beside: Path | None = None) -> list[str]:
    """Sorted keys of all feeds, shipped and beside a site file."""
    return entry_names(FEED_RULES, beside)


def feed_kind(entry: Entry) -> str:
    """Kind of a feed, ``pellet`` (where its file is silent) or ``natural``."""
    return entry.facts.get("kind", "pellet")
