"""What the density limit that a tank breaks stands for, and whose it is."""

from __future__ import annotations

import math
from typing import Any

from stocksim.engine.arrays.fish import build_stays
from stocksim.engine.results.findings import Finding
from stocksim.library.species import density_limits, density_meaning
from stocksim.site.kinds import LIMITS, Mending
from stocksim.site.reading import Site

# what a density stands for, in the words that end the sentence of a broken one
_DENSITY_WORDS = {
    "growth": "It is a limit of growth for {species} alone: above it they grow less, deaths are not known.",
    "welfare": "It is a limit of welfare, of {species}: advice of practice, not a level that was seen to kill.",
    "survival": "It is a limit of survival, of {species}.",
}


def density_ground(site: Site, finding: Finding) -> tuple[str, str] | None:
    """Species that sets the density a tank is judged by, of those that ever stand in it, and what that limit means.

    Parameters
    ----------
    site : Site
        The site that was run.
    finding : Finding
        Any of its findings.

    Returns
    -------
    tuple of (str, str) or None
        Key of the species, and growth, welfare or survival; None for another limit.
    """
    if LIMITS[finding.limit].mended_by is not Mending.ROOM:
        return None
    level = site.file.site.density_level
    stays, _ = build_stays(site)
    # fish of other tanks may have the same limit; a dict keeps the order of the file
    here = dict.fromkeys(stay.table.species for stay in stays if finding.where == f"tanks.{stay.table.tank}")
    for key in here:
        entry = site.species[key]
        bears = density_limits(entry, level)
        if math.isclose(bears.of_own, finding.threshold, rel_tol=1e-9):
            return key, "growth"
        if math.isclose(bears.of_tank, finding.threshold, rel_tol=1e-9):
            meaning = density_meaning(entry, level)
            other = "experienced" if level == "cautious" else "cautious"
            return key, density_meaning(entry, other) if meaning == "growth" else meaning
    return None


def density_sentence(site: Site, finding: Finding) -> str:
    """What the density that a tank breaks stands for; empty for other limits, argument as in `density_ground`."""
    ground = density_ground(site, finding)
    return "" if ground is None else _DENSITY_WORDS[ground[1]].format(species=ground[0].replace("_", " "))


def density_data(site: Site, finding: Finding) -> dict[str, Any]:
    """Species and meaning of the density that a tank breaks, as plain values; empty for other limits."""
    ground = density_ground(site, finding)
    return {} if ground is None else {"species": ground[0], "meaning": ground[1]}
