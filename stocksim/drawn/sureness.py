"""How sure a season is, and what is advised for it: a fixed number of drawn seasons, and few columns of them."""

from __future__ import annotations

from typing import NamedTuple

from stocksim.drawn.beside import Beside, beside
from stocksim.drawn.outlook import QUICK_SEASONS, Outlook, outlook
from stocksim.engine.season import Progress
from stocksim.site.reading import Site

# what the picture of a season shows
PICTURE_COLUMNS = ("tanks.density_kg_m3", "loops.handbook_area_m2")
_SEED = 1  # the same site is told the same chance


class Sureness(NamedTuple):
    """Drawn seasons of a site, and the same of the site as advised; None where nothing is advised."""

    found: Outlook
    advised: Beside | None


def sureness(site: Site, progress: Progress | None = None) -> Sureness:
    """How sure a season is.

    Parameters
    ----------
    site : Site
        A checked site.
    progress : callable, optional
        Called with (seasons done, seasons in all).

    Returns
    -------
    Sureness
        Of `QUICK_SEASONS` drawn seasons.
    """
    return Sureness(
        outlook(site, QUICK_SEASONS, _SEED, indices=False, progress=progress, columns=PICTURE_COLUMNS), None
    )


def with_advised(sure: Sureness, advised: Site, progress: Progress | None = None) -> Sureness:
    """The same with the site as advised in the same seasons.

    Parameters
    ----------
    sure : Sureness
        Of the site as it is.
    advised : Site
        The site with what is advised for it.
    progress : callable, optional
        As for `sureness`.
    """
    return sure._replace(advised=beside(sure.found, advised, "what is advised", progress))
