"""Feeds: which values a file must hold, how to find one, and several feeds given in shares as one."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stocksim.errors import ParameterError, shown
from stocksim.library.sources import (
    EVIDENCE_GRADES,
    Bound,
    Entry,
    Order,
    Rules,
    Source,
    Value,
    entry_names,
    find_entry,
    library_folder,
)

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
        "dry_matter_intake": Bound("-", 0.05, 2),  # dry matter that fish eat of it over that of pellets
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

USUAL_DRY_MATTER_DIGESTIBILITY = 0.75  # of feeds that do not say (from memory, 0.7-0.85)
# Fish eat as much dry matter of wet food as of dry: trout fed low-fat herring for 18 weeks, "despite large differences
# in dietary water, protein and lipid", took similar dry matter (Ruohonen & Grove 1996, J. Fish Biology, abstract). Of
# foods whose files say nothing else.
USUAL_DRY_MATTER_INTAKE = 1.0


def load_feed(name: str, beside: Path | None = None) -> Entry:
    """Feed by its key, or several by their shares, as ``perch_45 80 %, duckweed 20 %``; else as `load_species`."""
    if "%" not in name:
        return find_entry(name, FEED_RULES, beside)
    parts = feed_parts(name)
    return blend(name, {part: find_entry(part, FEED_RULES, beside) for part in parts})


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


# --- several feeds in shares of what is weighed out: their name, and the feed that they make together

_PART = re.compile(r"\s*([^,%]*[^,%\s])\s+((?:\d+(?:\.\d*)?|\.\d+)\s*%)\s*")
_PERCENT = re.compile(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*%\s*")
# Shares that are this near to 1 together are taken as 1: a third is often written as 0.333 (our choice).
_SHARES_NEAR_ONE = 0.0015
_AS = "{ perch_45 = 0.8, kitchen_greens = 0.2 }"


def feed_parts(feed: str) -> dict[str, float]:
    """Feeds that a name stands for, each with its share of what is weighed out.

    Parameters
    ----------
    feed : str
        Key of one feed, or several with their shares.

    Returns
    -------
    dict of str to float
        Shares [-], which add up to 1.

    Raises
    ------
    ParameterError
        If shares are no shares or do not add up.

    Examples
    --------
    >>> feed_parts("perch_45"), feed_parts("perch_45 75 %, duckweed 25 %")
    ({'perch_45': 1.0}, {'perch_45': 0.75, 'duckweed': 0.25})
    """
    if "%" not in feed:
        return {feed: 1.0}
    written: dict[str, str] = {}
    for part in feed.split(","):
        match = _PART.fullmatch(part)
        if match is None or match[1] in written:
            raise ParameterError(
                f"{shown(feed)} is not a list of feeds with their shares; write each once, as "
                '"perch_45 80 %, kitchen_greens 20 %".'
            )
        written[match[1]] = match[2]
    return _sound_shares(written)


def read_feed(value: Any) -> Any:
    """Name of a feed as a site file gives it: a text, or a table of feeds and their shares.

    Parameters
    ----------
    value : object
        What stands in the file.

    Returns
    -------
    object
        The name, which `load_feed` knows; what is neither a text nor a table is given back as it is.

    Raises
    ------
    ParameterError
        As in `feed_parts`.

    Examples
    --------
    >>> read_feed({"perch_45": 0.8, "kitchen_greens": "20 %"}), read_feed({"perch_45": 1}), read_feed("perch_45")
    ('perch_45 80 %, kitchen_greens 20 %', 'perch_45', 'perch_45')
    """
    if isinstance(value, str):
        return mix_name(feed_parts(value)) if "%" in value else value
    return mix_name(_sound_shares(value)) if isinstance(value, Mapping) else value


def mix_name(shares: Mapping[str, float]) -> str:
    """Name of feeds in sound shares, the greatest first and then by their keys; the key of a single one.

    The order in which they are written does not matter, so it does not show.
    """
    if len(shares) == 1:
        return next(iter(shares))
    ordered = sorted(shares.items(), key=lambda part: (-part[1], part[0]))
    return ", ".join(f"{name} {100.0 * share:.6g} %" for name, share in ordered)


def _sound_shares(written: Mapping[str, Any]) -> dict[str, float]:
    """Shares of feeds that add up to 1; a fault in a sentence where they do not."""
    if not written:
        raise ParameterError(f"is an empty table; name each feed with its share, as {_AS}.")
    shares = {}
    for name, given in written.items():
        if not name.strip() or "," in name or "%" in name:
            raise ParameterError(f"{shown(name)} cannot be the name of a feed; write each with its share, as {_AS}.")
        shares[name] = _share(name, given)
    together = math.fsum(shares.values())
    if abs(together - 1.0) > _SHARES_NEAR_ONE:
        right = ", ".join(f"{name} = {share / together:.3g}" for name, share in shares.items())
        raise ParameterError(
            f"the shares of {' and '.join(shares)} add up to {together:.4g}, but must add up to 1; in the same "
            f"proportion that is {{ {right} }}."
        )
    return {name: share / together for name, share in shares.items()} if together != 1.0 else shares


def _share(name: str, given: Any) -> float:
    """A share as written, a number or a percentage in quotes."""
    percent = _PERCENT.fullmatch(given) if isinstance(given, str) and len(given) < 40 else None
    number = float(percent[1]) / 100.0 if percent else given
    is_number = isinstance(number, (int, float)) and not isinstance(number, bool)
    if is_number and 0.0 < number <= 1.0:
        return float(number)
    if is_number and 2.0 <= number <= 100.0 and not percent:
        raise ParameterError(f'{name} has a share of {number:g}; write {number / 100.0:g} or "{number:g} %".')
    met = shown(given)
    raise ParameterError(f'{name} has a share of {met}; a share lies above 0 and at most at 1, as 0.2 or "20 %".')


@dataclass(frozen=True)
class Mix(Entry):
    """Several feeds as one: values per g of what is weighed out together.

    Parameters
    ----------
    parts : tuple of (float, Entry)
        Share of what is weighed out [-], and the feed.
    """

    parts: tuple[tuple[float, Entry], ...] = ()


def shares_of(feed: Entry) -> tuple[tuple[float, Entry], ...]:
    """Feeds that an entry is made of, each with its share of what is weighed out. [-]"""
    return feed.parts if isinstance(feed, Mix) else ((1.0, feed),)


def blend(name: str, feeds: Mapping[str, Entry]) -> Entry:
    """Several feeds as one.

    Parameters
    ----------
    name : str
        Feeds with their shares, as `feed_parts` reads.
    feeds : mapping of str to Entry
        The feeds by key.

    Returns
    -------
    Entry
        Every value is that of a gram of the mix: means by the shares, digestibility of protein by the protein and of
        dry matter by the dry matter that each brings. A mineral that a file does not give counts as none. Evidence is
        the weakest of the parts', the kind natural where any part is.
    """
    shares = feed_parts(name)
    if len(shares) == 1:
        return feeds[next(iter(shares))]
    parts = tuple((share, feeds[key]) for key, share in shares.items())
    held = {key for _, entry in parts for key in entry.values} - {"dry_matter_intake"}
    bounds = {**FEED_RULES.required, **FEED_RULES.optional}
    weight_of = {"protein_digestibility": "protein", "dry_matter_digestibility": "dry_matter"}
    values = {}
    for key in (key for key in bounds if key in held):
        missing = USUAL_DRY_MATTER_DIGESTIBILITY if key == "dry_matter_digestibility" else 0.0
        weights = [share * (entry[weight_of[key]] if key in weight_of else 1.0) for share, entry in parts]
        told = math.fsum(w * entry.number(key, missing) for w, (_, entry) in zip(weights, parts, strict=True))
        number = told / math.fsum(weights) if key in weight_of else told
        values[key] = Value(number, bounds[key].unit, "mix", "by the shares of the feeds")
    source = Source("mix", "Mean of the feeds of the mix by their shares", "derived here")
    entries = [entry for _, entry in parts]
    words = {"kind": "natural" if any(feed_kind(entry) == "natural" for entry in entries) else "pellet"}
    cautions = " ".join(entry.facts["caution"] for entry in entries if "caution" in entry.facts)
    return Mix(
        name,
        " and ".join(f"{100.0 * share:.3g} % {entry.title}" for share, entry in parts),
        "Several feeds in shares of what is weighed out.",
        max((entry.evidence for entry in entries), key=EVIDENCE_GRADES.index),
        values,
        {"mix": source},
        words | ({"caution": cautions} if cautions else {}),
        str(library_folder() / FEED_RULES.kind),  # no file of its own: those of the parts are told by themselves
        parts=parts,
    )


def grams_like_pellets(species: Entry, feed: Entry, beside: Path | None = None) -> float:
    """Grams of a food that fish eat for each gram of the pellets that their appetite was fitted with.

    Parameters
    ----------
    species, feed : Entry
        Of the library.
    beside : Path, optional
        Folder of a site file, for own feeds.

    Returns
    -------
    float
        Ratio. [-] 1 for any pellet.

    Notes
    -----
    Fish fill up on dry matter: a gram of natural food fills as much as its dry matter over ``dry_matter_intake`` (the
    dry matter eaten of it alone over that of pellets), a gram of pellets as much as the dry matter of the pellets that
    the appetite was fitted with. The fills of a mix add up by its shares.
    """
    if all(feed_kind(entry) != "natural" for _, entry in shares_of(feed)):  # spares a look at the library's folders
        return 1.0
    fitted = load_feed(species.facts["fitted_with_feed"], beside)["dry_matter"]
    fill = math.fsum(
        share
        * (
            entry["dry_matter"] / entry.number("dry_matter_intake", USUAL_DRY_MATTER_INTAKE) / fitted
            if feed_kind(entry) == "natural"
            else 1.0
        )
        for share, entry in shares_of(feed)
    )
    return 1.0 / fill
