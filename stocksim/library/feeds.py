"""Feeds: which values a file must hold, and how to find one."""

from __future__ import annotations

from pathlib import Path

from stocksim.library.sources import Bound, Entry, Order, Rules, entry_names, find_entry

FEED_RULES = Rules(
    kind="feeds",
    required={
        "digestible_energy": Bound("MJ/kg", 0.2, 35),
        "gross_energy": Bound("MJ/kg", 0.4, 40),
        "protein": Bound("-", 0.005, 0.9),  # crude protein as fed; nitrogen is protein / 6.25
        "protein_digestibility": Bound("-", 0.2, 1),
        "phosphorus": Bound("-", 1e-5, 0.1),
        "potassium": Bound("-", 1e-5, 0.1),
        "dry_matter": Bound("-", 0.02, 1),
    },
    optional={
        "calcium": Bound("-", 1e-6, 0.2),
        "magnesium": Bound("-", 1e-6, 0.05),
        "iron": Bound("-", 1e-7, 0.02),
        "fat": Bound("-", 1e-4, 1),
        "dry_matter_digestibility": Bound("-", 0.1, 1),
    },
    # kind: natural for food that no mill made, given wet; all its values are per g as fed
    facts={"caution": False, "kind": False},
    choices={"kind": ("pellet", "natural")},
    orders=(
        Order("digestible_energy", "gross_energy"),
        Order("protein", "dry_matter", may_equal=True),
        Order("fat", "dry_matter", may_equal=True),
    ),
)


def load_feed(name: str, beside: Path | None = None) -> Entry:
    """Feed by its key; arguments, returns and errors as in `load_species`."""
    return find_entry(name, FEED_RULES, beside)


def feed_names(beside: Path | None = None) -> list[str]:
    """Sorted keys of all feeds, shipped and beside a site file."""
    return entry_names(FEED_RULES, beside)


def protein_for_growth(species: Entry, feed: Entry) -> float:
    """Digestible protein of a feed over what the growth asks for that its energy alone would give.

    Parameters
    ----------
    species, feed : Entry
        Of the library.

    Returns
    -------
    float
        Ratio. [-] Below 1 the energy budget would grow fish from protein that they did not eat, and their excretion
        would be negative: growth is not limited by protein in the model. All shipped pairs lie above 1.
    """
    grown = species["growth_efficiency"] * feed["digestible_energy"] / species["body_energy"]
    return feed["protein"] * feed["protein_digestibility"] / (grown * species["body_protein"])


def feed_kind(entry: Entry) -> str:
    """Kind of a feed, ``pellet`` (where its file is silent) or ``natural``."""
    return entry.facts.get("kind", "pellet")
