"""Alkalinity that a crop gives back with the nitrate it takes, from the contents of its file and what was measured.

Apart, because beds and the card of a crop both ask it.
"""

from __future__ import annotations

from typing import NamedTuple

from stocksim.library.sources import Entry
from stocksim.plants.uptake import CHARGE_MOL_G, HYDROXIDE_HIGH, HYDROXIDE_LOW, hydroxide_per_nitrate
from stocksim.water.solids import ALKALINITY_PER_NITRATE_NITROGEN


class GivenBack(NamedTuple):
    """What roots give back while a part of a crop grows.

    Parameters
    ----------
    by_contents : float
        Hydroxide a nitrate by the contents of the file. [mol/mol] NaN where the file lacks sulfur, chloride and sodium.
    low, high : float
        Range that was measured: the crop's own, or the common one. [mol/mol]
    """

    by_contents: float
    low: float
    high: float

    @property
    def used(self) -> float:
        """What the model uses: the balance of contents, held within the measured range. [mol/mol]

        The middle of the range where the file's contents do not tell.
        """
        if self.by_contents != self.by_contents:
            return 0.5 * (self.low + self.high)
        return min(max(self.by_contents, self.low), self.high)

    @property
    def is_bounded(self) -> bool:
        """Whether the balance of contents lies outside what was measured, so that the end of the range is used."""
        return self.used != self.by_contents

    @property
    def alkalinity_per_nitrogen(self) -> float:
        """What is used, as CaCO3 a gram of nitrogen taken. [g/g]"""
        return ALKALINITY_PER_NITRATE_NITROGEN * self.used


def given_back(crop: Entry, part: str = "") -> GivenBack:
    """What a crop's roots give back for each nitrate.

    Parameters
    ----------
    crop : Entry
        A crop of the library.
    part : str
        ``fruit_`` for its fruit; else the whole plant, or all but the fruit.

    Returns
    -------
    GivenBack
        Only what is taken as nitrate counts as nitrogen: beans and peas take their cations with less of it.
    """
    low, high = crop.number("hydroxide_low", HYDROXIDE_LOW), crop.number("hydroxide_high", HYDROXIDE_HIGH)
    # NaN of an element that the file lacks makes the whole balance NaN
    held = {key: crop.number(f"{part}{key}", crop.number(key)) for key in CHARGE_MOL_G}
    held["nitrogen"] *= 1.0 - crop.number("nitrogen_fixed", 0.0)
    if held["nitrogen"] == 0.0:
        return GivenBack(low, low, high)
    return GivenBack(float(hydroxide_per_nitrate(held)), low, high)
